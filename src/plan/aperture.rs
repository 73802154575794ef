//! One aperture at a depth: what passes it is worked out once, for every exposure that is tried.

use std::collections::HashMap;

use super::Exposed;
use super::record::{PlanParameters, PlanSetting, PlanWish};
use crate::core::units::WavelengthUm;
use crate::optics::imaging_model::{
    CaptureSettings, HIGHEST_CY_PX, ImagingSystem, LOSSES, LOWEST_CY_PX, Loss, PredictedDetail,
    StillModulations,
};
use crate::optics::resolved::working_f_number;
use crate::optics::{depth, motion};

/// Width of a picture that nothing is said about, px.
const OUTPUT_WIDTH_PX: u32 = 2048;

/// An aperture at a magnification and a depth.
pub struct ApertureAtDepth {
    kit: ImagingSystem,
    plane: CaptureSettings,
    /// Marked f-number.
    pub f_number: f64,
    in_focus: StillModulations,
    in_focus_whole: StillModulations,
    at_end: StillModulations,
    without: [StillModulations; 3],
    shown: HashMap<(u32, u64), ShownDetail>,
}

/// What an exposure shows: in focus as far as the output shows it, in focus to the last pixel, at
/// the ends of the depth, and there without each of [`LOSSES`].
#[derive(Debug, Clone, Copy)]
struct ShownDetail {
    plane: PredictedDetail,
    whole: PredictedDetail,
    end: PredictedDetail,
    end_bits_without: [f64; LOSSES.len()],
}

/// The imaging system of the parameters.
pub fn imaging_system(p: &PlanParameters) -> ImagingSystem {
    ImagingSystem {
        pitch_um: p.pitch_um,
        wavelength: WavelengthUm(p.wavelength_um),
        aberration_um: p.aberration_um,
        contrast_power: p.contrast_power,
        shot: p.shot,
        read: p.read,
    }
}

/// Highest frequency that the output can show, cycles per pixel of the frame.
fn up_to_cy_px(wish: &PlanWish, p: &PlanParameters) -> f64 {
    match wish.output_width_px {
        Some(width) if !wish.crop => {
            HIGHEST_CY_PX.min(HIGHEST_CY_PX * f64::from(width) / f64::from(p.frame_width_px))
        }
        _ => HIGHEST_CY_PX,
    }
    .max(2.0 * LOWEST_CY_PX)
}

impl ApertureAtDepth {
    /// An aperture at the magnification and the depth of a wish.
    pub fn new(wish: &PlanWish, p: &PlanParameters, f_number: f64) -> ApertureAtDepth {
        let kit = imaging_system(p);
        let m = wish.magnification;
        let up_to = up_to_cy_px(wish, p);
        let plane = CaptureSettings {
            n_eff: working_f_number(f_number, m, p.pupil_ratio),
            iso: 100.0,
            defocus_um: 0.0,
            smear_px: 0.0,
            soft_px: 0.0,
        };
        let defocus_um = depth::image_half_depth_um(wish.depth_mm, m);
        let end = CaptureSettings { defocus_um, ..plane };
        ApertureAtDepth {
            kit,
            plane,
            f_number,
            in_focus: kit.still_modulations(&plane, up_to, None),
            in_focus_whole: kit.still_modulations(&plane, HIGHEST_CY_PX, None),
            at_end: kit.still_modulations(&end, up_to, None),
            without: [Loss::Diffraction, Loss::Lens, Loss::Pixels]
                .map(|loss| kit.still_modulations(&end, up_to, Some(loss))),
            shown: HashMap::new(),
        }
    }

    /// What an ISO and a smear show; asked for again, it is not worked out again.
    fn shown(&mut self, iso: u32, smear_px: f64) -> ShownDetail {
        if let Some(known) = self.shown.get(&(iso, smear_px.to_bits())) {
            return *known;
        }
        let sensitivity = f64::from(iso);
        let through = |still| self.kit.shows_through(still, sensitivity, smear_px);
        let [no_diffraction, no_aberration, no_pixels] = &self.without;
        let shown = ShownDetail {
            plane: through(&self.in_focus),
            whole: through(&self.in_focus_whole),
            end: through(&self.at_end),
            end_bits_without: LOSSES.map(|loss| {
                match loss {
                    Loss::Diffraction => through(no_diffraction),
                    Loss::Depth => through(&self.in_focus),
                    Loss::Noise => self.kit.shows_through(&self.at_end, 100.0, smear_px),
                    Loss::SubjectMotion => self.kit.shows_through(&self.at_end, sensitivity, 0.0),
                    Loss::Lens => through(no_aberration),
                    Loss::Pixels => through(no_pixels),
                }
                .detail_bits_px
            }),
        };
        self.shown.insert((iso, smear_px.to_bits()), shown);
        shown
    }

    /// A setting with what it is ranked by.
    pub fn judged(
        &mut self,
        wish: &PlanWish,
        p: &PlanParameters,
        e: Exposed,
    ) -> (f64, PlanSetting) {
        let m = wish.magnification;
        let smear_px = motion::smear_px(wish.motion_mm_s, e.light_s, m, p.pitch_um);
        let shown = self.shown(e.iso, smear_px);
        let plane = CaptureSettings { iso: f64::from(e.iso), smear_px, ..self.plane };

        let sigma_px = self.kit.blur_sigma_px(&plane);
        let still = motion::chance_still(
            p.hand_mm_s,
            e.light_s,
            m,
            p.pitch_um,
            motion::smear_allowed_px(sigma_px, p.hit_ratio),
        );
        let allowed_mm =
            motion::distance_allowed_mm(sigma_px, p.hit_ratio, plane.n_eff, m, p.pitch_um);
        let on_plane = motion::chance_on_plane(p.focus_spread_mm, allowed_mm);
        let hit_chance = still * on_plane;
        let in_burst = |chance: f64| motion::chance_in_burst(chance, p.burst_frames);

        // What is gained by taking one loss away in thought, as a factor; the hand's is its
        // chance.
        let mut worst = (in_burst(on_plane) / in_burst(hit_chance).max(1e-12), "shake");
        for (loss, without) in LOSSES.into_iter().zip(shown.end_bits_without) {
            let factor = without / shown.end.detail_bits_px.max(1e-12);
            if factor > worst.0 {
                worst = (factor, word(loss));
            }
        }
        let output = f64::from(wish.output_width_px.unwrap_or(OUTPUT_WIDTH_PX));
        let finest = |r: Option<f64>| r.map(|f| self.kit.finest_um(f, m));
        let row = PlanSetting {
            f_number: self.f_number,
            working_f_number: plane.n_eff,
            iso: e.iso,
            shutter_s: e.shutter_s,
            light_s: e.light_s,
            finest_um_plane: finest(shown.plane.resolved_cy_px),
            finest_um_depth_end: finest(shown.end.resolved_cy_px),
            finest_rel_std_err: None,
            detail_bits_px_depth_end: shown.end.detail_bits_px,
            noise_share: self.kit.noise_power(plane.iso).sqrt(),
            smear_px,
            hit_chance,
            frames_for_a_hit: motion::frames_for_a_hit(hit_chance),
            dominant_loss: worst.1,
            crop_factor: shown
                .whole
                .resolved_cy_px
                .map(|f| f64::from(p.frame_width_px) * 2.0 * f / output),
        };
        (in_burst(hit_chance) * shown.end.detail_bits_px, row)
    }
}

/// The word for a loss.
fn word(loss: Loss) -> &'static str {
    match loss {
        Loss::Diffraction => "diffraction",
        Loss::Depth => "depth",
        Loss::Noise => "noise",
        Loss::SubjectMotion => "subject-motion",
        Loss::Lens => "lens",
        Loss::Pixels => "pixels",
    }
}
