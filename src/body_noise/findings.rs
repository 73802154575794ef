//! What the rows of a body say in sentences.

use crate::body_noise::record::{IsoNoise, NoiseMethod};
use crate::report::parts::{Finding, FrameSource};
use crate::report::wording;

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

pub(super) fn all(isos: &[IsoNoise], steps: &[u32]) -> Vec<Finding> {
    let mut found = Vec::new();
    for iso in steps {
        found.push(Finding {
            says: format!(
                "At ISO {iso} the sensor switches to a second, higher gain of its own: read noise \
                 falls there more than an amplifier could make it."
            ),
            next: Some(format!("When light is short, ISO {iso} is better than one just below.")),
        });
    }
    found.extend(floor(isos));
    let bounds: Vec<String> = isos
        .iter()
        .filter(|r| r.method == NoiseMethod::UpperBound)
        .filter_map(|r| Some(r.iso?.to_string()))
        .collect();
    if !bounds.is_empty() {
        found.push(Finding {
            says: format!(
                "ISO {}: no frame has enough flat places, so noise is at most what is shown.",
                bounds.join(", ")
            ),
            next: Some(
                "Take two frames of a still, defocused surface at that ISO with equal settings."
                    .to_owned(),
            ),
        });
    }
    if isos.iter().all(|r| r.source == FrameSource::Rendered) {
        found.push(Finding {
            says: "Only rendered files: this is the noise that the camera's rendering leaves, \
                   after its tone curve and noise reduction."
                .to_owned(),
            next: Some("For gain and read noise give raw files.".to_owned()),
        });
    }
    found
}

/// From which ISO on read noise is as low as it gets.
fn floor(isos: &[IsoNoise]) -> Option<Finding> {
    let known: Vec<(u32, f64)> = isos
        .iter()
        .filter(|r| r.method == NoiseMethod::Pair && r.source == FrameSource::Raw)
        .filter_map(|r| Some((r.iso?, r.read_noise_e?.value)))
        .collect();
    let lowest = known.iter().map(|k| k.1).reduce(f64::min)?;
    let (iso, read) = *known.iter().find(|k| k.1 <= FLOOR * lowest)?;
    let last = known.last()?.0;
    (iso < last).then(|| Finding {
        says: format!(
            "From ISO {iso} on read noise is as low as it gets ({} e): a higher ISO makes the \
             shadows no cleaner.",
            wording::number(read)
        ),
        next: Some(format!(
            "In raw, ISO {iso} brightened afterwards equals a higher ISO and clips later."
        )),
    })
}
