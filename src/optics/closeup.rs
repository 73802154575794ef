//! Magnification arithmetic of close-up work: extension, close-up lenses, reversed lenses,
//! fields.
//!
//! Thin-lens algebra; the pupil form of the working f-number after Kingslake, *Optics in
//! Photography*. Lengths in millimetres. A real internal-focus lens changes its focal length as
//! it focuses, so magnification from a marked focal length is a guess: measure it with a ruler.

/// Magnification from extension beyond infinity focus.
pub fn magnification_from_extension(extension_mm: f64, focal_mm: f64) -> f64 {
    extension_mm / focal_mm
}

/// Focal length of a close-up lens from its strength in dioptres.
pub fn close_up_focal_mm(dioptres: f64) -> f64 {
    1000.0 / dioptres
}

/// Magnification with a close-up lens in contact, the main lens left focused at
/// `magnification` (0 for infinity).
///
/// The working f-number does not change: same pupil, same image distance.
pub fn magnification_with_close_up(magnification: f64, focal_mm: f64, dioptres: f64) -> f64 {
    magnification + focal_mm * (1.0 + magnification) / close_up_focal_mm(dioptres)
}

/// Size of one pixel on the subject, micrometres.
pub fn object_um_per_px(pitch_um: f64, magnification: f64) -> f64 {
    pitch_um / magnification
}
