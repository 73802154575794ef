//! Where the subject of a clip is, when nobody says: a few frames spread over the clip are judged
//! like a burst.

use crate::core::Luma;
use crate::cull::judge::judge;
use crate::error::Result;
use crate::image::clip::{ClipInfo, ClipPart, ClipStream, Tools};
use crate::tracking::frame_features::{FrameFeatures, Patch, PatchLuma};

/// Frames looked at, the first among them.
const SCOUTS: usize = 6;
/// Shortest time between them, s.
const APART_S: f64 = 0.4;

/// A subject found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scouted {
    /// Where it is in the first frame, px of the file.
    pub place: (f64, f64),
}

/// Looks for the subject. `None` when nothing stands out, or it is not found in the first frame.
///
/// # Errors
/// When ffmpeg cannot be started.
pub fn find_subject(tools: &Tools, info: &ClipInfo) -> Result<Option<Scouted>> {
    let length_s = info.duration_s.unwrap_or(0.0);
    let count = ((length_s / APART_S) as usize).clamp(1, SCOUTS);
    let mut shots = Vec::new();
    let mut lumas: Vec<Patch> = Vec::new();
    for i in 0..count {
        // The last one stays clear of the end, where there may be no frame any more.
        let t_s = length_s * 0.95 * i as f64 / count as f64;
        let part = ClipPart { from_s: (i > 0).then_some(t_s), frames: Some(1) };
        let mut stream = ClipStream::open(tools, info, part)?;
        let Some(frame) = stream.next_frame() else { continue };
        let mut data = Vec::new();
        let (w, h) = (frame.width_px(), frame.height_px());
        frame.part(0, 0, w, h, &mut data);
        let luma = Luma::U16 { data: &data, width_px: w, height_px: h };
        let Some(shot) = FrameFeatures::measure(&luma) else { continue };
        // Eight bits are enough to find it by, and half the memory.
        let bytes = data.iter().map(|v| (v >> 8) as u8).collect();
        lumas.push(Patch {
            x0: 0,
            y0: 0,
            width_px: w,
            height_px: h,
            luma: PatchLuma::U8(bytes),
            rgb: Vec::new(),
        });
        shots.push(shot);
    }
    if shots.is_empty() {
        return Ok(None);
    }
    let size = (info.width_px as usize, info.height_px as usize);
    let fetch =
        |i: usize, x0: usize, y0: usize, side: usize| lumas.get(i)?.part(x0, y0, side, size);
    let judged = judge(&shots, None, &vec![None; shots.len()], &fetch);
    let first = judged.frames.first().and_then(|f| f.place);
    Ok(first.map(|p| Scouted { place: (p.x_px, p.y_px) }))
}
