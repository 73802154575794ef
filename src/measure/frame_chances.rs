//! Chances that each frame of a burst is a hit, near or a miss when the depth of its subject is
//! known only by chances, and the frames that could be meant.
//!
//! At every depth, the blur of a frame over the burst's best follows from its plane (see
//! [`super::planes`]) and, for the spot at which the subject is taken to be, from the energy there,
//! by the same fall-off. Verdicts are the average over depths; no single depth has to be right.
//! Errors of ratios: 0.10 in ln at 1, growing to 0.25, from simulated bursts.

use super::planes::{BAND_PX2, BurstPlanes, DEPTHS, depth_px};
use statrs::distribution::{ContinuousCDF, Normal};

/// Units of a plane per px of blur.
const PLANE_SCALE: f64 = 1.2;
/// Squared shared blur that a still frame may read, px².
const STILL_PX2: f64 = 0.3;
/// Weight of the energies at the spot against the planes.
const ENERGY_WEIGHT: f64 = 0.3;
/// Error of ln ratio at 1, its growth per ln, and the ln from which it grows no more.
const ERROR_LN: (f64, f64, f64) = (0.10, 0.15, 1.0);
/// Blur over the best up to which a frame is as good as the best.
const AS_GOOD: f64 = 1.1;
/// Chance that another frame is the best from which it is worth showing.
const WORTH_SHOWING: f64 = 0.05;

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

/// Expectations over the chances of depths. `energy` is the energy at the spot in each frame,
/// `in_focus_px` the blur of the lens in focus, `limits` the ratios up to which a frame is a hit
/// and near. `None` without frames.
pub fn expected(
    planes: &BurstPlanes,
    chance: &[f64],
    energy: &[Option<f64>],
    in_focus_px: f64,
    limits: (f64, f64),
) -> Option<ExpectedBurst> {
    let rows = ln_ratios(planes, energy, in_focus_px);
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
                chances: chances(row, chance, limits),
            }
        })
        .collect();
    Some(ExpectedBurst { frames, best, other: other(&rows, chance, best) })
}

/// ln blur over the best of the burst: a row per frame, a value per depth.
fn ln_ratios(planes: &BurstPlanes, energy: &[Option<f64>], in_focus_px: f64) -> Vec<Vec<f64>> {
    let base = in_focus_px * in_focus_px;
    let by_energy = energy_ln(energy, base);
    let at_depths: Vec<Vec<f64>> =
        (0..DEPTHS).map(|g| ln_ratios_at(planes, &by_energy, base, depth_px(g))).collect();
    (0..planes.plane_px.len()).map(|i| at_depths.iter().map(|row| row[i]).collect()).collect()
}

/// ln blur over the best of the burst at one depth, a value per frame.
fn ln_ratios_at(
    planes: &BurstPlanes,
    by_energy: &[Option<f64>],
    base_px2: f64,
    at_px: f64,
) -> Vec<f64> {
    let by_plane: Vec<f64> = planes
        .plane_px
        .iter()
        .zip(&planes.shared_px)
        .map(|(plane, shared)| {
            let off = (plane - at_px) / PLANE_SCALE;
            0.5 * (base_px2 + off * off + (shared * shared - STILL_PX2).max(0.0)).ln()
        })
        .collect();
    let finest = by_plane.iter().copied().fold(f64::MAX, f64::min);
    let joined = by_plane.iter().enumerate().map(|(i, ln)| {
        let plane = ln - finest;
        let spot = by_energy.get(i).copied().flatten();
        spot.map_or(plane, |s| (1.0 - ENERGY_WEIGHT) * plane + ENERGY_WEIGHT * s)
    });
    let joined: Vec<f64> = joined.collect();
    let best = joined.iter().copied().fold(f64::MAX, f64::min);
    joined.into_iter().map(|ln| ln - best).collect()
}

/// ln blur over the best from the energies at the spot.
fn energy_ln(energy: &[Option<f64>], base_px2: f64) -> Vec<Option<f64>> {
    let most = energy.iter().flatten().copied().fold(0.0, f64::max);
    // What lies below noise is at most as blurred as the planes allow.
    let least = 1e-5 * most;
    let of = |e: f64| {
        let more = BAND_PX2 * ((most / e.max(least)).sqrt() - 1.0) / PLANE_SCALE.powi(2);
        0.5 * (1.0 + more / base_px2).ln()
    };
    energy.iter().map(|e| e.filter(|_| most > 0.0).map(of)).collect()
}

/// Error of a ln ratio.
fn error_ln(ln_ratio: f64) -> f64 {
    ERROR_LN.0 + ERROR_LN.1 * ln_ratio.clamp(0.0, ERROR_LN.2)
}

/// Chances of hit, near and miss.
fn chances(row: &[f64], chance: &[f64], (hit, near): (f64, f64)) -> [f64; 3] {
    let standard = Normal::standard();
    let mut out = [0f64; 3];
    for (ln, weight) in row.iter().zip(chance) {
        let error = error_ln(*ln);
        let within_hit = standard.cdf((hit.ln() - ln) / error);
        let within_near = standard.cdf((near.ln() - ln) / error);
        out[0] += weight * within_hit;
        out[1] += weight * (within_near - within_hit);
        out[2] += weight * (1.0 - within_near);
    }
    out
}

/// The frame that is as good as the best at most of the depths at which `first` is not.
fn other(rows: &[Vec<f64>], chance: &[f64], first: usize) -> Option<(usize, f64)> {
    let good = |i: usize, g: usize| rows[i][g] <= AS_GOOD.ln();
    let served = |i: usize| {
        let depths = (0..chance.len()).filter(move |g| !good(first, *g) && good(i, *g));
        depths.fold((0.0, 0.0), |a, g| (a.0 + chance[g], a.1 + chance[g] * depth_px(g)))
    };
    let all = (0..rows.len()).map(|i| (i, served(i)));
    let (frame, (share, depth)) = all.max_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    (share >= WORTH_SHOWING).then(|| (frame, depth / share))
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

    #[test]
    fn at_a_known_depth_the_frame_in_focus_is_picked_and_ratios_are_those_of_its_planes() {
        let planes = planes(&[0.0, 1.2, 3.6]);
        let found = expected(&planes, &at(&[0.0]), &[None; 3], 1.0, LIMITS).unwrap();
        assert_eq!((found.best, found.other), (0, None));
        // Blur of 1 px in focus joined by 1 and 3 px: the root of the sum of squares.
        approx::assert_abs_diff_eq!(found.frames[1].ratio, 2f64.sqrt(), epsilon = 1e-9);
        approx::assert_abs_diff_eq!(found.frames[2].ratio, 10f64.sqrt(), epsilon = 1e-9);
        let chances = |i: usize| found.frames[i].chances;
        assert!(chances(0)[0] > 0.95 && chances(1)[1] > 0.6 && chances(2)[2] > 0.95);
        for frame in &found.frames {
            approx::assert_abs_diff_eq!(frame.chances.iter().sum::<f64>(), 1.0, epsilon = 1e-9);
        }
    }

    #[test]
    fn two_depths_that_could_be_meant_give_two_frames_and_open_verdicts() {
        let planes = planes(&[-3.0, 0.0, 3.0]);
        let found = expected(&planes, &at(&[-3.0, -3.0, 3.0]), &[None; 3], 1.0, LIMITS).unwrap();
        let (other, depth) = found.other.unwrap();
        assert_eq!((found.best, other), (0, 2));
        approx::assert_abs_diff_eq!(depth, 3.0, epsilon = 0.13);
        let first = found.frames[0].chances;
        assert!((first[0] - 2.0 / 3.0).abs() < 0.05 && (first[2] - 1.0 / 3.0).abs() < 0.05);
        // The spread of depths is part of the error.
        assert!(found.frames[0].sd_ln > 0.4);
    }

    #[test]
    fn energies_at_the_spot_decide_between_frames_whose_planes_are_equal() {
        let planes = planes(&[0.0, 0.0]);
        let energy = [Some(500.0), Some(2000.0)];
        let found = expected(&planes, &at(&[0.0]), &energy, 1.0, LIMITS).unwrap();
        assert_eq!(found.best, 1);
        assert!(found.frames[0].ratio > 1.1);
        assert!(expected(&self::planes(&[]), &at(&[0.0]), &[], 1.0, LIMITS).is_none());
    }
}
