//! The page of `chart`: the field of detail with its sections, the hand, the season, the model.

use crate::limits::field_chart;
use crate::limits::hand_chart;
use askama::Template;

use crate::error::Result;
use crate::limits::findings::LimitFinding;
use crate::limits::record::{ChartRecord, GridCell, Handheld, whole_iso_stop};
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
        field: field_chart::field_chart(record),
        sections: sections(&record.grid),
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

/// Detail over working f-number at one ISO, and along one level of light: those with the most
/// places.
fn sections(grid: &[GridCell]) -> Vec<Titled> {
    let same = |a: f64, b: f64| (a - b).abs() < 0.01;
    let light = |c: &GridCell| 2.0 * c.working_f_number.log2() - (c.iso / 100.0).log2();
    let longest = |grid: &[GridCell], key: &dyn Fn(&GridCell) -> f64| -> Vec<GridCell> {
        let mut best: Vec<GridCell> = Vec::new();
        for start in grid {
            let on: Vec<GridCell> =
                grid.iter().filter(|c| same(key(c), key(start))).copied().collect();
            if on.len() > best.len() {
                best = on;
            }
        }
        best.sort_by(|a, b| a.working_f_number.total_cmp(&b.working_f_number));
        best
    };
    let drawn = |cells: &[GridCell], title: String| {
        let points: Vec<(f64, f64, f64, String)> = cells
            .iter()
            .map(|c| {
                let says = format!(
                    "working {}, ISO {}: {} bit/px",
                    wording::f_number(c.working_f_number),
                    wording::fixed(c.iso, 0),
                    wording::plus_minus(c.detail_bits_px, Some(c.std_err))
                );
                (c.working_f_number, c.detail_bits_px, c.std_err, says)
            })
            .collect();
        field_chart::section(&points, &title).map(|chart| Titled { title, chart })
    };
    // At a whole stop of ISO, which every camera can set, where there is one.
    let settable: Vec<GridCell> = grid.iter().filter(|c| whole_iso_stop(c.iso)).copied().collect();
    let at_iso = longest(if settable.is_empty() { grid } else { &settable }, &|c| c.iso.log2());
    let at_light = longest(grid, &light);
    let mut out = Vec::new();
    if let Some(first) = at_iso.first() {
        out.extend(drawn(&at_iso, format!("Detail at ISO {}", wording::fixed(first.iso, 0))));
    }
    if let (Some(first), Some(last)) = (at_light.first(), at_light.last()) {
        let title = format!(
            "Detail at one level of light and one shutter, ISO {} to {}",
            wording::fixed(first.iso, 0),
            wording::fixed(last.iso, 0)
        );
        out.extend(drawn(&at_light, title));
    }
    out
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
