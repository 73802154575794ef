//! The scale from a ruler against simulated rulers of known scale, and refusals of what is none.
//! `cargo bench --bench accuracy -- rulers` is the large form; its figures are in RESULTS.md.

use serde_json::Value as Json;
use stopwise::core::Luma;
use stopwise::optics::Optics;
use stopwise::ruler::reading::{NoRuler, RulerReading, measure_ruler};
use stopwise::ruler::scale::depths;
use stopwise::simulator::encode::RenderedPicture;
use stopwise::simulator::file::{Tags, jpeg};
use stopwise::simulator::patch::{PatchKind, patch};
use stopwise::simulator::ruler::{RulerSpec, bricks, ruler};

use crate::cli::Place;

fn read(picture: &RenderedPicture) -> Result<RulerReading, NoRuler> {
    measure_ruler(&Luma::U8 {
        data: &picture.data,
        channels: 1,
        width_px: picture.width_px,
        height_px: picture.height_px,
    })
}

/// A sensor of 36 mm with 1500 px: 24 µm a pixel.
pub fn at(magnification: f64, angle_deg: f64, seed: u64) -> RulerSpec {
    RulerSpec {
        width_px: 1500,
        height_px: 1000,
        ticks_mm: if magnification > 2.5 { 0.5 } else { 1.0 },
        ..RulerSpec::plain(24.0 / magnification, angle_deg, seed)
    }
}

fn off(spec: &RulerSpec, reading: &RulerReading) -> f64 {
    spec.ticks_mm * 1000.0 / reading.period_px.value / spec.um_per_px - 1.0
}

// The truth is built into the picture.
#[test]
fn the_scale_is_right_from_half_to_five_times_life_size() {
    for (i, (magnification, angle)) in
        [(0.5, 0.0), (0.7, 23.0), (1.0, 90.0), (2.0, 135.0), (3.0, 61.5), (5.0, 178.0)]
            .into_iter()
            .enumerate()
    {
        let spec = at(magnification, angle, 40 + i as u64);
        let reading = read(&ruler(&spec)).unwrap_or_else(|e| panic!("{magnification}: {e}"));
        let off = off(&spec, &reading);
        assert!(off.abs() < 0.005, "{magnification} x, {angle}°: off by {off}");
        let turn = (reading.angle_deg - angle).rem_euclid(180.0);
        assert!(turn.min(180.0 - turn) < 0.3, "{turn}° at {angle}°");
        assert!((reading.spectrum_px / reading.period_px.value - 1.0).abs() < 0.01);
        assert!(reading.change_along.is_none(), "{:?}", reading.change_along);
    }
}

#[test]
fn blur_light_and_light_marks_do_not_move_it() {
    let soft = RulerSpec { blur_sigma_px: 4.0, uneven: 0.7, ..at(1.0, 31.0, 7) };
    let partly = RulerSpec { blur_more_px: 3.0, noise_dn: 4.0, ..at(1.4, 104.0, 8) };
    let inverted = RulerSpec { inverted: true, ..at(1.0, 67.0, 9) };
    for spec in [soft, partly, inverted] {
        let reading = read(&ruler(&spec)).unwrap_or_else(|e| panic!("{spec:?}: {e}"));
        assert!(off(&spec, &reading).abs() < 0.005, "{spec:?}: {}", off(&spec, &reading));
    }
}

#[test]
fn a_tilted_ruler_says_so_and_is_less_sure() {
    let flat = at(0.8, 12.0, 3);
    let tilted = RulerSpec { tilt: 0.03, ..flat };
    let (flat_read, tilted_read) = (read(&ruler(&flat)).unwrap(), read(&ruler(&tilted)).unwrap());
    assert!(off(&tilted, &tilted_read).abs() < 0.005);
    let change = tilted_read.change_along.expect("a change of 3 % is seen");
    assert!((change.abs() - 0.03).abs() < 0.006, "{change}");
    let err = |r: &RulerReading| r.period_px.std_err.unwrap() / r.period_px.value;
    assert!(err(&tilted_read) > 0.006 && err(&flat_read) < 0.003);
}

#[test]
fn half_millimetres_are_told_by_their_lengths() {
    let halves = RulerSpec { ticks_mm: 0.5, ..at(1.0, 0.0, 5) };
    assert!(read(&ruler(&halves)).unwrap().every_second_longer);
    assert!(!read(&ruler(&at(1.0, 0.0, 5))).unwrap().every_second_longer);
}

#[test]
fn pictures_without_a_ruler_are_refused() {
    let picture = |plane: stopwise::core::Plane| RenderedPicture {
        width_px: plane.width_px,
        height_px: plane.height_px,
        channels: 1,
        data: plane.to_luma(),
    };
    let flat =
        RenderedPicture { width_px: 640, height_px: 480, channels: 1, data: vec![128; 640 * 480] };
    let edge = (0..640 * 480).map(|i| if i % 640 + i / 640 < 500 { 40 } else { 200 }).collect();
    let edge = RenderedPicture { data: edge, ..flat.clone() };
    // Four ticks are too few: at 7:1 the short side holds 3.4 mm.
    let few = RulerSpec { ticks_mm: 1.0, ..at(7.0, 90.0, 2) };
    let mut all = vec![("flat", flat), ("edge", edge), ("few", ruler(&few))];
    for seed in 1..4 {
        all.push(("leaves", picture(patch(PatchKind::DeadLeaves, 1.0, 2.0, seed, 500))));
        all.push(("edges", picture(patch(PatchKind::Edges, 1.0, 2.0, seed, 500))));
        all.push(("bricks", bricks(seed, 700, 500)));
    }
    for name in ["brick", "gravel"] {
        let path = format!("{}/testdata/{name}.png", env!("CARGO_MANIFEST_DIR"));
        let grey = image::open(path).unwrap().to_luma8();
        let (w, h) = (grey.width() as usize, grey.height() as usize);
        all.push((
            name,
            RenderedPicture { width_px: w, height_px: h, channels: 1, data: grey.into_raw() },
        ));
    }
    for (name, picture) in all {
        if let Ok(reading) = read(&picture) {
            panic!("{name} was taken for a ruler: {:?}", reading.period_px);
        }
    }
}

// A row of marks that is lost in the frame may be anything.
#[test]
fn a_ruler_has_to_fill_a_good_part_of_the_frame() {
    let spec = RulerSpec { width_px: 300, height_px: 200, ..at(0.7, 0.0, 6) };
    let small = ruler(&spec);
    let within = |width_px: usize, height_px: usize| {
        let mut data = vec![90u8; width_px * height_px];
        for (y, row) in small.data.chunks_exact(300).enumerate() {
            let start = (y + (height_px - 200) / 2) * width_px + (width_px - 300) / 2;
            data[start..start + 300].copy_from_slice(row);
        }
        read(&RenderedPicture { width_px, height_px, channels: 1, data })
    };
    assert!(within(600, 400).is_ok());
    let refused = within(1500, 1000);
    assert!(matches!(refused, Err(NoRuler::Small { .. })), "{refused:?}");
}

// facts C2, C19, D5 and D9 at 1:1, f/8: working f/16; depth 0.16 mm for a disc of 5 µm and
// 0.5632 mm for a quarter wave.
#[test]
fn the_depth_table_holds_the_checked_values() {
    let row = depths(&Optics::bare(1.0, None), 5.0)
        .into_iter()
        .find(|d| d.marked_f_number > 7.9)
        .unwrap();
    approx::assert_abs_diff_eq!(row.working_f_number, 16.0, epsilon = 1e-9);
    approx::assert_abs_diff_eq!(row.depth_blur_disc_mm, 0.16, epsilon = 5e-5);
    approx::assert_abs_diff_eq!(row.depth_quarter_wave_mm, 0.5632, epsilon = 5e-5);
    // facts M8: object-side Airy diameter 21.466 µm.
    approx::assert_abs_diff_eq!(row.airy_diameter_um, 21.466, epsilon = 1e-3);
}

#[test]
fn the_command_gives_scale_and_magnification() {
    let place = Place::new();
    let spec = at(1.0, 5.0, 11);
    let tags = Tags { pitch_um: 24.0, ..Tags::invented() };
    place.put("-ruler.jpg", &jpeg(&ruler(&spec), 92, true, Some(&tags)).unwrap());
    let ran = place.run(&["scale", "--ticks", "1", "--json", "-", "--", "-ruler.jpg"]);
    let record: Json = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let value = |key: &str| record[key]["value"].as_f64().unwrap();
    assert!((value("object_um_per_px") / 24.0 - 1.0).abs() < 0.005);
    assert!((value("magnification") - 1.0).abs() < 0.005);
    assert!(record["object_um_per_px"]["std_err"].as_f64().unwrap() > 0.0);
    assert!((value("field_width_mm") - 36.0).abs() < 0.2);
    assert_eq!(record["pixel_pitch_um"]["from"], "file");
    assert_eq!(record["depths"].as_array().unwrap().len(), 8);

    let ran = place.run(&["scale", "--report", "page.html", "--", "-ruler.jpg"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("assumed to be 1 mm apart"), "{text}");
    assert!(ran.stdout.contains("quarter wave"), "{}", ran.stdout);
    let page = std::fs::read_to_string(place.path().join("page.html")).unwrap();
    assert!(page.contains("tick-line") && !page.contains("NaN"));
    crate::axes::ticks_are_spaced_as_recorded(&page, &record);
}

#[test]
fn a_frame_without_a_ruler_ends_with_2_and_the_reason() {
    let place = Place::new();
    place.put("leaf.jpg", &crate::cli::jpeg(&crate::cli::picture(1.0), &[]));
    let ran = place.run(&["scale", "leaf.jpg", "--json", "r.json"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("no scale from leaf.jpg"), "{}", ran.stderr);
    let record: Json =
        serde_json::from_str(&std::fs::read_to_string(place.path().join("r.json")).unwrap())
            .unwrap();
    assert!(record["refused"].is_string() && record["object_um_per_px"].is_null());
}

#[test]
fn the_magnification_is_saved_in_a_rig() {
    let place = Place::new();
    // At twice life size; of a lens at 1:1 with a close-up lens (facts C12: 100 mm, 5 dioptres).
    let picture = ruler(&at(2.0, 5.0, 11));
    place.put("ruler.jpg", &jpeg(&picture, 92, true, None).unwrap());
    let rigs = "# mine\n[close]\npixel_pitch_um = 24.0\n[close.lens]\nfocal_mm = 100.0\n\
                [close.mounted]\nclose_up_dioptres = 5.0\n";
    place.put("rigs.toml", rigs.as_bytes());
    let run = |args: &[&str]| {
        place.command(args).env("STOPWISE_RIGS", place.path().join("rigs.toml")).output().unwrap()
    };
    let out = run(&["scale", "ruler.jpg", "--save", "close", "--json", "r.json"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let text = std::fs::read_to_string(place.path().join("rigs.toml")).unwrap();
    let table: toml::Table = text.parse().unwrap();
    let saved = &table["close"];
    assert!((saved["magnification"].as_float().unwrap() - 2.0).abs() < 0.01, "{text}");
    assert_eq!(saved["magnification_from"].as_str(), Some("ruler"));
    assert!(saved["magnification_std_err"].as_float().unwrap() > 0.0);
    assert!(text.starts_with("# mine"));
    // facts C18: the close-up lens does not change the working f-number: f/8 works at f/16.
    let record: Json =
        serde_json::from_str(&std::fs::read_to_string(place.path().join("r.json")).unwrap())
            .unwrap();
    let row = &record["depths"][4];
    assert_eq!(row["marked_f_number"], 8.0);
    assert!((row["working_f_number"].as_f64().unwrap() / 16.0 - 1.0).abs() < 0.01, "{row}");

    let out = run(&["scale", "ruler.jpg", "--save", "none"]);
    assert_eq!(out.status.code(), Some(2));
    let text_after = std::fs::read_to_string(place.path().join("rigs.toml")).unwrap();
    assert_eq!(text, text_after);
}
