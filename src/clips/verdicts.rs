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
/// A course, and a frame without its movement, keep at least this share of the square of its blur.
const MIN_KEPT: f64 = 0.25;
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
    let (noise, noise_seen) = clip_noise(samples);
    let read = |s: &FrameObservation| ReadFrame {
        t_s: s.t_s,
        profile: s.profile,
        reading: s.cells.as_ref().map(|cells| {
            let (energy, noise_share) = cells.energy(&noise);
            BoxReading { tile: cells.tile(&noise), energy, noise_share, at_border: cells.at_border }
        }),
    };
    let frames: Vec<ReadFrame> = seen.iter().map(read).collect();
    judge_read(&frames, noise_seen, samples, allowed_px, smear_px)
}

/// What the box about the subject reads in a frame under the noise of the clip.
#[derive(Debug, Clone, Copy)]
struct BoxReading {
    tile: Tile,
    energy: f64,
    noise_share: f64,
    at_border: bool,
}

/// Everything read of a frame.
#[derive(Debug, Clone, Copy)]
struct ReadFrame {
    t_s: f64,
    /// `None` when the subject is lost.
    reading: Option<BoxReading>,
    profile: Option<DirectionProfile>,
}

fn judge_read(
    read: &[ReadFrame],
    noise_seen: bool,
    samples: &[Sample],
    allowed_px: Option<f64>,
    smear_px: &[Option<f64>],
) -> ClipVerdict {
    let best = BestFrames::of(read);
    let whole_px = |i: usize| smear_px.get(i).copied().flatten();
    let reference_profile = best.first.and_then(|i| read[i].profile.as_ref());
    let mut frames: Vec<ClipFrameVerdict> = Vec::with_capacity(read.len());
    let mut followed: Vec<Option<Followed>> = Vec::with_capacity(read.len());
    for (i, f) in read.iter().enumerate() {
        let compared = f.profile.as_ref().filter(|_| best.first != Some(i));
        let smear = compared.and_then(|p| smear(p, reference_profile));
        let mut frame = ClipFrameVerdict::unjudged(f.reading.as_ref(), smear, noise_seen);
        followed.push(f.reading.and_then(|reading| {
            let reference = best.scale(&mut frame)?;
            Some(Followed::of(&reading, movement_px2(&frame, whole_px(i)), reference))
        }));
        frames.push(frame);
    }
    let times_s: Vec<f64> = read.iter().map(|f| f.t_s).collect();
    let course = steadied(&followed, &times_s);
    let soft_over = soft_over_px(allowed_px, elsewhere_px(samples));
    let best_is_soft = best.sigma_px.is_some_and(|s| s > soft_over);
    let sharpest = sharpest_px(&course);
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
            f.cause = Some(cause(f, whole_px(i), added, || {
                something_is_sharp(samples, i, HIT_RATIO * best_s)
            }));
        }
    }
    ClipVerdict {
        frames,
        best_px: best.px,
        reference_px,
        best_is_soft,
        noise_share: best.noise_share,
    }
}

impl ClipFrameVerdict {
    /// A frame before its blur is compared.
    fn unjudged(
        reading: Option<&BoxReading>,
        smear: Option<Smear>,
        noise_seen: bool,
    ) -> ClipFrameVerdict {
        let mut flags = FlagSet::EMPTY;
        if !noise_seen {
            flags.raise(Flag::NoiseUnseen);
        }
        match reading {
            None => flags.raise(Flag::SubjectLost),
            Some(reading) if reading.at_border => flags.raise(Flag::AtBorder),
            Some(_) => {}
        }
        ClipFrameVerdict {
            verdict: Verdict::Unclear,
            cause: None,
            blur: reading.and_then(|r| r.tile.measured()),
            ratio: None,
            energy: reading.map(|r| r.energy),
            smear: smear.filter(|_| reading.is_some()),
            flags,
        }
    }

    /// Says why nothing can be said.
    fn withhold(&mut self, cause: Cause, flag: Flag) {
        self.cause = Some(cause);
        self.flags.raise(flag);
    }
}

/// The frames with most energy that have edges.
#[derive(Debug)]
struct BestFrames {
    /// The one with most.
    first: Option<usize>,
    /// Blur at their middle, px, with its error.
    px: Option<Measured>,
    /// The same, px.
    sigma_px: Option<f64>,
    /// Energy at their middle, where there is any.
    energy: Option<f64>,
    /// Share of it that is noise, at their middle.
    noise_share: Option<f64>,
}

impl BestFrames {
    fn of(read: &[ReadFrame]) -> BestFrames {
        let mut best: Vec<(usize, BoxReading, f64)> = read
            .iter()
            .enumerate()
            .filter_map(|(i, f)| Some((i, f.reading?, f64::from(f.reading?.tile.sigma_px()?))))
            .collect();
        best.sort_by(|a, b| b.1.energy.total_cmp(&a.1.energy).then(a.0.cmp(&b.0)));
        best.truncate(((read.len() as f64 * BEST.0) as usize).max(BEST.1));
        let mut sigmas: Vec<f64> = best.iter().map(|b| b.2).collect();
        let mut energies: Vec<f64> = best.iter().map(|b| b.1.energy).collect();
        let mut shares: Vec<f64> = best.iter().map(|b| b.1.noise_share).collect();
        let sigma_px = median(&mut sigmas).map(|s| s.max(REFERENCE_FLOOR_PX));
        let px = sigma_px.and_then(|s| {
            let spread = sigmas.iter().map(|v| (v - s).powi(2)).sum::<f64>() / sigmas.len() as f64;
            // The scatter of the frames, and what the method itself leaves open (see the focus map).
            let std_err = (spread / sigmas.len() as f64).sqrt().hypot(0.1 * s);
            Measured::new(s, std_err, sigmas.len() as u32)
        });
        BestFrames {
            first: best.first().map(|b| b.0),
            px,
            sigma_px,
            energy: median(&mut energies).filter(|e| *e > 0.0),
            noise_share: median(&mut shares),
        }
    }

    /// Blur, px, and energy that frames are compared with; else why the frame cannot be judged.
    fn scale(&self, frame: &mut ClipFrameVerdict) -> Option<(f64, f64)> {
        let Some(scale) = self.sigma_px.zip(self.energy) else {
            frame.withhold(Cause::NoTexture, Flag::NoTexture);
            return None;
        };
        if self.noise_share.is_none_or(|s| s > DROWNED) {
            frame.withhold(Cause::Noise, Flag::MostlyNoise);
            return None;
        }
        Some(scale)
    }
}

/// Blur above which even the best frames are soft, px, from what the settings allow and what is
/// reached elsewhere.
fn soft_over_px(allowed_px: Option<f64>, elsewhere_px: Option<f64>) -> f64 {
    let (never, always) = SOFT_BETWEEN_PX;
    let over = match (allowed_px, elsewhere_px) {
        (Some(allowed), _) => SOFT_RATIO * allowed,
        (None, Some(elsewhere)) => (SOFT_RATIO * elsewhere).min(always),
        (None, None) => always,
    };
    over.max(never)
}

/// Blur of the sharpest part of a course of squares of blur, px.
fn sharpest_px(course: &[Option<f64>]) -> Option<f64> {
    let mut least: Vec<f64> = course.iter().flatten().map(|px2| px2.sqrt()).collect();
    least.sort_by(f64::total_cmp);
    let take = ((least.len() as f64 * REFERENCE.0) as usize).max(REFERENCE.1).min(least.len());
    median(&mut least[..take]).map(|s| s.max(REFERENCE_FLOOR_PX))
}

/// The square of a frame's blur without movement, its variance, and what movement adds.
#[derive(Debug, Clone, Copy)]
struct Followed {
    px2: f64,
    variance: f64,
    moved: f64,
}

impl Followed {
    /// From what is read of a frame, the square of the blur that its movement adds, px², and the
    /// blur, px, and energy of the best frames.
    fn of(reading: &BoxReading, moved: f64, (best_px, best_energy): (f64, f64)) -> Followed {
        let px2 = blur_judged(reading.tile, reading.energy, best_px, best_energy).powi(2);
        let share = reading.noise_share.clamp(0.0, 0.95);
        let scatter = SCATTER.0.hypot(SCATTER.1 * share / (1.0 - share));
        // Blur over all directions holds half of a smear's share.
        let still = (px2 - moved / 2.0).max(MIN_KEPT * px2);
        Followed { px2: still, variance: (scatter * px2).powi(2), moved }
    }

    /// The square of its blur by a course that has this value there; the variances of the course
    /// have to be multiplied by `factor`.
    fn on_course(&self, value: f64, factor: f64) -> f64 {
        let off = self.px2 - value;
        let jolted = off > 0.0 && off * off > JOLTED * factor * self.variance;
        // A parabola may dip below what the frames around show.
        if jolted { self.px2 } else { value.max(MIN_KEPT * self.px2) }
    }
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
        let px2 = on.map_or(f.px2, |(value, factor)| f.on_course(value, factor));
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

#[cfg(test)]
mod tests;
