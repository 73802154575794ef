//! The page of `plan`: the ranked settings, and sliders that show those of other positions.
//!
//! The one page with a script. The content policy names it by its digest, so nothing else runs;
//! the grid lies beside it as data ([`PlanGrid`]).

use std::path::Path;

use askama::Template;

use super::digest;
use crate::body_noise::table::NoiseColumn;
use crate::error::{Error, Result};
use crate::plan::findings::PlanFinding;
use crate::plan::grid::PlanGrid;
use crate::plan::record::{PlanRecord, PlanSetting};
use crate::plan::{sentences, table};
use crate::report::atomic_file::write_atomically;
use crate::report::html::colours::style_sheet;
use crate::report::sentences::{Medium, paragraph};
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
    model_basis: String,
    key: String,
    remarks: Vec<String>,
    grid: String,
    script: &'static str,
}

struct BarView {
    name: String,
    first: bool,
    plane: String,
    plane_share: String,
    end: String,
    end_share: String,
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`] when the page cannot be put together.
pub fn plan(record: &PlanRecord, grid: &PlanGrid) -> Result<String> {
    let columns = table::settings(record);
    let video = table::video(&record.video);
    let video_count = record.video.len();
    let template = PlanTemplate {
        version: env!("CARGO_PKG_VERSION"),
        style: format!("{}\n{}", style_sheet(), include_str!("plan.css")),
        source: digest::source_of(SCRIPT),
        heading: sentences::heading(record),
        has_light: record.wish.light_ev.is_some(),
        because: because(record),
        head: heads(&columns),
        rows: cells(&columns, record.settings.len()),
        bars: bars(&record.settings),
        video_head: heads(&video),
        video_rows: cells(&video, video_count),
        model_basis: paragraph(&record.model_basis, Medium::Report),
        key: table::key(columns.iter().chain(&video).map(|c| c.heading.as_str())),
        remarks: remarks(record),
        grid: as_data(grid)?,
        script: SCRIPT,
    };
    template.render().map_err(|e| Error::Record(e.to_string()))
}

/// Why the first setting is first.
fn because(record: &PlanRecord) -> String {
    match &record.first_because {
        Some(reason) => paragraph(reason, Medium::Report),
        None => paragraph(&PlanFinding::nothing_fits(&record.wish), Medium::Report),
    }
}

/// What should be kept in mind; that nothing fits is the sentence above the table, as it depends
/// on the sliders.
fn remarks(record: &PlanRecord) -> Vec<String> {
    let depends = |f: &&PlanFinding| matches!(f, PlanFinding::NothingFits { .. });
    let kept = record.findings.iter().filter(|f| !depends(f));
    kept.map(|f| paragraph(f, Medium::Report)).collect()
}

/// Writes the page to a path in one step.
///
/// # Errors
/// As [`plan`], and [`Error::Write`] when the file cannot be written.
pub fn write_plan(path: &Path, record: &PlanRecord, grid: &PlanGrid) -> Result<()> {
    let page = plan(record, grid)?;
    write_atomically(path, |out| out.write_all(page.as_bytes()))
}

/// JSON that cannot end the element it stands in: no `<` is left.
fn as_data(grid: &PlanGrid) -> Result<String> {
    let json = serde_json::to_string(grid).map_err(|e| Error::Record(e.to_string()))?;
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

/// A finest line in the digits of the table, without its error.
fn finest(um: Option<f64>, s: &PlanSetting) -> Option<String> {
    um.map(|um| wording::value_and_error(um, s.finest_rel_std_err.map(|share| um * share)).0)
}

/// Bars in order of the aperture, on one scale, as long as the numbers beside them.
fn bars(settings: &[PlanSetting]) -> Vec<BarView> {
    let first = settings.first().map(|s| s.f_number);
    let mut rows: Vec<&PlanSetting> = settings.iter().collect();
    rows.sort_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let both = |s: &PlanSetting| [finest(s.finest_um_plane, s), finest(s.finest_um_depth_end, s)];
    let length = |um: &Option<String>| um.as_ref().and_then(|um| um.parse().ok()).unwrap_or(0.0);
    let shown: Vec<[Option<String>; 2]> = rows.iter().map(|s| both(s)).collect();
    let most = shown.iter().flatten().map(length).fold(1e-9, f64::max);
    let share = |um: &Option<String>| format!("{:.4}", length(um) / most);
    let word = |um: &Option<String>| match um {
        Some(um) => format!("{um} µm"),
        None => wording::NOTHING.to_owned(),
    };
    rows.iter()
        .zip(&shown)
        .map(|(s, [plane, end])| BarView {
            name: wording::f_number(s.f_number),
            first: Some(s.f_number) == first,
            plane: word(plane),
            plane_share: share(plane),
            end: word(end),
            end_share: share(end),
        })
        .collect()
}
