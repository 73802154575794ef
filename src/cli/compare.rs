//! `stopwise compare`.

use stopwise::compare::{self, CompareJob, page, terminal};
use stopwise::report::{csv, json};
use stopwise::store::overrides::UserOverrides;

use super::args::CompareArgs;
use super::{Outcome, overrides, show};

/// Compares the steps of a series.
pub fn run(typed: &CompareArgs) -> anyhow::Result<Outcome> {
    let outputs = [&typed.json, &typed.csv];
    for path in outputs.into_iter().flatten() {
        show::check_writable(path)?;
    }
    let to_output = outputs.into_iter().flatten().filter(|p| p.as_os_str() == "-").count();
    if to_output > 1 {
        anyhow::bail!("JSON and CSV cannot both go to the output: give one of them a file");
    }
    if !typed.no_report {
        show::check_writable(&typed.report)?;
    }
    let screen = show::Screen::new(to_output > 0);
    let job = job(typed)?;
    let result = compare::compare(&job, &screen);
    screen.done();
    let (record, pictures) = result?;
    let mut outputs = show::Outputs::default();
    let mut paged = false;
    if !typed.no_report {
        let done = page::write_compare(&typed.report, &record, &pictures);
        paged = done.is_ok();
        outputs.tried(done);
    }
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    if let Some(path) = &typed.csv {
        outputs.tried(show::to_file(path, |out| csv::write_steps(&record.steps, out)));
    }
    if to_output == 0 {
        let mut text = terminal::compare(&record, show::style());
        if paged {
            text.push_str(&format!("page: {}\n", typed.report.display()));
        }
        outputs.tried(show::result(&text));
    }
    let stopped = stopwise::core::progress::Progress::stopped(&screen);
    Ok(outputs.ended(match (stopped, record.skipped.is_empty()) {
        (true, _) => Outcome::Stopped,
        (_, false) => Outcome::Partly,
        _ => Outcome::Whole,
    }))
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
            pixel_pitch_um: typed.pixel_pitch,
            equipment: overrides::equipment(typed.rig.as_ref())?,
            ..UserOverrides::default()
        },
        edge: typed.edge.and_then(|e| Some(((e.x, e.y), e.size?))),
        pictures: !typed.no_report,
    })
}
