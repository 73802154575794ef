//! Real photographs, made small so that they are sharp to the pixel, with known optics applied in
//! linear light: a lens out of focus (diffraction included) or a movement, then the sensor, the
//! rendering and JPEG.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde_json::json;
use stopwise::core::random::SplitMix64;
use stopwise::core::stats::median;
use stopwise::simulator::burst::{HIT, NEAR};
use stopwise::simulator::camera::LinearFrame;
use stopwise::simulator::encode::RenderedPicture;
use stopwise::simulator::field::iso_for;
use stopwise::simulator::optics::{GAUSS_HALF, SimulatedLens, first_half, otf_defocus, sinc};
use stopwise::store::overrides::UserOverrides;

use super::cells::{DEFOCUS_PX, MOVED_PX, NOISE_DN, Rendered};
use super::reading::judged;
use super::score::Tally;
use super::truth::{Settings, True, TrueBurst, name, write};
use super::{Asked, Place};

/// File below the folder and how much smaller it is made.
const OWN: [(&str, usize); 3] = [("brick.png", 1), ("gravel.png", 1), ("chelsea_green.png", 1)];
const GIVEN: [(&str, usize); 6] = [
    ("photo-12mp/photo.jpg", 4),
    ("stack-bench/frame_14.png", 3),
    ("stack-bench/frame_29.png", 3),
    ("stack-board/frame_04.jpg", 3),
    ("stack-ring/step2.jpg", 2),
    ("xmp-jpeg/Image1.jpg", 3),
];

/// Blur that a photograph made small has before any of it is applied, px: its pixel box and what
/// is left of the first lens. Measured on such pictures to be 0.4 to 0.6.
const OWN_BLUR_PX: f64 = 0.5;
/// Side of the frames at most, px.
const MAX_SIDE_PX: (usize, usize) = (640, 480);
/// Greatest shift from frame to frame, px.
const SHIFT_PX: usize = 8;

/// The sharpest part of a photograph, linear light.
fn source(path: &Path, smaller: usize) -> Option<LinearFrame> {
    let grey = image::open(path).ok()?.into_luma8();
    let (w, h) = (grey.width() as usize / smaller, grey.height() as usize / smaller);
    let linear = |v: u8| (f64::from(v) / 255.0).powf(2.2);
    let mut data = vec![0f32; w * h];
    for y in 0..h {
        for x in 0..w {
            let mut sum = 0.0;
            for j in 0..smaller {
                for i in 0..smaller {
                    let at = ((x * smaller + i) as u32, (y * smaller + j) as u32);
                    sum += linear(grey.get_pixel(at.0, at.1).0[0]);
                }
            }
            data[y * w + x] = (sum / (smaller * smaller) as f64) as f32;
        }
    }
    let (cw, ch) = (w.min(MAX_SIDE_PX.0), h.min(MAX_SIDE_PX.1));
    // Differences of neighbours over light, in the middle of each candidate.
    let energy = |x0: usize, y0: usize| {
        let mut sum = 0f64;
        for y in y0 + ch / 2 - 48..y0 + ch / 2 + 48 {
            for x in x0 + cw / 2 - 48..x0 + cw / 2 + 48 {
                let (a, b) = (data[y * w + x], data[y * w + x + 1]);
                sum += f64::from((b - a) / (a + b + 0.02)).powi(2);
            }
        }
        sum
    };
    let steps = |spare: usize| (0..=4).map(move |k| spare * k / 4);
    let (x0, y0) = steps(h - ch)
        .flat_map(|y| steps(w - cw).map(move |x| (x, y)))
        .max_by(|a, b| energy(a.0, a.1).total_cmp(&energy(b.0, b.1)))?;
    Some(cut(&LinearFrame { width_px: w, height_px: h, channels: 1, data }, x0, y0, cw, ch))
}

fn cut(from: &LinearFrame, x0: usize, y0: usize, w: usize, h: usize) -> LinearFrame {
    let rows = (y0..y0 + h).flat_map(|y| {
        let at = y * from.width_px + x0;
        from.data[at..at + w].iter().copied()
    });
    LinearFrame { width_px: w, height_px: h, channels: 1, data: rows.collect() }
}

/// 0.187 over the frequency at which what was applied and the picture's own blur pass half.
fn total_px(lens: &SimulatedLens, w20: f64, length_px: f64) -> f64 {
    let own = |f: f64| (-2.0 * (std::f64::consts::PI * OWN_BLUR_PX * f).powi(2)).exp();
    let all = |f: f64| otf_defocus(f / lens.cutoff_cy_px(), w20) * own(f) * sinc(length_px * f);
    GAUSS_HALF / first_half(all, lens.cutoff_cy_px().min(1.0))
}

fn burst_of(
    base: &LinearFrame,
    lens: &SimulatedLens,
    moved: bool,
    rng: &mut SplitMix64,
) -> (Vec<LinearFrame>, TrueBurst) {
    let (w, h) = (base.width_px - 2 * SHIFT_PX, base.height_px - 2 * SHIFT_PX);
    let mut lights = Vec::new();
    let mut rows = Vec::new();
    let mut order = [0, 1, 2, 3, 4];
    for i in (1..5).rev() {
        order.swap(i, rng.below(i + 1));
    }
    for k in order {
        let gain = rng.between(0.85, 1.15);
        let disc = if moved { 0.0 } else { gain * DEFOCUS_PX[k] };
        let length_px = if moved { gain * MOVED_PX[k] } else { 0.0 };
        let w20 = lens.w20(lens.dz_um_for_disc_sigma(disc));
        let mut light = base.defocused(lens, w20);
        if length_px > 0.0 {
            light = light.smeared(length_px, rng.between(0.0, 180.0));
        }
        let (x0, y0) = (rng.below(2 * SHIFT_PX + 1), rng.below(2 * SHIFT_PX + 1));
        lights.push(cut(&light, x0, y0, w, h));
        let at = (
            (base.width_px / 2 - x0) as f64 / w as f64,
            (base.height_px / 2 - y0) as f64 / h as f64,
        );
        rows.push((at, w20, length_px, total_px(lens, w20, length_px)));
    }
    let best = rows.iter().map(|r| r.3).fold(f64::MAX, f64::min);
    let frames = rows
        .into_iter()
        .map(|(at, w20, length_px, total)| {
            let call = match total / best {
                x if x <= HIT => "hit",
                x if x <= NEAR => "near",
                _ => "miss",
            };
            let still_px = total_px(lens, w20, 0.0);
            let cause = match (call, moved) {
                ("hit", _) => "in-focus",
                (_, true) => "shake",
                _ => "soft",
            };
            True {
                at,
                still_px,
                total_px: total,
                length_px,
                offset_um: 0.0,
                call: call.to_owned(),
                cause: cause.to_owned(),
                loses: (still_px > HIT * best, moved && call != "hit"),
            }
        })
        .collect();
    let radius = 48.0 / w as f64;
    (lights, TrueBurst { frames, in_focus_px: total_px(lens, 0.0, 0.0), radius, size_px: (w, h) })
}

pub fn table(first: u64, count: u64, folder: Option<&Path>, asked: &Asked) {
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata");
    let mut files: Vec<(PathBuf, usize)> = OWN.iter().map(|(f, k)| (own.join(f), *k)).collect();
    if let Some(folder) = folder {
        files.extend(GIVEN.iter().map(|(f, k)| (folder.join(f), *k)));
    }
    let mut lines = asked.lines();
    let mut sums: Vec<(String, bool, Rendered, Tally)> = Vec::new();
    for (n, (path, smaller)) in files.iter().enumerate() {
        let Some(base) = source(path, *smaller) else {
            println!("left out, cannot be read: {}", path.display());
            continue;
        };
        let word = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let draws = (first..first + count).flat_map(|s| [(s, false), (s, true)]);
        for (seed, moved) in draws {
            let mut rng = SplitMix64::stream(seed, &[n as u64, u64::from(moved)]);
            let marked = rng.between(7.0, 11.0);
            let lens = SimulatedLens {
                n_eff: 2.0 * marked,
                magnification: 1.0,
                pitch_um: rng.between(5.0, 6.5),
            };
            let (lights, truth) = burst_of(&base, &lens, moved, &mut rng);
            // The usual exposure: middle tones in the middle of the scale.
            let mut levels: Vec<f64> = base.data.iter().map(|v| f64::from(*v)).collect();
            let gain = 0.15 / median(&mut levels).unwrap_or(0.15).max(0.02);
            for rendered in Rendered::ALL {
                let noise_seed = rng.next_u64();
                let pictures: Vec<RenderedPicture> = lights
                    .par_iter()
                    .enumerate()
                    .map(|(i, light)| {
                        let mut light = light.clone();
                        light.data.iter_mut().for_each(|v| *v *= gain as f32);
                        rendered
                            .picture(&light, SplitMix64::stream(noise_seed, &[i as u64]).next_u64())
                    })
                    .collect();
                let place = Place::new(None, "");
                let settings = Settings {
                    marked_f_number: marked,
                    pitch_um: lens.pitch_um,
                    iso: iso_for(NOISE_DN),
                    // A movement smears all of the light.
                    flash: false,
                    quality: 92,
                };
                write(place.path(), &pictures, &settings);
                let names: Vec<String> = (0..pictures.len()).map(name).collect();
                let mark = Some(truth.frames[0].at);
                let told = judged(place.path(), &names, mark, UserOverrides::default());
                lines.put(&json!({
                    "seed": seed, "photo": word, "moved": moved,
                    "rendered": format!("{rendered:?}"), "lens": lens, "truth": truth,
                    "marked": { "frames": told.rows, "bursts": told.bursts },
                }));
                if asked.verbose {
                    println!("{word} moved {moved} {rendered:?}");
                    for (t, f) in truth.frames.iter().zip(&told.frames) {
                        println!(
                            "  true {:5.2} {} | {} {:?} {:?}",
                            t.total_px,
                            t.call,
                            f.call,
                            f.blur.map(|b| b.value_px),
                            f.cause
                        );
                    }
                }
                sums.push((word.clone(), moved, rendered, Tally::of(&truth, &told)));
            }
        }
    }
    let mut words: Vec<String> = sums.iter().map(|s| s.0.clone()).collect();
    words.dedup();
    for (moved, blur) in [(false, "defocus"), (true, "movement")] {
        println!();
        Tally::print_head(&format!("photographs, {blur}"));
        let sum = |keep: &dyn Fn(&str, Rendered) -> bool| {
            let mut t = Tally::default();
            let of_blur = sums.iter().filter(|s| s.1 == moved && keep(&s.0, s.2));
            of_blur.for_each(|s| t.join(&s.3));
            t
        };
        for word in &words {
            sum(&|w, _| w == word).print(word);
        }
        for how in Rendered::ALL {
            sum(&|_, r| r == how).print(&format!("rendering {how:?}"));
        }
        sum(&|_, _| true).print("ALL");
    }
}
