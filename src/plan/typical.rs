//! Typical numbers to plan with before there are any of one's own.
//!
//! Common practice, no source, unless marked. They carry no error and are said to be typical
//! wherever they are used.

use crate::core::units::GREEN;
use crate::core::verdict::HIT_RATIO;
use crate::optics::Optics;
use crate::optics::imaging_model::contrast_power;
use crate::plan::findings::ModelBasis;
use crate::plan::own::MIN_FRAMES;
use crate::plan::record::PlanParameters;

/// 24 Mpx on 36 x 24 mm.
pub const PITCH_UM: f64 = 6.0;
/// Width of that frame.
pub const SENSOR_MM: f64 = 36.0;
/// Electrons that a square micrometre of sensor holds at ISO 100.
const WELL_E_UM2: f64 = 2500.0;
/// Noise of reading, electrons.
const READ_E: f64 = 3.0;
/// Middle tones, share of saturation.
const MIDDLE: f64 = 0.12;
/// Contrast of a subject in each octave, standard deviation over mean.
pub const CONTRAST: f64 = 0.1;
/// Aberration blur σ on the sensor times the working f-number, µm: 2.5 µm at a working f/8.
const ABERRATION_UM: f64 = 20.0;
/// Speed of a hand on the subject, mm/s (facts V7's example).
const HAND_MM_S: f64 = 5.0;
/// Distance of the focus plane from the subject with a swaying hand and body, mm.
const FOCUS_SPREAD_MM: f64 = 1.5;
/// Frames of a burst.
const BURST_FRAMES: u32 = 10;
/// Working f-number that a small flash with a diffuser exposes at full power and ISO 100.
const FLASH_FULL_N_EFF: f64 = 88.0;
/// Open shade, Ev at ISO 100.
pub const SHADE_EV: f64 = 12.0;
/// Lamps a hand's width from the subject, Ev at ISO 100.
pub const LAMP_EV: f64 = 9.0;

/// The numbers for a pixel pitch, a frame width and a lens, where they are known.
pub fn parameters(
    pitch_um: Option<f64>,
    frame_width_px: Option<u32>,
    optics: &Optics,
) -> PlanParameters {
    let pitch_um = pitch_um.unwrap_or(PITCH_UM);
    let electrons = WELL_E_UM2 * pitch_um * pitch_um * MIDDLE;
    PlanParameters {
        pitch_um,
        frame_width_px: frame_width_px
            .unwrap_or_else(|| (SENSOR_MM * 1000.0 / pitch_um).round().clamp(64.0, 1e6) as u32),
        pupil_ratio: optics.equal_bare_pupil_ratio().unwrap_or(1.0),
        wavelength_um: GREEN.0,
        aberration_um: ABERRATION_UM,
        contrast_power: contrast_power(CONTRAST),
        shot: 1.0 / electrons,
        read: (READ_E / electrons).powi(2),
        hand_mm_s: HAND_MM_S,
        focus_spread_mm: FOCUS_SPREAD_MM,
        burst_frames: BURST_FRAMES,
        hit_ratio: HIT_RATIO,
        flash_full_n_eff: FLASH_FULL_N_EFF,
        // Measured on one unit: the trade's table of t0.1 by power.
        flash_s: vec![
            (1.0, 1.0 / 258.0),
            (0.25, 1.0 / 1600.0),
            (1.0 / 16.0, 1.0 / 5100.0),
            (1.0 / 128.0, 1.0 / 13_700.0),
        ],
        flash_shutter_s: 1.0 / 200.0,
        f_numbers: vec![2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0],
        isos: vec![100, 200, 400, 800, 1600, 3200, 6400, 12_800],
        fine_isos: fine_isos(),
        shutters_s: shutters_s(),
    }
}

fn fine_isos() -> Vec<u32> {
    let first = [100u32, 125, 160];
    let mut all: Vec<u32> = (0..8).flat_map(|k| first.map(|i| i << k)).collect();
    all.push(25_600);
    all
}

fn shutters_s() -> Vec<f64> {
    let fractions = [
        8000.0, 6400.0, 5000.0, 4000.0, 3200.0, 2500.0, 2000.0, 1600.0, 1250.0, 1000.0, 800.0,
        640.0, 500.0, 400.0, 320.0, 250.0, 200.0, 160.0, 125.0, 100.0, 80.0, 60.0, 50.0, 40.0,
        30.0, 25.0, 20.0, 15.0, 13.0, 10.0, 8.0, 6.0, 5.0, 4.0,
    ];
    let mut all: Vec<f64> = fractions.iter().map(|d| 1.0 / d).collect();
    all.extend([0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0]);
    all
}

/// What typical is; `logged_frames` are those of the rig in the log, where they are too few.
pub fn basis(p: &PlanParameters, logged_frames: Option<u32>) -> ModelBasis {
    ModelBasis::Typical {
        pitch_um: p.pitch_um,
        well_e_um2: WELL_E_UM2,
        read_e: READ_E,
        contrast: CONTRAST,
        hand_mm_s: p.hand_mm_s,
        focus_spread_mm: p.focus_spread_mm,
        aberration_um: p.aberration_um / 8.0,
        logged_frames,
        needed_frames: MIN_FRAMES,
    }
}
