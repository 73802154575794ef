//! What is fuzzed: one file each.

mod exif;
mod ffprobe;
mod headers;
mod raw_structure;

/// A function that reads what others hand over.
pub struct Target {
    pub name: &'static str,
    pub what: &'static str,
    /// Panics when the answer is wrong.
    pub run: fn(&[u8]),
}

/// All of them.
pub const ALL: &[Target] = &[
    Target { name: "headers", what: "size in the headers of each kind", run: headers::run },
    Target { name: "raw-structure", what: "check of raw containers", run: raw_structure::run },
    Target { name: "exif", what: "exposure in Exif structures", run: exif::run },
    Target { name: "ffprobe", what: "answers of ffprobe about clips", run: ffprobe::run },
];
