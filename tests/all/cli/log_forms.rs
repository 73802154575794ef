//! Logs that an earlier build wrote (`testdata/log/form-2.sqlite`): brought up to date whole or not
//! at all, and exported to the byte as that build did (`form-2.json`, `form-2.csv`), in today's words.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::Connection;
use serde_json::Value as Json;
use stopwise::store::log::{FORM, Log};

use super::{OWN, Place};

const LOG: &str = "own/log.sqlite";

fn testdata(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/log").join(name)
}

/// A place with the log of the earlier build.
fn with_old_log() -> Place {
    let place = Place::new();
    place.put(LOG, &fs::read(testdata("form-2.sqlite")).unwrap());
    place
}

/// The exports that the build that wrote the log made of it, in this build's words and version.
fn expected() -> (String, String) {
    let read = |name: &str| fs::read_to_string(testdata(name)).unwrap();
    let version = format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION"));
    let mut json = read("form-2.json");
    for (was, is) in [
        ("\"version\": \"0.1.0\"", version.as_str()),
        ("\"schema\": 1", "\"schema\": 2"),
        ("\"form\": 2", "\"form\": 4"),
    ] {
        assert!(json.contains(was), "{was}");
        json = json.replacen(was, is, 1);
    }
    (in_todays_words(&json), in_todays_words(&read("form-2.csv")))
}

fn in_todays_words(text: &str) -> String {
    let words = [("plane-off", "misfocused"), ("blur_allowed_px", "attainable_blur_px")];
    words.iter().fold(text.to_owned(), |text, (old, new)| {
        assert!(text.contains(old), "{old}");
        text.replace(old, new)
    })
}

fn form(log: &Path) -> i64 {
    let connection = Connection::open(log).unwrap();
    connection.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
}

#[test]
fn an_old_log_is_brought_up_to_date_and_exported_as_before() {
    let place = with_old_log();
    let log = place.path().join(LOG);
    assert_eq!((form(&log), FORM), (2, 4));
    let (json, csv) = expected();
    // The first time it is brought up to date, the second time it is.
    for _ in 0..2 {
        let ran = place.run(&["log", "export", "--json", "out.json", "--csv", "out.csv"]);
        assert_eq!(ran.code, Some(0), "{}", ran.stderr);
        let read = |name: &str| fs::read_to_string(place.path().join(name)).unwrap();
        assert!(read("out.json") == json, "the JSON differs from testdata/log/form-2.json");
        assert!(read("out.csv") == csv, "the CSV differs from testdata/log/form-2.csv");
        assert_eq!(form(&log), FORM);
    }
    Log::open(&log).unwrap().check().unwrap();
    // Merged into a new log it is the same, too; only numbers of outings may differ.
    let merged = place.run(&["log", "--log", "new.sqlite", "merge", LOG]);
    assert!(merged.stdout.starts_with("2 outings added"), "{}", merged.stdout);
    let frames = |log: &str| {
        let ran = place.run(&["log", "--log", log, "export", "--json", "-"]);
        let mut export: Json = serde_json::from_str(&ran.stdout).unwrap();
        export["outings"].as_array_mut().unwrap().iter_mut().for_each(|o| o["id"] = Json::Null);
        export
    };
    assert_eq!(frames("new.sqlite"), frames(LOG));
}

#[test]
fn processes_that_meet_an_old_log_at_once_all_read_it() {
    let place = with_old_log();
    let children: Vec<_> = (0..4)
        .map(|_| {
            std::process::Command::new(super::PROGRAM)
                .current_dir(place.path())
                .args(["log", "export", "--json", "-"])
                .envs(OWN)
                .stdout(std::process::Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    for child in children {
        let out = child.wait_with_output().unwrap();
        assert!(out.status.success());
        assert!(String::from_utf8(out.stdout).unwrap() == expected().0);
    }
    assert_eq!(form(&place.path().join(LOG)), FORM);
}

#[test]
fn a_log_of_a_later_form_is_refused_in_words() {
    let place = with_old_log();
    let log = place.path().join(LOG);
    Connection::open(&log).unwrap().execute_batch("PRAGMA user_version = 5").unwrap();
    let before = fs::read(&log).unwrap();
    for args in [&["log", "list"][..], &["log", "correct", "1", "--exclude"]] {
        let ran = place.run(args);
        assert_eq!(ran.code, Some(2));
        assert!(ran.stderr.contains("later version"), "{}", ran.stderr);
    }
    assert!(fs::read(&log).unwrap() == before);
}

/// Makes the log long: its frames again and again, so that bringing it up to date takes a while.
#[cfg(unix)]
fn lengthen(log: &Path, times: u32) -> i64 {
    let connection = Connection::open(log).unwrap();
    let names: Vec<String> = connection
        .prepare(
            "SELECT name FROM pragma_table_info('frame') WHERE name NOT IN ('outing_id', 'seq')",
        )
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    let names = names.join(", ");
    connection
        .execute_batch(&format!(
            "WITH RECURSIVE copy (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM copy WHERE n < {times})
             INSERT INTO frame (outing_id, seq, {names})
             SELECT outing_id, seq + 1000 * n, {names} FROM frame, copy"
        ))
        .unwrap();
    connection.query_row("SELECT count(*) FROM frame", [], |row| row.get(0)).unwrap()
}

/// Killed while the new form is being written: at the moment at which so many bytes of it are in
/// the file beside the log.
#[cfg(unix)]
#[test]
fn a_kill_on_the_way_to_a_new_form_leaves_the_old_one_whole() {
    let place = with_old_log();
    let log = place.path().join(LOG);
    let frames = lengthen(&log, 500);
    let beside = place.path().join("own/log.sqlite-wal");
    let mut old_ones = 0;
    for written in [1, 100_000, 2_000_000, 6_000_000] {
        let mut child = std::process::Command::new(super::PROGRAM)
            .current_dir(place.path())
            .args(["log", "list"])
            .envs(OWN)
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        let ended = loop {
            if fs::metadata(&beside).is_ok_and(|m| m.len() >= written) {
                break false;
            }
            if child.try_wait().unwrap().is_some() {
                break true;
            }
            std::thread::yield_now();
        };
        child.kill().unwrap();
        child.wait().unwrap();
        assert!(!ended, "the log was brought up to date before {written} bytes were written");
        let connection = Connection::open(&log).unwrap();
        let one = |sql: &str| connection.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(one("SELECT count(*) FROM frame"), frames);
        let records = "SELECT count(*) FROM pragma_table_info('frame') WHERE name = 'record'";
        let halves = "SELECT count(*) FROM sqlite_schema WHERE name = 'frame_record'";
        assert_eq!((one("PRAGMA user_version"), one(records), one(halves)), (2, 0, 0));
        let whole: String =
            connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
        assert_eq!(whole, "ok");
        old_ones += 1;
    }
    assert_eq!(old_ones, 4);
    let ran = place.run(&["log", "list"]);
    assert_eq!((ran.code, form(&log)), (Some(0), FORM), "{}", ran.stderr);
    let read = Log::open(&log).unwrap();
    read.check().unwrap();
    assert_eq!(read.outings().unwrap().iter().map(|o| i64::from(o.frames)).sum::<i64>(), frames);
}

/// Where it cannot be brought up to date it is said what to do. Root may write anywhere, so the
/// program is run as nobody there.
#[cfg(unix)]
#[test]
fn an_old_log_that_may_not_be_written_is_named() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let place = with_old_log();
    let mode = |name: &str, mode| {
        let path = place.path().join(name);
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    // Nobody has to reach the program, too.
    let program = place.path().join("stopwise");
    fs::copy(super::PROGRAM, &program).unwrap();
    mode("stopwise", 0o755);
    mode(LOG, 0o444);
    mode("own", 0o555);
    mode("", 0o755);
    let mut command = std::process::Command::new(&program);
    command.current_dir(place.path()).args(["log", "list"]).envs(OWN);
    if fs::metadata(place.path()).unwrap().uid() == 0 {
        command.uid(65_534).gid(65_534);
    }
    let out = command.output().unwrap();
    mode("own", 0o755);
    let says = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(2), "{says}");
    assert!(says.contains("schema version 2 must be upgraded"), "{says}");
    assert!(says.contains("copy it to a folder that can be written"), "{says}");
    assert_eq!(form(&place.path().join(LOG)), 2);
}
