//! The numbers of a plan from the shooter's own chart.

use super::{PlanJob, typical};
use crate::detail::detail_model::DetailModel;
use crate::limits::Charted;
use crate::limits::record::{HandState, Handheld, SmearLimit};
use crate::optics::imaging_model::CaptureSettings;
use crate::optics::motion;
use crate::plan::findings::{HandBasis, ModelBasis};
use crate::plan::record::PlanParameters;

/// Frames that a model of one's own needs to plan with: four for each of its numbers.
pub const MIN_FRAMES: u32 = 12;

/// exp(−½(v/σ)²) = ½ at v²/σ² = 2 ln 2.
const HALF_BELOW: f64 = 2.0 * std::f64::consts::LN_2;

/// Own numbers with the fit behind them.
pub struct Own {
    /// The numbers; what the frames do not show is typical.
    pub parameters: PlanParameters,
    /// What they are.
    pub basis: ModelBasis,
    /// The fit.
    pub fit: DetailModel,
}

/// The chart's numbers, when it has enough frames.
pub fn numbers(job: &PlanJob, charted: &Charted) -> Option<Own> {
    let fit = charted.fit.filter(|f| f.n >= MIN_FRAMES)?;
    let kit = fit.kit();
    let mut p = typical::parameters(Some(kit.pitch_um), job.frame_width_px, &job.optics());
    // Only contrast over noise is known; light's own noise stays typical, so that noise can be
    // shown, and contrast follows.
    p.wavelength_um = kit.wavelength.0;
    p.aberration_um = kit.aberration_um;
    p.contrast_power = kit.contrast_power * p.shot;
    p.read = kit.read * p.shot;
    let handheld = charted.record.handheld.as_ref();
    let mut hand = HandBasis::Typical;
    if let Some(s) = handheld.and_then(measured_speed) {
        // Of Rayleigh's distribution, which plans assume, half lie below σ·√(2 ln 2).
        p.hand_mm_s = s.speed_mm_s.value / HALF_BELOW.sqrt();
        hand = HandBasis::Smears { speed_mm_s: s.speed_mm_s };
    } else if let Some(h) = handheld.filter(|h| h.state == HandState::Fitted)
        && let Some(shutter_s) = h.half_hit_shutter_s
        && let Some(n_eff) = middle_n_eff(charted)
    {
        let at =
            CaptureSettings { n_eff, iso: 100.0, defocus_um: 0.0, smear_px: 0.0, soft_px: 0.0 };
        let allowed = motion::smear_allowed_px(kit.blur_sigma_px(&at), p.hit_ratio);
        // Half hold still: exp(−½(L/s)²) = ½.
        let one_mm_s = motion::smear_px(1.0, shutter_s, h.magnification, kit.pitch_um);
        p.hand_mm_s = allowed / HALF_BELOW.sqrt() / one_mm_s;
        hand = HandBasis::Verdicts { shutter_s, low_s: h.low, high_s: h.high };
    }
    let basis = ModelBasis::Own { frames: fit.n, hand, focus_spread_mm: p.focus_spread_mm };
    Some(Own { parameters: p, basis, fit })
}

/// The hand's speed by the lengths of smears, unless the verdicts contradict it.
fn measured_speed(h: &Handheld) -> Option<&SmearLimit> {
    let contradicted = |s: &SmearLimit| h.by_verdicts.is_some_and(|v| s.limit.contradicts(&v));
    h.by_smears.as_ref().filter(|s| !contradicted(s))
}

/// The working f-number in the middle of the frames.
fn middle_n_eff(charted: &Charted) -> Option<f64> {
    let mut all: Vec<f64> = charted.record.dots.iter().map(|d| d.working_f_number).collect();
    crate::core::stats::median(&mut all)
}
