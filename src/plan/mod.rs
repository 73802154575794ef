//! Settings for next time: every aperture with its best ISO and shutter, ranked.
//!
//! Ranked by the detail at the ends of the depth (as far as the output shows it) times the chance
//! that a burst holds a hit: what can be expected of a burst. Depths are judged by their ends, not
//! their mean. The page holds the same, worked out here for every position of its sliders
//! ([`grid`]).

mod aperture;
pub mod columns;
pub mod findings;
pub mod grid;
mod own;
pub mod page;
pub mod record;
pub mod sentences;
pub mod terminal;
mod typical;
mod video;

use std::collections::HashMap;

use crate::detail::detail_model::DetailModel;
use crate::limits::Charted;
use crate::optics::resolved::working_f_number;
use crate::optics::{MountedLens, Optics, light};
use crate::plan::aperture::ApertureAtDepth;
use crate::plan::findings::{FirstReason, ModelBasis};
use crate::plan::record::{
    LightKind, ModelKind, PLAN_SCHEMA, PlanParameters, PlanRecord, PlanSetting, PlanWish,
};
use crate::report::header::Header;

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
    /// The lens as mounted; the wish's magnification stands in for its own.
    pub lens: MountedLens,
}

impl PlanJob {
    /// What the lens makes at the wish's magnification; a rig that says too little is planned for
    /// as a bare lens.
    pub fn optics(&self) -> Optics {
        let magnification = self.wish.magnification;
        let optics = Optics::of(&MountedLens { magnification: Some(magnification), ..self.lens });
        match optics.lens_magnification {
            Some(_) => optics,
            None => Optics::bare(magnification, optics.pupil_ratio),
        }
    }
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
    let mut model = PlanModel::of(job, charted);
    let wish = job.wish.clone();
    let mut settings = ranked(&wish, &model.parameters);
    model.give_errors(&mut settings);
    let p = &model.parameters;
    let video = video::settings(&wish, p);
    let first_because = FirstReason::of(&settings, &wish, p);
    let findings = findings::findings(&settings, &wish, p);
    PlanRecord {
        header: Header::new(PLAN_SCHEMA),
        rig: job.rig.clone(),
        wish,
        model: model.kind,
        model_basis: model.basis,
        parameters: model.parameters,
        settings,
        first_because,
        video,
        findings,
    }
}

/// The numbers that a plan is made from.
struct PlanModel {
    parameters: PlanParameters,
    kind: ModelKind,
    basis: ModelBasis,
    fit: Option<DetailModel>,
    /// Relative errors of the fit by working f-number and ISO, as far as they were asked for.
    errors: HashMap<(u64, u32), Option<f64>>,
}

impl PlanModel {
    /// Of the chart, when it has enough frames, else typical.
    fn of(job: &PlanJob, charted: Option<&Charted>) -> PlanModel {
        if let Some(own) = charted.and_then(|c| own::numbers(job, c)) {
            return PlanModel {
                parameters: own.parameters,
                kind: ModelKind::Own,
                basis: own.basis,
                fit: Some(own.fit),
                errors: HashMap::new(),
            };
        }
        let parameters = typical::parameters(job.pitch_um, job.frame_width_px, &job.optics());
        let basis = typical::basis(&parameters, charted.map(|c| c.record.frames_used));
        PlanModel { parameters, kind: ModelKind::Typical, basis, fit: None, errors: HashMap::new() }
    }

    /// Gives all settings the worst of their errors; typical numbers have none.
    fn give_errors(&mut self, settings: &mut [PlanSetting]) {
        let Some(fit) = &self.fit else { return };
        let worst = settings
            .iter()
            .filter_map(|s| {
                let key = (s.working_f_number.to_bits(), s.iso);
                *self
                    .errors
                    .entry(key)
                    .or_insert_with(|| fit.resolved_rel_err(s.working_f_number, f64::from(s.iso)))
            })
            .reduce(f64::max);
        for s in settings {
            s.finest_rel_std_err = worst;
        }
    }
}

/// One setting an aperture, best first.
pub fn ranked(wish: &PlanWish, p: &PlanParameters) -> Vec<PlanSetting> {
    ranked_of(&mut apertures(wish, p), wish, p)
}

/// Every aperture that is tried, at the magnification and the depth of a wish.
fn apertures(wish: &PlanWish, p: &PlanParameters) -> Vec<ApertureAtDepth> {
    p.f_numbers.iter().map(|f_number| ApertureAtDepth::new(wish, p, *f_number)).collect()
}

/// The best exposure of each of the wish's apertures, best first.
fn ranked_of(
    apertures: &mut [ApertureAtDepth],
    wish: &PlanWish,
    p: &PlanParameters,
) -> Vec<PlanSetting> {
    let mut rows: Vec<(f64, PlanSetting)> = apertures
        .iter_mut()
        .filter_map(|aperture| {
            exposures(wish, p, aperture.f_number)
                .into_iter()
                .map(|e| aperture.judged(wish, p, e))
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
