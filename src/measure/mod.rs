//! The measuring methods: planes and numbers in, values out.
//!
//! Nothing here knows a path, a clock, a thread or a camera, and nothing is random, so every
//! method can be held against truth and results repeat on any number of threads.

pub mod band_noise;
pub mod bessel;
pub mod blur;
pub mod cells;
pub mod closeup;
pub mod defocus;
pub mod depth;
pub mod diffraction;
pub mod direction;
pub mod focus_map;
pub mod follow;
pub mod pyramid;
pub mod subject;
