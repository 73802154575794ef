//! Decisions against files on disk.

use super::*;

fn decided<'a>(file: &'a Path, verdict: Verdict) -> NewDecision<'a> {
    let what = DecisionKind::Verdict(Some(verdict));
    NewDecision { outing: "day", file, what, program: Verdict::Miss, cause: Some(Cause::Shake) }
}

fn place() -> (tempfile::TempDir, PathBuf, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let (base, frame) = (folder.path().join("d/decisions"), folder.path().join("a.jpg"));
    std::fs::write(&frame, b"picture").unwrap();
    (folder, base, frame)
}

#[test]
fn the_latest_word_stands_and_can_be_taken_back() {
    let (_folder, base, frame) = place();
    let mut kept = Decisions::open(&base).unwrap();
    let verdict = |kept: &Decisions| kept.standing(&[&frame]).unwrap()[0].verdict;
    assert_eq!(verdict(&kept), None);
    kept.add(&decided(&frame, Verdict::Hit)).unwrap();
    kept.add(&decided(&frame, Verdict::Near)).unwrap();
    let at = DecisionKind::Subject(Some((0.25, 0.5)));
    kept.add(&NewDecision { what: at, ..decided(&frame, Verdict::Hit) }).unwrap();
    drop(kept);
    let mut kept = Decisions::open(&base).unwrap();
    assert_eq!(verdict(&kept), Some(Verdict::Near));
    assert_eq!(kept.standing(&[&frame]).unwrap()[0].subject, Some((0.25, 0.5)));
    let judged = kept.judgements().unwrap();
    assert_eq!(judged.len(), 1, "a frame counts once");
    assert_eq!((judged[0].person, judged[0].program), (Verdict::Near, Verdict::Miss));
    let verdicts = kept.verdicts().unwrap();
    assert_eq!(verdicts.values().collect::<Vec<_>>(), [&Verdict::Near]);
    assert_eq!(kept.subjects_placed().unwrap(), 1);
    assert!(kept.undo("another day").unwrap().is_none());
    assert!(kept.undo("day").unwrap().unwrap().subject);
    assert_eq!(kept.standing(&[&frame]).unwrap()[0].subject, None);
    assert_eq!(kept.undo("day").unwrap().unwrap().file, frame);
    assert_eq!(verdict(&kept), Some(Verdict::Hit));
    kept.add(&NewDecision { what: DecisionKind::Verdict(None), ..decided(&frame, Verdict::Hit) })
        .unwrap();
    assert_eq!(verdict(&kept), None, "a person may take the word back");
    for _ in 0..2 {
        kept.undo("day").unwrap().unwrap();
    }
    assert!(kept.undo("day").unwrap().is_none());
    assert!(kept.judgements().unwrap().is_empty() && kept.verdicts().unwrap().is_empty());
    assert_eq!(kept.subjects_placed().unwrap(), 0);
}

/// The order in which decisions were made counts, not the clock: it may go back.
#[test]
fn the_latest_word_stands_when_the_clock_goes_back() {
    static SECONDS: std::sync::atomic::AtomicI64 = std::sync::atomic::AtomicI64::new(2_000);
    let back = || {
        let now = SECONDS.fetch_sub(1, std::sync::atomic::Ordering::Relaxed);
        jiff::Timestamp::from_second(now).unwrap_or_default()
    };
    let (_folder, base, frame) = place();
    let mut kept = Decisions { clock: back, ..Decisions::open(&base).unwrap() };
    kept.add(&decided(&frame, Verdict::Hit)).unwrap();
    kept.add(&decided(&frame, Verdict::Near)).unwrap();
    assert_eq!(kept.standing(&[&frame]).unwrap()[0].verdict, Some(Verdict::Near));
    let times: String = kept
        .connection
        .query_row("SELECT group_concat(made_at) FROM decision", [], |row| row.get(0))
        .unwrap();
    assert_eq!(times, "1970-01-01T00:33:20Z,1970-01-01T00:33:19Z");
}

#[test]
fn a_place_outside_the_picture_is_none() {
    let (_folder, base, frame) = place();
    let mut kept = Decisions::open(&base).unwrap();
    let at = DecisionKind::Subject(Some((0.25, 0.5)));
    kept.add(&NewDecision { what: at, ..decided(&frame, Verdict::Hit) }).unwrap();
    let damage = "PRAGMA ignore_check_constraints = ON; UPDATE decision SET y = 1.9";
    kept.connection.execute_batch(damage).unwrap();
    assert_eq!(kept.standing(&[&frame]).unwrap()[0].subject, None);
}

#[test]
fn a_word_that_is_no_verdict_is_none() {
    let (_folder, base, frame) = place();
    let mut kept = Decisions::open(&base).unwrap();
    kept.add(&decided(&frame, Verdict::Hit)).unwrap();
    let damage = "PRAGMA ignore_check_constraints = ON; UPDATE decision SET verdict = 'hot'";
    kept.connection.execute_batch(damage).unwrap();
    assert_eq!(kept.standing(&[&frame]).unwrap()[0].verdict, None);
    assert!(kept.judgements().unwrap().is_empty() && kept.verdicts().unwrap().is_empty());
}

#[test]
fn a_moved_file_is_known_by_its_content_and_a_namesake_is_not() {
    let (folder, base, frame) = place();
    let mut kept = Decisions::open(&base).unwrap();
    kept.add(&decided(&frame, Verdict::Hit)).unwrap();
    let moved = folder.path().join("moved");
    std::fs::create_dir(&moved).unwrap();
    let moved = moved.join("a.jpg");
    std::fs::rename(&frame, &moved).unwrap();
    assert_eq!(kept.standing(&[&moved]).unwrap()[0].verdict, Some(Verdict::Hit));
    std::fs::write(&moved, b"another").unwrap();
    assert_eq!(kept.standing(&[&moved]).unwrap()[0].verdict, None);
    assert!(kept.add(&decided(&frame, Verdict::Hit)).is_err(), "the file is gone");
}

#[test]
fn another_file_is_refused_and_left() {
    let (folder, _, frame) = place();
    let other = folder.path().join("other");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE t (a)").unwrap();
    let before = std::fs::read(&other).unwrap();
    let says = Decisions::open(&other).unwrap_err().to_string();
    assert!(says.contains("another kind of file"), "{says}");
    assert_eq!(std::fs::read(&other).unwrap(), before);
    assert!(Decisions::open(&frame).is_err());
    let later = folder.path().join("later");
    drop(Decisions::open(&later).unwrap());
    Connection::open(&later).unwrap().execute_batch("PRAGMA user_version = 9").unwrap();
    let says = Decisions::open(&later).unwrap_err().to_string();
    assert!(says.contains("later version"), "{says}");
}
/// A file of form 1, as an earlier build wrote it, with a damaged row in it.
#[test]
fn decisions_of_form_1_are_read_in_todays_words() {
    let (folder, base, frame) = place();
    let frames = ["1", "2", "3", "4"].map(|name| {
        let path = folder.path().join(name);
        std::fs::write(&path, name).unwrap();
        path
    });
    std::fs::create_dir_all(base.parent().unwrap()).unwrap();
    let old = Connection::open(&base).unwrap();
    let mark = format!("PRAGMA application_id = {}; ", KIND.application_id);
    old.execute_batch(&format!("{DECISIONS}{mark}PRAGMA user_version = 1")).unwrap();
    old.execute_batch("PRAGMA ignore_check_constraints = ON").unwrap();
    let rows = [
        ("call", Some("cannot say"), None, "miss", Some("plane-off"), 0),
        ("call", Some("near"), None, "cannot say", None, 0),
        ("subject", None, Some(0.25), "hit", None, 0),
        ("call", Some("hot"), None, "miss", Some("shake"), 0),
    ];
    for (file, (kind, call, at, program, cause, undone)) in frames.iter().zip(rows) {
        let (bytes, content) = identity(file).unwrap();
        old.execute(
            "INSERT INTO decision (made_at, outing, path, name, bytes, content_id, kind, call,
             x, y, tool_call, tool_cause, undone) VALUES ('', 'day', ?1, ?2, ?3, ?4, ?5, ?6,
             ?7, ?7, ?8, ?9, ?10)",
            params![
                shown(file),
                name(file),
                bytes,
                content,
                kind,
                call,
                at,
                program,
                cause,
                undone
            ],
        )
        .unwrap();
    }
    drop(old);
    let mut kept = Decisions::open(&base).unwrap();
    let paths: Vec<&Path> = frames.iter().map(PathBuf::as_path).collect();
    let standing = kept.standing(&paths).unwrap();
    let verdicts: Vec<_> = standing.iter().map(|s| s.verdict).collect();
    assert_eq!(verdicts, [Some(Verdict::Unclear), Some(Verdict::Near), None, None]);
    assert_eq!(standing[2].subject, Some((0.25, 0.25)));
    let pairs = kept.judgements().unwrap();
    assert_eq!(
        pairs.iter().map(|p| (p.person, p.program, p.cause)).collect::<Vec<_>>(),
        [
            (Verdict::Unclear, Verdict::Miss, Some(Cause::Misfocused)),
            (Verdict::Near, Verdict::Unclear, None)
        ]
    );
    let words = "SELECT group_concat(coalesce(verdict, '') || program_verdict ||
         coalesce(program_cause, '')) FROM decision";
    let words: String = kept.connection.query_row(words, [], |row| row.get(0)).unwrap();
    assert_eq!(words, "unclearmissmisfocused,nearunclear,hit,missshake");
    kept.add(&decided(&frame, Verdict::Unclear)).unwrap();
    assert_eq!(kept.undo("day").unwrap().unwrap().file, frame);
    assert_eq!(kept.undo("day").unwrap().unwrap().file, frames[3]);
}
