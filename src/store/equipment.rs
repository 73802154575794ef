//! What the files, the user and the rigs say of a frame's optics, joined.
//!
//! Thin-lens algebra as in [`crate::optics::closeup`]. A close-up lens, or a lens reversed in
//! front, raises the magnification and leaves the working f-number alone (same pupil, same image
//! distance), so the bellows factor goes by the magnification without it. A teleconverter
//! multiplies both; a body that talks to it records the product (common practice, no source).

use std::collections::{BTreeMap, BTreeSet};

use crate::core::units::{Aperture, GREEN, WavelengthUm};
use crate::core::{Known, Measured, ValueSource};
use crate::image::{FileKind, Frame};
use crate::optics::closeup;
use crate::report::record::Finding;
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

/// A number and its standard error, where it has one.
type WithErr = (f64, Option<f64>);

/// Magnifications of a rig.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Magnifications {
    /// On the sensor.
    pub whole: Option<WithErr>,
    /// Of the lens itself, without what is in front and the converter behind: the bellows factor
    /// goes by it.
    pub lens_alone: Option<WithErr>,
}

/// Works out the magnifications of a rig from what is known of it.
///
/// `typed` stands in for the magnification of the whole rig.
pub fn magnifications(rig: &Rig, typed: Option<f64>) -> Magnifications {
    let factor = rig.mounted.teleconverter.unwrap_or(1.0);
    let focal_mm = rig.lens.focal_mm;
    let front = rig
        .mounted
        .close_up_dioptres
        .or_else(|| rig.mounted.reversed_lens_focal_mm.map(|focal_mm| 1000.0 / focal_mm));
    let whole = match typed {
        Some(m) => Some((m, None)),
        None => rig.magnification.map(|m| (m, rig.magnification_std_err)),
    };
    // The share that what is in front adds: m = m0 + a (1 + m0).
    let added = match (front, focal_mm) {
        (None, _) => Some(0.0),
        (Some(dioptres), Some(f)) => Some(f / closeup::close_up_focal_mm(dioptres)),
        (Some(_), None) => None,
    };
    if let Some((m, std_err)) = whole {
        let lens_alone = added
            .map(|a| ((m / factor - a) / (1.0 + a), std_err.map(|e| e / factor / (1.0 + a))))
            // Below infinity focus: the numbers do not fit each other.
            .filter(|(m, _)| *m >= 0.0);
        return Magnifications { whole, lens_alone };
    }
    let extended = match (rig.mounted.tube_mm, focal_mm) {
        (None, _) => Some(0.0),
        (Some(tube), Some(f)) => Some(closeup::magnification_from_extension(tube, f)),
        (Some(_), None) => None,
    };
    // The extension of a lens the wrong way round is not that of its tubes.
    let lens_alone = match (rig.lens.magnification, extended) {
        (Some(m), Some(more)) if !rig.mounted.reversed => Some(m + more),
        _ => None,
    };
    let whole = match (lens_alone, front, focal_mm) {
        (Some(m), Some(dioptres), Some(f)) => {
            Some(closeup::magnification_with_close_up(m, f, dioptres))
        }
        (Some(m), None, _) => Some(m),
        _ => None,
    };
    Magnifications {
        whole: whole.map(|m| (m * factor, None)),
        lens_alone: lens_alone.map(|m| (m, None)),
    }
}

/// Pupil ratio with the lens as it is mounted.
pub fn pupil_ratio(rig: &Rig) -> Option<f64> {
    rig.pupil_ratio.map(|p| if rig.mounted.reversed { 1.0 / p } else { p })
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
    /// Magnification.
    pub magnification: Option<Measured>,
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
        let (m, pitch) = (self.magnification?, self.pixel_pitch_um.as_ref()?.value);
        let um = closeup::object_um_per_px(pitch, m.value);
        measured((um, m.std_err.map(|e| um * e / m.value)))
    }

    /// Where the values came from that did not come from the file.
    pub fn from(&self) -> BTreeMap<String, ValueSource> {
        let known = |k: &Option<Known<f64>>| k.as_ref().map(|k| k.from);
        [
            ("f_number", known(&self.f_number)),
            ("pixel_pitch_um", known(&self.pixel_pitch_um)),
            ("magnification", self.magnification.and(self.magnification_from)),
            ("working_f_number", self.working_f_number.and(self.working_from)),
        ]
        .into_iter()
        .filter_map(|(name, from)| {
            Some((name.to_owned(), from.filter(|f| *f != ValueSource::File)?))
        })
        .collect()
    }
}

fn measured((value, std_err): WithErr) -> Option<Measured> {
    match std_err {
        Some(e) => Measured::new(value, e, 1),
        None => Measured::without_error(value, 1),
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
    pub fn findings(&self, frames: &[Frame]) -> Vec<Finding> {
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
        let mut findings: Vec<Finding> = undecided
            .into_iter()
            .map(|(names, count)| Finding {
                says: format!(
                    "{count} {} several rigs equally well ({}): none was used.",
                    if count == 1 { "frame fits" } else { "frames fit" },
                    names.join(", ")
                ),
                next: Some("Name one with --rig.".to_owned()),
            })
            .collect();
        for name in used {
            let Some(rig) = self.rigs.0.get(name) else { continue };
            if !rig.records_working_f_number && magnifications(rig, None).lens_alone.is_none() {
                findings.push(Finding {
                    says: format!("The rig {name} says too little for its working f-number."),
                    next: Some(missing(rig).to_owned()),
                });
            }
        }
        findings
    }
}

/// What a rig needs to say for its magnification and working f-number to be known.
pub fn missing(rig: &Rig) -> &'static str {
    let front =
        rig.mounted.close_up_dioptres.is_some() || rig.mounted.reversed_lens_focal_mm.is_some();
    if rig.lens.focal_mm.is_none() && (front || rig.mounted.tube_mm.is_some()) {
        "Give the focal length of its lens."
    } else if rig.magnification.is_some() {
        "Its magnification is less than what is mounted in front makes by itself: check both."
    } else if rig.mounted.reversed {
        "Give its magnification: that of a reversed lens cannot be worked out."
    } else {
        "Give its magnification, or the one that the lens itself is set to (0 is infinity)."
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
    let ms = magnifications(rig, typed_magnification);
    let magnification_from =
        if typed_magnification.is_some() { ValueSource::Typed } else { ValueSource::Rig };
    let ratio = pupil_ratio(rig).unwrap_or(1.0);
    let bellows = ms.lens_alone.map(|(m, e)| (1.0 + m / ratio, e.map(|e| e / ratio)));
    let from_file = recorded.as_ref().is_some_and(|k| k.from == ValueSource::File);
    let (f_number, working, working_from) = match (&recorded, bellows) {
        (Some(n), _) if rig.records_working_f_number && from_file => (
            bellows.map(|(b, _)| Known { value: n.value / b, from: ValueSource::Rig }),
            Some((n.value, None)),
            ValueSource::File,
        ),
        (Some(n), Some((_, std_err))) => {
            let behind = if from_file { 1.0 } else { rig.mounted.teleconverter.unwrap_or(1.0) };
            let alone = ms.lens_alone.map_or(0.0, |m| m.0);
            let n_eff = Aperture::Marked(n.value * behind).working(alone, ratio);
            let from = match pupil_ratio(rig) {
                // The pupil ratio of a symmetric lens was taken.
                None => ValueSource::Assumed,
                Some(_) => magnification_from,
            };
            (Some(n.clone()), Some((n_eff, std_err.map(|e| n.value * behind * e))), from)
        }
        (n, _) => (n.clone(), None, ValueSource::Rig),
    };
    ResolvedSettings {
        rig: name,
        f_number,
        working_f_number: working.and_then(measured),
        magnification: ms.whole.and_then(measured),
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
