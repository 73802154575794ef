//! Modulation transfer from a slanted straight edge (edge-based spatial frequency response).
//!
//! What it estimates: the modulation of lens, pixel and rendering over frequency, from one edge of
//! a ruler, chart or plate. **Unfit for living subjects**: their outlines are rounded, textured and
//! out of one plane, and a camera's sharpening raises the figure (a third for a usual amount), so
//! compare frames of one rendering only.
//!
//! How, after ISO 12233:2014 clause 6.2.5: the derivative's centroid in every row; a second-order
//! line through them (a first-order one lets a bent edge pass for a blurred one); samples projected
//! along it into four bins a pixel; derivative by [-1/2, 0, 1/2]; a flat-topped (Tukey) window
//! instead of Hamming's, which is too short for soft edges; the modulus of its transform over that
//! at 0, divided by what the derivative, sinc(f/2), and the bins, sinc(f/4), take away.
//!
//! Assumes an edge 2 to 20° off the rows or columns, alone in its region, linear tones: encoded
//! planes are taken through the inverse sRGB curve first, planes of unknown tone are refused. Valid
//! from blur sigma 0.3 to 5 px. Noise adds to the modulation where it is low, so MTF10 reads up to
//! 3 % high; the error given holds the noise of the samples, not the choice of the region.

use crate::core::bessel::sinc;
use crate::core::stats::{least_squares, median};
use crate::core::tone::decode_srgb;
use crate::core::{Measured, Plane, Tone};

/// Bins a pixel.
const BINS_A_PX: usize = 4;
/// The window ends this far from the edge, px; nearer when the region does.
const REACH_PX: f64 = 48.0;
/// Least distance from the edge to the border of the region that is worked with, px.
const MIN_REACH_PX: f64 = 8.0;
/// Part of the window that is tapered.
const TAPER: f64 = 0.3;
/// Rows' centroids are taken within this distance of the line, px.
const CENTROID_PX: f64 = 16.0;
/// Rows may scatter about the line by this much (rms), px: a straighter edge is asked for.
pub const MAX_SCATTER_PX: f64 = 0.25;
/// Least slant: over the region the edge has to cross a whole pixel, or the four bins are not
/// filled evenly.
const MIN_CROSSED_PX: f64 = 1.0;
/// Steepest slant, degrees.
const MAX_SLANT_DEG: f64 = 20.0;
/// Smallest side of a region, px.
const MIN_SIDE_PX: usize = 24;
/// Least step between the sides, share of white.
const MIN_STEP: f64 = 0.03;
/// Least step over the noise of a sample.
const MIN_STEP_NOISE: f64 = 4.0;
/// The sides may differ from level by this share of the step.
const MAX_LEVEL: f64 = 0.12;
/// Values above this share of white or below this are clipped.
const CLIPPED: (f64, f64) = (0.002, 0.995);
/// Share of clipped pixels that is let pass.
const MAX_CLIPPED: f64 = 0.02;
/// Corrections beyond this factor only raise noise (ISO 12233).
const MAX_CORRECTION: f64 = 10.0;
/// Distance of the curve's points, cycles per pixel, and their number: up to 1.
const CURVE_STEP_CY_PX: f64 = 0.01;
const CURVE_POINTS: usize = 101;

/// Why an edge gives no response.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoEdge {
    /// Too few pixels.
    #[error("the region is too small: {MIN_SIDE_PX} px per side are needed")]
    TooSmall,
    /// It is not known how tones relate to light.
    #[error("the tone curve is unknown, so the edge's profile cannot be trusted")]
    UnknownTone,
    /// Nothing to measure.
    #[error("no step is clear of the noise")]
    NoStep,
    /// Blocked highlights or shadows.
    #[error("one side of the edge is clipped")]
    Clipped,
    /// Parallel to the pixels.
    #[error("the edge is parallel to the pixels: turn it by about 5°")]
    NotSlanted,
    /// Too far from rows and columns.
    #[error("the edge is more than {MAX_SLANT_DEG}° off the rows and columns")]
    TooSteep,
    /// Not straight.
    #[error("the edge is not straight: it scatters by {scatter_px:.2} px about a smooth line")]
    NotStraight {
        /// Root mean square distance, px.
        scatter_px: f64,
    },
    /// Near the border, or something beside it.
    #[error("the edge is not alone: the ground beside it is not level, or too narrow")]
    NotAlone,
}

/// Modulation over frequency across an edge.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeResponse {
    /// Frequency at which modulation is half, cycles per pixel across the edge; `None` when the
    /// curve does not fall so far below 1 cycle a pixel.
    pub mtf50_cy_px: Option<Measured>,
    /// Frequency at which modulation is a tenth.
    pub mtf10_cy_px: Option<Measured>,
    /// (cycles per pixel across the edge, modulation), from 0 to 1 cycle a pixel.
    pub curve: Vec<(f64, f64)>,
    /// Slant against the nearer of rows and columns, degrees, without sign.
    pub slant_deg: f64,
    /// Scatter of the rows about the fitted line, px.
    pub scatter_px: f64,
    /// Step over noise of one sample; `None` without noise.
    pub step_over_noise: Option<f64>,
    /// (px across the edge, linear light as share of the step), four points a pixel.
    pub profile: Vec<(f64, f64)>,
}

/// Measures the edge that crosses a region.
///
/// # Errors
/// [`NoEdge`], with the reason.
pub fn measure_edge(region: &Plane) -> Result<EdgeResponse, NoEdge> {
    if region.width_px.min(region.height_px) < MIN_SIDE_PX {
        return Err(NoEdge::TooSmall);
    }
    let light = upright(linear(region)?);
    let line = fitted_line(&light)?;
    let binned = Binned::new(&light, &line)?;
    let n = (light.width * light.height) as u32;
    let cos = line.slant.cos();
    let (modulation, errors): (Vec<f64>, Vec<f64>) =
        (0..CURVE_POINTS).map(|i| binned.modulation(i as f64 * CURVE_STEP_CY_PX)).unzip();
    // The bins lie along the rows; across the edge distances are shorter by the cosine.
    let across = |i: f64| i * CURVE_STEP_CY_PX / cos;
    let crossing = |level: f64| {
        let at = modulation.windows(2).position(|m| m[0] >= level && m[1] < level)?;
        let fall = modulation[at] - modulation[at + 1];
        let share = (modulation[at] - level) / fall;
        let slope = fall / (across(1.0) - across(0.0));
        let err = errors[at] + share * (errors[at + 1] - errors[at]);
        let frequency = across(at as f64 + share);
        (frequency <= 1.0).then(|| Measured::new(frequency, err / slope, n)).flatten()
    };
    Ok(EdgeResponse {
        mtf50_cy_px: crossing(0.5),
        mtf10_cy_px: crossing(0.1),
        curve: (0..CURVE_POINTS).map(|i| (across(i as f64), modulation[i])).collect(),
        slant_deg: line.slant.abs().to_degrees(),
        scatter_px: line.scatter_px,
        step_over_noise: (binned.noise > 0.0).then(|| binned.step / binned.noise),
        profile: binned
            .esf
            .iter()
            .enumerate()
            .map(|(i, v)| (binned.place(i) * cos, (v - binned.low) / binned.step))
            .collect(),
    })
}

/// Linear light, 0..1, row-major.
struct Light {
    width: usize,
    height: usize,
    data: Vec<f64>,
}

impl Light {
    fn row(&self, y: usize) -> &[f64] {
        &self.data[y * self.width..(y + 1) * self.width]
    }
}

fn linear(region: &Plane) -> Result<Light, NoEdge> {
    let white = f64::from(region.white_dn);
    let data: Vec<f64> = match region.tone {
        Tone::Linear => region.data.iter().map(|v| f64::from(*v) / white).collect(),
        Tone::Encoded => region.data.iter().map(|v| decode_srgb(f64::from(*v) / white)).collect(),
        Tone::Unknown => return Err(NoEdge::UnknownTone),
    };
    let clipped = data.iter().filter(|v| **v < CLIPPED.0 || **v > CLIPPED.1).count();
    if clipped as f64 > MAX_CLIPPED * data.len() as f64 {
        return Err(NoEdge::Clipped);
    }
    Ok(Light { width: region.width_px, height: region.height_px, data })
}

/// The light turned so that the edge is nearer to vertical than to horizontal.
fn upright(light: Light) -> Light {
    let (w, h) = (light.width, light.height);
    // Means of columns and rows: the step shows where it runs along them.
    let columns: Vec<f64> =
        (0..w).map(|x| (0..h).map(|y| light.data[y * w + x]).sum::<f64>() / h as f64).collect();
    let rows: Vec<f64> = (0..h).map(|y| light.row(y).iter().sum::<f64>() / w as f64).collect();
    let range = |v: &[f64]| {
        v.iter().copied().fold(f64::MIN, f64::max) - v.iter().copied().fold(f64::MAX, f64::min)
    };
    if range(&columns) >= range(&rows) {
        return light;
    }
    let data = (0..w * h).map(|i| light.data[(i % h) * w + i / h]).collect();
    Light { width: h, height: w, data }
}

/// Where the edge runs: x = a + b·y + c·y², y from the middle row.
struct EdgeLine {
    beta: [f64; 3],
    slant: f64,
    scatter_px: f64,
    middle: f64,
    /// 1 when light rises from left to right, else -1.
    sign: f64,
}

impl EdgeLine {
    fn at(&self, y: usize) -> f64 {
        let y = y as f64 - self.middle;
        self.beta[0] + self.beta[1] * y + self.beta[2] * y * y
    }
}

fn fitted_line(light: &Light) -> Result<EdgeLine, NoEdge> {
    let (w, h) = (light.width, light.height);
    let middle = (h as f64 - 1.0) / 2.0;
    let side = (w / 4).max(1);
    let mean = |from: usize, to: usize| {
        (0..h).map(|y| light.row(y)[from..to].iter().sum::<f64>()).sum::<f64>()
            / (h * (to - from)) as f64
    };
    let rise = mean(w - side, w) - mean(0, side);
    if rise.abs() < MIN_STEP {
        return Err(NoEdge::NoStep);
    }
    let sign = rise.signum();
    // First each row over its whole width, then near the line only.
    let mut line: Option<[f64; 3]> = None;
    let mut scatter_px = 0.0;
    for _ in 0..3 {
        let rows: Vec<([f64; 3], f64, f64)> = (0..h)
            .filter_map(|y| {
                let t = y as f64 - middle;
                let near = line.map(|b| b[0] + b[1] * t + b[2] * t * t);
                let (mut sum, mut first) = (0.0, 0.0);
                for x in 1..w - 1 {
                    let off = near.map_or(0.0, |n| (x as f64 - n) / CENTROID_PX);
                    if off.abs() >= 1.0 {
                        continue;
                    }
                    let weight = (0.5 * std::f64::consts::PI * off).cos().powi(2);
                    let row = light.row(y);
                    let d = sign * 0.5 * (row[x + 1] - row[x - 1]) * weight;
                    sum += d;
                    first += d * x as f64;
                }
                let at = first / sum;
                (sum > 0.2 * rise.abs() && at > 0.0 && at < w as f64).then_some((
                    [1.0, t, t * t],
                    at,
                    1.0,
                ))
            })
            .collect();
        if rows.len() * 2 < h {
            return Err(NoEdge::NoStep);
        }
        let fit = least_squares(&rows).ok_or(NoEdge::NoStep)?;
        scatter_px = (fit.chi_square / rows.len() as f64).sqrt();
        line = Some(fit.beta);
    }
    let beta = line.ok_or(NoEdge::NoStep)?;
    if scatter_px > MAX_SCATTER_PX {
        return Err(NoEdge::NotStraight { scatter_px });
    }
    let slant = beta[1].atan();
    if slant.abs().to_degrees() > MAX_SLANT_DEG {
        return Err(NoEdge::TooSteep);
    }
    if beta[1].abs() * (h as f64) < MIN_CROSSED_PX {
        return Err(NoEdge::NotSlanted);
    }
    Ok(EdgeLine { beta, slant, scatter_px, middle, sign })
}

/// The edge's profile in four bins a pixel.
struct Binned {
    /// Mean of each bin, rising.
    esf: Vec<f64>,
    /// Variance of each of these means.
    variance: Vec<f64>,
    low: f64,
    step: f64,
    /// Noise of one sample.
    noise: f64,
}

impl Binned {
    fn new(light: &Light, line: &EdgeLine) -> Result<Binned, NoEdge> {
        let (w, h) = (light.width, light.height);
        let (mut left, mut right) = (f64::MAX, f64::MAX);
        for y in 0..h {
            let at = line.at(y);
            left = left.min(at);
            right = right.min(w as f64 - 1.0 - at);
        }
        let reach = left.min(right).min(REACH_PX).floor();
        if reach < MIN_REACH_PX {
            return Err(NoEdge::NotAlone);
        }
        let half = reach as usize * BINS_A_PX;
        let count = 2 * half + 1;
        let (mut sum, mut square, mut n) =
            (vec![0.0; count], vec![0.0; count], vec![0.0f64; count]);
        for y in 0..h {
            let at = line.at(y);
            for (x, v) in light.row(y).iter().enumerate() {
                let bin = ((x as f64 - at) * BINS_A_PX as f64).round() + half as f64;
                if bin >= 0.0 && (bin as usize) < count {
                    let bin = bin as usize;
                    let v = line.sign * v;
                    sum[bin] += v;
                    square[bin] += v * v;
                    n[bin] += 1.0;
                }
            }
        }
        if n.iter().filter(|n| **n < 1.0).count() * 8 > count {
            return Err(NoEdge::NotSlanted);
        }
        let mut esf: Vec<f64> = (0..count).map(|i| sum[i] / n[i].max(1.0)).collect();
        for i in 0..count {
            if n[i] < 1.0 {
                // An empty bin lies between its neighbours.
                let before = (0..i).rev().find(|j| n[*j] >= 1.0);
                let after = (i + 1..count).find(|j| n[*j] >= 1.0);
                esf[i] = match (before, after) {
                    (Some(a), Some(b)) => {
                        esf[a] + (esf[b] - esf[a]) * (i - a) as f64 / (b - a) as f64
                    }
                    (Some(a), None) | (None, Some(a)) => esf[a],
                    (None, None) => return Err(NoEdge::NotSlanted),
                };
            }
        }
        // Noise from the outer fifths, where the profile is level.
        let fifth = count / 5;
        let outer = (0..fifth).chain(count - fifth..count);
        let spread: f64 =
            outer.clone().map(|i| square[i] - sum[i] * sum[i] / n[i].max(1.0)).sum::<f64>();
        let degrees: f64 = outer.map(|i| (n[i] - 1.0).max(0.0)).sum();
        let noise = (spread / degrees.max(1.0)).max(0.0).sqrt();
        let low = median(&mut esf[..fifth].to_vec()).ok_or(NoEdge::NoStep)?;
        let high = median(&mut esf[count - fifth..].to_vec()).ok_or(NoEdge::NoStep)?;
        let step = high - low;
        if step < MIN_STEP || step < MIN_STEP_NOISE * noise {
            return Err(NoEdge::NoStep);
        }
        let variance: Vec<f64> = n.iter().map(|n| noise * noise / n.max(1.0)).collect();
        let unlevel = |from: usize, to: usize, level: f64| {
            (from..to).any(|i| (esf[i] - level).abs() > MAX_LEVEL * step + 5.0 * variance[i].sqrt())
        };
        if unlevel(0, fifth, low) || unlevel(count - fifth, count, high) {
            return Err(NoEdge::NotAlone);
        }
        Ok(Binned { esf, variance, low, step, noise })
    }

    /// Where a bin lies, px along the row from the edge.
    fn place(&self, i: usize) -> f64 {
        (i as f64 - (self.esf.len() / 2) as f64) / BINS_A_PX as f64
    }

    /// Flat in the middle, cosine towards the ends.
    fn window(&self, i: usize) -> f64 {
        let end = (self.esf.len() / 2) as f64;
        let part = (i as f64 - end).abs() / end;
        if part <= 1.0 - TAPER {
            1.0
        } else {
            0.5 + 0.5 * (std::f64::consts::PI * (part - 1.0 + TAPER) / TAPER).cos()
        }
    }

    /// Modulation at a frequency along the row, cycles per pixel, and its standard error.
    fn modulation(&self, cy_px: f64) -> (f64, f64) {
        let n = self.esf.len();
        let turn = |i: usize| (-std::f64::consts::TAU * cy_px * self.place(i)).sin_cos();
        let (mut re, mut im, mut whole) = (0.0, 0.0, 0.0);
        for i in 1..n - 1 {
            let d = 0.5 * (self.esf[i + 1] - self.esf[i - 1]) * self.window(i);
            let (sin, cos) = turn(i);
            re += d * cos;
            im += d * sin;
            whole += d;
        }
        let size = re.hypot(im);
        // What each bin adds along the direction of the result.
        let (ur, ui) = if size > 0.0 { (re / size, im / size) } else { (1.0, 0.0) };
        let part = |i: usize| {
            let (sin, cos) = turn(i);
            0.5 * self.window(i) * (cos * ur + sin * ui)
        };
        let variance: f64 = (2..n - 2)
            .map(|j| {
                let whole_part = 0.5 * (self.window(j - 1) - self.window(j + 1)) * size / whole;
                (part(j - 1) - part(j + 1) - whole_part).powi(2) * self.variance[j]
            })
            .sum();
        let loss = sinc(cy_px / 2.0) * sinc(cy_px / 4.0);
        let gain = (1.0 / loss.abs().max(1e-9)).min(MAX_CORRECTION) / whole;
        (size * gain, variance.sqrt() * gain)
    }
}
