//! How a clip was taken: what was typed, and what its rig says.
//!
//! A clip hardly ever holds its exposure, and never its lens. A rig is named, or found by the
//! camera in the clip; the pixel pitch of its clips is a value of its own, because how many
//! pixels of the sensor make one of the clip cannot be told from the clip.

use super::ClipJob;
use crate::core::units::PitchUm;
use crate::core::{Known, ValueSource};
use crate::image::clip::ClipInfo;
use crate::optics::diffraction;
use crate::store::equipment::{ResolvedSettings, resolve_optics};
use crate::store::rig::{EquipmentInFile, Rig, RigMatch};

/// What is known of the taking of a clip.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipExposure {
    /// Optics, from what was typed and the rig.
    pub settings: ResolvedSettings,
    /// Exposure of each frame, s.
    pub shutter_s: Option<f64>,
    /// Rigs that fit equally well, none of which was used.
    pub undecided: Vec<String>,
}

impl ClipExposure {
    /// Joins what was typed with the clip's rig; what was typed goes first.
    pub fn of(job: &ClipJob, info: &ClipInfo) -> ClipExposure {
        let camera = EquipmentInFile {
            make: info.make.as_deref(),
            model: info.model.as_deref(),
            ..EquipmentInFile::default()
        };
        let found = match &job.equipment.chosen {
            Some(name) => RigMatch::One(name),
            None => job.equipment.rigs.of_body(camera),
        };
        let (name, undecided) = match found {
            RigMatch::One(name) => (Some(name.to_owned()), Vec::new()),
            RigMatch::Several(names) => (None, names.into_iter().map(str::to_owned).collect()),
            RigMatch::None => (None, Vec::new()),
        };
        let none = Rig::default();
        let rig = name.as_ref().and_then(|n| job.equipment.rigs.0.get(n)).unwrap_or(&none);
        let of_rig = |v: Option<f64>| v.map(|value| Known { value, from: ValueSource::Rig });
        let f_number = job.f_number.map(Known::typed).or_else(|| of_rig(rig.lens.f_number));
        let pitch =
            job.pixel_pitch_um.map(Known::typed).or_else(|| of_rig(rig.clip_pixel_pitch_um));
        let settings = resolve_optics(name, rig, f_number, pitch, job.magnification);
        ClipExposure { settings, shutter_s: job.shutter_s, undecided }
    }

    /// Marked f-number.
    pub fn f_number(&self) -> Option<f64> {
        self.settings.f_number.as_ref().map(|k| k.value)
    }

    /// Working f-number; a symmetric lens is taken where its pupils are not known.
    pub fn n_eff(&self) -> Option<f64> {
        self.settings.working_f_number.map(|m| m.value)
    }

    /// Magnification on the sensor.
    pub fn magnification(&self) -> Option<f64> {
        self.settings.optics.magnification.map(|m| m.value)
    }

    /// Distance on the sensor between pixels of the clip, µm.
    pub fn pixel_pitch_um(&self) -> Option<f64> {
        self.settings.pixel_pitch_um.as_ref().map(|k| k.value)
    }

    /// Blur that the settings give at best, px.
    pub fn allowed_px(&self) -> Option<f64> {
        let pitch = PitchUm(self.pixel_pitch_um()?);
        Some(diffraction::sigma_settings_px(self.n_eff()?, pitch, self.settings.wavelength))
    }

    /// Size of a pixel of the clip on the subject, µm.
    pub fn object_um_per_px(&self) -> Option<f64> {
        self.settings.object_um_per_px().map(|m| m.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::clip::Tools;
    use crate::store::equipment::Equipment;
    use crate::store::rig::Rigs;

    fn job(rigs: &str) -> ClipJob {
        let rigs = Rigs::parse(rigs).unwrap();
        let equipment = Equipment { rigs, chosen: None };
        ClipJob { equipment, ..ClipJob::new(Vec::new(), Tools::of_environment()) }
    }

    fn clip() -> ClipInfo {
        ClipInfo {
            make: Some("Velmarrow".into()),
            model: Some("VM-7".into()),
            ..ClipInfo::default()
        }
    }

    const RIGS: &str = "[beetle]\nclip_pixel_pitch_um = 9.375\npixel_pitch_um = 6.0\n\
        magnification = 2.0\n[beetle.body]\nmake = \"Velmarrow\"\nmodel = \"VM-7\"\n\
        [beetle.lens]\nmodel = \"Osk 100 mm\"\nf_number = 5.6\n\
        [other.body]\nmodel = \"VM-8\"\n";

    #[test]
    fn a_clip_finds_its_rig_by_its_camera_whatever_the_lens() {
        let t = ClipExposure::of(&job(RIGS), &clip());
        assert_eq!(t.settings.rig.as_deref(), Some("beetle"));
        // The pitch of stills is not that of clips: 36 mm over 3840 px against 6000 px.
        assert_eq!((t.pixel_pitch_um(), t.magnification()), (Some(9.375), Some(2.0)));
        // Facts C3: f/5.6 at 2:1 works as 16.8.
        approx::assert_abs_diff_eq!(t.n_eff().unwrap(), 16.8, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(t.object_um_per_px().unwrap(), 9.375 / 2.0, epsilon = 1e-9);
        let nobody = ClipExposure::of(&job(RIGS), &ClipInfo::default());
        assert_eq!((nobody.settings.rig.as_deref(), nobody.n_eff()), (None, None));
    }

    #[test]
    fn what_was_typed_goes_before_the_rig_and_a_named_rig_before_a_found_one() {
        let mut job = job(RIGS);
        job.f_number = Some(8.0);
        job.pixel_pitch_um = Some(4.0);
        job.magnification = Some(1.0);
        let t = ClipExposure::of(&job, &clip());
        assert_eq!((t.n_eff(), t.pixel_pitch_um()), (Some(16.0), Some(4.0)));
        job.equipment.chosen = Some("other".to_owned());
        assert_eq!(ClipExposure::of(&job, &clip()).settings.rig.as_deref(), Some("other"));
    }

    #[test]
    fn of_two_rigs_that_fit_equally_none_is_used() {
        let two = "[a.body]\nmodel = \"VM-7\"\n[b.body]\nmodel = \"vm-7\"\n";
        let t = ClipExposure::of(&job(two), &clip());
        assert_eq!(
            (t.settings.rig.as_deref(), t.undecided.as_slice()),
            (None, &["a".to_owned(), "b".to_owned()][..])
        );
    }
}
