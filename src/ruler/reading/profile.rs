//! The brightness across a strip of the picture, and evenly spaced marks in it.

use crate::core::stats::median;

/// Intervals of an even run differ from their running mean by at most this share of it: tilt and
/// noise move neighbours by less, textures by more.
const MAX_UNEVEN: f64 = 0.15;
/// Marks lower than this share of the strip's upper quartile are noise or dirt.
const MIN_HEIGHT: f64 = 0.35;
/// Fewest marks in a run.
const MIN_RUN: usize = 4;
/// Shortest profile in which marks are looked for, samples.
const MIN_LENGTH: usize = 32;
/// Narrowest smoothing, samples, and the ratio of one to the next.
const MIN_SCALE_PX: f64 = 0.8;
const SCALE_STEP: f64 = 1.6;
/// Two runs of one strip whose periods are nearer than this are one.
const SAME_PERIOD: f64 = 0.06;

/// Logarithm of brightness across a strip, evenly sampled; light that falls off adds a slope.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BrightnessProfile {
    /// Where the first sample lies along the ruler, px from the middle of the picture.
    pub first_px: f64,
    /// Samples, one a px.
    pub data: Vec<f64>,
}

/// Evenly spaced marks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TickRun {
    /// Mean distance, px.
    pub period_px: f64,
    /// Spread of the distances over their mean.
    pub uneven: f64,
    /// Width of the smoothing with which they were found, px.
    pub scale_px: f64,
    /// Median height, in logarithm of brightness.
    pub height: f64,
    /// Their places along the ruler, px from the middle of the picture.
    pub at_px: Vec<f64>,
}

/// A mark: place in samples and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TickMark {
    /// Place along the ruler, px from the middle of the picture.
    pub at_px: f64,
    /// Height over the surroundings, logarithm of brightness.
    pub height: f64,
}

/// Difference of a Gaussian mean of `sigma` samples and a plain mean of ten times its width:
/// marks about as wide as `sigma` stand out, uneven light does not.
fn stand_out(data: &[f64], sigma: f64) -> Vec<f64> {
    let n = data.len();
    let reach = (3.0 * sigma).ceil() as usize;
    let kernel: Vec<f64> = (0..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    let total: f64 = kernel[0] + 2.0 * kernel[1..].iter().sum::<f64>();
    let wide = (5.0 * sigma).round().max(2.0) as usize;
    let mut sums = Vec::with_capacity(n + 1);
    sums.push(0.0);
    let mut sum = 0.0;
    for v in data {
        sum += v;
        sums.push(sum);
    }
    // The ends repeat their last sample.
    let mut padded = vec![data[0]; reach];
    padded.extend_from_slice(data);
    padded.resize(n + 2 * reach, data[n - 1]);
    (0..n)
        .map(|i| {
            let around = &padded[i..=i + 2 * reach];
            let mut near = kernel[0] * around[reach];
            for (k, weight) in kernel.iter().enumerate().skip(1) {
                near += weight * (around[reach + k] + around[reach - k]);
            }
            let (from, to) = (i.saturating_sub(wide), (i + wide + 1).min(n));
            near / total - (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// Tops of a profile (`sign` 1) or its bottoms (-1), with their heights.
fn tops(out: &[f64], sign: f64, step: usize, first_px: f64) -> Vec<TickMark> {
    let mut marks = Vec::new();
    for (i, three) in out.windows(3).enumerate() {
        let (a, b, c) = (sign * three[0], sign * three[1], sign * three[2]);
        if b > 0.0 && b > a && b >= c {
            let bend = a - 2.0 * b + c;
            let shift = if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 };
            let at = (i as f64 + 1.0 + shift + 0.5) * step as f64 - 0.5;
            marks.push(TickMark { at_px: first_px + at, height: b });
        }
    }
    marks
}

impl BrightnessProfile {
    /// Marks of about the width `scale_px`: dark ones for `sign` -1, light ones for 1.
    pub fn marks(&self, scale_px: f64, sign: f64) -> Vec<TickMark> {
        // Wide marks are looked for on coarser samples.
        let step = ((scale_px / 2.0).floor() as usize).max(1);
        self.standing_out(scale_px, step)
            .map_or_else(Vec::new, |out| tops(&out, sign, step, self.first_px))
    }

    fn standing_out(&self, scale_px: f64, step: usize) -> Option<Vec<f64>> {
        let coarse: Vec<f64> =
            self.data.chunks_exact(step).map(|c| c.iter().sum::<f64>() / step as f64).collect();
        (coarse.len() >= MIN_LENGTH).then(|| stand_out(&coarse, scale_px / step as f64))
    }

    /// The best even runs of marks, dark ones (-1) and light ones (1), of clearly different
    /// periods, finest last.
    pub fn runs(&self) -> Vec<(f64, TickRun)> {
        let mut runs: Vec<(f64, TickRun)> = Vec::new();
        let mut scale_px = MIN_SCALE_PX;
        // Four periods must fit, and marks are wider than a tenth of a period.
        while scale_px < self.data.len() as f64 / 16.0 {
            let step = (scale_px / MIN_SCALE_PX).floor() as usize;
            let out = self.standing_out(scale_px, step);
            for sign in [-1.0, 1.0] {
                let Some(out) = &out else { continue };
                let marks = tops(out, sign, step, self.first_px);
                let Some(run) = longest_run(&marks, scale_px) else { continue };
                let same = |r: &&mut (f64, TickRun)| {
                    r.0 * sign > 0.0 && near(r.1.period_px, run.period_px, SAME_PERIOD)
                };
                match runs.iter_mut().find(same) {
                    Some(known) if worth(&run) > worth(&known.1) => known.1 = run,
                    Some(_) => {}
                    None => runs.push((sign, run)),
                }
            }
            scale_px *= SCALE_STEP;
        }
        runs.sort_by(|a, b| b.1.period_px.total_cmp(&a.1.period_px));
        runs
    }
}

fn worth(run: &TickRun) -> f64 {
    run.at_px.len() as f64 * (1.0 - 2.0 * run.uneven)
}

/// Whether two lengths differ by less than a share of the second.
pub(super) fn near(a: f64, b: f64, share: f64) -> bool {
    (a - b).abs() < share * b
}

fn longest_run(marks: &[TickMark], scale_px: f64) -> Option<TickRun> {
    let mut heights: Vec<f64> = marks.iter().map(|m| m.height).collect();
    let bar = MIN_HEIGHT * crate::core::stats::quantile(&mut heights, 0.75)?;
    let kept: Vec<&TickMark> = marks.iter().filter(|m| m.height >= bar).collect();
    let mut best: Option<(usize, usize)> = None;
    let mut from = 0;
    while from + MIN_RUN <= kept.len() {
        let mut mean = kept[from + 1].at_px - kept[from].at_px;
        let mut to = from + 1;
        while to + 1 < kept.len() {
            let next = kept[to + 1].at_px - kept[to].at_px;
            if !near(next, mean, MAX_UNEVEN) {
                break;
            }
            // A running mean over the last few follows a tilted ruler.
            mean += (next - mean) * 0.3;
            to += 1;
        }
        if best.is_none_or(|(a, b)| to - from > b - a) {
            best = Some((from, to));
        }
        from = to.max(from + 1);
    }
    let (from, to) = best.filter(|(a, b)| b - a + 1 >= MIN_RUN)?;
    let run = &kept[from..=to];
    let steps: Vec<f64> = run.windows(2).map(|p| p[1].at_px - p[0].at_px).collect();
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    let spread = steps.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / steps.len() as f64;
    let mut heights: Vec<f64> = run.iter().map(|m| m.height).collect();
    Some(TickRun {
        period_px: mean,
        uneven: spread.sqrt() / mean,
        scale_px,
        height: median(&mut heights)?,
        at_px: run.iter().map(|m| m.at_px).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_even_run_is_found_beside_clutter() {
        let mut data: Vec<f64> = (0..400).map(|i| 0.002 * f64::from(i)).collect();
        for k in 0..9 {
            for (i, v) in data.iter_mut().enumerate() {
                *v -= 0.5 * (-0.5 * ((i as f64 - 20.3 - 23.7 * f64::from(k)) / 2.0).powi(2)).exp();
            }
        }
        for i in [300, 309, 352] {
            data[i] -= 0.6;
            data[i + 1] -= 0.6;
        }
        let runs = BrightnessProfile { first_px: 0.0, data }.runs();
        let dark = runs.iter().filter(|r| r.0 < 0.0).map(|r| &r.1);
        let run = dark.max_by_key(|r| r.at_px.len()).unwrap();
        assert_eq!(run.at_px.len(), 9);
        approx::assert_abs_diff_eq!(run.period_px, 23.7, epsilon = 0.02);
        approx::assert_abs_diff_eq!(run.at_px[0], 20.3, epsilon = 0.05);
    }
}
