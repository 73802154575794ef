//! `stopwise chart`.

use std::collections::BTreeMap;
use stopwise::limits::columns::COLUMNS;
use stopwise::limits::page;
use stopwise::limits::terminal;

use stopwise::error::LogProblem;
use stopwise::limits::{self, ChartJob, Charted, Decided, DescribedRigs};
use stopwise::report::{csv, json};
use stopwise::store::decisions::Decisions;
use stopwise::store::equipment;
use stopwise::store::log::Log;
use stopwise::store::paths;
use stopwise::{Error, Result};

use super::args::ChartArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::{overrides, screen};

/// Charts what the log holds of a rig.
pub fn run(typed: &ChartArgs) -> anyhow::Result<Outcome> {
    let (json, csv) = (typed.json.as_deref(), typed.csv.as_deref());
    let (report, svg) = (typed.report.as_deref(), typed.svg.as_deref());
    let mut outputs = Outputs::new(&[
        Output::record("JSON", json),
        Output::record("CSV", csv),
        Output::file(report),
        Output::file(svg),
    ])?;
    let charted = of_log(typed.log.as_deref(), typed.rig.as_deref(), typed.magnification)?;
    let held = charted.record.frames + charted.record.clip_frames;
    if held == 0
        && let (Some(name), false) = (&typed.rig, charted.known_rigs.is_empty())
    {
        let known: Vec<String> = charted.known_rigs.iter().map(|k| format!("{k:?}")).collect();
        anyhow::bail!("the log has no frames of {name:?}, only of {}", known.join(", "));
    }
    let record = &charted.record;
    outputs.write(json, |out| json::write(record, out));
    outputs.write(csv, |out| csv::write(COLUMNS, &record.grid, out));
    if let Some(path) = svg {
        outputs.page(path, limits::chart_svg(record));
    }
    if let Some(path) = report {
        outputs.page(path, page::page(record));
    }
    outputs.print(&terminal::chart(record, screen::style()));
    Ok(outputs.outcome(Outcome::of_files(false, held > 0, true)))
}

/// The chart of a rig from the log; an empty one when there is no log.
pub fn of_log(
    log: Option<&std::path::Path>,
    rig: Option<&str>,
    magnification: Option<f64>,
) -> anyhow::Result<Charted> {
    let path = match log {
        Some(path) => path.to_owned(),
        None => paths::log_place()?,
    };
    // The rig's description, where there is one: charts need no more than its name.
    let described = match rig {
        Some(name) => overrides::rig(name).ok(),
        None => None,
    };
    let decisions = paths::decisions_place()?;
    let calls = || -> Result<_> {
        if decisions.exists() {
            Decisions::open(&decisions)?.verdicts()
        } else {
            Ok(BTreeMap::new())
        }
    };
    let mut rigs = DescribedRigs::default();
    let mut by_rig: BTreeMap<Option<String>, Decided> = BTreeMap::new();
    let mut read = || -> Result<_> {
        let log = Log::open_to_read(&path)?;
        let outings = log.outings()?;
        let calls = if outings.is_empty() { BTreeMap::new() } else { calls()? };
        log.each_frame(None, &mut |outing, frame| {
            let mut one = [(outing.id, frame)];
            for (rig, more) in limits::apply_decisions(&mut one, &calls) {
                let sum = by_rig.entry(rig).or_default();
                sum.frames += more.frames;
                sum.overruled += more.overruled;
            }
            rigs.add(outing.id, Some(outing.kind), &one[0].1);
        })?;
        Ok(outings)
    };
    let outings = match read() {
        // Nobody has logged anything yet: no failure, unless a log was named.
        Err(Error::Log { problem: LogProblem::Missing, .. }) if log.is_none() => Vec::new(),
        other => other?,
    };
    let of = rigs.of_rig(rig);
    let described = match (&described, &of.rig) {
        (None, Some(name)) => overrides::rig(name).ok(),
        _ => described,
    };
    let chart_job = ChartJob {
        rig: of.rig.clone(),
        magnification,
        lens: described.as_ref().map(|rig| equipment::mounted_lens(rig, None)),
        wavelength_um: described.as_ref().and_then(|r| r.wavelength_um),
        outings: limits::titles(&outings),
        decided: by_rig.get(&of.rig).copied().unwrap_or_default(),
        clips: of.clips,
    };
    let mut charted = limits::chart(&chart_job, &of.entries);
    charted.known_rigs = of.known.into_keys().collect();
    Ok(charted)
}
