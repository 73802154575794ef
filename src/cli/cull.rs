//! `stopwise cull`.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use stopwise::cull::columns::COLUMNS;
use stopwise::cull::log_entry;
use stopwise::cull::outing::{self, OutingJob};
use stopwise::cull::page::ReportWriter;
use stopwise::cull::page_data::BurstPage;
use stopwise::cull::record::{CullRecord, FrameRecord};
use stopwise::cull::terminal;
use stopwise::error::Result as LibResult;
use stopwise::report::wording;
use stopwise::report::{csv, json};
use stopwise::store::cache::Cache;
use stopwise::store::log::OutingKind;
use stopwise::store::subjects;

use super::args::CullArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::screen::{self, Screen};
use super::{cache, log_options, overrides};

/// Judges an outing.
pub fn run(typed: &CullArgs) -> anyhow::Result<Outcome> {
    if let Some(n) = typed.threads {
        rayon::ThreadPoolBuilder::new().num_threads(usize::from(n)).build_global()?;
    }
    let (json, csv) = (typed.json.as_deref(), typed.csv.as_deref());
    let report = (!typed.no_report).then_some(typed.report.as_path());
    let mut outputs = Outputs::new(&[
        Output::record("JSON", json),
        Output::record("CSV", csv),
        Output::file(report),
    ])?;
    let quiet = typed.quiet || outputs.has_standard();
    let log = log_options::open(&typed.keep)?;
    let mut job = overrides::outing(&typed.paths, &typed.known, report.is_some())?;
    if let Some(path) = &typed.subjects {
        job.marks = marks(path)?;
    }
    let kept = if typed.no_cache { None } else { cache::open() };
    let done = work(&job, kept.as_ref(), report, quiet, &mut outputs);
    cache::tell(kept.as_ref());
    let (record, stopped) = done?;
    outputs.write(json, |out| json::write(&record, out));
    outputs.write(csv, |out| csv::write(COLUMNS, &record.frames, out));
    let logged = log.is_none_or(|log| {
        log_options::add(log, || log_entry::outing(&record, OutingKind::Field, None), stopped)
    });
    let all = record.skipped.is_empty() && logged;
    Ok(outputs.outcome(Outcome::of_files(stopped, !record.frames.is_empty(), all)))
}

/// Works through an outing with tables as bursts are done and the summary at the end. A report or
/// table that cannot be written does not end the work.
pub fn work(
    job: &OutingJob,
    cache: Option<&Cache>,
    report: Option<&Path>,
    quiet: bool,
    outputs: &mut Outputs,
) -> anyhow::Result<(CullRecord, bool)> {
    let style = screen::style();
    let title = job
        .paths
        .iter()
        .map(|p| p.file_name().unwrap_or(p.as_os_str()).to_string_lossy().into_owned())
        .collect::<Vec<_>>()
        .join(", ");
    let mut writer = report.map(|path| ReportWriter::create(path, &title)).transpose()?;
    let screen = Screen::new(quiet);
    let mut printed = Ok(());
    let mut on_burst = |page: BurstPage| -> LibResult<()> {
        if let Some(Err(failed)) = writer.as_mut().map(|w| w.burst(&page)) {
            writer = None;
            outputs.tried(Err(failed));
        }
        if !quiet && printed.is_ok() {
            let frames: Vec<&FrameRecord> = page.frames.iter().map(|f| &f.0).collect();
            let text = terminal::burst(&page.burst, &frames, style);
            printed = screen.print_above(&format!("{text}\n"));
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
            screen::print_note(&format!(
                "skipped {}: {}",
                wording::visible(&s.path),
                wording::visible(&s.in_terminal())
            ));
        }
    } else {
        let summary = terminal::outing(&record.outing, &record.skipped, place.as_deref(), style);
        outputs.tried(printed.and_then(|()| screen::print(&summary)));
    }
    if stopped {
        screen::print_note(
            "Interrupted. The record and the report contain everything measured so far.",
        );
    }
    Ok((record, stopped))
}

/// Reads marked subjects from a file.
fn marks(path: &Path) -> anyhow::Result<BTreeMap<String, (f64, f64)>> {
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    subjects::read(&text).with_context(|| format!("in {}", path.display()))
}
