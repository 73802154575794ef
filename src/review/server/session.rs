//! What is looked at: an outing's record, where its files are, what was decided, and the burst
//! that is open.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Instant;

use crate::core::verdict::Verdict;
use crate::cull::open_burst::OpenBurst;
use crate::cull::outing::OutingJob;
use crate::cull::record::{BurstRecord, FrameRecord, MapRecord};
use crate::error::Result;
use crate::image::{self, Frame};
use crate::report::wording;
use crate::store::decisions::{DecisionKind, Decisions, NewDecision};

use super::api::{BurstAnswer, OutingAnswer};
use super::pictures::Decodes;
use super::review_state::{Opened, ReviewState};

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

/// A session. Whoever locks both takes the decisions first; neither is held while a burst is read or
/// judged.
pub struct Session {
    title: String,
    key: String,
    job: OutingJob,
    files: Vec<Vec<PathBuf>>,
    heads: Vec<OnceLock<Option<Frame>>>,
    state: Mutex<ReviewState>,
    /// Locked while a decision is kept or taken back, so that what is shown is what is kept.
    decisions: Mutex<Decisions>,
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
        let ReviewSource { title, key, bursts, frames, files, job } = source;
        let gone = PathBuf::new();
        let paths: Vec<&Path> =
            files.iter().map(|f| f.first().unwrap_or(&gone).as_path()).collect();
        let standing = decisions.standing(&paths)?;
        Ok(Session {
            title,
            key,
            job,
            heads: files.iter().map(|_| OnceLock::new()).collect(),
            files,
            state: Mutex::new(ReviewState::new(bursts, frames, standing)),
            decisions: Mutex::new(decisions),
            decodes: Decodes::default(),
        })
    }

    fn state(&self) -> MutexGuard<'_, ReviewState> {
        lock(&self.state)
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
        let state = self.state();
        let (frames, bursts) = (self.files.len(), state.lines());
        OutingAnswer {
            title: self.title.clone(),
            facts: format!(
                "{} in {}",
                wording::count(frames as u32, "frame", "frames"),
                wording::count(bursts.len() as u32, "burst", "bursts")
            ),
            decided: state.decided(),
            frames,
            bursts,
        }
    }

    /// A burst as the page shows it. When a person has moved its subject, it is judged for that
    /// place first.
    pub fn burst(&self, id: u32) -> Option<BurstAnswer> {
        let place = self.state().place(id)?;
        self.bring_up(place);
        Some(self.state().answer(place, |n| !self.files[n].is_empty()))
    }

    /// Keeps what a person says a frame is; `None` takes the word back.
    ///
    /// # Errors
    /// Why it could not be kept; then nothing is changed.
    pub fn decide(&self, n: usize, verdict: Option<Verdict>) -> std::result::Result<u32, String> {
        let mut decisions = lock(&self.decisions);
        let id = self.keep(&mut decisions, n, DecisionKind::Verdict(verdict))?;
        self.state().set_verdict(n, verdict);
        Ok(id)
    }

    /// Keeps a decision; the number of the burst.
    fn keep(
        &self,
        decisions: &mut Decisions,
        n: usize,
        what: DecisionKind,
    ) -> std::result::Result<u32, String> {
        let (id, program, cause) = self.state().program_verdict(n).ok_or("no such frame")?;
        let file = self.files[n].first().ok_or("the file of this frame is gone")?;
        let new = NewDecision { outing: &self.key, file, what, program, cause };
        decisions.add(&new).map_err(|e| e.to_string())?;
        Ok(id)
    }

    /// Moves the subject in one frame: the burst is followed and judged again.
    ///
    /// # Errors
    /// Why it could not be kept or judged.
    pub fn move_subject(&self, n: usize, at: (f64, f64)) -> std::result::Result<u32, String> {
        let place = self.state().place_of_frame(n).ok_or("no such frame")?.0;
        if let Some(Err(says)) = self.opened(place).get() {
            return Err(says.clone());
        }
        let id = {
            let mut decisions = lock(&self.decisions);
            let id = self.keep(&mut decisions, n, DecisionKind::Subject(Some(at)))?;
            self.refresh(&decisions, n)?;
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
            let mut decisions = lock(&self.decisions);
            let undone = decisions.undo(&self.key).map_err(|e| e.to_string())?;
            let Some(undone) = undone else { return Ok(None) };
            let n = self.files.iter().position(|f| f.first() == Some(&undone.file));
            let n = n.ok_or_else(|| {
                let name = undone.file.file_name().unwrap_or_default().to_string_lossy();
                format!("undone: a decision on {name}, which is no longer here")
            })?;
            self.refresh(&decisions, n)?;
            (undone, n)
        };
        let place = self.state().place_of_frame(n).ok_or("no such frame")?.0;
        if undone.subject {
            self.bring_up(place);
        }
        Ok(Some((self.state().id(place), n)))
    }

    /// Reads again what stands for a frame.
    fn refresh(&self, decisions: &Decisions, n: usize) -> std::result::Result<(), String> {
        let path = self.files[n].first().cloned().unwrap_or_default();
        let now = decisions.standing(&[&path]).map_err(|e| e.to_string())?;
        if let Some(now) = now.into_iter().next() {
            self.state().set_standing(n, now);
        }
        Ok(())
    }

    /// Judges a burst for the subject that stands, unless it is.
    fn bring_up(&self, place: usize) {
        let mark = {
            let mut state = self.state();
            let wanted = state.placed_subject(place);
            if wanted == state.judged_for(place) {
                return;
            }
            let Some(mark) = wanted else {
                // The person's mark was taken back.
                state.restore(place);
                return;
            };
            mark
        };
        let opened = self.opened(place);
        let Some(Ok(open)) = opened.get() else { return };
        let start = Instant::now();
        let again = open.judged(Some(mark));
        let took_ms = start.elapsed().as_millis() as u64;
        self.state().judged(place, again, mark, took_ms);
    }

    /// Reads and measures the frames of a burst, unless it is open; the one before is closed.
    fn opened(&self, place: usize) -> Opened {
        let slot = self.state().opening(place);
        slot.get_or_init(|| {
            let frames = self.state().frames(place);
            let files: Option<Vec<Frame>> = frames.map(|n| self.head(n).cloned()).collect();
            let files = files.ok_or("a file of this burst is gone")?;
            let job = OutingJob { pictures: false, ..self.job.clone() };
            OpenBurst::read(job, files).map_err(|(_, reason)| reason.to_string())
        });
        slot
    }

    /// Opens a burst, so that moving its subject takes no time to read.
    pub fn prepare(&self, id: u32) -> bool {
        let Some(place) = self.state().place(id) else { return false };
        matches!(self.opened(place).get(), Some(Ok(_)))
    }

    /// The focus map of a frame; its burst is opened for it.
    pub fn map(&self, n: usize) -> Option<(MapRecord, FrameRecord)> {
        let known = self.state().map(n);
        if known.is_some() {
            return known;
        }
        let (place, _) = self.state().place_of_frame(n)?;
        let opened = self.opened(place);
        let open = opened.get()?.as_ref().ok()?;
        let maps = open.judged(None).maps;
        let mut state = self.state();
        state.set_maps(place, maps);
        state.map(n)
    }

    /// How many frames there are.
    pub fn frames(&self) -> usize {
        self.files.len()
    }
}
