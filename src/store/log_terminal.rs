//! `log list`, `log show` and `log agreed` in text.

use crate::core::verdict::Verdict;
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, wrapped};
use crate::report::wording;
use crate::review::agreement_record::{AgreementRecord, AgreementRow};
use crate::store::log_record::{FrameLine, NoiseLine, OutingLine};

fn column(
    heading: &str,
    unit: &str,
    right: bool,
    drop_priority: u8,
    cells: Vec<String>,
) -> TextColumn {
    TextColumn { heading: heading.to_owned(), unit: unit.to_owned(), right, drop_priority, cells }
}

/// All outings, then what is known of bodies.
pub fn log_list(outings: &[OutingLine], noise: &[NoiseLine], style: Style) -> String {
    let cells = |get: &dyn Fn(&OutingLine) -> String| -> Vec<String> {
        outings.iter().map(|o| style.signs(&get(o))).collect()
    };
    let visible = |t: &Option<String>| t.as_deref().map_or(String::new(), wording::visible);
    let columns = vec![
        column("outing", "", false, 0, cells(&|o| wording::visible(&o.title))),
        column("number", "", true, 0, cells(&|o| o.id.to_string())),
        column("day", "", false, 1, cells(&|o| o.day.clone())),
        column("kind", "", false, 4, cells(&|o| o.kind.to_owned())),
        column("frames", "", true, 0, cells(&|o| o.frames.to_string())),
        column("hits", "", true, 2, cells(&|o| o.hits.to_string())),
        column("subject", "", false, 3, cells(&|o| visible(&o.subject))),
        column("rig", "", false, 5, cells(&|o| visible(&o.rig))),
        column(
            "",
            "",
            false,
            6,
            cells(&|o| {
                if o.excluded { "excluded".to_owned() } else { String::new() }
            }),
        ),
    ];
    let mut text = String::new();
    if outings.is_empty() {
        text.push_str("No outing has been logged.\n");
    } else {
        text.push_str(&table(columns, style, |row, _, cell| {
            if outings[row].excluded { style.dim(cell) } else { cell.to_owned() }
        }));
    }
    for n in noise {
        let line = format!(
            "Noise of {}: {} at {}",
            wording::visible(&n.body),
            wording::count(n.rows as u32, "measurement", "measurements"),
            wording::count(n.isos as u32, "ISO setting", "ISO settings"),
        );
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    text
}

/// One outing with its frames.
pub fn log_outing(outing: &OutingLine, frames: &[FrameLine], style: Style) -> String {
    let mut parts = vec![
        format!("Outing {}", outing.id),
        wording::visible(&outing.title),
        outing.day.clone(),
        outing.kind.to_owned(),
        format!("{} of {} frames hit", outing.hits, outing.frames),
    ];
    parts.extend(outing.subject.as_deref().map(|s| format!("of {}", wording::visible(s))));
    parts.extend(outing.rig.as_deref().map(|r| format!("rig {}", wording::visible(r))));
    if outing.excluded {
        parts.push("excluded from charts and plans".to_owned());
    }
    let mut text = String::new();
    for line in wrapped(&style.signs(&parts.join(" · ")), style.columns(), 0).lines() {
        text.push_str(&format!("{}\n", style.bold(line)));
    }
    let cells = |get: &dyn Fn(&FrameLine) -> String| -> Vec<String> {
        frames.iter().map(|f| style.signs(&get(f))).collect()
    };
    let number =
        |v: Option<(f64, Option<f64>)>| v.map_or(String::new(), |(v, e)| wording::plus_minus(v, e));
    let columns = vec![
        column("frame", "", false, 0, cells(&|f| wording::visible(&f.name))),
        column("burst", "", true, 3, cells(&|f| f.burst.to_string())),
        column("verdict", "", false, 0, cells(&|f| f.verdict.clone())),
        column("cause", "", false, 1, cells(&|f| f.cause.clone())),
        column("blur", "px", true, 0, cells(&|f| number(f.blur_sigma_px))),
        column("detail", "bit/px", true, 2, cells(&|f| number(f.detail_bits_px))),
        column("settings", "", false, 4, cells(&|f| f.settings.clone())),
    ];
    text.push_str(&table(columns, style, |_, _, cell| cell.to_owned()));
    text
}

/// How often people's decisions were the program's verdicts.
pub fn log_agreed(record: &AgreementRecord, style: Style) -> String {
    let mut text = String::new();
    for (heading, rows) in [("verdict", &record.by_verdict), ("cause", &record.by_cause)] {
        if rows.is_empty() {
            continue;
        }
        let cells = |get: &dyn Fn(&AgreementRow) -> String| -> Vec<String> {
            rows.iter().map(|r| style.signs(&get(r))).collect()
        };
        let some = |n: u32| if n == 0 { String::new() } else { n.to_string() };
        let agreed = |r: &AgreementRow| {
            if r.key == Verdict::Unclear.word() { String::new() } else { wording::share(&r.agreed) }
        };
        let columns = vec![
            column(heading, "", false, 0, cells(&|r| r.key.clone())),
            column("decided", "", true, 0, cells(&|r| r.agreed.of.to_string())),
            column("agreed", "(95 % interval)", false, 0, cells(&agreed)),
            column("people: hit", "", true, 1, cells(&|r| some(r.people.hit))),
            column("near", "", true, 1, cells(&|r| some(r.people.near))),
            column("miss", "", true, 1, cells(&|r| some(r.people.miss))),
            column("cannot say", "", true, 2, cells(&|r| some(r.people.cannot_say))),
        ];
        text.push_str(&table(columns, style, |_, _, cell| cell.to_owned()));
        text.push('\n');
    }
    for f in &record.findings {
        let says = [Some(f.says.as_str()), f.next.as_deref()].into_iter().flatten();
        let says = says.collect::<Vec<_>>().join(" ");
        text.push_str(&wrapped(&style.signs(&says), style.columns(), 0));
    }
    if record.subjects_placed > 0 {
        let line = format!(
            "The subject was placed by hand in {}.",
            wording::count(record.subjects_placed, "frame", "frames")
        );
        text.push_str(&wrapped(&line, style.columns(), 0));
    }
    text
}
