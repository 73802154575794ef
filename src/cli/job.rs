//! From what was typed to what is to be done.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use stopwise::Error;
use stopwise::compare::CompareJob;
use stopwise::cull::outing::OutingJob;
use stopwise::cull::to_record::UserOverrides;
use stopwise::optics::{MountedLens, Optics};
use stopwise::plan::PlanJob;
use stopwise::plan::record::{LightKind, PlanWish};
use stopwise::store::equipment::{Equipment, mounted_lens};
use stopwise::store::paths;
use stopwise::store::rig::{Rig, Rigs};

use super::args::{CompareArgs, KnownArgs, LogOptions};
use super::subjects;

/// A subject as typed: fractions of the upright picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Subject {
    /// Centre, from the left.
    pub x: f64,
    /// Centre, from the top.
    pub y: f64,
    /// Width and height, when given.
    pub size: Option<(f64, f64)>,
}

/// Reads `X,Y` or `X,Y,W,H`.
pub fn subject(text: &str) -> Result<Subject, String> {
    let parts: Vec<f64> = text.split(',').map(subjects::number).collect::<Result<_, _>>()?;
    let inside = |v: f64| (0.0..=1.0).contains(&v);
    let (x, y, size) = match parts[..] {
        [x, y] => (x, y, None),
        [x, y, w, h] => (x, y, Some((w, h))),
        _ => return Err("give two numbers, or four: X,Y or X,Y,W,H".to_owned()),
    };
    let (x, y) = subjects::place(x, y)?;
    if size.is_some_and(|(w, h)| !(inside(w) && inside(h) && w > 0.0 && h > 0.0)) {
        return Err("W and H are fractions of the picture, above 0 and up to 1".to_owned());
    }
    Ok(Subject { x, y, size })
}

/// Reads the box of an edge: `X,Y,W,H`.
pub fn edge(text: &str) -> Result<Subject, String> {
    let read = subject(text)?;
    match read.size {
        Some(_) => Ok(read),
        None => {
            Err("give four numbers: the edge's middle and the box about it, X,Y,W,H".to_owned())
        }
    }
}

/// Reads a number above 0.
pub fn positive(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        _ => Err("give a number above 0".to_owned()),
    }
}

/// Reads the number of an outing.
pub fn outing_number(text: &str) -> Result<i64, String> {
    text.trim()
        .parse::<i64>()
        .ok()
        .filter(|n| *n > 0)
        .ok_or_else(|| "give the outing's number as `stopwise log list` shows it".to_owned())
}

/// Reads a time as a fraction or a number: `1/200`, `0.005`.
pub fn seconds(text: &str) -> Result<f64, String> {
    match text.split_once('/') {
        Some((a, b)) => Ok(positive(a)? / positive(b)?),
        None => positive(text),
    }
}

/// Reads a size: `1920x1080`.
pub fn size(text: &str) -> Result<(u32, u32), String> {
    let side = |t: &str| t.trim().parse::<u32>().ok().filter(|v| (16..=65_536).contains(v));
    text.split_once(['x', 'X', '×'])
        .and_then(|(w, h)| Some((side(w)?, side(h)?)))
        .ok_or_else(|| "give width and height in px, as 1920x1080".to_owned())
}

/// Reads a number from 0 on.
pub fn not_negative(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v.abs()),
        _ => Err("give a number, 0 or above".to_owned()),
    }
}

/// Reads a level of light: from starlight to beyond sunlit snow.
pub fn light_ev(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if (-10.0..=25.0).contains(&v) => Ok(v),
        _ => Err("give Ev at ISO 100, from -10 to 25".to_owned()),
    }
}

/// Reads an exposure time: `1/250` or seconds.
pub fn shutter(text: &str) -> Result<f64, String> {
    let seconds = match text.trim().trim_end_matches('s').trim().split_once('/') {
        Some((over, under)) => positive(over)? / positive(under)?,
        None => positive(text.trim().trim_end_matches('s'))?,
    };
    if (1e-6..=3600.0).contains(&seconds) {
        Ok(seconds)
    } else {
        Err("give a time such as 1/250 or 0.5, up to 3600 s".to_owned())
    }
}

/// A rig by its name.
pub fn rig(name: &str) -> anyhow::Result<Rig> {
    let place = paths::rigs_place()?;
    let rigs = Rigs::read(&place)?;
    let rig = rigs.get(name).map_err(|problem| Error::Rigs { path: place, problem })?;
    Ok(rig.clone())
}

/// The plan to make, with the rig when one is named.
pub fn plan(typed: &super::args::PlanArgs) -> anyhow::Result<PlanJob> {
    let light = match (typed.flash, typed.lamp) {
        (true, _) => LightKind::Flash,
        (_, true) => LightKind::Lamp,
        _ => LightKind::Ambient,
    };
    let rig = typed.rig.as_deref().map(rig).transpose()?;
    let mut lens =
        rig.as_ref().map_or_else(MountedLens::default, |r| mounted_lens(r, typed.magnification));
    let Some(magnification) =
        typed.magnification.or(Optics::of(&lens).magnification.map(|m| m.value))
    else {
        match &typed.rig {
            Some(name) => bail!("the rig {name:?} has no magnification: give --magnification"),
            None => bail!("give --magnification, or --rig with a rig that has one"),
        }
    };
    lens.magnification = Some(magnification);
    if typed.pupil_ratio.is_some() {
        (lens.pupil_ratio, lens.is_reversed) = (typed.pupil_ratio, false);
    }
    let optics = Optics::of(&lens);
    // A rig that says too little is planned for as a bare lens.
    let optics = match optics.lens_magnification {
        Some(_) => optics,
        None => Optics::bare(magnification, optics.pupil_ratio),
    };
    Ok(PlanJob {
        rig: typed.rig.clone(),
        wish: PlanWish {
            depth_mm: typed.depth,
            magnification,
            light,
            light_ev: typed.light.or(stopwise::plan::usual_ev(light)),
            light_typed: typed.light.is_some(),
            shutter_s: typed.shutter,
            motion_mm_s: typed.motion,
            output_width_px: typed.output_width,
            crop: typed.crop,
            video_fps: typed.video,
            play_fps: typed.play,
        },
        pitch_um: typed.pitch.or(rig.as_ref().and_then(|r| r.pixel_pitch_um)),
        frame_width_px: typed.frame_width,
        optics,
    })
}

/// Reads marks from a file; see [`crate::cli::subjects::parsed`].
pub fn marks(path: &Path) -> anyhow::Result<BTreeMap<String, (f64, f64)>> {
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    subjects::parsed(&text)
        .map_err(anyhow::Error::msg)
        .with_context(|| format!("in {}", path.display()))
}

/// The rigs, and the one that the user names.
pub fn equipment(rig: Option<&String>) -> anyhow::Result<Equipment> {
    let place = match paths::rigs_place() {
        Ok(place) => place,
        // Who has no home folder has no rigs either; a named one is missed below.
        Err(_) if rig.is_none() => return Ok(Equipment::default()),
        Err(error) => return Err(error.into()),
    };
    let rigs = Rigs::read(&place)?;
    if let Some(name) = rig {
        rigs.get(name).map_err(|problem| Error::Rigs { path: place, problem })?;
    }
    Ok(Equipment { rigs, chosen: rig.cloned() })
}

/// The log to write to, when the run is to be kept: asked for with it, or for every run.
pub fn log_path(typed: &LogOptions) -> anyhow::Result<Option<PathBuf>> {
    Ok(match &typed.log {
        Some(Some(path)) => Some(path.clone()),
        Some(None) => Some(paths::log_place()?),
        None if !typed.no_log && every_run_is_logged()? => Some(paths::log_place()?),
        None => None,
    })
}

/// The setting that puts every run in the log.
const EVERY_RUN: &str = "STOPWISE_LOG_RUNS";

fn every_run_is_logged() -> anyhow::Result<bool> {
    let Some(value) = std::env::var_os(EVERY_RUN) else { return Ok(false) };
    match value.to_string_lossy().trim().to_lowercase().as_str() {
        "yes" | "1" | "true" | "on" => Ok(true),
        "" | "no" | "0" | "false" | "off" => Ok(false),
        other => anyhow::bail!("{EVERY_RUN} is {other}: say yes or no"),
    }
}

/// The outing to work through.
pub fn outing(paths: &[PathBuf], known: &KnownArgs, pictures: bool) -> anyhow::Result<OutingJob> {
    Ok(OutingJob {
        paths: paths.to_vec(),
        subject: known.subject.map(|s| (s.x, s.y)),
        marks: BTreeMap::new(),
        subject_size: known.subject.and_then(|s| s.size),
        typed: UserOverrides {
            magnification: known.magnification,
            pixel_pitch_um: known.pitch,
            f_number: known.aperture,
            output_width_px: known.output_width,
            equipment: equipment(known.rig.as_ref())?,
        },
        pictures,
    })
}

/// The series to compare.
pub fn series(typed: &CompareArgs, pictures: bool) -> anyhow::Result<CompareJob> {
    Ok(CompareJob {
        paths: typed.paths.clone(),
        region: typed.region.map(|r| ((r.x, r.y), r.size)),
        apertures: typed.aperture.clone(),
        depth_mm: typed.depth,
        typed: UserOverrides {
            magnification: typed.magnification,
            pixel_pitch_um: typed.pixel_pitch,
            equipment: equipment(typed.rig.as_ref())?,
            ..UserOverrides::default()
        },
        edge: typed.edge.and_then(|e| Some(((e.x, e.y), e.size?))),
        pictures,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_are_read_and_nonsense_is_refused() {
        assert_eq!(subject("0.5, 0.25"), Ok(Subject { x: 0.5, y: 0.25, size: None }));
        assert_eq!(subject("0,1,0.1,0.2").unwrap().size, Some((0.1, 0.2)));
        for bad in ["", "0.5", "1,2,3", "1.5,0.5", "-0.1,0.5", "a,b", "NaN,0.5", "0.5,0.5,0,0.1"] {
            assert!(subject(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn times_and_sizes_are_read() {
        assert_eq!(seconds("1/200"), Ok(0.005));
        assert_eq!(seconds("0.5"), Ok(0.5));
        assert!(seconds("1/0").is_err() && seconds("x/2").is_err());
        assert_eq!(size("3840x2160"), Ok((3840, 2160)));
        assert!(size("1080p").is_err() && size("0x10").is_err());
    }

    #[test]
    fn exposure_times_are_read_as_marked() {
        assert_eq!(shutter("1/250"), Ok(0.004));
        assert_eq!(shutter("0.5 s"), Ok(0.5));
        assert_eq!(not_negative("-0"), Ok(0.0));
        for bad in ["0", "1/0", "-1/3", "x", "", "1e9", "1e-9"] {
            assert!(shutter(bad).is_err(), "{bad}");
        }
        assert!(light_ev("26").is_err() && light_ev("-3").is_ok() && light_ev("NaN").is_err());
        assert!(not_negative("-1").is_err());
    }

    #[test]
    fn numbers_must_be_above_0() {
        assert_eq!(positive("2.5"), Ok(2.5));
        for bad in ["0", "-1", "inf", "NaN", "x", ""] {
            assert!(positive(bad).is_err(), "{bad}");
        }
    }
}
