//! Where the subject of a clip is, when nobody says: it is looked for in a few frames spread over
//! the clip as in a burst.

use crate::core::Luma;
use crate::error::Result;
use crate::image::clip::{ClipInfo, ClipPart, ClipStream, Tools};
use crate::sharpness::focus_map::FocusMap;
use crate::tracking::burst_noise::BurstNoise;
use crate::tracking::burst_planes::overlay;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::locate::{BurstPlaces, locate};
use crate::tracking::similarity::Similarity;
use crate::tracking::subject_hints::SubjectHints;

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
        shots.push(shot);
    }
    if shots.is_empty() {
        return Ok(None);
    }
    let shots: Vec<&FrameFeatures> = shots.iter().collect();
    let noise = BurstNoise::of(&shots);
    let maps: Vec<FocusMap> =
        shots.iter().zip(&noise.of_frame).map(|(s, n)| s.cells.map(n)).collect();
    let to_frame: Vec<Similarity> = (0..shots.len()).map(|i| overlay(&shots, i)).collect();
    let places = BurstPlaces::read(&shots, &noise.noise, &to_frame);
    let located = locate(&shots, &maps, places.as_ref(), &SubjectHints::default());
    let first = located.positions.first().copied().flatten();
    Ok(first.map(|p| Scouted { place: (p.x_px, p.y_px) }))
}
