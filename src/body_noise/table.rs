//! The rows of a body's noise as cells of text: one layout for the terminal and the page.

use super::record::{BodyNoise, IsoNoise};
use crate::report::parts::FrameSource;
use crate::report::value::WithError;
use crate::report::wording;

/// One table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoiseTable {
    /// What it holds.
    pub heading: &'static str,
    /// Headings, left to right.
    pub columns: Vec<NoiseColumn>,
    /// Whether each row is a figure and not only a bound.
    pub trusted: Vec<bool>,
}

/// One column of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoiseColumn {
    /// Heading without the unit.
    pub heading: String,
    /// Unit; empty for words and counts.
    pub unit: &'static str,
    /// How dear it is where room is short: the highest number goes first; 0 stays.
    pub drop_priority: u8,
    /// One cell a row.
    pub cells: Vec<String>,
}

/// The tables of a body: raw, then rendered, those that have rows.
pub fn tables(body: &BodyNoise) -> Vec<NoiseTable> {
    [
        (FrameSource::Raw, "Raw: noise as standard deviation in DN of the file"),
        (FrameSource::Rendered, "Rendered: noise as standard deviation in 8-bit steps"),
    ]
    .into_iter()
    .filter_map(|(source, heading)| {
        let rows: Vec<&IsoNoise> = body.isos.iter().filter(|r| r.source == source).collect();
        (!rows.is_empty()).then(|| NoiseTable {
            heading,
            columns: columns(&rows),
            trusted: rows.iter().map(|r| r.trusted).collect(),
        })
    })
    .collect()
}

fn columns(rows: &[&IsoNoise]) -> Vec<NoiseColumn> {
    let column =
        |heading: &str, unit, drop_priority, cell: &dyn Fn(&IsoNoise) -> String| NoiseColumn {
            heading: heading.to_owned(),
            unit,
            drop_priority,
            cells: rows.iter().map(|r| cell(r)).collect(),
        };
    let maybe = |m: Option<WithError>| m.map_or(String::new(), |m| shown(m.value, m.std_err));
    let mut columns = vec![
        column("ISO", "", 0, &|r| r.iso.map_or(wording::NOTHING.to_owned(), |i| i.to_string())),
        column("frames", "", 4, &|r| r.frames.to_string()),
        column("from", "", 3, &|r| r.method.word().to_owned()),
        column("gain", "DN/e", 2, &|r| maybe(r.gain_dn_per_e)),
        column("read noise", "e", 1, &|r| maybe(r.read_noise_e)),
    ];
    columns.retain(|c| c.cells.iter().any(|cell| !cell.is_empty()));
    let mut levels: Vec<f64> = rows.iter().flat_map(|r| &r.sigma_at).map(|s| s.level).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    for level in levels {
        columns.push(column(&format!("at {}", wording::per_cent(level)), "DN", 0, &|r| {
            let at = r.sigma_at.iter().find(|s| (s.level - level).abs() < 1e-9);
            let bound = if r.trusted { "" } else { "≤ " };
            at.map_or(String::new(), |s| format!("{bound}{}", shown(s.sigma_dn, s.std_err)))
        }));
    }
    columns
}

fn shown(value: f64, std_err: Option<f64>) -> String {
    match std_err {
        Some(e) => {
            let decimals = wording::decimals_for(e);
            format!("{} ± {}", wording::fixed(value, decimals), wording::fixed(e, decimals))
        }
        None => wording::number(value),
    }
}
