//! What is found of a plan: numbers, no sentences. Those are in `sentences.rs`.

use serde::Serialize;

use super::record::{LightKind, PlanParameters, PlanSetting, PlanWish};
use crate::report::value::WithError;

/// Why the first setting is first: its own numbers beside those of its neighbours.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FirstReason {
    /// Depth whose ends are judged, mm.
    pub depth_mm: f64,
    /// Frames of a burst: settings are ranked by detail times the chance that it has a hit.
    pub burst_frames: u32,
    /// The first setting.
    pub first: SettingFigures,
    /// Its next wider neighbour.
    pub wider: Option<SettingFigures>,
    /// Its next smaller neighbour.
    pub closed: Option<SettingFigures>,
    /// What costs the first one most.
    pub dominant_loss: &'static str,
}

/// The figures of a setting that decide its rank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SettingFigures {
    /// Marked f-number.
    pub f_number: f64,
    /// ISO.
    pub iso: u32,
    /// Exposure time, s.
    pub shutter_s: f64,
    /// Finest line above noise at the ends of the depth, µm on the subject.
    pub finest_um_depth_end: Option<f64>,
    /// One standard error of it, as a share of it.
    pub finest_rel_std_err: Option<f64>,
    /// Chance that a frame is a hit.
    pub hit_chance: f64,
}

impl From<&PlanSetting> for SettingFigures {
    fn from(s: &PlanSetting) -> Self {
        SettingFigures {
            f_number: s.f_number,
            iso: s.iso,
            shutter_s: s.shutter_s,
            finest_um_depth_end: s.finest_um_depth_end,
            finest_rel_std_err: s.finest_rel_std_err,
            hit_chance: s.hit_chance,
        }
    }
}

impl FirstReason {
    /// Of settings, best first; `None` when there is none.
    pub fn of(settings: &[PlanSetting], wish: &PlanWish, p: &PlanParameters) -> Option<Self> {
        let first = settings.first()?;
        let wider = settings
            .iter()
            .filter(|s| s.f_number < first.f_number)
            .max_by(|a, b| a.f_number.total_cmp(&b.f_number));
        let closed = settings
            .iter()
            .filter(|s| s.f_number > first.f_number)
            .min_by(|a, b| a.f_number.total_cmp(&b.f_number));
        Some(FirstReason {
            depth_mm: wish.depth_mm,
            burst_frames: p.burst_frames,
            first: first.into(),
            wider: wider.map(SettingFigures::from),
            closed: closed.map(SettingFigures::from),
            dominant_loss: first.dominant_loss,
        })
    }
}

/// What a plan is based on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum ModelBasis {
    /// The shooter's own frames.
    Own {
        /// How many.
        frames: u32,
        /// Where the movement of the hand comes from.
        hand: HandBasis,
        /// Distance of the focus plane from the subject, standard deviation, mm.
        focus_spread_mm: f64,
    },
    /// Optics and typical numbers.
    Typical {
        /// Pixel pitch, µm.
        pitch_um: f64,
        /// Electrons that a square micrometre of sensor holds at ISO 100.
        well_e_um2: f64,
        /// Read noise, electrons.
        read_e: f64,
        /// Contrast of the subject in each octave, standard deviation over mean.
        contrast: f64,
        /// Speed of the hand, standard deviation on the subject, mm/s.
        hand_mm_s: f64,
        /// Distance of the focus plane from the subject, standard deviation, mm.
        focus_spread_mm: f64,
        /// Aberration blur σ on the sensor at a working f/8, µm.
        aberration_um: f64,
        /// Frames of the rig in the log, where they are too few for a model.
        logged_frames: Option<u32>,
        /// Frames that a model needs.
        needed_frames: u32,
    },
}

/// Where the movement of the hand comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum HandBasis {
    /// A typical hand.
    Typical,
    /// The lengths of smears.
    Smears {
        /// Speed that half the frames stay below, mm/s on the subject.
        speed_mm_s: WithError,
    },
    /// Hits and misses.
    Verdicts {
        /// Shutter time at which half the frames are hits, s.
        shutter_s: f64,
        /// Lower end of its 95 % interval, s.
        low_s: Option<f64>,
        /// Upper end, s.
        high_s: Option<f64>,
    },
}

/// Something to be kept in mind with a plan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum PlanFinding {
    /// No aperture, ISO and shutter expose the light.
    NothingFits {
        /// Where the light comes from.
        light: LightKind,
        /// Whether the shutter was given.
        shutter_given: bool,
    },
    /// The level of the light was not given.
    LightTaken {
        /// Where the light comes from.
        light: LightKind,
        /// What was taken, Ev at ISO 100.
        light_ev: f64,
    },
    /// The strength of the flash was not given.
    FlashTaken {
        /// Working f-number that full power exposes at ISO 100.
        full_n_eff: f64,
        /// How long it shines then, s.
        full_s: f64,
    },
    /// Other light beside a flash.
    LightBesideFlash,
    /// Video was asked for with a flash.
    VideoNeedsLight,
    /// Bright light near eyes.
    LightNearEyes,
    /// What the chance of a hit leaves out.
    ChanceIsAModel,
}

/// What should be kept in mind.
pub fn findings(settings: &[PlanSetting], wish: &PlanWish, p: &PlanParameters) -> Vec<PlanFinding> {
    let mut found = Vec::new();
    if settings.is_empty() {
        found.push(PlanFinding::nothing_fits(wish));
    }
    if !wish.light_typed {
        found.push(match (wish.light, wish.light_ev) {
            (LightKind::Ambient | LightKind::Lamp, Some(light_ev)) => {
                PlanFinding::LightTaken { light: wish.light, light_ev }
            }
            _ => PlanFinding::FlashTaken {
                full_n_eff: p.flash_full_n_eff,
                full_s: p.flash_s.first().map_or(0.0, |f| f.1),
            },
        });
    }
    if wish.light == LightKind::Flash {
        found.push(PlanFinding::LightBesideFlash);
        if wish.video_fps.is_some() {
            found.push(PlanFinding::VideoNeedsLight);
        }
    }
    if matches!(wish.light, LightKind::Flash | LightKind::Lamp) {
        found.push(PlanFinding::LightNearEyes);
    }
    found.push(PlanFinding::ChanceIsAModel);
    found
}

impl PlanFinding {
    /// That no setting fits a wish.
    pub fn nothing_fits(wish: &PlanWish) -> PlanFinding {
        let shutter_given = wish.shutter_s.is_some();
        PlanFinding::NothingFits { light: wish.light, shutter_given }
    }
}
