//! What was found, as plain records, before anyone decides how it looks.

pub mod atomic_file;
pub mod colour_scale;
pub mod column;
pub mod csv;
pub mod html;
pub mod json;
pub mod map;
pub mod record;
pub mod summary;
pub mod svg;
pub mod term;
pub mod wording;
