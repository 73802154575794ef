//! `chart`, and `plan` with a rig, as people and scripts run them.

use serde_json::Value as Json;

use super::Place;

/// A place with a rig of two times life size and an outing in its own log.
fn logged(place: &Place) -> [(&'static str, String); 2] {
    place.outing(&[3, 3]);
    let file = |name: &str| place.path().join(name).to_str().unwrap().to_owned();
    let env = [("STOPWISE_RIGS", file("rigs.toml")), ("STOPWISE_LOG", file("log.sqlite"))];
    let add = ["rig", "add", "beetle", "--like", "day/f001.jpg", "--magnification", "2"];
    run(place, &env, &[&add[..], &["--pitch", "4.4"]].concat(), 0);
    run(place, &env, &["cull", "day", "--log", "--no-report", "--quiet"], 0);
    env
}

fn run(place: &Place, env: &[(&str, String)], args: &[&str], code: i32) -> String {
    let mut command = place.command(args);
    command.envs(env.iter().map(|(k, v)| (*k, v.as_str())));
    let out = command.output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(code), "{args:?}: {said}");
    String::from_utf8(out.stdout).unwrap() + &said
}

#[test]
fn a_young_log_is_charted_as_far_as_it_goes() {
    let place = Place::new();
    let env = logged(&place);
    let record: Json =
        serde_json::from_str(&run(&place, &env, &["chart", "--json", "-"], 0)).unwrap();
    assert_eq!(record["rig"], "beetle");
    assert_eq!(record["magnification"], 2.0);
    assert_eq!(record["frames"], 6);
    assert!(record["model"].is_null() && record["grid"].as_array().unwrap().is_empty());
    let words = run(&place, &env, &["chart", "--report", "c.html"], 0);
    assert!(words.contains("too few"), "{words}");
    let page = std::fs::read_to_string(place.path().join("c.html")).unwrap();
    assert!(page.contains("too few") && !page.contains("NaN"));
    let csv = run(&place, &env, &["chart", "--csv", "-"], 0);
    assert!(csv.starts_with("working_f_number,iso,finest_um"), "{csv}");
}

#[test]
fn no_log_an_unknown_rig_and_a_damaged_log_are_said() {
    let place = Place::new();
    let env = [("STOPWISE_LOG", place.path().join("none.sqlite").to_str().unwrap().to_owned())];
    let said = run(&place, &env, &["chart"], 2);
    assert!(said.contains("--log"), "{said}");
    assert!(!place.path().join("none.sqlite").exists());
    let said = run(&place, &env, &["chart", "--log", "other.sqlite"], 2);
    assert!(said.contains("other.sqlite"), "{said}");
    place
        .put("broken.sqlite", b"no log at all, but long enough to be looked at as a database file");
    run(&place, &env, &["chart", "--log", "broken.sqlite"], 2);

    let place = Place::new();
    let env = logged(&place);
    let said = run(&place, &env, &["chart", "--rig", "moth"], 2);
    assert!(said.contains("beetle"), "{said}");
}

#[test]
fn a_plan_takes_what_the_rig_knows() {
    let place = Place::new();
    let env = logged(&place);
    let text = run(&place, &env, &["plan", "--rig", "beetle", "--depth", "1", "--json", "-"], 0);
    let record: Json = serde_json::from_str(&text).unwrap();
    assert_eq!(record["wish"]["magnification"], 2.0);
    assert_eq!(record["parameters"]["pitch_um"], 4.4);
    assert_eq!((&record["rig"], &record["model"]), (&"beetle".into(), &"typical".into()));
    assert!(record["model_basis"]["message"].as_str().unwrap().contains("of your own needs 12"));
    run(&place, &env, &["plan", "--rig", "moth", "--depth", "1"], 2);
    let said = run(&place, &env, &["plan", "--depth", "1"], 2);
    assert!(said.contains("--magnification"), "{said}");
}

#[test]
fn what_people_decide_is_told_and_charted() {
    use stopwise::core::verdict::Verdict;
    use stopwise::store::decisions::{DecisionKind, Decisions, NewDecision};
    let place = Place::new();
    let env = logged(&place);
    let decisions = place.path().join("own/decisions.sqlite");
    let env =
        [&env[..], &[("STOPWISE_DECISIONS", decisions.to_str().unwrap().to_owned())]].concat();
    let charted = |env: &[(&str, String)]| -> Json {
        serde_json::from_str(&run(&place, env, &["chart", "--json", "-"], 0)).unwrap()
    };
    let said = run(&place, &env, &["log", "agreement"], 0);
    assert!(said.contains("No decisions yet"), "{said}");
    assert!(!decisions.exists(), "looking makes no file");
    let before = charted(&env);
    assert_eq!(before["decided"], 0);
    let outings = |record: &Json| {
        let share = &record["by_outing"][0]["share"];
        (share["count"].as_u64().unwrap(), share["of"].as_u64().unwrap())
    };
    let (hits, judged) = outings(&before);
    assert!(hits >= 1, "{before}");

    // Two frames that the program calls hits: one is said to be a miss, one to be a hit.
    let export: Json =
        serde_json::from_str(&run(&place, &env, &["log", "export", "--json", "-"], 0)).unwrap();
    let frames = export["outings"][0]["frames"].as_array().unwrap();
    let hit: Vec<&str> = frames
        .iter()
        .filter(|f| f["verdict"] == "hit")
        .map(|f| f["path"].as_str().unwrap())
        .collect();
    let mut kept = Decisions::open(&decisions).unwrap();
    for (path, verdict) in hit.iter().zip([Verdict::Miss, Verdict::Hit]) {
        let file = place.path().join(path);
        let what = DecisionKind::Verdict(Some(verdict));
        let program = Verdict::Hit;
        let new = NewDecision { outing: "day", file: &file, what, program, cause: None };
        kept.add(&new).unwrap();
    }
    drop(kept);
    let after = charted(&env);
    let decided = hit.len().min(2) as u64;
    assert_eq!((after["decided"].as_u64(), after["overruled"].as_u64()), (Some(decided), Some(1)));
    assert_eq!(outings(&after), (hits - 1, judged));
    let says = after["findings"].as_array().unwrap().iter().filter_map(|f| f["message"].as_str());
    assert!(says.into_iter().any(|s| s.contains("1 of them disagrees with it")), "{after}");
    // The log itself keeps what the program said.
    let again = run(&place, &env, &["log", "export", "--json", "-"], 0);
    assert_eq!(serde_json::from_str::<Json>(&again).unwrap(), export);

    let record: Json =
        serde_json::from_str(&run(&place, &env, &["log", "agreement", "--json", "-"], 0)).unwrap();
    assert_eq!(record["decided"].as_u64(), Some(decided));
    assert_eq!(record["agreed"]["count"].as_u64(), Some(decided - 1));
    assert_eq!(record["swapped"]["count"], 1);
    let csv = run(&place, &env, &["log", "agreement", "--csv", "-"], 0);
    assert!(csv.starts_with("by,key,decided,agreed,"), "{csv}");
    assert!(csv.lines().nth(1).unwrap().starts_with("verdict,hit,"), "{csv}");
    let said = run(&place, &env, &["log", "agreement", "--csv", "-", "--json", "-"], 2);
    assert!(said.contains("cannot both"), "{said}");
}
