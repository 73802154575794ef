//! Stretches worth keeping as an OpenTimelineIO file (an open standard of the Academy Software
//! Foundation; schema names and fields as in its documentation, "Serialized schema").
//!
//! One timeline with one track: the stretches in focus of every clip, one after the other, each
//! pointing into its file.

use std::io::{self, Write};
use std::path::Path;

use serde_json::{Value, json};

use crate::clips::record::{ClipRecord, SpanRecord, SpanVerdict};

/// Writes the timeline.
///
/// # Errors
/// What the writer says.
pub fn write(clips: &[ClipRecord], out: impl Write) -> io::Result<()> {
    crate::report::json::write(&timeline(clips), out)
}

fn timeline(clips: &[ClipRecord]) -> Value {
    let kept: Vec<Value> = clips
        .iter()
        .flat_map(|c| {
            let spans = c.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus);
            spans.enumerate().map(move |(i, s)| item(c, s, i + 1))
        })
        .collect();
    json!({
        "OTIO_SCHEMA": "Timeline.1",
        "name": "in focus",
        "global_start_time": null,
        "metadata": {"stopwise": {"version": env!("CARGO_PKG_VERSION")}},
        "tracks": {
            "OTIO_SCHEMA": "Stack.1",
            "name": "tracks",
            "source_range": null,
            "effects": [], "markers": [], "metadata": {},
            "children": [{
                "OTIO_SCHEMA": "Track.1",
                "name": "in focus",
                "kind": "Video",
                "source_range": null,
                "effects": [], "markers": [], "metadata": {},
                "children": kept,
            }],
        },
    })
}

/// From a start to an end, in frames of the clip's own rate; both ends are rounded, so that what
/// lies inside stays inside. Uneven frames are counted at the mean rate.
fn range(clip: &ClipRecord, start_s: f64, length_s: f64) -> Value {
    let frames = |seconds: f64| (seconds * clip.fps).round();
    let time =
        |value: f64| json!({"OTIO_SCHEMA": "RationalTime.1", "rate": clip.fps, "value": value});
    let start = frames(start_s);
    json!({
        "OTIO_SCHEMA": "TimeRange.1",
        "start_time": time(start),
        "duration": time(frames(start_s + length_s) - start),
    })
}

fn item(clip: &ClipRecord, span: &SpanRecord, number: usize) -> Value {
    let start = clip.spans.first().map_or(0.0, |s| s.start_s);
    let markers: Vec<Value> = span
        .best_frame_s
        .iter()
        .map(|t| {
            json!({
                "OTIO_SCHEMA": "Marker.2",
                "name": "best frame",
                "comment": "",
                "color": "WHITE",
                "marked_range": range(clip, *t, 1.0 / clip.fps),
                "metadata": {},
            })
        })
        .collect();
    json!({
        "OTIO_SCHEMA": "Clip.1",
        "name": format!("{} {number}", clip.path),
        "source_range": range(clip, span.start_s, span.end_s - span.start_s),
        "effects": [],
        "markers": markers,
        "metadata": {"stopwise": {
            "blur_sigma_px": span.blur_sigma_px.map(|b| b.value),
            "steadiness_px": span.steadiness_px,
            "crop_max": span.crop_max.map(|c| c.value),
        }},
        "media_reference": {
            "OTIO_SCHEMA": "ExternalReference.1",
            "name": clip.path,
            "target_url": file_url(&clip.source),
            "available_range": range(clip, start, clip.length_s),
            "metadata": {},
        },
    })
}

/// The file as a URL (RFC 8089), every byte that is not unreserved or a slash in per cent (RFC
/// 3986, 2.1).
fn file_url(path: &Path) -> String {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut url = String::from("file://");
    for byte in whole.as_os_str().as_encoded_bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(byte) {
            url.push(char::from(*byte));
        } else {
            url.push_str(&format!("%{byte:02X}"));
        }
    }
    url
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_all_kinds_make_a_url() {
        assert_eq!(file_url(Path::new("/a b/ü#1.mp4")), "file:///a%20b/%C3%BC%231.mp4");
    }
}
