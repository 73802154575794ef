//! How a run ends when it is cut short or may not write.

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};

use serde_json::Value as Json;

use super::{OWN, PROGRAM, Place};

fn started(place: &Place, args: &[&str]) -> Child {
    Command::new(PROGRAM)
        .current_dir(place.path())
        .args(args)
        .envs(OWN)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn a_place_that_takes_no_file_is_told_before_the_work() {
    let place = Place::new();
    place.outing(&[1]);
    place.put("file", b"no folder");
    for option in ["--report", "--json", "--csv"] {
        let ran = place.run(&["cull", "day", option, "file/r"]);
        assert_eq!(ran.code, Some(2), "{option}");
        // Said once, and without the name of the working file.
        assert!(ran.stderr.contains("cannot write file/r: "), "{option}: {}", ran.stderr);
        assert_eq!(ran.stderr.matches("os error").count(), 1, "{option}: {}", ran.stderr);
        assert!(!ran.stderr.contains(".part"), "{option}: {}", ran.stderr);
        assert!(ran.stdout.is_empty(), "{option}: {}", ran.stdout);
    }
    for option in ["--report", "--json", "--map"] {
        let ran = place.run(&["inspect", "day/f001.jpg", option, "file/r"]);
        assert_eq!(ran.code, Some(2), "{option}");
        assert!(ran.stderr.contains("cannot write file/r"), "{option}: {}", ran.stderr);
    }
    let ran = place.run(&["demo", "--dir", "file/demo"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("cannot write file/demo"), "{}", ran.stderr);
}

#[test]
fn an_earlier_report_outlives_a_run_that_fails() {
    let place = Place::new();
    fs::create_dir(place.path().join("empty")).unwrap();
    place.put("r.html", b"earlier");
    assert_eq!(place.run(&["cull", "empty", "--report", "r.html"]).code, Some(2));
    assert_eq!(fs::read(place.path().join("r.html")).unwrap(), b"earlier");
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 2, "no working file is left");
}

#[test]
fn a_closed_pipe_is_a_normal_end() {
    let place = Place::new();
    place.outing(&[1; 12]);
    for more in [&["--threads", "1"][..], &["--json", "-"], &["--csv", "-"]] {
        let mut child = started(&place, &[&["cull", "day", "--no-report"], more].concat());
        drop(child.stdout.take());
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        let status = child.wait().unwrap();
        assert_eq!(status.code(), Some(0), "{more:?}: {said}");
        assert!(said.is_empty(), "{more:?}: {said}");
    }
}

/// An interrupt half way: what was read is kept, and the exit code is the one that shells give.
#[cfg(unix)]
#[test]
fn an_interrupt_keeps_what_was_read() {
    let place = Place::new();
    let count = place.outing(&[2; 60]);
    let args = ["cull", "day", "--threads", "1", "--json", "r.json", "--report", "r.html"];
    let mut child = started(&place, &args);
    // The first line is written when the first burst was judged.
    let mut lines = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    lines.read_line(&mut line).unwrap();
    let kill = format!("kill -INT {}", child.id());
    assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
    let mut rest = String::new();
    lines.read_to_string(&mut rest).unwrap();
    let status = child.wait().unwrap();
    let record: Json =
        serde_json::from_slice(&fs::read(place.path().join("r.json")).unwrap()).unwrap();
    let frames = record["frames"].as_array().unwrap().len();
    // On a machine that is faster than the signal the run is whole.
    if status.code() == Some(0) {
        assert_eq!(frames, count);
        return;
    }
    assert_eq!(status.code(), Some(130));
    assert!(frames > 0 && frames < count, "{frames} of {count}");
    let of_bursts: usize = record["bursts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| b["frames"].as_array().unwrap().len())
        .sum();
    assert_eq!(of_bursts, frames);
    assert_eq!(record["outing"]["frames"], frames);
    let page = fs::read_to_string(place.path().join("r.html")).unwrap();
    assert!(page.trim_end().ends_with("</html>"));
    let left = fs::read_dir(place.path()).unwrap().count();
    assert_eq!(left, 3, "the folder, the record and the report");
}
