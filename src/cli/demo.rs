//! `stopwise demo`: an invented outing with known truth, culled and compared.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use stopwise::clips::ClipJob;
use stopwise::clips::record::ClipRecord;
use stopwise::cull::outing::OutingJob;
use stopwise::cull::record::{CullRecord, FrameRecord};
use stopwise::image::clip::Tools;
use stopwise::simulator::burst::{TrueCall, Truth};
use stopwise::simulator::clip::{ClipSpec, Coding, SimClip, noise_at_iso_dn};
use stopwise::simulator::optics::SimulatedLens;
use stopwise::simulator::outing;
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::score::ConfusionMatrix;
use stopwise::store::overrides::UserOverrides;

use super::args::DemoArgs;
use super::outputs::{Outcome, Outputs};
use super::{clip, cull, screen};

/// Report of the demo, inside its folder.
const REPORT: &str = "report.html";

/// Makes the outing, culls it and tells how the verdicts compare with the truth.
pub fn run(typed: &DemoArgs) -> anyhow::Result<Outcome> {
    std::fs::create_dir_all(&typed.dir)
        .with_context(|| format!("cannot write {}", typed.dir.display()))?;
    screen::print_note(&format!("Rendering a synthetic outing into {} ...", typed.dir.display()));
    let truth = outing::write(&typed.dir, typed.seed)
        .with_context(|| format!("cannot write {}", typed.dir.display()))?;
    let report = typed.dir.join(REPORT);
    let job = OutingJob {
        paths: vec![typed.dir.join(outing::DAY)],
        subject: None,
        marks: marks(&truth),
        subject_size: None,
        typed: UserOverrides::default(),
        pictures: true,
    };
    let mut outputs = Outputs::default();
    let (record, stopped) = cull::work(&job, None, Some(&report), false, &mut outputs)?;
    if stopped {
        return Ok(Outcome::Stopped);
    }
    outputs.tried(screen::print(&compared(&record, &truth)));
    if film(&typed.dir, typed.seed, &mut outputs)? {
        return Ok(Outcome::Stopped);
    }
    Ok(outputs.outcome(Outcome::of_files(false, true, record.skipped.is_empty())))
}

/// Page of the demo's clip, inside its folder.
const CLIP_PAGE: &str = "clip.html";

/// The invented clip: a plane that drifts through the eye, a hand that sways.
fn clip_spec(seed: u64) -> ClipSpec {
    ClipSpec {
        seed,
        kind: SceneKind::Insect,
        width_px: 768,
        height_px: 432,
        fps: 25.0,
        frames: 75,
        lens: SimulatedLens { n_eff: 22.0, magnification: 1.0, pitch_um: 9.0 },
        shutter_s: 0.004,
        shake_px: 5.0,
        shake_hz: 3.0,
        drift_px_s: (6.0, -3.0),
        defocus_px_s: 2.0,
        in_focus_at_s: 1.6,
        noise_dn: noise_at_iso_dn(1600.0),
        colour: true,
    }
}

/// Makes a clip, works through it and compares with its truth; without ffmpeg it says so. Returns
/// whether the user stopped it.
fn film(dir: &Path, seed: u64, outputs: &mut Outputs) -> anyhow::Result<bool> {
    let tools = Tools::of_environment();
    if let Err(error) = tools.check() {
        screen::print_note(&format!("No clip in this demo: {error}."));
        return Ok(false);
    }
    screen::print_note("Rendering a synthetic clip ...");
    let spec = clip_spec(seed);
    let sim = SimClip::new(spec);
    let path = dir.join("vm-clip.mp4");
    if let Err(error) = sim.write(&tools.ffmpeg, &path, Coding { h265: false, kbit_s: 6000 }) {
        // An ffmpeg without this encoder still decodes.
        screen::print_note(&format!("No clip in this demo: {error}"));
        return Ok(false);
    }
    let truths = sim.truths();
    let Some(first) = truths.first() else { return Ok(false) };
    let place =
        (first.subject_x_px / spec.width_px as f64, first.subject_y_px / spec.height_px as f64);
    let job = ClipJob {
        subject: Some(place),
        f_number: Some(spec.lens.n_eff / (1.0 + spec.lens.magnification)),
        magnification: Some(spec.lens.magnification),
        pixel_pitch_um: Some(spec.lens.pitch_um),
        shutter_s: Some(spec.shutter_s),
        deliver_px: Some((640, 360)),
        stretch_s: Some(0.5),
        pictures: true,
        ..ClipJob::new(vec![path], tools)
    };
    let page = dir.join(CLIP_PAGE);
    let out = clip::Out { quiet: false, report: Some(&page), stills: None, chapters: None };
    let (record, stopped) = clip::work(&job, &out, outputs)?;
    if let Some(c) = record.clips.first().filter(|_| !stopped) {
        outputs.tried(screen::print(&clip_compared(c, &spec, truths)));
    }
    Ok(stopped)
}

/// What was found in the clip against its truth.
fn clip_compared(clip: &ClipRecord, spec: &ClipSpec, truths: &[Truth]) -> String {
    let hits = truths.iter().filter(|t| t.call == TrueCall::Hit).count() as f64 / spec.fps;
    let pairs = clip.frames_table.iter().zip(truths).map(|(f, t)| (t.call, f.verdict));
    let right = ConfusionMatrix::from_iter(pairs).right();
    let shake = clip.shake.and_then(|s| Some((s.amplitude_px?.value, s.frequency_hz?.value)));
    let found = shake
        .map_or("no steady rhythm".to_owned(), |(px, hz)| format!("±{px:.1} px at {hz:.1} Hz"));
    format!(
        "\nThe clip compared with the ground truth of the simulator\n  in focus {:.1} s, found {:.1} s; \
         {right} of {} verdicts match\n  shake ±{:.1} px at {:.1} Hz, found {found}\n",
        hits,
        clip.in_focus_s(),
        truths.len(),
        spec.shake_px,
        spec.shake_hz
    )
}

/// The invented photographer's marks: the eye in the first frame of each burst.
fn marks(truth: &outing::OutingTruth) -> BTreeMap<String, (f64, f64)> {
    let mut marks = BTreeMap::new();
    let mut last = 0;
    for frame in truth.frames.iter().filter(|f| f.burst > std::mem::replace(&mut last, f.burst)) {
        let size = (outing::WIDTH_PX as f64, outing::HEIGHT_PX as f64);
        let place = (frame.truth.subject_x_px / size.0, frame.truth.subject_y_px / size.1);
        marks.insert(name(&frame.file), place);
    }
    marks
}

fn name(path: &str) -> String {
    path.rsplit('/').next().unwrap_or(path).to_owned()
}

/// A table of verdicts against truth.
fn compared(record: &CullRecord, truth: &outing::OutingTruth) -> String {
    let known: BTreeMap<String, TrueCall> =
        truth.frames.iter().map(|f| (name(&f.file), f.truth.call)).collect();
    let pair = |frame: &FrameRecord| Some((*known.get(&name(&frame.path))?, frame.verdict));
    let matrix: ConfusionMatrix = record.frames.iter().filter_map(pair).collect();
    let mut text = String::from("\nVerdicts compared with the ground truth of the simulator\n");
    text.push_str("  truth       hit  near  miss  unclear\n");
    for (word, row) in ["hit", "near", "miss"].iter().zip(&matrix.frames) {
        let [a, b, c, d] = row;
        text.push_str(&format!("  {word:<9}{a:>6}{b:>6}{c:>6}{d:>12}\n"));
    }
    let (right, total, swapped) = (matrix.right(), matrix.total(), matrix.swapped());
    text.push_str(&format!(
        "  {right} of {total} match; {swapped} confuse hit and miss. The eye is marked in the first \
         frame of each burst.\n"
    ));
    text
}
