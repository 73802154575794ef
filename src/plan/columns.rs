//! The columns of a plan: its settings, and the ways to take video; one list each for the terminal
//! and the page.

use super::record::{PlanRecord, PlanSetting, VideoSetting};
use crate::report::column::Decimals::{ByError, PerCent, Shutter, WrittenFNumber};
use crate::report::column::{Cell, Column};
use crate::report::wording;

/// The columns of a plan's settings: those of what was asked for.
pub fn settings(record: &PlanRecord) -> Vec<Column<PlanSetting>> {
    let wish = &record.wish;
    let is_asked = |c: &&Column<PlanSetting>| match c.key {
        "light_s" => wish.light_ev.is_none(),
        "smear_px" => wish.motion_mm_s > 0.0,
        _ => true,
    };
    SETTINGS.iter().filter(is_asked).copied().collect()
}

/// All columns of the settings, in order.
#[rustfmt::skip]
pub static SETTINGS: &[Column<PlanSetting>] = &[
    Column::new("f_number", "aperture", "", WrittenFNumber,
        |s| Cell::Number(s.f_number),
        "Aperture as marked."),
    Column::new("iso", "ISO", "", ByError,
        |s| Cell::Whole(u64::from(s.iso)),
        "ISO to set."),
    Column::new("shutter_s", "shutter", "s", Shutter,
        |s| Cell::Number(s.shutter_s),
        "Exposure time to set."),
    Column::new("light_s", "flash", "s", Shutter,
        |s: &PlanSetting| Cell::Number(s.light_s),
        "How long the flash shines.")
        .dropped(5),
    Column::with_error("finest_um", "finest_std_err_um", "in focus", "µm", ByError,
        |s: &PlanSetting| finest(s.finest_um_plane, s),
        "Finest line above noise in focus, on the subject.")
        .dashed(),
    Column::with_error("finest_depth_end_um", "finest_depth_end_std_err_um", "at the ends", "µm", ByError,
        |s: &PlanSetting| finest(s.finest_um_depth_end, s),
        "The same at the ends of the depth.")
        .dashed(),
    Column::new("hit_chance", "hit", "", PerCent,
        |s| Cell::Number(s.hit_chance),
        "Chance that one frame is a hit."),
    Column::new("frames_for_a_hit", "frames", "a hit", ByError,
        |s: &PlanSetting| Cell::whole(s.frames_for_a_hit),
        "Frames needed for a 90 % chance of a hit.")
        .dropped(4)
        .dashed(),
    Column::new("noise_percent", "noise", "%", ByError,
        |s: &PlanSetting| Cell::Number(100.0 * s.noise_share),
        "Noise of one pixel in the middle tones.")
        .dropped(2),
    Column::new("smear_px", "moves", "px", ByError,
        |s: &PlanSetting| Cell::Number(s.smear_px),
        "Motion blur of hand and subject in one frame.")
        .dropped(3),
    Column::new("crop_factor", "crop", "×", ByError,
        |s: &PlanSetting| Cell::number(s.crop_factor),
        "How far the picture can be cropped before its finest line is wider than a pixel of the output.")
        .dropped(6)
        .dashed(),
    Column::new("dominant_loss", "most lost to", "", ByError,
        |s: &PlanSetting| Cell::Text(s.dominant_loss.to_owned()),
        "What costs the most of what is ranked.")
        .dropped(1),
];

/// All columns of the ways to take video, in order.
#[rustfmt::skip]
pub static VIDEO: &[Column<VideoSetting>] = &[
    Column::new("readout", "video", "", ByError,
        |s| Cell::Text(s.readout.to_owned()),
        "What is read and what is written."),
    Column::new("picture_scale", "scale", "×", ByError,
        |s| Cell::Number(s.picture_scale),
        "How much larger the subject is in the picture than with the whole sensor."),
    Column::new("f_number", "aperture", "", WrittenFNumber,
        |s| Cell::Number(s.f_number),
        "Aperture as marked."),
    Column::new("iso", "ISO", "", ByError,
        |s| Cell::Whole(u64::from(s.iso)),
        "ISO to set."),
    Column::new("shutter_s", "shutter", "s", Shutter,
        |s: &VideoSetting| Cell::Number(s.shutter_s),
        "Exposure time of a frame.")
        .dropped(3),
    Column::new("slow_motion", "slower", "×", ByError,
        |s: &VideoSetting| Cell::Number(s.slow_motion),
        "Frames per second taken over those shown.")
        .dropped(4),
    Column::new("smear_px", "moves", "px", ByError,
        |s| Cell::Number(s.smear_px),
        "Motion blur of hand and subject in one frame."),
    Column::new("finest_um", "in focus", "µm", ByError,
        |s: &VideoSetting| Cell::number(s.finest_um_plane),
        "Finest line above noise in focus when nothing moves, on the subject.")
        .dropped(1)
        .dashed(),
    Column::new("finest_depth_end_um", "at the ends", "µm", ByError,
        |s: &VideoSetting| Cell::number(s.finest_um_depth_end),
        "The same at the ends of the depth.")
        .dashed(),
    Column::new("noise_percent", "noise", "%", ByError,
        |s: &VideoSetting| Cell::Number(100.0 * s.noise_share),
        "Noise of one pixel of the clip.")
        .dropped(2),
];

fn finest(um: Option<f64>, s: &PlanSetting) -> Cell {
    um.map_or(Cell::Missing, |um| Cell::Measured(um, s.finest_rel_std_err.map(|share| um * share)))
}

/// What the finest lines are, and columns by their headings.
const FINEST: &str = "Finest lines resolved above the noise, on the subject, in focus and at the ends of the \
     depth.";
const EXPLAINED: [(&str, &str); 5] = [
    ("hit", "Hit: chance that one frame is a hit."),
    ("frames", "Frames: how many are needed for a 90 % chance of a hit."),
    ("noise", "Noise: of one pixel in the middle tones."),
    ("moves", "Moves: motion blur of hand and subject in one frame."),
    (
        "crop",
        "Crop: how far the picture can be cropped before its finest line is wider than one pixel \
         of the output.",
    ),
];

/// What the columns with these headings mean, for readers of the page and the terminal.
pub fn key<'a>(headings: impl IntoIterator<Item = &'a str>) -> String {
    let mut sentences = vec![FINEST];
    for heading in headings {
        let explained = EXPLAINED.iter().find(|(of, _)| *of == heading).map(|(_, says)| *says);
        sentences.extend(explained.filter(|says| !sentences.contains(says)));
    }
    sentences.join(" ")
}

/// A shutter time without its unit.
pub fn shutter(s: f64) -> String {
    wording::shutter(s).trim_end_matches(" s").to_owned()
}
