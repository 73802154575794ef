//! `stopwise mark`: verdicts into sidecars, links, copies or a list.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use anyhow::{Context, bail};
use stopwise::core::verdict::Verdict;
use stopwise::cull::outing::{self, OutingJob};
use stopwise::cull::record::CullRecord;
use stopwise::marks::record::{FilePlacing, MarkRecord};
use stopwise::marks::sidecars::SidecarRules;
use stopwise::marks::{self, MarkJob, terminal};
use stopwise::report::json;
use stopwise::report::parts::SkippedRecord;
use stopwise::report::wording;
use stopwise::store::decisions::Decisions;
use stopwise::store::paths;
use stopwise::store::record_places::{RecordOrigin, RecordPlaces};

use super::args::MarkArgs;
use super::cache;
use super::outputs::{Outcome, Output, Outputs};
use super::screen::{self, Screen};

/// Marks what a record or a folder holds, or says what that would change.
pub fn run(typed: &MarkArgs) -> anyhow::Result<Outcome> {
    let (json, list) = (typed.json.as_deref(), typed.list.as_deref());
    let mut outputs =
        Outputs::new(&[Output::record("the record", json), Output::record("the list", list)])?;
    let job = job(typed)?;
    let decisions = match paths::decisions_place() {
        Ok(kept) if !typed.no_decisions && kept.exists() => Some(Decisions::open(&kept)?),
        _ => None,
    };
    let MarkSource { cull, skipped } = source(&typed.source, decisions.as_ref())?;
    let origin = match &typed.source {
        input if input.as_os_str() == "-" => RecordOrigin::Input,
        folder if folder.is_dir() => RecordOrigin::Folder(folder),
        file => file.parent().map_or(RecordOrigin::Input, RecordOrigin::FileIn),
    };
    let asked = &cull.outing.paths;
    let places = RecordPlaces::new(asked, typed.folder.as_deref(), origin, typed.follow_links);
    let mut marked = marks::mark(&job, &cull, &places, decisions.as_ref())?;
    marked.record.skipped.splice(..0, skipped);
    let record = &marked.record;
    if marked.subjects_placed > 0 && !typed.source.is_dir() {
        screen::print_note(&format!(
            "The subject of {} was moved in review after this record may have been written. Give \
             the folder instead of the record to use the new place.",
            wording::count(marked.subjects_placed, "burst", "bursts")
        ));
    }
    outputs.write(list, |out| out.write_all(&marked.list));
    outputs.write(json, |out| json::write(record, out));
    outputs.print(&terminal::mark(record, screen::style()));
    if outputs.has_standard() {
        for SkippedRecord { path, reason, .. } in &record.skipped {
            screen::print_note(&format!("skipped {path}: {reason}"));
        }
    }
    Ok(outputs.outcome(outcome(record, typed)))
}

fn outcome(record: &MarkRecord, typed: &MarkArgs) -> Outcome {
    let done = record.sidecars.len() + record.placed.len();
    let nothing_asked = typed.list.is_some() && done == 0;
    match (record.skipped.is_empty(), done, nothing_asked) {
        (true, ..) if record.frames > 0 => Outcome::Whole,
        (false, 1.., _) | (false, _, true) => Outcome::Partly,
        _ => Outcome::Nothing,
    }
}

/// What is to be written where.
fn job(typed: &MarkArgs) -> anyhow::Result<MarkJob> {
    let links = typed.hard_links.clone().map(|folder| (folder, FilePlacing::HardLink));
    let copies = typed.copies.clone().map(|folder| (folder, FilePlacing::Copy));
    Ok(MarkJob {
        sidecars: sidecar_rules(typed)?,
        folders: links.into_iter().chain(copies).collect(),
        list: typed.list.is_some(),
        exported: if typed.verdicts.is_empty() {
            vec![Verdict::Hit]
        } else {
            typed.verdicts.clone()
        },
        follow_links: typed.follow_links,
        write: typed.write,
    })
}

/// What sidecars say; `None` when none are wanted.
fn sidecar_rules(typed: &MarkArgs) -> anyhow::Result<Option<SidecarRules>> {
    let mut ratings = BTreeMap::new();
    for (verdict, value) in &typed.rating {
        if ratings.insert(*verdict, *value).is_some() {
            bail!("two ratings are given for {}", verdict.word());
        }
    }
    let mut labels = BTreeMap::new();
    for (verdict, value) in &typed.label {
        if labels.insert(*verdict, value.clone()).is_some() {
            bail!("two labels are given for {}", verdict.word());
        }
    }
    let prefix = (!typed.no_keywords).then(|| typed.prefix.clone());
    if typed.no_sidecars {
        return Ok(None);
    }
    if ratings.is_empty() && labels.is_empty() && prefix.is_none() {
        bail!("no marks for sidecars: give --rating or --label, or leave out --no-keywords");
    }
    let (only_unset, full_names) = (typed.only_unset, typed.full_names);
    Ok(Some(SidecarRules { ratings, labels, prefix, only_unset, full_names }))
}

/// What is to be marked.
struct MarkSource {
    cull: CullRecord,
    /// Files of a folder that could not be judged.
    skipped: Vec<SkippedRecord>,
}

/// The verdicts. Frames of a folder are judged for the subjects that people placed.
fn source(path: &Path, decisions: Option<&Decisions>) -> anyhow::Result<MarkSource> {
    let of = |cull| MarkSource { cull, skipped: Vec::new() };
    if path.as_os_str() == "-" {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).context("cannot read standard input")?;
        return Ok(of(CullRecord::read(&text).context("cannot use standard input")?));
    }
    if path.is_dir() {
        let mut job = OutingJob { paths: vec![path.to_owned()], ..OutingJob::default() };
        let screen = Screen::new(false);
        let kept = cache::open();
        let mut done = outing::cull_with(&job, kept.as_ref(), &screen, &mut |_| Ok(()));
        if let (Ok((record, false)), Some(decisions)) = (&done, decisions) {
            job.marks = placed(record, decisions)?;
            if !job.marks.is_empty() {
                // Bursts without a mark come from the cache.
                done = outing::cull_with(&job, kept.as_ref(), &screen, &mut |_| Ok(()));
            }
        }
        cache::tell(kept.as_ref());
        let (mut cull, stopped) = done?;
        screen.done();
        if stopped {
            bail!("interrupted before every frame was judged; nothing was marked");
        }
        let skipped = std::mem::take(&mut cull.skipped);
        return Ok(MarkSource { cull, skipped });
    }
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    let record =
        CullRecord::read(&text).with_context(|| format!("cannot use {}", path.display()))?;
    Ok(of(record))
}

/// Where people placed the subjects of bursts: of several places in a burst the latest counts.
fn placed(
    record: &CullRecord,
    decisions: &Decisions,
) -> anyhow::Result<BTreeMap<String, (f64, f64)>> {
    let files: Vec<&Path> = record.frames.iter().map(|f| f.file.as_path()).collect();
    let mut latest: BTreeMap<u32, (i64, &str, (f64, f64))> = BTreeMap::new();
    for (frame, standing) in record.frames.iter().zip(decisions.standing(&files)?) {
        let Some(at) = standing.subject else { continue };
        let here = latest.entry(frame.burst).or_insert((i64::MIN, "", at));
        if standing.subject_id > here.0 {
            *here = (standing.subject_id, &frame.path, at);
        }
    }
    Ok(latest.into_values().map(|(_, path, at)| (path.to_owned(), at)).collect())
}
