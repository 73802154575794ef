//! `stopwise scale`.

use anyhow::bail;
use stopwise::Error;
use stopwise::report::json;
use stopwise::report::wording;
use stopwise::ruler::page;
use stopwise::ruler::scale::{self, ScaleJob};
use stopwise::ruler::terminal;
use stopwise::store::{paths, rig};

use super::args::ScaleArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::screen;

/// Shows the scale of a frame of a ruler.
pub fn run(typed: &ScaleArgs) -> anyhow::Result<Outcome> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: give one frame of a ruler", typed.frame.display());
    }
    let (json, report) = (typed.json.as_deref(), typed.report.as_deref());
    let mut outputs = Outputs::new(&[Output::record("JSON", json), Output::file(report)])?;
    // Whether the rig is there is found out before the work begins.
    let place = typed.save.as_ref().map(|_| paths::rigs_place()).transpose()?;
    let rig = match (&typed.save, &place) {
        (Some(name), Some(path)) => {
            let rigs = rig::Rigs::read(path)?;
            let problem = |problem| Error::Rigs { path: path.clone(), problem };
            Some(rigs.get(name).map_err(problem)?.clone())
        }
        _ => None,
    };
    let scaled = scale::scale(&ScaleJob {
        path: typed.frame.clone(),
        ticks_mm: typed.ticks,
        pixel_pitch_um: typed.pitch,
        pupil_ratio: typed.pupil_ratio,
        rig,
        picture: typed.report.is_some(),
    })?;
    let record = &scaled.record;
    outputs.write(json, |out| json::write(record, out));
    if let Some(why) = &record.refused {
        bail!(
            "no scale from {}: {why}. The ruler needs at least five consecutive ticks in focus, \
             across a quarter of the frame or more.",
            typed.frame.display()
        );
    }
    let saved = match (&typed.save, &place, record.magnification) {
        (Some(name), Some(path), Some(m)) => {
            let from = rig::MagnificationFrom::Ruler;
            let name_shown = wording::visible(name);
            outputs
                .tried(rig::set_magnification(path, name, m.value, m.std_err, from))
                .then(|| format!("Magnification saved in rig {name_shown}: {}\n", path.display()))
        }
        (Some(_), _, None) => bail!(
            "the magnification cannot be saved without the pixel pitch: give --pitch, or \
             pixel_pitch_um in the rig"
        ),
        _ => None,
    };
    let mut text = terminal::scale(record, screen::style());
    if let Some(path) = report {
        let picture = scaled.picture.as_ref();
        if outputs.page(path, page::page(record, picture, &scaled.profile)) {
            text.push_str(&format!("page: {}\n", path.display()));
        }
    }
    text.push_str(&saved.unwrap_or_default());
    outputs.print(&text);
    Ok(outputs.outcome(Outcome::Whole))
}
