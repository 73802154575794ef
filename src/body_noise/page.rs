//! The page of `noise`: a photon-transfer chart and a table for each body.

use crate::body_noise::transfer_chart;
use askama::Template;

use crate::body_noise::columns::{NoiseTable, tables};
use crate::body_noise::record::{BodyNoise, IsoNoise, NoiseRecord};
use crate::error::Result;
use crate::report::column::html_table;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::parts::FrameSource;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::wording;

#[derive(Template)]
#[template(path = "noise.html")]
struct NoiseTemplate {
    page: PageFrame,
    paths: String,
    bodies: Vec<BodyView>,
    skipped: Vec<String>,
}

struct BodyView {
    name: String,
    findings: Vec<String>,
    chart: Option<String>,
    key: String,
    tables: Vec<TableView>,
}

struct TableView {
    heading: &'static str,
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl BodyView {
    fn new(body: &BodyNoise) -> Self {
        let raw: Vec<&IsoNoise> =
            body.isos.iter().filter(|r| r.source == FrameSource::Raw).collect();
        BodyView {
            name: wording::visible(&body.body),
            findings: paragraphs(&body.findings, Medium::Report),
            chart: transfer_chart::transfer_chart(&raw),
            key: transfer_chart::transfer_key(&raw),
            tables: tables(body).iter().map(TableView::new).collect(),
        }
    }
}

impl TableView {
    fn new(table: &NoiseTable<'_>) -> Self {
        let (head, rows) = html_table(&table.columns, &table.rows);
        TableView { heading: table.heading, head, rows }
    }
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(record: &NoiseRecord) -> Result<String> {
    let template = NoiseTemplate {
        page: PageFrame::new("Noise"),
        paths: record.paths.iter().map(|p| wording::visible(p)).collect::<Vec<_>>().join(", "),
        bodies: record.bodies.iter().map(BodyView::new).collect(),
        skipped: record
            .skipped
            .iter()
            .map(|s| format!("{}: {}", wording::visible(&s.path), s.reason))
            .collect(),
    };
    filled(&template)
}
