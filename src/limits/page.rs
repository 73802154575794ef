//! The page of `chart`: the field of detail with its sections, the hand, the season, the model.

use crate::limits::field_chart::{field_chart, section_chart};
use crate::limits::hand_chart;
use askama::Template;

use crate::error::Result;
use crate::limits::findings::LimitFinding;
use crate::limits::record::{ChartRecord, GridCell, Handheld};
use crate::limits::sections::sections;
use crate::limits::sentences;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::parts::BreakdownRow;
use crate::report::sentences::{Medium, paragraph, paragraphs};
use crate::report::svg::{self, Stops};
use crate::report::value::WithError;
use crate::report::wording;

/// Columns of the field's table at most; more ISO settings are thinned to whole stops.
const MAX_ROWS: usize = 400;

#[derive(Template)]
#[template(path = "chart.html")]
struct ChartTemplate {
    page: PageFrame,
    heading: String,
    findings: Vec<String>,
    field: Option<String>,
    sections: Vec<Titled>,
    hands: Vec<HandView>,
    by_aperture: Option<String>,
    by_outing: Vec<RateRow>,
    by_magnification: Vec<RateRow>,
    causes: Option<String>,
    parameters: Vec<(&'static str, String)>,
    cells: Vec<[String; 4]>,
}

struct Titled {
    title: String,
    chart: String,
}

struct HandView {
    title: String,
    says: String,
    chart: Option<String>,
    shake: Option<String>,
}

struct RateRow {
    key: String,
    share: String,
    count: String,
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(record: &ChartRecord) -> Result<String> {
    let template = ChartTemplate {
        page: PageFrame::new("Chart").with_style(include_str!("chart.css")).with_colour_scale(),
        heading: sentences::heading(record),
        findings: paragraphs(&record.findings, Medium::Report),
        field: field_chart(record),
        sections: sections(&record.grid)
            .iter()
            .filter_map(|s| Some(Titled { title: s.title.clone(), chart: section_chart(s)? }))
            .collect(),
        hands: record
            .hands
            .iter()
            .map(|h| hand(h, ""))
            .chain(record.clip_hands.iter().map(|h| hand(h, ", clips")))
            .collect(),
        by_aperture: (!record.by_aperture.is_empty())
            .then(|| svg::share_chart(&record.by_aperture, Stops::Working))
            .flatten(),
        by_outing: rates(&record.by_outing),
        by_magnification: rates(&record.by_magnification),
        causes: svg::cause_bars(&record.causes),
        parameters: parameters(record),
        cells: cells(&record.grid),
    };
    filled(&template)
}

fn hand(h: &Handheld, what: &str) -> HandView {
    let flash = if h.flash { ", flash" } else { "" };
    HandView {
        title: format!("{}×{flash}{what}", wording::number(h.magnification)),
        says: paragraph(&LimitFinding::Hand(Box::new(h.clone())), Medium::Report),
        chart: hand_chart::hand_chart(h),
        shake: hand_chart::shake_chart(h),
    }
}

fn rates(rows: &[BreakdownRow]) -> Vec<RateRow> {
    rows.iter()
        .map(|r| RateRow {
            key: wording::visible(&r.key),
            share: wording::share(&r.share),
            count: format!("{} of {}", r.share.count, r.share.of),
        })
        .collect()
}

fn parameters(record: &ChartRecord) -> Vec<(&'static str, String)> {
    let Some(m) = &record.model else { return Vec::new() };
    let shown = |v: &WithError| wording::plus_minus(v.value, v.std_err);
    let mut rows = vec![
        ("ln of contrast over noise at ISO 100", shown(&m.ln_contrast_over_noise)),
        ("aberration × working f-number, µm", shown(&m.aberration_um)),
        ("ln of read over light noise at ISO 100", shown(&m.ln_read_over_shot)),
    ];
    if let Some(over) = &m.field_over_test {
        rows.push(("detail of the field over that of tests", shown(over)));
    }
    rows.push(("scatter of single frames", wording::per_cent(m.scatter)));
    rows.push(("pixel pitch, µm", wording::short(m.pitch_um)));
    rows.push(("wavelength, µm", wording::short(m.wavelength_um)));
    rows
}

fn cells(grid: &[GridCell]) -> Vec<[String; 4]> {
    grid.iter()
        .take(MAX_ROWS)
        .map(|c| {
            let finest = c.finest_um.map_or(wording::NOTHING.to_owned(), |um| {
                wording::plus_minus(um, c.finest_std_err_um)
            });
            [
                wording::f_number(c.working_f_number),
                wording::fixed(c.iso, 0),
                finest,
                wording::plus_minus(c.detail_bits_px, Some(c.std_err)),
            ]
        })
        .collect()
}
