//! What one's own frames say a setting can show: the model of [`crate::optics::imaging_model`] fitted to
//! measured detail.
//!
//! Detail depends on contrast over noise, so three numbers are enough: q = contrast power over
//! light's own noise at ISO 100, the aberration of the lens, and the noise of reading over
//! light's own. A fourth is how much less frames from the field show than tests. Each frame's own
//! blur beyond what the setting gives is taken into account, half its variance as defocus and half
//! as a Gaussian. Fitted to ln D by Gauss-Newton with Huber's weights (k = 1.5) and weak priors,
//! the typical numbers of planning, which only matter where the frames say nothing. Errors from
//! the normal matrix; valid between the settings that were used. Attribution of a stop: the
//! two-factor Shapley value (Shapley
//! 1953).

use crate::core::search::bisect;
use crate::core::stats::{least_squares, mad_sigma};
use crate::core::units::WavelengthUm;
use crate::optics::imaging_model::{
    CaptureSettings, HIGHEST_CY_PX, ImagingSystem, PredictedDetail,
};

/// Numbers that are fitted.
const K: usize = 4;
/// Aberration that the second number is a multiple of, µm at a working f/1.
pub const ABERRATION_UNIT_UM: f64 = 20.0;
/// Middle and spread of what is expected beforehand: ln q, aberration, ln(read/shot), field.
/// q: a subject of 10 % contrast an octave at some 10,000 electrons.
const PRIOR: [(f64, f64); K] = [(3.2, 3.0), (1.0, 0.7), (-7.1, 1.5), (0.0, 0.7)];
/// Scatter of ln D that even the best repeats have: ratios within one texture vary 2-3 %.
const MIN_SCATTER: f64 = 0.02;
/// σ of the Gaussian with a disc's MTF50, over its diameter (facts M15).
const SIGMA_PER_DISC: f64 = 0.265_770;
/// How much of the variance of a hit's extra blur is taken for defocus, the rest for movement and
/// a Gaussian. All of it reads detail 10 % low on simulated shooters (seeds 100 to 119), none of
/// it 9 % high.
const DEFOCUS_SHARE: f64 = 0.5;
/// Huber's constant.
const HUBER: f64 = 1.5;
const STEPS: usize = 25;

/// A measured detail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DetailPoint {
    /// Working f-number.
    pub n_eff: f64,
    /// ISO.
    pub iso: f64,
    /// Detail D, bits per pixel, above 0.
    pub detail_bits_px: f64,
    /// Blur as measured (σ, pixel included), px.
    pub blur_sigma_px: Option<f64>,
    /// Whether it is from the field, not from a test.
    pub field: bool,
}

/// The fitted model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DetailModel {
    /// ln q, aberration in units, ln(read/shot), ln of what the field shows of a test.
    pub theta: [f64; K],
    /// Their covariance.
    pub covariance: [[f64; K]; K],
    /// Scatter of single frames about the model, in ln D.
    pub scatter: f64,
    /// Points used.
    pub n: u32,
    /// Whether both kinds were there, so that the fourth number means something.
    pub both_kinds: bool,
    pitch_um: f64,
    wavelength: WavelengthUm,
}

/// The kit that numbers stand for; light's own noise at ISO 100 is 1.
fn kit(theta: &[f64; K], pitch_um: f64, wavelength: WavelengthUm) -> ImagingSystem {
    ImagingSystem {
        pitch_um,
        wavelength,
        aberration_um: ABERRATION_UNIT_UM * theta[1].max(0.0),
        contrast_power: theta[0].exp(),
        shot: 1.0,
        read: theta[2].exp(),
    }
}

fn setting(n_eff: f64, iso: f64) -> CaptureSettings {
    CaptureSettings { n_eff, iso, defocus_um: 0.0, smear_px: 0.0, soft_px: 0.0 }
}

/// ln D that the numbers give for a point.
fn ln_detail(theta: &[f64; K], p: &DetailPoint, pitch_um: f64, wavelength: WavelengthUm) -> f64 {
    let kit = kit(theta, pitch_um, wavelength);
    let mut at = setting(p.n_eff, p.iso);
    if let Some(blur) = p.blur_sigma_px {
        let more = (blur * blur - kit.blur_sigma_px(&at).powi(2)).max(0.0);
        at.soft_px = ((1.0 - DEFOCUS_SHARE) * more).sqrt();
        let disc_px = (DEFOCUS_SHARE * more).sqrt() / SIGMA_PER_DISC;
        at.defocus_um = disc_px * pitch_um * p.n_eff;
    }
    let bits = kit.shows(&at, HIGHEST_CY_PX, None).detail_bits_px;
    bits.max(1e-9).ln() + if p.field { theta[3] } else { 0.0 }
}

/// How far a point is from a model, in ln D.
struct DetailResidual {
    field: bool,
    /// Change of the model's ln D there with each number.
    slope: [f64; K],
    left: f64,
}

impl DetailResidual {
    fn of(
        p: &DetailPoint,
        theta: &[f64; K],
        pitch_um: f64,
        wavelength: WavelengthUm,
    ) -> DetailResidual {
        const NUDGE: f64 = 1e-3;
        let now = ln_detail(theta, p, pitch_um, wavelength);
        let slope = std::array::from_fn(|i| {
            let mut moved = *theta;
            moved[i] += NUDGE;
            (ln_detail(&moved, p, pitch_um, wavelength) - now) / NUDGE
        });
        DetailResidual { field: p.field, slope, left: p.detail_bits_px.ln() - now }
    }

    /// As a row of the fit: outliers count less.
    fn weighted(&self, scatter: &[f64; 2]) -> ([f64; K], f64, f64) {
        let scatter = scatter[usize::from(self.field)];
        let far = self.left.abs() / scatter;
        let huber = if far > HUBER { HUBER / far } else { 1.0 };
        (self.slope, self.left, huber / (scatter * scatter))
    }
}

/// Scatter of tests and of the field from what is left of them.
fn rescatter(scatter: &mut [f64; 2], residuals: &[DetailResidual]) {
    for (kind, scatter) in scatter.iter_mut().enumerate() {
        let own = residuals.iter().filter(|r| usize::from(r.field) == kind);
        let mut left: Vec<f64> = own.map(|r| r.left).collect();
        // A few points leave less than their scatter behind.
        let n = left.len() as f64;
        if let Some(found) = mad_sigma(&mut left) {
            *scatter = found.max(MIN_SCATTER) * (n / (n - 3.0).max(1.0)).sqrt();
        }
    }
}

impl DetailModel {
    /// Fits points. `None` without one sound point.
    ///
    /// Points should be spread over the settings: some hundreds are plenty.
    pub fn fit(
        points: &[DetailPoint],
        pitch_um: f64,
        wavelength: WavelengthUm,
    ) -> Option<DetailModel> {
        let sound = |p: &&DetailPoint| {
            [p.n_eff, p.iso, p.detail_bits_px].iter().all(|v| v.is_finite() && *v > 0.0)
        };
        let mut points: Vec<DetailPoint> = points.iter().filter(sound).copied().collect();
        let both_kinds = points.iter().any(|p| p.field) && points.iter().any(|p| !p.field);
        if !both_kinds {
            points.iter_mut().for_each(|p| p.field = false);
        }
        if points.is_empty() || !(pitch_um.is_finite() && pitch_um > 0.0) {
            return None;
        }
        let mut theta = PRIOR.map(|(middle, _)| middle);
        // Tests and the field scatter apart: subjects differ in the field.
        let mut scatter = [0.3; 2];
        let mut covariance = [[0.0; K]; K];
        for step in 0..STEPS {
            let residuals: Vec<DetailResidual> = points
                .iter()
                .map(|p| DetailResidual::of(p, &theta, pitch_um, wavelength))
                .collect();
            if step > 0 {
                rescatter(&mut scatter, &residuals);
            }
            let mut weighted: Vec<([f64; K], f64, f64)> =
                residuals.iter().map(|r| r.weighted(&scatter)).collect();
            for i in 0..K {
                let (middle, spread) = PRIOR[i];
                let spread = if i == 3 && !both_kinds { 1e-6 } else { spread };
                let mut one = [0.0; K];
                one[i] = 1.0;
                weighted.push((one, middle - theta[i], 1.0 / (spread * spread)));
            }
            let fit = least_squares(&weighted)?;
            covariance = fit.covariance;
            let mut largest: f64 = 0.0;
            for (t, by) in theta.iter_mut().zip(fit.beta) {
                let by = by.clamp(-1.0, 1.0);
                *t += by;
                largest = largest.max(by.abs());
            }
            theta[1] = theta[1].clamp(0.0, 10.0);
            if largest < 1e-5 && step > 2 {
                break;
            }
        }
        let left =
            |p: &DetailPoint| p.detail_bits_px.ln() - ln_detail(&theta, p, pitch_um, wavelength);
        let mut left: Vec<f64> = points.iter().map(left).collect();
        let scatter = mad_sigma(&mut left).unwrap_or(0.0).max(MIN_SCATTER);
        theta.iter().all(|t| t.is_finite()).then_some(DetailModel {
            theta,
            covariance,
            scatter,
            n: points.len() as u32,
            both_kinds,
            pitch_um,
            wavelength,
        })
    }

    /// The kit with light's own noise at ISO 100 as 1; its contrast power is q.
    pub fn kit(&self) -> ImagingSystem {
        kit(&self.theta, self.pitch_um, self.wavelength)
    }

    /// What a setting shows at its best.
    pub fn shows(&self, n_eff: f64, iso: f64) -> PredictedDetail {
        self.kit().shows(&setting(n_eff, iso), HIGHEST_CY_PX, None)
    }

    /// Standard error of a function of the numbers, by its slopes.
    fn std_err(&self, f: impl Fn(&DetailModel) -> Option<f64>) -> Option<f64> {
        /// Wide enough to step over the kink where the finest line meets the pixel limit.
        const NUDGE: f64 = 0.02;
        let now = f(self)?;
        let mut slope = [0.0; K];
        for (i, s) in slope.iter_mut().enumerate() {
            let mut moved = *self;
            moved.theta[i] += NUDGE;
            *s = (f(&moved)? - now) / NUDGE;
        }
        let mut sum = 0.0;
        for i in 0..K {
            for j in 0..K {
                sum += slope[i] * self.covariance[i][j] * slope[j];
            }
        }
        Some(sum.max(0.0).sqrt())
    }

    /// Standard error of the detail at a setting, as a share of it.
    pub fn detail_rel_err(&self, n_eff: f64, iso: f64) -> f64 {
        self.std_err(|p| Some(p.shows(n_eff, iso).detail_bits_px.max(1e-9).ln()))
            .unwrap_or(f64::INFINITY)
    }

    /// Standard error of the resolved frequency, as a share of it.
    pub fn resolved_rel_err(&self, n_eff: f64, iso: f64) -> Option<f64> {
        self.std_err(|p| Some(p.shows(n_eff, iso).resolved_cy_px?.ln()))
    }

    /// What closing one stop and raising the ISO by one costs in detail: (by the aperture, by the
    /// ISO), bits per pixel, as losses.
    pub fn cost_of_a_stop(&self, n_eff: f64, iso: f64) -> (f64, f64) {
        cost_of_a_stop(&self.kit(), n_eff, iso)
    }

    /// The working f-number between `low` and `high` at which both cost the same: below it the
    /// ISO costs more, above it the aperture. With its standard error in stops. `None` when one
    /// costs more all the way.
    pub fn break_even(&self, iso: f64, low: f64, high: f64) -> Option<(f64, f64)> {
        let n = break_even(&self.kit(), iso, low, high)?;
        // For the slopes the ends may be passed.
        let err = self.std_err(|p| {
            break_even(&p.kit(), iso, 0.5 * low, 2.0 * high).map(|n| 2.0 * n.log2())
        })?;
        Some((n, err))
    }
}

/// What closing one stop (working f-number × √2) and doubling the ISO costs each: the two-factor
/// Shapley value of detail, as losses.
pub fn cost_of_a_stop(kit: &ImagingSystem, n_eff: f64, iso: f64) -> (f64, f64) {
    let d = |n: f64, iso: f64| kit.shows(&setting(n, iso), HIGHEST_CY_PX, None).detail_bits_px;
    let closed = n_eff * std::f64::consts::SQRT_2;
    let (aa, ba) = (d(n_eff, iso), d(closed, iso));
    let (ab, bb) = (d(n_eff, 2.0 * iso), d(closed, 2.0 * iso));
    (0.5 * ((aa - ba) + (ab - bb)), 0.5 * ((aa - ab) + (ba - bb)))
}

/// Where both cost the same, between two working f-numbers; the last crossing from "the ISO costs
/// more" to "the aperture costs more".
pub fn break_even(kit: &ImagingSystem, iso: f64, low: f64, high: f64) -> Option<f64> {
    let over = |n: f64| {
        let (aperture, noise) = cost_of_a_stop(kit, n, iso);
        aperture - noise
    };
    let (low, high) = (low.ln(), high.ln());
    if over(low.exp()) >= 0.0 || over(high.exp()) <= 0.0 {
        return None;
    }
    let (low, high) = bisect((low, high), 40, |ln_n| over(ln_n.exp()) <= 0.0);
    Some((0.5 * (low + high)).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;
    use crate::core::units::GREEN;

    const TRUTH: [f64; K] = [2.6, 1.4, -6.2, 0.0];

    fn points(seed: u64, n: u32, scatter: f64) -> Vec<DetailPoint> {
        let mut random = SplitMix64::new(seed);
        (0..n)
            .map(|_| {
                let mut p = DetailPoint {
                    n_eff: 8.0 * 2f64.powf(0.5 * random.below(8) as f64),
                    iso: 100.0 * 2f64.powi(random.below(6) as i32),
                    detail_bits_px: 1.0,
                    blur_sigma_px: None,
                    field: false,
                };
                let ln = ln_detail(&TRUTH, &p, 4.4, GREEN) + scatter * random.normal();
                p.detail_bits_px = ln.exp();
                p
            })
            .collect()
    }

    #[test]
    fn exact_points_give_the_numbers_back() {
        let fit = DetailModel::fit(&points(1, 80, 0.0), 4.4, GREEN).unwrap();
        for (got, want) in fit.theta.iter().zip(TRUTH).take(3) {
            assert!((got - want).abs() < 0.05, "{:?}", fit.theta);
        }
    }

    #[test]
    fn errors_cover_the_truth() {
        let mut inside = 0;
        for seed in 0..40 {
            let fit = DetailModel::fit(&points(100 + seed, 60, 0.08), 4.4, GREEN).unwrap();
            let truth = kit(&TRUTH, 4.4, GREEN)
                .shows(&setting(22.0, 800.0), HIGHEST_CY_PX, None)
                .detail_bits_px;
            let got = fit.shows(22.0, 800.0).detail_bits_px;
            let err = fit.detail_rel_err(22.0, 800.0);
            inside += u32::from((got / truth).ln().abs() < 2.0 * err);
            assert!((got / truth - 1.0).abs() < 0.1, "{got} for {truth}");
        }
        // 95 % of 40 is 38; 33 or fewer would be a chance of 1 in 250.
        assert!(inside > 33, "{inside} of 40");
    }

    // I15, I16's reading: in focus the aperture costs several times what the ISO costs; here the
    // same two stops, and the sum of both shares is the whole loss (Shapley, W7).
    #[test]
    fn the_shares_of_a_stop_add_up() {
        let k = kit(&TRUTH, 4.4, GREEN);
        let (aperture, noise) = cost_of_a_stop(&k, 32.0, 400.0);
        let d = |n: f64, iso: f64| k.shows(&setting(n, iso), HIGHEST_CY_PX, None).detail_bits_px;
        let whole = d(32.0, 400.0) - d(32.0 * std::f64::consts::SQRT_2, 800.0);
        approx::assert_relative_eq!(aperture + noise, whole, max_relative = 1e-9);
        assert!(aperture > noise);
        let n = break_even(&k, 400.0, 2.0, 90.0).unwrap();
        let (a, b) = cost_of_a_stop(&k, n, 400.0);
        approx::assert_relative_eq!(a, b, max_relative = 1e-6);
        assert!(break_even(&k, 400.0, n * 1.5, 90.0).is_none());
    }

    #[test]
    fn little_and_broken_data_are_survived() {
        let mut bad = points(3, 1, 0.0);
        assert!(DetailModel::fit(&bad, 4.4, GREEN).is_some());
        bad[0].detail_bits_px = f64::NAN;
        assert!(DetailModel::fit(&bad, 4.4, GREEN).is_none());
        assert!(DetailModel::fit(&[], 4.4, GREEN).is_none());
        // Contradictory: the same setting, details from nothing to much.
        let p = points(4, 1, 0.0)[0];
        let many: Vec<DetailPoint> =
            (1..30).map(|i| DetailPoint { detail_bits_px: 0.01 * f64::from(i * i), ..p }).collect();
        let fit = DetailModel::fit(&many, 4.4, GREEN).unwrap();
        assert!(fit.detail_rel_err(p.n_eff, p.iso).is_finite() && fit.scatter > 0.2);
    }
}
