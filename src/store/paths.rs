//! Where things are kept: where a variable puts them, else in the platform's own folders.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;

use etcetera::BaseStrategy;

use crate::error::{Error, KeptFile, Result};

/// Folder of this program inside the platform's folders.
const FOLDER: &str = "stopwise";
/// Names another folder for the cache, or does without one.
pub const CACHE_VARIABLE: &str = "STOPWISE_CACHE";

/// What a variable names; an empty one names nothing.
fn named(variable: &str) -> Option<OsString> {
    std::env::var_os(variable).filter(|v| !v.is_empty())
}

/// Our own folder in the one that the platform has for a purpose; `None` when the system names no
/// home.
fn usual(purpose: impl Fn(&dyn BaseStrategy) -> PathBuf) -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    Some(purpose(&base).join(FOLDER))
}

/// The log: what `STOPWISE_LOG` names, else `stopwise/log.sqlite` in the platform's folder for
/// data.
///
/// # Errors
/// [`Error::NoHome`] when the system names no home folder.
pub fn log_place() -> Result<PathBuf> {
    named("STOPWISE_LOG")
        .map(PathBuf::from)
        .or_else(|| Some(usual(|b| b.data_dir())?.join("log.sqlite")))
        .ok_or(Error::NoHome(KeptFile::Log))
}

/// The rigs: what `STOPWISE_RIGS` names, else `stopwise/rigs.toml` in the platform's folder for
/// settings.
///
/// # Errors
/// [`Error::NoHome`] when the system names no home folder.
pub fn rigs_place() -> Result<PathBuf> {
    named("STOPWISE_RIGS")
        .map(PathBuf::from)
        .or_else(|| Some(usual(|b| b.config_dir())?.join("rigs.toml")))
        .ok_or(Error::NoHome(KeptFile::Rigs))
}

/// The decisions: what `STOPWISE_DECISIONS` names, else `stopwise/decisions.sqlite` in the
/// platform's folder for data.
///
/// # Errors
/// [`Error::NoHome`] when the system names no home folder.
pub fn decisions_place() -> Result<PathBuf> {
    named("STOPWISE_DECISIONS")
        .map(PathBuf::from)
        .or_else(|| Some(usual(|b| b.data_dir())?.join("decisions.sqlite")))
        .ok_or(Error::NoHome(KeptFile::Decisions))
}

/// The cache's folder: what [`CACHE_VARIABLE`] names, else `stopwise` in the platform's folder for
/// caches; `None` when the variable says "off" or the system names no home. A build for
/// development has none of its own: what it measured yesterday is not what it measures today.
pub fn cache_folder() -> Option<PathBuf> {
    let usual = || usual(|b| b.cache_dir()).filter(|_| !cfg!(debug_assertions));
    chosen(named(CACHE_VARIABLE).as_deref(), usual)
}

fn chosen(typed: Option<&OsStr>, usual: impl Fn() -> Option<PathBuf>) -> Option<PathBuf> {
    match typed {
        None => usual(),
        Some(text) if text == "off" => None,
        Some(text) => Some(PathBuf::from(text)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_variable_moves_the_cache_or_switches_it_off() {
        let usual = || Some(PathBuf::from("/usual"));
        let of = |text: Option<&str>| chosen(text.map(OsStr::new), usual);
        assert_eq!(of(None), usual());
        assert_eq!(of(Some("off")), None);
        assert_eq!(of(Some("here/it")), Some(PathBuf::from("here/it")));
    }
}
