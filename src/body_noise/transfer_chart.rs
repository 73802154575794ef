//! The photon-transfer chart: noise over signal, one curve an ISO setting.

use crate::body_noise::record::{IsoNoise, TransferPoint};
use crate::report::svg::axis::AxisScale;
use crate::report::svg::plot::{NAME, PHONE_WIDTH, Plot, PlotArea, decades, power_of_ten};
use crate::report::wording;

const AREA: PlotArea = PlotArea {
    width: PHONE_WIDTH,
    left: 40.0,
    right: PHONE_WIDTH - 74.0,
    top: 24.0,
    bottom: 270.0,
    below: 44.0,
};
/// Room for one label.
const LINE: f64 = 13.0;

/// Noise over signal, both axes logarithmic. `None` when no row has two sound points.
pub fn transfer_chart(rows: &[&IsoNoise]) -> Option<String> {
    let sound = |p: &&TransferPoint| p.signal_dn > 0.0 && p.sigma_dn > 0.0;
    let kept: Vec<(&IsoNoise, Vec<&TransferPoint>)> = rows
        .iter()
        .map(|r| (*r, r.curve.iter().filter(sound).collect::<Vec<_>>()))
        .filter(|(_, points)| points.len() > 1)
        .collect();
    let all = || kept.iter().flat_map(|(_, points)| points.iter());
    let ticks = decades(all().map(|p| p.signal_dn))?;
    let levels = decades(all().map(|p| p.sigma_dn))?;
    let x = AREA.x(AxisScale::Log, (*ticks.first()?, *ticks.last()?), (0.0, 0.0))?;
    let y = AREA.y(AxisScale::Log, (*levels.first()?, *levels.last()?))?;
    let said: Vec<String> = kept
        .iter()
        .map(|(row, points)| format!("{}: {} points", name(row), points.len()))
        .collect();
    let says = format!("Noise over signal, in steps of the file, {}", said.join(", "));
    let mut p = Plot::new(AREA, x, y, &says);
    p.levels(&levels, 1, power_of_ten);
    p.ticks(&ticks, 1, power_of_ten);
    p.y_name("noise, DN");
    p.x_name(NAME, "signal above black, DN");
    let place = |p: &TransferPoint| (p.signal_dn, p.sigma_dn);
    let mut labels: Vec<(f64, String)> = Vec::new();
    for (row, points) in &kept {
        let line: Vec<(f64, f64)> = points.iter().filter(|p| p.kept).map(|p| place(p)).collect();
        p.curve(if row.trusted { "curve" } else { "curve-soft" }, line.iter().copied());
        for point in points {
            let (class, radius) = if point.kept { ("accent", 2.5) } else { ("soft", 1.5) };
            p.dot(class, place(point), radius);
        }
        labels.extend(line.last().map(|(_, sigma_dn)| (y.at(*sigma_dn), name(row))));
    }
    // Direct labels beside the ends of their curves, kept a line apart, from the top down.
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut free = f64::NEG_INFINITY;
    for (at, label) in labels {
        let line = (at + 4.0).max(free);
        free = line + LINE;
        p.right_label("ink", line, &label);
    }
    Some(p.done())
}

fn name(row: &IsoNoise) -> String {
    row.iso.map_or_else(|| "no ISO".to_owned(), |iso| format!("ISO {iso}"))
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
