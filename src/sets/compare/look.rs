//! What is kept of one frame of a series once its pixels are gone: the region with a margin, a
//! small pattern to find it by, blur by tile round it, and its noise where it stands alone.

use crate::base::{Luma, Plane};
use crate::error::SkipReason;
use crate::frames::raw::RawFrame;
use crate::frames::{self, Decoded, FileKind, Frame, Want};
use crate::measure::band_noise::BandNoise;
use crate::measure::focus_map::{FrameCells, TILE_PX, Tile};
use crate::measure::follow::{Pattern, follow};
use crate::measure::noise::{RenderedNoise, rendered_noise};
use crate::measure::pyramid::Pyramid;
use crate::measure::raw_noise::{RawNoise, raw_noise};

/// Pixels kept round the region for registration and resampling.
pub const MARGIN_PX: usize = 32;
/// Largest region that is looked for, px a side: larger ones take time and say no more.
const REGION_PX: usize = 768;
/// Largest region that may be given, px a side.
const REGION_MOST_PX: usize = 1536;
/// Smallest region, px a side: fewer tiles do not average.
pub const REGION_LEAST_PX: usize = 128;
/// Share of the frame's shorter side that frames may wander before the region leaves them.
const DRIFT: f64 = 0.04;
/// Blur is mapped in a window of at most this size round the region, px.
const WINDOW_PX: (usize, usize) = (2048, 1536);
/// Longest side of the pattern, samples.
const PATTERN_MOST: usize = 400;
/// Correlation below which a followed place is not believed.
const FOLLOWED: f32 = 0.3;

/// A box in a frame, px of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Area {
    /// Left.
    pub x0: usize,
    /// Top.
    pub y0: usize,
    /// Width.
    pub w: usize,
    /// Height.
    pub h: usize,
}

/// Noise of a frame that stands alone in its step.
#[derive(Debug, Clone)]
pub enum AloneNoise {
    /// Of a raw frame, by tone, and the mosaic of the region with its margin.
    Raw(RawNoise, Box<RawFrame>),
    /// Of a rendered frame.
    Rendered(RenderedNoise),
}

/// What is kept of a frame.
#[derive(Debug, Clone)]
pub struct Look {
    /// The pattern to follow by, and the same at half size.
    pub patterns: [Pattern; 2],
    /// The region with [`MARGIN_PX`] on each side, before registration.
    pub plane: Plane,
    /// Where that was cut, px of the file.
    pub cut_at: (usize, usize),
    /// Blur of the judged tiles in the window, px.
    pub window_blur_px: Vec<f32>,
    /// Blur of the judged tiles in the region, px.
    pub region_blur_px: Vec<f32>,
    /// From black to saturation, DN, of raw frames.
    pub range_dn: Option<f64>,
    /// Noise, when it was asked for.
    pub alone: Option<AloneNoise>,
}

/// The frame that the others are registered on.
#[derive(Debug, Clone)]
pub struct Reference {
    /// The region in it, without margin.
    pub region: Area,
    /// Size of the frame, px of the file.
    pub size: (usize, usize),
    /// White balance that all frames are interpolated with.
    pub white_balance: Option<[f32; 3]>,
    /// What was kept of it.
    pub look: Look,
}

/// A decoded frame.
enum Pixels {
    Rendered(Decoded),
    Raw(Box<RawFrame>),
}

impl Pixels {
    fn load(frame: &Frame) -> Result<Pixels, SkipReason> {
        #[cfg(feature = "raw")]
        if frame.kind == FileKind::Raw {
            return frames::raw::load_raw(&frame.path).map(|raw| Pixels::Raw(Box::new(raw)));
        }
        debug_assert!(cfg!(feature = "raw") || frame.kind != FileKind::Raw);
        frames::load(frame, Want::Luma).map(Pixels::Rendered)
    }

    fn size(&self) -> (usize, usize) {
        match self {
            Pixels::Rendered(d) => (d.width_px as usize, d.height_px as usize),
            Pixels::Raw(r) => (r.width_px, r.height_px),
        }
    }

    fn patterns(&self) -> [Pattern; 2] {
        let (w, h) = self.size();
        let side = (w.max(h) / 4).clamp(64, PATTERN_MOST);
        let (rgb, pw, ph) = match self {
            Pixels::Rendered(d) => d.rgb_small(side),
            Pixels::Raw(r) => r.quick_rgb(side),
        };
        let green: Vec<u8> = rgb.iter().skip(1).step_by(3).copied().collect();
        let step_px = match self {
            Pixels::Rendered(_) => w as f64 / pw as f64,
            // Whole cells are averaged; the rest at the border is left out.
            Pixels::Raw(_) => 2.0 * (w / 2).max(h / 2).div_ceil(side).max(1) as f64,
        };
        let fine = Pattern::new(&green, pw, ph, step_px);
        let half = fine.halved();
        [fine, half]
    }

    /// Luma that detail is measured on: linear of raw, encoded of rendered frames.
    fn plane(&self, a: Area) -> Plane {
        match self {
            Pixels::Rendered(d) => d.luma().cut(a.x0, a.y0, a.w, a.h),
            Pixels::Raw(r) => r.cut(a.x0, a.y0, a.w, a.h).linear_luma(),
        }
    }

    /// Encoded luma of a part, for the focus measures.
    fn encoded<T>(&self, a: Area, measure: impl FnOnce(&Luma<'_>) -> T) -> T {
        match self {
            Pixels::Rendered(d) if (a.w, a.h) == self.size() => measure(&d.luma()),
            Pixels::Rendered(d) => {
                let data = d.luma().cut(a.x0, a.y0, a.w, a.h).to_luma();
                measure(&Luma::U8 { data: &data, channels: 1, width_px: a.w, height_px: a.h })
            }
            Pixels::Raw(r) => {
                let part = r.cut(a.x0, a.y0, a.w, a.h);
                let data = part.luma16();
                let (width_px, height_px) = (part.width_px, part.height_px);
                measure(&Luma::U16 { data: &data, width_px, height_px })
            }
        }
    }
}

/// Where a region is wanted: its middle and, when given, its size, fractions of the file's
/// picture.
pub type Wanted = Option<((f64, f64), Option<(f64, f64)>)>;

/// Reads the reference and places the region in it.
///
/// # Errors
/// What is wrong with the file; `Ok(None)` when the region would be too small.
pub fn reference(
    frame: &Frame,
    wanted: Wanted,
    alone: bool,
) -> Result<Option<Reference>, SkipReason> {
    let pixels = Pixels::load(frame)?;
    let size = pixels.size();
    let Some(region) = place(&pixels, wanted) else { return Ok(None) };
    let white_balance = match &pixels {
        Pixels::Raw(r) => r.white_balance,
        Pixels::Rendered(_) => None,
    };
    let patterns = pixels.patterns();
    let look = kept(&pixels, patterns, region, (0, 0), alone);
    Ok(Some(Reference { region, size, white_balance, look }))
}

/// Reads another frame and cuts the same region from it.
///
/// # Errors
/// What is wrong with the file.
pub fn look(frame: &Frame, reference: &Reference, alone: bool) -> Result<Look, SkipReason> {
    let mut pixels = Pixels::load(frame)?;
    if let Pixels::Raw(raw) = &mut pixels {
        raw.white_balance = reference.white_balance;
    }
    let patterns = pixels.patterns();
    let r = &reference.region;
    let middle = (r.x0 as f64 + r.w as f64 / 2.0, r.y0 as f64 + r.h as f64 / 2.0);
    let [fine, half] = &reference.look.patterns;
    let [to_fine, to_half] = &patterns;
    let found = follow((fine, half), (to_fine, to_half), middle, middle)
        .filter(|m| m.peak >= FOLLOWED)
        .map_or((0.0, 0.0), |m| (m.x_px - middle.0, m.y_px - middle.1));
    // Whole cells of the mosaic; registration finds the rest.
    let even = |v: f64| (v / 2.0).round() as isize * 2;
    Ok(kept(&pixels, patterns, *r, (even(found.0), even(found.1)), alone))
}

fn kept(
    pixels: &Pixels,
    patterns: [Pattern; 2],
    region: Area,
    moved: (isize, isize),
    alone: bool,
) -> Look {
    let (w, h) = pixels.size();
    let (cw, ch) = (region.w + 2 * MARGIN_PX, region.h + 2 * MARGIN_PX);
    let at = |start: usize, moved: isize, size: usize, full: usize| {
        let from = start as isize - MARGIN_PX as isize + moved;
        from.clamp(0, (full - size) as isize) as usize / 2 * 2
    };
    let cut =
        Area { x0: at(region.x0, moved.0, cw, w), y0: at(region.y0, moved.1, ch, h), w: cw, h: ch };
    let (window_blur_px, region_blur_px) = blur(pixels, cut);
    let range_dn = match pixels {
        Pixels::Raw(r) => Some(f64::from(r.white_dn - r.black_dn.iter().sum::<f32>() / 4.0)),
        Pixels::Rendered(_) => None,
    };
    let alone = match pixels {
        _ if !alone => None,
        Pixels::Rendered(d) => rendered_noise(&d.luma()).map(AloneNoise::Rendered),
        Pixels::Raw(r) => {
            let window = window(cut, (w, h));
            raw_noise(&r.cut(window.x0, window.y0, window.w, window.h).planes())
                .map(|n| AloneNoise::Raw(n, Box::new(r.cut(cut.x0, cut.y0, cw, ch))))
        }
    };
    Look {
        patterns,
        plane: pixels.plane(cut),
        cut_at: (cut.x0, cut.y0),
        window_blur_px,
        region_blur_px,
        range_dn,
        alone,
    }
}

/// The window round a cut in which blur is mapped.
fn window(cut: Area, (w, h): (usize, usize)) -> Area {
    let side = |most: usize, own: usize, full: usize| most.max(own).min(full) / 2 * 2;
    let (ww, wh) = (side(WINDOW_PX.0, cut.w, w), side(WINDOW_PX.1, cut.h, h));
    let at = |start: usize, own: usize, size: usize, full: usize| {
        (start + own / 2).saturating_sub(size / 2).min(full - size) / 2 * 2
    };
    Area { x0: at(cut.x0, cut.w, ww, w), y0: at(cut.y0, cut.h, wh, h), w: ww, h: wh }
}

/// Blur of the judged tiles of the window, and of those in the region.
fn blur(pixels: &Pixels, cut: Area) -> (Vec<f32>, Vec<f32>) {
    let window = window(cut, pixels.size());
    pixels.encoded(window, |luma| {
        let Some(cells) = FrameCells::measure(luma, &Pyramid::new(luma)) else {
            return (Vec::new(), Vec::new());
        };
        let noise = cells.noise().unwrap_or_else(|| BandNoise::white(0.5));
        let map = cells.map(&noise);
        let (mut all, mut own) = (Vec::new(), Vec::new());
        for (i, tile) in map.tiles.iter().enumerate() {
            let Tile::Blur { sigma_px, .. } = tile else { continue };
            all.push(*sigma_px);
            let x = window.x0 + i % map.cols * TILE_PX;
            let y = window.y0 + i / map.cols * TILE_PX;
            let inside = |at: usize, from: usize, size: usize| {
                (from + MARGIN_PX..from + size - MARGIN_PX).contains(&at)
            };
            if inside(x, cut.x0, cut.w) && inside(y, cut.y0, cut.h) {
                own.push(*sigma_px);
            }
        }
        (all, own)
    })
}

/// Where the region lies; `None` when the frame or what was asked for is too small.
fn place(pixels: &Pixels, wanted: Wanted) -> Option<Area> {
    let (w, h) = pixels.size();
    let room = |full: usize, drift: f64| {
        full.checked_sub(2 * MARGIN_PX + 2 * (drift * w.min(h) as f64) as usize)
    };
    let tiles = |px: usize| px / TILE_PX * TILE_PX;
    let near = |middle: f64, size: usize, full: usize| {
        let most = (full - size - MARGIN_PX) as f64;
        let at = middle - size as f64 / 2.0;
        at.round().clamp(MARGIN_PX as f64, most) as usize / 2 * 2
    };
    if let Some(((x, y), size)) = wanted {
        let side = |share: Option<f64>, full: usize| {
            let px = share.map_or(REGION_PX, |s| (s * full as f64) as usize);
            Some(tiles(px.min(REGION_MOST_PX).min(room(full, 0.0)?)))
        };
        let (rw, rh) = (side(size.map(|s| s.0), w)?, side(size.map(|s| s.1), h)?);
        if rw.min(rh) < REGION_LEAST_PX {
            return None;
        }
        let (x0, y0) = (near(x * w as f64, rw, w), near(y * h as f64, rh, h));
        return Some(Area { x0, y0, w: rw, h: rh });
    }
    let side = tiles(REGION_PX.min(room(w, DRIFT)?).min(room(h, DRIFT)?));
    if side < REGION_LEAST_PX {
        return None;
    }
    let whole = Area { x0: 0, y0: 0, w: w / 2 * 2, h: h / 2 * 2 };
    let (sums, cols, rows) = pixels.encoded(whole, |luma| {
        let cells = FrameCells::measure(luma, &Pyramid::new(luma))?;
        let map = cells.map(&cells.noise().unwrap_or_else(|| BandNoise::white(0.5)));
        let strength = |v: &f32| f64::from(v.max(0.0)).sqrt();
        Some((map.lap_var.iter().map(strength).collect::<Vec<f64>>(), map.cols, map.rows))
    })?;
    let n = side / TILE_PX;
    let edge = (MARGIN_PX + (DRIFT * w.min(h) as f64) as usize).div_ceil(TILE_PX);
    let mut best: Option<(f64, usize, usize)> = None;
    for row in edge..(rows + 1).saturating_sub(n + edge) {
        for col in edge..(cols + 1).saturating_sub(n + edge) {
            let mut sum = 0.0;
            for r in row..row + n {
                let line = &sums[r * cols + col..r * cols + col + n];
                // One bright speck must not outweigh a textured field.
                sum += line.iter().map(|v| (1.0 + v).ln()).sum::<f64>();
            }
            if best.is_none_or(|b| sum > b.0) {
                best = Some((sum, col, row));
            }
        }
    }
    let (x, y) = best.map_or((w as f64 / 2.0, h as f64 / 2.0), |(_, col, row)| {
        let middle = |i: usize| (i * TILE_PX + side / 2) as f64;
        (middle(col), middle(row))
    });
    Some(Area { x0: near(x, side, w), y0: near(y, side, h), w: side, h: side })
}
