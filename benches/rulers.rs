//! How right the scale from a ruler is, and whether other pictures are refused.
//!
//! Rulers of 0.5:1 to 5:1 on a sensor of 36 x 24 mm with 3000 x 2000 px, any direction, blur of up
//! to 4 px, a third of them partly out of focus, uneven light, noise; a quarter are tilted.

use rayon::prelude::*;
use stopwise::core::Luma;
use stopwise::core::random::SplitMix64;
use stopwise::ruler::reading::measure_ruler;
use stopwise::simulator::patch::{PatchKind, noiseless_patch};
use stopwise::simulator::ruler::{RulerSpec, bricks, ruler};

const PITCH_UM: f64 = 12.0;

/// A ruler with everything drawn by lot.
pub fn drawn(seed: u64) -> RulerSpec {
    let mut rng = SplitMix64::new(seed);
    let magnification = 0.5 * 10f64.powf(rng.uniform());
    let focus = rng.between(0.5, 4.0);
    let partly = rng.uniform() < 0.33;
    let more = if partly { rng.between(0.0, 4.0 - focus) } else { 0.0 };
    RulerSpec {
        seed,
        width_px: 3000,
        height_px: 2000,
        um_per_px: PITCH_UM / magnification,
        // Five ticks have to fit into the shorter side.
        ticks_mm: if magnification > 2.5 || rng.uniform() < 0.3 { 0.5 } else { 1.0 },
        angle_deg: rng.between(0.0, 180.0),
        blur_sigma_px: focus,
        blur_more_px: more,
        noise_dn: rng.between(1.0, 5.0),
        uneven: rng.between(0.0, 0.7),
        tilt: if rng.uniform() < 0.25 { rng.between(-0.03, 0.03) } else { 0.0 },
        numbers: rng.uniform() < 0.8,
        inverted: rng.uniform() < 0.2,
    }
}

/// Rulers of `count` seeds, then as many pictures without one.
pub fn table(first: u64, count: u64, verbose: bool) {
    type Row = (u64, RulerSpec, Result<(f64, f64, f64), String>, f64);
    let all: Vec<Row> = (first..first + count)
        .into_par_iter()
        .map(|seed| {
            let spec = drawn(seed);
            let picture = ruler(&spec);
            let luma = Luma::U8 {
                data: &picture.data,
                channels: 1,
                width_px: picture.width_px,
                height_px: picture.height_px,
            };
            let start = std::time::Instant::now();
            let read = measure_ruler(&luma);
            let seconds = start.elapsed().as_secs_f64();
            let read = read.map(|r| {
                let scale = spec.ticks_mm * 1000.0 / r.period_px.value;
                let err = r.period_px.std_err.unwrap() / r.period_px.value;
                let turn = (r.angle_deg - spec.angle_deg).rem_euclid(180.0);
                (scale / spec.um_per_px - 1.0, err, turn.min(180.0 - turn))
            });
            (seed, spec, read.map_err(|e| e.to_string()), seconds)
        })
        .collect();
    let mut offs = Vec::new();
    let (mut within, mut covered, mut refused, mut turned) = (0, 0, 0, 0.0f64);
    for (seed, spec, read, seconds) in &all {
        match read {
            Ok((off, err, turn)) => {
                offs.push(*off);
                within += i32::from(off.abs() <= 0.005);
                covered += i32::from(off.abs() <= 2.0 * err);
                turned = turned.max(*turn);
                if verbose || off.abs() > 0.005 {
                    println!(
                        "{seed}: off {:+.3} % ± {:.3}, turned {turn:.2}, {seconds:.2} s {spec:?}",
                        off * 100.0,
                        err * 100.0
                    );
                }
            }
            Err(why) => {
                refused += 1;
                println!("{seed}: refused: {why} {seconds:.2} s {spec:?}");
            }
        }
    }
    let rms = (offs.iter().map(|o| o * o).sum::<f64>() / offs.len() as f64).sqrt();
    let worst = offs.iter().map(|o| o.abs()).fold(0.0, f64::max);
    println!(
        "rulers {count}: within 0.5 % {within}, refused {refused}, rms {:.3} %, worst {:.3} %, within 2 standard errors {covered}, direction within {turned:.2}°",
        rms * 100.0,
        worst * 100.0
    );
    let others: Vec<(u64, &str, bool, String)> = (first..first + count)
        .into_par_iter()
        .flat_map(|seed| {
            let made = [
                ("leaves", noiseless_patch(PatchKind::DeadLeaves, 1.0, seed, 900).to_luma(), 900),
                ("edges", noiseless_patch(PatchKind::Edges, 1.0, seed, 900).to_luma(), 900),
                ("bricks", bricks(seed, 900, 900).data, 900),
            ];
            made.map(|(name, data, side)| {
                let luma = Luma::U8 { data: &data, channels: 1, width_px: side, height_px: side };
                match measure_ruler(&luma) {
                    Ok(r) => (seed, name, false, format!("{:?} {}", r.period_px, r.angle_deg)),
                    Err(why) => (seed, name, true, why.to_string()),
                }
            })
        })
        .collect();
    for (seed, name, refused, why) in &others {
        if !refused || verbose {
            println!("{seed} {name}: {why}");
        }
    }
    let wrong = others.iter().filter(|o| !o.2).count();
    println!("{} pictures without a ruler: {wrong} taken for one", others.len());
}
