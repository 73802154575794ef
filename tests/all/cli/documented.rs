//! Every command that README and guide show runs as it is shown, in their order.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use stopwise::simulator::file::Tags;

use super::{OWN, PROGRAM, Place};

/// Commands of a page: lines in its `console` blocks that start the program, without comments.
fn shown(page: &str) -> Vec<String> {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(page)).unwrap();
    text.lines()
        .filter_map(|line| line.strip_prefix("$ stopwise "))
        .map(|typed| typed.split(" #").next().unwrap().trim().to_owned())
        .collect()
}

/// Words of a command line, with double quotes.
fn words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            _ => words.last_mut().unwrap().push(c),
        }
    }
    words.retain(|w| !w.is_empty());
    words
}

/// A day, clips, a ruler, a series and raw frames under the names that the pages use.
fn place() -> Place {
    let place = Place::new();
    place.outing(&[3, 2]);
    place.put("marks.csv", b"f001.jpg,0.5,0.5\n");
    let spec = crate::ruler::at(1.0, 5.0, 11);
    let tags = Tags { pitch_um: 24.0, ..Tags::invented() };
    let ruler = stopwise::simulator::ruler::ruler(&spec);
    let bytes = stopwise::simulator::file::jpeg(&ruler, 92, true, Some(&tags)).unwrap();
    place.put("ruler.jpg", &bytes);
    crate::compare::small_series(&place.path().join("series"));
    crate::body_noise::put_pair(&place.path().join("raws"));
    if let Some((_, clip, _)) = crate::clips::made() {
        let folder = place.path().join("clips");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::copy(clip, folder.join("c01.mp4")).unwrap();
    }
    place
}

/// Starts `review` without a browser, waits for its address and ends it.
fn served(place: &Place, args: &[String]) {
    let mut child = Command::new(PROGRAM)
        .args(args)
        .arg("--no-open")
        .current_dir(place.path())
        .envs(OWN)
        .env("STOPWISE_DECISIONS", place.path().join("kept/decisions"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let address = lines.find_map(|line| line.ok().filter(|l| l.contains("http://")));
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(address.is_some(), "{args:?} gave no address");
}

#[test]
fn every_command_that_is_shown_runs() {
    let place = place();
    let mut run = 0;
    for page in ["README.md", "docs/guide.md"] {
        for line in shown(page) {
            let args = words(&line);
            if args[0] == "clip" && crate::clips::made().is_none() {
                continue;
            }
            if args[0] == "review" {
                let args: Vec<String> = args.into_iter().filter(|a| a != "--no-open").collect();
                served(&place, &args);
            } else {
                let args: Vec<&str> = args.iter().map(String::as_str).collect();
                let ran = place.run(&args);
                assert_eq!(ran.code, Some(0), "{page}: {line}\n{}{}", ran.stdout, ran.stderr);
            }
            run += 1;
        }
    }
    assert!(run > 35, "only {run} commands were run");
}

#[test]
fn the_readme_is_short() {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md"));
    let lines = text.unwrap().lines().count();
    assert!(lines <= 150, "{lines} lines");
}

/// `docs/records.md` lists the form of every record and its first level of keys.
#[test]
fn the_records_have_the_keys_that_are_documented() {
    let place = place();
    let page =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/records.md"))
            .unwrap();
    assert_eq!(
        place.run(&["cull", "day", "--no-report", "--json", "day.json", "--log"]).code,
        Some(0)
    );
    let mut commands = vec![
        &["cull", "day", "--no-report"][..],
        &["inspect", "day/f001.jpg", "--no-report"],
        &["mark", "day.json"],
        &["scale", "ruler.jpg"],
        &["compare", "series", "--no-report"],
        &["noise", "raws"],
        &["chart"],
        &["plan", "--depth", "1", "--magnification", "2"],
        &["log", "agreement"],
    ];
    if crate::clips::made().is_some() {
        commands.push(&["clip", "clips", "--no-report"]);
    }
    for args in commands {
        let ran = place.run(&[args, &["--json", "-"]].concat());
        assert_eq!(ran.code, Some(0), "{args:?}: {}", ran.stderr);
        let record: serde_json::Map<String, serde_json::Value> =
            serde_json::from_str(&ran.stdout).unwrap();
        assert_eq!(record["program"], "stopwise", "{args:?}");
        let keys: Vec<String> = record
            .keys()
            .filter(|k| !["schema", "program", "version"].contains(&k.as_str()))
            .map(|k| format!("`{k}`"))
            .collect();
        let name = if args[0] == "log" { args[..2].join(" ") } else { args[0].to_owned() };
        let row = format!("| {name} | {} | {} |", record["schema"], keys.join(", "));
        assert!(page.contains(&row), "docs/records.md needs the row\n{row}");
    }
}
