//! `stopwise noise`.

use stopwise::render::{html, json, term};
use stopwise::sets::body_noise;

use super::args::NoiseArgs;
use super::{Ended, show};

/// Shows the noise of the bodies whose frames are given.
pub fn run(typed: &NoiseArgs) -> anyhow::Result<Ended> {
    if let Some(path) = &typed.json {
        show::check_writable(path)?;
    }
    let to_output = typed.json.as_ref().is_some_and(|p| p.as_os_str() == "-");
    let screen = show::Screen::new(to_output);
    let (record, stopped) = body_noise::body_noise(&typed.paths, &screen)?;
    screen.done();
    if let Some(path) = &typed.json {
        show::to_file(path, |out| json::write(&record, out))?;
    }
    if let Some(path) = &typed.report {
        html::write_noise(path, &record)?;
    }
    if !to_output {
        show::result(&term::noise(&record, show::style()))?;
    }
    let nothing = record.bodies.iter().all(|b| b.isos.is_empty());
    Ok(match (stopped, nothing, record.skipped.is_empty()) {
        (true, _, _) => Ended::Stopped,
        (_, true, _) => Ended::Nothing,
        (_, _, false) => Ended::Partly,
        _ => Ended::Whole,
    })
}
