//! `noise` in text: a table a body, then its findings.

use super::Style;
use super::table::{TextColumn, table, wrapped};
use crate::report::noise_record::{BodyNoise, IsoNoise, NoiseRecord, WithError};
use crate::report::record::FrameSource;
use crate::report::wording;

/// Every body.
pub fn noise(record: &NoiseRecord, style: Style) -> String {
    let mut text = String::new();
    for body in &record.bodies {
        let name = style.signs(&wording::visible(&body.body));
        for line in wrapped(&name, style.columns(), 0).lines() {
            text.push_str(&format!("{}\n", style.bold(line)));
        }
        for (source, heading) in [
            (FrameSource::Raw, "Raw: noise as standard deviation in DN of the file"),
            (FrameSource::Rendered, "Rendered: noise as standard deviation in 8-bit steps"),
        ] {
            let rows: Vec<&IsoNoise> = body.isos.iter().filter(|r| r.source == source).collect();
            if !rows.is_empty() {
                text.push_str(&wrapped(heading, style.columns(), 0));
                text.push_str(&rows_table(&rows, style));
            }
        }
        text.push_str(&said(body, style));
        text.push('\n');
    }
    for s in &record.skipped {
        let line = format!("skipped {}: {}", wording::visible(&s.path), s.reason);
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    text
}

fn said(body: &BodyNoise, style: Style) -> String {
    let mut text = String::new();
    for finding in &body.findings {
        let next = finding.next.as_deref().map_or(String::new(), |n| format!(" {n}"));
        let line = format!("{}{next}", finding.says);
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 2));
    }
    text
}

fn rows_table(rows: &[&IsoNoise], style: Style) -> String {
    let column = |heading: &str, unit: &str, gives_way: u8, cell: &dyn Fn(&IsoNoise) -> String| {
        TextColumn {
            heading: heading.to_owned(),
            unit: style.signs(unit),
            right: true,
            gives_way,
            cells: rows.iter().map(|r| style.signs(&cell(r))).collect(),
        }
    };
    let with_error = |m: Option<WithError>| m.map_or(String::new(), |m| shown(m.value, m.std_err));
    let mut columns = vec![
        column("ISO", "", 0, &|r| r.iso.map_or(wording::NOTHING.to_owned(), |i| i.to_string())),
        column("frames", "", 4, &|r| r.frames.to_string()),
        column("from", "", 3, &|r| r.method.word().to_owned()),
        column("gain", "DN/e", 2, &|r| with_error(r.gain_dn_per_e)),
        column("read noise", "e", 1, &|r| with_error(r.read_noise_e)),
    ];
    let mut levels: Vec<f64> = rows.iter().flat_map(|r| &r.sigma_at).map(|s| s.level).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    for level in levels {
        columns.push(column(&format!("at {}", wording::per_cent(level)), "DN", 0, &|r| {
            let at = r.sigma_at.iter().find(|s| (s.level - level).abs() < 1e-9);
            let bound = if r.trusted { "" } else { "≤ " };
            at.map_or(String::new(), |s| format!("{bound}{}", shown(s.sigma_dn, s.std_err)))
        }));
    }
    table(columns, style, |row, _, cell| {
        if rows[row].trusted { cell.to_owned() } else { style.dim(cell) }
    })
}

fn shown(value: f64, std_err: Option<f64>) -> String {
    match std_err {
        Some(e) => {
            let decimals = wording::decimals_for(e);
            format!("{} ± {}", wording::fixed(value, decimals), wording::fixed(e, decimals))
        }
        None => wording::number(value),
    }
}
