//! One sheet of a scene: light, coverage and depth on its own grid, and the ladder of defocused
//! copies that frames are sampled from.

use rayon::prelude::*;

use crate::core::units::GREEN;
use crate::simulator::optics::{SimulatedLens, sinc};
use crate::simulator::spectrum::SceneSpectrum;

/// Coarsest grid of a ladder level, in samples of the layer. Layer sizes are multiples of it.
pub(super) const MAX_REDUCE: usize = 8;

/// Depth over a layer, on a coarse grid with bilinear reading. Depth is counted towards the
/// lens, in pixels of the picture on the subject (so a sphere is as deep as it is wide).
#[derive(Debug, Clone)]
pub struct DepthMap {
    width: usize,
    height: usize,
    step_px: f32,
    z_px: Vec<f32>,
}

impl DepthMap {
    /// The same depth everywhere.
    pub fn uniform(z_px: f32) -> Self {
        DepthMap { width: 1, height: 1, step_px: 1.0, z_px: vec![z_px] }
    }

    /// A map of `width` by `height` samples `step_px` apart, centred on the scene.
    pub fn from_fn(
        width: usize,
        height: usize,
        step_px: f32,
        depth: impl Fn(f32, f32) -> f32 + Sync,
    ) -> Self {
        let mut z_px = vec![0.0; width * height];
        z_px.par_chunks_exact_mut(width).enumerate().for_each(|(j, row)| {
            let v = (j as f32 + 0.5 - height as f32 / 2.0) * step_px;
            for (i, z) in row.iter_mut().enumerate() {
                *z = depth((i as f32 + 0.5 - width as f32 / 2.0) * step_px, v);
            }
        });
        DepthMap { width, height, step_px, z_px }
    }

    /// A map of samples already at hand, row-major.
    pub(super) fn from_samples(
        width: usize,
        height: usize,
        step_px: f32,
        z_px: Vec<f32>,
    ) -> DepthMap {
        DepthMap { width, height, step_px, z_px }
    }

    /// Depth at a place of the scene (px from its centre).
    pub fn at(&self, u_px: f32, v_px: f32) -> f32 {
        if self.z_px.len() == 1 {
            return self.z_px[0];
        }
        let x = (u_px / self.step_px + self.width as f32 / 2.0 - 0.5)
            .clamp(0.0, (self.width - 1) as f32);
        let y = (v_px / self.step_px + self.height as f32 / 2.0 - 0.5)
            .clamp(0.0, (self.height - 1) as f32);
        let (i, j) = (x as usize, y as usize);
        let (i1, j1) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let (fx, fy) = (x - i as f32, y - j as f32);
        let row = |j: usize| {
            let r = &self.z_px[j * self.width..(j + 1) * self.width];
            r[i] + (r[i1] - r[i]) * fx
        };
        row(j) + (row(j1) - row(j)) * fy
    }

    /// Least and greatest depth.
    pub fn range(&self) -> (f32, f32) {
        self.z_px.iter().fold((f32::MAX, f32::MIN), |(a, b), z| (a.min(*z), b.max(*z)))
    }
}

/// One sheet: interleaved linear light, multiplied by coverage, and the coverage when it is not
/// complete.
#[derive(Debug, Clone)]
pub struct Layer {
    /// Samples a row, a multiple of 8 without large prime factors.
    pub(super) width: usize,
    /// Rows.
    pub(super) height: usize,
    /// Pixels of the picture between samples.
    pub(super) step_px: f32,
    /// 1 or 3 of light, plus 1 when `covers` is false.
    pub(super) channels: usize,
    /// Whether the sheet is opaque everywhere.
    pub(super) covers: bool,
    /// Interleaved samples. Each is the mean over its own square.
    pub(super) data: Vec<f32>,
    /// Its depth.
    pub(super) depth: DepthMap,
}

struct DepthLevel {
    w20: f32,
    reduce: usize,
    width: usize,
    height: usize,
    data: Vec<f32>,
}

/// A layer seen through a lens at a row of defocus steps.
pub(super) struct Ladder {
    levels: Vec<DepthLevel>,
    width: usize,
    height: usize,
    step_px: f32,
    pub(super) channels: usize,
    pub(super) covers: bool,
    pub(super) depth: DepthMap,
}

/// Defocus of step `i`, waves: even steps near focus, then a fixed ratio, close enough that
/// mixing neighbours keeps the blur within 3 % (checked in the tests).
fn step_w20(i: usize) -> f32 {
    const EVEN: f32 = 0.13;
    const EVEN_STEPS: usize = 5;
    const RATIO: f32 = 1.2;
    if i <= EVEN_STEPS {
        EVEN * i as f32
    } else {
        EVEN * EVEN_STEPS as f32 * RATIO.powi((i - EVEN_STEPS) as i32)
    }
}

/// The share of the higher of two steps that gives the wanted second moment of the defocus.
fn share(w20: f32, low: f32, high: f32) -> f32 {
    ((w20 * w20 - low * low) / (high * high - low * low)).clamp(0.0, 1.0)
}

impl Ladder {
    /// All steps needed for defocus from `least` to `most` waves.
    pub(super) fn of(layer: Layer, lens: &SimulatedLens, least: f32, most: f32) -> Ladder {
        let first = (0..).take_while(|i| step_w20(i + 1) <= least).count();
        let mut wanted = vec![first];
        while wanted.last().is_some_and(|i| step_w20(*i) < most) {
            wanted.push(first + wanted.len());
        }
        let Layer { width, height, step_px, channels, covers, data, depth } = layer;
        let mut levels: Vec<DepthLevel> = wanted
            .iter()
            .map(|i| {
                let w20 = step_w20(*i);
                let reduce = reduction(lens, w20, step_px);
                let (w, h) = (width / reduce, height / reduce);
                DepthLevel { w20, reduce, width: w, height: h, data: vec![0.0; w * h * channels] }
            })
            .collect();
        for channel in (0..channels).step_by(2) {
            let spectrum = SceneSpectrum::of(&data, channels, channel, width, height);
            for level in &mut levels {
                let table = Transfer::of(lens, level.w20, step_px, level.reduce);
                let (_, _, grid) = spectrum.filtered(level.reduce, |fx, fy| table.at(fx, fy));
                level.data.par_chunks_exact_mut(channels).zip(grid.par_iter()).for_each(
                    |(out, value)| {
                        out[channel] = value.re;
                        if channel + 1 < channels {
                            out[channel + 1] = value.im;
                        }
                    },
                );
            }
        }
        Ladder { levels, width, height, step_px, channels, covers, depth }
    }

    /// The layer at a place of the scene with the given defocus: light and coverage.
    pub(super) fn at(&self, u_px: f32, v_px: f32, w20: f32) -> [f32; 4] {
        match self.channels {
            1 => self.sampled::<1>(u_px, v_px, w20),
            2 => self.sampled::<2>(u_px, v_px, w20),
            3 => self.sampled::<3>(u_px, v_px, w20),
            _ => self.sampled::<4>(u_px, v_px, w20),
        }
    }

    fn sampled<const C: usize>(&self, u_px: f32, v_px: f32, w20: f32) -> [f32; 4] {
        let x = u_px / self.step_px + self.width as f32 / 2.0 - 0.5;
        let y = v_px / self.step_px + self.height as f32 / 2.0 - 0.5;
        let w20 = w20.abs();
        let upper = self.levels.iter().position(|l| l.w20 >= w20).unwrap_or(self.levels.len() - 1);
        let high = &self.levels[upper];
        let mut out = [0.0; 4];
        if upper == 0 {
            out[..C].copy_from_slice(&high.read::<C>(x, y));
            return out;
        }
        let low = &self.levels[upper - 1];
        let t = share(w20, low.w20, high.w20);
        let (a, b) = (low.read::<C>(x, y), high.read::<C>(x, y));
        for c in 0..C {
            out[c] = a[c] + (b[c] - a[c]) * t;
        }
        out
    }
}

impl DepthLevel {
    /// Cubic B-spline reading; its own transfer is undone in the ladder's filter.
    fn read<const C: usize>(&self, x: f32, y: f32) -> [f32; C] {
        let scale = 1.0 / self.reduce as f32;
        let (i, wx) = taps(x * scale, self.width);
        let (j, wy) = taps(y * scale, self.height);
        let mut sum = [0.0f32; C];
        for (dj, wy) in wy.iter().enumerate() {
            let start = ((j + dj) * self.width + i) * C;
            let row = &self.data[start..start + 4 * C];
            let mut part = [0.0f32; C];
            for (di, wx) in wx.iter().enumerate() {
                for c in 0..C {
                    part[c] += row[di * C + c] * wx;
                }
            }
            for c in 0..C {
                sum[c] += part[c] * wy;
            }
        }
        sum
    }
}

/// First tap and the four weights of a cubic B-spline at `x`, kept inside `n` samples.
fn taps(x: f32, n: usize) -> (usize, [f32; 4]) {
    let x = x.clamp(1.0, (n - 3) as f32);
    // Positive, so cutting is rounding down, without a call.
    let base = x as usize as f32;
    let t = x - base;
    let s = 1.0 - t;
    let weights = [
        s * s * s / 6.0,
        (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
        (4.0 - 6.0 * s * s + 3.0 * s * s * s) / 6.0,
        t * t * t / 6.0,
    ];
    (base as usize - 1, weights)
}

/// How much coarser than the layer a level may be kept: wide discs carry little fine detail.
fn reduction(lens: &SimulatedLens, w20: f32, step_px: f32) -> usize {
    // The step at which the discarded part of a disc's transfer is below 5 % of its start.
    const SAMPLES_A_DISC: [(f32, usize); 3] = [(100.0, 8), (40.0, 4), (16.0, 2)];
    let disc_px = 8.0 * lens.n_eff * GREEN.0 * f64::from(w20) / lens.pitch_um;
    let disc = disc_px as f32 / step_px;
    let by_disc = SAMPLES_A_DISC.iter().find(|(d, _)| disc >= *d).map_or(1, |(_, r)| *r);
    // Diffraction alone may already end below half the grid's limit.
    let by_diffraction = if lens.cutoff_cy_px() * f64::from(step_px) < 0.2 { 2 } else { 1 };
    by_disc.max(by_diffraction)
}

/// A level's filter, tabulated by frequency: optics and pixel, with the area sampling of the
/// layer and the cubic reading undone.
struct Transfer {
    optics: Vec<f32>,
    reading: Vec<f32>,
}

/// Entries of a table over 0..0.71 and 0..0.5 cycles a sample.
const TABLE: usize = 4096;

impl Transfer {
    fn of(lens: &SimulatedLens, w20: f32, step_px: f32, reduce: usize) -> Transfer {
        let step = f64::from(step_px);
        let optics = (0..=TABLE)
            .map(|i| {
                let f = i as f64 / TABLE as f64 * 0.7072;
                let nu = f / step / lens.cutoff_cy_px();
                crate::simulator::optics::otf_defocus(nu, f64::from(w20)) as f32
            })
            .collect();
        let reading = (0..=TABLE)
            .map(|i| {
                let f = i as f64 / TABLE as f64 * 0.5;
                let coarse = f * reduce as f64;
                // Falls to zero over the last tenth before the coarse grid's limit, so that the
                // cut does not ring.
                let taper = ((0.5 - coarse) / 0.05).clamp(0.0, 1.0);
                let taper = taper * taper * (3.0 - 2.0 * taper);
                if taper <= 0.0 {
                    return 0.0;
                }
                (taper * sinc(f / step) / (sinc(f) * sinc(coarse).powi(4))) as f32
            })
            .collect();
        Transfer { optics, reading }
    }

    fn at(&self, fx: f32, fy: f32) -> f32 {
        let r = (fx * fx + fy * fy).sqrt() / 0.7072;
        lookup(&self.optics, r)
            * lookup(&self.reading, fx.abs() * 2.0)
            * lookup(&self.reading, fy.abs() * 2.0)
    }
}

/// Linear reading of a table over 0..1.
fn lookup(table: &[f32], at: f32) -> f32 {
    let x = (at * TABLE as f32).min(TABLE as f32 - 1e-3);
    let i = x as usize;
    table[i] + (table[i + 1] - table[i]) * (x - i as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulator::optics::{GAUSS_HALF, first_half};

    // The truth is the exact transfer at the wanted defocus (facts 3.1); the mix of two steps
    // must have the same half-transfer frequency within 3 %.
    #[test]
    fn mixing_two_steps_keeps_the_blur() {
        for (n_eff, pitch_um) in [(8.0, 6.0), (16.0, 4.4), (32.0, 4.4)] {
            let lens = SimulatedLens { n_eff, magnification: 1.0, pitch_um };
            for k in 0..200 {
                let w20 = 0.03 * f64::from(k);
                let upper = (0..).find(|i| step_w20(*i) >= w20 as f32).unwrap().max(1);
                let (low, high) = (step_w20(upper - 1), step_w20(upper));
                let t = f64::from(share(w20 as f32, low, high));
                let mixed = |f: f64| {
                    (1.0 - t) * lens.transfer(f, f64::from(low))
                        + t * lens.transfer(f, f64::from(high))
                };
                let got = GAUSS_HALF / first_half(mixed, lens.cutoff_cy_px().min(1.0));
                let ratio = got / lens.sigma_px(w20);
                assert!((ratio - 1.0).abs() < 0.03, "W20 {w20}: {ratio}");
            }
        }
    }
}
