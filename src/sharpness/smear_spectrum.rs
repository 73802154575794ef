//! Movement from two spectra: the surroundings of the subject in a frame and in the burst's best
//! frame.
//!
//! Both show the same texture, so the ratio of their power spectra holds only what blurred one
//! more than the other, whatever directions the texture itself prefers. Defocus and diffraction
//! lower a whole ring of frequencies alike; a movement of length L along θ multiplies by
//! sinc²(f·L·cos(φ−θ)), which digs a furrow across every ring. Each ring's own level is left
//! free, which also takes out exposure, defocus and most of the noise's error; length and
//! direction are searched on a grid, since the furrow is far from a straight line.
//!
//! The window of a tile blurs the furrow, so smears above 8 px read up to 10 % short. Valid from
//! about 2.5 px to 16 px, where texture stands above noise in several directions of
//! several rings. The sinc is that of uniform movement (facts M13).

use serde::{Deserialize, Serialize};

use super::band_noise::{BandNoise, WHITE_GAINS};
use super::pyramid::PyramidLevel;
use crate::noise::periodogram::Periodogram;

/// Side of a spectrum's tile, px.
const TILE: usize = 64;
/// Step from tile to tile, px.
const STEP: usize = 24;
/// Side of the middle part of a patch that is used, px: a moving subject is hardly larger.
const MIDDLE_PX: usize = 160;
/// Frequencies used, cycles per pixel: below lies shading, above hardly any texture.
const BAND: std::ops::Range<f64> = 1.9 / 64.0..0.32;
/// Power over noise that the best frame must show for a frequency to count.
const REFERENCE_OVER_NOISE: f64 = 6.0;
/// Signal over noise below which the frame's own power drowns: only a bound is known then.
const DROWNED: f64 = 1.0;
/// Share of the noise that may hide signal where it drowns.
const HIDDEN: f64 = 0.5;
/// Frequencies a ring needs.
const MIN_RING: usize = 8;
/// A ring whose directions bunch more than this (length of the mean of e^2iφ) says nothing.
const RING_BUNCHED: f64 = 0.75;
/// Rings needed.
const MIN_RINGS: usize = 3;
/// Scatter of a log ratio that is no movement, as a variance: tiles show slightly other parts.
const SCATTER: f64 = 0.12;
/// Power that leaks into a furrow.
const LEAK: f64 = 0.03;
/// Lengths searched, px: step, first and last multiple of it.
const LENGTHS: (f64, usize, usize) = (1.0, 1, 28);
/// Directions searched.
const DIRECTIONS: usize = 18;
/// Shares of the light that a movement may smear: all of it, and with flash only the ambient
/// light.
pub const BY_LAMP: &[f64] = &[1.0];
/// See [`BY_LAMP`].
pub const BY_FLASH: &[f64] = &[1.0, 0.4, 0.3, 0.2];
/// A share below one must leave this part of the scatter that a whole smear leaves.
const SHARE_GAIN: f64 = 0.8;
/// Steps of the table of furrows per unit of frequency times length, and its end.
const TABLE: (f64, usize) = (128.0, 1280);
/// Frames that an envelope needs.
const ENVELOPE_FRAMES: usize = 3;
/// Neighbouring frequencies share this many independent values.
const SHARED: f64 = 4.0;

/// Mean power spectrum of a patch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PatchSpectrum {
    /// Density in squared 8-bit steps: half the plane, `kx * 64 + ky`.
    power: Vec<f32>,
}

impl PatchSpectrum {
    /// The spectrum of a patch; `None` when no tile fits.
    pub fn of(level: &PyramidLevel) -> Option<PatchSpectrum> {
        let used = |extent: usize| extent.min(MIDDLE_PX);
        let last = |extent: usize| used(extent).checked_sub(TILE).map(|free| free / STEP);
        let (columns, rows) = (last(level.width)?, last(level.height)?);
        let aside = |extent: usize| (extent - used(extent)) / 2;
        let (left, top) = (aside(level.width), aside(level.height));
        let mut plan = Periodogram::new(TILE);
        let mut tile = vec![0f32; TILE * TILE];
        let mut out = vec![0f32; plan.len()];
        let mut power = vec![0f32; plan.len()];
        for ty in 0..=rows {
            for tx in 0..=columns {
                for (y, row) in tile.chunks_exact_mut(TILE).enumerate() {
                    let from = &level.row(top + ty * STEP + y)[left + tx * STEP..][..TILE];
                    for (o, v) in row.iter_mut().zip(from) {
                        *o = f32::from(*v) / 8.0;
                    }
                }
                plan.power(&tile, &mut out);
                power.iter_mut().zip(&out).for_each(|(sum, v)| *sum += v);
            }
        }
        let n = ((columns + 1) * (rows + 1)) as f32;
        power.iter_mut().for_each(|v| *v /= n);
        Some(PatchSpectrum { power })
    }

    /// What the scene would show without movement: at every frequency nearly the most power that
    /// any frame of the burst has there. A movement takes power along its own direction only, and
    /// frames that all moved did so in different ones. `frames` are spectra with their mean tones,
    /// 8-bit steps; the result is for a tone of `mean_dn`. `None` for fewer than three frames.
    pub fn envelope(frames: &[(&PatchSpectrum, f64)], mean_dn: f64) -> Option<PatchSpectrum> {
        if frames.len() < ENVELOPE_FRAMES {
            return None;
        }
        // Chance makes the very largest too large.
        let rank = frames.len() / ENVELOPE_FRAMES / 2;
        let scales: Vec<f32> = frames.iter().map(|f| (mean_dn / f.1).powi(2) as f32).collect();
        let mut here = vec![0f32; frames.len()];
        let power = (0..frames[0].0.power.len())
            .map(|k| {
                for ((value, frame), scale) in here.iter_mut().zip(frames).zip(&scales) {
                    *value = frame.0.power[k] * scale;
                }
                here.sort_by(|a, b| b.total_cmp(a));
                here[rank]
            })
            .collect();
        Some(PatchSpectrum { power })
    }
}

/// Movement found between two spectra.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectralSmear {
    /// Length, px.
    pub length_px: f64,
    /// One standard error, px.
    pub length_std_err_px: f64,
    /// Direction, degrees 0..180 from the x axis towards y (downwards in a picture).
    pub direction_deg: f64,
    /// Share of the light that is smeared, 0..1; the rest lies sharp over it.
    pub share: f64,
    /// Share of the directional scatter that the movement explains, 0..1.
    pub explained: f64,
}

/// One frequency.
struct SpectrumCell {
    ring: usize,
    fx: f64,
    fy: f64,
    ratio: f64,
    weight: f64,
    /// The ratio is at most this, no more is known.
    bound: bool,
}

/// Noise density at a frequency: white as far as each band tells.
fn noise_density(noise: &BandNoise, mean_dn: f64, f: f64) -> f64 {
    let level = if f > 0.2 {
        0
    } else if f > 0.08 {
        1
    } else {
        2
    };
    noise.levels[level].n1.at(mean_dn as f32) / WHITE_GAINS[level][0]
}

/// Compares a frame's patch with the same spot in the burst's best frame, for a movement of any of
/// the `shares` of the light, the whole first.
///
/// `None`: movement cannot be judged here (too little texture above noise, or all of it in one
/// direction). A smear of no length is a result.
pub fn against(
    frame: (&PatchSpectrum, &BandNoise, f64),
    best: (&PatchSpectrum, &BandNoise, f64),
    shares: &[f64],
) -> Option<SpectralSmear> {
    let cells = comparable(frame, best)?;
    let rings = cells.iter().map(|c| c.ring).max()? + 1;
    let step = std::f64::consts::PI / DIRECTIONS as f64;
    let (mut still, mut found): (f64, Option<SmearFit>) = (0.0, None);
    for share in shares {
        let table = FurrowTable::new(*share);
        let fit = search(&cells, rings, &table, step);
        still = fit.still;
        let margin = if *share < 1.0 { SHARE_GAIN } else { 1.0 };
        // Shares are compared with the whole smear first, then with each other.
        let better = found
            .as_ref()
            .is_none_or(|f| fit.left < f.left * if f.table.share < 1.0 { 1.0 } else { margin });
        if better {
            found = Some(SmearFit { table, ..fit });
        }
    }
    let SmearFit { left, length_px, angle, table, .. } = found?;
    let free = cells.len() as f64 / SHARED;
    // How sharply the scatter rises about the best length gives its error.
    let aside = LENGTHS.0 / 2.0;
    let rise = scatter(&cells, rings, &table, length_px + aside, angle)
        + scatter(&cells, rings, &table, (length_px - aside).max(0.0), angle)
        - 2.0 * left;
    let curvature = (rise / (aside * aside)).max(1e-9);
    let variance = 2.0 * (left / free) / curvature * (cells.len() as f64 / free);
    Some(SpectralSmear {
        length_px,
        length_std_err_px: variance.sqrt().clamp(0.1, length_px.max(1.0)),
        direction_deg: angle.to_degrees().rem_euclid(180.0),
        share: table.share,
        explained: 1.0 - left / still.max(1e-12),
    })
}

/// The best movement of one share.
struct SmearFit {
    still: f64,
    left: f64,
    length_px: f64,
    angle: f64,
    table: FurrowTable,
}

fn search(cells: &[SpectrumCell], rings: usize, table: &FurrowTable, step: f64) -> SmearFit {
    let still = scatter(cells, rings, table, 0.0, 0.0);
    let mut found = (still, 0.0, 0.0);
    for d in 0..DIRECTIONS {
        for l in LENGTHS.1..=LENGTHS.2 {
            let (length, angle) = (l as f64 * LENGTHS.0, d as f64 * step);
            let left = scatter(cells, rings, table, length, angle);
            if left < found.0 {
                found = (left, length, angle);
            }
        }
    }
    for k in 1..=4 {
        let (dl, da) = (LENGTHS.0 / 2f64.powi(k), step / 2f64.powi(k));
        for (sl, sa) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
            let (length, angle) = ((found.1 + sl * dl).max(0.0), found.2 + sa * da);
            let left = scatter(cells, rings, table, length, angle);
            if left < found.0 {
                found = (left, length, angle);
            }
        }
    }
    SmearFit { still, left: found.0, length_px: found.1, angle: found.2, table: table.clone() }
}

/// ln of the power that a movement of one share passes, by frequency times length.
#[derive(Clone)]
struct FurrowTable {
    share: f64,
    ln_power: Vec<f64>,
}

impl FurrowTable {
    fn new(share: f64) -> FurrowTable {
        let ln_power = (0..=TABLE.1)
            .map(|i| {
                let passed = 1.0 - share + share * crate::core::bessel::sinc(i as f64 / TABLE.0);
                (passed * passed).max(LEAK).ln()
            })
            .collect();
        FurrowTable { share, ln_power }
    }

    fn at(&self, cycles: f64) -> f64 {
        let i = (cycles.abs() * TABLE.0 + 0.5) as usize;
        self.ln_power[i.min(TABLE.1)]
    }
}

fn comparable(
    frame: (&PatchSpectrum, &BandNoise, f64),
    best: (&PatchSpectrum, &BandNoise, f64),
) -> Option<Vec<SpectrumCell>> {
    let mut cells: Vec<SpectrumCell> = Vec::new();
    for kx in 0..=TILE / 2 {
        for ky in 0..TILE {
            let signed = if ky > TILE / 2 { ky as f64 - TILE as f64 } else { ky as f64 };
            // The column kx = 0 holds each frequency twice.
            if kx == 0 && signed <= 0.0 {
                continue;
            }
            let (fx, fy) = (kx as f64 / TILE as f64, signed / TILE as f64);
            let f = fx.hypot(fy);
            if !BAND.contains(&f) {
                continue;
            }
            let n_best = noise_density(best.1, best.2, f);
            let n = noise_density(frame.1, frame.2, f);
            let of = |s: &PatchSpectrum| f64::from(s.power[kx * TILE + ky]);
            let there = of(best.0) - n_best;
            if of(best.0) < REFERENCE_OVER_NOISE * n_best {
                continue;
            }
            let signal = of(frame.0) - n;
            let bound = signal < DROWNED * n;
            let here = if bound { signal.max(0.0) + HIDDEN * n } else { signal };
            let unsure = (n / here).powi(2) + (n_best / there).powi(2);
            cells.push(SpectrumCell {
                ring: (f * TILE as f64).round() as usize,
                fx,
                fy,
                ratio: (here / there).ln(),
                weight: 1.0 / (SCATTER + unsure),
                bound,
            });
        }
    }
    // Rings that see too few directions say nothing of movement.
    let rings = cells.iter().map(|c| c.ring).max()? + 1;
    let mut seen = vec![(0usize, 0f64, 0f64); rings];
    // A ring's level must be known; what only has a bound can show a furrow in it.
    let mut known = vec![0usize; rings];
    for c in &cells {
        known[c.ring] += usize::from(!c.bound);
        let angle = 2.0 * c.fy.atan2(c.fx);
        let s = &mut seen[c.ring];
        *s = (s.0 + 1, s.1 + angle.cos(), s.2 + angle.sin());
    }
    let good: Vec<bool> = seen
        .iter()
        .zip(&known)
        .map(|((n, c, s), known)| *known >= MIN_RING && c.hypot(*s) <= RING_BUNCHED * *n as f64)
        .collect();
    cells.retain(|c| good[c.ring]);
    (good.iter().filter(|g| **g).count() >= MIN_RINGS).then_some(cells)
}

/// Weighted scatter of the log ratios about each ring's level when a movement is taken out. A
/// ratio of which only a bound is known counts when the movement leaves it above that.
fn scatter(
    cells: &[SpectrumCell],
    rings: usize,
    table: &FurrowTable,
    length_px: f64,
    angle: f64,
) -> f64 {
    let (sin, cos) = angle.sin_cos();
    let (along_x, along_y) = (length_px * cos, length_px * sin);
    let furrow = |c: &SpectrumCell| table.at(c.fx * along_x + c.fy * along_y);
    let mut sums = vec![(0f64, 0f64, 0f64); rings];
    for c in cells.iter().filter(|c| !c.bound) {
        let v = c.ratio - furrow(c);
        let s = &mut sums[c.ring];
        *s = (s.0 + c.weight, s.1 + c.weight * v, s.2 + c.weight * v * v);
    }
    let known: f64 = sums.iter().filter(|s| s.0 > 0.0).map(|(w, v, v2)| v2 - v * v / w).sum();
    let above: f64 = cells
        .iter()
        .filter(|c| c.bound)
        .map(|c| {
            let (w, v, _) = sums[c.ring];
            c.weight * (v / w + furrow(c) - c.ratio).max(0.0).powi(2)
        })
        .sum();
    known + above
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::Luma;
    use crate::core::random::SplitMix64;

    const SIDE: usize = 256;

    /// A random texture in frequency space, blurred by a Gaussian and a movement, plus noise.
    fn patch(sigma: f64, length: f64, angle_deg: f64, noise_dn: f64, seed: u64) -> PatchSpectrum {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        let mut waves = SplitMix64::new(11);
        let list: Vec<[f64; 4]> = (0..260)
            .map(|_| {
                let (fx, fy) = (waves.between(-0.3, 0.3), waves.between(0.0, 0.3));
                let f2 = fx * fx + fy * fy;
                let swing = 110.0 / (1.0 + 900.0 * f2).powf(0.75)
                    * (-2.0 * std::f64::consts::PI.powi(2) * sigma * sigma * f2).exp()
                    * crate::core::bessel::sinc(length * (fx * cos + fy * sin));
                [fx, fy, swing, waves.between(0.0, std::f64::consts::TAU)]
            })
            .collect();
        let mut rng = SplitMix64::new(seed);
        let data: Vec<u8> = (0..SIDE * SIDE)
            .map(|i| {
                let (x, y) = ((i % SIDE) as f64, (i / SIDE) as f64);
                let v: f64 = list
                    .iter()
                    .map(|k| k[2] * (std::f64::consts::TAU * (k[0] * x + k[1] * y) + k[3]).cos())
                    .sum();
                (128.0 + 0.25 * v + noise_dn * rng.normal()).round().clamp(0.0, 255.0) as u8
            })
            .collect();
        let luma = Luma::U8 { data: &data, channels: 1, width_px: SIDE, height_px: SIDE };
        PatchSpectrum::of(&PyramidLevel::from_luma(&luma)).unwrap()
    }

    #[test]
    fn length_and_direction_are_found_whatever_the_defocus() {
        let noise = BandNoise::white(2.0);
        let best = patch(0.8, 0.0, 0.0, 2.0, 1);
        for (sigma, length, angle) in [(0.8, 6.0, 30.0), (1.5, 9.0, 100.0), (1.0, 4.0, 160.0)] {
            let moved = patch(sigma, length, angle, 2.0, 2);
            let s = against((&moved, &noise, 128.0), (&best, &noise, 128.0), BY_LAMP).unwrap();
            assert!((s.length_px / length - 1.0).abs() < 0.1, "{s:?} for {length}");
            let off = (s.direction_deg - angle + 90.0).rem_euclid(180.0) - 90.0;
            assert!(off.abs() < 5.0, "{s:?} for {angle}");
            assert!(s.explained > 0.5, "{s:?}");
        }
    }

    #[test]
    fn defocus_is_no_movement() {
        let noise = BandNoise::white(2.0);
        let best = patch(0.8, 0.0, 0.0, 2.0, 1);
        for sigma in [0.9, 1.5, 2.5] {
            let soft = patch(sigma, 0.0, 0.0, 2.0, 3);
            let s = against((&soft, &noise, 128.0), (&best, &noise, 128.0), BY_LAMP).unwrap();
            assert!(s.explained < 0.5 || s.length_px < 2.5, "{s:?} for {sigma}");
        }
    }
}
