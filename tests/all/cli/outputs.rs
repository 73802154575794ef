//! Outputs when a disk is full, a run is killed, or several programs write at once.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::Value as Json;

use super::{CACHE, OWN, PROGRAM, Place};

/// Runs the program where no file can grow beyond some kB (units of the shell: 0.5 or 1 kB), as on
/// a full disk: writing more fails.
#[cfg(unix)]
fn on_a_full_disk(place: &Place, limit: u32, args: &[&str]) -> (Option<i32>, String) {
    let script = format!("trap '' XFSZ; ulimit -f {limit}; exec \"$0\" \"$@\"");
    let out = Command::new("sh")
        .args([&["-c", &script, PROGRAM], args].concat())
        .current_dir(place.path())
        .envs(OWN)
        .env("STOPWISE_DECISIONS", place.path().join("kept/decisions"))
        .output()
        .unwrap();
    (out.status.code(), String::from_utf8(out.stderr).unwrap())
}

fn working_files(folder: &Path) -> Vec<String> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|n| n.ends_with(".part"))
        .collect()
}

/// Every kind of output: the message names the file that was asked for, what was there stays, and
/// no working file is left.
#[cfg(unix)]
#[test]
fn a_full_disk_costs_only_what_did_not_fit() {
    let place = Place::new();
    place.outing(&[2]);
    place.culled(&["day"]);
    let ran = place.run(&["cull", "day", "--no-report", "--quiet", "--json", "day.json", "--log"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    for args in [
        &["cull", "day", "--no-report", "--json", "out"][..],
        &["cull", "day", "--no-report", "--csv", "out"],
        &["cull", "day", "--report", "out"],
        &["inspect", "day/f001.jpg", "--no-report", "--json", "out"],
        &["inspect", "day/f001.jpg", "--no-report", "--map", "out"],
        &["inspect", "day/f001.jpg", "--report", "out"],
        &["noise", "day", "--json", "out"],
        &["noise", "day", "--report", "out"],
        &["plan", "--depth", "1", "--magnification", "2", "--json", "out"],
        &["plan", "--depth", "1", "--magnification", "2", "--report", "out"],
        &["mark", "day.json", "--json", "out"],
        &["mark", "day.json", "--list", "out", "--verdicts", "hit,near,miss,unclear"],
        &["log", "export", "--json", "out"],
        &["log", "export", "--csv", "out"],
        &["chart", "--json", "out"],
        &["chart", "--report", "out"],
    ] {
        place.put("out", b"earlier");
        let (code, said) = on_a_full_disk(&place, 0, args);
        assert!(matches!(code, Some(1 | 2)), "{args:?}: {code:?} {said}");
        assert!(said.contains("cannot write out: "), "{args:?}: {said}");
        assert!(!said.contains(".part"), "{args:?}: {said}");
        assert_eq!(fs::read(place.path().join("out")).unwrap(), b"earlier", "{args:?}");
        assert_eq!(working_files(place.path()), [""; 0], "{args:?}");
    }
    let args = ["mark", "day.json", "--no-sidecars", "--write", "--copies", "hits", "--verdicts"];
    let (code, _) = on_a_full_disk(&place, 0, &[&args[..], &["hit,near,miss,unclear"]].concat());
    assert_eq!(code, Some(2));
    assert_eq!(fs::read_dir(place.path().join("hits")).unwrap().count(), 0);
    // The log: said, and what is in it stays.
    let before = place.run(&["log", "list"]).stdout;
    let (code, said) = on_a_full_disk(&place, 0, &["cull", "day", "--no-report", "--log"]);
    assert!(matches!(code, Some(1 | 2)) && said.contains("the log own/log.sqlite"), "{said}");
    assert_eq!(place.run(&["log", "list"]).stdout, before);
}

/// A report that does not fit loses nothing else.
#[cfg(unix)]
#[test]
fn every_output_is_tried() {
    let place = Place::new();
    place.outing(&[2, 1]);
    // Between the record's size and the report's.
    let args = ["cull", "day", "--report", "r.html", "--json", "r.json", "--csv", "r.csv"];
    let (code, said) = on_a_full_disk(&place, 60, &args);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("cannot write r.html: ") && said.matches("cannot write").count() == 1,
        "{said}"
    );
    let record: Json =
        serde_json::from_slice(&fs::read(place.path().join("r.json")).unwrap()).unwrap();
    assert_eq!(record["frames"].as_array().unwrap().len(), 3);
    assert_eq!(fs::read_to_string(place.path().join("r.csv")).unwrap().lines().count(), 4);
    assert!(!place.path().join("r.html").exists());
    // A reader of the tables that has seen enough does not cost the record either.
    let mut child = started(&place, &["cull", "day", "--no-report", "--json", "p.json"], &[]);
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(place.path().join("p.json").exists());
}

fn started(place: &Place, args: &[&str], env: &[(&str, &str)]) -> Child {
    Command::new(PROGRAM)
        .current_dir(place.path())
        .args(args)
        .envs(OWN)
        .env("STOPWISE_DECISIONS", place.path().join("kept/decisions"))
        .envs(env.iter().copied())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Kills after so many lines of the tables: what the next run finds is whole, and working files
/// are gone after it.
#[test]
fn a_killed_run_leaves_nothing_to_the_next() {
    let place = Place::new();
    place.outing(&[2; 12]);
    let args = ["cull", "day", "--threads", "1", "--report", "r.html", "--json", "r.json"];
    let args = [&args[..], &["--csv", "r.csv", "--log"]].concat();
    let env = [(CACHE, "cache")];
    let clean = Place::new();
    clean.outing(&[2; 12]);
    assert_eq!(clean.run(&args).code, Some(0));
    let mut left = 0;
    for lines in [1, 4, 12, 30] {
        let mut child = started(&place, &args, &env);
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        for _ in 0..lines {
            out.read_line(&mut line).unwrap();
        }
        child.kill().unwrap();
        child.wait().unwrap();
        left += working_files(place.path()).len();
        assert!(!place.path().join("r.json").exists(), "the kill came after the work");
    }
    assert!(left > 0, "no kill fell into the work");
    let out = place.command(&args).env(CACHE, "cache").output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(working_files(place.path()), [""; 0]);
    for name in ["r.json", "r.csv", "r.html"] {
        let read = |p: &Place| fs::read(p.path().join(name)).unwrap();
        assert_eq!(read(&place), read(&clean), "{name} differs after kills");
    }
    assert_eq!(
        place.run(&["log", "list"]).stdout.lines().count(),
        clean.run(&["log", "list"]).stdout.lines().count()
    );
}

/// Kills `mark` when so many sidecars are there: each is whole, and the next run completes them.
#[test]
fn a_killed_mark_leaves_whole_sidecars() {
    let place = Place::new();
    place.outing(&[4; 20]);
    place.run(&["cull", "day", "--no-report", "--quiet", "--json", "day.json"]);
    let sidecars = || {
        let files = fs::read_dir(place.path().join("day")).unwrap();
        files
            .map(|e| e.unwrap().path())
            .filter(|p| p.extension().is_some_and(|e| e == "xmp"))
            .collect::<Vec<_>>()
    };
    for wanted in [1, 20, 50] {
        let mut child = started(&place, &["mark", "day.json", "--write"], &[]);
        while sidecars().len() < wanted && child.try_wait().unwrap().is_none() {
            std::thread::yield_now();
        }
        let _ = child.kill();
        child.wait().unwrap();
        assert!(sidecars().len() >= wanted);
        for path in sidecars() {
            let said = stopwise::marks::xmp::read(&fs::read_to_string(&path).unwrap()).unwrap();
            assert!(said.keywords[0].starts_with("stopwise:"), "{}", path.display());
        }
    }
    assert_eq!(place.run(&["mark", "day.json", "--write"]).code, Some(0));
    assert_eq!((sidecars().len(), working_files(place.path()).len()), (80, 0));
}

/// A working file that a living program holds stays; others of ours go, and nothing else does.
#[test]
fn only_left_working_files_are_cleared() {
    let place = Place::new();
    place.outing(&[1]);
    place.put(".stopwise-abc123.part", b"left by a killed run");
    place.put(".stopwise-mark-abc123.part", b"left by a killed run");
    place.put(".stopwise-notes.txt", b"mine");
    place.put("stopwise-x.part", b"mine");
    let held = place.put(".stopwise-held01.part", b"of a run at work");
    let holder = fs::File::options().write(true).open(&held).unwrap();
    holder.lock().unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("stopwise-x.part", place.path().join(".stopwise-link01.part"))
        .unwrap();
    assert_eq!(place.run(&["cull", "day", "--no-report", "--json", "r.json"]).code, Some(0));
    let mut left = working_files(place.path());
    left.retain(|n| n != ".stopwise-link01.part");
    left.sort();
    assert_eq!(left, [".stopwise-held01.part", "stopwise-x.part"]);
    assert!(place.path().join(".stopwise-notes.txt").exists());
    drop(holder);
    place.run(&["cull", "day", "--no-report", "--json", "r.json"]);
    assert!(!held.exists());
}

/// Several programs with one log and one cache that are not there yet.
#[test]
fn programs_share_a_log_and_a_cache() {
    let place = Place::new();
    place.outing(&[2, 2]);
    let env = [(CACHE, "cache")];
    for _ in 0..3 {
        let _ = fs::remove_dir_all(place.path().join("cache"));
        let _ = fs::remove_dir_all(place.path().join("own"));
        let running: Vec<Child> = (0..4)
            .map(|i| {
                let title = format!("r{i}.json");
                started(
                    &place,
                    &["cull", "day", "--no-report", "--quiet", "--json", &title, "--log"],
                    &env,
                )
            })
            .collect();
        for child in running {
            let out = child.wait_with_output().unwrap();
            let said = String::from_utf8(out.stderr).unwrap();
            assert_eq!(out.status.code(), Some(0), "{said}");
            // On a busy machine one may wait its time out; then it says so and no more.
            let waited = "Another program has been writing to the cache";
            assert!(said.lines().all(|l| !l.contains("cache") || l.contains(waited)), "{said}");
            assert!(!said.contains("clear") && !said.contains("locked"), "{said}");
        }
    }
}

/// Another program that never lets go: a true sentence, and no advice to destroy anything.
#[test]
fn a_cache_held_by_another_is_done_without() {
    let place = Place::new();
    place.outing(&[1]);
    let run = || {
        place
            .command(&["cull", "day", "--no-report", "--quiet"])
            .env(CACHE, "cache")
            .output()
            .unwrap()
    };
    assert!(run().status.success());
    let file = place.path().join("cache/stopwise-cache.sqlite");
    let other = rusqlite::Connection::open(&file).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    // New bytes to keep.
    place.outing(&[1, 1]);
    let out = run();
    let said = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.contains("Another program has been writing to the cache"), "{said}");
    assert!(!said.contains("clear") && !said.contains("locked"), "{said}");
    drop(other);
    assert!(String::from_utf8(run().stderr).unwrap().is_empty());
}

/// Every command with more than one record that "-" sends to the output, each pair of them: none
/// begins its work, and none mixes two records on one stream.
#[test]
fn two_records_are_never_mixed_on_the_output() {
    let place = Place::new();
    place.outing(&[1]);
    for (args, names) in [
        (&["cull", "day", "--no-report", "--json", "-", "--csv", "-"][..], "JSON and CSV"),
        (
            &["inspect", "day/f001.jpg", "--no-report", "--json", "-", "--map", "-"],
            "JSON and the map",
        ),
        (&["compare", "day", "--no-report", "--json", "-", "--csv", "-"], "JSON and CSV"),
        (&["clip", "day", "--no-report", "--json", "-", "--csv", "-"], "JSON and CSV"),
        (&["clip", "day", "--no-report", "--json", "-", "--otio", "-"], "JSON and the timeline"),
        (&["clip", "day", "--no-report", "--csv", "-", "--otio", "-"], "CSV and the timeline"),
        (&["chart", "--json", "-", "--csv", "-"], "JSON and CSV"),
        (&["mark", "day", "--json", "-", "--list", "-"], "the record and the list"),
        (&["log", "export", "--json", "-", "--csv", "-"], "JSON and CSV"),
        (&["log", "agreement", "--json", "-", "--csv", "-"], "JSON and CSV"),
    ] {
        let ran = place.run(args);
        assert_eq!((ran.code, ran.stdout.as_str()), (Some(2), ""), "{args:?}");
        let says = format!(
            "stopwise: {names} cannot both go to standard output: give one of them a file\n"
        );
        assert_eq!(ran.stderr, says, "{args:?}");
    }
}

/// A file that cannot be written is named before the work, whichever output it is.
#[test]
fn outputs_are_checked_before_the_work() {
    let place = Place::new();
    place.outing(&[1]);
    for args in [
        &["cull", "day", "--report", "gone/out"][..],
        &["cull", "day", "--no-report", "--csv", "gone/out"],
        &["inspect", "day/f001.jpg", "--no-report", "--map", "gone/out"],
        &["compare", "day", "--report", "gone/out"],
        &["noise", "day", "--report", "gone/out"],
        &["plan", "--depth", "1", "--magnification", "2", "--report", "gone/out"],
        &["chart", "--svg", "gone/out"],
        &["clip", "day", "--no-report", "--otio", "gone/out"],
        &["mark", "day", "--list", "gone/out"],
        &["log", "export", "--json", "gone/out"],
        &["log", "agreement", "--csv", "gone/out"],
    ] {
        let ran = place.run(args);
        assert_eq!((ran.code, ran.stdout.as_str()), (Some(2), ""), "{args:?}");
        assert!(
            ran.stderr.starts_with("stopwise: cannot write gone/out"),
            "{args:?}: {}",
            ran.stderr
        );
    }
}
