//! What a session shows at the moment: bursts as they are judged now, the decisions that stand, and
//! the burst that is open.

use std::sync::{Arc, OnceLock};

use super::api::{BurstAnswer, BurstLine, FrameAnswer, burst_facts, burst_line};
use crate::core::verdict::{Cause, Verdict};
use crate::cull::open_burst::{JudgedAgain, OpenBurst};
use crate::cull::record::{BurstRecord, FrameRecord, MapRecord};
use crate::cull::wording::tally;
use crate::report::parts::SubjectFound;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::wording;
use crate::store::decisions::CurrentDecision;

/// A burst that is read and measured, or why it cannot be.
pub(super) type Opened = Arc<OnceLock<std::result::Result<OpenBurst, String>>>;

/// A subject as a person placed it: the frame's number in its burst, and where.
pub(super) type PlacedSubject = (usize, (f64, f64));

/// A burst with its frames as they are judged now.
struct ReviewedBurst {
    record: BurstRecord,
    first: usize,
    rows: Vec<FrameRecord>,
    maps: Option<Vec<MapRecord>>,
    /// As it was before a person moved the subject.
    before: Option<(BurstRecord, Vec<FrameRecord>)>,
    /// The place of the subject that the rows are for.
    judged_for: Option<PlacedSubject>,
    took_ms: Option<u64>,
}

/// What a session shows at the moment. Nothing here reads a file or waits.
pub(super) struct ReviewState {
    bursts: Vec<ReviewedBurst>,
    standing: Vec<CurrentDecision>,
    open: Option<(usize, Opened)>,
}

impl ReviewState {
    /// An outing's bursts with their frames, in order, and what was decided on each frame.
    pub(super) fn new(
        records: Vec<BurstRecord>,
        rows: Vec<FrameRecord>,
        standing: Vec<CurrentDecision>,
    ) -> ReviewState {
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
        ReviewState { bursts, standing, open: None }
    }

    /// The place of a burst in the list, by its number.
    pub(super) fn place(&self, id: u32) -> Option<usize> {
        self.bursts.iter().position(|b| b.record.id == id)
    }

    /// The place of the burst of a frame, and the frame's number in it.
    pub(super) fn place_of_frame(&self, n: usize) -> Option<(usize, usize)> {
        let has = |b: &ReviewedBurst| (b.first..b.first + b.rows.len()).contains(&n);
        let place = self.bursts.iter().position(has)?;
        Some((place, n - self.bursts[place].first))
    }

    /// The number of a burst, by its place.
    pub(super) fn id(&self, place: usize) -> u32 {
        self.bursts[place].record.id
    }

    /// The frames of a burst, as numbers in the outing.
    pub(super) fn frames(&self, place: usize) -> std::ops::Range<usize> {
        let burst = &self.bursts[place];
        burst.first..burst.first + burst.rows.len()
    }

    /// The number of a frame's burst, and what the program said of the frame.
    pub(super) fn program_verdict(&self, n: usize) -> Option<(u32, Verdict, Option<Cause>)> {
        let (place, i) = self.place_of_frame(n)?;
        let row = &self.bursts[place].rows[i];
        Some((self.id(place), row.verdict, row.causes.first().map(|c| c.cause)))
    }

    /// Takes over what stands for a frame now.
    pub(super) fn set_standing(&mut self, n: usize, now: CurrentDecision) {
        self.standing[n] = now;
    }

    /// Takes over a person's word on a frame.
    pub(super) fn set_verdict(&mut self, n: usize, verdict: Option<Verdict>) {
        self.standing[n].verdict = verdict;
    }

    fn decided_in(&self, frames: std::ops::Range<usize>) -> usize {
        self.standing[frames].iter().filter(|s| s.verdict.is_some()).count()
    }

    /// How many frames a person decided on.
    pub(super) fn decided(&self) -> usize {
        self.decided_in(0..self.standing.len())
    }

    /// The bursts as the page lists them.
    pub(super) fn lines(&self) -> Vec<BurstLine> {
        let line = |(place, b): (usize, &ReviewedBurst)| {
            burst_line(&b.record, b.first, &b.rows, self.decided_in(self.frames(place)))
        };
        self.bursts.iter().enumerate().map(line).collect()
    }

    /// A burst as the page shows it. `has_file` tells of a frame whether its file is there.
    pub(super) fn answer(&self, place: usize, has_file: impl Fn(usize) -> bool) -> BurstAnswer {
        let burst = &self.bursts[place];
        let frames = burst.rows.iter().enumerate().map(|(i, row)| {
            let n = burst.first + i;
            FrameAnswer::new(n, row, self.standing[n].verdict, has_file(n))
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

    /// Where a person placed the subject of a burst last.
    pub(super) fn placed_subject(&self, place: usize) -> Option<PlacedSubject> {
        let own = self.standing[self.frames(place)].iter().enumerate();
        own.filter_map(|(i, s)| Some((s.subject_id, i, s.subject?)))
            .max_by_key(|s| s.0)
            .map(|(_, i, at)| (i, at))
    }

    /// The place of the subject that a burst is judged for.
    pub(super) fn judged_for(&self, place: usize) -> Option<PlacedSubject> {
        self.bursts[place].judged_for
    }

    /// Takes a burst back to how it was before a person moved its subject.
    pub(super) fn restore(&mut self, place: usize) {
        let burst = &mut self.bursts[place];
        if let Some((record, rows)) = burst.before.take() {
            (burst.record, burst.rows) = (record, rows);
        }
        (burst.judged_for, burst.took_ms) = (None, None);
    }

    /// Takes over a burst that was judged for a place of its subject.
    pub(super) fn judged(
        &mut self,
        place: usize,
        again: JudgedAgain,
        mark: PlacedSubject,
        took_ms: u64,
    ) {
        let JudgedAgain { burst: record, frames: rows, maps } = again;
        let burst = &mut self.bursts[place];
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
        burst.took_ms = Some(took_ms);
    }

    /// The room for a burst's measured frames; the one before is let go.
    pub(super) fn opening(&mut self, place: usize) -> Opened {
        match &self.open {
            Some((at, slot)) if *at == place => Arc::clone(slot),
            _ => {
                let slot = Opened::default();
                self.open = Some((place, Arc::clone(&slot)));
                slot
            }
        }
    }

    /// The focus map and the record of a frame, when its burst's maps are known.
    pub(super) fn map(&self, n: usize) -> Option<(MapRecord, FrameRecord)> {
        let (place, i) = self.place_of_frame(n)?;
        let burst = &self.bursts[place];
        Some((burst.maps.as_ref()?.get(i)?.clone(), burst.rows[i].clone()))
    }

    /// Takes over the focus maps of a burst.
    pub(super) fn set_maps(&mut self, place: usize, maps: Vec<MapRecord>) {
        self.bursts[place].maps = Some(maps);
    }
}
