//! The columns of a series' steps: one list for the terminal, the page, CSV and the reference.

use super::record::StepRecord;
use crate::report::column::Decimals::{ByError, PerCent, WrittenFNumber, WrittenShutter};
use crate::report::column::{Cell, Column};

/// The columns, left to right.
#[rustfmt::skip]
pub static COLUMNS: &[Column<StepRecord>] = &[
    Column::new("f_number", "f-number", "", WrittenFNumber,
        |s| Cell::Number(s.f_number),
        "Aperture as marked."),
    Column::new("working_f_number", "working", "", WrittenFNumber,
        |s: &StepRecord| Cell::number(s.working_f_number),
        "Working f-number N(1 + m/p); needs the magnification.")
        .dropped(4),
    Column::new("iso", "ISO", "", ByError,
        |s| Cell::whole(s.iso),
        "Sensitivity as set."),
    Column::new("shutter_s", "shutter", "", WrittenShutter,
        |s: &StepRecord| Cell::number(s.shutter_s),
        "Exposure time, s.")
        .dropped(3),
    Column::new("frames", "frames", "", ByError,
        |s: &StepRecord| Cell::Whole(u64::from(s.frames)),
        "Frames measured.")
        .dropped(5),
    Column::with_error("detail_bits_px", "detail_std_err_bits_px", "detail", "bit/px", ByError,
        |s| Cell::measured(s.detail_bits_px),
        "Detail above noise in the region."),
    Column::with_error("resolved_cy_px", "resolved_std_err_cy_px", "resolved", "cy/px", ByError,
        |s: &StepRecord| Cell::measured(s.resolved_cy_px),
        "Frequency at which signal and noise are equal.")
        .dropped(6),
    Column::with_error("resolved_lp_mm", "resolved_std_err_lp_mm", "resolved", "lp/mm", ByError,
        |s: &StepRecord| Cell::measured(s.resolved_lp_mm),
        "The same on the sensor; needs the pixel pitch.")
        .dropped(8),
    Column::with_error("finest_um", "finest_std_err_um", "finest", "µm", ByError,
        |s: &StepRecord| Cell::measured(s.finest_um),
        "Finest line on the subject above the noise; needs the magnification.")
        .dropped(2),
    Column::new("noise_sigma_dn", "noise", "DN", ByError,
        |s: &StepRecord| Cell::number(s.noise_sigma_dn),
        "Noise: standard deviation in 8-bit steps, of raw files in their own steps.")
        .dropped(1),
    Column::with_error("blur_sigma_px", "blur_std_err_px", "blur", "px", ByError,
        |s: &StepRecord| Cell::measured(s.blur_sigma_px),
        "Blur at edges in the sharper quarter of the region: peak sharpness.")
        .dropped(7),
    Column::new("sharp_area", "sharp area", "", PerCent,
        |s: &StepRecord| Cell::number(s.sharp_area),
        "Share of the judged tiles round the region that are as sharp as the best step's: depth, apart from peak sharpness.")
        .dropped(9),
    Column::new("diffraction_share", "diffraction", "", PerCent,
        |s: &StepRecord| Cell::number(s.diffraction_share),
        "Share of the blur squared of these settings that is diffraction's own; the pixel makes the rest.")
        .dropped(10),
    Column::with_error("edge_mtf50_cy_px", "edge_mtf50_std_err_cy_px", "edge 50 %", "cy/px", ByError,
        |s: &StepRecord| Cell::measured(s.edge.as_ref().and_then(|e| e.mtf50_cy_px)),
        "Frequency at which the modulation of the straight edge falls to a half; not for living subjects.")
        .dropped(11),
    Column::with_error("edge_mtf10_cy_px", "edge_mtf10_std_err_cy_px", "edge 10 %", "cy/px", ByError,
        |s: &StepRecord| Cell::measured(s.edge.as_ref().and_then(|e| e.mtf10_cy_px)),
        "The same for a tenth.")
        .dropped(12),
];
