//! A small chart layer: the blur bar, shares with their intervals, spectra and noise.
//!
//! Drawings are inline SVG in the colours of the page (classes `ink`, `soft`, `line`, `accent`),
//! at their natural size, with a text that says the same in words.

pub(crate) mod axis;
mod bar;
pub(crate) mod chart;
pub(crate) mod drawing;
pub(crate) mod plot;

pub use bar::{BlurBar, PX_PER_PX, RULER_PX, blur_bar, map_legend, scale_gradient};
pub use chart::{Stops, cause_bars, noise_chart, share_chart, share_ruler, spectrum_chart};
