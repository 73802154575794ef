//! Absolute blur at the subject from its ring spectrum, with an honest range.
//!
//! The spectrum of a frame is that of the scene times the power the optics pass. Neither is known,
//! but scenes resemble each other: over real close-up photographs ln(power) falls by 2.36 per
//! ln(frequency), with a known scatter. So the scene is a Gaussian process over ln(frequency)
//! around that fall, the optics are one of the [`TransferFamily`], and the blur has a posterior on
//! its grid. Where the picture holds no pattern, its edges say more than the prior of scenes; they
//! enter as a log-normal reading instead.
//!
//! The range is that of the posterior: it contains what is not known about the scene, the
//! rendering and the noise. Movement blurs along one direction only and is added by the caller.
//! Assumes noise known to about a third of its power. Valid for 0.3 to 12 px of blur.
//! Rasmussen & Williams, *Gaussian Processes for Machine Learning*, 2006, ch. 2;
//! Field 1987 (doi:10.1364/JOSAA.4.002379) for the fall of natural spectra.

use nalgebra::{SMatrix, SVector};

use super::ring_spectrum::{RING_COUNT, RingSpectrum, ring_centres_cy_px};
use super::transfer_family::{GRID, TransferFamily, grid_px};

type Rings = SVector<f64, RING_COUNT>;
type RingSquare = SMatrix<f64, RING_COUNT, RING_COUNT>;

/// Frequency to which levels refer, cycles per pixel.
const PIVOT_CY_PX: f64 = 0.15;
/// ln(power over mean squared) of scenes at the pivot, and its fall per ln(frequency): 396 sharp
/// patches of 18 photographs.
const SCENE_LEVEL: f64 = -2.0;
/// See [`SCENE_LEVEL`].
const SCENE_SLOPE: f64 = -2.36;
/// Amount and radius, px, of the sharpening that cameras usually apply, and how far the amount
/// may differ.
const SHARPENING: f64 = 0.4;
/// See [`SHARPENING`].
const SHARPENING_RADIUS_PX: f64 = 0.9;
/// See [`SHARPENING`].
const SHARPENING_SD: f64 = 0.35;
/// Length over which a scene's spectrum varies together, ln(frequency).
const RING_CORRELATION_LN: f64 = 0.35;
/// Scatter of a single ring, ln(power).
const RING_SD: f64 = 0.2;
/// Scatter of one reading, ln(power).
const READING_SD: f64 = 0.12;
/// Share of the noise that may be wrong.
const NOISE_SD: f64 = 0.35;
/// Share of the noise added before logarithms are taken.
const NOISE_KEPT: f64 = 0.5;
/// First ring used: below it shading and the window's own shape prevail.
const FIRST_RING: usize = 1;
/// Share of the diffraction cutoff up to which rings are used.
const MAX_SHARE_OF_CUTOFF: f64 = 0.85;
/// Rings whose power chooses the first frame.
const ANCHOR_RINGS: std::ops::Range<usize> = 5..11;
/// How fast the best frame of a burst is less likely the further it is above what the settings
/// allow, in ln of blur: people rock through focus to reach it.
const REACHING_SD_LN: f64 = 0.5;

/// How widely scenes differ.
#[derive(Debug, Clone, Copy)]
struct Spread {
    level: f64,
    slope: f64,
    shape: f64,
}

/// Scenes with a regular pattern.
const PATTERN: Spread = Spread { level: 1.1, slope: 1.2, shape: 1.2 };
/// Scenes of edges, whose first frame is read otherwise.
const EDGES: Spread = Spread { level: 2.5, slope: 1.5, shape: 1.2 };
/// One frame's spectrum with its noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Ring powers.
    pub rings: RingSpectrum,
    /// Noise density in every ring, squared 8-bit steps.
    pub noise: [f64; RING_COUNT],
}

/// What edges read in the first frame: blur, px, and one standard error of its logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeBlur {
    /// Blur, px.
    pub sigma_px: f64,
    /// One standard error of ln(blur), the error of the model included.
    pub error_ln: f64,
}

/// Probability over the grid of blurs.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    weight: [f64; GRID],
}

impl Posterior {
    fn of_logs(logs: &[f64; GRID], allowed: impl Fn(usize) -> bool) -> Option<Posterior> {
        let most = (0..GRID).filter(|i| allowed(*i)).map(|i| logs[i]).max_by(f64::total_cmp)?;
        let weight: [f64; GRID] =
            std::array::from_fn(|i| if allowed(i) { (logs[i] - most).exp() } else { 0.0 });
        let sum: f64 = weight.iter().sum();
        (sum.is_finite() && sum > 0.0).then(|| Posterior { weight: weight.map(|w| w / sum) })
    }

    /// Mean of ln(blur) and its standard deviation.
    pub fn ln(&self) -> (f64, f64) {
        moments(&self.weight, &grid_px().map(f64::ln))
    }

    /// Blur, px: the geometric mean.
    pub fn sigma_px(&self) -> f64 {
        self.ln().0.exp()
    }

    /// Blur that a share of the probability stays below, px.
    pub fn quantile_px(&self, share: f64) -> f64 {
        let grid = grid_px();
        let step = (grid[1] / grid[0]).ln();
        let mut sum = 0.0;
        for (w, sigma) in self.weight.iter().zip(&grid) {
            if sum + w >= share {
                // Even within a step.
                let inside = if *w > 0.0 { (share - sum) / w } else { 0.5 };
                return sigma * ((inside - 0.5) * step).exp();
            }
            sum += w;
        }
        grid[GRID - 1]
    }

    /// The narrowest range that holds a share of the probability, px. Where the most likely blur
    /// is the finest that the lens can reach, the range begins there.
    pub fn range_px(&self, share: f64) -> (f64, f64) {
        let grid = grid_px();
        let half_step = (grid[1] / grid[0]).sqrt();
        let peak = (0..GRID).max_by(|a, b| self.weight[*a].total_cmp(&self.weight[*b]));
        let (mut low, mut high) = (peak.unwrap_or(0), peak.unwrap_or(0));
        let mut sum = self.weight[low];
        while sum < share && (low > 0 || high + 1 < GRID) {
            let below = if low > 0 { self.weight[low - 1] } else { -1.0 };
            let above = if high + 1 < GRID { self.weight[high + 1] } else { -1.0 };
            if above >= below {
                high += 1;
                sum += above;
            } else {
                low -= 1;
                sum += below;
            }
        }
        (grid[low] / half_step, grid[high] * half_step)
    }

    /// The same with a further standard deviation of ln(blur), kept to what the lens can reach.
    pub fn widened(&self, sd_ln: f64, family: &TransferFamily) -> Posterior {
        let lns = grid_px().map(f64::ln);
        let mut weight: [f64; GRID] = std::array::from_fn(|i| {
            if !family.reachable[i] {
                return 0.0;
            }
            let near = |j: usize| (-0.5 * ((lns[i] - lns[j]) / sd_ln).powi(2)).exp();
            (0..GRID).map(|j| self.weight[j] * near(j)).sum()
        });
        let sum: f64 = weight.iter().sum();
        weight.iter_mut().for_each(|w| *w /= sum);
        Posterior { weight }
    }

    /// Probability that blur exceeds a limit.
    pub fn above(&self, limit_px: f64) -> f64 {
        self.weight.iter().zip(grid_px()).filter(|(_, s)| *s > limit_px).map(|(w, _)| w).sum()
    }
}

fn moments(weight: &[f64; GRID], value: &[f64; GRID]) -> (f64, f64) {
    let mean: f64 = weight.iter().zip(value).map(|(w, v)| w * v).sum();
    let square: f64 = weight.iter().zip(value).map(|(w, v)| w * (v - mean).powi(2)).sum();
    (mean, square.sqrt())
}

/// What the optics and the scenes are, ready for many readings.
struct Model<'a> {
    family: &'a TransferFamily,
    used: [bool; RING_COUNT],
    offset_ln: Rings,
    mean: Rings,
    sharpening: Rings,
}

/// A scene: mean and covariance of ln(power over mean squared) before the optics.
struct Scene {
    mean: Rings,
    covariance: RingSquare,
}

/// A reading as the model sees it.
struct Observed {
    value: Rings,
    noise: Rings,
    variance: Rings,
}

impl Observed {
    fn of(reading: &Reading) -> Observed {
        let square = reading.rings.mean_dn.max(1.0).powi(2);
        let noise = Rings::from_fn(|r, _| reading.noise[r] / square);
        let signal =
            Rings::from_fn(|r, _| (reading.rings.geometric[r] / square - noise[r]).max(0.0));
        let kept = |r: usize| signal[r] + NOISE_KEPT * noise[r];
        Observed {
            value: Rings::from_fn(|r, _| kept(r).ln()),
            variance: Rings::from_fn(|r, _| {
                READING_SD.powi(2) + (NOISE_SD * noise[r] / kept(r)).powi(2)
            }),
            noise,
        }
    }
}

impl Model<'_> {
    fn new(family: &TransferFamily) -> Model<'_> {
        let centres = ring_centres_cy_px();
        let end = family.cutoff_cy_px.map_or(f64::INFINITY, |c| MAX_SHARE_OF_CUTOFF * c);
        let offset_ln = Rings::from_fn(|r, _| (centres[r] / PIVOT_CY_PX).ln());
        let boost = Rings::from_fn(|r, _| {
            let f = centres[r] * SHARPENING_RADIUS_PX * std::f64::consts::PI;
            1.0 - (-2.0 * f * f).exp()
        });
        Model {
            family,
            used: std::array::from_fn(|r| r >= FIRST_RING && centres[r] < end),
            mean: Rings::from_fn(|r, _| {
                SCENE_LEVEL + SCENE_SLOPE * offset_ln[r] + 2.0 * (1.0 + SHARPENING * boost[r]).ln()
            }),
            sharpening: 2.0 * boost,
            offset_ln,
        }
    }

    fn covariance(&self, spread: Spread) -> RingSquare {
        RingSquare::from_fn(|a, b| {
            let apart = (self.offset_ln[a] - self.offset_ln[b]) / RING_CORRELATION_LN;
            spread.level.powi(2)
                + spread.slope.powi(2) * self.offset_ln[a] * self.offset_ln[b]
                + spread.shape.powi(2) * (-0.5 * apart * apart).exp()
        })
    }

    fn scene(&self, spread: Spread) -> Scene {
        let own = RingSquare::from_diagonal_element(RING_SD.powi(2));
        let sharpening = self.sharpening * self.sharpening.transpose() * SHARPENING_SD.powi(2);
        Scene { mean: self.mean, covariance: self.covariance(spread) + own + sharpening }
    }

    /// The scene seen through the optics of one blur and the noise: expected reading, weight of
    /// the scene in it, and its covariance with unused rings made independent.
    fn seen(&self, scene: &Scene, at: &Observed, blur: usize) -> (Rings, Rings, RingSquare) {
        let passed = Rings::from_fn(|r, _| (scene.mean[r] + self.family.ln_power[blur][r]).exp());
        let kept = |r: usize| passed[r] + NOISE_KEPT * at.noise[r];
        let expected = Rings::from_fn(|r, _| kept(r).ln());
        let weight = Rings::from_fn(|r, _| if self.used[r] { passed[r] / kept(r) } else { 0.0 });
        let mut covariance = scene.covariance.component_mul(&(weight * weight.transpose()));
        for r in 0..RING_COUNT {
            covariance[(r, r)] += if self.used[r] { at.variance[r] } else { 1.0 };
        }
        (expected, weight, covariance)
    }

    fn residual(&self, at: &Observed, expected: &Rings) -> Rings {
        Rings::from_fn(|r, _| if self.used[r] { at.value[r] - expected[r] } else { 0.0 })
    }

    /// ln of the likelihood of every blur.
    fn logs(&self, scene: &Scene, at: &Observed) -> [f64; GRID] {
        std::array::from_fn(|blur| {
            let (expected, _, covariance) = self.seen(scene, at, blur);
            let Some(factor) = covariance.cholesky() else { return f64::NEG_INFINITY };
            let residual = self.residual(at, &expected);
            let inside = residual.dot(&factor.solve(&residual));
            let size: f64 = factor.l_dirty().diagonal().map(f64::ln).sum();
            -0.5 * inside - size
        })
    }
}

/// Fine power over noise that an ordinary scene in focus would show in place of a reading; `None`
/// where the optics pass no fine ring.
pub fn expected_fine_over_noise(reading: &Reading, family: &TransferFamily) -> Option<f64> {
    let model = Model::new(family);
    let in_focus = family.reachable.iter().position(|r| *r)?;
    let square = reading.rings.mean_dn.max(1.0).powi(2);
    let expected = RingSpectrum {
        geometric: std::array::from_fn(|r| {
            reading.noise[r] + square * (model.mean[r] + family.ln_power[in_focus][r]).exp()
        }),
        ..reading.rings
    };
    expected.fine_over_noise(&reading.noise, family.cutoff_cy_px)
}

/// Blur of one frame from its spectrum alone, against the widest prior of scenes. `None` when
/// the readings are unusable.
pub fn alone(reading: &Reading, family: &TransferFamily) -> Option<Posterior> {
    let model = Model::new(family);
    let logs = model.logs(&model.scene(EDGES), &Observed::of(reading));
    Posterior::of_logs(&logs, |blur| family.reachable[blur])
}

/// Blur of a burst's sharpest frame from its reading. `edge` is what edges read there; `None`
/// says that the subject shows a regular pattern (see [`RingSpectrum::pattern`]) or no edge, and
/// the spectrum alone decides. `None` when the reading is unusable.
pub fn blur(
    reading: &Reading,
    family: &TransferFamily,
    edge: Option<EdgeBlur>,
) -> Option<Posterior> {
    let model = Model::new(family);
    let grid = grid_px();
    let reaching = |blur: usize| {
        let best = family.in_focus_px.map_or(0.0, |best| (grid[blur] / best).ln().max(0.0));
        -best / REACHING_SD_LN
    };
    let logs = match edge {
        Some(e) => std::array::from_fn(|blur| {
            -0.5 * ((grid[blur] / e.sigma_px).ln() / e.error_ln).powi(2) + reaching(blur)
        }),
        None => {
            let logs = model.logs(&model.scene(PATTERN), &Observed::of(reading));
            std::array::from_fn(|blur| logs[blur] + reaching(blur))
        }
    };
    Posterior::of_logs(&logs, |blur| family.reachable[blur])
}

/// The frame with most fine power over its tone: the one that the others are compared with.
pub fn anchor(readings: &[Option<Reading>]) -> Option<usize> {
    let power = |r: &Reading| -> f64 {
        let over = |i: usize| (r.rings.arithmetic[i] - r.noise[i]).max(0.0);
        ANCHOR_RINGS.map(over).sum::<f64>() / r.rings.mean_dn.max(1.0).powi(2)
    };
    readings
        .iter()
        .enumerate()
        .filter_map(|(i, r)| Some((i, power(r.as_ref()?))))
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
        .map(|(i, _)| i)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reading of an ordinary scene, raised by `raise` in ln and with a pattern's peak, seen at
    /// one blur of the grid.
    fn reading(family: &TransferFamily, blur: usize, raise: f64, noise: f64) -> Reading {
        let model = Model::new(family);
        let mean_dn = 120.0f64;
        let peak = |r: usize| if (5..=7).contains(&r) { 2.0 } else { 0.0 };
        let power = std::array::from_fn(|r| {
            let scene = model.mean[r] + raise + peak(r);
            (scene + family.ln_power[blur][r]).exp() * mean_dn * mean_dn + noise
        });
        Reading {
            rings: RingSpectrum { geometric: power, arithmetic: power, mean_dn },
            noise: [noise; RING_COUNT],
        }
    }

    fn nearest(sigma_px: f64) -> usize {
        let grid = grid_px();
        let off = |i: usize| (grid[i] / sigma_px).ln().abs();
        (0..GRID).min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap()
    }

    #[test]
    fn a_pattern_alone_tells_in_focus_from_far_out_of_it() {
        let family = TransferFamily::new(Some(0.55));
        let sharp = reading(&family, nearest(1.0), 0.0, 2.0);
        let soft = reading(&family, nearest(5.0), 0.0, 2.0);
        let one = |r: Reading| blur(&r, &family, None).unwrap();
        assert!(one(sharp).above(2.0) < 0.1, "{}", one(sharp).sigma_px());
        assert!(one(soft).above(2.0) > 0.7, "{}", one(soft).sigma_px());
    }

    #[test]
    fn the_range_holds_its_share_and_stays_within_the_lens() {
        let family = TransferFamily::new(Some(0.55));
        let own = blur(&reading(&family, nearest(1.3), 0.0, 2.0), &family, None)
            .unwrap()
            .widened(0.13, &family);
        let (low, high) = own.range_px(0.68);
        let inside = own.above(low) - own.above(high);
        assert!((0.6..0.85).contains(&inside), "{low} to {high}: {inside}");
        assert!(low >= 0.93 * family.in_focus_px.unwrap());
        assert!(own.quantile_px(0.5) >= low && own.quantile_px(0.5) <= high);
    }

    #[test]
    fn edges_are_believed_within_their_error() {
        let family = TransferFamily::new(Some(0.55));
        let soft = reading(&family, nearest(5.0), 0.0, 2.0);
        let edge = EdgeBlur { sigma_px: 2.0, error_ln: 0.3 };
        let found = blur(&soft, &family, Some(edge)).unwrap();
        assert!((1.5..2.2).contains(&found.sigma_px()), "{}", found.sigma_px());
    }

    #[test]
    fn no_reading_no_anchor() {
        assert_eq!(anchor(&[None, None]), None);
    }
}
