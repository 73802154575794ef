//! A record, a sidecar or a link never leads a run out of the folder that it belongs to.

use std::fs;

use serde_json::{Value as Json, json};

use super::{Place, exposed, jpeg, picture};

/// A record of `card` that names other files as well.
fn with_paths(place: &Place, paths: &[&str]) -> Vec<u8> {
    let (mut record, _) = place.culled(&["card"]);
    let frame = record["frames"][0].clone();
    let frames = record["frames"].as_array_mut().unwrap();
    for path in paths {
        let mut more = frame.clone();
        more["path"] = json!(path);
        frames.push(more);
    }
    serde_json::to_vec(&record).unwrap()
}

fn picture_file() -> Vec<u8> {
    jpeg(&picture(1.0), &exposed(0, 0))
}

/// Every file below a place.
fn files(place: &Place) -> Vec<String> {
    let mut found: Vec<String> = walkdir::WalkDir::new(place.path())
        .into_iter()
        .map(|e| e.unwrap())
        .filter(|e| !e.file_type().is_dir())
        .map(|e| e.path().strip_prefix(place.path()).unwrap().display().to_string())
        .filter(|p| !p.starts_with("own") && !p.starts_with("kept"))
        .collect();
    found.sort();
    found
}

#[test]
fn a_record_does_not_reach_out_of_its_folder() {
    let place = Place::new();
    place.put("mine/card/a.jpg", &picture_file());
    let private = place.put("secret/private.jpg", &jpeg(&picture(2.0), &[]));
    place.put("mine/notes.txt", b"mine");
    let mine = place.path().join("mine");
    fs::rename(mine.join("card"), place.path().join("card")).unwrap();
    let named = [
        "../secret/private.jpg",
        "../../secret/private.jpg",
        "card/../../secret/private.jpg",
        private.to_str().unwrap(),
        "/etc/passwd",
        "notes.txt",
        "../notes.txt",
    ];
    let record = with_paths(&place, &named);
    fs::rename(place.path().join("card"), mine.join("card")).unwrap();
    place.put("mine/r.json", &record);
    let before = files(&place);
    for more in [
        &["--write"][..],
        &["--write", "--folder", "mine/card"],
        &[
            "--write",
            "--no-sidecars",
            "--hard-links",
            "hits",
            "--verdicts",
            "hit,near,miss,unclear",
        ],
        &["--write", "--no-sidecars", "--copies", "copies", "--verdicts", "hit,near,miss,unclear"],
        &["--list", "list.txt", "--no-sidecars", "--verdicts", "hit,near,miss,unclear"],
        &["--write", "--follow-links"],
    ] {
        let ran = place.run(&[&["mark", "mine/r.json", "--json", "m.json"], more].concat());
        assert_eq!(ran.code, Some(1), "{more:?}: {}", ran.stderr);
        let marks: Json =
            serde_json::from_slice(&fs::read(place.path().join("m.json")).unwrap()).unwrap();
        let skipped = marks["skipped"].as_array().unwrap();
        for path in named {
            let row = skipped.iter().find(|s| s["path"] == path);
            let row = row.unwrap_or_else(|| panic!("{path} is not told with {more:?}"));
            let reason = row["reason"].as_str().unwrap();
            assert!(reason.starts_with("refused: ") || reason.starts_with("not found"), "{reason}");
        }
        assert_eq!(skipped.len(), named.len(), "{more:?}");
    }
    let new: Vec<String> = files(&place).into_iter().filter(|f| !before.contains(f)).collect();
    let wanted = ["copies/a.jpg", "hits/a.jpg", "list.txt", "m.json", "mine/card/a.xmp"];
    assert_eq!(new, wanted);
    let list = fs::read_to_string(place.path().join("list.txt")).unwrap();
    assert_eq!(list.lines().count(), 1, "{list}");
    assert!(!std::path::Path::new("/etc/passwd.xmp").exists());
}

#[test]
fn a_record_from_elsewhere_needs_the_folder_named() {
    let place = Place::new();
    place.put("card/a.jpg", &picture_file());
    let record = with_paths(&place, &[]);
    place.put("reports/r.json", &record);
    let ran = place.run(&["mark", "reports/r.json", "--write"]);
    assert_eq!(ran.code, Some(2), "{}", ran.stdout);
    assert!(
        ran.stdout.contains("outside reports") && ran.stdout.contains("--folder"),
        "{}",
        ran.stdout
    );
    let ran = place.run(&["mark", "reports/r.json", "--write", "--folder", "card"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stdout);
    assert!(place.path().join("card/a.xmp").exists());
}

#[cfg(unix)]
#[test]
fn links_lead_out_only_when_that_is_asked() {
    use std::os::unix::fs::symlink;
    let place = Place::new();
    place.put("card/a.jpg", &picture_file());
    place.put("away/b.jpg", &jpeg(&picture(1.4), &exposed(1, 0)));
    let away = place.path().join("away");
    symlink(&away, place.path().join("card/linked")).unwrap();
    let ran = place.run(&["mark", "card", "--write"]);
    assert_eq!(ran.code, Some(1), "{}", ran.stderr);
    assert!(
        ran.stdout.contains("linked/b.jpg") && ran.stdout.contains("--follow-links"),
        "{}",
        ran.stdout
    );
    assert!(place.path().join("card/a.xmp").exists() && !away.join("b.xmp").exists());
    let ran = place.run(&["mark", "card", "--write", "--follow-links"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stdout);
    assert!(away.join("b.xmp").exists());

    // A sidecar that is a link, and a folder of hits with one in it.
    fs::remove_file(place.path().join("card/linked")).unwrap();
    fs::remove_file(place.path().join("card/a.xmp")).unwrap();
    let target = place.put("away/other.xmp", b"not mine");
    symlink(&target, place.path().join("card/a.xmp")).unwrap();
    let ran = place.run(&["mark", "card", "--write"]);
    assert_eq!(ran.code, Some(2), "{}", ran.stdout);
    assert!(ran.stdout.contains("a link leads out"), "{}", ran.stdout);
    assert_eq!(fs::read(&target).unwrap(), b"not mine");
    place.put("card/sub/c.jpg", &jpeg(&picture(1.2), &exposed(2, 0)));
    fs::create_dir(place.path().join("hits")).unwrap();
    symlink(&away, place.path().join("hits/sub")).unwrap();
    let args = ["mark", "card", "--no-sidecars", "--write", "--copies", "hits", "--verdicts"];
    let ran = place.run(&[&args[..], &["hit,near,miss,unclear"]].concat());
    assert_eq!(ran.code, Some(1), "{}", ran.stdout);
    assert!(!away.join("c.jpg").exists() && place.path().join("hits/a.jpg").exists());
}

#[cfg(unix)]
#[test]
fn pipes_and_folders_in_place_of_sidecars_are_not_opened() {
    let place = Place::new();
    place.put("card/a.jpg", &picture_file());
    place.put("card/b.jpg", &jpeg(&picture(1.4), &exposed(1, 0)));
    place.put("card/c.jpg", &jpeg(&picture(1.2), &exposed(2, 0)));
    place.put("card/d.jpg", &jpeg(&picture(1.1), &exposed(3, 0)));
    let pipe = place.path().join("card/a.xmp");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    fs::create_dir(place.path().join("card/b.xmp")).unwrap();
    place.put("card/c.xmp", &vec![b' '; (8 << 20) + 1]);
    for more in [&[][..], &["--write"]] {
        let ran = place.run(&[&["mark", "card", "--json", "-"], more].concat());
        assert_eq!(ran.code, Some(1), "{}", ran.stderr);
        let marks: Json = serde_json::from_str(&ran.stdout).unwrap();
        let skipped = marks["skipped"].as_array().unwrap();
        let reason = |end: &str| {
            let row = skipped.iter().find(|s| s["path"].as_str().unwrap().ends_with(end));
            row.unwrap()["reason"].as_str().unwrap().to_owned()
        };
        assert!(reason("a.xmp").contains("pipe") && reason("b.xmp").contains("folder"));
        assert!(reason("c.xmp").contains("larger than 8 MB"));
        assert_eq!(marks["sidecars"].as_array().unwrap().len(), 1);
    }
    assert!(place.path().join("card/d.xmp").exists());
}

#[test]
fn what_a_folder_holds_unread_is_told() {
    let place = Place::new();
    place.put("card/a.jpg", &picture_file());
    place.put("card/cut.jpg", &picture_file()[..200]);
    place.put("card/empty.jpg", b"");
    let ran = place.run(&["mark", "card", "--write"]);
    assert_eq!(ran.code, Some(1), "{}", ran.stdout);
    for name in ["cut.jpg", "empty.jpg"] {
        assert!(ran.stdout.contains(name), "{name} is not told: {}", ran.stdout);
    }
    assert!(
        place.path().join("card/a.xmp").exists() && !place.path().join("card/cut.xmp").exists()
    );
}

/// The page shows nothing that the record must not name, and its neighbours all the same.
#[test]
fn review_shows_nothing_from_outside() {
    let place = Place::new();
    place.put("day/f001.jpg", &picture_file());
    place.put("secret/private.jpg", &jpeg(&picture(2.0), &[]));
    let (mut record, _) = place.culled(&["day"]);
    let mut more = record["frames"][0].clone();
    more["path"] = json!("../secret/private.jpg");
    record["frames"].as_array_mut().unwrap().push(more);
    place.put("day.json", &serde_json::to_vec(&record).unwrap());
    let review = super::review::Review::start(&place, &[]);
    assert_eq!(review.get("frame/0/whole?side=100").0, 200);
    assert_eq!(review.get("frame/1/whole?side=100").0, 410);
}

/// Names that are no text are judged, marked, linked and listed by their own bytes.
#[cfg(target_os = "linux")]
#[test]
fn names_of_any_bytes_are_marked() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let place = Place::new();
    let name = OsStr::from_bytes(b"f\xe8re.jpg");
    let card = place.path().join("card");
    fs::create_dir(&card).unwrap();
    if fs::write(card.join(name), picture_file()).is_err() {
        return; // This file system takes text only.
    }
    // A name that looks like the text of the other.
    fs::write(card.join("f\u{F7E8}re.jpg"), jpeg(&picture(1.4), &exposed(1, 0))).unwrap();
    let (record, code) = place.culled(&["card"]);
    assert_eq!((code, record["frames"].as_array().unwrap().len()), (Some(0), 2));
    place.put("r.json", &serde_json::to_vec(&record).unwrap());
    for source in ["card", "r.json"] {
        let args =
            ["mark", source, "--write", "--hard-links", "hits", "--list", "l.txt", "--verdicts"];
        let ran = place.run(&[&args[..], &["hit,near,miss,unclear"]].concat());
        assert_eq!(ran.code, Some(0), "{source}: {}", ran.stdout);
        assert!(ran.stdout.contains(r"f\xe8re"), "{}", ran.stdout);
        for end in ["xmp", "jpg"] {
            let mut bytes = b"f\xe8re.".to_vec();
            bytes.extend_from_slice(end.as_bytes());
            let folder = if end == "xmp" { "card" } else { "hits" };
            let path = place.path().join(folder).join(OsStr::from_bytes(&bytes));
            fs::remove_file(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        }
        let list = fs::read(place.path().join("l.txt")).unwrap();
        assert!(list.windows(8).any(|w| w == b"f\xe8re.jpg"), "{list:?}");
    }
}

/// A link that sorts before its target does not stand for it.
#[cfg(unix)]
#[test]
fn a_link_never_takes_its_targets_place() {
    use std::os::unix::fs::symlink;
    let place = Place::new();
    place.put("card/vm2.jpg", &picture_file());
    place.put("card/sub/vm3.jpg", &jpeg(&picture(1.4), &exposed(1, 0)));
    let card = place.path().join("card");
    symlink("vm2.jpg", card.join("a-link.jpg")).unwrap();
    symlink("sub", card.join("a-folder")).unwrap();
    symlink(&card, place.path().join("way")).unwrap();
    for folder in ["card", "way"] {
        let (record, code) = place.culled(&[folder]);
        let frames = record["frames"].as_array().unwrap();
        let names: Vec<&str> = frames.iter().map(|f| f["path"].as_str().unwrap()).collect();
        assert_eq!((code, names), (Some(0), vec!["vm2.jpg", "sub/vm3.jpg"]), "{folder}");
    }
    // Alone, a link is answered for.
    let (record, _) = place.culled(&["card/a-link.jpg"]);
    assert_eq!(record["frames"].as_array().unwrap().len(), 1);
    let (record, _) = place.culled(&["card/a-link.jpg", "card/vm2.jpg"]);
    assert_eq!(record["frames"][0]["path"], "card/vm2.jpg");
}
