//! Charts of simulated shooters against their truth: detail, break-even line, limit of the hand.

use stopwise::core::units::{GREEN, PitchUm};
use stopwise::detail::detail_model;
use stopwise::limits::record::HandLimit;
use stopwise::limits::{ChartJob, LimitFrame, chart};
use stopwise::optics::diffraction::sigma_settings_px;
use stopwise::simulator::shooter::{Shooter, SimulatedFrame};

/// What `cull` logs of a frame, as the chart takes it.
pub fn entry(s: &Shooter, t: &SimulatedFrame) -> LimitFrame {
    LimitFrame {
        outing: t.outing,
        burst: t.burst,
        test: t.test,
        marked_f_number: Some(t.f_number),
        working_f_number: Some(t.n_eff),
        magnification: Some(s.magnification),
        shutter_s: Some(t.shutter_s),
        iso: Some(t.iso),
        flash: Some(false),
        pixel_pitch_um: Some(s.kit.pitch_um),
        verdict: Some(t.verdict),
        cause: t.cause,
        detail_bits_px: Some(t.detail_bits_px),
        blur_sigma_px: Some(t.blur_sigma_px),
        // Of diffraction and pixels: what `cull` knows of a lens.
        attainable_blur_px: Some(sigma_settings_px(t.n_eff, PitchUm(s.kit.pitch_um), GREEN)),
        blur_ratio: t.blur_ratio,
        motion_length_px: t.motion_px,
        quotable: true,
    }
}

/// How far one chart is from the truth.
#[derive(Debug, Clone, Default)]
pub struct Off {
    /// Detail, share, every place drawn.
    pub detail: Vec<f64>,
    /// The same over its own standard error.
    pub in_errors: Vec<f64>,
    /// Break-even line, stops.
    pub even: Vec<f64>,
    /// Limit of the hand, stops; when one was given.
    pub hand: Option<f64>,
    /// Where only an interval was: whether it holds the truth.
    pub hand_between: Option<bool>,
    /// The limit by verdicts alone, and by the lengths of smears alone.
    pub hand_verdicts: Option<f64>,
    /// See [`Off::hand_verdicts`].
    pub hand_smears: Option<f64>,
    /// Each over its own standard error.
    pub hand_in_errors: [Option<f64>; 2],
    /// Whether the two contradict one another.
    pub contradict: bool,
}

/// Charts `frames` frames, `tests` of them of a test.
pub fn charted(seed: u64, frames: usize, tests: usize) -> Off {
    let shooter = Shooter::of(seed);
    let taken = shooter.season(seed, frames, tests);
    let entries: Vec<LimitFrame> = taken.iter().map(|t| entry(&shooter, t)).collect();
    let record = chart(&ChartJob::default(), &entries).record;
    let mut off = Off::default();
    for c in &record.grid {
        let truth = shooter.true_detail(c.working_f_number, c.iso);
        off.detail.push(c.detail_bits_px / truth - 1.0);
        off.in_errors.push((c.detail_bits_px - truth) / c.std_err);
    }
    for b in &record.break_even {
        if let Some(n) = detail_model::break_even(&shooter.kit, b.iso, 1.5, 150.0) {
            off.even.push(2.0 * (b.working_f_number / n).log2());
        }
    }
    if let (Some(h), Some(truth)) = (record.handheld, shooter.true_half_shutter_s(seed)) {
        let stops = |s: f64| (s / truth).log2();
        let errors = |l: &HandLimit| stops(l.half_hit_shutter_s) / l.std_err_stops();
        let smears = h.by_smears.map(|s| s.limit);
        off.hand = h.half_hit_shutter_s.map(stops);
        if let (None, Some(low), Some(high)) = (off.hand, h.low, h.high) {
            off.hand_between = Some((low..=high).contains(&truth));
        }
        off.hand_verdicts = h.by_verdicts.map(|l| stops(l.half_hit_shutter_s));
        off.hand_smears = smears.map(|l| stops(l.half_hit_shutter_s));
        off.hand_in_errors = [h.by_verdicts.as_ref().map(errors), smears.as_ref().map(errors)];
        off.contradict = smears.zip(h.by_verdicts).is_some_and(|(s, v)| s.contradicts(&v));
    }
    off
}
