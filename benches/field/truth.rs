//! What is true of the frames of a burst, and its files with their Exif.

use std::path::Path;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use stopwise::simulator::burst::{HIT, TrueCall, TrueCause, Truth};
use stopwise::simulator::encode::RenderedPicture;
use stopwise::simulator::file::{Tags, jpeg};
use stopwise::simulator::optics::SimulatedLens;

/// Truth of one frame.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct True {
    /// Subject, fraction of the width and of the height.
    pub at: (f64, f64),
    /// Blur without movement, px.
    pub still_px: f64,
    /// Blur with movement, px.
    pub total_px: f64,
    /// Length of a movement, px; 0 for none.
    pub length_px: f64,
    /// Distance of the plane from the subject, µm, positive towards the lens.
    pub offset_um: f64,
    /// "hit", "near" or "miss".
    pub call: String,
    /// Its cause in the words of the simulator.
    pub cause: String,
    /// Whether defocus alone would lose the hit, and whether movement alone would.
    pub loses: (bool, bool),
}

/// Truth of a burst.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TrueBurst {
    pub frames: Vec<True>,
    /// Blur of the lens in focus, px.
    pub in_focus_px: f64,
    /// Radius of the subject, fraction of the width.
    pub radius: f64,
    pub size_px: (usize, usize),
}

pub fn call_word(call: TrueCall) -> &'static str {
    match call {
        TrueCall::Hit => "hit",
        TrueCall::Near => "near",
        TrueCall::Miss => "miss",
    }
}

fn cause_word(cause: TrueCause) -> &'static str {
    match cause {
        TrueCause::InFocus => "in-focus",
        TrueCause::Misfocused => "misfocused",
        TrueCause::Shake => "shake",
        TrueCause::SubjectMotion => "subject-motion",
        TrueCause::Ghosted => "ghosted",
        TrueCause::Soft => "soft",
    }
}

impl TrueBurst {
    pub fn new(
        truths: &[Truth],
        lens: &SimulatedLens,
        size_px: (usize, usize),
        radius_px: f64,
    ) -> Self {
        let best = truths.iter().map(|t| t.sigma_total_px).fold(f64::MAX, f64::min);
        let frames = truths
            .iter()
            .map(|t| {
                let moved = !matches!(
                    t.cause,
                    TrueCause::InFocus | TrueCause::Misfocused | TrueCause::Soft
                );
                True {
                    at: (t.subject_x_px / size_px.0 as f64, t.subject_y_px / size_px.1 as f64),
                    still_px: t.sigma_px,
                    total_px: t.sigma_total_px,
                    length_px: t.motion.map_or(0.0, |m| m.length_px),
                    offset_um: t.focus_offset_um,
                    call: call_word(t.call).to_owned(),
                    cause: cause_word(t.cause).to_owned(),
                    loses: (t.sigma_px > HIT * best, moved),
                }
            })
            .collect();
        let in_focus_px = lens.sigma_px(0.0);
        TrueBurst { frames, in_focus_px, radius: radius_px / size_px.0 as f64, size_px }
    }

    /// Whether no frame of it is a hit or near.
    pub fn nothing_sharp(&self) -> bool {
        self.frames.iter().all(|t| t.call == "miss")
    }

    pub fn best_px(&self) -> f64 {
        self.frames.iter().map(|t| t.total_px).fold(f64::MAX, f64::min)
    }
}

/// Name of frame `i`.
pub fn name(i: usize) -> String {
    format!("f{i:02}.jpg")
}

/// The camera settings that all frames of a burst share.
#[derive(Debug, Clone, Copy)]
pub struct Settings {
    pub marked_f_number: f64,
    pub pitch_um: f64,
    pub iso: f64,
    pub quality: u8,
    pub flash: bool,
}

/// Writes frames 450 ms apart.
pub fn write(dir: &Path, pictures: &[RenderedPicture], settings: &Settings) {
    pictures.par_iter().enumerate().for_each(|(i, picture)| {
        let ms = i * 450;
        let tags = Tags {
            time: format!("2031:06:14 15:02:{:02}", ms / 1000),
            millisecond: (ms % 1000) as u32,
            marked_f_number: Some(settings.marked_f_number),
            pitch_um: settings.pitch_um,
            iso: settings.iso.round().clamp(50.0, 65_535.0) as u16,
            flash: settings.flash,
            ..Tags::invented()
        };
        let bytes = jpeg(picture, settings.quality, false, Some(&tags)).unwrap();
        std::fs::write(dir.join(name(i)), bytes).unwrap();
    });
}
