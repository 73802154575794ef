//! Everything between the disk and pixels: finding picture files, reading what the camera wrote
//! about each, and decoding them. Nothing here measures.
//!
//! A file goes through three steps, each of which may end in a [`SkipReason`](crate::SkipReason)
//! that concerns this file only:
//!
//! 1. [`find`] lists the picture files below some paths;
//! 2. [`read_header`] turns a file into a [`Frame`]: size in pixels and [`Exposure`], no pixels;
//! 3. [`open`] reads its pixels into an [`OpenedFrame`]; [`load`] develops that into a [`Decoded`].
//!
//! Clips go another way, through the system's ffmpeg: [`clip`].

pub mod clip;
mod encode;
pub mod exposure;
mod jpeg;
mod jpeg_header;
mod kind;
mod memory;
mod open;
mod opened;
mod orientation;
pub mod raw;
mod spool;
mod still;
mod walk;

pub use encode::{CROP_PX, CROP_QUALITY, Picture, THUMB_QUALITY, encode_jpeg};
pub use exposure::Exposure;
pub use jpeg::{ChromaRows, JpegPlanes, SequentialJpeg};
pub use jpeg_header::JpegHeader;
pub use kind::{FileKind, named_as_picture};
pub use memory::{Held, memory_budget, set_memory_budget};
#[cfg(test)]
pub(crate) use open::opened::below as opened_below;
pub use open::{Frame, load, load_held, open, read_header};
pub use opened::{OpenedFrame, PixelBox};
pub use orientation::Orientation;
pub use spool::{Spool, SpooledSamples};
pub use still::{
    Decoded, MAX_PIXELS, MIN_SIDE_PX, Pixels, Want, decode, decode_into, developed, header_size,
};
pub use walk::{FoundFile, FoundFiles, find, sort_by_time};
