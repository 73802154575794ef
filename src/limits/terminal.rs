//! `chart` in text: findings, the finest line by aperture and ISO, the hand, the season.

use crate::limits::record::{ChartRecord, HandRow};
use crate::limits::sentences;
use crate::report::parts::BreakdownRow;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, wrapped};
use crate::report::wording;

/// The chart.
pub fn chart(record: &ChartRecord, style: Style) -> String {
    let line = |text: &str| wrapped(&style.signs(text), style.columns(), 0);
    let mut text = String::new();
    for head in line(&sentences::heading(record)).lines() {
        text.push_str(&format!("{}\n", style.bold(head)));
    }
    for says in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&line(&says));
    }
    if !record.grid.is_empty() {
        text.push_str("\nFinest line, ");
        text.push_str(&style.signs("µm, by ISO (down) and working f-number\n"));
        text.push_str(&field(record, style));
    }
    let stills = record.hands.iter().map(|h| (h, ""));
    let hands = stills.chain(record.clip_hands.iter().map(|h| (h, " in clips")));
    for (h, what) in hands.filter(|(h, _)| h.rows.len() > 1) {
        let flash = if h.flash { " with flash" } else { "" };
        let heading =
            format!("{}×{flash}{what}, free of motion blur", wording::number(h.magnification));
        text.push_str(&format!("\n{}", line(&heading)));
        let column = |heading: &str, unit: &str, cells: Vec<String>| TextColumn {
            heading: heading.to_owned(),
            unit: style.signs(unit),
            right: true,
            drop_priority: 0,
            cells: cells.iter().map(|c| style.signs(c)).collect(),
        };
        let shake = |r: &HandRow| {
            r.shake_um.map_or(wording::NOTHING.to_owned(), |um| {
                wording::plus_minus(um, r.shake_std_err_um)
            })
        };
        text.push_str(&table(
            vec![
                column(
                    "shutter",
                    "",
                    h.rows.iter().map(|r| wording::marked_stop(r.shutter_s)).collect(),
                ),
                column("still", "", h.rows.iter().map(|r| wording::share(&r.still)).collect()),
                column("frames", "", h.rows.iter().map(|r| r.still.of.to_string()).collect()),
                column("smear", "µm", h.rows.iter().map(shake).collect()),
            ],
            style,
            |_, _, cell| cell.to_owned(),
        ));
    }
    for (heading, rows) in [
        ("Hits by aperture", &record.by_aperture),
        ("Hits by magnification", &record.by_magnification),
        ("Hits by outing", &record.by_outing),
        ("Why the others missed", &record.causes),
    ] {
        if !rows.is_empty() {
            text.push_str(&format!("\n{heading}\n{}", rates(rows, style)));
        }
    }
    text
}

fn rates(rows: &[BreakdownRow], style: Style) -> String {
    let column = |right, cells: Vec<String>| TextColumn {
        heading: String::new(),
        unit: String::new(),
        right,
        drop_priority: 0,
        cells: cells.iter().map(|c| style.signs(c)).collect(),
    };
    let body = table(
        vec![
            column(false, rows.iter().map(|r| wording::visible(&r.key)).collect()),
            column(true, rows.iter().map(|r| wording::share(&r.share)).collect()),
            column(
                true,
                rows.iter().map(|r| format!("{}/{}", r.share.count, r.share.of)).collect(),
            ),
        ],
        style,
        |_, _, cell| cell.to_owned(),
    );
    body.trim_start_matches('\n').to_owned()
}

/// Whole stops only: a terminal has room for no more.
fn field(record: &ChartRecord, style: Style) -> String {
    let stop = |n: f64| (2.0 * n.log2() - (2.0 * n.log2()).round()).abs() < 0.01;
    let iso_stop = |iso: f64| ((iso / 100.0).log2() - (iso / 100.0).log2().round()).abs() < 0.01;
    let cells: Vec<_> =
        record.grid.iter().filter(|c| stop(c.working_f_number) && iso_stop(c.iso)).collect();
    let mut isos: Vec<f64> = cells.iter().map(|c| c.iso).collect();
    let mut ns: Vec<f64> = cells.iter().map(|c| c.working_f_number).collect();
    for list in [&mut isos, &mut ns] {
        list.sort_by(f64::total_cmp);
        list.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-6);
    }
    let at = |n: f64, iso: f64| {
        let found = cells.iter().find(|c| {
            (c.working_f_number / n - 1.0).abs() < 1e-6 && (c.iso / iso - 1.0).abs() < 1e-6
        });
        match found {
            Some(c) => c.finest_um.map_or(wording::NOTHING.to_owned(), |um| {
                wording::plus_minus(um, c.finest_std_err_um)
            }),
            None => String::new(),
        }
    };
    let mut columns = vec![TextColumn {
        heading: "ISO".to_owned(),
        unit: String::new(),
        right: true,
        drop_priority: 0,
        cells: isos.iter().map(|iso| wording::fixed(*iso, 0)).collect(),
    }];
    columns.extend(ns.iter().enumerate().map(|(i, n)| TextColumn {
        heading: wording::f_number(*n),
        unit: String::new(),
        right: true,
        drop_priority: u8::try_from(i.min(200)).unwrap_or(200) + 1,
        cells: isos.iter().map(|iso| style.signs(&at(*n, *iso))).collect(),
    }));
    table(columns, style, |_, _, cell| cell.to_owned())
}
