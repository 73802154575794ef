//! Watching a clip go by: what is measured on each frame while its pixels are at hand.
//!
//! Every frame is followed on a small copy and measured in a box about the subject; every
//! [`SAMPLE_EVERY`]th also as a whole, for its noise and for what else is sharp in it.

use crate::core::Luma;
use crate::core::stats::median;
use crate::image::clip::{ClipFrame, FrameType};
use crate::sharpness::band_noise::{BandNoise, quietest_by_tone, spot_sigma_dn};
use crate::sharpness::direction::DirectionProfile;
use crate::sharpness::focus_map::{FrameCells, TILE_PX};
use crate::sharpness::pyramid::Pyramid;
use crate::sharpness::subject::BoxCells;
use crate::tracking::frame_motion::{DownsampledFrame, DownsampledPyramid, ReferenceFrame, Shift};

/// Width of the small copy, samples, about.
const SMALL_WIDTH: usize = 480;
/// Every how manieth frame is measured as a whole.
pub const SAMPLE_EVERY: usize = 48;
/// Half the window in which the subject is followed, samples of the small copy.
const FOLLOW_REACH: f64 = 30.0;
/// Pixels about the subject that are cut out on each side of its box.
const AROUND_PX: usize = 36;
/// Correlation of the whole picture below which a new reference is taken.
const WHOLE_STALE: f64 = 0.9;
/// Movement after which a new reference is taken, share of the width.
const WANDERED: f64 = 0.10;
/// Correlation of the subject's own window that is trusted over the movement of the whole.
const OWN_TRUSTED: f64 = 0.7;
/// Below this the window has changed too much to serve further, and a new one is taken.
const OWN_STALE: f64 = 0.85;
/// How far its own window may place the subject from where the whole picture went, share of the
/// window, unless it is sure.
const OWN_AWAY: f64 = 0.7;
/// Correlation from which it is sure.
const OWN_SURE: f64 = 0.9;
/// Share and least number of tiles whose noise is watched, by tone.
const QUIET: (f64, usize) = (0.01, 2);
/// Tiles watched at most.
const MAX_QUIET: usize = 16;
/// Blur at which sharp tiles are counted, px: bounds of the classes.
pub const SHARP_CLASSES_PX: [f32; 16] =
    [0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4, 1.7, 2.0, 2.4, 3.0, 3.6, 4.5, 6.0];

/// What is kept of a frame.
#[derive(Debug, Clone)]
pub struct FrameObservation {
    /// Time, s.
    pub t_s: f64,
    /// How it was coded.
    pub frame_type: FrameType,
    /// Made of two fields.
    pub interlaced: bool,
    /// Sums in the subject's box; `None` when the subject is lost.
    pub cells: Option<BoxCells>,
    /// Blur squared by direction about the subject.
    pub profile: Option<DirectionProfile>,
    /// The subject, px of the file.
    pub place: Option<(f64, f64)>,
    /// Whether only the movement of the whole picture places it.
    pub place_by_whole: bool,
    /// Where the middle of the first frame went, px of the file.
    pub whole: Option<(f64, f64)>,
    /// Rotation of the whole since the first frame, radians, clockwise as seen.
    pub rotation_rad: f64,
    /// Noise in flat tiles, 8-bit steps.
    pub noise_sigma_dn: Option<f64>,
    /// Mean brightness, 8-bit steps.
    pub mean_dn: f64,
}

/// A frame measured as a whole.
#[derive(Debug, Clone)]
pub struct Sample {
    /// Its number.
    pub frame: usize,
    /// Its noise in the focus bands.
    pub noise: Option<BandNoise>,
    /// Tiles whose blur is below each of `SHARP_CLASSES_PX`.
    pub sharper: [u32; SHARP_CLASSES_PX.len()],
}

/// A small grey picture for the time line.
#[derive(Debug, Clone)]
pub struct GreyThumb {
    /// Time, s.
    pub t_s: f64,
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// 8-bit values.
    pub grey: Vec<u8>,
}

/// Small pictures kept at most; beyond, every second is dropped.
const MAX_THUMBS: usize = 24;

/// The state of the watch.
pub struct ClipMeter {
    step: usize,
    size: (usize, usize),
    box_px: usize,
    /// What was seen so far.
    pub seen: Vec<FrameObservation>,
    /// Frames measured as a whole.
    pub samples: Vec<Sample>,
    /// Pictures for the time line.
    pub thumbs: Vec<GreyThumb>,
    thumb_every: usize,
    noise: BandNoise,
    quiet: Vec<(usize, usize)>,
    whole: Option<Tracked>,
    own: Option<Tracked>,
    copies: DownsampledPyramid,
    start: Option<(f64, f64)>,
    scratch: Vec<u16>,
}

/// Something followed: the reference, where its anchor was when it was taken (for the whole: where
/// the clip's first middle then was), and the last shift against it.
struct Tracked {
    reference: ReferenceFrame,
    /// Place of what is followed when the reference was taken, px.
    from: (f64, f64),
    /// Rotation by then.
    turned: f64,
    last: Shift,
}

impl Tracked {
    fn place(&self) -> (f64, f64) {
        self.last.apply(self.reference.anchor_px(), self.from)
    }
}

impl ClipMeter {
    /// A watch over frames of a size (px of the file) that follows the subject from `start` in the
    /// first frame.
    pub fn new(size: (usize, usize), start: Option<(f64, f64)>, box_px: usize) -> ClipMeter {
        ClipMeter {
            step: (size.0.max(size.1) / SMALL_WIDTH).max(1),
            size,
            box_px,
            seen: Vec::new(),
            samples: Vec::new(),
            thumbs: Vec::new(),
            thumb_every: SAMPLE_EVERY / 4,
            noise: BandNoise::white(1.0),
            quiet: Vec::new(),
            whole: None,
            own: None,
            copies: DownsampledPyramid::default(),
            start,
            scratch: Vec::new(),
        }
    }

    /// Measures a frame.
    pub fn frame(&mut self, frame: &ClipFrame) {
        let mut data = Vec::new();
        let (width, height) = frame.small(self.step, &mut data);
        let mean = data.iter().map(|v| f64::from(*v)).sum::<f64>() / data.len().max(1) as f64;
        let small = DownsampledFrame { width, height, step_px: self.step as f64, data };
        if frame.index.is_multiple_of(self.thumb_every) {
            self.keep_thumb(frame.t_s, &small);
        }
        let copies = DownsampledPyramid::of(small);
        if frame.index.is_multiple_of(SAMPLE_EVERY) {
            self.sample(frame);
        }
        let (whole, moved) = self.follow_whole(&copies);
        let rotation_rad = self.whole.as_ref().map_or(0.0, |w| w.turned + w.last.rotation_rad);
        let (place, place_by_whole) = self.follow_own(&copies, moved);
        let place = place.filter(|p| self.is_inside(*p));
        let (cells, profile) = match place {
            Some(p) => self.measure(frame, p),
            None => (None, None),
        };
        let noise_sigma_dn = self.spot_noise(frame);
        self.copies = copies;
        self.seen.push(FrameObservation {
            t_s: frame.t_s,
            frame_type: frame.frame_type,
            interlaced: frame.interlaced,
            cells,
            profile,
            place,
            place_by_whole,
            whole,
            rotation_rad,
            noise_sigma_dn,
            mean_dn: mean,
        });
    }

    fn is_inside(&self, (x, y): (f64, f64)) -> bool {
        let half = self.box_px as f64 / 2.0;
        x >= half && y >= half && x + half <= self.size.0 as f64 && y + half <= self.size.1 as f64
    }

    /// Follows the whole picture. Returns where the first middle is now, and how the picture has
    /// moved since the frame before.
    fn follow_whole(&mut self, copies: &DownsampledPyramid) -> (Option<(f64, f64)>, Option<Moved>) {
        let (w, h) = (self.size.0 as f64, self.size.1 as f64);
        let middle = (w / 2.0, h / 2.0);
        let fresh = |copies: &DownsampledPyramid| {
            ReferenceFrame::new(copies, middle, (0.46 * w, 0.46 * h), true)
        };
        let Some(tracked) = &mut self.whole else {
            let reference = fresh(copies);
            self.whole = Some(Tracked { reference, from: middle, turned: 0.0, last: Shift::NONE });
            return (Some(middle), None);
        };
        let before = tracked.last;
        let mut found = tracked.reference.find(copies, before);
        let moved;
        if let Some(shift) = found {
            moved = Some(Moved { anchor: middle, from: before, to: shift });
        } else {
            // Against the frame before, when the reference is out of sight.
            let near = fresh(&self.copies);
            let place = tracked.place();
            let turned = tracked.turned + before.rotation_rad;
            found = near.find(copies, Shift::NONE);
            let Some(shift) = found else { return (None, None) };
            moved = Some(Moved { anchor: middle, from: Shift::NONE, to: shift });
            *tracked = Tracked { reference: near, from: place, turned, last: shift };
        }
        if let Some(shift) = found {
            tracked.last = shift;
            let place = tracked.place();
            if shift.correlation < WHOLE_STALE
                || shift.dx_px.hypot(shift.dy_px) > WANDERED * w.max(h)
            {
                let turned = tracked.turned + shift.rotation_rad;
                *tracked =
                    Tracked { reference: fresh(copies), from: place, turned, last: Shift::NONE };
            }
            return (Some(place), moved);
        }
        (None, None)
    }

    /// Follows the subject: its own window, checked against the whole picture.
    fn follow_own(
        &mut self,
        copies: &DownsampledPyramid,
        moved: Option<Moved>,
    ) -> (Option<(f64, f64)>, bool) {
        let reach = FOLLOW_REACH * self.step as f64;
        let taken = |copies: &DownsampledPyramid, at: (f64, f64)| Tracked {
            reference: ReferenceFrame::new(copies, at, (reach, reach), false),
            from: at,
            turned: 0.0,
            last: Shift::NONE,
        };
        let Some(own) = &mut self.own else {
            let Some(start) = self.start else { return (None, false) };
            self.own = Some(taken(copies, start));
            return (Some(start), false);
        };
        let before = own.place();
        let by_whole = moved.map(|m| m.place(before));
        let expected = by_whole.unwrap_or(before);
        let near = Shift {
            dx_px: own.last.dx_px + expected.0 - before.0,
            dy_px: own.last.dy_px + expected.1 - before.1,
            ..own.last
        };
        let found = own.reference.find(copies, near).filter(|f| {
            let away = (f.dx_px - near.dx_px).hypot(f.dy_px - near.dy_px);
            f.correlation >= OWN_SURE
                || f.correlation >= OWN_TRUSTED && (by_whole.is_none() || away < OWN_AWAY * reach)
        });
        match (found, by_whole) {
            (Some(shift), _) => {
                own.last = shift;
                let place = own.place();
                if shift.correlation < OWN_STALE {
                    self.own = Some(taken(copies, place));
                }
                (Some(place), false)
            }
            (None, Some(place)) => {
                self.own = Some(taken(copies, place));
                (Some(place), true)
            }
            (None, None) => (None, false),
        }
    }

    fn measure(
        &mut self,
        frame: &ClipFrame,
        (x, y): (f64, f64),
    ) -> (Option<BoxCells>, Option<DirectionProfile>) {
        let side = self.box_px + 2 * AROUND_PX;
        let corner = |at: f64, extent: usize| {
            let free = (at - side as f64 / 2.0).max(0.0) as usize;
            free.min(extent.saturating_sub(side)) / 4 * 4
        };
        let (x0, y0) = (corner(x, self.size.0), corner(y, self.size.1));
        let (w, h) = (side.min(self.size.0 - x0), side.min(self.size.1 - y0));
        frame.part(x0, y0, w, h, &mut self.scratch);
        let luma = Luma::U16 { data: &self.scratch, width_px: w, height_px: h };
        let (bx, by) = (x - x0 as f64, y - y0 as f64);
        let Some((cells, levels)) = BoxCells::measure(&luma, bx, by, self.box_px) else {
            return (None, None);
        };
        let sigma = cells.tile(&self.noise).sigma_px();
        let profile = levels.profile(bx, by, sigma, &self.noise);
        (Some(cells), Some(profile))
    }

    /// Noise and sharp tiles of a whole frame.
    fn sample(&mut self, frame: &ClipFrame) {
        let (w, h) = self.size;
        frame.part(0, 0, w, h, &mut self.scratch);
        let luma = Luma::U16 { data: &self.scratch, width_px: w, height_px: h };
        let Some(cells) = FrameCells::measure(&luma, &Pyramid::new(&luma)) else { return };
        let noise = cells.noise();
        if let Some(n) = noise.filter(|n| self.samples.is_empty() || n.ratio > self.noise.ratio) {
            self.noise = n;
        }
        let map = cells.map(noise.as_ref().unwrap_or(&self.noise));
        let sharper = SHARP_CLASSES_PX.map(|limit| {
            map.tiles.iter().filter_map(|t| t.sigma_px()).filter(|s| *s < limit).count() as u32
        });
        self.samples.push(Sample { frame: frame.index, noise, sharper });
        if self.quiet.is_empty() {
            let quiet = quietest_by_tone(&cells.level1, QUIET.0, QUIET.1);
            let spots = quiet.iter().flat_map(|bin| bin.iter().take(2));
            self.quiet = spots
                .take(MAX_QUIET)
                .map(|i| (i % cells.cols * TILE_PX, i / cells.cols * TILE_PX))
                .collect();
        }
    }

    fn spot_noise(&mut self, frame: &ClipFrame) -> Option<f64> {
        let mut sigmas = Vec::with_capacity(MAX_QUIET);
        for (x, y) in &self.quiet {
            let side = TILE_PX;
            frame.part(*x, *y, side, side, &mut self.scratch);
            let (w, h) = (side.min(self.size.0 - x), side.min(self.size.1 - y));
            let spot = Luma::U16 { data: &self.scratch, width_px: w, height_px: h };
            sigmas.extend(spot_sigma_dn(&spot));
        }
        median(&mut sigmas)
    }

    fn keep_thumb(&mut self, t_s: f64, small: &DownsampledFrame) {
        let grey = small.data.iter().map(|v| v.round().clamp(0.0, 255.0) as u8).collect();
        self.thumbs.push(GreyThumb { t_s, width: small.width, height: small.height, grey });
        if self.thumbs.len() > MAX_THUMBS {
            let mut at = 0;
            self.thumbs.retain(|_| {
                at += 1;
                at % 2 == 1
            });
            self.thumb_every *= 2;
        }
    }
}

/// How the whole picture moved from one frame to the next.
#[derive(Debug, Clone, Copy)]
struct Moved {
    anchor: (f64, f64),
    from: Shift,
    to: Shift,
}

impl Moved {
    /// Where a place of the frame before is now.
    fn place(&self, before: (f64, f64)) -> (f64, f64) {
        // Back to the reference, then forward.
        let (x, y) = (
            (before.0 - self.anchor.0 - self.from.dx_px) / self.from.scale,
            (before.1 - self.anchor.1 - self.from.dy_px) / self.from.scale,
        );
        let (sin, cos) = self.from.rotation_rad.sin_cos();
        let there = (self.anchor.0 + cos * x + sin * y, self.anchor.1 + cos * y - sin * x);
        self.to.apply(self.anchor, there)
    }
}
