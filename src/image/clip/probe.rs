//! What a clip says about itself, asked of ffprobe.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::tools::{Tools, answer, command, local, no_answer, only_this_file};
use crate::error::{Error, SkipReason};
use crate::image::Orientation;
use crate::image::exposure::body_name;

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
        body_name(self.make.as_deref(), self.model.as_deref())
    }
}

/// Asks ffprobe about a clip.
///
/// # Errors
/// Outer: [`Error::NoFfmpeg`] when ffprobe cannot be started. Inner: why this clip cannot be used.
pub fn probe(tools: &Tools, path: &Path) -> Result<Result<ClipInfo, SkipReason>, Error> {
    let mut asked = command(&tools.ffprobe);
    asked.args(["-v", "error", "-of", "json"]);
    only_this_file(&mut asked);
    asked.args(["-show_format", "-show_streams"]).arg(local(path));
    let Some(answer) = answer(asked, &tools.ffprobe)? else {
        return Ok(Err(SkipReason::NotAClip(no_answer())));
    };
    let said = said(&answer.stderr, path);
    if !answer.done {
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
    let line = line.trim().replace(&name, "");
    // ffmpeg's words for a container that is not among those that are read.
    if text.contains("Format not on whitelist") {
        return "a play list or another file that refers to other files, or not a video".into();
    }
    line
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
    let range = video["color_range"].as_str();
    let full = pixel_format.starts_with("yuvj") || range == Some("pc");
    // Grey is full unless the file says otherwise; RGB has no other range.
    let limited = if is_grey(&pixel_format) { range == Some("tv") } else { !full };
    let seconds = |v: &Value| v.as_str()?.parse::<f64>().ok().filter(|s| *s > 0.0);
    Ok(ClipInfo {
        path: path.to_owned(),
        width_px,
        height_px,
        orientation: orientation(video),
        codec: text(&video["codec_name"]).unwrap_or_else(|| "unknown".into()),
        bits: bits(&pixel_format, &video["bits_per_raw_sample"]),
        limited_range: limited && !is_rgb(&pixel_format),
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
    ["rgb", "bgr", "gbr", "0rgb", "0bgr", "argb", "abgr", "x2rgb", "x2bgr", "pal8"]
        .iter()
        .any(|k| pixel_format.starts_with(k))
}

fn is_grey(pixel_format: &str) -> bool {
    ["gray", "ya8", "ya16", "mono"].iter().any(|k| pixel_format.starts_with(k))
}

/// Bits a sample, 8 to 16, from the name of the pixel format as ffmpeg builds it: the depth of one
/// sample stands at its end ("gray12le", "yuva444p10be", "p010le", "y210le"), after RGB without
/// planes that of a whole pixel ("rgb48le", "rgba64be"). For names of another form, what the file
/// says of its samples.
fn bits(pixel_format: &str, raw_sample: &Value) -> u32 {
    let plain = pixel_format.trim_end_matches("le").trim_end_matches("be");
    if plain.contains("f16") || plain.contains("f32") {
        return 16;
    }
    let packed = ["rgb48", "bgr48", "rgba64", "bgra64"];
    if packed.iter().any(|name| plain.starts_with(name)) {
        return 16;
    }
    if ["x2rgb10", "x2bgr10", "v30x", "xv30", "nv20"].iter().any(|name| plain.starts_with(name)) {
        return 10;
    }
    let with_depth = ["yuv", "gbr", "gray", "ya16", "xyz", "bayer"];
    let semi_planar = ["p0", "p2", "p4", "y2", "xv"];
    let mut depths = [16, 14, 12, 10, 9].iter().filter(|d| plain.ends_with(&d.to_string()));
    let depth = depths.next().copied();
    if with_depth.iter().chain(&semi_planar).any(|name| plain.starts_with(name)) {
        // "gbrap14" and "yuv420p9" end in their depth, "yuv420p" and "nv16" in none.
        return depth.unwrap_or(8);
    }
    let known =
        ["nv", "yuyv", "uyvy", "yvyu", "rgb", "bgr", "argb", "abgr", "0rgb", "0bgr", "pal8"];
    if known.iter().any(|name| plain.starts_with(name)) || is_grey(plain) {
        return 8;
    }
    let said = raw_sample.as_str().and_then(|t| t.parse::<u32>().ok());
    said.filter(|b| (8..=16).contains(b)).unwrap_or(8)
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

    // Names as `ffmpeg -pix_fmts` lists them.
    #[test]
    fn depth_of_every_layout() {
        let of = |name: &str| bits(name, &Value::Null);
        let eight = [
            "gray", "ya8", "yuv420p", "yuvj444p", "yuva420p", "yuv411p", "nv12", "nv16", "yuyv422",
            "rgb24", "bgra", "0rgb", "gbrp", "gbrap", "pal8", "monow", "argb",
        ];
        for name in eight {
            assert_eq!(of(name), 8, "{name}");
        }
        let deeper = [
            ("gray9le", 9),
            ("gray10le", 10),
            ("gray12be", 12),
            ("gray14le", 14),
            ("gray16le", 16),
            ("grayf32le", 16),
            ("ya16be", 16),
            ("yuv420p9le", 9),
            ("yuv422p10le", 10),
            ("yuva444p12be", 12),
            ("yuv444p16le", 16),
            ("p010le", 10),
            ("p416be", 16),
            ("y212le", 12),
            ("nv20le", 10),
            ("gbrp10le", 10),
            ("gbrp14be", 14),
            ("gbrap12le", 12),
            ("gbrpf32le", 16),
            ("rgb48le", 16),
            ("bgra64be", 16),
            ("x2rgb10le", 10),
            ("xyz12le", 12),
        ];
        for (name, depth) in deeper {
            assert_eq!(of(name), depth, "{name}");
        }
        assert_eq!(bits("of_tomorrow", &json!("12")), 12);
        assert_eq!(bits("of_tomorrow", &json!("40")), 8);
    }

    #[test]
    fn grey_is_full_unless_it_says_otherwise() {
        let of = |extra| read(Path::new("a.mkv"), &clip(extra)).unwrap();
        assert!(!of(json!({"pix_fmt": "gray16le"})).limited_range);
        assert!(of(json!({"pix_fmt": "gray10le", "color_range": "tv"})).limited_range);
        assert!(!of(json!({"pix_fmt": "gbrp10le", "color_range": "tv"})).limited_range);
        assert!(of(json!({"pix_fmt": "yuv444p10le"})).limited_range);
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
