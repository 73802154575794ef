//! Marks in sidecars, links, copies and lists: what is written, and above all what is not.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::SystemTime;

use serde_json::{Value as Json, json};
use stopwise::marks::xmp::{Rating, read};

use super::{PROGRAM, Place, exposed, jpeg, picture};

/// A record as `cull` writes it, of frames that need not be pictures.
fn record(place: &Place, frames: &[(&str, Option<&str>, &str)]) {
    let rows: Vec<Json> = frames
        .iter()
        .map(|(path, partner, verdict)| {
            let causes = match *verdict {
                "hit" => json!([]),
                "unclear" => json!([{"cause": "no-texture", "share": null}]),
                _ => {
                    json!([{"cause": "misfocused", "share": 0.8}, {"cause": "noise", "share": 0.2}])
                }
            };
            json!({"path": path, "partner": partner, "source": "rendered", "burst": 1,
                   "width_px": 600, "height_px": 400, "exposure": {}, "verdict": verdict,
                   "causes": causes, "because": "", "flags": []})
        })
        .collect();
    let outing = json!({"paths": ["day"], "frames": rows.len(), "bursts": 1,
                        "unmarked_bursts": 1, "hits": {"count": 0, "of": 0}, "near": 0,
                        "misses": 0, "unclear": 0, "by_cause": [], "by_aperture": [],
                        "by_shutter": [], "findings": []});
    let record = json!({"schema": 1, "program": "stopwise", "version": "0.1.0",
                        "outing": outing, "bursts": [], "frames": rows, "skipped": []});
    place.put("day.json", record.to_string().as_bytes());
    for (path, partner, _) in frames {
        place.put(&format!("day/{path}"), format!("pixels of {path}").as_bytes());
        if let Some(partner) = partner {
            place.put(partner, b"pixels too");
        }
    }
}

/// Every file below the place with its bytes and its time.
fn everything(place: &Place) -> BTreeMap<String, (Vec<u8>, SystemTime)> {
    fn below(folder: &Path, root: &Path, found: &mut BTreeMap<String, (Vec<u8>, SystemTime)>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                below(&path, root, found);
            } else {
                let name = path.strip_prefix(root).unwrap().to_str().unwrap().to_owned();
                let time = fs::metadata(&path).unwrap().modified().unwrap();
                found.insert(name, (fs::read(&path).unwrap(), time));
            }
        }
    }
    let mut found = BTreeMap::new();
    below(place.path(), place.path(), &mut found);
    found
}

fn keywords(place: &Place, name: &str) -> Vec<String> {
    read(&fs::read_to_string(place.path().join(name)).unwrap()).unwrap().keywords
}

#[test]
fn marks_are_shown_first_and_written_when_asked() {
    let place = Place::new();
    record(&place, &[("a.jpg", None, "hit"), ("b.jpg", None, "miss"), ("c.jpg", None, "unclear")]);
    let before = everything(&place);
    let args = ["mark", "day.json", "--rating", "hit=5,miss=-1", "--label", "hit=to print, large"];
    let dry = place.run(&args);
    assert_eq!(dry.code, Some(0), "{}", dry.stderr);
    assert!(dry.stdout.contains("Dry run: add"), "{}", dry.stdout);
    assert!(dry.stdout.contains("day/b.xmp  miss"), "{}", dry.stdout);
    assert_eq!(everything(&place), before);

    let wet = place.run(&[&args[..], &["--write"]].concat());
    assert_eq!(wet.code, Some(0), "{}", wet.stderr);
    let after = everything(&place);
    for (name, was) in &before {
        assert_eq!(&after[name], was, "{name} keeps its bytes and its time");
    }
    assert_eq!(after.len(), before.len() + 3);
    let said = read(&fs::read_to_string(place.path().join("day/a.xmp")).unwrap()).unwrap();
    assert_eq!(said.rating, Some(Rating::Is(5.0)));
    assert_eq!(said.label.as_deref(), Some("to print, large"));
    assert_eq!(said.keywords, ["stopwise:hit"]);
    assert_eq!(keywords(&place, "day/b.xmp"), ["stopwise:miss", "stopwise:misfocused"]);
    assert_eq!(keywords(&place, "day/c.xmp"), ["stopwise:unclear", "stopwise:no-texture"]);

    let again = place.run(&[&args[..], &["--write"]].concat());
    let said = again.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("Nothing to write"), "{said}");
    assert_eq!(everything(&place), after, "marking again rewrites nothing");
}

#[test]
fn a_sidecar_that_is_there_is_edited_under_the_name_it_has() {
    let place = Place::new();
    record(&place, &[("IMG_1.CR2", None, "hit"), ("IMG_2.CR2", None, "hit")]);
    let rdf = "xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"";
    let text = format!(
        "<rdf:RDF {rdf}><rdf:Description rdf:about=\"\" a:b=\"c\" xmlns:a=\"d\"/></rdf:RDF>"
    );
    // P8: IMG_1.xmp is written, and IMG_1.CR2.xmp is read.
    place.put("day/IMG_1.CR2.xmp", text.as_bytes());
    let ran = place.run(&["mark", "day.json", "--write", "--rating", "hit=3"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert!(!place.path().join("day/IMG_1.xmp").exists());
    let edited = fs::read_to_string(place.path().join("day/IMG_1.CR2.xmp")).unwrap();
    assert!(edited.contains("a:b=\"c\"") && edited.contains("Rating=\"3\""), "{edited}");
    assert!(place.path().join("day/IMG_2.xmp").exists());
}

#[test]
fn what_cannot_be_edited_is_left_and_told() {
    let place = Place::new();
    record(&place, &[("a.jpg", None, "hit"), ("b.jpg", None, "hit"), ("c.jpg", None, "hit")]);
    place.put("day/a.xmp", b"<x:xmpmeta");
    place.put("day/b.xmp", b"\xff\xfe<\0a\0/\0>\0");
    fs::remove_file(place.path().join("day/c.jpg")).unwrap();
    let before = everything(&place);
    let ran = place.run(&["mark", "day.json", "--write"]);
    assert_eq!(ran.code, Some(2), "nothing was done: {}", ran.stdout);
    for says in ["not well-formed XML at line 1", "not UTF-8", "c.jpg: not found"] {
        assert!(ran.stdout.contains(says), "{says}: {}", ran.stdout);
    }
    assert_eq!(everything(&place), before);
    assert_eq!(place.run(&["mark", "none.json"]).code, Some(2));
    place.put("other.json", b"{\"schema\":1}");
    let ran = place.run(&["mark", "other.json"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("not a stopwise cull record"), "{}", ran.stderr);
}

#[test]
fn a_raw_file_and_its_picture_share_one_sidecar_and_strangers_do_not() {
    let place = Place::new();
    record(
        &place,
        &[
            ("pair.dng", Some("day/pair.jpg"), "hit"),
            ("a.jpg", None, "hit"),
            ("a.png", None, "miss"),
            ("b.jpg", None, "hit"),
            ("b.png", None, "hit"),
        ],
    );
    place.put("day/pair.tif", b"developed");
    let ran = place.run(&["mark", "day.json", "--write", "--json", "marks.json"]);
    assert_eq!(ran.code, Some(1), "{}", ran.stdout);
    let marks: Json =
        serde_json::from_slice(&fs::read(place.path().join("marks.json")).unwrap()).unwrap();
    let rows = marks["sidecars"].as_array().unwrap();
    let paths: Vec<&str> = rows.iter().map(|r| r["path"].as_str().unwrap()).collect();
    assert_eq!(paths, ["day/pair.xmp", "day/b.xmp"]);
    assert_eq!(rows[0]["frames"], json!(["day/pair.dng", "day/pair.jpg"]));
    assert_eq!(rows[0]["notes"][0], "one sidecar for pair.dng and pair.jpg and pair.tif");
    assert_eq!(rows[1]["notes"][0], "one sidecar for b.jpg and b.png");
    let reason = marks["skipped"][0]["reason"].as_str().unwrap();
    assert!(reason.contains("a.jpg and a.png, whose marks differ"), "{reason}");
    assert!(!place.path().join("day/a.xmp").exists());

    let ran = place.run(&["mark", "day.json", "--write", "--full-names"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stdout);
    assert_eq!(keywords(&place, "day/a.png.xmp")[0], "stopwise:miss");
    assert_eq!(keywords(&place, "day/pair.dng.xmp"), ["stopwise:hit"]);
    assert_eq!(keywords(&place, "day/pair.jpg.xmp"), ["stopwise:hit"]);
}

#[test]
fn hits_are_linked_copied_or_listed_and_nothing_in_the_way_is_lost() {
    let place = Place::new();
    record(&place, &[("m/a.jpg", None, "hit"), ("b.jpg", None, "near"), ("c.jpg", None, "miss")]);
    let before = everything(&place);
    let base = ["mark", "day.json", "--no-sidecars", "--verdicts", "hit,near"];
    let ran = place.run(&[&base[..], &["--copies", "out"]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert!(!place.path().join("out").exists(), "shown, not done");
    for option in ["--hard-links", "--copies"] {
        let dir = format!("out{option}");
        let args = [&base[..], &["--write", option, &dir]].concat();
        assert_eq!(place.run(&args).code, Some(0));
        let now = everything(&place);
        assert_eq!(now[&format!("{dir}/m/a.jpg")], before["day/m/a.jpg"], "bytes and time");
        assert!(now.contains_key(&format!("{dir}/b.jpg")));
        assert!(!now.contains_key(&format!("{dir}/c.jpg")));
        let again = place.run(&args);
        assert!(again.stdout.contains("0 new, 2 there already"), "{}", again.stdout);
        fs::remove_file(place.path().join(&dir).join("b.jpg")).unwrap();
        place.put(&format!("{dir}/b.jpg"), b"something dear");
        let ran = place.run(&args);
        assert_eq!(ran.code, Some(1));
        assert!(ran.stdout.contains("is a different file and is left"), "{}", ran.stdout);
        assert_eq!(everything(&place)[&format!("{dir}/b.jpg")].0, b"something dear");
    }
    let ran = place.run(&["mark", "day.json", "--no-sidecars", "--list", "-"]);
    let expected = place.path().canonicalize().unwrap().join("day/m/a.jpg");
    assert_eq!(Path::new(ran.stdout.trim_end()).canonicalize().unwrap(), expected);
    for (name, was) in &before {
        assert_eq!(&everything(&place)[name], was, "{name}");
    }
}

#[test]
fn a_folder_is_judged_and_marked() {
    let place = Place::new();
    place.put("day/-a.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    let ran = place.run(&["mark", "day", "--write"]);
    assert_eq!(ran.code, Some(0), "{} {}", ran.stdout, ran.stderr);
    assert!(keywords(&place, "day/-a.xmp")[0].starts_with("stopwise:"));
}

#[test]
fn ratings_that_make_no_sense_are_refused() {
    let place = Place::new();
    record(&place, &[("a.jpg", None, "hit")]);
    for bad in [
        &["--rating", "hit=6"][..],
        &["--rating", "hit=1,hit=2"],
        &["--rating", "good=1"],
        &["--label", "hit="],
        &["--no-keywords"],
        &["--copies", "x", "--hard-links", "y"],
        &["--verdicts", "best"],
    ] {
        let ran = place.run(&[&["mark", "day.json"], bad].concat());
        assert_eq!(ran.code, Some(2), "{bad:?}: {}", ran.stdout);
    }
}

/// Sidecars of some size, so that a writer can be caught in the middle.
fn large(number: usize) -> String {
    let filling = format!("{number:04} ").repeat(60_000);
    format!(
        "<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description \
         rdf:about=\"\" xmlns:f=\"f\"><f:Mask>{filling}</f:Mask></rdf:Description></rdf:RDF>"
    )
}

/// Killed at twenty moments, every sidecar is whole: as it was, or as it should be.
#[cfg(unix)]
#[test]
fn a_kill_leaves_whole_sidecars() {
    let place = Place::new();
    let names: Vec<String> = (0..40).map(|i| format!("f{i:03}.jpg")).collect();
    let frames: Vec<_> = names.iter().map(|n| (n.as_str(), None, "hit")).collect();
    record(&place, &frames);
    let path = |i: usize| place.path().join(format!("day/f{i:03}.xmp"));
    let (mut old, mut new) = (0, 0);
    for moment in 0..20u64 {
        (0..40).for_each(|i| fs::write(path(i), large(i)).unwrap());
        let mut child = Command::new(PROGRAM)
            .current_dir(place.path())
            .args(["mark", "day.json", "--write"])
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // Moments spread over the writing: when a sidecar has changed, or the next is being written.
        let goal = (moment * 2) as usize;
        let mut until = |event: &dyn Fn() -> bool| {
            while !event() && child.try_wait().unwrap().is_none() {
                std::thread::yield_now();
            }
        };
        let length = large(goal).len();
        until(&|| fs::metadata(path(goal)).is_ok_and(|m| m.len() as usize != length));
        if moment % 2 == 1 {
            let is_working = |name: &str| name.starts_with(".stopwise-mark-");
            let names = || fs::read_dir(place.path().join("day")).unwrap();
            until(&|| names().any(|e| e.unwrap().file_name().to_str().is_some_and(is_working)));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        for i in 0..40 {
            let text = fs::read_to_string(path(i)).unwrap();
            let before = large(i);
            if text == before {
                old += 1;
            } else {
                let said = read(&text).unwrap_or_else(|e| panic!("f{i:03} at {moment}: {e}"));
                assert_eq!(said.keywords, ["stopwise:hit"]);
                assert!(text.contains(&before[before.len() / 2..before.len() / 2 + 1000]));
                new += 1;
            }
        }
    }
    assert!(old > 0 && new > 0, "kills fell before or after the work: {old} old, {new} new");
    // The next run clears away what was left.
    assert_eq!(place.run(&["mark", "day.json", "--write"]).code, Some(0));
    let left = fs::read_dir(place.path().join("day")).unwrap().count();
    assert_eq!(left, 80, "working files are left");
}

/// A disk that takes no more: told for each sidecar, and the old ones stay.
#[cfg(unix)]
#[test]
fn a_full_disk_costs_no_sidecar() {
    let place = Place::new();
    record(&place, &[("a.jpg", None, "hit"), ("b.jpg", None, "hit")]);
    place.put("day/a.xmp", large(1).as_bytes());
    let before = everything(&place);
    // With the signal ignored, writing more than 8 kB fails as on a full disk.
    let run = |script: &str| {
        let out = Command::new("sh")
            .args(["-c", script, PROGRAM])
            .current_dir(place.path())
            .output()
            .unwrap();
        (out.status.code(), String::from_utf8(out.stdout).unwrap())
    };
    let (code, said) = run("trap '' XFSZ; ulimit -f 8; \"$0\" mark day.json --write");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("day/a.xmp: cannot be written"), "{said}");
    let after = everything(&place);
    assert_eq!(after["day/a.xmp"], before["day/a.xmp"]);
    assert!(after.contains_key("day/b.xmp"), "the small one was written");
    assert_eq!(after.len(), before.len() + 1, "no working file is left");
    // Killed by the signal, the same holds.
    let (code, _) = run("ulimit -f 8; exec \"$0\" mark day.json --write --rating hit=1");
    assert_ne!(code, Some(0));
    assert_eq!(everything(&place)["day/a.xmp"], before["day/a.xmp"]);
}

/// A folder and a sidecar that must not be written to.
#[cfg(unix)]
#[test]
fn write_protection_is_respected() {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new();
    record(&place, &[("a.jpg", None, "hit")]);
    place.put("day/a.xmp", large(1).as_bytes());
    let mode = |path: &str, mode: u32| {
        fs::set_permissions(place.path().join(path), fs::Permissions::from_mode(mode)).unwrap();
    };
    mode("day/a.xmp", 0o444);
    let ran = place.run(&["mark", "day.json", "--write"]);
    assert_eq!(ran.code, Some(2), "{}", ran.stdout);
    assert!(ran.stdout.contains("it is write-protected"), "{}", ran.stdout);
    assert_eq!(fs::read_to_string(place.path().join("day/a.xmp")).unwrap(), large(1));

    // The rights of a sidecar stay.
    mode("day/a.xmp", 0o640);
    assert_eq!(place.run(&["mark", "day.json", "--write"]).code, Some(0));
    let now = fs::metadata(place.path().join("day/a.xmp")).unwrap().permissions().mode();
    assert_eq!(now & 0o777, 0o640);

    // A read-only folder; root may write everywhere, so somebody else has to try.
    fs::remove_file(place.path().join("day/a.xmp")).unwrap();
    mode("", 0o755);
    mode("day", 0o555);
    let copy = std::env::temp_dir().join(format!("stopwise-{}", std::process::id()));
    fs::copy(PROGRAM, &copy).unwrap();
    let script = "if [ \"$(id -u)\" = 0 ]; then exec setpriv --reuid=65534 --regid=65534 \
                  --clear-groups \"$0\" mark day.json --write; else exec \"$0\" mark day.json \
                  --write; fi";
    let out = Command::new("sh")
        .args(["-c", script])
        .arg(&copy)
        .current_dir(place.path())
        .output()
        .unwrap();
    fs::remove_file(&copy).unwrap();
    mode("day", 0o755);
    let said = String::from_utf8_lossy(&out.stdout);
    assert_eq!(out.status.code(), Some(2), "{said} {}", String::from_utf8_lossy(&out.stderr));
    assert!(said.contains("cannot be written: Permission denied"), "{said}");
    assert!(!place.path().join("day/a.xmp").exists());
}
