//! Whether a run is kept in the log, and adding it.

use std::path::PathBuf;

use stopwise::report::wording;
use stopwise::store::log::{Log, NewOuting};
use stopwise::store::paths;

use super::args::LogOptions;
use super::screen;

/// The log of a run, opened before the work: one that cannot be written is named at once. `None`
/// when the run is not kept.
pub fn open(typed: &LogOptions) -> anyhow::Result<Option<Log>> {
    Ok(log_path(typed)?.map(|path| Log::open(&path)).transpose()?)
}

/// The log to write to, when the run is to be kept: asked for with it, or for every run.
fn log_path(typed: &LogOptions) -> anyhow::Result<Option<PathBuf>> {
    Ok(match &typed.log {
        Some(Some(path)) => Some(path.clone()),
        Some(None) => Some(paths::log_place()?),
        None if !typed.no_log && every_run_is_logged()? => Some(paths::log_place()?),
        None => None,
    })
}

/// The setting that puts every run in the log.
const EVERY_RUN: &str = "STOPWISE_LOG_RUNS";

fn every_run_is_logged() -> anyhow::Result<bool> {
    let Some(value) = std::env::var_os(EVERY_RUN) else { return Ok(false) };
    match value.to_string_lossy().trim().to_lowercase().as_str() {
        "yes" | "1" | "true" | "on" => Ok(true),
        "" | "no" | "0" | "false" | "off" => Ok(false),
        other => anyhow::bail!("{EVERY_RUN} is {other}: set it to yes or no"),
    }
}

/// Adds an outing to the log; says what became of it, and whether it is kept. One without frames
/// is none; of a run that was stopped nothing is kept.
pub fn add(mut log: Log, outing: impl FnOnce() -> NewOuting, stopped: bool) -> bool {
    if stopped {
        screen::print_note("Interrupted. Nothing was added to the log.");
        return true;
    }
    let outing = outing();
    if outing.frames.is_empty() {
        return true;
    }
    match log.add(&outing) {
        Ok(added) => {
            screen::print_note(&format!(
                "Logged as outing {}: {}{} in {}",
                added.id,
                wording::count(added.frames as u32, "frame", "frames"),
                if added.replaced { ", replacing an earlier measurement" } else { "" },
                log.path().display()
            ));
            true
        }
        Err(error) => {
            screen::print_problem(&error.into());
            false
        }
    }
}
