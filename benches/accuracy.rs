//! How right the verdicts are, on simulated bursts with known truth.
//!
//! `cargo bench --bench accuracy -- bursts 30 20000` runs 30 seeds a scene and noise level from
//! seed 20000 on. Seeds below 10 000 are for tuning; figures that are quoted come from others.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use rayon::prelude::*;
use std::path::Path;
use stopwise::base::Luma;
use stopwise::base::random::SplitMix64;
use stopwise::base::stats::kendall_tau;
use stopwise::demo::burst::{Burst, BurstSpec, TrueCall};
use stopwise::demo::scene::SceneKind;
use stopwise::report::record::Call;
use stopwise::sets::judge::{BurstJudged, Mark, judge};
use stopwise::sets::shot::{Patch, Shot};

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
            "{name:<34} tau {:.3} (plain {:.3})  best {:5.1} % (plain {:5.1})  verdict {:.3}  swaps {:.2} %  cannot say {:.1} %  lost {:.1} %  off>24px {:.1} %",
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
    allowed_px: f64,
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
    fn new(kind: SceneKind, seed: u64, keep: Option<&Path>) -> Clean {
        let spec = BurstSpec::usual(kind, seed, 0.0);
        let allowed_px = spec.lens.sigma_px(0.0);
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
            return Clean { kind, seed, frames, truths, allowed_px };
        }
        let b = Burst::new(spec);
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
        Clean { kind, seed, frames, truths, allowed_px }
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
    let shots: Vec<Shot> = frames.iter().map(|f| Shot::measure(&f.view()).unwrap()).collect();
    let fetch = |i: usize, x0: usize, y0: usize, side: usize| {
        Some(Patch::cut(&frames[i].view(), x0, y0, side, side))
    };
    let allowed = vec![Some(clean.allowed_px); frames.len()];
    let plains: Vec<f64> = frames.iter().map(plain).collect();
    let mark = Mark { frame: 0, x_px: truths[0].x, y_px: truths[0].y, box_px: None };
    [Some(mark), None].map(|mark| {
        let j = judge(&shots, mark, &allowed, &fetch);
        score(clean, noise_dn, &j, &plains, verbose)
    })
}

fn score(clean: &Clean, noise_dn: f64, j: &BurstJudged, plains: &[f64], verbose: bool) -> Score {
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
            (f.call, t.call),
            (Call::Hit, TrueCall::Hit)
                | (Call::Near, TrueCall::Near)
                | (Call::Miss, TrueCall::Miss)
        );
        s.right += f64::from(u8::from(right));
        let swap =
            matches!((f.call, t.call), (Call::Hit, TrueCall::Miss) | (Call::Miss, TrueCall::Hit));
        s.swaps += f64::from(u8::from(swap));
        s.cannot += f64::from(u8::from(f.call == Call::CannotSay));
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
                f.call,
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
        let one = |seed: u64| {
            let clean = Clean::new(kind, seed, keep);
            NOISE_DN.map(|n| burst(&clean, n, verbose))
        };
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
    use stopwise::demo::causes::{CauseClass, frames};
    use stopwise::report::record::Cause;

    const KINDS: [SceneKind; 3] = [SceneKind::DepthRamp, SceneKind::Hairs, SceneKind::Stripes];
    const SIZE: (usize, usize) = (768, 576);

    /// The frame, its reference and the subject in both.
    struct Pair {
        lumas: [Vec<u8>; 2],
        spot: (f64, f64),
        allowed_px: f64,
    }

    fn pair(class: CauseClass, kind: SceneKind, seed: u64, keep: Option<&Path>) -> Option<Pair> {
        let lens = BurstSpec::usual(kind, seed, 0.0).lens;
        let allowed_px = lens.sigma_px(0.0);
        let n = SIZE.0 * SIZE.1;
        let file = keep.map(|d| d.join(format!("cause-{class:?}-{kind:?}-{seed}.bin")));
        if let Some(bytes) = file.as_ref().and_then(|f| std::fs::read(f).ok()) {
            if bytes.is_empty() {
                return None;
            }
            let at = |i: usize| f64::from_le_bytes(bytes[8 * i..8 * i + 8].try_into().unwrap());
            let lumas = [bytes[16..16 + n].to_vec(), bytes[16 + n..].to_vec()];
            return Some(Pair { lumas, spot: (at(0), at(1)), allowed_px });
        }
        let made = frames(class, kind, 0.0, seed).map(|(frame, reference)| Pair {
            lumas: [frame.picture.luma(), reference.picture.luma()],
            spot: (reference.truth.subject_x_px, reference.truth.subject_y_px),
            allowed_px,
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
        let shots: Vec<Shot> = views.iter().map(|f| Shot::measure(&f.view()).unwrap()).collect();
        let fetch = |i: usize, x0: usize, y0: usize, side: usize| {
            Some(Patch::cut(&views[i].view(), x0, y0, side, side))
        };
        let mark = Mark { frame: 0, x_px: p.spot.0, y_px: p.spot.1, box_px: None };
        let j = judge(&shots, Some(mark), &[Some(p.allowed_px); 2], &fetch);
        let f = &j.frames[1];
        let first = f.causes.first().map(|c| c.cause);
        let moved = |c: Cause| matches!(c, Cause::Shake | Cause::SubjectMotion);
        let right = match class {
            CauseClass::InFocus => f.call == Call::Hit,
            CauseClass::PlaneOff => first == Some(Cause::PlaneOff),
            CauseClass::Movement => f.causes.iter().any(|c| moved(c.cause)),
            CauseClass::Soft => first == Some(Cause::Soft),
        };
        let accused = f.causes.iter().any(|c| moved(c.cause));
        if say && !right {
            println!(
                "  {class:?} seed {seed} noise {noise_dn}: {:?} {:?} blur {:?} cluster {} movement {:?} reference {:?}",
                f.call,
                f.causes.iter().map(|c| c.cause).collect::<Vec<_>>(),
                f.judged_px.map(|m| m.value),
                f.sharp_cluster,
                f.movement.map(|m| m.smear),
                j.reference_px
            );
        }
        [right, accused, f.call == Call::CannotSay].map(|b| f64::from(u8::from(b)))
    }

    pub fn table(first: u64, n: u64, say: bool, keep: Option<&Path>) {
        for class in CauseClass::ALL {
            let mut all = [0f64; 4];
            for kind in KINDS {
                let seeds: Vec<u64> = (first..first + n).collect();
                let rows: Vec<[[f64; 3]; 3]> = seeds
                    .par_iter()
                    .filter_map(|s| {
                        let p = pair(class, kind, *s, keep)?;
                        Some(NOISE_DN.map(|n| judged(class, &p, n, *s, say)))
                    })
                    .collect();
                for (l, noise) in NOISE_DN.iter().enumerate() {
                    let count = rows.len() as f64;
                    let sum = |k: usize| rows.iter().map(|r| r[l][k]).sum::<f64>();
                    let [right, accused, silent] = [sum(0), sum(1), sum(2)];
                    println!(
                        "{class:?} {kind:?} noise {noise}: of {count} right {:.1} %  accused of movement {:.1} %  cannot say {:.1} %",
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
                "{class:?} all: of {} right {:.1} %  accused of movement {:.1} %  cannot say {:.1} %",
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
    use stopwise::base::stats::median;
    use stopwise::demo::patch::{PatchKind, noiseless_patch};
    use stopwise::measure::band_noise::BandNoise;
    use stopwise::measure::focus_map::{FrameCells, Tile};
    use stopwise::measure::pyramid::Pyramid;

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
                        for t in &map.tiles {
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
/// `measure::blur_fit` to: `accuracy tiles N FIRST > FILE`, then `benches/fit_blur.py FILE`.
mod tiles {
    use super::*;
    use stopwise::demo::patch::PatchKind;
    use stopwise::measure::band_noise::BandNoise;
    use stopwise::measure::blur_fit::Reading;
    use stopwise::measure::focus_map::FrameCells;
    use stopwise::measure::pyramid::Pyramid;

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
                        let r: Option<Reading> = r;
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

fn make(first: u64, n: u64, keep: Option<&Path>) {
    for seed in first..first + n {
        for kind in KINDS {
            Clean::new(kind, seed, keep);
        }
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
        // Only fills the folder, so that judging later is quick.
        Some("make") => make(number(2, 20_000), number(1, 30), keep),
        Some(other) => eprintln!("no such table: {other}"),
    }
}
