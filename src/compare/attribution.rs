//! Which cost more: closing the aperture, or raising the ISO that paid for it.
//!
//! D(i,j) is the detail that the optics of step i would show under the noise of step j. The
//! change from A to B is shared by the two-factor Shapley value (Shapley 1953, in Contributions
//! to the Theory of Games II), which is exact in sum and does not depend on which came first:
//! optics = ½[(D(B,A) − D(A,A)) + (D(B,B) − D(A,B))], noise likewise.
//!
//! The 90 % interval is 1.645·√(s² + (k·scale/1.645)²): s what chance in
//! the noise does to the answer, k what the protocol itself is wrong by (found on simulated series, see benches/RESULTS.md).

use crate::compare::record::{CostMore, Protocol};
use crate::noise::jpeg::NoiseTransfer;
use crate::noise::signal_noise::{RingPowers, SignalNoise, bits_px, propagated};

/// Two-sided 90 % of a normal.
const Z90: f64 = 1.644_853_626_951_472;
/// Shares this near to a half count as equal.
const EQUAL: f64 = 0.08;
/// A loss below this share of the detail is none worth a verdict.
const MIN_LOSS: f64 = 0.02;

/// Changes shared between two causes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossShares {
    /// Of the first cause.
    pub first: f64,
    /// Of the second.
    pub second: f64,
}

/// Two-factor Shapley value from the four values with neither, the first, the second and both.
pub fn shares(neither: f64, first: f64, second: f64, both: f64) -> LossShares {
    LossShares {
        first: 0.5 * ((first - neither) + (both - second)),
        second: 0.5 * ((second - neither) + (both - first)),
    }
}

/// What one step contributes: its signal as it is to be used, and its noise, with their errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Signal.
    pub signal: RingPowers,
    /// Noise.
    pub noise: RingPowers,
    /// One standard error of the signal.
    pub signal_err: RingPowers,
    /// One standard error of the noise.
    pub noise_err: RingPowers,
    /// Frequencies per ring.
    pub count: RingPowers,
}

impl Side {
    /// As measured.
    pub fn of(step: &SignalNoise) -> Side {
        Side {
            signal: step.signal,
            noise: step.noise,
            signal_err: step.signal_err,
            noise_err: step.noise_err,
            count: step.count,
        }
    }
}

/// A change of detail and its parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attribution {
    /// Whole change, bits per pixel.
    pub total: f64,
    /// One standard error of it.
    pub total_std_err: Option<f64>,
    /// The optics' part.
    pub optics: f64,
    /// The noise's part.
    pub noise: f64,
    /// Half the width of the 90 % interval of either part.
    pub half: f64,
    /// Which cost more.
    pub cost_more: CostMore,
}

/// What kind of frames an answer rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AttributionKind {
    /// Raw files.
    pub raw: bool,
    /// Their compression is known.
    pub compressed: bool,
    /// The camera smoothed their noise.
    pub noise_reduced: bool,
    /// The frames of a step moved against each other.
    pub moved: bool,
}

/// What a protocol itself is wrong by, as a share of the loss at 90 % (from simulated series, see
/// benches/RESULTS.md).
pub fn method_error(protocol: Protocol, kind: AttributionKind) -> f64 {
    match protocol {
        Protocol::FourCorners => 0.02,
        // What noise reduction leaves goes with the detail it is in, by rules that are not known.
        Protocol::Repeats if kind.noise_reduced => 0.12,
        Protocol::Repeats if kind.compressed && !kind.moved => 0.05,
        Protocol::Repeats if !kind.raw => 0.12,
        Protocol::Repeats if kind.moved => 0.055,
        Protocol::Repeats => 0.025,
        Protocol::RawSingles => 0.15,
        Protocol::RenderedSingles => 0.15,
    }
}

/// From step `a` to step `b` by their signals and noises, and by what compression makes of the
/// noise of `a` on the optics of `b` (first) and the other way round.
pub fn between(
    a: &Side,
    b: &Side,
    crossings: &[NoiseTransfer; 2],
    method_error: f64,
) -> Attribution {
    let rings = [a.signal, a.noise, b.signal, b.noise];
    let errors = [a.signal_err, a.noise_err, b.signal_err, b.noise_err];
    let corners = |r: &[RingPowers]| -> [f64; 4] {
        let crossed = |s: &RingPowers, n: &RingPowers, c: &NoiseTransfer| {
            let signal = std::array::from_fn(|i| (s[i] + c.signal_more[i]).max(0.0));
            let noise = std::array::from_fn(|i| n[i] * c.noise_gain[i]);
            bits_px(&signal, &noise, &a.count)
        };
        [
            bits_px(&r[0], &r[1], &a.count),
            crossed(&r[2], &r[1], &crossings[0]),
            crossed(&r[0], &r[3], &crossings[1]),
            bits_px(&r[2], &r[3], &a.count),
        ]
    };
    of_corners(&rings, &errors, &corners, method_error)
}

/// From measured corners: each a step of its own, `first` the aperture of B at the ISO of A,
/// `second` the aperture of A at the ISO of B.
pub fn of_four(a: &Side, first: &Side, second: &Side, b: &Side, method_error: f64) -> Attribution {
    let sides = [a, first, second, b];
    let rings: Vec<RingPowers> = sides.iter().flat_map(|s| [s.signal, s.noise]).collect();
    let errors: Vec<RingPowers> = sides.iter().flat_map(|s| [s.signal_err, s.noise_err]).collect();
    let corners = |r: &[RingPowers]| -> [f64; 4] {
        [0, 1, 2, 3].map(|i| bits_px(&r[2 * i], &r[2 * i + 1], &a.count))
    };
    of_corners(&rings, &errors, &corners, method_error)
}

/// From D(A,A), D(B,A), D(A,B), D(B,B) as worked out from some rings with errors.
fn of_corners(
    rings: &[RingPowers],
    errors: &[RingPowers],
    corners: &dyn Fn(&[RingPowers]) -> [f64; 4],
    method_error: f64,
) -> Attribution {
    let whole = corners(rings);
    let of = |c: &[f64; 4]| shares(c[0], c[1], c[2], c[3]);
    let found = of(&whole);
    let total = whole[3] - whole[0];
    let error = |f: &dyn Fn(&[f64; 4]) -> f64| propagated(rings, errors, |r| f(&corners(r)));
    let scatter = error(&|c| of(c).first);
    // Gain and loss may cancel in the total: the parts set the scale then.
    let scale = total.abs().max(found.first.abs()).max(found.second.abs());
    let half = Z90 * scatter.hypot(method_error * scale / Z90);
    let total_std_err = error(&|c| c[3] - c[0]);
    let cost_more = judged(whole[0], total, found, half, total_std_err);
    Attribution {
        total,
        total_std_err: Some(total_std_err),
        optics: found.first,
        noise: found.second,
        half,
        cost_more,
    }
}

/// The answer in one of five.
fn judged(start: f64, total: f64, found: LossShares, half: f64, total_err: f64) -> CostMore {
    let least = (MIN_LOSS * start).max(Z90 * total_err);
    if found.first.min(found.second) > -least {
        return CostMore::NothingLost;
    }
    let share = found.first / total;
    let ahead = found.first - found.second;
    if total < 0.0 && (share - 0.5).abs() <= EQUAL {
        CostMore::AboutEqual
    } else if ahead.abs() < 2.0 * half {
        // The parts move against each other, so their difference moves twice as far.
        CostMore::CannotSeparate
    } else if ahead < 0.0 {
        CostMore::Optics
    } else {
        CostMore::Noise
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq as near;

    // facts W7, W8 (Shapley 1953), I15, I16 (the model of section 7 on log2 of the resolved
    // frequency).
    #[test]
    fn shares_of_known_games() {
        let w7 = shares(40.0, 30.0, 36.0, 22.0);
        near!(w7.first, -12.0, epsilon = 1e-12);
        near!(w7.second, -6.0, epsilon = 1e-12);
        let log = |v: [f64; 4]| {
            let v = v.map(f64::log2);
            shares(v[0], v[1], v[2], v[3])
        };
        let w8 = log([40.0, 30.0, 36.0, 27.0]);
        near!(w8.first, -0.415_037, epsilon = 1e-6);
        near!(w8.second, -0.152_003, epsilon = 1e-6);
        let i15 = log([0.32671, 0.19411, 0.26658, 0.16913]);
        near!(i15.first, -0.70381, epsilon = 1e-4);
        near!(i15.second, -0.24607, epsilon = 1e-4);
        let i16 = log([0.19411, 0.10687, 0.16913, 0.09779]);
        near!(i16.first, -0.82571, epsilon = 1e-4);
        near!(i16.second, -0.16337, epsilon = 1e-4);
    }

    #[test]
    fn verdicts_on_each_side_of_their_limits() {
        let say = |optics: f64, noise: f64, half: f64| {
            judged(2.0, optics + noise, LossShares { first: optics, second: noise }, half, 0.0)
        };
        assert_eq!(say(-0.39, -0.1, 0.02), CostMore::Optics);
        assert_eq!(say(-0.1, -0.39, 0.02), CostMore::Noise);
        assert_eq!(say(-0.57, -0.43, 0.02), CostMore::AboutEqual);
        assert_eq!(say(-0.59, -0.41, 0.02), CostMore::Optics);
        assert_eq!(say(-0.60, -0.40, 0.11), CostMore::CannotSeparate);
        assert_eq!(say(-0.03, -0.03, 0.001), CostMore::NothingLost);
        assert_eq!(say(0.3, -0.2, 0.02), CostMore::Noise);
    }
}
