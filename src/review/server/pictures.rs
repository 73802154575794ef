//! Pictures on demand: a few decoded frames are kept, for panning and for frames side by side.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use crate::image::{self, Decoded, Frame, Want, encode_jpeg};

/// Decoded frames kept: as many as stand side by side, and the one that comes next.
const KEPT: usize = 5;
/// Most bytes that they may take; beyond it fewer are kept, but always the latest.
const KEPT_BYTES: u64 = 600 << 20;
/// JPEG quality of what is sent: artefacts must not pass for blur.
const QUALITY: u8 = 92;
/// Largest side of what is sent, px.
pub const LARGEST_PX: u32 = 4096;

type Slot = Arc<OnceLock<Option<Decoded>>>;

/// Frames that were decoded lately.
#[derive(Default)]
pub struct Decodes {
    slots: Mutex<Vec<(usize, u64, Slot)>>,
}

impl Decodes {
    /// The slot of a frame, now the latest; others go when there are too many.
    fn slot(&self, number: usize, frame: &Frame) -> Slot {
        let mut slots = self.slots.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = 3 * u64::from(frame.width_px) * u64::from(frame.height_px);
        let slot = match slots.iter().position(|(n, ..)| *n == number) {
            Some(at) => slots.remove(at).2,
            None => Slot::default(),
        };
        slots.insert(0, (number, bytes, Arc::clone(&slot)));
        let mut sum = 0;
        let mut count = 0;
        slots.retain(|(_, bytes, _)| {
            sum += bytes;
            count += 1;
            count == 1 || (count <= KEPT && sum <= KEPT_BYTES)
        });
        slot
    }

    /// Works on a decoded frame; decodes it unless it is at hand. Whoever asks for the same frame
    /// meanwhile waits for the one decode. `None` when it cannot be decoded.
    fn with<T>(&self, number: usize, frame: &Frame, work: impl FnOnce(&Decoded) -> T) -> Option<T> {
        let slot = self.slot(number, frame);
        let decoded = slot.get_or_init(|| image::load(frame, Want::Colour).ok());
        decoded.as_ref().map(work)
    }

    /// The whole frame, upright, its longer side at most `side_px`, as JPEG.
    pub fn whole(&self, number: usize, frame: &Frame, side_px: u32) -> Option<Vec<u8>> {
        let (rgb, w, h) =
            self.with(number, frame, |d| d.rgb_small(side_px.min(LARGEST_PX) as usize))?;
        let (rgb, w, h) = frame.orientation().turn_rgb(&rgb, w, h);
        encode_jpeg(&rgb, w, h, QUALITY).map(|p| p.jpeg)
    }

    /// A part of the upright frame, pixel for pixel, as JPEG; cut to the frame.
    pub fn part(&self, number: usize, frame: &Frame, part: PicturePart) -> Option<Vec<u8>> {
        let (width, height) = frame.upright_size();
        let (x0, y0) = (part.x.min(width), part.y.min(height));
        let (x1, y1) = (
            x0.saturating_add(part.width.min(LARGEST_PX)).min(width),
            y0.saturating_add(part.height.min(LARGEST_PX)).min(height),
        );
        if x0 >= x1 || y0 >= y1 {
            return None;
        }
        let turn = frame.orientation();
        let file = |x: u32, y: u32| {
            let at = (f64::from(x) / f64::from(width), f64::from(y) / f64::from(height));
            let (fx, fy) = turn.to_file(at.0, at.1);
            let px = |share: f64, side: u32| (share * f64::from(side)).round() as usize;
            (px(fx, frame.width_px), px(fy, frame.height_px))
        };
        let (a, b) = (file(x0, y0), file(x1, y1));
        let (left, top) = (a.0.min(b.0), a.1.min(b.1));
        let (w, h) = (a.0.abs_diff(b.0), a.1.abs_diff(b.1));
        let (rgb, w, h) = self.with(number, frame, |d| d.rgb_crop(left, top, w, h))?;
        let (rgb, w, h) = turn.turn_rgb(&rgb, w, h);
        encode_jpeg(&rgb, w, h, QUALITY).map(|p| p.jpeg)
    }
}

/// A part of an upright frame, px.
#[derive(Debug, Clone, Copy)]
pub struct PicturePart {
    /// Left.
    pub x: u32,
    /// Top.
    pub y: u32,
    /// Width.
    pub width: u32,
    /// Height.
    pub height: u32,
}
