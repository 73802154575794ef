//! Magnification, working f-numbers and scale of a lens as it is mounted: the one place that works
//! them out.
//!
//! Thin-lens algebra; the pupil form of the working f-number after Kingslake, *Optics in
//! Photography*: N(1 + m/p), with p the exit over the entrance pupil. A close-up lens, or a lens
//! reversed in front, raises the magnification and leaves the working f-number alone (same pupil,
//! same image distance), so the factor goes by the magnification of the lens without it. A
//! teleconverter multiplies both; a body that talks to it shows and records the product (common
//! practice, no source). A lens with internal focusing changes its focal length as it focuses:
//! measure the magnification with a ruler rather than working it out.

use super::closeup;
use crate::core::Measured;

/// Working f-number of a lens at a magnification of its own.
pub fn working_f_number(marked: f64, lens_magnification: f64, pupil_ratio: f64) -> f64 {
    marked * (1.0 + lens_magnification / pupil_ratio)
}

/// A lens and everything mounted before and behind it, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MountedLens {
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Magnification that the lens itself is set to (0 is infinity).
    pub set_to: Option<f64>,
    /// Magnification of the whole on the sensor, where it was measured or typed.
    pub magnification: Option<f64>,
    /// One standard error of it.
    pub magnification_std_err: Option<f64>,
    /// Exit over entrance pupil, the lens the right way round.
    pub pupil_ratio: Option<f64>,
    /// Whether the lens is mounted the wrong way round.
    pub is_reversed: bool,
    /// Strength of what is in front, dioptres: a close-up lens or a reversed lens.
    pub front_dioptres: Option<f64>,
    /// Length of the extension tubes, mm.
    pub tube_mm: Option<f64>,
    /// Factor of the teleconverter.
    pub converter: Option<f64>,
    /// Whether f-numbers leave the converter out: those on the ring of a lens without contacts.
    pub converter_is_left_out: bool,
}

/// What a mounted lens makes of a subject. A quantity is `None` where too little is known for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optics {
    /// Magnification on the sensor.
    pub magnification: Option<Measured>,
    /// Magnification of the lens itself, without what is in front and the converter behind.
    pub lens_magnification: Option<Measured>,
    /// Exit over entrance pupil of the lens as mounted; `None` is taken as 1.
    pub pupil_ratio: Option<f64>,
    /// What f-numbers are to be multiplied with for the converter.
    behind: f64,
}

impl Optics {
    /// Works out what a mounted lens makes.
    pub fn of(lens: &MountedLens) -> Optics {
        let converter = lens.converter.unwrap_or(1.0);
        let (magnification, lens_magnification) = match lens.magnification {
            Some(whole) => (
                Measured::single(whole, lens.magnification_std_err),
                lens.magnification_within(whole, lens.magnification_std_err, converter),
            ),
            None => {
                let own = lens.magnification_as_set();
                let whole = own.and_then(|m| lens.with_front(m)).map(|m| m * converter);
                (
                    whole.and_then(|m| Measured::without_error(m, 1)),
                    own.and_then(|m| Measured::without_error(m, 1)),
                )
            }
        };
        let turned = |p: f64| if lens.is_reversed { 1.0 / p } else { p };
        Optics {
            magnification,
            lens_magnification,
            pupil_ratio: lens.pupil_ratio.map(turned),
            behind: if lens.converter_is_left_out { converter } else { 1.0 },
        }
    }

    /// A bare lens at a magnification.
    pub fn bare(magnification: f64, pupil_ratio: Option<f64>) -> Optics {
        Optics::of(&MountedLens {
            magnification: Some(magnification),
            pupil_ratio,
            ..MountedLens::default()
        })
    }

    /// Working f-number over the one that is set, with the error of the magnification.
    pub fn working_per_marked(&self) -> Option<Measured> {
        self.working_f_number(1.0)
    }

    /// Working f-number where the lens is set to `marked`, with the error of the magnification.
    pub fn working_f_number(&self, marked: f64) -> Option<Measured> {
        let m = self.lens_magnification?;
        let p = self.pupil_ratio.unwrap_or(1.0);
        let n = marked * self.behind;
        Measured::single(working_f_number(n, m.value, p), m.std_err.map(|e| n * (e / p)))
    }

    /// F-number to be set for a working one.
    pub fn marked_f_number(&self, working: f64) -> Option<f64> {
        Some(working / self.working_per_marked()?.value)
    }

    /// Size of a pixel on the subject, µm, for pixels `pitch_um` apart.
    pub fn object_um_per_px(&self, pitch_um: f64) -> Option<Measured> {
        let m = self.magnification?;
        let um = closeup::object_um_per_px(pitch_um, m.value);
        Measured::single(um, m.std_err.map(|e| um * e / m.value))
    }

    /// Pupil ratio of a bare lens with the same working f-numbers at the same magnification:
    /// 1 + m/p is the same. A million times the lens's own where they are the marked ones, as for
    /// a lens at infinity.
    pub fn equal_bare_pupil_ratio(&self) -> Option<f64> {
        let (m, own) = (self.magnification?.value, self.lens_magnification?.value);
        let p = self.pupil_ratio.unwrap_or(1.0);
        let share = (self.behind - 1.0) * p / m + self.behind * own / m;
        Some(p / share.max(1e-6))
    }
}

impl MountedLens {
    /// What the front adds: m = m₀ + a(1 + m₀); `None` when it cannot be worked out.
    fn added(&self) -> Option<f64> {
        match (self.front_dioptres, self.focal_mm) {
            (None, _) => Some(0.0),
            (Some(dioptres), Some(f)) => Some(f / closeup::close_up_focal_mm(dioptres)),
            (Some(_), None) => None,
        }
    }

    /// Magnification of the lens itself within a known whole; `None` when the whole is less than
    /// what is in front makes by itself.
    fn magnification_within(
        &self,
        whole: f64,
        std_err: Option<f64>,
        converter: f64,
    ) -> Option<Measured> {
        let a = self.added()?;
        let own = (whole / converter - a) / (1.0 + a);
        let std_err = std_err.map(|e| e / converter / (1.0 + a));
        Measured::single(own, std_err).filter(|m| m.value >= 0.0)
    }

    /// Magnification of the lens itself from what it is set to and its tubes. The extension of a
    /// reversed lens is not that of its tubes.
    fn magnification_as_set(&self) -> Option<f64> {
        let extended = match (self.tube_mm, self.focal_mm) {
            (None, _) => 0.0,
            (Some(tube), Some(f)) => closeup::magnification_from_extension(tube, f),
            (Some(_), None) => return None,
        };
        self.set_to.filter(|_| !self.is_reversed).map(|m| m + extended)
    }

    fn with_front(&self, own: f64) -> Option<f64> {
        match (self.front_dioptres, self.focal_mm) {
            (None, _) => Some(own),
            (Some(dioptres), Some(f)) => {
                Some(closeup::magnification_with_close_up(own, f, dioptres))
            }
            (Some(_), None) => None,
        }
    }
}
