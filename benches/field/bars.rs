//! What the figures must reach, one line a bar.

use super::score::{Part, Tally};

/// A figure against its bar.
fn line(what: &str, figure: Option<f64>, holds: impl Fn(f64) -> bool, bar: &str) -> bool {
    let Some(figure) = figure else {
        println!("  -    {what}: nothing to count (bar {bar})");
        return true;
    };
    let holds = holds(figure);
    let word = if holds { "ok  " } else { "FAIL" };
    println!("  {word} {what}: {figure:.3} (bar {bar})");
    holds
}

fn share(part: &Part) -> Option<f64> {
    part.percent()
}

/// Bars with the subject marked; false when one does not hold.
pub fn marked(t: &Tally) -> bool {
    let all = [
        line("verdict right, %", share(&t.right), |v| v >= 88.0, ">= 88"),
        line("hit and miss swapped, %", share(&t.swaps), |v| v <= 0.5, "<= 0.5"),
        line("best within 10 %, %", share(&t.picked), |v| v >= 96.0, ">= 96"),
        line("Kendall tau", t.tau(), |v| v >= 0.86, ">= 0.86"),
        line("cause right, %", share(&t.cause), |v| v >= 92.0, ">= 92"),
        covered(t),
        soft(t, 95.0, 2.0),
    ];
    all.iter().all(|h| *h)
}

/// Bars without a mark.
pub fn unmarked(t: &Tally) -> bool {
    let all = [
        line("verdict right of those told, %", share(&t.right_told), |v| v >= 78.0, ">= 78"),
        line("told, %", share(&t.told), |v| v >= 75.0, ">= 75"),
        line("hit and miss swapped, %", share(&t.swaps), |v| v <= 2.0, "<= 2"),
        line("best within 10 %, %", share(&t.picked), |v| v >= 70.0, ">= 70"),
        line("one of the two shown, %", share(&t.either), |v| v >= 88.0, ">= 88"),
        // The ranking energy belongs to one spot; verdicts are expected over all that could be
        // meant, and so is the ratio.
        line("Kendall tau by ratio", t.tau_by_ratio(), |v| v >= 0.75, ">= 0.75"),
        soft(t, 85.0, 3.0),
    ];
    all.iter().all(|h| *h)
}

/// The demo's own days, the eye marked.
pub fn days(t: &Tally) -> bool {
    let all = [
        line("verdict right, %", share(&t.right), |v| v >= 88.0, ">= 88"),
        line("swaps", Some(t.swaps.yes), |v| v < 0.5, "0"),
        line("hit said beyond twice the lens's blur", Some(t.grave.yes), |v| v < 0.5, "0"),
    ];
    all.iter().all(|h| *h)
}

/// The median of blur said over true.
pub fn median(name: &str, t: &Tally, (low, high): (f64, f64)) -> bool {
    let what = format!("blur said over true, {name}");
    let bar = format!("{low} to {high}");
    line(&what, t.quantiles().map(|q| q[1]), |v| (low..=high).contains(&v), &bar)
}

fn covered(t: &Tally) -> bool {
    let narrow =
        line("truth in the 68 % range, %", share(&t.in68), |v| (v - 68.0).abs() <= 6.0, "68 +- 6");
    line("truth in the 95 % range, %", share(&t.in95), |v| v >= 92.0, ">= 92") && narrow
}

fn soft(t: &Tally, found: f64, falsely: f64) -> bool {
    let a = line(
        "nothing sharp found, %",
        share(&t.soft_found),
        |v| v >= found,
        &format!(">= {found}"),
    );
    let b = line(
        "nothing sharp falsely said, %",
        share(&t.soft_false),
        |v| v <= falsely,
        &format!("<= {falsely}"),
    );
    a && b
}
