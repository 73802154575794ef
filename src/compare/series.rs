//! Finds the series in frames of one still subject: its steps, the repeats of each, and what
//! changes from step to step.
//!
//! Settings are compared in thirds of a stop, as they are marked: f/13 is a third from f/11, and
//! a shutter of 1/199 s the same as 1/200 s.

use crate::compare::record::StepAxis;
use crate::error::{Error, NotASeries, Result};
use crate::image::Frame;
use serde::Serialize;

/// Settings of a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteppedSetting {
    /// Marked f-number.
    pub f_number: f64,
    /// ISO, when the files tell.
    pub iso: Option<u32>,
    /// Exposure time, s, when the files tell.
    pub shutter_s: Option<f64>,
}

/// A step: frames with the same settings.
#[derive(Debug, Clone, PartialEq)]
pub struct SeriesStep {
    /// Its settings.
    pub setting: SteppedSetting,
    /// Its frames, as indices into the list given.
    pub frames: Vec<usize>,
}

/// The series.
#[derive(Debug, Clone, PartialEq)]
pub struct StepSeries {
    /// What changes.
    pub axis: StepAxis,
    /// Its steps in order of the axis.
    pub steps: Vec<SeriesStep>,
    /// What else changed with it, so that its effect cannot be told apart.
    pub confounded: Vec<Confounded>,
}

/// Longest over shortest exposure time from which the shutter changed.
const SHUTTER_CHANGES: f64 = 1.4;
/// Highest over lowest ISO from which it changed.
const ISO_CHANGES: f64 = 1.2;
/// Greatest over least f-number from which the flash must have made up for it.
const APERTURE_CHANGES: f64 = 1.3;

/// Thirds of stops of an f-number: light goes with its square.
pub fn aperture_thirds(f_number: f64) -> i64 {
    (6.0 * f_number.log2()).round() as i64
}

/// Thirds of stops of a value that light is proportional to.
fn light_thirds(value: f64) -> i64 {
    (3.0 * value.log2()).round() as i64
}

impl SteppedSetting {
    fn key(&self) -> (i64, i64, i64) {
        (
            aperture_thirds(self.f_number),
            self.iso.map_or(i64::MIN, |iso| light_thirds(f64::from(iso))),
            self.shutter_s.map_or(i64::MIN, light_thirds),
        )
    }

    /// Brightness of the file that the settings give the same scene, stops, on any scale.
    /// Apertures as their exact stops. `None` when something is not known.
    pub fn brightness_stops(&self) -> Option<f64> {
        let aperture = aperture_thirds(self.f_number) as f64 / 3.0;
        Some(self.shutter_s?.log2() + f64::from(self.iso?).log2() - aperture)
    }
}

/// The f-numbers of the frames: as known, or as typed.
///
/// A list of as many numbers as frames goes to the frames in their order; a shorter one to equal
/// shares of them.
///
/// # Errors
/// [`NotASeries`] when f-numbers are missing or the list does not fit.
pub fn f_numbers(told: &[Option<f64>], typed: &[f64]) -> Result<Vec<f64>> {
    let frames = told.len();
    if !typed.is_empty() {
        if !frames.is_multiple_of(typed.len()) {
            return Err(Error::Series(NotASeries::ApertureCount { given: typed.len(), frames }));
        }
        let each = frames / typed.len();
        return Ok((0..frames).map(|i| typed[i / each]).collect());
    }
    let known: Vec<f64> = told.iter().copied().flatten().collect();
    if known.len() < frames {
        let missing = frames - known.len();
        return Err(Error::Series(NotASeries::NoFNumbers { missing, frames }));
    }
    Ok(known)
}

/// The series that frames with these f-numbers make.
///
/// # Errors
/// [`NotASeries::OneStep`] when all settings are the same.
pub fn series(frames: &[Frame], f_numbers: &[f64]) -> Result<StepSeries> {
    let mut steps: Vec<SeriesStep> = Vec::new();
    for (i, (frame, f_number)) in frames.iter().zip(f_numbers).enumerate() {
        let e = frame.exposure.as_ref();
        let setting = SteppedSetting {
            f_number: *f_number,
            iso: e.and_then(|e| e.iso.as_ref()).map(|k| k.value.round() as u32).filter(|v| *v > 0),
            shutter_s: e.and_then(|e| e.exposure_time_s.as_ref()).map(|k| k.value),
        };
        match steps.iter_mut().find(|s| s.setting.key() == setting.key()) {
            Some(step) => step.frames.push(i),
            None => steps.push(SeriesStep { setting, frames: vec![i] }),
        }
    }
    if steps.len() < 2 {
        return Err(Error::Series(NotASeries::OneStep { frames: frames.len() }));
    }
    let axis = axis(&steps);
    steps.sort_by_key(|s| {
        let (f, iso, shutter) = s.setting.key();
        match axis {
            StepAxis::Iso => (iso, f, shutter),
            StepAxis::Shutter => (-shutter, f, iso),
            StepAxis::Aperture | StepAxis::Mixed | StepAxis::FourCorners => (f, iso, shutter),
        }
    });
    let confounded = confounded(axis, &steps, frames);
    Ok(StepSeries { axis, steps, confounded })
}

/// What changes, and what only pays for it.
fn axis(steps: &[SeriesStep]) -> StepAxis {
    let keys: Vec<(i64, i64, i64)> = steps.iter().map(|s| s.setting.key()).collect();
    let distinct = |of: &dyn Fn(&(i64, i64, i64)) -> i64| {
        let mut values: Vec<i64> = keys.iter().map(of).collect();
        values.sort_unstable();
        values.dedup();
        values.len()
    };
    let (apertures, isos, shutters) = (distinct(&|k| k.0), distinct(&|k| k.1), distinct(&|k| k.2));
    let pairs = {
        let mut list: Vec<(i64, i64)> = keys.iter().map(|k| (k.0, k.1)).collect();
        list.sort_unstable();
        list.dedup();
        list.len()
    };
    if apertures == 2 && isos == 2 && pairs == 4 && steps.len() == 4 {
        StepAxis::FourCorners
    } else if apertures == steps.len() {
        StepAxis::Aperture
    } else if apertures > 1 {
        StepAxis::Mixed
    } else if isos == steps.len() {
        StepAxis::Iso
    } else if isos == 1 && shutters == steps.len() {
        StepAxis::Shutter
    } else {
        StepAxis::Mixed
    }
}

/// What else changed with the aperture and cannot be told from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Confounded {
    /// The shutter time.
    Shutter,
    /// The power of the flash.
    Flash,
}

/// What else changed and cannot be told from the axis.
fn confounded(axis: StepAxis, steps: &[SeriesStep], frames: &[Frame]) -> Vec<Confounded> {
    let mut found = Vec::new();
    let range = |values: Vec<f64>| -> f64 {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        values.iter().copied().fold(0.0, f64::max) / low
    };
    let shutters: Vec<f64> = steps.iter().filter_map(|s| s.setting.shutter_s).collect();
    let isos: Vec<f64> = steps.iter().filter_map(|s| s.setting.iso.map(f64::from)).collect();
    let apertures = range(steps.iter().map(|s| s.setting.f_number).collect());
    let flash = frames.iter().any(|f| {
        f.exposure.as_ref().is_some_and(|e| e.flash.as_ref().is_some_and(|k| k.value.fired))
    });
    let shutter_changes = shutters.len() == steps.len() && range(shutters) > SHUTTER_CHANGES;
    let iso_changes = isos.len() == steps.len() && range(isos) > ISO_CHANGES;
    if axis == StepAxis::Aperture && shutter_changes && !flash {
        found.push(Confounded::Shutter);
    }
    if apertures > APERTURE_CHANGES && !shutter_changes && !iso_changes && flash {
        found.push(Confounded::Flash);
    }
    found
}

#[cfg(test)]
mod tests;
