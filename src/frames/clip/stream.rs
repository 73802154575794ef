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
use super::tools::{Tools, command, local, missing};
use crate::error::Error;

/// Frames in memory at most: one being filled, one being measured, one between.
const BUFFERS: usize = 3;
/// The line about a frame is written before its pixels; this is for a machine that stands still.
const LINE_PATIENCE: Duration = Duration::from_secs(10);
/// Complaints kept.
const COMPLAINTS_MOST: usize = 4;

/// Which frames are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Part {
    /// From this time on, s; from the start when `None`.
    pub from_s: Option<f64>,
    /// So many frames; all when `None`.
    pub frames: Option<usize>,
}

/// How a stream ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ending {
    /// Whether ffmpeg came to its own end. It does so with a damaged file too, complaining.
    pub by_itself: bool,
    /// What it complained about, the first few lines.
    pub complaints: Vec<String>,
}

/// What the line about a frame says.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Line {
    t_s: Option<f64>,
    frame_type: FrameType,
    interlaced: bool,
}

/// What is heard from ffmpeg.
enum Heard {
    Frame(Line),
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
}

/// How the luma of a pixel format is had: the filter, bytes a sample, black and white.
fn luma_of(info: &ClipInfo) -> (&'static str, usize, f32, f32) {
    let format = info.pixel_format.as_str();
    let planar = format.starts_with("yuv") && format.contains('p') && !format.ends_with("be");
    if !planar && !format.starts_with("gray") {
        return ("scale=out_range=pc,format=gray", 1, 0.0, 255.0);
    }
    let filter = if planar { "extractplanes=y" } else { "null" };
    let most = ((1u32 << info.bits) - 1) as f32;
    let unit = (1u32 << (info.bits - 8)) as f32;
    let bytes = if info.bits > 8 { 2 } else { 1 };
    // ITU-R BT.709-6, table 4: 16 and 235 of 8 bits, shifted up for more.
    if info.limited_range {
        (filter, bytes, 16.0 * unit, 235.0 * unit)
    } else {
        (filter, bytes, 0.0, most)
    }
}

impl ClipStream {
    /// Starts ffmpeg on a clip.
    ///
    /// # Errors
    /// [`Error::NoFfmpeg`] when it cannot be started.
    pub fn open(tools: &Tools, info: &ClipInfo, part: Part) -> Result<ClipStream, Error> {
        let (filter, bytes, black, white) = luma_of(info);
        let layout = Layout {
            width: info.width_px as usize,
            height: info.height_px as usize,
            bytes,
            black,
            white,
        };
        let mut asked = command(&tools.ffmpeg);
        asked.args(["-nostdin", "-hide_banner", "-nostats", "-loglevel", "level+info"]);
        if let Some(from_s) = part.from_s {
            asked.args(["-ss", &format!("{from_s:.6}")]);
        }
        asked.args(["-protocol_whitelist", "file", "-noautorotate", "-i"]).arg(local(&info.path));
        asked.args(["-map", "0:v:0", "-an", "-sn", "-dn"]);
        asked.args(["-vf", &format!("showinfo=checksum=0,{filter}")]);
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
        })
    }

    /// The next frame; `None` at the end. Give it back with [`ClipStream::give_back`].
    pub fn next_frame(&mut self) -> Option<ClipFrame> {
        let data = self.pixels.as_ref()?.recv().ok()?;
        let line = self.line();
        let t_s = line.and_then(|l| l.t_s).unwrap_or(self.last_s + 1.0 / self.fps);
        self.last_s = t_s;
        let index = self.next;
        self.next += 1;
        Some(ClipFrame {
            index,
            t_s,
            frame_type: line.map_or(FrameType::Other, |l| l.frame_type),
            interlaced: line.is_some_and(|l| l.interlaced),
            data,
            layout: self.layout,
        })
    }

    fn line(&mut self) -> Option<Line> {
        loop {
            match self.heard.recv_timeout(LINE_PATIENCE) {
                Ok(Heard::Frame(line)) => return Some(line),
                Ok(Heard::Complaint(text)) => self.complain(text),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return None,
            }
        }
    }

    fn complain(&mut self, text: String) {
        if self.complaints.len() < COMPLAINTS_MOST && !self.complaints.contains(&text) {
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
    pub fn finish(mut self) -> Ending {
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
        let by_itself = status.is_ok_and(|s| s.success());
        Ending { by_itself, complaints: std::mem::take(&mut self.complaints) }
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
fn frame_line(text: &str, second: f64) -> Option<Line> {
    let after = |key: &str| {
        let rest = text.split_once(key)?.1.trim_start();
        rest.split_whitespace().next()
    };
    after(" n:")?;
    let ticks = after(" pts:")?;
    let t_s = ticks.parse::<f64>().ok().filter(|_| second > 0.0).map(|t| t * second);
    Some(Line {
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
