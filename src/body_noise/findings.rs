//! What is found of a body, and what can be done about it: numbers, no sentences. Those are in
//! `sentences.rs`.

use crate::body_noise::record::{IsoNoise, NoiseMethod};
use crate::report::parts::FrameSource;
use serde::Serialize;

/// A step of the read noise counts when its fall per stop exceeds that of the step before by this
/// many stops: behind one amplifier the fall only ever shrinks as ISO rises.
const STEP_STEEPER: f64 = 0.3;
/// And when read noise falls at least by this factor.
const STEP_FALLS: f64 = 1.3;
/// Errors by which the excess must stand out.
const STEP_SURE: f64 = 2.0;
/// Read noise within this factor of its lowest is as low as it gets.
const FLOOR: f64 = 1.15;

/// ISO settings at which read noise falls as no single amplifier's would (a second conversion gain
/// in the pixels).
pub(super) fn gain_steps(isos: &[IsoNoise]) -> Vec<u32> {
    let known: Vec<(f64, f64, f64)> = isos
        .iter()
        .filter(|r| r.source == FrameSource::Raw && r.method == NoiseMethod::Pair)
        .filter_map(|r| {
            let read = r.read_noise_e?;
            Some((f64::from(r.iso?), read.value, read.std_err? / read.value))
        })
        .collect();
    known
        .windows(3)
        .filter_map(|w| {
            let [a, b, c] = w else { return None };
            let stops = |x: f64, y: f64| (y / x).log2();
            let fall = |x: &(f64, f64, f64), y: &(f64, f64, f64)| stops(y.1, x.1) / stops(x.0, y.0);
            let (before, here) = (fall(a, b), fall(b, c));
            let err = (a.2 * a.2 + 4.0 * b.2 * b.2 + c.2 * c.2).sqrt()
                / std::f64::consts::LN_2
                / stops(b.0, c.0);
            let excess = here - before.max(0.0);
            let sure = excess > STEP_STEEPER && excess > STEP_SURE * err && b.1 / c.1 > STEP_FALLS;
            sure.then_some(c.0 as u32)
        })
        .collect()
}

/// What is found of a body.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum NoiseFinding {
    /// The sensor switches to a second conversion gain.
    GainStep {
        /// ISO from which it does.
        iso: u32,
    },
    /// Read noise gets no lower.
    ReadNoiseFloor {
        /// ISO from which it does not.
        iso: u32,
        /// Read noise there, electrons.
        read_noise_e: f64,
    },
    /// Only an upper bound of the noise is known.
    OnlyBounds {
        /// ISO settings.
        isos: Vec<u32>,
    },
    /// Only rendered files were given.
    OnlyRendered,
}

/// What can be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoiseAdvice {
    /// Prefer an ISO to one just below.
    Prefer {
        /// That ISO.
        iso: u32,
    },
    /// Brighten raw files afterwards.
    BrightenAfterwards {
        /// From that ISO.
        iso: u32,
    },
    /// Take a pair of flat frames.
    TakePair,
    /// Give raw files.
    GiveRaw,
}

impl NoiseFinding {
    /// What to do about it.
    pub fn advice(&self) -> NoiseAdvice {
        match self {
            NoiseFinding::GainStep { iso } => NoiseAdvice::Prefer { iso: *iso },
            NoiseFinding::ReadNoiseFloor { iso, .. } => {
                NoiseAdvice::BrightenAfterwards { iso: *iso }
            }
            NoiseFinding::OnlyBounds { .. } => NoiseAdvice::TakePair,
            NoiseFinding::OnlyRendered => NoiseAdvice::GiveRaw,
        }
    }
}

pub(super) fn all(isos: &[IsoNoise], steps: &[u32]) -> Vec<NoiseFinding> {
    let mut found: Vec<NoiseFinding> =
        steps.iter().map(|iso| NoiseFinding::GainStep { iso: *iso }).collect();
    found.extend(floor(isos));
    let bounds = isos.iter().filter(|r| r.method == NoiseMethod::UpperBound);
    let bounds: Vec<u32> = bounds.filter_map(|r| r.iso).collect();
    if !bounds.is_empty() {
        found.push(NoiseFinding::OnlyBounds { isos: bounds });
    }
    if isos.iter().all(|r| r.source == FrameSource::Rendered) {
        found.push(NoiseFinding::OnlyRendered);
    }
    found
}

/// From which ISO on read noise is as low as it gets.
fn floor(isos: &[IsoNoise]) -> Option<NoiseFinding> {
    let known: Vec<(u32, f64)> = isos
        .iter()
        .filter(|r| r.method == NoiseMethod::Pair && r.source == FrameSource::Raw)
        .filter_map(|r| Some((r.iso?, r.read_noise_e?.value)))
        .collect();
    let lowest = known.iter().map(|k| k.1).reduce(f64::min)?;
    let (iso, read_noise_e) = *known.iter().find(|k| k.1 <= FLOOR * lowest)?;
    let last = known.last()?.0;
    (iso < last).then_some(NoiseFinding::ReadNoiseFloor { iso, read_noise_e })
}
