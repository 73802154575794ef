//! How right the verdicts are, on simulated bursts with known truth.
//!
//! `cargo bench --bench accuracy -- bursts 30 20000` runs 30 seeds a scene and noise level from
//! seed 20000 on. Seeds below 10 000 are for tuning; figures that are quoted come from others.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use rayon::prelude::*;
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
    fn new(kind: SceneKind, seed: u64, keep: Option<&std::path::Path>) -> Clean {
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
    let mark = Mark { frame: 0, x_px: truths[0].x, y_px: truths[0].y };
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
                "  {i:2} true {:5.2} (still {:5.2} move {:4.1}) {:?} | {:?} judged {:5.2} edge {:?} E {:8.1} noise share {:.2} off {:4.0} sure {:.2} {:?} {:?}",
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

fn bursts(first: u64, n: u64, verbose: bool, keep: Option<&std::path::Path>) {
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

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let number = |i: usize, or: u64| args.get(i).and_then(|v| v.parse().ok()).unwrap_or(or);
    let verbose = args.iter().any(|a| a == "-v");
    let keep = args.iter().position(|a| a == "--keep").and_then(|i| args.get(i + 1));
    let keep = keep.map(std::path::Path::new);
    match args.first().map(String::as_str) {
        Some("bursts") | None => bursts(number(2, 20_000), number(1, 30), verbose, keep),
        Some(other) => eprintln!("no such table: {other}"),
    }
}
