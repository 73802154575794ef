//! One frame in colour, fetched again: for the few that are shown or kept as stills.

use super::probe::{ClipInfo, said};
use super::tools::{Tools, answer, command, local, no_answer, only_this_file};
use crate::error::{Error, SkipReason};

/// A picture, upright.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RgbPicture {
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// Three bytes a pixel, row-major.
    pub rgb: Vec<u8>,
}

/// The first frame at or after `from_s`, upright and in full colour.
///
/// # Errors
/// Outer: [`Error::NoFfmpeg`]. Inner: there is no frame there.
pub fn picture_at(
    tools: &Tools,
    info: &ClipInfo,
    from_s: f64,
) -> Result<Result<RgbPicture, SkipReason>, Error> {
    let mut asked = command(&tools.ffmpeg);
    asked.args(["-nostdin", "-v", "error", "-ss", &format!("{:.6}", from_s.max(0.0))]);
    only_this_file(&mut asked);
    asked.args(["-noautorotate", "-i"]).arg(local(&info.path));
    asked.args(["-map", "0:v:0", "-frames:v", "1", "-pix_fmt", "rgb24", "-f", "rawvideo"]);
    asked.arg("pipe:1");
    let Some(answer) = answer(asked, &tools.ffmpeg)? else {
        return Ok(Err(SkipReason::NoClipFrames(no_answer())));
    };
    let (w, h) = (info.width_px as usize, info.height_px as usize);
    if answer.stdout.len() != w * h * 3 {
        return Ok(Err(SkipReason::NoClipFrames(said(&answer.stderr, &info.path))));
    }
    let (rgb, width_px, height_px) = info.orientation.turn_rgb(&answer.stdout, w, h);
    Ok(Ok(RgbPicture { width_px, height_px, rgb }))
}
