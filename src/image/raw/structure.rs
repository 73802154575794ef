//! Whether the structure of a raw file can be that of a whole one, before a decoder walks it.
//!
//! Decoders take memory for what an entry claims and follow directories wherever they lead. So
//! every count is held against the length of the file first, and directories that lead in circles
//! are found. Only claims that no whole file can make are refused: an entry that points past the
//! end is the decoder's own business, and costs nothing. Claims about the picture are in `claims`.
//!
//! Sources: TIFF 6.0, section 2; ISO 14496-12 (boxes of CR3), 8.5 to 8.7 and 12.1.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::collections::BTreeSet;

use super::claims::{Claims, check_compressed};
use crate::error::SkipReason;

/// Directories that are walked. The decoder follows the chain and one level of sub-directories;
/// whole files have fewer than 20.
const MAX_DIRECTORIES: usize = 256;
/// Levels of directories below each other; whole files have 3.
const MAX_DEPTH: usize = 8;
/// Entries of one directory; the decoder stops there too.
const MAX_ENTRIES: usize = 4096;
/// All values together may be this many times the length of the file. In whole files they do not
/// overlap, but a maker's block may be listed twice.
const MAX_OVERLAP: u64 = 4;
/// Values of this many bytes are let through even in a tiny file.
const MIN_VALUES: u64 = 1 << 16;
/// Boxes that are walked; whole files have about 100.
const MAX_BOXES: usize = 4096;
/// What precedes the boxes in a description of samples (its version and its count), and in the
/// one that describes a picture, bytes.
const DESCRIPTIONS_HEAD: usize = 8;
const PICTURE_HEAD: usize = 82;
/// The identifier of the maker's box that holds further ones.
const MAKER: [u8; 16] = 0x85c0_b687_820f_11e0_8111_f4ce_462b_6a48_u128.to_be_bytes();

/// Entries whose values are offsets of further directories: SubIFDs, Exif, GPS, and a profile,
/// which the decoder walks like a directory.
const DIRECTORY_TAGS: [u16; 4] = [0x014A, 0x8769, 0x8825, 0x8773];
/// Number after the byte order: TIFF, and the two makers that write another one.
const MAGICS: [u16; 4] = [42, PANASONIC, 0x5352, 0x4F52];
/// The maker whose entries have other meanings.
const PANASONIC: u16 = 0x55;
/// Entry that makes a file a DNG; it is in the first directory.
const DNG_VERSION: u16 = 0xC612;

/// Checks the directories of a TIFF-like raw file, or the boxes of a CR3, without decoding
/// anything. Other containers pass.
///
/// # Errors
/// [`SkipReason::Damaged`], when the file claims what no whole file can hold.
pub fn check_structure(bytes: &[u8]) -> Result<(), SkipReason> {
    if bytes.get(4..8) == Some(b"ftyp") {
        return boxes(bytes, 0, &mut Boxes { walked: 0, file_bytes: bytes.len() as u64 });
    }
    match TiffWalk::of(bytes) {
        Some(tiff) => tiff.check(),
        None => Ok(()),
    }
}

/// Whether a raw file refers to bytes behind its end, as one does that was cut off: a directory, a
/// value, samples or a box. For files that no decoder could read.
#[cfg_attr(not(feature = "raw"), allow(dead_code))]
pub(super) fn ends_early(bytes: &[u8]) -> bool {
    let len = bytes.len() as u64;
    if bytes.get(4..8) == Some(b"ftyp") {
        let mut at = 0u64;
        while at < len {
            let place = at as usize;
            let head = bytes.get(place..).and_then(|rest| rest.get(..4)?.try_into().ok());
            match head.map(u32::from_be_bytes) {
                Some(0) => return false,
                Some(1) => {
                    let long = bytes.get(place..).and_then(|rest| rest.get(8..16)?.try_into().ok());
                    let Some(long) = long.map(u64::from_be_bytes) else { return true };
                    at = at.saturating_add(long.max(8));
                }
                Some(size) => at = at.saturating_add(u64::from(size).max(8)),
                None => return true,
            }
        }
        return at > len;
    }
    if bytes.starts_with(b"FUJIFILMCCD-RAW") {
        // Offset and length of the JPEG, the header and the samples, big end first.
        return [84usize, 92, 100].iter().any(|at| {
            let range = be32(bytes, *at).zip(be32(bytes, at.saturating_add(4)));
            range.is_none_or(|(from, size)| from.saturating_add(size) > len)
        });
    }
    let Some(tiff) = TiffWalk::of(bytes) else { return false };
    let (mut next, mut seen) = (vec![tiff.first], BTreeSet::new());
    while let Some(at) = next.pop() {
        if at == 0 || !seen.insert(at) || seen.len() > MAX_DIRECTORIES {
            continue;
        }
        let Some(count) = tiff.u16_at(at as usize) else { return true };
        let (mut starts, mut sizes) = (0, 0);
        for index in 0..usize::from(count) {
            let Some(entry) = tiff.entry(at, index) else { return true };
            let (value, size) = (u64::from(entry.value), entry.value_bytes());
            if size > 4 && value.saturating_add(size) > len {
                return true;
            }
            match entry.tag {
                // Strips or tiles, or a JPEG: where it starts and how long it is.
                0x0111 | 0x0144 | 0x0201 if entry.count == 1 => starts = value,
                0x0117 | 0x0145 | 0x0202 if entry.count == 1 => sizes = value,
                tag if DIRECTORY_TAGS.contains(&tag) && entry.count == 1 => next.push(entry.value),
                _ => {}
            }
        }
        if starts.saturating_add(sizes) > len {
            return true;
        }
        next.extend(tiff.u32_at(entry_place(at, count.into())));
    }
    false
}

fn damaged(says: impl Into<String>) -> SkipReason {
    SkipReason::Damaged(says.into())
}

/// Size of a value of each type, bytes; types that are not known count as bytes.
fn type_bytes(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 => 8,
        _ => 1,
    }
}

/// Where an entry of a directory is; the one after the last is where it says what is next.
fn entry_place(directory: u32, index: usize) -> usize {
    (directory as usize).saturating_add(2).saturating_add(index.saturating_mul(12))
}

/// An entry of a directory.
struct TagEntry {
    tag: u16,
    kind: u16,
    /// How many values it has.
    count: u32,
    /// Its value, or where its values are.
    value: u32,
    /// Where that is.
    value_at: usize,
}

impl TagEntry {
    /// Bytes of all its values.
    fn value_bytes(&self) -> u64 {
        u64::from(self.count).saturating_mul(type_bytes(self.kind))
    }
}

struct TiffWalk<'a> {
    bytes: &'a [u8],
    little: bool,
    magic: u16,
    first: u32,
}

/// What has been walked.
#[derive(Default)]
struct Walked {
    directories: usize,
    value_bytes: u64,
    is_dng: bool,
}

impl<'a> TiffWalk<'a> {
    fn of(bytes: &'a [u8]) -> Option<Self> {
        let little = match bytes.get(..2)? {
            b"II" => true,
            b"MM" => false,
            _ => return None,
        };
        let mut tiff = TiffWalk { bytes, little, magic: 0, first: 0 };
        tiff.magic = tiff.u16_at(2)?;
        if !MAGICS.contains(&tiff.magic) {
            return None;
        }
        tiff.first = tiff.u32_at(4)?;
        Some(tiff)
    }

    fn u16_at(&self, at: usize) -> Option<u16> {
        let b: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) })
    }

    fn u32_at(&self, at: usize) -> Option<u32> {
        let b: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) })
    }

    fn entry(&self, directory: u32, index: usize) -> Option<TagEntry> {
        let at = entry_place(directory, index);
        let value_at = at.saturating_add(8);
        Some(TagEntry {
            tag: self.u16_at(at)?,
            kind: self.u16_at(at.saturating_add(2))?,
            count: self.u32_at(at.saturating_add(4))?,
            value: self.u32_at(value_at)?,
            value_at,
        })
    }

    /// The first of an entry's values, when they are whole numbers.
    fn first_value(&self, entry: &TagEntry) -> Option<u64> {
        let far = entry.value_bytes() > 4;
        let at = if far { entry.value as usize } else { entry.value_at };
        match (entry.kind, entry.count) {
            (_, 0) => None,
            (1, _) => self.bytes.get(at).map(|b| u64::from(*b)),
            (3, _) => self.u16_at(at).map(u64::from),
            (4 | 13, _) => self.u32_at(at).map(u64::from),
            _ => None,
        }
    }

    fn check(&self) -> Result<(), SkipReason> {
        let mut walked = Walked::default();
        let mut chain = BTreeSet::new();
        let mut at = self.first;
        while at != 0 {
            if !chain.insert(at) {
                return Err(damaged("its directories lead in circles"));
            }
            at = self.directory(at, &mut vec![at], &mut walked)?;
        }
        Ok(())
    }

    /// Walks a directory and those below it; returns where the next of the chain is, 0 for none.
    fn directory(
        &self,
        at: u32,
        above: &mut Vec<u32>,
        walked: &mut Walked,
    ) -> Result<u32, SkipReason> {
        walked.directories = walked.directories.saturating_add(1);
        if walked.directories > MAX_DIRECTORIES || above.len() > MAX_DEPTH {
            return Err(damaged("its directories lead on without end"));
        }
        // What lies behind the end of the file is no directory; decoders find out by themselves.
        let Some(count) = self.u16_at(at as usize) else { return Ok(0) };
        let count = usize::from(count);
        let (mut below, mut claims) = (Vec::new(), Claims::default());
        for index in 0..count.min(MAX_ENTRIES) {
            let Some(entry) = self.entry(at, index) else { return Ok(0) };
            let (tag, size) = (entry.tag, entry.value_bytes());
            if size > self.bytes.len() as u64 {
                return Err(damaged(format!(
                    "entry {tag:#06x} of its header claims more bytes than the file has"
                )));
            }
            if size > 4 {
                walked.value_bytes = walked.value_bytes.saturating_add(size);
            }
            walked.is_dng |= tag == DNG_VERSION;
            claims.note(tag, entry.count, self.first_value(&entry));
            if DIRECTORY_TAGS.contains(&tag) {
                match (entry.kind, entry.count) {
                    (4 | 13, 1) | (7, 5..) => below.push(entry.value),
                    (4 | 13, 2..) => {
                        let places = (entry.value as usize..).step_by(4);
                        let listed = places.take(entry.count as usize);
                        below.extend(listed.map_while(|place| self.u32_at(place)));
                    }
                    _ => {}
                }
            }
        }
        let most = (self.bytes.len() as u64).saturating_mul(MAX_OVERLAP).max(MIN_VALUES);
        if walked.value_bytes > most {
            return Err(damaged("the entries of its header claim more bytes than the file has"));
        }
        if self.magic != PANASONIC {
            claims.check(self.bytes.len() as u64, walked.is_dng)?;
        }
        for sub in below {
            if above.contains(&sub) {
                return Err(damaged("its directories lead in circles"));
            }
            above.push(sub);
            self.directory(sub, above, walked)?;
            above.pop();
        }
        Ok(self.u32_at(entry_place(at, count)).unwrap_or(0))
    }
}

/// A file of boxes, and how many of them have been walked.
struct Boxes {
    walked: usize,
    file_bytes: u64,
}

/// Walks the boxes of a range and those below it: each must fit into the one around it, tables
/// their box, pictures the file, and the TIFF structures in a maker's box are checked as such. A box
/// of no size would be read again and again; only the last of a file may say so and go to its end.
fn boxes(bytes: &[u8], depth: usize, file: &mut Boxes) -> Result<(), SkipReason> {
    if depth > MAX_DEPTH {
        return Err(damaged("its boxes lead on without end"));
    }
    let mut at = 0usize;
    while let Some(rest) = bytes.get(at..)
        && let (Some(size), Some(name)) = (be32(rest, 0), rest.get(4..8))
    {
        file.walked = file.walked.saturating_add(1);
        if file.walked > MAX_BOXES {
            return Err(damaged("its boxes lead on without end"));
        }
        let left = rest.len() as u64;
        let (size, head) = match size {
            0 if depth == 0 => (left, 8),
            1 => match (be32(rest, 8), be32(rest, 12)) {
                (Some(high), Some(low)) => (high << 32 | low, 16),
                _ => return Ok(()),
            },
            size => (size, 8),
        };
        if size < head {
            return Err(damaged("a box of its header is shorter than its own head"));
        }
        let next = usize::try_from(size).ok().and_then(|s| at.checked_add(s));
        let next = next.filter(|_| depth == 0 || size <= left);
        let Some(next) = next else {
            return Err(damaged("a box of its header claims more than there is"));
        };
        // A picture that was cut off lacks the end of its last box; what decodes it says so.
        let body = rest.get(head as usize..size.min(left) as usize).unwrap_or_default();
        let below = depth.saturating_add(1);
        let behind = |head: usize| body.get(head..).unwrap_or_default();
        match name {
            b"moov" | b"trak" | b"mdia" | b"minf" | b"stbl" => boxes(body, below, file)?,
            b"uuid" if body.starts_with(&MAKER) => boxes(behind(MAKER.len()), below, file)?,
            b"CCTP" => boxes(behind(12), below, file)?,
            b"CDI1" => boxes(behind(4), below, file)?,
            b"stsd" => boxes(behind(DESCRIPTIONS_HEAD), below, file)?,
            b"CRAW" => boxes(behind(PICTURE_HEAD), below, file)?,
            b"CMP1" => check_compressed([8, 12, 16, 20].map(|at| be32(body, at)), file.file_bytes)?,
            b"CMT1" | b"CMT2" | b"CMT3" | b"CMT4" => {
                if let Some(tiff) = TiffWalk::of(body) {
                    tiff.check()?;
                }
            }
            _ => table(name, body)?,
        }
        at = next;
    }
    Ok(())
}

/// The four bytes at a place as a number, big end first.
fn be32(bytes: &[u8], at: usize) -> Option<u64> {
    let b: [u8; 4] = bytes.get(at..)?.get(..4)?.try_into().ok()?;
    Some(u32::from_be_bytes(b).into())
}

/// Where a table's number of rows is, and the length of a row, bytes.
fn table(name: &[u8], body: &[u8]) -> Result<(), SkipReason> {
    let number = |at| be32(body, at);
    let (count, row, rows_at) = match name {
        b"stsz" if number(4).is_some_and(|size| size != 0) => (number(8), 0, 12),
        b"stsz" => (number(8), 4, 12),
        b"stco" => (number(4), 4, 8),
        b"co64" | b"stts" => (number(4), 8, 8),
        b"stsc" => (number(4), 12, 8),
        b"CTMD" => (number(8), 8, 12),
        _ => return Ok(()),
    };
    let room = (body.len() as u64).saturating_sub(rows_at);
    // A size that all samples share needs no row each, but the decoder still makes room for one.
    let fits = |count: u64| match row {
        0 => count <= MIN_VALUES,
        row => count.saturating_mul(row) <= room,
    };
    match count {
        Some(count) if !fits(count) => {
            Err(damaged("a table of its header claims more rows than it has"))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A directory: entries of tag, type, count and value, and where the next one is.
    fn directory(entries: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
        let mut bytes = (entries.len() as u16).to_le_bytes().to_vec();
        for (tag, kind, count, value) in entries {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(kind.to_le_bytes());
            bytes.extend(count.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend(next.to_le_bytes());
        bytes
    }

    fn tiff(parts: &[Vec<u8>]) -> Vec<u8> {
        [b"II\x2a\0\x08\0\0\0".to_vec(), parts.concat()].concat()
    }

    fn says(bytes: &[u8]) -> String {
        check_structure(bytes).map_or_else(|e| e.to_string(), |()| "whole".into())
    }

    #[test]
    fn counts_are_held_against_the_file() {
        // 26 bytes of directory and head: a value of 26 bytes may be there, one of 27 may not.
        let of = |kind, count| tiff(&[directory(&[(0x0110, kind, count, 8)], 0)]);
        assert_eq!(of(1, 0).len(), 26);
        assert_eq!(says(&of(1, 26)), "whole");
        assert!(says(&of(1, 27)).contains("0x0110"), "{}", says(&of(1, 27)));
        for (kind, bytes) in [(2, 1), (3, 2), (4, 4), (5, 8), (7, 1), (9, 4), (11, 4), (12, 8)] {
            assert_eq!(says(&of(kind, 26 / bytes)), "whole", "type {kind}");
            assert!(says(&of(kind, 26 / bytes + 1)).contains("claims more"), "type {kind}");
            assert!(says(&of(kind, u32::MAX)).contains("claims more"), "type {kind}");
        }
    }

    #[test]
    fn many_entries_may_not_claim_the_file_many_times_over() {
        let claims = |n: u16| {
            let len = 8 + 2 + 12 * u32::from(n) + 4 + 100_000;
            let entries: Vec<_> = (0..n).map(|i| (i, 1, 100_000, 8)).collect();
            let mut bytes = tiff(&[directory(&entries, 0)]);
            bytes.resize(len as usize, 0);
            bytes
        };
        assert_eq!(says(&claims(4)), "whole");
        assert!(says(&claims(5)).contains("entries of its header"), "{}", says(&claims(5)));
    }

    #[test]
    fn directories_that_lead_in_circles_are_found() {
        let whole = [(0x0110, 1, 1, 0)];
        let chain = tiff(&[directory(&whole, 26), directory(&whole, 0)]);
        assert_eq!(says(&chain), "whole");
        for back in [8, 26] {
            let bytes = tiff(&[directory(&whole, 26), directory(&whole, back)]);
            assert!(says(&bytes).contains("circles"), "{}", says(&bytes));
        }
        let own_child = tiff(&[directory(&[(0x014A, 4, 1, 8)], 0)]);
        assert!(says(&own_child).contains("circles"));
        // Two entries may name one directory, as some writers do for Exif.
        let shared =
            tiff(&[directory(&[(0x8769, 4, 1, 38), (0x014A, 4, 1, 38)], 0), directory(&whole, 0)]);
        assert_eq!(says(&shared), "whole");
        // Beyond the end there is nothing to walk.
        assert_eq!(says(&tiff(&[directory(&whole, 9_000)])), "whole");
    }

    #[test]
    fn a_fan_of_directories_is_bounded() {
        // Each level names the next one 12 times: 12^8 directories for who follows them all.
        let mut bytes = b"MM\0\x2a\0\0\0\x08".to_vec();
        for level in 0..8u32 {
            let at = 8 + level * (2 + 12 + 4 + 48);
            bytes.extend([0, 1, 0x01, 0x4a, 0, 4, 0, 0, 0, 12]);
            bytes.extend((at + 18).to_be_bytes());
            bytes.extend([0; 4]);
            for _ in 0..12 {
                bytes.extend((at + 66).to_be_bytes());
            }
        }
        assert!(says(&bytes).contains("without end"), "{}", says(&bytes));
    }

    #[test]
    fn files_that_refer_behind_their_end_end_early() {
        let samples =
            |size| tiff(&[directory(&[(0x0111, 4, 1, 38), (0x0117, 4, 1, size)], 0), vec![0; 100]]);
        let whole = samples(100);
        assert_eq!(whole.len(), 138);
        assert!(!ends_early(&whole));
        assert!(ends_early(&samples(101)));
        for len in [8, 9, 20, 30, 137] {
            assert!(ends_early(&whole[..len]), "{len}");
        }
        let box_file = [boxed(b"ftyp", b"crx "), boxed(b"mdat", &[0; 50])].concat();
        assert!(!ends_early(&box_file));
        for len in [13, 20, 60] {
            assert!(ends_early(&box_file[..len]), "{len}");
        }
        let mut fuji = b"FUJIFILMCCD-RAW ".to_vec();
        fuji.resize(108, 0);
        assert!(!ends_early(&fuji));
        fuji[103] = 109;
        assert!(ends_early(&fuji));
        assert!(ends_early(&fuji[..100]));
        assert!(!ends_early(b"anything else"));
    }

    fn boxed(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
        [&(body.len() as u32 + 8).to_be_bytes()[..], name, body].concat()
    }

    #[test]
    fn tables_of_boxes_fit_their_box() {
        let file = |name: &[u8; 4], table: &[u8]| {
            let mut tree = boxed(name, table);
            for above in [b"stbl", b"minf", b"mdia", b"trak", b"moov"] {
                tree = boxed(above, &tree);
            }
            [boxed(b"ftyp", b"crx \0\0\0\x01crx isom"), tree].concat()
        };
        let rows = |count: u32, bytes: usize| {
            [&[0; 4][..], &count.to_be_bytes(), &vec![0; bytes]].concat()
        };
        let records = |count: u32| [&[0; 8][..], &count.to_be_bytes(), &[0; 24]].concat();
        let in_descriptions = |count| {
            file(b"stsd", &[&[0; DESCRIPTIONS_HEAD][..], &boxed(b"CTMD", &records(count))].concat())
        };
        assert_eq!(says(&in_descriptions(3)), "whole");
        assert!(says(&in_descriptions(4)).contains("rows"));
        for (name, row) in [(b"stco", 4), (b"co64", 8), (b"stts", 8), (b"stsc", 12)] {
            assert_eq!(says(&file(name, &rows(3, 3 * row))), "whole");
            assert!(says(&file(name, &rows(4, 3 * row))).contains("rows"));
            assert!(says(&file(name, &rows(u32::MAX, 3 * row))).contains("rows"));
        }
        let sizes = |each: u32, count: u32| {
            [&[0; 4][..], &each.to_be_bytes(), &count.to_be_bytes(), &[0; 8]].concat()
        };
        assert_eq!(says(&file(b"stsz", &sizes(0, 2))), "whole");
        assert!(says(&file(b"stsz", &sizes(0, 3))).contains("rows"));
        assert_eq!(says(&file(b"stsz", &sizes(9, 3))), "whole");
        assert!(says(&file(b"stsz", &sizes(9, u32::MAX))).contains("rows"));
    }

    #[test]
    fn a_compressed_picture_is_of_a_size_that_its_file_can_hold() {
        let file = |size: [u32; 4], samples: usize| {
            let numbers = size.map(u32::to_be_bytes).concat();
            let mut tree = boxed(b"CMP1", &[&[0; 8][..], &numbers, &[0; 28]].concat());
            tree = boxed(b"CRAW", &[&[0; PICTURE_HEAD][..], &tree].concat());
            tree = boxed(b"stsd", &[&[0; DESCRIPTIONS_HEAD][..], &tree].concat());
            for above in [b"stbl", b"minf", b"mdia", b"trak", b"moov"] {
                tree = boxed(above, &tree);
            }
            let data = boxed(b"mdat", &vec![0; samples]);
            [boxed(b"ftyp", b"crx \0\0\0\x01crx isom"), tree, data].concat()
        };
        assert_eq!(says(&file([5568, 3708, 5568, 3708], 900)), "whole");
        assert_eq!(says(&file([5568, 3708, 2784, 3708], 900)), "whole");
        let large = says(&file([20_001, 20_000, 20_001, 20_000], 900));
        assert!(large.contains("20001"), "{large}");
        assert!(says(&file([u32::MAX; 4], 900)).contains("4294967295"));
        // 400 MB of samples: 100 for each byte of the file are the most.
        let many = [20_000, 10_000, 20_000, 10_000];
        assert_eq!(says(&file(many, 4_000_000)), "whole");
        assert!(says(&file(many, 3_900_000)).contains("too short"));
        // A tile that is larger than the picture is not the last one of its row.
        for tile in [[0, 3708], [5568, 0], [u32::MAX, 3708], [5568, u32::MAX]] {
            let why = says(&file([5568, 3708, tile[0], tile[1]], 900));
            assert!(why.contains("tiles"), "{tile:?}: {why}");
        }
        assert!(says(&file([5568, 3708, 20, 3708], 900)).contains("tiles"));
    }

    #[test]
    fn makers_boxes_and_deep_or_short_ones() {
        let bad = tiff(&[directory(&[(0x0110, 12, u32::MAX, 8)], 0)]);
        let maker = boxed(b"uuid", &[&MAKER[..], &boxed(b"CMT1", &bad)].concat());
        let other = boxed(b"uuid", &[&[7; 16][..], b"<?xpacket begin?>"].concat());
        let file = |rest: &[u8]| [&boxed(b"ftyp", b"crx \0\0\0\x01")[..], rest].concat();
        assert!(says(&file(&boxed(b"moov", &maker))).contains("0x0110"));
        assert_eq!(says(&file(&other)), "whole");
        let mut deep = Vec::new();
        for _ in 0..40 {
            deep = boxed(b"moov", &deep);
        }
        assert!(says(&file(&deep)).contains("without end"));
        assert!(says(&file(b"\0\0\0\x04moov")).contains("shorter"));
        assert!(
            says(&file(b"\0\0\0\x01moov\xff\xff\xff\xff\xff\xff\xff\xff")).contains("more than")
        );
        assert_eq!(says(&file(b"\0\0\0\x01mdat\0\0\0\x09\0\0\0\0")), "whole");
        for around in [b"moov", b"trak", b"stbl"] {
            let no_size = [&[0, 0, 0, 0][..], b"free", &[0; 20]].concat();
            assert!(says(&file(&boxed(around, &no_size))).contains("shorter"));
            let too_long = [&[0xff, 0, 0, 0][..], b"CMT3", &[0; 20]].concat();
            assert!(says(&file(&boxed(around, &too_long))).contains("more than"));
        }
        assert_eq!(says(&file(b"\0\0\0\x00mdat1234")), "whole");
        assert_eq!(says(b"FUJIFILMCCD-RAW "), "whole");
        assert_eq!(says(b""), "whole");
    }
}
