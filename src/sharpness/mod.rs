//! Blur of tiles and of a subject, its direction, and edges. Planes in, numbers out.

pub mod band_noise;
pub mod blur;
pub mod blur_correction;
mod blur_correction_table;
pub mod cells;
pub mod direction;
pub mod edge;
pub mod energy_ratio;
pub mod focus_map;
pub mod laplacian;
pub mod pyramid;
pub mod ring_spectrum;
pub(crate) mod sharp_area;
pub mod smear_spectrum;
pub mod spectral_blur;
pub mod subject;
pub mod subject_blur;
pub mod transfer_family;
