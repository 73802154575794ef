//! The measuring methods: planes and numbers in, values out.
//!
//! Nothing here knows a path, a clock, a thread or a camera, and nothing is random, so every
//! method can be held against truth and results repeat on any number of threads.

pub mod align;
pub mod band_noise;
pub mod bessel;
pub mod blur;
pub mod blur_fit;
mod blur_fit_table;
pub mod cells;
pub mod closeup;
pub mod compressed;
pub mod defocus;
pub mod depth;
pub mod detail;
pub mod diffraction;
pub mod direction;
pub mod edge;
mod flat_tiles;
pub mod focus_map;
pub mod follow;
pub mod frame_chances;
pub mod frame_motion;
pub mod hand;
pub mod hand_speed;
pub mod laplacian;
pub mod lens_fit;
pub mod light;
pub mod logistic;
pub mod movement;
pub mod noise;
mod periodogram;
pub mod personal;
pub mod place_chances;
pub mod planes;
pub mod prediction;
pub mod pyramid;
pub mod raw_noise;
pub mod ring_spectrum;
pub mod ruler;
pub mod sensor;
pub mod setting;
pub mod shake;
pub mod signal_noise;
pub mod similarity;
pub mod smear_spectrum;
pub mod spectral_blur;
pub mod spectrum;
pub mod subject;
pub mod subject_depth;
pub mod tile_noise;
pub mod transfer_family;
pub mod trend;
