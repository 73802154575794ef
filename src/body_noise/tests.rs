//! How often the frames of a body are opened.

use super::*;
use crate::core::progress::NoProgress;
use crate::image::opened_below;
use crate::simulator::dng::{dng, read_out};
use crate::simulator::file::Tags;
use crate::simulator::sensor::{SimulatedRendering, SimulatedSensor};
use crate::simulator::{BurstSpec, SceneKind, SimulatedBurst};

#[test]
fn every_raw_frame_of_a_pair_is_opened_once() {
    let folder = tempfile::tempdir().unwrap();
    let spec =
        BurstSpec { frames: 1, colour: true, ..BurstSpec::usual(SceneKind::Insect, 21, 0.0) };
    let light = SimulatedBurst::new(spec).light(0).unwrap();
    let rendering = SimulatedRendering {
        iso: 400.0,
        exposure: 0.66,
        noise_reduction: 0.0,
        sharpen_px: 0.9,
        sharpen: 0.0,
        contrast: 0.0,
    };
    for seed in 0..2 {
        let raw = read_out(&light, &SimulatedSensor::ORDINARY, &rendering, seed);
        let bytes = dng(&raw, &Tags::invented()).unwrap();
        std::fs::write(folder.path().join(format!("p{seed}.dng")), bytes).unwrap();
    }
    let (record, _) = body_noise(&[folder.path().to_owned()], &NoProgress).unwrap();
    assert_eq!(record.bodies.len(), 1);
    let opened = opened_below(folder.path());
    assert_eq!(opened, [("p0.dng".to_owned(), 1), ("p1.dng".to_owned(), 1)]);
}
