//! Finding clips below some paths.

use std::collections::HashSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use crate::error::{Error, Result, SkipReason};
use crate::image::walk::order::natural;

/// Ends of names that clips have. What is named itself is tried whatever its name.
const ENDS: &[&str] = &[
    "mov", "mp4", "m4v", "mkv", "webm", "avi", "mts", "m2ts", "ts", "mpg", "mpeg", "mxf", "wmv",
    "3gp",
];

/// Clips that can be tried, and what was passed over.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FoundClips {
    /// Path and name in reports, in natural order.
    pub clips: Vec<(PathBuf, String)>,
    /// Files that a user would expect to see.
    pub skipped: Vec<(String, SkipReason)>,
}

/// Finds clips among `paths` and, recursively, below the folders among them. Below folders, names
/// decide; hidden files and folders are passed over.
///
/// # Errors
/// [`Error::Missing`] when a path does not exist, [`Error::Read`] when the system does not say.
pub fn find(paths: &[PathBuf]) -> Result<FoundClips> {
    let mut found = FoundClips::default();
    let mut seen = HashSet::new();
    for path in paths {
        if let Err(source) = path.symlink_metadata() {
            return Err(match source.kind() {
                io::ErrorKind::NotFound => Error::Missing { path: path.clone() },
                _ => Error::Read { path: path.clone(), source },
            });
        }
        if path.is_dir() {
            let hidden =
                |p: &Path| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
            let walk = WalkDir::new(path)
                .follow_links(true)
                .sort_by(|a, b| natural(a.path(), b.path()))
                .into_iter()
                .filter_entry(|e| e.depth() == 0 || !hidden(e.path()));
            for entry in walk.filter_map(std::result::Result::ok) {
                if entry.file_type().is_file() && has_clip_name(entry.path()) {
                    let below = entry.path().strip_prefix(path).unwrap_or(entry.path());
                    let shown = if paths.len() == 1 { below } else { entry.path() };
                    found.take(entry.path(), shown, &mut seen);
                }
            }
        } else {
            found.take(path, path, &mut seen);
        }
    }
    Ok(found)
}

fn has_clip_name(path: &Path) -> bool {
    let end = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    end.is_some_and(|e| ENDS.contains(&e.as_str()))
}

impl FoundClips {
    fn take(&mut self, path: &Path, shown: &Path, seen: &mut HashSet<PathBuf>) {
        let real = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if !seen.insert(real) {
            return;
        }
        let shown = shown.display().to_string();
        match fs::metadata(path) {
            // Pipes and devices would be waited on for ever.
            Ok(m) if !m.is_file() => {
                self.skipped.push((shown, SkipReason::NotAClip("not a file".into())));
            }
            Ok(m) if m.len() == 0 => self.skipped.push((shown, SkipReason::Empty)),
            Ok(_) => self.clips.push((path.to_owned(), shown)),
            Err(e) => self.skipped.push((shown, SkipReason::Unreadable(e.to_string()))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clips_are_found_by_name_in_folders_and_always_when_named() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["c10.mp4", "c2.MOV", "notes.txt", "empty.mkv", ".hidden.mp4"] {
            let bytes: &[u8] = if name == "empty.mkv" { b"" } else { b"x" };
            fs::write(folder.path().join(name), bytes).unwrap();
        }
        let found = find(&[folder.path().to_owned()]).unwrap();
        let names: Vec<&str> = found.clips.iter().map(|c| c.1.as_str()).collect();
        assert_eq!(names, ["c2.MOV", "c10.mp4"]);
        assert_eq!(found.skipped, [("empty.mkv".to_owned(), SkipReason::Empty)]);
        let notes = folder.path().join("notes.txt");
        assert_eq!(find(&[notes.clone(), notes]).unwrap().clips.len(), 1);
        assert!(matches!(find(&[folder.path().join("no")]), Err(Error::Missing { .. })));
    }
}
