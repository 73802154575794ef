//! Renderings of the records: terminal, JSON, CSV, HTML pages, charts and maps.
//!
//! Every renderer reads the same record and draws it; none measures, judges or counts.

pub mod chapters;
pub mod csv;
pub mod html;
pub mod json;
pub mod map;
pub mod scale;
pub mod svg;
pub mod term;
pub mod timeline;
mod whole;
pub mod xmp;

pub use map::{map_png, rgb_png};
pub use whole::{can_write, clear_leftovers, copy_whole, exchange, write_whole};
