//! Where records are when nothing else is said.

use std::path::PathBuf;

use etcetera::BaseStrategy;

use crate::error::{Error, Result};

/// Folder of this program inside the platform's folders.
const FOLDER: &str = "stopwise";

fn named(variable: &str) -> Option<PathBuf> {
    std::env::var_os(variable).filter(|v| !v.is_empty()).map(PathBuf::from)
}

/// The log: what `STOPWISE_LOG` names, else `stopwise/log.sqlite` in the platform's folder for
/// data.
///
/// # Errors
/// [`Error::NoHome`] when the system names no home folder.
pub fn log_place() -> Result<PathBuf> {
    if let Some(path) = named("STOPWISE_LOG") {
        return Ok(path);
    }
    let base = etcetera::choose_base_strategy()
        .map_err(|_| Error::NoHome { what: "log", option: "--log" })?;
    Ok(base.data_dir().join(FOLDER).join("log.sqlite"))
}

/// The rigs: what `STOPWISE_RIGS` names, else `stopwise/rigs.toml` in the platform's folder for
/// settings.
///
/// # Errors
/// [`Error::NoHome`] when the system names no home folder.
pub fn rigs_place() -> Result<PathBuf> {
    if let Some(path) = named("STOPWISE_RIGS") {
        return Ok(path);
    }
    let base = etcetera::choose_base_strategy()
        .map_err(|_| Error::NoHome { what: "rigs", option: "STOPWISE_RIGS" })?;
    Ok(base.config_dir().join(FOLDER).join("rigs.toml"))
}
