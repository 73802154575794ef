//! A clip's frames, one after the other, from an ffmpeg that runs beside.
//!
//! ffmpeg writes luma as stored to a pipe, and a line about each frame (`showinfo`) beside it:
//! its time in the clip's own clock, exact for every frame rate, and how it was coded. One thread
//! reads pixels into a few buffers that go round, another reads the lines.

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, ChildStderr, ChildStdout, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::frame::{ClipFrame, FrameType, Layout};
use super::probe::ClipInfo;
use super::tools::{Tools, command, local, missing, only_this_file};
use crate::error::Error;

/// Frames in memory at most: one being filled, one being measured, one between.
const BUFFERS: usize = 3;
/// The line about a frame is written before its pixels; this is for a machine that stands still.
const LINE_PATIENCE: Duration = Duration::from_secs(10);
/// Longest time until the next frame: a slow machine takes some seconds over the largest.
const MAX_FRAME: Duration = Duration::from_secs(60);
/// Complaints kept.
const MAX_COMPLAINTS: usize = 4;

/// Which frames are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ClipPart {
    /// From this time on, s; from the start when `None`.
    pub from_s: Option<f64>,
    /// So many frames; all when `None`.
    pub frames: Option<usize>,
}

/// How a stream ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FfmpegExit {
    /// Whether ffmpeg came to its own end. It does so with a damaged file too, complaining.
    pub by_itself: bool,
    /// What it complained about, the first few lines.
    pub complaints: Vec<String>,
}

/// What the line about a frame says.
#[derive(Debug, Clone, Copy, PartialEq)]
struct StreamLine {
    t_s: Option<f64>,
    frame_type: FrameType,
    interlaced: bool,
}

/// What is heard from ffmpeg.
enum Heard {
    Frame(StreamLine),
    Complaint(String),
}

/// Frames of a clip in order.
#[derive(Debug)]
pub struct ClipStream {
    child: Child,
    pixels: Option<Receiver<Vec<u8>>>,
    heard: Receiver<Heard>,
    used: Option<Sender<Vec<u8>>>,
    threads: Vec<JoinHandle<()>>,
    layout: Layout,
    next: usize,
    fps: f64,
    /// Time of the last frame, for clips that do not tell.
    last_s: f64,
    complaints: Vec<String>,
    /// Whether it was ended because it gave what was not asked for.
    broken: bool,
}

/// How the luma of a pixel format is had.
#[derive(Debug, Clone, PartialEq)]
struct LumaFormat {
    /// The filters that lead to it.
    filter: &'static str,
    /// The pixel format it is asked in, so that its size is certain.
    format: &'static str,
    /// Bytes a sample.
    bytes: usize,
    /// Sample of black and of white.
    black: f32,
    white: f32,
}

fn luma_of(info: &ClipInfo) -> LumaFormat {
    /// Layouts with a plane of luma that ffmpeg hands out as it is.
    const PLANAR: [&str; 13] = [
        "yuv410p", "yuv411p", "yuv420p", "yuv422p", "yuv440p", "yuv444p", "yuvj411p", "yuvj420p",
        "yuvj422p", "yuvj440p", "yuvj444p", "yuva4", "ya",
    ];
    let name = info.pixel_format.as_str();
    let planar = PLANAR.iter().any(|start| name.starts_with(start));
    let grey = name.starts_with("gray") && !name.starts_with("grayf");
    let format = match info.bits {
        0..=8 => "gray",
        9 => "gray9le",
        10 => "gray10le",
        11 | 12 => "gray12le",
        13 | 14 => "gray14le",
        _ => "gray16le",
    };
    let bytes = if info.bits > 8 { 2 } else { 1 };
    if !planar && !grey {
        // RGB, luma packed with colour, and what else there is: full range at full depth.
        let deep = info.bits > 8;
        return LumaFormat {
            filter: "scale=out_range=pc",
            format: if deep { "gray16le" } else { "gray" },
            bytes,
            black: 0.0,
            white: if deep { 65_535.0 } else { 255.0 },
        };
    }
    let filter = if planar { "extractplanes=y" } else { "null" };
    let bits = info.bits.clamp(8, 16);
    let unit = (1u32 << (bits - 8)) as f32;
    // ITU-R BT.709-6, table 4: 16 and 235 of 8 bits, shifted up for more.
    let (black, white) = if info.limited_range {
        (16.0 * unit, 235.0 * unit)
    } else {
        (0.0, ((1u32 << bits) - 1) as f32)
    };
    LumaFormat { filter, format, bytes, black, white }
}

impl ClipStream {
    /// Starts ffmpeg on a clip.
    ///
    /// # Errors
    /// [`Error::NoFfmpeg`] when it cannot be started.
    pub fn open(tools: &Tools, info: &ClipInfo, part: ClipPart) -> Result<ClipStream, Error> {
        let luma = luma_of(info);
        let layout = Layout {
            width: info.width_px as usize,
            height: info.height_px as usize,
            bytes: luma.bytes,
            black: luma.black,
            white: luma.white,
        };
        let mut asked = command(&tools.ffmpeg);
        asked.args(["-nostdin", "-hide_banner", "-nostats", "-loglevel", "level+info"]);
        if let Some(from_s) = part.from_s {
            asked.args(["-ss", &format!("{from_s:.6}")]);
        }
        only_this_file(&mut asked);
        asked.args(["-noautorotate", "-i"]).arg(local(&info.path));
        asked.args(["-map", "0:v:0", "-an", "-sn", "-dn"]);
        asked.args(["-vf", &format!("showinfo=checksum=0,{}", luma.filter)]);
        asked.args(["-pix_fmt", luma.format]);
        if let Some(frames) = part.frames {
            asked.args(["-frames:v", &frames.to_string()]);
        }
        asked.args(["-fps_mode", "passthrough", "-f", "rawvideo", "pipe:1"]);
        asked.stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = asked.spawn().map_err(|source| missing(&tools.ffmpeg, source))?;
        let (pixels_in, pixels) = sync_channel(BUFFERS);
        let (heard_in, heard) = channel();
        let (used, used_out) = channel();
        for _ in 0..BUFFERS {
            let _ = used.send(Vec::new());
        }
        let mut threads = Vec::new();
        if let (Some(stdout), Some(stderr)) = (child.stdout.take(), child.stderr.take()) {
            let size = layout.frame_bytes();
            threads
                .push(std::thread::spawn(move || read_pixels(stdout, size, &used_out, &pixels_in)));
            threads.push(std::thread::spawn(move || read_lines(stderr, &heard_in)));
        }
        Ok(ClipStream {
            child,
            pixels: Some(pixels),
            heard,
            used: Some(used),
            threads,
            layout,
            next: 0,
            fps: info.fps.unwrap_or(25.0),
            last_s: -1.0 / info.fps.unwrap_or(25.0),
            complaints: Vec::new(),
            broken: false,
        })
    }

    /// The next frame; `None` at the end. Give it back with [`ClipStream::give_back`].
    ///
    /// ffmpeg writes one line about each frame. When it takes too long, or gives pixels without a
    /// line, what comes is not what was asked for: the stream ends there with a complaint.
    pub fn next_frame(&mut self) -> Option<ClipFrame> {
        let data = match self.pixels.as_ref()?.recv_timeout(MAX_FRAME) {
            Ok(data) => data,
            Err(RecvTimeoutError::Disconnected) => return None,
            Err(RecvTimeoutError::Timeout) => {
                let seconds = MAX_FRAME.as_secs();
                return self.broken_off(format!("no frame came within {seconds} s"));
            }
        };
        let Some(line) = self.line() else {
            return self.broken_off("frame size differs from the header".into());
        };
        let t_s = line.t_s.unwrap_or(self.last_s + 1.0 / self.fps);
        self.last_s = t_s;
        let index = self.next;
        self.next += 1;
        Some(ClipFrame {
            index,
            t_s,
            frame_type: line.frame_type,
            interlaced: line.interlaced,
            data,
            layout: self.layout,
        })
    }

    /// Ends ffmpeg, which is of no more use.
    fn broken_off(&mut self, why: String) -> Option<ClipFrame> {
        self.complain(why);
        self.broken = true;
        self.pixels = None;
        let _ = self.child.kill();
        None
    }

    fn line(&mut self) -> Option<StreamLine> {
        loop {
            match self.heard.recv_timeout(LINE_PATIENCE) {
                Ok(Heard::Frame(line)) => return Some(line),
                Ok(Heard::Complaint(text)) => self.complain(text),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return None,
            }
        }
    }

    fn complain(&mut self, text: String) {
        if self.complaints.len() < MAX_COMPLAINTS && !self.complaints.contains(&text) {
            self.complaints.push(text);
        }
    }

    /// Takes a frame's memory back for another frame.
    pub fn give_back(&self, frame: ClipFrame) {
        if let Some(used) = &self.used {
            let _ = used.send(frame.data);
        }
    }

    /// Waits for ffmpeg to end and tells how it did.
    pub fn finish(mut self) -> FfmpegExit {
        // Without receivers the threads end even when ffmpeg has more to give.
        self.pixels = None;
        self.used = None;
        let status = self.child.wait();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
        while let Ok(heard) = self.heard.try_recv() {
            if let Heard::Complaint(text) = heard {
                self.complain(text);
            }
        }
        let by_itself = !self.broken && status.is_ok_and(|s| s.success());
        FfmpegExit { by_itself, complaints: std::mem::take(&mut self.complaints) }
    }
}

impl Drop for ClipStream {
    fn drop(&mut self) {
        self.pixels = None;
        self.used = None;
        // Killing a child that has ended is no error worth telling.
        let _ = self.child.kill();
        let _ = self.child.wait();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

fn read_pixels(
    mut from: ChildStdout,
    size: usize,
    used: &Receiver<Vec<u8>>,
    to: &SyncSender<Vec<u8>>,
) {
    while let Ok(mut buffer) = used.recv() {
        buffer.resize(size, 0);
        if from.read_exact(&mut buffer).is_err() || to.send(buffer).is_err() {
            return;
        }
    }
}

fn read_lines(from: ChildStderr, to: &Sender<Heard>) {
    let mut from = BufReader::new(from);
    let mut line = Vec::new();
    let mut second = 0.0;
    loop {
        line.clear();
        match from.read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) => {}
        }
        let text = String::from_utf8_lossy(&line);
        let text = text.trim();
        let heard = if text.contains("Parsed_showinfo") {
            if let Some(base) = text.split("config in time_base: ").nth(1) {
                second = time_base(base).unwrap_or(0.0);
            }
            frame_line(text, second).map(Heard::Frame)
        } else {
            complaint(text).map(Heard::Complaint)
        };
        if let Some(heard) = heard
            && to.send(heard).is_err()
        {
            return;
        }
    }
}

/// Seconds of one tick of a clip's clock, from "1/15360, frame_rate: …".
fn time_base(text: &str) -> Option<f64> {
    let (a, b) = text.split(',').next()?.split_once('/')?;
    let (a, b): (f64, f64) = (a.trim().parse().ok()?, b.trim().parse().ok()?);
    (a > 0.0 && b > 0.0).then(|| a / b)
}

/// The line about a frame, "… n:  12 pts:   6144 … i:P iskey:0 type:B".
fn frame_line(text: &str, second: f64) -> Option<StreamLine> {
    let after = |key: &str| {
        let rest = text.split_once(key)?.1.trim_start();
        rest.split_whitespace().next()
    };
    after(" n:")?;
    let ticks = after(" pts:")?;
    let t_s = ticks.parse::<f64>().ok().filter(|_| second > 0.0).map(|t| t * second);
    Some(StreamLine {
        t_s,
        frame_type: match after(" type:") {
            Some("I") => FrameType::I,
            Some("P") => FrameType::P,
            Some("B") => FrameType::B,
            _ => FrameType::Other,
        },
        interlaced: matches!(after(" i:"), Some("T" | "B")),
    })
}

/// The message of a line at level error or worse, without the part of ffmpeg that speaks.
fn complaint(text: &str) -> Option<String> {
    let marks = ["[error] ", "[fatal] ", "[panic] "];
    let at = marks.iter().find_map(|m| Some(text.find(m)? + m.len()))?;
    let said = text[at..].trim();
    (!said.is_empty()).then(|| said.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn luma_is_asked_in_a_format_of_known_size() {
        let of = |name: &str, bits, limited_range| {
            let info =
                ClipInfo { pixel_format: name.into(), bits, limited_range, ..ClipInfo::default() };
            let l = luma_of(&info);
            (l.filter, l.format, l.bytes, l.black, l.white)
        };
        assert_eq!(of("yuv420p", 8, true), ("extractplanes=y", "gray", 1, 16.0, 235.0));
        // BT.709-6, table 4, 10 bits: 64 and 940.
        assert_eq!(of("yuv422p10le", 10, true), ("extractplanes=y", "gray10le", 2, 64.0, 940.0));
        assert_eq!(of("yuva444p12be", 12, false), ("extractplanes=y", "gray12le", 2, 0.0, 4095.0));
        assert_eq!(of("gray", 8, false), ("null", "gray", 1, 0.0, 255.0));
        assert_eq!(of("gray10le", 10, false), ("null", "gray10le", 2, 0.0, 1023.0));
        assert_eq!(of("gray16be", 16, false), ("null", "gray16le", 2, 0.0, 65_535.0));
        let packed = "scale=out_range=pc";
        assert_eq!(of("gbrp10le", 10, false), (packed, "gray16le", 2, 0.0, 65_535.0));
        assert_eq!(of("rgb24", 8, false), (packed, "gray", 1, 0.0, 255.0));
        assert_eq!(of("nv12", 8, true), (packed, "gray", 1, 0.0, 255.0));
        assert_eq!(of("p010le", 10, true), (packed, "gray16le", 2, 0.0, 65_535.0));
    }

    #[test]
    fn lines_about_frames_are_read() {
        assert_eq!(time_base("1/15360, frame_rate: 30/1"), Some(1.0 / 15360.0));
        let text = "[Parsed_showinfo_0 @ 0x55] [info] n:   3 pts:   1536 pts_time:0.1     pos: 31 \
                    fmt:yuv420p sar:1/1 s:1920x1080 i:T iskey:0 type:B ";
        let line = frame_line(text, 1.0 / 15360.0).unwrap();
        approx::assert_abs_diff_eq!(line.t_s.unwrap(), 0.1, epsilon = 1e-12);
        assert_eq!((line.frame_type, line.interlaced), (FrameType::B, true));
        let timeless = "[Parsed_showinfo_0 @ 0x5] [info] n: 0 pts: NOPTS i:P iskey:1 type:I";
        assert_eq!(frame_line(timeless, 0.01).unwrap().t_s, None);
        assert_eq!(frame_line("[Parsed_showinfo_0 @ 0x5] [info] color_range:unknown", 0.01), None);
    }

    #[test]
    fn only_errors_are_complaints() {
        assert_eq!(complaint("[h264 @ 0x5] [error] broken slice").as_deref(), Some("broken slice"));
        assert_eq!(complaint("[h264 @ 0x5] [warning] odd"), None);
        assert_eq!(complaint("  Stream #0:0: Video"), None);
    }
}
