//! `stopwise mark`: verdicts into sidecars, links, copies or a list.

mod hand_over;
mod plan;

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;
use stopwise::marks::terminal;

use anyhow::{Context, bail};
use stopwise::core::verdict::Verdict;
use stopwise::cull::outing::{self, OutingJob};
use stopwise::cull::written::WrittenCull;
use stopwise::marks::record::{FileState, MarkRecord};
use stopwise::report::json;
use stopwise::report::record::{CullRecord, SCHEMA, SkippedRecord};
use stopwise::report::wording;
use stopwise::store::decisions::Decisions;

use super::args::MarkArgs;
use super::places::{Origin, Places};
use super::{Outcome, cache, show};
use plan::{Mapping, Targets};

/// Marks what a record or a folder holds, or says what that would change.
pub fn run(typed: &MarkArgs) -> anyhow::Result<Outcome> {
    for path in [&typed.json, &typed.list].into_iter().flatten() {
        show::check_writable(path)?;
    }
    let to_output =
        [&typed.json, &typed.list].into_iter().flatten().filter(|p| p.as_os_str() == "-").count();
    if to_output > 1 {
        bail!("the record and the list cannot both go to the output: give one of them a file");
    }
    let mapping = Mapping::typed(typed)?;
    let decisions = match Decisions::place() {
        Ok(kept) if !typed.no_decisions && kept.exists() => Some(Decisions::open(&kept)?),
        _ => None,
    };
    let MarkSource { cull, skipped } = source(&typed.source, decisions.as_ref())?;
    let origin = match &typed.source {
        input if input.as_os_str() == "-" => Origin::Input,
        folder if folder.is_dir() => Origin::Folder(folder),
        file => file.parent().map_or(Origin::Input, Origin::FileIn),
    };
    let asked = &cull.outing.paths;
    let places = Places::new(asked, typed.folder.as_deref(), origin, typed.follow_links);
    let mut record = MarkRecord {
        schema: SCHEMA,
        program: "stopwise",
        version: env!("CARGO_PKG_VERSION"),
        written: typed.write,
        frames: cull.frames.len() as u32,
        sidecars: Vec::new(),
        placed: Vec::new(),
        skipped,
    };
    let mut targets = Targets::found(&cull, &places, &mut record.skipped);
    if let Some(decisions) = &decisions {
        let moved = targets.decided(decisions)?;
        if moved > 0 && !typed.source.is_dir() {
            show::print_note(&format!(
                "In {} the subject was moved in review, and the record may be older: give the \
                 folder instead to mark what is judged for that place.",
                wording::count(moved, "burst", "bursts")
            ));
        }
    }
    if !typed.no_sidecars {
        plan::sidecars(&targets, &mapping, &places, typed.write, &mut record);
    }
    let calls: &[Verdict] = if typed.calls.is_empty() { &[Verdict::Hit] } else { &typed.calls };
    for to in hand_over::wanted(typed) {
        hand_over::place(&targets, calls, to, typed.follow_links, typed.write, &mut record);
    }
    let mut outputs = show::Outputs::default();
    if let Some(path) = &typed.list {
        outputs.tried(hand_over::list(&targets, calls, path, &mut record.skipped));
    }
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    let text = terminal::mark(&record, show::style());
    if to_output == 0 {
        outputs.tried(show::result(&text));
    } else {
        for SkippedRecord { path, reason } in &record.skipped {
            show::print_note(&format!("skipped {path}: {reason}"));
        }
    }
    Ok(outputs.ended(ended(&record, typed)))
}

fn ended(record: &MarkRecord, typed: &MarkArgs) -> Outcome {
    let done = record.sidecars.len() + record.placed.len();
    let nothing_asked = typed.list.is_some() && done == 0;
    match (record.skipped.is_empty(), done, nothing_asked) {
        (true, ..) if record.frames > 0 => Outcome::Whole,
        (false, 1.., _) | (false, _, true) => Outcome::Partly,
        _ => Outcome::Nothing,
    }
}

/// What is to be marked.
struct MarkSource {
    cull: WrittenCull,
    /// Files of a folder that could not be judged.
    skipped: Vec<SkippedRecord>,
}

/// The verdicts. Frames of a folder are judged for the subjects that people placed.
fn source(path: &Path, decisions: Option<&Decisions>) -> anyhow::Result<MarkSource> {
    let of = |cull| MarkSource { cull, skipped: Vec::new() };
    if path.as_os_str() == "-" {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).context("cannot read the input")?;
        return Ok(of(WrittenCull::read(&text).context("the input is no use")?));
    }
    if path.is_dir() {
        let mut job = OutingJob { paths: vec![path.to_owned()], ..OutingJob::default() };
        let screen = show::Screen::new(false);
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
        let (record, stopped) = done?;
        screen.done();
        if stopped {
            bail!("stopped before every frame was judged: nothing was marked");
        }
        return Ok(MarkSource { cull: WrittenCull::from(&record), skipped: record.skipped });
    }
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    let record =
        WrittenCull::read(&text).with_context(|| format!("{} is of no use", path.display()))?;
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

/// Reads a verdict as typed.
pub fn call(text: &str) -> Result<Verdict, String> {
    let word = text.trim();
    word.parse().map_err(|_| format!("{word:?} is none of hit, near, miss, cannot-say"))
}

/// Reads `hit=5`: a rating of the XMP standard.
pub fn rating(text: &str) -> Result<(Verdict, i8), String> {
    let (word, value) = text.split_once('=').ok_or("give VERDICT=NUMBER, as hit=5")?;
    match value.trim().parse::<i8>() {
        Ok(v) if (-1..=5).contains(&v) => Ok((call(word)?, v)),
        _ => Err(format!("{value:?} is no rating: -1 (rejected), 0 (unrated) or 1 to 5")),
    }
}

/// Reads `hit=to print`: a label.
pub fn label(text: &str) -> Result<(Verdict, String), String> {
    let (word, value) = text.split_once('=').ok_or("give VERDICT=TEXT, as \"hit=to print\"")?;
    let value = value.trim();
    if value.is_empty() || value.chars().any(char::is_control) {
        return Err("a label is a word or a short phrase on one line".to_owned());
    }
    Ok((call(word)?, value.to_owned()))
}

/// Reads what keywords start with.
pub fn prefix(text: &str) -> Result<String, String> {
    let plain = !text.trim().is_empty() && !text.chars().any(|c| c.is_control() || c == ',');
    // Without a mark of their own, keywords of this program could not be told from others.
    if plain { Ok(text.to_owned()) } else { Err("give a word, as stopwise:".to_owned()) }
}

/// Whether a file was changed.
fn differs(state: FileState) -> bool {
    state != FileState::Same
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ratings_and_labels_are_read_and_nonsense_is_refused() {
        assert_eq!(rating("hit=5"), Ok((Verdict::Hit, 5)));
        assert_eq!(rating("cannot-say=-1"), Ok((Verdict::Unclear, -1)));
        for bad in ["hit", "hit=6", "hit=-2", "hit=", "best=5", "hit=4.5"] {
            assert!(rating(bad).is_err(), "{bad}");
        }
        assert_eq!(label("near=web only"), Ok((Verdict::Near, "web only".to_owned())));
        for bad in ["near", "near=", "near=a\nb", "good=a"] {
            assert!(label(bad).is_err(), "{bad}");
        }
        assert!(prefix("").is_err() && prefix("a,b").is_err() && prefix("sw/").is_ok());
    }
}
