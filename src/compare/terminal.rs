//! `compare` in text: findings first, then the steps, then what each change cost.

use crate::compare::columns::COLUMNS;
use crate::compare::record::{AttributionRecord, CompareRecord, step_name};
use crate::compare::sentences::region_choice;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, text_columns, wrapped};
use crate::report::wording;

/// A series.
pub fn compare(record: &CompareRecord, style: Style) -> String {
    let mut text = String::new();
    let frames: u32 = record.steps.iter().map(|s| s.frames).sum();
    let mut facts = vec![
        format!("Series by {}", record.axis.word()),
        wording::count(record.steps.len() as u32, "step", "steps"),
        wording::count(frames, "frame", "frames"),
    ];
    facts.extend(record.body.as_deref().map(wording::visible));
    facts.extend(record.protocol.map(|p| format!("by {}", p.words())));
    let title = wrapped(&style.signs(&facts.join(" · ")), style.columns(), 0);
    for line in title.lines() {
        text.push_str(&format!("{}\n", style.bold(line)));
    }
    let r = &record.region;
    let region = format!(
        "Region: {} x {} px round {},{} of the picture ({}).",
        r.width_px,
        r.height_px,
        wording::fixed(r.x, 2),
        wording::fixed(r.y, 2),
        region_choice(r, Medium::Terminal)
    );
    text.push_str(&wrapped(&style.signs(&region), style.columns(), 0));
    text.push('\n');
    for line in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&bullet(&style.signs(&line), style));
    }
    text.push('\n');
    let columns = text_columns(COLUMNS, &record.steps, style);
    text.push_str(&table(columns, style, |row, _, cell| {
        if record.best_step == Some(row) { style.bold(cell) } else { cell.to_owned() }
    }));
    if !record.attributions.is_empty() {
        text.push('\n');
        text.push_str(&changes(record, style));
    }
    for s in &record.skipped {
        let line = format!("skipped {}: {}", wording::visible(&s.path), s.in_terminal());
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    text
}

/// What each change cost, in bits per pixel.
fn changes(record: &CompareRecord, style: Style) -> String {
    let rows = &record.attributions;
    let name =
        |i: usize| record.steps.get(i).map_or_else(String::new, |s| step_name(s, record.axis));
    let column = |heading: &str,
                  unit: &str,
                  right,
                  drop_priority,
                  cell: &dyn Fn(&AttributionRecord) -> String| {
        TextColumn {
            heading: style.signs(heading),
            unit: style.signs(unit),
            right,
            drop_priority,
            cells: rows.iter().map(|a| style.signs(&cell(a))).collect(),
        }
    };
    let bits = |v: f64| format!("{v:+.3}");
    let columns = vec![
        column("from", "", false, 0, &|a| name(a.from)),
        column("to", "", false, 0, &|a| name(a.to)),
        column("change", "bit/px", true, 0, &|a| bits(a.total)),
        column("aperture", "bit/px", true, 0, &|a| bits(a.optics)),
        column("90 %", "bit/px", true, 1, &|a| format!("{} to {}", bits(a.low), bits(a.high))),
        column("noise", "bit/px", true, 0, &|a| bits(a.noise)),
        column("cost more", "", false, 0, &|a| {
            use crate::compare::record::CostMore::*;
            match a.cost_more {
                Optics => "aperture",
                Noise => "noise",
                AboutEqual => "about equal",
                CannotSeparate => "cannot separate",
                NothingLost => "nothing lost",
            }
            .to_owned()
        }),
    ];
    table(columns, style, |_, _, cell| cell.to_owned())
}

/// A paragraph hung from a dash.
fn bullet(text: &str, style: Style) -> String {
    let lines = wrapped(text, style.columns(), 2);
    let mark = style.signs("– ");
    format!("{mark}{}", lines.strip_prefix("  ").unwrap_or(&lines))
}
