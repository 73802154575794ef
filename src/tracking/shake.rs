//! Shake: what is left of a track when its slow drift is taken off, its size and its rhythm.
//!
//! A sine and a slow polynomial are fitted together at every frequency in turn, to both axes with
//! one frequency; the one that explains most is the rhythm (least-squares spectral analysis,
//! Lomb 1976, DOI 10.1007/BF00648343; Scargle 1982, DOI 10.1086/160554; drift and mean fitted
//! along: Zechmeister & Kürster 2009, DOI 10.1051/0004-6361:200811296). Uneven times are no
//! trouble. Two rhythms closer than one over the length of the track are not told apart, which is
//! the resolution that is stated; rhythms slower than two periods in the track count as drift,
//! and none above half the frame rate can be seen (a faster one is folded back).

use crate::core::stats::{least_squares, median};

/// Fastest rhythm looked for, Hz.
const FASTEST_HZ: f64 = 20.0;
/// Periods that the track must hold.
const MIN_PERIODS: f64 = 1.5;
/// Frequencies tried within one resolution.
const OVERSAMPLED: f64 = 8.0;
/// Share of the variance (drift taken off) that a rhythm must explain to be named.
const MIN_EXPLAINED: f64 = 0.35;
/// Least number of places on a track.
const MIN_PLACES: usize = 12;

/// A place on a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedPosition {
    /// Time, s.
    pub t_s: f64,
    /// To the right, px.
    pub x_px: f64,
    /// Downwards, px.
    pub y_px: f64,
}

/// The rhythm of a shake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rhythm {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Rhythms closer than this cannot be told apart, Hz.
    pub resolution_hz: f64,
    /// Amplitude along the larger axis of the movement, px (half of the whole swing).
    pub amplitude_px: f64,
    /// One standard error of the amplitude, px.
    pub amplitude_std_err_px: f64,
    /// Share of the variance that it explains, 0..1.
    pub explained: f64,
}

/// Unsteadiness of a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shake {
    /// Root mean square of the distance from the drift, px.
    pub rms_px: f64,
    /// Furthest from the drift along x and y, px.
    pub furthest_px: (f64, f64),
    /// Speed of the drift, px a second.
    pub drift_px_s: f64,
    /// The rhythm that explains most, when one does.
    pub rhythm: Option<Rhythm>,
}

/// Columns of the fit: a cubic, cosine and sine.
const COLUMNS: usize = 6;

struct PositionTrack<'a> {
    places: &'a [TimedPosition],
    middle_s: f64,
    half_s: f64,
}

/// A fit: coefficients of both axes and the sum of squares left.
struct ShakeFit {
    x: [f64; COLUMNS],
    y: [f64; COLUMNS],
    left: f64,
    /// Variance of the amplitude's coefficients over that of one place.
    unit_variance: f64,
}

impl PositionTrack<'_> {
    fn row(&self, t_s: f64, frequency_hz: f64) -> [f64; COLUMNS] {
        let u = (t_s - self.middle_s) / self.half_s;
        let a = std::f64::consts::TAU * frequency_hz * (t_s - self.middle_s);
        [1.0, u, u * u, u * u * u, a.cos(), a.sin()]
    }

    fn fit(&self, frequency_hz: f64) -> Option<ShakeFit> {
        let rows = |get: fn(&TimedPosition) -> f64| -> Vec<([f64; COLUMNS], f64, f64)> {
            self.places.iter().map(|p| (self.row(p.t_s, frequency_hz), get(p), 1.0)).collect()
        };
        let x = least_squares(&rows(|p| p.x_px))?;
        let y = least_squares(&rows(|p| p.y_px))?;
        Some(ShakeFit {
            x: x.beta,
            y: y.beta,
            left: x.chi_square + y.chi_square,
            unit_variance: (x.covariance[4][4] + x.covariance[5][5]) / 2.0,
        })
    }
}

/// The drift alone: a cubic through each axis; coefficients and sum of squares left.
fn drift(track: &PositionTrack<'_>) -> Option<([f64; 4], [f64; 4], f64)> {
    let rows = |get: fn(&TimedPosition) -> f64| -> Vec<([f64; 4], f64, f64)> {
        let cut = |r: [f64; COLUMNS]| [r[0], r[1], r[2], r[3]];
        track.places.iter().map(|p| (cut(track.row(p.t_s, 0.0)), get(p), 1.0)).collect()
    };
    let x = least_squares(&rows(|p| p.x_px))?;
    let y = least_squares(&rows(|p| p.y_px))?;
    Some((x.beta, y.beta, x.chi_square + y.chi_square))
}

/// Measures a track of at least a dozen places, in order of time.
pub fn shake(places: &[TimedPosition]) -> Option<Shake> {
    let (first, last) = (places.first()?, places.last()?);
    let length_s = last.t_s - first.t_s;
    if places.len() < MIN_PLACES || length_s <= 0.0 {
        return None;
    }
    let track =
        PositionTrack { places, middle_s: (first.t_s + last.t_s) / 2.0, half_s: length_s / 2.0 };
    let (bx, by, still) = drift(&track)?;
    let mut gaps: Vec<f64> = places.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
    let gap_s = median(&mut gaps)?.max(1e-6);
    let fastest = FASTEST_HZ.min(0.5 / gap_s * 0.98);
    let step = 1.0 / (OVERSAMPLED * length_s);
    let mut frequency = MIN_PERIODS / length_s;
    let mut best: Option<(f64, ShakeFit)> = None;
    while frequency <= fastest {
        if let Some(f) = track.fit(frequency)
            && best.as_ref().is_none_or(|b| f.left < b.1.left)
        {
            best = Some((frequency, f));
        }
        frequency += step;
    }
    // Between the tried frequencies: three times a third of the step.
    let mut width = step;
    for _ in 0..4 {
        let Some((at, _)) = best else { break };
        for f in [at - width / 2.0, at + width / 2.0] {
            if let Some(fit) = track.fit(f)
                && best.as_ref().is_none_or(|b| fit.left < b.1.left)
            {
                best = Some((f, fit));
            }
        }
        width /= 2.0;
    }
    let n = places.len() as f64;
    let rhythm = best.and_then(|(frequency_hz, f)| {
        let explained = 1.0 - f.left / still.max(1e-12);
        let amplitude_px = larger_axis((f.x[4], f.x[5]), (f.y[4], f.y[5]));
        let spread = f.left / (2.0 * (n - COLUMNS as f64)).max(1.0);
        (explained >= MIN_EXPLAINED).then_some(Rhythm {
            frequency_hz,
            resolution_hz: 1.0 / length_s,
            amplitude_px,
            amplitude_std_err_px: (spread * f.unit_variance).sqrt(),
            explained,
        })
    });
    // The drift that the rhythm leaves room for, when there is one: a few swings tilt a cubic.
    let at = |b: &[f64], t_s: f64| -> f64 {
        b.iter().zip(track.row(t_s, 0.0)).take(4).map(|(b, r)| b * r).sum()
    };
    let (bx, by) = match best_drift(&track, rhythm) {
        Some(b) => b,
        None => (bx, by),
    };
    let (mut squares, mut far) = (0.0, (0f64, 0f64));
    for p in places {
        let (x, y) = (p.x_px - at(&bx, p.t_s), p.y_px - at(&by, p.t_s));
        squares += x * x + y * y;
        far = (far.0.max(x.abs()), far.1.max(y.abs()));
    }
    let moved = |b: &[f64; 4]| at(b, last.t_s) - at(b, first.t_s);
    Some(Shake {
        rms_px: (squares / n).sqrt(),
        furthest_px: far,
        drift_px_s: moved(&bx).hypot(moved(&by)) / length_s,
        rhythm,
    })
}

fn best_drift(track: &PositionTrack<'_>, rhythm: Option<Rhythm>) -> Option<([f64; 4], [f64; 4])> {
    let f = track.fit(rhythm?.frequency_hz)?;
    Some(([f.x[0], f.x[1], f.x[2], f.x[3]], [f.y[0], f.y[1], f.y[2], f.y[3]]))
}

/// Half the length of the ellipse that two sines of one frequency draw.
fn larger_axis(x: (f64, f64), y: (f64, f64)) -> f64 {
    let (a, b, c) = (x.0 * x.0 + y.0 * y.0, x.0 * x.1 + y.0 * y.1, x.1 * x.1 + y.1 * y.1);
    ((a + c) / 2.0 + ((a - c) / 2.0).hypot(b)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;
    use std::f64::consts::TAU;

    fn track(fps: f64, seconds: f64, f_hz: f64, amplitude: f64, noise: f64) -> Vec<TimedPosition> {
        let mut g = SplitMix64::new(3);
        (0..(fps * seconds) as usize)
            .map(|i| {
                // Uneven times, as of a variable frame rate.
                let t_s = (i as f64 + 0.3 * g.uniform()) / fps;
                let s = amplitude * (TAU * f_hz * t_s + 0.7).sin();
                TimedPosition {
                    t_s,
                    x_px: 12.0 * t_s + 3.0 * t_s * t_s + 0.8 * s + noise * g.normal(),
                    y_px: -5.0 * t_s + 0.6 * s + noise * g.normal(),
                }
            })
            .collect()
    }

    #[test]
    fn amplitude_and_frequency_of_known_shakes() {
        for (fps, seconds, f_hz, amplitude) in
            [(25.0, 4.0, 0.5, 8.0), (30.0, 3.0, 6.2, 2.0), (60.0, 2.0, 14.8, 3.0)]
        {
            let s = shake(&track(fps, seconds, f_hz, amplitude, 0.3)).unwrap();
            let r = s.rhythm.unwrap();
            assert!((r.frequency_hz - f_hz).abs() < 0.1, "{r:?}");
            assert!((r.amplitude_px / amplitude - 1.0).abs() < 0.08, "{r:?} {amplitude}");
            approx::assert_abs_diff_eq!(r.resolution_hz, 1.0 / seconds, epsilon = 0.05);
            // The mean square of a sine is half its amplitude squared.
            assert!((s.rms_px / (amplitude / 2f64.sqrt()) - 1.0).abs() < 0.12, "{s:?}");
        }
    }

    #[test]
    fn drift_alone_has_no_rhythm() {
        let s = shake(&track(30.0, 3.0, 4.0, 0.0, 0.2)).unwrap();
        assert_eq!(s.rhythm, None);
        assert!(s.rms_px < 0.4, "{s:?}");
        assert!((s.drift_px_s - (12.0f64 + 9.0).hypot(5.0)).abs() < 0.8, "{s:?}");
        assert_eq!(shake(&[]), None);
    }

    #[test]
    fn an_ellipse_is_measured_along_its_longer_axis() {
        approx::assert_abs_diff_eq!(larger_axis((3.0, 0.0), (0.0, 2.0)), 3.0, epsilon = 1e-12);
        approx::assert_abs_diff_eq!(larger_axis((3.0, 0.0), (4.0, 0.0)), 5.0, epsilon = 1e-12);
    }
}
