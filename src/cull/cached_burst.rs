//! Bursts that were measured before and have not changed since: what was measured is taken from
//! the cache, and judged anew.
//!
//! What is kept of a group of frames is all that was read from its pixels: what each frame tells
//! as a whole, where the subject is and what lies there, and small pictures; and the frames that
//! were skipped. So a second run decodes nothing. The key holds all that these depend on: the
//! content of every frame, how it is turned and where the camera saw the subject, the marks, the
//! version of the program, [`METHOD`], and whether pictures are wanted and raw files are read.
//! Optics, names and sentences are no part of it: they belong to judging. One frame or mark that
//! differs, and the group is measured again; another group of the outing is not.

use serde::{Deserialize, Serialize};

use super::burst::{self, BurstReadings};
use super::grouping::FrameGroup;
use super::job::OutingJob;
use super::measured_frame::MeasuredFrame;
use crate::error::SkipReason;
use crate::image::{self, Exposure, FileKind, FoundFile, Frame};
use crate::store::cache::{Cache, Stamp};
use crate::store::hash::Content;

/// Number of the way in which frames are measured and pictured. Raise it with every change after
/// which the same frames give another measurement or picture; what was kept before is then measured
/// again.
pub const METHOD: u32 = 8;

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

/// All that was measured on one group.
#[derive(Debug)]
pub struct CachedGroup {
    /// Its bursts in order.
    pub bursts: Vec<CachedBurst>,
    /// Its frames that were passed over, by their place in the group, and why.
    pub skipped: Vec<(usize, SkipReason)>,
}

/// All that was measured on one burst.
#[derive(Debug, Serialize, Deserialize)]
pub struct CachedBurst {
    /// Places of its frames in the group.
    pub places: Vec<usize>,
    /// What each frame tells as a whole.
    pub frames: Vec<MeasuredFrame>,
    /// What all of them tell.
    pub readings: BurstReadings,
}

impl<'a> CullCache<'a> {
    /// The cache for an outing.
    pub fn new(cache: &'a Cache, job: &'a OutingJob) -> Self {
        CullCache { cache, job }
    }

    /// What to ask for a group; `None` when a frame cannot be read or the cache is out of use.
    /// `marks` are those of the frames themselves.
    pub fn question(&self, frames: &[&Frame], marks: &[Option<(f64, f64)>]) -> Option<CacheKey> {
        // A field that is new here has to be put into the key, unless no measurement depends on it.
        let OutingJob { paths: _, subject, marks: _, subject_size, typed: _, pictures } = self.job;
        let mut parts: Vec<Vec<u8>> = vec![
            format!("{} {METHOD} {}", env!("CARGO_PKG_VERSION"), cfg!(feature = "raw")).into(),
            bytes_of(*subject),
            bytes_of(*subject_size),
        ];
        let mut stamps = Vec::with_capacity(frames.len());
        for (frame, mark) in frames.iter().zip(marks) {
            let (content, stamp) = self.cache.content_of(&frame.path)?;
            stamps.push(stamp);
            let (kind, turned) = (frame.kind, frame.orientation());
            parts.push(content.0.to_vec());
            parts.push(bytes_of(*mark));
            parts.push(bytes_of(burst::recorded_spot(frame)));
            parts
                .push(format!("{kind:?} {} {} {turned:?}", frame.width_px, frame.height_px).into());
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
    pub fn answer(&self, question: &CacheKey, group: &FrameGroup) -> Option<CachedGroup> {
        let whole = |bytes: Vec<u8>| unpacked(&bytes).filter(|g| g.is_of(group.frames.len()));
        question.keys.iter().find_map(|key| self.cache.get(key).and_then(whole))
    }

    /// Keeps what was measured on a group, unless a frame has changed since it was hashed.
    pub fn keep(&self, question: &CacheKey, frames: &[&Frame], measured: GroupPacker) {
        let mut same = frames.iter().zip(&question.stamps);
        if same.all(|(f, then)| Stamp::of(&f.path) == Some(*then))
            && let Some(bytes) = measured.packed()
        {
            self.cache.put(&question.own, &bytes);
        }
    }
}

/// A pair of numbers to the bit; nothing when there is none.
fn bytes_of(pair: Option<(f64, f64)>) -> Vec<u8> {
    pair.map_or_else(Vec::new, |(a, b)| [a.to_le_bytes(), b.to_le_bytes()].concat())
}

/// Whether a frame is passed over for what it holds; else it may be read another time.
pub fn is_permanent(reason: &SkipReason) -> bool {
    !matches!(reason, SkipReason::Unreadable(_) | SkipReason::NeedsMemory { .. })
}

impl CachedGroup {
    /// Whether this can have been measured on a group of `frames` frames.
    fn is_of(&self, frames: usize) -> bool {
        let mut places = self.bursts.iter().flat_map(|b| &b.places);
        let mut skipped = self.skipped.iter();
        places.all(|p| *p < frames)
            && skipped.all(|(p, _)| *p < frames)
            && self.bursts.iter().all(|b| {
                let own = b.places.len();
                own > 0 && b.frames.len() == own && b.readings.is_of(own)
            })
    }
}

/// What was measured on a group, being packed: its head and then its bursts one by one, so that
/// their pixels need not be held together.
#[derive(Debug, Default)]
pub struct GroupPacker {
    head: CachedHead,
    bursts: Vec<u8>,
    is_broken: bool,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct CachedHead {
    bursts: usize,
    skipped: Vec<(usize, SkipReason)>,
}

impl GroupPacker {
    /// Adds a burst.
    pub fn burst(&mut self, burst: &CachedBurst) {
        match postcard::to_extend(burst, std::mem::take(&mut self.bursts)) {
            Ok(bytes) => self.bursts = bytes,
            Err(_) => self.is_broken = true,
        }
        self.head.bursts += 1;
    }

    /// Adds a frame that was passed over, by its place in the group.
    pub fn skipped(&mut self, place: usize, reason: SkipReason) {
        self.head.skipped.push((place, reason));
    }

    fn packed(self) -> Option<Vec<u8>> {
        let mut bytes = postcard::to_stdvec(&self.head).ok().filter(|_| !self.is_broken)?;
        bytes.extend(self.bursts);
        Some(bytes)
    }
}

/// What was packed; `None` when the bytes do not add up.
fn unpacked(bytes: &[u8]) -> Option<CachedGroup> {
    let (head, mut rest) = postcard::take_from_bytes::<CachedHead>(bytes).ok()?;
    let mut bursts = Vec::new();
    for _ in 0..head.bursts {
        let (burst, left) = postcard::take_from_bytes::<CachedBurst>(rest).ok()?;
        bursts.push(burst);
        rest = left;
    }
    rest.is_empty().then_some(CachedGroup { bursts, skipped: head.skipped })
}
