//! The log against files on disk.

use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::*;
use crate::error::Hint;
use crate::report::value::WithError;

struct TestLog(tempfile::TempDir);

impl TestLog {
    fn new() -> TestLog {
        TestLog(tempfile::tempdir().unwrap())
    }

    fn log(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
}

/// A clock on which every reading is a second after the one before.
fn ticking() -> jiff::Timestamp {
    static SECONDS: std::sync::atomic::AtomicI64 = std::sync::atomic::AtomicI64::new(1_900_000_000);
    let now = SECONDS.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    jiff::Timestamp::from_second(now).unwrap()
}

/// Opens a log that goes by that clock.
fn opened(path: &Path) -> Log {
    Log { clock: ticking, ..Log::open(path).unwrap() }
}

fn frame(number: usize) -> LoggedFrame {
    LoggedFrame {
        path: format!("/pictures/vm{number:04}.jpg"),
        content_id: format!("{number:064x}"),
        taken_at: Some(format!("2031-06-14T09:{:02}:{:02}", number / 60 % 60, number % 60)),
        source: "rendered".to_owned(),
        width_px: 6000,
        height_px: 4000,
        burst: 1 + number as u32 / 8,
        marked_f_number: Some(8.0),
        iso: Some(400),
        verdict: if number.is_multiple_of(3) { "hit" } else { "miss" }.to_owned(),
        causes: "misfocused diffraction".to_owned(),
        magnification: Some(WithError { value: 2.0, std_err: None }),
        blur_sigma_px: Some(WithError { value: 0.7, std_err: Some(0.04) }),
        detail_bits_px: number
            .is_multiple_of(2)
            .then_some(WithError { value: 1.5, std_err: Some(0.02) }),
        flags: "alone".to_owned(),
        ..LoggedFrame::default()
    }
}

fn outing(kind: OutingKind, numbers: std::ops::Range<usize>) -> NewOuting {
    NewOuting {
        kind,
        title: "day".to_owned(),
        program_version: "0".to_owned(),
        subject: None,
        frames: numbers.map(frame).collect(),
    }
}

fn form(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

fn says(error: &Error) -> String {
    error.to_string()
}

#[test]
fn what_is_written_is_read_again() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("deep/er/log.sqlite")).unwrap();
    let added = log.add(&outing(OutingKind::Field, 0..6)).unwrap();
    assert_eq!((added.frames, added.replaced), (6, false));
    let (found, frames) = log.outing(added.id).unwrap();
    assert_eq!((found.frames, found.hits, found.kind), (6, 2, OutingKind::Field));
    assert_eq!(found.first_taken_at.as_deref(), Some("2031-06-14T09:00:00"));
    assert_eq!(frames, (0..6).map(frame).collect::<Vec<_>>());
    // Missing stays missing.
    assert_eq!(frames[1].detail_bits_px, None);
    assert_eq!(frames[0].magnification.unwrap().std_err, None);
    log.check().unwrap();
}

#[test]
fn noise_is_written_once() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    let row = LoggedNoise {
        logged_at: String::new(),
        body: "Velmarrow VM-7".to_owned(),
        iso: Some(800),
        source: "raw".to_owned(),
        frames: 2,
        method: "pair".to_owned(),
        range_dn: Some(15000.0),
        gain_dn_per_e: Some(WithError { value: 0.4, std_err: Some(0.01) }),
        read_noise_e: None,
        sigma_at: vec![
            LoggedSigma { level: 0.02, sigma_dn: 9.0, std_err_dn: Some(0.1) },
            LoggedSigma { level: 0.4, sigma_dn: 40.0, std_err_dn: None },
        ],
        trusted: true,
    };
    assert_eq!(log.add_noise(std::slice::from_ref(&row)).unwrap(), 1);
    assert_eq!(log.add_noise(std::slice::from_ref(&row)).unwrap(), 0);
    let mut read = log.noise().unwrap();
    assert!(!read[0].logged_at.is_empty());
    read[0].logged_at.clear();
    assert_eq!(read, [row]);
}

#[test]
fn an_outing_logged_again_takes_its_place_and_keeps_corrections() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    let first = log.add(&outing(OutingKind::Field, 0..4)).unwrap();
    let correction = Correction {
        subject: Some(" a hoverfly ".to_owned()),
        rig: Some("bench".to_owned()),
        kind: None,
        excluded: Some(true),
    };
    log.correct(first.id, &correction).unwrap();
    let mut again = outing(OutingKind::Field, 0..4);
    again.frames.reverse();
    again.frames[0].verdict = "near".to_owned();
    let added = log.add(&again).unwrap();
    assert_eq!((added.id, added.replaced), (first.id, true));
    let (found, frames) = log.outing(first.id).unwrap();
    assert_eq!(frames, again.frames);
    assert_eq!(found.subject.as_deref(), Some("a hoverfly"));
    assert_eq!((found.rig.as_deref(), found.excluded), (Some("bench"), true));
    // An empty text takes away; what is not named stays.
    let nothing = Correction { subject: Some(String::new()), ..Correction::default() };
    log.correct(first.id, &nothing).unwrap();
    let found = log.outing(first.id).unwrap().0;
    assert_eq!((found.subject, found.excluded), (None, true));
}

#[test]
fn a_frame_in_two_outings_counts_once_and_kinds_stay_apart() {
    let place = TestLog::new();
    let mut log = opened(&place.log("log"));
    let whole = log.add(&outing(OutingKind::Field, 0..10)).unwrap().id;
    let mut part = outing(OutingKind::Field, 4..6);
    part.frames[0].verdict = "near".to_owned();
    let part_id = log.add(&part).unwrap().id;
    log.add(&outing(OutingKind::Test, 20..25)).unwrap();
    let field = log.frames(Some(OutingKind::Field)).unwrap();
    assert_eq!(field.len(), 10);
    // The later measurement counts.
    let of_4: Vec<_> = field.iter().filter(|f| f.1.path.ends_with("vm0004.jpg")).collect();
    assert_eq!((of_4.len(), of_4[0].0, of_4[0].1.verdict.as_str()), (1, part_id, "near"));
    assert_eq!(log.frames(Some(OutingKind::Clip)).unwrap().len(), 0);
    assert_eq!(log.frames(None).unwrap().len(), 15);
    // Without the later one the earlier counts again; what is excluded does not.
    log.remove(part_id).unwrap();
    let left = log.frames(Some(OutingKind::Field)).unwrap();
    assert!(left.len() == 10 && left.iter().all(|f| f.0 == whole));
    let exclude = Correction { excluded: Some(true), ..Correction::default() };
    log.correct(whole, &exclude).unwrap();
    assert_eq!(log.frames(Some(OutingKind::Field)).unwrap().len(), 0);
}

#[test]
fn an_outing_that_is_not_there_is_told() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    let no = "no outing has the number 7; log list shows them";
    assert!(says(&log.outing(7).unwrap_err()).ends_with(no));
    assert!(says(&log.remove(7).unwrap_err()).ends_with(no));
    assert!(says(&log.correct(7, &Correction::default()).unwrap_err()).ends_with(no));
}

#[test]
fn merging_twice_changes_nothing_more_and_the_later_counts() {
    let place = TestLog::new();
    let mut a = opened(&place.log("a"));
    let mut b = opened(&place.log("b"));
    a.add(&outing(OutingKind::Field, 0..5)).unwrap();
    a.add(&outing(OutingKind::Field, 10..15)).unwrap();
    let in_a = a.outings().unwrap();
    b.add(&outing(OutingKind::Test, 30..33)).unwrap();
    let mut later = outing(OutingKind::Field, 0..5);
    later.frames[2].verdict = "near".to_owned();
    let id = b.add(&later).unwrap().id;
    b.correct(id, &Correction { subject: Some("moth".into()), ..Correction::default() }).unwrap();
    let merged = a.merge(&b).unwrap();
    assert_eq!(merged, Merged { added: 1, updated: 1, same: 0, noise_added: 0 });
    let state = |log: &Log| {
        let outings = log.outings().unwrap();
        let frames: Vec<_> = outings.iter().map(|o| log.outing(o.id).unwrap().1).collect();
        (outings, frames)
    };
    let after = state(&a);
    assert_eq!(after.0.len(), 3);
    let same = after.0.iter().find(|o| o.uid == in_a[0].uid).unwrap();
    assert_eq!((same.id, same.subject.as_deref()), (in_a[0].id, Some("moth")));
    assert_eq!(a.outing(same.id).unwrap().1[2].verdict, "near");
    assert_eq!(a.merge(&b).unwrap(), Merged { same: 2, ..Merged::default() });
    assert_eq!(state(&a), after);
    // The other way the earlier measurement does not replace the later one.
    let back = b.merge(&a).unwrap();
    assert_eq!((back.added, back.updated, back.same), (1, 0, 2));
    assert_eq!(b.outing(id).unwrap().1[2].verdict, "near");
}

#[test]
fn a_log_of_form_1_is_brought_up_to_date_with_its_outings() {
    let place = TestLog::new();
    let path = place.log("old");
    {
        let connection = Connection::open(&path).unwrap();
        schema::form_1(&connection).unwrap();
        connection
            .execute_batch(
                "INSERT INTO outing (uid, kind, title, logged_at, program_version)
                 VALUES ('u', 'field', 'old day', '2030-01-01T00:00:00.000Z', '0');
                 INSERT INTO frame (outing_id, seq, path, content_id, source, width_px,
                 height_px, burst, verdict, causes, flags, blur_sigma_px, blur_allowed_px, lens)
                 VALUES (1, 1, 'a.jpg', 'c', 'raw', 10, 10, 1, 'hit', '', '', 0.5, NULL, NULL),
                 (1, 2, 'b.jpg', 'd', 'raw', 10, 10, 1, 'cannot say', 'soft plane-off', '', 0.1,
                 0.3, 'plane-off \"blur_allowed_px\":'),
                 (1, 3, 'c.jpg', 'e', 'raw', 10, 10, 1, 'miss', 'plane-off', '', 0.1, 0.3, NULL);",
            )
            .unwrap();
        assert_eq!(form(&connection).unwrap(), 1);
    }
    let log = Log::open_to_read(&path).unwrap();
    assert_eq!(form(&log.connection).unwrap(), FORM);
    let (outing, frames) = log.outing(1).unwrap();
    assert_eq!((outing.title.as_str(), frames.len()), ("old day", 3));
    assert_eq!(frames[0].blur_sigma_px, Some(WithError { value: 0.5, std_err: None }));
    // In today's words, and only where they are verdicts, causes and keys.
    let words: Vec<_> = frames.iter().map(|f| (f.verdict.as_str(), f.causes.as_str())).collect();
    assert_eq!(words, [("hit", ""), ("unclear", "soft misfocused"), ("miss", "misfocused")]);
    let blur: Vec<_> = frames.iter().map(|f| f.attainable_blur_px).collect();
    assert_eq!(blur, [None, Some(0.3), Some(0.3)]);
    assert_eq!(frames[1].lens.as_deref(), Some("plane-off \"blur_allowed_px\":"));
    assert!(log.noise().unwrap().is_empty());
    log.check().unwrap();
}

/// A frame in which every field has a value of its own.
fn whole_frame() -> LoggedFrame {
    let with_error = |value: f64| Some(WithError { value, std_err: Some(0.1 + 0.2) });
    LoggedFrame {
        working_f_number: Some(18.857_142_857_142_858),
        shutter_s: Some(1.0 / 160.0),
        flash_fired: Some(true),
        focal_mm: Some(90.0),
        body: Some("Velmarrow VM-7".to_owned()),
        lens: Some("90mm \"close\"".to_owned()),
        rig: Some("close".to_owned()),
        pixel_pitch_um: Some(4.4),
        cause_share: Some(1.0 / 3.0),
        attainable_blur_px: Some(1.148_296_111_176_761_1),
        blur_ratio: with_error(3.293_081_720_467_210_7),
        detail_bits_px: with_error(0.1),
        noise_sigma_dn: with_error(f64::MIN_POSITIVE),
        motion_length_px: with_error(1e300),
        subject_mean_dn: Some(69.0),
        ..frame(1)
    }
}

#[test]
fn every_field_keeps_every_bit() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    let frames = vec![whole_frame(), LoggedFrame { content_id: "b".into(), ..frame(0) }];
    let new = NewOuting { frames: frames.clone(), ..outing(OutingKind::Field, 0..0) };
    let id = log.add(&new).unwrap().id;
    assert_eq!(log.outing(id).unwrap().1, frames);
    // Every field has a value here, or the test would not see that one is lost.
    let fields = serde_json::to_value(whole_frame()).unwrap();
    for (key, value) in fields.as_object().unwrap() {
        assert!(!value.is_null() && value != "", "{key}");
    }
}

/// The recipe for a new quantity: a field, its value, a column. No other place names one.
#[test]
fn a_quantity_has_one_field_and_one_column() {
    use crate::store::log_columns::FRAME_COLUMNS;
    let text = serde_json::to_string(&whole_frame()).unwrap();
    let mut at = 0;
    for column in &FRAME_COLUMNS {
        // In the order of the fields.
        let key = format!("\"{}\":", column.key);
        at += text[at..].find(&key).unwrap_or_else(|| panic!("{key} is no field")) + key.len();
        assert!((column.get)(&whole_frame()) != crate::report::column::Cell::Missing, "{key}");
    }
    let fields = serde_json::to_value(whole_frame()).unwrap();
    assert_eq!(fields.as_object().unwrap().len(), FRAME_COLUMNS.len());
    let indexed = write::FRAME_COLUMNS;
    let source = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(name);
        std::fs::read_to_string(path).unwrap()
    };
    let places = ["store/log/rows.rs", "cull/log_entry.rs", "store/log_columns.rs"];
    let log = ["store/log/write.rs", "store/log/read.rs", "store/log/merge.rs"];
    // Rows of bodies' noise have these two as well.
    let of_noise = ["source", "body"];
    let elsewhere_too = |key| indexed.contains(&key) || of_noise.contains(&key);
    for column in FRAME_COLUMNS.iter().filter(|c| !elsewhere_too(c.key)) {
        for name in places {
            assert!(source(name).contains(column.key), "{name} does not name {}", column.key);
        }
        for name in log.into_iter().chain(["store/log_export.rs"]) {
            assert!(!source(name).contains(column.key), "{name} names {}", column.key);
        }
    }
}

/// What an earlier version did not log is missing; what a later one logged stays when logs are
/// merged.
#[test]
fn records_of_other_versions_are_read_and_copied_whole() {
    let place = TestLog::new();
    let mut theirs = Log::open(&place.log("theirs")).unwrap();
    theirs.add(&outing(OutingKind::Field, 0..2)).unwrap();
    let later = r#"{"source":"raw","contrast_pct":{"value":12.5,"std_err":0.5}}"#;
    theirs.connection.execute("UPDATE frame SET record = ?1 WHERE seq = 1", [later]).unwrap();
    theirs.connection.execute("UPDATE frame SET record = '{}' WHERE seq = 2", []).unwrap();
    let mut ours = Log::open(&place.log("ours")).unwrap();
    ours.merge(&theirs).unwrap();
    let frames = ours.frames(None).unwrap();
    assert_eq!((frames[0].1.source.as_str(), frames[0].1.blur_sigma_px), ("raw", None));
    assert_eq!((frames[1].1.width_px, frames[1].1.iso), (0, Some(400)));
    let copied: String = ours
        .connection
        .query_row("SELECT record FROM frame WHERE seq = 1", [], |row| row.get(0))
        .unwrap();
    assert_eq!(copied, later);
}

#[test]
fn a_value_that_is_no_number_is_missing() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    let no_number = LoggedFrame {
        blur_sigma_px: Some(WithError { value: f64::INFINITY, std_err: None }),
        blur_ratio: Some(WithError { value: 2.0, std_err: Some(f64::NAN) }),
        focal_mm: Some(f64::NAN),
        ..frame(0)
    };
    let new = NewOuting { frames: vec![no_number], ..outing(OutingKind::Field, 0..0) };
    let id = log.add(&new).unwrap().id;
    let read = &log.outing(id).unwrap().1[0];
    assert_eq!((read.blur_sigma_px, read.focal_mm), (None, None));
    assert_eq!(read.blur_ratio, Some(WithError { value: 2.0, std_err: None }));
}

#[test]
fn a_record_that_is_no_record_is_damage() {
    let place = TestLog::new();
    let path = place.log("log");
    let mut log = Log::open(&path).unwrap();
    let id = log.add(&outing(OutingKind::Field, 0..2)).unwrap().id;
    log.connection
        .execute("UPDATE frame SET record = '{\"width_px\": -' WHERE seq = 2", [])
        .unwrap();
    assert!(says(&log.outing(id).unwrap_err()).contains("damaged"));
}

#[test]
fn a_log_of_a_later_form_is_left_alone() {
    let place = TestLog::new();
    let path = place.log("late");
    drop(Log::open(&path).unwrap());
    let connection = Connection::open(&path).unwrap();
    connection.execute_batch("PRAGMA user_version = 99").unwrap();
    drop(connection);
    for error in [Log::open(&path).unwrap_err(), Log::open_to_read(&path).unwrap_err()] {
        assert!(says(&error).contains("later version"), "{error}");
    }
    assert_eq!(form(&Connection::open(&path).unwrap()).unwrap(), 99);
}

#[test]
fn other_files_and_damaged_ones_are_told_and_left_alone() {
    let place = TestLog::new();
    let path = place.log("notes.txt");
    let text = "Tuesday: nothing flew. ".repeat(100);
    std::fs::write(&path, &text).unwrap();
    assert!(says(&Log::open(&path).unwrap_err()).contains("another kind of file"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
    // A database of another program.
    let path = place.log("other");
    Connection::open(&path).unwrap().execute_batch("CREATE TABLE t (a)").unwrap();
    assert!(says(&Log::open(&path).unwrap_err()).contains("another kind of file"));
    // A log with its pages overwritten.
    let path = place.log("log");
    let mut log = Log::open(&path).unwrap();
    log.add(&outing(OutingKind::Field, 0..400)).unwrap();
    drop(log);
    let mut bytes = std::fs::read(&path).unwrap();
    assert!(bytes.len() > 40_000);
    bytes[4096..].fill(0xA5);
    std::fs::write(&path, bytes).unwrap();
    let error = Log::open_to_read(&path).and_then(|log| log.outings().map(drop)).unwrap_err();
    assert!(says(&error).contains("damaged"), "{error}");
    let none = Log::open_to_read(&place.log("none")).unwrap_err();
    assert_eq!(none.hint(), Some(Hint::LogOuting), "{none}");
}

#[test]
fn a_full_disk_adds_nothing_and_says_so() {
    let place = TestLog::new();
    let mut log = Log::open(&place.log("log")).unwrap();
    log.add(&outing(OutingKind::Field, 0..20)).unwrap();
    let before = log.outings().unwrap();
    let pages: i64 = log.connection.query_row("PRAGMA page_count", [], |row| row.get(0)).unwrap();
    log.connection
        .query_row(&format!("PRAGMA max_page_count = {}", pages + 2), [], |_| Ok(()))
        .unwrap();
    let error = log.add(&outing(OutingKind::Field, 100..2000)).unwrap_err();
    assert!(says(&error).contains("no space left on the disk"), "{error}");
    assert_eq!(log.outings().unwrap(), before);
    log.check().unwrap();
}

#[test]
fn others_read_while_one_writes() {
    let place = TestLog::new();
    let path = place.log("log");
    let mut log = Log::open(&path).unwrap();
    log.add(&outing(OutingKind::Field, 0..5)).unwrap();
    let seen = log
        .change(|tx| {
            write::insert_frames(tx, 1, &[])?;
            tx.execute("UPDATE outing SET title = 'half written'", [])?;
            // In the middle of the change another reader sees the state before it.
            let reader = Log::open_to_read(&path).unwrap();
            Ok(reader.outings().unwrap()[0].title.clone())
        })
        .unwrap();
    assert_eq!(seen, "day");
    assert_eq!(Log::open_to_read(&path).unwrap().outings().unwrap()[0].title, "half written");
}

#[test]
fn odd_names_are_files_too() {
    let place = TestLog::new();
    for name in ["-log", "a?b#c%20 d", "käfer.sqlite"] {
        let path = place.log(name);
        Log::open(&path).unwrap().add(&outing(OutingKind::Field, 0..2)).unwrap();
        let uri = unchanging(&path);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
        let connection = Connection::open_with_flags(uri, flags).unwrap();
        assert_eq!(read::outings(&connection).unwrap().len(), 1, "{name}");
    }
    assert!(Path::new(&place.log("-log")).exists());
}

/// A log that others make at the same moment is a log, not "another kind of file".
#[test]
fn a_log_in_the_making_is_not_taken_for_another_file() {
    let place = TestLog::new();
    for round in 0..60 {
        let path = place.log(&format!("log{round}"));
        let start = std::sync::Barrier::new(4);
        std::thread::scope(|scope| {
            let opened: Vec<_> = (0..4)
                .map(|_| {
                    scope.spawn(|| {
                        start.wait();
                        Log::open(&path).map(drop)
                    })
                })
                .collect();
            for thread in opened {
                thread.join().unwrap().unwrap();
            }
        });
    }
}
