//! What was measured before is not measured again; whatever differs is, and nothing else shows.

use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

use rusqlite::Connection;

use super::{CACHE, Place, Ran, Tag, exposed, field, jpeg, jpeg_with, picture, text};

/// Folder of the cache, beside the frames.
const FOLDER: &str = "kept";
const FILE: &str = "kept/stopwise-cache.sqlite";

/// Runs `cull` on `day` with a cache and gives the record's and the report's bytes.
fn culled(place: &Place, more: &[&str]) -> (Vec<u8>, Vec<u8>, Ran) {
    let args = ["cull", "day", "--quiet", "--json", "r.json", "--report", "r.html"];
    let ran = run(place, &[&args, more].concat());
    let read = |name| fs::read(place.path().join(name)).unwrap();
    (read("r.json"), read("r.html"), ran)
}

fn run(place: &Place, args: &[&str]) -> Ran {
    let out = place.command(args).env(CACHE, FOLDER).output().unwrap();
    let utf8 = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran { code: out.status.code(), stdout: utf8(out.stdout), stderr: utf8(out.stderr) }
}

/// Bursts in the cache.
fn bursts_kept(place: &Place) -> u32 {
    let shown = run(place, &["cache", "show"]);
    assert_eq!(shown.code, Some(0), "{}", shown.stderr);
    let row = shown.stdout.lines().nth(1).unwrap();
    row.split(' ').next().unwrap().parse().unwrap()
}

/// Writes other bytes of the same length into the picture data, with the time of before: what
/// was measured stands in the cache only.
fn spoil(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..].fill(0);
    fs::write(path, bytes).unwrap();
}

#[test]
fn a_second_run_gives_the_same_bytes_with_nothing_decoded() {
    let place = Place::new();
    place.outing(&[3, 2, 1]);
    place.put("day/empty.jpg", b"");
    let fresh = culled(&place, &["--no-cache"]);
    assert!(!place.path().join(FOLDER).exists(), "--no-cache keeps nothing");
    let first = culled(&place, &[]);
    assert_eq!(bursts_kept(&place), 3);
    let second = culled(&place, &[]);
    assert_eq!((&fresh.0, &fresh.1), (&first.0, &first.1));
    assert_eq!((&fresh.0, &fresh.1), (&second.0, &second.1));
    assert_eq!((second.2.code, second.2.stderr), (fresh.2.code, fresh.2.stderr));
    assert_eq!(bursts_kept(&place), 3, "nothing was measured anew");

    // The pictures kept serve a run without a report too: same record, nothing more is kept.
    let args = ["cull", "day", "--quiet", "--no-report", "--json", "s.json"];
    assert_eq!(run(&place, &args).code, Some(1));
    assert_eq!(fs::read(place.path().join("s.json")).unwrap(), fresh.0);
    assert_eq!(bursts_kept(&place), 3);
}

#[test]
fn frames_elsewhere_are_known_by_their_content() {
    let place = Place::new();
    place.outing(&[2, 2]);
    let first = culled(&place, &[]);
    fs::rename(place.path().join("day"), place.path().join("old")).unwrap();
    fs::create_dir(place.path().join("day")).unwrap();
    for entry in fs::read_dir(place.path().join("old")).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), place.path().join("day").join(entry.file_name())).unwrap();
    }
    assert_eq!(culled(&place, &[]).0, first.0);
    assert_eq!(bursts_kept(&place), 2);
}

#[test]
fn only_the_burst_that_differs_is_measured_again() {
    let place = Place::new();
    place.outing(&[2, 2, 2]);
    let first = culled(&place, &[]);
    // Another picture under a known name, as old as the one before.
    let changed = place.path().join("day/f003.jpg");
    let old = fs::metadata(&changed).unwrap().modified().unwrap();
    place.put("day/f003.jpg", &jpeg(&picture(2.0), &exposed(1, 0)));
    fs::File::options().write(true).open(&changed).unwrap().set_modified(old).unwrap();
    let second = culled(&place, &[]);
    assert_ne!(second.0, first.0);
    assert_eq!(bursts_kept(&place), 4);
    assert_eq!(second.0, culled(&place, &["--no-cache"]).0);

    // A mark in one burst, a subject in all.
    place.put("marks.csv", b"f001.jpg,0.4,0.5\n");
    let marked = culled(&place, &["--subjects", "marks.csv"]);
    assert_eq!(bursts_kept(&place), 5);
    assert_eq!(marked.0, culled(&place, &["--subjects", "marks.csv", "--no-cache"]).0);
    for more in [["--subject", "0.3,0.6"], ["--subject", "0.3,0.6,0.4,0.4"]] {
        let before = bursts_kept(&place);
        assert_eq!(
            culled(&place, &more).0,
            culled(&place, &[&more[..], &["--no-cache"]].concat()).0
        );
        assert_eq!(bursts_kept(&place), before + 3, "{more:?}");
    }
}

/// Lets nothing more be put into the cache: a run that measures anew says that it cannot be used.
fn close(place: &Place) {
    let closed = "CREATE TRIGGER closed BEFORE INSERT ON results
                  BEGIN SELECT RAISE(FAIL, 'closed'); END";
    opened(place).execute_batch(closed).unwrap();
}

fn opened(place: &Place) -> Connection {
    Connection::open(place.path().join(FILE)).unwrap()
}

#[test]
fn what_a_closed_cache_does_not_hold_is_told() {
    let place = Place::new();
    place.outing(&[2]);
    culled(&place, &[]);
    close(&place);
    assert_eq!(culled(&place, &[]).2.stderr, "");
    let other = culled(&place, &["--subject", "0.3,0.6"]);
    assert!(other.2.stderr.contains("closed"), "{}", other.2.stderr);
}

#[test]
fn an_unrelated_rig_changes_nothing() {
    let place = Place::new();
    place.outing(&[3, 2]);
    let mut fields = exposed(0, 0);
    fields[1] = field(Tag::Model, text("Velmarrow VM-9"));
    place.put("another.jpg", &jpeg(&picture(1.0), &fields));
    let first = culled(&place, &[]);
    close(&place);
    let add = ["rig", "add", "wasp", "--like", "another.jpg", "--magnification", "3"];
    assert_eq!(run(&place, &add).code, Some(0));
    let second = culled(&place, &[]);
    assert_eq!((&second.0, &second.1), (&first.0, &first.1));
    assert_eq!(second.2.stderr, "", "nothing was measured anew");
}

#[test]
fn what_was_measured_is_judged_anew_by_what_is_known_now() {
    let place = Place::new();
    place.outing(&[7, 2]);
    let mut before = culled(&place, &[]);
    close(&place);
    let mut judged = |more: &[&str]| {
        let again = culled(&place, more);
        assert_eq!(again.2.stderr, "", "nothing was measured anew with {more:?}");
        let fresh = culled(&place, &[more, &["--no-cache"]].concat());
        assert!(again.0 == fresh.0 && again.1 == fresh.1, "{more:?}");
        assert_ne!(again.0, before.0, "{more:?}");
        before = again;
    };
    for more in [
        ["--aperture", "4"],
        ["--magnification", "3"],
        ["--pitch", "2.5"],
        ["--output-width", "200"],
    ] {
        judged(&more);
    }
    // A rig that the frames were taken with, and another word of it.
    for magnification in ["2", "4"] {
        let _ = fs::remove_file(place.path().join("own/rigs.toml"));
        let add = ["rig", "add", "beetle", "--like", "day/f001.jpg", "--pitch", "4"];
        let add = [&add[..], &["--magnification", magnification]].concat();
        assert_eq!(run(&place, &add).code, Some(0));
        judged(&[]);
    }
    // Another name.
    fs::rename(place.path().join("day/f002.jpg"), place.path().join("day/f0020.jpg")).unwrap();
    judged(&[]);
}

#[test]
fn a_value_of_another_form_is_measured_anew() {
    let place = Place::new();
    place.outing(&[3]);
    let fresh = culled(&place, &[]);
    let whole: Vec<u8> =
        opened(&place).query_row("SELECT bytes FROM results", [], |r| r.get(0)).unwrap();
    let head = br#"{"pages":[],"skipped":[]}"#;
    let earlier = [&(head.len() as u64).to_le_bytes()[..], head].concat();
    let longer = [&whole[..], &[0]].concat();
    for bytes in [&earlier[..], &longer, &whole[..whole.len() - 1], &whole[1..], &[0xFF; 40], &[]] {
        let check_sum = stopwise::store::hash::Content::of(bytes).0;
        let spoilt = "UPDATE results SET bytes = ?1, check_sum = ?2";
        assert_eq!(opened(&place).execute(spoilt, (bytes, check_sum)).unwrap(), 1);
        let again = culled(&place, &[]);
        assert_eq!((&again.0, &again.1), (&fresh.0, &fresh.1));
        assert_eq!((again.2.code, again.2.stderr.as_str()), (Some(0), ""));
        let kept: Vec<u8> =
            opened(&place).query_row("SELECT bytes FROM results", [], |r| r.get(0)).unwrap();
        assert!(kept == whole, "what was measured anew is kept");
    }
}

#[test]
fn a_file_that_was_at_rest_is_not_read_again_and_one_that_was_touched_is() {
    let place = Place::new();
    let path = place.put("day/a.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    let first = culled(&place, &[]);
    // The system's clock decides what is at rest: the file is made to look an hour old. Its
    // entry is of now, so that it is hashed again all the same, and found by its content.
    let old = SystemTime::now() - Duration::from_secs(3600);
    fs::File::options().write(true).open(&path).unwrap().set_modified(old).unwrap();
    assert_eq!(culled(&place, &[]).0, first.0);
    assert_eq!(bursts_kept(&place), 1);
    // Same size, same time as before, other bytes.
    spoil(&path);
    fs::File::options().write(true).open(&path).unwrap().set_modified(old).unwrap();
    assert_ne!(culled(&place, &[]).0, first.0);
}

#[test]
fn a_damaged_frame_is_skipped_again_from_the_cache() {
    let place = Place::new();
    place.outing(&[3]);
    spoil(&place.path().join("day/f002.jpg"));
    let first = culled(&place, &[]);
    assert_eq!(first.2.code, Some(1));
    assert!(first.2.stderr.contains("f002.jpg: damaged picture"), "{}", first.2.stderr);
    let second = culled(&place, &[]);
    assert_eq!((second.0, second.2.stderr), (first.0, first.2.stderr));
    assert_eq!(bursts_kept(&place), 1);
}

#[test]
fn a_cache_that_cannot_be_used_costs_one_line() {
    let place = Place::new();
    place.outing(&[2]);
    let fresh = culled(&place, &["--no-cache"]);
    // A file where its folder should be.
    place.put(FOLDER, b"no folder");
    let ran = culled(&place, &[]);
    assert_eq!((ran.0, ran.2.code), (fresh.0.clone(), Some(0)));
    assert_eq!(ran.2.stderr.lines().count(), 1, "{}", ran.2.stderr);
    assert!(ran.2.stderr.contains("Continuing without it"), "{}", ran.2.stderr);
    assert_eq!(run(&place, &["cache", "show"]).stdout, "No cache yet. It will be in kept.\n");
    fs::remove_file(place.path().join(FOLDER)).unwrap();
    // Rubbish in its file, from the first byte or in the middle.
    culled(&place, &[]);
    let whole = fs::read(place.path().join(FILE)).unwrap();
    for from in [0, 100, whole.len() / 3] {
        let mut bytes = whole.clone();
        bytes[from..].fill(0xA5);
        place.put(FILE, &bytes);
        let ran = culled(&place, &[]);
        assert_eq!((ran.0, ran.2.code), (fresh.0.clone(), Some(0)), "from {from}");
        assert!(ran.2.stderr.lines().count() <= 1, "from {from}: {}", ran.2.stderr);
    }
    place.put(FILE, &[0xA5; 5000]);
    let shown = run(&place, &["cache", "show"]);
    assert_eq!(shown.code, Some(2));
    assert!(shown.stderr.contains("`stopwise cache clear` removes it"), "{}", shown.stderr);
    assert_eq!(run(&place, &["cache", "clear"]).stdout, "Removed the cache in kept.\n");
    assert_eq!(run(&place, &["cache", "clear"]).stdout, "There was no cache in kept.\n");
    let again = culled(&place, &[]);
    assert_eq!((again.0, again.2.stderr.as_str()), (fresh.0, ""));
}

#[test]
fn a_cache_that_is_off_writes_nothing() {
    let place = Place::new();
    place.put("day/a.jpg", &jpeg_with(&[90; 64 * 64], (64, 64), &[]));
    let ran = place.run(&["cull", "day", "--quiet", "--no-report"]);
    assert_eq!(ran.stderr, "");
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1, "off: nothing is written");
    let shown = place.run(&["cache", "show"]);
    assert_eq!(shown.stdout, "The cache is off. Set STOPWISE_CACHE to a folder to use one.\n");
}
