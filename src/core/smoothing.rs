//! A smooth course through values that scatter, with its errors.
//!
//! A local linear trend: the slope changes by small random steps, values scatter about the course
//! by their own errors. Kalman's filter forwards and the smoother of Rauch, Tung & Striebel (1965,
//! DOI 10.2514/3.3166) backwards give the course with its errors from all values before and
//! after; how restless the slope is, and by which factor the errors were misjudged, are those
//! under which the values are likeliest (Harvey 1989, *Forecasting, Structural Time Series Models
//! and the Kalman Filter*, 4.2). The course is a cubic spline (Wecker & Ansley 1983, DOI
//! 10.1080/01621459.1983.10477936). Values far from it are weighted down and the course is drawn
//! again, as with Student's t (Lange, Little & Taylor 1989, DOI 10.2307/2290063). Gaps are bridged
//! with errors that grow.

use std::collections::BTreeMap;

/// A value at a time with its variance, which need be right only up to a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scattered {
    /// Time, s.
    pub t_s: f64,
    /// The value; `None` where there is none.
    pub value: Option<f64>,
    /// Its variance, above 0.
    pub variance: f64,
}

/// Value and standard error of the course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnCourse {
    /// The value.
    pub value: f64,
    /// One standard error.
    pub std_err: f64,
}

/// A course.
#[derive(Debug, Clone, PartialEq)]
pub struct SmoothedSeries {
    /// Value and error at every time.
    pub values: Vec<OnCourse>,
    /// By what the variances given have to be multiplied to be those of the values.
    pub factor: f64,
}

/// Values from which a course is drawn.
const MIN_VALUES: usize = 4;
/// Restlessness tried, variance of the slope's change in a second over a value's variance, as
/// powers of four.
const RESTLESS: std::ops::RangeInclusive<i32> = -4..=14;
/// Degrees of freedom of Student's t: one value in about forty lies beyond three errors.
const FREEDOM: f64 = 4.0;
/// Times the weights are found anew.
const ROUNDS: usize = 4;
/// Variance that stands for knowing nothing, over that of the values.
const UNKNOWN: f64 = 1e8;

/// One step of the filter: what was expected and what was known after it.
#[derive(Clone, Copy)]
struct SmoothingStep {
    expected: [f64; 2],
    /// Variances and covariance of the expectation: value, both, slope.
    expected_p: [f64; 3],
    known: [f64; 2],
    known_p: [f64; 3],
}

/// Runs forwards; returns the steps and, of the misfits, the sum of their logarithms of variance,
/// of their squares over variance, and their number.
fn forwards(
    values: &[Scattered],
    weights: &[f64],
    restless: f64,
) -> (Vec<SmoothingStep>, f64, f64, f64) {
    let first = values.iter().find_map(|v| Some((v.value?, v.variance))).unwrap_or((0.0, 1.0));
    let (mut x, mut p) = ([first.0, 0.0], [UNKNOWN * first.1, 0.0, UNKNOWN * first.1]);
    let mut steps = Vec::with_capacity(values.len());
    let (mut logs, mut squares, mut n) = (0.0, 0.0, 0.0);
    let mut seen = 0;
    for (i, v) in values.iter().enumerate() {
        if i > 0 {
            let dt = (v.t_s - values[i - 1].t_s).max(1e-6);
            x = [x[0] + dt * x[1], x[1]];
            p = [
                p[0] + 2.0 * dt * p[1] + dt * dt * p[2] + restless * dt.powi(3) / 3.0,
                p[1] + dt * p[2] + restless * dt * dt / 2.0,
                p[2] + restless * dt,
            ];
        }
        let (expected, expected_p) = (x, p);
        if let Some(value) = v.value {
            let s = p[0] + v.variance / weights[i];
            let off = value - x[0];
            // The first two values only say where the course starts.
            seen += 1;
            if seen > 2 {
                logs += s.ln();
                squares += off * off / s;
                n += 1.0;
            }
            let gain = [p[0] / s, p[1] / s];
            x = [x[0] + gain[0] * off, x[1] + gain[1] * off];
            p = [p[0] * (1.0 - gain[0]), p[1] * (1.0 - gain[0]), p[2] - gain[1] * p[1]];
        }
        steps.push(SmoothingStep { expected, expected_p, known: x, known_p: p });
    }
    (steps, logs, squares, n)
}

/// The course through values in order of time. `None` for fewer than a handful of them.
pub fn smooth(values: &[Scattered]) -> Option<SmoothedSeries> {
    if values.iter().filter(|v| v.value.is_some()).count() < MIN_VALUES {
        return None;
    }
    let mut weights = vec![1.0; values.len()];
    let unit = {
        let mut all: Vec<f64> =
            values.iter().filter(|v| v.value.is_some()).map(|v| v.variance).collect();
        crate::core::stats::median(&mut all)?
    };
    let (mut drawn, mut factor) = (Vec::new(), 1.0);
    for _ in 0..ROUNDS {
        let mut tried: BTreeMap<i32, f64> = BTreeMap::new();
        for power in RESTLESS {
            let restless = unit * 4f64.powi(power);
            let (_, logs, squares, n) = forwards(values, &weights, restless);
            // Twice the negative logarithm of the likelihood, the factor put in.
            tried.insert(power, logs + n * (squares / n.max(1.0)).max(1e-300).ln());
        }
        let best = *tried.iter().min_by(|a, b| a.1.total_cmp(b.1))?.0;
        let restless = unit * 4f64.powi(best);
        let (steps, _, squares, n) = forwards(values, &weights, restless);
        factor = (squares / n.max(1.0)).max(1e-12);
        drawn = backwards(values, &steps);
        for (c, (v, w)) in drawn.iter_mut().zip(values.iter().zip(weights.iter_mut())) {
            if let Some(value) = v.value {
                let z2 = (value - c.value).powi(2) / (factor * v.variance);
                *w = ((FREEDOM + 1.0) / (FREEDOM + z2)).min(1.0);
            }
            c.std_err *= factor.sqrt();
        }
    }
    Some(SmoothedSeries { values: drawn, factor })
}

/// Runs backwards over the steps.
fn backwards(values: &[Scattered], steps: &[SmoothingStep]) -> Vec<OnCourse> {
    let Some(last) = steps.last() else { return Vec::new() };
    let (mut x, mut p) = (last.known, last.known_p);
    let mut out = vec![OnCourse { value: x[0], std_err: p[0].max(0.0).sqrt() }; steps.len()];
    for i in (0..steps.len() - 1).rev() {
        let (here, next) = (&steps[i], &steps[i + 1]);
        let dt = (values[i + 1].t_s - values[i].t_s).max(1e-6);
        // Gain: known_p · Fᵀ · expected_p⁻¹, F the step over dt.
        let k = here.known_p;
        let (a, b, c, d) = (k[0] + dt * k[1], k[1], k[1] + dt * k[2], k[2]);
        let e = next.expected_p;
        let det = e[0] * e[2] - e[1] * e[1];
        if det.is_nan() || det <= 0.0 {
            continue;
        }
        let g = [
            [(a * e[2] - b * e[1]) / det, (b * e[0] - a * e[1]) / det],
            [(c * e[2] - d * e[1]) / det, (d * e[0] - c * e[1]) / det],
        ];
        let off = [x[0] - next.expected[0], x[1] - next.expected[1]];
        x = [
            here.known[0] + g[0][0] * off[0] + g[0][1] * off[1],
            here.known[1] + g[1][0] * off[0] + g[1][1] * off[1],
        ];
        let q = [p[0] - e[0], p[1] - e[1], p[2] - e[2]];
        let of = |r: [f64; 2], s: [f64; 2]| {
            r[0] * s[0] * q[0] + (r[0] * s[1] + r[1] * s[0]) * q[1] + r[1] * s[1] * q[2]
        };
        p = [k[0] + of(g[0], g[0]), k[1] + of(g[0], g[1]), k[2] + of(g[1], g[1])];
        out[i] = OnCourse { value: x[0], std_err: p[0].max(0.0).sqrt() };
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    fn scattered(n: usize, error: f64, seed: u64, f: impl Fn(f64) -> f64) -> Vec<Scattered> {
        let mut g = SplitMix64::new(seed);
        (0..n)
            .map(|i| {
                let t_s = i as f64 / 50.0;
                // The variance is misjudged by a factor on purpose.
                let value = Some(f(t_s) + error * g.normal());
                Scattered { t_s, value, variance: 9.0 * error * error }
            })
            .collect()
    }

    fn rms(course: &[OnCourse], f: impl Fn(f64) -> f64) -> f64 {
        let squares: f64 =
            course.iter().enumerate().map(|(i, c)| (c.value - f(i as f64 / 50.0)).powi(2)).sum();
        (squares / course.len() as f64).sqrt()
    }

    #[test]
    fn scatter_is_smoothed_away_and_errors_are_right() {
        let f = |t: f64| (2.0 * t).sin();
        let (mut inside, mut all) = (0, 0);
        for seed in 0..10 {
            let drawn = smooth(&scattered(150, 0.2, seed, f)).unwrap().values;
            assert!(rms(&drawn, f) < 0.075, "{}", rms(&drawn, f));
            for (i, c) in drawn.iter().enumerate() {
                inside += u32::from((c.value - f(i as f64 / 50.0)).abs() < 2.0 * c.std_err);
                all += 1;
            }
        }
        // 95 of 100 within two standard errors; neighbours go together, so this is loose.
        let share = f64::from(inside) / f64::from(all);
        assert!((0.85..=1.0).contains(&share), "{share}");
    }

    #[test]
    fn quick_changes_are_kept_where_values_are_sure() {
        let f = |t: f64| (30.0 * t).sin();
        let drawn = smooth(&scattered(150, 0.02, 3, f)).unwrap().values;
        assert!(rms(&drawn, f) < 0.03, "{}", rms(&drawn, f));
    }

    #[test]
    fn outliers_and_gaps_are_borne() {
        let f = |t: f64| (2.0 * t).sin();
        let mut values = scattered(150, 0.05, 4, f);
        for i in [20, 21, 70, 110] {
            values[i].value = values[i].value.map(|v| v + 3.0);
        }
        for v in &mut values[80..100] {
            v.value = None;
        }
        let drawn = smooth(&values).unwrap().values;
        assert!(rms(&drawn, f) < 0.05, "{}", rms(&drawn, f));
        assert!(drawn[90].std_err > 1.2 * drawn[40].std_err);
        assert_eq!(smooth(&values[..3]), None);
    }
}
