//! `stopwise inspect`.

use anyhow::bail;
use stopwise::render::{self, html, json, term};
use stopwise::sets::inspect;

use super::args::InspectArgs;
use super::{Ended, job, show};

/// Side of a tile on the map picture, px.
const MAP_TILE_PX: u32 = 12;

/// Shows everything measured on one frame.
pub fn run(typed: &InspectArgs) -> anyhow::Result<Ended> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: name one frame, or use cull", typed.frame.display());
    }
    for path in [&typed.json, &typed.map].into_iter().flatten() {
        show::check_writable(path)?;
    }
    let job = job::outing(std::slice::from_ref(&typed.frame), &typed.known, !typed.no_report)?;
    let (record, pictures) = inspect::inspect(&job)?;
    let mut written = Vec::new();
    if !typed.no_report {
        html::write_inspect(&typed.report, &record, &pictures)?;
        written.push(format!("page: {}", typed.report.display()));
    }
    if let Some(path) = &typed.map {
        let png = render::map_png(&record.map, MAP_TILE_PX)?;
        show::to_file(path, |out| out.write_all(&png))?;
        written.push(format!("map: {}", path.display()));
    }
    if let Some(path) = &typed.json {
        show::to_file(path, |out| json::write(&record, out))?;
    }
    if typed.json.as_ref().is_none_or(|p| p.as_os_str() != "-") {
        let mut text = term::inspect(&record, show::style());
        for line in written {
            text.push_str(&line);
            text.push('\n');
        }
        show::result(&text)?;
    }
    Ok(Ended::Whole)
}
