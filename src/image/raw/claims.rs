//! What a directory of a TIFF-like raw file claims of its picture: its size, and how that is cut
//! into strips or tiles. Decoders take memory for it before they look at a sample.
//!
//! Sources: TIFF 6.0, sections 8 and 15; DNG specification 1.7. The box of CR3 as its decoder reads it.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use super::super::still::{MAX_PIXELS, check_expansion};
use crate::error::SkipReason;

/// Bytes that a decoder takes for a sample.
const SAMPLE_BYTES: u64 = 2;
/// Samples that a byte holds at most where nothing is compressed: no sensor gives under 4 bits.
const MAX_SAMPLES_PER_BYTE: u64 = 2;
/// Samples of a pixel: whole files have up to 4.
const MAX_SAMPLES_PER_PIXEL: u64 = 8;
/// Bits of a sample: floating-point ones have up to 64.
const MAX_BITS: u64 = 64;
/// Bits of a sample that goes through a table, which has a place for every value.
const MAX_TABLE_BITS: u64 = 16;
/// Tiles across and down that the decoder of CR3 takes; cameras write up to 3.
const MAX_TILES: u64 = 255;
/// Number of the compression that is none.
const PLAIN: u64 = 1;

/// A directory's claims: first values of the entries that have to do with size, and how many
/// strips or tiles are listed.
#[derive(Debug, Default)]
pub(super) struct Claims {
    width: Option<u64>,
    height: Option<u64>,
    bits: Option<u64>,
    compression: Option<u64>,
    samples_per_pixel: Option<u64>,
    rows_per_strip: Option<u64>,
    strips: Option<u64>,
    tile_width: Option<u64>,
    tile_length: Option<u64>,
    tiles: Option<u64>,
    table: bool,
}

impl Claims {
    /// Takes note of an entry: its tag, its count, and its first value.
    pub fn note(&mut self, tag: u16, count: u32, first: Option<u64>) {
        let count = Some(u64::from(count));
        match tag {
            0x0100 => self.width = first,
            0x0101 => self.height = first,
            0x0102 => self.bits = first,
            0x0103 => self.compression = first,
            0x0111 => self.strips = count,
            0x0115 => self.samples_per_pixel = first,
            0x0116 => self.rows_per_strip = first,
            0x0142 => self.tile_width = first,
            0x0143 => self.tile_length = first,
            0x0144 => self.tiles = count,
            0xC618 => self.table = true,
            _ => {}
        }
    }

    /// Refuses what no whole file of this length can claim. `is_dng` says that strips and tiles
    /// must be listed as the standard has it; some makers do not.
    pub fn check(&self, file_bytes: u64, is_dng: bool) -> Result<(), SkipReason> {
        let (Some(width_px), Some(height_px)) = (self.width, self.height) else { return Ok(()) };
        if self.strips.is_none() && self.tiles.is_none() {
            return Ok(());
        }
        let (stored_px, parts) = self.stored(width_px, height_px)?;
        if width_px.saturating_mul(height_px) > MAX_PIXELS {
            return Err(SkipReason::TooLarge { width_px, height_px });
        }
        let samples_per_pixel = self.samples_per_pixel.unwrap_or(1);
        if samples_per_pixel > MAX_SAMPLES_PER_PIXEL {
            return Err(damaged("its header claims more samples per pixel than any camera gives"));
        }
        let max_bits = if self.table { MAX_TABLE_BITS } else { MAX_BITS };
        if self.bits.is_some_and(|bits| bits > max_bits) {
            return Err(damaged("its header claims more bits per sample than any camera gives"));
        }
        let samples = stored_px.saturating_mul(samples_per_pixel);
        let most = file_bytes.saturating_mul(MAX_SAMPLES_PER_BYTE);
        if self.compression == Some(PLAIN) && samples > most {
            return Err(damaged("its header claims more samples than the file has room for"));
        }
        check_expansion(samples.saturating_mul(SAMPLE_BYTES), file_bytes)?;
        let listed = self.strips.or(self.tiles).unwrap_or(0);
        if is_dng && parts > listed {
            return Err(damaged("its header lists fewer strips or tiles than its picture needs"));
        }
        Ok(())
    }

    /// Pixels that are stored, those that fill up the last tiles among them, and the strips or
    /// tiles that they come in.
    fn stored(&self, width_px: u64, height_px: u64) -> Result<(u64, u64), SkipReason> {
        let none = |what: &str| damaged(&format!("its header claims {what} of no size"));
        if self.strips.is_some() {
            // Without this entry one strip holds it all.
            let rows = self.rows_per_strip.unwrap_or(height_px.max(1));
            let strips = height_px.checked_div(rows).ok_or_else(|| none("strips"))?;
            let rest = u64::from(strips.saturating_mul(rows) < height_px);
            return Ok((width_px.saturating_mul(height_px), strips.saturating_add(rest)));
        }
        let (Some(tile_width), Some(tile_length)) = (self.tile_width, self.tile_length) else {
            return Ok((width_px.saturating_mul(height_px), 0));
        };
        if tile_width == 0 || tile_length == 0 {
            return Err(none("tiles"));
        }
        let (columns, rows) = (width_px.div_ceil(tile_width), height_px.div_ceil(tile_length));
        let side = |tiles: u64, each: u64| tiles.saturating_mul(each);
        let stored = side(columns, tile_width).saturating_mul(side(rows, tile_length));
        Ok((stored, columns.saturating_mul(rows)))
    }
}

/// Refuses sizes of a compressed picture of a CR3 that no whole file of this length can claim:
/// those of the picture and of its tiles, width first, as far as they are there.
pub(super) fn check_compressed(
    size_px: [Option<u64>; 4],
    file_bytes: u64,
) -> Result<(), SkipReason> {
    let [Some(width_px), Some(height_px), Some(tile_width), Some(tile_length)] = size_px else {
        return Ok(());
    };
    if width_px.saturating_mul(height_px) > MAX_PIXELS {
        return Err(SkipReason::TooLarge { width_px, height_px });
    }
    for (side, tile) in [(width_px, tile_width), (height_px, tile_length)] {
        if tile == 0 || tile > side || side.div_ceil(tile) > MAX_TILES {
            return Err(damaged("its header claims tiles that do not make up its picture"));
        }
    }
    let samples = width_px.saturating_mul(height_px);
    check_expansion(samples.saturating_mul(SAMPLE_BYTES), file_bytes)
}

fn damaged(says: &str) -> SkipReason {
    SkipReason::Damaged(says.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: u64 = 1_000_000;

    /// The outcome for a directory of these entries in a DNG of a million bytes.
    fn says(entries: &[(u16, u32, u64)]) -> String {
        let mut claims = Claims::default();
        entries.iter().for_each(|(tag, count, first)| claims.note(*tag, *count, Some(*first)));
        claims.check(FILE, true).map_or_else(|e| e.to_string(), |()| "whole".into())
    }

    fn strips(width: u64, height: u64, rows: u64, listed: u32) -> Vec<(u16, u32, u64)> {
        vec![
            (0x0100, 1, width),
            (0x0101, 1, height),
            (0x0103, 1, PLAIN),
            (0x0111, listed, 8),
            (0x0116, 1, rows),
        ]
    }

    fn tiles(width: u64, height: u64, side: (u64, u64), listed: u32) -> Vec<(u16, u32, u64)> {
        vec![
            (0x0100, 1, width),
            (0x0101, 1, height),
            (0x0103, 1, 7),
            (0x0142, 1, side.0),
            (0x0143, 1, side.1),
            (0x0144, listed, 8),
        ]
    }

    #[test]
    fn sizes_are_held_against_the_file() {
        // Two samples per byte of the file are the most: 2,000 x 1,000 px.
        assert_eq!(says(&strips(2000, 1000, 1000, 1)), "whole");
        assert!(says(&strips(2000, 1001, 1001, 1)).contains("more samples"));
        let with = |tag, value| [strips(800, 1000, 1000, 1), vec![(tag, 1, value)]].concat();
        assert_eq!(says(&with(0x0115, 2)), "whole");
        assert!(says(&with(0x0115, 3)).contains("more samples"));
        assert!(says(&with(0x0115, 1 << 31)).contains("samples per pixel"));
        assert_eq!(says(&with(0x0102, 16)), "whole");
        assert!(says(&with(0x0102, 1 << 14)).contains("bits per sample"));
        let table = |bits| [with(0x0102, bits), vec![(0xC618, 9, 0)]].concat();
        assert_eq!(says(&table(16)), "whole");
        assert!(says(&table(17)).contains("bits per sample"));
        assert!(says(&strips(20_001, 20_000, 20_000, 1)).contains("20001"));
        assert!(says(&strips(1 << 31, 1 << 31, 1, 1)).contains("2147483648"));
        // Compressed samples may be more, but 400 Mpx of them fill more than a megabyte.
        let compressed = |height| {
            let mut entries = strips(10_000, height, height, 1);
            entries[2].2 = 7;
            says(&entries)
        };
        assert_eq!(compressed(5000), "whole");
        assert!(compressed(40_000).contains("too short"), "{}", compressed(40_000));
    }

    #[test]
    fn strips_and_tiles_cover_the_picture() {
        assert_eq!(says(&strips(800, 1000, 100, 10)), "whole");
        assert_eq!(says(&strips(800, 1000, 99, 11)), "whole");
        assert!(says(&strips(800, 1000, 99, 10)).contains("fewer strips"));
        assert!(says(&strips(800, 1000, 0, 1)).contains("no size"));
        // "Infinitely many" is the standard's default.
        assert_eq!(says(&strips(800, 1000, u32::MAX.into(), 1)), "whole");
        assert_eq!(says(&tiles(800, 1000, (256, 256), 16)), "whole");
        assert!(says(&tiles(800, 1000, (256, 256), 15)).contains("fewer strips"));
        assert!(says(&tiles(800, 1000, (0, 256), 16)).contains("no size"));
        assert!(says(&tiles(800, 1000, (256, 0), 16)).contains("no size"));
        for bit in 16..32 {
            // One tile that is far larger than the picture.
            let why = says(&tiles(800, 1000, (800, 1 << bit), 1));
            assert_eq!(why == "whole", bit < 18, "bit {bit}: {why}");
        }
    }

    #[test]
    fn other_directories_and_other_makers_pass() {
        assert_eq!(says(&[(0x0100, 1, u64::MAX), (0x0101, 1, u64::MAX)]), "whole");
        assert_eq!(says(&[(0x0111, 9, 8), (0x0116, 1, 0)]), "whole");
        let mut claims = Claims::default();
        for (tag, count, first) in strips(800, 1000, 99, 1) {
            claims.note(tag, count, Some(first));
        }
        assert!(claims.check(FILE, false).is_ok());
        assert!(claims.check(FILE, true).is_err());
    }
}
