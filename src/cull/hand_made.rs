//! Bursts put together by hand, for tests of what is decided about them.

use super::burst_verdict::{BurstVerdict, FrameVerdict};
use crate::core::FlagSet;
use crate::report::parts::SubjectFound;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::blur::S1_SQUARED;
use crate::sharpness::focus_map::{FocusMap, Tile};
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::subject_blur::{Attainable, Reached};

/// Energy of edges of a blur: falls with the third power of the width.
pub fn energy_at(px: f64) -> f64 {
    1000.0 * ((1.0 + S1_SQUARED[1]) / (px * px + S1_SQUARED[1])).powf(1.5)
}

/// A subject with edges of a blur, well lit.
pub fn subject(px: f64) -> SubjectBox {
    let tile = Tile::Blur { sigma_px: px as f32, std_err_px: 0.02 };
    SubjectBox {
        tile,
        blur: tile,
        energy: energy_at(px),
        energy_std_err: 0.01 * energy_at(px),
        dense_energy: 0.5 * energy_at(px),
        noise_share: 0.1,
        mean_dn: 120.0,
        clipped: 0.0,
        profiles: Default::default(),
        direction_level: 0,
        spectrum: None,
        rings: None,
        flags: FlagSet::EMPTY,
    }
}

pub fn empty_map() -> FocusMap {
    FocusMap { cols: 0, rows: 0, tiles: vec![], corrected_tiles: vec![], lap_var: vec![] }
}

/// A marked burst that reached focus; the first subject leads.
pub fn burst(subjects: Vec<SubjectBox>) -> BurstVerdict {
    let frames: Vec<FrameVerdict> =
        subjects.into_iter().map(|s| FrameVerdict::unjudged(Some(s))).collect();
    BurstVerdict {
        maps: vec![empty_map(); frames.len()],
        frames,
        best: None,
        found: SubjectFound::Marked,
        noise: BandNoise::white(1.0),
        noise_seen: true,
        reference_px: None,
        best_is_soft: false,
        is_shaken: false,
        reached: Reached::Yes,
        blur: None,
        other: None,
    }
}

/// What a usual setting allows.
pub const F8: Attainable = Attainable { sigma_px: 1.0, cutoff_cy_px: 0.4, flash: false };
