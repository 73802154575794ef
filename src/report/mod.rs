//! What was found, as plain records, before anyone decides how it looks.

pub mod atomic_file;
pub mod colour_scale;
pub mod column;
pub mod csv;
pub mod header;
pub mod html;
pub mod json;
pub mod map;
pub mod parts;
pub mod sentences;
pub mod svg;
pub mod term;
pub mod value;
pub mod wording;
