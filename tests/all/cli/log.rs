//! The log as people use it, and when things go wrong.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value as Json;
use stopwise::store::log::Log;

use super::{OWN, PROGRAM, Place};
use crate::harness::golden;

const LOG: &str = "own/log.sqlite";

fn exported(place: &Place) -> Json {
    let ran = place.run(&["log", "export", "--json", "-"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    serde_json::from_str(&ran.stdout).unwrap()
}

#[test]
fn nothing_is_written_unless_asked() {
    let place = Place::new();
    place.outing(&[2]);
    place.culled(&["day"]);
    assert!(!place.path().join("own").exists());
    let ran = place.run(&["log", "list"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("nothing has been logged yet: run cull with --log"));
    assert!(!place.path().join("own").exists());
}

#[test]
fn every_run_is_logged_where_the_setting_says_so() {
    let place = Place::new();
    place.outing(&[2]);
    let run = |setting: &str, more: &[&str]| {
        let args = [&["cull", "day", "--no-report", "--quiet"], more].concat();
        let out = place.command(&args).env("STOPWISE_LOG_RUNS", setting).output().unwrap();
        (out.status.code(), String::from_utf8(out.stderr).unwrap())
    };
    let (code, says) = run("maybe", &[]);
    assert_eq!(code, Some(2));
    assert!(says.contains("STOPWISE_LOG_RUNS") && says.contains("yes or no"), "{says}");
    assert_eq!(run("no", &[]), (Some(0), String::new()));
    assert_eq!(run("yes", &["--no-log"]), (Some(0), String::new()));
    assert!(!place.path().join("own").exists());
    let (code, says) = run("yes", &[]);
    assert_eq!(
        (code, says.as_str()),
        (Some(0), "Logged as outing 1: 2 frames in own/log.sqlite\n")
    );
}

#[test]
fn what_the_log_cannot_do_is_said_in_words_that_help() {
    let place = Place::new();
    place.outing(&[2]);
    assert_eq!(place.run(&["cull", "day", "--no-report", "--quiet", "--log"]).code, Some(0));
    for (args, says) in [
        (&["log", "show", "day"][..], "number of an outing from `stopwise log list`"),
        (&["log", "remove", "0"], "number of an outing from `stopwise log list`"),
        (&["log", "correct", "7", "--exclude"], "no outing has the number 7"),
        (&["log", "correct", "1"], "nothing to correct"),
        (&["log", "export"], "--json"),
        (&["log", "export"], "--csv"),
        (&["log", "merge", "not-here.sqlite"], "not-here.sqlite does not exist"),
    ] {
        let ran = place.run(args);
        assert_eq!(ran.code, Some(2), "{args:?}");
        assert!(ran.stderr.contains(says), "{args:?}: {}", ran.stderr);
    }
}

#[test]
fn an_outing_is_logged_shown_corrected_exported_and_removed() {
    let place = Place::new();
    place.outing(&[3, 2]);
    let cull = ["cull", "day", "--subject", "0.5,0.5", "--no-report", "--quiet", "--log"];
    let ran = place.run(&cull);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert_eq!(ran.stderr, "Logged as outing 1: 5 frames in own/log.sqlite\n");
    let ran = place.run(&cull);
    assert!(ran.stderr.contains("replacing an earlier measurement"), "{}", ran.stderr);
    let corrected = ["log", "correct", "1", "--subject", "window sill", "--exclude"];
    assert_eq!(place.run(&corrected).code, Some(0));
    let list = place.run(&["log", "list"]);
    let show = place.run(&["log", "show", "1"]);
    golden("log/list.txt", &list.stdout);
    golden("log/show.txt", &show.stdout);

    let export = exported(&place);
    let outing = &export["outings"][0];
    assert_eq!(
        (outing["frame_count"].as_u64(), outing["excluded"].as_bool()),
        (Some(5), Some(true))
    );
    let (record, _) = place.culled(&["day", "--subject", "0.5,0.5"]);
    for (logged, measured) in
        outing["frames"].as_array().unwrap().iter().zip(record["frames"].as_array().unwrap())
    {
        assert_eq!(logged["verdict"], measured["verdict"]);
        assert_eq!(logged["blur_sigma_px"]["value"], measured["blur_sigma_px"]["value"]);
        assert_eq!(logged["blur_sigma_px"]["std_err"], measured["blur_sigma_px"]["std_err"]);
        assert_eq!(logged["iso"], 400);
        let path = logged["path"].as_str().unwrap();
        let hash = blake3::hash(&fs::read(path).unwrap()).to_hex().to_string();
        assert_eq!(logged["content_id"], hash.as_str());
    }
    let ran = place.run(&["log", "export", "--csv", "-"]);
    let mut rows = csv::Reader::from_reader(ran.stdout.as_bytes());
    let header = rows.headers().unwrap().clone();
    let at = |name: &str| header.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 5);
    assert_eq!((&rows[0][at("outing_subject")], &rows[0][at("iso")]), ("window sill", "400"));
    assert_eq!(&rows[0][at("working_f_number")], "", "missing is empty");

    assert_eq!(place.run(&["log", "remove", "1"]).code, Some(0));
    assert_eq!(exported(&place)["outings"].as_array().unwrap().len(), 0);
    assert!(place.path().join("day/f001.jpg").exists());
    assert_eq!(place.run(&["log", "show", "1"]).code, Some(2));
}

#[test]
fn another_log_is_named_and_merged() {
    let place = Place::new();
    place.outing(&[2]);
    let other = place.run(&["cull", "day", "--no-report", "--quiet", "--log=other.log"]);
    assert!(other.stderr.contains("other.log"), "{}", other.stderr);
    assert!(!place.path().join("own").exists());
    let merged = place.run(&["log", "merge", "other.log"]);
    assert!(merged.stdout.starts_with("1 outing added, 0 "), "{}", merged.stdout);
    let again = place.run(&["log", "merge", "other.log"]);
    assert!(
        again.stdout.starts_with("0 outings added, 0 updated, 1 unchanged"),
        "{}",
        again.stdout
    );
    assert_eq!(place.run(&["log", "merge", "nowhere"]).code, Some(2));
    let list = place.run(&["log", "--log", "other.log", "list"]);
    assert_eq!(list.code, Some(0));
}

#[test]
fn a_log_that_cannot_be_used_is_told_before_the_work() {
    let place = Place::new();
    place.outing(&[1]);
    place.put("file", b"no folder");
    place.put(LOG, "no database, but more than a hundred bytes of text. ".repeat(40).as_bytes());
    for (option, says) in [("--log", "another kind of file"), ("--log=file/log", "file/log")] {
        let ran = place.run(&["cull", "day", option]);
        assert_eq!(ran.code, Some(2), "{option}");
        assert!(ran.stderr.contains(says), "{option}: {}", ran.stderr);
        assert!(ran.stdout.is_empty());
    }
    assert!(!place.path().join("stopwise-report.html").exists());
}

/// A folder that may not be written: what is in it can still be read.
#[cfg(unix)]
#[test]
fn a_read_only_folder_is_read_and_not_written() {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new();
    place.outing(&[2]);
    place.run(&["cull", "day", "--no-report", "--quiet", "--log"]);
    let folder = place.path().join("own");
    let log = folder.join("log.sqlite");
    let mode = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(&log, 0o444);
    mode(&folder, 0o555);
    // Root may write anywhere.
    let may = fs::write(folder.join("x"), b"").is_ok();
    let list = place.run(&["log", "list"]);
    let cull = place.run(&["cull", "day", "--no-report", "--log"]);
    mode(&folder, 0o755);
    mode(&log, 0o644);
    assert_eq!(list.code, Some(0), "{}", list.stderr);
    if may {
        eprintln!("run as root: writing into a read-only folder was not tried");
        return;
    }
    assert_eq!(cull.code, Some(2));
    assert!(cull.stderr.contains("cannot be written here"), "{}", cull.stderr);
}

/// A limit on the size of files stands in for a full disk: both refuse the write.
#[cfg(unix)]
#[test]
fn a_full_disk_keeps_earlier_outings() {
    let place = Place::new();
    place.outing(&[2]);
    place.run(&["cull", "day", "--no-report", "--quiet", "--log"]);
    let before = exported(&place);
    for burst in 0..30 {
        for frame in 0..8 {
            let bytes = super::jpeg(&super::picture(0.7), &super::exposed(burst, frame));
            let mut own = bytes.clone();
            own.extend(format!("{burst} {frame}").bytes());
            place.put(&format!("long/f{burst:02}{frame}.jpg"), &own);
        }
    }
    // Without the signal the write fails, as it does on a full disk. 130 blocks of 512 bytes are
    // more than the log with one outing and its index in memory, less than 240 frames.
    let script =
        format!("trap '' XFSZ; ulimit -f 130; exec {PROGRAM} cull long --no-report --quiet --log");
    let out = Command::new("sh")
        .current_dir(place.path())
        .args(["-c", &script])
        .envs(OWN)
        .output()
        .unwrap();
    let says = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(1), "{says}");
    assert!(says.contains("no space left on the disk; nothing was added"), "{says}");
    assert_eq!(exported(&place), before);
    Log::open(&place.path().join(LOG)).unwrap().check().unwrap();
}

/// Bytes in the file beside the log of what is new; `None` when there is no such file.
#[cfg(unix)]
fn written(place: &Place) -> Option<u64> {
    fs::metadata(place.path().join("own/log.sqlite-wal")).ok().map(|m| m.len())
}

/// Killed when the log is opened, and when so many bytes of the outing are beside it: every earlier
/// outing is there, whole, and the log opens.
#[cfg(unix)]
#[test]
fn a_killed_run_loses_no_earlier_outing() {
    let place = Place::new();
    place.outing(&[2]);
    place.run(&["cull", "day", "--no-report", "--quiet", "--log"]);
    for burst in 0..10 {
        for frame in 0..4 {
            let picture = super::drawing(0.7).cut(8 * burst, 4 * frame, 96, 96);
            let bytes = super::jpeg(&picture, &super::exposed(burst, frame));
            place.put(&format!("more/f{burst:02}{frame}.jpg"), &bytes);
        }
    }
    let args = ["cull", "more", "--no-report", "--quiet", "--log"];
    let first = exported(&place)["outings"][0].clone();
    assert_eq!(first["frame_count"], 2);
    for at_least in [0, 1, 4_000, 8_000, 16_000, 0, 1, 20_000] {
        // Nothing is left beside the log, and the outing of the run before is out of it.
        Log::open(&place.path().join(LOG)).unwrap().check().unwrap();
        place.run(&["log", "remove", "2"]);
        assert_eq!(written(&place), None);
        // While another reads, what was written stays beside the log after the run, too.
        let reader = (at_least > 0).then(|| {
            let reader = rusqlite::Connection::open(place.path().join(LOG)).unwrap();
            reader.query_row("SELECT count(*) FROM outing", [], |_| Ok(())).unwrap();
            reader
        });
        let mut child = Command::new(PROGRAM)
            .current_dir(place.path())
            .args(args)
            .envs(OWN)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        while written(&place).is_none_or(|bytes| bytes < at_least) {
            std::thread::yield_now();
        }
        child.kill().unwrap();
        let ended = child.wait().unwrap();
        drop(reader);
        let export = exported(&place);
        let outings = export["outings"].as_array().unwrap();
        assert!(outings.contains(&first), "the first outing is lost: {export}");
        if at_least == 0 {
            // Killed before its frames were measured.
            assert_eq!((ended.success(), outings.len()), (false, 1));
        }
        for o in outings {
            assert_eq!(o["frames"].as_array().unwrap().len() as u64, o["frame_count"]);
            assert!([2, 40].contains(&o["frame_count"].as_u64().unwrap()), "half an outing");
        }
        Log::open(&place.path().join(LOG)).unwrap().check().unwrap();
    }
}

#[test]
fn one_reads_while_another_process_writes() {
    let place = Place::new();
    place.outing(&[2]);
    place.run(&["cull", "day", "--no-report", "--quiet", "--log"]);
    // A writer in the middle of its change.
    let connection = rusqlite::Connection::open(place.path().join(LOG)).unwrap();
    connection.execute_batch("BEGIN IMMEDIATE; UPDATE outing SET title = 'half'").unwrap();
    let list = place.run(&["log", "list"]);
    assert_eq!(list.code, Some(0), "{}", list.stderr);
    assert!(list.stdout.contains("day") && !list.stdout.contains("half"), "{}", list.stdout);
    connection.execute_batch("COMMIT").unwrap();
    assert!(place.run(&["log", "list"]).stdout.contains("half"));
}
