//! What a series shows, in sentences.

use super::findings::{CompareAdvice, CompareFinding, EdgeAtStep, SeriesCaution};
use crate::compare::record::{
    AttributionRecord, CostMore, Protocol, RegionRecord, StepAxis, StepRecord, step_name,
};
use crate::compare::series::Confounded;
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;

fn working(n: Option<f64>) -> String {
    n.map_or_else(String::new, |n| format!(" (working {})", wording::f_number(n)))
}

fn place((x, y): (f64, f64)) -> String {
    format!("{},{}", wording::fixed(x, 2), wording::fixed(y, 2))
}

fn edge_words(edge: &EdgeAtStep) -> String {
    format!("{} cy/px at {}", wording::measured(&edge.mtf50_cy_px), edge.step)
}

impl Sentences for CompareFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            CompareFinding::Inseparable { reason } => {
                format!("The costs of aperture and noise could not be separated: {reason}.")
            }
            CompareFinding::MostDetail { step, bits_px, finest_um } => {
                let detail = bits_px.as_ref().map_or_else(String::new, wording::measured);
                let lines = finest_um.as_ref().map_or_else(String::new, |um| {
                    format!(", lines of {} µm on the subject", wording::measured(um))
                });
                format!("Most detail: {step}, {detail} bit/px{lines}.")
            }
            CompareFinding::Change(change) => change.message.clone(),
            CompareFinding::AlwaysCosts { more } => {
                let (more, less) = words(*more);
                format!("{more} costs more than {less} at every step with a clear answer.")
            }
            CompareFinding::CostsFrom { f_number, more } => {
                let (more, less) = words(*more);
                format!(
                    "From {} on {} costs more than {less}; before it, the other way round.",
                    wording::f_number(*f_number),
                    more.to_lowercase()
                )
            }
            CompareFinding::BestInPlane(best) => {
                let f_number = wording::f_number(best.f_number);
                let working = working(best.working_f_number);
                match best.interior {
                    true => format!("Best aperture in focus, as taken: {f_number}{working}."),
                    false => format!(
                        "The best aperture is at the end of the series, {f_number}{working}."
                    ),
                }
            }
            CompareFinding::BestForDepth { depth_mm, best } => format!(
                "For {} mm of depth on the subject, judged at its ends: {}{}{}.",
                wording::short(*depth_mm),
                wording::f_number(best.f_number),
                working(best.working_f_number),
                if best.interior { "" } else { ", the end of the series" }
            ),
            CompareFinding::DepthNeedsMagnification => {
                "The aperture for a depth needs the magnification.".to_owned()
            }
            CompareFinding::Edge { at, is_given, best_and_worst: (best, worst) } => {
                let found = if *is_given { "The edge" } else { "A straight edge found" };
                let worst =
                    worst.as_ref().map_or_else(String::new, |w| format!(", {}", edge_words(w)));
                format!(
                    "{found} at {}: modulation falls to a half at {}{worst}.",
                    place(*at),
                    edge_words(best)
                )
            }
            CompareFinding::NoEdge { at, reason } => {
                format!("The edge at {} gives no answer: {reason}.", place(*at))
            }
            CompareFinding::Confounded(what) => match what {
                Confounded::Shutter => {
                    "The shutter speed changed with the aperture. Any motion blur is attributed \
                     to the aperture."
                }
                Confounded::Flash => {
                    "Neither ISO nor shutter compensated the aperture, so the flash did. A \
                     stronger flash lasts longer; any motion blur is attributed to the aperture."
                }
            }
            .to_owned(),
            CompareFinding::Caution(caution) => caution.message(),
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        self.advice().map(|a| a.sentence(medium).to_owned())
    }
}

impl SeriesCaution {
    fn message(&self) -> String {
        match self {
            SeriesCaution::NoiseReduced => {
                "The camera smoothed the noise, so the intervals are wide.".to_owned()
            }
            SeriesCaution::Moved { shift_px, turn_deg } => format!(
                "The frames moved by up to {} px and {}°; they were registered.",
                wording::number(*shift_px),
                wording::fixed(*turn_deg, 2)
            ),
            SeriesCaution::Aliased { f_numbers } => {
                let at: Vec<String> = f_numbers.iter().map(|n| wording::f_number(*n)).collect();
                format!(
                    "At {}, detail finer than the pixels is aliased. It was separated from noise \
                     using single frames.",
                    at.join(", ")
                )
            }
            SeriesCaution::Scaled { share } => format!(
                "The scale changed by up to {} %: focus or camera moved between frames. The loss \
                 is attributed to the aperture.",
                wording::fixed(100.0 * share, 1)
            ),
            SeriesCaution::RepeatsDiffer { step, share } => format!(
                "Repeats at {step} differ by {} of their detail: focus moved, or the subject did.",
                wording::per_cent(*share)
            ),
            SeriesCaution::OtherLight { step, stops } => format!(
                "At {step}, the picture is {} stops {} than the settings give: the light changed, \
                 a flash compensated, or the lens markings are inexact.",
                wording::fixed(stops.abs(), 1),
                if *stops > 0.0 { "brighter" } else { "darker" }
            ),
            SeriesCaution::UnequalLight { stops } => format!(
                "The steps differ by {} stops in brightness: the aperture was not fully \
                 compensated. Noise of the dark steps counts as noise.",
                wording::fixed(*stops, 1)
            ),
            SeriesCaution::NoMagnification => {
                "The magnification is unknown, and so are working f-numbers.".to_owned()
            }
        }
    }
}

impl CompareAdvice {
    fn sentence(self, medium: Medium) -> &'static str {
        match self {
            CompareAdvice::TakeFourCornersOrPairs => {
                "Take both apertures at both ISO settings, two frames each, with the shutter \
                 compensating; or two raw frames per step."
            }
            CompareAdvice::ExtendSeries => {
                "Take the series further in that direction to find the best one."
            }
            CompareAdvice::GiveMagnification => match medium {
                Medium::Terminal => "Give it with --magnification or --rig.",
                Medium::Report | Medium::ReviewPage => "Give it, or name a rig that has one.",
            },
            CompareAdvice::EdgeUse => {
                "Use it for rulers, charts and plates only. In-camera sharpening raises it."
            }
            CompareAdvice::FourCornersAreExact => {
                "Four corners (both apertures at both ISO settings) or raw frames are exact."
            }
            CompareAdvice::StandAgainstAliasing => {
                "Use a stand: the frames do not move, and the figures are more certain."
            }
            CompareAdvice::StandAndFocusOnce => {
                "Use a stand, focus once, and leave the focus alone."
            }
            CompareAdvice::RepeatStep => "Take that step again.",
        }
    }
}

/// How the region was chosen.
pub(super) fn region_choice(region: &RegionRecord, medium: Medium) -> &'static str {
    match (region.given, medium) {
        (true, _) => "as given",
        (false, Medium::Terminal) => "the most detailed region; choose another with --region",
        (false, Medium::Report | Medium::ReviewPage) => "the most detailed region",
    }
}

fn words(cost: CostMore) -> (&'static str, &'static str) {
    match cost {
        CostMore::Optics => ("The aperture", "the noise"),
        _ => ("The noise", "the aperture"),
    }
}

/// One change, as a sentence.
pub(super) fn attribution(a: &AttributionRecord, steps: &[StepRecord], axis: StepAxis) -> String {
    let (Some(from), Some(to)) = (steps.get(a.from), steps.get(a.to)) else {
        return String::new();
    };
    let stops = 2.0 * (to.f_number / from.f_number).log2();
    let same_aperture = stops.abs() < 0.1;
    let mut what = if same_aperture {
        match axis {
            StepAxis::Shutter => format!("From {} to", step_name(from, axis)),
            _ => format!("At {}, from", wording::f_number(from.f_number)),
        }
    } else if stops > 0.0 {
        format!("Closing from {}", wording::f_number(from.f_number))
    } else {
        format!("Opening from {}", wording::f_number(from.f_number))
    };
    let iso = |s: &StepRecord| s.iso.map(|iso| format!("ISO {iso}"));
    if same_aperture && axis != StepAxis::Shutter {
        let name = |s: &StepRecord| iso(s).unwrap_or_else(|| "unknown ISO".to_owned());
        what.push_str(&format!(" {} to {}", name(from), name(to)));
    } else if same_aperture {
        what.push_str(&format!(" {}", step_name(to, axis)));
    } else {
        what.push_str(&format!(" to {}", wording::f_number(to.f_number)));
        if let (Some(m), Some(n)) = (from.working_f_number, to.working_f_number) {
            let (m, n) = (wording::f_number(m), wording::f_number(n));
            what.push_str(&format!(" (working {m} to {n})"));
        }
        match (iso(from), iso(to)) {
            (Some(x), Some(y)) if x != y => what.push_str(&format!(", paid with {x} to {y},")),
            _ => {}
        }
    }
    let decimals = a.total_std_err.map_or(2, |e| wording::decimals_for(e).min(3));
    let bits = |v: f64| wording::fixed(v.abs(), decimals);
    let before = from.detail_bits_px.map_or(0.0, |m| m.value);
    let share =
        if before > 0.0 { wording::per_cent((a.total / before).abs()) } else { String::new() };
    let total = match a.total_std_err {
        Some(e) => format!("{} ± {}", bits(a.total), wording::fixed(e, decimals)),
        None => bits(a.total),
    };
    let lost = if a.total < 0.0 { "cost" } else { "gained" };
    if a.cost_more == CostMore::NothingLost {
        return if a.total > 0.0 {
            format!("{what} gained {total} bit/px ({share}).")
        } else {
            format!("{what} cost no measurable detail ({total} bit/px).")
        };
    }
    let part = |v: f64| if v < 0.0 { format!("−{}", bits(v)) } else { format!("+{}", bits(v)) };
    let verdict = match a.cost_more {
        // At one aperture a change of sharpness is movement, focus or rendering.
        CostMore::Optics if same_aperture => "Lost sharpness cost more",
        CostMore::Optics => "The aperture cost more",
        CostMore::Noise => "The noise cost more",
        CostMore::AboutEqual => "Both cost about the same",
        CostMore::CannotSeparate | CostMore::NothingLost => "Which cost more cannot be separated",
    };
    let whose = if same_aperture { "a change of sharpness" } else { "the aperture's" };
    let by = match a.protocol {
        Protocol::FourCorners => " (measured on four corners)",
        _ => "",
    };
    format!(
        "{what} {lost} {total} bit/px ({share}): {} is {whose} ({} to {}), {} the noise's. \
         {verdict}{by}.",
        part(a.optics),
        part(a.low),
        part(a.high),
        part(a.noise),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::record::BestAperture;
    use crate::core::Measured;
    use crate::report::sentences::{check, paragraph};

    fn change(cost_more: CostMore) -> AttributionRecord {
        AttributionRecord {
            from: 0,
            to: 1,
            protocol: Protocol::FourCorners,
            total: -0.21,
            total_std_err: Some(0.03),
            optics: -0.15,
            noise: -0.06,
            low: -0.18,
            high: -0.12,
            cost_more,
            message: "Closing from f/8 to f/11 cost 0.21 ± 0.03 bit/px.".to_owned(),
        }
    }

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let m = |value| Measured::new(value, value / 10.0, 40).unwrap();
        let best = |interior, working_f_number| BestAperture {
            f_number: 11.0,
            working_f_number,
            interior,
            depth_mm: None,
        };
        let at_step =
            |value, step: &str| EdgeAtStep { mtf50_cy_px: m(value), step: step.to_owned() };
        let edge = |is_given, worst| CompareFinding::Edge {
            at: (0.5, 0.4),
            is_given,
            best_and_worst: (at_step(0.31, "f/8"), worst),
        };
        let light = |stops| SeriesCaution::OtherLight { step: "f/11".to_owned(), stops };
        let detail = |finest_um| CompareFinding::MostDetail {
            step: "f/8".to_owned(),
            bits_px: Some(m(1.9)),
            finest_um,
        };
        let depth = |best| CompareFinding::BestForDepth { depth_mm: 1.5, best };
        check(&[
            CompareFinding::Inseparable { reason: "single frames".to_owned() },
            detail(None),
            detail(Some(m(12.0))),
            CompareFinding::Change(change(CostMore::Optics)),
            CompareFinding::AlwaysCosts { more: CostMore::Optics },
            CompareFinding::AlwaysCosts { more: CostMore::Noise },
            CompareFinding::CostsFrom { f_number: 11.0, more: CostMore::Optics },
            CompareFinding::BestInPlane(best(true, Some(22.0))),
            CompareFinding::BestInPlane(best(false, None)),
            depth(best(true, Some(22.0))),
            depth(best(false, None)),
            CompareFinding::DepthNeedsMagnification,
            edge(true, None),
            edge(false, Some(at_step(0.2, "f/22"))),
            CompareFinding::NoEdge { at: (0.5, 0.4), reason: "it is clipped".to_owned() },
            CompareFinding::Confounded(Confounded::Shutter),
            CompareFinding::Confounded(Confounded::Flash),
        ]);
        check(
            &[
                SeriesCaution::NoiseReduced,
                SeriesCaution::Moved { shift_px: 2.1, turn_deg: 0.04 },
                SeriesCaution::Aliased { f_numbers: vec![4.0, 5.6] },
                SeriesCaution::Scaled { share: 0.004 },
                SeriesCaution::RepeatsDiffer { step: "f/8".to_owned(), share: 0.12 },
                light(0.7),
                light(-0.7),
                SeriesCaution::UnequalLight { stops: 1.4 },
                SeriesCaution::NoMagnification,
            ]
            .map(CompareFinding::Caution),
        );
        let text = Medium::ALL
            .map(|m| paragraph(&CompareFinding::Caution(SeriesCaution::NoMagnification), m));
        assert!(text[0].ends_with("working f-numbers. Give it with --magnification or --rig."));
        assert!(text[1].ends_with("Give it, or name a rig that has one."), "{}", text[1]);
        assert!(
            paragraph(&CompareFinding::Caution(light(-0.7)), Medium::Report)
                .contains("the picture is 0.7 stops darker")
        );
    }
}
