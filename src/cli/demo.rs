//! `stopwise demo`: an invented outing with known truth, culled and compared.

use std::collections::BTreeMap;

use anyhow::Context;
use stopwise::demo::burst::TrueCall;
use stopwise::demo::outing;
use stopwise::report::record::{Call, CullRecord};
use stopwise::sets::outing::OutingJob;
use stopwise::sets::rows::Typed;

use super::args::DemoArgs;
use super::{Ended, cull, show};

/// Report of the demo, inside its folder.
const REPORT: &str = "report.html";

/// Makes the outing, culls it and tells how the verdicts compare with the truth.
pub fn run(typed: &DemoArgs) -> anyhow::Result<Ended> {
    std::fs::create_dir_all(&typed.dir)
        .with_context(|| format!("cannot write {}", typed.dir.display()))?;
    show::remark(&format!(
        "Taking the pictures of an invented outing into {} ...",
        typed.dir.display()
    ));
    let truth = outing::write(&typed.dir, typed.seed)
        .with_context(|| format!("cannot write {}", typed.dir.display()))?;
    let report = typed.dir.join(REPORT);
    let job = OutingJob {
        paths: vec![typed.dir.join(outing::DAY)],
        subject: None,
        marks: marks(&truth),
        subject_size: None,
        typed: Typed::default(),
        pictures: true,
    };
    let (record, stopped) = cull::work(&job, None, Some(&report), false)?;
    if stopped {
        return Ok(Ended::Stopped);
    }
    show::result(&compared(&record, &truth))?;
    Ok(if record.skipped.is_empty() { Ended::Whole } else { Ended::Partly })
}

/// The invented photographer's marks: the eye in the first frame of each burst.
fn marks(truth: &outing::OutingTruth) -> BTreeMap<String, (f64, f64)> {
    let mut marks = BTreeMap::new();
    let mut last = 0;
    for frame in truth.frames.iter().filter(|f| f.burst > std::mem::replace(&mut last, f.burst)) {
        let size = (outing::WIDTH_PX as f64, outing::HEIGHT_PX as f64);
        let place = (frame.truth.subject_x_px / size.0, frame.truth.subject_y_px / size.1);
        marks.insert(name(&frame.file), place);
    }
    marks
}

fn name(path: &str) -> String {
    path.rsplit('/').next().unwrap_or(path).to_owned()
}

/// A table of verdicts against truth.
fn compared(record: &CullRecord, truth: &outing::OutingTruth) -> String {
    let known: BTreeMap<String, TrueCall> =
        truth.frames.iter().map(|f| (name(&f.file), f.truth.call)).collect();
    let calls = [Call::Hit, Call::Near, Call::Miss, Call::CannotSay];
    let truths = [TrueCall::Hit, TrueCall::Near, TrueCall::Miss];
    let mut counts = [[0u32; 4]; 3];
    for frame in &record.frames {
        let Some(t) = known.get(&name(&frame.path)) else { continue };
        let row = truths.iter().position(|k| k == t);
        let column = calls.iter().position(|k| *k == frame.verdict);
        if let (Some(r), Some(c)) = (row, column) {
            counts[r][c] += 1;
        }
    }
    let mut text = String::from("\nVerdicts against the truth of the simulator\n");
    text.push_str("  truth       hit  near  miss  cannot say\n");
    for (word, row) in ["hit", "near", "miss"].iter().zip(&counts) {
        let [a, b, c, d] = row;
        text.push_str(&format!("  {word:<9}{a:>6}{b:>6}{c:>6}{d:>12}\n"));
    }
    let right: u32 = (0..3).map(|i| counts[i][i]).sum();
    let total: u32 = counts.iter().flatten().sum();
    let swapped = counts[0][2] + counts[2][0];
    text.push_str(&format!(
        "  {right} of {total} the same; hit and miss taken for each other: {swapped}. The \
         eye was marked in the first frame of each burst.\n"
    ));
    text
}
