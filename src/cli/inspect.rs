//! `stopwise inspect`.

use anyhow::bail;
use stopwise::cull::inspect;
use stopwise::cull::inspect_page;
use stopwise::cull::inspect_terminal;
use stopwise::report::json;
use stopwise::report::map;

use super::args::InspectArgs;
use super::{Outcome, overrides, show};

/// Side of a tile on the map picture, px.
const MAP_TILE_PX: u32 = 12;

/// Shows everything measured on one frame.
pub fn run(typed: &InspectArgs) -> anyhow::Result<Outcome> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: name one frame, or use cull", typed.frame.display());
    }
    for path in [&typed.json, &typed.map].into_iter().flatten() {
        show::check_writable(path)?;
    }
    if !typed.no_report {
        show::check_writable(&typed.report)?;
    }
    let job =
        overrides::outing(std::slice::from_ref(&typed.frame), &typed.known, !typed.no_report)?;
    let (record, pictures) = inspect::inspect(&job)?;
    let mut outputs = show::Outputs::default();
    let mut written = Vec::new();
    if !typed.no_report {
        let done = inspect_page::write_inspect(&typed.report, &record, &pictures);
        if done.is_ok() {
            written.push(format!("page: {}", typed.report.display()));
        }
        outputs.tried(done);
    }
    if let Some(path) = &typed.map {
        let png = map::map_png(&record.map, MAP_TILE_PX)?;
        let done = show::to_file(path, |out| out.write_all(&png));
        if done.is_ok() {
            written.push(format!("map: {}", path.display()));
        }
        outputs.tried(done);
    }
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    if typed.json.as_ref().is_none_or(|p| p.as_os_str() != "-") {
        let mut text = inspect_terminal::inspect(&record, show::style());
        for line in written {
            text.push_str(&line);
            text.push('\n');
        }
        outputs.tried(show::result(&text));
    }
    Ok(outputs.ended(Outcome::Whole))
}
