//! Which sidecar gets which marks, and which files are handed over, without the program.

use std::fs;
use std::path::Path;

use super::record::{FilePlacing, FileState, SidecarRow};
use super::sidecars::SidecarRules;
use super::{MarkJob, MarkOutcome, mark, xmp};
use crate::core::verdict::Verdict;
use crate::cull::record::{CULL_SCHEMA, CullRecord, FrameRecord};
use crate::cull::summary;
use crate::report::header::Header;
use crate::store::record_places::{RecordOrigin, RecordPlaces};

/// A record of frames: file, the file taken with it, and verdict.
fn record(frames: &[(&str, Option<&str>, &str)]) -> CullRecord {
    let rows = frames.iter().map(|(path, partner, verdict)| {
        let causes = serde_json::json!([{ "cause": "shake", "share": 0.5 }]);
        let row = serde_json::json!({
            "path": path, "partner": partner, "source": "rendered", "burst": 1, "width_px": 600,
            "height_px": 400, "exposure": {}, "verdict": verdict, "because": "", "flags": [],
            "causes": if *verdict == "miss" { causes } else { serde_json::json!([]) },
        });
        serde_json::from_value(row).unwrap()
    });
    let frames: Vec<FrameRecord> = rows.collect();
    CullRecord {
        header: Header::new(CULL_SCHEMA),
        outing: summary::outing(vec!["day".to_owned()], &[], &frames),
        bursts: Vec::new(),
        frames,
        skipped: Vec::new(),
    }
}

/// A folder with these files in it.
fn folder(files: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    files.iter().for_each(|f| fs::write(folder.path().join(f), f).unwrap());
    folder
}

fn marked(job: &MarkJob, cull: &CullRecord, folder: &Path) -> MarkOutcome {
    let places = RecordPlaces::new(&[], Some(folder), RecordOrigin::Input, false);
    mark(job, cull, &places, None).unwrap()
}

/// Keywords, and a rating for hits.
fn rules() -> SidecarRules {
    SidecarRules {
        ratings: [(Verdict::Hit, 5)].into(),
        prefix: Some("stopwise:".to_owned()),
        ..SidecarRules::default()
    }
}

fn written(rules: SidecarRules) -> MarkJob {
    MarkJob { sidecars: Some(rules), write: true, ..MarkJob::default() }
}

fn name(path: &str) -> &str {
    Path::new(path).file_name().unwrap().to_str().unwrap()
}

fn keywords(folder: &Path, sidecar: &str) -> Vec<String> {
    xmp::read(&fs::read_to_string(folder.join(sidecar)).unwrap()).unwrap().keywords
}

#[test]
fn a_raw_file_and_its_jpeg_share_a_sidecar() {
    let day = folder(&["a.cr3", "a.jpg", "b.jpg"]);
    let cull = record(&[("a.cr3", Some("a.jpg"), "hit"), ("b.jpg", None, "miss")]);
    let record = marked(&written(rules()), &cull, day.path()).record;
    assert_eq!(record.skipped, []);
    let [a, b] = &record.sidecars[..] else { panic!("{:?}", record.sidecars) };
    assert_eq!((name(&a.path), a.frames.len(), a.notes.len()), ("a.xmp", 2, 0));
    assert_eq!((name(&b.path), b.frames.len(), b.state), ("b.xmp", 1, FileState::New));
    assert_eq!(keywords(day.path(), "a.xmp"), ["stopwise:hit"]);
    assert_eq!(keywords(day.path(), "b.xmp"), ["stopwise:miss", "stopwise:shake"]);
}

#[test]
fn two_frames_of_one_name_need_the_same_marks_or_names_of_their_own() {
    let day = folder(&["a.jpg", "a.png"]);
    let differ = record(&[("a.jpg", None, "hit"), ("a.png", None, "miss")]);
    let record_of = |rules, cull| marked(&written(rules), cull, day.path()).record;
    let refused = record_of(rules(), &differ);
    assert!(refused.sidecars.is_empty() && !day.path().join("a.xmp").exists());
    assert_eq!(name(&refused.skipped[0].path), "a.xmp");
    let own_names = record_of(SidecarRules { full_names: true, ..rules() }, &differ);
    let names: Vec<&str> = own_names.sidecars.iter().map(|s| name(&s.path)).collect();
    assert_eq!(names, ["a.jpg.xmp", "a.png.xmp"]);
    let alike = record_of(rules(), &record(&[("a.jpg", None, "near"), ("a.png", None, "near")]));
    // The whole names were taken by the run before: they stay in use.
    let names: Vec<&str> = alike.sidecars.iter().map(|s| name(&s.path)).collect();
    assert_eq!(names, ["a.jpg.xmp", "a.png.xmp"]);
    let fresh = folder(&["a.jpg", "a.png"]);
    let cull = record(&[("a.jpg", None, "near"), ("a.png", None, "near")]);
    let shared = marked(&written(rules()), &cull, fresh.path()).record;
    let [SidecarRow { frames, notes, .. }] = &shared.sidecars[..] else { panic!("{shared:?}") };
    assert_eq!((frames.len(), notes.len()), (2, 1), "{notes:?}");
}

#[test]
fn a_rating_that_is_set_stays_when_asked() {
    let day = folder(&["a.jpg"]);
    let cull = record(&[("a.jpg", None, "hit")]);
    let rated = |stars| SidecarRules { ratings: [(Verdict::Hit, stars)].into(), ..rules() };
    marked(&written(rated(2)), &cull, day.path());
    let rating = || {
        let text = fs::read_to_string(day.path().join("a.xmp")).unwrap();
        xmp::read(&text).unwrap().rating
    };
    let first = rating();
    marked(&written(SidecarRules { only_unset: true, ..rated(5) }), &cull, day.path());
    assert_eq!(rating(), first);
    let state = marked(&written(rated(5)), &cull, day.path()).record.sidecars[0].state;
    assert_eq!(state, FileState::Changed);
    assert_ne!(rating(), first);
}

#[test]
fn nothing_is_written_unless_asked() {
    let day = folder(&["a.jpg", "b.jpg"]);
    let cull =
        record(&[("a.jpg", None, "hit"), ("b.jpg", None, "miss"), ("gone.jpg", None, "hit")]);
    let hits = day.path().join("hits");
    let job = MarkJob {
        folders: vec![(hits.clone(), FilePlacing::Copy)],
        list: true,
        exported: vec![Verdict::Hit],
        write: false,
        ..written(rules())
    };
    let planned = marked(&job, &cull, day.path());
    assert_eq!((planned.record.sidecars.len(), planned.record.placed.len()), (2, 1));
    assert_eq!(planned.record.skipped.len(), 1, "a frame that is gone is named");
    let listed = String::from_utf8(planned.list).unwrap();
    assert!(listed.ends_with("a.jpg\n") && listed.lines().count() == 1, "{listed}");
    assert_eq!(fs::read_dir(day.path()).unwrap().count(), 2, "the frames and nothing else");
    let done = marked(&MarkJob { write: true, ..job }, &cull, day.path());
    assert_eq!(done.record.sidecars, planned.record.sidecars);
    assert_eq!(fs::read(hits.join("a.jpg")).unwrap(), b"a.jpg");
}
