//! `stopwise log`.

use std::path::{Path, PathBuf};
use stopwise::store::log_terminal;

use stopwise::report::wording;
use stopwise::report::{csv, json};
use stopwise::review::agreement;
use stopwise::review::agreement_terminal;
use stopwise::review::columns as agreement_columns;
use stopwise::store::decisions::Decisions;
use stopwise::store::log::{Correction, Log, OutingKind};
use stopwise::store::log_export::LogExport;
use stopwise::store::log_view;
use stopwise::store::paths;

use super::args::{KindArg, LogArgs, LogCommand};
use super::outputs::{Outcome, Output, Outputs};
use super::{overrides, screen};

/// Does what was asked with the log.
pub fn run(typed: &LogArgs) -> anyhow::Result<Outcome> {
    let path = match &typed.log {
        Some(path) => path.clone(),
        None => paths::log_place()?,
    };
    match &typed.what {
        LogCommand::List => list(path),
        LogCommand::Show { outing } => {
            let (outing, frames) = Log::open_to_read(&path)?.outing(*outing)?;
            let lines: Vec<_> = frames.iter().map(log_view::frame_line).collect();
            let text =
                log_terminal::log_outing(&log_view::outing_line(&outing), &lines, screen::style());
            screen::print(&text)?;
            Ok(Outcome::Whole)
        }
        LogCommand::Correct { outing, subject, rig, kind, exclude, include } => {
            let correction = Correction {
                subject: subject.clone(),
                rig: rig.clone(),
                kind: kind.map(|k| match k {
                    KindArg::Field => OutingKind::Field,
                    KindArg::Test => OutingKind::Test,
                    KindArg::Clip => OutingKind::Clip,
                }),
                excluded: (*exclude || *include).then_some(*exclude),
            };
            if correction == Correction::default() {
                anyhow::bail!(
                    "nothing to correct: give --subject, --rig, --kind, --exclude or --include"
                );
            }
            if let Some(name) = rig.as_ref().filter(|r| !r.trim().is_empty()) {
                overrides::equipment(Some(name))?;
            }
            drop(Log::open_to_read(&path)?.outing(*outing)?);
            Log::open(&path)?.correct(*outing, &correction)?;
            let (outing, _) = Log::open_to_read(&path)?.outing(*outing)?;
            screen::print(&log_terminal::log_list(
                &[log_view::outing_line(&outing)],
                &[],
                screen::style(),
            ))?;
            Ok(Outcome::Whole)
        }
        LogCommand::Remove { outings } => {
            drop(Log::open_to_read(&path)?);
            let mut log = Log::open(&path)?;
            for id in outings {
                let (outing, _) = log.outing(*id)?;
                log.remove(*id)?;
                screen::print_note(&format!(
                    "Removed outing {id} ({}) from the log. Its pictures were not touched.",
                    wording::visible(&outing.title)
                ));
            }
            Ok(Outcome::Whole)
        }
        LogCommand::Export { json, csv } => export(&path, json.as_deref(), csv.as_deref()),
        LogCommand::Agreement { json, csv } => agreed(json.as_deref(), csv.as_deref()),
        LogCommand::Merge { other } => {
            anyhow::ensure!(other.exists(), "{} does not exist", other.display());
            let other = Log::open_to_read(other)?;
            let mut log = Log::open(&path)?;
            let m = log.merge(&other)?;
            screen::print(&format!(
                "{} added, {} updated, {} unchanged; {} of noise added\n",
                wording::count(m.added as u32, "outing", "outings"),
                m.updated,
                m.same,
                wording::count(m.noise_added as u32, "row", "rows"),
            ))?;
            Ok(Outcome::Whole)
        }
    }
}

fn list(path: PathBuf) -> anyhow::Result<Outcome> {
    let log = Log::open_to_read(&path)?;
    let outings: Vec<_> = log.outings()?.iter().map(log_view::outing_line).collect();
    let noise = log_view::noise_lines(&log.noise()?);
    screen::print(&log_terminal::log_list(&outings, &noise, screen::style()))?;
    Ok(Outcome::Whole)
}

fn agreed(json: Option<&Path>, csv: Option<&Path>) -> anyhow::Result<Outcome> {
    let mut outputs = outputs(json, csv)?;
    let place = paths::decisions_place()?;
    // Looking makes no file.
    let (judgements, placed) = if place.exists() {
        let kept = Decisions::open(&place)?;
        (kept.judgements()?, kept.subjects_placed()?)
    } else {
        (Vec::new(), 0)
    };
    let record = agreement::agreement(&judgements, placed);
    outputs.write(csv, |out| csv::write(agreement_columns::COLUMNS, record.lines(), out));
    outputs.write(json, |out| json::write(&record, out));
    outputs.print(&agreement_terminal::agreement(&record, screen::style()));
    Ok(outputs.outcome(Outcome::Whole))
}

/// The outputs of a record as JSON and CSV.
fn outputs(json: Option<&Path>, csv: Option<&Path>) -> anyhow::Result<Outputs> {
    Outputs::new(&[Output::record("JSON", json), Output::record("CSV", csv)])
}

fn export(path: &Path, json: Option<&Path>, csv: Option<&Path>) -> anyhow::Result<Outcome> {
    let mut outputs = outputs(json, csv)?;
    let log = Log::open_to_read(path)?;
    let _moment = log.moment()?;
    let export = LogExport::new(&log)?;
    outputs.write(csv, |out| export.write_csv(out));
    outputs.write(json, |out| export.write_json(out));
    Ok(outputs.outcome(Outcome::Whole))
}
