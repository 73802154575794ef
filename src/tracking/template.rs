//! Following one spot from frame to frame by normalised correlation.
//!
//! Frames of a burst differ in focus, brightness, a shift of many pixels, a little rotation and
//! scale. What survives is the pattern of coarse light and dark, so frames are followed on a
//! quarter- or eighth-size copy with its local mean and contrast taken out.

use crate::core::halved;

/// A small copy of a frame with local mean and contrast taken out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrackingTemplate {
    /// Width, samples.
    pub width: usize,
    /// Height, samples.
    pub height: usize,
    /// Pixels of the frame per sample.
    pub step_px: f64,
    /// Samples, about unit variance.
    pub data: Vec<f32>,
}

/// Blur before the pattern is taken, samples.
const SMOOTH: f64 = 1.5;
/// Neighbourhood whose mean and contrast are taken out, samples (Gaussian sd).
const LOCAL: f64 = 12.0;
/// Contrast below this is not stretched, 8-bit steps.
const CONTRAST_FLOOR: f32 = 2.0;
/// Half the template's side, samples.
const TEMPLATE_HALF: usize = 32;
/// How far a spot may wander, share of the frame's width.
const SEARCH_SHARE: f64 = 0.13;
/// Correlation above which a spot counts as found.
pub const FOUND: f32 = 0.45;
/// Correlation above which a shift of the whole frame counts as found.
pub const WHOLE_FOUND: f32 = 0.3;
/// Share of the frame's height and width that stands for the whole.
const WHOLE_SHARE: f64 = 0.72;
/// Coarse places that are looked at closely.
const CANDIDATES: usize = 4;

/// Three passes of a running mean: a Gaussian of standard deviation `sd` to within a few
/// percent (Wells 1986, DOI 10.1109/TPAMI.1986.4767776). Borders repeat the outermost sample.
fn gaussian(data: &[f32], width: usize, height: usize, sd: f64) -> Vec<f32> {
    // Three boxes of width 2r+1 have variance r(r+1).
    let r = (((1.0 + 4.0 * sd * sd).sqrt() - 1.0) / 2.0).round().max(1.0) as usize;
    let mut a = data.to_vec();
    let mut line = Vec::new();
    for _ in 0..3 {
        for row in a.chunks_exact_mut(width) {
            line.clear();
            line.extend_from_slice(row);
            running_mean(&line, r, |i, v| row[i] = v);
        }
    }
    // Columns in one sweep over whole rows keeps memory access in order.
    for _ in 0..3 {
        a = column_mean(&a, width, height, r);
    }
    a
}

fn running_mean(line: &[f32], r: usize, mut put: impl FnMut(usize, f32)) {
    let n = line.len() as isize;
    let at = |i: isize| line[i.clamp(0, n - 1) as usize];
    let r = r as isize;
    let k = 1.0 / (2 * r + 1) as f32;
    let mut sum: f32 = (-r..=r).map(at).sum();
    for i in 0..n {
        put(i as usize, sum * k);
        sum += at(i + r + 1) - at(i - r);
    }
}

fn column_mean(data: &[f32], width: usize, height: usize, r: usize) -> Vec<f32> {
    let h = height as isize;
    let r = r as isize;
    let row = |y: isize| {
        let y = y.clamp(0, h - 1) as usize;
        &data[y * width..(y + 1) * width]
    };
    let k = 1.0 / (2 * r + 1) as f32;
    let mut sum = vec![0f32; width];
    for y in -r..=r {
        for (s, v) in sum.iter_mut().zip(row(y)) {
            *s += v;
        }
    }
    let mut out = Vec::with_capacity(data.len());
    for y in 0..h {
        out.extend(sum.iter().map(|s| s * k));
        for ((s, v), u) in sum.iter_mut().zip(row(y + r + 1)).zip(row(y - r)) {
            *s += v - u;
        }
    }
    out
}

impl TrackingTemplate {
    /// The pattern of a small copy (8-bit steps, row-major) whose samples lie `step_px` apart.
    pub fn new(small: &[u8], width: usize, height: usize, step_px: f64) -> TrackingTemplate {
        let raw: Vec<f32> = small.iter().map(|v| f32::from(*v)).collect();
        let smooth = gaussian(&raw, width, height, SMOOTH);
        let mean = gaussian(&smooth, width, height, LOCAL);
        let centred: Vec<f32> = smooth.iter().zip(&mean).map(|(v, m)| v - m).collect();
        let squares: Vec<f32> = centred.iter().map(|v| v * v).collect();
        let variance = gaussian(&squares, width, height, LOCAL);
        let data = centred
            .iter()
            .zip(&variance)
            .map(|(v, s)| v / s.max(0.0).sqrt().max(CONTRAST_FLOOR))
            .collect();
        TrackingTemplate { width, height, step_px, data }
    }

    /// Half the size, by averaging.
    #[must_use]
    pub fn halved(&self) -> TrackingTemplate {
        TrackingTemplate {
            width: self.width / 2,
            height: self.height / 2,
            step_px: 2.0 * self.step_px,
            data: halved(&self.data, self.width, self.height),
        }
    }
}

/// Where a spot was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemplateMatch {
    /// Position, px of the frame.
    pub x_px: f64,
    /// Position, px of the frame.
    pub y_px: f64,
    /// Zero-mean normalised correlation there, at most 1.
    pub peak: f32,
}

/// A rectangle of a pattern.
#[derive(Debug, Clone, Copy)]
struct Window {
    x0: usize,
    y0: usize,
    w: usize,
    h: usize,
}

/// Products summed side by side, so that they can be computed together.
const LANES: usize = 8;

/// A pattern to search in, with running sums that give the variance of any window at once.
struct SearchTarget<'a> {
    pattern: &'a TrackingTemplate,
    /// Sums of samples and of their squares left of and above each corner.
    sums: Vec<[f64; 2]>,
}

impl<'a> SearchTarget<'a> {
    fn new(pattern: &'a TrackingTemplate) -> Self {
        let across = pattern.width + 1;
        let mut sums = vec![[0f64; 2]; across * (pattern.height + 1)];
        for (y, row) in pattern.data.chunks_exact(pattern.width).enumerate() {
            let mut run = [0f64; 2];
            for (x, v) in row.iter().enumerate() {
                let v = f64::from(*v);
                run[0] += v;
                run[1] += v * v;
                let above = sums[y * across + x + 1];
                sums[(y + 1) * across + x + 1] = [above[0] + run[0], above[1] + run[1]];
            }
        }
        SearchTarget { pattern, sums }
    }

    /// Sum of squares about the mean of a window.
    fn variance(&self, at: Window) -> f64 {
        let across = self.pattern.width + 1;
        let corner = |x: usize, y: usize| self.sums[y * across + x];
        let (a, b) = (corner(at.x0, at.y0), corner(at.x0 + at.w, at.y0));
        let (c, d) = (corner(at.x0, at.y0 + at.h), corner(at.x0 + at.w, at.y0 + at.h));
        let [sum, squares] = [0, 1].map(|k| d[k] - b[k] - c[k] + a[k]);
        squares - sum * sum / (at.w * at.h) as f64
    }
}

/// A template with its mean taken out and unit norm.
struct Template {
    w: usize,
    h: usize,
    data: Vec<f32>,
}

impl Template {
    fn cut(from: &TrackingTemplate, at: Window) -> Option<Template> {
        let mut data = Vec::with_capacity(at.w * at.h);
        for y in at.y0..at.y0 + at.h {
            let start = y * from.width + at.x0;
            data.extend_from_slice(&from.data[start..start + at.w]);
        }
        let mean = data.iter().sum::<f32>() / data.len() as f32;
        data.iter_mut().for_each(|v| *v -= mean);
        let norm = data.iter().map(|v| v * v).sum::<f32>().sqrt();
        if norm < 1e-3 {
            return None;
        }
        data.iter_mut().for_each(|v| *v /= norm);
        Some(Template { w: at.w, h: at.h, data })
    }

    fn score(&self, target: &SearchTarget<'_>, x0: usize, y0: usize) -> f32 {
        let pattern = target.pattern;
        let mut lanes = [0f32; LANES];
        let mut rest = 0f32;
        for (y, row) in self.data.chunks_exact(self.w).enumerate() {
            let start = (y0 + y) * pattern.width + x0;
            let line = &pattern.data[start..start + self.w];
            let (a, a_rest) = row.as_chunks::<LANES>();
            let (b, b_rest) = line.as_chunks::<LANES>();
            for (a, b) in a.iter().zip(b) {
                for i in 0..LANES {
                    lanes[i] += a[i] * b[i];
                }
            }
            rest += a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f32>();
        }
        let dot = lanes.iter().sum::<f32>() + rest;
        let variance = target.variance(Window { x0, y0, w: self.w, h: self.h });
        if variance < 1e-3 { 0.0 } else { dot / variance.sqrt() as f32 }
    }

    /// Scores within a range of shifts about (cx, cy), best first, at most `keep`, each a local
    /// maximum.
    fn best(
        &self,
        target: &SearchTarget<'_>,
        (cx, cy): (isize, isize),
        reach: usize,
        keep: usize,
    ) -> Vec<(f32, usize, usize)> {
        let most_x = target.pattern.width as isize - self.w as isize;
        let most_y = target.pattern.height as isize - self.h as isize;
        let r = reach as isize;
        let (xa, xb) = ((cx - r).max(0), (cx + r).min(most_x));
        let (ya, yb) = ((cy - r).max(0), (cy + r).min(most_y));
        if xa > xb || ya > yb {
            return Vec::new();
        }
        let (nx, ny) = ((xb - xa + 1) as usize, (yb - ya + 1) as usize);
        let mut scores = Vec::with_capacity(nx * ny);
        for y in ya..=yb {
            for x in xa..=xb {
                scores.push(self.score(target, x as usize, y as usize));
            }
        }
        let mut found: Vec<(f32, usize, usize)> = Vec::new();
        for j in 0..ny {
            for i in 0..nx {
                let v = scores[j * nx + i];
                let beaten = (j.saturating_sub(1)..=(j + 1).min(ny - 1)).any(|jj| {
                    (i.saturating_sub(1)..=(i + 1).min(nx - 1)).any(|ii| scores[jj * nx + ii] > v)
                });
                if !beaten {
                    found.push((v, xa as usize + i, ya as usize + j));
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.truncate(keep);
        found
    }
}

/// Peak of a parabola through three values, as an offset from the middle one.
fn parabola(a: f32, b: f32, c: f32) -> f64 {
    let bend = a - 2.0 * b + c;
    if bend >= 0.0 { 0.0 } else { f64::from((0.5 * (a - c) / bend).clamp(-0.5, 0.5)) }
}

fn refined(
    template: &Template,
    target: &SearchTarget<'_>,
    x: usize,
    y: usize,
    peak: f32,
) -> (f64, f64) {
    let at = |dx: isize, dy: isize| {
        let (xx, yy) = (x.saturating_add_signed(dx), y.saturating_add_signed(dy));
        let inside =
            xx + template.w <= target.pattern.width && yy + template.h <= target.pattern.height;
        if inside { template.score(target, xx, yy) } else { f32::MIN }
    };
    let (l, r, u, d) = (at(-1, 0), at(1, 0), at(0, -1), at(0, 1));
    (
        x as f64 + if x > 0 { parabola(l, peak, r) } else { 0.0 },
        y as f64 + if y > 0 { parabola(u, peak, d) } else { 0.0 },
    )
}

/// Finds the spot `x_px`, `y_px` of frame `from` in frame `to`, near the place `near_px` (its own
/// position when nothing better is known), within 13 % of the frame's width.
///
/// `coarse` are the same two patterns at half size. `None` when the template has no structure.
pub fn track_template(
    (from, coarse_from): (&TrackingTemplate, &TrackingTemplate),
    (to, coarse_to): (&TrackingTemplate, &TrackingTemplate),
    (x_px, y_px): (f64, f64),
    near_px: (f64, f64),
) -> Option<TemplateMatch> {
    let window = |p: &TrackingTemplate, half: usize| {
        let side_w = (2 * half).min(p.width);
        let side_h = (2 * half).min(p.height);
        let x0 = (x_px / p.step_px - half as f64).round().clamp(0.0, (p.width - side_w) as f64);
        let y0 = (y_px / p.step_px - half as f64).round().clamp(0.0, (p.height - side_h) as f64);
        Window { x0: x0 as usize, y0: y0 as usize, w: side_w, h: side_h }
    };
    let (dx, dy) = (near_px.0 - x_px, near_px.1 - y_px);
    let coarse_at = window(coarse_from, TEMPLATE_HALF / 2);
    let coarse = Template::cut(coarse_from, coarse_at)?;
    let reach = (SEARCH_SHARE * coarse_to.width as f64).ceil() as usize;
    let centre = (
        (coarse_at.x0 as f64 + dx / coarse_from.step_px).round() as isize,
        (coarse_at.y0 as f64 + dy / coarse_from.step_px).round() as isize,
    );
    let rough = coarse.best(&SearchTarget::new(coarse_to), centre, reach, CANDIDATES);
    let at = window(from, TEMPLATE_HALF);
    let fine = Template::cut(from, at)?;
    let to = &SearchTarget::new(to);
    let mut best: Option<(f32, usize, usize)> = None;
    for (_, cx, cy) in rough {
        // From the coarse window's move to the fine window's place.
        let fx = at.x0 as isize + 2 * (cx as isize - coarse_at.x0 as isize);
        let fy = at.y0 as isize + 2 * (cy as isize - coarse_at.y0 as isize);
        if let Some(f) = fine.best(to, (fx, fy), 3, 1).first()
            && best.is_none_or(|b| f.0 > b.0)
        {
            best = Some(*f);
        }
    }
    let (peak, x, y) = best?;
    let (rx, ry) = refined(&fine, to, x, y, peak);
    Some(TemplateMatch {
        x_px: x_px + (rx - at.x0 as f64) * from.step_px,
        y_px: y_px + (ry - at.y0 as f64) * from.step_px,
        peak,
    })
}

/// Shift of a whole frame against another, px, from patterns at a coarse scale: searched at half
/// that scale first.
pub fn whole_shift(from: &TrackingTemplate, to: &TrackingTemplate) -> Option<TemplateMatch> {
    let window = |p: &TrackingTemplate| {
        let w = (p.width as f64 * WHOLE_SHARE) as usize;
        let h = (p.height as f64 * WHOLE_SHARE) as usize;
        Window { x0: (p.width - w) / 2, y0: (p.height - h) / 2, w, h }
    };
    let (half_from, half_to) = (from.halved(), to.halved());
    let rough_at = window(&half_from);
    let rough = Template::cut(&half_from, rough_at)?;
    let reach = (SEARCH_SHARE * half_from.width as f64).ceil() as usize;
    let middle = (rough_at.x0 as isize, rough_at.y0 as isize);
    let found = rough.best(&SearchTarget::new(&half_to), middle, reach, CANDIDATES);
    let at = window(from);
    let template = Template::cut(from, at)?;
    let to = &SearchTarget::new(to);
    let mut best: Option<(f32, usize, usize)> = None;
    for (_, x, y) in found {
        let near = (
            at.x0 as isize + 2 * (x as isize - rough_at.x0 as isize),
            at.y0 as isize + 2 * (y as isize - rough_at.y0 as isize),
        );
        if let Some(f) = template.best(to, near, 2, 1).first()
            && best.is_none_or(|b| f.0 > b.0)
        {
            best = Some(*f);
        }
    }
    let (peak, x, y) = best?;
    let (rx, ry) = refined(&template, to, x, y, peak);
    Some(TemplateMatch {
        x_px: (rx - at.x0 as f64) * from.step_px,
        y_px: (ry - at.y0 as f64) * from.step_px,
        peak,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    /// A random smooth picture, sampled at a shift.
    fn picture(w: usize, h: usize, dx: f64, dy: f64) -> Vec<u8> {
        let mut g = SplitMix64::new(9);
        let waves: Vec<[f64; 4]> = (0..60)
            .map(|_| [g.between(-0.25, 0.25), g.between(-0.25, 0.25), g.between(0.0, 6.3), 1.0])
            .collect();
        (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as f64 - dx, (i / w) as f64 - dy);
                let v: f64 = waves.iter().map(|k| k[3] * (k[0] * x + k[1] * y + k[2]).cos()).sum();
                (128.0 + 8.0 * v).clamp(0.0, 255.0) as u8
            })
            .collect()
    }

    #[test]
    fn a_shift_is_followed_to_a_fraction_of_a_sample() {
        let (w, h) = (300, 220);
        let a = TrackingTemplate::new(&picture(w, h, 0.0, 0.0), w, h, 4.0);
        let b = TrackingTemplate::new(&picture(w, h, 7.4, -5.3), w, h, 4.0);
        let m =
            track_template((&a, &a.halved()), (&b, &b.halved()), (600.0, 440.0), (600.0, 440.0))
                .unwrap();
        assert!(m.peak > 0.9, "{m:?}");
        approx::assert_abs_diff_eq!(m.x_px, 600.0 + 4.0 * 7.4, epsilon = 0.8);
        approx::assert_abs_diff_eq!(m.y_px, 440.0 - 4.0 * 5.3, epsilon = 0.8);
        let s = whole_shift(&a.halved(), &b.halved()).unwrap();
        approx::assert_abs_diff_eq!(s.x_px, 4.0 * 7.4, epsilon = 1.5);
    }

    #[test]
    fn another_picture_is_not_found() {
        let (w, h) = (200, 160);
        let a = TrackingTemplate::new(&picture(w, h, 0.0, 0.0), w, h, 4.0);
        let mut g = SplitMix64::new(77);
        let other: Vec<u8> = (0..w * h).map(|_| (g.uniform() * 255.0) as u8).collect();
        let b = TrackingTemplate::new(&other, w, h, 4.0);
        let m =
            track_template((&a, &a.halved()), (&b, &b.halved()), (400.0, 320.0), (400.0, 320.0));
        assert!(m.is_none_or(|m| m.peak < FOUND), "{m:?}");
    }

    #[test]
    fn an_empty_template_is_said_to_be_empty() {
        let flat = TrackingTemplate::new(&vec![90; 100 * 100], 100, 100, 4.0);
        let h = flat.halved();
        assert!(track_template((&flat, &h), (&flat, &h), (200.0, 200.0), (200.0, 200.0)).is_none());
    }
}
