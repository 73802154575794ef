//! `stopwise compare`.

use stopwise::compare::columns::COLUMNS;
use stopwise::compare::{self, CompareJob, page, terminal};
use stopwise::core::progress::Progress;
use stopwise::report::{csv, json};
use stopwise::store::overrides::UserOverrides;

use super::args::CompareArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::overrides;
use super::screen::{self, Screen};

/// Compares the steps of a series.
pub fn run(typed: &CompareArgs) -> anyhow::Result<Outcome> {
    let (json, csv) = (typed.json.as_deref(), typed.csv.as_deref());
    let report = (!typed.no_report).then_some(typed.report.as_path());
    let mut outputs = Outputs::new(&[
        Output::record("JSON", json),
        Output::record("CSV", csv),
        Output::file(report),
    ])?;
    let screen = Screen::new(outputs.has_standard());
    let job = job(typed)?;
    let result = compare::compare(&job, &screen);
    screen.done();
    let (record, pictures) = result?;
    let mut text = terminal::compare(&record, screen::style());
    if let Some(path) = report
        && outputs.page(path, page::page(&record, &pictures))
    {
        text.push_str(&format!("page: {}\n", path.display()));
    }
    outputs.write(json, |out| json::write(&record, out));
    outputs.write(csv, |out| csv::write(COLUMNS, &record.steps, out));
    outputs.print(&text);
    Ok(outputs.outcome(Outcome::of_files(screen.stopped(), true, record.skipped.is_empty())))
}

/// The series to compare.
fn job(typed: &CompareArgs) -> anyhow::Result<CompareJob> {
    Ok(CompareJob {
        paths: typed.paths.clone(),
        region: typed.region.map(|r| ((r.x, r.y), r.size)),
        apertures: typed.aperture.clone(),
        depth_mm: typed.depth,
        typed: UserOverrides {
            magnification: typed.magnification,
            pixel_pitch_um: typed.pitch,
            equipment: overrides::equipment(typed.rig.as_ref())?,
            ..UserOverrides::default()
        },
        edge: typed.edge.and_then(|e| Some(((e.x, e.y), e.size?))),
        pictures: !typed.no_report,
    })
}
