//! The columns of a body's noise: one list for the terminal and the page.

use super::record::{BodyNoise, IsoNoise};
use super::{RAW_LEVELS, RENDERED_LEVELS};
use crate::report::column::Decimals::ByError;
use crate::report::column::{Cell, Column, used};
use crate::report::parts::FrameSource;
use crate::report::value::WithError;

/// One table.
pub struct NoiseTable<'a> {
    /// What it holds.
    pub heading: &'static str,
    /// Columns, left to right; those without any value are left out.
    pub columns: Vec<Column<IsoNoise>>,
    /// Rows, ISO rising.
    pub rows: Vec<&'a IsoNoise>,
}

/// The tables of a body: raw, then rendered, those that have rows.
pub fn tables(body: &BodyNoise) -> Vec<NoiseTable<'_>> {
    [
        (FrameSource::Raw, &RAW_COLUMNS, "Raw: noise as standard deviation in DN of the file"),
        (
            FrameSource::Rendered,
            &RENDERED_COLUMNS,
            "Rendered: noise as standard deviation in 8-bit steps",
        ),
    ]
    .into_iter()
    .filter_map(|(source, columns, heading)| {
        let rows: Vec<&IsoNoise> = body.isos.iter().filter(|r| r.source == source).collect();
        (!rows.is_empty()).then(|| NoiseTable { heading, columns: used(columns, &rows), rows })
    })
    .collect()
}

/// Columns of raw frames, in order.
pub static RAW_COLUMNS: [Column<IsoNoise>; 8] = columns(["at 2 %", "at 10 %", "at 40 %"]);

/// Columns of rendered frames, in order.
pub static RENDERED_COLUMNS: [Column<IsoNoise>; 8] = columns(["at 20 %", "at 46 %", "at 75 %"]);

/// All columns, with the headings of the levels.
#[rustfmt::skip]
const fn columns(levels: [&'static str; 3]) -> [Column<IsoNoise>; 8] {
    [
    Column::new("iso", "ISO", "", ByError,
        |r: &IsoNoise| Cell::whole(r.iso),
        "ISO as set.")
        .dashed(),
    Column::new("frames", "frames", "", ByError,
        |r: &IsoNoise| Cell::Whole(u64::from(r.frames)),
        "Frames measured.")
        .dropped(4),
    Column::new("method", "from", "", ByError,
        |r: &IsoNoise| Cell::Text(r.method.word().to_owned()),
        "What the noise was measured on.")
        .dropped(3),
    Column::with_error("gain_dn_per_e", "gain_std_err_dn_per_e", "gain", "DN/e", ByError,
        |r: &IsoNoise| measured(r.gain_dn_per_e),
        "Gain of the sensor, DN per electron.")
        .dropped(2),
    Column::with_error("read_noise_e", "read_noise_std_err_e", "read noise", "e", ByError,
        |r: &IsoNoise| measured(r.read_noise_e),
        "Noise of reading, electrons, without that of rounding.")
        .dropped(1),
    Column::with_error("sigma_dark_dn", "sigma_dark_std_err_dn", levels[0], "DN", ByError,
        |r| sigma_at(r, 0),
        "Noise at a dark level, share of saturation or of white; with ≤ a bound from above."),
    Column::with_error("sigma_middle_dn", "sigma_middle_std_err_dn", levels[1], "DN", ByError,
        |r| sigma_at(r, 1),
        "The same at a middle level."),
    Column::with_error("sigma_bright_dn", "sigma_bright_std_err_dn", levels[2], "DN", ByError,
        |r| sigma_at(r, 2),
        "The same at a bright level."),
    ]
}

fn measured(value: Option<WithError>) -> Cell {
    value.map_or(Cell::Missing, |v| Cell::Measured(v.value, v.std_err))
}

/// Noise at one of the levels that are quoted for the row's frames.
fn sigma_at(r: &IsoNoise, level: usize) -> Cell {
    let level = match r.source {
        FrameSource::Raw => RAW_LEVELS[level],
        FrameSource::Rendered => RENDERED_LEVELS[level],
    };
    let at = r.sigma_at.iter().find(|s| (s.level - level).abs() < 1e-9);
    let cell = if r.trusted { Cell::Measured } else { Cell::AtMost };
    at.map_or(Cell::Missing, |s| cell(s.sigma_dn, s.std_err))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::wording;

    #[test]
    fn headings_name_the_levels_that_are_quoted() {
        for (columns, levels) in [(&RAW_COLUMNS, RAW_LEVELS), (&RENDERED_COLUMNS, RENDERED_LEVELS)]
        {
            let headings: Vec<&str> = columns[5..].iter().map(|c| c.heading).collect();
            assert_eq!(headings, levels.map(|level| format!("at {}", wording::per_cent(level))));
        }
    }
}
