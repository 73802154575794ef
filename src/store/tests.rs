//! What the three databases make of files that are not theirs: one table for all.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;

use super::cache::Cache;
use super::decisions::Decisions;
use super::log::Log;

/// Waits for other processes as long as a test may.
const WAIT: Duration = Duration::from_millis(150);

/// A store: its name, its file in a folder, and how it is opened; the sentence when it is not.
struct Store {
    name: &'static str,
    file: &'static str,
    open: fn(&Path, Duration) -> Result<(), String>,
    /// What it is marked with.
    application_id: i64,
    /// Whether a file of a later form is refused; else it is emptied.
    refuses_newer: bool,
}

const STORES: [Store; 3] = [
    Store {
        name: "log",
        file: "log.sqlite",
        open: |path, wait| Log::open_waiting(path, wait).map(drop).map_err(|e| e.to_string()),
        application_id: 0x7374_7077,
        refuses_newer: true,
    },
    Store {
        name: "decisions",
        file: "decisions.sqlite",
        open: |path, wait| Decisions::open_waiting(path, wait).map(drop).map_err(|e| e.to_string()),
        application_id: 0x7374_7064,
        refuses_newer: true,
    },
    Store {
        name: "cache",
        file: "stopwise-cache.sqlite",
        open: |path, wait| {
            Cache::open_waiting(path.parent().unwrap(), wait).trouble().map_or(Ok(()), Err)
        },
        application_id: 0x7374_7763,
        refuses_newer: false,
    },
];

fn each(work: impl Fn(&Store, PathBuf)) {
    for store in &STORES {
        let folder = tempfile::tempdir().unwrap();
        work(store, folder.path().join(store.file));
    }
}

fn number(path: &Path, what: &str) -> i64 {
    let connection = Connection::open(path).unwrap();
    connection.query_row(&format!("PRAGMA {what}"), [], |r| r.get(0)).unwrap()
}

#[test]
fn new_and_empty_files_become_databases_of_their_kind() {
    each(|store, path| {
        for _ in 0..2 {
            assert_eq!((store.open)(&path, WAIT), Ok(()), "{}", store.name);
            assert_eq!(number(&path, "application_id"), store.application_id);
            assert!(number(&path, "user_version") > 0);
        }
    });
    each(|store, path| {
        fs::write(&path, b"").unwrap();
        assert_eq!((store.open)(&path, WAIT), Ok(()), "{}", store.name);
        assert_eq!(number(&path, "application_id"), store.application_id);
    });
}

#[test]
fn files_of_another_kind_are_refused_and_left() {
    each(|store, path| {
        Connection::open(&path).unwrap().execute_batch("CREATE TABLE mine (a)").unwrap();
        let before = fs::read(&path).unwrap();
        let says = (store.open)(&path, WAIT).unwrap_err();
        assert!(says.contains("another kind"), "{}: {says}", store.name);
        assert_eq!(fs::read(&path).unwrap(), before, "{}", store.name);
    });
    // A database of another of our stores is another kind, too.
    each(|store, path| {
        let other = STORES.iter().find(|s| s.name != store.name).unwrap();
        let own = path.with_file_name(other.file);
        (other.open)(&own, WAIT).unwrap();
        fs::copy(&own, &path).unwrap();
        let says = (store.open)(&path, WAIT).unwrap_err();
        assert!(says.contains("another kind"), "{}: {says}", store.name);
    });
    each(|store, path| {
        let text = b"a diary, not a database, of some length. ".repeat(40);
        fs::write(&path, &text).unwrap();
        assert!((store.open)(&path, WAIT).is_err(), "{}", store.name);
        assert_eq!(fs::read(&path).unwrap(), text, "{}", store.name);
    });
}

#[test]
fn files_of_a_later_version_are_refused_or_emptied() {
    each(|store, path| {
        (store.open)(&path, WAIT).unwrap();
        let form = number(&path, "user_version");
        let connection = Connection::open(&path).unwrap();
        connection
            .execute_batch("PRAGMA user_version = 99; PRAGMA journal_mode = DELETE;")
            .unwrap();
        drop(connection);
        let before = fs::read(&path).unwrap();
        let opened = (store.open)(&path, WAIT);
        if store.refuses_newer {
            let says = opened.unwrap_err();
            assert!(says.contains("later version"), "{}: {says}", store.name);
            assert_eq!(fs::read(&path).unwrap(), before, "{}", store.name);
        } else {
            assert_eq!((opened, number(&path, "user_version")), (Ok(()), form));
        }
    });
}

#[test]
fn a_file_that_another_process_holds_is_waited_for() {
    each(|store, path| {
        let other = Connection::open(&path).unwrap();
        other.execute_batch("BEGIN EXCLUSIVE").unwrap();
        let says = (store.open)(&path, WAIT).unwrap_err();
        assert!(says.contains("writing to"), "{}: {says}", store.name);
        // Held for a part of the time to wait: it opens.
        let held = std::thread::scope(|scope| {
            let waiting = scope.spawn(|| (store.open)(&path, Duration::from_secs(60)));
            other.execute_batch("ROLLBACK").unwrap();
            waiting.join().unwrap()
        });
        assert_eq!(held, Ok(()), "{}", store.name);
    });
}
