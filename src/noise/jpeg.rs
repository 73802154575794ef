//! What JPEG compression makes of noise and detail, and what it would make of the noise of one
//! frame on the detail of another.
//!
//! Every coefficient of an 8 x 8 cosine transform is rounded to a step that the file tells. Noise
//! far below half a step is rounded away where the coefficient holds no detail, and blown up where
//! it does: the noise of a step of a series, measured in place, is not the noise that the same
//! setting leaves in another aperture's picture. Rounding is known exactly, so this can be worked
//! out (Widrow & Kollár, Quantization Noise, Cambridge 2008, ch. 4 and 9; Schuchman,
//! IEEE Trans. Commun. Technol. 12:162, 1964, DOI 10.1109/TCOM.1964.1088973).
//!
//! For each of the 64 coefficients, in steps of its table: detail is taken for Laplacian with a
//! spread ρ that changes over the picture (the mean over 5 x 5 blocks), noise for normal with a
//! spread τ. Both are found from what two or more frames show: the power of their mean and the
//! variance of their differences. From ρ of one step and τ of another follow the noise that is
//! left, and the error of rounding that is the same in every frame and passes for detail.
//!
//! Assumes registered frames on the block grid of the file and noise alike at all tones. Knows
//! nothing of noise reduction, which smooths by rules of its own.

use std::sync::LazyLock;

use statrs::function::erf::erf;

use super::signal_noise::RingPowers;
use super::spectrum::{FIRST_RING, RINGS, TILE_PX};
use crate::core::Plane;
use crate::core::search::bisect_ratio;

/// Side of a block, px.
const SIDE: usize = 8;
/// Coefficients of a block.
const CELLS: usize = SIDE * SIDE;
/// Spreads of noise in the tables, steps: from the least to that from which rounding adds 1/12.
const TAUS: usize = 24;
const TAU_RANGE: (f64, f64) = (0.02, 0.7);
/// Widest spread of noise that is looked for, steps.
const MAX_TAU: f64 = 50.0;
/// Spreads of detail in the tables: none, then from the least to that from which phases are even.
const RHOS: usize = 29;
const RHO_RANGE: (f64, f64) = (0.03, 8.0);
/// Quantiles that stand for the Laplacian.
const QUANTILES: usize = 300;
/// Variance of rounding, in squared steps; of samples to whole 8-bit steps as well.
const ROUNDING: f64 = 1.0 / 12.0;
/// Blocks on each side over which the power of detail is averaged.
const NEAR: usize = 2;
/// Detail of this many standard errors counts half: chance alone would pass for detail.
const CHANCE: f64 = 3.0;
/// Classes of detail's power in a histogram, and the powers that they span, squared steps.
const CLASSES: usize = 48;
const CLASS_RANGE: (f64, f64) = (1e-3, 200.0);

/// What rounding does, in steps and squared steps, over (ρ, τ).
struct Tables {
    /// Variance from frame to frame.
    noise: [[f64; TAUS]; RHOS],
    /// Mean square of the error that is the same in every frame.
    error: [[f64; TAUS]; RHOS],
    /// Mean square of the mean over frames.
    power: [[f64; TAUS]; RHOS],
    /// Power in each ring of a unit variance in each coefficient.
    mix: Vec<RingPowers>,
}

static TABLES: LazyLock<Tables> = LazyLock::new(Tables::new);

fn tau_at(i: usize) -> f64 {
    let (low, high) = TAU_RANGE;
    low * (high / low).powf(i as f64 / (TAUS - 1) as f64)
}

fn rho_at(i: usize) -> f64 {
    let (low, high) = RHO_RANGE;
    if i == 0 { 0.0 } else { low * (high / low).powf((i - 1) as f64 / (RHOS - 2) as f64) }
}

/// Mean square of the mean, of its error, and the variance, of a value `s` steps from zero with
/// noise of spread `tau` that is rounded to whole steps.
fn rounded(s: f64, tau: f64) -> (f64, f64, f64) {
    const REACH: i32 = 5;
    let whole = s.round();
    let phase = s - whole;
    let below = |j: i32| {
        let z = (f64::from(j) + 0.5 - phase) / tau;
        0.5 * (1.0 + erf(z / std::f64::consts::SQRT_2))
    };
    let (mut mean, mut square) = (0.0, 0.0);
    let mut last = below(-REACH - 1);
    for j in -REACH..=REACH {
        let next = below(j);
        let p = next - last;
        last = next;
        mean += f64::from(j) * p;
        square += f64::from(j * j) * p;
    }
    ((whole + mean).powi(2), (mean - phase).powi(2), (square - mean * mean).max(0.0))
}

impl Tables {
    fn new() -> Tables {
        let mut noise = [[0.0; TAUS]; RHOS];
        let (mut error, mut power) = (noise, noise);
        let share = 1.0 / QUANTILES as f64;
        for (i, ((noise, error), power)) in
            noise.iter_mut().zip(&mut error).zip(&mut power).enumerate()
        {
            let rho = rho_at(i);
            for (j, ((noise, error), power)) in noise.iter_mut().zip(error).zip(power).enumerate() {
                let tau = tau_at(j);
                for k in 0..QUANTILES {
                    // Of the positive half; the other mirrors it.
                    let p = (k as f64 + 0.5) * share;
                    let s = -(1.0 - p).ln() * rho / std::f64::consts::SQRT_2;
                    let (g, e, v) = rounded(s, tau);
                    *power += g * share;
                    *error += e * share;
                    *noise += v * share;
                }
            }
        }
        Tables { noise, error, power, mix: mix() }
    }

    /// A column at a spread of noise below the last in the table.
    fn column(table: &[[f64; TAUS]; RHOS], tau: f64) -> [f64; RHOS] {
        let (low, high) = TAU_RANGE;
        let x = (tau / low).ln() / (high / low).ln() * (TAUS - 1) as f64;
        let x = x.clamp(0.0, (TAUS - 1) as f64);
        let i = (x as usize).min(TAUS - 2);
        let share = x - i as f64;
        std::array::from_fn(|r| table[r][i] * (1.0 - share) + table[r][i + 1] * share)
    }
}

/// One axis of the cosine transform.
fn basis(u: usize, x: usize) -> f64 {
    let scale = if u == 0 { (1.0 / SIDE as f64).sqrt() } else { (2.0 / SIDE as f64).sqrt() };
    let turn = std::f64::consts::PI * (2 * x + 1) as f64 * u as f64 / (2 * SIDE) as f64;
    scale * turn.cos()
}

fn mix() -> Vec<RingPowers> {
    // Power of each basis function along one axis at the frequencies of a tile.
    let along: Vec<Vec<f64>> = (0..SIDE)
        .map(|u| {
            let at = |k: usize| {
                let (mut re, mut im) = (0.0, 0.0);
                for x in 0..SIDE {
                    let turn = std::f64::consts::TAU * (k * x) as f64 / TILE_PX as f64;
                    re += basis(u, x) * turn.cos();
                    im += basis(u, x) * turn.sin();
                }
                re * re + im * im
            };
            (0..TILE_PX).map(at).collect()
        })
        .collect();
    let signed = |k: usize| if 2 * k > TILE_PX { k as f64 - TILE_PX as f64 } else { k as f64 };
    let mut count = [0.0; RINGS];
    let mut mix = vec![[0.0; RINGS]; CELLS];
    for ky in 0..TILE_PX {
        for kx in 0..TILE_PX {
            let ring = signed(kx).hypot(signed(ky)) as usize;
            if ring >= RINGS {
                continue;
            }
            count[ring] += 1.0;
            for (i, rings) in mix.iter_mut().enumerate() {
                rings[ring] += along[i / SIDE][ky] * along[i % SIDE][kx] / CELLS as f64;
            }
        }
    }
    for rings in &mut mix {
        rings.iter_mut().zip(count).for_each(|(m, n)| *m /= n);
    }
    mix
}

/// Detail and noise of a step before they were rounded, coefficient by coefficient.
#[derive(Debug, Clone)]
pub struct JpegNoiseModel {
    step: [f64; CELLS],
    /// Spread of the noise, steps.
    tau: [f64; CELLS],
    /// How much of the picture has which spread of detail: weights on the spreads of the tables.
    rho: Vec<[f64; RHOS]>,
}

/// What another step's noise makes of a step's detail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseTransfer {
    /// Its noise there over its noise in its own picture, per ring.
    pub noise_gain: RingPowers,
    /// What rounding adds to the signal there against the step's own noise, per ring.
    pub signal_more: RingPowers,
}

impl NoiseTransfer {
    /// Nothing was rounded.
    pub const NONE: NoiseTransfer =
        NoiseTransfer { noise_gain: [1.0; RINGS], signal_more: [0.0; RINGS] };
}

impl JpegNoiseModel {
    /// From registered frames of one step, two at least. `origin` is where the planes begin in the
    /// file, px; `table` the steps of the luma table, row by row. `None` when there are too few
    /// frames or blocks.
    pub fn of(planes: &[&Plane], origin: (usize, usize), table: &[u16; 64]) -> Option<Self> {
        let first = planes.first()?;
        let skip = |at: usize| (SIDE - at % SIDE) % SIDE;
        let (x0, y0) = (skip(origin.0), skip(origin.1));
        let across = first.width_px.checked_sub(x0)? / SIDE;
        let down = first.height_px.checked_sub(y0)? / SIDE;
        let same = |p: &&Plane| (p.width_px, p.height_px) == (first.width_px, first.height_px);
        if planes.len() < 2 || across.min(down) <= 2 * NEAR || !planes.iter().all(same) {
            return None;
        }
        let k = planes.len() as f64;
        let n = across * down;
        // Coefficient by coefficient: mean power less the noise left in it, and the noise.
        let mut power = vec![vec![0.0f64; n]; CELLS];
        let mut noise = [0.0; CELLS];
        let cosines: [[f64; SIDE]; SIDE] =
            std::array::from_fn(|u| std::array::from_fn(|x| basis(u, x)));
        for block in 0..n {
            let at = (x0 + block % across * SIDE, y0 + block / across * SIDE);
            let (mut sum, mut squares) = ([0.0; CELLS], [0.0; CELLS]);
            for plane in planes {
                for ((s, q), c) in
                    sum.iter_mut().zip(&mut squares).zip(transformed(plane, at, &cosines))
                {
                    *s += c;
                    *q += c * c;
                }
            }
            for (i, (power, noise)) in power.iter_mut().zip(&mut noise).enumerate() {
                let mean = sum[i] / k;
                let spread = ((squares[i] - k * mean * mean) / (k - 1.0)).max(0.0);
                power[block] = mean * mean - spread / k;
                *noise += spread / n as f64;
            }
        }
        let step: [f64; CELLS] = std::array::from_fn(|i| f64::from(table[i].max(1)));
        let mut tau = [0.0; CELLS];
        let mut rho = Vec::with_capacity(CELLS);
        for (i, power) in power.iter().enumerate() {
            let square = step[i] * step[i];
            let mean = nearby(power, across, down);
            // Of no detail, the mean over the blocks near by scatters by this.
            let blocks = ((2 * NEAR + 1) * (2 * NEAR + 1)) as f64;
            let scatter = noise[i] / k * (2.0 / blocks * (1.0 + 1.0 / (k - 1.0))).sqrt();
            let chance = (CHANCE * scatter).powi(2);
            let classes = histogram(mean.iter().map(|p| {
                let p = p.max(0.0);
                let square_p = p * p;
                let kept = if square_p > 0.0 { p * square_p / (square_p + chance) } else { 0.0 };
                kept / square
            }));
            let wanted = (noise[i] - ROUNDING).max(1e-4) / square;
            let (low, high) = bisect_ratio((TAU_RANGE.0, MAX_TAU), 30, |tau| {
                // From the end of the tables on it does not matter what detail there is.
                let spread = match tau < TAU_RANGE.1 {
                    true => spreads(&classes, tau),
                    false => [0.0; RHOS],
                };
                noise_of(&spread, tau) <= wanted
            });
            tau[i] = (low * high).sqrt();
            rho.push(spreads(&classes, tau[i]));
        }
        Some(JpegNoiseModel { step, tau, rho })
    }

    /// The noise of `other` on the detail of this step.
    pub fn under(&self, other: &JpegNoiseModel) -> NoiseTransfer {
        let own_error = self.rings(&self.tau, error_of);
        let error = self.rings(&other.tau, error_of);
        let here = self.rings(&other.tau, noise_of);
        let there = other.rings(&other.tau, noise_of);
        NoiseTransfer {
            // Samples are rounded to whole numbers as well, in either picture.
            noise_gain: std::array::from_fn(|r| {
                if r < FIRST_RING { 1.0 } else { (here[r] + ROUNDING) / (there[r] + ROUNDING) }
            }),
            signal_more: std::array::from_fn(|r| error[r] - own_error[r]),
        }
    }

    /// A value of every coefficient, in squared steps, as power per ring.
    fn rings(&self, tau: &[f64; CELLS], of: impl Fn(&[f64; RHOS], f64) -> f64) -> RingPowers {
        let mut rings = [0.0; RINGS];
        for (((rho, tau), step), mix) in self.rho.iter().zip(tau).zip(&self.step).zip(&TABLES.mix) {
            let value = of(rho, *tau) * step * step;
            rings.iter_mut().zip(mix).for_each(|(r, m)| *r += value * m);
        }
        rings
    }
}

/// Noise that is left, squared steps.
fn noise_of(spread: &[f64; RHOS], tau: f64) -> f64 {
    if tau >= TAU_RANGE.1 {
        return tau * tau + ROUNDING;
    }
    let column = Tables::column(&TABLES.noise, tau);
    spread.iter().zip(column).map(|(w, v)| w * v).sum()
}

/// Error that is the same in every frame, squared steps.
fn error_of(spread: &[f64; RHOS], tau: f64) -> f64 {
    if tau >= TAU_RANGE.1 {
        return 0.0;
    }
    let column = Tables::column(&TABLES.error, tau);
    spread.iter().zip(column).map(|(w, v)| w * v).sum()
}

/// Power at a class of the histogram, squared steps; the first holds no detail.
fn class_power(i: usize) -> f64 {
    let (low, high) = CLASS_RANGE;
    if i == 0 { 0.0 } else { low * (high / low).powf((i - 1) as f64 / (CLASSES - 2) as f64) }
}

/// Share of the powers that falls to each class, put linearly between neighbours.
fn histogram(powers: impl Iterator<Item = f64>) -> [f64; CLASSES] {
    let mut shares = [0.0; CLASSES];
    let mut total = 0.0;
    for p in powers {
        let (low, high) = CLASS_RANGE;
        let x = if p <= low {
            p / low
        } else {
            (1.0 + (p / low).ln() / (high / low).ln() * (CLASSES - 2) as f64)
                .min((CLASSES - 1) as f64)
        };
        let i = (x as usize).min(CLASSES - 2);
        shares[i] += 1.0 - (x - i as f64);
        shares[i + 1] += x - i as f64;
        total += 1.0;
    }
    shares.map(|s| s / f64::max(total, 1.0))
}

/// Weights on the tables' spreads of detail that give the powers of a histogram under a noise.
fn spreads(classes: &[f64; CLASSES], tau: f64) -> [f64; RHOS] {
    let mut weights = [0.0; RHOS];
    let coarse = tau >= TAU_RANGE.1;
    let column = Tables::column(&TABLES.power, tau.min(TAU_RANGE.1));
    for (i, share) in classes.iter().enumerate().filter(|c| *c.1 > 0.0) {
        let power = class_power(i);
        let (at, between) = if coarse {
            let rho = power.sqrt();
            let at = (1..RHOS - 1).rev().find(|r| rho_at(*r) <= rho).unwrap_or(0);
            (at, (rho - rho_at(at)) / (rho_at(at + 1) - rho_at(at)))
        } else {
            let at = (1..RHOS - 1).rev().find(|r| column[*r] <= power).unwrap_or(0);
            let rise = column[at + 1] - column[at];
            (at, if rise > 0.0 { (power - column[at]) / rise } else { 1.0 })
        };
        let between = between.clamp(0.0, 1.0);
        weights[at] += share * (1.0 - between);
        weights[at + 1] += share * between;
    }
    weights
}

/// The cosine transform of a block, row by row.
fn transformed(
    plane: &Plane,
    (x0, y0): (usize, usize),
    cosines: &[[f64; SIDE]; SIDE],
) -> [f64; CELLS] {
    let mut across = [[0.0; SIDE]; SIDE];
    for (y, out) in across.iter_mut().enumerate() {
        let row = &plane.row(y0 + y)[x0..x0 + SIDE];
        for (u, o) in out.iter_mut().enumerate() {
            *o = row.iter().zip(&cosines[u]).map(|(v, c)| f64::from(*v) * c).sum();
        }
    }
    std::array::from_fn(|i| (0..SIDE).map(|y| across[y][i % SIDE] * cosines[i / SIDE][y]).sum())
}

/// Means over the blocks near each.
fn nearby(values: &[f64], across: usize, down: usize) -> Vec<f64> {
    let pass = |from: &[f64], n: usize, lines: usize, at: &dyn Fn(usize, usize) -> usize| {
        let mut out = vec![0.0; from.len()];
        for line in 0..lines {
            for i in 0..n {
                let (a, b) = (i.saturating_sub(NEAR), (i + NEAR).min(n - 1));
                let sum: f64 = (a..=b).map(|j| from[at(line, j)]).sum();
                out[at(line, i)] = sum / (b - a + 1) as f64;
            }
        }
        out
    };
    let rows = pass(values, across, down, &|line, i| line * across + i);
    pass(&rows, down, across, &|line, i| i * across + line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::Tone;
    use crate::core::random::SplitMix64;
    use approx::assert_abs_diff_eq as near;

    // Widrow & Kollár: noise of half a step and more is left as it is, plus 1/12; without noise
    // an even spread of detail is off by 1/12 in every frame alike, and none of it varies.
    #[test]
    fn rounding_of_known_cases() {
        for s in [0.0, 0.2, 0.5, 7.3] {
            let (mean, error, noise) = rounded(s, 0.6);
            near!(noise, 0.36 + ROUNDING, epsilon = 0.005);
            near!(error, 0.0, epsilon = 1e-4);
            near!(mean, s * s, epsilon = 0.05);
        }
        let (_, error, noise) = rounded(0.0, 0.05);
        near!(noise + error, 0.0, epsilon = 1e-9);
        // Half way between two steps every frame tosses a coin.
        near!(rounded(0.5, 0.05).2, 0.25, epsilon = 1e-6);
        near!(
            error_of(&std::array::from_fn(|r| f64::from(r + 1 == RHOS)), 0.02),
            ROUNDING - 0.02 / 1.772_45,
            epsilon = 0.004
        );
    }

    #[test]
    fn coefficients_fill_the_rings_evenly() {
        for r in FIRST_RING..RINGS {
            let sum: f64 = TABLES.mix.iter().map(|m| m[r]).sum();
            near!(sum, 1.0, epsilon = 1e-9);
        }
    }

    /// Frames of Laplacian detail and normal noise whose coefficients are rounded to `step`.
    fn frames(step: u16, detail: f64, noise: f64, n: u64) -> Vec<Plane> {
        const ACROSS: usize = 64;
        let cosines: [[f64; SIDE]; SIDE] =
            std::array::from_fn(|u| std::array::from_fn(|x| basis(u, x)));
        let one = |k: u64| {
            let (mut scene, mut chance) = (SplitMix64::new(5), SplitMix64::new(99 + k));
            let mut plane = Plane::zeros(ACROSS * SIDE, ACROSS * SIDE, Tone::Encoded);
            for block in 0..ACROSS * ACROSS {
                let (x0, y0) = (block % ACROSS * SIDE, block / ACROSS * SIDE);
                let c: [f64; CELLS] = std::array::from_fn(|_| {
                    let p = scene.between(-1.0, 1.0);
                    let size = -(1.0 - p.abs()).ln() * std::f64::consts::FRAC_1_SQRT_2;
                    let v = detail * size.copysign(p) + noise * chance.normal();
                    (v / f64::from(step)).round() * f64::from(step)
                });
                for y in 0..SIDE {
                    for x in 0..SIDE {
                        let v: f64 = (0..CELLS)
                            .map(|i| c[i] * cosines[i / SIDE][y] * cosines[i % SIDE][x])
                            .sum();
                        plane.data[(y0 + y) * ACROSS * SIDE + x0 + x] = v.round() as f32;
                    }
                }
            }
            plane
        };
        (0..n).map(one).collect()
    }

    fn compressed(planes: &[Plane], step: u16) -> JpegNoiseModel {
        let planes: Vec<&Plane> = planes.iter().collect();
        JpegNoiseModel::of(&planes, (0, 0), &[step; CELLS]).unwrap()
    }

    // The noise of a textured frame on a flat one and the other way round, against frames made so.
    #[test]
    fn noise_on_another_picture_is_foretold() {
        use crate::noise::signal_noise::SignalNoise;
        const STEP: u16 = 8;
        let of = |detail, noise| frames(STEP, detail, noise, 4);
        let noise = |planes: &[Plane]| {
            let planes: Vec<&Plane> = planes.iter().collect();
            SignalNoise::of_repeats(&planes, &[]).unwrap().noise
        };
        let mean =
            |r: &RingPowers| r[FIRST_RING..].iter().sum::<f64>() / (RINGS - FIRST_RING) as f64;
        let told = |own: &RingPowers, c: &NoiseTransfer| -> f64 {
            mean(&std::array::from_fn(|r| own[r] * c.noise_gain[r]))
        };
        let (rich, flat) = (of(9.0, 1.5), of(0.0, 2.0));
        let (rich_c, flat_c) = (compressed(&rich, STEP), compressed(&flat, STEP));
        let (own, wanted) = (noise(&rich), noise(&of(0.0, 1.5)));
        assert!(mean(&own) > 5.0 * mean(&wanted));
        let found = told(&own, &flat_c.under(&rich_c)) / mean(&wanted);
        assert!((0.7..1.4).contains(&found), "{found}");
        let (own, wanted) = (noise(&flat), noise(&of(9.0, 2.0)));
        assert!(mean(&own) < 0.6 * mean(&wanted));
        let found = told(&own, &rich_c.under(&flat_c)) / mean(&wanted);
        assert!((0.9..1.1).contains(&found), "{found}");
    }
}
