//! Clips, decoded by the system's ffmpeg in a process of its own.
//!
//! [`find`] lists the clips below some paths, [`probe`] asks ffprobe what a clip is, and a
//! [`ClipStream`] hands out its frames one by one: luma as stored, with the exact time and the
//! kind of each. Only a few frames are ever in memory. [`picture_at`] fetches one frame in colour.
//!
//! ffmpeg only ever gets to open the one local file (`-protocol_whitelist file`), in a container
//! that names no others (`-format_whitelist`), and its name cannot pass for an option because it
//! follows `file:`. The child is killed and reaped when its
//! stream is dropped.

mod find;
mod frame;
mod picture;
mod probe;
mod stream;
mod tools;

pub use find::{FoundClips, find};
pub use frame::{ClipFrame, FrameType};
pub use picture::{RgbPicture, picture_at};
pub use probe::{ClipInfo, probe};
pub use stream::{ClipPart, ClipStream, FfmpegExit};
pub use tools::Tools;
