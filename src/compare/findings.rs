//! What a series shows, in words.

use super::CompareJob;
use crate::compare::record::{
    AttributionRecord, CompareRecord, CostMore, Protocol, StepAxis, StepRecord, step_name,
};
use crate::compare::series::{StepSeries, SteppedSetting};
use crate::core::Flag;
use crate::report::parts::Finding;
use crate::report::wording;

/// Movement that is worth a word, px.
const MOVED_PX: f64 = 0.5;
/// Change of scale that is worth a word, share.
const SCALED: f64 = 0.0015;
/// Difference between light as set and as measured that is worth a word, stops: raw, rendered
/// (whose tone curve is not known).
const LIGHT_STOPS: (f64, f64) = (0.3, 0.6);
/// Repeats that differ by more than this share of their detail did not show the same.
const REPEATS_DIFFER: f64 = 0.08;

/// Every finding, the most important first.
pub(super) fn all(
    record: &CompareRecord,
    series: &StepSeries,
    job: &CompareJob,
    noise_reduced: bool,
) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut say = |says: String, next: Option<&str>| {
        found.push(Finding { says, next: next.map(str::to_owned) });
    };
    if let Some(reason) = &record.refused {
        say(
            format!("Refused to tell the aperture's cost from the noise's: {reason}."),
            Some(
                "Take both apertures at both ISO settings, two frames each, the shutter making \
                 up for the light; or two raw frames a step.",
            ),
        );
    }
    if let Some(best) = record.best_step.and_then(|i| record.steps.get(i)) {
        let detail = best.detail_bits_px.as_ref().map_or_else(String::new, wording::measured);
        let mut text = format!("Most detail: {}, {detail} bit/px", step_name(best, record.axis));
        if let Some(um) = &best.finest_um {
            text.push_str(&format!(", lines of {} µm on the subject", wording::measured(um)));
        }
        say(format!("{text}."), None);
    }
    for a in record
        .attributions
        .iter()
        .filter(|a| a.to == a.from + 1 || record.axis == StepAxis::FourCorners)
    {
        say(a.says.clone(), None);
    }
    if let Some(text) = turning_point(record) {
        say(text, None);
    }
    if let Some(best) = &record.best_aperture {
        let working = working(best.working_f_number);
        if best.interior {
            say(
                format!(
                    "Best aperture in focus, as taken: {}{working}.",
                    wording::f_number(best.f_number)
                ),
                None,
            );
        } else {
            say(
                format!(
                    "The best aperture is at the end of the series, {}{working}.",
                    wording::f_number(best.f_number)
                ),
                Some("Take the series further in that direction to find the best one."),
            );
        }
    }
    match (&record.best_for_depth, job.depth_mm) {
        (Some(best), Some(depth)) => say(
            format!(
                "For {} mm of depth on the subject, judged at its ends: {}{}{}.",
                wording::short(depth),
                wording::f_number(best.f_number),
                working(best.working_f_number),
                if best.interior { "" } else { ", the end of the series" }
            ),
            None,
        ),
        (None, Some(_)) => say(
            "The aperture for a depth needs the magnification.".to_owned(),
            Some("Give it with --magnification or --rig."),
        ),
        _ => {}
    }
    if let Some(text) = edge(record) {
        say(
            text,
            Some(
                "It holds for the edge of a ruler, chart or plate: it is unfit for living \
                 subjects, and the camera's sharpening raises it.",
            ),
        );
    }
    for text in &series.confounded {
        say(text.clone(), None);
    }
    shaky(record, noise_reduced, &mut say);
    found
}

fn working(n: Option<f64>) -> String {
    n.map_or_else(String::new, |n| format!(" (working {})", wording::f_number(n)))
}

/// What makes the comparison itself shaky.
fn shaky(record: &CompareRecord, noise_reduced: bool, say: &mut dyn FnMut(String, Option<&str>)) {
    if noise_reduced && record.refused.is_none() {
        say(
            "The camera smoothed the noise, so the intervals are wide.".to_owned(),
            Some("Four corners (both apertures at both ISO settings) or raw frames are exact."),
        );
    }
    let moved = &record.moved;
    if moved.shift_px > MOVED_PX {
        let px = wording::number(moved.shift_px);
        let deg = wording::fixed(moved.turn_deg, 2);
        say(format!("The frames moved by up to {px} px and {deg}°; they were registered."), None);
    }
    let aliased: Vec<String> = record
        .steps
        .iter()
        .filter(|s| s.detail_bits_px.is_some_and(|m| m.flags.has(Flag::Aliased)))
        .map(|s| wording::f_number(s.f_number))
        .collect();
    if !aliased.is_empty() {
        say(
            format!(
                "At {} detail finer than the pixels makes false detail that changes as the frame \
                 moves; it was told from noise by the noise of single frames.",
                aliased.join(", ")
            ),
            Some("On a stand the frames do not move, and the figures are surer."),
        );
    }
    if moved.scale > SCALED {
        say(
            format!(
                "The scale changed by up to {} %: the focus or the camera moved between frames, \
                 and that counts as the aperture's doing.",
                wording::fixed(100.0 * moved.scale, 1)
            ),
            Some("Use a stand, focus once, and leave the focus alone."),
        );
    }
    for step in &record.steps {
        let Some(detail) = step.detail_bits_px else { continue };
        let low = step.repeats_bits_px.iter().copied().fold(f64::INFINITY, f64::min);
        let high = step.repeats_bits_px.iter().copied().fold(0.0, f64::max);
        if low.is_finite() && high - low > REPEATS_DIFFER * detail.value {
            say(
                format!(
                    "Repeats at {} differ by {} of their detail: focus moved, or the subject did.",
                    step_name(step, record.axis),
                    wording::per_cent((high - low) / detail.value)
                ),
                Some("Take that step again."),
            );
        }
    }
    light(record, say);
    if record.magnification.is_none() && record.axis == StepAxis::Aperture {
        say(
            "The magnification is not known, so neither are working f-numbers.".to_owned(),
            Some("Give it with --magnification or --rig."),
        );
    }
}

/// Light that does not go with the settings, and steps that got unequal light.
fn light(record: &CompareRecord, say: &mut dyn FnMut(String, Option<&str>)) {
    let limit = match record.source {
        crate::report::parts::FrameSource::Raw => LIGHT_STOPS.0,
        crate::report::parts::FrameSource::Rendered => LIGHT_STOPS.1,
    };
    let set = |s: &StepRecord| {
        SteppedSetting { f_number: s.f_number, iso: s.iso, shutter_s: s.shutter_s }
            .brightness_stops()
    };
    let Some(first) = record.steps.first() else { return };
    let off = |s: &StepRecord| Some(s.light_stops? - (set(s)? - set(first)?));
    let worst = record
        .steps
        .iter()
        .filter_map(|s| Some((s, off(s)?)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
    if let Some((step, stops)) = worst
        && stops.abs() > limit
    {
        let more = if stops > 0.0 { "more" } else { "less" };
        say(
            format!(
                "At {} the picture got {} stops {more} light than its settings say: the light \
                 changed, a flash made up for the settings, or the lens's marks are off.",
                step_name(step, record.axis),
                wording::fixed(stops.abs(), 1)
            ),
            None,
        );
    }
    let lights: Vec<f64> = record.steps.iter().filter_map(|s| s.light_stops).collect();
    let low = lights.iter().copied().fold(f64::INFINITY, f64::min);
    let high = lights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if record.axis == StepAxis::Aperture && high - low > 2.0 * limit {
        say(
            format!(
                "The steps differ by {} stops in brightness: nothing made up for all of the \
                 aperture, and the dark steps' noise counts as noise.",
                wording::fixed(high - low, 1)
            ),
            None,
        );
    }
}

/// The straight edge, from its best step to its worst.
fn edge(record: &CompareRecord) -> Option<String> {
    let at = record.edge?;
    let place = format!("{},{}", wording::fixed(at.x, 2), wording::fixed(at.y, 2));
    let of = |s: &StepRecord| s.edge.as_ref().and_then(|e| e.mtf50_cy_px);
    let mut steps: Vec<&StepRecord> = record.steps.iter().filter(|s| of(s).is_some()).collect();
    if steps.is_empty() {
        let reason = record.steps.iter().find_map(|s| s.edge.as_ref()?.refused.clone())?;
        return Some(format!("The edge at {place} gives no answer: {reason}."));
    }
    steps.sort_by(|a, b| {
        of(b)
            .map(|m| m.value)
            .partial_cmp(&of(a).map(|m| m.value))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let told = |s: &StepRecord| -> Option<String> {
        Some(format!("{} cy/px at {}", wording::measured(&of(s)?), step_name(s, record.axis)))
    };
    let (first, last) = (told(steps.first()?)?, told(steps.last()?)?);
    let found = if at.given { "The edge" } else { "A straight edge found" };
    let range = if steps.len() > 1 { format!("{first}, {last}") } else { first };
    Some(format!("{found} at {place}: modulation falls to a half at {range}."))
}

/// From which stop on the aperture costs more than the noise, or the other way round.
fn turning_point(record: &CompareRecord) -> Option<String> {
    if record.axis != StepAxis::Aperture {
        return None;
    }
    let steps: Vec<&AttributionRecord> =
        record.attributions.iter().filter(|a| a.to == a.from + 1).collect();
    let sure: Vec<(usize, CostMore)> = steps
        .iter()
        .map(|a| (a.to, a.cost_more))
        .filter(|(_, c)| matches!(c, CostMore::Optics | CostMore::Noise))
        .collect();
    let (first, last) = (sure.first()?, sure.last()?);
    let name = |i: usize| record.steps.get(i).map(|s| wording::f_number(s.f_number));
    if sure.iter().all(|s| s.1 == first.1) {
        let (more, less) = words(first.1);
        return Some(format!("{more} costs more than {less} at every step that could be told."));
    }
    let turned = sure.iter().position(|s| s.1 != first.1)?;
    if sure[turned..].iter().any(|s| s.1 != last.1) {
        return None;
    }
    let (more, less) = words(last.1);
    Some(format!(
        "From {} on {} costs more than {less}; before it, the other way round.",
        name(sure[turned].0)?,
        more.to_lowercase()
    ))
}

fn words(cost: CostMore) -> (&'static str, &'static str) {
    match cost {
        CostMore::Optics => ("The aperture", "the noise"),
        _ => ("The noise", "the aperture"),
    }
}

/// One change, as a sentence.
pub(super) fn attribution(a: &AttributionRecord, steps: &[StepRecord], axis: StepAxis) -> String {
    let (Some(from), Some(to)) = (steps.get(a.from), steps.get(a.to)) else {
        return String::new();
    };
    let stops = 2.0 * (to.f_number / from.f_number).log2();
    let same_aperture = stops.abs() < 0.1;
    let mut what = if same_aperture {
        match axis {
            StepAxis::Shutter => format!("From {} to", step_name(from, axis)),
            _ => format!("At {}, from", wording::f_number(from.f_number)),
        }
    } else if stops > 0.0 {
        format!("Closing from {}", wording::f_number(from.f_number))
    } else {
        format!("Opening from {}", wording::f_number(from.f_number))
    };
    let iso = |s: &StepRecord| s.iso.map(|iso| format!("ISO {iso}"));
    if same_aperture && axis != StepAxis::Shutter {
        let name = |s: &StepRecord| iso(s).unwrap_or_else(|| "unknown ISO".to_owned());
        what.push_str(&format!(" {} to {}", name(from), name(to)));
    } else if same_aperture {
        what.push_str(&format!(" {}", step_name(to, axis)));
    } else {
        what.push_str(&format!(" to {}", wording::f_number(to.f_number)));
        if let (Some(m), Some(n)) = (from.working_f_number, to.working_f_number) {
            let (m, n) = (wording::f_number(m), wording::f_number(n));
            what.push_str(&format!(" (working {m} to {n})"));
        }
        match (iso(from), iso(to)) {
            (Some(x), Some(y)) if x != y => what.push_str(&format!(", paid with {x} to {y},")),
            _ => {}
        }
    }
    let decimals = a.total_std_err.map_or(2, |e| wording::decimals_for(e).min(3));
    let bits = |v: f64| wording::fixed(v.abs(), decimals);
    let before = from.detail_bits_px.map_or(0.0, |m| m.value);
    let share =
        if before > 0.0 { wording::per_cent((a.total / before).abs()) } else { String::new() };
    let total = match a.total_std_err {
        Some(e) => format!("{} ± {}", bits(a.total), wording::fixed(e, decimals)),
        None => bits(a.total),
    };
    let lost = if a.total < 0.0 { "cost" } else { "gained" };
    if a.cost_more == CostMore::NothingLost {
        return if a.total > 0.0 {
            format!("{what} gained {total} bit/px ({share}).")
        } else {
            format!("{what} cost nothing that stands out of the error ({total} bit/px).")
        };
    }
    let part = |v: f64| if v < 0.0 { format!("−{}", bits(v)) } else { format!("+{}", bits(v)) };
    let verdict = match a.cost_more {
        // At one aperture a change of sharpness is movement, focus or rendering.
        CostMore::Optics if same_aperture => "Lost sharpness cost more",
        CostMore::Optics => "The aperture cost more",
        CostMore::Noise => "The noise cost more",
        CostMore::AboutEqual => "Both cost about the same",
        CostMore::CannotSeparate | CostMore::NothingLost => "Which cost more cannot be separated",
    };
    let whose = if same_aperture { "a change of sharpness" } else { "the aperture's" };
    let by = match a.protocol {
        Protocol::FourCorners => " (measured on four corners)",
        _ => "",
    };
    format!(
        "{what} {lost} {total} bit/px ({share}): {} is {whose} ({} to {}), {} the noise's. \
         {verdict}{by}.",
        part(a.optics),
        part(a.low),
        part(a.high),
        part(a.noise),
    )
}
