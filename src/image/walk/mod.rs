//! Finding the picture files below some paths.

pub(super) mod order;
mod same;

pub use order::sort_by_time;

use std::collections::{HashMap, HashSet};
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io;
use std::path::{Component, Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use super::FileKind;
use super::kind::{Named, Sniffed, named, sniff};
use super::open::unreadable;
use crate::core::path_text;
use crate::error::{Error, Result, SkipReason};

/// A picture file that can be tried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundFile {
    /// Where it is.
    pub path: PathBuf,
    /// Its name in reports: the path below the one folder that was asked for, or the path as
    /// given, with `/` between folders and without control characters.
    pub shown: String,
    /// What its first bytes say it is.
    pub kind: FileKind,
    /// The other file of the same exposure, with the same name in the same folder: the JPEG of a
    /// raw file, or the raw file of a JPEG.
    pub partner: Option<PathBuf>,
}

/// What was found below some paths.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FoundFiles {
    /// Files to try, in natural order of their paths (frame_2 before frame_10).
    pub items: Vec<FoundFile>,
    /// Files and folders passed over that a user would expect to see, in the same order.
    pub skipped: Vec<(PathBuf, SkipReason)>,
}

/// Folders that hold small copies, rubbish or an operating system's own files.
const PASSED_OVER_FOLDERS: &[&str] = &[
    "thmbnl",
    "thumbs",
    "thumbnail",
    "thumbnails",
    "@eadir",
    "__macosx",
    "lost+found",
    "$recycle.bin",
    "system volume information",
];

/// Whether raw files can be decoded.
const RAW_READ: bool = cfg!(feature = "raw");

/// Finds the picture files among `paths` and, recursively, below the folders among them.
///
/// Below folders, hidden files and folders, folders of small copies, films, sidecars and whatever
/// else does not look like a picture are passed over in silence. A raw file and the
/// JPEG of the same name are one exposure: the raw file is listed, the JPEG is its partner. Built
/// without the feature `raw` it is the other way round, and a raw file alone is skipped with a
/// reason, as are always pictures of families
/// that are not read, empty files and copies of files found before. What `paths` names itself is
/// always answered for. Links are followed, a file itself is listed before links to it, and a folder
/// that leads back to itself is entered once.
///
/// # Errors
/// [`Error::Missing`] when a path does not exist, [`Error::Read`] when the system does not say.
/// Finding nothing is no error.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let folder = tempfile::tempdir()?;
/// let grey = image::GrayImage::new(64, 64);
/// grey.save(folder.path().join("frame_10.png"))?;
/// std::fs::write(folder.path().join("frame_2.jpg"), b"")?;
/// std::fs::write(folder.path().join("notes.txt"), b"wind from the left")?;
///
/// let found = stopwise::image::find(&[folder.path().to_path_buf()])?;
/// assert_eq!(found.items.len(), 1);
/// assert_eq!(found.items[0].shown, "frame_10.png");
/// assert_eq!(found.skipped[0].1, stopwise::SkipReason::Empty);
/// # Ok(()) }
/// ```
pub fn find(paths: &[PathBuf]) -> Result<FoundFiles> {
    let mut search = Search::default();
    for path in paths {
        if let Err(source) = path.symlink_metadata() {
            return Err(match source.kind() {
                io::ErrorKind::NotFound => Error::Missing { path: path.clone() },
                _ => Error::Read { path: path.clone(), source },
            });
        }
        if path.is_dir() {
            search.folder(path, paths.len() == 1);
        } else {
            let direct = !path.is_symlink();
            search.note(
                FileCandidate { path: path.clone(), shown: shown(path), asked_for: true },
                direct,
            );
        }
    }
    Ok(search.finish())
}

/// A file that may be a picture.
struct FileCandidate {
    path: PathBuf,
    shown: String,
    asked_for: bool,
}

#[derive(Default)]
struct Search {
    /// Files to look at, by their own path and by a link.
    direct: Vec<FileCandidate>,
    linked: Vec<FileCandidate>,
    seen: HashSet<PathBuf>,
    pictures: Vec<FoundFile>,
    raws: Vec<FoundFile>,
    skipped: Vec<(PathBuf, SkipReason)>,
}

impl Search {
    fn note(&mut self, candidate: FileCandidate, direct: bool) {
        if direct { self.direct.push(candidate) } else { self.linked.push(candidate) }
    }

    fn folder(&mut self, root: &Path, alone: bool) {
        let real_root = fs::canonicalize(root).ok();
        let walk = WalkDir::new(root)
            .follow_links(true)
            .sort_by(|a, b| order::natural(a.path(), b.path()))
            .into_iter()
            .filter_entry(|e| e.depth() == 0 || !passed_over(e));
        for entry in walk {
            match entry {
                Ok(entry) if entry.file_type().is_file() => {
                    let path = entry.into_path();
                    if named(&path) == Named::Other {
                        continue;
                    }
                    let below = path.strip_prefix(root);
                    let name = match below {
                        Ok(below) if alone => shown(below),
                        _ => shown(&path),
                    };
                    let as_it_stands = real_root.as_ref().zip(below.ok()).map(|(r, b)| r.join(b));
                    let direct = fs::canonicalize(&path).ok() == as_it_stands;
                    self.note(FileCandidate { path, shown: name, asked_for: false }, direct);
                }
                Ok(_) => {}
                // A link back to a folder above: its content is found there.
                Err(e) if e.loop_ancestor().is_some() => {}
                Err(e) => {
                    let path = e.path().unwrap_or(root).to_path_buf();
                    let dead_link = path.is_symlink() && named(&path) == Named::Other;
                    if let (Some(io), false) = (e.io_error(), dead_link) {
                        self.skipped.push((path, unreadable(io)));
                    }
                }
            }
        }
    }

    fn file(&mut self, path: PathBuf, shown: String, asked_for: bool) {
        let name = named(&path);
        if name == Named::Other && !asked_for {
            return;
        }
        // The same file by another way: a path given twice, or a link.
        let real = fs::canonicalize(&path).unwrap_or_else(|_| path.clone());
        if !self.seen.insert(real) {
            return;
        }
        // Pipes and devices would be waited on for ever.
        if fs::metadata(&path).is_ok_and(|m| !m.is_file()) {
            self.skipped.push((path, SkipReason::NotAPicture));
            return;
        }
        let sniffed = File::open(&path).and_then(|mut file| sniff(&mut file, &path));
        let reason = match sniffed {
            Ok(Sniffed::Kind(FileKind::Raw)) => {
                self.raws.push(FoundFile { path, shown, kind: FileKind::Raw, partner: None });
                return;
            }
            Ok(Sniffed::Kind(kind)) => {
                self.pictures.push(FoundFile { path, shown, kind, partner: None });
                return;
            }
            Ok(Sniffed::Empty) => SkipReason::Empty,
            Ok(Sniffed::Unsupported(family)) => other_family(family),
            Ok(Sniffed::Video) if asked_for => SkipReason::Unsupported("film".into()),
            Ok(Sniffed::Video | Sniffed::Unknown) => match name {
                Named::Unsupported(family) => other_family(family),
                _ => SkipReason::NotAPicture,
            },
            Err(e) => unreadable(&e),
        };
        self.skipped.push((path, reason));
    }

    fn finish(mut self) -> FoundFiles {
        // Files before links to them: a link never takes its target's place.
        let direct = std::mem::take(&mut self.direct);
        let linked = std::mem::take(&mut self.linked);
        for FileCandidate { path, shown, asked_for } in direct.into_iter().chain(linked) {
            self.file(path, shown, asked_for);
        }
        self.pictures.sort_by(|a, b| order::natural(&a.path, &b.path));
        self.raws.sort_by(|a, b| order::natural(&a.path, &b.path));
        self.pair();
        self.pictures.sort_by(|a, b| order::natural(&a.path, &b.path));
        let paths: Vec<&Path> = self.pictures.iter().map(|p| p.path.as_path()).collect();
        let copies = same::earlier_copies(&paths);
        let names: Vec<String> = self.pictures.iter().map(|p| p.shown.clone()).collect();
        let mut items = Vec::with_capacity(self.pictures.len());
        for (picture, copy_of) in self.pictures.into_iter().zip(copies) {
            match copy_of {
                Some(first) => {
                    let reason = SkipReason::Duplicate(names[first].clone());
                    self.skipped.push((picture.path, reason));
                }
                None => items.push(picture),
            }
        }
        self.skipped.sort_by(|a, b| order::natural(&a.0, &b.0));
        FoundFiles { items, skipped: self.skipped }
    }

    /// Joins each raw file to the picture of its name. Of several pictures of one name the JPEG is
    /// taken: it is what the camera wrote beside it.
    fn pair(&mut self) {
        let mut by_name: HashMap<(PathBuf, String), Vec<usize>> = HashMap::new();
        for (i, picture) in self.pictures.iter().enumerate() {
            if let Some(key) = folder_and_stem(&picture.path) {
                by_name.entry(key).or_default().push(i);
            }
        }
        for raw in std::mem::take(&mut self.raws) {
            let rivals = folder_and_stem(&raw.path).and_then(|key| by_name.get(&key));
            let picture = rivals.and_then(|all| {
                all.iter()
                    .copied()
                    .filter(|i| self.pictures[*i].partner.is_none())
                    .min_by_key(|i| self.pictures[*i].kind != FileKind::Jpeg)
            });
            match picture {
                Some(i) if RAW_READ => {
                    let jpeg = std::mem::replace(&mut self.pictures[i], raw);
                    self.pictures[i].partner = Some(jpeg.path);
                }
                Some(i) => self.pictures[i].partner = Some(raw.path),
                None if RAW_READ => self.pictures.push(raw),
                None => self.skipped.push((raw.path, SkipReason::Raw)),
            }
        }
        self.partners_not_asked_for();
    }

    /// Partners of pictures whose folder was not walked, because they were named one by one.
    fn partners_not_asked_for(&mut self) {
        let mut listed: HashMap<PathBuf, HashMap<String, PathBuf>> = HashMap::new();
        for picture in self.pictures.iter_mut().filter(|p| p.partner.is_none()) {
            let Some((folder, stem)) = folder_and_stem(&picture.path) else { continue };
            let raws = listed.entry(folder).or_insert_with_key(|folder| raws_in(folder));
            if picture.kind == FileKind::Jpeg {
                let new = |raw: &&PathBuf| {
                    fs::canonicalize(raw).is_ok_and(|real| !self.seen.contains(&real))
                };
                picture.partner = raws.get(&stem).filter(new).cloned();
            }
        }
    }
}

/// The raw files of a folder by stem, as their names tell.
fn raws_in(folder: &Path) -> HashMap<String, PathBuf> {
    let here = Path::new(".");
    let folder = if folder.as_os_str().is_empty() { here } else { folder };
    let mut raws: Vec<PathBuf> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| named(path) == Named::Raw && !path.file_name().is_some_and(hidden))
        .collect();
    raws.sort_by(|a, b| order::natural(b, a));
    raws.into_iter().filter_map(|raw| Some((folder_and_stem(&raw)?.1, raw))).collect()
}

fn folder_and_stem(path: &Path) -> Option<(PathBuf, String)> {
    let stem = path.file_stem()?.to_string_lossy().to_lowercase();
    Some((path.parent()?.to_path_buf(), stem))
}

/// Names that start with a dot, among them the "._" twins that some systems write.
fn hidden(name: &OsStr) -> bool {
    name.as_encoded_bytes().starts_with(b".")
}

fn passed_over(entry: &DirEntry) -> bool {
    let name = entry.file_name();
    hidden(name)
        || entry.file_type().is_dir()
            && name
                .to_str()
                .is_some_and(|n| PASSED_OVER_FOLDERS.contains(&n.to_ascii_lowercase().as_str()))
}

/// A path as it stands in records: parts joined by `/`, characters as they are, bytes that are no
/// text as [`crate::core::path_text`] writes them. Whoever shows it to people takes care of what does not print.
fn shown(path: &Path) -> String {
    let mut out = String::new();
    for part in path.components().filter(|c| *c != Component::CurDir) {
        if !out.is_empty() && !out.ends_with('/') {
            out.push('/');
        }
        out.push_str(&path_text(Path::new(part.as_os_str())));
    }
    out
}
/// A picture of a family that is not read, with what to do about it.
fn other_family(family: &str) -> SkipReason {
    SkipReason::Unsupported(format!(
        "{family}. Set the camera or phone to JPEG, or convert a copy to JPEG or TIFF first"
    ))
}
