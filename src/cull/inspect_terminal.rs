//! `inspect` in text: one frame, every number with its error and unit.

use super::columns::COLUMNS;
use super::record::InspectRecord;
use super::wording::causes;
use crate::report::sentences::Medium;
use crate::report::term::Style;
use crate::report::term::table::{padded, wrapped};
use crate::report::wording;

/// Columns that the heading already says.
const SAID_ABOVE: [&str; 4] = ["path", "verdict", "because", "flags"];

/// One frame.
pub fn inspect(record: &InspectRecord, style: Style) -> String {
    let frame = &record.frame;
    let mut text = String::new();
    let name = style.signs(&wording::visible(&frame.path));
    for line in wrapped(&name, style.columns(), 0).lines() {
        text.push_str(&format!("{}\n", style.bold(line)));
    }
    let mut verdict = frame.verdict.word().to_owned();
    let causes = causes(frame);
    if !causes.is_empty() {
        verdict.push_str(&format!(" · {causes}"));
    }
    text.push_str(&wrapped(&style.signs(&verdict), style.columns(), 0));
    text.push_str(&wrapped(
        &style.signs(&wording::visible(&frame.because.sentence(Medium::Terminal))),
        style.columns(),
        2,
    ));
    text.push('\n');

    let names = COLUMNS.iter().map(|c| c.heading.chars().count()).max().unwrap_or(0);
    for column in COLUMNS.iter().filter(|c| !SAID_ABOVE.contains(&c.key)) {
        let Some(shown) = column.shown(frame) else { continue };
        let unit = if column.unit == "0..1" { "" } else { column.unit };
        row(&mut text, column.heading, &format!("{shown} {unit}"), names, style);
    }
    if let Some(resolved) = &record.resolved_cy_px {
        let value = format!("{} cycles per pixel", wording::measured(resolved));
        row(&mut text, "above noise up to", &value, names, style);
    }
    if !record.noise.is_empty() {
        text.push_str(&format!("\n{}\n", style.bold("Noise by brightness, DN")));
        for at in &record.noise {
            let level = padded(&wording::fixed(at.level_dn, 0), 5, true);
            let sigma = style.signs(&wording::measured(&at.sigma_dn));
            text.push_str(&format!("  {level}  {sigma}\n"));
        }
    }
    if !frame.flags.is_empty() {
        text.push_str(&format!("\n{}\n", style.bold("Cautions")));
        for flag in frame.flags.iter() {
            text.push_str(&wrapped(&style.signs(flag.says()), style.columns(), 2));
        }
    }
    text
}

/// A heading and its value, wrapped beside it.
fn row(text: &mut String, heading: &str, value: &str, names: usize, style: Style) {
    let value = style.signs(value);
    let room = style.columns().saturating_sub(names + 4);
    for (i, line) in wrapped(value.trim_end(), room, 0).lines().enumerate() {
        let heading = if i == 0 { heading } else { "" };
        text.push_str(&format!("  {}  {line}\n", padded(heading, names, false)));
    }
}
