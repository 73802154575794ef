//! `stopwise scale`.

use anyhow::bail;
use stopwise::render::{html, json, term};
use stopwise::sets::ruler_scale::{self, ScaleJob};

use super::args::ScaleArgs;
use super::{Ended, show};

/// Shows the scale of a frame of a ruler.
pub fn run(typed: &ScaleArgs) -> anyhow::Result<Ended> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: name one frame of a ruler", typed.frame.display());
    }
    for path in [&typed.json, &typed.report].into_iter().flatten() {
        show::check_writable(path)?;
    }
    let scaled = ruler_scale::scale(&ScaleJob {
        path: typed.frame.clone(),
        ticks_mm: typed.ticks,
        pixel_pitch_um: typed.pitch,
        pupil_ratio: typed.pupil,
        picture: typed.report.is_some(),
    })?;
    let record = &scaled.record;
    if let Some(path) = &typed.json {
        show::to_file(path, |out| json::write(record, out))?;
    }
    if let Some(why) = &record.refused {
        bail!(
            "no scale from {}: {why}. A ruler's ticks have to be in focus in part, five or more in \
             a row, and fill a good part of the frame.",
            typed.frame.display()
        );
    }
    let mut text = term::scale(record, show::style());
    if let Some(path) = &typed.report {
        html::write_scale(path, record, scaled.picture.as_ref(), &scaled.profile)?;
        text.push_str(&format!("page: {}\n", path.display()));
    }
    if typed.json.as_ref().is_none_or(|p| p.as_os_str() != "-") {
        show::result(&text)?;
    }
    Ok(Ended::Whole)
}
