//! Noise of one rendered 8-bit frame: its level at each tone and its spectrum in eight bands.
//!
//! Looks for the quietest tiles of each tone, undoes the bias of having chosen the lowest, and
//! reads their periodograms, so it sees the pink, smoothed noise that high-pass meters (median
//! deviation of wavelets, Immerkær) read several times low. Assumes that some tiles of the frame
//! are flat; where none is, the figure is an upper bound, flagged when the tiles give it away
//! (even, faint texture all over looks like noise). Follows the camera's noise reduction in flat
//! places; noise in textured places can then be higher.
//!
//! Range: from about 0.3 DN, below which rounding hides the noise. Found over true deviation on
//! simulated frames: white noise 0.97-1.03 flat, 0.95-1.08 with four fifths textured; through
//! JPEG 0.92-0.98; very pink noise 0.83-1.07. On real frames whose noise was known from repeats:
//! 0.93/1.07/1.26 at the 10/50/90th percentile, hence the stated error of 13 %.
//!
//! A large frame is sampled: one tile from each of about [`MAX_TILES`] cells, at a place that
//! depends on the cell alone.

use serde::{Deserialize, Serialize};

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::flat_tiles::{FlatTile, SIDE, sample};
use super::periodogram::Periodogram;
use super::spectrum::{NoiseSpectrum, REDUCED_SLOPE, RINGS, ring_cy_px};
use crate::core::stats::split_lowest;
use crate::core::{Flag, FlagSet, Luma, Measured};

/// Tiles looked at in a frame. Against all tiles of 14 camera frames of 2 to 20 Mpx the figure
/// scatters by 2.3 % rms, at worst 5 % (half as many: 4 %, at worst 28 %), for 7 ms at 24 Mpx.
pub const MAX_TILES: usize = 12_000;
/// Bands of width 1/16 cycle per pixel round 1/16, 2/16, … 8/16.
pub const BANDS: usize = 8;
/// Tones told apart.
const LEVELS: usize = 8;
/// Fewest tiles of one tone from which the quietest are chosen.
const MIN_PER_LEVEL: usize = 64;
/// Share of a tone's tiles taken as its flat places, and how many at least.
const QUIETEST: f64 = 0.05;
const MIN_SELECTED_TILES: usize = 16;
/// The correction for having chosen the lowest is not trusted beyond this.
const LARGEST_CORRECTION: f64 = 1.6;
/// A tone whose spectrum is this much steeper than the flattest one's holds texture.
const TEXTURED: f64 = 3.0;
/// Scatter of estimate over truth on real frames held out from tuning (half of 0.93 to 1.26 at
/// 1.28 standard deviations).
const METHOD_REL_ERR: f64 = 0.13;
/// Mid grey, where one figure for the frame is quoted, DN.
pub const MIDDLE_DN: f64 = 118.0;

/// Noise at one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ToneNoise {
    /// Mean luma of the flat places, DN.
    pub mean_dn: f64,
    /// Standard deviation of the noise there, DN.
    pub sigma_dn: Measured,
    /// Low over high frequencies of the quietest tiles, before correction: 1 for white noise.
    pub slope: f64,
    /// Excess spread of the quietest tiles' variance over that of pure noise (1: no excess).
    pub unevenness: f64,
}

/// Noise of a rendered frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RenderedNoise {
    /// Noise per tone, dark to bright.
    pub levels: Vec<ToneNoise>,
    /// Mean power density in the bands round k/16 cycles per pixel, k = 1 to 8, DN².
    pub bands: [f64; BANDS],
    /// Mean power density beyond the bands, towards the corners of the frequency plane, DN².
    pub corner: f64,
    /// Standard deviation at mid grey, DN; `None` when the frame holds no such tone.
    pub sigma_dn: Option<Measured>,
    /// Low over high frequencies of the flattest tone's noise: 1 for white noise.
    pub r0: f64,
    /// Share of the frequency plane in each band, the corners last.
    areas: [f64; BANDS + 1],
    /// What makes it shaky.
    pub flags: FlagSet,
}

/// Measures the noise of a frame; `None` when it holds no usable tile (too small, clipped or
/// painted throughout).
pub fn rendered_noise(luma: &Luma<'_>) -> Option<RenderedNoise> {
    let mut tiles = sample(luma, MAX_TILES);
    if tiles.is_empty() {
        return None;
    }
    let levels = (tiles.len() / MIN_PER_LEVEL).clamp(1, LEVELS);
    let mut bench = Bench::new();
    let mut raw: Vec<RawLevel> = Vec::with_capacity(levels);
    let total_tiles = tiles.len();
    let mut rest = tiles.as_mut_slice();
    for i in 0..levels {
        let count = (i + 1) * total_tiles / levels - i * total_tiles / levels;
        let (level, after) = split_lowest(rest, count, |a, b| {
            a.mean_dn.total_cmp(&b.mean_dn).then((a.y0, a.x0).cmp(&(b.y0, b.x0)))
        });
        rest = after;
        raw.extend(bench.level(luma, level));
    }
    let r0 = raw.iter().map(RawLevel::slope).min_by(f64::total_cmp)?;
    let shape = shape_of_noise(&raw, r0);
    let mut flags = FlagSet::EMPTY;
    if r0 > REDUCED_SLOPE {
        flags.raise(Flag::NoiseReduced);
    }
    let mut total = [0.0; BANDS + 1];
    let population: f64 = raw.iter().map(|l| l.population).sum();
    for level in &mut raw {
        if level.slope() > TEXTURED * r0 {
            let high = level.high();
            level.bands.iter_mut().zip(&shape).for_each(|(b, s)| *b = b.min(s * high));
        }
        total.iter_mut().zip(&level.bands).for_each(|(t, b)| *t += b * level.population);
    }
    total.iter_mut().for_each(|t| *t /= population);
    let variance =
        |bands: &[f64]| -> f64 { bands.iter().zip(&bench.areas).map(|(b, a)| b * a).sum() };
    if is_all_texture(&raw, r0, variance(&total).sqrt()) {
        flags.raise(Flag::AllTexture);
    }

    let mut found = Vec::with_capacity(raw.len());
    for level in &raw {
        let chance = 0.5 * (2.0 / (level.freedom * f64::from(level.chosen))).sqrt();
        let sigma = variance(&level.bands).sqrt();
        let measured = Measured::new(sigma, sigma * METHOD_REL_ERR.hypot(chance), level.chosen)?;
        found.push(ToneNoise {
            mean_dn: level.mean_dn,
            sigma_dn: measured.flagged(flags),
            slope: level.found_slope,
            unevenness: level.unevenness,
        });
    }
    let mut noise = RenderedNoise {
        levels: found,
        bands: std::array::from_fn(|k| total[k]),
        corner: total[BANDS],
        sigma_dn: None,
        r0,
        areas: bench.areas,
        flags,
    };
    noise.sigma_dn = noise.sigma_at_grey();
    Some(noise)
}

impl RenderedNoise {
    /// Power that noise leaves in a measure of the given response (modulation over frequency in
    /// cycles per pixel), DN².
    pub fn power_through(&self, response: impl Fn(f64) -> f64) -> f64 {
        /// Middle of the corners, cycles per pixel.
        const CORNER_CY_PX: f64 = 0.59;
        (1..=BANDS + 1)
            .map(|k| {
                let f = if k > BANDS { CORNER_CY_PX } else { k as f64 / SIDE as f64 };
                let power = if k > BANDS { self.corner } else { self.bands[k - 1] };
                power * self.areas[k - 1] * response(f).powi(2)
            })
            .sum()
    }

    /// Power density at a frequency in cycles per pixel (ln-linear between bands), DN².
    pub fn power_at(&self, cy_px: f64) -> f64 {
        let place = (cy_px * SIDE as f64).clamp(1.0, BANDS as f64);
        let k = (place.floor() as usize).min(BANDS - 1);
        let (a, b) = (self.bands[k - 1], self.bands[k]);
        let share = place - k as f64;
        if a > 0.0 && b > 0.0 {
            (a.ln() + (b.ln() - a.ln()) * share).exp()
        } else {
            a + (b - a) * share
        }
    }

    /// Variance at a tone, interpolated between levels and held beyond the ends, DN².
    pub fn variance_at(&self, mean_dn: f64) -> Option<f64> {
        let table: Vec<(f64, f64)> =
            self.levels.iter().map(|l| (l.mean_dn, l.sigma_dn.value.powi(2))).collect();
        crate::core::stats::interpolate(&table, mean_dn)
    }

    /// The spectrum that a region of mean tone `mean_dn` is compared with.
    pub fn spectrum_at(&self, mean_dn: f64) -> Option<NoiseSpectrum> {
        let scale = self.variance_at(mean_dn)? / self.power_through(|_| 1.0);
        let rel = self.levels.iter().filter_map(|l| Some(l.sigma_dn.std_err? / l.sigma_dn.value));
        Some(NoiseSpectrum {
            power: std::array::from_fn::<f64, RINGS, _>(|r| self.power_at(ring_cy_px(r)) * scale),
            rel_err: 2.0 * rel.fold(METHOD_REL_ERR, f64::max),
            slope: self.r0,
            flags: self.flags,
        })
    }

    fn sigma_at_grey(&self) -> Option<Measured> {
        let (dark, bright) = (self.levels.first()?, self.levels.last()?);
        // A tone within half a stop of mid grey (encoded) still stands for it.
        const REACH_DN: f64 = 20.0;
        if dark.mean_dn > MIDDLE_DN + REACH_DN || bright.mean_dn < MIDDLE_DN - REACH_DN {
            return None;
        }
        let nearest = self.levels.iter().min_by(|a, b| {
            (a.mean_dn - MIDDLE_DN).abs().total_cmp(&(b.mean_dn - MIDDLE_DN).abs())
        })?;
        let sigma = self.variance_at(MIDDLE_DN)?.sqrt();
        let rel = nearest.sigma_dn.std_err? / nearest.sigma_dn.value;
        Some(Measured::new(sigma, sigma * rel, nearest.sigma_dn.n)?.flagged(self.flags))
    }
}

/// One tone as found, before texture is taken out.
struct RawLevel {
    mean_dn: f64,
    bands: [f64; BANDS + 1],
    population: f64,
    chosen: u32,
    freedom: f64,
    unevenness: f64,
    /// As found, before texture is taken out of `bands`.
    found_slope: f64,
}

impl RawLevel {
    fn high(&self) -> f64 {
        self.bands[4..7].iter().sum::<f64>() / 3.0
    }

    fn slope(&self) -> f64 {
        0.5 * (self.bands[0] + self.bands[1]) / self.high()
    }
}

/// Mean spectrum over its high band, from the tones without texture (the flattest is one).
fn shape_of_noise(levels: &[RawLevel], r0: f64) -> [f64; BANDS + 1] {
    let mut shape = [0.0; BANDS + 1];
    let mut population = 0.0;
    for level in levels.iter().filter(|l| l.slope() <= TEXTURED * r0) {
        let high = level.high();
        shape.iter_mut().zip(&level.bands).for_each(|(s, b)| *s += b / high * level.population);
        population += level.population;
    }
    shape.map(|s| s / population)
}

/// Whether even the flattest places seem textured. Texture that is even, fine and faint
/// everywhere cannot be told from noise by one frame.
fn is_all_texture(levels: &[RawLevel], r0: f64, sigma_dn: f64) -> bool {
    /// Pure noise reads 1, camera frames with flat places 2 to 4; simulated frames with fewer
    /// flat tiles than are chosen read 5 and more once the estimate is 1.15 times high.
    const UNEVEN: f64 = 5.0;
    /// A camera that smooths noise (steep spectrum) does not leave more than this, DN.
    const MAX_SMOOTHED_DN: f64 = 6.0;
    let mut spread: Vec<f64> = levels.iter().map(|l| l.unevenness).collect();
    let uneven = crate::core::stats::median(&mut spread).is_some_and(|m| m > UNEVEN);
    uneven || (r0 > REDUCED_SLOPE && sigma_dn > MAX_SMOOTHED_DN)
}

/// The transform and its tables, made once a frame.
struct Bench {
    plan: Periodogram,
    band: Vec<u8>,
    weight: Vec<f64>,
    gain: [f64; BANDS + 1],
    areas: [f64; BANDS + 1],
}

/// Marks the constant, which belongs to no band.
const NO_BAND: u8 = u8::MAX;

impl Bench {
    fn new() -> Self {
        let mut plan = Periodogram::new(SIDE);
        let white = plan.white_gain();
        let mut band = vec![NO_BAND; plan.len()];
        let mut weight = vec![0.0; plan.len()];
        let mut gain = [0.0; BANDS + 1];
        let mut areas = [0.0; BANDS + 1];
        plan.each(|i, radius, w| {
            let k = (radius * SIDE as f64).round() as usize;
            weight[i] = w;
            if k > 0 {
                let k = k.min(BANDS + 1) - 1;
                band[i] = k as u8;
                gain[k] += w * f64::from(white[i]);
                areas[k] += w;
            }
        });
        let cells = (SIDE * SIDE - 1) as f64;
        for k in 0..=BANDS {
            gain[k] /= areas[k];
            areas[k] /= cells;
        }
        Bench { plan, band, weight, gain, areas }
    }

    /// Spectrum of the quietest tiles of one tone; `None` when there are none.
    fn level(&mut self, luma: &Luma<'_>, tiles: &mut [FlatTile]) -> Option<RawLevel> {
        let population = tiles.len();
        let wanted = ((QUIETEST * population as f64).round() as usize).max(MIN_SELECTED_TILES);
        let chosen = wanted.min(population);
        if chosen == 0 {
            return None;
        }
        let quieter = |a: &FlatTile, b: &FlatTile| {
            a.variance.total_cmp(&b.variance).then((a.y0, a.x0).cmp(&(b.y0, b.x0)))
        };
        let (quiet, _) = split_lowest(tiles, chosen, quieter);
        quiet.sort_unstable_by(quieter);
        let quiet = &*quiet;
        let mut mean = vec![0.0f64; self.plan.len()];
        let mut out = vec![0.0f32; self.plan.len()];
        let mut samples = [0.0f32; SIDE * SIDE];
        let mut row = [0i16; SIDE];
        let mut mean_dn = 0.0;
        for tile in quiet {
            for (y, line) in samples.chunks_exact_mut(SIDE).enumerate() {
                luma.row_eighths(tile.y0 as usize + y, tile.x0 as usize, &mut row);
                line.iter_mut().zip(&row).for_each(|(s, v)| *s = f32::from(*v) / 8.0);
            }
            self.plan.power(&samples, &mut out);
            mean.iter_mut().zip(&out).for_each(|(m, o)| *m += f64::from(*o));
            mean_dn += tile.mean_dn;
        }
        let n = chosen as f64;
        let freedom = self.freedom(&mean, n);
        let q = n / population as f64;
        let correction = selection_correction(q, freedom).unwrap_or(1.0);
        let mut bands = [0.0; BANDS + 1];
        for (i, m) in mean.iter().enumerate() {
            if self.band[i] != NO_BAND {
                bands[usize::from(self.band[i])] += self.weight[i] * m / n;
            }
        }
        let cells = (SIDE * SIDE - 1) as f64;
        for (k, b) in bands.iter_mut().enumerate() {
            *b *= correction / (self.gain[k] * self.areas[k] * cells);
        }
        let mut level = RawLevel {
            mean_dn: mean_dn / n,
            bands,
            population: population as f64,
            chosen: chosen as u32,
            freedom,
            unevenness: unevenness(quiet, q, freedom)?,
            found_slope: 1.0,
        };
        level.found_slope = level.slope();
        Some(level)
    }

    /// Degrees of freedom of one tile's variance, (ΣP)²/ΣP² of the mean periodogram of `n`
    /// tiles, without the part of ΣP² that is the periodogram's own scatter.
    fn freedom(&self, mean: &[f64], n: f64) -> f64 {
        let (mut sum, mut squares) = (0.0, 0.0);
        for (i, m) in mean.iter().enumerate().filter(|(i, _)| self.band[*i] != NO_BAND) {
            sum += self.weight[i] * m;
            squares += self.weight[i] * m * m;
        }
        (sum * sum / squares * (1.0 + 1.0 / n)).clamp(2.0, (SIDE * SIDE - 3) as f64)
    }
}

/// What the mean of the lowest share `q` of χ² variances must be multiplied with.
fn selection_correction(q: f64, freedom: f64) -> Option<f64> {
    if q >= 1.0 {
        return Some(1.0);
    }
    let highest = ChiSquared::new(freedom).ok()?.inverse_cdf(q);
    let share = ChiSquared::new(freedom + 2.0).ok()?.cdf(highest);
    (share > 0.0).then(|| (q / share).min(LARGEST_CORRECTION))
}

/// Spread of ln variance between the quarter and the end of the chosen tiles, over what pure
/// noise of these degrees of freedom would show.
fn unevenness(quiet: &[FlatTile], q: f64, freedom: f64) -> Option<f64> {
    let chi = ChiSquared::new(freedom).ok()?;
    let last = quiet.len() - 1;
    let quarter = last / 4;
    let seen = (quiet[last].variance / quiet[quarter].variance).ln();
    let at = |i: usize| chi.inverse_cdf(q * (i as f64 + 0.5) / quiet.len() as f64);
    let expected = (at(last) / at(quarter)).ln();
    (expected > 0.0).then(|| seen / expected)
}
