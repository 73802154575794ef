//! What is fuzzed: one file each.

mod decisions;
mod exif;
mod ffprobe;
mod headers;
mod http_head;
mod raw_structure;
mod records;
mod rigs;
mod sequential_jpeg;
mod subjects;
mod xmp;

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
    Target {
        name: "sequential-jpeg",
        what: "the usual form of JPEG, against the general decoder",
        run: sequential_jpeg::run,
    },
    Target { name: "raw-structure", what: "check of raw containers", run: raw_structure::run },
    Target { name: "exif", what: "exposure in Exif structures", run: exif::run },
    Target { name: "ffprobe", what: "answers of ffprobe about clips", run: ffprobe::run },
    Target { name: "xmp", what: "marks in sidecars", run: xmp::run },
    Target { name: "records", what: "records, and what they may name", run: records::run },
    Target { name: "rigs", what: "descriptions of equipment", run: rigs::run },
    Target { name: "decisions", what: "files of decisions", run: decisions::run },
    Target { name: "subjects", what: "files of --subjects", run: subjects::run },
    Target { name: "http-head", what: "heads of requests to the page", run: http_head::run },
];
