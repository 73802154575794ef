//! Pieces of one surface: blur of a lens or of a movement, three renderings, three JPEG
//! qualities.

use std::time::Instant;

use rayon::prelude::*;
use serde_json::json;
use stopwise::core::random::SplitMix64;
use stopwise::simulator::burst::{BurstSpec, SimulatedBurst, SimulatedShot};
use stopwise::simulator::camera::{HandMotion, LinearFrame, Pose};
use stopwise::simulator::encode::{RenderedPicture, encoded};
use stopwise::simulator::field::iso_for;
use stopwise::simulator::optics::SimulatedLens;
use stopwise::simulator::scene::{Scene, SceneKind, SceneSpec};
use stopwise::simulator::sensor::{SimulatedRendering, SimulatedSensor, developed};
use stopwise::simulator::surface::{Surface, SurfaceLook};
use stopwise::store::overrides::UserOverrides;

use super::reading::judged;
use super::score::Tally;
use super::truth::{Settings, TrueBurst, name, write};
use super::{Asked, Place, median_bar};

const SIZE_PX: (usize, usize) = (640, 480);
/// Focus of the five frames, disc sigma in px; each is scaled by up to 15 % by chance.
pub const DEFOCUS_PX: [f64; 5] = [0.0, 0.7, 1.4, 2.6, 4.5];
/// Movement of the five frames, px.
pub const MOVED_PX: [f64; 5] = [0.0, 3.0, 5.5, 9.0, 15.0];
pub const NOISE_DN: f64 = 2.0;
const QUALITY: [u8; 3] = [80, 90, 97];

/// Surfaces with their spacing.
const PIECES: [(Surface, f32); 11] = [
    (Surface::Facets, 3.0),
    (Surface::Facets, 5.0),
    (Surface::Facets, 9.5),
    (Surface::Facets, 14.0),
    (Surface::Facets, 25.0),
    (Surface::Hairs, 0.0),
    (Surface::Glints, 9.5),
    (Surface::Punctures, 10.0),
    (Surface::Smooth, 0.0),
    (Surface::Leaves, 0.0),
    (Surface::Edges, 0.0),
];

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rendered {
    Off,
    Demo,
    Strong,
}

impl Rendered {
    pub const ALL: [Rendered; 3] = [Rendered::Off, Rendered::Demo, Rendered::Strong];

    pub fn picture(self, light: &LinearFrame, seed: u64) -> RenderedPicture {
        let rendering = SimulatedRendering {
            iso: iso_for(NOISE_DN),
            exposure: 0.66,
            noise_reduction: 0.0,
            sharpen_px: 0.9,
            sharpen: 0.35,
            contrast: 0.55,
        };
        match self {
            Rendered::Off => encoded(light, 1.0, NOISE_DN, seed),
            Rendered::Demo => developed(light, &SimulatedSensor::ORDINARY, &rendering, seed),
            Rendered::Strong => {
                let strong = SimulatedRendering { sharpen_px: 1.0, sharpen: 1.0, ..rendering };
                developed(light, &SimulatedSensor::ORDINARY, &strong, seed)
            }
        }
    }
}

/// One cell of one seed.
struct Cell {
    piece: usize,
    moved: bool,
    rendered: usize,
    quality: usize,
    score: Tally,
}

/// A burst of a piece. The nine renderings of it share its light; everything else has a stream of
/// its own.
fn cells_of(seed: u64, piece: usize, moved: bool, lines: &mut super::Lines) -> Vec<Cell> {
    let (surface, period_px) = PIECES[piece];
    let words = [piece as u64, u64::from(moved)];
    let mut rng = SplitMix64::stream(seed ^ 0xce11, &words);
    let marked = rng.between(7.0, 12.0);
    // Life size, which is what the program assumes.
    let lens =
        SimulatedLens { n_eff: 2.0 * marked, magnification: 1.0, pitch_um: rng.between(4.5, 6.5) };
    let spec = BurstSpec {
        width_px: SIZE_PX.0,
        height_px: SIZE_PX.1,
        lens,
        look: SurfaceLook { surface, period_px: Some(period_px.max(1.0)), placing: None },
        ..BurstSpec::usual(SceneKind::Piece, rng.next_u64(), NOISE_DN)
    };
    let scene = Scene::make(&SceneSpec {
        kind: spec.kind,
        seed: spec.seed,
        width_px: SIZE_PX.0,
        height_px: SIZE_PX.1,
        relief_px: 0.0,
        colour: false,
        look: spec.look,
    });
    let on_subject =
        |px: f64| (lens.dz_um_for_disc_sigma(px.abs()) / lens.object_um_per_px()) as f32;
    let mut order = [0, 1, 2, 3, 4];
    for i in (1..5).rev() {
        order.swap(i, rng.below(i + 1));
    }
    let shots = order
        .iter()
        .map(|k| {
            let gain = rng.between(0.85, 1.15);
            let side = if rng.uniform() < 0.5 { 1.0 } else { -1.0 };
            let off_px = if moved { 0.0 } else { side * on_subject(gain * DEFOCUS_PX[*k]) };
            let length_px = gain * MOVED_PX[*k];
            let angle_deg = rng.between(0.0, 180.0);
            let motion = (moved && *k > 0).then_some(HandMotion {
                length_px,
                angle_deg,
                whole_frame: true,
                share: 1.0,
            });
            SimulatedShot {
                pose: Pose {
                    centre_px: (rng.between(-8.0, 8.0) as f32, rng.between(-8.0, 8.0) as f32),
                    rotation_deg: rng.between(-1.0, 1.0) as f32,
                    scale: 1.0 + off_px * lens.object_um_per_px() as f32 / 1e5,
                },
                focus_z_px: off_px,
                motion,
                exposure_stops: 0.0,
                noise_seed: rng.next_u64(),
            }
        })
        .collect();
    let burst = SimulatedBurst::of_shots(spec, scene, shots);
    let radius_px = f64::from(burst.subject_radius_px());
    let truth = TrueBurst::new(burst.truths(), &lens, SIZE_PX, radius_px);
    let lights: Vec<LinearFrame> =
        (0..burst.len()).into_par_iter().filter_map(|i| burst.light(i)).collect();
    let names: Vec<String> = (0..lights.len()).map(name).collect();
    let made: Vec<(Cell, serde_json::Value)> = (0..9)
        .into_par_iter()
        .map(|k| {
            let (r, q) = (k / 3, k % 3);
            let pictures: Vec<RenderedPicture> = lights
                .iter()
                .zip(burst.shots())
                .map(|(l, s)| {
                    let seed = SplitMix64::stream(s.noise_seed, &[k as u64]).next_u64();
                    Rendered::ALL[r].picture(l, seed)
                })
                .collect();
            let place = Place::new(None, "");
            let settings = Settings {
                marked_f_number: marked,
                pitch_um: lens.pitch_um,
                iso: iso_for(NOISE_DN),
                // A movement smears all of the light.
                flash: false,
                quality: QUALITY[q],
            };
            write(place.path(), &pictures, &settings);
            let mark = Some(truth.frames[0].at);
            let told = judged(place.path(), &names, mark, UserOverrides::default());
            let line = json!({
                "seed": seed,
                "surface": surface.word(),
                "period_px": period_px,
                "moved": moved,
                "rendered": format!("{:?}", Rendered::ALL[r]),
                "jpeg_quality": QUALITY[q],
                "lens": lens,
                "truth": truth,
                "marked": { "frames": told.rows, "bursts": told.bursts },
            });
            let score = Tally::of(&truth, &told);
            (Cell { piece, moved, rendered: r, quality: q, score }, line)
        })
        .collect();
    made.into_iter()
        .map(|(cell, line)| {
            lines.put(&line);
            cell
        })
        .collect()
}

fn piece_word(piece: usize) -> String {
    match PIECES[piece] {
        (s, p) if p > 0.0 => format!("{} {p}", s.word()),
        (s, _) => s.word().to_owned(),
    }
}

/// Least share of truths in the range of 95 %, per cent.
const COVERED: f64 = 92.0;
/// Least share of right verdicts, per cent.
const RIGHT: f64 = 88.0;

/// Why a cell leaves the bars; empty when it holds them.
fn failures(piece: usize, t: &Tally) -> Vec<String> {
    let mut why = Vec::new();
    let (low, high) = median_bar(PIECES[piece].0);
    if let Some([_, median, _]) = t.quantiles()
        && !(low..=high).contains(&median)
    {
        why.push(format!("said/true {median:.2}"));
    }
    if let Some(p) = t.in95.percent().filter(|p| *p < COVERED) {
        why.push(format!("95 % range holds {p:.0} %"));
    }
    if let Some(p) = t.right.percent().filter(|p| *p < RIGHT) {
        why.push(format!("verdict right {p:.0} %"));
    }
    if t.grave.yes > 0.0 {
        why.push(format!("hit said beyond twice the lens's blur: {:.0}", t.grave.yes));
    }
    why
}

pub fn table(first: u64, count: u64, asked: &Asked) {
    let started = Instant::now();
    let mut lines = asked.lines();
    let mut all = Vec::new();
    for seed in first..first + count {
        for piece in 0..PIECES.len() {
            for moved in [false, true] {
                all.extend(cells_of(seed, piece, moved, &mut lines));
            }
        }
    }
    println!(
        "{} cells of {count} bursts of 5 frames from seed {first}, {:.0} s",
        PIECES.len() * 18,
        started.elapsed().as_secs_f64()
    );
    let sum = |keep: &dyn Fn(&Cell) -> bool| {
        let mut t = Tally::default();
        all.iter().filter(|c| keep(c)).for_each(|c| t.join(&c.score));
        t
    };
    for (moved, word) in [(false, "defocus"), (true, "movement")] {
        println!();
        Tally::print_head(word);
        for piece in 0..PIECES.len() {
            sum(&|c| c.piece == piece && c.moved == moved).print(&piece_word(piece));
        }
        for (r, how) in Rendered::ALL.iter().enumerate() {
            sum(&|c| c.rendered == r && c.moved == moved).print(&format!("rendering {how:?}"));
        }
        for (q, quality) in QUALITY.iter().enumerate() {
            sum(&|c| c.quality == q && c.moved == moved).print(&format!("JPEG {quality}"));
        }
        sum(&|c| c.moved == moved).print("ALL");
    }
    println!();
    let mut failed = 0;
    let mut worst: Option<(f64, String)> = None;
    for piece in 0..PIECES.len() {
        for moved in [false, true] {
            for (r, how) in Rendered::ALL.iter().enumerate() {
                for (q, quality) in QUALITY.iter().enumerate() {
                    let t =
                        sum(&|c| (c.piece, c.moved, c.rendered, c.quality) == (piece, moved, r, q));
                    let blur = if moved { "movement" } else { "defocus" };
                    let cell = format!("{} {blur} {how:?} JPEG {quality}", piece_word(piece));
                    let off = t.quantiles().map_or(0.0, |m| m[1].ln().abs());
                    if worst.as_ref().is_none_or(|w| off > w.0) {
                        worst = Some((off, cell.clone()));
                    }
                    let why = failures(piece, &t);
                    if !why.is_empty() {
                        failed += 1;
                        println!("FAIL {cell}: {}", why.join("; "));
                    }
                }
            }
        }
    }
    println!("{failed} of {} cells leave their bars", PIECES.len() * 18);
    if let Some((off, cell)) = worst {
        println!("worst cell: {cell}, blur off by a factor of {:.2} in the median", off.exp());
    }
}
