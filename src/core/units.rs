//! Small newtypes for the quantities that are most easily swapped.

use serde::Serialize;

/// A wavelength in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WavelengthUm(pub f64);

/// Green light, where luma and the eye are most sensitive (0.55 µm, the value every check here
/// uses).
pub const GREEN: WavelengthUm = WavelengthUm(0.55);

/// Sensor pixel pitch in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PitchUm(pub f64);
