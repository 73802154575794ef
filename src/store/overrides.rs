//! What the user gives for values that are missing from the files, or wrong there.

use super::equipment::Equipment;

/// Values given for a whole outing: as options, and as described rigs. They replace those of the
/// files.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct UserOverrides {
    /// Magnification.
    pub magnification: Option<f64>,
    /// Pixel pitch, µm.
    pub pixel_pitch_um: Option<f64>,
    /// Marked f-number, for lenses without contacts.
    pub f_number: Option<f64>,
    /// Width of the picture where it is used, px.
    pub output_width_px: Option<u32>,
    /// The rigs that frames may have been taken with.
    pub equipment: Equipment,
}
