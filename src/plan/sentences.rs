//! A plan's findings in sentences. The one about the first setting is a set of forms with places for
//! its words, `{like this}`, which the page fills for other positions of its sliders.

use serde::Serialize;

use super::columns;
use super::findings::{FirstReason, HandBasis, ModelBasis, PlanFinding, SettingFigures};
use super::record::{LightKind, PlanParameters, PlanWish};
use crate::report::sentences::{Medium, Sentences, paragraph};
use crate::report::wording;

/// The forms of the sentence about the first setting and its neighbours. Places are named after
/// the table's columns; `{lines}` is [`ReasonForms::lines`] or [`ReasonForms::no_lines`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReasonForms {
    /// About the first setting.
    pub first: &'static str,
    /// Its next wider neighbour, when there is one.
    pub wider: &'static str,
    /// Its next smaller neighbour, when there is one.
    pub closed: &'static str,
    /// What costs the first one most, and how settings are ranked.
    pub last: String,
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
        let nothing = paragraph(&PlanFinding::nothing_fits(wish), Medium::Report);
        ReasonForms { nothing, ..ReasonForms::of_burst(p.burst_frames) }
    }

    fn of_burst(burst_frames: u32) -> ReasonForms {
        ReasonForms {
            first: "Shoot {aperture}, ISO {ISO}, {shutter} s: it {lines} {place}, and {hit} of \
                    frames are hits.",
            wider: " Wider, {aperture} {lines}, with {hit} hits.",
            closed: " Closed further, {aperture} {lines}, with {hit} hits.",
            last: format!(
                " The largest loss is {{most lost to}}. Ranked by detail times the chance that a \
                 burst of {burst_frames} has a hit."
            ),
            lines: "resolves {finest} µm",
            no_lines: "resolves no line above the noise",
            nothing: String::new(),
        }
    }
}

/// Where a depth is judged.
pub fn place(depth_mm: f64) -> &'static str {
    if depth_mm > 0.0 { "at the ends of the depth" } else { "in focus" }
}

impl Sentences for FirstReason {
    fn message(&self, _: Medium) -> String {
        let forms = ReasonForms::of_burst(self.burst_frames);
        let filled = |form: &str, s: &SettingFigures| {
            let finest = s.finest_um_depth_end.map(|um| {
                // In the digits of the table.
                wording::value_and_error(um, s.finest_rel_std_err.map(|share| um * share)).0
            });
            let lines =
                finest.map_or(forms.no_lines.to_owned(), |um| forms.lines.replace("{finest}", &um));
            form.replace("{aperture}", &wording::f_number(s.f_number))
                .replace("{ISO}", &s.iso.to_string())
                .replace("{shutter}", &columns::shutter(s.shutter_s))
                .replace("{place}", place(self.depth_mm))
                .replace("{lines}", &lines)
                .replace("{hit}", &wording::per_cent(s.hit_chance))
                .replace("{most lost to}", self.dominant_loss)
        };
        let beside = |s: &Option<SettingFigures>, form| {
            s.as_ref().map_or(String::new(), |s| filled(form, s))
        };
        [
            filled(forms.first, &self.first),
            beside(&self.wider, forms.wider),
            beside(&self.closed, forms.closed),
            filled(&forms.last, &self.first),
        ]
        .concat()
    }

    fn advice_text(&self, _: Medium) -> Option<String> {
        None
    }
}

impl HandBasis {
    fn words(self) -> String {
        match self {
            HandBasis::Typical => "a typical hand".to_owned(),
            HandBasis::Smears { speed_mm_s } => format!(
                "your hand, which moves {} mm/s on the subject in half the frames (from the \
                 lengths of smears)",
                wording::plus_minus(speed_mm_s.value, speed_mm_s.std_err)
            ),
            HandBasis::Verdicts { shutter_s, low_s, high_s } => {
                let end = |s: Option<f64>| {
                    s.map_or(wording::NOTHING.to_owned(), wording::measured_shutter)
                };
                format!(
                    "your hand, with half the frames sharp at {} ({} to {}, 95 %)",
                    wording::measured_shutter(shutter_s),
                    end(low_s),
                    end(high_s)
                )
            }
        }
    }
}

impl Sentences for ModelBasis {
    fn message(&self, _: Medium) -> String {
        match *self {
            ModelBasis::Own { frames, hand, focus_spread_mm } => format!(
                "Your own limits, from {} of this rig: detail with its error, and {}. Typical \
                 values without error: noise in per cent, a focus error of {focus_spread_mm} mm, \
                 and the flash.",
                wording::count(frames, "frame", "frames"),
                hand.words()
            ),
            ModelBasis::Typical {
                pitch_um,
                well_e_um2,
                read_e,
                contrast,
                hand_mm_s,
                focus_spread_mm,
                aberration_um,
                logged_frames,
                needed_frames,
            } => {
                let typical = format!(
                    "Typical values, not yours; they carry no error and may be off by half: pixels \
                     of {pitch_um} µm holding {well_e_um2} electrons per µm² at ISO 100, a read \
                     noise of {read_e} electrons, a subject with {} % contrast per octave, a hand \
                     moving {hand_mm_s} mm/s, a focus error of {focus_spread_mm} mm (standard \
                     deviations) and a lens with {aberration_um} µm of aberration at a working f/8.",
                    contrast * 100.0
                );
                match logged_frames {
                    None => typical,
                    Some(logged) => format!(
                        "{typical} The log has {} of this rig here; a model of your own needs \
                         {needed_frames}.",
                        wording::count(logged, "usable frame", "usable frames")
                    ),
                }
            }
        }
    }

    fn advice_text(&self, _: Medium) -> Option<String> {
        None
    }
}

impl Sentences for PlanFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            PlanFinding::NothingFits { light: LightKind::Flash, .. } => {
                "No aperture fits this flash: it is too weak or too strong for all of them."
            }
            PlanFinding::NothingFits { shutter_given: true, .. } => {
                "No aperture and ISO give a correct exposure at this shutter speed."
            }
            PlanFinding::NothingFits { .. } => {
                "No aperture, ISO and shutter speed give a correct exposure in this light."
            }
            PlanFinding::LightTaken { light, light_ev } => {
                let assumed = match light {
                    LightKind::Lamp => "Assuming lamps",
                    _ => "Assuming open shade",
                };
                return format!("{assumed} (Ev {} at ISO 100).", wording::short(*light_ev));
            }
            PlanFinding::FlashTaken { full_n_eff, full_s } => {
                return format!(
                    "Assuming a flash that exposes a working {} at ISO 100 and full power, with a \
                     duration of {}.",
                    wording::f_number(*full_n_eff),
                    wording::shutter(*full_s)
                );
            }
            PlanFinding::LightBesideFlash => {
                "Ambient light adds a second, blurred exposure to the flash."
            }
            PlanFinding::VideoNeedsLight => "Video needs continuous light.",
            PlanFinding::LightNearEyes => {
                "Flash tubes and lamps close to the eyes (yours, other people's or an animal's) can \
                 injure them, and powerful ones get hot enough to burn."
            }
            PlanFinding::ChanceIsAModel => {
                "The chance of a hit models one handheld frame. It ignores support and a subject \
                 that keeps still."
            }
        }
        .to_owned()
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        let in_terminal = medium == Medium::Terminal;
        let advice = match self {
            PlanFinding::NothingFits { light: LightKind::Flash, .. } => return None,
            PlanFinding::NothingFits { shutter_given: true, .. } if in_terminal => {
                "Change --shutter or --light."
            }
            PlanFinding::NothingFits { shutter_given: true, .. } => {
                "Use another shutter speed, or more or less light."
            }
            PlanFinding::NothingFits { .. } if in_terminal => "Change --light.",
            PlanFinding::NothingFits { .. } => "Use more or less light.",
            PlanFinding::LightTaken { .. } if in_terminal => "Set another level with --light.",
            PlanFinding::VideoNeedsLight if in_terminal => "Plan it with --light or --lamp.",
            PlanFinding::VideoNeedsLight => "Plan it for ambient light or for a lamp.",
            _ => return None,
        };
        Some(advice.to_owned())
    }
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
    use crate::report::sentences::check;
    use crate::report::value::WithError;

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
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
        check(&all);
        let with_option = all.iter().filter(|f| paragraph(*f, Medium::Terminal).contains("--"));
        assert_eq!(with_option.count(), 8);
    }

    #[test]
    fn the_first_setting_and_the_model_read_well() {
        let figures = SettingFigures {
            f_number: 16.0,
            iso: 800,
            shutter_s: 1.0 / 250.0,
            finest_um_depth_end: Some(12.34),
            finest_rel_std_err: Some(0.1),
            hit_chance: 0.4,
        };
        let reason = FirstReason {
            depth_mm: 1.0,
            burst_frames: 10,
            first: figures,
            wider: Some(SettingFigures { f_number: 11.0, finest_um_depth_end: None, ..figures }),
            closed: None,
            dominant_loss: "depth",
        };
        check(std::slice::from_ref(&reason));
        assert_eq!(
            reason.message(Medium::Terminal),
            "Shoot f/16, ISO 800, 1/250 s: it resolves 12.3 µm at the ends of the depth, and 40 % of \
             frames are hits. Wider, f/11 resolves no line above the noise, with 40 % hits. The \
             largest loss is depth. Ranked by detail times the chance that a burst of 10 has a hit."
        );
        let own = |hand| ModelBasis::Own { frames: 14, hand, focus_spread_mm: 1.5 };
        let typical = |logged_frames| ModelBasis::Typical {
            pitch_um: 4.4,
            well_e_um2: 2500.0,
            read_e: 3.0,
            contrast: 0.1,
            hand_mm_s: 5.0,
            focus_spread_mm: 1.5,
            aberration_um: 2.5,
            logged_frames,
            needed_frames: 12,
        };
        let speed_mm_s = WithError { value: 4.2, std_err: Some(0.3) };
        check(&[
            own(HandBasis::Typical),
            own(HandBasis::Smears { speed_mm_s }),
            own(HandBasis::Verdicts { shutter_s: 0.01, low_s: Some(0.005), high_s: None }),
            typical(None),
            typical(Some(1)),
        ]);
    }
}
