//! Settings for next time: every aperture with its best ISO and shutter, ranked.
//!
//! Ranked by the detail at the ends of the depth (as far as the output shows it) times the chance
//! that a burst holds a hit: what can be expected of a burst. Depths are judged by their ends, not
//! their mean. The page of `plan` works the same out again (`plan/plan.js`): change
//! both.

mod digest;
mod own;
pub mod page;
pub mod record;
pub mod table;
pub mod terminal;
mod typical;
mod video;
pub mod words;

use crate::core::units::WavelengthUm;
use crate::limits::Charted;
use crate::optics::Optics;
use crate::optics::imaging_model::{CaptureSettings, HIGHEST_CY_PX, ImagingSystem, LOSSES, Loss};
use crate::optics::resolved::working_f_number;
use crate::optics::{depth, light, motion};
use crate::plan::record::{
    LightKind, ModelKind, PLAN_SCHEMA, PlanParameters, PlanRecord, PlanSetting, PlanWish,
};
use crate::report::header::Header;

/// Width of a picture that nothing is said about, px.
pub const OUTPUT_WIDTH_PX: u32 = 2048;
/// Exposure may be off by this many stops: half a third.
const OFF_STOPS: f64 = 1.0 / 6.0 + 1e-9;

/// What is to be planned.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanJob {
    /// Name of the rig, for the record.
    pub rig: Option<String>,
    /// What was asked for.
    pub wish: PlanWish,
    /// Pixel pitch, µm, when known.
    pub pitch_um: Option<f64>,
    /// Width of the frame, px, when known.
    pub frame_width_px: Option<u32>,
    /// The lens as mounted, at the magnification that is planned for.
    pub optics: Optics,
}

/// The light level that is taken when none is typed: Ev at ISO 100; `None` for a flash.
pub fn usual_ev(light: LightKind) -> Option<f64> {
    match light {
        LightKind::Ambient => Some(typical::SHADE_EV),
        LightKind::Lamp => Some(typical::LAMP_EV),
        LightKind::Flash => None,
    }
}

/// The plan: from the shooter's own model where the chart has one, else from optics and typical
/// numbers.
pub fn plan(job: &PlanJob, charted: Option<&Charted>) -> PlanRecord {
    if let Some(own) = charted.and_then(|c| own::numbers(job, c)) {
        let mut record = with(job, own.parameters, ModelKind::Own, own.says);
        let worst = record
            .settings
            .iter()
            .filter_map(|s| own.fit.resolved_rel_err(s.working_f_number, f64::from(s.iso)))
            .reduce(f64::max);
        for s in &mut record.settings {
            s.finest_rel_std_err = worst;
        }
        return record;
    }
    let parameters = typical::parameters(job.pitch_um, job.frame_width_px, &job.optics);
    let mut says = typical::says(&parameters);
    if let Some(c) = charted {
        says.push_str(&format!(
            " The log holds {} of this rig that a model of your own can use here: {} are needed.",
            c.record.frames_used,
            own::MIN_FRAMES
        ));
    }
    with(job, parameters, ModelKind::Typical, says)
}

/// The plan from given numbers.
fn with(
    job: &PlanJob,
    parameters: PlanParameters,
    model: ModelKind,
    model_says: String,
) -> PlanRecord {
    let wish = job.wish.clone();
    let settings = ranked(&wish, &parameters);
    let video = video::settings(&wish, &parameters);
    let first_because = words::first_because(&settings, &wish, &parameters);
    let remarks = words::remarks(&settings, &wish, &parameters);
    PlanRecord {
        header: Header::new(PLAN_SCHEMA),
        rig: job.rig.clone(),
        wish,
        model,
        model_says,
        parameters,
        settings,
        first_because,
        video,
        remarks,
    }
}

/// The kit of the parameters.
fn kit(p: &PlanParameters) -> ImagingSystem {
    ImagingSystem {
        pitch_um: p.pitch_um,
        wavelength: WavelengthUm(p.wavelength_um),
        aberration_um: p.aberration_um,
        contrast_power: p.contrast_power,
        shot: p.shot,
        read: p.read,
    }
}

/// One setting an aperture, best first.
pub fn ranked(wish: &PlanWish, p: &PlanParameters) -> Vec<PlanSetting> {
    let mut rows: Vec<(f64, PlanSetting)> = p
        .f_numbers
        .iter()
        .filter_map(|f_number| {
            let tried = exposures(wish, p, *f_number);
            tried
                .into_iter()
                .map(|e| judged(wish, p, *f_number, e))
                .reduce(|best, next| if next.0 > best.0 { next } else { best })
        })
        .collect();
    rows.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.f_number.total_cmp(&b.1.f_number)));
    rows.into_iter().map(|(_, row)| row).collect()
}

/// An exposure: ISO, the shutter to set, how long the light falls.
#[derive(Debug, Clone, Copy)]
struct Exposed {
    iso: u32,
    shutter_s: f64,
    light_s: f64,
}

/// The exposures that an aperture allows, ISO rising.
fn exposures(wish: &PlanWish, p: &PlanParameters, f_number: f64) -> Vec<Exposed> {
    let n_eff = working_f_number(f_number, wish.magnification, p.pupil_ratio);
    let Some(ev) = wish.light_ev else {
        let least = p.flash_s.iter().map(|(power, _)| *power).fold(1.0, f64::min);
        let shutter_s = wish.shutter_s.unwrap_or(p.flash_shutter_s);
        let of = |iso: u32| {
            let power = light::flash_power(n_eff, f64::from(iso), p.flash_full_n_eff);
            let fits = (least..=1.0).contains(&power);
            let light_s = light::flash_s(power, &p.flash_s)?.min(shutter_s);
            fits.then_some(Exposed { iso, shutter_s, light_s })
        };
        return p.isos.iter().filter_map(|iso| of(*iso)).collect();
    };
    if let Some(shutter_s) = wish.shutter_s {
        let wanted = light::iso(n_eff, shutter_s, ev);
        let near = |iso: &u32| (f64::from(*iso) / wanted).log2().abs();
        let Some(iso) = nearest(&p.fine_isos, near) else { return Vec::new() };
        let fits = near(&iso) <= OFF_STOPS;
        return if fits {
            vec![Exposed { iso, shutter_s, light_s: shutter_s }]
        } else {
            Vec::new()
        };
    }
    let of = |iso: u32| {
        let wanted = light::shutter_s(n_eff, f64::from(iso), ev);
        let near = |s: &f64| (s / wanted).log2().abs();
        let shutter_s = nearest(&p.shutters_s, near)?;
        // Marked times are rounded themselves: half a step more is still the nearest.
        (near(&shutter_s) <= 1.5 * OFF_STOPS).then_some(Exposed {
            iso,
            shutter_s,
            light_s: shutter_s,
        })
    };
    p.isos.iter().filter_map(|iso| of(*iso)).collect()
}

fn nearest<T: Copy>(all: &[T], distance: impl Fn(&T) -> f64) -> Option<T> {
    all.iter().copied().reduce(|a, b| if distance(&b) < distance(&a) { b } else { a })
}

/// Highest frequency that the output can show, cycles per pixel of the frame.
fn up_to_cy_px(wish: &PlanWish, p: &PlanParameters) -> f64 {
    match wish.output_width_px {
        Some(width) if !wish.crop => {
            HIGHEST_CY_PX.min(HIGHEST_CY_PX * f64::from(width) / f64::from(p.frame_width_px))
        }
        _ => HIGHEST_CY_PX,
    }
    .max(2.0 * crate::optics::imaging_model::LOWEST_CY_PX)
}

/// A setting with what it is ranked by.
fn judged(wish: &PlanWish, p: &PlanParameters, f_number: f64, e: Exposed) -> (f64, PlanSetting) {
    let kit = kit(p);
    let m = wish.magnification;
    let up_to = up_to_cy_px(wish, p);
    let smear_px = motion::smear_px(wish.motion_mm_s, e.light_s, m, p.pitch_um);
    let plane = CaptureSettings {
        n_eff: working_f_number(f_number, m, p.pupil_ratio),
        iso: f64::from(e.iso),
        defocus_um: 0.0,
        smear_px,
        soft_px: 0.0,
    };
    let end = CaptureSettings { defocus_um: depth::image_half_depth_um(wish.depth_mm, m), ..plane };
    let at_plane = kit.shows(&plane, up_to, None);
    let at_end = kit.shows(&end, up_to, None);

    let sigma_px = kit.blur_sigma_px(&plane);
    let still = motion::chance_still(
        p.hand_mm_s,
        e.light_s,
        m,
        p.pitch_um,
        motion::smear_allowed_px(sigma_px, p.hit_ratio),
    );
    let allowed_mm = motion::distance_allowed_mm(sigma_px, p.hit_ratio, plane.n_eff, m, p.pitch_um);
    let on_plane = motion::chance_on_plane(p.focus_spread_mm, allowed_mm);
    let hit_chance = still * on_plane;
    let in_burst = |chance: f64| motion::chance_in_burst(chance, p.burst_frames);

    // What is gained by taking one loss away in thought, as a factor; the hand's is its chance.
    let mut worst = (in_burst(on_plane) / in_burst(hit_chance).max(1e-12), "shake");
    for loss in LOSSES {
        let without = kit.shows(&end, up_to, Some(loss)).detail_bits_px;
        let factor = without / at_end.detail_bits_px.max(1e-12);
        if factor > worst.0 {
            worst = (factor, word(loss));
        }
    }
    let output = f64::from(wish.output_width_px.unwrap_or(OUTPUT_WIDTH_PX));
    let finest = |r: Option<f64>| r.map(|f| kit.finest_um(f, m));
    let row = PlanSetting {
        f_number,
        working_f_number: plane.n_eff,
        iso: e.iso,
        shutter_s: e.shutter_s,
        light_s: e.light_s,
        finest_um_plane: finest(at_plane.resolved_cy_px),
        finest_um_depth_end: finest(at_end.resolved_cy_px),
        finest_rel_std_err: None,
        detail_bits_px_depth_end: at_end.detail_bits_px,
        noise_share: kit.noise_power(plane.iso).sqrt(),
        smear_px,
        hit_chance,
        frames_for_a_hit: motion::frames_for_a_hit(hit_chance),
        dominant_loss: worst.1,
        crop_factor: kit
            .shows(&plane, HIGHEST_CY_PX, None)
            .resolved_cy_px
            .map(|f| f64::from(p.frame_width_px) * 2.0 * f / output),
    };
    (in_burst(hit_chance) * at_end.detail_bits_px, row)
}

/// The word for a loss.
fn word(loss: Loss) -> &'static str {
    match loss {
        Loss::Diffraction => "diffraction",
        Loss::Depth => "depth",
        Loss::Noise => "noise",
        Loss::SubjectMotion => "subject-motion",
        Loss::Lens => "lens",
        Loss::Pixels => "pixels",
    }
}
