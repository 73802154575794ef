//! Lists of columns: the same rules for each, and every surface reads them.

use std::collections::BTreeSet;

use stopwise::report::column::Decimals::{ByError, PerCent, WrittenFNumber, WrittenShutter};
use stopwise::report::column::{Cell, Column, html_table, markdown_table};
use stopwise::report::csv;
use stopwise::report::term::Style;
use stopwise::report::term::table::{table, text_columns};
use stopwise::{body_noise, clips, compare, cull, limits, plan, review, ruler};

/// A unit as shown, and how it ends a key. A share or a ratio has none.
const UNITS: &[(&str, &str)] = &[
    ("", ""),
    ("0..1", ""),
    ("×", ""),
    ("px", "_px"),
    ("s", "_s"),
    ("°", "_deg"),
    ("DN", "_dn"),
    ("DN²", "_lap_var"),
    ("bit/px", "_bits_px"),
    ("cy/px", "_cy_px"),
    ("lp/mm", "_lp_mm"),
    ("µm", "_um"),
    ("µm/px", "_um_per_px"),
    ("px rms", "_px"),
    ("±px", "_px"),
    ("Hz", "_hz"),
    ("up to ×", ""),
    ("mm", "_mm"),
    ("Ev", "_ev"),
    ("e", "_e"),
    ("DN/e", "_dn_per_e"),
    ("%", "_percent"),
    ("a hit", "_a_hit"),
];

fn snake_case(key: &str) -> bool {
    let sign = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    key.starts_with(|c: char| c.is_ascii_lowercase())
        && key.chars().all(sign)
        && !key.contains("__")
        && !key.ends_with('_')
}

/// What is wrong with a list.
fn faults<R>(list: &str, columns: &[Column<R>]) -> Vec<String> {
    let mut faults = Vec::new();
    let mut seen = BTreeSet::new();
    for column in columns {
        for key in std::iter::once(column.key).chain(column.error_key) {
            if !snake_case(key) {
                faults.push(format!("{list}: {key} is not in snake case"));
            }
            if !seen.insert(key) {
                faults.push(format!("{list}: {key} comes twice"));
            }
        }
        if column.error_key.is_some_and(|key| !key.contains("std_err")) {
            faults.push(format!("{list}: the error of {} is not named so", column.key));
        }
        match UNITS.iter().find(|(unit, _)| *unit == column.unit) {
            None => {
                faults.push(format!("{list}: {} has the unknown unit {}", column.key, column.unit))
            }
            Some((unit, end)) if !column.key.ends_with(end) => {
                faults.push(format!("{list}: {} does not end with its unit, {unit}", column.key));
            }
            Some(_) => {}
        }
        if column.heading.is_empty() {
            faults.push(format!("{list}: {} has no heading", column.key));
        }
        if !column.meaning.ends_with('.') || column.meaning.contains("  ") {
            faults.push(format!("{list}: the meaning of {} is no sentence", column.key));
        }
    }
    faults
}

#[test]
fn every_list_keeps_the_rules() {
    let mut found = faults("cull", cull::columns::COLUMNS);
    found.extend(faults("clip", &clips::columns::columns()));
    found.extend(faults("compare", compare::columns::COLUMNS));
    found.extend(faults("stretches", clips::columns::SPAN_COLUMNS));
    found.extend(faults("depths", ruler::columns::COLUMNS));
    found.extend(faults("chart", limits::columns::COLUMNS));
    found.extend(faults("agreement", review::columns::COLUMNS));
    found.extend(faults("noise of raw frames", &body_noise::columns::RAW_COLUMNS));
    found.extend(faults("noise of rendered frames", &body_noise::columns::RENDERED_COLUMNS));
    found.extend(faults("plan", plan::columns::SETTINGS));
    found.extend(faults("video", plan::columns::VIDEO));
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn a_bad_list_is_found() {
    let bad: [Column<f64>; 3] = [
        Column::new("Blur", "blur", "px", ByError, |v| Cell::Number(*v), "Blur"),
        Column::with_error("a_px", "a_px", "", "px", ByError, |v| Cell::Number(*v), "A."),
        Column::new("b", "b", "furlong", ByError, |v| Cell::Number(*v), "B."),
    ];
    assert_eq!(faults("bad", &bad).len(), 7);
}

struct Row {
    blur: f64,
    error: Option<f64>,
    name: &'static str,
}

const BASE: fn() -> Vec<Column<Row>> = || {
    vec![
        Column::new("name", "name", "", ByError, |r| Cell::Text(r.name.to_owned()), "A name."),
        Column::with_error(
            "blur_px",
            "blur_std_err_px",
            "blur",
            "px",
            ByError,
            |r: &Row| Cell::Measured(r.blur, r.error),
            "Blur.",
        )
        .dropped(1),
    ]
};

#[test]
fn an_added_column_is_in_terminal_csv_page_and_reference() {
    let rows = [
        Row { blur: 1.2345, error: Some(0.06), name: "one" },
        Row { blur: 2.0, error: None, name: "=two" },
    ];
    let surfaces = |columns: &[Column<Row>]| {
        let text = text_columns(columns, &rows, Style::PLAIN);
        let terminal = table(text, Style::PLAIN, |_, _, cell| cell.to_owned());
        let mut written = Vec::new();
        csv::write(columns, &rows, &mut written).unwrap();
        let (head, cells) = html_table(columns, &rows);
        (terminal, String::from_utf8(written).unwrap(), head, cells, markdown_table(columns))
    };
    let mut columns = BASE();
    let (terminal, written, head, cells, reference) = surfaces(&columns);
    assert_eq!(
        written, "name,blur_px,blur_std_err_px\none,1.2345,0.06\n'=two,2,\n",
        "each error beside its value"
    );
    assert_eq!(head, ["name", "blur, px"]);
    assert_eq!(cells, [["one", "1.23 ± 0.06"], ["=two", "2.00"]]);
    assert!(!terminal.contains("twice") && !reference.contains("twice"));

    columns.push(Column::new(
        "twice_um",
        "twice",
        "µm",
        ByError,
        |r| Cell::Number(2.0 * r.blur),
        "Twice the blur.",
    ));
    let (terminal, written, head, cells, reference) = surfaces(&columns);
    assert_eq!(
        written,
        "name,blur_px,blur_std_err_px,twice_um\none,1.2345,0.06,2.469\n'=two,2,,4\n"
    );
    assert_eq!(head, ["name", "blur, px", "twice, µm"]);
    assert_eq!(cells, [["one", "1.23 ± 0.06", "2.47"], ["=two", "2.00", "4.00"]]);
    let lines: Vec<&str> = terminal.lines().collect();
    assert!(lines[0].ends_with("twice"), "{terminal}");
    assert!(lines[2].ends_with("2.47") && lines[3].ends_with("4.00"), "{terminal}");
    assert!(reference.ends_with("| `twice_um` | twice | µm | Twice the blur. |\n"), "{reference}");
}

#[test]
fn a_column_without_any_value_is_not_in_the_page() {
    let columns: [Column<f64>; 2] = [
        Column::new("a", "a", "", ByError, |v| Cell::Number(*v), "A."),
        Column::new("b", "b", "", ByError, |_| Cell::Missing, "B."),
    ];
    let (head, cells) = html_table(&columns, &[1.0, 2.0]);
    assert_eq!(head, ["a"]);
    assert_eq!(cells, [["1.00"], ["2.00"]]);
}

#[test]
fn numbers_are_shown_as_their_column_says() {
    let shown = |decimals, value| {
        Column::new("a", "a", "", decimals, |v: &f64| Cell::Number(*v), "A.").shown(&value)
    };
    assert_eq!(shown(WrittenFNumber, 5.6).unwrap(), "f/5.6");
    assert_eq!(shown(WrittenShutter, 0.005).unwrap(), "1/200 s");
    assert_eq!(shown(PerCent, 0.45).unwrap(), "45 %");
    assert_eq!(shown(PerCent, f64::NAN), None);
}
