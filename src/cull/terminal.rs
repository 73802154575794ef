//! `cull` in text: a table a burst, then the outing.

use std::path::Path;

use super::record::{BurstRecord, CullRecord, FrameRecord, OutingRecord};
use super::{columns, summary};
use crate::core::verdict::Verdict;
use crate::report::parts::{BreakdownRow, Proportion, SkippedRecord};
use crate::report::sentences::{Medium, Sentences, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, display_width, padded, shortened, table, wrapped};
use crate::report::wording;

/// Longest text bar, in columns of one px each.
const BAR_PX: usize = 24;

/// Shortest text bar's room, so that the ruler above it has three labels.
const MIN_BAR: usize = 12;

/// Everything: bursts, then the outing.
pub fn cull(record: &CullRecord, report: Option<&Path>, style: Style) -> String {
    let mut text = String::new();
    for burst_record in &record.bursts {
        let frames: Vec<&FrameRecord> =
            record.frames.iter().filter(|f| f.burst == burst_record.id).collect();
        text.push_str(&burst(burst_record, &frames, style));
        text.push('\n');
    }
    text.push_str(&outing(&record.outing, &record.skipped, report, style));
    text
}

/// One burst: a heading, its table in order of time, its findings.
pub fn burst(record: &BurstRecord, frames: &[&FrameRecord], style: Style) -> String {
    let settings: Vec<String> =
        frames.iter().map(|f| style.signs(&wording::settings(&f.exposure))).collect();
    let same = settings.iter().all(|s| Some(s) == settings.first());
    let mut parts = vec![
        format!("Burst {}", record.id),
        wording::count(frames.len() as u32, "frame", "frames"),
    ];
    let first_time = frames.iter().find_map(|f| f.exposure.taken_at.as_deref());
    parts.extend(first_time.and_then(wording::clock).map(str::to_owned));
    let lasts = record.duration_s.filter(|_| frames.len() > 1);
    parts.extend(lasts.map(|s| format!("{} s", wording::fixed(s, 1))));
    if same {
        parts.extend(settings.first().filter(|s| !s.is_empty()).cloned());
    }
    let heading = style.signs(&parts.join(" · "));
    let heading = wrapped(&heading, style.columns(), 0);
    let mut text: String = heading.lines().map(|line| format!("{}\n", style.bold(line))).collect();

    let is_best = |f: &FrameRecord| record.best.as_deref() == Some(f.path.as_str());
    let other = record.other.as_ref().map(|o| o.best.as_str());
    let mut columns = vec![names(frames, style, is_best, other)];
    for (key, drop_priority) in [
        ("verdict", 0),
        ("cause", 1),
        ("blur_ratio", 0),
        ("blur_sigma_px", 2),
        ("motion_length_px", 4),
        ("noise_sigma_dn", 6),
        ("detail_bits_px", 5),
    ] {
        columns.extend(from_list(key, drop_priority, frames, style));
        if key == "blur_sigma_px" {
            columns.extend(bars(frames, style));
        }
    }
    if !same {
        columns.push(TextColumn {
            heading: "settings".to_owned(),
            unit: String::new(),
            right: false,
            drop_priority: 7,
            cells: settings,
        });
    }
    text.push_str(&table(columns, style, |row, at, cell| match frames[row].verdict {
        _ if at == 0 && is_best(frames[row]) => style.bold(cell),
        Verdict::Hit if at == 1 => style.bold(cell),
        Verdict::Unclear => style.dim(cell),
        _ => cell.to_owned(),
    }));
    text.push_str(&findings(&record.findings, style));
    text
}

fn names(
    frames: &[&FrameRecord],
    style: Style,
    is_best: impl Fn(&FrameRecord) -> bool,
    other: Option<&str>,
) -> TextColumn {
    let name = |f: &&FrameRecord| {
        let mark = match f {
            f if is_best(f) => "*",
            f if other == Some(f.path.as_str()) => "+",
            _ => " ",
        };
        format!("{mark} {}", style.signs(&wording::file_name(&f.path)))
    };
    TextColumn {
        heading: "  frame".to_owned(),
        unit: match other {
            Some(_) => "  (* best, + best for another subject)".to_owned(),
            None => "  (* best)".to_owned(),
        },
        right: false,
        drop_priority: 0,
        cells: frames.iter().map(name).collect(),
    }
}

/// A column of the one list as text.
fn from_list(
    key: &str,
    drop_priority: u8,
    frames: &[&FrameRecord],
    style: Style,
) -> Option<TextColumn> {
    let column = columns::by_key(key)?;
    // Ranges and errors only where the verdict hangs on them; elsewhere they are in the report.
    if key == "blur_sigma_px" {
        let cells =
            frames.iter().map(|f| column.shown(f).map_or(String::new(), |v| style.signs(&v)));
        return Some(TextColumn {
            heading: column.heading.to_owned(),
            unit: style.signs(column.unit),
            right: false,
            drop_priority,
            cells: cells.collect(),
        });
    }
    let words = matches!(key, "verdict" | "cause");
    let cells: Vec<String> = frames
        .iter()
        .map(|f| column.shown_parts(f).map_or(String::new(), |(value, _)| style.signs(&value)))
        .collect();
    let cells = if words { cells } else { points_aligned(cells) };
    Some(TextColumn {
        heading: column.heading.to_owned(),
        unit: style.signs(column.unit),
        right: !words,
        drop_priority,
        cells,
    })
}

/// Numbers filled on the right so that their points stand under one another.
fn points_aligned(cells: Vec<String>) -> Vec<String> {
    let after = |c: &String| c.find('.').map_or(0, |at| c.len() - at);
    let most = cells.iter().map(after).max().unwrap_or(0);
    let fill = |c: String| {
        if c.is_empty() {
            c
        } else {
            let missing = most - after(&c);
            format!("{c}{}", " ".repeat(missing))
        }
    };
    cells.into_iter().map(fill).collect()
}

/// Blur to scale: one column is one px of blur diameter (2σ), under a ruler in px.
fn bars(frames: &[&FrameRecord], style: Style) -> Option<TextColumn> {
    let diameters: Vec<Option<f64>> = frames
        .iter()
        .map(|f| f.blur_sigma_px.map(|m| 2.0 * m.value).filter(|d| d.is_finite()))
        .collect();
    let widest = diameters.iter().flatten().copied().reduce(f64::max)?;
    let most = if style.width > 100 { BAR_PX } else { BAR_PX / 2 };
    let room = (widest.ceil() as usize + 1).clamp(MIN_BAR, most);
    let cells = diameters.iter().map(|d| d.map_or(String::new(), |d| bar(d, room, style)));
    Some(TextColumn {
        heading: style.signs("2 × blur, px"),
        unit: ruler(room, style),
        right: false,
        drop_priority: 3,
        cells: cells.collect(),
    })
}

/// "0····5····10·": a label every five px, each at its own place.
fn ruler(room: usize, style: Style) -> String {
    let mut text = String::new();
    while text.chars().count() < room {
        let px = text.chars().count();
        if px.is_multiple_of(5) && px + px.to_string().len() <= room {
            text.push_str(&px.to_string());
        } else {
            text.push(if style.utf8 { '·' } else { '.' });
        }
    }
    text
}

/// A bar of `diameter_px` columns, to an eighth where the signs allow it; one that does not fit
/// ends in an arrow.
fn bar(diameter_px: f64, room: usize, style: Style) -> String {
    const EIGHTHS: [char; 8] = [' ', '▏', '▎', '▍', '▌', '▋', '▊', '▉'];
    let (full, arrow) = if style.utf8 { ('█', '→') } else { ('=', '>') };
    if diameter_px > room as f64 {
        let mut text: String = std::iter::repeat_n(full, room.saturating_sub(1)).collect();
        text.push(arrow);
        return text;
    }
    if style.utf8 {
        let eighths = (diameter_px.max(0.0) * 8.0).round() as usize;
        let mut text: String = std::iter::repeat_n(full, eighths / 8).collect();
        if !eighths.is_multiple_of(8) {
            text.push(EIGHTHS[eighths % 8]);
        }
        return text;
    }
    let halves = (diameter_px.max(0.0) * 2.0).round() as usize;
    let mut text: String = std::iter::repeat_n(full, halves / 2).collect();
    if !halves.is_multiple_of(2) {
        text.push('-');
    }
    text
}

fn findings(findings: &[impl Sentences], style: Style) -> String {
    let says = paragraphs(findings, Medium::Terminal);
    says.iter().map(|says| wrapped(&style.signs(says), style.columns(), 2)).collect()
}

/// The outing: hit rate, causes, breakdowns, findings, what was skipped, where the report lies.
pub fn outing(
    record: &OutingRecord,
    skipped: &[SkippedRecord],
    report: Option<&Path>,
    style: Style,
) -> String {
    let mut text = String::new();
    let judged = format!(
        "{} of {}",
        record.hits.count,
        wording::count(record.hits.of, "judged frame", "judged frames")
    );
    let mut line = format!("{} near, {} miss", record.near, record.misses);
    if record.unclear > 0 {
        line.push_str(&format!(", {} unclear", record.unclear));
    }
    let headline = match summary::no_rate_because(record) {
        None => {
            line = format!("{judged}; {line}; 95 % interval.");
            format!("Hit rate {}", wording::share(&record.hits))
        }
        Some(why) => {
            line = format!("{line}; {why}.");
            format!(
                "{} in {}",
                wording::count(record.hits.count, "hit", "hits"),
                wording::count(record.hits.of, "judged frame", "judged frames")
            )
        }
    };
    text.push_str(&format!("{}\n", style.bold(&style.signs(&headline))));
    text.push_str(&wrapped(&style.signs(&line), style.columns(), 2));
    text.push_str(&causes(&record.by_cause, style));
    if summary::has_rate(record) {
        text.push_str(&breakdown("Hits by aperture", &record.by_aperture, style));
        text.push_str(&breakdown("Hits by shutter", &record.by_shutter, style));
    }
    if !record.findings.is_empty() {
        text.push_str(&format!("\n{}\n", style.bold("Findings")));
        text.push_str(&findings(&record.findings, style));
    }
    if !skipped.is_empty() {
        let heading = format!("Skipped {}", wording::count(skipped.len() as u32, "file", "files"));
        text.push_str(&format!("\n{}\n", style.bold(&heading)));
        for one in skipped {
            let name = style.signs(&wording::visible(&one.path));
            let reason = style.signs(&wording::visible(&one.in_terminal()));
            text.push_str(&wrapped(&format!("{name}: {reason}"), style.columns(), 2));
        }
    }
    if let Some(report) = report {
        // Not wrapped: a path cut in two cannot be opened.
        let path = wording::visible(&report.display().to_string());
        text.push_str(&format!("\nReport: {path}\n"));
    }
    text
}

fn causes(rows: &[BreakdownRow], style: Style) -> String {
    let Some(most) = rows.iter().map(|r| r.share.count).max().filter(|m| *m > 0) else {
        return String::new();
    };
    let keys: Vec<String> = rows.iter().map(|r| style.signs(&wording::visible(&r.key))).collect();
    let names = keys.iter().map(|k| display_width(k)).max().unwrap_or(0);
    let room = style.columns().saturating_sub(names + 12).clamp(8, 40);
    let mut text = format!("\n{}\n", style.bold("Causes of near and missed frames"));
    for (row, key) in rows.iter().zip(&keys) {
        let length = f64::from(row.share.count) / f64::from(most) * room as f64;
        let key = padded(key, names, false);
        let drawn = bar(length, room, style);
        text.push_str(&format!("  {key}  {:>4}  {drawn}\n", row.share.count));
    }
    text
}

fn breakdown(heading: &str, rows: &[BreakdownRow], style: Style) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let keys: Vec<String> = rows.iter().map(|r| style.signs(&wording::visible(&r.key))).collect();
    let names = keys.iter().map(|k| display_width(k)).max().unwrap_or(0);
    let counts: Vec<String> =
        rows.iter().map(|r| format!("{} of {}", r.share.count, r.share.of)).collect();
    let count_width = counts.iter().map(String::len).max().unwrap_or(0);
    let shares: Vec<String> = rows.iter().map(|r| style.signs(&wording::share(&r.share))).collect();
    let share_width = shares.iter().map(|s| display_width(s)).max().unwrap_or(0);
    let used = 2 + names + 2 + count_width + 2 + share_width + 2;
    let room = style.columns().saturating_sub(used).min(41);
    let mut text = format!("\n{}\n", style.bold(heading));
    for (((row, key), counted), share) in rows.iter().zip(&keys).zip(&counts).zip(&shares) {
        let key = padded(key, names, true);
        let counted = padded(counted, count_width, true);
        let share = padded(share, share_width, false);
        let drawn = if room >= 11 { interval(&row.share, room, style) } else { String::new() };
        let line = format!("  {key}  {counted}  {share}  {drawn}");
        text.push_str(&shortened(line.trim_end(), style.columns(), style));
        text.push('\n');
    }
    text
}

/// A share and its interval on a line from 0 to 100 %.
fn interval(share: &Proportion, room: usize, style: Style) -> String {
    let (Some(low), Some(high)) = (share.low, share.high) else { return String::new() };
    let (edge, bar, point) = if style.utf8 { ('·', '─', '●') } else { ('.', '-', 'o') };
    let at = |part: f64| (part.clamp(0.0, 1.0) * (room - 1) as f64).round() as usize;
    let middle = at(f64::from(share.count) / f64::from(share.of));
    (0..room)
        .map(|i| match i {
            i if i == middle => point,
            i if (at(low)..=at(high)).contains(&i) => bar,
            0 => edge,
            i if i == room - 1 => edge,
            _ => ' ',
        })
        .collect()
}
