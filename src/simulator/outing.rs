//! The outing behind `stopwise demo`: one afternoon with small hard-shelled creatures, written
//! as a folder of JPEG files with the truth beside them. Everything in it is invented.

use std::fs;
use std::path::Path;

use rayon::prelude::*;

use crate::core::random::SplitMix64;
use crate::error::{Error, Result};
use crate::simulator::burst::{BurstSpec, SimFrame, SimulatedBurst, Truth};
use crate::simulator::file::{Tags, jpeg};
use crate::simulator::optics::SimulatedLens;
use crate::simulator::scene::SceneKind;
use crate::simulator::sensor::{SimulatedRendering, SimulatedSensor};

/// Pixel pitch of the invented body, µm.
pub const PITCH_UM: f64 = 6.0;
/// Width of the files, px.
pub const WIDTH_PX: usize = 1500;
/// Height of the files, px.
pub const HEIGHT_PX: usize = 1000;
/// Folder of the files inside the outing's folder.
pub const DAY: &str = "day";
/// File of the truth inside the outing's folder.
pub const TRUTH_FILE: &str = "truth.json";

/// Share of full scale that a white sheet gives: leaves room for the mirrored light box.
const WHITE: f32 = 0.66;

/// The truth about an outing.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct OutingTruth {
    /// Seed it was made from.
    pub seed: u64,
    /// Frames in the order taken.
    pub frames: Vec<FrameTruth>,
}

/// The truth about one file.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct FrameTruth {
    /// Path inside the outing's folder, with forward slashes.
    pub file: String,
    /// Number of the burst, from 1.
    pub burst: usize,
    /// What the burst shows.
    pub about: &'static str,
    /// Magnification.
    pub magnification: f64,
    /// Marked f-number.
    pub marked_f_number: f64,
    /// Working f-number.
    pub n_eff: f64,
    /// ISO.
    pub iso: u16,
    /// Whether the flash fired.
    pub flash: bool,
    /// Focus, blur, movement and verdict.
    pub truth: Truth,
}

/// One burst of the plan.
struct Plan {
    about: &'static str,
    frames: usize,
    marked_f_number: f64,
    magnification: f64,
    iso: u16,
    exposure_s: f64,
    flash: bool,
    /// Spread of focus, px of disc sigma.
    focus_spread_px: f64,
    /// Focus missed by at least this, px of disc sigma, on every frame.
    focus_missed_px: f64,
    shaken_share: f64,
    subject_motion_share: f64,
    motion_px: (f64, f64),
    /// Share of the light that is ambient and smeared when the subject moves under flash.
    ambient_share: f32,
    noise_reduction: f32,
    /// Seconds since the first frame of the day.
    start_s: u64,
    gap_ms: u64,
}

const CALM: Plan = Plan {
    about: "",
    frames: 8,
    marked_f_number: 11.0,
    magnification: 1.0,
    iso: 200,
    exposure_s: 1.0 / 160.0,
    flash: true,
    focus_spread_px: 2.0,
    focus_missed_px: 0.0,
    shaken_share: 0.0,
    subject_motion_share: 0.0,
    motion_px: (4.0, 12.0),
    ambient_share: 1.0,
    noise_reduction: 0.0,
    start_s: 0,
    gap_ms: 450,
};

fn plans() -> [Plan; 5] {
    [
        Plan { about: "flash, focus rocked back and forth", frames: 8, ..CALM },
        Plan {
            about: "lamp, hand unsteady",
            frames: 7,
            marked_f_number: 8.0,
            magnification: 1.4,
            iso: 800,
            exposure_s: 1.0 / 50.0,
            flash: false,
            focus_spread_px: 1.2,
            shaken_share: 0.6,
            motion_px: (6.0, 16.0),
            noise_reduction: 1.0,
            start_s: 312,
            gap_ms: 380,
            ..CALM
        },
        Plan {
            about: "flash, focus never reached",
            frames: 6,
            marked_f_number: 9.0,
            magnification: 2.0,
            iso: 200,
            focus_spread_px: 1.5,
            focus_missed_px: 4.5,
            start_s: 845,
            gap_ms: 600,
            ..CALM
        },
        Plan {
            about: "dim light, high ISO",
            frames: 8,
            marked_f_number: 8.0,
            magnification: 1.2,
            iso: 3200,
            exposure_s: 1.0 / 200.0,
            flash: false,
            focus_spread_px: 1.8,
            noise_reduction: 2.0,
            start_s: 1630,
            gap_ms: 300,
            ..CALM
        },
        Plan {
            about: "flash and daylight mixed, subject restless",
            frames: 7,
            marked_f_number: 14.0,
            iso: 400,
            exposure_s: 1.0 / 100.0,
            focus_spread_px: 1.5,
            subject_motion_share: 0.45,
            motion_px: (12.0, 20.0),
            ambient_share: 0.4,
            noise_reduction: 0.5,
            start_s: 2240,
            gap_ms: 520,
            ..CALM
        },
    ]
}

/// Writes the outing into `dir` (made when missing): the files under [`DAY`], the truth in
/// [`TRUTH_FILE`].
///
/// # Errors
/// [`Error::Write`] when the folder cannot be written, [`Error::Encode`] when a picture cannot
/// be encoded.
pub fn write(dir: &Path, seed: u64) -> Result<OutingTruth> {
    write_sized(dir, seed, WIDTH_PX, HEIGHT_PX)
}

/// Writes only some bursts of the outing, by number from 1; the files are those of the whole
/// outing.
///
/// # Errors
/// As [`write()`].
pub fn write_bursts(dir: &Path, seed: u64, numbers: &[usize]) -> Result<OutingTruth> {
    write_chosen(dir, seed, (WIDTH_PX, HEIGHT_PX), |number| numbers.contains(&number))
}

/// The same with frames of another size; settings are kept, so the field of view changes.
///
/// # Errors
/// As [`write()`].
pub fn write_sized(
    dir: &Path,
    seed: u64,
    width_px: usize,
    height_px: usize,
) -> Result<OutingTruth> {
    write_chosen(dir, seed, (width_px, height_px), |_| true)
}

fn write_chosen(
    dir: &Path,
    seed: u64,
    (width_px, height_px): (usize, usize),
    wanted: impl Fn(usize) -> bool,
) -> Result<OutingTruth> {
    let day = dir.join(DAY);
    fs::create_dir_all(&day).map_err(|source| Error::Write { path: day.clone(), source })?;
    let mut rng = SplitMix64::new(seed);
    let mut frames = Vec::new();
    let mut first = 1;
    for (plan, number) in plans().iter().zip(1..) {
        let spec = burst_spec(plan, rng.next_u64(), width_px, height_px);
        if wanted(number) {
            frames.extend(write_burst(dir, plan, spec, number, first)?);
        }
        first += plan.frames;
    }
    let truth = OutingTruth { seed, frames };
    let path = dir.join(TRUTH_FILE);
    let text = serde_json::to_vec_pretty(&truth).map_err(|e| Error::Record(e.to_string()))?;
    fs::write(&path, text).map_err(|source| Error::Write { path, source })?;
    Ok(truth)
}

fn burst_spec(plan: &Plan, seed: u64, width_px: usize, height_px: usize) -> BurstSpec {
    // Pupils of equal size.
    let n_eff = plan.marked_f_number * (1.0 + plan.magnification);
    BurstSpec {
        width_px,
        height_px,
        frames: plan.frames,
        lens: SimulatedLens { n_eff, magnification: plan.magnification, pitch_um: PITCH_UM },
        focus_spread_px: plan.focus_spread_px,
        focus_missed_px: plan.focus_missed_px,
        // Each burst of the day has a seed of its own.
        hand: 0,
        drift: 0.05,
        shaken_share: plan.shaken_share,
        subject_motion_share: plan.subject_motion_share,
        motion_px: plan.motion_px,
        moving_light: plan.ambient_share,
        exposure_stops: 0.15,
        colour: true,
        ..BurstSpec::usual(SceneKind::Insect, seed, 0.0)
    }
}

fn write_burst(
    dir: &Path,
    plan: &Plan,
    spec: BurstSpec,
    number: usize,
    first: usize,
) -> Result<Vec<FrameTruth>> {
    let burst = SimulatedBurst::new(spec);
    (0..burst.len())
        .into_par_iter()
        .filter_map(|i| {
            let rendering = SimulatedRendering {
                iso: f64::from(plan.iso),
                exposure: WHITE,
                noise_reduction: plan.noise_reduction,
                sharpen_px: 0.9,
                sharpen: 0.35,
                contrast: 0.55,
            };
            let SimFrame { picture, truth, .. } =
                burst.developed_frame(i, &SimulatedSensor::ORDINARY, &rendering)?;
            let file = format!("{DAY}/vm{:04}.jpg", first + i);
            let written = jpeg(&picture, 93, false, Some(&tags(plan, i))).and_then(|bytes| {
                let path = dir.join(&file);
                fs::write(&path, bytes).map_err(|source| Error::Write { path, source })
            });
            Some(written.map(|()| FrameTruth {
                file,
                burst: number,
                about: plan.about,
                magnification: plan.magnification,
                marked_f_number: plan.marked_f_number,
                n_eff: spec.lens.n_eff,
                iso: plan.iso,
                flash: plan.flash,
                truth,
            }))
        })
        .collect()
}

fn tags(plan: &Plan, index: usize) -> Tags {
    // The afternoon starts at 15:02:00.
    let ms = (15 * 3600 + 2 * 60 + plan.start_s) * 1000 + index as u64 * plan.gap_ms;
    let s = ms / 1000;
    Tags {
        time: format!("2031:06:14 {:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60),
        millisecond: (ms % 1000) as u32,
        offset: "+02:00".to_owned(),
        marked_f_number: Some(plan.marked_f_number),
        exposure_s: plan.exposure_s,
        iso: plan.iso,
        flash: plan.flash,
        pitch_um: PITCH_UM,
        serial: "VM7-00042".to_owned(),
        subject_px: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulator::burst::{TrueCall, TrueCause};

    #[test]
    fn days_of_different_seeds_do_not_repeat_one_another() {
        let aims = |seed: u64| -> Vec<f64> {
            let dir = tempfile::tempdir().unwrap();
            let truth = write_sized(dir.path(), seed, 150, 100).unwrap();
            truth.frames.iter().map(|f| f.truth.focus_offset_um).collect()
        };
        let (a, b) = (aims(7), aims(8));
        assert!(a.iter().all(|x| !b.contains(x)));
        // Sides of focus agree about as often as coins: 36 of them by chance within 8 to 28.
        let alike = a.iter().zip(&b).filter(|(x, y)| x.signum() == y.signum()).count();
        assert!((8..=28).contains(&alike), "{alike}");
    }

    #[test]
    fn chosen_bursts_are_those_of_the_whole_outing() {
        let dir = tempfile::tempdir().unwrap();
        let whole = write_sized(dir.path(), 3, 150, 100).unwrap();
        let part = write_chosen(dir.path(), 3, (150, 100), |n| n == 3).unwrap();
        let third: Vec<_> = whole.frames.into_iter().filter(|f| f.burst == 3).collect();
        assert_eq!(part.frames, third);
        assert!(third[0].file.ends_with("vm0016.jpg"));
    }

    #[test]
    fn an_outing_holds_what_the_plan_says() {
        let dir = tempfile::tempdir().unwrap();
        let truth = write_sized(dir.path(), 1, 300, 200).unwrap();
        assert_eq!(truth.frames.len(), 36);
        for frame in &truth.frames {
            let bytes = fs::read(dir.path().join(&frame.file)).unwrap();
            assert_eq!(bytes[..2], [0xff, 0xd8]);
            let t = &frame.truth;
            assert!(t.subject_x_px > 0.0 && t.subject_x_px < 300.0, "{t:?}");
            assert!(t.subject_y_px > 0.0 && t.subject_y_px < 200.0, "{t:?}");
        }
        let text = fs::read(dir.path().join(TRUTH_FILE)).unwrap();
        let read: serde_json::Value = serde_json::from_slice(&text).unwrap();
        assert_eq!(read["frames"].as_array().unwrap().len(), 36);
        let burst = |n: usize| truth.frames.iter().filter(move |f| f.burst == n);
        assert!(burst(1).any(|f| f.truth.call == TrueCall::Hit));
        assert!(burst(2).any(|f| f.truth.cause == TrueCause::Shake));
        assert!(burst(3).all(|f| f.truth.call == TrueCall::Miss));
        assert!(burst(5).any(|f| f.truth.cause == TrueCause::Ghosted));
    }
}
