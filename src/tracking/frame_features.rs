//! What is kept of one frame after its pixels are gone, until its burst is judged.

use serde::{Deserialize, Serialize};

use crate::core::{Luma, Plane, with_simd};
use crate::noise::rendered::{RenderedNoise, rendered_noise};
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::direction::{self, DirectionProfile, LevelBox};
use crate::sharpness::focus_map::{FrameCells, TILE_PX, Tile};
use crate::sharpness::pyramid::{Pyramid, cut_level0};
use crate::sharpness::subject::DIRECTION_BOX_PX;
use crate::tracking::template::TrackingTemplate;

/// Frames wider than this are followed on an eighth-size copy, narrower ones on a quarter.
const EIGHTH_FROM_PX: usize = 2600;
/// Boxes of a frame in which directions are measured, at most.
const MAX_BOXES: usize = 12;
/// Tiles with edges that such a box must hold.
const MIN_BOX_TILES: usize = 8;
/// Tiles on a side of such a box.
const BOX_TILES: usize = DIRECTION_BOX_PX / TILE_PX;
/// Median blur of a box below which its directions are read on level 0, px.
const DIRECTION_LEVEL_0_PX: f32 = 1.2;

/// Directions in one box of a frame.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BoxDirections {
    /// Column of its first tile.
    pub col: usize,
    /// Row of its first tile.
    pub row: usize,
    /// Blur squared by direction.
    pub profile: DirectionProfile,
}

/// Everything measured on one frame that needed all of its pixels.
///
/// Written down without its tiles and patterns, which are large and asked only while the subject
/// is looked for.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FrameFeatures {
    /// Width, px, in the file's own orientation.
    pub width_px: usize,
    /// Height, px, in the file's own orientation.
    pub height_px: usize,
    /// Sums of all tiles.
    #[serde(skip)]
    pub cells: FrameCells,
    /// The frame's own noise in the focus bands, when there are tiles to read it from.
    pub noise: Option<BandNoise>,
    /// Level and spectrum of the frame's own noise.
    pub rendered_noise: Option<RenderedNoise>,
    /// Pattern for following, and the same at half and quarter size.
    #[serde(skip)]
    pub patterns: [TrackingTemplate; 3],
    /// Directions where the frame has edges.
    pub boxes: Vec<BoxDirections>,
}

impl FrameFeatures {
    /// Measures a frame; `None` when it is smaller than 64 px on a side.
    pub fn measure(luma: &Luma<'_>) -> Option<FrameFeatures> {
        FrameFeatures::measure_in(luma, &mut Pyramid::default())
    }

    /// As [`Self::measure`], in the memory of an earlier frame's levels.
    pub fn measure_in(luma: &Luma<'_>, pyramid: &mut Pyramid) -> Option<FrameFeatures> {
        pyramid.rebuild(luma);
        let pyramid = &*pyramid;
        let cells = FrameCells::measure(luma, pyramid)?;
        let noise = cells.noise();
        let (small, step) = if luma.width_px() > EIGHTH_FROM_PX {
            (pyramid.smooth2.halved(), 8.0)
        } else {
            (pyramid.level2.clone(), 4.0)
        };
        let bytes: Vec<u8> =
            small.data.iter().map(|v| ((v + 4) >> 3).clamp(0, 255) as u8).collect();
        let pattern = TrackingTemplate::new(&bytes, small.width, small.height, step);
        let half = pattern.halved();
        let quarter = half.halved();
        let model = noise.unwrap_or_else(|| BandNoise::white(0.5));
        let boxes = box_directions(luma, pyramid, &cells, &model);
        Some(FrameFeatures {
            width_px: luma.width_px(),
            height_px: luma.height_px(),
            cells,
            noise,
            rendered_noise: rendered_noise(luma),
            patterns: [pattern, half, quarter],
            boxes,
        })
    }
}

/// Directions in the boxes of a frame that hold most edges.
fn box_directions(
    luma: &Luma<'_>,
    pyramid: &Pyramid,
    cells: &FrameCells,
    noise: &BandNoise,
) -> Vec<BoxDirections> {
    let map = cells.map(noise);
    let mut found = Vec::new();
    for row in (0..(cells.rows + 1).saturating_sub(BOX_TILES)).step_by(BOX_TILES) {
        for col in (0..(cells.cols + 1).saturating_sub(BOX_TILES)).step_by(BOX_TILES) {
            let mut sigmas: Vec<f32> = (row..row + BOX_TILES)
                .flat_map(|r| (col..col + BOX_TILES).map(move |c| (c, r)))
                .filter_map(|(c, r)| map.at(c, r).and_then(Tile::sigma_px))
                .collect();
            if sigmas.len() >= MIN_BOX_TILES {
                sigmas.sort_unstable_by(f32::total_cmp);
                found.push((sigmas.len(), sigmas[sigmas.len() / 2], col, row));
            }
        }
    }
    // Sharper boxes show movement best; the number of tiles with edges decides among equals.
    found.sort_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)).then((a.2, a.3).cmp(&(b.2, b.3))));
    found.truncate(MAX_BOXES);
    found
        .into_iter()
        .map(|(_, median, col, row)| {
            let side = DIRECTION_BOX_PX;
            let (x, y) = (col * TILE_PX, row * TILE_PX);
            let profile = if median < DIRECTION_LEVEL_0_PX {
                let (cx, cy) = (x.saturating_sub(8), y.saturating_sub(8));
                let cut = cut_level0(luma, cx, cy, side + 16, side + 16);
                let area = LevelBox { x0: x - cx, y0: y - cy, width: side, height: side };
                direction::profile(&cut.level, &cut.smooth, 0, area, &noise.levels[0])
            } else {
                let area = LevelBox { x0: x / 2, y0: y / 2, width: side / 2, height: side / 2 };
                direction::profile(&pyramid.level1, &pyramid.smooth1, 1, area, &noise.levels[1])
            };
            BoxDirections { col, row, profile }
        })
        .collect()
}

/// Pixels of a small part of a frame, kept or fetched again for the subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Left, px of the file.
    pub x0: usize,
    /// Top, px of the file.
    pub y0: usize,
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// Luma.
    pub luma: PatchLuma,
    /// Colour, 3 bytes a pixel; empty when not kept.
    pub rgb: Vec<u8>,
}

/// Luma samples of a [`Patch`].
#[derive(Debug, Clone, PartialEq)]
pub enum PatchLuma {
    /// 8 bit.
    U8(Vec<u8>),
    /// 16 bit.
    U16(Vec<u16>),
}

impl Patch {
    /// The luma as a view.
    pub fn luma(&self) -> Luma<'_> {
        match &self.luma {
            PatchLuma::U8(data) => {
                Luma::U8 { data, channels: 1, width_px: self.width_px, height_px: self.height_px }
            }
            PatchLuma::U16(data) => {
                Luma::U16 { data, width_px: self.width_px, height_px: self.height_px }
            }
        }
    }

    /// Luma as a float plane.
    pub fn plane(&self) -> Plane {
        self.luma().cut(0, 0, self.width_px, self.height_px)
    }

    /// Cuts the luma of a patch out of a picture (colour is left to the caller).
    pub fn cut(luma: &Luma<'_>, x0: usize, y0: usize, width_px: usize, height_px: usize) -> Patch {
        let x0 = x0.min(luma.width_px());
        let y0 = y0.min(luma.height_px());
        let w = width_px.min(luma.width_px() - x0);
        let h = height_px.min(luma.height_px() - y0);
        let luma = match *luma {
            Luma::U8 { data, channels: 3, width_px, .. } => {
                let mut luma = vec![0; w * h];
                let samples = data.as_chunks::<3>().0;
                for (y, line) in (y0..).zip(luma.chunks_exact_mut(w.max(1))) {
                    let from = &samples[y * width_px + x0..y * width_px + x0 + w];
                    with_simd(
                        #[inline(always)]
                        || line.iter_mut().zip(from).for_each(|(o, s)| *o = s[0]),
                    );
                }
                PatchLuma::U8(luma)
            }
            Luma::U8 { data, channels, width_px, .. } => PatchLuma::U8(
                (y0..y0 + h)
                    .flat_map(|y| (x0..x0 + w).map(move |x| data[(y * width_px + x) * channels]))
                    .collect(),
            ),
            Luma::U16 { data, width_px, .. } => PatchLuma::U16(
                (y0..y0 + h)
                    .flat_map(|y| data[y * width_px + x0..y * width_px + x0 + w].iter().copied())
                    .collect(),
            ),
        };
        Patch { x0, y0, width_px: w, height_px: h, luma, rgb: Vec::new() }
    }

    /// The square of a side at a corner (cut to the frame) out of this patch; `None` when the
    /// patch does not hold all of it.
    pub fn part(&self, x0: usize, y0: usize, side: usize, frame: (usize, usize)) -> Option<Patch> {
        let (x1, y1) = ((x0 + side).min(frame.0), (y0 + side).min(frame.1));
        if x0 < self.x0
            || y0 < self.y0
            || x1 > self.x0 + self.width_px
            || y1 > self.y0 + self.height_px
            || x0 >= x1
            || y0 >= y1
        {
            return None;
        }
        let (w, h) = (x1 - x0, y1 - y0);
        let mut part = Patch::cut(&self.luma(), x0 - self.x0, y0 - self.y0, w, h);
        (part.x0, part.y0) = (x0, y0);
        if !self.rgb.is_empty() {
            part.rgb = (y0 - self.y0..y1 - self.y0)
                .flat_map(|y| {
                    let start = (y * self.width_px + x0 - self.x0) * 3;
                    self.rgb[start..start + 3 * w].iter().copied()
                })
                .collect();
        }
        Some(part)
    }
}

/// Corner of the patch of a side about a spot: inside the frame and at a multiple of 4 px, so
/// that the levels fall on the same grid whether a patch is kept or fetched.
pub fn patch_corner(x: f64, y: f64, side: usize, frame: (usize, usize)) -> (usize, usize) {
    let at = |v: f64, extent: usize| {
        let free = (v - side as f64 / 2.0).max(0.0) as usize;
        free.min(extent.saturating_sub(side)) / 4 * 4
    };
    (at(x, frame.0), at(y, frame.1))
}
