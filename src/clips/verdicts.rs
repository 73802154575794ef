//! What each frame of a clip is at its subject, judged against the clip's own best frames.
//!
//! The rule is that of a burst: blur from edges and blur from the energy of fine
//! structure, taken together, over that of the best frames; up to 1.3 times is a hit, up to twice
//! is near. Two things differ, because frames of a clip are many, small and coded:
//!
//! - Energy weighs more than edges: noise and what a codec leaves of it make edges of their own.
//! - Focus wanders, it does not jump. The square of blur, less what movement adds, is followed as
//!   a smooth course ([`crate::core::smoothing`]); the square, because defocus that grows evenly
//!   makes it a parabola. A frame that reads far softer than its neighbours is believed all the
//!   same: it was jolted. The sharpest part of the course is what verdicts are relative to.
//!
//! One noise model holds for the whole clip: changing it from frame to frame makes noise look like
//! sharpness.

use super::meter::{FrameObservation, SHARP_CLASSES_PX, Sample};
use crate::core::smoothing::{self, Scattered};
use crate::core::stats::median;
use crate::core::verdict::{Cause, HIT_RATIO, REFERENCE_FLOOR_PX, SOFT_RATIO, Verdict, grade};
use crate::core::{Flag, FlagSet, Measured};
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::blur::S1_SQUARED;
use crate::sharpness::direction::{DirectionProfile, Smear, smear};
use crate::sharpness::focus_map::Tile;

/// Share of the frames that stand for the best, and their least number.
const BEST: (f64, usize) = (0.06, 3);
/// Share of the course's frames whose median is the reference, and their least number.
const REFERENCE: (f64, usize) = (0.01, 3);
/// Weight of edges against energy in a frame's blur (a half would be the geometric mean). On clips made outside the
/// simulator (`benches/clip_truth.py`, tuning seeds) edges read 5 to 17 % low in noise and at low
/// bit rates where the frame is a little soft, energy 3 to 6 %.
const EDGES_WEIGHT: f64 = 0.25;
/// Scatter of the square of a frame's blur, as a share: without noise, and per unit of noise over
/// signal. Only their proportion counts.
const SCATTER: (f64, f64) = (0.1, 0.1);
/// Squared distance from the course, over its error, from which a softer frame is believed.
const JOLTED: f64 = 9.0;
/// Noise share above which the best frames themselves show nothing.
const DROWNED: f64 = 0.9;
/// Energy is never taken for less than this share of the best: noise decides below.
const MIN_ENERGY: f64 = 0.004;
/// Never called soft below, and always called soft above without settings, px.
const SOFT_BETWEEN_PX: (f64, f64) = (2.0, 4.0);
/// Tiles that must be sharp for something in a frame to be sharp.
const CLUSTER: u32 = 10;
/// A movement accounts for a loss when it makes at least this share of the added blur, squared.
const CAUSED: f64 = 0.5;
/// Share of a smear that the movement of the whole picture must explain to be called shake.
const WHOLE_EXPLAINS: f64 = 0.5;

/// A frame judged.
#[derive(Debug, Clone)]
pub struct ClipFrameVerdict {
    /// What it is.
    pub verdict: Verdict,
    /// What cost the most.
    pub cause: Option<Cause>,
    /// Blur from edges, px.
    pub blur: Option<Measured>,
    /// Blur that the verdict goes by over the reference.
    pub ratio: Option<f64>,
    /// Energy of fine structure.
    pub energy: Option<f64>,
    /// Movement seen in the blur.
    pub smear: Option<Smear>,
    /// Cautions.
    pub flags: FlagSet,
}

/// A clip judged.
#[derive(Debug, Clone)]
pub struct ClipVerdict {
    /// Frame by frame.
    pub frames: Vec<ClipFrameVerdict>,
    /// Blur of the best frames, px.
    pub best_px: Option<Measured>,
    /// What verdicts are relative to, px.
    pub reference_px: Option<f64>,
    /// Whether even the best is soft.
    pub best_is_soft: bool,
    /// Share of what is seen at the best frames that is noise.
    pub noise_share: Option<f64>,
}

/// The one noise model of a clip: of the frame that shows noise best.
pub fn clip_noise(samples: &[Sample]) -> (BandNoise, bool) {
    let best = samples.iter().filter_map(|s| s.noise).max_by(|a, b| a.ratio.total_cmp(&b.ratio));
    match best {
        Some(n) if n.is_seen() => (n, true),
        // What was read is texture: the least that any frame can hold is rounding.
        _ => (BandNoise::white(0.5), false),
    }
}

/// Judges the frames of a clip. `allowed_px` is the blur that the settings give at best;
/// `smear_px` the movement of the whole picture during the exposure, frame by frame, where known.
pub fn judge(
    seen: &[FrameObservation],
    samples: &[Sample],
    allowed_px: Option<f64>,
    smear_px: &[Option<f64>],
) -> ClipVerdict {
    let times_s: Vec<f64> = seen.iter().map(|s| s.t_s).collect();
    let (noise, noise_seen) = clip_noise(samples);
    let tiles: Vec<Option<Tile>> =
        seen.iter().map(|s| s.cells.as_ref().map(|c| c.tile(&noise))).collect();
    let energies: Vec<Option<(f64, f64)>> =
        seen.iter().map(|s| s.cells.as_ref().map(|c| c.energy(&noise))).collect();
    let mut order: Vec<usize> = (0..seen.len())
        .filter(|i| energies[*i].is_some() && tiles[*i].is_some_and(|t| t.sigma_px().is_some()))
        .collect();
    let energy = |i: usize| energies[i].map_or(f64::MIN, |e| e.0);
    order.sort_by(|a, b| energy(*b).total_cmp(&energy(*a)).then(a.cmp(b)));
    let take = ((seen.len() as f64 * BEST.0) as usize).max(BEST.1).min(order.len());
    let best: Vec<usize> = order[..take].to_vec();
    let mut sigmas: Vec<f64> =
        best.iter().filter_map(|i| Some(f64::from(tiles[*i]?.sigma_px()?))).collect();
    let mut best_energies: Vec<f64> = best.iter().map(|i| energy(*i)).collect();
    let mut shares: Vec<f64> = best.iter().filter_map(|i| Some(energies[*i]?.1)).collect();
    let noise_share = median(&mut shares);
    let best_energy = median(&mut best_energies).filter(|e| *e > 0.0);
    let best_sigma = median(&mut sigmas).map(|s| s.max(REFERENCE_FLOOR_PX));
    let best_px = best_sigma.and_then(|s| {
        let spread = sigmas.iter().map(|v| (v - s).powi(2)).sum::<f64>() / sigmas.len() as f64;
        // The scatter of the frames, and what the method itself leaves open (see the focus map).
        let std_err = (spread / sigmas.len() as f64).sqrt().hypot(0.1 * s);
        Measured::new(s, std_err, sigmas.len() as u32)
    });
    let drowned = noise_share.is_none_or(|s| s > DROWNED);
    let soft_over = allowed_px
        .map(|a| SOFT_RATIO * a)
        .or_else(|| elsewhere_px(samples).map(|e| SOFT_RATIO * e))
        .map_or(SOFT_BETWEEN_PX.1, |s| {
            s.min(SOFT_BETWEEN_PX.1.max(SOFT_RATIO * allowed_px.unwrap_or(0.0)))
        })
        .max(SOFT_BETWEEN_PX.0);
    let best_is_soft = best_sigma.is_some_and(|s| s > soft_over);
    let reference_profile: Option<&DirectionProfile> =
        best.first().and_then(|i| seen[*i].profile.as_ref());
    let mut frames = Vec::with_capacity(seen.len());
    let mut followed: Vec<Option<Followed>> = vec![None; seen.len()];
    for (i, s) in seen.iter().enumerate() {
        let mut f = ClipFrameVerdict {
            verdict: Verdict::Unclear,
            cause: None,
            blur: None,
            ratio: None,
            energy: energies[i].map(|e| e.0),
            smear: None,
            flags: FlagSet::EMPTY,
        };
        if !noise_seen {
            f.flags.raise(Flag::NoiseUnseen);
        }
        let (Some(cells), Some(tile)) = (&s.cells, tiles[i]) else {
            f.flags.raise(Flag::SubjectLost);
            frames.push(f);
            continue;
        };
        if cells.at_border {
            f.flags.raise(Flag::AtBorder);
        }
        f.blur = tile.measured();
        f.smear = s
            .profile
            .as_ref()
            .filter(|_| best.first() != Some(&i))
            .and_then(|p| smear(p, reference_profile));
        let (Some(best_s), Some(best_e)) = (best_sigma, best_energy) else {
            f.cause = Some(Cause::NoTexture);
            f.flags.raise(Flag::NoTexture);
            frames.push(f);
            continue;
        };
        if drowned {
            f.cause = Some(Cause::Noise);
            f.flags.raise(Flag::MostlyNoise);
            frames.push(f);
            continue;
        }
        let px2 = blur_judged(tile, energy(i), best_s, best_e).powi(2);
        // Blur over all directions holds half of a smear's share.
        let moved = movement_px2(&f, smear_px.get(i).copied().flatten());
        let share = energies[i].map_or(0.0, |e| e.1).clamp(0.0, 0.95);
        let scatter = SCATTER.0.hypot(SCATTER.1 * share / (1.0 - share));
        let still = (px2 - moved / 2.0).max(0.25 * px2);
        followed[i] = Some(Followed { px2: still, variance: (scatter * px2).powi(2), moved });
        frames.push(f);
    }
    let course = steadied(&followed, &times_s);
    let mut least: Vec<f64> = course.iter().flatten().map(|px2| px2.sqrt()).collect();
    least.sort_by(f64::total_cmp);
    let take = ((least.len() as f64 * REFERENCE.0) as usize).max(REFERENCE.1).min(least.len());
    let sharpest = median(&mut least[..take]).map(|s| s.max(REFERENCE_FLOOR_PX));
    let reference_px = sharpest.map(|s| if best_is_soft { soft_over / HIT_RATIO } else { s });
    for (i, f) in frames.iter_mut().enumerate() {
        let (Some(px2), Some(reference), Some(best_s)) = (course[i], reference_px, sharpest) else {
            continue;
        };
        let ratio = px2.sqrt() / reference;
        f.ratio = Some(ratio);
        f.verdict = grade(ratio);
        if f.verdict != Verdict::Hit {
            let added = px2 - best_s * best_s;
            f.cause = Some(cause(f, smear_px.get(i).copied().flatten(), added, || {
                something_is_sharp(samples, i, HIT_RATIO * best_s)
            }));
        }
    }
    ClipVerdict { frames, best_px, reference_px, best_is_soft, noise_share }
}

/// The square of a frame's blur without movement, its variance, and what movement adds.
#[derive(Debug, Clone, Copy)]
struct Followed {
    px2: f64,
    variance: f64,
    moved: f64,
}

/// Square of the blur of each frame along a smooth course, with what its movement adds.
fn steadied(followed: &[Option<Followed>], times_s: &[f64]) -> Vec<Option<f64>> {
    let scattered: Vec<Scattered> = followed
        .iter()
        .zip(times_s)
        .map(|(f, t_s)| Scattered {
            t_s: *t_s,
            value: f.map(|f| f.px2),
            variance: f.map_or(1.0, |f| f.variance),
        })
        .collect();
    let course = smoothing::smooth(&scattered);
    let one = |(i, f): (usize, &Option<Followed>)| {
        let f = (*f)?;
        let on = course.as_ref().and_then(|c| c.values.get(i).map(|v| (v.value, c.factor)));
        let px2 = match on {
            Some((value, factor)) => {
                let off = f.px2 - value;
                let jolted = off > 0.0 && off * off > JOLTED * factor * f.variance;
                // A parabola may dip below what the frames around show.
                if jolted { f.px2 } else { value.max(0.25 * f.px2) }
            }
            None => f.px2,
        };
        Some(px2 + f.moved)
    };
    followed.iter().enumerate().map(one).collect()
}

/// Square of the blur that the movement of a frame adds, px²: that of the picture during the
/// exposure where it is known, else what is seen of it in the blur.
fn movement_px2(f: &ClipFrameVerdict, smear_px: Option<f64>) -> f64 {
    let seen = || f.smear.filter(Smear::is_movement).map(|m| m.length_px);
    smear_px.or_else(seen).map_or(0.0, |l| l * l / 12.0)
}

/// Blur from edges and blur from energy together.
fn blur_judged(tile: Tile, energy: f64, best_px: f64, best_energy: f64) -> f64 {
    let level1 = S1_SQUARED[1];
    let energy = energy.max(MIN_ENERGY * best_energy);
    let by_energy =
        ((best_px * best_px + level1) * (best_energy / energy).powf(2.0 / 3.0) - level1).max(0.01);
    match tile {
        Tile::Blur { sigma_px, .. } => {
            f64::from(sigma_px).powf(EDGES_WEIGHT) * by_energy.powf((1.0 - EDGES_WEIGHT) / 2.0)
        }
        // No edge is seen any more: energy alone tells, and it tells of much blur.
        Tile::Bound(_) | Tile::NoTexture => by_energy.sqrt(),
    }
}

fn cause(
    f: &ClipFrameVerdict,
    smear_px: Option<f64>,
    added_px2: f64,
    sharp_elsewhere: impl Fn() -> bool,
) -> Cause {
    let by_whole = smear_px.map_or(0.0, |l| l * l / 12.0);
    if by_whole >= CAUSED * added_px2 {
        return Cause::Shake;
    }
    if let Some(m) = f.smear.filter(Smear::is_movement)
        && m.length_px.powi(2) / 12.0 >= CAUSED * added_px2
    {
        return match smear_px {
            Some(l) if l < WHOLE_EXPLAINS * m.length_px => Cause::SubjectMotion,
            _ => Cause::Shake,
        };
    }
    if sharp_elsewhere() { Cause::Misfocused } else { Cause::Soft }
}

/// Whether the whole frame measured nearest to `frame` holds a cluster of sharp tiles.
fn something_is_sharp(samples: &[Sample], frame: usize, limit_px: f64) -> bool {
    let nearest = samples.iter().min_by_key(|s| s.frame.abs_diff(frame));
    let class = SHARP_CLASSES_PX.iter().rposition(|c| f64::from(*c) <= limit_px);
    nearest.zip(class).is_some_and(|(s, class)| s.sharper[class] >= CLUSTER)
}

/// Blur that a cluster of tiles reaches somewhere in some frame.
fn elsewhere_px(samples: &[Sample]) -> Option<f64> {
    let class = SHARP_CLASSES_PX
        .iter()
        .enumerate()
        .position(|(k, _)| samples.iter().any(|s| s.sharper[k] >= CLUSTER))?;
    Some(f64::from(SHARP_CLASSES_PX[class]))
}
