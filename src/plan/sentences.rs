//! A plan's findings and their sentences. The one about the first setting is a set of forms with places
//! for its words, `{like this}`, which the page fills for other positions of its sliders.

use super::record::{LightKind, PlanParameters, PlanSetting, PlanWish};
use crate::report::wording;
use serde::{Serialize, Serializer};

/// The forms of the sentence about the first setting and its neighbours. Places are named after
/// the table's columns; `{lines}` is [`ReasonForms::lines`] or [`ReasonForms::no_lines`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReasonForms {
    /// About the first setting.
    pub first: String,
    /// Its next wider neighbour, when there is one.
    pub wider: &'static str,
    /// Its next smaller neighbour, when there is one.
    pub closed: &'static str,
    /// What costs the first one most.
    pub last: &'static str,
    /// The finest line at the ends of the depth.
    pub lines: &'static str,
    /// The same when none is seen.
    pub no_lines: &'static str,
    /// When there is no setting.
    pub nothing: String,
}

impl ReasonForms {
    /// For a wish's kind of light and bursts of the parameters' length; `{place}` is [`place`].
    pub fn of(wish: &PlanWish, p: &PlanParameters) -> ReasonForms {
        ReasonForms {
            first: format!(
                "{{aperture}} is first for the most detail {{place}} times the chance that {} \
                 frames hold a hit: {{lines}} and a hit in {{hit}} of frames",
                p.burst_frames
            ),
            wider: "; wider, {aperture} shows {lines} and hits {hit}",
            closed: "; closed further, {aperture} shows {lines} and hits {hit}",
            last: ". Most is lost to {most lost to}.",
            lines: "lines of {finest} µm",
            no_lines: "no line above the noise",
            nothing: PlanFinding::nothing_fits(wish).on_page(),
        }
    }
}

/// Where a depth is judged.
pub fn place(depth_mm: f64) -> &'static str {
    if depth_mm > 0.0 { "at the ends of the depth" } else { "in focus" }
}

/// Why the first setting is first: its own numbers beside those of its neighbours.
pub fn first_because(
    settings: &[PlanSetting],
    wish: &PlanWish,
    p: &PlanParameters,
) -> Option<String> {
    because(settings, wish, p, |s| s.finest_um_depth_end.map(wording::number))
}

/// The same with the finest line at the ends of the depth as `finest` words it.
pub fn because(
    settings: &[PlanSetting],
    wish: &PlanWish,
    p: &PlanParameters,
    finest: impl Fn(&PlanSetting) -> Option<String>,
) -> Option<String> {
    let first = settings.first()?;
    let forms = ReasonForms::of(wish, p);
    let filled = |form: &str, s: &PlanSetting| {
        let lines =
            finest(s).map_or(forms.no_lines.to_owned(), |um| forms.lines.replace("{finest}", &um));
        form.replace("{aperture}", &wording::f_number(s.f_number))
            .replace("{place}", place(wish.depth_mm))
            .replace("{lines}", &lines)
            .replace("{hit}", &wording::per_cent(s.hit_chance))
            .replace("{most lost to}", s.dominant_loss)
    };
    let beside = |s: Option<&PlanSetting>, form| s.map_or(String::new(), |s| filled(form, s));
    let wider = settings
        .iter()
        .filter(|s| s.f_number < first.f_number)
        .max_by(|a, b| a.f_number.total_cmp(&b.f_number));
    let closed = settings
        .iter()
        .filter(|s| s.f_number > first.f_number)
        .min_by(|a, b| a.f_number.total_cmp(&b.f_number));
    Some(format!(
        "{}{}{}{}",
        filled(&forms.first, first),
        beside(wider, forms.wider),
        beside(closed, forms.closed),
        filled(forms.last, first)
    ))
}

/// Something to be kept in mind with a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlanFinding {
    /// No aperture, ISO and shutter expose the light.
    NothingFits {
        /// Where the light comes from.
        light: LightKind,
        /// Whether the shutter was given.
        shutter_given: bool,
    },
    /// The level of the light was not given.
    LightTaken {
        /// Where the light comes from.
        light: LightKind,
        /// What was taken, Ev at ISO 100.
        light_ev: f64,
    },
    /// The strength of the flash was not given.
    FlashTaken {
        /// Working f-number that full power exposes at ISO 100.
        full_n_eff: f64,
        /// How long it shines then, s.
        full_s: f64,
    },
    /// Other light beside a flash.
    LightBesideFlash,
    /// Video was asked for with a flash.
    VideoNeedsLight,
    /// Bright light near eyes.
    LightNearEyes,
    /// What the chance of a hit leaves out.
    ChanceIsAModel,
}

/// What should be kept in mind.
pub fn findings(settings: &[PlanSetting], wish: &PlanWish, p: &PlanParameters) -> Vec<PlanFinding> {
    let mut found = Vec::new();
    if settings.is_empty() {
        found.push(PlanFinding::nothing_fits(wish));
    }
    if !wish.light_typed {
        found.push(match (wish.light, wish.light_ev) {
            (LightKind::Ambient | LightKind::Lamp, Some(light_ev)) => {
                PlanFinding::LightTaken { light: wish.light, light_ev }
            }
            _ => PlanFinding::FlashTaken {
                full_n_eff: p.flash_full_n_eff,
                full_s: p.flash_s.first().map_or(0.0, |f| f.1),
            },
        });
    }
    if wish.light == LightKind::Flash {
        found.push(PlanFinding::LightBesideFlash);
        if wish.video_fps.is_some() {
            found.push(PlanFinding::VideoNeedsLight);
        }
    }
    if matches!(wish.light, LightKind::Flash | LightKind::Lamp) {
        found.push(PlanFinding::LightNearEyes);
    }
    found.push(PlanFinding::ChanceIsAModel);
    found
}

impl PlanFinding {
    /// That no setting fits a wish.
    pub fn nothing_fits(wish: &PlanWish) -> PlanFinding {
        let shutter_given = wish.shutter_s.is_some();
        PlanFinding::NothingFits { light: wish.light, shutter_given }
    }

    /// In words for the terminal and for records, where options may be named.
    pub fn in_terminal(&self) -> String {
        match self {
            PlanFinding::NothingFits { light: LightKind::Flash, .. } => self.on_page(),
            PlanFinding::NothingFits { shutter_given: true, .. } => {
                "No aperture and ISO fit this light at this shutter: give another --shutter, or \
                 more or less --light."
                    .to_owned()
            }
            PlanFinding::NothingFits { .. } => {
                "No aperture, ISO and shutter fit this light: give another --light.".to_owned()
            }
            PlanFinding::LightTaken { .. } => {
                let message = self.on_page();
                format!("{}; --light says otherwise.", message.trim_end_matches('.'))
            }
            PlanFinding::VideoNeedsLight => {
                "Video needs light that stays: plan it with --light or --lamp.".to_owned()
            }
            _ => self.on_page(),
        }
    }

    /// In words for the page, on which no option can be typed.
    pub fn on_page(&self) -> String {
        match self {
            PlanFinding::NothingFits { light: LightKind::Flash, .. } => {
                "No aperture fits this flash: it is too weak or too strong for all of them."
            }
            PlanFinding::NothingFits { shutter_given: true, .. } => {
                "No aperture and ISO fit this light at this shutter."
            }
            PlanFinding::NothingFits { .. } => "No aperture, ISO and shutter fit this light.",
            PlanFinding::LightTaken { light, light_ev } => {
                let taken = match light {
                    LightKind::Lamp => "Lamps taken as",
                    _ => "Light taken as open shade,",
                };
                return format!("{taken} Ev {} at ISO 100.", wording::short(*light_ev));
            }
            PlanFinding::FlashTaken { full_n_eff, full_s } => {
                return format!(
                    "Flash taken to expose a working {} at ISO 100 and full power, and to shine {} \
                     then.",
                    wording::f_number(*full_n_eff),
                    wording::shutter(*full_s)
                );
            }
            PlanFinding::LightBesideFlash => {
                "With flash, light that is there besides adds a second, blurred picture."
            }
            PlanFinding::VideoNeedsLight => {
                "Video needs light that stays: plan it for the light that is there or for a lamp."
            }
            PlanFinding::LightNearEyes => {
                "Flash tubes and lamps near the eyes, yours, others' and the animal's, can do harm, \
                 and powerful ones get hot enough to burn."
            }
            PlanFinding::ChanceIsAModel => {
                "The chance of a hit is a model of a swaying hand, of one frame, and knows nothing \
                 of support or of an animal that stays."
            }
        }
        .to_owned()
    }
}

/// Writes findings into a record, in the words of the terminal.
///
/// # Errors
/// Those of the serializer.
pub fn serialize_findings<S: Serializer>(
    findings: &[PlanFinding],
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(findings.iter().map(PlanFinding::in_terminal))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_are_whole_and_pages_name_no_option() {
        let lights = [LightKind::Ambient, LightKind::Flash, LightKind::Lamp];
        let mut all = vec![
            PlanFinding::FlashTaken { full_n_eff: 88.0, full_s: 1.0 / 258.0 },
            PlanFinding::LightBesideFlash,
            PlanFinding::VideoNeedsLight,
            PlanFinding::LightNearEyes,
            PlanFinding::ChanceIsAModel,
        ];
        for light in lights {
            all.push(PlanFinding::LightTaken { light, light_ev: 12.0 });
            all.extend(
                [true, false]
                    .map(|shutter_given| PlanFinding::NothingFits { light, shutter_given }),
            );
        }
        let mut with_option = 0;
        for finding in all {
            let (page, terminal) = (finding.on_page(), finding.in_terminal());
            for text in [&page, &terminal] {
                assert!(text.ends_with('.') && text.starts_with(char::is_uppercase), "{text}");
                assert!(!text.contains(['{', '}']) && !text.contains("  "), "{text}");
            }
            assert!(!page.contains("--"), "{page}");
            with_option += usize::from(terminal.contains("--"));
        }
        assert_eq!(with_option, 8);
    }
}
