//! Chances that each frame of a burst is a hit, near or a miss when the depth of its subject is
//! known only by chances, and the frames that could be meant.
//!
//! At every depth, the blur of a frame over the burst's best follows from its plane (see
//! [`super::planes`]), and near the depth of the spot at which the subject is taken to be, half from
//! what was read there. Verdicts are the average over depths; no single depth has to be right.
//! A depth at which even the best frame is blurred makes every frame a miss. Errors of readings:
//! 0.12 in ln at 1, growing to 0.27, from simulated bursts; they, like depths, say which second
//! frame is best where the first is not.

use super::planes::{BurstPlanes, DEPTHS, depth_px};
use statrs::distribution::{ContinuousCDF, Normal};

/// Units of a plane per px of blur.
const PLANE_SCALE: f64 = 1.1;
/// Squared shared blur that a still frame may read, px².
const STILL_PX2: f64 = 0.3;
/// Weight of a reading at the spot against the planes, and how far from the spot's depth it holds,
/// px of blur.
const READING_WEIGHT: (f64, f64) = (0.5, 2.0);
/// What ln ratios are multiplied by: planes and readings at places near the subject draw the
/// frames together (of frames with a chance of .45 of a miss .7 were one).
const STRETCH: f64 = 1.15;
/// Error of ln ratio at 1, its growth per ln, and the ln from which it grows no more.
const ERROR_LN: (f64, f64, f64) = (0.12, 0.15, 1.0);
/// Blur of the best frame over that of the lens in focus beyond which the subject was never
/// reached, and the error of its ln.
const UNREACHED_RATIO: (f64, f64) = (2.0, 0.2);
/// Blur over the best up to which a frame is as good as the best.
const AS_GOOD: f64 = 1.1;
/// Chance that a second frame is as good as the best and the first is not from which it is worth
/// showing.
const WORTH_SHOWING: f64 = 0.04;
/// Depths less likely than this share of the likeliest are left out when second frames are compared.
const LIKELY_SHARE: f64 = 1e-3;
/// Blurs over the best at which second frames are compared: from, to (ln) and how many.
const COMPARED_LN: (f64, f64, usize) = (-0.5, 1.2, 41);

/// What is expected of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Blur over that of the burst's best, 1 at least.
    pub ratio: f64,
    /// One standard deviation of ln ratio: depths and readings.
    pub sd_ln: f64,
    /// Chances of hit, near and miss; they sum to 1.
    pub chances: [f64; 3],
}

/// What is expected of a burst.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedBurst {
    /// Its frames.
    pub frames: Vec<Expected>,
    /// The frame with the least expected blur.
    pub best: usize,
    /// The frame that is best where that one is not, and the mean depth there, px of blur.
    pub other: Option<(usize, f64)>,
}

/// What was read at the spot at which the subject is taken to be.
#[derive(Debug, Clone, PartialEq)]
pub struct SpotReadings {
    /// Its depth, px of blur.
    pub depth_px: f64,
    /// ln of the blur of each frame there, up to one constant; `None` where nothing was read.
    pub ln: Vec<Option<f64>>,
}

/// Chance at each depth that no plane of the burst came near a subject there, so that even its
/// best frame is blurred. `in_focus_px` is the blur of the lens in focus.
pub fn unreached(planes: &BurstPlanes, in_focus_px: f64) -> Vec<f64> {
    let standard = Normal::standard();
    let (ratio, error) = UNREACHED_RATIO;
    (0..DEPTHS)
        .map(|g| {
            let blurs = plane_ln(planes, in_focus_px, depth_px(g));
            let best = blurs.into_iter().fold(f64::MAX, f64::min) - in_focus_px.ln();
            standard.cdf((best - ratio.ln()) / error)
        })
        .collect()
}

/// Expectations over the chances of depths and the chance at each that the burst reached a subject
/// there. `in_focus_px` is the blur of the lens in focus, `limits` the ratios up to which a frame is
/// a hit and near. `None` without frames.
pub fn expected(
    planes: &BurstPlanes,
    (chance, reached): (&[f64], &[f64]),
    readings: &SpotReadings,
    in_focus_px: f64,
    limits: (f64, f64),
) -> Option<ExpectedBurst> {
    let rows = ln_ratios(planes, readings, in_focus_px);
    let reached: Vec<f64> = chance.iter().zip(reached).map(|(c, r)| c * r).collect();
    let mean = |row: &[f64]| row.iter().zip(chance).map(|(r, c)| r * c).sum::<f64>();
    let means: Vec<f64> = rows.iter().map(|r| mean(r)).collect();
    let best = (0..rows.len()).min_by(|a, b| means[*a].total_cmp(&means[*b]))?;
    let frames = rows
        .iter()
        .zip(&means)
        .map(|(row, m)| {
            let of_depth = row.iter().zip(chance).map(|(r, c)| c * (r - m).powi(2)).sum::<f64>();
            Expected {
                ratio: (m - means[best]).exp(),
                sd_ln: of_depth.sqrt().hypot(error_ln(m - means[best])),
                chances: chances_of(row, &reached, ERROR_LN, limits),
            }
        })
        .collect();
    Some(ExpectedBurst { frames, best, other: other(&rows, &reached, best) })
}

/// ln blur over the best of the burst: a row per frame, a value per depth.
fn ln_ratios(planes: &BurstPlanes, readings: &SpotReadings, in_focus_px: f64) -> Vec<Vec<f64>> {
    let at_depths: Vec<Vec<f64>> = (0..DEPTHS)
        .map(|g| ln_ratios_at(plane_ln(planes, in_focus_px, depth_px(g)), readings, depth_px(g)))
        .collect();
    (0..planes.plane_px.len()).map(|i| at_depths.iter().map(|row| row[i]).collect()).collect()
}

/// ln blur of each frame at one depth, from the planes.
fn plane_ln(planes: &BurstPlanes, in_focus_px: f64, at_px: f64) -> Vec<f64> {
    let of = |(plane, shared): (&f64, &f64)| {
        let off = (plane - at_px) / PLANE_SCALE;
        let moved = (shared * shared - STILL_PX2).max(0.0);
        0.5 * (in_focus_px * in_focus_px + off * off + moved).ln()
    };
    planes.plane_px.iter().zip(&planes.shared_px).map(of).collect()
}

/// ln blur over the best of the burst at one depth, from the planes' and what was read at the spot.
fn ln_ratios_at(by_plane: Vec<f64>, readings: &SpotReadings, at_px: f64) -> Vec<f64> {
    let read = |i: usize| readings.ln.get(i).copied().flatten();
    let both = || by_plane.iter().enumerate().filter_map(|(i, ln)| Some(ln - read(i)?));
    let count = both().count();
    let offset = both().sum::<f64>() / count.max(1) as f64;
    let away = (at_px - readings.depth_px) / READING_WEIGHT.1;
    // A single reading has nothing to be compared with.
    let weight = if count > 1 { READING_WEIGHT.0 * (-0.5 * away * away).exp() } else { 0.0 };
    let joined = by_plane.iter().enumerate().map(|(i, plane)| {
        read(i).map_or(*plane, |spot| (1.0 - weight) * plane + weight * (spot + offset))
    });
    let joined: Vec<f64> = joined.collect();
    let best = joined.iter().copied().fold(f64::MAX, f64::min);
    joined.into_iter().map(|ln| STRETCH * (ln - best)).collect()
}

/// Error of a ln ratio.
fn error_ln(ln_ratio: f64) -> f64 {
    error_at(ERROR_LN, ln_ratio)
}

fn error_at((at_one, growth, most): (f64, f64, f64), ln_ratio: f64) -> f64 {
    at_one + growth * ln_ratio.clamp(0.0, most)
}

/// Chances of hit, near and miss of a frame from its ln ratio in each case that could be, the chance
/// of each case (what they fall short of 1 is a miss), the error of a ln ratio at 1 with its
/// growth per ln and the ln from which it grows no more, and the ratios up to which it is a hit
/// and near.
pub fn chances_of(
    ln_ratio: &[f64],
    chance: &[f64],
    error: (f64, f64, f64),
    (hit, near): (f64, f64),
) -> [f64; 3] {
    let standard = Normal::standard();
    let mut out = [0f64; 3];
    for (ln, weight) in ln_ratio.iter().zip(chance) {
        let error = error_at(error, *ln);
        let within_hit = standard.cdf((hit.ln() - ln) / error);
        let within_near = standard.cdf((near.ln() - ln) / error);
        out[0] += weight * within_hit;
        out[1] += weight * (within_near - within_hit);
    }
    out[2] = (1.0 - out[0] - out[1]).max(0.0);
    out
}

/// The frame that is most often as good as the best where `first` is not, and the mean depth there.
fn other(rows: &[Vec<f64>], chance: &[f64], first: usize) -> Option<(usize, f64)> {
    let most = chance.iter().copied().fold(0.0, f64::max);
    let mut served = vec![(0.0, 0.0); rows.len()];
    for g in (0..chance.len()).filter(|g| chance[*g] > LIKELY_SHARE * most) {
        let ln: Vec<f64> = rows.iter().map(|row| row[g]).collect();
        for (sum, gain) in served.iter_mut().zip(second_chances(&ln, first)) {
            sum.0 += chance[g] * gain;
            sum.1 += chance[g] * gain * depth_px(g);
        }
    }
    let all = served.into_iter().enumerate();
    let (frame, (share, depth)) = all.max_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    (share >= WORTH_SHOWING).then(|| (frame, depth / share))
}

/// Chance of each frame that it is as good as the best and frame `first` is not, when the ln
/// blurs are known with their errors: that the sharper of the two is, less that the first is.
fn second_chances(ln: &[f64], first: usize) -> Vec<f64> {
    let standard = Normal::standard();
    let (from, to, steps) = COMPARED_LN;
    let step = (to - from) / (steps - 1) as f64;
    let mut sums = vec![0.0; ln.len()];
    let mut before: Option<Vec<f64>> = None;
    for k in 0..steps {
        let at = from + step * k as f64;
        let blurred = |limit: f64| -> Vec<f64> {
            ln.iter().map(|l| standard.sf((limit - l) / error_ln(*l))).collect()
        };
        // That each frame is more blurred than this, and that it is no better than the sharper of
        // the two in the middle of the step.
        let beyond = blurred(at);
        let others = blurred(at - 0.5 * step - AS_GOOD.ln());
        let last = before.replace(beyond.clone()).unwrap_or_else(|| vec![1.0; ln.len()]);
        let all: f64 = others.iter().product();
        // Without some of the frames; the product is never 0 in the range compared.
        let without = |i: usize| all / others[i].max(f64::MIN_POSITIVE);
        let alone = (last[first] - beyond[first]) * without(first);
        for (i, sum) in sums.iter_mut().enumerate().filter(|(i, _)| *i != first) {
            let either = last[first] * last[i] - beyond[first] * beyond[i];
            *sum += either * without(first) / others[i].max(f64::MIN_POSITIVE) - alone;
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    fn planes(plane_px: &[f64]) -> BurstPlanes {
        let shared_px = vec![0.0; plane_px.len()];
        BurstPlanes { plane_px: plane_px.to_vec(), shared_px, places: Vec::new(), fit: -0.2 }
    }

    /// All of the chance at some depths, evenly.
    fn at(depths: &[f64]) -> Vec<f64> {
        let nearest = |d: f64| {
            (0..DEPTHS)
                .min_by(|a, b| (depth_px(*a) - d).abs().total_cmp(&(depth_px(*b) - d).abs()))
                .unwrap()
        };
        let mut chance = vec![0.0; DEPTHS];
        depths.iter().for_each(|d| chance[nearest(*d)] += 1.0 / depths.len() as f64);
        chance
    }

    const LIMITS: (f64, f64) = (1.3, 2.0);

    /// Expectations with all depths reached.
    fn of(planes: &BurstPlanes, chance: &[f64], readings: &SpotReadings) -> ExpectedBurst {
        expected(planes, (chance, &[1.0; DEPTHS]), readings, 1.0, LIMITS).unwrap()
    }

    fn silent(n: usize) -> SpotReadings {
        SpotReadings { depth_px: 0.0, ln: vec![None; n] }
    }

    #[test]
    fn at_a_known_depth_the_frame_in_focus_is_picked_and_ratios_are_those_of_its_planes() {
        let planes = planes(&[0.0, PLANE_SCALE, 3.0 * PLANE_SCALE]);
        let found = of(&planes, &at(&[0.0]), &silent(3));
        assert_eq!((found.best, found.other), (0, None));
        // Blur of 1 px in focus joined by 1 and 3 px: the root of the sum of squares.
        let stretched = |ratio: f64| ratio.powf(STRETCH);
        approx::assert_abs_diff_eq!(found.frames[1].ratio, stretched(2f64.sqrt()), epsilon = 1e-9);
        approx::assert_abs_diff_eq!(found.frames[2].ratio, stretched(10f64.sqrt()), epsilon = 1e-9);
        let chances = |i: usize| found.frames[i].chances;
        assert!(chances(0)[0] > 0.95 && chances(1)[1] > 0.6 && chances(2)[2] > 0.95);
        for frame in &found.frames {
            approx::assert_abs_diff_eq!(frame.chances.iter().sum::<f64>(), 1.0, epsilon = 1e-9);
        }
    }

    #[test]
    fn two_depths_that_could_be_meant_give_two_frames_and_open_verdicts() {
        let planes = planes(&[-3.0, 0.0, 3.0]);
        let chance = at(&[-3.0, -3.0, 3.0]);
        let found = of(&planes, &chance, &silent(3));
        let (other, depth) = found.other.unwrap();
        assert_eq!((found.best, other), (0, 2));
        approx::assert_abs_diff_eq!(depth, 3.0, epsilon = 0.13);
        let first = found.frames[0].chances;
        assert!((first[0] - 2.0 / 3.0).abs() < 0.05 && (first[2] - 1.0 / 3.0).abs() < 0.05);
        // The spread of depths is part of the error.
        assert!(found.frames[0].sd_ln > 0.4);
    }

    #[test]
    fn of_frames_that_are_nearly_equal_a_second_is_offered_though_the_depth_is_known() {
        let planes = planes(&[0.0, 0.4, 3.0]);
        let found = of(&planes, &at(&[0.0]), &silent(3));
        assert_eq!((found.best, found.other.unwrap().0), (0, 1));
        // By simulation of the errors, 10⁶ draws in NumPy: 0.140 and 0.005.
        let gains = second_chances(&[0.0, 0.1, 0.5], 0);
        assert!((gains[1] - 0.140).abs() < 0.01 && (gains[2] - 0.005).abs() < 0.003, "{gains:?}");
    }

    #[test]
    fn readings_at_the_spot_decide_between_frames_whose_planes_are_equal_there_only() {
        let planes = planes(&[0.0, 0.0]);
        let readings = SpotReadings { depth_px: 0.0, ln: vec![Some(0.6), Some(0.2)] };
        let found = of(&planes, &at(&[0.0]), &readings);
        assert_eq!(found.best, 1);
        let half = (STRETCH * READING_WEIGHT.0 * 0.4).exp();
        approx::assert_abs_diff_eq!(found.frames[0].ratio, half, epsilon = 1e-9);
        let away = of(&planes, &at(&[8.0]), &readings);
        assert!(away.frames[0].ratio < 1.001, "{}", away.frames[0].ratio);
        let none = self::planes(&[]);
        let chance = at(&[0.0]);
        assert_eq!(expected(&none, (&chance, &chance), &silent(0), 1.0, LIMITS), None);
    }

    #[test]
    fn a_subject_beyond_all_planes_makes_every_frame_a_miss() {
        let planes = planes(&[-0.5, 0.0, 0.5]);
        let unreached = unreached(&planes, 1.0);
        let nearest = |d: f64| at(&[d]).iter().position(|c| *c > 0.0).unwrap();
        // Twice the lens's blur lies 1.7 px of blur beyond the last plane.
        assert!(unreached[nearest(0.0)] < 0.01 && unreached[nearest(1.0)] < 0.02);
        assert!((unreached[nearest(2.4)] - 0.5).abs() < 0.1 && unreached[nearest(4.0)] > 0.95);
        let reached: Vec<f64> = unreached.iter().map(|u| 1.0 - u).collect();
        let chance = at(&[0.0, 6.0]);
        let found = expected(&planes, (&chance, &reached), &silent(3), 1.0, LIMITS).unwrap();
        for frame in &found.frames {
            assert!((frame.chances[2] - 0.5).abs() < 0.05, "{frame:?}");
        }
    }
}
