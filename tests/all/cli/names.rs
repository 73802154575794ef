//! File names that would break a careless page or table.

use std::fs;

use super::{Place, exposed, jpeg, picture};

#[cfg(unix)]
#[test]
fn names_with_markup_quotes_and_line_ends_stay_names() {
    let place = Place::new();
    let name = "a\"b'c<i>&amp;\n,;\u{1b}[31m.jpg";
    place.put(&format!("day/{name}"), &jpeg(&picture(1.0), &exposed(0, 0)));
    place.put("day/<script>alert(1)<.jpg", b"");
    let ran = place.run(&["cull", "day", "--json", "r.json", "--csv", "r.csv"]);
    assert_eq!(ran.code, Some(1), "{}", ran.stderr);
    // No escape codes and no broken rows on the terminal.
    assert!(!ran.stdout.contains('\u{1b}'), "{}", ran.stdout);
    assert!(!ran.stderr.contains('\u{1b}'), "{}", ran.stderr);

    let read = |file: &str| fs::read_to_string(place.path().join(file)).unwrap();
    let record: serde_json::Value = serde_json::from_str(&read("r.json")).unwrap();
    assert_eq!(record["frames"][0]["path"], name);
    assert_eq!(record["bursts"][0]["frames"][0], name);
    let rows = read("r.csv");
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 1);
    assert_eq!(&rows[0][0], name);

    let page = read("stopwise-report.html");
    assert!(!page.contains("<i>") && !page.contains("<script"));
    assert!(page.contains("&lt;i&gt;") || page.contains("&#60;i&#62;"));
    assert!(page.contains("&lt;script&gt;alert(1)") || page.contains("&#60;script&#62;alert(1)"));
    assert!(!page.contains('\u{1b}'));
}

#[cfg(unix)]
#[test]
fn skipped_names_cannot_forge_lines() {
    let place = Place::new();
    place.put("day/a.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    place.put("day/x\nskipped everything: true\u{1b}[2J.jpg", b"");
    let ran = place.run(&["cull", "day", "--json", "-", "--no-report"]);
    assert_eq!(ran.code, Some(1));
    assert!(!ran.stderr.contains('\u{1b}'), "{:?}", ran.stderr);
    assert!(!ran.stderr.lines().any(|l| l.starts_with("skipped everything")), "{:?}", ran.stderr);
}

#[test]
fn names_in_any_script_are_kept() {
    let place = Place::new();
    let names = ["Grüner Käfer.jpg", "蜻蛉 1.jpg", "🐝.jpg"];
    for (i, name) in names.iter().enumerate() {
        place.put(&format!("day/{name}"), &jpeg(&picture(1.0), &exposed(0, i)));
    }
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(0));
    let got: Vec<&str> =
        record["frames"].as_array().unwrap().iter().map(|f| f["path"].as_str().unwrap()).collect();
    assert_eq!(got, names);
}
