//! The columns of a series' steps: one list for the terminal, the page and CSV.

use super::record::StepRecord;
use crate::core::Measured;
use crate::report::wording;

/// A value and its error, where there are any.
pub type StepValue = (Option<f64>, Option<f64>);

/// One column.
pub struct StepColumn {
    /// Stable key with the unit in it: the heading in CSV.
    pub key: &'static str,
    /// Key of the standard error's own column in CSV.
    pub error_key: Option<&'static str>,
    /// Heading for people.
    pub heading: &'static str,
    /// Unit as shown.
    pub unit: &'static str,
    /// How dear it is where room is short: the highest number goes first; 0 stays.
    pub drop_priority: u8,
    /// What it means.
    pub meaning: &'static str,
    /// Where the value is.
    pub get: fn(&StepRecord) -> StepValue,
    /// How it is shown.
    show: fn(f64) -> String,
}

fn measured(m: Option<Measured>) -> StepValue {
    (m.map(|m| m.value), m.and_then(|m| m.std_err))
}

impl StepColumn {
    /// The cell of a step as people read it.
    pub fn cell(&self, step: &StepRecord) -> String {
        match (self.get)(step) {
            (None, _) => String::new(),
            (Some(v), Some(e)) => wording::plus_minus(v, Some(e)),
            (Some(v), None) => (self.show)(v),
        }
    }
}

const fn column(
    key: &'static str,
    heading: &'static str,
    unit: &'static str,
    drop_priority: u8,
    meaning: &'static str,
    get: fn(&StepRecord) -> StepValue,
    show: fn(f64) -> String,
) -> StepColumn {
    StepColumn { key, error_key: None, heading, unit, drop_priority, meaning, get, show }
}

const fn with_error(column: StepColumn, error_key: &'static str) -> StepColumn {
    StepColumn { error_key: Some(error_key), ..column }
}

/// The columns, left to right.
pub const COLUMNS: &[StepColumn] = &[
    column(
        "f_number",
        "f-number",
        "",
        0,
        "Aperture as marked.",
        |s| (Some(s.f_number), None),
        wording::f_number,
    ),
    column(
        "working_f_number",
        "working",
        "",
        4,
        "Working f-number N(1 + m), which light and diffraction go by; needs the magnification.",
        |s| (s.working_f_number, None),
        wording::f_number,
    ),
    column(
        "iso",
        "ISO",
        "",
        0,
        "Sensitivity as set.",
        |s| (s.iso.map(f64::from), None),
        wording::short,
    ),
    column(
        "shutter_s",
        "shutter",
        "",
        3,
        "Exposure time, s.",
        |s| (s.shutter_s, None),
        wording::shutter,
    ),
    column(
        "frames",
        "frames",
        "",
        5,
        "Frames measured.",
        |s| (Some(f64::from(s.frames)), None),
        wording::short,
    ),
    with_error(
        column(
            "detail_bits_px",
            "detail",
            "bit/px",
            0,
            "Detail above noise in the region.",
            |s| measured(s.detail_bits_px),
            wording::number,
        ),
        "detail_std_err_bits_px",
    ),
    with_error(
        column(
            "resolved_cy_px",
            "resolved",
            "cy/px",
            6,
            "Frequency at which signal and noise are equal.",
            |s| measured(s.resolved_cy_px),
            wording::number,
        ),
        "resolved_std_err_cy_px",
    ),
    with_error(
        column(
            "resolved_lp_mm",
            "resolved",
            "lp/mm",
            8,
            "The same on the sensor; needs the pixel pitch.",
            |s| measured(s.resolved_lp_mm),
            wording::number,
        ),
        "resolved_std_err_lp_mm",
    ),
    with_error(
        column(
            "finest_um",
            "finest",
            "µm",
            2,
            "Finest line on the subject above the noise; needs the magnification.",
            |s| measured(s.finest_um),
            wording::number,
        ),
        "finest_std_err_um",
    ),
    column(
        "noise_sigma_dn",
        "noise",
        "DN",
        1,
        "Noise: standard deviation in 8-bit steps, of raw files in their own steps.",
        |s| (s.noise_sigma_dn, None),
        wording::number,
    ),
    with_error(
        column(
            "blur_sigma_px",
            "blur",
            "px",
            7,
            "Blur at edges in the sharper quarter of the region: peak sharpness.",
            |s| measured(s.blur_sigma_px),
            wording::number,
        ),
        "blur_std_err_px",
    ),
    column(
        "sharp_area",
        "sharp area",
        "",
        9,
        "Share of the judged tiles round the region that are as sharp as the best step's: depth, \
         apart from peak sharpness.",
        |s| (s.sharp_area, None),
        wording::per_cent,
    ),
    column(
        "diffraction_share",
        "diffraction",
        "",
        10,
        "Share of the blur squared of these settings that is diffraction's own; the pixel makes \
         the rest.",
        |s| (s.diffraction_share, None),
        wording::per_cent,
    ),
    with_error(
        column(
            "edge_mtf50_cy_px",
            "edge 50 %",
            "cy/px",
            11,
            "Frequency at which the modulation of the straight edge falls to a half; unfit for \
             living subjects.",
            |s| measured(s.edge.as_ref().and_then(|e| e.mtf50_cy_px)),
            wording::number,
        ),
        "edge_mtf50_std_err_cy_px",
    ),
    with_error(
        column(
            "edge_mtf10_cy_px",
            "edge 10 %",
            "cy/px",
            12,
            "The same for a tenth.",
            |s| measured(s.edge.as_ref().and_then(|e| e.mtf10_cy_px)),
            wording::number,
        ),
        "edge_mtf10_std_err_cy_px",
    ),
];
