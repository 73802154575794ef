//! A small chart layer: the blur bar, shares with their intervals, spectra and noise.
//!
//! Drawings are inline SVG in the colours of the page (classes `ink`, `soft`, `line`, `accent`),
//! at their natural size, with a text that says the same in words.

mod axis;
mod bar;
mod chart;
mod drawing;
mod edge;
mod field;
mod hand;
mod ladder;
mod ruler;
mod time_line;
mod transfer;

pub use bar::{PX_PER_PX, RULER_PX, blur_bar, map_legend, scale_gradient};
pub use chart::{Stops, cause_bars, noise_chart, share_chart, share_ruler, spectrum_chart};
pub use edge::edge_chart;
pub use field::{field_chart, finest_range, section};
pub use hand::{hand_chart, shake_chart};
pub use ladder::{aperture_ladder, cost_bars, iso_ladder, wants_iso_ladder};
pub use ruler::{profile_chart, tick_overlay};
pub use time_line::{WIDTHS, time_line};
pub use transfer::{transfer_chart, transfer_key};
