//! Absolute blur at the subject in every frame of a burst, and whether any frame is in focus.
//!
//! A burst's best frame may still be out of focus, and edges cannot tell: on a regular pattern
//! (facets, scales) they read sharp whatever the blur. Two readings of the ring spectrum can:
//! the power of the finest rings over noise, which only a focused frame shows, and the posterior
//! of blur from [`spectral_blur`].

use crate::base::Flag;
use crate::base::units::{PitchUm, WavelengthUm};
use crate::measure::band_noise::{BandNoise, WHITE_GAINS};
use crate::measure::diffraction;
use crate::measure::focus_map::Tile;
use crate::measure::noise::RenderedNoise;
use crate::measure::ring_spectrum::{self, RING_COUNT};
use crate::measure::spectral_blur::{self, EdgeBlur, Posterior, Reading};
use crate::measure::subject::SubjectBox;
use crate::measure::transfer_family::TransferFamily;
use crate::report::record::BlurBy;

/// Fine power over noise below which a frame shows nothing fine. Over six simulated days frames
/// whose focus never reached an eye of facets stayed at or below 1.87, true hits at or above 2.2.
pub const MIN_FINE: f64 = 2.0;
/// Fine power over noise from which a frame is not soft, whatever its edges read.
pub const SURE_FINE: f64 = 3.0;
/// Probability from which a burst's sharpest frame counts as soft.
const SOFT_PROBABILITY: f64 = 0.7;
/// The same for a subject with a pattern that shows little fine power.
const SOFT_PATTERN: f64 = 0.4;
/// Fine power over noise that an ordinary subject in focus must show before its absence says
/// anything.
const VISIBLE_FINE: f64 = 4.0;
/// Ranking energy at the subject from which a pattern is in focus, whatever the noise was taken
/// for: dense texture can be mistaken for noise. Nine simulated days: bursts that never reached
/// focus at most 5,100, others at least 76,000.
const SHARP_ENERGY: f64 = 12_000.0;
/// A sharpest frame below this is never soft, px.
pub const SOFT_FLOOR_PX: f64 = 2.0;
/// A sharpest frame this many times softer than its settings allow is soft.
const SOFT_RATIO: f64 = 2.0;
/// Rise of the spectrum from which the subject shows a regular pattern, ln: facets reach 1.4,
/// 189 photographs without them stay below 0.35.
const PATTERN_RISE_LN: f64 = 0.8;
/// Least error of what edges read, ln: scatter against known blur over 168 pictures made from
/// real photographs.
const EDGE_ERROR_LN: f64 = 0.28;
/// Edges and spectrum that differ by more than this, ln, do not read the same thing.
const DISAGREE_LN: f64 = 0.47;
/// Noise of a frame's own spectrum over that of the finest focus band above which it is texture.
/// On camera files the two agree within a fifth over the fine rings.
const BAND_MARGIN: f64 = 1.3;
/// What the posterior does not contain: subject depth inside the box, the lens's own aberrations,
/// the magnification taken for granted; ln.
const MODEL_SD_LN: f64 = 0.13;
/// Share of the probability that the stated range holds.
const RANGE_SHARE: f64 = 0.68;

/// What the settings of a frame can give at best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attainable {
    /// Blur from diffraction and the pixel, px.
    pub sigma_px: f64,
    /// Diffraction cutoff, cycles per pixel.
    pub cutoff_cy_px: f64,
    /// Whether flash may have lit the frame: only then can a sharp image lie over a smeared one.
    pub flash: bool,
}

impl Attainable {
    /// At a working f-number; flash is not ruled out.
    pub fn new(n_eff: f64, pitch: PitchUm, light: WavelengthUm) -> Attainable {
        Attainable {
            sigma_px: diffraction::sigma_settings_px(n_eff, pitch, light),
            cutoff_cy_px: diffraction::cutoff_cy_px(n_eff, pitch, light),
            flash: true,
        }
    }
}

/// Blur with the range that holds 68 % of the probability, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlurRange {
    /// Blur.
    pub sigma_px: f64,
    /// Lower end.
    pub low_px: f64,
    /// Upper end.
    pub high_px: f64,
    /// What it was read from.
    pub by: BlurBy,
}

/// Whether a burst reached focus at its subject.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reached {
    /// At least one frame shows fine structure.
    Yes,
    /// No frame does, and the blur is wide beyond doubt.
    No,
    /// The optics, the noise or a smooth subject leave nothing fine to look for: edges decide.
    Unknown,
}

/// Blur of a burst's frames.
#[derive(Debug, Clone, PartialEq)]
pub struct SubjectBlur {
    /// The frame that the others are compared with.
    pub anchor: usize,
    /// Blur of that frame.
    pub anchor_range: BlurRange,
    /// Fine power over noise per frame.
    pub fine: Vec<Option<f64>>,
    /// Frequency of the subject's regular pattern, cycles per pixel, where it shows one.
    pub pattern_cy_px: Option<f64>,
    /// Fine power over noise that an ordinary subject in focus would show.
    pub expected_fine: Option<f64>,
    /// Probability that the anchor is soft.
    pub soft: f64,
    /// Whether any frame is in focus.
    pub reached: Reached,
}

/// Reads the blur of a burst's frames from their subject boxes. `noise` is each frame's own, `bands`
/// the burst's in the focus bands, `attainable` what the settings of the burst allow. `None` where
/// no frame has a spectrum or the noise is not known.
pub fn subject_blur(
    boxes: &[Option<SubjectBox>],
    noise: &[Option<&RenderedNoise>],
    bands: &BandNoise,
    attainable: Option<Attainable>,
) -> Option<SubjectBlur> {
    let readings = readings(boxes, noise, bands);
    let family = TransferFamily::new(attainable.map(|a| a.cutoff_cy_px));
    let fine: Vec<Option<f64>> = readings
        .iter()
        .map(|r| r.as_ref()?.rings.fine_over_noise(&r.as_ref()?.noise, family.cutoff_cy_px))
        .collect();
    let anchor = spectral_blur::anchor(&readings)?;
    // A frame without a flat place knows its noise only from above, and detail would drown in it.
    if noise[anchor].is_some_and(|n| n.flags.has(Flag::AllTexture)) {
        return None;
    }
    let first = readings[anchor].as_ref()?;
    // The scene is the same in every frame, so one that shows a pattern speaks for all.
    let rises = readings.iter().flatten().map(|r| r.rings.pattern(&r.noise));
    let pattern = rises.max_by(|a, b| a.rise_ln.total_cmp(&b.rise_ln));
    let pattern_cy_px = pattern.filter(|p| p.rise_ln > PATTERN_RISE_LN).map(|p| p.cy_px);
    let pattern = pattern_cy_px.is_some();
    let edge = (!pattern).then(|| edge_blur(boxes[anchor].as_ref()?)).flatten();
    let edge = edge.map(|e| against_spectrum(e, first, &family));
    let own = spectral_blur::blur(first, &family, edge)?.widened(MODEL_SD_LN, &family);
    let soft_px =
        attainable.map_or(SOFT_FLOOR_PX, |a| (SOFT_RATIO * a.sigma_px).max(SOFT_FLOOR_PX));
    let soft = own.above(soft_px);
    let finest = fine.iter().flatten().copied().max_by(f64::total_cmp);
    let expected_fine = spectral_blur::expected_fine_over_noise(first, &family);
    let visible = expected_fine.is_some_and(|expected| expected > VISIBLE_FINE);
    let energy = boxes.iter().flatten().map(|b| b.energy).fold(0.0, f64::max);
    let finest = finest.filter(|f| visible || *f >= SURE_FINE);
    let reached = reached(finest, soft, energy, pattern);
    Some(SubjectBlur {
        anchor,
        anchor_range: range(&own, if edge.is_some() { BlurBy::Edges } else { BlurBy::Pattern }),
        fine,
        pattern_cy_px,
        expected_fine,
        soft,
        reached,
    })
}

/// Whether any frame is in focus: from the finest power over noise in the burst, the probability
/// that its sharpest frame is soft, the largest energy, and whether the subject shows a pattern.
fn reached(finest: Option<f64>, soft: f64, energy: f64, pattern: bool) -> Reached {
    if finest.is_some_and(|f| f >= SURE_FINE) || pattern && energy >= SHARP_ENERGY {
        return Reached::Yes;
    }
    if !pattern {
        // Edges mean what they read here.
        return if soft > SOFT_PROBABILITY { Reached::No } else { Reached::Unknown };
    }
    match finest {
        None if soft > SOFT_PROBABILITY => Reached::No,
        None => Reached::Unknown,
        // A pattern in focus has fine rims.
        Some(finest) if finest < MIN_FINE => Reached::No,
        Some(_) if soft > SOFT_PATTERN => Reached::No,
        Some(_) => Reached::Yes,
    }
}

fn range(posterior: &Posterior, by: BlurBy) -> BlurRange {
    let (low_px, high_px) = posterior.range_px(RANGE_SHARE);
    let sigma_px = posterior.quantile_px(0.5).clamp(low_px, high_px);
    BlurRange { sigma_px, low_px, high_px, by }
}

/// Spectra with their noise. Texture only adds to what a frame reads as noise, so no frame is
/// given more noise than the middle one of its burst, nor much more than the focus bands hold:
/// those know the quietest frame.
fn readings(
    boxes: &[Option<SubjectBox>],
    noise: &[Option<&RenderedNoise>],
    bands: &BandNoise,
) -> Vec<Option<Reading>> {
    let own: Vec<Option<Reading>> = boxes
        .iter()
        .zip(noise)
        .map(|(b, n)| {
            let rings = b.as_ref()?.rings?;
            let noise = ring_spectrum::noise_in_rings((*n)?, rings.mean_dn)?;
            let band = bands.levels[0].n1.at(rings.mean_dn as f32) / WHITE_GAINS[0][0];
            let over = BAND_MARGIN * band / ring_spectrum::fine_mean(&noise);
            Some(Reading { rings, noise: noise.map(|n| n * over.min(1.0)) })
        })
        .collect();
    let usual: [f64; RING_COUNT] = std::array::from_fn(|r| {
        let mut all: Vec<f64> = own.iter().flatten().map(|o| o.noise[r]).collect();
        crate::base::stats::median(&mut all).unwrap_or(f64::INFINITY)
    });
    let capped =
        |o: Reading| Reading { noise: std::array::from_fn(|r| o.noise[r].min(usual[r])), ..o };
    own.into_iter().map(|o| o.map(capped)).collect()
}

fn edge_blur(subject: &SubjectBox) -> Option<EdgeBlur> {
    let Tile::Blur { sigma_px, std_err_px } = subject.blur else { return None };
    let sigma_px = f64::from(sigma_px);
    Some(EdgeBlur { sigma_px, error_ln: (f64::from(std_err_px) / sigma_px).max(EDGE_ERROR_LN) })
}

/// What edges read, made as unsure as the spectrum's disagreement with it demands. Thin lines and
/// dots read differently from edges, and neither reading is right there.
fn against_spectrum(edge: EdgeBlur, first: &Reading, family: &TransferFamily) -> EdgeBlur {
    let Some(spectrum_ln) = spectral_blur::alone(first, family).map(|p| p.ln().0) else {
        return edge;
    };
    let apart = spectrum_ln - edge.sigma_px.ln();
    if apart.abs() <= DISAGREE_LN {
        return edge;
    }
    EdgeBlur {
        sigma_px: edge.sigma_px * (apart / 2.0).exp(),
        error_ln: edge.error_ln.max(apart.abs() / 2.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn focus_is_reached_or_not_on_either_side_of_every_threshold() {
        use Reached::{No, Unknown, Yes};
        let dim = SHARP_ENERGY - 1.0;
        for (finest, soft, energy, pattern, expected) in [
            // Nothing fine could be seen: only a blur wide beyond doubt decides.
            (None, SOFT_PROBABILITY + 0.01, dim, true, No),
            (None, SOFT_PROBABILITY - 0.01, dim, true, Unknown),
            // Fine power beyond doubt forbids "soft", whatever the posterior; so does energy.
            (Some(SURE_FINE), 0.99, dim, true, Yes),
            (Some(SURE_FINE - 0.01), 0.99, dim, true, No),
            (Some(SURE_FINE - 0.01), 0.99, SHARP_ENERGY, true, Yes),
            // A pattern without fine power is out of focus; a smooth subject may be sharp.
            (Some(MIN_FINE - 0.01), 0.1, dim, true, No),
            (Some(MIN_FINE - 0.01), 0.1, dim, false, Unknown),
            (Some(MIN_FINE - 0.01), SOFT_PROBABILITY + 0.01, dim, false, No),
            (Some(MIN_FINE), SOFT_PATTERN + 0.01, dim, true, No),
            (Some(MIN_FINE), SOFT_PATTERN - 0.01, dim, true, Yes),
            (Some(MIN_FINE), SOFT_PATTERN + 0.01, dim, false, Unknown),
            (Some(SURE_FINE), 0.99, dim, false, Yes),
        ] {
            let found = reached(finest, soft, energy, pattern);
            assert_eq!(found, expected, "{finest:?} {soft} {energy} {pattern}");
        }
    }
}
