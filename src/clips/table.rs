//! What is said of a clip beside its tables: one wording for the terminal and the page.

use super::record::ClipRecord;
use crate::report::wording;

/// "1920 x 1080 px · 59.94 fps · 12.3 s · h264, 8 bit · played at 24 fps: 2.5 times slower".
pub fn facts(clip: &ClipRecord) -> Vec<String> {
    let mut parts = vec![
        format!("{} x {} px", clip.width_px, clip.height_px),
        format!(
            "{}{} fps",
            wording::short((clip.fps * 100.0).round() / 100.0),
            if clip.variable_rate { " (uneven)" } else { "" }
        ),
        format!("{} s", wording::fixed(clip.length_s, 1)),
        format!("{}, {} bit", clip.codec, clip.bits),
    ];
    if clip.interlaced {
        parts.push("interlaced".to_owned());
    }
    if let (Some(play), Some(slower)) = (clip.play_fps, clip.slower) {
        let times = wording::short((slower * 100.0).round() / 100.0);
        parts.push(format!("played at {} fps: {times} times slower", wording::short(play)));
    }
    if let Some(camera) = &clip.camera {
        parts.push(wording::visible(camera));
    }
    if let Some(taken) = &clip.taken_at {
        parts.push(wording::visible(taken));
    }
    parts
}

/// "best 2.0 s: 4.10 to 6.10 s, 96 % hits".
pub fn stretch(clip: &ClipRecord) -> Option<String> {
    let s = clip.best_stretch?;
    Some(format!(
        "Best {} s: {} to {} s, {} of it hits.",
        wording::fixed(s.end_s - s.start_s, 1),
        wording::fixed(s.start_s, 2),
        wording::fixed(s.end_s, 2),
        wording::per_cent(s.hit_share)
    ))
}
