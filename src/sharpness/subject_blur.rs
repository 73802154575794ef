//! Blur at the subject in every frame of a burst, and whether any frame is in focus.
//!
//! A burst's best frame may still be out of focus, and edges cannot tell: on a regular pattern
//! (facets, scales) they read sharp whatever the blur. Two readings of the ring spectrum can:
//! the power of the finest rings over noise, which only a focused frame shows, and the posterior
//! of blur from [`anchor_blur`]. Both stand on the noise, and a frame's flat places know that of
//! its textured ones only roughly (noise reduction, compression, tone). The burst knows better: where
//! its most blurred frame has least power, there is nothing but noise.

use crate::core::Flag;
use crate::core::units::{PitchUm, WavelengthUm};
use crate::core::verdict::BlurBy;
use crate::noise::rendered::RenderedNoise;
use crate::optics::diffraction;
use crate::sharpness::band_noise::{BandNoise, WHITE_GAINS};
use crate::sharpness::energy_ratio;
use crate::sharpness::ring_spectrum::{self, BoxSpectra, RING_COUNT, RingSpectrum};
use crate::sharpness::spectral_blur::{
    AnchorBlur, BlurRatio, FrameSpectrum, Posterior, REACHING_LN, anchor_blur, burst_ratios,
};
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::transfer_family::TransferFamily;

/// Fine power over noise from which a frame is not soft, whatever the posterior.
pub const SURE_FINE: f64 = 3.0;
/// Probability from which a burst's sharpest frame counts as soft: a smooth subject in focus can
/// reach 0.7, the others stay below 0.4 (42 simulated bursts, tuning seeds).
const SOFT_PROBABILITY: f64 = 0.75;
/// The same where the whole frames hint that focus missed the subject, and where they deny it. Of
/// 252 simulated bursts three that never reached focus, without a hint, lie at 0.86 to 0.94; one
/// that did, at 0.94, is lost with them.
const SOFT_IF_MISSED: f64 = 0.45;
/// See [`SOFT_IF_MISSED`].
const SOFT_IF_NOT_MISSED: f64 = 0.82;
/// The same for a subject with a regular pattern, which is never smooth, where its sharpest edges
/// read sharp, and where they do not: though a pattern makes them sharper than they are.
const SOFT_PATTERN: [f64; 2] = [0.55, 0.15];
/// Blur of the sharpest edges of a pattern over what the settings allow from which they do not read
/// sharp: at most 0.8 in 16 simulated bursts that reached focus, 0.98 and more in 2 of 3 others.
const DULL_EDGES: f64 = 0.9;
/// Least blur, px, that settings are taken to allow: edges in a rendered file are no sharper.
const MIN_ALLOWED_PX: f64 = 0.9;
/// A sharpest frame below this is never soft, px.
pub const SOFT_FLOOR_PX: f64 = 2.0;
/// A sharpest frame this many times softer than its settings allow is soft.
const FINE_SOFT_RATIO: f64 = 2.0;
/// Rise of the spectrum from which the subject shows a regular pattern, ln: facets reach 1.4,
/// 189 photographs without them stay below 0.35.
const PATTERN_RISE_LN: f64 = 0.8;
/// Noise of a frame's own spectrum over that of the finest focus band above which it is texture.
/// On camera files the two agree within a fifth over the fine rings.
const BAND_MARGIN: f64 = 1.3;
/// Frames from which the burst's least power bounds its noise.
const NOISE_FRAMES: usize = 3;
/// Range of the burst's noise over what its frames' flat places read.
const NOISE_GAIN: std::ops::RangeInclusive<f64> = 0.1..=1.8;
/// Range of one ring's noise over that of the burst.
const NOISE_RING_GAIN: std::ops::RangeInclusive<f64> = 0.8..=1.6;
/// Share of the rings that lie below the burst's noise over what flat places read: in the others
/// detail may be left even in the most blurred frame.
const NOISE_QUANTILE: f64 = 0.2;
/// First ring in which a blurred frame may hold nothing but noise.
const NOISE_FIRST_RING: usize = 4;
/// Share of the noise that may be wrong, bounded by the burst and from flat places alone.
const NOISE_SD: [f64; 2] = [0.2, 0.35];
/// What the posterior does not contain: subject depth inside the box, the lens's own aberrations,
/// the magnification taken for granted; ln.
const MODEL_SD_LN: f64 = 0.10;
/// Blur of the best frame of a burst that reached focus over what its settings allow, ln: where it
/// lies, and how far from there for its own blur and for the ratios to it. A blur taken too large
/// makes every ratio too small, so smooth scenes, whose spectra fall as those of blurred ones do, must
/// not pull it up: a pattern's blur is known better. Of 145 simulated bursts half lie within 0.08 to 0.24.
const REACHED_LN: f64 = 0.10;
/// See [`REACHED_LN`].
const REACHED_SD_LN: f64 = 0.18;
/// See [`REACHED_LN`].
const REACHED_RATIO_SD_LN: f64 = 0.10;
/// Ratio, ln, at which the box and its core count the same. The core sees less of what lies nearer
/// or farther than the spot, which is sharper in a frame that missed it; a wide blur needs the box.
const CORE_LN: f64 = 0.3;
/// How fast the one gives way to the other, ln.
const CORE_WIDTH_LN: f64 = 0.2;
/// Energy must exceed this many of its standard errors to count as seen.
pub const ENERGY_SEEN: f64 = 2.0;
/// Share of the probability that the stated range holds.
const RANGE_SHARE: f64 = 0.68;
/// Share of the posterior that does so where focus was reached on a subject without a pattern: the
/// model spreads such scenes wider than 30 simulated creatures are spread.
const PLAIN_RANGE_SHARE: f64 = 0.6;
/// And of a subject with a pattern, whose peak the model takes for better known than it is.
const PATTERN_RANGE_SHARE: f64 = 0.82;

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

impl BlurRange {
    /// The range times a factor, but not below what the settings allow.
    fn times(self, factor: f64, allowed_px: f64) -> BlurRange {
        let scaled = |px: f64| (px * factor).max(allowed_px.min(px));
        BlurRange {
            sigma_px: scaled(self.sigma_px),
            low_px: scaled(self.low_px),
            high_px: scaled(self.high_px),
            ..self
        }
    }
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
    /// Blur of every frame over the anchor's.
    pub ratios: Vec<Option<BlurRatio>>,
    /// Fine power over noise per frame.
    pub fine: Vec<Option<f64>>,
    /// Frequency of the subject's regular pattern, cycles per pixel, where it shows one.
    pub pattern_cy_px: Option<f64>,
    /// Probability that the anchor is soft.
    pub soft: f64,
    /// Whether any frame is in focus.
    pub reached: Reached,
}

/// Reads the blur of a burst's frames from their subject boxes. `sparse` says in which frames
/// something sharp lies across the subject: their spectra are of both and not used. `noise` is each
/// frame's own, `bands` the burst's in the focus bands, `attainable` what the settings of the burst
/// allow, `is_missed` whether the whole frames hint that the focus missed the subject, where they
/// say anything.
/// `None` where no frame has a spectrum or the noise is not known.
pub fn subject_blur(
    boxes: &[Option<SubjectBox>],
    sparse: &[bool],
    noise: &[Option<&RenderedNoise>],
    bands: &BandNoise,
    attainable: Option<Attainable>,
    is_missed: Option<bool>,
) -> Option<SubjectBlur> {
    let readings = readings(boxes, sparse, noise, bands, |s| s.whole);
    let family = TransferFamily::new(attainable.map(|a| a.cutoff_cy_px));
    let fine: Vec<Option<f64>> = readings
        .iter()
        .map(|r| r.as_ref()?.rings.fine_over_noise(&r.as_ref()?.noise, family.cutoff_cy_px))
        .collect();
    // The scene is the same in every frame, so one that shows a pattern speaks for all.
    let rises = readings.iter().flatten().map(|r| r.rings.pattern(&r.noise));
    let pattern = rises.max_by(|a, b| a.rise_ln.total_cmp(&b.rise_ln));
    let pattern_cy_px = pattern.filter(|p| p.rise_ln > PATTERN_RISE_LN).map(|p| p.cy_px);
    let is_pattern = pattern_cy_px.is_some();
    let at = anchor_blur(&readings, &family, is_pattern)?;
    let anchor = at.anchor;
    // A frame without a flat place knows its noise only from above, and detail would drown in it.
    let all_texture = noise[anchor].is_some_and(|n| n.flags.has(Flag::AllTexture));
    if all_texture && readings.iter().flatten().count() < NOISE_FRAMES {
        return None;
    }
    let own = at.blur.widened(MODEL_SD_LN, &family);
    let soft_px =
        attainable.map_or(SOFT_FLOOR_PX, |a| (FINE_SOFT_RATIO * a.sigma_px).max(SOFT_FLOOR_PX));
    let soft = own.above(soft_px);
    let finest = fine.iter().flatten().copied().max_by(f64::total_cmp);
    let edges = boxes.iter().flatten().filter_map(|b| b.tile.edge_px()).min_by(f64::total_cmp);
    let has_dull_edges = edges.is_some_and(|px| px > DULL_EDGES * allowed_edge_px(attainable));
    let soft_from = soft_from(is_pattern.then_some(has_dull_edges), is_missed);
    let reached = reached(finest, soft, soft_from, attainable.is_some());
    let is_plain = reached == Reached::Yes && !is_pattern;
    let ratios_of = |readings: &[Option<FrameSpectrum>], at: AnchorBlur| {
        let blur = match is_plain {
            true => near_allowed(&at.blur, family.in_focus_px, REACHED_RATIO_SD_LN),
            false => at.blur,
        };
        burst_ratios(readings, &family, is_pattern, &AnchorBlur { blur, ..at })
    };
    let mut found = ratios_of(&readings, at)?;
    // Where the settings are not known nothing keeps the blur of a sharp frame up, and small ratios
    // are not safe enough to be read twice.
    if reached == Reached::Yes && family.in_focus_px.is_some() {
        let cores = self::readings(boxes, sparse, noise, bands, |s| s.core);
        let core = anchor_blur(&cores, &family, is_pattern).and_then(|at| ratios_of(&cores, at));
        if let Some(core) = core {
            join_core(&mut found.ratios, &core.ratios, anchor);
        }
    }
    if reached != Reached::No {
        let seen = |b: &SubjectBox| b.energy > ENERGY_SEEN * b.energy_std_err;
        let energy = |(b, sparse): (&Option<SubjectBox>, &bool)| {
            Some(b.as_ref().filter(|b| !sparse && seen(b))?.energy)
        };
        let energies: Vec<Option<f64>> = boxes.iter().zip(sparse).map(energy).collect();
        found.ratios = energy_ratio::steadied(&found.ratios, &energies, anchor);
    }
    let by = if is_pattern { BlurBy::Pattern } else { BlurBy::Texture };
    let told = given_focus(&own, reached, family.in_focus_px, soft_px);
    let share = match (by, reached) {
        (BlurBy::Texture, Reached::Yes) => PLAIN_RANGE_SHARE,
        (BlurBy::Pattern, _) => PATTERN_RANGE_SHARE,
        _ => RANGE_SHARE,
    };
    let allowed_px = attainable.map_or(0.0, |a| a.sigma_px);
    Some(SubjectBlur {
        anchor,
        anchor_range: range(&told, by, share).times(found.anchor_share, allowed_px),
        ratios: found.ratios,
        fine,
        pattern_cy_px,
        soft,
        reached,
    })
}

/// Joins the ratios from the boxes with those from their cores, both over the frame `anchor`.
fn join_core(ratios: &mut [Option<BlurRatio>], core: &[Option<BlurRatio>], anchor: usize) {
    let Some(zero) = core[anchor] else { return };
    for (ratio, core) in ratios.iter_mut().zip(core) {
        let (Some(ratio), Some(core)) = (ratio.as_mut(), core) else { continue };
        let share = 1.0 / (1.0 + ((ratio.ln - CORE_LN) / CORE_WIDTH_LN).exp());
        ratio.ln += share * (core.ln - zero.ln - ratio.ln);
        ratio.sd_ln += share * (core.sd_ln - ratio.sd_ln);
    }
}

/// Blur of the sharpest edges that settings allow in a rendered file, px.
pub fn allowed_edge_px(attainable: Option<Attainable>) -> f64 {
    attainable.map_or(0.0, |a| a.sigma_px).max(MIN_ALLOWED_PX)
}

/// The posterior of the anchor's blur once it is decided whether the burst reached focus. Before,
/// the anchor is taken to be near the finest blur that the settings allow (`in_focus_px`), more or
/// less: a burst that reached focus is nearer, one that did not lies anywhere above the limit from
/// which it counts as soft.
fn given_focus(
    own: &Posterior,
    reached: Reached,
    in_focus_px: Option<f64>,
    soft_px: f64,
) -> Posterior {
    let above_ln = |ln: f64| in_focus_px.map_or(0.0, |px| (ln - px.ln()).max(0.0));
    match reached {
        Reached::Yes => near_allowed(own, in_focus_px, REACHED_SD_LN),
        Reached::No => own.reweighted(|ln| match ln >= soft_px.ln() {
            true => above_ln(ln) / REACHING_LN,
            false => f64::NEG_INFINITY,
        }),
        Reached::Unknown => own.clone(),
    }
}

/// The posterior of the anchor's blur with what is known of bursts that reached focus, in place of
/// what is known of all.
fn near_allowed(own: &Posterior, in_focus_px: Option<f64>, sd_ln: f64) -> Posterior {
    own.reweighted(|ln| {
        in_focus_px.map_or(0.0, |px| {
            let above = ln - px.ln();
            above.max(0.0) / REACHING_LN - 0.5 * ((above - REACHED_LN) / sd_ln).powi(2)
        })
    })
}

/// The probability from which a burst's sharpest frame counts as soft.
/// `pattern` says whether a pattern's edges are dull, where the subject shows one.
fn soft_from(pattern: Option<bool>, is_missed: Option<bool>) -> f64 {
    match (pattern, is_missed) {
        (Some(has_dull_edges), _) => SOFT_PATTERN[usize::from(has_dull_edges)],
        (None, Some(true)) => SOFT_IF_MISSED,
        (None, Some(false)) => SOFT_IF_NOT_MISSED,
        (None, None) => SOFT_PROBABILITY,
    }
}

/// Whether any frame is in focus: from the finest power over noise in the burst, the probability
/// that its sharpest frame is soft and from which it counts, and whether it is known what the
/// settings allow.
fn reached(finest: Option<f64>, soft: f64, soft_from: f64, allowed_known: bool) -> Reached {
    if finest.is_some_and(|f| f >= SURE_FINE) {
        Reached::Yes
    } else if soft > soft_from {
        Reached::No
    } else if allowed_known {
        Reached::Yes
    } else {
        Reached::Unknown
    }
}

fn range(posterior: &Posterior, by: BlurBy, share: f64) -> BlurRange {
    let (low_px, high_px) = posterior.range_px(share);
    let sigma_px = posterior.quantile_px(0.5).clamp(low_px, high_px);
    BlurRange { sigma_px, low_px, high_px, by }
}

/// Spectra with their noise. Texture only adds to what a frame reads as noise, so no frame is
/// given more noise than the middle one of its burst, nor much more than the focus bands hold:
/// those know the quietest frame. Then the burst's least power speaks, see [`noise_gain`].
fn readings(
    boxes: &[Option<SubjectBox>],
    sparse: &[bool],
    noise: &[Option<&RenderedNoise>],
    bands: &BandNoise,
    of: impl Fn(&BoxSpectra) -> RingSpectrum,
) -> Vec<Option<FrameSpectrum>> {
    let mut own: Vec<Option<FrameSpectrum>> = boxes
        .iter()
        .zip(noise)
        .map(|(b, n)| {
            let rings = of(b.as_ref()?.rings.as_ref()?);
            let noise = ring_spectrum::noise_in_rings((*n)?, rings.mean_dn)?;
            let band = bands.levels[0].n1.at(rings.mean_dn as f32) / WHITE_GAINS[0][0];
            let over = BAND_MARGIN * band / ring_spectrum::fine_mean(&noise);
            let noise = noise.map(|n| n * over.min(1.0));
            Some(FrameSpectrum { rings, noise, noise_sd: NOISE_SD[1] })
        })
        .collect();
    let usual: [f64; RING_COUNT] = std::array::from_fn(|r| {
        let mut all: Vec<f64> = own.iter().flatten().map(|o| o.noise[r]).collect();
        crate::core::stats::median(&mut all).unwrap_or(f64::INFINITY)
    });
    for o in own.iter_mut().flatten() {
        o.noise = std::array::from_fn(|r| o.noise[r].min(usual[r]));
    }
    if let Some(gain) = noise_gain(&own) {
        for o in own.iter_mut().flatten() {
            o.noise = std::array::from_fn(|r| o.noise[r] * gain[r]);
            o.noise_sd = NOISE_SD[0];
        }
    }
    own.into_iter().zip(sparse).map(|(o, sparse)| o.filter(|_| !sparse)).collect()
}

/// The burst's noise in every ring over what its frames' flat places read, from the least power
/// that any frame shows there; `None` for too few frames.
fn noise_gain(readings: &[Option<FrameSpectrum>]) -> Option<[f64; RING_COUNT]> {
    if readings.iter().flatten().count() < NOISE_FRAMES {
        return None;
    }
    let least: [f64; RING_COUNT] = std::array::from_fn(|r| {
        let over = |o: &FrameSpectrum| o.rings.geometric[r] / o.noise[r];
        readings.iter().flatten().map(over).fold(f64::INFINITY, f64::min)
    });
    let mut sorted = least[NOISE_FIRST_RING..].to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = (NOISE_QUANTILE * (sorted.len() - 1) as f64).round() as usize;
    let gain = sorted[at].clamp(*NOISE_GAIN.start(), *NOISE_GAIN.end());
    Some(least.map(|l| l.clamp(NOISE_RING_GAIN.start() * gain, NOISE_RING_GAIN.end() * gain)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sharpness::ring_spectrum::RingSpectrum;

    #[test]
    fn focus_is_reached_or_not_on_either_side_of_every_threshold() {
        use crate::sharpness::subject_blur::Reached::{No, Unknown, Yes};
        let limit = [SOFT_PROBABILITY, SOFT_PATTERN[0]];
        for (finest, soft, pattern, allowed_known, expected) in [
            (Some(SURE_FINE), limit[0] + 0.01, false, true, Yes),
            (Some(SURE_FINE - 0.01), limit[0] + 0.01, false, true, No),
            (Some(SURE_FINE - 0.01), limit[0] - 0.01, false, true, Yes),
            // A pattern is never smooth.
            (Some(SURE_FINE - 0.01), limit[1] + 0.01, true, true, No),
            (Some(SURE_FINE - 0.01), limit[1] - 0.01, true, true, Yes),
            // The optics pass nothing fine: the posterior alone decides.
            (None, limit[0] + 0.01, false, true, No),
            (None, limit[0] - 0.01, false, true, Yes),
            // Without the settings nobody knows what sharp would be.
            (None, limit[0] + 0.01, false, false, No),
            (None, limit[0] - 0.01, false, false, Unknown),
            (Some(SURE_FINE), limit[0] + 0.01, false, false, Yes),
        ] {
            let found =
                reached(finest, soft, soft_from(pattern.then_some(false), None), allowed_known);
            assert_eq!(found, expected, "{finest:?} {soft} {pattern} {allowed_known}");
        }
    }

    #[test]
    fn hints_of_the_whole_frames_move_the_limit_but_not_for_patterns() {
        let of = |is_missed| soft_from(None, is_missed);
        assert!(of(Some(true)) < of(None) && of(None) < of(Some(false)));
        for hint in [None, Some(true), Some(false)] {
            let pattern = |dull| soft_from(Some(dull), hint);
            assert!(pattern(true) < pattern(false) && pattern(false) < of(None));
        }
    }

    #[test]
    fn focus_reached_draws_the_blur_to_the_lens_and_not_reached_keeps_it_soft() {
        let family = TransferFamily::new(Some(0.5));
        let rings = RingSpectrum {
            geometric: std::array::from_fn(|r| 4000.0 * (-0.6 * r as f64).exp() + 2.0),
            arithmetic: std::array::from_fn(|r| 4000.0 * (-0.6 * r as f64).exp() + 2.0),
            mean_dn: 100.0,
        };
        let reading = FrameSpectrum { rings, noise: [2.0; RING_COUNT], noise_sd: 0.2 };
        let own = anchor_blur(&[Some(reading)], &family, false).unwrap().blur;
        let soft_px = 2.0;
        let given = |reached| given_focus(&own, reached, family.in_focus_px, soft_px);
        let (yes, no) = (given(Reached::Yes), given(Reached::No));
        assert!(yes.sigma_px() < own.sigma_px() && own.sigma_px() < no.sigma_px());
        assert!(no.above(soft_px) > 0.999 && own.above(soft_px) < 0.999, "{}", own.above(soft_px));
        assert_eq!(given(Reached::Unknown), own);
    }

    #[test]
    fn the_burst_bounds_its_noise_by_its_least_power() {
        let reading = |power: f64, fine: f64| {
            let geometric = std::array::from_fn(|r| if r < 10 { power } else { fine });
            let rings = RingSpectrum { geometric, arithmetic: geometric, mean_dn: 100.0 };
            Some(FrameSpectrum { rings, noise: [2.0; RING_COUNT], noise_sd: 0.35 })
        };
        let burst = [reading(90.0, 30.0), reading(9.0, 3.0), reading(2.6, 2.8)];
        let gain = noise_gain(&burst).unwrap();
        assert!(gain.iter().all(|g| (1.25..1.45).contains(g)), "{gain:?}");
        // All of it detail: the noise is not taken to be that much larger.
        let sharp = [reading(90.0, 60.0), reading(80.0, 50.0), reading(70.0, 40.0)];
        let most = NOISE_GAIN.end() * NOISE_RING_GAIN.end();
        assert!(noise_gain(&sharp).unwrap().iter().all(|g| *g <= most));
        assert_eq!(noise_gain(&burst[..2]), None);
    }
}
