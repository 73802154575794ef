//! The optics of a frame, from its file, the user and the rigs; [`Optics`] does the algebra.

use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

use crate::core::units::{GREEN, WavelengthUm};
use crate::core::{Known, Measured, ValueSource};
use crate::image::{FileKind, Frame};
use crate::optics::{MountedLens, Optics};
use crate::store::overrides::UserOverrides;
use crate::store::rig::{EquipmentInFile, Rig, RigMatch, Rigs};

/// The rigs that frames may have been taken with.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Equipment {
    /// All rigs.
    pub rigs: Rigs,
    /// Name of the one that every frame was taken with, as the user says.
    pub chosen: Option<String>,
}

/// What a user should know of rigs and frames.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum EquipmentFinding {
    /// Frames fit several rigs equally well, so none was used.
    SeveralRigs {
        /// Number of frames.
        frames: u32,
        /// Names of the rigs.
        rigs: Vec<String>,
    },
    /// A rig that was used leaves its working f-number open.
    RigIncomplete {
        /// Its name.
        rig: String,
        /// What it lacks.
        lack: RigLack,
    },
}

/// What a rig lacks for its magnification and working f-number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RigLack {
    /// The focal length of its lens.
    FocalLength,
    /// Nothing, but its magnification is less than that of what is mounted in front alone.
    MagnificationTooSmall,
    /// Its magnification, which cannot be worked out for a reversed lens.
    ReversedMagnification,
    /// Its magnification or the one that its lens is set to.
    Magnification,
}

/// A rig's lens with what is mounted; `typed` stands in for the magnification of the whole.
/// F-numbers are those that a body shows, or for a lens without contacts those on its ring.
pub fn mounted_lens(rig: &Rig, typed: Option<f64>) -> MountedLens {
    let mounted = &rig.mounted;
    MountedLens {
        focal_mm: rig.lens.focal_mm,
        set_to: rig.lens.magnification,
        magnification: typed.or(rig.magnification),
        magnification_std_err: rig.magnification_std_err.filter(|_| typed.is_none()),
        pupil_ratio: rig.pupil_ratio,
        is_reversed: mounted.reversed,
        front_dioptres: mounted
            .close_up_dioptres
            .or_else(|| mounted.reversed_lens_focal_mm.map(|focal_mm| 1000.0 / focal_mm)),
        tube_mm: mounted.tube_mm,
        converter: mounted.teleconverter,
        converter_is_left_out: rig.lens.contacts == Some(false) || rig.lens.f_number.is_some(),
    }
}

/// What a rig makes of a subject; `typed` stands in for the magnification of the whole.
pub fn optics(rig: &Rig, typed: Option<f64>) -> Optics {
    Optics::of(&mounted_lens(rig, typed))
}

/// What is known of a frame's optics.
#[derive(Debug, Clone, PartialEq)]
pub struct ResolvedSettings {
    /// Name of the rig.
    pub rig: Option<String>,
    /// Marked f-number.
    pub f_number: Option<Known<f64>>,
    /// Working f-number.
    pub working_f_number: Option<Measured>,
    /// The lens as mounted.
    pub optics: Optics,
    /// Pixel pitch of this file, µm.
    pub pixel_pitch_um: Option<Known<f64>>,
    /// Wavelength of the light.
    pub wavelength: WavelengthUm,
    /// Where the magnification came from.
    magnification_from: Option<ValueSource>,
    /// Where the working f-number came from: the least sure of what it was worked out from.
    working_from: Option<ValueSource>,
}

impl ResolvedSettings {
    /// Size of a pixel on the subject, µm.
    pub fn object_um_per_px(&self) -> Option<Measured> {
        self.optics.object_um_per_px(self.pixel_pitch_um.as_ref()?.value)
    }

    /// Where the values came from that did not come from the file.
    pub fn from(&self) -> BTreeMap<String, ValueSource> {
        let known = |k: &Option<Known<f64>>| k.as_ref().map(|k| k.from);
        [
            ("f_number", known(&self.f_number)),
            ("pixel_pitch_um", known(&self.pixel_pitch_um)),
            ("magnification", self.optics.magnification.and(self.magnification_from)),
            ("working_f_number", self.working_f_number.and(self.working_from)),
        ]
        .into_iter()
        .filter_map(|(name, from)| {
            Some((name.to_owned(), from.filter(|f| *f != ValueSource::File)?))
        })
        .collect()
    }
}

/// What the file says of body and lens.
fn seen(frame: &Frame) -> EquipmentInFile<'_> {
    let Some(e) = &frame.exposure else { return EquipmentInFile::default() };
    fn text(k: &Option<Known<String>>) -> Option<&str> {
        k.as_ref().map(|k| k.value.as_str()).filter(|t| !t.trim().is_empty())
    }
    EquipmentInFile {
        make: text(&e.body.make),
        model: text(&e.body.model),
        serial: text(&e.body.serial),
        lens: text(&e.lens.model),
    }
}

impl Equipment {
    /// The rig of a frame.
    pub fn of(&self, frame: &Frame) -> RigMatch<'_> {
        match &self.chosen {
            Some(name) => RigMatch::One(name),
            None => self.rigs.of(seen(frame)),
        }
    }

    /// What the user should know: frames that fit several rigs, rigs that say too little.
    pub fn findings(&self, frames: &[Frame]) -> Vec<EquipmentFinding> {
        let mut undecided: BTreeMap<Vec<&str>, u32> = BTreeMap::new();
        let mut used: BTreeSet<&str> = BTreeSet::new();
        for frame in frames {
            match self.of(frame) {
                RigMatch::None => {}
                RigMatch::One(name) => drop(used.insert(name)),
                RigMatch::Several(names) => {
                    let times = undecided.entry(names).or_default();
                    *times = times.saturating_add(1);
                }
            }
        }
        let mut findings: Vec<EquipmentFinding> = undecided
            .into_iter()
            .map(|(names, frames)| EquipmentFinding::SeveralRigs {
                frames,
                rigs: names.into_iter().map(str::to_owned).collect(),
            })
            .collect();
        for name in used {
            let Some(rig) = self.rigs.0.get(name) else { continue };
            if !rig.records_working_f_number && optics(rig, None).lens_magnification.is_none() {
                let rig_name = name.to_owned();
                let lack = missing(rig);
                findings.push(EquipmentFinding::RigIncomplete { rig: rig_name, lack });
            }
        }
        findings
    }
}

/// What a rig needs to say for its magnification and working f-number to be known.
pub fn missing(rig: &Rig) -> RigLack {
    let front =
        rig.mounted.close_up_dioptres.is_some() || rig.mounted.reversed_lens_focal_mm.is_some();
    if rig.lens.focal_mm.is_none() && (front || rig.mounted.tube_mm.is_some()) {
        RigLack::FocalLength
    } else if rig.magnification.is_some() {
        RigLack::MagnificationTooSmall
    } else if rig.mounted.reversed {
        RigLack::ReversedMagnification
    } else {
        RigLack::Magnification
    }
}

/// Joins what is known of a frame: what was typed goes before the rig, a rig's pixel pitch
/// before the file's, the file's f-number before the rig's.
pub fn settings(frame: &Frame, typed: &UserOverrides) -> ResolvedSettings {
    let none = Rig::default();
    let name = match typed.equipment.of(frame) {
        RigMatch::One(name) => Some(name.to_owned()),
        _ => None,
    };
    let rig = name.as_ref().and_then(|n| typed.equipment.rigs.0.get(n)).unwrap_or(&none);
    let exposure = frame.exposure.as_ref();
    let of_rig = |v: Option<f64>| v.map(|value| Known { value, from: ValueSource::Rig });
    let recorded = typed
        .f_number
        .map(Known::typed)
        .or_else(|| exposure?.f_number.clone())
        .or_else(|| of_rig(rig.lens.f_number));
    let pixel_pitch_um = typed
        .pixel_pitch_um
        .map(Known::typed)
        .or_else(|| of_rig(rig.pixel_pitch_um.map(|um| um * shrunk(frame))))
        .or_else(|| exposure?.pixel_pitch_um.clone());
    resolve_optics(name.clone(), rig, recorded, pixel_pitch_um, typed.magnification)
}

/// Joins a rig, which may say nothing, with an f-number and a pixel pitch known from elsewhere;
/// a magnification that was typed stands in for that of the whole rig.
pub fn resolve_optics(
    name: Option<String>,
    rig: &Rig,
    recorded: Option<Known<f64>>,
    pixel_pitch_um: Option<Known<f64>>,
    typed_magnification: Option<f64>,
) -> ResolvedSettings {
    let magnification_from =
        if typed_magnification.is_some() { ValueSource::Typed } else { ValueSource::Rig };
    let from_file = recorded.as_ref().is_some_and(|k| k.from == ValueSource::File);
    let optics = Optics::of(&MountedLens {
        converter_is_left_out: !from_file,
        ..mounted_lens(rig, typed_magnification)
    });
    let is_working = rig.records_working_f_number && from_file;
    let (f_number, working_f_number, working_from) = match recorded {
        None => (None, None, ValueSource::Rig),
        Some(n) if is_working => {
            let marked = optics.marked_f_number(n.value);
            (
                marked.map(|value| Known { value, from: ValueSource::Rig }),
                Measured::without_error(n.value, 1),
                ValueSource::File,
            )
        }
        Some(n) => {
            let working = optics.working_f_number(n.value);
            // Without a pupil ratio that of a symmetric lens was taken.
            let from = optics.pupil_ratio.map_or(ValueSource::Assumed, |_| magnification_from);
            (Some(n), working, from)
        }
    };
    ResolvedSettings {
        rig: name,
        f_number,
        working_f_number,
        optics,
        pixel_pitch_um,
        wavelength: rig.wavelength_um.map_or(GREEN, WavelengthUm),
        magnification_from: Some(magnification_from),
        working_from: Some(working_from),
    }
}

/// How many pixels of the sensor make one of the file, along a side.
fn shrunk(frame: &Frame) -> f64 {
    let recorded = frame.exposure.as_ref().and_then(|e| e.recorded_width_px.as_ref());
    match recorded {
        // The size in a raw file is that of the camera's own rendering.
        Some(w) if frame.kind != FileKind::Raw && frame.width_px > 0 => {
            f64::from(w.value) / f64::from(frame.width_px)
        }
        _ => 1.0,
    }
}
