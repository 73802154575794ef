//! The verdict on every frame of a burst: how sharp the subject is against the best that the
//! burst and its settings give, and what cost the rest.

use std::borrow::Borrow;

use rayon::prelude::*;

use super::shot::{Patch, Shot, patch_corner};
use super::trace::{self, Place};
use crate::base::{Flag, FlagSet, Measured};
use crate::measure::band_noise::BandNoise;
use crate::measure::blur::S1_SQUARED;
use crate::measure::direction::{Smear, smear};
use crate::measure::focus_map::{FocusMap, TILE_PX, Tile};
use crate::measure::smear_spectrum;
use crate::measure::subject::{BOX_PX, BOX_RANGE_PX, REACH_PX, SubjectBox, SubjectSums};
use crate::report::record::{Call, Cause, CauseShare, SubjectFound};

/// Blur over the reference up to which a frame is a hit.
pub const HIT_RATIO: f64 = 1.3;
/// Blur over the reference up to which a frame is near.
pub const NEAR_RATIO: f64 = 2.0;
/// No reference is taken finer than this: half a pixel is beyond what a file resolves, px.
const REFERENCE_FLOOR_PX: f64 = 0.5;
/// A burst's best this many times softer than its settings allow is itself soft.
const SOFT_RATIO: f64 = 2.5;
/// The same against the sharpest area anywhere in the burst, for want of settings.
const SOFT_AGAINST_ELSEWHERE: f64 = 2.5;
/// A best blur below this is never called soft, px.
const SOFT_FLOOR_PX: f64 = 2.0;
/// Without settings and without a sharp area, a best blur above this is soft, px.
const SOFT_UNKNOWN_PX: f64 = 4.0;
/// Share of the Laplacian energy from which noise alone explains what is seen.
const NOISE_DROWNS: f64 = 0.90;
/// Energy must exceed this many of its standard errors to count as seen.
const ENERGY_SEEN: f64 = 2.0;
/// Dense energy must exceed this many standard errors of the energy to count as seen; it is less
/// certain than the energy itself.
const DENSE_SEEN: f64 = 5.0;
/// Energy over dense energy, against the burst's usual, from which a frame's is sparse: hairs
/// across soft eyes reach 10 to 40, noise and pose alone 2.5.
const SPARSE_RATIO: f64 = 4.0;
/// Dense energy below this share of the energy is no even texture (simulated subjects: 0.2-0.8).
const SPARSE_SHARE: f64 = 0.1;
/// Energy below this share of what the edges promise is a veil over a sharp picture.
const VEILED: f64 = 0.7;
/// Share of clipped pixels in the subject box from which nothing is said.
const CLIPPED_MOST: f64 = 0.5;
/// Mean luma of the subject below which it is too dark to judge, 8-bit steps.
const DARK_DN: f64 = 10.0;
/// Sharp 64-px tiles that must hang together to count as a sharp area.
const CLUSTER_LEAST: usize = 5;
/// How well the directions of a frame's boxes must agree (length of the mean of e^2iθ).
const AGREE: f64 = 0.85;
/// Boxes that must agree.
const AGREE_BOXES: usize = 2;
/// Share of a frame's readable boxes that must show movement when the subject's does not.
const AGREE_SHARE: f64 = 0.5;
/// Readings of noise (variances) up to this much apart are those of the same noise.
const NOISE_ALIKE: f64 = 2.0;
/// Ratio of gradient variance before to after smoothing that is noise beyond doubt: white noise
/// gives 22, demosaiced or compressed less; fine regular texture gives less still, or far more.
const NOISE_PLAIN: std::ops::RangeInclusive<f32> = 8.0..=30.0;
/// Share of the directional scatter that a movement must explain, and its least length, px.
const EXPLAINED_LEAST: f64 = 0.5;
/// See [`EXPLAINED_LEAST`].
const MOVED_LEAST_PX: f64 = 2.5;
/// A box shows a direction when its swing exceeds this many of its errors.
const DIRECTION_SEEN_Z: f64 = 2.5;
/// Directions nearer than this are one, degrees.
const SAME_DIRECTION_DEG: f64 = 25.0;
/// Noise assumed where none shows and no level can be read, 8-bit steps.
pub const UNSEEN_SIGMA_DN: f64 = 0.5;

/// Side of the patch around the subject: what measuring needs and a margin for the picture, px.
pub const PATCH_PX: usize = 448;

/// Fetches pixels of a frame again: frame, left, top, side.
pub type Fetch<'a> = dyn Fn(usize, usize, usize, usize) -> Option<Patch> + Sync + 'a;

/// A point marked by the user.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Frame in which it is marked.
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// Side of the box in which the subject is measured, px; the usual one when `None`.
    pub box_px: Option<usize>,
}

/// Side of the box for a subject of a width and height, px.
pub fn box_for(width_px: f64, height_px: f64) -> usize {
    let side = (width_px.max(height_px) / TILE_PX as f64).round() as usize * TILE_PX;
    side.clamp(*BOX_RANGE_PX.start(), *BOX_RANGE_PX.end())
}

/// One frame after its burst is judged.
#[derive(Debug, Clone)]
pub struct Judged {
    /// Where the subject is.
    pub place: Option<Place>,
    /// What its box holds.
    pub subject: Option<SubjectBox>,
    /// Blur by which the verdict is made, px: the mean of edge and energy blur, with movement.
    pub judged_px: Option<Measured>,
    /// That over the reference.
    pub ratio: Option<Measured>,
    /// Movement, when found.
    pub movement: Option<Movement>,
    /// The verdict.
    pub call: Call,
    /// What cost the rest, largest first.
    pub causes: Vec<CauseShare>,
    /// Sharpest area: centre in px of the file and blur.
    pub sharpest: Option<(f64, f64, Measured)>,
    /// Share of tiles with a value whose blur is within the hit limit.
    pub sharp_area: Option<f64>,
    /// Number of 64-px tiles in the largest connected sharp area.
    pub sharp_cluster: usize,
    /// Flags.
    pub flags: FlagSet,
}

/// Movement found in a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// The fit.
    pub smear: Smear,
    /// Whether the whole frame moved (else only the subject).
    pub whole_frame: bool,
}

/// A judged burst.
#[derive(Debug, Clone)]
pub struct BurstJudged {
    /// Its frames, in the order given.
    pub frames: Vec<Judged>,
    /// The best frame.
    pub best: Option<usize>,
    /// How the subject was found.
    pub found: SubjectFound,
    /// How far an automatic subject stands out, 0..1.
    pub confidence: Option<f64>,
    /// The noise model of the burst.
    pub noise: BandNoise,
    /// Whether any frame showed its noise.
    pub noise_seen: bool,
    /// Maps under that model.
    pub maps: Vec<FocusMap>,
    /// The blur that verdicts are relative to, px.
    pub reference_px: Option<f64>,
    /// Whether even the best is soft.
    pub best_is_soft: bool,
}

/// One noise model for the whole burst, and whether any frame showed its noise.
///
/// Frames of a burst share their noise and texture only adds to what a frame reads, so a frame
/// that reads much more than the quietest one reads texture. Of the others the one that shows
/// its noise best speaks for all. Where none shows it: white noise no stronger than the quietest
/// tiles allow.
pub fn burst_noise(shots: &[&Shot]) -> (BandNoise, bool) {
    let read = || shots.iter().filter_map(|s| s.noise);
    let Some(least) = read().map(|n| strength(&n)).min_by(f64::total_cmp) else {
        return (BandNoise::white(UNSEEN_SIGMA_DN), false);
    };
    let alike = read().filter(|n| n.is_seen() && strength(n) <= NOISE_ALIKE * least);
    if let Some(best) = alike.max_by(|a, b| a.ratio.total_cmp(&b.ratio)) {
        return (best, true);
    }
    let variance = |n: &BandNoise| n.levels[0].n1.at(128.0);
    let quietest = read().map(|n| variance(&n)).min_by(f64::total_cmp);
    (
        quietest.map_or_else(|| BandNoise::white(UNSEEN_SIGMA_DN), |v| BandNoise::white(v.sqrt())),
        false,
    )
}

/// Variance of noise in the band that ranks frames, at middle grey.
fn strength(noise: &BandNoise) -> f64 {
    noise.levels[1].lap.at(128.0)
}

/// The model for one frame: that of the burst, unless the frame itself clearly shows more noise
/// (another ISO setting). Smaller differences are chance, and changing the model from frame to
/// frame costs more than they do.
fn frame_noise(shot: &Shot, burst: &BandNoise) -> BandNoise {
    match shot.noise {
        Some(own)
            if NOISE_PLAIN.contains(&own.ratio)
                && strength(&own) > NOISE_ALIKE * strength(burst) =>
        {
            own
        }
        _ => *burst,
    }
}

/// Judges a burst.
///
/// `allowed_px[i]` is the blur that frame i's settings can give at best, where known. `fetch`
/// returns pixels around a spot.
pub fn judge<S: Borrow<Shot>>(
    shots: &[S],
    mark: Option<Mark>,
    allowed_px: &[Option<f64>],
    fetch: &Fetch<'_>,
) -> BurstJudged {
    let shots: &[&Shot] = &shots.iter().map(Borrow::borrow).collect::<Vec<_>>();
    let (noise, noise_seen) = burst_noise(shots);
    let models: Vec<BandNoise> = shots.iter().map(|s| frame_noise(s, &noise)).collect();
    let maps: Vec<FocusMap> = shots.par_iter().zip(&models).map(|(s, n)| s.cells.map(n)).collect();
    let (start, found, confidence) = match mark {
        Some(m) => (Some((m.frame, m.x_px, m.y_px)), SubjectFound::Marked, None),
        None => match trace::find(shots, &maps) {
            Some(f) => {
                (Some((f.frame, f.x_px, f.y_px)), SubjectFound::Automatic, Some(f.confidence))
            }
            None => (None, SubjectFound::None, None),
        },
    };
    let places = match start {
        Some((frame, x, y)) => trace::follow_all(shots, frame, x, y),
        None => vec![None; shots.len()],
    };
    let box_px = mark.and_then(|m| m.box_px).unwrap_or(BOX_PX);
    let mut boxes: Vec<Option<SubjectBox>> = places
        .par_iter()
        .enumerate()
        .map(|(i, place)| subject_box(i, (*place)?, shots[i], (&models[i], box_px), fetch))
        .collect();
    let sparse = without_sparse(&mut boxes);
    let mut burst = BurstJudged {
        frames: Vec::with_capacity(shots.len()),
        best: None,
        found,
        confidence,
        noise,
        noise_seen,
        maps,
        reference_px: None,
        best_is_soft: false,
    };
    let best = boxes
        .iter()
        .enumerate()
        .filter_map(|(i, b)| Some((i, b.as_ref()?)))
        .filter(|(_, b)| b.energy > ENERGY_SEEN * b.energy_std_err && b.clipped < CLIPPED_MOST)
        .max_by(|a, b| a.1.energy.total_cmp(&b.1.energy).then(b.0.cmp(&a.0)))
        .map(|(i, _)| i);
    let sharpest: Vec<_> = burst.maps.iter().map(sharpest_area).collect();
    let best_px = best.and_then(|i| boxes[i].as_ref()).and_then(|b| edge_px(&b.tile));
    let limits = limits(best, best_px, allowed_px, &sharpest, shots.len());
    burst.reference_px = limits.map(|l| l.reference_px);
    burst.best_is_soft = limits.is_some_and(|l| l.best_is_soft);
    for i in 0..shots.len() {
        let against = best.filter(|b| *b != i).and_then(|b| boxes[b].as_ref()).zip(best_px);
        let judged = Judged {
            place: places[i],
            subject: boxes[i].clone(),
            judged_px: None,
            ratio: None,
            movement: movement(shots[i], boxes[i].as_ref(), against),
            call: Call::CannotSay,
            causes: Vec::new(),
            sharpest: sharpest[i],
            sharp_area: None,
            sharp_cluster: 0,
            flags: FlagSet::EMPTY,
        };
        let against = Against {
            best: best.and_then(|b| boxes[b].as_ref()).zip(best_px),
            limits,
            sparse: sparse[i],
            alone: shots.len() == 1,
        };
        burst.frames.push(verdict(judged, against, &burst.maps[i]));
    }
    if found == SubjectFound::Automatic {
        burst.frames.iter_mut().for_each(|f| f.flags.raise(Flag::SubjectGuessed));
    }
    if shots.len() == 1 {
        burst.frames.iter_mut().for_each(|f| f.flags.raise(Flag::Alone));
    }
    burst.best = best;
    burst
}

fn subject_box(
    frame: usize,
    place: Place,
    shot: &Shot,
    (noise, box_px): (&BandNoise, usize),
    fetch: &Fetch<'_>,
) -> Option<SubjectBox> {
    let size = (shot.width_px, shot.height_px);
    let (x0, y0) = patch_corner(place.x_px, place.y_px, 2 * REACH_PX, size);
    let patch = fetch(frame, x0, y0, 2 * REACH_PX)?;
    let (x, y) = (place.x_px - patch.x0 as f64, place.y_px - patch.y0 as f64);
    Some(SubjectSums::measure_box(&patch.luma(), x, y, box_px)?.under(noise))
}

/// Takes out of the ranking energies what hairs, specks or rims lying across the subject add to
/// them, and says in which frames that was done.
///
/// Energy over dense energy depends on the subject's texture, hardly on its blur (in simulated
/// bursts it stays within 2.5 of the usual): a frame where it is much larger owes its
/// energy to something sparse. A burst without even texture anywhere has nothing to compare with:
/// its sparse frames are flagged, no more.
fn without_sparse(boxes: &mut [Option<SubjectBox>]) -> Vec<bool> {
    let usable = |b: &&SubjectBox| b.clipped < CLIPPED_MOST;
    let even = |b: &&SubjectBox| {
        b.dense_energy > (DENSE_SEEN * b.energy_std_err).max(SPARSE_SHARE * b.energy)
    };
    let mut ratios: Vec<(f64, f64)> = boxes
        .iter()
        .flatten()
        .filter(usable)
        .filter(even)
        .map(|b| (b.energy / b.dense_energy, b.dense_energy))
        .collect();
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let middle = ratios.get(ratios.len().saturating_sub(1) / 2).map(|r| r.0);
    let best = ratios.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|r| r.0);
    let usual = middle.zip(best).map(|(m, b)| m.min(b));
    boxes
        .iter_mut()
        .map(|b| {
            let Some(b) = b.as_mut().filter(|b| b.energy > ENERGY_SEEN * b.energy_std_err) else {
                return false;
            };
            let most = b.dense_energy.max(0.0) + ENERGY_SEEN * b.energy_std_err;
            let Some(usual) = usual else {
                if most < SPARSE_SHARE * b.energy {
                    b.flags.raise(Flag::Sparse);
                }
                return false;
            };
            let sparse = b.energy > SPARSE_RATIO * usual * most;
            if sparse {
                b.energy = usual * b.dense_energy;
                b.flags.raise(Flag::Sparse);
            }
            sparse
        })
        .collect()
}

fn edge_px(tile: &Tile) -> Option<f64> {
    match *tile {
        Tile::Blur { sigma_px, .. } => Some(f64::from(sigma_px)),
        Tile::Bound(px) => Some(f64::from(px)),
        Tile::NoTexture => None,
    }
}

/// What verdicts of a burst are relative to.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Limits {
    reference_px: f64,
    best_is_soft: bool,
}

fn limits(
    best: Option<usize>,
    best_px: Option<f64>,
    allowed_px: &[Option<f64>],
    sharpest: &[Option<(f64, f64, Measured)>],
    frames: usize,
) -> Option<Limits> {
    let allowed = best.and_then(|i| allowed_px.get(i).copied().flatten());
    let elsewhere = sharpest.iter().flatten().map(|s| s.2.value).min_by(f64::total_cmp);
    let best_px = best_px?.max(REFERENCE_FLOOR_PX);
    // The finest blur that anything says is possible here.
    let soft_over = match (allowed, elsewhere) {
        (Some(a), Some(e)) => (SOFT_RATIO * a).min(SOFT_AGAINST_ELSEWHERE * e.max(a)),
        (Some(a), None) => SOFT_RATIO * a,
        (None, Some(e)) => (SOFT_AGAINST_ELSEWHERE * e).min(SOFT_UNKNOWN_PX),
        (None, None) => SOFT_UNKNOWN_PX,
    }
    .max(SOFT_FLOOR_PX);
    let best_is_soft = best_px > soft_over;
    let possible = allowed.or(elsewhere).unwrap_or(REFERENCE_FLOOR_PX).max(REFERENCE_FLOOR_PX);
    let reference_px = if best_is_soft {
        (soft_over / HIT_RATIO).max(possible)
    } else if frames == 1 {
        // Nothing to compare with: what the settings or the rest of the frame can give, with a
        // lens a little short of perfect.
        possible.max(best_px / SOFT_RATIO)
    } else {
        best_px
    };
    Some(Limits { reference_px, best_is_soft })
}

/// Movement of a frame, judged first by the spectra about the subject against the best frame,
/// and where those cannot tell by edges sorted by direction.
fn movement(
    shot: &Shot,
    subject: Option<&SubjectBox>,
    best: Option<(&SubjectBox, f64)>,
) -> Option<Movement> {
    let boxes: Vec<Smear> = shot.boxes.iter().filter_map(|b| smear(&b.profile, None)).collect();
    if let (Some(s), Some((b, best_px))) = (subject, best)
        && let (Some(own), Some(reference)) = (&s.spectrum, &b.spectrum)
        && let Some(found) = smear_spectrum::against(
            (&own.0, &own.1, s.mean_dn),
            (&reference.0, &reference.1, b.mean_dn),
        )
    {
        let moved = found.explained > EXPLAINED_LEAST && found.length_px > MOVED_LEAST_PX;
        return moved.then(|| {
            let swing = found.length_px.powi(2) / 24.0;
            let mean = best_px * best_px + swing;
            let smear = Smear {
                mean_px2: mean,
                swing_px2: swing,
                length_px: found.length_px,
                length_std_err_px: found.length_std_err_px,
                direction_deg: found.direction_deg,
                z: found.length_px / found.length_std_err_px,
                fraction: swing / mean,
            };
            Movement { smear, whole_frame: shared_by_frame(&boxes, found.direction_deg) }
        });
    }
    let best = best.map(|b| b.0);
    // Fine structure shows a short smear best, coarse structure a long one: a smear keeps just
    // those fine edges that lie along it. So either level may find it.
    let own = subject.and_then(|s| {
        [0, 1].iter().filter_map(|l| smear(&s.profiles[*l], best.map(|b| &b.profiles[*l]))).max_by(
            |a, b| {
                let key = |s: &Smear| (s.is_movement(), s.z);
                key(a).0.cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1))
            },
        )
    });
    let moving: Vec<&Smear> = boxes.iter().filter(|s| s.is_movement()).collect();
    let (mut c, mut s) = (0f64, 0f64);
    for m in &moving {
        let a = (2.0 * m.direction_deg).to_radians();
        c += a.cos();
        s += a.sin();
    }
    let n = moving.len() as f64;
    let agree = moving.len() >= AGREE_BOXES && c.hypot(s) / n > AGREE;
    match own.filter(Smear::is_movement) {
        Some(smear) => Some(Movement {
            smear,
            whole_frame: agree || moving.is_empty() && boxes.len() < AGREE_BOXES,
        }),
        None if agree && n >= AGREE_SHARE * boxes.len() as f64 => {
            // The frame moved; the subject's own edges just do not show it.
            let mut lengths: Vec<&Smear> = moving;
            lengths.sort_by(|a, b| a.length_px.total_cmp(&b.length_px));
            Some(Movement { smear: *lengths[lengths.len() / 2], whole_frame: true })
        }
        None => None,
    }
}

/// Whether a movement at the subject is one of the whole frame: its boxes that show any direction
/// mostly show this one. Where too few do, the hand is the likelier cause.
fn shared_by_frame(boxes: &[Smear], direction_deg: f64) -> bool {
    let telling: Vec<&Smear> = boxes.iter().filter(|s| s.z > DIRECTION_SEEN_Z).collect();
    let off = |s: &Smear| {
        ((s.direction_deg - direction_deg + 90.0).rem_euclid(180.0) - 90.0).abs()
            < SAME_DIRECTION_DEG
    };
    let same = telling.iter().filter(|s| off(s)).count();
    telling.len() < AGREE_BOXES || 2 * same >= telling.len()
}

/// Centre and blur of the sharpest area of a map: the sharpest tile, judged with its neighbours.
fn sharpest_area(map: &FocusMap) -> Option<(f64, f64, Measured)> {
    let mut best: Option<(f64, usize, usize, Measured)> = None;
    for r in 0..map.rows {
        for c in 0..map.cols {
            let Some(Tile::Blur { sigma_px, std_err_px }) = map.at(c, r) else { continue };
            // The median of the tile and its neighbours, so that one hard speck does not win.
            let mut near: Vec<f32> = (r.saturating_sub(1)..(r + 2).min(map.rows))
                .flat_map(|rr| (c.saturating_sub(1)..(c + 2).min(map.cols)).map(move |cc| (cc, rr)))
                .filter_map(|(cc, rr)| map.at(cc, rr).and_then(Tile::sigma_px))
                .collect();
            if near.len() < 4 {
                continue;
            }
            near.sort_unstable_by(f32::total_cmp);
            let median = f64::from(near[near.len() / 2].max(*sigma_px));
            if best.as_ref().is_none_or(|b| median < b.0)
                && let Some(m) = Measured::new(median, f64::from(*std_err_px), near.len() as u32)
            {
                best = Some((median, c, r, m));
            }
        }
    }
    let (_, c, r, m) = best?;
    let centre = |i: usize| (i as f64 + 0.5) * TILE_PX as f64;
    Some((centre(c), centre(r), m))
}

/// Size of the largest connected area of sharp 64-px tiles.
fn sharp_cluster(map: &FocusMap, limit_px: f64) -> usize {
    let (cols, rows) = (map.cols / 2, map.rows / 2);
    let mut sharp = vec![false; cols * rows];
    for r in 0..rows {
        for c in 0..cols {
            let count = [(0, 0), (1, 0), (0, 1), (1, 1)]
                .iter()
                .filter_map(|(dc, dr)| map.at(2 * c + dc, 2 * r + dr).and_then(Tile::sigma_px))
                .filter(|s| f64::from(*s) <= limit_px)
                .count();
            sharp[r * cols + c] = count >= 2;
        }
    }
    let mut largest = 0;
    let mut stack = Vec::new();
    for start in 0..sharp.len() {
        if !std::mem::take(&mut sharp[start]) {
            continue;
        }
        let mut size = 0;
        stack.push(start);
        while let Some(i) = stack.pop() {
            size += 1;
            let (c, r) = (i % cols, i / cols);
            let mut visit = |c: usize, r: usize| {
                let j = r * cols + c;
                if std::mem::take(&mut sharp[j]) {
                    stack.push(j);
                }
            };
            if c > 0 {
                visit(c - 1, r);
            }
            if c + 1 < cols {
                visit(c + 1, r);
            }
            if r > 0 {
                visit(c, r - 1);
            }
            if r + 1 < rows {
                visit(c, r + 1);
            }
        }
        largest = largest.max(size);
    }
    largest
}

/// Blur from energy: at edges the level-1 Laplacian energy falls with the third power of the
/// total width, so the best frame's blur and the two energies give this frame's.
fn energy_px(best_px: f64, best_energy: f64, energy: f64) -> Option<f64> {
    if energy <= 0.0 || best_energy <= 0.0 {
        return None;
    }
    let s1 = S1_SQUARED[1];
    let square = (best_px * best_px + s1) * (best_energy / energy).powf(2.0 / 3.0) - s1;
    Some(square.max(0.0).sqrt())
}

/// Whether a subject's energy (as a share of the best frame's) falls short of what its edges
/// promise against the best frame's: sharp edges in a picture of less contrast, as haze or a
/// smeared second exposure makes it.
fn is_veiled(edge_px: f64, best_px: f64, energy_share: f64) -> bool {
    let s1 = S1_SQUARED[1];
    let promised = (best_px * best_px + s1) / (edge_px.max(best_px).powi(2) + s1);
    edge_px <= HIT_RATIO * best_px.max(REFERENCE_FLOOR_PX)
        && energy_share < VEILED * promised.powf(1.5)
}

/// What one frame is judged against.
#[derive(Clone, Copy)]
struct Against<'a> {
    /// The burst's best box and the blur at its edges, px.
    best: Option<(&'a SubjectBox, f64)>,
    limits: Option<Limits>,
    /// Whether something sparse was taken out of this frame's energy.
    sparse: bool,
    /// Whether the frame is the only one.
    alone: bool,
}

fn verdict(mut j: Judged, against: Against<'_>, map: &FocusMap) -> Judged {
    let Some(subject) = j.subject.clone() else {
        j.flags.raise(Flag::SubjectLost);
        return j;
    };
    j.flags = j.flags.union(subject.flags);
    if subject.mean_dn < DARK_DN {
        j.causes.push(CauseShare { cause: Cause::UnderExposed, share: None });
        return j;
    }
    if subject.clipped > CLIPPED_MOST {
        j.causes.push(CauseShare { cause: Cause::Clipped, share: None });
        return j;
    }
    if against.alone && subject.flags.has(Flag::Sparse) {
        // Hairs across a soft eye and the one edge on a smooth eye look alike.
        j.causes.push(CauseShare { cause: Cause::NoTexture, share: None });
        return j;
    }
    let (Some((best_box, best_px)), Some(limits)) = (against.best, against.limits) else {
        let cause =
            if subject.noise_share > NOISE_DROWNS { Cause::Noise } else { Cause::NoTexture };
        j.causes.push(CauseShare { cause, share: None });
        j.flags.raise(Flag::NoTexture);
        return j;
    };
    if limits.best_is_soft {
        j.flags.raise(Flag::BestIsSoft);
    }
    let hit_px = HIT_RATIO * limits.reference_px;
    let near_px = NEAR_RATIO * limits.reference_px;
    let judged_tiles: Vec<f32> = map.tiles.iter().filter_map(Tile::sigma_px).collect();
    if !judged_tiles.is_empty() {
        let sharp = judged_tiles.iter().filter(|s| f64::from(**s) <= hit_px).count();
        j.sharp_area = Some(sharp as f64 / judged_tiles.len() as f64);
    }
    j.sharp_cluster = sharp_cluster(map, hit_px);
    let energy = energy_px(best_px, best_box.energy, subject.energy);
    let seen = subject.energy > ENERGY_SEEN * subject.energy_std_err;
    // The edges of something sparse say nothing of the subject.
    let edge = edge_px(&subject.tile).filter(|_| !against.sparse);
    let still = match (edge, energy, seen) {
        (Some(a), Some(e), true) => (a * e).sqrt(),
        (None, Some(e), true) => e,
        // Coarse edges that are wide beyond doubt, though the fine scale is drowned.
        (Some(a), _, false) if a > near_px => a,
        _ => {
            // Nothing above noise: the most energy that may hide there bounds blur from below.
            let most = subject.energy.max(0.0) + ENERGY_SEEN * subject.energy_std_err;
            match energy_px(best_px, best_box.energy, most) {
                Some(least) if least > near_px => least,
                _ => {
                    j.flags.raise(Flag::MostlyNoise);
                    j.causes.push(CauseShare { cause: Cause::Noise, share: None });
                    return j;
                }
            }
        }
    };
    if seen && edge.is_some_and(|a| is_veiled(a, best_px, subject.energy / best_box.energy)) {
        j.flags.raise(Flag::Veiled);
    }
    let moved = j.movement.filter(|m| m.smear.worst_px() > hit_px);
    let motion2 = moved.map_or(0.0, |m| m.smear.length_px.powi(2) / 12.0);
    let total = (still * still + motion2).sqrt();
    let edge_err = match subject.tile {
        Tile::Blur { std_err_px, .. } => f64::from(std_err_px) / still.max(0.1),
        _ => 0.15,
    };
    let energy_err =
        if subject.energy > 0.0 { subject.energy_std_err / subject.energy / 3.0 } else { 0.3 };
    let relative = (0.5 * edge_err).hypot(0.5 * energy_err).max(0.02);
    let of_tile = subject.blur_sigma_px().map(|m| m.flags).unwrap_or_default();
    j.flags = j.flags.union(of_tile);
    j.judged_px = Measured::new(total, total * relative, 2).map(|m| m.flagged(of_tile));
    let ratio = total / limits.reference_px;
    j.ratio = Measured::new(ratio, ratio * relative * std::f64::consts::SQRT_2, 2);
    let sharp_edges = edge_px(&subject.tile).is_some_and(|a| a <= hit_px);
    j.call = if total <= hit_px {
        Call::Hit
    } else if total <= near_px {
        Call::Near
    } else {
        Call::Miss
    };
    if moved.is_none() {
        j.movement = None;
    }
    j.causes = causes(&j, moved, total, limits, motion2, against.sparse && sharp_edges);
    j
}

fn causes(
    j: &Judged,
    moved: Option<Movement>,
    total: f64,
    limits: Limits,
    motion2: f64,
    sparse: bool,
) -> Vec<CauseShare> {
    if j.call == Call::Hit {
        return Vec::new();
    }
    let lost = (total.powi(2) - limits.reference_px.powi(2)).max(1e-6);
    let mut causes = Vec::new();
    let mut rest = 1.0;
    if let Some(m) = moved {
        let share = (motion2 / lost).clamp(0.0, 1.0);
        let cause = if m.whole_frame { Cause::Shake } else { Cause::SubjectMotion };
        causes.push(CauseShare { cause, share: Some(share) });
        rest -= share;
    }
    let elsewhere = sparse || j.sharp_cluster >= CLUSTER_LEAST;
    let cause = if elsewhere { Cause::PlaneOff } else { Cause::Soft };
    if rest > 0.25 || causes.is_empty() {
        causes.push(CauseShare { cause, share: Some(rest) });
    }
    causes
}
