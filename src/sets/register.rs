//! Lays the frames of a burst over each other: shift, rotation and scale.

use super::shot::Shot;
use crate::base::stats::median;
use crate::measure::follow::{self, FOUND, WHOLE_FOUND};

/// A place in one frame, the same spot in another, px, and the weight of the two.
type Pair = ((f64, f64), (f64, f64), f64);

/// A similarity: what a place of one frame becomes in another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Similarity {
    /// Scale times cosine of the rotation.
    pub a: f64,
    /// Scale times sine of the rotation.
    pub b: f64,
    /// Shift, px.
    pub x_px: f64,
    /// Shift, px.
    pub y_px: f64,
}

/// Places a side that are followed.
const PLACES: usize = 4;
/// Matches that a rotation and scale must rest on; fewer give a shift only.
const MATCHES_LEAST: usize = 4;
/// A match further off the fit than this is wrong, px of the coarsest followed copy.
const OFF_MOST: f64 = 3.0;
/// Rotation and scale beyond this are a wrong fit, not a hand's: share of the frame.
const TURN_MOST: f64 = 0.2;

impl Similarity {
    /// No change.
    pub const SAME: Similarity = Similarity { a: 1.0, b: 0.0, x_px: 0.0, y_px: 0.0 };

    /// The place that `x`, `y` becomes.
    pub fn to(&self, x: f64, y: f64) -> (f64, f64) {
        (self.a * x - self.b * y + self.x_px, self.b * x + self.a * y + self.y_px)
    }

    /// The place that becomes `x`, `y`.
    pub fn back(&self, x: f64, y: f64) -> (f64, f64) {
        let (u, v) = (x - self.x_px, y - self.y_px);
        let scale2 = self.a * self.a + self.b * self.b;
        ((self.a * u + self.b * v) / scale2, (self.a * v - self.b * u) / scale2)
    }

    /// The similarity that best maps each pair's first place to its second.
    fn fit(pairs: &[Pair]) -> Option<Similarity> {
        let weight: f64 = pairs.iter().map(|p| p.2).sum();
        let mean =
            |f: &dyn Fn(&Pair) -> f64| pairs.iter().map(|p| p.2 * f(p)).sum::<f64>() / weight;
        let (mx, my) = (mean(&|p| p.0.0), mean(&|p| p.0.1));
        let (nx, ny) = (mean(&|p| p.1.0), mean(&|p| p.1.1));
        let (mut a, mut b, mut s) = (0f64, 0f64, 0f64);
        for (p, q, w) in pairs {
            let (px, py, qx, qy) = (p.0 - mx, p.1 - my, q.0 - nx, q.1 - ny);
            a += w * (px * qx + py * qy);
            b += w * (px * qy - py * qx);
            s += w * (px * px + py * py);
        }
        if s.is_nan() || s <= 0.0 {
            return None;
        }
        let (a, b) = (a / s, b / s);
        Some(Similarity { a, b, x_px: nx - a * mx + b * my, y_px: ny - b * mx - a * my })
    }
}

/// How frame `from` lies in every frame; `None` where that cannot be told.
pub fn register(shots: &[&Shot], from: usize) -> Vec<Option<Similarity>> {
    let mut found = vec![None; shots.len()];
    found[from] = Some(Similarity::SAME);
    let outward =
        [(from + 1..shots.len()).collect::<Vec<_>>(), (0..from).rev().collect::<Vec<_>>()];
    for order in outward {
        let mut last = Similarity::SAME;
        for i in order {
            found[i] = one(shots[from], shots[i], &last);
            last = found[i].unwrap_or(last);
        }
    }
    found
}

fn one(from: &Shot, to: &Shot, near: &Similarity) -> Option<Similarity> {
    if (from.width_px, from.height_px) != (to.width_px, to.height_px) {
        return None;
    }
    let (w, h) = (from.width_px as f64, from.height_px as f64);
    let mut pairs = Vec::new();
    for r in 0..PLACES {
        for c in 0..PLACES {
            let at = |k: usize| (k as f64 + 1.0) / (PLACES as f64 + 1.0);
            let p = (w * at(c), h * at(r));
            let m = follow::follow(
                (&from.patterns[0], &from.patterns[1]),
                (&to.patterns[0], &to.patterns[1]),
                p,
                near.to(p.0, p.1),
            );
            if let Some(m) = m
                && m.peak >= FOUND
            {
                pairs.push((p, (m.x_px, m.y_px), f64::from(m.peak).powi(2)));
            }
        }
    }
    let most = OFF_MOST * from.patterns[1].step_px;
    // Wrong matches first: those whose shift is far from the middle shift, turning allowed for.
    let mut dx: Vec<f64> = pairs.iter().map(|p| p.1.0 - p.0.0).collect();
    let mut dy: Vec<f64> = pairs.iter().map(|p| p.1.1 - p.0.1).collect();
    if let (Some(mx), Some(my)) = (median(&mut dx), median(&mut dy)) {
        pairs.retain(|p| (p.1.0 - p.0.0 - mx).hypot(p.1.1 - p.0.1 - my) < most + 0.05 * w);
    }
    while pairs.len() >= MATCHES_LEAST {
        let fit = Similarity::fit(&pairs)?;
        let off = |p: &Pair| {
            let q = fit.to(p.0.0, p.0.1);
            (q.0 - p.1.0).hypot(q.1 - p.1.1)
        };
        let worst = (0..pairs.len()).max_by(|i, j| off(&pairs[*i]).total_cmp(&off(&pairs[*j])))?;
        if off(&pairs[worst]) <= most {
            return ((fit.a - 1.0).hypot(fit.b) < TURN_MOST).then_some(fit);
        }
        pairs.swap_remove(worst);
    }
    follow::whole_shift(&from.patterns[2], &to.patterns[2])
        .filter(|m| m.peak > WHOLE_FOUND)
        .map(|m| Similarity { x_px: m.x_px, y_px: m.y_px, ..Similarity::SAME })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_similarity_comes_back_from_its_pairs() {
        let truth = Similarity { a: 1.01, b: 0.04, x_px: 30.0, y_px: -12.0 };
        let pairs: Vec<_> = [(0.0, 0.0), (900.0, 20.0), (400.0, 700.0), (100.0, 500.0)]
            .iter()
            .map(|p: &(f64, f64)| (*p, truth.to(p.0, p.1), 1.0))
            .collect();
        let fit = Similarity::fit(&pairs).unwrap();
        approx::assert_abs_diff_eq!(fit.a, truth.a, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(fit.b, truth.b, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(fit.x_px, truth.x_px, epsilon = 1e-6);
        approx::assert_abs_diff_eq!(fit.y_px, truth.y_px, epsilon = 1e-6);
        assert_eq!(Similarity::fit(&pairs[..1]), None);
    }
}
