//! `stopwise cull`.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use stopwise::cull::log_entry;
use stopwise::cull::outing::{self, OutingJob};
use stopwise::cull::page::ReportWriter;
use stopwise::cull::page_data::BurstPage;
use stopwise::cull::terminal;
use stopwise::error::Result as LibResult;
use stopwise::report::record::{CullRecord, FrameRecord};
use stopwise::report::wording;
use stopwise::report::{csv, json};
use stopwise::store::cache::Cache;
use stopwise::store::log::OutingKind;
use stopwise::store::subjects;

use super::args::CullArgs;
use super::{Outcome, cache, log_options, overrides, show};

/// Judges an outing.
pub fn run(typed: &CullArgs) -> anyhow::Result<Outcome> {
    if let Some(n) = typed.threads {
        rayon::ThreadPoolBuilder::new().num_threads(usize::from(n)).build_global()?;
    }
    let report = (!typed.no_report).then_some(typed.report.as_path());
    for path in [&typed.json, &typed.csv].into_iter().flatten() {
        show::check_writable(path)?;
    }
    // A record on the output leaves no room for tables there, nor for another record.
    let to_output = [&typed.json, &typed.csv]
        .into_iter()
        .flatten()
        .filter(|path| path.as_os_str() == "-")
        .count();
    if to_output > 1 {
        anyhow::bail!("JSON and CSV cannot both go to the output: give one of them a file");
    }
    let quiet = typed.quiet || to_output > 0;
    let log = log_options::open(&typed.keep)?;
    let mut job = overrides::outing(&typed.paths, &typed.known, report.is_some())?;
    if let Some(path) = &typed.subjects {
        job.marks = marks(path)?;
    }
    let kept = if typed.no_cache { None } else { cache::open() };
    let mut outputs = show::Outputs::default();
    let done = work(&job, kept.as_ref(), report, quiet, &mut outputs);
    cache::tell(kept.as_ref());
    let (record, stopped) = done?;
    if let Some(path) = &typed.json {
        outputs.tried(show::to_file(path, |out| json::write(&record, out)));
    }
    if let Some(path) = &typed.csv {
        outputs.tried(show::to_file(path, |out| csv::write(&record.frames, out)));
    }
    let logged = log.is_none_or(|log| {
        log_options::add(log, || log_entry::outing(&record, OutingKind::Field, None), stopped)
    });
    let ended = match (stopped, record.frames.is_empty(), record.skipped.is_empty()) {
        (true, _, _) => Outcome::Stopped,
        (_, true, _) => Outcome::Nothing,
        (_, _, false) => Outcome::Partly,
        _ if !logged => Outcome::Partly,
        _ => Outcome::Whole,
    };
    Ok(outputs.ended(ended))
}

/// Works through an outing with tables as bursts are done and the summary at the end. A report or
/// table that cannot be written does not end the work.
pub fn work(
    job: &OutingJob,
    cache: Option<&Cache>,
    report: Option<&Path>,
    quiet: bool,
    outputs: &mut show::Outputs,
) -> anyhow::Result<(CullRecord, bool)> {
    let style = show::style();
    let title = job
        .paths
        .iter()
        .map(|p| p.file_name().unwrap_or(p.as_os_str()).to_string_lossy().into_owned())
        .collect::<Vec<_>>()
        .join(", ");
    let mut writer = report.map(|path| ReportWriter::create(path, &title)).transpose()?;
    let screen = show::Screen::new(quiet);
    let mut printed = Ok(());
    let mut on_burst = |page: BurstPage| -> LibResult<()> {
        if let Some(Err(failed)) = writer.as_mut().map(|w| w.burst(&page)) {
            writer = None;
            outputs.tried(Err(failed));
        }
        if !quiet && printed.is_ok() {
            let frames: Vec<&FrameRecord> = page.frames.iter().map(|f| &f.0).collect();
            let text = terminal::burst(&page.burst, &frames, style);
            printed = screen.print(&format!("{text}\n"));
        }
        Ok(())
    };
    let (record, stopped) = outing::cull_with(job, cache, &screen, &mut on_burst)?;
    screen.done();
    let place = match writer {
        Some(w) if !record.frames.is_empty() => {
            let done = w.finish(&record.outing, &record.skipped);
            let place = done.as_ref().ok().cloned();
            outputs.tried(done.map(drop));
            place
        }
        _ => None,
    };
    if quiet {
        for s in &record.skipped {
            show::print_note(&format!(
                "skipped {}: {}",
                wording::visible(&s.path),
                wording::visible(&s.reason)
            ));
        }
    } else {
        let summary = terminal::outing(&record.outing, &record.skipped, place.as_deref(), style);
        outputs.tried(printed.and_then(|()| show::result(&summary)));
    }
    if stopped {
        show::print_note("Stopped: what was read until then is in the record and the report.");
    }
    Ok((record, stopped))
}

/// Reads marked subjects from a file.
fn marks(path: &Path) -> anyhow::Result<BTreeMap<String, (f64, f64)>> {
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    subjects::read(&text).with_context(|| format!("in {}", path.display()))
}
