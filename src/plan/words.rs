//! What a plan says in words. The page of `plan` says the same again after a change
//! (`plan/plan.js`): change both.

use super::record::{LightKind, PlanParameters, PlanSetting, PlanWish};
use crate::report::wording;

/// Why the first setting is first: its own numbers beside those of its neighbours.
pub fn first_because(
    settings: &[PlanSetting],
    wish: &PlanWish,
    p: &PlanParameters,
) -> Option<String> {
    let first = settings.first()?;
    let what = |s: &PlanSetting| {
        let finest = s.finest_um_depth_end.map_or("no line above the noise".to_owned(), |f| {
            format!("lines of {} µm", wording::number(f))
        });
        (finest, wording::per_cent(s.hit_chance))
    };
    let (finest, chance) = what(first);
    let wider = settings
        .iter()
        .filter(|s| s.f_number < first.f_number)
        .max_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let closed = settings
        .iter()
        .filter(|s| s.f_number > first.f_number)
        .min_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let beside = |s: Option<&PlanSetting>, way: &str| {
        s.map(|s| {
            let (finest, chance) = what(s);
            format!("; {way}, {} shows {finest} and hits {chance}", wording::f_number(s.f_number))
        })
        .unwrap_or_default()
    };
    let place = if wish.depth_mm > 0.0 { "at the ends of the depth" } else { "in focus" };
    Some(format!(
        "{} is first for the most detail {place} times the chance that {} frames hold a hit: \
         {finest} and a hit in {chance} of frames{}{}. Most is lost to {}.",
        wording::f_number(first.f_number),
        p.burst_frames,
        beside(wider, "wider"),
        beside(closed, "closed further"),
        first.dominant_loss
    ))
}

/// What should be kept in mind.
pub fn remarks(settings: &[PlanSetting], wish: &PlanWish, p: &PlanParameters) -> Vec<String> {
    let mut says = Vec::new();
    if settings.is_empty() {
        says.push(match (wish.light, wish.shutter_s) {
            (LightKind::Flash, _) => {
                "No aperture fits this flash: it is too weak or too strong for all of them."
            }
            (_, Some(_)) => {
                "No aperture and ISO fit this light at this shutter: give another --shutter, or \
                 more or less --light."
            }
            (_, None) => "No aperture, ISO and shutter fit this light: give another --light.",
        }
        .to_owned());
    }
    if !wish.light_typed {
        match (wish.light, wish.light_ev) {
            (LightKind::Ambient, Some(ev)) => says.push(format!(
                "Light taken as open shade, Ev {} at ISO 100; --light says otherwise.",
                wording::short(ev)
            )),
            (LightKind::Lamp, Some(ev)) => says.push(format!(
                "Lamps taken as Ev {} at ISO 100; --light says otherwise.",
                wording::short(ev)
            )),
            _ => says.push(format!(
                "Flash taken to expose a working {} at ISO 100 and full power, and to shine {} \
                 then.",
                wording::f_number(p.flash_full_n_eff),
                wording::shutter(p.flash_s.first().map_or(0.0, |f| f.1))
            )),
        }
    }
    if wish.light == LightKind::Flash {
        says.push("With flash, light that is there besides adds a second, blurred picture.".into());
        if wish.video_fps.is_some() {
            says.push("Video needs light that stays: plan it with --light or --lamp.".into());
        }
    }
    if matches!(wish.light, LightKind::Flash | LightKind::Lamp) {
        says.push(
            "Flash tubes and lamps near the eyes, yours, others' and the animal's, can do harm, \
             and powerful ones get hot enough to burn."
                .into(),
        );
    }
    says.push(
        "The chance of a hit is a model of a swaying hand, of one frame, and knows nothing of \
         support or of an animal that stays."
            .into(),
    );
    says
}

/// What was asked for, in a line.
pub fn heading(record: &super::record::PlanRecord) -> String {
    let w = &record.wish;
    let mut parts = Vec::new();
    parts.extend(record.rig.as_deref().map(wording::visible));
    parts.push(format!("{}×", wording::short(w.magnification)));
    parts.push(format!("{} mm deep", wording::short(w.depth_mm)));
    parts.push(match (w.light, w.light_ev) {
        (LightKind::Ambient, Some(ev)) => format!("light of Ev {}", wording::short(ev)),
        (LightKind::Lamp, Some(ev)) => format!("lamps of Ev {}", wording::short(ev)),
        _ => "flash".to_owned(),
    });
    parts.extend(w.shutter_s.map(wording::shutter));
    if w.motion_mm_s > 0.0 {
        parts.push(format!("subject moving {} mm/s", wording::short(w.motion_mm_s)));
    }
    parts.extend(
        w.output_width_px
            .map(|px| format!("for {px} px wide{}", if w.crop { " after cropping" } else { "" })),
    );
    parts.join(" · ")
}
