use std::path::Path;

use stopwise::image::clip::ClipInfo;

/// What is read of an answer is within its own bounds.
pub fn run(bytes: &[u8]) {
    let Ok(answer) = serde_json::from_slice(bytes) else { return };
    if let Ok(info) = ClipInfo::of_answer(Path::new("clip.mp4"), &answer) {
        assert!(
            (128..=32_768).contains(&info.width_px) && (128..=32_768).contains(&info.height_px)
        );
        assert!((8..=16).contains(&info.bits), "{} bits", info.bits);
        assert!(info.fps.is_none_or(|f| f > 0.0) && info.duration_s.is_none_or(|s| s > 0.0));
    }
}
