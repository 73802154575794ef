//! Every limit of a series on both sides, and what makes none.

use super::*;
use crate::core::Known;
use crate::image::exposure::{Exposure, Flash};

/// Frames of settings: f-number, ISO, exposure time.
fn frames(settings: &[(f64, f64, f64)], fired: bool) -> Vec<Frame> {
    let of = |(_, iso, shutter): &(f64, f64, f64)| Exposure {
        iso: Some(Known::from_file(*iso)),
        exposure_time_s: Some(Known::from_file(*shutter)),
        flash: Some(Known::from_file(Flash::from_bits(u32::from(fired)))),
        ..Exposure::default()
    };
    settings.iter().map(|s| Frame::taken_with(of(s))).collect()
}

fn found(settings: &[(f64, f64, f64)], fired: bool) -> Result<StepSeries> {
    let f_numbers: Vec<f64> = settings.iter().map(|s| s.0).collect();
    series(&frames(settings, fired), &f_numbers)
}

fn confounded_by(settings: &[(f64, f64, f64)], fired: bool) -> Option<Confounded> {
    let found = found(settings, fired).unwrap().confounded;
    assert!(found.len() < 2, "{found:?}");
    found.first().copied()
}

#[test]
fn a_shutter_that_changed_with_the_aperture_counts_as_its_doing_without_flash() {
    let with =
        |ratio: f64, fired| confounded_by(&[(5.6, 100.0, 0.01), (8.0, 200.0, 0.01 * ratio)], fired);
    assert_eq!(with(SHUTTER_CHANGES + 0.01, false), Some(Confounded::Shutter));
    assert_eq!(with(SHUTTER_CHANGES - 0.01, false), None);
    assert_eq!(
        with(1.0 / (SHUTTER_CHANGES + 0.01), false),
        Some(Confounded::Shutter),
        "whichever way"
    );
    assert_eq!(with(4.0, true), None, "the flash is as short as before");
}

#[test]
fn a_flash_that_made_up_for_the_aperture_burnt_longer() {
    let with = |f_ratio: f64, iso_ratio: f64, shutter_ratio: f64, fired| {
        let second = (8.0 * f_ratio, 100.0 * iso_ratio, 0.01 * shutter_ratio);
        confounded_by(&[(8.0, 100.0, 0.01), second], fired)
    };
    assert_eq!(with(APERTURE_CHANGES + 0.01, 1.0, 1.0, true), Some(Confounded::Flash));
    assert_eq!(with(APERTURE_CHANGES - 0.01, 1.0, 1.0, true), None);
    assert_eq!(with(APERTURE_CHANGES + 0.01, 1.0, 1.0, false), None);
    // ISO or shutter made up for it.
    assert_eq!(with(2.0, ISO_CHANGES - 0.01, 1.0, true), Some(Confounded::Flash));
    assert_eq!(with(2.0, ISO_CHANGES + 0.01, 1.0, true), None);
    assert_eq!(with(2.0, 1.0, SHUTTER_CHANGES - 0.01, true), Some(Confounded::Flash));
    assert_eq!(with(2.0, 1.0, SHUTTER_CHANGES + 0.01, true), None);
}

#[test]
fn the_axis_is_what_changes() {
    let axis = |settings: &[(f64, f64, f64)]| found(settings, false).unwrap().axis;
    let at = |f, iso| (f, iso, 0.01);
    assert_eq!(axis(&[at(8.0, 100.0), at(11.0, 100.0)]), StepAxis::Aperture);
    assert_eq!(axis(&[at(8.0, 100.0), at(8.0, 200.0)]), StepAxis::Iso);
    assert_eq!(axis(&[(8.0, 100.0, 0.01), (8.0, 100.0, 0.02)]), StepAxis::Shutter);
    let corners = [at(8.0, 100.0), at(8.0, 800.0), at(22.0, 100.0), at(22.0, 800.0)];
    assert_eq!(axis(&corners), StepAxis::FourCorners);
    assert_eq!(axis(&corners[..3]), StepAxis::Mixed);
}

#[test]
fn one_step_and_missing_f_numbers_are_no_series() {
    let one = found(&[(8.0, 100.0, 0.01), (8.0, 100.0, 1.0 / 99.0)], false);
    assert!(matches!(one, Err(Error::Series(NotASeries::OneStep { frames: 2 }))), "{one:?}");
    let missing = f_numbers(&[Some(8.0), None, None], &[]);
    let expected = NotASeries::NoFNumbers { missing: 2, frames: 3 };
    assert!(matches!(missing, Err(Error::Series(e)) if e == expected));
    let uneven = f_numbers(&[None; 5], &[8.0, 11.0]);
    let expected = NotASeries::ApertureCount { given: 2, frames: 5 };
    assert!(matches!(uneven, Err(Error::Series(e)) if e == expected));
    assert_eq!(f_numbers(&[None; 4], &[8.0, 11.0]).unwrap(), [8.0, 8.0, 11.0, 11.0]);
    assert_eq!(f_numbers(&[Some(8.0), Some(9.0)], &[]).unwrap(), [8.0, 9.0]);
}
