//! How a chance changes with one number: the logistic fit, log(p/(1 − p)) = β0 + β1·x.
//!
//! Maximum likelihood by Newton's steps (McCullagh & Nelder, *Generalized Linear Models*, §4.4);
//! errors from the information matrix. Where all of one kind lie on one side (separation; Albert
//! & Anderson, Biometrika 71:1, 1984, DOI 10.1093/biomet/71.1.1) there is no maximum: that is
//! found beforehand and said, never iterated on. The place of even chance has the error of the
//! delta method, too short an interval where the slope is poorly known.

/// Trials at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trials {
    /// Where.
    pub x: f64,
    /// How many succeeded.
    pub hits: u32,
    /// Of how many.
    pub of: u32,
}

/// A fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogisticFit {
    /// β0 and β1.
    pub beta: [f64; 2],
    /// Their covariance.
    pub covariance: [[f64; 2]; 2],
    /// Log-likelihood, of single trials.
    pub log_likelihood: f64,
    /// Number of trials.
    pub n: u32,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoFit {
    /// Fewer than two places or no trials.
    TooFew,
    /// Every trial ended alike.
    AllAlike,
    /// Hits and failures lie on different sides of this span of x: even chance lies in it, and
    /// how steep it is cannot be said.
    Separated {
        /// Its lower end.
        low: f64,
        /// Its upper end.
        high: f64,
    },
}

impl LogisticFit {
    /// Standard errors of β0 and β1.
    pub fn std_err(&self) -> [f64; 2] {
        [self.covariance[0][0].sqrt(), self.covariance[1][1].sqrt()]
    }

    /// Chance at x.
    pub fn chance(&self, x: f64) -> f64 {
        1.0 / (1.0 + (-(self.beta[0] + self.beta[1] * x)).exp())
    }

    /// Chance at x with its band of `z` standard errors of the linear part: (low, high).
    pub fn band(&self, x: f64, z: f64) -> (f64, f64) {
        let c = &self.covariance;
        let sd = (c[0][0] + 2.0 * x * c[0][1] + x * x * c[1][1]).max(0.0).sqrt();
        let at = |l: f64| 1.0 / (1.0 + (-l).exp());
        let linear = self.beta[0] + self.beta[1] * x;
        (at(linear - z * sd), at(linear + z * sd))
    }

    /// Where the chance is even, with its standard error.
    pub fn even(&self) -> (f64, f64) {
        let [b0, b1] = self.beta;
        let x = -b0 / b1;
        let c = &self.covariance;
        let variance = (c[0][0] + 2.0 * x * c[0][1] + x * x * c[1][1]) / (b1 * b1);
        (x, variance.max(0.0).sqrt())
    }
}

/// Fits trials.
///
/// # Errors
/// [`NoFit`] says why there is no maximum.
pub fn fit(trials: &[Trials]) -> Result<LogisticFit, NoFit> {
    let sound = |t: &&Trials| t.x.is_finite() && t.of > 0 && t.hits <= t.of;
    let trials: Vec<Trials> = trials.iter().filter(sound).copied().collect();
    let n: u32 = trials.iter().map(|t| t.of).sum();
    let hits: u32 = trials.iter().map(|t| t.hits).sum();
    if n < 2 {
        return Err(NoFit::TooFew);
    }
    if hits == 0 || hits == n {
        return Err(NoFit::AllAlike);
    }
    let span = |keep: &dyn Fn(&Trials) -> bool| {
        let of = trials.iter().filter(|t| keep(t)).map(|t| t.x);
        (of.clone().fold(f64::INFINITY, f64::min), of.fold(f64::NEG_INFINITY, f64::max))
    };
    let (yes, no) = (span(&|t| t.hits > 0), span(&|t| t.hits < t.of));
    if yes.0 >= yes.1 && no.0 >= no.1 && (yes.0 - no.0).abs() < f64::EPSILON {
        return Err(NoFit::TooFew);
    }
    if yes.1 <= no.0 {
        return Err(NoFit::Separated { low: yes.1, high: no.0 });
    }
    if no.1 <= yes.0 {
        return Err(NoFit::Separated { low: no.1, high: yes.0 });
    }
    newton(&trials, n).ok_or(NoFit::TooFew)
}

/// Newton's steps on centred and scaled x, so that any unit converges alike.
fn newton(trials: &[Trials], n: u32) -> Option<LogisticFit> {
    /// Far more than a concave function of two numbers needs.
    const MAX_STEPS: usize = 100;
    let total = f64::from(n);
    let mean = trials.iter().map(|t| t.x * f64::from(t.of)).sum::<f64>() / total;
    let spread =
        (trials.iter().map(|t| (t.x - mean).powi(2) * f64::from(t.of)).sum::<f64>() / total).sqrt();
    if spread <= 0.0 {
        return None;
    }
    let scaled = |t: &Trials| (t.x - mean) / spread;
    let likelihood = |b: [f64; 2]| -> f64 {
        trials
            .iter()
            .map(|t| {
                let l = b[0] + b[1] * scaled(t);
                // log p and log(1 − p) without overflow.
                let (yes, no) = (-(-l).exp().ln_1p(), -l.exp().ln_1p());
                let part =
                    |count: u32, ln: f64| if count == 0 { 0.0 } else { f64::from(count) * ln };
                part(t.hits, yes) + part(t.of - t.hits, no)
            })
            .sum()
    };
    let mut beta = [0.0; 2];
    let mut now = likelihood(beta);
    let mut inverse = [[0.0; 2]; 2];
    for _ in 0..MAX_STEPS {
        let (mut score, mut info) = ([0.0; 2], [[0.0; 2]; 2]);
        for t in trials {
            let x = [1.0, scaled(t)];
            let p = 1.0 / (1.0 + (-(beta[0] + beta[1] * x[1])).exp());
            let (rest, weight) =
                (f64::from(t.hits) - f64::from(t.of) * p, f64::from(t.of) * p * (1.0 - p));
            for i in 0..2 {
                score[i] += rest * x[i];
                for j in 0..2 {
                    info[i][j] += weight * x[i] * x[j];
                }
            }
        }
        let det = info[0][0] * info[1][1] - info[0][1] * info[1][0];
        if det.is_nan() || det <= 0.0 {
            return None;
        }
        inverse = [[info[1][1] / det, -info[0][1] / det], [-info[1][0] / det, info[0][0] / det]];
        let step: [f64; 2] =
            std::array::from_fn(|i| inverse[i][0] * score[0] + inverse[i][1] * score[1]);
        // Half steps until the likelihood rises: Newton may overshoot far from the maximum.
        let mut share = 1.0;
        let next = loop {
            let b = [beta[0] + share * step[0], beta[1] + share * step[1]];
            let l = likelihood(b);
            if l >= now || share < 1e-6 {
                break (b, l);
            }
            share *= 0.5;
        };
        let small = step.iter().all(|s| s.abs() < 1e-11);
        (beta, now) = next;
        if small {
            break;
        }
    }
    // Back to the unit of x: β1 = b1/s, β0 = b0 − b1·mean/s.
    let k = [[1.0, -mean / spread], [0.0, 1.0 / spread]];
    let turned = |v: [f64; 2]| [k[0][0] * v[0] + k[0][1] * v[1], k[1][1] * v[1]];
    let mut covariance = [[0.0; 2]; 2];
    for (i, row) in covariance.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            for a in 0..2 {
                for b in 0..2 {
                    *cell += k[i][a] * inverse[a][b] * k[j][b];
                }
            }
        }
    }
    Some(LogisticFit { beta: turned(beta), covariance, log_likelihood: now, n })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(x: f64, hit: bool) -> Trials {
        Trials { x, hits: u32::from(hit), of: 1 }
    }

    #[test]
    fn what_has_no_maximum_is_said() {
        assert_eq!(fit(&[]), Err(NoFit::TooFew));
        assert_eq!(fit(&[one(1.0, true)]), Err(NoFit::TooFew));
        assert_eq!(fit(&[one(1.0, true), one(2.0, true)]), Err(NoFit::AllAlike));
        assert_eq!(fit(&[Trials { x: 1.0, hits: 2, of: 5 }]), Err(NoFit::TooFew));
        // W6.
        let separated: Vec<Trials> = (1..=4).map(|x| one(f64::from(x), x > 2)).collect();
        assert_eq!(fit(&separated), Err(NoFit::Separated { low: 2.0, high: 3.0 }));
        let falling: Vec<Trials> = (1..=4).map(|x| one(f64::from(x), x <= 2)).collect();
        assert_eq!(fit(&falling), Err(NoFit::Separated { low: 2.0, high: 3.0 }));
        // One overlap is enough for a maximum.
        let over = [one(1.0, false), one(2.0, true), one(3.0, false), one(4.0, true)];
        assert!(fit(&over).is_ok());
    }

    #[test]
    fn groups_are_the_same_as_single_trials() {
        let groups = [(1.0, 2, 6), (2.0, 3, 5), (3.0, 5, 6)];
        let grouped: Vec<Trials> =
            groups.iter().map(|(x, hits, of)| Trials { x: *x, hits: *hits, of: *of }).collect();
        let single: Vec<Trials> = groups
            .iter()
            .flat_map(|(x, hits, of)| (0..*of).map(move |i| one(*x, i < *hits)))
            .collect();
        let (a, b) = (fit(&grouped).unwrap(), fit(&single).unwrap());
        for i in 0..2 {
            approx::assert_relative_eq!(a.beta[i], b.beta[i], max_relative = 1e-9);
        }
        let (x, _) = a.even();
        approx::assert_abs_diff_eq!(a.chance(x), 0.5, epsilon = 1e-12);
        let (low, high) = a.band(x, 1.96);
        assert!(low < 0.5 && high > 0.5);
    }
}
