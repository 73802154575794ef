//! Magnification arithmetic of close-up work: extension, close-up lenses, reversed lenses,
//! fields.
//!
//! Thin-lens algebra; the pupil form of the working f-number after Kingslake, *Optics in
//! Photography*. Lengths in millimetres. A real internal-focus lens changes its focal length as
//! it focuses, so magnification from a marked focal length is a guess: measure it with a ruler.

/// Stops of light lost to magnification: 2·log2(1 + m/p).
pub fn stops_lost(magnification: f64, pupil_ratio: f64) -> f64 {
    2.0 * (1.0 + magnification / pupil_ratio).log2()
}

/// Magnification from extension beyond infinity focus.
pub fn magnification_from_extension(extension_mm: f64, focal_mm: f64) -> f64 {
    extension_mm / focal_mm
}

/// Distance from the lens to the subject.
pub fn subject_distance_mm(focal_mm: f64, magnification: f64) -> f64 {
    focal_mm * (1.0 + 1.0 / magnification)
}

/// Focal length of two thin lenses `apart_mm` apart.
pub fn combined_focal_mm(focal_mm: f64, other_mm: f64, apart_mm: f64) -> f64 {
    1.0 / (1.0 / focal_mm + 1.0 / other_mm - apart_mm / (focal_mm * other_mm))
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

/// Magnification of a lens reversed in front of another, both at infinity.
pub fn magnification_stacked(rear_focal_mm: f64, reversed_focal_mm: f64) -> f64 {
    rear_focal_mm / reversed_focal_mm
}

/// Magnification from the distance between subject and sensor, thin lens.
///
/// `None` below four focal lengths, where a thin lens cannot focus (many real close-up lenses
/// do: they shorten their focal length, and then this formula does not apply to them).
pub fn magnification_from_distance(subject_to_sensor_mm: f64, focal_mm: f64) -> Option<f64> {
    let x = subject_to_sensor_mm / focal_mm - 2.0;
    let root = x * x - 4.0;
    (x > 0.0 && root >= 0.0).then(|| 0.5 * (x - root.sqrt()))
}

/// Side of the field on the subject for a side of the sensor.
pub fn field_mm(sensor_mm: f64, magnification: f64) -> f64 {
    sensor_mm / magnification
}

/// Size of one pixel on the subject, micrometres.
pub fn object_um_per_px(pitch_um: f64, magnification: f64) -> f64 {
    pitch_um / magnification
}

/// Lowest frequency of a hexagonal lattice on the subject, cycles per millimetre, from the
/// distance of its points, µm: 2/(√3·d). Facets of an insect's eye lie so.
pub fn lattice_cy_mm(distance_um: f64) -> f64 {
    2000.0 / (3f64.sqrt() * distance_um)
}
