//! What a chart shows, in sentences.

use super::findings::{LimitAdvice, LimitFinding};
use super::record::{ChartRecord, HandLimit, HandState, Handheld, ShootNext, SmearLimit};
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;

/// What is charted, in a line.
pub fn heading(record: &ChartRecord) -> String {
    let mut parts = Vec::new();
    parts.extend(record.rig.as_deref().map(wording::visible));
    parts.extend(record.magnification.map(|m| format!("{}×", wording::number(m))));
    parts.push(wording::count(record.frames, "frame", "frames"));
    parts.push(format!("{} in the fit", record.frames_used));
    parts.join(" · ")
}

impl Sentences for LimitFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            LimitFinding::NothingLogged { has_clips: false } => {
                "No frames of this rig in the log yet.".to_owned()
            }
            LimitFinding::NothingLogged { has_clips: true } => {
                "The log has only clip frames of this rig; they show handheld limits but not \
                 detail."
                    .to_owned()
            }
            LimitFinding::Contradictory { frames } => format!(
                "{} excluded from the fit: impossible values (working f-number below the marked \
                 one, or detail or magnification out of range).",
                wording::count(*frames, "frame is", "frames are")
            ),
            LimitFinding::NoMagnification => {
                "No frame has a magnification, so working f-numbers and micrometres are unknown."
                    .to_owned()
            }
            LimitFinding::NoneAtMagnification => "No frame has that magnification.".to_owned(),
            LimitFinding::NoPixelPitch => {
                "No frame here has a pixel pitch, so there is no chart of detail.".to_owned()
            }
            LimitFinding::NoSettings => {
                "No frame here has both a working f-number and an ISO, so there is no chart of \
                 detail."
                    .to_owned()
            }
            LimitFinding::NoDetail => {
                "No frame here has a detail figure that can be quoted: single frames with \
                 in-camera noise reduction can only be ranked."
                    .to_owned()
            }
            LimitFinding::TooFew { frames, .. } => format!(
                "Only {} here can be used, at too few settings for a chart of detail.",
                wording::count(*frames, "frame", "frames")
            ),
            LimitFinding::Fitted { tests, fields, scatter } => format!(
                "Detail is fitted to {}. Single frames scatter by {}.",
                fitted_to(*tests, *fields),
                wording::per_cent(*scatter)
            ),
            LimitFinding::FieldOverTest { ratio, std_err } => format!(
                "Field frames reach {} times the detail of test frames at the same setting, \
                 because subjects differ and focus is not perfect. The chart uses the tests.",
                wording::plus_minus(*ratio, *std_err)
            ),
            LimitFinding::TooSparse { .. } => {
                "The frames are too far apart to draw detail between them.".to_owned()
            }
            LimitFinding::NoTestSeries => {
                "Field frames vary too much to find the break-even between aperture and ISO: \
                 shoot a test series."
                    .to_owned()
            }
            LimitFinding::NoBreakEven => {
                "The break-even between a stop and its ISO is outside the chart.".to_owned()
            }
            LimitFinding::BreakEvenAt(at) => format!(
                "At ISO {} closing one stop more costs as much as doubling the ISO at a working \
                 {} (± {} stops): wider open the ISO costs more, closed further the aperture does.",
                wording::fixed(at.iso, 0),
                wording::f_number(at.working_f_number),
                wording::fixed(at.std_err_stops, 2)
            ),
            LimitFinding::EndsHere { .. } => "The chart ends where your frames end.".to_owned(),
            LimitFinding::Hand(hand) => hand_limit(hand),
            LimitFinding::HandInClips(hand) => {
                format!("In clips, apart from stills: {}", lower_first(&hand_limit(hand)))
            }
            LimitFinding::Decided { frames, overruled } => format!(
                "Your decisions replace the verdict in {}; {} with it.",
                wording::count(*frames, "frame", "frames"),
                match overruled {
                    0 => "all agree".to_owned(),
                    1 => "1 of them disagrees".to_owned(),
                    n => format!("{n} of them disagree"),
                }
            ),
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        self.advice().map(|a| a.sentence(medium))
    }
}

impl LimitAdvice {
    fn sentence(&self, medium: Medium) -> String {
        let text = match (self, medium) {
            (LimitAdvice::LogOuting, Medium::Terminal) => {
                "Log an outing with `stopwise cull FOLDER --log`."
            }
            (LimitAdvice::LogOuting, _) => "Judge an outing and add it to the log.",
            (LimitAdvice::CorrectOrExclude, _) => "Correct the rig or the outing, or exclude it.",
            (LimitAdvice::GiveMagnification, Medium::Terminal) => {
                "Describe the rig (`stopwise rig`) or type --magnification when logging."
            }
            (LimitAdvice::GiveMagnification, _) => {
                "Describe the rig (`stopwise rig`) or give the magnification when logging."
            }
            (LimitAdvice::GivePixelPitch, _) => "Give the rig its pixel_pitch_um.",
            (LimitAdvice::GiveFNumbers, Medium::Terminal) => {
                "Give --aperture when logging frames of a lens without electronic contacts."
            }
            (LimitAdvice::GiveFNumbers, _) => {
                "Give the aperture when logging frames of a lens without electronic contacts."
            }
            (LimitAdvice::ShootRawOrPairs, _) => "Shoot raw, or compare pairs.",
            (LimitAdvice::Fill(next), _) => return fill(next),
            (LimitAdvice::ShootAroundLimit, _) => "Shoot at slower and faster shutters around it.",
            (LimitAdvice::LogApart, _) => {
                "Subjects that moved, or a support used for the slow shutters only, would explain \
                 it: log them as outings of their own."
            }
        };
        text.to_owned()
    }
}

/// What to shoot next.
fn fill(next: &[ShootNext]) -> String {
    let one = |n: &ShootNext| {
        let isos: Vec<String> = n.isos.iter().map(u32::to_string).collect();
        format!("marked {} at ISO {}", wording::f_number(n.marked_f_number), isos.join(", "))
    };
    let all: Vec<String> = next.iter().map(one).collect();
    format!("To fill it, shoot one still subject, four frames each, at {}.", all.join("; "))
}

fn fitted_to(tests: u32, fields: u32) -> String {
    match (tests, fields) {
        (0, _) => format!(
            "{} from the field. They give a lower bound, because even hits miss a little and \
             subjects differ",
            wording::count(fields, "frame", "frames")
        ),
        (_, 0) => wording::count(tests, "frame of tests", "frames of tests"),
        _ => format!(
            "{} and {}, related by a factor",
            wording::count(tests, "frame of tests", "frames of tests"),
            wording::count(fields, "of the field", "of the field")
        ),
    }
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_lowercase().chain(letters).collect())
}

fn between(low: f64, high: f64) -> String {
    format!("{} to {}", wording::measured_shutter(low), wording::measured_shutter(high))
}

fn limit_words(limit: &HandLimit) -> String {
    let at = wording::measured_shutter(limit.half_hit_shutter_s);
    format!("{at} (95 %: {}, {} frames)", between(limit.low, limit.high), limit.n)
}

fn smear_words(smears: &SmearLimit) -> String {
    format!(
        "{}, of which {} have a measurable smear; half stay below {} mm/s on the subject",
        limit_words(&smears.limit),
        smears.seen,
        wording::plus_minus(smears.speed_mm_s.value, smears.speed_mm_s.std_err)
    )
}

/// The handheld limit at one magnification.
fn hand_limit(h: &Handheld) -> String {
    let flash = if h.flash { " with flash" } else { "" };
    let at = format!("{}×{flash}", wording::number(h.magnification));
    let n = wording::count(h.n, "frame", "frames");
    let span = match (h.low, h.high) {
        (Some(low), Some(high)) => between(low, high),
        _ => wording::NOTHING.to_owned(),
    };
    let says = match h.state {
        HandState::Fitted => return fitted_hand(h, &at, &span),
        HandState::Wide => {
            return format!("At {at}, the handheld limit is between {span} (95 %, {n}).");
        }
        HandState::TooFew => format!("At {at}, {n} are too few for a handheld limit."),
        HandState::AllStill => {
            format!(
                "At {at}, all {n} are free of motion blur: the limit is slower than any of \
                     them."
            )
        }
        HandState::NoneStill => format!(
            "At {at}, none of {n} is free of motion blur: the limit \
                                         is faster."
        ),
        HandState::Separated => format!(
            "At {at}, all faster frames are free of motion blur and all slower ones are blurred \
             ({n}): the limit is at {span}, without an error."
        ),
        HandState::NoTrend => {
            format!(
                "At {at}, slower shutters show no more blur in these {n}, so no limit can be \
                     given."
            )
        }
    };
    match &h.by_smears {
        Some(s) => format!("{says} The lengths of smears put it at {}.", smear_words(s)),
        None => says,
    }
}

/// A limit that could be fitted.
fn fitted_hand(h: &Handheld, at: &str, span: &str) -> String {
    let verdicts = h.by_verdicts.as_ref();
    let alone = verdicts.map_or(wording::NOTHING.to_owned(), limit_words);
    match (verdicts, &h.by_smears) {
        (Some(v), Some(s)) if s.limit.contradicts(v) => format!(
            "At {at}, half your frames are free of motion blur at {alone}, by hits and misses. \
             The lengths of smears suggest {}, so the limit is uncertain.",
            smear_words(s)
        ),
        (_, Some(s)) => format!(
            "At {at}, half your frames are free of motion blur at {} (95 %: {span}), by hits, \
             misses and the lengths of smears. By hits and misses alone: {alone}. By smears \
             alone: {}.",
            h.half_hit_shutter_s.map_or(wording::NOTHING.to_owned(), wording::measured_shutter),
            smear_words(s)
        ),
        (_, None) => format!("At {at}, half your frames are free of motion blur at {alone}."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::record::BreakEven;
    use crate::report::sentences::{check, paragraph};
    use crate::report::value::WithError;

    fn limit(half_hit_shutter_s: f64) -> HandLimit {
        let (low, high) = (half_hit_shutter_s / 1.1, half_hit_shutter_s * 1.1);
        HandLimit { half_hit_shutter_s, low, high, n: 40 }
    }

    fn smears(half_hit_shutter_s: f64) -> SmearLimit {
        SmearLimit {
            limit: limit(half_hit_shutter_s),
            seen: 12,
            speed_mm_s: WithError { value: 1.4, std_err: Some(0.2) },
            shape: 2.0,
        }
    }

    fn hand(state: HandState, by_smears: Option<SmearLimit>) -> Box<Handheld> {
        Box::new(Handheld {
            magnification: 1.0,
            flash: state == HandState::NoTrend,
            state,
            half_hit_shutter_s: Some(0.008),
            low: Some(0.006),
            high: Some(0.01),
            slope_per_stop: None,
            by_verdicts: Some(limit(0.008)),
            by_smears,
            n: 40,
            rows: Vec::new(),
            curve: Vec::new(),
        })
    }

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let next = || {
            vec![ShootNext { working_f_number: 16.0, marked_f_number: 8.0, isos: vec![100, 400] }]
        };
        let fitted = |tests, fields| LimitFinding::Fitted { tests, fields, scatter: 0.08 };
        let mut all = vec![
            LimitFinding::NothingLogged { has_clips: false },
            LimitFinding::NothingLogged { has_clips: true },
            LimitFinding::Contradictory { frames: 2 },
            LimitFinding::NoMagnification,
            LimitFinding::NoneAtMagnification,
            LimitFinding::NoPixelPitch,
            LimitFinding::NoSettings,
            LimitFinding::NoDetail,
            LimitFinding::TooFew { frames: 3, next: Vec::new() },
            LimitFinding::TooFew { frames: 3, next: next() },
            fitted(0, 12),
            fitted(12, 0),
            fitted(12, 4),
            LimitFinding::FieldOverTest { ratio: 0.8, std_err: Some(0.05) },
            LimitFinding::TooSparse { next: next() },
            LimitFinding::NoTestSeries,
            LimitFinding::NoBreakEven,
            LimitFinding::BreakEvenAt(BreakEven {
                iso: 400.0,
                working_f_number: 16.0,
                std_err_stops: 0.2,
            }),
            LimitFinding::EndsHere { next: next() },
            LimitFinding::Decided { frames: 12, overruled: 0 },
            LimitFinding::Decided { frames: 12, overruled: 3 },
        ];
        for state in [
            HandState::Fitted,
            HandState::Wide,
            HandState::TooFew,
            HandState::AllStill,
            HandState::NoneStill,
            HandState::Separated,
            HandState::NoTrend,
        ] {
            // Alone, beside smears that agree, and beside smears that do not.
            for by_smears in [None, Some(smears(0.0081)), Some(smears(0.03))] {
                all.push(LimitFinding::Hand(hand(state, by_smears)));
                all.push(LimitFinding::HandInClips(hand(state, by_smears)));
            }
        }
        check(&all);
        let apart = LimitFinding::Hand(hand(HandState::Fitted, Some(smears(0.03))));
        assert_eq!(apart.advice(), Some(LimitAdvice::LogApart));
        let agreeing = LimitFinding::Hand(hand(HandState::Fitted, Some(smears(0.0081))));
        assert_eq!(agreeing.advice(), None);
        let ends = Medium::ALL.map(|m| paragraph(&LimitFinding::NoMagnification, m));
        assert!(ends[0].ends_with("or type --magnification when logging."), "{}", ends[0]);
        assert!(ends[1].ends_with("or give the magnification when logging."), "{}", ends[1]);
    }
}
