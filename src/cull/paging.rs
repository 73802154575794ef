//! A long report in several pages: browsers take seconds over a file of hundreds of MB.
//!
//! The first page has the path asked for and the whole outing's findings; the next ones stand
//! beside it as `report-2.html`, `report-3.html`. Each says which bursts it holds and leads to all
//! others. Only files that this program wrote are replaced or taken away.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Largest page, bytes, without its head and foot, which take some 0.2 MB: browsers show 15 MB
/// within a second.
const MAX_PAGE_BYTES: u64 = 14_000_000;
/// Largest piece of a page, bytes: a longer burst is cut.
pub const MAX_PIECE_BYTES: usize = 10_000_000;
/// What pages after the first begin with, after their style.
const MARK: &str = "<!-- stopwise report, page ";
/// The mark is within so many bytes.
const MARK_WITHIN: u64 = 64 << 10;

/// A piece of the body: a burst or a part of one.
#[derive(Debug, Clone, Copy)]
pub struct Piece {
    /// Number of the burst.
    pub burst: u32,
    /// Its length in the body.
    pub bytes: u64,
}

/// A page to be.
pub struct Page {
    /// From 1.
    pub number: usize,
    /// Its file.
    pub path: PathBuf,
    /// Its file as pages beside it call it.
    pub href: String,
    /// What it holds, in the order of the body.
    pub pieces: Vec<Piece>,
}

/// Lays pieces out on pages.
pub fn paged(path: &Path, pieces: &[Piece]) -> Vec<Page> {
    let mut groups: Vec<Vec<Piece>> = vec![Vec::new()];
    let mut bytes = 0;
    for piece in pieces {
        if bytes > 0 && bytes + piece.bytes > MAX_PAGE_BYTES {
            groups.push(Vec::new());
            bytes = 0;
        }
        bytes += piece.bytes;
        if let Some(group) = groups.last_mut() {
            group.push(*piece);
        }
    }
    let page = |(at, pieces)| {
        let path = page_path(path, at + 1);
        Page { number: at + 1, href: href(&path), path, pieces }
    };
    groups.into_iter().enumerate().map(page).collect()
}

fn page_path(path: &Path, number: usize) -> PathBuf {
    if number == 1 {
        return path.to_owned();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{number}"));
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

/// A file beside the page as an address: everything but letters, digits and `-._` is encoded.
fn href(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().as_encoded_bytes();
    let mut out = String::from("./");
    for b in name {
        match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' => {
                out.push(char::from(*b))
            }
            _ => out.push_str(&format!("%{b:02X}")),
        }
    }
    out
}

/// The pages after the first that are there from an earlier report, and whether this program wrote
/// them; up to the first number that is not there.
pub fn later_pages(path: &Path) -> Vec<(PathBuf, bool)> {
    let numbered = (2..).map(|n| page_path(path, n));
    let there = numbered.take_while(|p| p.symlink_metadata().is_ok());
    there.map(|p| (p.clone(), is_ours(&p))).collect()
}

fn is_ours(path: &Path) -> bool {
    let file = fs::symlink_metadata(path).is_ok_and(|m| m.is_file());
    let mut start = Vec::new();
    let read =
        || -> io::Result<usize> { File::open(path)?.take(MARK_WITHIN).read_to_end(&mut start) };
    let mut read = read;
    file && read().is_ok() && start.windows(MARK.len()).any(|w| w == MARK.as_bytes())
}

/// One page in the list of all.
pub struct PageLink {
    /// From 1.
    pub number: usize,
    /// Its file.
    pub file: String,
    /// Which bursts it holds.
    pub bursts: String,
}

/// The list of all pages on one of them.
pub struct PagesView {
    /// The page that it is on.
    pub number: usize,
    /// Which bursts that holds.
    pub bursts: String,
    /// All pages.
    pub links: Vec<PageLink>,
}

impl PagesView {
    /// The list for one page.
    pub fn new(pages: &[Page], number: usize) -> PagesView {
        let bursts = |page: &Page| match (page.pieces.first(), page.pieces.last()) {
            (Some(a), Some(b)) if a.burst != b.burst => {
                format!("bursts {} to {}", a.burst, b.burst)
            }
            (Some(a), _) => format!("burst {}", a.burst),
            _ => "no burst".to_owned(),
        };
        let link = |page: &Page| PageLink {
            number: page.number,
            file: page.href.clone(),
            bursts: bursts(page),
        };
        let own = pages.iter().find(|p| p.number == number);
        PagesView {
            number,
            bursts: own.map(bursts).unwrap_or_default(),
            links: pages.iter().map(link).collect(),
        }
    }
}

/// Counts what goes through.
pub struct Counted<W> {
    /// Where it goes.
    pub out: W,
    /// Bytes so far.
    pub bytes: u64,
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.out.write(bytes)?;
        self.bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_are_filled_up_to_the_limit_and_lose_nothing() {
        let pieces: Vec<Piece> =
            (1..=50).map(|burst| Piece { burst, bytes: 1_000_000 + u64::from(burst) }).collect();
        let pages = paged(Path::new("a/day of mine.html"), &pieces);
        let sums: Vec<u64> = pages.iter().map(|p| p.pieces.iter().map(|i| i.bytes).sum()).collect();
        assert!(sums.iter().all(|s| *s <= MAX_PAGE_BYTES) && pages.len() == 4, "{sums:?}");
        let all: Vec<u32> = pages.iter().flat_map(|p| p.pieces.iter().map(|i| i.burst)).collect();
        assert_eq!(all, (1..=50).collect::<Vec<_>>());
        assert_eq!(pages[0].path, Path::new("a/day of mine.html"));
        assert_eq!(pages[1].path, Path::new("a/day of mine-2.html"));
        assert_eq!(pages[1].href, "./day%20of%20mine-2.html");
        assert_eq!(PagesView::new(&pages, 2).bursts, "bursts 14 to 26");
        assert_eq!(paged(Path::new("r.html"), &[]).len(), 1);
    }
}
