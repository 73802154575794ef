//! What a person decided about frames, kept apart from what was measured, in one SQLite file.
//!
//! Every decision is a row of its own and lasts from the moment it is made: a kill, a crash or a
//! full disk loses none that was confirmed. Taking one back marks its row; nothing is deleted. A
//! decision is found again by the place of its file, or by its name, size and content when the
//! file was moved.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::hash::Content;
use super::sqlite::{self, DatabaseKind, FormStep, Forms, OpenFailure};
use crate::core::verdict::{Cause, Verdict};
use crate::core::{path_text, text_path};
use crate::error::{Error, Result};

/// The database, marked "stpd". Written through to the disk at every decision.
const KIND: DatabaseKind = DatabaseKind {
    application_id: 0x7374_7064,
    forms: Forms::Steps(&STEPS),
    busy_wait: Duration::from_secs(5),
    durable: true,
};

/// Each step takes the database from form i to form i + 1. Steps are never changed, only added.
const STEPS: [FormStep; 1] = [FormStep::Sql(
    "
CREATE TABLE decision (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    outing TEXT NOT NULL,
    path TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    content_id TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('call', 'subject')),
    call TEXT CHECK (call IN ('hit', 'near', 'miss', 'cannot say')),
    x REAL CHECK (x BETWEEN 0 AND 1),
    y REAL CHECK (y BETWEEN 0 AND 1),
    tool_call TEXT NOT NULL,
    tool_cause TEXT,
    undone INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1))
) STRICT;
CREATE INDEX decision_path ON decision (path);
CREATE INDEX decision_name ON decision (name, bytes);
",
)];

/// What is decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DecisionKind {
    /// The frame's verdict; `None` takes the person's decision back.
    Verdict(Option<Verdict>),
    /// Where the subject is in this frame, as fractions of the upright picture; `None` leaves it
    /// to the program again.
    Subject(Option<(f64, f64)>),
}

/// A decision to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewDecision<'a> {
    /// The outing in which it is made: the place of its folder or record.
    pub outing: &'a str,
    /// The frame's file.
    pub file: &'a Path,
    /// What is decided.
    pub what: DecisionKind,
    /// The program's verdict at that moment.
    pub program: Verdict,
    /// Its first cause.
    pub cause: Option<Cause>,
}

/// What stands for a frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurrentDecision {
    /// The person's verdict.
    pub verdict: Option<Verdict>,
    /// Where the person put the subject.
    pub subject: Option<(f64, f64)>,
    /// Number of the decision about the subject: of several in a burst the latest counts.
    pub subject_id: i64,
}

/// A person's verdict on a frame beside the program's at that moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VerdictPair {
    /// The person's verdict.
    pub person: Verdict,
    /// The program's.
    pub program: Verdict,
    /// The program's first cause.
    pub cause: Option<Cause>,
}

/// What was taken back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// The frame's file.
    pub file: PathBuf,
    /// Whether it was about the subject; else about what the frame is.
    pub subject: bool,
}

/// The decisions.
#[derive(Debug)]
pub struct Decisions {
    connection: Connection,
    path: PathBuf,
    /// What the time is.
    clock: fn() -> jiff::Timestamp,
}

impl Decisions {
    /// Opens the file, makes it with its folder when it is not there, and brings one of an
    /// earlier form up to date.
    ///
    /// # Errors
    /// [`Error::Decisions`] when it cannot be written, is another kind of file, damaged, or of a
    /// later form.
    pub fn open(path: &Path) -> Result<Decisions> {
        Decisions::open_kind(path, &KIND)
    }

    /// As [`open`](Decisions::open), with another time to wait for other processes.
    #[cfg(test)]
    pub(super) fn open_waiting(path: &Path, busy_wait: std::time::Duration) -> Result<Decisions> {
        Decisions::open_kind(path, &DatabaseKind { busy_wait, ..KIND })
    }

    fn open_kind(path: &Path, kind: &DatabaseKind) -> Result<Decisions> {
        let failed = |says: String| Error::Decisions { path: path.to_owned(), says };
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|e| failed(e.to_string()))?;
        }
        let connection = sqlite::open(path, kind).map_err(|e| {
            failed(match e {
                OpenFailure::OtherKind => {
                    "this is another kind of file, not one of decisions".to_owned()
                }
                OpenFailure::Newer { .. } => "a later version of stopwise wrote it".to_owned(),
                OpenFailure::Database(e) => says(&e),
            })
        })?;
        Ok(Decisions { connection, path: path.to_owned(), clock: jiff::Timestamp::now })
    }

    fn failed(&self, error: &rusqlite::Error) -> Error {
        Error::Decisions { path: self.path.clone(), says: says(error) }
    }

    /// Keeps a decision; on return it lasts.
    ///
    /// # Errors
    /// [`Error::Decisions`] when it could not be kept, [`Error::Read`] when the frame's file is
    /// gone.
    pub fn add(&mut self, new: &NewDecision<'_>) -> Result<()> {
        let (bytes, content) = identity(new.file)?;
        let (kind, call, at) = match new.what {
            DecisionKind::Verdict(verdict) => ("call", verdict.map(Verdict::word), None),
            DecisionKind::Subject(at) => ("subject", None, at),
        };
        let made_at = (self.clock)().to_string();
        self.connection
            .execute(
                "INSERT INTO decision (made_at, outing, path, name, bytes, content_id, kind, call,
                 x, y, tool_call, tool_cause) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10,
                 ?11, ?12)",
                params![
                    made_at,
                    new.outing,
                    shown(new.file),
                    name(new.file),
                    bytes,
                    content,
                    kind,
                    call,
                    at.map(|a| a.0),
                    at.map(|a| a.1),
                    new.program.word(),
                    new.cause.map(Cause::word)
                ],
            )
            .map_err(|e| self.failed(&e))?;
        Ok(())
    }

    /// Takes back the latest decision of an outing; `None` when none is left.
    ///
    /// # Errors
    /// [`Error::Decisions`] when that could not be kept.
    pub fn undo(&mut self, outing: &str) -> Result<Option<Undone>> {
        self.connection
            .query_row(
                "UPDATE decision SET undone = 1 WHERE id = (SELECT max(id) FROM decision
                 WHERE outing = ?1 AND undone = 0) RETURNING path, kind",
                [outing],
                |row| {
                    let (path, kind): (String, String) = (row.get(0)?, row.get(1)?);
                    Ok(Undone { file: text_path(&path), subject: kind == "subject" })
                },
            )
            .optional()
            .map_err(|e| self.failed(&e))
    }

    /// What stands for some files, in their order.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn standing(&self, files: &[&Path]) -> Result<Vec<CurrentDecision>> {
        let read = || -> rusqlite::Result<Vec<CurrentDecision>> {
            let mut by_path = self.connection.prepare(&latest("path = ?1"))?;
            let mut by_name = self.connection.prepare(&latest("name = ?1 AND bytes = ?2"))?;
            let none: i64 = self.connection.query_row(
                "SELECT count(*) FROM decision WHERE undone = 0",
                [],
                |r| r.get(0),
            )?;
            if none == 0 {
                return Ok(vec![CurrentDecision::default(); files.len()]);
            }
            files
                .iter()
                .map(|file| {
                    let rows = by_path.query_map([shown(file)], said)?;
                    let mut rows = rows.collect::<rusqlite::Result<Vec<_>>>()?;
                    if rows.is_empty() {
                        let Ok(meta) = file.metadata() else {
                            return Ok(CurrentDecision::default());
                        };
                        let size = i64::try_from(meta.len()).unwrap_or(i64::MAX);
                        let moved = by_name.query_map(params![name(file), size], said)?;
                        rows = moved.collect::<rusqlite::Result<Vec<_>>>()?;
                        // The same name and size elsewhere: the content decides.
                        if !rows.is_empty() {
                            let own = identity(file).map(|i| i.1).ok();
                            rows.retain(|row| own.as_ref() == Some(&row.content));
                        }
                    }
                    Ok(standing(rows))
                })
                .collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// Every frame that a person has said something of, once, with what the program had said.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn judgements(&self) -> Result<Vec<VerdictPair>> {
        let read = || -> rusqlite::Result<Vec<VerdictPair>> {
            let mut rows = self.connection.prepare(
                "SELECT call, tool_call, tool_cause FROM decision WHERE id IN (SELECT max(id) FROM
                 decision WHERE kind = 'call' AND undone = 0 GROUP BY content_id) AND call IS NOT
                 NULL ORDER BY id",
            )?;
            let pairs = rows.query_map([], |row| {
                let (person, program) = (word(row, 0)?, word(row, 1)?);
                let cause = word(row, 2)?;
                let pair = |(person, program)| VerdictPair { person, program, cause };
                Ok(person.zip(program).map(pair))
            })?;
            pairs.filter_map(rusqlite::Result::transpose).collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// People's verdicts, by the content of the frames' files (BLAKE3, as the log keeps it).
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn verdicts(&self) -> Result<BTreeMap<String, Verdict>> {
        let read = || -> rusqlite::Result<BTreeMap<String, Verdict>> {
            let mut rows = self.connection.prepare(
                "SELECT content_id, call FROM decision WHERE id IN (SELECT max(id) FROM decision
                 WHERE kind = 'call' AND undone = 0 GROUP BY content_id) AND call IS NOT NULL",
            )?;
            let decided = rows.query_map([], |row| {
                let (content, verdict): (String, _) = (row.get(0)?, word(row, 1)?);
                Ok(verdict.map(|v| (content, v)))
            })?;
            decided.filter_map(rusqlite::Result::transpose).collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// Number of frames in which a person's word on where the subject is stands.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn subjects_placed(&self) -> Result<u32> {
        self.connection
            .query_row(
                "SELECT count(*) FROM decision WHERE id IN (SELECT max(id) FROM decision WHERE
                 kind = 'subject' AND undone = 0 GROUP BY content_id) AND x IS NOT NULL",
                [],
                |row| row.get(0),
            )
            .map_err(|e| self.failed(&e))
    }
}

/// What the database says, in words that help.
fn says(error: &rusqlite::Error) -> String {
    if sqlite::is_busy(error) {
        let wait_s = KIND.busy_wait.as_secs();
        format!(
            "another program has been writing to them for {wait_s} s: try again when it is done"
        )
    } else {
        error.to_string()
    }
}

/// Decisions that stand, latest first.
fn latest(which: &str) -> String {
    format!(
        "SELECT id, kind, call, x, y, content_id FROM decision WHERE {which} AND undone = 0 ORDER \
         BY id DESC"
    )
}

struct DecisionRow {
    id: i64,
    kind: String,
    verdict: Option<Verdict>,
    at: Option<(f64, f64)>,
    content: String,
}

fn said(row: &Row<'_>) -> rusqlite::Result<DecisionRow> {
    let (x, y): (Option<f64>, Option<f64>) = (row.get(3)?, row.get(4)?);
    // What the table refuses can still be in a file whose bytes were damaged.
    let inside = |(x, y): &(f64, f64)| (0.0..=1.0).contains(x) && (0.0..=1.0).contains(y);
    Ok(DecisionRow {
        id: row.get(0)?,
        kind: row.get(1)?,
        verdict: word(row, 2)?,
        at: x.zip(y).filter(inside),
        content: row.get(5)?,
    })
}

/// A verdict's or a cause's word. What the table refuses can still be in a file whose bytes were
/// damaged: such a word is none.
fn word<T: FromStr>(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<T>> {
    let word: Option<String> = row.get(column)?;
    Ok(word.and_then(|w| w.parse().ok()))
}

/// The latest word on each matter.
fn standing(rows: Vec<DecisionRow>) -> CurrentDecision {
    let mut latest: BTreeMap<String, DecisionRow> = BTreeMap::new();
    for row in rows {
        latest.entry(row.kind.clone()).or_insert(row);
    }
    let subject = latest.get("subject");
    CurrentDecision {
        subject: subject.and_then(|s| s.at),
        subject_id: subject.map_or(0, |s| s.id),
        verdict: latest.get("call").and_then(|c| c.verdict),
    }
}

fn shown(file: &Path) -> String {
    path_text(file)
}

fn name(file: &Path) -> String {
    path_text(Path::new(file.file_name().unwrap_or_default()))
}

/// Size and hash of a file.
fn identity(file: &Path) -> Result<(i64, String)> {
    let (content, bytes) =
        Content::of_file(file).map_err(|source| Error::Read { path: file.to_owned(), source })?;
    Ok((i64::try_from(bytes).unwrap_or(i64::MAX), content.hex()))
}

#[cfg(test)]
mod tests {
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
        kept.add(&NewDecision {
            what: DecisionKind::Verdict(None),
            ..decided(&frame, Verdict::Hit)
        })
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
        let damage = "PRAGMA ignore_check_constraints = ON; UPDATE decision SET call = 'hot'";
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
}
