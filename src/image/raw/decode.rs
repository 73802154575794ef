//! Raw files through the crate rawler (LGPL-2.1).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::any::Any;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use rawler::decoders::{Decoder, FormatHint, RawDecodeParams, WellKnownIFD};
use rawler::formats::tiff::IFD;
use rawler::imgop::Rect;
use rawler::rawimage::RawPhotometricInterpretation;
use rawler::rawsource::RawSource;
use rawler::tags::{DngTag, TiffCommonTag};
use rawler::{RawImage, RawImageData, RawlerError};

use super::super::Orientation;
use super::super::exposure::{Exposure, body_name};
use super::super::kind::RAW_ENDINGS;
use super::super::memory::Held;
use super::super::open::{length_of, unreadable};
use super::super::still::check_size;
use super::apart::apart;
use super::luma::FACTORS;
#[cfg(unix)]
use super::pool::{self, DecoderInput};
use super::structure::ends_early;
use super::{Filter, RawFrame, check_structure};
use super::{metadata, quiet};
use crate::error::SkipReason;

/// Characters of the decoder's message that are passed on.
const LONGEST_MESSAGE: usize = 80;
/// What is said when the decoder finds no whole picture where the header says there is one.
const NO_SAMPLES: &str = "the raw samples are missing or damaged";
/// How a camera is called that is not known.
const NAMELESS: &str = "raw file";
/// Words of the decoder by which it says so (its own routines and their buffers).
const SAYS_NO_SAMPLES: [&str; 7] =
    ["ljpeg", "pump", "unpack", "buffer", "offset", "huffman", "decompress"];

/// What is known of a raw file without its samples.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub(in crate::image) struct RawHeader {
    pub width_px: u32,
    pub height_px: u32,
    pub exposure: Option<Exposure>,
}

/// Reads and decodes a raw file to its mosaic, in a child where there is one
/// ([`decode_in_children`](super::decode_in_children)), for a caller that holds the memory already
/// ([`open`](super::super::open())).
///
/// # Errors
/// [`SkipReason`] when the file cannot be read, is damaged, or comes from a camera or in a form
/// that is not supported.
pub(in crate::image) fn read_mosaic(path: &Path, file_bytes: u64) -> Result<RawFrame, SkipReason> {
    #[cfg(not(unix))]
    let _ = file_bytes;
    #[cfg(unix)]
    if let Some(program) = pool::program()
        && let Some(frame) = pool::mosaic(program, &DecoderInput::Path(path), file_bytes)
    {
        return frame;
    }
    decode_in_process(fs::read(path).map_err(|e| unreadable(&e))?)
}

/// Decodes a raw file held in memory to its mosaic, in a child where there is one.
///
/// # Errors
/// [`SkipReason`] when the file is damaged, or comes from a camera or in a form that is not
/// supported.
pub fn decode_raw(bytes: Vec<u8>) -> Result<RawFrame, SkipReason> {
    #[cfg(unix)]
    if let Some(program) = pool::program()
        && !bytes.is_empty()
        && let Some(frame) = pool::mosaic(program, &DecoderInput::Bytes(&bytes), bytes.len() as u64)
    {
        return frame;
    }
    decode_in_process(bytes)
}

/// Size and exposure of a raw file with its length in bytes, without decoding its samples where
/// the format allows; in a child where there is one.
pub(in crate::image) fn header_at(path: &Path) -> Result<(RawHeader, u64), SkipReason> {
    let file_bytes = length_of(path)?;
    let mut held = Held::nothing();
    held.set(file_bytes)?;
    #[cfg(unix)]
    if let Some(program) = pool::program()
        && let Some(header) = pool::header(program, &DecoderInput::Path(path), file_bytes)
    {
        return header.map(|h| (h, file_bytes));
    }
    let bytes = fs::read(path).map_err(|e| unreadable(&e))?;
    apart(|| header_here(in_memory(bytes)?)).map(|h| (h, file_bytes))
}

/// Header of a raw file held in memory; as [`header_at`].
pub(in crate::image) fn raw_header(bytes: Vec<u8>) -> Result<RawHeader, SkipReason> {
    #[cfg(unix)]
    if let Some(program) = pool::program()
        && !bytes.is_empty()
        && let Some(header) =
            pool::header(program, &DecoderInput::Bytes(&bytes), bytes.len() as u64)
    {
        return header;
    }
    apart(|| header_here(in_memory(bytes)?))
}

/// Samples as the decoder read them out, and the part of them that shows the picture.
pub(super) struct Readout {
    samples: Vec<u16>,
    width: usize,
    area: ActiveArea,
}

impl Readout {
    /// Rows of the part that shows the picture.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = &[u16]> + ExactSizeIterator {
        let columns = self.area.x0..self.area.x0.saturating_add(self.area.width);
        let rows = self.samples.chunks_exact(self.width.max(1));
        rows.skip(self.area.y0).take(self.area.height).map(move |row| &row[columns.clone()])
    }
}

/// A raw file that was read.
pub(super) fn in_memory(bytes: Vec<u8>) -> Result<RawSource, SkipReason> {
    if bytes.is_empty() {
        return Err(SkipReason::Empty);
    }
    Ok(RawSource::new_from_shared_vec(Arc::new(bytes)))
}

/// A raw file where the system keeps it, which saves a copy. For children only: a file that is cut
/// meanwhile, or a card that cannot be read, ends the process.
#[cfg(unix)]
pub(super) fn mapped(path: &Path) -> Result<RawSource, SkipReason> {
    if length_of(path)? == 0 {
        return Err(SkipReason::Empty);
    }
    Ok(RawSource::new(path).map_err(|e| unreadable(&e))?.with_path(""))
}

/// Decodes a raw file in this process.
fn decode_in_process(bytes: Vec<u8>) -> Result<RawFrame, SkipReason> {
    apart(|| {
        let (frame, readout) = readout_here(in_memory(bytes)?)?;
        let mut mosaic = Vec::with_capacity(frame.width_px.saturating_mul(frame.height_px));
        readout.rows().for_each(|row| mosaic.extend_from_slice(row));
        Ok(RawFrame { mosaic, ..frame })
    })
}

/// Decodes a raw file in this process to a frame without its mosaic, and the readout that holds it.
pub(super) fn readout_here(source: RawSource) -> Result<(RawFrame, Readout), SkipReason> {
    guarded(source, |source, decoder| {
        let image = decoder
            .raw_image(source, &RawDecodeParams::default(), false)
            .map_err(|e| reason(&e))?;
        let area = area_of(&image);
        check_size(area.width as u32, area.height as u32, source.buf().len() as u64)?;
        let (frame, readout) = frame(image, area, decoder.format_hint() == FormatHint::DNG)?;
        frame.check(readout.rows())?;
        Ok((frame, readout))
    })
}

/// Reads the header of a raw file in this process.
pub(super) fn header_here(source: RawSource) -> Result<RawHeader, SkipReason> {
    guarded(source, |source, decoder| {
        let area = match decoder.ifd(WellKnownIFD::Raw) {
            // A DNG would be decoded in full to learn its size.
            Ok(Some(ifd)) if decoder.format_hint() == FormatHint::DNG => dng_area(&ifd),
            _ => None,
        };
        let area = match area {
            Some(area) => area,
            None => area_of(
                &decoder
                    .raw_image(source, &RawDecodeParams::default(), true)
                    .map_err(|e| reason(&e))?,
            ),
        };
        check_size(area.width as u32, area.height as u32, source.buf().len() as u64)?;
        let size = (area.width as u32, area.height as u32);
        let exposure = metadata::exposure(source, decoder, size);
        Ok(RawHeader { width_px: size.0, height_px: size.1, exposure })
    })
}

/// Makers of the cameras that are supported, in alphabetical order. DNG files are read whoever
/// made the camera.
pub fn raw_makers() -> Vec<String> {
    let cameras = rawler::global_loader().get_cameras();
    let mut makers: Vec<String> = cameras
        .values()
        .map(|c| c.clean_make.trim().to_owned())
        .filter(|make| !make.is_empty())
        .collect();
    makers.sort_by_key(|make| make.to_lowercase());
    makers.dedup_by_key(|make| make.to_lowercase());
    makers
}

/// Models of the cameras that are supported, by maker, both in alphabetical order.
pub fn raw_cameras() -> BTreeMap<String, BTreeSet<String>> {
    let mut makers: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for camera in rawler::global_loader().get_cameras().values() {
        let (make, model) = (camera.clean_make.trim(), camera.clean_model.trim());
        if !make.is_empty() && !model.is_empty() {
            makers.entry(make.to_owned()).or_default().insert(model.to_owned());
        }
    }
    makers
}

/// Raw formats that are looked for and supported, by the usual end of their files' names, in
/// alphabetical order and capitals.
pub fn raw_formats() -> Vec<String> {
    let supported = rawler::decoders::supported_extensions();
    let mut formats: Vec<String> = RAW_ENDINGS
        .iter()
        .map(|end| end.to_uppercase())
        .filter(|end| supported.contains(&end.as_str()))
        .collect();
    formats.sort_unstable();
    formats
}

/// Runs on a decoder for a file; a decoder that panics costs this file only.
fn guarded<T>(
    source: RawSource,
    work: impl FnOnce(&RawSource, &dyn Decoder) -> Result<T, SkipReason>,
) -> Result<T, SkipReason> {
    check_structure(source.buf())?;
    let done = quiet::decoding(|| {
        let done = catch_unwind(AssertUnwindSafe(|| {
            let decoder = rawler::get_decoder(&source).map_err(|e| reason(&e))?;
            work(&source, decoder.as_ref())
        }))
        .unwrap_or_else(|panic| Err(given_up(panic.as_ref())));
        done.map_err(|reason| named(reason, || camera(&source)))
    });
    // A decoder that misses what was cut off takes the file for one of another kind.
    match done {
        Err(SkipReason::Unsupported(_)) if ends_early(source.buf()) => {
            Err(SkipReason::Damaged("it ends early".into()))
        }
        done => done,
    }
}

/// Why a decoder gave up: most do on samples that end early, some on forms that they lack.
pub(super) fn given_up(panic: &(dyn Any + Send)) -> SkipReason {
    let says = panic.downcast_ref::<&str>().copied();
    let says = says.or_else(|| panic.downcast_ref::<String>().map(String::as_str));
    match says.filter(|s| ["not yet implemented", "not implemented"].iter().any(|w| s.contains(w)))
    {
        Some(_) => SkipReason::Unsupported(format!("{NAMELESS}: its form of raw samples")),
        None => SkipReason::Damaged(NO_SAMPLES.into()),
    }
}

/// The reason with the camera's name, where it lacks one and the name is known.
fn named(reason: SkipReason, camera: impl FnOnce() -> Option<String>) -> SkipReason {
    match reason {
        SkipReason::Damaged(says) => {
            SkipReason::Damaged(camera().map_or(says.clone(), |name| format!("{name}: {says}")))
        }
        SkipReason::Unsupported(says) => match says.strip_prefix(NAMELESS) {
            Some(what) => SkipReason::Unsupported(
                camera().map_or_else(|| says.clone(), |name| format!("{name}{what}")),
            ),
            None => SkipReason::Unsupported(says),
        },
        other => other,
    }
}

/// The camera that a file names, where anything can be read of it.
fn camera(source: &RawSource) -> Option<String> {
    let found = catch_unwind(AssertUnwindSafe(|| {
        let decoder = rawler::get_decoder(source).ok()?;
        let found = decoder.raw_metadata(source, &RawDecodeParams::default()).ok()?;
        Some((found.make, found.model))
    }));
    let (make, model) = found.ok().flatten().or_else(|| {
        let body = Exposure::from_reader(&mut Cursor::new(source.buf()), (0, 0))?.body;
        Some((body.make?.value, body.model?.value))
    })?;
    body_name(Some(&make), Some(&model))
}

/// A box inside the full readout, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct ActiveArea {
    x0: usize,
    y0: usize,
    width: usize,
    height: usize,
}

impl ActiveArea {
    fn inside(self, full: (usize, usize)) -> Option<ActiveArea> {
        let fits = self.width > 0
            && self.height > 0
            && self.x0.checked_add(self.width)? <= full.0
            && self.y0.checked_add(self.height)? <= full.1;
        fits.then_some(self)
    }

    /// The crop that the maker recommends, else the lit area, else everything.
    fn of(
        full: (usize, usize),
        active: Option<ActiveArea>,
        crop: Option<ActiveArea>,
    ) -> ActiveArea {
        let everything = ActiveArea { x0: 0, y0: 0, width: full.0, height: full.1 };
        crop.and_then(|a| a.inside(full))
            .or_else(|| active.and_then(|a| a.inside(full)))
            .unwrap_or(everything)
    }
}

fn area_of(image: &RawImage) -> ActiveArea {
    let rect = |r: Rect| ActiveArea { x0: r.p.x, y0: r.p.y, width: r.d.w, height: r.d.h };
    ActiveArea::of(
        (image.width, image.height),
        image.active_area.map(rect),
        image.crop_area.map(rect),
    )
}

/// The area of a DNG by its tags (DNG specification 1.7: ActiveArea, DefaultCropOrigin and
/// DefaultCropSize, the latter two relative to the active area).
fn dng_area(ifd: &IFD) -> Option<ActiveArea> {
    let value = |e: &rawler::formats::tiff::Entry, i: usize| e.force_usize(i);
    let full = (
        value(ifd.get_entry(TiffCommonTag::ImageWidth)?, 0),
        value(ifd.get_entry(TiffCommonTag::ImageLength)?, 0),
    );
    let active = ifd.get_entry(DngTag::ActiveArea).map(|e| {
        let [top, left, bottom, right] = [0, 1, 2, 3].map(|i| value(e, i));
        ActiveArea {
            x0: left,
            y0: top,
            width: right.saturating_sub(left),
            height: bottom.saturating_sub(top),
        }
    });
    let origin = active.map_or((0, 0), |a| (a.x0, a.y0));
    let crop = ifd.get_entry(DngTag::DefaultCropOrigin).zip(ifd.get_entry(DngTag::DefaultCropSize));
    let crop = crop.map(|(at, size)| ActiveArea {
        x0: origin.0.saturating_add(value(at, 0)),
        y0: origin.1.saturating_add(value(at, 1)),
        width: value(size, 0),
        height: value(size, 1),
    });
    Some(ActiveArea::of(full, active, crop))
}

/// Column and row, both even or odd as 0 or 1, of one of the four places of a cell that begins at a
/// column and row of the readout.
fn in_cell(x0: usize, y0: usize, place: usize) -> (usize, usize) {
    ((x0 ^ place) & 1, (y0 ^ place >> 1) & 1)
}

/// The frame without its mosaic, and where that is.
fn frame(
    image: RawImage,
    area: ActiveArea,
    is_dng: bool,
) -> Result<(RawFrame, Readout), SkipReason> {
    let camera = format!("{} {}", image.make.trim(), image.model.trim());
    let camera = camera.trim();
    let missing = |what: &str| {
        let name = if camera.is_empty() { NAMELESS } else { camera };
        SkipReason::Unsupported(format!("{name}: {what}"))
    };
    if image.cpp != 1 {
        return Err(missing("raw pixels that are already interpolated"));
    }
    let pattern = match &image.photometric {
        RawPhotometricInterpretation::BlackIsZero => [Filter::Clear; 4],
        RawPhotometricInterpretation::LinearRaw => {
            return Err(missing("raw pixels that are already interpolated"));
        }
        RawPhotometricInterpretation::Cfa(config) => {
            let cfa = &config.cfa;
            if (cfa.width, cfa.height) != (2, 2) {
                let what = format!("a filter pattern of {} x {} px", cfa.width, cfa.height);
                return Err(missing(&what));
            }
            let mut pattern = [Filter::Clear; 4];
            for (place, filter) in pattern.iter_mut().enumerate() {
                let (x, y) = in_cell(area.x0, area.y0, place);
                *filter = match cfa.color_at(y, x) {
                    0 => Filter::Red,
                    1 => Filter::Green,
                    2 => Filter::Blue,
                    _ => return Err(missing("filters other than red, green and blue")),
                };
            }
            let count = |f: Filter| pattern.iter().filter(|p| **p == f).count();
            if [Filter::Red, Filter::Green, Filter::Blue].map(count) != [1, 2, 1] {
                return Err(missing("a filter pattern that is not Bayer's"));
            }
            pattern
        }
    };
    // Black levels repeat from the top left of the readout, in a DNG from that of its lit area.
    let origin = image.active_area.filter(|_| is_dng).map_or((0, 0), |r| (r.p.x, r.p.y));
    let levels = image.blacklevel.as_bayer_array();
    let black_dn = std::array::from_fn(|place| {
        let (x, y) = in_cell(area.x0 ^ origin.0, area.y0 ^ origin.1, place);
        levels[x | y << 1]
    });
    let white_dn = image.whitelevel.0.iter().min().map_or(0.0, |w| *w as f32);
    if black_dn.iter().any(|b| !b.is_finite() || *b >= white_dn) {
        return Err(SkipReason::Damaged("its black level is not below its white level".into()));
    }
    let [red, green, blue, _] = image.wb_coeffs;
    let white_balance =
        Some([red / green, 1.0, blue / green]).filter(|b| b.iter().all(|f| FACTORS.contains(f)));
    let RawImageData::Integer(samples) = image.data else {
        return Err(missing("floating-point samples"));
    };
    let code = u32::from(image.orientation.to_u16());
    let frame = RawFrame {
        width_px: area.width,
        height_px: area.height,
        mosaic: Vec::new(),
        pattern,
        black_dn,
        white_dn,
        make: image.make.trim().to_owned(),
        model: image.model.trim().to_owned(),
        white_balance,
        orientation: Orientation::from_code(code).unwrap_or(Orientation::Upright),
    };
    Ok((frame, Readout { samples, width: image.width, area }))
}

/// Why the decoder refused, in our words.
fn reason(error: &RawlerError) -> SkipReason {
    match error {
        RawlerError::Unsupported { what, model, make, .. } => {
            let camera = format!("{} {}", make.trim(), model.trim());
            let name = if camera.trim().is_empty() { NAMELESS } else { camera.trim() };
            let lower = what.to_lowercase();
            if lower.contains("find a decoder") || lower.contains("no decoder") {
                return SkipReason::Unsupported(format!("{name}: a camera that is not known here"));
            }
            let what = plain(&lower).unwrap_or("this form of raw samples");
            SkipReason::Unsupported(format!("{name}: {}", shortened(what)))
        }
        RawlerError::DecoderFailed(says) => {
            let lower = says.to_lowercase();
            if lower.contains("unexpectedeof") || lower.contains("behind eof") {
                return SkipReason::Damaged("it ends early".into());
            }
            let unknown =
                ["unsupported", "not supported", "no decoder", "unknown", "don't know how"];
            if unknown.iter().any(|word| lower.contains(word)) {
                let what = plain(lower.trim_start_matches("todo: "));
                let what = what.filter(|w| !w.contains("no decoder"));
                let what = what.unwrap_or("a camera or form that is not known here");
                SkipReason::Unsupported(format!("{NAMELESS}: {}", shortened(what)))
            } else if SAYS_NO_SAMPLES.iter().any(|word| lower.contains(word)) {
                SkipReason::Damaged(NO_SAMPLES.into())
            } else if lower.contains("couldn't find") || lower.contains("not find") {
                SkipReason::Damaged("parts of its header are missing".into())
            } else {
                SkipReason::Damaged("its header or its samples are broken".into())
            }
        }
    }
}

/// What the decoder says, unless it names its inner types.
fn plain(says: &str) -> Option<&str> {
    let inner = ['{', '}', '(', ')', '[', ']', '"', '_', '`'];
    (!says.contains(inner) && !says.contains("::")).then_some(says)
}

/// The start of what the decoder says, on one line.
fn shortened(says: &str) -> String {
    let line = says.lines().next().unwrap_or_default().trim();
    match line.char_indices().nth(LONGEST_MESSAGE) {
        Some((end, _)) => format!("{}…", line[..end].trim_end()),
        None => line.to_owned(),
    }
}
