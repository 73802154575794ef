//! Rigs: found by what the files say, edited by people, used by cull.

use std::fs;

use exif::Tag;

use super::{Place, exposed, jpeg, picture};
use crate::exposure::{field, text};

fn place_with_lens(lens: Option<&str>) -> Place {
    let place = Place::new();
    let mut fields = exposed(0, 0);
    fields.extend(lens.map(|l| field(Tag::LensModel, text(l))));
    place.put("day/a.jpg", &jpeg(&picture(1.0), &fields));
    place
}

/// facts C12 and C18: f = 100 mm at 1:1 with 5 dioptres in front gives 2:1; the working f-number
/// of f/8 stays 16.
#[test]
fn a_frame_finds_its_rig_and_gets_its_working_f_number() {
    let place = place_with_lens(Some("Osk 100"));
    let made = place.run(&[
        "rig",
        "add",
        "beetle",
        "--model",
        "VM-7",
        "--make",
        "velmarrow",
        "--lens",
        "OSK 100",
        "--focal",
        "100",
        "--lens-magnification",
        "1",
        "--close-up",
        "5",
        "--pitch",
        "4.4",
    ]);
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    assert!(made.stdout.contains("2 × (worked out)"), "{}", made.stdout);
    assert!(made.stdout.contains("2.20 µm per pixel"), "{}", made.stdout);
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(0));
    let e = &record["frames"][0]["exposure"];
    assert_eq!(e["rig"], "beetle");
    assert_eq!(e["magnification"]["value"], 2.0);
    assert_eq!(e["working_f_number"]["value"], 16.0);
    assert!((e["object_um_per_px"]["value"].as_f64().unwrap() - 2.2).abs() < 1e-12);
    assert_eq!(e["pixel_pitch_um"], 4.4);
    assert_eq!(e["from"]["magnification"], "rig");
    // No pupil ratio was given: the symmetric one was taken.
    assert_eq!(e["from"]["working_f_number"], "assumed");
    assert_eq!(e["f_number"], 8.0);
    // What was typed goes before.
    let (record, _) = place.culled(&["day", "--magnification", "3.5"]);
    let e = &record["frames"][0]["exposure"];
    assert_eq!(
        (e["magnification"]["value"].as_f64(), &e["from"]["magnification"]),
        (Some(3.5), &"typed".into())
    );
    // 3.5 = m0 + 0.5 (1 + m0): m0 = 2, so 8 (1 + 2).
    assert_eq!(e["working_f_number"]["value"], 24.0);
}

#[test]
fn without_a_rig_nothing_is_claimed() {
    let place = place_with_lens(None);
    let (record, _) = place.culled(&["day"]);
    let e = &record["frames"][0]["exposure"];
    for key in ["rig", "magnification", "working_f_number", "object_um_per_px"] {
        assert!(e[key].is_null(), "{key}: {}", e[key]);
    }
}

#[test]
fn two_rigs_that_fit_equally_are_asked_about() {
    let place = place_with_lens(None);
    place.put(
        "own/rigs.toml",
        b"[bare]\nmagnification = 1\nbody = { model = \"Velmarrow VM-7\" }\n\
          [tubes]\nmagnification = 2.5\nbody = { model = \"Velmarrow VM-7\" }\n",
    );
    let (record, _) = place.culled(&["day"]);
    assert!(record["frames"][0]["exposure"]["rig"].is_null());
    let says = record["outing"]["findings"].to_string();
    assert!(says.contains("(bare, tubes), so none was used"), "{says}");
    let (record, _) = place.culled(&["day", "--rig", "tubes"]);
    let e = &record["frames"][0]["exposure"];
    assert_eq!(
        (e["rig"].as_str(), e["working_f_number"]["value"].as_f64()),
        (Some("tubes"), Some(28.0))
    );
    let none = place.run(&["cull", "day", "--rig", "tube"]);
    assert_eq!(none.code, Some(2));
    assert!(none.stderr.contains("no rig named tube; there are: bare, tubes"), "{}", none.stderr);
}

#[test]
fn a_lens_without_contacts_works_through_the_rig_alone() {
    let place = Place::new();
    let mut fields = exposed(0, 0);
    fields.retain(|f| f.tag != Tag::FNumber && f.tag != Tag::FocalLength);
    place.put("day/a.jpg", &jpeg(&picture(1.0), &fields));
    let made = place.run(&[
        "rig",
        "add",
        "old glass",
        "--model",
        "Velmarrow VM-7",
        "--no-contacts",
        "--focal",
        "50",
        "--lens-magnification",
        "0",
        "--tube",
        "36",
        "--aperture",
        "5.6",
        "--pupil-ratio",
        "1.2",
    ]);
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    let (record, _) = place.culled(&["day"]);
    let e = &record["frames"][0]["exposure"];
    // facts C11: 36 mm on 50 mm is 0.72; N (1 + m/p) = 5.6 · 1.6.
    assert_eq!(e["magnification"]["value"], 0.72);
    assert!((e["working_f_number"]["value"].as_f64().unwrap() - 8.96).abs() < 1e-9);
    assert_eq!((&e["f_number"], &e["from"]["f_number"]), (&5.6.into(), &"rig".into()));
    assert_eq!(e["from"]["working_f_number"], "rig");
}

#[test]
fn the_file_belongs_to_people() {
    let place = place_with_lens(None);
    let text = "# my things\n\n[wasp]          # the small one\nmagnification = 1.5   # guessed\n";
    place.put("own/rigs.toml", text.as_bytes());
    let ran = place.run(&["rig", "add", "fly", "--like", "day/a.jpg", "--magnification", "2"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let now = || fs::read_to_string(place.path().join("own/rigs.toml")).unwrap();
    assert!(now().starts_with(text), "{}", now());
    assert!(now().contains("\n[fly]\nmagnification = 2.0\n"), "{}", now());
    assert!(now().contains("model = \"Velmarrow VM-7\""), "{}", now());
    let twice = place.run(&["rig", "add", "fly"]);
    assert_eq!(twice.code, Some(2));
    assert!(twice.stderr.contains("fly already exists"), "{}", twice.stderr);
    assert_eq!(place.run(&["rig", "remove", "fly"]).code, Some(0));
    assert_eq!(now().trim_end(), text.trim_end());
    let gone = place.run(&["rig", "remove", "fly"]);
    assert_eq!(gone.code, Some(2));
    assert!(gone.stderr.contains("no rig named fly; there are: wasp"), "{}", gone.stderr);
}

#[test]
fn a_slip_in_the_file_is_told_with_its_line() {
    let place = place_with_lens(None);
    for (text, says) in [
        ("[a]\nmagnification = 2\nmagnificaton = 3\n", "line 3: unknown field `magnificaton`"),
        ("[a]\n\nmagnification = two\n", "line 3: "),
        ("[a]\nmagnification = 250\n", "a: magnification is from 0.001 to 100"),
        ("[a]\nmagnification = nan\n", "a: magnification is from 0.001 to 100"),
    ] {
        place.put("own/rigs.toml", text.as_bytes());
        for args in [&["cull", "day", "--no-report"][..], &["rig", "list"], &["rig", "add", "b"]] {
            let ran = place.run(args);
            assert_eq!(ran.code, Some(2), "{args:?} {text}");
            assert!(ran.stderr.contains(says), "{args:?} {}", ran.stderr);
            assert_eq!(ran.stderr.lines().count(), 1, "{}", ran.stderr);
        }
        assert_eq!(fs::read_to_string(place.path().join("own/rigs.toml")).unwrap(), text);
    }
}

#[test]
fn an_empty_list_says_what_to_do() {
    let place = Place::new();
    let ran = place.run(&["rig", "list"]);
    assert_eq!(ran.code, Some(0));
    assert!(ran.stdout.contains("`stopwise rig add --help`"), "{}", ran.stdout);
    assert!(!place.path().join("own").exists(), "looking makes no file");
}

#[test]
fn a_rig_names_the_body_of_files_that_do_not() {
    let place = Place::new();
    place.put("flat/a.jpg", &jpeg(&picture(1.0), &[]));
    place.put("own/rigs.toml", b"[old]\nbody = { make = \"Velmarrow\", model = \"VM-1\" }\n");
    let body = |args: &[&str]| {
        let ran = place.run(&[&["noise", "flat", "--json", "-"], args].concat());
        let record: serde_json::Value = serde_json::from_str(&ran.stdout).unwrap();
        record["bodies"][0]["body"].as_str().unwrap().to_owned()
    };
    assert_eq!(body(&[]), "unknown body");
    assert_eq!(body(&["--rig", "old"]), "Velmarrow VM-1");
    // With --log it is kept under that name.
    body(&["--rig", "old", "--log"]);
    let list = place.run(&["log", "list"]);
    assert!(
        list.stdout.contains("Noise of Velmarrow VM-1: 1 measurement at 1 ISO"),
        "{}",
        list.stdout
    );
}
