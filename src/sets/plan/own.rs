//! The numbers of a plan from the shooter's own chart.

use super::{PlanJob, typical};
use crate::measure::hand;
use crate::measure::personal::Personal;
use crate::measure::setting::Setting;
use crate::report::chart_record::HandState;
use crate::report::plan_record::PlanParameters;
use crate::report::wording;
use crate::sets::chart::Charted;

/// Frames that a model of one's own needs to plan with: four for each of its numbers.
pub const LEAST_FRAMES: u32 = 12;

/// Own numbers with the fit behind them.
pub struct Own {
    /// The numbers; what the frames do not show is typical.
    pub parameters: PlanParameters,
    /// What they are, in words.
    pub says: String,
    /// The fit.
    pub fit: Personal,
}

/// The chart's numbers, when it has enough frames.
pub fn numbers(job: &PlanJob, charted: &Charted) -> Option<Own> {
    let fit = charted.fit.filter(|f| f.n >= LEAST_FRAMES)?;
    let kit = fit.kit();
    let mut p = typical::parameters(Some(kit.pitch_um), job.frame_width_px, job.pupil_ratio);
    // Only contrast over noise is known; light's own noise stays typical, so that noise can be
    // shown, and contrast follows.
    p.wavelength_um = kit.wavelength.0;
    p.aberration_um = kit.aberration_um;
    p.contrast_power = kit.contrast_power * p.shot;
    p.read = kit.read * p.shot;
    let hand = charted.record.handheld.as_ref().filter(|h| h.state == HandState::Fitted);
    let mut hand_says = "a hand of typical stillness".to_owned();
    if let Some(h) = hand
        && let Some(shutter_s) = h.half_hit_shutter_s
        && let Some(n_eff) = middle_n_eff(charted)
    {
        let at = Setting { n_eff, iso: 100.0, defocus_um: 0.0, smear_px: 0.0, soft_px: 0.0 };
        let allowed = hand::smear_allowed_px(kit.blur_sigma_px(&at), p.hit_ratio);
        // Half hold still: exp(−½(L/s)²) = ½.
        let one_mm_s = hand::smear_px(1.0, shutter_s, h.magnification, kit.pitch_um);
        p.hand_mm_s = allowed / (2.0 * std::f64::consts::LN_2).sqrt() / one_mm_s;
        hand_says = format!(
            "your hand, half still at {} ({} to {}, 95 %)",
            wording::shutter(shutter_s),
            h.low.map_or(wording::NOTHING.to_owned(), wording::shutter),
            h.high.map_or(wording::NOTHING.to_owned(), wording::shutter)
        );
    }
    let says = format!(
        "Your own limits, from {} of this rig: detail with its error, and {hand_says}. Typical, \
         without error: noise in per cent, a focus plane that misses by {} mm, and the flash.",
        wording::count(fit.n, "frame", "frames"),
        p.focus_spread_mm
    );
    Some(Own { parameters: p, says, fit })
}

/// The working f-number in the middle of the frames.
fn middle_n_eff(charted: &Charted) -> Option<f64> {
    let mut all: Vec<f64> = charted.record.dots.iter().map(|d| d.working_f_number).collect();
    crate::base::stats::median(&mut all)
}
