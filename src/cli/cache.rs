//! `stopwise cache`, and where the cache is.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use stopwise::store::cache::{self, Cache};

use super::args::{CacheArgs, CacheWhat};
use super::outputs::Outcome;
use super::screen;

/// Names another folder for the cache, or does without one.
const VARIABLE: &str = "STOPWISE_CACHE";

/// The folder of the cache; `None` when it is off or the system names no home.
fn folder() -> Option<PathBuf> {
    // What a program under development measured yesterday is not what it measures today.
    let usual = || cache::usual_folder().filter(|_| !cfg!(debug_assertions));
    chosen(std::env::var_os(VARIABLE).as_deref(), usual)
}

fn chosen(typed: Option<&OsStr>, usual: impl Fn() -> Option<PathBuf>) -> Option<PathBuf> {
    match typed {
        None => usual(),
        Some(text) if text.is_empty() => usual(),
        Some(text) if text == "off" => None,
        Some(text) => Some(PathBuf::from(text)),
    }
}

/// Opens the cache, unless it is off.
pub fn open() -> Option<Cache> {
    folder().map(|folder| Cache::open(&folder))
}

/// Tells what went wrong with a cache, if anything.
pub fn tell(cache: Option<&Cache>) {
    if let Some(trouble) = cache.and_then(Cache::trouble) {
        screen::print_note(&format!("stopwise: {trouble}"));
    }
}

/// Shows or clears the cache.
pub fn run(typed: &CacheArgs) -> anyhow::Result<Outcome> {
    let Some(folder) = folder() else {
        screen::print(&format!("The cache is off. {VARIABLE} names a folder for it.\n"))?;
        return Ok(Outcome::Whole);
    };
    screen::print(&match typed.what {
        CacheWhat::Show => shown(&folder)?,
        CacheWhat::Clear => {
            let removed = cache::clear(&folder)
                .with_context(|| format!("cannot remove the cache in {}", folder.display()))?;
            let what = if removed { "Removed the cache" } else { "There is no cache" };
            format!("{what} in {}.\n", folder.display())
        }
    })?;
    Ok(Outcome::Whole)
}

fn shown(folder: &Path) -> anyhow::Result<String> {
    if !cache::is_in(folder) {
        return Ok(format!("No cache yet. It will be in {}.\n", folder.display()));
    }
    let cache = Cache::open(folder);
    let Some(holds) = cache.holds() else {
        bail!(cache.trouble().unwrap_or_else(|| "the cache cannot be read".to_owned()));
    };
    let count = |n: i64, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    Ok(format!(
        "{}\n{} kept, {} known, {:.1} MB on disk, at most {:.0} MB of results\n",
        holds.file.display(),
        count(holds.results, "result", "results"),
        count(holds.files, "file", "files"),
        holds.bytes as f64 / 1e6,
        holds.most_bytes as f64 / 1e6,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_variable_moves_it_or_switches_it_off() {
        let usual = || Some(PathBuf::from("/usual"));
        let of = |text: Option<&str>| chosen(text.map(OsStr::new), usual);
        assert_eq!(of(None), usual());
        assert_eq!(of(Some("")), usual());
        assert_eq!(of(Some("off")), None);
        assert_eq!(of(Some("here/it")), Some(PathBuf::from("here/it")));
    }
}
