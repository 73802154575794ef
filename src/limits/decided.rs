//! People's decisions in place of the program's verdicts.

use std::collections::BTreeMap;

use crate::core::verdict::Verdict;
use crate::store::log::LoggedFrame;

/// Frames of a rig that people decided on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Decided {
    /// How many.
    pub frames: u32,
    /// Those whose verdict was another.
    pub overruled: u32,
}

/// Takes a person's word on a frame as the truth. The cause that the program gave stands while
/// the verdict does; one that is overruled has no cause that anyone vouches for. Returns how many
/// frames that were, by rig.
pub fn apply_decisions(
    frames: &mut [(i64, LoggedFrame)],
    decided: &BTreeMap<String, Verdict>,
) -> BTreeMap<Option<String>, Decided> {
    let mut by_rig: BTreeMap<Option<String>, Decided> = BTreeMap::new();
    if decided.is_empty() {
        return by_rig;
    }
    for (_, frame) in frames {
        let Some(person) = decided.get(&frame.content_id) else { continue };
        let count = by_rig.entry(frame.rig.clone()).or_default();
        count.frames += 1;
        let program: Option<Verdict> = frame.verdict.parse().ok();
        if program == Some(*person) {
            continue;
        }
        count.overruled += 1;
        // Near for a miss and the reverse are the same trouble, more or less of it.
        if !(person.is_short() && program.is_some_and(Verdict::is_short)) {
            frame.causes.clear();
            frame.cause_share = None;
        }
        person.word().clone_into(&mut frame.verdict);
    }
    by_rig
}
