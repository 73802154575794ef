//! How right the verdicts are, on simulated bursts with known truth.
//!
//! `cargo bench --bench accuracy -- bursts 30 20000` runs 30 seeds a scene and noise level from
//! seed 20000 on. Seeds below 10 000 are for tuning; figures that are quoted come from others.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

mod field;
mod long_log;
mod rulers;
#[cfg(feature = "raw")]
#[path = "series.rs"]
mod series;
mod shooters;

use rayon::prelude::*;
use std::path::Path;
use stopwise::core::Luma;
use stopwise::core::random::SplitMix64;
use stopwise::core::units::{GREEN, PitchUm};
use stopwise::core::verdict::Verdict;
use stopwise::cull::burst_verdict::BurstVerdict;
use stopwise::cull::judge::judge;
use stopwise::sharpness::subject_blur::Attainable;
use stopwise::simulator::burst::{BurstSpec, SimulatedBurst, TrueCall, Truth};
use stopwise::simulator::optics::SimulatedLens;
use stopwise::simulator::scene::SceneKind;
use stopwise::tracking::frame_features::FrameFeatures;
use stopwise::tracking::subject_hints::SubjectMark;

use field::kendall::kendall_tau;

struct Frame {
    luma: Vec<u8>,
    w: usize,
    h: usize,
}

impl Frame {
    fn view(&self) -> Luma<'_> {
        Luma::U8 { data: &self.luma, channels: 1, width_px: self.w, height_px: self.h }
    }
}

#[derive(Default, Clone, Copy)]
struct Score {
    bursts: f64,
    tau: f64,
    tau_plain: f64,
    picked: f64,
    picked_plain: f64,
    frames: f64,
    right: f64,
    swaps: f64,
    cannot: f64,
    lost: f64,
    off_24: f64,
}

impl Score {
    fn add(&mut self, o: &Score) {
        self.bursts += o.bursts;
        self.tau += o.tau;
        self.tau_plain += o.tau_plain;
        self.picked += o.picked;
        self.picked_plain += o.picked_plain;
        self.frames += o.frames;
        self.right += o.right;
        self.swaps += o.swaps;
        self.cannot += o.cannot;
        self.lost += o.lost;
        self.off_24 += o.off_24;
    }

    fn print(&self, name: &str) {
        println!(
            "{name:<34} tau {:.3} (plain {:.3})  best {:5.1} % (plain {:5.1})  verdict {:.3}  swaps {:.2} %  unclear {:.1} %  lost {:.1} %  off>24px {:.1} %",
            self.tau / self.bursts,
            self.tau_plain / self.bursts,
            100.0 * self.picked / self.bursts,
            100.0 * self.picked_plain / self.bursts,
            self.right / self.frames,
            100.0 * self.swaps / self.frames,
            100.0 * self.cannot / self.frames,
            100.0 * self.lost / self.frames,
            100.0 * self.off_24 / self.frames,
        );
    }
}

fn plain(f: &Frame) -> f64 {
    let (w, d) = (f.w, &f.luma);
    let (mut s, mut q, mut n) = (0f64, 0f64, 0f64);
    for y in 1..f.h - 1 {
        for x in 1..w - 1 {
            let at = y * w + x;
            let l = f64::from(
                i32::from(d[at - 1])
                    + i32::from(d[at + 1])
                    + i32::from(d[at - w])
                    + i32::from(d[at + w])
                    - 4 * i32::from(d[at]),
            );
            s += l;
            q += l * l;
            n += 1.0;
        }
    }
    q / n - (s / n).powi(2)
}

/// One simulated burst without noise: frames, truth and the lens's own blur. Kept on disk when a
/// folder is named, since making it takes longer than judging it.
struct Clean {
    kind: SceneKind,
    seed: u64,
    frames: Vec<Frame>,
    truths: Vec<True>,
    attainable: Attainable,
}

#[derive(Clone, Copy)]
struct True {
    x: f64,
    y: f64,
    sigma: f64,
    total: f64,
    length: f64,
    call: TrueCall,
}

impl Clean {
    /// Every scene and noise level of a seed is a burst of its own.
    fn new(kind: SceneKind, seed: u64, noise_dn: f64, keep: Option<&Path>) -> Clean {
        let seed = SplitMix64::stream(seed, &[kind as u64, noise_dn.to_bits()]).next_u64() >> 16;
        let spec = BurstSpec::usual(kind, seed, 0.0);
        let attainable = attainable(&spec.lens);
        let (w, h) = (spec.width_px, spec.height_px);
        let file = keep.map(|d| d.join(format!("{kind:?}-{seed}.bin")));
        let row = 6 * 8;
        if let Some(bytes) = file.as_ref().and_then(|f| std::fs::read(f).ok()) {
            let mut frames = Vec::new();
            let mut truths = Vec::new();
            for part in bytes.chunks_exact(row + w * h) {
                let v: Vec<f64> = part[..row]
                    .chunks_exact(8)
                    .map(|c| f64::from_le_bytes(c.try_into().unwrap()))
                    .collect();
                let call = [TrueCall::Hit, TrueCall::Near, TrueCall::Miss][v[5] as usize];
                truths.push(True {
                    x: v[0],
                    y: v[1],
                    sigma: v[2],
                    total: v[3],
                    length: v[4],
                    call,
                });
                frames.push(Frame { luma: part[row..].to_vec(), w, h });
            }
            return Clean { kind, seed, frames, truths, attainable };
        }
        let b = SimulatedBurst::new(spec);
        let truths: Vec<True> = b
            .truths()
            .iter()
            .map(|t| True {
                x: t.subject_x_px,
                y: t.subject_y_px,
                sigma: t.sigma_px,
                total: t.sigma_total_px,
                length: t.motion.map_or(0.0, |m| m.length_px),
                call: t.call,
            })
            .collect();
        let frames: Vec<Frame> = b.iter().map(|f| Frame { luma: f.picture.luma(), w, h }).collect();
        if let Some(file) = file {
            let mut bytes = Vec::new();
            for (t, f) in truths.iter().zip(&frames) {
                let call = match t.call {
                    TrueCall::Hit => 0.0,
                    TrueCall::Near => 1.0,
                    TrueCall::Miss => 2.0,
                };
                for v in [t.x, t.y, t.sigma, t.total, t.length, call] {
                    bytes.extend_from_slice(&f64::to_le_bytes(v));
                }
                bytes.extend_from_slice(&f.luma);
            }
            std::fs::write(file, bytes).unwrap();
        }
        Clean { kind, seed, frames, truths, attainable }
    }

    fn noisy(&self, noise_dn: f64) -> Vec<Frame> {
        self.frames
            .iter()
            .enumerate()
            .map(|(i, f)| {
                let mut rng = SplitMix64::new(self.seed * 1000 + i as u64 + noise_dn.to_bits());
                let luma = f
                    .luma
                    .iter()
                    .map(|v| {
                        (f64::from(*v) + noise_dn * rng.normal()).round().clamp(0.0, 255.0) as u8
                    })
                    .collect();
                Frame { luma, w: f.w, h: f.h }
            })
            .collect()
    }
}

/// Scores of one burst: marked, then automatic.
fn burst(clean: &Clean, noise_dn: f64, verbose: bool) -> [Score; 2] {
    let truths = &clean.truths;
    let frames = clean.noisy(noise_dn);
    let shots: Vec<FrameFeatures> =
        frames.iter().map(|f| FrameFeatures::measure(&f.view()).unwrap()).collect();
    let pixels: Vec<Luma<'_>> = frames.iter().map(Frame::view).collect();
    let allowed = vec![Some(clean.attainable); frames.len()];
    let plains: Vec<f64> = frames.iter().map(plain).collect();
    let mark = SubjectMark { frame: 0, x_px: truths[0].x, y_px: truths[0].y, box_px: None };
    [Some(mark), None].map(|mark| {
        let j = judge(&shots, mark, &allowed, &pixels);
        score(clean, noise_dn, &j, &plains, verbose)
    })
}

/// What a simulated lens can give at best.
fn attainable(lens: &SimulatedLens) -> Attainable {
    Attainable::new(lens.n_eff, PitchUm(lens.pitch_um), GREEN)
}

fn score(clean: &Clean, noise_dn: f64, j: &BurstVerdict, plains: &[f64], verbose: bool) -> Score {
    let truths = &clean.truths;
    let mut s = Score { bursts: 1.0, ..Score::default() };
    let truth: Vec<f64> = truths.iter().map(|t| -t.total).collect();
    let energy: Vec<f64> =
        j.frames.iter().map(|f| f.subject.as_ref().map_or(-1e9, |b| b.energy)).collect();
    s.tau = kendall_tau(&truth, &energy).unwrap_or(0.0);
    s.tau_plain = kendall_tau(&truth, plains).unwrap_or(0.0);
    let best_truth = truths.iter().map(|t| t.total).fold(f64::MAX, f64::min);
    let ok = |i: usize| truths[i].total <= 1.1 * best_truth;
    s.picked = f64::from(u8::from(j.best.is_some_and(ok)));
    let top = (0..plains.len()).max_by(|a, b| plains[*a].total_cmp(&plains[*b])).unwrap();
    s.picked_plain = f64::from(u8::from(ok(top)));
    for (i, (f, t)) in j.frames.iter().zip(truths).enumerate() {
        s.frames += 1.0;
        let right = matches!(
            (f.verdict, t.call),
            (Verdict::Hit, TrueCall::Hit)
                | (Verdict::Near, TrueCall::Near)
                | (Verdict::Miss, TrueCall::Miss)
        );
        s.right += f64::from(u8::from(right));
        let swap = matches!(
            (f.verdict, t.call),
            (Verdict::Hit, TrueCall::Miss) | (Verdict::Miss, TrueCall::Hit)
        );
        s.swaps += f64::from(u8::from(swap));
        s.cannot += f64::from(u8::from(f.verdict == Verdict::Unclear));
        let off = f.place.map(|p| (p.x_px - t.x).hypot(p.y_px - t.y));
        s.lost += f64::from(u8::from(off.is_none()));
        s.off_24 += f64::from(u8::from(off.is_some_and(|o| o > 24.0)));
        if verbose {
            println!(
                "  {i:2} at {:.0} {:.0} true {:5.2} (still {:5.2} move {:4.1}) {:?} | {:?} judged {:5.2} edge {:?} E {:8.1} noise share {:.2} off {:4.0} sure {:.2} {:?} {:?}",
                t.x,
                t.y,
                t.total,
                t.sigma,
                t.length,
                t.call,
                f.verdict,
                f.judged_px.map_or(0.0, |m| m.value),
                f.subject.as_ref().and_then(|b| b.tile.sigma_px()),
                f.subject.as_ref().map_or(0.0, |b| b.energy),
                f.subject.as_ref().map_or(0.0, |b| b.noise_share),
                off.unwrap_or(-1.0),
                f.place.map_or(0.0, |p| p.confidence),
                f.movement.map(|m| (m.smear.length_px, m.whole_frame)),
                f.causes.iter().map(|c| c.cause).collect::<Vec<_>>(),
            );
        }
    }
    if verbose {
        println!(
            "{:?} seed {} noise {noise_dn} best {:?} reference {:?} soft {} noise ratio {} found {:?}",
            clean.kind, clean.seed, j.best, j.reference_px, j.best_is_soft, j.noise.ratio, j.found
        );
        s.print("  this burst");
    }
    s
}

const KINDS: [SceneKind; 2] = [SceneKind::Insect, SceneKind::DepthRamp];
const NOISE_DN: [f64; 3] = [2.0, 4.0, 8.0];

fn bursts(first: u64, n: u64, verbose: bool, keep: Option<&Path>) {
    let mut table = [[[Score::default(); 3]; 2]; 2];
    for (k, kind) in KINDS.into_iter().enumerate() {
        let one = |seed: u64| NOISE_DN.map(|n| burst(&Clean::new(kind, seed, n, keep), n, verbose));
        let seeds: Vec<u64> = (first..first + n).collect();
        let scores: Vec<[[Score; 2]; 3]> = if verbose {
            seeds.iter().map(|s| one(*s)).collect()
        } else {
            seeds.par_iter().map(|s| one(*s)).collect()
        };
        for s in &scores {
            for (l, pair) in s.iter().enumerate() {
                for (m, v) in pair.iter().enumerate() {
                    table[m][k][l].add(v);
                }
            }
        }
    }
    for (m, word) in ["marked", "automatic"].iter().enumerate() {
        let mut all = Score::default();
        for (l, noise) in NOISE_DN.iter().enumerate() {
            let mut level = Score::default();
            for (k, kind) in KINDS.iter().enumerate() {
                table[m][k][l].print(&format!("{word} {kind:?} noise {noise}"));
                level.add(&table[m][k][l]);
            }
            level.print(&format!("{word} all scenes noise {noise}"));
            all.add(&level);
        }
        all.print(&format!("{word} all"));
    }
}

/// Whether the cause of a lost frame is found: one frame against an in-focus frame.
mod causes {
    use super::*;
    use stopwise::core::verdict::Cause;
    use stopwise::simulator::causes::{CauseClass, frames};

    const KINDS: [SceneKind; 3] = [SceneKind::DepthRamp, SceneKind::Hairs, SceneKind::Stripes];
    const SIZE: (usize, usize) = (768, 576);

    /// The frame, its reference and the subject in both.
    struct Pair {
        lumas: [Vec<u8>; 2],
        spot: (f64, f64),
        attainable: Attainable,
    }

    fn pair(class: CauseClass, kind: SceneKind, seed: u64, keep: Option<&Path>) -> Option<Pair> {
        let lens = BurstSpec::usual(kind, seed, 0.0).lens;
        let attainable = attainable(&lens);
        let n = SIZE.0 * SIZE.1;
        let file = keep.map(|d| d.join(format!("cause-{class:?}-{kind:?}-{seed}.bin")));
        if let Some(bytes) = file.as_ref().and_then(|f| std::fs::read(f).ok()) {
            if bytes.is_empty() {
                return None;
            }
            let at = |i: usize| f64::from_le_bytes(bytes[8 * i..8 * i + 8].try_into().unwrap());
            let lumas = [bytes[16..16 + n].to_vec(), bytes[16 + n..].to_vec()];
            return Some(Pair { lumas, spot: (at(0), at(1)), attainable });
        }
        let made = frames(class, kind, 0.0, seed).map(|(frame, reference)| Pair {
            lumas: [frame.picture.luma(), reference.picture.luma()],
            spot: (reference.truth.subject_x_px, reference.truth.subject_y_px),
            attainable,
        });
        if let Some(file) = file {
            let bytes = made.as_ref().map_or(Vec::new(), |p| {
                let spot = [p.spot.0.to_le_bytes(), p.spot.1.to_le_bytes()].concat();
                [&spot[..], &p.lumas[0], &p.lumas[1]].concat()
            });
            std::fs::write(file, bytes).unwrap();
        }
        made
    }

    /// (right, accused of movement, said nothing)
    fn judged(class: CauseClass, p: &Pair, noise_dn: f64, seed: u64, say: bool) -> [f64; 3] {
        let views: Vec<Frame> = (0..2)
            .map(|i| {
                let mut rng = SplitMix64::new(seed * 4 + i as u64 + noise_dn.to_bits());
                let noisy = |v: &u8| {
                    (f64::from(*v) + noise_dn * rng.normal()).round().clamp(0.0, 255.0) as u8
                };
                let luma = p.lumas[1 - i].iter().map(noisy).collect();
                Frame { luma, w: SIZE.0, h: SIZE.1 }
            })
            .collect();
        let shots: Vec<FrameFeatures> =
            views.iter().map(|f| FrameFeatures::measure(&f.view()).unwrap()).collect();
        let pixels: Vec<Luma<'_>> = views.iter().map(Frame::view).collect();
        let mark = SubjectMark { frame: 0, x_px: p.spot.0, y_px: p.spot.1, box_px: None };
        let j = judge(&shots, Some(mark), &[Some(p.attainable); 2], &pixels);
        let f = &j.frames[1];
        let first = f.causes.first().map(|c| c.cause);
        let moved = |c: Cause| matches!(c, Cause::Shake | Cause::SubjectMotion);
        let right = match class {
            CauseClass::InFocus => f.verdict == Verdict::Hit,
            CauseClass::Misfocused => first == Some(Cause::Misfocused),
            CauseClass::Movement => f.causes.iter().any(|c| moved(c.cause)),
            CauseClass::Soft => first == Some(Cause::Soft),
        };
        let accused = f.causes.iter().any(|c| moved(c.cause));
        if say && !right {
            println!(
                "  {class:?} seed {seed} noise {noise_dn}: {:?} {:?} blur {:?} cluster {} movement {:?} reference {:?}",
                f.verdict,
                f.causes.iter().map(|c| c.cause).collect::<Vec<_>>(),
                f.judged_px.map(|m| m.value),
                f.sharp_cluster,
                f.movement.map(|m| m.smear),
                j.reference_px
            );
        }
        [right, accused, f.verdict == Verdict::Unclear].map(|b| f64::from(u8::from(b)))
    }

    pub fn table(first: u64, n: u64, say: bool, keep: Option<&Path>) {
        for class in CauseClass::ALL {
            let mut all = [0f64; 4];
            for kind in KINDS {
                let seeds: Vec<u64> = (first..first + n).collect();
                let rows: Vec<[[f64; 3]; 3]> = seeds
                    .par_iter()
                    .filter_map(|s| {
                        // Every class, scene and noise level of a seed is a scene of its own.
                        let rows: Vec<[f64; 3]> = NOISE_DN
                            .iter()
                            .filter_map(|n| {
                                let words = [class as u64, kind as u64, n.to_bits()];
                                let seed = SplitMix64::stream(*s, &words).next_u64() >> 16;
                                Some(judged(class, &pair(class, kind, seed, keep)?, *n, seed, say))
                            })
                            .collect();
                        // Not every scene has a frame of the class.
                        <[[f64; 3]; 3]>::try_from(rows).ok()
                    })
                    .collect();
                for (l, noise) in NOISE_DN.iter().enumerate() {
                    let count = rows.len() as f64;
                    let sum = |k: usize| rows.iter().map(|r| r[l][k]).sum::<f64>();
                    let [right, accused, silent] = [sum(0), sum(1), sum(2)];
                    println!(
                        "{class:?} {kind:?} noise {noise}: of {count} right {:.1} %  accused of movement {:.1} %  unclear {:.1} %",
                        100.0 * right / count,
                        100.0 * accused / count,
                        100.0 * silent / count
                    );
                    for (a, v) in all.iter_mut().zip([right, accused, silent, count]) {
                        *a += v;
                    }
                }
            }
            println!(
                "{class:?} all: of {} right {:.1} %  accused of movement {:.1} %  unclear {:.1} %",
                all[3],
                100.0 * all[0] / all[3],
                100.0 * all[1] / all[3],
                100.0 * all[2] / all[3]
            );
        }
    }
}

/// How true blur is, on patches of known Gaussian blur.
mod sigma {
    use super::*;
    use stopwise::core::stats::median;
    use stopwise::sharpness::band_noise::BandNoise;
    use stopwise::sharpness::focus_map::{FrameCells, Tile};
    use stopwise::sharpness::pyramid::Pyramid;
    use stopwise::simulator::patch::{PatchKind, noiseless_patch};

    const SIZE_PX: usize = 640;
    const SIGMA_PX: [f64; 7] = [0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];
    const NOISE_DN: [f64; 4] = [0.0, 2.0, 4.0, 8.0];

    pub fn clean(kind: PatchKind, sigma_px: f64, seed: u64, keep: Option<&Path>) -> Vec<f32> {
        let file = keep.map(|d| d.join(format!("patch-{kind:?}-{sigma_px}-{seed}.bin")));
        if let Some(bytes) = file.as_ref().and_then(|f| std::fs::read(f).ok()) {
            return bytes
                .chunks_exact(4)
                .map(|c| f32::from_le_bytes(c.try_into().unwrap()))
                .collect();
        }
        let data = noiseless_patch(kind, sigma_px, seed, SIZE_PX).data;
        if let Some(file) = file {
            let bytes: Vec<u8> = data.iter().flat_map(|v| v.to_le_bytes()).collect();
            std::fs::write(file, bytes).unwrap();
        }
        data
    }

    pub fn table(first: u64, n: u64, keep: Option<&Path>) {
        let mut within = [0f64; 3];
        for kind in [PatchKind::Edges, PatchKind::DeadLeaves] {
            for sigma_px in SIGMA_PX {
                let seeds: Vec<u64> = (first..first + n).collect();
                let cleans: Vec<Vec<f32>> =
                    seeds.par_iter().map(|s| clean(kind, sigma_px, *s, keep)).collect();
                for noise_dn in NOISE_DN {
                    let (mut ratios, mut one, mut two, mut tiles) = (Vec::new(), 0.0, 0.0, 0.0);
                    for (seed, clean) in seeds.iter().zip(&cleans) {
                        let mut rng = SplitMix64::new(seed * 16 + noise_dn.to_bits());
                        let luma: Vec<u8> = clean
                            .iter()
                            .map(|v| {
                                (f64::from(*v) + noise_dn * rng.normal()).round().clamp(0.0, 255.0)
                                    as u8
                            })
                            .collect();
                        let f = Frame { luma, w: SIZE_PX, h: SIZE_PX };
                        let cells =
                            FrameCells::measure(&f.view(), &Pyramid::new(&f.view())).unwrap();
                        let map = cells.map(&BandNoise::white(noise_dn));
                        tiles += map.tiles.len() as f64;
                        for t in &map.corrected_tiles {
                            let Tile::Blur { sigma_px: s, std_err_px } = t else { continue };
                            ratios.push(f64::from(*s) / sigma_px);
                            let z = (f64::from(*s) - sigma_px).abs() / f64::from(*std_err_px);
                            one += f64::from(u8::from(z <= 1.0));
                            two += f64::from(u8::from(z <= 2.0));
                        }
                    }
                    let k = ratios.len() as f64;
                    within = [within[0] + k, within[1] + one, within[2] + two];
                    println!(
                        "{kind:?} sigma {sigma_px} noise {noise_dn}: median estimate/true {:.3}  tiles with a value {:.0} %  within 1 s.e. {:.1} %  2 s.e. {:.1} %",
                        median(&mut ratios).unwrap_or(0.0),
                        100.0 * k / tiles,
                        100.0 * one / k,
                        100.0 * two / k
                    );
                }
            }
        }
        println!(
            "all: within 1 s.e. {:.1} %  within 2 s.e. {:.1} %",
            100.0 * within[1] / within[0],
            100.0 * within[2] / within[0]
        );
    }
}

/// What the three levels read on tiles of known blur, as a table to fit
/// `sharpness::blur_correction` to: `accuracy tiles N FIRST > FILE`, then `benches/fit_blur.py FILE`.
mod tiles {
    use super::*;
    use stopwise::sharpness::band_noise::BandNoise;
    use stopwise::sharpness::blur_correction::CellReading;
    use stopwise::sharpness::focus_map::FrameCells;
    use stopwise::sharpness::pyramid::Pyramid;
    use stopwise::simulator::patch::PatchKind;

    const SIZE_PX: usize = 640;
    const RANGE_PX: (f64, f64) = (0.45, 9.0);
    const NOISE_DN: [f64; 4] = [0.0, 2.0, 4.0, 8.0];

    pub fn table(first: u64, n: u64, keep: Option<&Path>) {
        println!(
            "kind,seed,sigma_px,noise_dn,level,sigma_ln,spread_ln,faintness,scatter,ridge_ln,…"
        );
        let jobs: Vec<(usize, u64)> = (first..first + n).flat_map(|s| [(0, s), (1, s)]).collect();
        jobs.par_iter().for_each(|(k, seed)| {
            let kind = [PatchKind::Edges, PatchKind::DeadLeaves][*k];
            let mut rng = SplitMix64::new(seed * 7 + 3);
            let sigma_px = RANGE_PX.0 * (RANGE_PX.1 / RANGE_PX.0).powf(rng.uniform());
            let clean = super::sigma::clean(kind, sigma_px, *seed, keep);
            let mut lines = String::new();
            for noise_dn in NOISE_DN {
                let mut rng = SplitMix64::new(seed * 16 + noise_dn.to_bits());
                let noisy = |v: &f32| {
                    (f64::from(*v) + noise_dn * rng.normal()).round().clamp(0.0, 255.0) as u8
                };
                let f = Frame { luma: clean.iter().map(noisy).collect(), w: SIZE_PX, h: SIZE_PX };
                let cells = FrameCells::measure(&f.view(), &Pyramid::new(&f.view())).unwrap();
                for readings in cells.readings(&BandNoise::white(noise_dn)) {
                    if readings.iter().all(Option::is_none) {
                        continue;
                    }
                    lines += &format!("{k},{seed},{sigma_px:.5},{noise_dn}");
                    for r in readings {
                        let r: Option<CellReading> = r;
                        lines += &r.map_or(",,,,,".to_string(), |r| {
                            format!(
                                ",{:.5},{:.5},{:.5},{:.5},{:.5}",
                                r.sigma_ln, r.spread_ln, r.faintness, r.scatter, r.ridge_ln
                            )
                        });
                    }
                    lines += "\n";
                }
            }
            print!("{lines}");
        });
    }
}

/// How right stretches, shake and verdicts of clips are, through a real codec.
mod clips {
    use super::*;
    use stopwise::clips::page_data::ClipPage;
    use stopwise::clips::record::{ClipFrameRow, ClipRecord, SpanVerdict};
    use stopwise::clips::{ClipJob, ClipSink};
    use stopwise::core::progress::NoProgress;
    use stopwise::image::clip::Tools;
    use stopwise::simulator::clip::{ClipSpec, Coding, SimClip, noise_at_iso_dn};
    use stopwise::simulator::optics::SimulatedLens;

    struct Kept(Option<ClipRecord>);

    impl ClipSink for Kept {
        fn clip(&mut self, page: &ClipPage) -> stopwise::Result<()> {
            self.0 = Some(page.clip.clone());
            Ok(())
        }
        fn still(
            &mut self,
            _: &ClipRecord,
            _: f64,
            _: &stopwise::image::clip::RgbPicture,
        ) -> stopwise::Result<()> {
            Ok(())
        }
    }

    /// A clip drawn from a seed. `wide` is its width: 1920 and 3840 whole, 960 a crop.
    fn spec(seed: u64, wide: usize) -> (ClipSpec, Coding, f64) {
        let mut g = SplitMix64::new(seed ^ 0x0063_6c69_7073);
        let fps = [25.0, 30.0, 50.0, 60.0, 120.0][g.below(5)];
        let seconds = if wide > 1920 { 2.0 } else { g.between(2.2, 3.2) };
        let frames = ((seconds * fps) as usize).min(if wide > 1920 { 60 } else { 120 });
        let seconds = frames as f64 / fps;
        let iso = [100.0, 400.0, 1600.0, 3200.0, 6400.0, 10_000.0][g.below(6)];
        // At least a swing and a half must fit, and two frames a swing.
        let shake_hz = g.between(f64::max(0.5, 2.0 / seconds), f64::min(15.0, 0.42 * fps));
        let passes = g.uniform() < 0.8;
        let spec = ClipSpec {
            seed,
            kind: [SceneKind::DepthRamp, SceneKind::DeadLeaves, SceneKind::Insect][g.below(3)],
            width_px: wide,
            height_px: wide * 9 / 16,
            fps,
            frames,
            lens: SimulatedLens { n_eff: g.between(12.0, 24.0), magnification: 1.0, pitch_um: 6.0 },
            shutter_s: 1.0 / g.between(400.0, 2000.0),
            shake_px: g.between(2.0, 14.0),
            shake_hz,
            drift_px_s: (g.between(-12.0, 12.0), g.between(-12.0, 12.0)),
            defocus_px_s: if passes { g.between(1.5, 6.0) } else { g.between(0.0, 0.3) },
            in_focus_at_s: seconds * g.between(0.2, 0.8),
            noise_dn: noise_at_iso_dn(iso),
            colour: false,
        };
        // Rates for 1080p; other sizes by their area, other speeds by their root.
        let area = (wide as f64 / 1920.0).powi(2) * (fps / 25.0).sqrt();
        let rate = [8000.0, 28_000.0][g.below(2)] * area;
        (spec, Coding { h265: g.uniform() < 0.5, kbit_s: rate as u32 }, iso)
    }

    #[derive(Default)]
    struct Sum {
        iou: f64,
        iou_n: f64,
        iou_low: u32,
        amplitude_ok: f64,
        frequency_ok: f64,
        shakes: f64,
        right: f64,
        frames: f64,
        insects: u32,
        insects_found: u32,
        insect_frames: f64,
        insect_frames_on: f64,
    }

    /// Frames in which the point that the program found and followed by itself lies on the
    /// subject.
    fn found_by_itself(job: &ClipJob, clip: &SimClip, (w, h): (f64, f64)) -> usize {
        let mut kept = Kept(None);
        let alone = ClipJob { subject: None, ..job.clone() };
        stopwise::clips::clips(&alone, &NoProgress, &mut kept).unwrap();
        let on = |f: &ClipFrameRow, t: &Truth| {
            let (Some(x), Some(y)) = (f.subject_x, f.subject_y) else { return false };
            let off = (x * w - t.subject_x_px).hypot(y * h - t.subject_y_px);
            off <= f64::from(clip.subject_radius_px())
        };
        let rows = kept.0.unwrap().frames_table;
        rows.iter().zip(clip.truths()).filter(|(f, t)| on(f, t)).count()
    }

    pub fn table(first: u64, n: u64, wide: Option<usize>, verbose: bool) {
        let folder = tempfile::tempdir().unwrap();
        let tools = Tools::of_environment();
        let mut sum = Sum::default();
        for seed in first..first + n {
            // One in ten is UHD, three in ten 1080p, the rest crops of 960 px.
            let width = wide.unwrap_or(match seed % 10 {
                0 => 3840,
                1..=3 => 1920,
                _ => 960,
            });
            let (spec, coding, iso) = spec(seed, width);
            let clip = SimClip::new(spec);
            let path = folder.path().join(format!("{seed}.mp4"));
            clip.write(&tools.ffmpeg, &path, coding).unwrap();
            let t = clip.truths();
            let size = (spec.width_px as f64, spec.height_px as f64);
            let job = ClipJob {
                subject: Some((t[0].subject_x_px / size.0, t[0].subject_y_px / size.1)),
                shutter_s: Some(spec.shutter_s),
                ..ClipJob::new(vec![path.clone()], tools.clone())
            };
            let mut kept = Kept(None);
            stopwise::clips::clips(&job, &NoProgress, &mut kept).unwrap();
            let record = kept.0.unwrap();
            assert_eq!(record.frames as usize, t.len(), "frames of seed {seed}");
            let truth: Vec<bool> = t.iter().map(|t| t.call == TrueCall::Hit).collect();
            let found: Vec<bool> = record
                .frames_table
                .iter()
                .map(|f| {
                    record.spans.iter().any(|s| {
                        s.verdict == SpanVerdict::InFocus && f.t_s >= s.start_s && f.t_s < s.end_s
                    })
                })
                .collect();
            let both = truth.iter().zip(&found).filter(|(a, b)| **a && **b).count() as f64;
            let either = truth.iter().zip(&found).filter(|(a, b)| **a || **b).count() as f64;
            let iou = if either > 0.0 { both / either } else { 1.0 };
            let right = record.frames_table.iter().zip(t).filter(|(f, t)| {
                matches!(
                    (f.verdict, t.call),
                    (Verdict::Hit, TrueCall::Hit)
                        | (Verdict::Near, TrueCall::Near)
                        | (Verdict::Miss, TrueCall::Miss)
                )
            });
            let right = right.count() as f64 / t.len() as f64;
            let lost = record.frames_table.iter().filter(|f| f.verdict == Verdict::Unclear).count();
            let shake = record.shake;
            let hz = shake.and_then(|s| s.frequency_hz).map_or(f64::NAN, |v| v.value);
            let px = shake.and_then(|s| s.amplitude_px).map_or(f64::NAN, |v| v.value);
            let off: Vec<f64> = record
                .frames_table
                .iter()
                .zip(t)
                .filter_map(|(f, t)| {
                    let (x, y) = (f.subject_x? * size.0, f.subject_y? * size.1);
                    Some((x - t.subject_x_px).hypot(y - t.subject_y_px))
                })
                .collect();
            let off = off.iter().copied().fold(0.0, f64::max);
            let amplitude_ok = (px / spec.shake_px - 1.0).abs() <= 0.10;
            let frequency_ok = (hz - spec.shake_hz).abs() <= 0.5;
            println!(
                "{seed} {:?} {width} px {} fps {} ISO {iso} {}: IoU {iou:.3}  verdicts {right:.3}  unclear {lost}/{}  shake {:.2} px found {px:.2}, {:.2} Hz found {hz:.2}  off by at most {off:.1} px",
                spec.kind,
                spec.fps,
                if coding.h265 { "H.265" } else { "H.264" },
                coding.kbit_s,
                t.len(),
                spec.shake_px,
                spec.shake_hz,
            );
            // Only there is the subject apart from what surrounds it.
            if spec.kind == SceneKind::Insect {
                let on = found_by_itself(&job, &clip, size);
                println!("  found by itself on the subject in {on} of {} frames", t.len());
                sum.insects += 1;
                sum.insects_found += u32::from(2 * on > t.len());
                sum.insect_frames += t.len() as f64;
                sum.insect_frames_on += on as f64;
            }
            if verbose {
                for (f, t) in record.frames_table.iter().zip(t) {
                    println!(
                        "  {:.3} {} true {:?} {:?} sigma {:.2} total {:.2} found {:?} ratio {:?}",
                        f.t_s,
                        f.frame_type,
                        t.call,
                        f.verdict,
                        t.sigma_px,
                        t.sigma_total_px,
                        f.blur_sigma_px.map(|b| b.value),
                        f.blur_ratio
                    );
                }
            }
            sum.iou += iou;
            sum.iou_n += 1.0;
            sum.iou_low += u32::from(iou < 0.85);
            sum.amplitude_ok += f64::from(u8::from(amplitude_ok));
            sum.frequency_ok += f64::from(u8::from(frequency_ok));
            sum.shakes += 1.0;
            sum.right += right * t.len() as f64;
            sum.frames += t.len() as f64;
        }
        println!(
            "all {} clips: mean IoU {:.3} ({} below 0.85)  amplitude within 10 % in {:.0} %  frequency within 0.5 Hz in {:.0} %  frame verdicts right {:.3} of {}",
            sum.iou_n,
            sum.iou / sum.iou_n,
            sum.iou_low,
            100.0 * sum.amplitude_ok / sum.shakes,
            100.0 * sum.frequency_ok / sum.shakes,
            sum.right / sum.frames,
            sum.frames
        );
        println!(
            "automatic subject: on the insect in {} of {} clips, in {:.3} of their frames",
            sum.insects_found,
            sum.insects,
            sum.insect_frames_on / sum.insect_frames
        );
    }
}

fn make(first: u64, n: u64, keep: Option<&Path>) {
    for seed in first..first + n {
        for kind in KINDS {
            for noise_dn in NOISE_DN {
                Clean::new(kind, seed, noise_dn, keep);
            }
        }
    }
}

/// Charts of simulated shooters against their truth.
fn shooters_table(first: u64, count: u64) {
    println!("300 frames a shooter; {count} shooters from seed {first}");
    for tests in [0, 54] {
        let all: Vec<shooters::Off> = (first..first + count)
            .into_par_iter()
            .map(|s| shooters::charted(s, 300, tests))
            .collect();
        println!("\n{tests} of them of a test");
        let show = |name: &str, mut v: Vec<f64>, bar: f64| {
            let n = v.len();
            if n == 0 {
                println!("{name:<22} none");
                return;
            }
            v.sort_by(f64::total_cmp);
            let q = |p: f64| v[((n - 1) as f64 * p) as usize];
            let within = v.iter().filter(|x| x.abs() <= bar).count();
            println!(
                "{name:<22} n {n:>6}  p5 {:+.3}  median {:+.3}  p95 {:+.3}  within {bar:.2}: {:.1} %",
                q(0.05),
                q(0.5),
                q(0.95),
                100.0 * within as f64 / n as f64
            );
        };
        show("detail, share", all.iter().flat_map(|o| o.detail.clone()).collect(), 0.1);
        show("detail, in errors", all.iter().flat_map(|o| o.in_errors.clone()).collect(), 2.0);
        show("break-even, stops", all.iter().flat_map(|o| o.even.clone()).collect(), 1.0 / 3.0);
        show("hand, stops", all.iter().filter_map(|o| o.hand).collect(), 1.0 / 3.0);
        let open: Vec<bool> = all.iter().filter_map(|o| o.hand_between).collect();
        let held = open.iter().filter(|held| **held).count();
        println!("hand, interval only     n {:>6}  holds the truth {held}", open.len());
        let verdicts = all.iter().filter_map(|o| o.hand_verdicts).collect();
        show("hand by verdicts", verdicts, 1.0 / 3.0);
        show("hand by smears", all.iter().filter_map(|o| o.hand_smears).collect(), 1.0 / 3.0);
        for (i, name) in ["verdicts", "smears"].iter().enumerate() {
            let errors = all.iter().filter_map(|o| o.hand_in_errors[i]).collect();
            show(&format!("{name}, in errors"), errors, 1.96);
        }
        println!("contradict one another: {}", all.iter().filter(|o| o.contradict).count());
        let drawn = all.iter().map(|o| o.detail.len()).sum::<usize>() as f64 / all.len() as f64;
        println!("places drawn a shooter {drawn:.0}");
    }
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let number = |i: usize, or: u64| args.get(i).and_then(|v| v.parse().ok()).unwrap_or(or);
    let verbose = args.iter().any(|a| a == "-v");
    let keep = args.iter().position(|a| a == "--keep").and_then(|i| args.get(i + 1));
    let keep = keep.map(Path::new);
    match args.first().map(String::as_str) {
        Some("bursts") | None => bursts(number(2, 20_000), number(1, 30), verbose, keep),
        Some("causes") => causes::table(number(2, 20_000), number(1, 30), verbose, keep),
        Some("sigma") => sigma::table(number(2, 20_000), number(1, 3), keep),
        Some("tiles") => tiles::table(number(2, 1), number(1, 60), keep),
        // `long-log N FILE`: the time that a chart of N logged frames takes.
        Some("long-log") => {
            let path = args.get(2).map_or("long-log.sqlite", String::as_str);
            long_log::table(Path::new(path), number(1, 100_000) as usize);
        }
        Some("shooters") => shooters_table(number(2, 20_000), number(1, 40)),
        Some("clips") => {
            clips::table(
                number(2, 20_000),
                number(1, 20),
                args.get(3).and_then(|w| w.parse().ok()),
                verbose,
            );
        }
        // `series N FIRST [WAY] [--moved] [--best]`: which cost more, aperture or noise.
        #[cfg(feature = "raw")]
        Some("series") => {
            let only = args.get(3).map(String::as_str).filter(|a| !a.starts_with('-'));
            let has = |word: &str| args.iter().any(|a| a == word);
            let how = series::How { verbose, moved: has("--moved"), best: has("--best") };
            series::table(number(2, 20_000), number(1, 2), how, only);
        }
        #[cfg(feature = "raw")]
        Some("series-files") => series::files(Path::new(args.get(1).expect("a folder"))),
        Some("field-cells") => {
            field::cells::table(number(2, 5000), number(1, 2), &field::Asked::of(&args));
        }
        Some("field-bursts") => {
            field::bursts::table(number(2, 5000), number(1, 20), &field::Asked::of(&args));
        }
        Some("field-photos") => {
            let folder = args.get(3).filter(|a| !a.starts_with('-')).map(Path::new);
            let (first, count) = (number(2, 5000), number(1, 1));
            field::photos::table(first, count, folder, &field::Asked::of(&args));
        }
        Some("field-stacks") => {
            field::stacks::table(Path::new(args.get(1).expect("a folder")));
        }
        Some("demo-days") => {
            field::days::table(number(1, 7), number(2, 12), &field::Asked::of(&args));
        }
        Some("rulers") => rulers::table(number(2, 20_000), number(1, 100), verbose),
        // Only fills the folder, so that judging later is quick.
        Some("make") => make(number(2, 20_000), number(1, 30), keep),
        Some(other) => eprintln!("no such table: {other}"),
    }
}
