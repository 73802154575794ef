//! How often the frames of a series are opened.

use std::path::Path;

use super::*;
use crate::core::progress::NoProgress;
use crate::image::opened_below;
use crate::simulator::scene::SceneKind;
use crate::simulator::sensor::SimulatedSensor;
use crate::simulator::series::{SeriesSpec, SimulatedSeries, Take};

/// Two apertures with two frames each, raw or rendered.
fn write(folder: &Path, raw: bool) {
    let series = SimulatedSeries::new(SeriesSpec::usual(SceneKind::DeadLeaves, 3));
    for (number, f_number, iso) in [(0, 5.6, 200), (1, 5.6, 200), (2, 11.0, 800), (3, 11.0, 800)] {
        let take = Take { f_number, iso, exposure_s: 0.005, number, pose: None };
        let light = series.light(&series.camera(f_number), &take);
        let sensor = &SimulatedSensor::ORDINARY;
        let (bytes, ending) = match raw {
            true => (series.raw(&light, &take, sensor), "dng"),
            false => (series.rendered(&light, &take, sensor, 0.5), "jpg"),
        };
        std::fs::write(folder.join(format!("s{number}.{ending}")), bytes.unwrap()).unwrap();
    }
}

#[test]
fn every_frame_of_a_series_is_opened_once() {
    for raw in [false, cfg!(feature = "raw")] {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), raw);
        let job = CompareJob {
            paths: vec![folder.path().to_owned()],
            pictures: true,
            ..CompareJob::default()
        };
        let (record, _) = compare(&job, &NoProgress).unwrap();
        assert_eq!(record.steps.len(), 2);
        let opened = opened_below(folder.path());
        assert_eq!(opened.len(), 4);
        assert!(opened.iter().all(|(_, times)| *times == 1), "{opened:?}");
    }
}
