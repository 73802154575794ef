//! The days of `stopwise demo`, judged with the eye marked and without a mark.

use std::collections::BTreeMap;

use serde_json::json;
use stopwise::core::progress::NoProgress;
use stopwise::cull::outing::{OutingJob, cull};
use stopwise::simulator::optics::SimulatedLens;
use stopwise::simulator::outing::{self, FrameTruth};

use super::reading::told;
use super::score::Tally;
use super::truth::TrueBurst;
use super::{Asked, Place, bars};

const SIZE_PX: (usize, usize) = (outing::WIDTH_PX, outing::HEIGHT_PX);

pub fn table(first: u64, last: u64, asked: &Asked) {
    let mut lines = asked.lines();
    let mut sums: BTreeMap<(usize, String), Tally> = BTreeMap::new();
    for seed in first..=last {
        let place = Place::new(asked.keep.as_deref(), &format!("day-{seed}"));
        let truth = outing::write(place.path(), seed).unwrap();
        for (m, word) in ["marked", "unmarked"].into_iter().enumerate() {
            let bursts: Vec<Vec<&FrameTruth>> = truth
                .frames
                .chunk_by(|a, b| a.burst == b.burst)
                .map(|c| c.iter().collect())
                .collect();
            let name = |f: &FrameTruth| f.file.rsplit('/').next().unwrap_or_default().to_owned();
            let mut marks = BTreeMap::new();
            for burst in bursts.iter().filter(|_| m == 0) {
                let t = &burst[0].truth;
                let at = (t.subject_x_px / SIZE_PX.0 as f64, t.subject_y_px / SIZE_PX.1 as f64);
                marks.insert(name(burst[0]), at);
            }
            let paths = vec![place.path().join(outing::DAY)];
            let job = OutingJob { paths, marks, ..OutingJob::default() };
            let (record, _) = cull(&job, &NoProgress, &mut |_| Ok(())).unwrap();
            let record = serde_json::to_value(&record).unwrap();
            let mut day = Tally::default();
            for burst in &bursts {
                let names: Vec<String> = burst.iter().map(|f| name(f)).collect();
                let truths: Vec<_> = burst.iter().map(|f| f.truth).collect();
                let lens = SimulatedLens {
                    n_eff: burst[0].n_eff,
                    magnification: burst[0].magnification,
                    pitch_um: outing::PITCH_UM,
                };
                // The eye's smaller radius in the plan, four fifths of it.
                let radius_px = 0.8 * 0.085 * SIZE_PX.1 as f64;
                let truth = TrueBurst::new(&truths, &lens, SIZE_PX, radius_px);
                let told = told(&of_burst(&record, &names), &names);
                let score = Tally::of(&truth, &told);
                lines.put(&json!({
                    "seed": seed, "burst": burst[0].burst, "about": burst[0].about,
                    "mark": word, "lens": lens, "truth": truth, "frames": told.rows,
                    "bursts": told.bursts,
                }));
                if asked.verbose {
                    for ((n, t), f) in names.iter().zip(&truth.frames).zip(&told.frames) {
                        println!(
                            "  {seed} {word} {n} true {:5.2} {} {} | {} {:?} {:?}",
                            t.total_px,
                            t.call,
                            t.cause,
                            f.call,
                            f.blur.map(|b| b.value_px),
                            f.cause
                        );
                    }
                }
                day.join(&score);
                let about = format!("burst {}", burst[0].burst);
                sums.entry((m, about)).or_default().join(&score);
            }
            sums.entry((m, "WHOLE DAYS".to_owned())).or_default().join(&day);
            sums.entry((m, format!("day {seed:03}"))).or_default().join(&day);
        }
    }
    for (m, word) in ["marked", "unmarked"].into_iter().enumerate() {
        println!();
        Tally::print_head(word);
        for ((_, name), tally) in sums.iter().filter(|((k, _), _)| *k == m) {
            tally.print(name);
        }
        if m == 0
            && let Some(whole) = sums.get(&(m, "WHOLE DAYS".to_owned()))
        {
            println!("bars, {word}");
            bars::days(whole);
        }
    }
}

/// The part of a record that holds the frames named.
fn of_burst(record: &serde_json::Value, names: &[String]) -> serde_json::Value {
    let mut part = record.clone();
    let named = |path: &serde_json::Value| {
        path.as_str().is_some_and(|p| names.iter().any(|n| p.ends_with(n.as_str())))
    };
    if let Some(bursts) = part["bursts"].as_array_mut() {
        bursts.retain(|b| b["frames"].as_array().is_some_and(|f| f.iter().any(named)));
    }
    part
}
