//! The scale of a frame from the ruler in it, and what follows from it for the equipment.

use std::path::{Path, PathBuf};

use crate::core::units::GREEN;
use crate::core::{Known, ValueSource};
use crate::error::{Error, Result, SkipReason};
use crate::image::{self, Frame, Picture, THUMB_QUALITY, Want, encode_jpeg};
use crate::optics::{MountedLens, Optics, depth, diffraction};
use crate::report::header::Header;
use crate::report::value::WithError;
use crate::ruler::findings;
use crate::ruler::reading::{RulerReading, measure_ruler};
use crate::ruler::record::{
    BLUR_DISC_PER_DIAGONAL, DepthAt, SCALE_SCHEMA, ScaleProfile, ScaleRecord, TickLine,
};
use crate::store::equipment;
use crate::store::rig::Rig;

/// Longest side of the picture on the page, px.
const PICTURE_PX: usize = 1400;
/// Marked apertures of the table: full stops.
const MARKED: [f64; 8] = [2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
/// Ticks are taken to be this far apart unless it is typed.
pub const TICKS_MM_ASSUMED: f64 = 1.0;
/// Rulers are taken to be made within this share of a length: common practice, no source. It is
/// part of the error given.
pub const RULER_MADE_WITHIN: f64 = 0.001;
/// Without better knowledge a lens is taken to be symmetric.
const PUPIL_RATIO_ASSUMED: f64 = 1.0;

/// What is to be done.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleJob {
    /// The frame.
    pub path: PathBuf,
    /// Distance of the closest ticks, mm, when typed.
    pub ticks_mm: Option<f64>,
    /// Pixel pitch, µm, when typed.
    pub pixel_pitch_um: Option<f64>,
    /// Pupil ratio, when typed.
    pub pupil_ratio: Option<f64>,
    /// The rig that the frame was taken with, when one is named: its pixel pitch, pupil ratio and
    /// what is mounted.
    pub rig: Option<Rig>,
    /// Whether a picture for the page is wanted.
    pub picture: bool,
}

/// The record with what only the page shows.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleResult {
    /// The record.
    pub record: ScaleRecord,
    /// The frame, upright and small.
    pub picture: Option<Picture>,
    /// Brightness across the ticks.
    pub profile: ScaleProfile,
}

/// Reads the scale of a frame. A frame without a ruler is no error: the record says why.
///
/// # Errors
/// A path that does not exist, or a frame that cannot be used.
pub fn scale(job: &ScaleJob) -> Result<ScaleResult> {
    let frame = header(&job.path)?;
    let unusable = |reason: SkipReason| Error::Unusable { path: job.path.clone(), reason };
    let want = if job.picture { Want::Colour } else { Want::Luma };
    let decoded = image::load(&frame, want).map_err(unusable)?;
    let read = measure_ruler(&decoded.luma());
    let picture = job.picture.then(|| {
        let (rgb, w, h) = decoded.rgb_small(PICTURE_PX);
        let (rgb, w, h) = frame.orientation().turn_rgb(&rgb, w, h);
        encode_jpeg(&rgb, w, h, THUMB_QUALITY)
    });
    let mut record = empty(job, &frame);
    let mut profile = ScaleProfile::default();
    match read {
        Ok(reading) => {
            fill(&mut record, &reading, &frame, job.rig.as_ref());
            profile = shown_profile(&reading);
        }
        Err(why) => record.refused = Some(why.to_string()),
    }
    Ok(ScaleResult { record, picture: picture.flatten(), profile })
}

fn header(path: &Path) -> Result<Frame> {
    let unusable = |reason: SkipReason| Error::Unusable { path: path.to_owned(), reason };
    let paths = [path.to_owned()];
    let found = image::find(&paths)?;
    let Some(item) = found.items.first() else {
        let reason = found.skipped.first().map(|s| s.1.clone());
        return Err(match reason {
            Some(reason) => unusable(reason),
            None => Error::NoFrames { paths: paths.to_vec() },
        });
    };
    image::read_header(item).map_err(unusable)
}

fn empty(job: &ScaleJob, frame: &Frame) -> ScaleRecord {
    let of_rig = |v: Option<f64>| v.map(|value| Known { value, from: ValueSource::Rig });
    let rig = job.rig.as_ref();
    let from_file = frame.exposure.as_ref().and_then(|e| e.pixel_pitch_um.clone());
    let (width_px, height_px) = frame.upright_size();
    ScaleRecord {
        header: Header::new(SCALE_SCHEMA),
        path: frame.shown.clone(),
        width_px,
        height_px,
        refused: None,
        ticks_mm: job.ticks_mm.map_or(Known::assumed(TICKS_MM_ASSUMED), Known::typed),
        ticks: None,
        period_px: None,
        period_by_spectrum_px: None,
        object_um_per_px: None,
        angle_deg: None,
        change_along: None,
        change_across: None,
        field_width_mm: None,
        field_height_mm: None,
        pixel_pitch_um: job
            .pixel_pitch_um
            .map(Known::typed)
            .or_else(|| of_rig(rig?.pixel_pitch_um))
            .or(from_file),
        magnification: None,
        pupil_ratio: job
            .pupil_ratio
            .map(Known::typed)
            .or_else(|| of_rig(equipment::optics(rig?, None).pupil_ratio))
            .unwrap_or(Known::assumed(PUPIL_RATIO_ASSUMED)),
        blur_disc_um: None,
        depths: Vec::new(),
        findings: Vec::new(),
        tick_lines: Vec::new(),
    }
}

fn fill(record: &mut ScaleRecord, reading: &RulerReading, frame: &Frame, rig: Option<&Rig>) {
    let turn = frame.orientation();
    let size = (f64::from(frame.width_px), f64::from(frame.height_px));
    let period = reading.period_px;
    // The relative error is the same for everything that follows from the period.
    let share = period.std_err.map(|e| (e / period.value).hypot(RULER_MADE_WITHIN));
    let with = |value: f64| WithError { value, std_err: share.map(|s| s * value) };
    let um_per_px = record.ticks_mm.value * 1000.0 / period.value;
    record.ticks = Some(period.n);
    record.period_px = Some(WithError { value: period.value, std_err: period.std_err });
    record.period_by_spectrum_px = Some(reading.spectrum_px);
    record.object_um_per_px = Some(with(um_per_px));
    record.angle_deg = Some(turn.direction_to_upright(reading.angle_deg).rem_euclid(180.0));
    record.change_along = reading.change_along;
    record.change_across = reading.change_across;
    record.field_width_mm = Some(with(um_per_px * f64::from(record.width_px) / 1000.0));
    record.field_height_mm = Some(with(um_per_px * f64::from(record.height_px) / 1000.0));
    let place = |(x, y): (f64, f64)| turn.to_upright((x + 0.5) / size.0, (y + 0.5) / size.1);
    let line =
        |t: &crate::ruler::reading::Tick| TickLine { from: place(t.from_px), to: place(t.to_px) };
    record.tick_lines = reading.ticks.iter().map(line).collect();
    if let Some(pitch) = record.pixel_pitch_um.as_ref().map(|p| p.value) {
        let magnification = pitch / um_per_px;
        record.magnification = Some(with(magnification));
        let diagonal_px = f64::from(record.width_px).hypot(f64::from(record.height_px));
        let disc_um = diagonal_px * pitch * BLUR_DISC_PER_DIAGONAL;
        record.blur_disc_um = Some(disc_um);
        let lens = rig.map_or_else(MountedLens::default, |rig| equipment::mounted_lens(rig, None));
        let optics = Optics::of(&MountedLens {
            magnification: Some(magnification),
            // As mounted: the record has turned it where the lens is reversed.
            pupil_ratio: Some(record.pupil_ratio.value),
            is_reversed: false,
            ..lens
        });
        record.depths = depths(&optics, disc_um);
    }
    record.findings = findings::findings(record, reading, rig);
}

/// Depths at the marked apertures; none where working f-numbers are not known.
pub fn depths(optics: &Optics, blur_disc_um: f64) -> Vec<DepthAt> {
    let Some(magnification) = optics.magnification.map(|m| m.value) else { return Vec::new() };
    MARKED
        .iter()
        .filter_map(|n| {
            let working = optics.working_f_number(*n)?.value;
            Some(DepthAt {
                marked_f_number: *n,
                working_f_number: working,
                depth_blur_disc_mm: depth::geometric(blur_disc_um, working, magnification).depth_mm,
                depth_quarter_wave_mm: depth::wave(working, magnification, GREEN).depth_mm,
                airy_diameter_um: diffraction::airy_diameter_um(working, GREEN) / magnification,
            })
        })
        .collect()
}

fn shown_profile(reading: &RulerReading) -> ScaleProfile {
    let n = reading.profile.len().max(1) as f64;
    let mean = reading.profile.iter().map(|p| p.1).sum::<f64>() / n;
    ScaleProfile {
        points: reading.profile.iter().map(|(u, v)| (*u, (v - mean).exp())).collect(),
        ticks_px: reading.tick_places_px.clone(),
    }
}
