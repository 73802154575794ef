//! `stopwise noise`.

use stopwise::body_noise;
use stopwise::body_noise::log_entry;
use stopwise::body_noise::page;
use stopwise::body_noise::terminal;
use stopwise::report::json;
use stopwise::report::wording;

use super::args::NoiseArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::screen::{self, Screen};
use super::{log_options, overrides};

/// Shows the noise of the bodies whose frames are given.
pub fn run(typed: &NoiseArgs) -> anyhow::Result<Outcome> {
    let (json, report) = (typed.json.as_deref(), typed.report.as_deref());
    let mut outputs = Outputs::new(&[Output::record("JSON", json), Output::file(report)])?;
    let equipment = overrides::equipment(typed.rig.as_ref())?;
    let log = log_options::open(&typed.keep)?;
    let screen = Screen::new(outputs.has_standard());
    let (mut record, stopped) = body_noise::body_noise(&typed.paths, &screen)?;
    screen.done();
    let named = typed.rig.as_ref().and_then(|name| equipment.rigs.0.get(name));
    if let Some(body) = named.and_then(|rig| rig.body.name()) {
        let nameless = record.bodies.iter_mut().filter(|b| b.body == body_noise::NAMELESS);
        nameless.for_each(|b| b.body.clone_from(&body));
    }
    outputs.write(json, |out| json::write(&record, out));
    if let Some(path) = report {
        outputs.page(path, page::page(&record));
    }
    outputs.print(&terminal::noise(&record, screen::style()));
    let mut logged = true;
    if let Some(mut log) = log {
        let rows = if stopped { Vec::new() } else { log_entry::rows(&record) };
        match log.add_noise(&rows) {
            _ if stopped => screen::print_note("Interrupted. Nothing was added to the log."),
            Ok(rows) => screen::print_note(&format!(
                "Logged {} of noise in {}",
                wording::count(rows as u32, "row", "rows"),
                log.path().display()
            )),
            Err(error) => {
                screen::print_problem(&error.into());
                logged = false;
            }
        }
    }
    let any = record.bodies.iter().any(|b| !b.isos.is_empty());
    let all = record.skipped.is_empty() && logged;
    Ok(outputs.outcome(Outcome::of_files(stopped, any, all)))
}
