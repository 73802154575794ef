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
use super::{Outcome, show};

/// Shows the scale of a frame of a ruler.
pub fn run(typed: &ScaleArgs) -> anyhow::Result<Outcome> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: name one frame of a ruler", typed.frame.display());
    }
    for path in [&typed.json, &typed.report].into_iter().flatten() {
        show::check_writable(path)?;
    }
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
        pupil_ratio: typed.pupil,
        rig,
        picture: typed.report.is_some(),
    })?;
    let record = &scaled.record;
    let mut outputs = show::Outputs::default();
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(record, out)));
    }
    if let Some(why) = &record.refused {
        bail!(
            "no scale from {}: {why}. A ruler's ticks have to be in focus in part, five or more in \
             a row, and fill a good part of the frame.",
            typed.frame.display()
        );
    }
    let saved = match (&typed.save, &place, record.magnification) {
        (Some(name), Some(path), Some(m)) => {
            let from = rig::MagnificationFrom::Ruler;
            let done = rig::set_magnification(path, name, m.value, m.std_err, from);
            let saved = done.is_ok().then(|| {
                let name = wording::visible(name);
                format!("magnification saved in rig {name}: {}\n", path.display())
            });
            outputs.tried(done);
            saved
        }
        (Some(_), _, None) => bail!(
            "the magnification cannot be saved without the pixel pitch: give --pitch, or \
             pixel_pitch_um in the rig"
        ),
        _ => None,
    };
    let mut text = terminal::scale(record, show::style());
    if let Some(path) = &typed.report {
        let done = page::write_scale(path, record, scaled.picture.as_ref(), &scaled.profile);
        if done.is_ok() {
            text.push_str(&format!("page: {}\n", path.display()));
        }
        outputs.tried(done);
    }
    text.push_str(&saved.unwrap_or_default());
    if typed.json.as_ref().is_none_or(|p| p.as_os_str() != "-") {
        outputs.tried(show::result(&text));
    }
    Ok(outputs.ended(Outcome::Whole))
}
