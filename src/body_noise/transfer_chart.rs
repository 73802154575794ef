//! The photon-transfer chart: noise over signal, one curve an ISO setting.

use crate::body_noise::record::{IsoNoise, TransferPoint};
use crate::report::svg::axis::{AxisScale, PlotAxis};
use crate::report::svg::chart::power_of_ten;
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;

/// Width of the chart: a phone held upright; the page draws it larger on a desk.
const WIDTH: f64 = 358.0;
/// Room for one label.
const LINE: f64 = 13.0;

/// Noise over signal, both axes logarithmic. `None` when no row has two sound points.
pub fn transfer_chart(rows: &[&IsoNoise]) -> Option<String> {
    let (left, right, top, bottom) = (40.0, WIDTH - 74.0, 24.0, 270.0);
    let sound = |p: &&TransferPoint| p.signal_dn > 0.0 && p.sigma_dn > 0.0;
    let kept: Vec<(&IsoNoise, Vec<&TransferPoint>)> = rows
        .iter()
        .map(|r| (*r, r.curve.iter().filter(sound).collect::<Vec<_>>()))
        .filter(|(_, points)| points.len() > 1)
        .collect();
    let all = || kept.iter().flat_map(|(_, points)| points.iter());
    let x = decades(all().map(|p| p.signal_dn), (left, right))?;
    let y = decades(all().map(|p| p.sigma_dn), (bottom, top))?;
    let said: Vec<String> = kept
        .iter()
        .map(|(row, points)| format!("{}: {} points", name(row), points.len()))
        .collect();
    let says = format!("Noise over signal, in steps of the file, {}", said.join(", "));
    let mut d = Drawing::new(WIDTH, bottom + 44.0, &says);
    for (exponent, at) in &y.1 {
        d.line("grid", (left, *at), (right, *at));
        d.text("soft", (left - 6.0, at + 4.0), Anchor::End, &power_of_ten(*exponent));
    }
    for (exponent, at) in &x.1 {
        d.line("rule", (*at, bottom), (*at, bottom + 5.0));
        d.text("soft", (*at, bottom + 19.0), Anchor::Middle, &power_of_ten(*exponent));
    }
    d.text("soft", (left, 11.0), Anchor::Start, "noise, DN");
    d.text("soft", ((left + right) / 2.0, bottom + 38.0), Anchor::Middle, "signal above black, DN");
    let place = |p: &TransferPoint| (x.0.at(p.signal_dn), y.0.at(p.sigma_dn));
    let mut labels: Vec<((f64, f64), String)> = Vec::new();
    for (row, points) in &kept {
        let line: Vec<(f64, f64)> = points.iter().filter(|p| p.kept).map(|p| place(p)).collect();
        d.path(if row.trusted { "curve" } else { "curve-soft" }, &line);
        for p in points {
            if p.kept {
                d.dot("accent", place(p), 2.5);
            } else {
                d.dot("soft", place(p), 1.5);
            }
        }
        labels.extend(line.last().map(|end| (*end, name(row))));
    }
    // Direct labels beside the ends of their curves, kept a line apart, from the top down.
    labels.sort_by(|a, b| a.0.1.total_cmp(&b.0.1));
    let mut free = f64::NEG_INFINITY;
    for ((_, at), label) in labels {
        let line = (at + 4.0).max(free);
        free = line + LINE;
        d.text("ink", (right + 8.0, line), Anchor::Start, &label);
    }
    Some(d.done())
}

fn name(row: &IsoNoise) -> String {
    row.iso.map_or_else(|| "no ISO".to_owned(), |iso| format!("ISO {iso}"))
}

type Decades = (PlotAxis, Vec<(i32, f64)>);

/// An axis of whole decades about some values, and where its decades lie.
fn decades(values: impl Iterator<Item = f64> + Clone, at: (f64, f64)) -> Option<Decades> {
    let low = values.clone().reduce(f64::min)?.log10().floor() as i32;
    let high = (values.reduce(f64::max)?.log10().ceil() as i32).max(low + 1);
    let axis = PlotAxis::new(AxisScale::Log, (10f64.powi(low), 10f64.powi(high)), at)?;
    Some((axis, (low..=high).map(|e| (e, axis.at(10f64.powi(e)))).collect()))
}

/// What the chart shows, for readers of the page.
pub fn transfer_key(rows: &[&IsoNoise]) -> String {
    let left_out: usize = rows.iter().map(|r| r.curve.iter().filter(|p| !p.kept).count()).sum();
    let mut text =
        "Where a curve is level, read noise rules; where it climbs by half a decade for \
                    each decade of signal, the light's own shot noise does."
            .to_owned();
    if left_out > 0 {
        text.push_str(&format!(
            " {} contained texture: shown small, without a line, and excluded.",
            wording::count(left_out as u32, "point", "points"),
        ));
    }
    text
}
