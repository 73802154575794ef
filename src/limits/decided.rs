//! People's decisions in place of the program's verdicts.

use std::collections::BTreeMap;

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
    calls: &BTreeMap<String, String>,
) -> BTreeMap<Option<String>, Decided> {
    let mut by_rig: BTreeMap<Option<String>, Decided> = BTreeMap::new();
    if calls.is_empty() {
        return by_rig;
    }
    for (_, frame) in frames {
        let Some(call) = calls.get(&frame.content_id) else { continue };
        let count = by_rig.entry(frame.rig.clone()).or_default();
        count.frames += 1;
        if frame.verdict == *call {
            continue;
        }
        count.overruled += 1;
        // Near for a miss and the reverse are the same trouble, more or less of it.
        let both_short = |v: &str| matches!(v, "near" | "miss");
        if !(both_short(call) && both_short(&frame.verdict)) {
            frame.causes.clear();
            frame.cause_share = None;
        }
        frame.verdict.clone_from(call);
    }
    by_rig
}
