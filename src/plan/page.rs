//! The page of `plan`: the ranked settings, and sliders that work them out again in the page.
//!
//! The one page with a script. The content policy names it by its digest, so nothing else runs;
//! the record lies beside it as data.

use std::path::Path;

use askama::Template;

use super::digest;
use crate::body_noise::table::NoiseColumn;
use crate::error::{Error, Result};
use crate::plan::record::{PlanRecord, PlanSetting};
use crate::plan::{table, words};
use crate::report::atomic_file::write_atomically;
use crate::report::html::colours::style_sheet;
use crate::report::wording;

const SCRIPT: &str = include_str!("plan.js");

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanTemplate {
    version: &'static str,
    style: String,
    source: String,
    heading: String,
    has_light: bool,
    because: String,
    head: Vec<String>,
    rows: Vec<Vec<String>>,
    bars: Vec<BarView>,
    video_head: Vec<String>,
    video_rows: Vec<Vec<String>>,
    model_says: String,
    key: String,
    remarks: Vec<String>,
    record: String,
    script: &'static str,
}

struct BarView {
    name: String,
    first: bool,
    plane: String,
    plane_width: String,
    end: String,
    end_width: String,
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`] when the page cannot be put together.
pub fn plan(record: &PlanRecord) -> Result<String> {
    let columns = table::settings(record);
    let video = table::video(&record.video);
    let video_count = record.video.len();
    let template = PlanTemplate {
        version: env!("CARGO_PKG_VERSION"),
        style: format!("{}\n{}", style_sheet(), include_str!("plan.css")),
        source: digest::source_of(SCRIPT),
        heading: words::heading(record),
        has_light: record.wish.light_ev.is_some(),
        because: record.first_because.clone().unwrap_or_default(),
        head: heads(&columns),
        rows: cells(&columns, record.settings.len()),
        bars: bars(&record.settings),
        video_head: heads(&video),
        video_rows: cells(&video, video_count),
        model_says: record.model_says.clone(),
        key: table::key(columns.iter().chain(&video).map(|c| c.heading.as_str())),
        remarks: record.remarks.clone(),
        record: as_data(record)?,
        script: SCRIPT,
    };
    template.render().map_err(|e| Error::Record(e.to_string()))
}

/// Writes the page to a path in one step.
///
/// # Errors
/// As [`plan`], and [`Error::Write`] when the file cannot be written.
pub fn write_plan(path: &Path, record: &PlanRecord) -> Result<()> {
    let page = plan(record)?;
    write_atomically(path, |out| out.write_all(page.as_bytes()))
}

/// JSON that cannot end the element it stands in: no `<` is left.
fn as_data(record: &PlanRecord) -> Result<String> {
    let json = serde_json::to_string(record).map_err(|e| Error::Record(e.to_string()))?;
    Ok(json.replace('<', "\\u003c"))
}

fn heads(columns: &[NoiseColumn]) -> Vec<String> {
    let one = |c: &NoiseColumn| match c.unit {
        "" => c.heading.clone(),
        unit => format!("{}, {unit}", c.heading),
    };
    columns.iter().map(one).collect()
}

fn cells(columns: &[NoiseColumn], rows: usize) -> Vec<Vec<String>> {
    (0..rows).map(|row| columns.iter().map(|c| c.cells[row].clone()).collect()).collect()
}

/// Bars in order of the aperture, on one scale.
fn bars(settings: &[PlanSetting]) -> Vec<BarView> {
    let first = settings.first().map(|s| s.f_number);
    let both = |s: &PlanSetting| [s.finest_um_plane, s.finest_um_depth_end];
    let most = settings.iter().flat_map(both).flatten().fold(1e-9, f64::max);
    let mut rows: Vec<&PlanSetting> = settings.iter().collect();
    rows.sort_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let width = |um: Option<f64>| match um {
        Some(um) => format!("calc((100% - 5.5em) * {:.4})", um / most),
        None => "0".to_owned(),
    };
    let word = |um: Option<f64>| {
        um.map_or(wording::NOTHING.to_owned(), |um| format!("{} µm", wording::number(um)))
    };
    rows.into_iter()
        .map(|s| BarView {
            name: wording::f_number(s.f_number),
            first: Some(s.f_number) == first,
            plane: word(s.finest_um_plane),
            plane_width: width(s.finest_um_plane),
            end: word(s.finest_um_depth_end),
            end_width: width(s.finest_um_depth_end),
        })
        .collect()
}
