//! Frames of the log as the chart takes them.

use std::collections::BTreeMap;

use super::LimitFrame;
use crate::core::Flag;
use crate::store::log::{LoggedFrame, Outing, OutingKind};

/// The frames of one rig, and which rigs the log knows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OfRig {
    /// The rig that was chosen; `None` when frames name none.
    pub rig: Option<String>,
    /// Its stills.
    pub entries: Vec<LimitFrame>,
    /// Its frames of clips, which tell of the hand only.
    pub clips: Vec<LimitFrame>,
    /// Every rig in the log with its number of frames.
    pub known: BTreeMap<String, u32>,
}

/// Takes the frames of a rig; without a name the one with the most stills, or, when no still
/// names any, all. Frames of clips are kept apart: their files are no measure of stills, and who
/// films holds the camera otherwise.
pub fn of_rig(frames: &[(i64, LoggedFrame)], outings: &[Outing], name: Option<&str>) -> OfRig {
    let by_id: BTreeMap<i64, &Outing> = outings.iter().map(|o| (o.id, o)).collect();
    let mut rigs = DescribedRigs::default();
    for (id, frame) in frames {
        rigs.add(*id, by_id.get(id).map(|o| o.kind), frame);
    }
    rigs.of_rig(name)
}

/// The frames of a log by rig, reduced to what the chart needs as they are read, so that a long
/// log takes little memory.
#[derive(Debug, Default)]
pub struct DescribedRigs {
    by_name: BTreeMap<Option<String>, OneRig>,
}

#[derive(Debug, Default)]
struct OneRig {
    stills: Vec<LimitFrame>,
    clips: Vec<LimitFrame>,
}

impl DescribedRigs {
    /// Adds a frame of an outing of that kind.
    pub fn add(&mut self, outing: i64, kind: Option<OutingKind>, frame: &LoggedFrame) {
        let entry = entry(outing, frame, kind == Some(OutingKind::Test));
        if !self.by_name.contains_key(&frame.rig) {
            self.by_name.insert(frame.rig.clone(), OneRig::default());
        }
        let Some(rig) = self.by_name.get_mut(&frame.rig) else { return };
        if kind == Some(OutingKind::Clip) { rig.clips.push(entry) } else { rig.stills.push(entry) }
    }

    /// The frames of one rig, as [`of_rig`] takes them, in the order added.
    pub fn of_rig(mut self, name: Option<&str>) -> OfRig {
        let named = || self.by_name.iter().filter_map(|(name, rig)| Some((name.as_ref()?, rig)));
        let known = named()
            .map(|(name, rig)| (name.clone(), (rig.stills.len() + rig.clips.len()) as u32))
            .collect();
        let rig = match name {
            Some(name) => Some(name.to_owned()),
            None => named()
                .max_by_key(|(name, rig)| (rig.stills.len(), std::cmp::Reverse(*name)))
                .map(|(name, _)| name.clone()),
        };
        let OneRig { stills, clips } = self.by_name.remove(&rig).unwrap_or_default();
        OfRig { rig, entries: stills, clips, known }
    }
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

fn entry(outing: i64, f: &LoggedFrame, test: bool) -> LimitFrame {
    let smoothed = f.flags.split(' ').any(|key| key == Flag::NoiseReduced.key());
    LimitFrame {
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
        verdict: f.verdict.parse().ok(),
        cause: f.causes.split(' ').next().and_then(|word| word.parse().ok()),
        detail_bits_px: f.detail_bits_px.map(|v| v.value),
        blur_sigma_px: f.blur_sigma_px.map(|v| v.value),
        attainable_blur_px: f.attainable_blur_px,
        blur_ratio: f.blur_ratio.map(|v| v.value),
        motion_length_px: f.motion_length_px.map(|v| v.value),
        quotable: !smoothed,
    }
}
