//! A whole outing: find, read headers, group, measure in parallel, judge burst by burst.
//!
//! Every frame is decoded once. Frames are handed to the workers in order, so a burst is complete
//! soon after its last frame was read, and its pixels are let go as soon as it is judged: memory
//! does not grow with the outing.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;

use super::burst::{self, BurstReadings};
use super::cached_burst::{self, CacheKey, CachedBurst, CachedGroup, CullCache, GroupPacker};
use super::explain;
use super::findings::OutingFinding;
use super::grouping::{self, FrameGroup, SplitReason};
use super::invariants;
pub use super::job::OutingJob;
use super::measured_frame::{self, KeptPixels, MeasuredFrame, Scout, Workspace};
use super::page_data::BurstPage;
use super::read_patches::PixelsAgain;
use super::record::{BurstRecord, CULL_SCHEMA, CullRecord, FrameRecord};
use super::summary;
use crate::core::path_text;
pub use crate::core::progress::{NoProgress, Progress, ProgressStep};
use crate::error::{Error, Result, SkipReason};
use crate::image::{self, Frame};
use crate::report::header::Header;
use crate::report::parts::SkippedRecord;
use crate::store::cache::Cache;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::subject_hints::SubjectHints;

/// Frames measured before the bursts among them are judged, per worker.
const BATCH_PER_WORKER: usize = 8;
/// Longest side of the small picture of a frame, px.
const THUMB_PX: usize = 480;

/// Works through an outing. Each finished burst goes to `on_burst`, in order.
///
/// Returns the record and whether the run was interrupted.
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
    /// Measures the frames of some groups in parallel, then judges the groups in order. What the
    /// cache holds of groups is not measured again.
    fn batch(
        &mut self,
        groups: &[FrameGroup],
        workers: usize,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<bool> {
        let known: Vec<(Option<CacheKey>, Option<CachedGroup>)> =
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
        for (group, (question, answer)) in groups.iter().zip(known) {
            if let Some(answer) = answer {
                stopped |= self.listener.stopped();
                if !stopped {
                    self.again(group, answer, on_burst)?;
                }
                continue;
            }
            let mut members = Vec::new();
            let mut packing = GroupPacker::default();
            let mut lasting = true;
            for (place, frame) in group.frames.iter().enumerate() {
                match taken.next().flatten() {
                    Some(Ok(t)) => members.push((place, t)),
                    Some(Err(reason)) => {
                        lasting &= cached_burst::is_permanent(&reason);
                        self.skipped.push(skipped_row(self.list[*frame].shown.clone(), &reason));
                        packing.skipped(place, reason);
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
    fn known(&self, group: &FrameGroup) -> (Option<CacheKey>, Option<CachedGroup>) {
        let Some(kept) = self.kept.filter(|_| !self.listener.stopped()) else {
            return (None, None);
        };
        let frames = self.frames_of(group);
        let marks: Vec<_> = frames.iter().map(|f| self.own_mark(f)).collect();
        let question = kept.question(&frames, &marks);
        let answer = question.as_ref().and_then(|q| kept.answer(q, group));
        (question, answer)
    }

    /// Judges a group that was measured before.
    fn again(
        &mut self,
        group: &FrameGroup,
        answer: CachedGroup,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<()> {
        for (place, reason) in &answer.skipped {
            let shown = self.list[group.frames[*place]].shown.clone();
            self.skipped.push(skipped_row(shown, reason));
        }
        for (number, burst) in answer.bursts.into_iter().enumerate() {
            let part = part_of(group, &burst.places, number == 0);
            let page = self.page(&part, burst);
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

    /// Cuts a group further where its content changes, and judges the parts. `members` are its
    /// frames by their place in the group.
    fn split_and_judge(
        &mut self,
        group: &FrameGroup,
        members: Vec<(usize, MeasuredFrame)>,
        mut packing: Option<&mut GroupPacker>,
        on_burst: &mut dyn FnMut(BurstPage) -> Result<()>,
    ) -> Result<()> {
        let patterns: Vec<&FrameFeatures> = members.iter().map(|(_, t)| &t.shot).collect();
        let mut breaks = grouping::content_breaks(&patterns);
        breaks.push(members.len());
        let mut members = members.into_iter();
        let mut start = 0;
        for end in breaks {
            let (places, frames): (Vec<usize>, Vec<MeasuredFrame>) =
                members.by_ref().take(end - start).unzip();
            if !places.is_empty() {
                let part = part_of(group, &places, start == 0);
                let readings = self.readings(&part, &frames);
                let burst = CachedBurst { places, frames, readings };
                if let Some(packing) = packing.as_deref_mut() {
                    packing.burst(&burst);
                }
                let page = self.page(&part, burst);
                self.hand_on(page, on_burst)?;
            }
            start = end;
        }
        Ok(())
    }

    fn hints(&self, part: &FrameGroup, files: &[&Frame]) -> SubjectHints {
        let mark = self.marked(&part.frames);
        burst::hints(files, mark.map(|(i, at)| burst::mark(self.job, files[i], i, at)))
    }

    fn readings(&self, part: &FrameGroup, taken: &[MeasuredFrame]) -> BurstReadings {
        let files = self.frames_of(part);
        let pictures = self.job.pictures;
        let again = PixelsAgain { files: &files, spools: &[], colour: pictures };
        BurstReadings::read(pictures, taken, &self.hints(part, &files), &again)
    }

    fn page(&self, part: &FrameGroup, burst: CachedBurst) -> BurstPage {
        let files = self.frames_of(part);
        let hints = self.hints(part, &files);
        let CachedBurst { places: _, frames, readings } = burst;
        burst::page(self.job, &files, &frames, readings, &hints, part, self.next_id()).0
    }
}

/// The burst of some frames of a group, by their places in it.
fn part_of(group: &FrameGroup, places: &[usize], is_first: bool) -> FrameGroup {
    FrameGroup {
        frames: places.iter().map(|place| group.frames[*place]).collect(),
        split_reason: if is_first { group.split_reason } else { SplitReason::Content },
        timed: group.timed,
    }
}
