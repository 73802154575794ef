//! What a file is, by its first bytes; its name is only a hint.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// The kinds of picture file that are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FileKind {
    /// JPEG (JFIF or Exif), 8 bit.
    Jpeg,
    /// TIFF 6.0, rendered (not raw).
    Tiff,
    /// PNG.
    Png,
    /// WebP, lossy or lossless.
    Webp,
    /// A camera's raw file, whatever its container.
    Raw,
}

impl FileKind {
    /// The name of the format.
    pub fn label(self) -> &'static str {
        match self {
            FileKind::Jpeg => "JPEG",
            FileKind::Tiff => "TIFF",
            FileKind::Png => "PNG",
            FileKind::Webp => "WebP",
            FileKind::Raw => "raw",
        }
    }
}

/// What the first bytes of a file say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sniffed {
    /// One of the kinds that are told apart.
    Kind(FileKind),
    /// A picture of a family that is not read, with its name.
    Unsupported(&'static str),
    /// A film, or sound.
    Video,
    /// No bytes at all.
    Empty,
    /// Anything else.
    Unknown,
}

/// What the end of a file's name promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Named {
    /// A picture that is read.
    Picture,
    /// A raw file.
    Raw,
    /// A picture that is not read; worth a line in the list of skipped files.
    Unsupported(&'static str),
    /// Anything else: sidecars, films, texts.
    Other,
}

const PICTURE_ENDINGS: &[&str] = &["jpg", "jpeg", "jpe", "jfif", "tif", "tiff", "png", "webp"];

/// Ends of the names of raw files.
pub(super) const RAW_ENDINGS: &[&str] = &[
    "3fr", "arw", "cr2", "cr3", "crw", "dcr", "dng", "erf", "fff", "gpr", "iiq", "kdc", "mef",
    "mos", "mrw", "nef", "nrw", "orf", "pef", "raf", "raw", "rw2", "rwl", "sr2", "srf", "srw",
    "x3f",
];

const UNSUPPORTED_ENDINGS: &[(&str, &str)] = &[
    ("heic", "HEIC"),
    ("heif", "HEIF"),
    ("hif", "HEIF"),
    ("avif", "AVIF"),
    ("jxl", "JPEG XL"),
    ("jp2", "JPEG 2000"),
    ("j2k", "JPEG 2000"),
];

/// The promise of a file's name.
pub(super) fn named(path: &Path) -> Named {
    let Some(ending) = path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase)
    else {
        return Named::Other;
    };
    if PICTURE_ENDINGS.contains(&ending.as_str()) {
        Named::Picture
    } else if RAW_ENDINGS.contains(&ending.as_str()) {
        Named::Raw
    } else {
        UNSUPPORTED_ENDINGS
            .iter()
            .find(|(e, _)| *e == ending)
            .map_or(Named::Other, |(_, name)| Named::Unsupported(name))
    }
}

/// Whether a file's name is that of a picture, one that is read here or not.
pub fn named_as_picture(path: &Path) -> bool {
    named(path) != Named::Other
}

/// How many bytes [`by_magic`] looks at.
const MAGIC_BYTES: u64 = 32;

/// What the content of a file says, with its name deciding only where the content cannot: a TIFF
/// container is raw when its name says so, or when it holds undeveloped pixels.
pub(super) fn sniff<R: Read + Seek>(reader: &mut R, path: &Path) -> io::Result<Sniffed> {
    let mut head = Vec::with_capacity(MAGIC_BYTES as usize);
    reader.by_ref().take(MAGIC_BYTES).read_to_end(&mut head)?;
    let sniffed = by_magic(&head);
    match (sniffed, named(path)) {
        (Sniffed::Kind(FileKind::Tiff), Named::Raw) => Ok(Sniffed::Kind(FileKind::Raw)),
        (Sniffed::Kind(FileKind::Tiff), _) if holds_raw(reader, &head)? => {
            Ok(Sniffed::Kind(FileKind::Raw))
        }
        (Sniffed::Unknown, Named::Raw) => Ok(Sniffed::Kind(FileKind::Raw)),
        _ => Ok(sniffed),
    }
}

/// The kind by the signature at the start of the file.
pub(super) fn by_magic(head: &[u8]) -> Sniffed {
    let raw_starts: &[&[u8]] =
        &[b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FUJIFILMCCD-RAW", b"\0MRM", b"FOVb"];
    if head.is_empty() {
        Sniffed::Empty
    } else if head.starts_with(b"\xff\xd8\xff") {
        Sniffed::Kind(FileKind::Jpeg)
    } else if head.starts_with(b"\x89PNG\r\n\x1a\n") {
        Sniffed::Kind(FileKind::Png)
    } else if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP") {
        Sniffed::Kind(FileKind::Webp)
    } else if head.starts_with(b"RIFF") {
        Sniffed::Video
    } else if raw_starts.iter().any(|s| head.starts_with(s))
        || head.starts_with(b"II\x2a\0") && head.get(8..10) == Some(b"CR")
        || head.get(6..14) == Some(b"HEAPCCDR")
    {
        Sniffed::Kind(FileKind::Raw)
    } else if [&b"II\x2a\0"[..], b"MM\0\x2a", b"II\x2b\0", b"MM\0\x2b"]
        .iter()
        .any(|s| head.starts_with(s))
    {
        Sniffed::Kind(FileKind::Tiff)
    } else if head.get(4..8) == Some(b"ftyp") {
        match head.get(8..12) {
            Some(b"crx ") => Sniffed::Kind(FileKind::Raw),
            Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx") => {
                Sniffed::Unsupported("HEIC")
            }
            Some(b"mif1" | b"msf1") => Sniffed::Unsupported("HEIF"),
            Some(b"avif" | b"avis") => Sniffed::Unsupported("AVIF"),
            _ => Sniffed::Video,
        }
    } else if head.starts_with(b"\xff\x0a") || head.get(4..8) == Some(b"JXL ") {
        Sniffed::Unsupported("JPEG XL")
    } else if head.get(4..8) == Some(b"jP  ") {
        Sniffed::Unsupported("JPEG 2000")
    } else if head.get(4..8) == Some(b"moov") || head.get(4..8) == Some(b"mdat") {
        Sniffed::Video
    } else {
        Sniffed::Unknown
    }
}

/// Tags that mark undeveloped pixels (TIFF/EP, ISO 12234-2, and the DNG specification).
const TAG_PHOTOMETRIC: u16 = 0x0106;
const TAG_SUB_IFDS: u16 = 0x014A;
const TAG_DNG_VERSION: u16 = 0xC612;
/// PhotometricInterpretation of a colour filter array and of linear raw.
const RAW_PHOTOMETRIC: [u32; 2] = [32803, 34892];
/// How many sub-directories are looked into; raw files hold two or three.
const MAX_SUB_IFDS: usize = 8;
/// How many entries of one directory are looked at.
const MAX_ENTRIES: u16 = 512;

/// Whether a TIFF container holds undeveloped pixels: a DNG, or a directory whose photometric
/// interpretation is a colour filter array. A container that ends early counts as not raw.
fn holds_raw<R: Read + Seek>(reader: &mut R, head: &[u8]) -> io::Result<bool> {
    let Some(&[a, b, c, d]) = head.get(4..8) else { return Ok(false) };
    let little = head.starts_with(b"II");
    if head.get(2..4) != Some(if little { b"\x2a\0" } else { b"\0\x2a" }) {
        return Ok(false);
    }
    let mut tiff = TiffHeader { reader, little };
    let first = tiff.u32_of([a, b, c, d]);
    let (mut raw, subs) = tiff.directory(first)?;
    for sub in subs.into_iter().take(MAX_SUB_IFDS) {
        raw |= tiff.directory(sub)?.0;
    }
    Ok(raw)
}

struct TiffHeader<'a, R> {
    reader: &'a mut R,
    little: bool,
}

impl<R: Read + Seek> TiffHeader<'_, R> {
    fn u16_of(&self, b: [u8; 2]) -> u16 {
        if self.little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) }
    }

    fn u32_of(&self, b: [u8; 4]) -> u32 {
        if self.little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) }
    }

    /// At most `len` bytes from `at` on.
    fn bytes(&mut self, at: u32, len: u64) -> io::Result<Vec<u8>> {
        self.reader.seek(SeekFrom::Start(u64::from(at)))?;
        let mut bytes = Vec::new();
        self.reader.by_ref().take(len).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// Whether the directory at an offset is marked as raw, and the offsets of its children.
    fn directory(&mut self, at: u32) -> io::Result<(bool, Vec<u32>)> {
        let count = match self.bytes(at, 2)?[..] {
            [a, b] => self.u16_of([a, b]).min(MAX_ENTRIES),
            _ => return Ok((false, Vec::new())),
        };
        let entries = self.bytes(at.saturating_add(2), u64::from(count).saturating_mul(12))?;
        let (mut raw, mut subs) = (false, Vec::new());
        for entry in entries.as_chunks::<12>().0 {
            let [t0, t1, y0, y1, c0, c1, c2, c3, value @ ..] = *entry;
            let short = self.u16_of([y0, y1]) == 3;
            let number = self.u32_of([c0, c1, c2, c3]);
            let offset = self.u32_of(value);
            match self.u16_of([t0, t1]) {
                TAG_DNG_VERSION => raw = true,
                TAG_PHOTOMETRIC => {
                    let code =
                        if short { self.u16_of([value[0], value[1]]).into() } else { offset };
                    raw |= RAW_PHOTOMETRIC.contains(&code);
                }
                TAG_SUB_IFDS if number == 1 => subs.push(offset),
                TAG_SUB_IFDS => {
                    let list = self.bytes(offset, u64::from(number.min(8)).saturating_mul(4))?;
                    subs.extend(list.as_chunks::<4>().0.iter().map(|b| self.u32_of(*b)));
                }
                _ => {}
            }
        }
        Ok((raw, subs))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn tiff(entries: &[(u16, u16, u32, u32)]) -> Vec<u8> {
        let mut bytes = b"II\x2a\0\x08\0\0\0".to_vec();
        bytes.extend((entries.len() as u16).to_le_bytes());
        for (tag, kind, count, value) in entries {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(kind.to_le_bytes());
            bytes.extend(count.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend([0; 4]);
        bytes
    }

    fn kind_of(bytes: &[u8], name: &str) -> Sniffed {
        sniff(&mut Cursor::new(bytes), Path::new(name)).unwrap()
    }

    #[test]
    fn content_beats_the_name() {
        assert_eq!(kind_of(b"\x89PNG\r\n\x1a\n....", "a.jpg"), Sniffed::Kind(FileKind::Png));
        assert_eq!(kind_of(b"\xff\xd8\xff\xe0", "a.dng"), Sniffed::Kind(FileKind::Jpeg));
        assert_eq!(kind_of(b"", "a.jpg"), Sniffed::Empty);
        assert_eq!(kind_of(b"hello", "a.jpg"), Sniffed::Unknown);
        assert_eq!(kind_of(b"\0\0\0\x18ftypheic", "a.jpg"), Sniffed::Unsupported("HEIC"));
        assert_eq!(kind_of(b"\0\0\0\x18ftypqt  ", "a.jpg"), Sniffed::Video);
    }

    #[test]
    fn tiff_is_raw_by_name_by_dng_version_or_by_filter_array() {
        let plain = tiff(&[(TAG_PHOTOMETRIC, 3, 1, 2)]);
        assert_eq!(kind_of(&plain, "a.tif"), Sniffed::Kind(FileKind::Tiff));
        assert_eq!(kind_of(&plain, "a.NEF"), Sniffed::Kind(FileKind::Raw));
        let dng = tiff(&[(TAG_DNG_VERSION, 1, 4, 1)]);
        assert_eq!(kind_of(&dng, "a.tif"), Sniffed::Kind(FileKind::Raw));
        let mut child = tiff(&[(TAG_PHOTOMETRIC, 3, 1, 2), (TAG_SUB_IFDS, 4, 1, 38)]);
        assert_eq!(child.len(), 38);
        child.extend(&tiff(&[(TAG_PHOTOMETRIC, 3, 1, 32803)])[8..]);
        assert_eq!(kind_of(&child, "a.tif"), Sniffed::Kind(FileKind::Raw));
        // A directory that points at itself ends.
        let looped = tiff(&[(TAG_SUB_IFDS, 4, 1, 8)]);
        assert_eq!(kind_of(&looped, "a.tif"), Sniffed::Kind(FileKind::Tiff));
    }
}
