//! From a file on disk to its header and its pixels.

use std::fs::{self, File};
use std::io::{self, BufReader, Seek};
use std::path::{Path, PathBuf};

use super::memory::Held;
use super::opened::OpenedFrame;
use super::still::{Decoded, Want, check_size, decode_in, no_header, size_of_other};
use super::{Exposure, FileKind, FoundFile, JpegHeader, Orientation};
use crate::core::path_text;
use crate::error::SkipReason;

/// How much is read at a time while looking through headers.
const HEADER_BUFFER: usize = 64 << 10;
/// Largest file that is read, bytes: a 400 Mpx TIFF of three 16-bit colours is 2.4 GB.
const MAX_FILE_BYTES: u64 = 3 << 30;

/// One picture file with what its header says; no pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Where it is.
    pub path: PathBuf,
    /// Its name in reports: the path below what was asked for.
    pub shown: String,
    /// The other file of the same exposure, if there is one: JPEG beside raw, or raw beside JPEG.
    pub partner: Option<PathBuf>,
    /// What it is.
    pub kind: FileKind,
    /// Size of the file, bytes.
    pub file_bytes: u64,
    /// Width in the orientation of the file, px.
    pub width_px: u32,
    /// Height in the orientation of the file, px.
    pub height_px: u32,
    /// What the camera wrote; `None` when it wrote nothing that can be read.
    pub exposure: Option<Exposure>,
}

#[cfg(test)]
impl Frame {
    /// A small JPEG of these settings, which lies nowhere.
    pub fn taken_with(exposure: Exposure) -> Frame {
        Frame {
            path: "a.jpg".into(),
            shown: "a.jpg".into(),
            partner: None,
            kind: FileKind::Jpeg,
            file_bytes: 1,
            width_px: 600,
            height_px: 400,
            exposure: Some(exposure),
        }
    }
}

impl Frame {
    /// How the picture has to be turned; upright when the file does not say.
    pub fn orientation(&self) -> Orientation {
        let known = self.exposure.as_ref().and_then(|e| e.orientation.as_ref());
        known.map_or(Orientation::Upright, |o| o.value)
    }

    /// Width and height of the picture standing upright, px.
    pub fn upright_size(&self) -> (u32, u32) {
        self.orientation().upright_size(self.width_px, self.height_px)
    }
}

/// Reads the header of a picture file: its size in pixels, checked, and what the camera wrote.
/// A JPEG is read up to its pixels only. When a raw file is of no use, its JPEG stands in.
///
/// # Errors
/// [`SkipReason`], when the file cannot be read, is empty, damaged in its header, too large, too
/// small, or raw in a form that is not supported.
pub fn read_header(found: &FoundFile) -> Result<Frame, SkipReason> {
    if found.kind != FileKind::Raw {
        return read_picture(found);
    }
    let reason = match (read_raw(found), &found.partner) {
        (Err(reason), Some(_)) => reason,
        (read, _) => return read,
    };
    let Some(partner) = &found.partner else { return Err(reason) };
    let name = partner.file_name().map(|n| path_text(Path::new(n)));
    let shown = match (found.shown.rsplit_once('/'), name) {
        (Some((folder, _)), Some(name)) => format!("{folder}/{name}"),
        (None, Some(name)) => name,
        (_, None) => found.shown.clone(),
    };
    let stand_in = FoundFile {
        path: partner.clone(),
        shown,
        kind: FileKind::Jpeg,
        partner: Some(found.path.clone()),
    };
    read_picture(&stand_in).map_err(|_| reason)
}

/// As [`read_header`], for a raw file.
#[cfg(feature = "raw")]
fn read_raw(found: &FoundFile) -> Result<Frame, SkipReason> {
    let (header, file_bytes) = super::raw::header_at(&found.path)?;
    Ok(Frame {
        path: found.path.clone(),
        shown: found.shown.clone(),
        partner: found.partner.clone(),
        kind: found.kind,
        file_bytes,
        width_px: header.width_px,
        height_px: header.height_px,
        exposure: header.exposure,
    })
}

#[cfg(not(feature = "raw"))]
fn read_raw(_: &FoundFile) -> Result<Frame, SkipReason> {
    Err(SkipReason::Raw)
}

/// As [`read_header`], for a rendered picture.
fn read_picture(found: &FoundFile) -> Result<Frame, SkipReason> {
    let file = File::open(&found.path).map_err(|e| unreadable(&e))?;
    let file_bytes = file.metadata().map_err(|e| unreadable(&e))?.len();
    if file_bytes == 0 {
        return Err(SkipReason::Empty);
    }
    if file_bytes > MAX_FILE_BYTES {
        return Err(too_long());
    }
    let mut reader = BufReader::with_capacity(HEADER_BUFFER, file);
    let (size, exposure) = if found.kind == FileKind::Jpeg {
        let header =
            JpegHeader::read(&mut reader).map_err(|e| unreadable(&e))?.ok_or_else(no_header)?;
        let size = (header.width_px, header.height_px);
        check_size(size.0, size.1, file_bytes)?;
        (size, header.exif.and_then(|exif| Exposure::from_segment(&exif, size)))
    } else {
        let size = size_of_other(&mut reader, found.kind)?;
        check_size(size.0, size.1, file_bytes)?;
        reader.rewind().map_err(|e| unreadable(&e))?;
        (size, Exposure::from_reader(&mut reader, size))
    };
    Ok(Frame {
        path: found.path.clone(),
        shown: found.shown.clone(),
        partner: found.partner.clone(),
        kind: found.kind,
        file_bytes,
        width_px: size.0,
        height_px: size.1,
        exposure,
    })
}

/// Opens a frame, the one way to its pixels: reads its file whole and decodes it, a raw file to its
/// mosaic. `buffer` held another picture before ([`super::decode_into`]). Returns the memory that
/// the frame and what is made of it take, too: others cannot have it until it is given back.
///
/// # Errors
/// As [`super::decode`], and when the file cannot be read.
pub fn open(frame: &Frame, want: Want, buffer: Vec<u8>) -> Result<(OpenedFrame, Held), SkipReason> {
    let mut held = Held::nothing();
    held.set(frame.file_bytes.saturating_add(at_least(frame, want)))?;
    let file_bytes = length_of(&frame.path)?;
    #[cfg(test)]
    opened::note(&frame.path);
    if frame.kind == FileKind::Raw {
        return Ok((open_raw(&frame.path, file_bytes)?, held));
    }
    let bytes = fs::read(&frame.path).map_err(|e| unreadable(&e))?;
    let decoded = decode_in(&bytes, frame.kind, want, buffer, &mut held)?;
    Ok((OpenedFrame::Rendered(decoded), held))
}

#[cfg(feature = "raw")]
fn open_raw(path: &Path, file_bytes: u64) -> Result<OpenedFrame, SkipReason> {
    Ok(OpenedFrame::Raw(Box::new(super::raw::read_mosaic(path, file_bytes)?)))
}

#[cfg(not(feature = "raw"))]
fn open_raw(_: &Path, _: u64) -> Result<OpenedFrame, SkipReason> {
    Err(SkipReason::Raw)
}

/// Opens a frame and develops it.
///
/// # Errors
/// As [`open()`].
pub fn load(frame: &Frame, want: Want) -> Result<Decoded, SkipReason> {
    load_held(frame, want, Vec::new()).map(|(decoded, _)| decoded)
}

/// As [`load`], with the buffer and the memory of [`open()`].
///
/// # Errors
/// As [`open()`].
pub fn load_held(
    frame: &Frame,
    want: Want,
    buffer: Vec<u8>,
) -> Result<(Decoded, Held), SkipReason> {
    let (opened, mut held) = open(frame, want, buffer)?;
    let decoded = opened.developed(want);
    held.shrink(decoded.pixels.bytes());
    Ok((decoded, held))
}

/// Memory that decoding a frame and measuring it takes at least, bytes; what a decoder needs
/// beyond that shows when its header is read again.
fn at_least(frame: &Frame, want: Want) -> u64 {
    let pixels = u64::from(frame.width_px) * u64::from(frame.height_px);
    let each = match (frame.kind, want) {
        // In the child the readout and its part that is lit; here one mosaic, luma and colour.
        (FileKind::Raw, _) => 6,
        (_, Want::Luma) => 1,
        (_, Want::Colour) => 3,
    };
    pixels.saturating_mul(each)
}

/// Length of a file, bytes, when it is one that is read.
pub(super) fn length_of(path: &Path) -> Result<u64, SkipReason> {
    let len = fs::metadata(path).map_err(|e| unreadable(&e))?.len();
    if len > MAX_FILE_BYTES { Err(too_long()) } else { Ok(len) }
}

pub(super) fn unreadable(error: &io::Error) -> SkipReason {
    let says = match error.kind() {
        io::ErrorKind::NotFound => "it is gone".to_owned(),
        io::ErrorKind::PermissionDenied => "permission denied".to_owned(),
        _ => error.to_string(),
    };
    SkipReason::Unreadable(says)
}

fn too_long() -> SkipReason {
    SkipReason::Unsupported("file of more than 3 GiB".into())
}

/// How often the pixels of each file were opened: for tests of commands.
#[cfg(test)]
pub(crate) mod opened {
    use std::collections::HashMap;
    use std::path::{Path, PathBuf};
    use std::sync::{LazyLock, Mutex};

    static OPENED: LazyLock<Mutex<HashMap<PathBuf, usize>>> = LazyLock::new(Mutex::default);

    pub(super) fn note(path: &Path) {
        *OPENED.lock().unwrap().entry(path.to_owned()).or_default() += 1;
    }

    /// How often each file below a folder was opened, by name.
    pub(crate) fn below(folder: &Path) -> Vec<(String, usize)> {
        let opened = OPENED.lock().unwrap();
        let below = opened.iter().filter(|(path, _)| path.starts_with(folder));
        let name = |path: &Path| path.file_name().unwrap().to_str().unwrap().to_owned();
        let mut counts: Vec<_> = below.map(|(path, count)| (name(path), *count)).collect();
        counts.sort();
        counts
    }
}
