//! Verdicts and causes of frames as people read them.

use super::record::{AtOutput, CauseShare, FrameRecord};
use crate::core::verdict::Verdict;
use crate::report::wording;

/// The first cause in one word, when there is one.
pub fn first_cause(frame: &FrameRecord) -> Option<&'static str> {
    frame.causes.first().map(|c| c.cause.word())
}

/// All causes with their shares: "misfocused 80 %, noise".
pub fn causes(frame: &FrameRecord) -> String {
    let one = |c: &CauseShare| match c.share {
        Some(share) => format!("{} {}", c.cause.word(), wording::per_cent(share)),
        None => c.cause.word().to_owned(),
    };
    frame.causes.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// "hit at 2048 px wide".
pub fn at_output(at: &AtOutput) -> String {
    format!("{} at {} px wide", at.verdict.word(), at.output_width_px)
}

/// "5 hit, 3 near, 6 miss": how a burst went; verdicts that do not occur are left out.
pub fn tally<'a>(frames: impl IntoIterator<Item = &'a FrameRecord>) -> String {
    let verdicts: Vec<Verdict> = frames.into_iter().map(|f| f.verdict).collect();
    let parts: Vec<String> = Verdict::ALL
        .into_iter()
        .map(|verdict| (verdict, verdicts.iter().filter(|v| **v == verdict).count()))
        .filter(|(_, n)| *n > 0)
        .map(|(verdict, n)| format!("{n} {}", verdict.word()))
        .collect();
    parts.join(", ")
}
