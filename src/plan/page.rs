//! The page of `plan`: the ranked settings, and sliders that show those of other positions.
//!
//! The one page with a script. The content policy names it by its digest, so nothing else runs;
//! the grid lies beside it as data ([`PlanGrid`]).

use askama::Template;

use crate::error::Result;
use crate::plan::findings::PlanFinding;
use crate::plan::grid::PlanGrid;
use crate::plan::record::{PlanRecord, PlanSetting};
use crate::plan::{columns, sentences};
use crate::report::column;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::sentences::{Medium, paragraph};
use crate::report::wording;

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanTemplate {
    page: PageFrame,
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
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(record: &PlanRecord, grid: &PlanGrid) -> Result<String> {
    let settings = columns::settings(record);
    let headings =
        settings.iter().map(|c| c.heading).chain(columns::VIDEO.iter().map(|c| c.heading));
    let template = PlanTemplate {
        page: PageFrame::new("Plan").with_style(include_str!("plan.css")).with_script(
            include_str!("plan.js"),
            "grid",
            grid,
        )?,
        heading: sentences::heading(record),
        has_light: record.wish.light_ev.is_some(),
        because: because(record),
        head: column::heads(&settings),
        rows: column::cells(&settings, &record.settings),
        bars: bars(&record.settings),
        video_head: column::heads(columns::VIDEO),
        video_rows: column::cells(columns::VIDEO, &record.video),
        model_basis: paragraph(&record.model_basis, Medium::Report),
        key: columns::key(headings),
        remarks: remarks(record),
    };
    filled(&template)
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
