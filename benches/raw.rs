//! Raw frames: what the decoder takes by itself, and what measuring takes besides. Processor time
//! of one thread, the mean of some rounds.
//!
//! `cargo bench --bench raw [-- FILE...]`; without files a simulated 24 Mpx DNG, not compressed.
//! `cargo bench --bench raw -- child [FILE...]` compares whole frames decoded here and in a child.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout)]

#[cfg(target_os = "linux")]
#[path = "raw_child.rs"]
mod child;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use rawler::decoders::RawDecodeParams;
use rawler::rawsource::RawSource;
use stopwise::core::Luma;
use stopwise::cull::measured_frame::{KeptPixels, Scout, Workspace, take};
use stopwise::image::raw::decode_raw;
use stopwise::noise::raw::raw_noise;
use stopwise::simulator::dng::{dng, read_out};
use stopwise::simulator::file::Tags;
use stopwise::simulator::sensor::{SimulatedRendering, SimulatedSensor};
use stopwise::simulator::{BurstSpec, LinearFrame, SceneKind, SimulatedBurst};

/// Rounds of each, at least, and the time they take together.
const MIN_ROUNDS: u32 = 3;
/// See [`MIN_ROUNDS`].
const MIN_TIME: Duration = Duration::from_millis(700);

fn main() {
    let mut words: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    #[cfg(target_os = "linux")]
    if child::part(&words) {
        return;
    }
    let in_child = words.first().is_some_and(|w| w == "child");
    words.drain(..usize::from(in_child));
    let mut files: Vec<PathBuf> = words.into_iter().map(PathBuf::from).collect();
    let folder = tempfile::tempdir().unwrap();
    if files.is_empty() {
        let path = folder.path().join("simulated.dng");
        std::fs::write(&path, simulated()).unwrap();
        files.push(path);
    }
    if in_child {
        #[cfg(target_os = "linux")]
        files.iter().for_each(|f| child::compare(f));
        return;
    }
    // All work in this thread, so that its time is all of it.
    rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global().unwrap();
    files.iter().for_each(|f| measured(f));
}

/// A scene of 1500 x 1000 px laid out four times four, read out by the demo's sensor.
fn simulated() -> Vec<u8> {
    const SIDE: usize = 4;
    let spec = BurstSpec {
        width_px: 1500,
        height_px: 1000,
        frames: 1,
        colour: true,
        shaken_share: 0.0,
        ..BurstSpec::usual(SceneKind::Insect, 11, 0.0)
    };
    let one = SimulatedBurst::new(spec).light(0).unwrap();
    let mut data = Vec::with_capacity(one.data.len() * SIDE * SIDE);
    for _ in 0..SIDE {
        for row in one.data.chunks_exact(3 * one.width_px) {
            (0..SIDE).for_each(|_| data.extend_from_slice(row));
        }
    }
    let (width_px, height_px) = (SIDE * one.width_px, SIDE * one.height_px);
    let light = LinearFrame { width_px, height_px, channels: 3, data };
    let rendering = SimulatedRendering {
        iso: 400.0,
        exposure: 0.66,
        noise_reduction: 0.0,
        sharpen_px: 0.9,
        sharpen: 0.0,
        contrast: 0.0,
    };
    dng(&read_out(&light, &SimulatedSensor::ORDINARY, &rendering, 5), &Tags::invented()).unwrap()
}

fn measured(path: &Path) {
    let bytes = std::fs::read(path).unwrap();
    let raw = decode_raw(bytes.clone()).unwrap();
    let mpx = (raw.width_px * raw.height_px) as f64 / 1e6;
    println!("{} ({mpx:.1} Mpx, {:.1} MB)", path.display(), bytes.len() as f64 / 1e6);
    let told = |what: &str, time: Duration| {
        let ms = 1000.0 * time.as_secs_f64();
        println!("  {what:<58}{ms:8.1} ms {:8.2} ms/Mpx", ms / mpx);
    };
    let shared = Arc::new(bytes.clone());
    told(
        "the decoder alone (rawler), from memory",
        mean(|| {
            let source = RawSource::new_from_shared_vec(Arc::clone(&shared));
            let decoder = rawler::get_decoder(&source).unwrap();
            decoder.raw_image(&source, &RawDecodeParams::default(), false).unwrap();
        }),
    );
    told(
        "to the mosaic, cut and checked",
        mean(|| {
            decode_raw(bytes.clone()).unwrap();
        }),
    );
    told(
        "luma of the mosaic",
        mean(|| {
            raw.luma16();
        }),
    );
    let data = raw.luma16();
    let luma = Luma::U16 { data: &data, width_px: raw.width_px, height_px: raw.height_px };
    told(
        "focus measures on it",
        mean(|| {
            stopwise::tracking::frame_features::FrameFeatures::measure(&luma).unwrap();
        }),
    );
    told(
        "noise of the four planes (`noise`)",
        mean(|| {
            raw_noise(&raw.planes()).unwrap();
        }),
    );
    let found = stopwise::image::find(&[path.to_path_buf()]).unwrap();
    let frame = stopwise::image::read_header(&found.items[0]).unwrap();
    let keep = KeptPixels { thumb_px: 480, colour: true, mark: None };
    told(
        "the whole frame in `cull` with its pictures, from the file",
        mean(|| {
            take(&frame, keep, &Scout::default(), true, &mut Workspace::default()).unwrap();
        }),
    );
}

/// The mean processor time of this thread over enough rounds: the system tells it in steps of some
/// ms. Wall time where it tells none.
fn mean(mut work: impl FnMut()) -> Duration {
    let (busy, start) = (busy_ns(), Instant::now());
    let mut rounds = 0;
    loop {
        work();
        rounds += 1;
        let so_far = match (busy, busy_ns()) {
            (Some(from), Some(to)) => Duration::from_nanos(to - from),
            _ => start.elapsed(),
        };
        if rounds >= MIN_ROUNDS && so_far >= MIN_TIME {
            return so_far / rounds;
        }
    }
}

/// Processor time of this thread so far, ns (Linux).
fn busy_ns() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse().ok()
}
