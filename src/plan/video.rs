//! Video: the same model with the pixels of the clip.

use super::aperture::imaging_system;
use super::nearest;
use crate::optics::imaging_model::{CaptureSettings, HIGHEST_CY_PX, ImagingSystem};
use crate::optics::resolved::working_f_number;
use crate::optics::{depth, light, motion};
use crate::plan::record::{PlanParameters, PlanWish, VideoSetting};

/// Shutter angle that moves naturally at playback speed (common practice, no source).
const ANGLE_DEG: f64 = 180.0;
/// Widths of 4K and 1080p.
const WIDE_PX: u32 = 3840;
const HD_PX: u32 = 1920;

/// The ways to take a clip; none unless video was asked for, or when only a flash gives light.
pub fn settings(wish: &PlanWish, p: &PlanParameters) -> Vec<VideoSetting> {
    let (Some(fps), Some(ev)) = (wish.video_fps, wish.light_ev) else { return Vec::new() };
    let frame = f64::from(p.frame_width_px);
    let used = frame.min(f64::from(WIDE_PX));
    // What is read across, px of the sensor; what is written; words.
    let ways: [(f64, u32, &'static str); 4] = [
        (frame, WIDE_PX, "full width, 4K"),
        (used, WIDE_PX, "pixel crop, 4K"),
        (frame, HD_PX, "full width, 1080p"),
        (used.min(f64::from(HD_PX)), HD_PX, "pixel crop, 1080p"),
    ];
    let angle_s = motion::shutter_of_angle_s(ANGLE_DEG, fps);
    let shutter_s = wish.shutter_s.unwrap_or(angle_s).min(1.0 / fps);
    ways.iter()
        .filter(|(read, width, _)| *read >= f64::from(*width))
        .filter_map(|(read, width, readout)| {
            // One pixel of the clip is this many of the sensor; noise averages within it.
            let merged = read / f64::from(*width);
            let whole = imaging_system(p);
            let clip = ImagingSystem {
                pitch_um: whole.pitch_um * merged,
                shot: whole.shot / (merged * merged),
                read: whole.read / (merged * merged),
                ..whole
            };
            let m = wish.magnification;
            let speed = p.hand_mm_s.hypot(wish.motion_mm_s);
            let best = p.f_numbers.iter().filter_map(|f_number| {
                let n_eff = working_f_number(*f_number, m, p.pupil_ratio);
                let wanted = light::iso(n_eff, shutter_s, ev);
                let near = |iso: &u32| (f64::from(*iso) / wanted).log2().abs();
                let iso = nearest(&p.fine_isos, near).filter(|iso| near(iso) < 0.25)?;
                let plane = CaptureSettings {
                    n_eff,
                    iso: f64::from(iso),
                    defocus_um: 0.0,
                    smear_px: 0.0,
                    soft_px: 0.0,
                };
                let end = CaptureSettings {
                    defocus_um: depth::image_half_depth_um(wish.depth_mm, m),
                    ..plane
                };
                let at_end = clip.shows(&end, HIGHEST_CY_PX, None);
                let finest = |s: &CaptureSettings| {
                    clip.shows(s, HIGHEST_CY_PX, None).resolved_cy_px.map(|f| clip.finest_um(f, m))
                };
                Some((
                    at_end.detail_bits_px,
                    VideoSetting {
                        readout,
                        width_px: *width,
                        fps,
                        shutter_s,
                        slow_motion: motion::slow_motion(fps, wish.play_fps),
                        picture_scale: motion::readout_crop(frame, *read),
                        f_number: *f_number,
                        iso,
                        noise_share: clip.noise_power(plane.iso).sqrt(),
                        smear_px: motion::smear_px(speed, shutter_s, m, clip.pitch_um),
                        finest_um_plane: finest(&plane),
                        finest_um_depth_end: finest(&end),
                    },
                ))
            });
            best.reduce(|a, b| if b.0 > a.0 { b } else { a }).map(|(_, row)| row)
        })
        .collect()
}
