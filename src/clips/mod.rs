//! A clip from end to end: watch it go by, judge its frames, cut it into stretches, say why.
//!
//! Frames are decoded once; what is kept of each is some hundred bytes, so memory hardly grows
//! with the length of the clip. The few pictures of a page are fetched again.

pub mod chapters;
pub mod columns;
mod cut;
pub mod edit_timeline;
mod exposure;
pub mod findings;
pub mod log_entry;
mod meter;
pub mod page;
pub mod page_data;
pub mod record;
mod scout;
mod sentences;
mod stretch;
pub mod table;
pub mod terminal;
mod time_line;
mod to_record;
mod verdicts;

pub use cut::{ClipStretches, SHORTEST_S};
pub use exposure::ClipExposure;
pub use meter::{ClipMeter, FrameObservation, GreyThumb, SAMPLE_EVERY, Sample};
pub use verdicts::{ClipFrameVerdict, ClipVerdict, clip_noise, judge};

use std::path::PathBuf;

use crate::clips::record::{CLIP_SCHEMA, ClipRecord, ClipsRecord, SpanVerdict};
use crate::core::progress::{Progress, ProgressStep};
use crate::error::{Error, Result, SkipReason};
use crate::image::clip::{self, ClipInfo, ClipPart, ClipStream, FfmpegExit, RgbPicture, Tools};
use crate::image::{CROP_PX, CROP_QUALITY, Picture, THUMB_QUALITY, encode_jpeg};
use crate::report::header::Header;
use crate::report::parts::{SkippedRecord, SubjectFound};
use crate::store::equipment::Equipment;
use crate::tracking::frame_features::patch_corner;
use crate::tracking::subject_hints::box_for;
use page_data::{ClipPage, ClipPicture};

/// Side of the box about the subject, px: narrow clips, and those 2500 px wide and more.
const BOX_PX: (usize, usize) = (96, 128);
/// Width from which the larger box is taken, px.
const WIDE_PX: u32 = 2500;
/// Crops of best frames on a page at most.
const MAX_CROPS: usize = 6;
/// Pictures of the time line on a page.
const THUMBS_SHOWN: usize = 8;

/// What was typed about clips and what is wanted of them.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipJob {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// The programs that decode.
    pub tools: Tools,
    /// The subject in the first frame, fractions of the upright picture.
    pub subject: Option<(f64, f64)>,
    /// Its width and height, when given.
    pub subject_size: Option<(f64, f64)>,
    /// Marked f-number.
    pub f_number: Option<f64>,
    /// The rigs that clips may have been taken with.
    pub equipment: Equipment,
    /// Magnification on the sensor.
    pub magnification: Option<f64>,
    /// Distance on the sensor between pixels of the clip, µm.
    pub pixel_pitch_um: Option<f64>,
    /// Exposure of each frame, s.
    pub shutter_s: Option<f64>,
    /// Frame rate at which it will be played.
    pub play_fps: Option<f64>,
    /// Size it will be delivered at, px.
    pub deliver_px: Option<(u32, u32)>,
    /// Length of the stretch that is wanted, s.
    pub stretch_s: Option<f64>,
    /// Whether pictures for a page are wanted.
    pub pictures: bool,
    /// Whether best frames are to be handed over whole.
    pub stills: bool,
}

impl ClipJob {
    /// Clips of which nothing else is known and nothing else is wanted.
    pub fn new(paths: Vec<PathBuf>, tools: Tools) -> ClipJob {
        ClipJob {
            paths,
            tools,
            subject: None,
            subject_size: None,
            f_number: None,
            equipment: Equipment::default(),
            magnification: None,
            pixel_pitch_um: None,
            shutter_s: None,
            play_fps: None,
            deliver_px: None,
            stretch_s: None,
            pictures: false,
            stills: false,
        }
    }
}

/// A clip as it was watched, before it is judged.
#[derive(Debug)]
pub struct ClipMeasurement {
    /// What it says of itself.
    pub info: ClipInfo,
    /// How it was taken.
    pub taken: ClipExposure,
    /// Frame by frame.
    pub seen: Vec<FrameObservation>,
    /// Frames measured as a whole.
    pub samples: Vec<Sample>,
    /// Pictures for the time line.
    pub thumbs: Vec<GreyThumb>,
    /// How the subject was found.
    pub found: SubjectFound,
    /// Side of the box about it, px.
    pub box_px: usize,
    /// How the decoding ended.
    pub ending: Option<FfmpegExit>,
}

/// What goes out as clips are done.
pub trait ClipSink {
    /// A clip is judged.
    ///
    /// # Errors
    /// Whatever stops the run.
    fn clip(&mut self, page: &ClipPage) -> Result<()>;
    /// One of its best frames, whole; only when stills are wanted.
    ///
    /// # Errors
    /// Whatever stops the run.
    fn still(&mut self, clip: &ClipRecord, t_s: f64, picture: &RgbPicture) -> Result<()>;
}

/// Works through clips. Returns the record and whether the run was interrupted.
///
/// # Errors
/// A path that does not exist, no clip at all, no ffmpeg, or whatever `sink` returns.
pub fn clips(
    job: &ClipJob,
    listener: &dyn Progress,
    sink: &mut dyn ClipSink,
) -> Result<(ClipsRecord, bool)> {
    let found = clip::find(&job.paths)?;
    if found.clips.is_empty() && found.skipped.is_empty() {
        return Err(Error::NoClips { paths: job.paths.clone() });
    }
    if !found.clips.is_empty() {
        job.tools.check()?;
    }
    let skip = |path: &str, reason: &SkipReason| SkippedRecord::new(path.to_owned(), reason);
    let mut record = ClipsRecord {
        header: Header::new(CLIP_SCHEMA),
        clips: Vec::new(),
        skipped: found.skipped.iter().map(|(p, r)| skip(p, r)).collect(),
    };
    for (path, shown) in &found.clips {
        if listener.stopped() {
            return Ok((record, true));
        }
        let watched = match clip::probe(&job.tools, path)? {
            Ok(info) => watch(job, info, listener)?,
            Err(reason) => Err(reason),
        };
        match watched {
            Ok(watched) => {
                let clip = to_record::record(job, &watched, shown);
                let page = page(job, &watched, clip, sink)?;
                sink.clip(&page)?;
                record.clips.push(page.clip);
            }
            Err(reason) => record.skipped.push(skip(shown, &reason)),
        }
    }
    Ok((record, listener.stopped()))
}

/// Lets a clip go by.
///
/// # Errors
/// Outer: ffmpeg cannot be started. Inner: no frame could be decoded.
pub fn watch(
    job: &ClipJob,
    info: ClipInfo,
    listener: &dyn Progress,
) -> Result<std::result::Result<ClipMeasurement, SkipReason>> {
    let size = (info.width_px as usize, info.height_px as usize);
    let marked = job.subject.map(|(x, y)| {
        let (x, y) = info.orientation.to_file(x, y);
        (x * size.0 as f64, y * size.1 as f64)
    });
    let (start, found) = match marked {
        Some(place) => (Some(place), SubjectFound::Marked),
        None => match scout::find_subject(&job.tools, &info)? {
            Some(s) => (Some(s.place), SubjectFound::Automatic),
            None => (None, SubjectFound::None),
        },
    };
    let usual = if info.width_px.max(info.height_px) >= WIDE_PX { BOX_PX.1 } else { BOX_PX.0 };
    let (w, h) = info.upright_size();
    let box_px = job
        .subject_size
        .map_or(usual, |(x, y)| box_for(x * f64::from(w), y * f64::from(h)))
        .min(size.0.min(size.1) / 32 * 32 - 32);
    let expected = info.duration_s.zip(info.fps).map_or(0, |(d, f)| (d * f).round() as usize);
    let mut stream = ClipStream::open(&job.tools, &info, ClipPart::default())?;
    let mut watch = ClipMeter::new(size, start, box_px);
    let mut stopped = false;
    while let Some(frame) = stream.next_frame() {
        watch.frame(&frame);
        stream.give_back(frame);
        let done = watch.seen.len();
        listener.progress(ProgressStep { done, total: expected.max(done) });
        if listener.stopped() {
            stopped = true;
            break;
        }
    }
    let ending = if stopped { None } else { Some(stream.finish()) };
    let ClipMeter { seen, samples, thumbs, .. } = watch;
    if seen.is_empty() {
        let said = ending.and_then(|e| e.complaints.into_iter().next());
        let said = said.unwrap_or_else(|| "it holds none".to_owned());
        return Ok(Err(SkipReason::NoClipFrames(said)));
    }
    let taken = ClipExposure::of(job, &info);
    Ok(Ok(ClipMeasurement { info, taken, seen, samples, thumbs, found, box_px, ending }))
}

/// Judges and cuts a clip that was watched; for benches and other programs.
pub fn recorded(job: &ClipJob, watched: &ClipMeasurement, shown: &str) -> ClipRecord {
    to_record::record(job, watched, shown)
}

/// Time at which a seek lands on the frame at `t_s` of `times_s`: half way from the one before.
fn seek_for(seen: &[FrameObservation], t_s: f64) -> f64 {
    let at = seen.partition_point(|s| s.t_s < t_s - 1e-9);
    let before = at.checked_sub(1).and_then(|i| seen.get(i)).map(|s| s.t_s);
    before.map_or(0.0, |b| (b + t_s) / 2.0)
}

fn page(
    job: &ClipJob,
    watched: &ClipMeasurement,
    clip: ClipRecord,
    sink: &mut dyn ClipSink,
) -> Result<ClipPage> {
    let mut crops = Vec::new();
    let mut shown = 0;
    for span in &clip.spans {
        let worth = matches!(span.verdict, SpanVerdict::InFocus | SpanVerdict::Near);
        if !worth || !(job.pictures || job.stills) {
            continue;
        }
        let Some(t_s) = span.best_frame_s else { continue };
        let pictured = job.pictures && shown < MAX_CROPS;
        let kept = job.stills && span.verdict == SpanVerdict::InFocus;
        if !pictured && !kept {
            continue;
        }
        let from_s = seek_for(&watched.seen, t_s);
        let fetched = clip::picture_at(&job.tools, &watched.info, from_s)?;
        let Ok(picture) = fetched else { continue };
        if kept {
            sink.still(&clip, t_s, &picture)?;
        }
        let row = clip.frames_table.iter().find(|r| (r.t_s - t_s).abs() < 1e-9);
        let place = row.and_then(|r| Some((r.subject_x?, r.subject_y?)));
        if let Some((x, y)) = place.filter(|_| pictured)
            && let Some(crop) = crop(&picture, x, y)
        {
            shown += 1;
            crops.push(ClipPicture { t_s, picture: crop });
        }
    }
    let every = watched.thumbs.len().div_ceil(THUMBS_SHOWN).max(1);
    let thumbs = watched.thumbs.iter().step_by(every).filter(|_| job.pictures);
    let thumbs = thumbs
        .filter_map(|t| {
            let (grey, w, h) = watched.info.orientation.turn(&t.grey, t.width, t.height);
            let rgb: Vec<u8> = grey.iter().flat_map(|v| [*v; 3]).collect();
            let picture = encode_jpeg(&rgb, w, h, THUMB_QUALITY)?;
            Some(ClipPicture { t_s: t.t_s, picture })
        })
        .collect();
    Ok(ClipPage { clip, crops, thumbs })
}

/// The surroundings of the subject at 100 %.
fn crop(picture: &RgbPicture, x: f64, y: f64) -> Option<Picture> {
    let (w, h) = (picture.width_px, picture.height_px);
    let (x0, y0) = patch_corner(x * w as f64, y * h as f64, CROP_PX, (w, h));
    let (cw, ch) = (CROP_PX.min(w - x0), CROP_PX.min(h - y0));
    let mut rgb = Vec::with_capacity(cw * ch * 3);
    for row in y0..y0 + ch {
        let at = (row * w + x0) * 3;
        rgb.extend_from_slice(&picture.rgb[at..at + cw * 3]);
    }
    encode_jpeg(&rgb, cw, ch, CROP_QUALITY)
}
