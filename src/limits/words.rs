//! What a chart says in words, and what its frames lack.

use super::record::{
    ChartRecord, HandLimit, HandState, Handheld, ShootNext, SmearLimit, whole_iso_stop,
};
use crate::report::parts::Finding;
use crate::report::wording;

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

fn finding(says: String, next: Option<String>) -> Finding {
    Finding { says, next }
}

/// What is charted, in a line.
pub fn heading(record: &ChartRecord) -> String {
    let mut parts = Vec::new();
    parts.extend(record.rig.as_deref().map(wording::visible));
    parts.extend(record.magnification.map(|m| format!("{}×", wording::number(m))));
    parts.push(wording::count(record.frames, "frame", "frames"));
    parts.push(format!("{} in the fit", record.frames_used));
    parts.join(" · ")
}

/// The findings, what matters first.
pub fn findings(record: &ChartRecord, lacks: &Lacks) -> Vec<Finding> {
    let mut out = Vec::new();
    let next = shoot(&record.next);
    if lacks.frames == 0 {
        let says = if record.clip_frames == 0 {
            "The log holds no frame of this rig: there is nothing to chart yet."
        } else {
            "The log holds no still of this rig, only frames of clips: they tell of the hand alone."
        };
        out.push(finding(
            says.to_owned(),
            Some("Log an outing with `stopwise cull FOLDER --log`.".to_owned()),
        ));
        out.extend(in_clips(record));
        return out;
    }
    if lacks.contradictory > 0 {
        out.push(finding(
            format!(
                "{} left out of the fit: their numbers cannot be (a working f-number below the \
                 marked one, a detail or magnification out of range).",
                wording::count(lacks.contradictory, "frame is", "frames are")
            ),
            Some("Correct the rig or the outing, or exclude it.".to_owned()),
        ));
    }
    if lacks.with_magnification == 0 {
        out.push(finding(
            "No frame has a magnification, so working f-numbers and micrometres are unknown."
                .to_owned(),
            Some("Describe the rig (`stopwise rig`) or type --magnification when logging.".into()),
        ));
        out.extend(in_clips(record));
        return out;
    }
    if lacks.here == 0 {
        out.push(finding("No frame has that magnification.".to_owned(), None));
        out.extend(in_clips(record));
        return out;
    }
    match &record.model {
        None => out.push(no_model(lacks, next)),
        Some(model) => {
            let tests = record.test_frames_used;
            let fields = record.frames_used - tests;
            let from = match (tests, fields) {
                (0, _) => format!(
                    "{} of the field, the hits of their bursts: they bound what a setting can give \
                     from below, since even hits miss a little, and their subjects differ",
                    wording::count(fields, "frame", "frames")
                ),
                (_, 0) => wording::count(tests, "frame of tests", "frames of tests"),
                _ => format!(
                    "{} and {}, kept apart by a factor",
                    wording::count(tests, "frame of tests", "frames of tests"),
                    wording::count(fields, "of the field", "of the field")
                ),
            };
            out.push(finding(
                format!(
                    "Detail is fitted to {from}; single frames scatter {} about it.",
                    wording::per_cent(model.scatter)
                ),
                None,
            ));
            if let Some(over) = model.field_over_test {
                out.push(finding(
                    format!(
                        "Field frames show {} of what tests show at the same setting: other \
                         subjects, and focus that is not quite there. The chart is that of the \
                         tests.",
                        wording::plus_minus(over.value, over.std_err)
                    ),
                    None,
                ));
            }
            if record.grid.is_empty() {
                out.push(finding(
                    "Too few frames lie near one another to draw detail between them.".to_owned(),
                    next.clone(),
                ));
            } else {
                out.push(break_even(record));
                if let Some(next) = next {
                    out.push(finding("The chart ends where your frames end.".into(), Some(next)));
                }
            }
        }
    }
    out.extend(record.handheld.as_ref().map(hand));
    out.extend(in_clips(record));
    out.extend(decided(record));
    out
}

/// Whose word was taken.
fn decided(record: &ChartRecord) -> Option<Finding> {
    if record.decided == 0 {
        return None;
    }
    let of = wording::count(record.decided, "frame", "frames");
    let verdicts = match record.overruled {
        0 => "all as the verdicts were".to_owned(),
        n => format!("{} against the verdict", wording::count(n, "time", "times")),
    };
    Some(finding(format!("Your own word counts in {of}, {verdicts}."), None))
}

/// The hand in clips, at the magnification with the most frames.
fn in_clips(record: &ChartRecord) -> Option<Finding> {
    let h = record.clip_hands.iter().filter(|h| !h.flash).max_by_key(|h| h.n)?;
    let f = hand(h);
    Some(finding(format!("In clips, apart from stills: {}", lower_first(&f.says)), f.next))
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_lowercase().chain(letters).collect())
}

fn no_model(lacks: &Lacks, next: Option<String>) -> Finding {
    let (says, next) = if lacks.with_pitch == 0 {
        (
            "No frame here has a pixel pitch, so there is no chart of detail.".to_owned(),
            Some("Give the rig its pixel_pitch_um.".to_owned()),
        )
    } else if lacks.with_place == 0 {
        (
            "No frame here has both a working f-number and an ISO, so there is no chart of detail."
                .to_owned(),
            Some(
                "Give --aperture when logging frames of a lens that does not tell its own.".into(),
            ),
        )
    } else if lacks.with_detail == 0 {
        (
            "No frame here has a detail that can be quoted: single frames that the camera smoothed \
             can only be ranked."
                .to_owned(),
            Some("Shoot raw, or compare pairs.".to_owned()),
        )
    } else {
        (
            format!(
                "Only {} here can be used, at too few settings for a chart of detail.",
                wording::count(lacks.with_detail, "frame", "frames")
            ),
            next,
        )
    };
    finding(says, next)
}

fn break_even(record: &ChartRecord) -> Finding {
    if record.test_frames_used == 0 {
        return finding(
            "Frames of the field alone are too uneven to say where a stop costs what its ISO \
             costs: that takes a test series."
                .to_owned(),
            None,
        );
    }
    let at = record.break_even.len() / 2;
    // At a whole stop of ISO, which every camera can set, where there is one beside the middle.
    let beside = [at, at + 1, at.wrapping_sub(1)];
    let mut rows = beside.iter().filter_map(|i| record.break_even.get(*i));
    let settable = rows.find(|b| whole_iso_stop(b.iso));
    let Some(middle) = settable.or(record.break_even.get(at)) else {
        return finding(
            "Nowhere on the drawn chart do a stop and its ISO cost the same.".to_owned(),
            None,
        );
    };
    finding(
        format!(
            "At ISO {} closing one stop more costs as much as doubling the ISO at a working {} \
             (± {} stops): wider open the ISO costs more, closed further the aperture does.",
            wording::fixed(middle.iso, 0),
            wording::f_number(middle.working_f_number),
            wording::fixed(middle.std_err_stops, 2)
        ),
        None,
    )
}

/// What to shoot next, in a sentence.
pub fn shoot(next: &[ShootNext]) -> Option<String> {
    if next.is_empty() {
        return None;
    }
    let one = |n: &ShootNext| {
        let isos: Vec<String> = n.isos.iter().map(u32::to_string).collect();
        format!("marked {} at ISO {}", wording::f_number(n.marked_f_number), isos.join(", "))
    };
    let all: Vec<String> = next.iter().map(one).collect();
    Some(format!("To fill it, shoot one still subject, four frames each, at {}.", all.join("; ")))
}

/// The hand in a sentence.
pub fn hand(h: &Handheld) -> Finding {
    let at = format!(
        "{}×{}",
        wording::number(h.magnification),
        if h.flash { " with flash" } else { "" }
    );
    let n = wording::count(h.n, "frame", "frames");
    let between = |low: f64, high: f64| {
        format!("{} to {}", wording::measured_shutter(low), wording::measured_shutter(high))
    };
    let span = match (h.low, h.high) {
        (Some(low), Some(high)) => between(low, high),
        _ => wording::NOTHING.to_owned(),
    };
    let limit = |l: &HandLimit| {
        let at = wording::measured_shutter(l.half_hit_shutter_s);
        format!("{at} (95 %: {}, {} frames)", between(l.low, l.high), l.n)
    };
    let smears = |s: &SmearLimit| {
        format!(
            "{}, of which {} moved far enough to be measured; half stay below {} mm/s on the \
             subject",
            limit(&s.limit),
            s.seen,
            wording::plus_minus(s.speed_mm_s.value, s.speed_mm_s.std_err)
        )
    };
    let more = || Some("Shoot at slower and faster shutters around it.".to_owned());
    let (says, next) = match h.state {
        HandState::Fitted => {
            let verdicts = h.by_verdicts.as_ref();
            let alone = verdicts.map_or(wording::NOTHING.to_owned(), limit);
            match (verdicts, &h.by_smears) {
                (Some(v), Some(s)) if s.limit.contradicts(v) => (
                    format!(
                        "At {at} half the frames hold still at {alone} by hits and misses. The \
                         lengths of their smears contradict that: {}.",
                        smears(s)
                    ),
                    Some(
                        "Subjects that moved, or a support used for the slow shutters only, would \
                         explain it: log them as outings of their own."
                            .to_owned(),
                    ),
                ),
                (_, Some(s)) => (
                    format!(
                        "At {at} half the frames hold still at {} (95 %: {span}), by hits and \
                         misses together with the lengths of smears. By hits and misses alone: \
                         {alone}. By smears alone: {}.",
                        h.half_hit_shutter_s
                            .map_or(wording::NOTHING.to_owned(), wording::measured_shutter),
                        smears(s)
                    ),
                    None,
                ),
                (_, None) => (format!("At {at} half the frames hold still at {alone}."), None),
            }
        }
        HandState::Wide => (
            format!(
                "At {at} half the frames hold still somewhere from {span} (95 %): these {n} leave \
                 it too open for one number."
            ),
            more(),
        ),
        HandState::TooFew => (format!("At {at} {n} are too few for a limit of the hand."), more()),
        HandState::AllStill => {
            (format!("At {at} all {n} held still: the limit is slower than any of them."), more())
        }
        HandState::NoneStill => {
            (format!("At {at} none of {n} held still: the limit is faster."), more())
        }
        HandState::Separated => (
            format!(
                "At {at} every faster frame held still and every slower one moved ({n}): the limit \
                 lies at {span}, and how sharp it is cannot be said."
            ),
            more(),
        ),
        HandState::NoTrend => (
            format!("At {at} slower shutters do no worse in these {n}: no limit can be given."),
            more(),
        ),
    };
    let says = match &h.by_smears {
        Some(s) if !matches!(h.state, HandState::Fitted | HandState::Wide) => {
            format!("{says} The lengths of smears put it at {}.", smears(s))
        }
        _ => says,
    };
    finding(says, next)
}
