//! The columns of the depths by aperture: one list for the terminal and the page.

use super::record::DepthAt;
use crate::report::column::Decimals::{ByError, WrittenFNumber};
use crate::report::column::{Cell, Column};

/// All columns, in order.
#[rustfmt::skip]
pub static COLUMNS: &[Column<DepthAt>] = &[
    Column::new("marked_f_number", "marked", "", WrittenFNumber,
        |d| Cell::Number(d.marked_f_number),
        "Aperture as marked."),
    Column::new("working_f_number", "working", "", WrittenFNumber,
        |d| Cell::Number(d.working_f_number),
        "Working f-number; it sets exposure and diffraction."),
    Column::new("depth_blur_disc_mm", "depth, disc", "mm", ByError,
        |d| Cell::Number(d.depth_blur_disc_mm),
        "Total depth on the subject within the blur disc."),
    Column::new("depth_quarter_wave_mm", "depth, wave", "mm", ByError,
        |d| Cell::Number(d.depth_quarter_wave_mm),
        "Total depth on the subject within a quarter wave of green light."),
    Column::new("airy_diameter_um", "Airy disc", "µm", ByError,
        |d| Cell::Number(d.airy_diameter_um),
        "Diameter of the Airy disc on the subject."),
];
