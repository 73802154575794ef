//! The focus plane of each frame of a burst and the depth of each place of the picture, from the
//! way the fine contrast of many places rises and falls together.
//!
//! Fine contrast (Laplacian energy E at level 1, noise taken off) of place t in frame i is
//! E = A_t · (s² / (s² + (p_i − d_t)² + m_i²))²: s² is the squared width of the band, p_i the plane
//! of the frame and d_t the depth of the place, both in px of blur that such a distance makes, and
//! m_i a blur shared by the whole frame (movement). Places of different depth tell p from its
//! mirror image about any one of them; the sign of the whole scale stays unknown. Start: the first
//! left singular vectors of ln E, centred both ways, which are p up to a factor where the square
//! rules. Then frames and places are fitted in turn on a grid.
//!
//! Assumes that nothing but the plane and the movement changes from frame to frame. Range: planes
//! within 9 px of blur of their mean. Where all places have one depth, the planes fold onto one
//! side of it; then all places are alike and nothing is lost. On 92 simulated bursts one px of blur
//! is 1.2 units of p (0.9 to 1.6), and planes are right to 0.25 px rms (0.47 in one burst of ten).
//! Model: Nayar & Nakagawa 1994 (DOI 10.1109/34.308479), with the fall-off of energy at edges.

use serde::{Deserialize, Serialize};

/// Squared width of the band of level 1 with a usual lens in focus, px²: that of the filter
/// ([`crate::sharpness::blur::S1_SQUARED`]) and 0.67 px² of the lens.
pub const BAND_PX2: f64 = 3.0;
/// Energy that is added before logarithms, share of the noise's.
const NOISE_ADDED: f32 = 0.3;
/// Least energy that is added, in the unit of the energies: keeps logarithms finite.
const MIN_ADDED: f32 = 1e-3;
/// Scatter of ln E about the model.
pub const SCATTER_LN: f64 = 0.35;
/// Greatest depth from the mean plane that is tried, px of blur.
pub const REACH_PX: f64 = 9.0;
/// Depths that are tried.
pub const DEPTHS: usize = 73;
/// Squares of the shared blur that are tried, px².
const SHARED_PX2: [f64; 11] = [0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.5, 6.0, 9.0, 13.0];
/// Factors of a singular vector that are tried as a start, and which vector.
const STARTS: [(usize, f64); 3] = [(0, 1.2), (0, 2.4), (1, 1.5)];
/// Rounds from each start.
const START_ROUNDS: usize = 4;
/// Rounds after the best start.
const ROUNDS: usize = 5;
/// A place beyond all planes by this is unlikely, px of blur.
const BEYOND_PX: f64 = 1.5;
/// Spread of planes expected beforehand, px of blur.
const SPREAD_PX: f64 = 4.0;
/// Cost of a shared blur, ln likelihood per place and px².
const SHARED_COST: f64 = 0.03;
/// Places used from each start.
const START_PLACES: usize = 240;
/// Places used in the last rounds.
const MAX_PLACES: usize = 600;
/// Fewer frames have no planes.
const MIN_FRAMES: usize = 3;
/// Fewer places do not fix them.
const MIN_PLACES: usize = 8;
/// Share of the frames in which a place must be seen.
const SEEN_SHARE: f64 = 0.6;
/// Energy over noise that a place must exceed in two frames.
const SEEN_OVER_NOISE: f32 = 0.8;

/// Energies of places in the frames of a burst.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct PlaceEnergies {
    /// Energy, a row per place, one value per frame; NaN where the place is outside the frame.
    pub energy: Vec<f32>,
    /// Energy of the noise at each place, before it was taken off; same unit.
    pub noise: Vec<f32>,
}

/// The depth of one place.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct PlaceDepth {
    /// Number of the place among those given.
    pub index: usize,
    /// ln likelihood at each depth of [`depth_px`], relative to the greatest.
    pub ln_likelihood: Vec<f32>,
    /// ln of the energy in focus, at the likeliest depth.
    pub ln_energy: f32,
    /// The likeliest depth, px of blur.
    pub depth_px: f64,
}

/// Planes of the frames and depths of the places.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BurstPlanes {
    /// Plane of each frame, px of blur, mean 0.
    pub plane_px: Vec<f64>,
    /// Blur shared by each frame, px, least 0.
    pub shared_px: Vec<f64>,
    /// Depths of places.
    pub places: Vec<PlaceDepth>,
    /// Mean ln likelihood per reading: the quality of the fit, 0 at best.
    pub fit: f64,
}

impl BurstPlanes {
    /// How far a depth lies beyond the planes of all frames, px of blur; negative among them.
    pub fn beyond_px(&self, depth_px: f64) -> f64 {
        let most = self.plane_px.iter().copied().fold(f64::MIN, f64::max);
        let least = self.plane_px.iter().copied().fold(f64::MAX, f64::min);
        (depth_px - most).max(least - depth_px)
    }
}

/// Depth number `g` of those tried, px of blur.
pub fn depth_px(g: usize) -> f64 {
    REACH_PX * (2.0 * g as f64 / (DEPTHS - 1) as f64 - 1.0)
}

/// Energy added to the readings of a place with this noise before logarithms are taken.
pub fn added_energy(noise: f32) -> f32 {
    (NOISE_ADDED * noise).max(MIN_ADDED)
}

/// Share of the energy in focus that is left at a squared blur.
fn share_left(px2: f64) -> f64 {
    (1.0 + px2 / BAND_PX2).powi(-2)
}

/// ln likelihood of a residual of ln E; tails as of Student's t.
pub fn residual_ln(residual: f64) -> f64 {
    let x = residual / SCATTER_LN;
    -2.0 * (x * x / 4.0).ln_1p()
}

/// Fits planes and depths to the energies of places in `n` frames; `None` with fewer than 3 frames
/// or too few places with contrast.
pub fn fit(n: usize, energies: &PlaceEnergies) -> Option<BurstPlanes> {
    if n < MIN_FRAMES {
        return None;
    }
    let readings = Readings::of(n, energies);
    let count = readings.index.len();
    if count < MIN_PLACES {
        return None;
    }
    let few: Vec<usize> = (0..count).step_by(count.div_ceil(START_PLACES)).collect();
    let many: Vec<usize> = (0..count).step_by(count.div_ceil(MAX_PLACES)).collect();
    let directions = readings.directions(&few);
    let mut best: Option<(f64, FrameFit)> = None;
    for (vector, factor) in STARTS {
        let factor = factor * (n as f64).sqrt();
        let plane_px = directions[vector].iter().map(|v| v * factor).collect();
        let mut frames = FrameFit { plane_px, shared_px2: vec![0.0; n] };
        frames.centre();
        let mut value = f64::MIN;
        for _ in 0..START_ROUNDS {
            value = readings.round(&mut frames, &few, 2);
        }
        if best.as_ref().is_none_or(|b| value > b.0) {
            best = Some((value, frames));
        }
    }
    let (mut value, mut frames) = best?;
    for _ in 0..ROUNDS {
        value = readings.round(&mut frames, &many, 1);
    }
    let shares = EnergyShares::new(&frames, 1);
    let places = (0..count).map(|t| readings.place(t, &shares)).collect();
    Some(BurstPlanes {
        plane_px: frames.plane_px,
        shared_px: frames.shared_px2.iter().map(|v| v.sqrt()).collect(),
        places,
        fit: value / (many.len() * n) as f64,
    })
}

/// Plane and squared shared blur of each frame.
#[derive(Clone)]
struct FrameFit {
    plane_px: Vec<f64>,
    shared_px2: Vec<f64>,
}

impl FrameFit {
    /// Fixes what the energies leave open: the mean plane and the least shared blur are 0.
    fn centre(&mut self) {
        let mean = self.plane_px.iter().sum::<f64>() / self.plane_px.len() as f64;
        self.plane_px.iter_mut().for_each(|v| *v -= mean);
        let least = self.shared_px2.iter().copied().fold(f64::MAX, f64::min);
        self.shared_px2.iter_mut().for_each(|v| *v -= least);
    }
}

/// Share of the energy in focus that each frame keeps at each depth tried.
struct EnergyShares {
    depths: Vec<f64>,
    /// A row per depth, a value per frame.
    left: Vec<f64>,
    /// ln prior of each depth: what never came into focus may lie anywhere beyond the planes, but
    /// near them is likelier.
    prior_ln: Vec<f64>,
}

impl EnergyShares {
    /// At every `step`-th depth.
    fn new(frames: &FrameFit, step: usize) -> EnergyShares {
        let ends =
            frames.plane_px.iter().fold((f64::MAX, f64::MIN), |a, v| (a.0.min(*v), a.1.max(*v)));
        let depths: Vec<f64> = (0..DEPTHS).step_by(step).map(depth_px).collect();
        let each = || frames.plane_px.iter().zip(&frames.shared_px2);
        let of = |d: f64| each().map(move |(p, m2)| share_left((p - d).powi(2) + m2));
        let left = depths.iter().flat_map(|d| of(*d)).collect();
        let prior_ln = depths
            .iter()
            .map(|d| -0.5 * ((ends.0 - d).max(d - ends.1).max(0.0) / BEYOND_PX).powi(2))
            .collect();
        EnergyShares { depths, left, prior_ln }
    }
}

/// Depth, energy in focus and ln likelihood of one place.
#[derive(Clone, Copy)]
struct DepthFit {
    depth_px: f64,
    energy: f64,
    ln: f64,
}

/// Logarithms of the energies of the places that are seen.
struct Readings {
    n: usize,
    /// Number of each place that is seen.
    index: Vec<usize>,
    /// ln(E + added), a row per place; NaN where not seen.
    ln: Vec<f64>,
    /// E + added.
    with_added: Vec<f64>,
    added: Vec<f64>,
}

impl Readings {
    fn of(n: usize, energies: &PlaceEnergies) -> Readings {
        let (mut index, mut added) = (Vec::new(), Vec::new());
        let (mut ln, mut with_added) = (Vec::new(), Vec::new());
        for (t, row) in energies.energy.chunks_exact(n).enumerate() {
            let noise = energies.noise[t];
            if !is_seen(row, noise) {
                continue;
            }
            let add = added_energy(noise);
            index.push(t);
            added.push(f64::from(add));
            // NaN stays NaN: `max` would hide it.
            let sum = |e: f32| f64::from(if e < 0.0 { add } else { e + add });
            with_added.extend(row.iter().map(|e| sum(*e)));
            ln.extend(row.iter().map(|e| sum(*e).ln()));
        }
        Readings { n, index, ln, with_added, added }
    }

    fn row(&self, t: usize) -> (&[f64], &[f64]) {
        let at = t * self.n..(t + 1) * self.n;
        (&self.ln[at.clone()], &self.with_added[at])
    }

    /// Fits the depths of some places, then every frame; the sum of ln likelihoods before.
    fn round(&self, frames: &mut FrameFit, some: &[usize], step: usize) -> f64 {
        let shares = EnergyShares::new(frames, step);
        let fits: Vec<DepthFit> = some.iter().map(|t| self.best_depth(*t, &shares)).collect();
        for i in 0..self.n {
            let start = (frames.plane_px[i], frames.shared_px2[i]);
            (frames.plane_px[i], frames.shared_px2[i]) = self.best_frame(some, &fits, i, start);
        }
        frames.centre();
        fits.iter().map(|f| f.ln).sum()
    }

    fn best_depth(&self, t: usize, shares: &EnergyShares) -> DepthFit {
        let none = DepthFit { depth_px: 0.0, energy: 1e-6, ln: f64::MIN };
        self.depth_fits(t, shares).fold(none, |a, b| if b.ln > a.ln { b } else { a })
    }

    fn place(&self, t: usize, shares: &EnergyShares) -> PlaceDepth {
        let fits: Vec<DepthFit> = self.depth_fits(t, shares).collect();
        let top = self.best_depth(t, shares);
        PlaceDepth {
            index: self.index[t],
            ln_likelihood: fits.iter().map(|f| (f.ln - top.ln) as f32).collect(),
            ln_energy: top.energy.ln() as f32,
            depth_px: top.depth_px,
        }
    }

    /// The fit of one place at every depth tried.
    fn depth_fits<'a>(
        &'a self,
        t: usize,
        shares: &'a EnergyShares,
    ) -> impl Iterator<Item = DepthFit> + 'a {
        let (ln, with_added) = self.row(t);
        let added = self.added[t];
        let rows = shares.left.chunks_exact(self.n).zip(&shares.prior_ln);
        rows.zip(&shares.depths).map(move |((left, prior), depth)| {
            let energy = energy_in_focus(ln, with_added, added, left);
            let seen = ln.iter().zip(left).filter(|(z, _)| z.is_finite());
            let fit: f64 = seen.map(|(z, h)| residual_ln(z - (energy * h + added).ln())).sum();
            DepthFit { depth_px: *depth, energy, ln: prior + fit }
        })
    }

    /// Plane and squared shared blur of frame `i`, given the depths of some places.
    fn best_frame(
        &self,
        some: &[usize],
        fits: &[DepthFit],
        i: usize,
        (p0, m0): (f64, f64),
    ) -> (f64, f64) {
        let seen: Vec<(f64, &DepthFit, f64)> = some
            .iter()
            .zip(fits)
            .map(|(t, fit)| (self.ln[t * self.n + i], fit, self.added[*t]))
            .filter(|s| s.0.is_finite())
            .collect();
        let value = |p: f64, m2: f64| {
            let prior = -0.5 * (p / SPREAD_PX).powi(2) - SHARED_COST * some.len() as f64 * m2;
            seen.iter().fold(prior, |sum, (z, fit, added)| {
                let left = share_left((p - fit.depth_px).powi(2) + m2);
                sum + residual_ln(z - (fit.energy * left + added).ln())
            })
        };
        let best = |tried: &mut dyn Iterator<Item = (f64, f64)>| {
            tried
                .map(|(p, m2)| (value(p, m2), p, m2))
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map_or((p0, m0), |b| (b.1, b.2))
        };
        let coarse = (-13..=13).map(|k| 0.6 * f64::from(k));
        let near = (-3..=3).map(|k| p0 + 0.1 * f64::from(k));
        let (p, _) = best(&mut coarse.chain(near).map(|p| (p, m0)));
        let (_, m2) = best(&mut SHARED_PX2.iter().map(|m2| (p, *m2)));
        let at = SHARED_PX2.iter().position(|v| *v >= m2).unwrap_or(0);
        let shared = &SHARED_PX2[at.saturating_sub(1)..(at + 2).min(SHARED_PX2.len())];
        let around = (-2..=2).map(|k| p + 0.15 * f64::from(k));
        best(&mut around.flat_map(|p| shared.iter().map(move |m2| (p, *m2))))
    }

    /// The two strongest directions of frames in ln E centred both ways: unit vectors.
    fn directions(&self, some: &[usize]) -> [Vec<f64>; 2] {
        let n = self.n;
        let mean = |values: &mut dyn Iterator<Item = f64>| {
            let (sum, count) =
                values.filter(|v| v.is_finite()).fold((0.0, 0.0), |a, v| (a.0 + v, a.1 + 1.0));
            sum / f64::max(count, 1.0)
        };
        let mut rows: Vec<Vec<f64>> = some
            .iter()
            .map(|t| {
                let row = self.row(*t).0;
                let middle = mean(&mut row.iter().copied());
                row.iter().map(|v| v - middle).collect()
            })
            .collect();
        for i in 0..n {
            let middle = mean(&mut rows.iter().map(|r| r[i]));
            for r in &mut rows {
                r[i] = if r[i].is_finite() { r[i] - middle } else { 0.0 };
            }
        }
        let mut gram = nalgebra::DMatrix::<f64>::zeros(n, n);
        for r in &rows {
            for i in 0..n {
                for j in 0..n {
                    gram[(i, j)] += r[i] * r[j];
                }
            }
        }
        let eigen = gram.symmetric_eigen();
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
        [order[0], order[1]].map(|k| eigen.eigenvectors.column(k).iter().copied().collect())
    }
}

/// Whether a place is seen in most frames, and above the noise in two.
fn is_seen(row: &[f32], noise: f32) -> bool {
    let seen = row.iter().filter(|v| v.is_finite()).count();
    let clear = row.iter().filter(|v| **v > SEEN_OVER_NOISE * noise).count();
    seen as f64 >= SEEN_SHARE * row.len() as f64 && clear >= 2
}

/// Energy in focus of a place whose frames keep the shares `left`: least squares, the brightest
/// frames counting most, then two steps on the logarithms.
fn energy_in_focus(ln: &[f64], with_added: &[f64], added: f64, left: &[f64]) -> f64 {
    let (mut sum, mut weight) = (0.0, 1e-12);
    for ((z, e), h) in ln.iter().zip(with_added).zip(left) {
        if z.is_finite() {
            sum += (e - added).max(0.0) * h;
            weight += h * h;
        }
    }
    let mut energy = (sum / weight).max(1e-6);
    for _ in 0..2 {
        let (mut top, mut bottom) = (0.0, 1e-6);
        for (z, h) in ln.iter().zip(left) {
            if z.is_finite() {
                let e = energy * h;
                let share = e / (e + added);
                let residual = z - (e + added).ln();
                let w = share / (1.0 + (residual / SCATTER_LN).powi(2) / 4.0);
                top += w * residual;
                bottom += w * share;
            }
        }
        energy *= (top / bottom).clamp(-1.0, 1.0).exp();
    }
    energy
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    /// Energies of places on a slope, by the model, with scatter of ln E and noise of 2.
    fn energies(
        plane_px: &[f64],
        shared_px: &[f64],
        depths: &[f64],
        scatter: f64,
    ) -> PlaceEnergies {
        let mut rng = SplitMix64::new(5);
        let mut energy = Vec::new();
        for depth in depths {
            let in_focus = (5.0 + rng.normal()).exp();
            for (p, m) in plane_px.iter().zip(shared_px) {
                let left = share_left((p - depth).powi(2) + m * m);
                energy.push((in_focus * left * (scatter * rng.normal()).exp()) as f32);
            }
        }
        PlaceEnergies { energy, noise: vec![2.0; depths.len()] }
    }

    const PLANES: [f64; 9] = [-2.4, 1.7, 0.3, -0.8, 2.2, 0.9, -1.5, 0.2, -0.6];

    fn slope() -> Vec<f64> {
        (0..300).map(|k| -3.5 + 7.0 * f64::from(k) / 299.0).collect()
    }

    /// Planes as found, with the sign of the true ones and the same mean.
    fn signed(found: &[f64], truth: &[f64]) -> Vec<f64> {
        let mean = truth.iter().sum::<f64>() / truth.len() as f64;
        let product: f64 = found.iter().zip(truth).map(|(f, t)| f * (t - mean)).sum();
        found.iter().map(|f| product.signum() * f + mean).collect()
    }

    #[test]
    fn planes_and_depths_are_found_up_to_their_common_sign() {
        let truth = energies(&PLANES, &[0.0; 9], &slope(), 0.2);
        let found = fit(9, &truth).unwrap();
        for (f, t) in signed(&found.plane_px, &PLANES).iter().zip(PLANES) {
            assert!((f - t).abs() < 0.15, "{f} for {t}");
        }
        assert!(found.shared_px.iter().all(|m| *m < 0.6), "{:?}", found.shared_px);
        let depths: Vec<f64> = found.places.iter().map(|p| p.depth_px).collect();
        let true_depths: Vec<f64> = found.places.iter().map(|p| slope()[p.index]).collect();
        let square: f64 = signed(&depths, &true_depths)
            .iter()
            .zip(&true_depths)
            .map(|(f, t)| (f - t).powi(2))
            .sum();
        let rms = (square / depths.len() as f64).sqrt();
        assert!(rms < 0.5, "{rms}");
        // Far above the limit below which planes are not trusted.
        assert!(found.fit > -0.3, "{}", found.fit);
    }

    #[test]
    fn a_moved_frame_shares_a_blur_that_is_not_taken_for_a_plane() {
        let mut shared = [0.0; 9];
        shared[3] = 2.0;
        let found = fit(9, &energies(&PLANES, &shared, &slope(), 0.2)).unwrap();
        assert!((found.shared_px[3] - 2.0).abs() < 0.4, "{:?}", found.shared_px);
        let off = signed(&found.plane_px, &PLANES)[3] - PLANES[3];
        assert!(off.abs() < 0.4, "{off}");
    }

    #[test]
    fn energies_that_no_planes_explain_fit_badly() {
        let mut rng = SplitMix64::new(8);
        let energy: Vec<f32> =
            (0..300 * 9).map(|_| (5.0 + 1.5 * rng.normal()).exp() as f32).collect();
        let found = fit(9, &PlaceEnergies { energy, noise: vec![2.0; 300] }).unwrap();
        assert!(found.fit < -0.6, "{}", found.fit);
    }

    #[test]
    fn too_little_gives_nothing() {
        let two = energies(&PLANES[..2], &[0.0; 2], &slope(), 0.1);
        assert!(fit(2, &two).is_none());
        let few = energies(&PLANES, &[0.0; 9], &slope()[..5], 0.1);
        assert!(fit(9, &few).is_none());
        let drowned = PlaceEnergies { energy: vec![1.0; 300 * 9], noise: vec![50.0; 300] };
        assert!(fit(9, &drowned).is_none());
    }

    #[test]
    fn places_outside_some_frames_are_fitted_by_the_others() {
        let mut some = energies(&PLANES, &[0.0; 9], &slope(), 0.2);
        for t in 0..300 {
            some.energy[t * 9 + t % 9] = f32::NAN;
        }
        let found = fit(9, &some).unwrap();
        for (f, t) in signed(&found.plane_px, &PLANES).iter().zip(PLANES) {
            assert!((f - t).abs() < 0.2, "{f} for {t}");
        }
    }
}
