//! The page of `scale`: the frame with the ticks that were found, the numbers, the depths.

use crate::ruler::tick_chart;
use askama::Template;

use crate::error::Result;
use crate::image::Picture;
use crate::report::column::html_table;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::html::view::data_uri;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::wording;
use crate::ruler::columns::COLUMNS;
use crate::ruler::record::{ScaleProfile, ScaleRecord};
use crate::ruler::table::{depth_heading, numbers};

#[derive(Template)]
#[template(path = "scale.html")]
struct ScaleTemplate {
    page: PageFrame,
    name: String,
    ratio: String,
    picture: Option<String>,
    overlay: String,
    chart: Option<String>,
    numbers: Vec<(&'static str, String)>,
    findings: Vec<String>,
    depth_heading: Option<String>,
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(
    record: &ScaleRecord,
    picture: Option<&Picture>,
    profile: &ScaleProfile,
) -> Result<String> {
    let (head, rows) = html_table(COLUMNS, &record.depths);
    let template = ScaleTemplate {
        page: PageFrame::new("Scale"),
        name: wording::visible(&record.path),
        ratio: format!("{}/{}", record.width_px, record.height_px),
        picture: picture.map(|p| data_uri("image/jpeg", &p.jpeg)),
        overlay: tick_chart::tick_overlay(&record.tick_lines, record.width_px, record.height_px),
        chart: tick_chart::profile_chart(profile),
        numbers: numbers(record),
        findings: paragraphs(&record.findings, Medium::Report),
        depth_heading: depth_heading(record),
        head,
        rows,
    };
    filled(&template)
}
