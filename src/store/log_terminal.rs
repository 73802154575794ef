//! `log list` and `log show` in text.

use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, wrapped};
use crate::report::wording;
use crate::store::log_record::{FrameLine, NoiseLine, OutingLine};

/// All outings, then what is known of bodies.
pub fn log_list(outings: &[OutingLine], noise: &[NoiseLine], style: Style) -> String {
    let cells = |get: &dyn Fn(&OutingLine) -> String| -> Vec<String> {
        outings.iter().map(|o| style.signs(&get(o))).collect()
    };
    let visible = |t: &Option<String>| t.as_deref().map_or(String::new(), wording::visible);
    let columns = vec![
        TextColumn::new("outing", "", false, 0, cells(&|o| wording::visible(&o.title))),
        TextColumn::new("number", "", true, 0, cells(&|o| o.id.to_string())),
        TextColumn::new("day", "", false, 1, cells(&|o| o.day.clone())),
        TextColumn::new("kind", "", false, 4, cells(&|o| o.kind.to_owned())),
        TextColumn::new("frames", "", true, 0, cells(&|o| o.frames.to_string())),
        TextColumn::new("hits", "", true, 2, cells(&|o| o.hits.to_string())),
        TextColumn::new("subject", "", false, 3, cells(&|o| visible(&o.subject))),
        TextColumn::new("rig", "", false, 5, cells(&|o| visible(&o.rig))),
        TextColumn::new(
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
        TextColumn::new("frame", "", false, 0, cells(&|f| wording::visible(&f.name))),
        TextColumn::new("burst", "", true, 3, cells(&|f| f.burst.to_string())),
        TextColumn::new("verdict", "", false, 0, cells(&|f| f.verdict.clone())),
        TextColumn::new("cause", "", false, 1, cells(&|f| f.cause.clone())),
        TextColumn::new("blur", "px", true, 0, cells(&|f| number(f.blur_sigma_px))),
        TextColumn::new("detail", "bit/px", true, 2, cells(&|f| number(f.detail_bits_px))),
        TextColumn::new("settings", "", false, 4, cells(&|f| f.settings.clone())),
    ];
    text.push_str(&table(columns, style, |_, _, cell| cell.to_owned()));
    text
}
