//! Blur at the subject of a burst's frames from their ring spectra, absolute and against each
//! other, with an honest range.
//!
//! The spectrum of a frame is that of the scene times the power the optics pass, over noise. Neither
//! is known, but scenes resemble each other: over real close-up photographs ln(power) falls by 2.36
//! per ln(frequency), with a known scatter. So the scene is a Gaussian process over ln(frequency)
//! around that fall, the optics are one of the [`TransferFamily`], and the blur of the burst's
//! sharpest frame, the anchor, has a posterior on its grid. The scene is the same in all frames:
//! under each blur of the anchor its spectrum gives the scene's, which says how blurred each
//! other frame is, whatever the scene is made of. Edges, lines, dots and patterns read alike.
//!
//! The range is that of the posterior: it contains what is not known about the scene, the
//! rendering and the noise, whose level may be wrong in all rings together. Movement blurs along
//! one direction only and is added by the caller. Valid for 0.3 to 12 px of blur.
//! Rasmussen & Williams, *Gaussian Processes for Machine Learning*, 2006, ch. 2;
//! Field 1987 (doi:10.1364/JOSAA.4.002379) for the fall of natural spectra.

use nalgebra::{SMatrix, SVector};

use super::ring_spectrum::{RING_COUNT, RingSpectrum, ring_centres_cy_px};
use super::transfer_family::{GRID, TransferFamily, grid_px};

type RingValues = SVector<f64, RING_COUNT>;
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
/// Share of the noise that may be wrong in one ring by itself.
const NOISE_RING_SD: f64 = 0.2;
/// And in all rings of one frame: the frames of a burst were taken and stored alike.
const NOISE_FRAME_SD: f64 = 0.06;
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
pub const REACHING_LN: f64 = 0.35;
/// What differs between the frames of a burst besides blur, ln(power): level (light, pose) and
/// shape, the latter varying over [`RING_CORRELATION_LN`].
const FRAME_LEVEL_SD: f64 = 0.10;
/// See [`FRAME_LEVEL_SD`].
const FRAME_SHAPE_SD: f64 = 0.12;
/// What the ln of a ratio is multiplied by where the subject shows a regular pattern, whose glints
/// are clipped in sharp frames (0.77 of the truth on three simulated days).
const PATTERN_STRETCH: f64 = 1.3;
/// Blurs of the anchor less likely than this are not followed to the other frames.
const LIKELY: f64 = 0.01;

/// How widely scenes differ.
#[derive(Debug, Clone, Copy)]
struct BlurSpread {
    level: f64,
    slope: f64,
    shape: f64,
}

/// Scenes with a regular pattern.
const PATTERN: BlurSpread = BlurSpread { level: 1.1, slope: 1.2, shape: 1.2 };
/// Any other scene.
const PLAIN: BlurSpread = BlurSpread { level: 2.5, slope: 1.5, shape: 1.2 };

/// One frame's spectrum with its noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameSpectrum {
    /// Ring powers.
    pub rings: RingSpectrum,
    /// Noise density in every ring, squared 8-bit steps.
    pub noise: [f64; RING_COUNT],
    /// Share of the noise that may be wrong in all rings together.
    pub noise_sd: f64,
}

/// Blur of one frame over that of the anchor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlurRatio {
    /// ln of the ratio.
    pub ln: f64,
    /// One standard deviation of it.
    pub sd_ln: f64,
}

/// The frame that the others of a burst are compared with.
#[derive(Debug, Clone, PartialEq)]
pub struct AnchorBlur {
    /// Its number.
    pub anchor: usize,
    /// Its blur.
    pub blur: Posterior,
}

/// Blur of the frames of a burst over that of their anchor.
#[derive(Debug, Clone, PartialEq)]
pub struct BurstRatios {
    /// Every frame's ratio; `None` without a reading.
    pub ratios: Vec<Option<BlurRatio>>,
    /// What the anchor's blur is to be multiplied by: where ratios are larger than the spectra read
    /// them, this leaves the burst's mean blur as they did.
    pub anchor_share: f64,
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

    /// Mean of ln(blur) and its variance, about `zero`.
    fn ln_moments(&self, lns: &[f64; GRID], zero: f64) -> (f64, f64) {
        let mean: f64 = self.weight.iter().zip(lns).map(|(w, ln)| w * (ln - zero)).sum();
        let square =
            self.weight.iter().zip(lns).map(|(w, ln)| w * (ln - zero - mean).powi(2)).sum();
        (mean, square)
    }

    /// Blur, px: the geometric mean.
    pub fn sigma_px(&self) -> f64 {
        self.ln_moments(&grid_px().map(f64::ln), 0.0).0.exp()
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

    /// The same with the ln of every blur's weight (of ln px) added; as it is where that leaves
    /// nothing.
    pub fn reweighted(&self, ln_weight: impl Fn(f64) -> f64) -> Posterior {
        let lns = grid_px().map(f64::ln);
        let most = lns.iter().map(|ln| ln_weight(*ln)).fold(f64::NEG_INFINITY, f64::max);
        let weight: [f64; GRID] =
            std::array::from_fn(|i| self.weight[i] * (ln_weight(lns[i]) - most).exp());
        let sum: f64 = weight.iter().sum();
        if sum.is_finite() && sum > 0.0 {
            Posterior { weight: weight.map(|w| w / sum) }
        } else {
            self.clone()
        }
    }

    /// Probability that blur exceeds a limit.
    pub fn above(&self, limit_px: f64) -> f64 {
        self.weight.iter().zip(grid_px()).filter(|(_, s)| *s > limit_px).map(|(w, _)| w).sum()
    }
}

/// What the optics and the scenes are, ready for many readings.
struct Model<'a> {
    family: &'a TransferFamily,
    used: [bool; RING_COUNT],
    offset_ln: RingValues,
    mean: RingValues,
    sharpening: RingValues,
}

/// A scene: mean and covariance of ln(power over mean squared) before the optics, and what is known
/// of the noise that all frames of a burst share, as a share of what it is taken for.
struct SceneProcess {
    mean: RingValues,
    covariance: RingSquare,
    noise_off: f64,
    noise_variance: f64,
    /// Of the scene with the noise.
    with_noise: RingValues,
}

/// A reading as the model sees it: ln of what is kept of signal and noise, over the mean squared.
struct Observed {
    value: RingValues,
    noise: RingValues,
    /// What is kept of the noise, over all that is kept.
    noise_share: RingValues,
    /// Share of the noise that may be wrong in all rings and frames together.
    noise_sd: f64,
    covariance: RingSquare,
}

impl Observed {
    fn of(reading: &FrameSpectrum) -> Observed {
        let square = reading.rings.mean_dn.max(1.0).powi(2);
        let noise = RingValues::from_fn(|r, _| reading.noise[r] / square);
        let signal =
            RingValues::from_fn(|r, _| (reading.rings.geometric[r] / square - noise[r]).max(0.0));
        let kept = signal + NOISE_KEPT * noise;
        let share = noise.component_div(&kept);
        let own = share.map(|share: f64| READING_SD.powi(2) + (NOISE_RING_SD * share).powi(2));
        let of_frame = share * share.transpose() * NOISE_FRAME_SD.powi(2);
        Observed {
            value: kept.map(f64::ln),
            noise,
            noise_share: share,
            noise_sd: reading.noise_sd,
            covariance: RingSquare::from_diagonal(&own) + of_frame,
        }
    }
}

impl Model<'_> {
    fn new(family: &TransferFamily) -> Model<'_> {
        let centres = ring_centres_cy_px();
        let end = family.cutoff_cy_px.map_or(f64::INFINITY, |c| MAX_SHARE_OF_CUTOFF * c);
        let offset_ln = RingValues::from_fn(|r, _| (centres[r] / PIVOT_CY_PX).ln());
        let boost = RingValues::from_fn(|r, _| {
            let f = centres[r] * SHARPENING_RADIUS_PX * std::f64::consts::PI;
            1.0 - (-2.0 * f * f).exp()
        });
        Model {
            family,
            used: std::array::from_fn(|r| r >= FIRST_RING && centres[r] < end),
            mean: RingValues::from_fn(|r, _| {
                SCENE_LEVEL + SCENE_SLOPE * offset_ln[r] + 2.0 * (1.0 + SHARPENING * boost[r]).ln()
            }),
            sharpening: 2.0 * boost,
            offset_ln,
        }
    }

    fn covariance(&self, spread: BlurSpread) -> RingSquare {
        RingSquare::from_fn(|a, b| {
            spread.level.powi(2)
                + spread.slope.powi(2) * self.offset_ln[a] * self.offset_ln[b]
                + spread.shape.powi(2) * self.together(a, b)
        })
    }

    /// Any scene, before a frame was seen whose noise may be wrong by `noise_sd`.
    fn scene(&self, spread: BlurSpread, noise_sd: f64) -> SceneProcess {
        let own = RingSquare::from_diagonal_element(RING_SD.powi(2));
        let sharpening = self.sharpening * self.sharpening.transpose() * SHARPENING_SD.powi(2);
        SceneProcess {
            mean: self.mean,
            covariance: self.covariance(spread) + own + sharpening,
            noise_off: 0.0,
            noise_variance: noise_sd.powi(2),
            with_noise: RingValues::zeros(),
        }
    }

    /// The scene seen through the optics of one blur and the noise: expected reading, weight of
    /// the scene in it, and its covariance with unused rings made independent.
    fn seen(
        &self,
        scene: &SceneProcess,
        at: &Observed,
        blur: usize,
    ) -> (RingValues, RingValues, RingSquare) {
        let passed =
            RingValues::from_fn(|r, _| (scene.mean[r] + self.family.ln_power[blur][r]).exp());
        let kept = |r: usize| passed[r] + NOISE_KEPT * at.noise[r];
        let share = &at.noise_share;
        let expected = RingValues::from_fn(|r, _| kept(r).ln()) + share * scene.noise_off;
        let weight =
            RingValues::from_fn(|r, _| if self.used[r] { passed[r] / kept(r) } else { 0.0 });
        let both = weight * weight.transpose();
        let crossed = scene.with_noise.component_mul(&weight) * share.transpose();
        let mut covariance = scene.covariance.component_mul(&both)
            + at.covariance
            + crossed
            + crossed.transpose()
            + share * share.transpose() * scene.noise_variance;
        for r in (0..RING_COUNT).filter(|r| !self.used[*r]) {
            covariance.row_mut(r).fill(0.0);
            covariance.column_mut(r).fill(0.0);
            covariance[(r, r)] = 1.0;
        }
        (expected, weight, covariance)
    }

    /// The scene after the anchor was seen at one blur, as another frame shows it.
    /// `between_frames` is how frames differ besides blur.
    fn scene_given(
        &self,
        scene: &SceneProcess,
        at: &Observed,
        blur: usize,
        between_frames: &RingSquare,
    ) -> Option<SceneProcess> {
        let (expected, weight, covariance) = self.seen(scene, at, blur);
        let factor = covariance.cholesky()?;
        let share = RingValues::from_fn(|r, _| if self.used[r] { at.noise_share[r] } else { 0.0 });
        let mut across = scene.covariance;
        for r in 0..RING_COUNT {
            across.column_mut(r).scale_mut(weight[r]);
        }
        across += scene.with_noise * share.transpose();
        let of_noise = scene.with_noise.component_mul(&weight) + share * scene.noise_variance;
        let inverse = factor.inverse();
        let known = across * inverse;
        let noise_known = inverse * of_noise;
        let residual = self.residual(at, &expected);
        Some(SceneProcess {
            mean: scene.mean + known * residual,
            covariance: scene.covariance - known * across.transpose() + between_frames,
            noise_off: scene.noise_off + noise_known.dot(&residual),
            noise_variance: scene.noise_variance - noise_known.dot(&of_noise),
            with_noise: scene.with_noise - known * of_noise,
        })
    }

    /// How frames of a burst differ besides blur.
    fn between_frames(&self) -> RingSquare {
        RingSquare::from_fn(|a, b| {
            FRAME_LEVEL_SD.powi(2) + FRAME_SHAPE_SD.powi(2) * self.together(a, b)
        })
    }

    /// How far two rings vary together, 0..1.
    fn together(&self, a: usize, b: usize) -> f64 {
        let apart = (self.offset_ln[a] - self.offset_ln[b]) / RING_CORRELATION_LN;
        (-0.5 * apart * apart).exp()
    }

    fn residual(&self, at: &Observed, expected: &RingValues) -> RingValues {
        RingValues::from_fn(|r, _| if self.used[r] { at.value[r] - expected[r] } else { 0.0 })
    }

    /// ln of the likelihood of every blur.
    fn logs(&self, scene: &SceneProcess, at: &Observed) -> [f64; GRID] {
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

/// The anchor of a burst and its blur, from one reading per frame or `None`. `pattern` says that the subject shows a regular pattern (see
/// [`RingSpectrum::pattern`]), whose scenes differ less in level. `None` without a usable reading.
pub fn anchor_blur(
    readings: &[Option<FrameSpectrum>],
    family: &TransferFamily,
    pattern: bool,
) -> Option<AnchorBlur> {
    let anchor = anchor(readings)?;
    let model = Model::new(family);
    let observed = Observed::of(readings[anchor].as_ref()?);
    let scene = model.scene(if pattern { PATTERN } else { PLAIN }, observed.noise_sd);
    let mut logs = model.logs(&scene, &observed);
    let best_ln = family.in_focus_px.map(f64::ln);
    for (log, px) in logs.iter_mut().zip(grid_px()) {
        *log -= best_ln.map_or(0.0, |best| (px.ln() - best).max(0.0)) / REACHING_LN;
    }
    let blur = Posterior::of_logs(&logs, |blur| family.reachable[blur])?;
    Some(AnchorBlur { anchor, blur })
}

/// Blur of the frames of a burst over that of their anchor, from the readings of [`anchor_blur`].
/// `None` when the anchor has no reading.
pub fn burst_ratios(
    readings: &[Option<FrameSpectrum>],
    family: &TransferFamily,
    pattern: bool,
    AnchorBlur { anchor, blur }: &AnchorBlur,
) -> Option<BurstRatios> {
    let anchor = *anchor;
    let observed: Vec<Option<Observed>> =
        readings.iter().map(|r| r.as_ref().map(Observed::of)).collect();
    let first = observed[anchor].as_ref()?;
    let model = Model::new(family);
    let scene = model.scene(if pattern { PATTERN } else { PLAIN }, first.noise_sd);
    let lns = grid_px().map(f64::ln);
    let between_frames = model.between_frames();
    let mut sums = vec![[0f64; 3]; readings.len()];
    for (at, weight) in blur.weight.iter().enumerate().filter(|(_, w)| **w > LIKELY) {
        let Some(scene) = model.scene_given(&scene, first, at, &between_frames) else { continue };
        for (i, sum) in sums.iter_mut().enumerate() {
            let Some(observed) = observed[i].as_ref() else { continue };
            let (mean, square) = if i == anchor {
                (0.0, 0.0)
            } else {
                let logs = model.logs(&scene, observed);
                match Posterior::of_logs(&logs, |blur| family.reachable[blur]) {
                    Some(own) => own.ln_moments(&lns, lns[at]),
                    None => continue,
                }
            };
            for (s, v) in sum.iter_mut().zip([1.0, mean, square + mean * mean]) {
                *s += weight * v;
            }
        }
    }
    let stretch = if pattern { PATTERN_STRETCH } else { 1.0 };
    let ratio = |[weight, mean, square]: [f64; 3]| {
        let mean = mean / weight;
        let sd_ln = (square / weight - mean * mean).max(0.0).sqrt();
        (weight > 0.0).then_some(BlurRatio { ln: stretch * mean, sd_ln: stretch * sd_ln })
    };
    let ratios: Vec<Option<BlurRatio>> = sums.into_iter().map(ratio).collect();
    let known = || ratios.iter().flatten();
    let mean = known().map(|r| r.ln).sum::<f64>() / known().count().max(1) as f64;
    let anchor_share = (-(1.0 - 1.0 / stretch) * mean).exp();
    Some(BurstRatios { ratios, anchor_share })
}

/// The frame with most fine power over its tone: the one that the others are compared with.
fn anchor(readings: &[Option<FrameSpectrum>]) -> Option<usize> {
    let power = |r: &FrameSpectrum| -> f64 {
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
mod tests;
