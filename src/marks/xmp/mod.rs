//! XMP sidecars, from text to text: what one says, and the same with marks.
//!
//! After the XMP Specification, part 1 (ISO 16684-1: data model, serialization, xmp:Rating in
//! table 5) and part 3 (external storage). Every form in which RDF may hold a property is read;
//! what is not written keeps its bytes: foreign properties, prefixes, comments, packet wrapper and
//! white space.

mod edit;
mod read;
#[cfg(test)]
mod tests;
mod tree;

pub use edit::{Change, Keywords, Marked, Marks, marked};
pub use read::{Rating, ReadMarks, read};

/// Largest sidecar that is read, bytes: those with a long history of edits reach some hundred kB.
pub const MAX_SIDECAR_BYTES: u64 = 8 << 20;

/// Namespace of xmp:Rating and xmp:Label (part 1, section 8.4).
const XMP: &str = "http://ns.adobe.com/xap/1.0/";
/// Namespace of dc:subject (part 1, section 8.3).
const DC: &str = "http://purl.org/dc/elements/1.1/";
