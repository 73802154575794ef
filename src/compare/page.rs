//! The page of `compare`: findings, the steps side by side at 100 %, ladders, and what each
//! change cost.

use crate::compare::edge_chart;
use crate::compare::ladder;
use askama::Template;

use crate::compare::columns::COLUMNS;
use crate::compare::record::{
    AttributionRecord, ComparePictures, CompareRecord, StepAxis, StepRecord, step_name,
};
use crate::error::Result;
use crate::report::column::{Column, html_table};
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::html::view::PictureView;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::svg;
use crate::report::wording;

#[derive(Template)]
#[template(path = "compare.html")]
struct CompareTemplate {
    page: PageFrame,
    facts: String,
    region: String,
    findings: Vec<String>,
    steps: Vec<StepView>,
    place_px: u32,
    aperture: Option<String>,
    bound: bool,
    iso: Option<String>,
    costs: Vec<CostView>,
    edge: Option<String>,
    protocol: Option<&'static str>,
    columns: &'static [Column<StepRecord>],
    head: Vec<String>,
    rows: Vec<Vec<String>>,
    skipped: Vec<String>,
}

struct StepView {
    name: String,
    best: bool,
    crop: Option<PictureView>,
    detail: String,
    facts: String,
    spectrum: Option<String>,
}

struct CostView {
    heading: &'static str,
    chart: String,
}

fn step_views(record: &CompareRecord, pictures: &ComparePictures) -> Vec<StepView> {
    let views = record.steps.iter().enumerate().map(|(i, s)| {
        let mut facts = Vec::new();
        facts.extend(s.working_f_number.map(|n| format!("working {}", wording::f_number(n))));
        facts.extend(s.finest_um.map(|m| format!("finest line {} µm", wording::measured(&m))));
        facts.extend(s.noise_sigma_dn.map(|n| format!("noise {} DN", wording::number(n))));
        facts.extend(s.blur_sigma_px.map(|m| format!("blur {} px", wording::measured(&m))));
        facts.extend(s.sharp_area.map(|a| format!("sharp area {}", wording::per_cent(a))));
        StepView {
            name: step_name(s, record.axis),
            best: record.best_step == Some(i),
            crop: pictures.crops.get(i).and_then(|c| c.as_ref()).map(PictureView::new),
            detail: s.detail_bits_px.as_ref().map_or_else(String::new, wording::measured),
            facts: facts.join(" · "),
            spectrum: svg::spectrum_chart(&s.spectrum, s.resolved_cy_px),
        }
    });
    views.collect()
}

fn cost_views(record: &CompareRecord) -> Vec<CostView> {
    let of = |keep: &dyn Fn(&AttributionRecord) -> bool| -> Vec<&AttributionRecord> {
        record.attributions.iter().filter(|a| keep(a)).collect()
    };
    let next = if record.axis == StepAxis::FourCorners {
        of(&|a| a.from == 0 && a.to == 3)
    } else {
        of(&|a| a.to == a.from + 1)
    };
    let best = of(&|a| Some(a.from) == record.best_step && a.to != a.from + 1);
    [("From step to step", next), ("From the best step", best)]
        .into_iter()
        .filter_map(|(heading, rows)| {
            ladder::cost_bars(record, &rows).map(|chart| CostView { heading, chart })
        })
        .collect()
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(record: &CompareRecord, pictures: &ComparePictures) -> Result<String> {
    let frames: u32 = record.steps.iter().map(|s| s.frames).sum();
    let mut facts: Vec<String> =
        record.paths.iter().map(|p| wording::visible(p)).collect::<Vec<_>>();
    facts.extend(record.body.as_deref().map(wording::visible));
    facts.push(wording::count(record.steps.len() as u32, "step", "steps"));
    facts.push(wording::count(frames, "frame", "frames"));
    facts.extend(record.rig.as_deref().map(|r| format!("rig {}", wording::visible(r))));
    facts.extend(record.magnification.map(|m| format!("{}:1", wording::short(m))));
    let (head, rows) = html_table(COLUMNS, &record.steps);
    let r = &record.region;
    let template = CompareTemplate {
        page: PageFrame::new(format!("Series by {}", record.axis.word())),
        facts: facts.join(" · "),
        region: format!(
            "Measured on {} x {} px round {}, {} of the picture{}.",
            r.width_px,
            r.height_px,
            wording::fixed(r.x, 2),
            wording::fixed(r.y, 2),
            if r.given { "" } else { ", where the most detail is" }
        ),
        findings: paragraphs(&record.findings, Medium::Report),
        steps: step_views(record, pictures),
        place_px: pictures.crops.iter().flatten().map(|c| c.width_px).max().unwrap_or(320),
        aperture: ladder::aperture_ladder(record),
        bound: record.steps.iter().any(|s| s.bound_bits_px.is_some()),
        iso: ladder::wants_iso_ladder(record).then(|| ladder::iso_ladder(record)).flatten(),
        costs: cost_views(record),
        edge: edge_chart::edge_chart(record),
        protocol: record.protocol.map(|p| p.words()),
        columns: COLUMNS,
        head,
        rows,
        skipped: record
            .skipped
            .iter()
            .map(|s| format!("{}: {}", wording::visible(&s.path), s.reason))
            .collect(),
    };
    filled(&template)
}
