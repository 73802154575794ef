//! What a clip says about itself, asked of ffprobe.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use serde_json::Value;

use super::tools::{Tools, command, local, missing};
use crate::error::{Error, SkipReason};
use crate::frames::Orientation;

/// Longest side that is decoded, px: beyond it a header is damaged.
const LONGEST_PX: u64 = 32_768;
/// Shortest side that can be measured, px.
const SHORTEST_PX: u32 = 128;

/// A clip before any frame is decoded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClipInfo {
    /// Where it is.
    pub path: PathBuf,
    /// Width as stored, px.
    pub width_px: u32,
    /// Height as stored, px.
    pub height_px: u32,
    /// How it has to be turned to stand upright.
    pub orientation: Orientation,
    /// Codec, as ffmpeg calls it.
    pub codec: String,
    /// Pixel format, as ffmpeg calls it.
    pub pixel_format: String,
    /// Bits a sample.
    pub bits: u32,
    /// Whether black is 16 and white 235 of 255 (limited range), as nearly all clips have it.
    pub limited_range: bool,
    /// Whether the header says that frames are made of two fields.
    pub interlaced: bool,
    /// Frames a second as the header says (the average where it gives one).
    pub fps: Option<f64>,
    /// Length as the header says, s.
    pub duration_s: Option<f64>,
    /// When it was taken, as written.
    pub taken_at: Option<String>,
    /// Maker of the camera, as written.
    pub make: Option<String>,
    /// Its model, as written.
    pub model: Option<String>,
}

impl ClipInfo {
    /// Size of the upright picture, px.
    pub fn upright_size(&self) -> (u32, u32) {
        self.orientation.upright_size(self.width_px, self.height_px)
    }

    /// Reads what ffprobe answered about a clip (`-of json -show_format -show_streams`).
    ///
    /// # Errors
    /// [`SkipReason`], when the clip holds no picture, or none of a size that can be measured.
    pub fn of_answer(path: &Path, answer: &Value) -> Result<ClipInfo, SkipReason> {
        read(path, answer)
    }

    /// Maker and model of the camera as one name, the maker once.
    pub fn camera(&self) -> Option<String> {
        match (&self.make, &self.model) {
            (Some(make), Some(model)) if !model.starts_with(make.as_str()) => {
                Some(format!("{make} {model}"))
            }
            (make, model) => model.clone().or_else(|| make.clone()),
        }
    }
}

/// Asks ffprobe about a clip.
///
/// # Errors
/// Outer: [`Error::NoFfmpeg`] when ffprobe cannot be started. Inner: why this clip cannot be used.
pub fn probe(tools: &Tools, path: &Path) -> Result<Result<ClipInfo, SkipReason>, Error> {
    let mut asked = command(&tools.ffprobe);
    asked.args(["-v", "error", "-protocol_whitelist", "file", "-of", "json"]);
    asked.args(["-show_format", "-show_streams"]).arg(local(path));
    let answer = asked
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .output()
        .map_err(|source| missing(&tools.ffprobe, source))?;
    let said = said(&answer.stderr, path);
    if !answer.status.success() {
        return Ok(Err(SkipReason::NotAClip(said)));
    }
    match serde_json::from_slice::<Value>(&answer.stdout) {
        Ok(json) => Ok(ClipInfo::of_answer(path, &json)),
        Err(_) => Ok(Err(SkipReason::NotAClip(said))),
    }
}

/// The last line of what the program said, without the name of the file.
pub(super) fn said(stderr: &[u8], path: &Path) -> String {
    let text = String::from_utf8_lossy(stderr);
    let line = text.lines().rev().find(|l| !l.trim().is_empty()).unwrap_or("no reason given");
    let name = format!("file:{}: ", path.display());
    line.trim().replace(&name, "")
}

fn read(path: &Path, json: &Value) -> Result<ClipInfo, SkipReason> {
    let streams = json["streams"].as_array().map_or(&[][..], Vec::as_slice);
    // A cover picture of a sound file is no clip.
    let video = streams
        .iter()
        .find(|s| s["codec_type"] == "video" && s["disposition"]["attached_pic"] != 1)
        .ok_or(SkipReason::NoPicture)?;
    let side = |key: &str| video[key].as_u64().unwrap_or(0);
    let (width_px, height_px) = (side("width"), side("height"));
    if width_px.max(height_px) > LONGEST_PX {
        return Err(SkipReason::TooLarge { width_px, height_px });
    }
    let small = |v: u64| u32::try_from(v).unwrap_or(0);
    let (width_px, height_px) = (small(width_px), small(height_px));
    if width_px.min(height_px) == 0 {
        return Err(SkipReason::NotAClip("its header gives no size".into()));
    }
    if width_px.min(height_px) < SHORTEST_PX {
        return Err(SkipReason::Unsupported(format!(
            "only {width_px} x {height_px} px ({SHORTEST_PX} px needed)"
        )));
    }
    let text = |v: &Value| v.as_str().filter(|t| !t.is_empty()).map(str::to_owned);
    let pixel_format = text(&video["pix_fmt"]).unwrap_or_default();
    let tag = |key: &str| {
        [&video["tags"], &json["format"]["tags"]].into_iter().find_map(|t| text(&t[key]))
    };
    let make = tag("make").or_else(|| tag("com.apple.quicktime.make"));
    let model = tag("model").or_else(|| tag("com.apple.quicktime.model"));
    let full = pixel_format.starts_with("yuvj") || video["color_range"] == "pc";
    let seconds = |v: &Value| v.as_str()?.parse::<f64>().ok().filter(|s| *s > 0.0);
    Ok(ClipInfo {
        path: path.to_owned(),
        width_px,
        height_px,
        orientation: orientation(video),
        codec: text(&video["codec_name"]).unwrap_or_else(|| "unknown".into()),
        bits: bits(&pixel_format),
        limited_range: !full && !is_rgb(&pixel_format),
        interlaced: matches!(video["field_order"].as_str(), Some("tt" | "bb" | "tb" | "bt")),
        pixel_format,
        fps: rate(&video["avg_frame_rate"]).or_else(|| rate(&video["r_frame_rate"])),
        duration_s: seconds(&video["duration"]).or_else(|| seconds(&json["format"]["duration"])),
        taken_at: tag("com.apple.quicktime.creationdate").or_else(|| tag("creation_time")),
        make,
        model,
    })
}

fn rate(value: &Value) -> Option<f64> {
    let (a, b) = value.as_str()?.split_once('/')?;
    let (a, b): (f64, f64) = (a.parse().ok()?, b.parse().ok()?);
    (a > 0.0 && b > 0.0).then(|| a / b)
}

fn is_rgb(pixel_format: &str) -> bool {
    ["rgb", "bgr", "gbr", "0rgb", "argb", "gray", "pal8"]
        .iter()
        .any(|k| pixel_format.starts_with(k))
}

fn bits(pixel_format: &str) -> u32 {
    let depths = [("16", 16), ("14", 14), ("12", 12), ("10", 10), ("9", 9)];
    let plain = pixel_format.trim_end_matches("le").trim_end_matches("be");
    depths.iter().find(|(end, _)| plain.ends_with(&format!("p{end}"))).map_or(8, |d| d.1)
}

/// The turn that ffprobe reports counts counter-clockwise; in Exif codes a quarter turn clockwise
/// is 6.
fn orientation(video: &Value) -> Orientation {
    let turns = video["side_data_list"].as_array().into_iter().flatten();
    let degrees = turns.filter_map(|s| s["rotation"].as_f64()).next();
    let code = match degrees.map(|d| (d / 90.0).round() as i64).map(|q| q.rem_euclid(4)) {
        Some(1) => 8,
        Some(2) => 3,
        Some(3) => 6,
        _ => 1,
    };
    Orientation::from_code(code).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn clip(extra: Value) -> Value {
        let mut video = json!({
            "codec_type": "video", "codec_name": "h264", "width": 1920, "height": 1080,
            "pix_fmt": "yuv420p", "avg_frame_rate": "60000/1001", "r_frame_rate": "60/1",
            "duration": "10.5", "tags": {"creation_time": "2031-06-14T09:00:00Z"},
        });
        for (key, value) in extra.as_object().unwrap() {
            video[key.as_str()] = value.clone();
        }
        json!({"streams": [{"codec_type": "audio"}, video], "format": {}})
    }

    #[test]
    fn an_ordinary_clip_is_read() {
        let info = read(Path::new("a.mp4"), &clip(json!({}))).unwrap();
        assert_eq!((info.width_px, info.height_px, info.bits), (1920, 1080, 8));
        approx::assert_abs_diff_eq!(info.fps.unwrap(), 59.940_06, epsilon = 1e-5);
        assert!(info.limited_range && !info.interlaced);
        assert_eq!(info.taken_at.as_deref(), Some("2031-06-14T09:00:00Z"));
    }

    #[test]
    fn depth_range_turn_and_fields_are_read() {
        let of = |extra| read(Path::new("a.mp4"), &clip(extra)).unwrap();
        let ten = of(json!({"pix_fmt": "yuv420p10le", "color_range": "pc"}));
        assert_eq!((ten.bits, ten.limited_range), (10, false));
        assert!(!of(json!({"pix_fmt": "yuvj420p"})).limited_range);
        let turned = of(json!({"side_data_list": [{"rotation": -90}]}));
        assert_eq!(turned.orientation.code(), 6);
        assert_eq!(turned.upright_size(), (1080, 1920));
        assert!(of(json!({"field_order": "tt"})).interlaced);
        assert!(!of(json!({"field_order": "progressive"})).interlaced);
        assert_eq!(of(json!({"avg_frame_rate": "0/0"})).fps, Some(60.0));
    }

    #[test]
    fn what_is_no_clip_is_told() {
        let sound = json!({"streams": [{"codec_type": "audio"}]});
        assert_eq!(read(Path::new("a"), &sound), Err(SkipReason::NoPicture));
        let cover = clip(json!({"disposition": {"attached_pic": 1}}));
        assert_eq!(read(Path::new("a"), &cover), Err(SkipReason::NoPicture));
        let huge = clip(json!({"width": 90_000}));
        assert!(matches!(read(Path::new("a"), &huge), Err(SkipReason::TooLarge { .. })));
        let small = clip(json!({"width": 64}));
        assert!(matches!(read(Path::new("a"), &small), Err(SkipReason::Unsupported(_))));
    }
}
