//! What a chart shows, what its frames lack, and what can be done about it: numbers, no sentences.
//! Those are in `sentences.rs`.

use super::record::{BreakEven, ChartRecord, HandState, Handheld, ShootNext, whole_iso_stop};
use serde::Serialize;

/// How many frames say what a chart needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lacks {
    /// Frames.
    pub frames: u32,
    /// Of those, with a magnification.
    pub with_magnification: u32,
    /// Of those, at the charted magnification.
    pub here: u32,
    /// Of those, with working f-number and ISO.
    pub with_place: u32,
    /// Of those, with a detail that can be quoted.
    pub with_detail: u32,
    /// At the charted magnification, with a pixel pitch.
    pub with_pitch: u32,
    /// Frames whose numbers cannot be.
    pub contradictory: u32,
}

/// What a chart shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum LimitFinding {
    /// No still of the rig is in the log.
    NothingLogged {
        /// Whether frames of clips are.
        has_clips: bool,
    },
    /// Frames whose numbers cannot be.
    Contradictory {
        /// Number of frames.
        frames: u32,
    },
    /// No frame has a magnification.
    NoMagnification,
    /// No frame has the charted magnification.
    NoneAtMagnification,
    /// No frame has a pixel pitch.
    NoPixelPitch,
    /// No frame has both a working f-number and an ISO.
    NoSettings,
    /// No frame has a detail that can be quoted.
    NoDetail,
    /// Too few frames for a chart.
    TooFew {
        /// Frames that can be used.
        frames: u32,
        /// What to shoot next.
        next: Vec<ShootNext>,
    },
    /// What detail is fitted to.
    Fitted {
        /// Frames of tests.
        tests: u32,
        /// Frames of the field.
        fields: u32,
        /// Scatter of single frames, share.
        scatter: f64,
    },
    /// Field frames show less than tests.
    FieldOverTest {
        /// Detail over that of tests.
        ratio: f64,
        /// One standard error of it.
        std_err: Option<f64>,
    },
    /// Frames lie too far apart to draw detail between them.
    TooSparse {
        /// What to shoot next.
        next: Vec<ShootNext>,
    },
    /// Field frames alone give no break-even of aperture and ISO.
    NoTestSeries,
    /// The drawn chart holds no break-even.
    NoBreakEven,
    /// Where a stop and its ISO cost the same.
    BreakEvenAt(BreakEven),
    /// Where the chart ends.
    EndsHere {
        /// What to shoot next.
        next: Vec<ShootNext>,
    },
    /// The handheld limit.
    Hand(Box<Handheld>),
    /// The handheld limit in clips.
    HandInClips(Box<Handheld>),
    /// A person's decisions were used.
    Decided {
        /// Frames.
        frames: u32,
        /// Of those, against the verdict.
        overruled: u32,
    },
}

/// What can be done about it.
#[derive(Debug, Clone, PartialEq)]
pub enum LimitAdvice {
    /// Log an outing.
    LogOuting,
    /// Correct the rig or the outing.
    CorrectOrExclude,
    /// Give a magnification.
    GiveMagnification,
    /// Give the rig its pixel pitch.
    GivePixelPitch,
    /// Give f-numbers when logging.
    GiveFNumbers,
    /// Shoot what can be quoted.
    ShootRawOrPairs,
    /// Fill the chart.
    Fill(Vec<ShootNext>),
    /// Shoot around the limit.
    ShootAroundLimit,
    /// Log what differs apart.
    LogApart,
}

impl LimitFinding {
    /// What to do about it.
    pub fn advice(&self) -> Option<LimitAdvice> {
        match self {
            LimitFinding::NothingLogged { .. } => Some(LimitAdvice::LogOuting),
            LimitFinding::Contradictory { .. } => Some(LimitAdvice::CorrectOrExclude),
            LimitFinding::NoMagnification => Some(LimitAdvice::GiveMagnification),
            LimitFinding::NoPixelPitch => Some(LimitAdvice::GivePixelPitch),
            LimitFinding::NoSettings => Some(LimitAdvice::GiveFNumbers),
            LimitFinding::NoDetail => Some(LimitAdvice::ShootRawOrPairs),
            LimitFinding::TooFew { next, .. }
            | LimitFinding::TooSparse { next }
            | LimitFinding::EndsHere { next } => {
                (!next.is_empty()).then(|| LimitAdvice::Fill(next.clone()))
            }
            LimitFinding::Hand(hand) | LimitFinding::HandInClips(hand) => hand_advice(hand),
            LimitFinding::NoneAtMagnification
            | LimitFinding::Fitted { .. }
            | LimitFinding::FieldOverTest { .. }
            | LimitFinding::NoTestSeries
            | LimitFinding::NoBreakEven
            | LimitFinding::BreakEvenAt(_)
            | LimitFinding::Decided { .. } => None,
        }
    }
}

fn hand_advice(hand: &Handheld) -> Option<LimitAdvice> {
    match hand.state {
        HandState::Fitted => {
            let (verdicts, smears) = (hand.by_verdicts.as_ref()?, hand.by_smears.as_ref()?);
            smears.limit.contradicts(verdicts).then_some(LimitAdvice::LogApart)
        }
        HandState::Wide
        | HandState::TooFew
        | HandState::AllStill
        | HandState::NoneStill
        | HandState::Separated
        | HandState::NoTrend => Some(LimitAdvice::ShootAroundLimit),
    }
}

/// The findings, what matters first.
pub fn findings(record: &ChartRecord, lacks: &Lacks) -> Vec<LimitFinding> {
    let mut out = Vec::new();
    if lacks.frames == 0 {
        out.push(LimitFinding::NothingLogged { has_clips: record.clip_frames > 0 });
        out.extend(in_clips(record));
        return out;
    }
    if lacks.contradictory > 0 {
        out.push(LimitFinding::Contradictory { frames: lacks.contradictory });
    }
    if lacks.with_magnification == 0 || lacks.here == 0 {
        out.push(match lacks.with_magnification {
            0 => LimitFinding::NoMagnification,
            _ => LimitFinding::NoneAtMagnification,
        });
        out.extend(in_clips(record));
        return out;
    }
    match &record.model {
        None => out.push(no_model(record, lacks)),
        Some(model) => {
            let tests = record.test_frames_used;
            let fields = record.frames_used - tests;
            out.push(LimitFinding::Fitted { tests, fields, scatter: model.scatter });
            out.extend(model.field_over_test.map(|over| LimitFinding::FieldOverTest {
                ratio: over.value,
                std_err: over.std_err,
            }));
            let next = record.next.clone();
            if record.grid.is_empty() {
                out.push(LimitFinding::TooSparse { next });
            } else {
                out.push(break_even(record));
                if !next.is_empty() {
                    out.push(LimitFinding::EndsHere { next });
                }
            }
        }
    }
    out.extend(record.handheld.clone().map(|h| LimitFinding::Hand(Box::new(h))));
    out.extend(in_clips(record));
    if record.decided > 0 {
        out.push(LimitFinding::Decided { frames: record.decided, overruled: record.overruled });
    }
    out
}

/// The hand in clips, at the magnification with the most frames.
fn in_clips(record: &ChartRecord) -> Option<LimitFinding> {
    let hand = record.clip_hands.iter().filter(|h| !h.flash).max_by_key(|h| h.n)?;
    Some(LimitFinding::HandInClips(Box::new(hand.clone())))
}

fn no_model(record: &ChartRecord, lacks: &Lacks) -> LimitFinding {
    if lacks.with_pitch == 0 {
        LimitFinding::NoPixelPitch
    } else if lacks.with_place == 0 {
        LimitFinding::NoSettings
    } else if lacks.with_detail == 0 {
        LimitFinding::NoDetail
    } else {
        LimitFinding::TooFew { frames: lacks.with_detail, next: record.next.clone() }
    }
}

fn break_even(record: &ChartRecord) -> LimitFinding {
    if record.test_frames_used == 0 {
        return LimitFinding::NoTestSeries;
    }
    let at = record.break_even.len() / 2;
    // At a whole stop of ISO, which every camera can set, where there is one beside the middle.
    let beside = [at, at + 1, at.wrapping_sub(1)];
    let mut rows = beside.iter().filter_map(|i| record.break_even.get(*i));
    let settable = rows.find(|b| whole_iso_stop(b.iso));
    let middle = settable.or(record.break_even.get(at));
    middle.map_or(LimitFinding::NoBreakEven, |b| LimitFinding::BreakEvenAt(*b))
}
