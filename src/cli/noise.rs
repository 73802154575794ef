//! `stopwise noise`.

use stopwise::body_noise;
use stopwise::body_noise::page;
use stopwise::body_noise::terminal;
use stopwise::cull::log_entry;
use stopwise::report::json;
use stopwise::report::wording;

use super::args::NoiseArgs;
use super::{Outcome, log_options, overrides, show};

/// Shows the noise of the bodies whose frames are given.
pub fn run(typed: &NoiseArgs) -> anyhow::Result<Outcome> {
    if let Some(path) = &typed.json {
        show::check_writable(path)?;
    }
    let to_output = typed.json.as_ref().is_some_and(|p| p.as_os_str() == "-");
    let equipment = overrides::equipment(typed.rig.as_ref())?;
    let log = log_options::open(&typed.keep)?;
    let screen = show::Screen::new(to_output);
    let (mut record, stopped) = body_noise::body_noise(&typed.paths, &screen)?;
    screen.done();
    let named = typed.rig.as_ref().and_then(|name| equipment.rigs.0.get(name));
    if let Some(body) = named.and_then(|rig| rig.body.name()) {
        let nameless = record.bodies.iter_mut().filter(|b| b.body == body_noise::NAMELESS);
        nameless.for_each(|b| b.body.clone_from(&body));
    }
    let mut outputs = show::Outputs::default();
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    if let Some(path) = &typed.report {
        outputs.tried(page::write_noise(path, &record));
    }
    if !to_output {
        outputs.tried(show::result(&terminal::noise(&record, show::style())));
    }
    let mut logged = true;
    if let Some(mut log) = log {
        let rows = if stopped { Vec::new() } else { log_entry::noise(&record) };
        match log.add_noise(&rows) {
            _ if stopped => show::print_note("Stopped: nothing was added to the log."),
            Ok(rows) => show::print_note(&format!(
                "Logged: {} of noise, new in {}",
                wording::count(rows as u32, "row", "rows"),
                log.path().display()
            )),
            Err(error) => {
                show::print_problem(&error.into());
                logged = false;
            }
        }
    }
    let nothing = record.bodies.iter().all(|b| b.isos.is_empty());
    Ok(outputs.ended(match (stopped, nothing, record.skipped.is_empty()) {
        (true, _, _) => Outcome::Stopped,
        (_, true, _) => Outcome::Nothing,
        (_, _, false) => Outcome::Partly,
        _ if !logged => Outcome::Partly,
        _ => Outcome::Whole,
    }))
}
