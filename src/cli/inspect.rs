//! `stopwise inspect`.

use anyhow::bail;
use stopwise::cull::{inspect, inspect_terminal};
use stopwise::report::{json, map};

use super::args::InspectArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::{overrides, screen};

/// Side of a tile on the map picture, px.
const MAP_TILE_PX: u32 = 12;

/// Shows everything measured on one frame.
pub fn run(typed: &InspectArgs) -> anyhow::Result<Outcome> {
    if typed.frame.is_dir() {
        bail!("{} is a folder: give one frame, or use cull", typed.frame.display());
    }
    let (json, map) = (typed.json.as_deref(), typed.map.as_deref());
    let report = (!typed.no_report).then_some(typed.report.as_path());
    let mut outputs = Outputs::new(&[
        Output::record("JSON", json),
        Output::record("the map", map),
        Output::file(report),
    ])?;
    let job =
        overrides::outing(std::slice::from_ref(&typed.frame), &typed.known, !typed.no_report)?;
    let (record, pictures) = inspect::inspect(&job)?;
    let mut text = inspect_terminal::inspect(&record, screen::style());
    if let Some(path) = report
        && outputs.page(path, inspect::page::page(&record, &pictures))
    {
        text.push_str(&format!("page: {}\n", path.display()));
    }
    if let Some(path) = map {
        let tiles = &record.map;
        let png = map::map_png((tiles.cols, tiles.rows), &tiles.blur_sigma_px, MAP_TILE_PX)?;
        if outputs.write(Some(path), |out| out.write_all(&png)) {
            text.push_str(&format!("map: {}\n", path.display()));
        }
    }
    outputs.write(json, |out| json::write(&record, out));
    outputs.print(&text);
    Ok(outputs.outcome(Outcome::Whole))
}
