//! What to know of a scale, and what can be done about it: numbers, no sentences. Those are in
//! `sentences.rs`.

use crate::core::ValueSource;
use crate::ruler::reading::RulerReading;
use crate::ruler::record::ScaleRecord;
use crate::store::equipment::{self, RigLack};
use crate::store::rig::Rig;
use serde::Serialize;

/// Ticks from this far apart on may be every second one of half millimetres, mm.
const HALF_TICKS_FROM_MM: f64 = 0.75;

/// What to know of a scale.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum ScaleFinding {
    /// The distance of the ticks was assumed.
    TicksAssumed {
        /// That distance, mm.
        ticks_mm: f64,
    },
    /// Every second tick is longer.
    MaybeHalfMillimetres,
    /// The scale changes along the ruler.
    ChangesAlong {
        /// Change over the frame, share.
        change: f64,
    },
    /// The scale changes across the ruler.
    ChangesAcross {
        /// Change over the frame, share.
        change: f64,
    },
    /// The pixel pitch is missing.
    NoPixelPitch,
    /// The rig leaves working f-numbers open.
    RigIncomplete(RigLack),
    /// The pupil ratio was assumed.
    PupilRatioAssumed,
    /// The table is that of a bare lens.
    BareLens,
}

/// What can be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScaleAdvice {
    /// Give the distance of the ticks.
    GiveTicks,
    /// Say that the ticks are half millimetres.
    GiveHalfTicks,
    /// Lay the ruler flat.
    LayFlat,
    /// Give the pixel pitch.
    GivePixelPitch,
    /// Complete the rig.
    CompleteRig(RigLack),
    /// Give the pupil ratio.
    GivePupilRatio,
    /// Name a rig.
    NameRig,
}

impl ScaleFinding {
    /// What to do about it.
    pub fn advice(self) -> ScaleAdvice {
        match self {
            ScaleFinding::TicksAssumed { .. } => ScaleAdvice::GiveTicks,
            ScaleFinding::MaybeHalfMillimetres => ScaleAdvice::GiveHalfTicks,
            ScaleFinding::ChangesAlong { .. } | ScaleFinding::ChangesAcross { .. } => {
                ScaleAdvice::LayFlat
            }
            ScaleFinding::NoPixelPitch => ScaleAdvice::GivePixelPitch,
            ScaleFinding::RigIncomplete(lack) => ScaleAdvice::CompleteRig(lack),
            ScaleFinding::PupilRatioAssumed => ScaleAdvice::GivePupilRatio,
            ScaleFinding::BareLens => ScaleAdvice::NameRig,
        }
    }
}

/// What to know of a scale, in the order in which it is told.
pub(super) fn findings(
    record: &ScaleRecord,
    reading: &RulerReading,
    rig: Option<&Rig>,
) -> Vec<ScaleFinding> {
    let mut found = Vec::new();
    let ticks_mm = record.ticks_mm.value;
    if record.ticks_mm.from == ValueSource::Assumed {
        found.push(ScaleFinding::TicksAssumed { ticks_mm });
    }
    if reading.every_second_longer && ticks_mm > HALF_TICKS_FROM_MM {
        found.push(ScaleFinding::MaybeHalfMillimetres);
    }
    found.extend(reading.change_along.map(|change| ScaleFinding::ChangesAlong { change }));
    found.extend(reading.change_across.map(|change| ScaleFinding::ChangesAcross { change }));
    if record.magnification.is_none() {
        found.push(ScaleFinding::NoPixelPitch);
    } else if let Some(rig) = rig.filter(|_| record.depths.is_empty()) {
        found.push(ScaleFinding::RigIncomplete(equipment::missing(rig)));
    } else if record.pupil_ratio.from == ValueSource::Assumed {
        found.push(ScaleFinding::PupilRatioAssumed);
    }
    if rig.is_none() && !record.depths.is_empty() {
        found.push(ScaleFinding::BareLens);
    }
    found
}
