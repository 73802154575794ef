//! What a series shows, and what can be done about it: numbers and names, no sentences. Those are
//! in `sentences.rs`.

use super::CompareJob;
use crate::compare::record::{
    AttributionRecord, BestAperture, CompareRecord, CostMore, StepAxis, StepRecord, step_name,
};
use crate::compare::series::{Confounded, StepSeries, SteppedSetting};
use crate::core::{Flag, Measured};
use crate::report::parts::FrameSource;
use serde::Serialize;

/// Movement that is worth a word, px.
const MOVED_PX: f64 = 0.5;
/// Change of scale that is worth a word, share.
const SCALED: f64 = 0.0015;
/// Difference between light as set and as measured that is worth a word, stops: raw, rendered
/// (whose tone curve is not known).
const LIGHT_STOPS: (f64, f64) = (0.3, 0.6);
/// Repeats that differ by more than this share of their detail did not show the same.
const REPEATS_DIFFER: f64 = 0.08;

/// What a series shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum CompareFinding {
    /// The costs of aperture and noise could not be separated.
    Inseparable {
        /// Why.
        reason: String,
    },
    /// The step with the most detail.
    MostDetail {
        /// Its name.
        step: String,
        /// Detail, bits per pixel.
        bits_px: Option<Measured>,
        /// Finest lines on the subject, µm.
        finest_um: Option<Measured>,
    },
    /// The cost of one change, which the record holds with its sentence.
    Change(AttributionRecord),
    /// One of aperture and noise costs more at every step.
    AlwaysCosts {
        /// That one.
        more: CostMore,
    },
    /// From a step on, the other one costs more.
    CostsFrom {
        /// Marked f-number of the step.
        f_number: f64,
        /// The one that costs more from there on.
        more: CostMore,
    },
    /// The aperture with the most detail in the plane of focus.
    BestInPlane(BestAperture),
    /// The best aperture for a depth.
    BestForDepth {
        /// The depth, mm.
        depth_mm: f64,
        /// The aperture.
        best: BestAperture,
    },
    /// A depth was asked for, and the magnification is missing.
    DepthNeedsMagnification,
    /// The straight edge could be measured.
    Edge {
        /// Its middle, fractions of the picture.
        at: (f64, f64),
        /// Whether its place was given.
        is_given: bool,
        /// MTF50 in cycles per pixel with the step's name: the best, and the worst of several.
        best_and_worst: (EdgeAtStep, Option<EdgeAtStep>),
    },
    /// The straight edge could not be measured.
    NoEdge {
        /// Its middle, fractions of the picture.
        at: (f64, f64),
        /// Why.
        reason: String,
    },
    /// Something else changed with the aperture.
    Confounded(Confounded),
    /// What makes the comparison itself shaky.
    Caution(SeriesCaution),
}

/// What makes a comparison shaky.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum SeriesCaution {
    /// The camera's noise reduction widens the intervals.
    NoiseReduced,
    /// Frames moved.
    Moved {
        /// Greatest shift, px.
        shift_px: f64,
        /// Greatest turn, degrees.
        turn_deg: f64,
    },
    /// Detail finer than the pixels is aliased.
    Aliased {
        /// Marked f-numbers of the steps.
        f_numbers: Vec<f64>,
    },
    /// The scale changed from frame to frame.
    Scaled {
        /// Greatest change, share.
        share: f64,
    },
    /// Repeats of a step differ.
    RepeatsDiffer {
        /// Name of the step.
        step: String,
        /// Difference over its detail.
        share: f64,
    },
    /// A picture got other light than its settings give.
    OtherLight {
        /// Name of the step.
        step: String,
        /// Stops more than the settings give.
        stops: f64,
    },
    /// Steps differ in brightness.
    UnequalLight {
        /// Range, stops.
        stops: f64,
    },
    /// Working f-numbers need the magnification.
    NoMagnification,
}

/// Sharpness of the edge at one step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeAtStep {
    /// MTF50, cycles per pixel.
    pub mtf50_cy_px: Measured,
    /// Name of the step.
    pub step: String,
}

/// What can be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CompareAdvice {
    /// Take four corners or pairs of raw frames.
    TakeFourCornersOrPairs,
    /// Go on with the series.
    ExtendSeries,
    /// Give the magnification.
    GiveMagnification,
    /// For what the edge may be used.
    EdgeUse,
    /// What gives exact intervals.
    FourCornersAreExact,
    /// Use a stand against false detail.
    StandAgainstAliasing,
    /// Use a stand and leave the focus.
    StandAndFocusOnce,
    /// Take a step again.
    RepeatStep,
}

impl CompareFinding {
    /// What to do about it.
    pub fn advice(&self) -> Option<CompareAdvice> {
        match self {
            CompareFinding::Inseparable { .. } => Some(CompareAdvice::TakeFourCornersOrPairs),
            CompareFinding::BestInPlane(best) => {
                (!best.interior).then_some(CompareAdvice::ExtendSeries)
            }
            CompareFinding::DepthNeedsMagnification => Some(CompareAdvice::GiveMagnification),
            CompareFinding::Edge { .. } | CompareFinding::NoEdge { .. } => {
                Some(CompareAdvice::EdgeUse)
            }
            CompareFinding::Caution(caution) => caution.advice(),
            CompareFinding::MostDetail { .. }
            | CompareFinding::Change(_)
            | CompareFinding::AlwaysCosts { .. }
            | CompareFinding::CostsFrom { .. }
            | CompareFinding::BestForDepth { .. }
            | CompareFinding::Confounded(_) => None,
        }
    }
}

impl SeriesCaution {
    /// What to do about it.
    pub fn advice(&self) -> Option<CompareAdvice> {
        match self {
            SeriesCaution::NoiseReduced => Some(CompareAdvice::FourCornersAreExact),
            SeriesCaution::Aliased { .. } => Some(CompareAdvice::StandAgainstAliasing),
            SeriesCaution::Scaled { .. } => Some(CompareAdvice::StandAndFocusOnce),
            SeriesCaution::RepeatsDiffer { .. } => Some(CompareAdvice::RepeatStep),
            SeriesCaution::NoMagnification => Some(CompareAdvice::GiveMagnification),
            SeriesCaution::Moved { .. }
            | SeriesCaution::OtherLight { .. }
            | SeriesCaution::UnequalLight { .. } => None,
        }
    }
}

/// Every finding, the most important first.
pub(super) fn all(
    record: &CompareRecord,
    series: &StepSeries,
    job: &CompareJob,
    noise_reduced: bool,
) -> Vec<CompareFinding> {
    let mut found = Vec::new();
    found.extend(record.refused.clone().map(|reason| CompareFinding::Inseparable { reason }));
    let best = record.best_step.and_then(|i| record.steps.get(i));
    found.extend(best.map(|best| CompareFinding::MostDetail {
        step: step_name(best, record.axis),
        bits_px: best.detail_bits_px,
        finest_um: best.finest_um,
    }));
    let shown = |a: &&AttributionRecord| a.to == a.from + 1 || record.axis == StepAxis::FourCorners;
    found.extend(record.attributions.iter().filter(shown).cloned().map(CompareFinding::Change));
    found.extend(turning_point(record));
    found.extend(record.best_aperture.map(CompareFinding::BestInPlane));
    found.extend(job.depth_mm.map(|depth_mm| match record.best_for_depth {
        Some(best) => CompareFinding::BestForDepth { depth_mm, best },
        None => CompareFinding::DepthNeedsMagnification,
    }));
    found.extend(edge(record));
    found.extend(series.confounded.iter().copied().map(CompareFinding::Confounded));
    found.extend(shaky(record, noise_reduced).into_iter().map(CompareFinding::Caution));
    found
}

/// What makes the comparison itself shaky.
fn shaky(record: &CompareRecord, noise_reduced: bool) -> Vec<SeriesCaution> {
    let mut found = Vec::new();
    if noise_reduced && record.refused.is_none() {
        found.push(SeriesCaution::NoiseReduced);
    }
    let moved = &record.moved;
    if moved.shift_px > MOVED_PX {
        found.push(SeriesCaution::Moved { shift_px: moved.shift_px, turn_deg: moved.turn_deg });
    }
    let aliased = |s: &&StepRecord| s.detail_bits_px.is_some_and(|m| m.flags.has(Flag::Aliased));
    let f_numbers: Vec<f64> = record.steps.iter().filter(aliased).map(|s| s.f_number).collect();
    if !f_numbers.is_empty() {
        found.push(SeriesCaution::Aliased { f_numbers });
    }
    if moved.scale > SCALED {
        found.push(SeriesCaution::Scaled { share: moved.scale });
    }
    for step in &record.steps {
        let Some(detail) = step.detail_bits_px else { continue };
        let low = step.repeats_bits_px.iter().copied().fold(f64::INFINITY, f64::min);
        let high = step.repeats_bits_px.iter().copied().fold(0.0, f64::max);
        if low.is_finite() && high - low > REPEATS_DIFFER * detail.value {
            found.push(SeriesCaution::RepeatsDiffer {
                step: step_name(step, record.axis),
                share: (high - low) / detail.value,
            });
        }
    }
    light(record, &mut found);
    if record.magnification.is_none() && record.axis == StepAxis::Aperture {
        found.push(SeriesCaution::NoMagnification);
    }
    found
}

/// Light that does not go with the settings, and steps that got unequal light.
fn light(record: &CompareRecord, found: &mut Vec<SeriesCaution>) {
    let limit = match record.source {
        FrameSource::Raw => LIGHT_STOPS.0,
        FrameSource::Rendered => LIGHT_STOPS.1,
    };
    let set = |s: &StepRecord| {
        SteppedSetting { f_number: s.f_number, iso: s.iso, shutter_s: s.shutter_s }
            .brightness_stops()
    };
    let Some(first) = record.steps.first() else { return };
    let off = |s: &StepRecord| Some(s.light_stops? - (set(s)? - set(first)?));
    let worst = record
        .steps
        .iter()
        .filter_map(|s| Some((s, off(s)?)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    if let Some((step, stops)) = worst
        && stops.abs() > limit
    {
        found.push(SeriesCaution::OtherLight { step: step_name(step, record.axis), stops });
    }
    let lights: Vec<f64> = record.steps.iter().filter_map(|s| s.light_stops).collect();
    let low = lights.iter().copied().fold(f64::INFINITY, f64::min);
    let high = lights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if record.axis == StepAxis::Aperture && high - low > 2.0 * limit {
        found.push(SeriesCaution::UnequalLight { stops: high - low });
    }
}

/// The straight edge, from its best step to its worst.
fn edge(record: &CompareRecord) -> Option<CompareFinding> {
    let edge = record.edge?;
    let at = (edge.x, edge.y);
    let seen = |s: &StepRecord| {
        let mtf50_cy_px = s.edge.as_ref()?.mtf50_cy_px?;
        Some(EdgeAtStep { mtf50_cy_px, step: step_name(s, record.axis) })
    };
    let mut steps: Vec<EdgeAtStep> = record.steps.iter().filter_map(seen).collect();
    if steps.is_empty() {
        let reason = record.steps.iter().find_map(|s| s.edge.as_ref()?.refused.clone())?;
        return Some(CompareFinding::NoEdge { at, reason });
    }
    steps.sort_by(|a, b| {
        let (a, b) = (a.mtf50_cy_px.value, b.mtf50_cy_px.value);
        b.partial_cmp(&a).unwrap_or(std::cmp::Ordering::Equal)
    });
    let worst = if steps.len() > 1 { steps.pop() } else { None };
    let best_and_worst = (steps.into_iter().next()?, worst);
    Some(CompareFinding::Edge { at, is_given: edge.given, best_and_worst })
}

/// From which stop on the aperture costs more than the noise, or the other way round.
fn turning_point(record: &CompareRecord) -> Option<CompareFinding> {
    if record.axis != StepAxis::Aperture {
        return None;
    }
    let sure: Vec<(usize, CostMore)> = record
        .attributions
        .iter()
        .filter(|a| a.to == a.from + 1)
        .map(|a| (a.to, a.cost_more))
        .filter(|(_, c)| matches!(c, CostMore::Optics | CostMore::Noise))
        .collect();
    let (first, last) = (sure.first()?, sure.last()?);
    if sure.iter().all(|s| s.1 == first.1) {
        return Some(CompareFinding::AlwaysCosts { more: first.1 });
    }
    let turned = sure.iter().position(|s| s.1 != first.1)?;
    if sure[turned..].iter().any(|s| s.1 != last.1) {
        return None;
    }
    let f_number = record.steps.get(sure[turned].0)?.f_number;
    Some(CompareFinding::CostsFrom { f_number, more: last.1 })
}
