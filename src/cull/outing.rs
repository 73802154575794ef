//! A whole outing: find, read headers, group, measure in parallel, judge burst by burst.
//!
//! Every frame is decoded once. Frames are handed to the workers in order, so a burst is complete
//! soon after its last frame was read, and its pixels are let go as soon as it is judged: memory
//! does not grow with the outing.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;

use super::burst;
use super::cached_burst::{self, BurstPacker, CacheKey, CachedBurst, CullCache};
use super::explain;
use super::findings::OutingFinding;
use super::grouping::{self, FrameGroup, SplitReason};
use super::invariants;
use super::measured_frame::{self, KeptPixels, MeasuredFrame, Scout, Workspace};
use super::page_data::BurstPage;
use super::record::{BurstRecord, CULL_SCHEMA, CullRecord, FrameRecord};
use super::summary;
use crate::core::path_text;
pub use crate::core::progress::{NoProgress, Progress, ProgressStep};
use crate::error::{Error, Result, SkipReason};
use crate::image::{self, Frame, Want};
use crate::report::header::Header;
use crate::report::parts::SkippedRecord;
use crate::store::cache::Cache;
use crate::store::overrides::UserOverrides;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::subject_hints::box_for;

/// Frames measured before the bursts among them are judged, per worker.
const BATCH_PER_WORKER: usize = 8;
/// Longest side of the small picture of a frame, px.
const THUMB_PX: usize = 480;

/// What is to be done with an outing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OutingJob {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// The subject as fractions of the upright picture, in the first frame of every burst.
    pub subject: Option<(f64, f64)>,
    /// Subjects marked in single frames, by path as shown or by file name: fractions of the
    /// upright picture. The first marked frame of a burst places the burst's subject.
    pub marks: BTreeMap<String, (f64, f64)>,
    /// Width and height of the subject as fractions of the upright picture, when given.
    pub subject_size: Option<(f64, f64)>,
    /// Values typed by the user.
    pub typed: UserOverrides,
    /// Whether pictures for a report are wanted.
    pub pictures: bool,
}

impl OutingJob {
    /// Side of the subject's box in a frame of an upright size, px, when the user gave one.
    pub fn box_px(&self, (width_px, height_px): (u32, u32)) -> Option<usize> {
        let (w, h) = self.subject_size?;
        Some(box_for(w * f64::from(width_px), h * f64::from(height_px)))
    }
}

/// Works through an outing. Each finished burst goes to `on_burst`, in order.
///
/// Returns the record and whether the run was stopped half way.
///
/// # Errors
/// A path that does not exist, nothing to measure, or whatever `on_burst` returns.
pub fn cull(
    job: &OutingJob,
    listener: &dyn Progress,
    on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
) -> Result<(CullRecord, bool)> {
    cull_with(job, None, listener, on_burst)
}

/// As [`cull`], with what a cache holds of these frames and for what it shall hold next time.
/// Records and pictures are the same to the byte with and without it. Whatever fails in it never
/// fails the run; [`Cache::trouble`] tells afterwards.
///
/// # Errors
/// As [`cull`].
pub fn cull_with(
    job: &OutingJob,
    cache: Option<&Cache>,
    listener: &dyn Progress,
    on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
) -> Result<(CullRecord, bool)> {
    let found = image::find(&job.paths)?;
    let mut skipped: Vec<SkippedRecord> = found
        .skipped
        .iter()
        .map(|(path, reason)| skipped_row(as_shown(path, &job.paths), reason))
        .collect();
    let mut list = Vec::with_capacity(found.items.len());
    // Headers of raw files take a moment each.
    let headers: Vec<_> = found.items.par_iter().map(|f| cached_burst::header(cache, f)).collect();
    for (item, header) in found.items.iter().zip(headers) {
        match header {
            Ok(frame) => list.push(frame),
            Err(reason) => skipped.push(skipped_row(item.shown.clone(), &reason)),
        }
    }
    if list.is_empty() && skipped.is_empty() {
        return Err(Error::NoFrames { paths: job.paths.clone() });
    }
    image::sort_by_time(&mut list);
    let groups = grouping::groups(&list);
    let mut run = CullRun {
        job,
        kept: cache.map(|c| CullCache::new(c, job)),
        list: &list,
        listener,
        done: AtomicUsize::new(0),
        bursts: Vec::new(),
        rows: Vec::with_capacity(list.len()),
        skipped,
    };
    let workers = rayon::current_num_threads().max(1);
    let mut next = 0;
    let mut stopped = false;
    while next < groups.len() && !stopped {
        let mut end = next;
        let mut count = 0;
        while end < groups.len() && (end == next || count < BATCH_PER_WORKER * workers) {
            count += groups[end].frames.len();
            end += 1;
        }
        stopped = run.batch(&groups[next..end], workers, on_burst)?;
        next = end;
    }
    let CullRun { bursts, rows, skipped, .. } = run;
    let paths = job.paths.iter().map(|p| path_text(p)).collect();
    let mut outing = summary::outing(paths, &bursts, &rows);
    outing.findings = explain::outing_findings(&outing, &bursts, &rows);
    let equipment = job.typed.equipment.findings(&list);
    outing.findings.extend(equipment.into_iter().map(OutingFinding::Equipment));
    let mut record =
        CullRecord { header: Header::new(CULL_SCHEMA), outing, bursts, frames: rows, skipped };
    let broken = invariants::contradictions(&record);
    record.outing.findings.extend(broken.into_iter().map(OutingFinding::Contradiction));
    Ok((record, stopped))
}

/// A path as frames are shown: below the one folder that was asked for, else as found.
fn as_shown(path: &Path, asked: &[PathBuf]) -> String {
    let below = match asked {
        [folder] => path.strip_prefix(folder).ok().filter(|p| !p.as_os_str().is_empty()),
        _ => None,
    };
    path_text(below.unwrap_or(path))
}

fn skipped_row(path: String, reason: &SkipReason) -> SkippedRecord {
    SkippedRecord::new(path, reason)
}

struct CullRun<'a> {
    job: &'a OutingJob,
    kept: Option<CullCache<'a>>,
    list: &'a [Frame],
    listener: &'a dyn Progress,
    done: AtomicUsize,
    bursts: Vec<BurstRecord>,
    rows: Vec<FrameRecord>,
    skipped: Vec<SkippedRecord>,
}

/// One frame of a batch: its group within the batch and its place in the list.
#[derive(Debug, Clone, Copy)]
struct Turn {
    group: usize,
    frame: usize,
    first: bool,
}

type GroupOutcome = std::result::Result<MeasuredFrame, SkipReason>;

impl CullRun<'_> {
    /// Measures the frames of some groups in parallel, then judges the groups in order. Groups
    /// that the cache holds are taken from there.
    fn batch(
        &mut self,
        groups: &[FrameGroup],
        workers: usize,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<bool> {
        let mut known: Vec<(Option<CacheKey>, Option<CachedBurst>)> =
            groups.par_iter().map(|g| self.known(g)).collect();
        let turns: Vec<Turn> = groups
            .iter()
            .enumerate()
            .filter(|(group, _)| known[*group].1.is_none())
            .flat_map(|(group, g)| {
                g.frames.iter().enumerate().map(move |(i, frame)| Turn {
                    group,
                    frame: *frame,
                    first: i == 0,
                })
            })
            .collect();
        let (taken, mut stopped) = self.measure(&turns, groups.len(), workers);
        let mut taken = taken.into_iter();
        for (group, (question, answer)) in groups.iter().zip(known.drain(..)) {
            if let Some(answer) = answer {
                stopped |= self.listener.stopped();
                if !stopped {
                    self.again(group, answer, on_burst)?;
                }
                continue;
            }
            let mut members = Vec::new();
            let mut packing = BurstPacker::default();
            let mut lasting = true;
            for frame in &group.frames {
                match taken.next().flatten() {
                    Some(Ok(t)) => members.push((*frame, t)),
                    Some(Err(reason)) => {
                        lasting &= cached_burst::is_permanent(&reason);
                        let row = skipped_row(self.list[*frame].shown.clone(), &reason);
                        packing.skipped(&row);
                        self.skipped.push(row);
                    }
                    None => lasting = false,
                }
            }
            let asked = question.filter(|_| lasting);
            let mut packing = asked.is_some().then_some(packing);
            self.split_and_judge(group, members, packing.as_mut(), on_burst)?;
            if let (Some(kept), Some(question), Some(packing)) = (self.kept, asked, packing) {
                kept.keep(&question, &self.frames_of(group), packing);
            }
        }
        Ok(stopped)
    }

    fn frames_of(&self, group: &FrameGroup) -> Vec<&Frame> {
        group.frames.iter().map(|f| &self.list[*f]).collect()
    }

    /// What the cache is asked for a group, and its answer.
    fn known(&self, group: &FrameGroup) -> (Option<CacheKey>, Option<CachedBurst>) {
        let Some(kept) = self.kept.filter(|_| !self.listener.stopped()) else {
            return (None, None);
        };
        let frames = self.frames_of(group);
        let marks: Vec<_> = frames.iter().map(|f| self.own_mark(f)).collect();
        let question = kept.question(group, &frames, &marks);
        let answer = question.as_ref().and_then(|q| kept.answer(q));
        (question, answer)
    }

    /// Hands on what came out of a group before.
    fn again(
        &mut self,
        group: &FrameGroup,
        answer: CachedBurst,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<()> {
        self.skipped.extend(answer.skipped);
        let files = self.frames_of(group);
        let places: HashMap<&str, PathBuf> =
            files.iter().map(|f| (f.shown.as_str(), f.path.clone())).collect();
        let mut pages = answer.pages;
        for frame in pages.iter_mut().flat_map(|p| &mut p.frames) {
            // Where a file stands is this run's own.
            if let Some(place) = places.get(frame.0.path.as_str()) {
                frame.0.file.clone_from(place);
            }
        }
        for mut page in pages {
            let id = self.next_id();
            page.burst.id = id;
            page.frames.iter_mut().for_each(|f| f.0.burst = id);
            self.hand_on(page, on_burst)?;
        }
        let done = self.done.fetch_add(group.frames.len(), Ordering::Relaxed) + group.frames.len();
        self.listener.progress(ProgressStep { done, total: self.list.len() });
        Ok(())
    }

    fn next_id(&self) -> u32 {
        self.bursts.len() as u32 + 1
    }

    fn hand_on(
        &mut self,
        page: BurstPage,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<()> {
        self.bursts.push(page.burst.clone());
        self.rows.extend(page.frames.iter().map(|f| f.0.clone()));
        on_burst(page)
    }

    fn measure(
        &self,
        turns: &[Turn],
        groups: usize,
        workers: usize,
    ) -> (Vec<Option<GroupOutcome>>, bool) {
        let marks: Vec<Option<(f64, f64)>> = (0..groups)
            .map(|g| {
                let frames: Vec<usize> =
                    turns.iter().filter(|t| t.group == g).map(|t| t.frame).collect();
                self.marked(&frames).map(|m| m.1)
            })
            .collect();
        let scouts: Vec<Scout> = (0..groups).map(|_| Scout::default()).collect();
        let slots: Vec<Mutex<Option<GroupOutcome>>> =
            turns.iter().map(|_| Mutex::new(None)).collect();
        let next = AtomicUsize::new(0);
        let stopped = AtomicBool::new(false);
        rayon::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(|_| {
                    // Memory of a worker, used again for every frame.
                    let mut space = Workspace::default();
                    loop {
                        if self.listener.stopped() {
                            stopped.store(true, Ordering::Relaxed);
                            break;
                        }
                        let i = next.fetch_add(1, Ordering::Relaxed);
                        let Some(turn) = turns.get(i) else { break };
                        let frame = &self.list[turn.frame];
                        let keep = self.keep(frame, marks[turn.group]);
                        let scout = &scouts[turn.group];
                        let outcome =
                            measured_frame::take(frame, keep, scout, turn.first, &mut space);
                        *slots[i].lock().unwrap_or_else(std::sync::PoisonError::into_inner) =
                            Some(outcome);
                        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
                        self.listener.progress(ProgressStep { done, total: self.list.len() });
                    }
                });
            }
        });
        let outcomes = slots
            .into_iter()
            .map(|s| s.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner))
            .collect();
        (outcomes, stopped.into_inner())
    }

    /// The first marked frame among some, by place, with its mark as fractions of the upright
    /// picture; a subject for all bursts marks the first frame.
    fn marked(&self, frames: &[usize]) -> Option<(usize, (f64, f64))> {
        let own =
            frames.iter().enumerate().find_map(|(i, f)| Some((i, self.own_mark(&self.list[*f])?)));
        own.or_else(|| Some((0, self.job.subject?)))
    }

    /// The mark of one frame, under its name or that of the other file of the exposure.
    fn own_mark(&self, frame: &Frame) -> Option<(f64, f64)> {
        let marks = &self.job.marks;
        let name = |path: &Path| Some(path_text(Path::new(path.file_name()?)));
        let own = marks.get(&frame.shown).or_else(|| marks.get(&name(&frame.path)?));
        let partner = || {
            let name = name(frame.partner.as_ref()?)?;
            let folder = frame.shown.rsplit_once('/').map(|(folder, _)| folder);
            let shown = folder.map_or_else(|| name.clone(), |f| format!("{f}/{name}"));
            marks.get(&shown).or_else(|| marks.get(&name))
        };
        own.or_else(partner).copied()
    }

    fn keep(&self, frame: &Frame, mark: Option<(f64, f64)>) -> KeptPixels {
        KeptPixels {
            thumb_px: if self.job.pictures { THUMB_PX } else { 0 },
            colour: self.job.pictures,
            mark: mark.map(|(x, y)| frame.orientation().to_file(x, y)),
        }
    }

    /// Cuts a group further where its content changes, and judges the parts.
    fn split_and_judge(
        &mut self,
        group: &FrameGroup,
        members: Vec<(usize, MeasuredFrame)>,
        mut packing: Option<&mut BurstPacker>,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<()> {
        let patterns: Vec<&FrameFeatures> = members.iter().map(|(_, t)| &t.shot).collect();
        let mut breaks = grouping::content_breaks(&patterns);
        breaks.push(members.len());
        let mut members = members.into_iter();
        let mut start = 0;
        for end in breaks {
            let part: Vec<(usize, MeasuredFrame)> = members.by_ref().take(end - start).collect();
            let cut_by = if start == 0 { group.cut_by } else { SplitReason::Content };
            start = end;
            if !part.is_empty() {
                let part_group = FrameGroup {
                    frames: part.iter().map(|p| p.0).collect(),
                    cut_by,
                    timed: group.timed,
                };
                let page = self.judge(&part_group, part);
                if let Some(packing) = packing.as_deref_mut() {
                    packing.page(&page);
                }
                self.hand_on(page, on_burst)?;
            }
        }
        Ok(())
    }

    fn judge(&self, group: &FrameGroup, members: Vec<(usize, MeasuredFrame)>) -> BurstPage {
        let id = self.next_id();
        let (indices, taken): (Vec<usize>, Vec<MeasuredFrame>) = members.into_iter().unzip();
        let files: Vec<&Frame> = indices.iter().map(|i| &self.list[*i]).collect();
        let mark =
            self.marked(&indices).map(|(frame, at)| burst::mark(self.job, files[frame], frame, at));
        let fetch = |i: usize, x0: usize, y0: usize, side: usize| {
            // Not at hand: this frame is decoded a second time, and the surroundings kept.
            let want = if self.job.pictures { Want::Colour } else { Want::Luma };
            let decoded = image::load(files[i], want).ok()?;
            let centre = ((x0 + side / 2) as f64, (y0 + side / 2) as f64);
            Some(measured_frame::cut(&decoded, centre.0, centre.1, self.job.pictures))
        };
        let hints = burst::hints(&files, mark);
        burst::page(self.job, &files, &taken, hints, &fetch, group, id).0
    }
}
