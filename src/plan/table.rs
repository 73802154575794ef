//! The rows of a plan as cells of text: one layout for the terminal and the page.

use super::record::{PlanRecord, PlanSetting, VideoSetting};
use crate::body_noise::table::NoiseColumn as PlanColumn;
use crate::report::wording;

/// The columns of the settings, best row first.
pub fn settings(record: &PlanRecord) -> Vec<PlanColumn> {
    let flash = record.wish.light_ev.is_none();
    let moves = record.wish.motion_mm_s > 0.0;
    let rows = &record.settings;
    let column = |heading: &str, unit, drop_priority, cell: &dyn Fn(&PlanSetting) -> String| {
        let cells = rows.iter().map(cell).collect();
        PlanColumn { heading: heading.to_owned(), unit, drop_priority, cells }
    };
    let mut columns = vec![
        column("aperture", "", 0, &|s| wording::f_number(s.f_number)),
        column("ISO", "", 0, &|s| s.iso.to_string()),
        column("shutter", "s", 0, &|s| shutter(s.shutter_s)),
    ];
    if flash {
        columns.push(column("flash", "s", 5, &|s| shutter(s.light_s)));
    }
    columns.extend([
        column("in focus", "µm", 0, &|s| finest(s.finest_um_plane, s)),
        column("at the ends", "µm", 0, &|s| finest(s.finest_um_depth_end, s)),
        column("hit", "", 0, &|s| wording::per_cent(s.hit_chance)),
        column("frames", "a hit", 4, &|s| {
            s.frames_for_a_hit.map_or(wording::NOTHING.to_owned(), |n| n.to_string())
        }),
        column("noise", "%", 2, &|s| wording::number(100.0 * s.noise_share)),
    ]);
    if moves {
        columns.push(column("moves", "px", 3, &|s| wording::number(s.smear_px)));
    }
    columns.extend([
        column("crop", "×", 6, &|s| {
            s.crop_factor.map_or(wording::NOTHING.to_owned(), wording::number)
        }),
        column("most lost to", "", 1, &|s| s.dominant_loss.to_owned()),
    ]);
    columns
}

/// The columns of the ways to take video.
pub fn video(rows: &[VideoSetting]) -> Vec<PlanColumn> {
    let column = |heading: &str, unit, drop_priority, cell: &dyn Fn(&VideoSetting) -> String| {
        let cells = rows.iter().map(cell).collect();
        PlanColumn { heading: heading.to_owned(), unit, drop_priority, cells }
    };
    let um = |f: Option<f64>| f.map_or(wording::NOTHING.to_owned(), wording::number);
    vec![
        column("video", "", 0, &|s| s.readout.to_owned()),
        column("scale", "×", 0, &|s| wording::number(s.picture_scale)),
        column("aperture", "", 0, &|s| wording::f_number(s.f_number)),
        column("ISO", "", 0, &|s| s.iso.to_string()),
        column("shutter", "s", 3, &|s| shutter(s.shutter_s)),
        column("slower", "×", 4, &|s| wording::number(s.slow_motion)),
        column("moves", "px", 0, &|s| wording::number(s.smear_px)),
        column("in focus", "µm", 1, &|s| um(s.finest_um_plane)),
        column("at the ends", "µm", 0, &|s| um(s.finest_um_depth_end)),
        column("noise", "%", 2, &|s| wording::number(100.0 * s.noise_share)),
    ]
}

/// A shutter time without its unit.
pub fn shutter(s: f64) -> String {
    wording::shutter(s).trim_end_matches(" s").to_owned()
}

fn finest(um: Option<f64>, s: &PlanSetting) -> String {
    match (um, s.finest_rel_std_err) {
        (Some(um), Some(share)) => wording::plus_minus(um, Some(um * share)),
        (Some(um), None) => wording::number(um),
        (None, _) => wording::NOTHING.to_owned(),
    }
}

/// What the columns with these headings mean, for readers of the page and the terminal.
pub fn key<'a>(headings: impl IntoIterator<Item = &'a str>) -> String {
    let mut says = vec![
        "Finest lines resolved above the noise, on the subject, in focus and at the ends of the \
         depth.",
    ];
    for heading in headings {
        says.push(match heading {
            "hit" => "Hit: chance that one frame is a hit.",
            "frames" => "Frames: how many are needed for a 90 % chance of a hit.",
            "noise" => "Noise: of one pixel in the middle tones.",
            "moves" => "Moves: motion blur of hand and subject in one frame.",
            "crop" => {
                "Crop: how far the picture can be cropped before its finest line is wider than \
                 one pixel of the output."
            }
            _ => continue,
        });
    }
    let mut seen = Vec::new();
    says.retain(|s| {
        !seen.contains(s) && {
            seen.push(*s);
            true
        }
    });
    says.join(" ")
}
