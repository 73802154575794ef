//! Clips in the log: their rig, and the hand in clips apart from the hand in stills.

use serde_json::Value as Json;

use crate::cli::Place;
use crate::clips::{ffmpeg, made, subject};

const RIGS: &str = "[beetle]\nmagnification = 1.0\nclip_pixel_pitch_um = 9.0\n\
    pixel_pitch_um = 4.0\n[beetle.body]\nmodel = \"VM-7\"\n[beetle.lens]\nf_number = 8.0\n\
    contacts = false\n";

/// A place with a clip that names its camera and a rig for it.
fn place() -> Option<Place> {
    let (_, path, _) = made()?;
    let place = Place::new();
    place.put("own/rigs.toml", RIGS.as_bytes());
    let named = place.path().join("c.mp4");
    let args = ["-i", path.to_str().unwrap(), "-c", "copy", "-movflags", "use_metadata_tags"];
    let camera = ["-metadata", "make=Velmarrow", "-metadata", "model=VM-7"];
    ffmpeg(&[&args[..], &camera, &[named.to_str().unwrap()]].concat());
    Some(place)
}

fn read(place: &Place, args: &[&str]) -> Json {
    let ran = place.run(args);
    serde_json::from_str(&ran.stdout).unwrap_or_else(|e| panic!("{e}: {}", ran.stderr))
}

fn filmed(place: &Place, more: &[&str]) -> (Option<i32>, String) {
    let subject = subject();
    let args = ["clip", "c.mp4", "--subject", &subject, "--no-report", "-q"];
    let ran = place.run(&[&args[..], more].concat());
    (ran.code, ran.stderr)
}

#[test]
fn a_clip_finds_its_rig_by_its_camera() {
    let Some(place) = place() else { return };
    let subject = subject();
    let record = |more: &[&str]| {
        let args = ["clip", "c.mp4", "--subject", &subject, "--no-report", "--json", "-"];
        read(&place, &[&args[..], more].concat())
    };
    let clip = &record(&["--shutter", "1/100"])["clips"][0];
    assert_eq!(clip["camera"], "Velmarrow VM-7");
    let s = &clip["settings"];
    assert_eq!((&s["rig"], &s["pixel_pitch_um"]), (&"beetle".into(), &9.0.into()));
    assert_eq!((&s["marked_f_number"], &s["working_f_number"]), (&8.0.into(), &16.0.into()));
    assert_eq!((&s["magnification"]["value"], &s["shutter_s"]), (&1.0.into(), &0.01.into()));
    let typed = &record(&["--aperture", "11", "--pitch", "5"])["clips"][0]["settings"];
    assert_eq!((&typed["working_f_number"], &typed["pixel_pitch_um"]), (&22.0.into(), &5.0.into()));
    assert_eq!(typed["shutter_s"], Json::Null);
    let ran = place.run(&["clip", "c.mp4", "--rig", "moth", "--no-report", "-q"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("beetle"), "{}", ran.stderr);
}

#[test]
fn clips_feed_the_hand_apart_from_stills() {
    let Some(place) = place() else { return };
    place.outing(&[4, 3]);
    let culled = ["cull", "day", "--rig", "beetle", "--no-report", "-q", "--log"];
    assert_eq!(place.run(&culled).code, Some(0));
    let chart = ["chart", "--rig", "beetle", "--json", "-"];
    let before = read(&place, &chart);
    assert_eq!((&before["frames"], &before["clip_frames"]), (&7.into(), &0.into()));
    let (code, said) = filmed(&place, &["--shutter", "1/100", "--log"]);
    // 2.4 s, a frame every half second.
    assert_eq!(code, Some(0), "{said}");
    assert!(said.starts_with("Logged as outing 2: 5 frames in "), "{said}");
    let log = read(&place, &["log", "export", "--json", "-"]);
    let outings = log["outings"].as_array().unwrap();
    let outing = outings.iter().find(|o| o["id"] == 2).unwrap();
    assert_eq!(outing["kind"], "clip");
    let frames = outing["frames"].as_array().unwrap();
    let ids: std::collections::BTreeSet<_> =
        frames.iter().map(|f| f["content_id"].as_str().unwrap()).collect();
    assert_eq!(ids.len(), 5);
    for f in frames {
        assert_eq!((&f["rig"], &f["shutter_s"]), (&"beetle".into(), &0.01.into()));
        assert_eq!((&f["pixel_pitch_um"], &f["burst"]), (&9.0.into(), &1.into()));
        assert!(f["path"].as_str().unwrap().ends_with("c.mp4"));
    }
    let after = read(&place, &chart);
    assert_eq!(after["clip_frames"], 5);
    let hand = &after["clip_hands"][0];
    let said_of_hand = frames.iter().filter(|f| f["verdict"] == "hit" || f["causes"] == "shake");
    assert_eq!(hand["n"], said_of_hand.count());
    let apart = |mut chart: Json| {
        let fields = chart.as_object_mut().unwrap();
        fields.retain(|key, _| !key.starts_with("clip_") && key != "findings");
        chart
    };
    assert_eq!(apart(before.clone()), apart(after.clone()), "clips changed the chart of stills");
    let says = |chart: &Json| chart["findings"].as_array().unwrap().clone();
    let (old, new) = (says(&before), says(&after));
    assert_eq!(old, new[..old.len()]);
    assert!(
        new[old.len()]["message"].as_str().unwrap().starts_with("In clips, apart from stills: ")
    );
    // Once more: the same clip counts once.
    let (_, said) = filmed(&place, &["--shutter", "1/100", "--log"]);
    assert!(said.contains("replacing an earlier measurement"), "{said}");
    assert_eq!(read(&place, &chart)["clip_frames"], 5);
}

#[test]
fn what_is_missing_for_the_hand_is_said() {
    let Some(place) = place() else { return };
    let (code, said) = filmed(&place, &["--log=other.sqlite"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("in other.sqlite\n"), "{said}");
    assert!(said.contains("Handheld limits need --shutter and a magnification"), "{said}");
    let ran = place.run(&["chart", "--rig", "beetle", "--log", "other.sqlite"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert!(ran.stdout.contains("only clip frames"), "{}", ran.stdout);
}
