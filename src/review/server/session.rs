//! What is looked at: an outing's record, where its files are, what was decided, and the burst
//! that is open.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Instant;

use crate::core::verdict::Verdict;
use crate::cull::open_burst::{JudgedAgain, OpenBurst};
use crate::cull::outing::OutingJob;
use crate::cull::record::{BurstRecord, FrameRecord, MapRecord};
use crate::cull::wording::tally;
use crate::error::Result;
use crate::image::{self, Frame};
use crate::store::decisions::{CurrentDecision, DecisionKind, Decisions, NewDecision};

use super::api::{BurstAnswer, FrameAnswer, OutingAnswer, burst_facts, burst_line};
use super::pictures::Decodes;
use crate::report::parts::SubjectFound;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::wording;

/// An outing as it comes to be looked at.
pub struct ReviewSource {
    /// Its name on the page.
    pub title: String,
    /// What its decisions are kept under.
    pub key: String,
    /// Bursts in order.
    pub bursts: Vec<BurstRecord>,
    /// Frames in order, burst by burst.
    pub frames: Vec<FrameRecord>,
    /// Where each frame's files are; none when they are gone.
    pub files: Vec<Vec<PathBuf>>,
    /// What was typed, for judging again.
    pub job: OutingJob,
}

/// A burst with its frames as they are judged now.
struct ReviewedBurst {
    record: BurstRecord,
    first: usize,
    rows: Vec<FrameRecord>,
    maps: Option<Vec<MapRecord>>,
    /// As it was before a person moved the subject.
    before: Option<(BurstRecord, Vec<FrameRecord>)>,
    /// The place of the subject that the rows are for.
    judged_for: Option<(usize, (f64, f64))>,
    took_ms: Option<u64>,
}

type Opened = Arc<OnceLock<std::result::Result<OpenBurst, String>>>;

/// A session.
pub struct Session {
    title: String,
    key: String,
    job: OutingJob,
    files: Vec<Vec<PathBuf>>,
    heads: Vec<OnceLock<Option<Frame>>>,
    bursts: Mutex<Vec<ReviewedBurst>>,
    standing: Mutex<Vec<CurrentDecision>>,
    decisions: Mutex<Decisions>,
    /// Held while a decision is kept or taken back, so that what is shown is what is kept.
    change: Mutex<()>,
    open: Mutex<Option<(usize, Opened)>>,
    /// Pictures at hand.
    pub decodes: Decodes,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Session {
    /// A session over an outing; what was decided before stands.
    ///
    /// # Errors
    /// When the decisions cannot be read.
    pub fn new(source: ReviewSource, decisions: Decisions) -> Result<Session> {
        let ReviewSource { title, key, bursts: records, frames: rows, files, job } = source;
        let gone = PathBuf::new();
        let paths: Vec<&Path> =
            files.iter().map(|f| f.first().unwrap_or(&gone).as_path()).collect();
        let standing = decisions.standing(&paths)?;
        let mut bursts = Vec::with_capacity(records.len());
        let mut rows = rows.into_iter().peekable();
        let mut first = 0;
        for record in records {
            let mut own = Vec::new();
            while rows.peek().is_some_and(|r| r.burst == record.id) {
                own.extend(rows.next());
            }
            let count = own.len();
            if count > 0 {
                bursts.push(ReviewedBurst {
                    record,
                    first,
                    rows: own,
                    maps: None,
                    before: None,
                    judged_for: None,
                    took_ms: None,
                });
            }
            first += count;
        }
        let heads = files.iter().map(|_| OnceLock::new()).collect();
        Ok(Session {
            title,
            key,
            job,
            files,
            heads,
            bursts: Mutex::new(bursts),
            standing: Mutex::new(standing),
            decisions: Mutex::new(decisions),
            change: Mutex::default(),
            open: Mutex::default(),
            decodes: Decodes::default(),
        })
    }

    /// The header of a frame; `None` when its file is gone or no longer a picture.
    pub fn head(&self, n: usize) -> Option<&Frame> {
        let read = || {
            let found = image::find(self.files.get(n)?).ok()?;
            image::read_header(found.items.first()?).ok()
        };
        self.heads.get(n)?.get_or_init(read).as_ref()
    }

    /// The outing as the page shows it.
    pub fn outing(&self) -> OutingAnswer {
        let bursts = lock(&self.bursts);
        let standing = lock(&self.standing);
        let decided = |first: usize, count: usize| {
            standing[first..first + count].iter().filter(|s| s.verdict.is_some()).count()
        };
        let frames = self.files.len();
        OutingAnswer {
            title: self.title.clone(),
            facts: format!(
                "{} in {}",
                wording::count(frames as u32, "frame", "frames"),
                wording::count(bursts.len() as u32, "burst", "bursts")
            ),
            decided: decided(0, standing.len()),
            frames,
            bursts: bursts
                .iter()
                .map(|b| burst_line(&b.record, b.first, &b.rows, decided(b.first, b.rows.len())))
                .collect(),
        }
    }

    /// The place of a burst in the list, by its number.
    fn place(bursts: &[ReviewedBurst], id: u32) -> Option<usize> {
        bursts.iter().position(|b| b.record.id == id)
    }

    /// The place of the burst of a frame, and the frame's number in it.
    fn place_of_frame(bursts: &[ReviewedBurst], n: usize) -> Option<(usize, usize)> {
        let place = bursts.iter().position(|b| (b.first..b.first + b.rows.len()).contains(&n))?;
        Some((place, n - bursts[place].first))
    }

    /// A burst as the page shows it. When a person has moved its subject, it is judged for that
    /// place first.
    pub fn burst(&self, id: u32) -> Option<BurstAnswer> {
        let place = Self::place(&lock(&self.bursts), id)?;
        self.bring_up(place);
        Some(self.shown(place))
    }

    fn shown(&self, place: usize) -> BurstAnswer {
        let bursts = lock(&self.bursts);
        let standing = lock(&self.standing);
        let burst = &bursts[place];
        let frames = burst.rows.iter().enumerate().map(|(i, row)| {
            let n = burst.first + i;
            FrameAnswer::new(n, row, standing[n].verdict, !self.files[n].is_empty())
        });
        let best = burst.record.best.as_deref();
        let settings = burst.rows.first().map(|r| wording::settings(&r.exposure));
        let facts = [Some(burst_facts(&burst.record, &burst.rows)), settings];
        BurstAnswer {
            id: burst.record.id,
            facts: facts
                .into_iter()
                .flatten()
                .filter(|f| !f.is_empty())
                .collect::<Vec<_>>()
                .join(" · "),
            tally: tally(burst.rows.iter()),
            subject: match (burst.judged_for, burst.record.subject.found) {
                (Some(_), _) => "You moved the subject.",
                (None, SubjectFound::Marked) => "The subject was marked.",
                (None, SubjectFound::Automatic) => {
                    "The subject was found automatically: move it if it is wrong."
                }
                (None, SubjectFound::None) => "No subject was found: mark it.",
            },
            findings: paragraphs(&burst.record.findings, Medium::ReviewPage),
            best: best
                .and_then(|b| burst.rows.iter().position(|r| r.path == b))
                .map(|i| burst.first + i),
            frames: frames.collect(),
            took_ms: burst.took_ms,
        }
    }

    /// Keeps what a person says a frame is; `None` takes the word back.
    ///
    /// # Errors
    /// Why it could not be kept; then nothing is changed.
    pub fn decide(&self, n: usize, verdict: Option<Verdict>) -> std::result::Result<u32, String> {
        let _alone = lock(&self.change);
        let id = self.keep(n, DecisionKind::Verdict(verdict))?;
        lock(&self.standing)[n].verdict = verdict;
        Ok(id)
    }

    /// Keeps a decision; the number of the burst.
    fn keep(&self, n: usize, what: DecisionKind) -> std::result::Result<u32, String> {
        let (id, program, cause) = {
            let bursts = lock(&self.bursts);
            let (place, i) =
                Self::place_of_frame(&bursts, n).ok_or_else(|| "no such frame".to_owned())?;
            let row = &bursts[place].rows[i];
            (bursts[place].record.id, row.verdict, row.causes.first().map(|c| c.cause))
        };
        let file = self.files[n].first().ok_or("the file of this frame is gone")?;
        let new = NewDecision { outing: &self.key, file, what, program, cause };
        lock(&self.decisions).add(&new).map_err(|e| e.to_string())?;
        Ok(id)
    }

    /// Moves the subject in one frame: the burst is followed and judged again.
    ///
    /// # Errors
    /// Why it could not be kept or judged.
    pub fn move_subject(&self, n: usize, at: (f64, f64)) -> std::result::Result<u32, String> {
        let place = Self::place_of_frame(&lock(&self.bursts), n).ok_or("no such frame")?.0;
        if let Some(Err(says)) = self.opened(place).get() {
            return Err(says.clone());
        }
        let id = {
            let _alone = lock(&self.change);
            let id = self.keep(n, DecisionKind::Subject(Some(at)))?;
            self.refresh(n)?;
            id
        };
        self.bring_up(place);
        Ok(id)
    }

    /// Takes back the latest decision; the burst and the frame that it was about.
    ///
    /// # Errors
    /// Why it could not be taken back.
    pub fn undo(&self) -> std::result::Result<Option<(u32, usize)>, String> {
        let (undone, n) = {
            let _alone = lock(&self.change);
            let undone = lock(&self.decisions).undo(&self.key).map_err(|e| e.to_string())?;
            let Some(undone) = undone else { return Ok(None) };
            let n = self.files.iter().position(|f| f.first() == Some(&undone.file));
            let n = n.ok_or_else(|| {
                let name = undone.file.file_name().unwrap_or_default().to_string_lossy();
                format!("undone: a decision on {name}, which is no longer here")
            })?;
            self.refresh(n)?;
            (undone, n)
        };
        let place = {
            let bursts = lock(&self.bursts);
            Self::place_of_frame(&bursts, n).ok_or("no such frame")?.0
        };
        if undone.subject {
            self.bring_up(place);
        }
        Ok(Some((lock(&self.bursts)[place].record.id, n)))
    }

    /// Reads again what stands for a frame.
    fn refresh(&self, n: usize) -> std::result::Result<(), String> {
        let path = self.files[n].first().cloned().unwrap_or_default();
        let now = lock(&self.decisions).standing(&[&path]).map_err(|e| e.to_string())?;
        if let Some(now) = now.into_iter().next() {
            lock(&self.standing)[n] = now;
        }
        Ok(())
    }

    /// Judges a burst for the subject that stands, unless it is.
    fn bring_up(&self, place: usize) {
        let (first, count, judged_for) = {
            let bursts = lock(&self.bursts);
            (bursts[place].first, bursts[place].rows.len(), bursts[place].judged_for)
        };
        let wanted = {
            let standing = lock(&self.standing);
            let own = standing[first..first + count].iter().enumerate();
            own.filter_map(|(i, s)| Some((s.subject_id, i, s.subject?)))
                .max_by_key(|s| s.0)
                .map(|(_, i, at)| (i, at))
        };
        if wanted == judged_for {
            return;
        }
        let Some(mark) = wanted else {
            // The person's mark was taken back: as it was.
            let mut bursts = lock(&self.bursts);
            let burst = &mut bursts[place];
            if let Some((record, rows)) = burst.before.take() {
                (burst.record, burst.rows) = (record, rows);
            }
            (burst.judged_for, burst.took_ms) = (None, None);
            return;
        };
        let opened = self.opened(place);
        let Some(Ok(open)) = opened.get() else { return };
        let start = Instant::now();
        let JudgedAgain { burst: record, frames: rows, maps } = open.judged(Some(mark));
        let took = start.elapsed().as_millis() as u64;
        let mut bursts = lock(&self.bursts);
        let burst = &mut bursts[place];
        let (id, split_reason) = (burst.record.id, burst.record.split_reason.clone());
        // Names as in the record, whatever the files are called from here.
        let names: Vec<String> = burst.rows.iter().map(|r| r.path.clone()).collect();
        let best = record
            .best
            .as_ref()
            .and_then(|b| rows.iter().position(|r| r.path == *b))
            .map(|i| names[i].clone());
        let rows: Vec<FrameRecord> = rows
            .into_iter()
            .zip(&names)
            .map(|(row, name)| FrameRecord { path: name.clone(), burst: id, ..row })
            .collect();
        let record = BurstRecord { id, split_reason, best, frames: names, ..record };
        let was = std::mem::replace(&mut burst.record, record);
        let had = std::mem::replace(&mut burst.rows, rows);
        burst.before.get_or_insert((was, had));
        burst.maps = Some(maps);
        burst.judged_for = Some(mark);
        burst.took_ms = Some(took);
    }

    /// Reads and measures the frames of a burst, unless it is open; the one before is closed.
    fn opened(&self, place: usize) -> Opened {
        let slot = {
            let mut open = lock(&self.open);
            match &*open {
                Some((at, slot)) if *at == place => Arc::clone(slot),
                _ => {
                    let slot = Opened::default();
                    *open = Some((place, Arc::clone(&slot)));
                    slot
                }
            }
        };
        slot.get_or_init(|| {
            let (first, count) = {
                let bursts = lock(&self.bursts);
                (bursts[place].first, bursts[place].rows.len())
            };
            let files: Option<Vec<Frame>> =
                (first..first + count).map(|n| self.head(n).cloned()).collect();
            let files = files.ok_or("a file of this burst is gone")?;
            let job = OutingJob { pictures: false, ..self.job.clone() };
            OpenBurst::read(job, files).map_err(|(_, reason)| reason.to_string())
        });
        slot
    }

    /// Opens a burst, so that moving its subject takes no time to read.
    pub fn prepare(&self, id: u32) -> bool {
        let Some(place) = Self::place(&lock(&self.bursts), id) else { return false };
        matches!(self.opened(place).get(), Some(Ok(_)))
    }

    /// The focus map of a frame; its burst is opened for it.
    pub fn map(&self, n: usize) -> Option<(MapRecord, FrameRecord)> {
        let (place, i) = Self::place_of_frame(&lock(&self.bursts), n)?;
        if lock(&self.bursts)[place].maps.is_none() {
            let opened = self.opened(place);
            let open = opened.get()?.as_ref().ok()?;
            let maps = open.judged(None).maps;
            lock(&self.bursts)[place].maps = Some(maps);
        }
        let bursts = lock(&self.bursts);
        let map = bursts[place].maps.as_ref()?.get(i)?.clone();
        Some((map, bursts[place].rows[i].clone()))
    }

    /// How many frames there are.
    pub fn frames(&self) -> usize {
        self.files.len()
    }
}
