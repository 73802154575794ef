//! Small newtypes for the quantities that are most easily swapped.

use serde::Serialize;

/// An f-number, marked on the lens or working at the picture's magnification.
///
/// The two differ by 2·log2(1 + m/p) stops at close range; a bare number would hide which one
/// it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Aperture {
    /// As engraved, or as most bodies record it.
    Marked(f64),
    /// N(1 + m/p): what light and diffraction go by.
    Working(f64),
}

impl Aperture {
    /// The working f-number for magnification `m` and pupil ratio `p` (exit over entrance
    /// pupil).
    pub fn working(self, magnification: f64, pupil_ratio: f64) -> f64 {
        match self {
            Aperture::Marked(n) => n * (1.0 + magnification / pupil_ratio),
            Aperture::Working(n) => n,
        }
    }
}

/// A wavelength in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WavelengthUm(pub f64);

/// Green light, where luma and the eye are most sensitive (0.55 µm, the value every check here
/// uses).
pub const GREEN: WavelengthUm = WavelengthUm(0.55);

/// Sensor pixel pitch in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PitchUm(pub f64);
