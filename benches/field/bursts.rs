//! Creatures and hands as in the field.

use std::path::Path;
use std::time::Instant;

use rayon::prelude::*;
use serde_json::json;
use stopwise::simulator::encode::RenderedPicture;
use stopwise::simulator::field::{FieldPlan, FocusCourse};
use stopwise::simulator::surface::Surface;
use stopwise::store::overrides::UserOverrides;

use super::reading::{ToldBurst, judged};
use super::score::Tally;
use super::truth::{Settings, TrueBurst, name, write};
use super::{Asked, Place, bars, median_bar};

/// One ramp without a subject for so many creatures.
const RAMP_EVERY: u64 = 7;

/// Files and truth of a burst: as kept, or made.
fn made(plan: &FieldPlan, dir: &Path) -> TrueBurst {
    let kept = dir.join("truth.json");
    if let Some(truth) = std::fs::read(&kept).ok().and_then(|b| serde_json::from_slice(&b).ok()) {
        return truth;
    }
    let burst = plan.burst();
    let spec = &plan.spec;
    let size = (spec.width_px, spec.height_px);
    let truth =
        TrueBurst::new(burst.truths(), &spec.lens, size, f64::from(burst.subject_radius_px()));
    let pictures: Vec<RenderedPicture> = (0..burst.len())
        .into_par_iter()
        .filter_map(|i| Some(burst.developed_frame(i, plan.sensor(), &plan.rendering)?.picture))
        .collect();
    let settings = Settings {
        marked_f_number: plan.marked_f_number,
        pitch_um: spec.lens.pitch_um,
        iso: plan.rendering.iso,
        quality: plan.jpeg_quality,
        flash: plan.flash,
    };
    write(dir, &pictures, &settings);
    std::fs::write(kept, serde_json::to_vec(&truth).unwrap()).unwrap();
    truth
}

/// Scores of one burst: marked, unmarked.
struct Scored {
    surface: Option<Surface>,
    course: FocusCourse,
    scores: [Tally; 2],
}

fn scored(seed: u64, surface: Option<Surface>, asked: &Asked, lines: &mut super::Lines) -> Scored {
    let plan = surface.map_or_else(|| FieldPlan::ramp(seed), |s| FieldPlan::creature(seed, s));
    let word = surface.map_or("ramp", Surface::word);
    let place = Place::new(asked.keep.as_deref(), &format!("burst-{word}-{seed}"));
    let truth = made(&plan, place.path());
    let names: Vec<String> = (0..truth.frames.len()).map(name).collect();
    let told: Vec<ToldBurst> = [Some(truth.frames[0].at), None]
        .into_iter()
        .map(|mark| judged(place.path(), &names, mark, UserOverrides::default()))
        .collect();
    let spec = &plan.spec;
    lines.put(&json!({
        "seed": seed,
        "surface": word,
        "course": plan.course.word(),
        "look": spec.look,
        "lens": spec.lens,
        "marked_f_number": plan.marked_f_number,
        "noise_dn": plan.noise_dn,
        "rendering": plan.rendering,
        "jpeg_quality": plan.jpeg_quality,
        "working_distance_mm": spec.working_distance_mm,
        "truth": truth,
        "marked": { "frames": told[0].rows, "bursts": told[0].bursts },
        "unmarked": { "frames": told[1].rows, "bursts": told[1].bursts },
    }));
    let scores = [Tally::of(&truth, &told[0]), Tally::of(&truth, &told[1])];
    if asked.verbose {
        println!("{word} seed {seed} {} noise {:.1}", plan.course.word(), plan.noise_dn);
        for (i, t) in truth.frames.iter().enumerate() {
            let said = |k: usize| {
                let f = &told[k].frames[i];
                let blur = f.blur.map_or("-".to_owned(), |b| {
                    let r = b.range68_px.unwrap_or_default();
                    format!("{:.2} ({:.2}-{:.2})", b.value_px, r.0, r.1)
                });
                format!("{} {blur} {}", f.call, f.cause.as_deref().unwrap_or("-"))
            };
            println!(
                "  {i:2} true {:5.2} (still {:.2}, moved {:.1}) {} {} | {} | {}",
                t.total_px,
                t.still_px,
                t.length_px,
                t.call,
                t.cause,
                said(0),
                said(1)
            );
        }
        println!("  best {:?} unmarked {:?}", told[0].best, told[1].best);
    }
    Scored { surface, course: plan.course, scores }
}

pub fn table(first: u64, count: u64, asked: &Asked) {
    let started = Instant::now();
    let mut lines = asked.lines();
    // One after the other, each on all cores: a scene takes some hundred megabytes.
    let mut all = Vec::new();
    for seed in first..first + count {
        let surface = Surface::ALL[(seed % Surface::ALL.len() as u64) as usize];
        all.push(scored(seed, Some(surface), asked, &mut lines));
        if seed % RAMP_EVERY == 0 {
            all.push(scored(seed, None, asked, &mut lines));
        }
    }
    let took = started.elapsed().as_secs_f64();
    println!("{count} bursts of creatures from seed {first}, {took:.0} s");
    for (m, word) in ["marked", "unmarked"].iter().enumerate() {
        let sum = |keep: &dyn Fn(&Scored) -> bool| {
            let mut t = Tally::default();
            all.iter().filter(|s| keep(s)).for_each(|s| t.join(&s.scores[m]));
            t
        };
        println!();
        Tally::print_head(word);
        for surface in Surface::ALL {
            sum(&|s| s.surface == Some(surface)).print(surface.word());
        }
        for course in FocusCourse::ALL {
            sum(&|s| s.surface.is_some() && s.course == course).print(course.word());
        }
        let creatures = sum(&|s| s.surface.is_some());
        creatures.print("ALL CREATURES");
        sum(&|s| s.surface.is_none()).print("ramp, no subject, apart");
        println!(
            "bursts that were cut in parts {}; movement told from defocus {} %; on the subject {} %",
            creatures.split,
            creatures.cause_moved.word(),
            creatures.on_subject.word()
        );
        println!("bars, {word}");
        if m == 0 {
            bars::marked(&creatures);
            for surface in Surface::ALL {
                let of = sum(&|s| s.surface == Some(surface));
                bars::median(surface.word(), &of, median_bar(surface));
            }
        } else {
            bars::unmarked(&creatures);
            creatures.print_calibration();
        }
    }
}
