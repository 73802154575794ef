//! Real focus stacks: the camera stands still and the plane moves one way, so a place is sharpest
//! in one frame and softer the further a frame is from that one.

use std::path::Path;

use stopwise::store::overrides::UserOverrides;

use super::kendall::kendall_tau;
use super::reading::judged;

/// Places marked across and down each stack.
const ACROSS: usize = 4;
const DOWN: usize = 3;

/// Stacks: folders whose name starts so.
const STACK: &str = "stack-";

pub fn table(folder: &Path) {
    let mut stacks: Vec<_> = std::fs::read_dir(folder)
        .expect("a folder with stacks")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with(STACK)))
        .collect();
    stacks.sort();
    println!(
        "{:<16}{:>7}{:>8}{:>14}{:>14}{:>14}{:>16}",
        "stack", "frames", "places", "order focus", "order ratio", "pairs wrong", "planes in order"
    );
    for stack in stacks {
        let mut names: Vec<String> = std::fs::read_dir(&stack)
            .unwrap()
            .filter_map(|e| Some(e.ok()?.file_name().to_string_lossy().into_owned()))
            .filter(|n| n.ends_with(".jpg") || n.ends_with(".png"))
            .collect();
        names.sort();
        let (mut focus, mut ratio) = (Vec::new(), Vec::new());
        let (mut wrong, mut pairs) = (0, 0);
        let mut planes = None;
        for k in 0..ACROSS * DOWN {
            let at = (
                ((k % ACROSS) as f64 + 0.75) / (ACROSS as f64 + 0.5),
                ((k / ACROSS) as f64 + 0.75) / (DOWN as f64 + 0.5),
            );
            let told = judged(&stack, &names, Some(at), UserOverrides::default());
            let Some(best) = told.best else { continue };
            let energies: Vec<Option<f64>> = told.frames.iter().map(|f| f.focus).collect();
            let ratios: Vec<Option<f64>> =
                told.frames.iter().map(|f| f.ratio.map(|r| -r)).collect();
            for side in [(0..=best).rev().collect::<Vec<_>>(), (best..names.len()).collect()] {
                // Neighbours on the way out: each must not be sharper than the one before.
                for pair in side.windows(2) {
                    if let (Some(a), Some(b)) = (energies[pair[0]], energies[pair[1]]) {
                        pairs += 1;
                        wrong += usize::from(b > a);
                    }
                }
                focus.extend(order(&side, &energies));
                ratio.extend(order(&side, &ratios));
            }
            // Where the record tells each frame's plane, it must run one way.
            let told_planes: Option<Vec<f64>> =
                told.rows.iter().map(|r| r["plane_um"].as_f64()).collect();
            if let Some(p) = told_planes {
                let taken: Vec<f64> = (0..p.len()).map(|i| i as f64).collect();
                planes = kendall_tau(&taken, &p).map(f64::abs).or(planes);
            }
        }
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
        println!(
            "{:<16}{:>7}{:>8}{:>14.3}{:>14.3}{:>14}{:>16}",
            stack.file_name().unwrap_or_default().to_string_lossy(),
            names.len(),
            ACROSS * DOWN,
            mean(&focus),
            mean(&ratio),
            format!("{wrong}/{pairs}"),
            planes.map_or("-".to_owned(), |t| format!("{t:.3}")),
        );
    }
}

/// Kendall's tau of sharpness against nearness to the best, on one side of it.
fn order(side: &[usize], sharp: &[Option<f64>]) -> Option<f64> {
    let (near, values): (Vec<f64>, Vec<f64>) =
        side.iter().enumerate().filter_map(|(away, i)| Some((-(away as f64), sharp[*i]?))).unzip();
    if near.len() < 3 { None } else { kendall_tau(&near, &values) }
}
