//! From what was measured to the rows of the record.

use super::burst_verdict::{BurstVerdict, FrameVerdict};
use super::explain;
use super::measured_frame::MeasuredFrame;
use super::record::{
    AtOutput, CauseShare, FrameRecord, MapRecord, MotionRecord, Sharpest, SubjectAt,
};
use crate::core::units::PitchUm;
use crate::core::verdict::{Cause, Verdict, grade};
use crate::core::{Flag, FlagSet, Measured, path_text};
use crate::detail::information::{Detail, detail};
use crate::image::{FileKind, Frame};
use crate::noise::spectrum::Spectrum;
use crate::optics::diffraction;
use crate::optics::resolved::working_f_number;
use crate::report::parts::FrameSource;
use crate::sharpness::focus_map::{FocusMap, TILE_PX};
use crate::sharpness::subject_blur::Attainable;
use crate::store::equipment;
use crate::store::exposure_record::exposure_record;
use crate::store::overrides::UserOverrides;
use crate::tracking::frame_features::{FrameFeatures, Patch};

/// Blur of one pixel of the output, equal in MTF50 to a Gaussian of this many of its pixels
/// (facts M15: 0.310582 of the box's width).
const OUTPUT_PIXEL_SIGMA: f64 = 0.310_582;
/// No reference at the output is taken finer than this, output pixels.
const OUTPUT_FLOOR_PX: f64 = 0.5;
/// Share of the allowed blur squared that diffraction must make to be named on a hit.
const DIFFRACTION_SHARE: f64 = 0.6;
/// Allowed blur from which diffraction is worth naming, px.
const DIFFRACTION_FROM_PX: f64 = 1.5;
/// Magnification taken for granted when none is typed: life size.
const MAGNIFICATION_ASSUMED: f64 = 1.0;
/// Side of the region in which detail is measured, px.
pub const DETAIL_PX: usize = 256;

/// What a frame's settings can give at best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettingsBlur {
    /// Blur, px.
    pub sigma_px: f64,
    /// The part of its square that diffraction makes, 0..1.
    pub diffraction_share: f64,
    /// Working f-number.
    pub n_eff: f64,
    /// Diffraction cutoff, cycles per pixel.
    pub cutoff_cy_px: f64,
    /// Whether the magnification was assumed.
    pub assumed: bool,
}

impl SettingsBlur {
    /// What verdicts need of it, for one frame.
    pub fn attainable(&self, frame: &Frame) -> Attainable {
        let flash = frame.exposure.as_ref().and_then(|e| e.flash.as_ref());
        Attainable {
            sigma_px: self.sigma_px,
            cutoff_cy_px: self.cutoff_cy_px,
            flash: flash.is_none_or(|f| f.value.fired),
        }
    }
}

/// Whether a picture was made smaller (or larger) after capture: it has another width than the
/// camera recorded.
pub fn made_small(frame: &Frame) -> bool {
    // The size recorded in a raw file is that of the camera's own rendering.
    let Some(e) = frame.exposure.as_ref().filter(|_| frame.kind != FileKind::Raw) else {
        return false;
    };
    e.recorded_width_px.as_ref().is_some_and(|w| w.value != frame.width_px)
}

/// Blur that the settings of a frame allow, from diffraction and the pixel; `None` when the
/// f-number or the pixel pitch is not known.
pub fn allowed(frame: &Frame, typed: &UserOverrides) -> Option<SettingsBlur> {
    let settings = equipment::settings(frame, typed);
    let pitch = settings.pixel_pitch_um.as_ref()?.value;
    let (n_eff, assumed) = match (settings.working_f_number, settings.f_number) {
        (Some(n), _) => (n.value, false),
        // A symmetric lens at life size is assumed: nothing tells.
        (None, Some(n)) => (working_f_number(n.value, MAGNIFICATION_ASSUMED, 1.0), true),
        (None, None) => return None,
    };
    let light = settings.wavelength;
    let sigma_px = diffraction::sigma_settings_px(n_eff, PitchUm(pitch), light);
    let own = diffraction::sigma_diffraction_um(n_eff, light) / pitch;
    Some(SettingsBlur {
        sigma_px,
        diffraction_share: (own / sigma_px).powi(2).min(1.0),
        n_eff,
        cutoff_cy_px: diffraction::cutoff_cy_px(n_eff, PitchUm(pitch), light),
        assumed,
    })
}

/// Detail in the surroundings of the subject, over the frame's own noise.
pub fn subject_detail(shot: &FrameFeatures, patch: &Patch) -> Option<(Detail, Spectrum)> {
    let plane = patch.plane();
    let mean = plane.data.iter().sum::<f32>() / plane.data.len().max(1) as f32;
    let noise = shot.rendered_noise.as_ref()?.spectrum_at(f64::from(mean))?;
    let spectrum = Spectrum::of(&plane)?;
    Some((detail(&spectrum, &noise)?, spectrum))
}

/// Everything known of one frame of a judged burst.
#[derive(Debug, Clone, Copy)]
pub struct FrameParts<'a> {
    /// The file.
    pub frame: &'a Frame,
    /// What was measured.
    pub taken: &'a MeasuredFrame,
    /// The verdict.
    pub judged: &'a FrameVerdict,
    /// What the settings allow.
    pub allowed: Option<SettingsBlur>,
    /// Detail at the subject, bits per pixel.
    pub detail_bits_px: Option<Measured>,
    /// Whether this is the burst's best.
    pub is_best: bool,
}

/// The row of one frame.
pub fn frame_row(
    parts: FrameParts<'_>,
    burst: &BurstVerdict,
    burst_id: u32,
    typed: &UserOverrides,
) -> FrameRecord {
    let FrameParts { frame, taken, judged, allowed, detail_bits_px, .. } = parts;
    let turn = frame.orientation();
    let (width_px, height_px) = frame.upright_size();
    let upright = |x_px: f64, y_px: f64| {
        turn.to_upright(x_px / f64::from(frame.width_px), y_px / f64::from(frame.height_px))
    };
    let mut flags = judged.flags;
    raise_for_frame(&mut flags, frame, taken, burst);
    let mut causes = judged.causes.clone();
    if let Some(a) = allowed
        && a.sigma_px >= DIFFRACTION_FROM_PX
        && a.diffraction_share >= DIFFRACTION_SHARE
        && judged.verdict == Verdict::Hit
    {
        causes.push(CauseShare { cause: Cause::Diffraction, share: Some(a.diffraction_share) });
    }
    FrameRecord {
        path: frame.shown.clone(),
        file: frame.path.clone(),
        partner: frame.partner.as_deref().map(path_text),
        source: if frame.kind == FileKind::Raw { FrameSource::Raw } else { FrameSource::Rendered },
        burst: burst_id,
        width_px,
        height_px,
        exposure: exposure_record(frame, typed),
        verdict: judged.verdict,
        because: explain::frame_reason(parts, burst, &causes),
        causes,
        subject: judged.place.map(|p| {
            let (x, y) = upright(p.x_px, p.y_px);
            SubjectAt { x, y, confidence: p.confidence }
        }),
        blur_sigma_px: judged.judged_px,
        blur_low_px: judged.range.map(|r| r.low_px),
        blur_high_px: judged.range.map(|r| r.high_px),
        blur_by: judged.range.map(|r| r.by),
        attainable_blur_px: allowed.map(|a| a.sigma_px),
        blur_ratio: judged.ratio,
        focus: judged.subject.as_ref().and_then(|s| {
            Measured::new(s.energy, s.energy_std_err, (TILE_PX * TILE_PX * 9 / 4) as u32)
        }),
        noise_sigma_dn: taken
            .shot
            .rendered_noise
            .as_ref()
            .and_then(|n| n.sigma_dn.map(|m| m.flagged(n.flags))),
        detail_bits_px,
        motion: judged.movement.map(|m| MotionRecord {
            length_px: m.smear.length_px,
            length_std_err_px: Some(m.smear.length_std_err_px),
            // Measured from x towards y, which points down in the file.
            direction_deg: turn.direction_to_upright(-m.smear.direction_deg).rem_euclid(180.0),
        }),
        sharpest: judged.sharpest.map(|(x, y, blur)| {
            let (x, y) = upright(x, y);
            Sharpest { x, y, blur_sigma_px: blur }
        }),
        sharp_area: judged.sharp_area,
        whole_frame_lap_var: Some(taken.plain_lap_var).filter(|v| v.is_finite()),
        subject_mean_dn: judged.subject.as_ref().map(|s| s.mean_dn),
        at_output: typed
            .output_width_px
            .and_then(|w| at_output(judged, burst.reference_px, width_px, w)),
        flags,
    }
}

fn raise_for_frame(
    flags: &mut FlagSet,
    frame: &Frame,
    taken: &MeasuredFrame,
    burst: &BurstVerdict,
) {
    match frame.exposure.as_ref() {
        None => {
            flags.raise(Flag::NoExposure);
            flags.raise(Flag::NoTime);
        }
        Some(e) => {
            if e.f_number.is_none() && e.exposure_time_s.is_none() && e.iso.is_none() {
                flags.raise(Flag::NoExposure);
            }
            if e.taken_at.is_none() {
                flags.raise(Flag::NoTime);
            }
        }
    }
    if !burst.noise_seen {
        flags.raise(Flag::NoiseUnseen);
    } else if taken.shot.noise.is_none_or(|n| n != burst.noise) {
        flags.raise(Flag::BurstNoise);
    }
    if let Some(n) = &taken.shot.rendered_noise {
        *flags = flags.union(n.flags);
    }
}

/// The verdict at the size where the picture is used.
///
/// Scaling by s < 1 shrinks blur with the picture and adds one output pixel's own; enlarging adds
/// nothing that is not there.
pub fn at_output(
    judged: &FrameVerdict,
    reference_px: Option<f64>,
    width_px: u32,
    output_width_px: u32,
) -> Option<AtOutput> {
    let s = f64::from(output_width_px) / f64::from(width_px);
    let pixel = if s < 1.0 { OUTPUT_PIXEL_SIGMA } else { 0.0 };
    let scaled = |sigma: f64| (sigma * s).hypot(pixel);
    let blur = judged.judged_px.and_then(|m| {
        let value = scaled(m.value);
        let slope = m.value * s * s / value;
        Some(Measured::new(value, m.std_err? * slope, m.n)?.flagged(m.flags))
    });
    let verdict = match (blur, reference_px) {
        (Some(b), Some(reference)) => grade(b.value / scaled(reference).max(OUTPUT_FLOOR_PX)),
        _ => Verdict::Unclear,
    };
    Some(AtOutput { output_width_px, verdict, blur_sigma_px: blur })
}

/// The tile map, upright.
pub fn map_record(map: &FocusMap, frame: &Frame) -> MapRecord {
    let turn = frame.orientation();
    let blur: Vec<Option<(f32, f32)>> = map
        .corrected_tiles
        .iter()
        .map(|t| match *t {
            crate::sharpness::focus_map::Tile::Blur { sigma_px, std_err_px } => {
                Some((sigma_px, std_err_px))
            }
            _ => None,
        })
        .collect();
    let (blur, cols, rows) = turn.turn(&blur, map.cols, map.rows);
    let (lap, _, _) = turn.turn(&map.lap_var, map.cols, map.rows);
    MapRecord {
        tile_px: TILE_PX as u32,
        cols: cols as u32,
        rows: rows as u32,
        blur_sigma_px: blur.iter().map(|b| b.map(|b| b.0)).collect(),
        blur_std_err_px: blur.iter().map(|b| b.map(|b| b.1)).collect(),
        lap_var: lap.into_iter().map(|v| (v.is_finite() && v > 0.0).then_some(v)).collect(),
    }
}
