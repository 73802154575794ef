//! What is kept of one frame of a series once its pixels are gone: the region with a margin, a
//! small pattern to find it by, blur by tile round it, and its noise where it stands alone.

use super::area::{MARGIN_PX, RegionArea, RegionRequest, RelativeRect, edge_area};
use super::edges;
use crate::core::{Plane, Tone};
use crate::error::SkipReason;
use crate::image::raw::RawFrame;
use crate::image::{self, Frame, OpenedFrame, Want};
use crate::noise::raw::{RawNoise, raw_noise};
use crate::noise::rendered::{RenderedNoise, rendered_noise};
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::edge::{EdgeResponse, NoEdge, measure_edge};
use crate::sharpness::focus_map::{FrameCells, TILE_PX, Tile};
use crate::sharpness::pyramid::Pyramid;
use crate::tracking::template::{TrackingTemplate, track_template};

/// Largest region that is looked for, px a side: larger ones take time and say no more.
const REGION_PX: usize = 768;
/// Largest region that may be given, px a side.
const MAX_REGION_PX: usize = 1536;
/// Side of a crop, px.
pub const CROP_PX: usize = 320;
/// Smallest region, px a side: fewer tiles do not average.
pub const MIN_REGION_PX: usize = 128;
/// Share of the frame's shorter side that frames may wander before the region leaves them.
const DRIFT: f64 = 0.04;
/// Blur is mapped in a window of at most this size round the region, px.
const WINDOW_PX: (usize, usize) = (2048, 1536);
/// Longest side of the pattern, samples.
const MAX_PATTERN: usize = 400;
/// Correlation below which a followed place is not believed.
const FOLLOWED: f32 = 0.3;

/// Noise of a frame that stands alone in its step.
#[derive(Debug, Clone)]
pub enum SingleFrameNoise {
    /// Of a raw frame, by tone, and the mosaic of the region with its margin.
    Raw(RawNoise, Box<RawFrame>),
    /// Of a rendered frame.
    Rendered(RenderedNoise),
}

/// What is kept of a frame.
#[derive(Debug, Clone)]
pub struct RegionCrop {
    /// The pattern to follow by, and the same at half size.
    pub patterns: [TrackingTemplate; 2],
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
    /// Steps to which a JPEG's luma was rounded, row by row.
    pub luma_steps: Option<[u16; 64]>,
    /// Red, green and blue of the middle with [`MARGIN_PX`] on each side, 8-bit steps, when they
    /// were asked for.
    pub colour: Option<[Plane; 3]>,
    /// Response of the straight edge, when there is one.
    pub edge: Option<Result<EdgeResponse, NoEdge>>,
    /// Noise, when it was asked for.
    pub alone: Option<SingleFrameNoise>,
}

/// What else is kept of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RegionKeeps {
    /// Its noise, measured in it alone.
    pub noise: bool,
    /// Its middle in colour, for pictures.
    pub colour: bool,
}

impl RegionKeeps {
    fn want(self) -> Want {
        if self.colour { Want::Colour } else { Want::Luma }
    }
}

/// The frame that the others are registered on.
#[derive(Debug, Clone)]
pub struct RegionReference {
    /// The region in it, without margin.
    pub region: RegionArea,
    /// The straight edge in it: its box, and whether it was given.
    pub edge: Option<(RegionArea, bool)>,
    /// Size of the frame, px of the file.
    pub size: (usize, usize),
    /// White balance that all frames are interpolated with.
    pub white_balance: Option<[f32; 3]>,
    /// What was kept of it.
    pub look: RegionCrop,
}

/// The patterns that a frame is followed by: of its green, and the same at half size.
fn patterns(pixels: &OpenedFrame) -> [TrackingTemplate; 2] {
    let (w, h) = pixels.size();
    let side = (w.max(h) / 4).clamp(64, MAX_PATTERN);
    let (rgb, small_w, small_h, step_px) = pixels.rgb_small(side);
    let green: Vec<u8> = rgb.iter().skip(1).step_by(3).copied().collect();
    let fine = TrackingTemplate::new(&green, small_w, small_h, step_px);
    let half = fine.halved();
    [fine, half]
}

/// Red, green and blue of the middle of a cut with its margin. Regions are whole tiles, so it
/// begins with a whole cell of a mosaic.
fn colour(pixels: &OpenedFrame, cut: RegionArea) -> [Plane; 3] {
    let side = CROP_PX.min(cut.w - 2 * MARGIN_PX).min(cut.h - 2 * MARGIN_PX) + 2 * MARGIN_PX;
    let (x0, y0) = (cut.x0 + (cut.w - side) / 2, cut.y0 + (cut.h - side) / 2);
    let (rgb, w, h) = pixels.rgb_crop((x0, y0, side, side));
    std::array::from_fn(|c| Plane {
        data: rgb.iter().skip(c).step_by(3).map(|v| f32::from(*v)).collect(),
        ..Plane::zeros(w, h, Tone::Encoded)
    })
}

/// Reads the reference and places the region in it.
///
/// # Errors
/// What is wrong with the file; `Ok(None)` when the region would be too small.
pub fn reference(
    frame: &Frame,
    wanted: RegionRequest,
    edge: Option<RelativeRect>,
    keeps: RegionKeeps,
) -> Result<Option<RegionReference>, SkipReason> {
    let (pixels, _held) = image::open(frame, keeps.want(), Vec::new())?;
    let size = pixels.size();
    let Some(region) = place(&pixels, wanted) else { return Ok(None) };
    let white_balance = pixels.raw().and_then(|r| r.white_balance);
    let patterns = patterns(&pixels);
    let given = edge.map(|e| (edge_area(e, size), true));
    let mut look = kept(&pixels, patterns, region, given.map(|g| g.0), (0, 0), keeps);
    let edge = given.or_else(|| {
        let found = edges::find(&look.plane)?;
        let (x0, y0) = (found.x0 + look.cut_at.0, found.y0 + look.cut_at.1);
        look.edge = Some(measure_edge(&look.plane.cut(found.x0, found.y0, found.w, found.h)));
        Some((RegionArea { x0, y0, ..found }, false))
    });
    Ok(Some(RegionReference { region, edge, size, white_balance, look }))
}

/// Reads another frame and cuts the same region from it.
///
/// # Errors
/// What is wrong with the file.
pub fn look(
    frame: &Frame,
    reference: &RegionReference,
    keeps: RegionKeeps,
) -> Result<RegionCrop, SkipReason> {
    let (mut pixels, _held) = image::open(frame, keeps.want(), Vec::new())?;
    if let OpenedFrame::Raw(raw) = &mut pixels {
        raw.white_balance = reference.white_balance;
    }
    let patterns = patterns(&pixels);
    let r = &reference.region;
    let middle = (r.x0 as f64 + r.w as f64 / 2.0, r.y0 as f64 + r.h as f64 / 2.0);
    let [fine, half] = &reference.look.patterns;
    let [to_fine, to_half] = &patterns;
    let found = track_template((fine, half), (to_fine, to_half), middle, middle)
        .filter(|m| m.peak >= FOLLOWED)
        .map_or((0.0, 0.0), |m| (m.x_px - middle.0, m.y_px - middle.1));
    // Whole cells of the mosaic; registration finds the rest.
    let even = |v: f64| (v / 2.0).round() as isize * 2;
    let edge = reference.edge.map(|e| e.0);
    Ok(kept(&pixels, patterns, *r, edge, (even(found.0), even(found.1)), keeps))
}

fn kept(
    pixels: &OpenedFrame,
    patterns: [TrackingTemplate; 2],
    region: RegionArea,
    edge: Option<RegionArea>,
    moved: (isize, isize),
    keeps: RegionKeeps,
) -> RegionCrop {
    let (w, h) = pixels.size();
    let (cw, ch) = (region.w + 2 * MARGIN_PX, region.h + 2 * MARGIN_PX);
    let at = |start: usize, moved: isize, size: usize, full: usize| {
        let from = start as isize - MARGIN_PX as isize + moved;
        from.clamp(0, (full - size) as isize) as usize / 2 * 2
    };
    let cut = RegionArea {
        x0: at(region.x0, moved.0, cw, w),
        y0: at(region.y0, moved.1, ch, h),
        w: cw,
        h: ch,
    };
    let (window_blur_px, region_blur_px) = blur(pixels, cut);
    let range_dn =
        pixels.raw().map(|r| f64::from(r.white_dn - r.black_dn.iter().sum::<f32>() / 4.0));
    let luma_steps = match pixels {
        OpenedFrame::Rendered(d) => d.luma_steps,
        OpenedFrame::Raw(_) => None,
    };
    let edge = edge.map(|e| {
        let within = |start: usize, moved: isize, size: usize, full: usize| {
            (start as isize + moved).clamp(0, (full - size) as isize) as usize / 2 * 2
        };
        let (x0, y0) = (within(e.x0, moved.0, e.w, w), within(e.y0, moved.1, e.h, h));
        measure_edge(&pixels.detail_plane((x0, y0, e.w, e.h)))
    });
    let alone = match pixels {
        _ if !keeps.noise => None,
        OpenedFrame::Rendered(d) => rendered_noise(&d.luma()).map(SingleFrameNoise::Rendered),
        OpenedFrame::Raw(r) => {
            let window = window(cut, (w, h));
            raw_noise(&r.cut(window.x0, window.y0, window.w, window.h).planes())
                .map(|n| SingleFrameNoise::Raw(n, Box::new(r.cut(cut.x0, cut.y0, cw, ch))))
        }
    };
    RegionCrop {
        patterns,
        plane: pixels.detail_plane(cut.px()),
        cut_at: (cut.x0, cut.y0),
        window_blur_px,
        region_blur_px,
        range_dn,
        luma_steps,
        colour: keeps.colour.then(|| colour(pixels, cut)),
        edge,
        alone,
    }
}

/// The window round a cut in which blur is mapped.
fn window(cut: RegionArea, (w, h): (usize, usize)) -> RegionArea {
    let side = |most: usize, own: usize, full: usize| most.max(own).min(full) / 2 * 2;
    let (ww, wh) = (side(WINDOW_PX.0, cut.w, w), side(WINDOW_PX.1, cut.h, h));
    let at = |start: usize, own: usize, size: usize, full: usize| {
        (start + own / 2).saturating_sub(size / 2).min(full - size) / 2 * 2
    };
    RegionArea { x0: at(cut.x0, cut.w, ww, w), y0: at(cut.y0, cut.h, wh, h), w: ww, h: wh }
}

/// Blur of the judged tiles of the window, and of those in the region.
fn blur(pixels: &OpenedFrame, cut: RegionArea) -> (Vec<f32>, Vec<f32>) {
    let window = window(cut, pixels.size());
    pixels.with_luma(window.px(), |luma| {
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
fn place(pixels: &OpenedFrame, wanted: RegionRequest) -> Option<RegionArea> {
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
            Some(tiles(px.min(MAX_REGION_PX).min(room(full, 0.0)?)))
        };
        let (rw, rh) = (side(size.map(|s| s.0), w)?, side(size.map(|s| s.1), h)?);
        if rw.min(rh) < MIN_REGION_PX {
            return None;
        }
        let (x0, y0) = (near(x * w as f64, rw, w), near(y * h as f64, rh, h));
        return Some(RegionArea { x0, y0, w: rw, h: rh });
    }
    let side = tiles(REGION_PX.min(room(w, DRIFT)?).min(room(h, DRIFT)?));
    if side < MIN_REGION_PX {
        return None;
    }
    let (sums, cols, rows) = pixels.with_luma((0, 0, w / 2 * 2, h / 2 * 2), |luma| {
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
    Some(RegionArea { x0: near(x, side, w), y0: near(y, side, h), w: side, h: side })
}
