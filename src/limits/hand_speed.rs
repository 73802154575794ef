//! How fast a hand moves, from the lengths of the smears it left.
//!
//! Speed = length on the subject over exposure time. A smear too short to be seen is a speed
//! below a bound. Fitted is Weibull's distribution, F(v) = 1 − exp(−(v/λ)^k), to speeds of which
//! some are only bounded from above, by maximum likelihood (Newton's steps in ln λ and ln k; for
//! censored data Lawless, *Statistical Models and Methods for Lifetime Data*, 2nd ed. 2003, §5).
//! k = 2 is Rayleigh's: equal normal shifts along both directions of the picture. A hand that is
//! steadier at some times than at others has a smaller k. A weak prior holds k near 2 where few
//! smears were seen.
//!
//! Assumes that smears grow with the exposure time, which a hand that turns back within it does
//! not do: compare with what the verdicts say.

/// A speed, or a bound of one, in any unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Speed {
    /// Seen.
    Seen(f64),
    /// Slower than this.
    Below(f64),
}

/// The fitted distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HandSpeed {
    /// λ, in the unit of the speeds.
    pub scale: f64,
    /// k.
    pub shape: f64,
    /// Standard error of ln λ.
    pub ln_scale_std_err: f64,
    /// Speeds that were seen.
    pub seen: u32,
    /// Speeds, with those that are bounds.
    pub n: u32,
}

/// Middle and spread of ln k beforehand: from half of Rayleigh's to twice it.
const LN_SHAPE: (f64, f64) = (std::f64::consts::LN_2, 0.35);
/// Seen speeds below which there is no fit: ten a number, as for the logistic fit, would leave
/// most young logs out; with eight λ is known to about an eighth.
const MIN_OBSERVED: usize = 8;
const STEPS: usize = 60;

impl HandSpeed {
    /// Fits speeds. `None` when too few were seen.
    pub fn fit(speeds: &[Speed]) -> Option<HandSpeed> {
        let sound = |s: &&Speed| {
            let (Speed::Seen(v) | Speed::Below(v)) = s;
            v.is_finite() && *v > 0.0
        };
        let speeds: Vec<Speed> = speeds.iter().filter(sound).copied().collect();
        let mut seen: Vec<f64> = speeds
            .iter()
            .filter_map(|s| match s {
                Speed::Seen(v) => Some(v.ln()),
                Speed::Below(_) => None,
            })
            .collect();
        let count = seen.len();
        if count < MIN_OBSERVED {
            return None;
        }
        let mut at = [crate::core::stats::median(&mut seen)?, LN_SHAPE.0];
        let mut now = likelihood(&speeds, at);
        for _ in 0..STEPS {
            let (g, h) = slopes(&speeds, at);
            // Away from the maximum the curvature may point the wrong way: damped until it bends
            // down, then until the likelihood rises.
            let mut damp = 0.0;
            let next = loop {
                let m = [[damp - h[0][0], -h[0][1]], [-h[0][1], damp - h[1][1]]];
                let det = m[0][0] * m[1][1] - m[0][1] * m[0][1];
                if m[0][0] > 0.0 && det > 0.0 {
                    let step = [
                        (m[1][1] * g[0] - m[0][1] * g[1]) / det,
                        (m[0][0] * g[1] - m[0][1] * g[0]) / det,
                    ];
                    let b = [at[0] + step[0].clamp(-1.0, 1.0), at[1] + step[1].clamp(-0.5, 0.5)];
                    let l = likelihood(&speeds, b);
                    if l >= now {
                        break Some((b, l));
                    }
                }
                damp = if damp == 0.0 { 1e-3 * speeds.len() as f64 } else { 4.0 * damp };
                if damp > 1e9 * speeds.len() as f64 {
                    break None;
                }
            };
            let Some((b, l)) = next else { break };
            let small = (b[0] - at[0]).abs().max((b[1] - at[1]).abs()) < 1e-9;
            (at, now) = (b, l);
            if small {
                break;
            }
        }
        // Of ln λ, with ln k as uncertain as it is.
        let (_, h) = slopes(&speeds, at);
        let variance = -h[1][1] / (h[0][0] * h[1][1] - h[0][1] * h[0][1]);
        let out = HandSpeed {
            scale: at[0].exp(),
            shape: at[1].exp(),
            ln_scale_std_err: variance.sqrt(),
            seen: count as u32,
            n: speeds.len() as u32,
        };
        [out.scale, out.shape, out.ln_scale_std_err].iter().all(|v| v.is_finite()).then_some(out)
    }

    /// Chance of a speed below `v`.
    pub fn below(&self, v: f64) -> f64 {
        if v <= 0.0 {
            return 0.0;
        }
        -(-(v / self.scale).powf(self.shape)).exp_m1()
    }

    /// The speed that a share `q` of the frames stays below, 0 to 1.
    pub fn quantile(&self, q: f64) -> f64 {
        self.scale * (-(-q.clamp(0.0, 1.0)).ln_1p()).powf(1.0 / self.shape)
    }

    /// The speed that half the frames stay below.
    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }
}

/// ln(v) in units of the fit, and exp of it.
fn reduced(v: f64, at: [f64; 2]) -> (f64, f64) {
    // Beyond this the exponential is 0 or the rest is, to every digit.
    let u = (at[1].exp() * (v.ln() - at[0])).clamp(-60.0, 6.0);
    (u, u.exp())
}

fn prior(ln_shape: f64) -> f64 {
    (ln_shape - LN_SHAPE.0) / (LN_SHAPE.1 * LN_SHAPE.1)
}

/// Log-likelihood at (ln λ, ln k), without constants.
fn likelihood(speeds: &[Speed], at: [f64; 2]) -> f64 {
    let of = |s: &Speed| match s {
        Speed::Seen(v) => {
            let (u, e) = reduced(*v, at);
            at[1] + u - e
        }
        Speed::Below(v) => (-(-reduced(*v, at).1).exp_m1()).max(1e-300).ln(),
    };
    speeds.iter().map(of).sum::<f64>() - 0.5 * prior(at[1]) * (at[1] - LN_SHAPE.0)
}

/// Its first and second derivatives.
fn slopes(speeds: &[Speed], at: [f64; 2]) -> ([f64; 2], [[f64; 2]; 2]) {
    let k = at[1].exp();
    let (mut g, mut h) = ([0.0; 2], [[0.0; 2]; 2]);
    for s in speeds {
        // d/du and d²/du² of the term; u = k·(ln v − ln λ).
        let (u, first, second) = match s {
            Speed::Seen(v) => {
                let (u, e) = reduced(*v, at);
                g[1] += 1.0;
                (u, 1.0 - e, -e)
            }
            Speed::Below(v) => {
                let (u, e) = reduced(*v, at);
                let w = if e > 1e-12 { e / e.exp_m1() } else { 1.0 };
                (u, w, w * (1.0 - e - w))
            }
        };
        g[0] -= k * first;
        g[1] += u * first;
        h[0][0] += k * k * second;
        h[0][1] -= k * (u * second + first);
        h[1][1] += u * u * second + u * first;
    }
    g[1] -= prior(at[1]);
    h[1][1] -= 1.0 / (LN_SHAPE.1 * LN_SHAPE.1);
    h[1][0] = h[0][1];
    (g, h)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    /// Speeds of a hand with normal shifts of `sigma` both ways; those below `floor` bounded.
    fn hand(seed: u64, n: u32, sigma: f64, floor: f64) -> Vec<Speed> {
        let mut r = SplitMix64::new(seed);
        (0..n)
            .map(|_| {
                let v = (sigma * r.normal()).hypot(sigma * r.normal());
                if v > floor { Speed::Seen(v) } else { Speed::Below(floor) }
            })
            .collect()
    }

    // Rayleigh's distribution: k = 2, λ = σ·√2 (Johnson, Kotz & Balakrishnan, Continuous
    // Univariate Distributions 1, 2nd ed. 1994, ch. 21).
    #[test]
    fn a_normal_hand_is_found_through_the_floor() {
        for floor in [0.0, 3.0, 6.0] {
            let fit = HandSpeed::fit(&hand(7, 20_000, 4.0, floor)).unwrap();
            approx::assert_relative_eq!(fit.scale, 4.0 * 2f64.sqrt(), max_relative = 0.02);
            approx::assert_relative_eq!(fit.shape, 2.0, max_relative = 0.05);
            approx::assert_abs_diff_eq!(fit.below(fit.median()), 0.5, epsilon = 1e-12);
        }
        // Taken for seen, what hides below the floor would make the hand look wilder.
        let naive: Vec<Speed> =
            hand(7, 20_000, 4.0, 6.0).into_iter().filter(|s| matches!(s, Speed::Seen(_))).collect();
        assert!(HandSpeed::fit(&naive).unwrap().median() > 1.3 * 4.0 * 1.1774);
    }

    #[test]
    fn its_error_covers_the_truth() {
        let mut inside = 0;
        for seed in 0..100 {
            let fit = HandSpeed::fit(&hand(100 + seed, 80, 4.0, 5.0)).unwrap();
            let off = (fit.scale / (4.0 * 2f64.sqrt())).ln();
            inside += u32::from(off.abs() < 1.96 * fit.ln_scale_std_err);
        }
        // 95 of 100 are expected; below 88 has a chance of 1 in 250.
        assert!(inside >= 88, "{inside} of 100");
    }

    #[test]
    fn too_few_smears_and_broken_ones_are_no_fit() {
        assert!(HandSpeed::fit(&[]).is_none());
        assert!(HandSpeed::fit(&[Speed::Below(1.0); 50]).is_none());
        assert!(HandSpeed::fit(&[Speed::Seen(1.0); 7]).is_none());
        let broken = [f64::NAN, f64::INFINITY, 0.0, -1.0].map(Speed::Seen);
        assert!(HandSpeed::fit(&broken.repeat(5)).is_none());
        // All alike: as steep as the prior lets it be, but a number.
        let fit = HandSpeed::fit(&[Speed::Seen(2.0); 20]).unwrap();
        assert!((fit.scale / 2.0).ln().abs() < 0.2 && fit.shape.is_finite());
    }
}
