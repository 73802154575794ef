//! `stopwise plan`.

use stopwise::plan;
use stopwise::plan::page;
use stopwise::plan::terminal;
use stopwise::report::json;

use super::args::PlanArgs;
use super::{Outcome, chart, job, show};

/// Plans settings and shows them.
pub fn run(typed: &PlanArgs) -> anyhow::Result<Outcome> {
    for path in [&typed.json, &typed.report].into_iter().flatten() {
        show::check_writable(path)?;
    }
    let job = job::plan(typed)?;
    // Own limits count for the rig that they were found with.
    let charted = match &typed.rig {
        Some(name) => {
            Some(chart::of_log(typed.log.as_deref(), Some(name), Some(job.wish.magnification))?)
        }
        None => None,
    };
    let record = plan::plan(&job, charted.as_ref());
    let to_output = typed.json.as_ref().is_some_and(|p| p.as_os_str() == "-");
    let mut outputs = show::Outputs::default();
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    if let Some(path) = &typed.report {
        outputs.tried(page::write_plan(path, &record));
    }
    if !to_output {
        outputs.tried(show::result(&terminal::plan(&record, show::style())));
    }
    Ok(outputs.ended(if record.settings.is_empty() { Outcome::Nothing } else { Outcome::Whole }))
}
