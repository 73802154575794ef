//! The columns of a chart's grid, for CSV and the reference.

use super::record::GridCell;
use crate::report::column::Decimals::{ByError, FNumber};
use crate::report::column::{Cell, Column};

/// All columns, in order.
#[rustfmt::skip]
pub static COLUMNS: &[Column<GridCell>] = &[
    Column::new("working_f_number", "working", "", FNumber, |c| Cell::Number(c.working_f_number),
        "Working f-number N(1 + m/p); it sets exposure and diffraction."),
    Column::new("iso", "ISO", "", ByError, |c| Cell::Number(c.iso),
        "Sensitivity."),
    Column::with_error("finest_um", "finest_std_err_um", "finest", "µm", ByError,
        |c| c.finest_um.map_or(Cell::Missing, |v| Cell::Measured(v, c.finest_std_err_um)),
        "Finest line on the subject above the noise, by the model."),
    Column::with_error("detail_bits_px", "std_err", "detail", "bit/px", ByError,
        |c| Cell::Measured(c.detail_bits_px, Some(c.std_err)),
        "Detail above noise, by the model."),
];
