//! `mark`: sidecars, from text to text, and the record of what was written.

pub mod record;
pub mod terminal;
pub mod xmp;
