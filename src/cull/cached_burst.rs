//! Bursts that were judged before and have not changed since: taken from the cache whole.
//!
//! What is kept of a group of frames is all that came out of it: the records of its bursts, their
//! pictures and maps, and the frames that were skipped. So a second run decodes nothing. Its key
//! holds all that these depend on: the content of every frame and what its header says, its name
//! as shown, why and where the group was cut, the marks, the options, the version of the program,
//! [`METHOD`] and whether raw files are read. One frame, mark or option that differs, and the
//! group is measured again; another group of the outing is not.

use serde::{Deserialize, Serialize};

use super::findings::{BurstFinding, Reason};
use super::grouping::FrameGroup;
use super::outing::OutingJob;
use super::page_data::{BurstPage, FramePictures};
use super::record::{BurstRecord, FrameRecord, MapRecord};
use crate::error::SkipReason;
use crate::image::{self, Exposure, FileKind, FoundFile, Frame, Picture};
use crate::report::parts::SkippedRecord;
use crate::store::cache::{Cache, Stamp};
use crate::store::hash::Content;

/// Number of the way in which frames are measured, judged, worded and pictured. Raise it with
/// every change after which the same frames give another record, page or picture; what was kept
/// before is then measured again.
pub const METHOD: u32 = 7;

/// The cache as one outing uses it.
#[derive(Debug, Clone, Copy)]
pub struct CullCache<'a> {
    cache: &'a Cache,
    job: &'a OutingJob,
}

/// As [`image::read_header`]; a raw file, which has to be read in full for its header, is asked
/// of the cache first.
///
/// # Errors
/// As [`image::read_header`].
pub fn header(cache: Option<&Cache>, found: &FoundFile) -> Result<Frame, SkipReason> {
    let Some(cache) = cache.filter(|_| found.kind == FileKind::Raw) else {
        return image::read_header(found);
    };
    let Some((content, stamp)) = cache.content_of(&found.path) else {
        return image::read_header(found);
    };
    let made_by = format!("{} {METHOD}", env!("CARGO_PKG_VERSION"));
    let key = Content::of_parts([&b"raw header"[..], made_by.as_bytes(), &content.0]);
    let known = cache.get(&key).and_then(|b| serde_json::from_slice::<CachedRawHeader>(&b).ok());
    if let Some(CachedRawHeader { file_bytes, width_px, height_px, exposure }) = known {
        let FoundFile { path, shown, kind, partner } = found.clone();
        return Ok(Frame { path, shown, partner, kind, file_bytes, width_px, height_px, exposure });
    }
    let frame = image::read_header(found)?;
    let header = CachedRawHeader {
        file_bytes: frame.file_bytes,
        width_px: frame.width_px,
        height_px: frame.height_px,
        exposure: frame.exposure.clone(),
    };
    // The header may be that of a JPEG that stands in for a raw file of no use.
    if frame.kind == FileKind::Raw
        && Stamp::of(&found.path) == Some(stamp)
        && let Ok(bytes) = serde_json::to_vec(&header)
    {
        cache.put(&key, &bytes);
    }
    Ok(frame)
}

#[derive(Debug, Serialize, Deserialize)]
struct CachedRawHeader {
    file_bytes: u64,
    width_px: u32,
    height_px: u32,
    exposure: Option<Exposure>,
}

/// What the cache is asked for one group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CacheKey {
    /// The key of what this run would keep.
    own: Content,
    /// Keys under which an answer may be found, best first.
    keys: Vec<Content>,
    /// What the system said of the frames when they were hashed.
    stamps: Vec<Stamp>,
}

/// All that comes out of one group.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CachedBurst {
    /// Its bursts in order. Their numbers are those of the run that measured them.
    pub pages: Vec<BurstPage>,
    /// Its frames that were passed over.
    pub skipped: Vec<SkippedRecord>,
}

impl<'a> CullCache<'a> {
    /// The cache for an outing.
    pub fn new(cache: &'a Cache, job: &'a OutingJob) -> Self {
        CullCache { cache, job }
    }

    /// What to ask for a group; `None` when a frame cannot be read or the cache is out of use.
    /// `marks` are those of the frames themselves.
    pub fn question(
        &self,
        group: &FrameGroup,
        frames: &[&Frame],
        marks: &[Option<(f64, f64)>],
    ) -> Option<CacheKey> {
        // A field that is new here has to be put into the key, unless nothing depends on it.
        let OutingJob { paths: _, subject, marks: _, subject_size, typed, pictures } = self.job;
        let FrameGroup { frames: _, cut_by, timed } = group;
        let mut parts: Vec<Vec<u8>> = vec![
            format!("{} {METHOD} {}", env!("CARGO_PKG_VERSION"), cfg!(feature = "raw")).into(),
            format!("{subject:?} {subject_size:?} {typed:?} {cut_by:?} {timed}").into(),
        ];
        let mut stamps = Vec::with_capacity(frames.len());
        for (frame, mark) in frames.iter().zip(marks) {
            let (content, stamp) = self.cache.content_of(&frame.path)?;
            stamps.push(stamp);
            let Frame { path: _, shown, partner, kind, file_bytes, width_px, height_px, exposure } =
                frame;
            parts.push(content.0.to_vec());
            parts.push(format!("{shown:?} {partner:?} {mark:?}").into());
            parts.push(format!("{kind:?} {file_bytes} {width_px} {height_px} {exposure:?}").into());
        }
        let key = |pictures: bool| {
            let last: &[u8] = if pictures { b"with pictures" } else { b"without pictures" };
            Content::of_parts(parts.iter().map(Vec::as_slice).chain([last]))
        };
        // Pictures that nobody asked for are left aside.
        let keys = if *pictures { vec![key(true)] } else { vec![key(false), key(true)] };
        Some(CacheKey { own: keys[0], keys, stamps })
    }

    /// The answer, when there is one.
    pub fn answer(&self, question: &CacheKey) -> Option<CachedBurst> {
        let mut found = question
            .keys
            .iter()
            .find_map(|key| self.cache.get(key).and_then(|bytes| unpacked(&bytes)))?;
        if !self.job.pictures {
            let pictures = found.pages.iter_mut().flat_map(|p| &mut p.frames).map(|f| &mut f.1);
            pictures.for_each(|p| *p = FramePictures::NONE);
        }
        Some(found)
    }

    /// Keeps what came out of a group, unless a frame has changed since it was hashed.
    pub fn keep(&self, question: &CacheKey, frames: &[&Frame], result: BurstPacker) {
        let mut same = frames.iter().zip(&question.stamps);
        if same.all(|(f, then)| Stamp::of(&f.path) == Some(*then))
            && let Some(bytes) = result.packed()
        {
            self.cache.put(&question.own, &bytes);
        }
    }
}

/// Whether a frame is passed over for what it holds; else it may be read another time.
pub fn is_permanent(reason: &SkipReason) -> bool {
    !matches!(reason, SkipReason::Unreadable(_) | SkipReason::NeedsMemory { .. })
}

/// What came out of a group, being packed.
#[derive(Debug, Default)]
pub struct BurstPacker {
    head: CachedHead,
    blobs: Vec<u8>,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct CachedHead {
    pages: Vec<HeadPage>,
    skipped: Vec<SkippedRecord>,
}

#[derive(Debug, Serialize, Deserialize)]
struct HeadPage {
    burst: BurstRecord,
    frames: Vec<(FrameRecord, CachedPictures)>,
    /// What the records hold in words only.
    findings: Vec<BurstFinding>,
    reasons: Vec<Reason>,
}

/// Pictures without their bytes, which follow the head in this order.
#[derive(Debug, Serialize, Deserialize)]
struct CachedPictures {
    crop: Option<CachedPicture>,
    crop_scale: f64,
    thumb: Option<CachedPicture>,
    map: Option<HeadMap>,
}

#[derive(Debug, Serialize, Deserialize)]
struct CachedPicture {
    bytes: usize,
    width_px: u32,
    height_px: u32,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
struct HeadMap {
    tile_px: u32,
    cols: u32,
    rows: u32,
}

impl BurstPacker {
    /// Adds a burst.
    pub fn page(&mut self, page: &BurstPage) {
        let frames = page
            .frames
            .iter()
            .map(|(record, pictures)| (record.clone(), self.pictures(pictures)))
            .collect();
        self.head.pages.push(HeadPage {
            burst: page.burst.clone(),
            frames,
            findings: page.burst.findings.clone(),
            reasons: page.frames.iter().map(|(record, _)| record.because.clone()).collect(),
        });
    }

    /// Adds a frame that was passed over.
    pub fn skipped(&mut self, row: &SkippedRecord) {
        self.head.skipped.push(row.clone());
    }

    fn pictures(&mut self, pictures: &FramePictures) -> CachedPictures {
        let crop = pictures.crop.as_ref().map(|p| self.picture(p));
        let thumb = pictures.thumb.as_ref().map(|p| self.picture(p));
        let map = pictures.map.as_ref().map(|m| {
            for values in [&m.blur_sigma_px, &m.blur_std_err_px, &m.lap_var] {
                // What is missing is marked by a NaN on the disk only; no value is one.
                let bytes = values.iter().flat_map(|v| v.unwrap_or(f32::NAN).to_le_bytes());
                self.blobs.extend(bytes);
            }
            HeadMap { tile_px: m.tile_px, cols: m.cols, rows: m.rows }
        });
        CachedPictures { crop, crop_scale: pictures.crop_scale, thumb, map }
    }

    fn picture(&mut self, picture: &Picture) -> CachedPicture {
        self.blobs.extend(&picture.jpeg);
        CachedPicture {
            bytes: picture.jpeg.len(),
            width_px: picture.width_px,
            height_px: picture.height_px,
        }
    }

    fn packed(self) -> Option<Vec<u8>> {
        let head = serde_json::to_vec(&self.head).ok()?;
        let mut out = Vec::with_capacity(8 + head.len() + self.blobs.len());
        out.extend((head.len() as u64).to_le_bytes());
        out.extend(head);
        out.extend(self.blobs);
        Some(out)
    }
}

/// What was packed; `None` when the bytes do not add up.
fn unpacked(bytes: &[u8]) -> Option<CachedBurst> {
    let (length, rest) = bytes.split_first_chunk::<8>()?;
    let (head, mut blobs) = rest.split_at_checked(u64::from_le_bytes(*length) as usize)?;
    let head: CachedHead = serde_json::from_slice(head).ok()?;
    let mut pages = Vec::with_capacity(head.pages.len());
    for page in head.pages {
        let mut frames = Vec::with_capacity(page.frames.len());
        let mut reasons = page.reasons.into_iter();
        for (record, pictures) in page.frames {
            let record = FrameRecord { because: reasons.next()?, ..record };
            frames.push((record, pictures_of(pictures, &mut blobs)?));
        }
        let burst = BurstRecord { findings: page.findings, ..page.burst };
        pages.push(BurstPage { burst, frames });
    }
    blobs.is_empty().then_some(CachedBurst { pages, skipped: head.skipped })
}

fn pictures_of(head: CachedPictures, blobs: &mut &[u8]) -> Option<FramePictures> {
    let mut picture = |head: Option<CachedPicture>| -> Option<Option<Picture>> {
        let Some(CachedPicture { bytes, width_px, height_px }) = head else { return Some(None) };
        Some(Some(Picture { jpeg: blobs.split_off(..bytes)?.to_vec(), width_px, height_px }))
    };
    let (crop, thumb) = (picture(head.crop)?, picture(head.thumb)?);
    let map = match head.map {
        None => None,
        Some(HeadMap { tile_px, cols, rows }) => {
            let tiles = (cols as usize).checked_mul(rows as usize)?;
            let mut values = || -> Option<Vec<Option<f32>>> {
                let bytes = blobs.split_off(..tiles.checked_mul(4)?)?;
                let number = |b: &[u8; 4]| Some(f32::from_le_bytes(*b)).filter(|v| !v.is_nan());
                Some(bytes.as_chunks::<4>().0.iter().map(number).collect())
            };
            Some(MapRecord {
                tile_px,
                cols,
                rows,
                blur_sigma_px: values()?,
                blur_std_err_px: values()?,
                lap_var: values()?,
            })
        }
    };
    Some(FramePictures { crop, crop_scale: head.crop_scale, thumb, map })
}
