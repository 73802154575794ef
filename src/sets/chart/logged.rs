//! Frames of the log as the chart takes them.

use std::collections::BTreeMap;

use super::Entry;
use crate::base::Flag;
use crate::records::log::{Kind, LoggedFrame, Outing};

/// The frames of one rig, and which rigs the log knows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OfRig {
    /// The rig that was chosen; `None` when frames name none.
    pub rig: Option<String>,
    /// Its stills.
    pub entries: Vec<Entry>,
    /// Its frames of clips, which tell of the hand only.
    pub clips: Vec<Entry>,
    /// Every rig in the log with its number of frames.
    pub known: BTreeMap<String, u32>,
}

/// Takes the frames of a rig; without a name the one with the most stills, or, when no still
/// names any, all. Frames of clips are kept apart: their files are no measure of stills, and who
/// films holds the camera otherwise.
pub fn of_rig(frames: &[(i64, LoggedFrame)], outings: &[Outing], name: Option<&str>) -> OfRig {
    let kinds: BTreeMap<i64, Kind> = outings.iter().map(|o| (o.id, o.kind)).collect();
    let of_clip = |id: &i64| kinds.get(id) == Some(&Kind::Clip);
    let mut known: BTreeMap<String, u32> = BTreeMap::new();
    let mut stills: BTreeMap<&String, u32> = BTreeMap::new();
    for (id, rig) in frames.iter().filter_map(|(id, f)| Some((id, f.rig.as_ref()?))) {
        *known.entry(rig.clone()).or_default() += 1;
        *stills.entry(rig).or_default() += u32::from(!of_clip(id));
    }
    let rig = match name {
        Some(name) => Some(name.to_owned()),
        None => stills
            .iter()
            .max_by_key(|(name, n)| (**n, std::cmp::Reverse(*name)))
            .map(|(r, _)| (*r).clone()),
    };
    let (clips, entries): (Vec<_>, Vec<_>) =
        frames.iter().filter(|(_, f)| f.rig == rig).partition(|(id, _)| of_clip(id));
    let entered = |frames: Vec<&(i64, LoggedFrame)>| {
        let one = |(id, f): &(i64, LoggedFrame)| entry(*id, f, kinds.get(id) == Some(&Kind::Test));
        frames.into_iter().map(one).collect()
    };
    OfRig { rig, entries: entered(entries), clips: entered(clips), known }
}

/// What outings are called in a chart: when and what.
pub fn titles(outings: &[Outing]) -> BTreeMap<i64, String> {
    let title = |o: &Outing| {
        let day = o.first_taken_at.as_deref().and_then(|t| t.get(..10));
        let what = o.subject.as_deref().filter(|s| !s.is_empty()).unwrap_or(&o.title);
        match day {
            Some(day) if day != what => format!("{day} {what}"),
            _ => what.to_owned(),
        }
    };
    outings.iter().map(|o| (o.id, title(o))).collect()
}

fn entry(outing: i64, f: &LoggedFrame, test: bool) -> Entry {
    let smoothed = f.flags.split(' ').any(|key| key == Flag::NoiseReduced.key());
    Entry {
        outing,
        burst: f.burst,
        test,
        marked_f_number: f.marked_f_number,
        working_f_number: f.working_f_number,
        magnification: f.magnification.map(|v| v.value),
        shutter_s: f.shutter_s,
        iso: f.iso,
        flash: f.flash_fired,
        pixel_pitch_um: f.pixel_pitch_um,
        verdict: f.verdict.clone(),
        cause: f.causes.split(' ').next().filter(|c| !c.is_empty()).map(str::to_owned),
        detail_bits_px: f.detail_bits_px.map(|v| v.value),
        blur_sigma_px: f.blur_sigma_px.map(|v| v.value),
        blur_allowed_px: f.blur_allowed_px,
        blur_ratio: f.blur_ratio.map(|v| v.value),
        motion_length_px: f.motion_length_px.map(|v| v.value),
        quotable: !smoothed,
    }
}
