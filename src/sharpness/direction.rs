//! Does blur have a direction? Movement smears edges that lie across it and spares those along
//! it; defocus and diffraction do not care.
//!
//! Blur squared is measured on the edges of a box sorted by direction and fitted by
//! A + B·cos 2(φ − θ); a smear of length L along θ adds L²/12 there, so L = √(24·B). Needs edges
//! in at least four of eight directions: on stripes the answer is "not observable".

use serde::{Deserialize, Serialize};

use three::solve3;

use super::band_noise::LevelNoise;
use super::blur::sigma_of_ratio;
use super::cells::{across, clipped_beside};
use super::pyramid::PyramidLevel;

/// Directions that edges are sorted into, 22.5° each.
pub const DIRECTIONS: usize = 8;
/// Gradient energy over noise from which an edge pixel counts.
const EDGE_OVER_NOISE: f64 = 25.0;
/// Share of a direction's strong edges (95th percentile) from which its pixels count.
const STRONG_SHARE: f32 = 0.15;
/// Least edge pixels a direction.
const MIN_PIXELS: usize = 12;
/// Least directions with a value.
const MIN_DIRECTIONS: usize = 4;
/// Largest condition number of the fit: above it the directions lie too close together.
const MAX_CONDITION: f64 = 200.0;
/// Scatter between directions that is no movement: a share of blur squared, and px².
const SCATTER: (f64, f64) = (0.08, 0.03);
/// Edge pixels along one edge are not independent.
const RIDGE_CORRELATION: f64 = 2.5;

/// Blur squared in one direction across edges.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Across {
    /// Blur squared, px².
    pub sigma2_px2: f64,
    /// Its standard error, px².
    pub std_err_px2: f64,
}

/// Blur squared by direction of the gradient: bin k is centred on k·22.5°, in the picture's own
/// axes (x right, y down).
pub type DirectionProfile = [Option<Across>; DIRECTIONS];

/// A box on a level, in samples of the level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LevelBox {
    /// Left.
    pub x0: usize,
    /// Top.
    pub y0: usize,
    /// Width.
    pub width: usize,
    /// Height.
    pub height: usize,
}

/// Blur squared by direction within a box of a level (0 or 1).
///
/// `smooth` is `level` smoothed; the box is clamped to lie 4 samples inside the borders.
pub fn profile(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    which: usize,
    area: LevelBox,
    noise: &LevelNoise,
) -> DirectionProfile {
    let w = level.width;
    let halo = super::cells::HALO;
    let (x0, y0) = (area.x0.max(halo), area.y0.max(halo));
    let x1 = (area.x0 + area.width).min(w.saturating_sub(halo));
    let y1 = (area.y0 + area.height).min(level.height.saturating_sub(halo));
    let mut bins: [Vec<(f32, f32)>; DIRECTIONS] = Default::default();
    if x0 >= x1 || y0 >= y1 {
        return [None; DIRECTIONS];
    }
    let mean =
        (y0..y1).flat_map(|y| level.row(y)[x0..x1].iter()).map(|v| f64::from(*v)).sum::<f64>()
            / (8.0 * ((x1 - x0) * (y1 - y0)) as f64);
    let n2 = noise.n2.at(mean as f32);
    let nc = noise.nc.at(mean as f32);
    let limit = (EDGE_OVER_NOISE * n2 * 256.0) as i32;
    let square = |at: usize| {
        let gx = i32::from(smooth.data[at + 1] - smooth.data[at - 1]);
        let gy = i32::from(smooth.data[at + w] - smooth.data[at - w]);
        (gx * gx + gy * gy, gx, gy)
    };
    for y in y0..y1 {
        for x in x0..x1 {
            let at = y * w + x;
            let (m, gx, gy) = square(at);
            if m <= limit {
                continue;
            }
            let (dx, dy) = across(gx, gy);
            let step = dy * w as isize + dx;
            if m < square(at.saturating_add_signed(-step)).0
                || m < square(at.saturating_add_signed(step)).0
                || clipped_beside(level, at, gx, gy)
            {
                continue;
            }
            let fx = i32::from(level.data[at + 1] - level.data[at - 1]);
            let fy = i32::from(level.data[at + w] - level.data[at - w]);
            let angle = f64::from(gy).atan2(f64::from(gx)).to_degrees();
            let bin = (angle / 22.5).round().rem_euclid(8.0) as usize % DIRECTIONS;
            bins[bin].push(((fx * gx + fy * gy) as f32 / 256.0, m as f32 / 256.0));
        }
    }
    let mut out = [None; DIRECTIONS];
    for (k, bin) in bins.iter_mut().enumerate() {
        out[k] = direction_value(bin, which, k, n2, nc);
    }
    out
}

fn direction_value(
    bin: &mut Vec<(f32, f32)>,
    which: usize,
    k: usize,
    n2: f64,
    nc: f64,
) -> Option<Across> {
    if bin.len() < MIN_PIXELS {
        return None;
    }
    bin.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
    let strong = bin[(bin.len() - 1) * 95 / 100].1 * STRONG_SHARE;
    bin.retain(|(_, b)| *b > strong);
    if bin.len() < MIN_PIXELS {
        return None;
    }
    let n = bin.len() as f64;
    let (mut s12, mut s22) = (0f64, 0f64);
    for (a, b) in bin.iter() {
        s12 += f64::from(*a);
        s22 += f64::from(*b);
    }
    let raw = s12 / s22;
    let spread: f64 = bin.iter().map(|(a, b)| (f64::from(*a) - raw * f64::from(*b)).powi(2)).sum();
    let (c12, c22) = (s12 - n * nc, s22 - n * n2);
    if c22 <= 0.0 || c12 <= 0.0 {
        return None;
    }
    let (sigma, slope) = sigma_of_ratio(which, c12 / c22);
    let ratio_err = (RIDGE_CORRELATION * spread).sqrt() / c22;
    // The filters themselves are not quite round.
    let phi = (k as f64 * 22.5).to_radians();
    let own = (phi.cos().powi(4) + phi.sin().powi(4) - 0.75) / 3.0 * 4f64.powi(which as i32);
    Some(Across {
        sigma2_px2: sigma * sigma - own,
        std_err_px2: (2.0 * sigma * slope * ratio_err).abs(),
    })
}

/// What the directions say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smear {
    /// Mean blur squared over directions, px².
    pub mean_px2: f64,
    /// Half the difference between the worst and the best direction, px².
    pub swing_px2: f64,
    /// Length of the smear that explains the swing, px.
    pub length_px: f64,
    /// One standard error of the length, px.
    pub length_std_err_px: f64,
    /// Direction of the smear, degrees 0..180 from the x axis towards y (downwards in a picture).
    pub direction_deg: f64,
    /// Swing over its standard error.
    pub z: f64,
    /// Swing over mean.
    pub fraction: f64,
}

/// A smear counts as movement above these: z, length (px) and fraction.
pub const MOVEMENT: (f64, f64, f64) = (3.5, 2.0, 0.30);

impl Smear {
    /// Whether this is movement beyond doubt in one box.
    pub fn is_movement(&self) -> bool {
        self.z > MOVEMENT.0 && self.length_px > MOVEMENT.1 && self.fraction > MOVEMENT.2
    }

    /// Blur across the smear's worst direction, px.
    pub fn worst_px(&self) -> f64 {
        (self.mean_px2 + self.swing_px2).max(0.0).sqrt()
    }

    /// The same along a longer or shorter way, with an error as large for its length.
    pub fn of_length(self, length_px: f64) -> Smear {
        Smear {
            swing_px2: length_px.powi(2) / 24.0,
            length_px,
            length_std_err_px: length_px * self.length_std_err_px / self.length_px,
            ..self
        }
    }
}

/// Fits a smear to a profile; `reference` (the burst's best frame) is subtracted first where it
/// is given, which removes what hairs and stripes fake.
///
/// `None`: direction is not observable here.
pub fn smear(profile: &DirectionProfile, reference: Option<&DirectionProfile>) -> Option<Smear> {
    let mut normal = [[0f64; 3]; 3];
    let mut right = [0f64; 3];
    let mut used = 0;
    let mut weight_sum = 0.0;
    let mut reference_mean = 0.0;
    for (k, value) in profile.iter().enumerate() {
        let Some(mut v) = *value else { continue };
        let mut own = v.sigma2_px2;
        if let Some(reference) = reference {
            let Some(r) = reference[k] else { continue };
            own = own.max(r.sigma2_px2);
            v.sigma2_px2 -= r.sigma2_px2;
            v.std_err_px2 = v.std_err_px2.hypot(r.std_err_px2);
        }
        let variance = v.std_err_px2.powi(2) + (SCATTER.0 * own + SCATTER.1).powi(2);
        let weight = 1.0 / variance;
        let phi = (k as f64 * 22.5).to_radians();
        let row = [1.0, (2.0 * phi).cos(), (2.0 * phi).sin()];
        for i in 0..3 {
            for j in 0..3 {
                normal[i][j] += weight * row[i] * row[j];
            }
            right[i] += weight * row[i] * v.sigma2_px2;
        }
        if let Some(r) = reference.and_then(|r| r[k]) {
            reference_mean += weight * r.sigma2_px2;
        }
        weight_sum += weight;
        used += 1;
    }
    if used < MIN_DIRECTIONS {
        return None;
    }
    let (fit, covariance) = solve3(&normal, &right, MAX_CONDITION)?;
    let [mean, bc, bs] = fit;
    let swing = bc.hypot(bs);
    let (uc, us) = (bc / swing.max(1e-12), bs / swing.max(1e-12));
    let variance =
        uc * uc * covariance[1][1] + us * us * covariance[2][2] + 2.0 * uc * us * covariance[1][2];
    let std_err = variance.max(0.0).sqrt();
    let mean_px2 = mean + reference_mean / weight_sum;
    let length_px = (24.0 * swing).sqrt();
    Some(Smear {
        mean_px2,
        swing_px2: swing,
        length_px,
        length_std_err_px: if length_px > 0.0 { 12.0 * std_err / length_px } else { 0.0 },
        direction_deg: (0.5 * bs.atan2(bc)).to_degrees().rem_euclid(180.0),
        z: swing / std_err.max(1e-12),
        fraction: swing / mean_px2.max(1e-6),
    })
}

/// Three unknowns need no linear-algebra library.
mod three {
    /// Solves a symmetric 3x3 system; returns the solution and the inverse (covariance), or
    /// `None` when the matrix, scaled to unit diagonal, is worse conditioned than `most`.
    pub fn solve3(a: &[[f64; 3]; 3], b: &[f64; 3], most: f64) -> Option<([f64; 3], [[f64; 3]; 3])> {
        let cofactor = |i: usize, j: usize| {
            let (r0, r1) = ((i + 1) % 3, (i + 2) % 3);
            let (c0, c1) = ((j + 1) % 3, (j + 2) % 3);
            a[r0][c0] * a[r1][c1] - a[r0][c1] * a[r1][c0]
        };
        let det: f64 = (0..3).map(|j| a[0][j] * cofactor(0, j)).sum();
        if det.abs() < f64::MIN_POSITIVE {
            return None;
        }
        let mut inverse = [[0f64; 3]; 3];
        for (i, row) in inverse.iter_mut().enumerate() {
            for (j, v) in row.iter_mut().enumerate() {
                *v = cofactor(j, i) / det;
            }
        }
        let norm = |m: &[[f64; 3]; 3], d: &dyn Fn(usize) -> f64| {
            let mut sum = 0.0;
            for (i, row) in m.iter().enumerate() {
                for (j, v) in row.iter().enumerate() {
                    sum += (v * d(i) * d(j)).powi(2);
                }
            }
            sum.sqrt()
        };
        let down = norm(a, &|i| 1.0 / a[i][i].max(f64::MIN_POSITIVE).sqrt());
        let up = norm(&inverse, &|i| a[i][i].max(0.0).sqrt());
        let condition = down * up;
        if condition.is_nan() || condition > most {
            return None;
        }
        let x = std::array::from_fn(|i| (0..3).map(|j| inverse[i][j] * b[j]).sum());
        Some((x, inverse))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile_of(f: impl Fn(f64) -> f64) -> DirectionProfile {
        std::array::from_fn(|k| {
            let phi = (k as f64 * 22.5).to_radians();
            Some(Across { sigma2_px2: f(phi), std_err_px2: 0.02 })
        })
    }

    #[test]
    fn a_smear_of_known_length_is_found_with_its_direction() {
        let (length, theta) = (6.0f64, 30f64.to_radians());
        let p = profile_of(|phi| 1.0 + length * length / 12.0 * (phi - theta).cos().powi(2));
        let s = smear(&p, None).unwrap();
        approx::assert_abs_diff_eq!(s.length_px, length, epsilon = 1e-6);
        approx::assert_abs_diff_eq!(s.direction_deg, 30.0, epsilon = 1e-6);
        assert!(s.is_movement());
    }

    #[test]
    fn round_blur_is_no_movement() {
        let s = smear(&profile_of(|_| 9.0), None).unwrap();
        assert!(!s.is_movement());
        assert!(s.length_px < 1e-3);
    }

    #[test]
    fn three_directions_are_too_few() {
        let mut p = profile_of(|phi| 1.0 + 3.0 * phi.cos().powi(2));
        for v in &mut p[3..] {
            *v = None;
        }
        assert_eq!(smear(&p, None), None);
    }

    #[test]
    fn directions_close_together_are_refused() {
        // Four neighbouring bins still span 67.5 degrees and are accepted; the same bins with one
        // dominating weight are not.
        let mut p = profile_of(|_| 2.0);
        for v in &mut p[4..] {
            *v = None;
        }
        assert!(smear(&p, None).is_some());
        for v in p[1..4].iter_mut().flatten() {
            v.std_err_px2 = 500.0;
        }
        assert_eq!(smear(&p, None), None);
    }

    #[test]
    fn what_the_best_frame_shows_too_is_not_movement() {
        let p = profile_of(|phi| 1.0 + 3.0 * phi.cos().powi(2));
        let s = smear(&p, Some(&p)).unwrap();
        assert!(!s.is_movement());
    }
}
