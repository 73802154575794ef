//! `stopwise cache`.

use std::path::Path;

use anyhow::{Context, bail};
use stopwise::store::cache::{self, Cache};
use stopwise::store::paths::{self, CACHE_VARIABLE};

use super::args::{CacheArgs, CacheWhat};
use super::outputs::Outcome;
use super::screen;

/// Opens the cache, unless it is off.
pub fn open() -> Option<Cache> {
    paths::cache_folder().map(|folder| Cache::open(&folder))
}

/// Tells what went wrong with a cache, if anything.
pub fn tell(cache: Option<&Cache>) {
    if let Some(trouble) = cache.and_then(Cache::trouble) {
        screen::print_note(&format!("stopwise: {trouble}"));
    }
}

/// Shows or clears the cache.
pub fn run(typed: &CacheArgs) -> anyhow::Result<Outcome> {
    let Some(folder) = paths::cache_folder() else {
        screen::print(&format!(
            "The cache is off. Set {CACHE_VARIABLE} to a folder to use one.\n"
        ))?;
        return Ok(Outcome::Whole);
    };
    screen::print(&match typed.what {
        CacheWhat::Show => shown(&folder)?,
        CacheWhat::Clear => {
            let removed = cache::clear(&folder)
                .with_context(|| format!("cannot remove the cache in {}", folder.display()))?;
            let folder = folder.display();
            if removed {
                format!("Removed the cache in {folder}.\n")
            } else {
                format!("There was no cache in {folder}.\n")
            }
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
        bail!(cache.trouble().unwrap_or_else(|| "cannot read the cache".to_owned()));
    };
    let count = |n: i64, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    Ok(format!(
        "{}\n{} and {} cached; {:.1} MB on disk (limit {:.0} MB of results)\n",
        holds.file.display(),
        count(holds.results, "result", "results"),
        count(holds.files, "file", "files"),
        holds.bytes as f64 / 1e6,
        holds.most_bytes as f64 / 1e6,
    ))
}
