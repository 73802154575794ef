//! What was measured before, so that it need not be measured again.
//!
//! One SQLite file. It holds two things: for every file that was looked at its content's hash
//! (BLAKE3) with what the system said of the file then, and for every result some bytes under a
//! key that whoever asks makes from content, method and options. What is in here can always be
//! made anew: nothing is lost when it is deleted, a result that does not pass its own checksum is
//! not given out, and the first failure of any kind puts the cache out of use for the rest of the
//! run, with one sentence to tell ([`Cache::trouble`]).

mod stamp;

use std::fmt::Display;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use rusqlite::{Connection, OptionalExtension, params};

pub use stamp::Stamp;

use super::hash::Content;
use super::sqlite::{self, DatabaseKind, Forms, OpenFailure};

/// Name of the file in its folder.
const FILE: &str = "stopwise-cache.sqlite";
/// The database, marked "stwc". To wait for another process takes longer than any single result.
const KIND: DatabaseKind = DatabaseKind {
    application_id: 0x7374_7763,
    forms: Forms::Only(1, TABLES),
    busy_wait: Duration::from_secs(10),
    durable: false,
};
/// Results are kept up to this many bytes; then those not used for longest go.
const MAX_BYTES: i64 = 2 << 30;
/// Down to this share of the limit, so that they do not go one by one.
const KEEP_SHARE: f64 = 0.9;
/// Files whose hash is remembered at most.
const MAX_FILES: i64 = 200_000;
/// A result's last use is written down again after this long, s.
const USE_STEP_S: i64 = 3600;

/// A cache that is open. Never fails: what goes wrong is told by [`Cache::trouble`].
#[derive(Debug)]
pub struct Cache {
    open: Mutex<Option<Open>>,
    trouble: Mutex<Option<String>>,
    folder: PathBuf,
}

#[derive(Debug)]
struct Open {
    connection: Connection,
    /// Bytes of all results.
    bytes: i64,
    most_bytes: i64,
}

/// What a cache holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CacheSize {
    /// The file.
    pub file: PathBuf,
    /// Results.
    pub results: i64,
    /// Files whose content's hash is known.
    pub files: i64,
    /// Size on disk, bytes.
    pub bytes: i64,
    /// Bytes of results that are kept at most.
    pub most_bytes: i64,
}

impl Cache {
    /// Opens the cache of a folder and makes it when there is none.
    pub fn open(folder: &Path) -> Cache {
        Cache::open_limited(folder, MAX_BYTES)
    }

    /// As [`open`](Cache::open), with another limit of bytes.
    pub fn open_limited(folder: &Path, most_bytes: i64) -> Cache {
        Cache::open_kind(folder, most_bytes, &KIND)
    }

    /// As [`open`](Cache::open), with another time to wait for other processes.
    #[cfg(test)]
    pub(super) fn open_waiting(folder: &Path, busy_wait: std::time::Duration) -> Cache {
        Cache::open_kind(folder, MAX_BYTES, &DatabaseKind { busy_wait, ..KIND })
    }

    fn open_kind(folder: &Path, most_bytes: i64, kind: &DatabaseKind) -> Cache {
        let cache = Cache {
            open: Mutex::new(None),
            trouble: Mutex::new(None),
            folder: folder.to_path_buf(),
        };
        match fs::create_dir_all(folder) {
            Err(e) => cache.broke(&e),
            Ok(()) => match connect(&folder.join(FILE), kind) {
                Ok((connection, bytes)) => {
                    *locked(&cache.open) = Some(Open { connection, bytes, most_bytes });
                }
                Err(OpenFailure::Database(e)) => cache.failed(&e),
                Err(_) => cache.broke(&"its file is of another kind"),
            },
        }
        cache
    }

    /// What went wrong first, as a sentence with its remedy; `None` when all is well.
    pub fn trouble(&self) -> Option<String> {
        locked(&self.trouble).clone()
    }

    /// The content of a file, and what the system says of it: hashed, unless it was before and
    /// nothing that the system says has changed since.
    ///
    /// `None` when the file cannot be read or the cache is out of use.
    pub fn content_of(&self, path: &Path) -> Option<(Content, Stamp)> {
        let stamp = Stamp::of(path)?;
        let name = name_of(path);
        if let Some(content) = self.with(|open| known_content(open, &name, &stamp))? {
            return Some((content, stamp));
        }
        let seen_ns = now_ns();
        let (content, _) = Content::of_file(path).ok()?;
        // A file that changes while it is read has no content to speak of.
        (Stamp::of(path)? == stamp).then_some(())?;
        self.with(|open| {
            open.connection.prepare("REPLACE INTO files VALUES (?1, ?2, ?3, ?4)")?.execute(params![
                name,
                stamp.bytes(),
                seen_ns,
                content.0
            ])
        })?;
        Some((content, stamp))
    }

    /// The bytes under a key.
    pub fn get(&self, key: &Content) -> Option<Vec<u8>> {
        self.with(|open| {
            let row = open
                .connection
                .prepare("SELECT check_sum, used_s, bytes FROM results WHERE key = ?1")?
                .query_row([key.0], |r| {
                    Ok((r.get::<_, [u8; 32]>(0)?, r.get::<_, i64>(1)?, r.get::<_, Vec<u8>>(2)?))
                })
                .optional()?;
            let Some((check_sum, used_s, bytes)) = row else { return Ok(None) };
            if Content::of(&bytes).0 != check_sum {
                return Ok(None);
            }
            if now_s().saturating_sub(used_s) > USE_STEP_S {
                open.connection
                    .prepare("UPDATE results SET used_s = ?2 WHERE key = ?1")?
                    .execute(params![key.0, now_s()])?;
            }
            Ok(Some(bytes))
        })?
    }

    /// Keeps bytes under a key; those not used for longest make room. More than a quarter of the
    /// limit is not kept.
    pub fn put(&self, key: &Content, bytes: &[u8]) {
        let size = bytes.len() as i64;
        self.with(|open| {
            if size > open.most_bytes / 4 {
                return Ok(());
            }
            let change = open.connection.transaction()?;
            let before: Option<i64> = change
                .query_row("SELECT size FROM results WHERE key = ?1", [key.0], |r| r.get(0))
                .optional()?;
            change
                .prepare("REPLACE INTO results VALUES (?1, ?2, ?3, ?4, ?5)")?
                .execute(params![key.0, Content::of(bytes).0, now_s(), size, bytes])?;
            let total = open.bytes.saturating_add(size);
            let mut total = total.saturating_sub(before.unwrap_or(0));
            if total > open.most_bytes {
                let room = (open.most_bytes as f64 * KEEP_SHARE) as i64;
                total = make_room(&change, total, room, key)?;
            }
            change.commit()?;
            open.bytes = total;
            Ok(())
        });
    }

    /// What is in it; `None` when it is out of use.
    pub fn holds(&self) -> Option<CacheSize> {
        self.with(|open| {
            let count = |sql: &str| open.connection.query_row(sql, [], |r| r.get::<_, i64>(0));
            let pages = count("PRAGMA page_count")?.saturating_mul(count("PRAGMA page_size")?);
            Ok(CacheSize {
                file: self.folder.join(FILE),
                results: count("SELECT count(*) FROM results")?,
                files: count("SELECT count(*) FROM files")?,
                bytes: pages,
                most_bytes: open.most_bytes,
            })
        })
    }

    fn with<T>(&self, work: impl FnOnce(&mut Open) -> rusqlite::Result<T>) -> Option<T> {
        let mut slot = locked(&self.open);
        match work(slot.as_mut()?) {
            Ok(value) => Some(value),
            Err(e) => {
                *slot = None;
                drop(slot);
                self.failed(&e);
                None
            }
        }
    }

    fn failed(&self, why: &rusqlite::Error) {
        if !sqlite::is_busy(why) {
            return self.broke(why);
        }
        // Nothing is wrong with the file: no advice to remove it.
        locked(&self.trouble).get_or_insert_with(|| {
            format!(
                "Another program has been writing to the cache in {} for {} s. Continuing without \
                 it.",
                self.folder.display(),
                KIND.busy_wait.as_secs()
            )
        });
    }

    fn broke(&self, why: &dyn Display) {
        locked(&self.trouble).get_or_insert_with(|| {
            format!(
                "The cache in {} cannot be used ({why}). Continuing without it. \
                 `stopwise cache clear` removes it; STOPWISE_CACHE puts it elsewhere.",
                self.folder.display()
            )
        });
    }
}

/// Removes the cache of a folder; whether there was one.
///
/// # Errors
/// When the system does not let the file be removed.
pub fn clear(folder: &Path) -> std::io::Result<bool> {
    let mut was_there = false;
    // The side files go first: without them the rest is still whole.
    for end in ["-wal", "-shm", ""] {
        match fs::remove_file(folder.join(format!("{FILE}{end}"))) {
            Ok(()) => was_there = true,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
            Err(e) => return Err(e),
        }
    }
    Ok(was_there)
}

/// Whether a folder holds a cache.
pub fn is_in(folder: &Path) -> bool {
    folder.join(FILE).exists()
}

/// The tables, in place of those of another form.
const TABLES: &str = "
DROP TABLE IF EXISTS files;
DROP TABLE IF EXISTS results;
CREATE TABLE files (
    path BLOB PRIMARY KEY, stamp BLOB NOT NULL, seen_ns INTEGER NOT NULL, content BLOB NOT NULL
) WITHOUT ROWID;
CREATE TABLE results (
    key BLOB PRIMARY KEY, check_sum BLOB NOT NULL, used_s INTEGER NOT NULL, size INTEGER NOT NULL,
    bytes BLOB NOT NULL
);
CREATE INDEX by_use ON results (used_s, size);
";

fn connect(file: &Path, kind: &DatabaseKind) -> Result<(Connection, i64), OpenFailure> {
    let connection = sqlite::open(file, kind)?;
    connection.execute(
        "DELETE FROM files WHERE path IN
         (SELECT path FROM files ORDER BY seen_ns DESC LIMIT -1 OFFSET ?1)",
        [MAX_FILES],
    )?;
    let bytes =
        connection.query_row("SELECT coalesce(sum(size), 0) FROM results", [], |r| r.get(0))?;
    Ok((connection, bytes))
}

/// Takes out results, those not used for longest first, down to some bytes; never the one of
/// `but`. Returns the bytes that are left.
fn make_room(
    change: &rusqlite::Transaction<'_>,
    mut total: i64,
    room: i64,
    but: &Content,
) -> rusqlite::Result<i64> {
    let mut oldest =
        change.prepare("SELECT rowid, size FROM results WHERE key <> ?1 ORDER BY used_s, rowid")?;
    let mut rows = oldest.query([but.0])?;
    let mut gone: Vec<i64> = Vec::new();
    while total > room
        && let Some(row) = rows.next()?
    {
        gone.push(row.get(0)?);
        total = total.saturating_sub(row.get(1)?);
    }
    for row in gone {
        change.execute("DELETE FROM results WHERE rowid = ?1", [row])?;
    }
    Ok(total)
}

fn known_content(open: &Open, name: &[u8], stamp: &Stamp) -> rusqlite::Result<Option<Content>> {
    let row = open
        .connection
        .prepare("SELECT stamp, seen_ns, content FROM files WHERE path = ?1")?
        .query_row([name], |r| {
            Ok((r.get::<_, Vec<u8>>(0)?, r.get::<_, i64>(1)?, r.get::<_, [u8; 32]>(2)?))
        })
        .optional()?;
    Ok(row
        .filter(|(then, seen_ns, _)| *then == stamp.bytes() && stamp.is_settled(*seen_ns))
        .map(|(_, _, content)| Content(content)))
}

/// A path as the system knows it, whatever the folder the program runs in.
fn name_of(path: &Path) -> Vec<u8> {
    let full = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    full.into_os_string().into_encoded_bytes()
}

fn now_ns() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
}

fn now_s() -> i64 {
    now_ns() / 1_000_000_000
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(n: u8) -> Content {
        Content([n; 32])
    }

    #[test]
    fn what_is_put_is_got_again_by_another_run() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("made/as needed");
        let cache = Cache::open(&place);
        assert_eq!(cache.get(&key(1)), None);
        cache.put(&key(1), b"one");
        cache.put(&key(1), b"two");
        drop(cache);
        let again = Cache::open(&place);
        assert_eq!(again.get(&key(1)).as_deref(), Some(&b"two"[..]));
        assert_eq!(again.holds().unwrap().results, 1);
        assert_eq!(again.trouble(), None);
        drop(again);
        assert!(is_in(&place) && clear(&place).unwrap());
        assert!(!is_in(&place) && !clear(&place).unwrap());
    }

    #[test]
    fn the_oldest_go_when_it_is_full() {
        let folder = tempfile::tempdir().unwrap();
        let cache = Cache::open_limited(folder.path(), 1000);
        for n in 0..20 {
            cache.put(&key(n), &[n; 100]);
        }
        let left: Vec<u8> = (0..20).filter(|n| cache.get(&key(*n)).is_some()).collect();
        assert!((9..=10).contains(&left.len()), "{left:?}");
        assert_eq!(left.last(), Some(&19));
        assert!(left.windows(2).all(|w| w[1] == w[0] + 1), "{left:?}");
        // Too large for the limit: not kept, and nothing else goes for it.
        cache.put(&key(99), &[0; 900]);
        assert_eq!(cache.get(&key(99)), None);
        assert!(cache.get(&key(19)).is_some());
        assert_eq!(cache.trouble(), None);
    }

    #[test]
    fn a_result_that_was_spoilt_is_not_given_out() {
        let folder = tempfile::tempdir().unwrap();
        let cache = Cache::open(folder.path());
        cache.put(&key(1), b"whole");
        let other = Connection::open(folder.path().join(FILE)).unwrap();
        other.execute("UPDATE results SET bytes = x'776f6c65'", []).unwrap();
        assert_eq!(cache.get(&key(1)), None);
    }

    #[test]
    fn what_is_no_cache_is_left_alone_and_told_once() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE);
        fs::write(&file, b"a diary, not a database, of some length. ".repeat(40)).unwrap();
        let before = fs::read(&file).unwrap();
        let cache = Cache::open(folder.path());
        cache.put(&key(1), b"one");
        assert_eq!(cache.get(&key(1)), None);
        assert_eq!(cache.content_of(&file), None);
        assert!(cache.trouble().unwrap().contains("Continuing without it"));
        assert_eq!(fs::read(&file).unwrap(), before);

        let folder = tempfile::tempdir().unwrap();
        let other = Connection::open(folder.path().join(FILE)).unwrap();
        other.execute("CREATE TABLE files (mine)", []).unwrap();
        assert!(Cache::open(folder.path()).trouble().is_some());
        let kept: u32 =
            other.query_row("SELECT count(*) FROM files", [], |r| r.get(0)).map_or(9, |n| n);
        assert_eq!(kept, 0, "the table of another program is still there");
    }

    #[test]
    fn a_cache_of_another_form_is_emptied() {
        let folder = tempfile::tempdir().unwrap();
        let cache = Cache::open(folder.path());
        cache.put(&key(1), b"one");
        drop(cache);
        let other = Connection::open(folder.path().join(FILE)).unwrap();
        other.execute_batch("PRAGMA user_version = 77").unwrap();
        drop(other);
        let cache = Cache::open(folder.path());
        assert_eq!((cache.get(&key(1)), cache.trouble()), (None, None));
    }
}
