//! A chart's frame: where its axes lie, their ticks and labels, and marks in the values of the
//! record. Charts place nothing by px but what belongs to no value.

use super::axis::{AxisScale, PlotAxis};
use super::drawing::{Anchor, Drawing};

/// Width of charts that stand alone: a phone held upright; the page draws them larger on a desk.
pub const PHONE_WIDTH: f64 = 358.0;

/// Length of a tick below the plot, px.
const TICK: f64 = 5.0;
/// From the plot's lower edge down to the foot of the labels of its ticks, px.
pub const LABEL: f64 = 19.0;
/// From there down to the foot of the axis' name, px.
pub const NAME: f64 = 38.0;
/// Between the plot and the labels beside it, px.
const BESIDE: f64 = 6.0;

/// Where a plot lies in its drawing, CSS px; y runs down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlotArea {
    /// Width of the drawing.
    pub width: f64,
    /// Left edge of the plot.
    pub left: f64,
    /// Right edge of the plot.
    pub right: f64,
    /// Upper edge of the plot.
    pub top: f64,
    /// Lower edge of the plot.
    pub bottom: f64,
    /// Room below the plot.
    pub below: f64,
}

impl PlotArea {
    /// An axis from the left edge to the right one, with room at its ends. `None` as for
    /// [`PlotAxis::new`].
    pub fn x(&self, spread: AxisScale, range: (f64, f64), room: (f64, f64)) -> Option<PlotAxis> {
        PlotAxis::new(spread, range, (self.left + room.0, self.right - room.1))
    }

    /// An axis from the lower edge up. `None` as for [`PlotAxis::new`].
    pub fn y(&self, spread: AxisScale, range: (f64, f64)) -> Option<PlotAxis> {
        PlotAxis::new(spread, range, (self.bottom, self.top))
    }

    /// The middle from left to right.
    pub fn middle(&self) -> f64 {
        (self.left + self.right) / 2.0
    }
}

/// A chart under way: a drawing with two axes.
#[derive(Debug)]
pub struct Plot {
    /// The drawing, for what has a place of its own.
    pub drawing: Drawing,
    /// Where the plot is.
    pub area: PlotArea,
    /// Across.
    pub x: PlotAxis,
    /// Up.
    pub y: PlotAxis,
}

impl Plot {
    /// An empty plot; `says` is read out in its place.
    pub fn new(area: PlotArea, x: PlotAxis, y: PlotAxis, says: &str) -> Plot {
        let drawing = Drawing::new(area.width, area.bottom + area.below, says);
        Plot { drawing, area, x, y }
    }

    /// The finished element.
    pub fn done(self) -> String {
        self.drawing.done()
    }

    /// The place of two values, px.
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x.at(x), self.y.at(y))
    }

    /// Lines across at these values of y, with a label to the left of every `every`th.
    pub fn levels(&mut self, values: &[f64], every: usize, label: impl Fn(f64) -> String) {
        let PlotArea { left, right, .. } = self.area;
        for (i, value) in values.iter().enumerate() {
            let y = self.y.at(*value);
            self.drawing.line("grid", (left, y), (right, y));
            if i % every == 0 {
                let label = label(*value);
                self.drawing.text("soft", (left - BESIDE, y + 4.0), Anchor::End, &label);
            }
        }
    }

    /// Ticks below the plot at these values of x, with a label at every `every`th.
    pub fn ticks(&mut self, values: &[f64], every: usize, label: impl Fn(f64) -> String) {
        let bottom = self.area.bottom;
        for (i, value) in values.iter().enumerate() {
            let x = self.x.at(*value);
            self.drawing.line("rule", (x, bottom), (x, bottom + TICK));
            if i % every == 0 {
                self.below(*value, LABEL, &label(*value));
            }
        }
    }

    /// Lines from top to bottom at these values of x, with their labels below.
    pub fn uprights(&mut self, values: &[f64], label: impl Fn(f64) -> String) {
        let PlotArea { top, bottom, .. } = self.area;
        for value in values {
            let x = self.x.at(*value);
            self.drawing.line("grid", (x, top), (x, bottom));
            self.below(*value, LABEL, &label(*value));
        }
    }

    /// Ticks left of the plot at these values of y, with their labels.
    pub fn side_ticks(&mut self, values: &[f64], label: impl Fn(f64) -> String) {
        let left = self.area.left;
        for value in values {
            let y = self.y.at(*value);
            self.drawing.line("rule", (left - TICK, y), (left, y));
            self.beside(y + 4.0, &label(*value));
        }
    }

    /// A label left of the ticks there, with its foot at a height, px.
    pub fn beside(&mut self, y: f64, label: &str) {
        let at = (self.area.left - TICK - 4.0, y);
        self.drawing.text("soft", at, Anchor::End, label);
    }

    /// A label below the plot at a value of x, `down` px below its edge.
    pub fn below(&mut self, x: f64, down: f64, label: &str) {
        let at = (self.x.at(x), self.area.bottom + down);
        self.drawing.text("soft", at, Anchor::Middle, label);
    }

    /// The name of the axis across, in the middle below it.
    pub fn x_name(&mut self, down: f64, name: &str) {
        let at = (self.area.middle(), self.area.bottom + down);
        self.drawing.text("soft", at, Anchor::Middle, name);
    }

    /// The name of the axis up, at the drawing's upper edge.
    pub fn y_name(&mut self, name: &str) {
        self.drawing.text("soft", (self.area.left, 11.0), Anchor::Start, name);
    }

    /// A label to the right of the plot with its foot at a height, px.
    pub fn right_label(&mut self, class: &str, y: f64, label: &str) {
        self.drawing.text(class, (self.area.right + 8.0, y), Anchor::Start, label);
    }

    /// A line through values.
    pub fn curve(&mut self, class: &str, values: impl IntoIterator<Item = (f64, f64)>) {
        let points: Vec<(f64, f64)> = values.into_iter().map(|(x, y)| self.at(x, y)).collect();
        self.drawing.path(class, &points);
    }

    /// The area between two curves: (x, low, high) each.
    pub fn band(&mut self, values: &[(f64, f64, f64)]) {
        let upper = values.iter().map(|(x, _, high)| self.at(*x, *high));
        let lower = values.iter().rev().map(|(x, low, _)| self.at(*x, *low));
        let points: Vec<(f64, f64)> = upper.chain(lower).collect();
        self.drawing.area("band", &points);
    }

    /// A dot at two values.
    pub fn dot(&mut self, class: &str, at: (f64, f64), radius: f64) {
        self.drawing.dot(class, self.at(at.0, at.1), radius);
    }

    /// A dot at two values with what it says when pointed at.
    pub fn titled_dot(&mut self, class: &str, at: (f64, f64), radius: f64, title: &str) {
        self.drawing.titled_dot(class, self.at(at.0, at.1), radius, title);
    }

    /// An error mark along y.
    pub fn error(&mut self, x: f64, low: f64, high: f64) {
        self.drawing.error_upright(self.x.at(x), self.y.at(low), self.y.at(high));
    }

    /// An error mark along x.
    pub fn error_across(&mut self, y: f64, low: f64, high: f64) {
        self.drawing.error_level(self.y.at(y), self.x.at(low), self.x.at(high));
    }
}

/// Every how manieth tick gets a label when each label needs `room` px.
pub fn label_every(ticks: usize, length: f64, room: f64) -> usize {
    ((ticks as f64 * room / length).ceil() as usize).max(1)
}

/// Decimals of the labels of even ticks from 0.
pub fn tick_decimals(ticks: &[f64]) -> usize {
    usize::from(ticks.get(1).is_some_and(|step| *step < 1.0))
}

/// The decades about some values, at least two powers of ten. `None` without values.
pub fn decades(values: impl Iterator<Item = f64> + Clone) -> Option<Vec<f64>> {
    let low = values.clone().reduce(f64::min)?.log10().floor() as i32;
    let high = (values.reduce(f64::max)?.log10().ceil() as i32).max(low + 1);
    Some((low..=high).map(|exponent| 10f64.powi(exponent)).collect())
}

/// A power of ten as "10⁻²"; 1 and 10 in plain digits.
pub fn power_of_ten(value: f64) -> String {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let exponent = value.log10().round() as i32;
    match exponent {
        0 => "1".to_owned(),
        1 => "10".to_owned(),
        _ => {
            let digits = exponent.unsigned_abs().to_string();
            let raised = digits.bytes().map(|b| RAISED[usize::from(b - b'0')]);
            let sign = if exponent < 0 { "⁻" } else { "" };
            format!("10{sign}{}", raised.collect::<String>())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decades_hold_all_values_and_are_written_as_powers() {
        let decades_of = |values: &[f64]| decades(values.iter().copied()).unwrap();
        assert_eq!(decades_of(&[0.03, 4.0]), [0.01, 0.1, 1.0, 10.0]);
        assert_eq!(decades_of(&[1.0]), [1.0, 10.0]);
        assert_eq!(decades([].into_iter()), None);
        let written = [0.01, 1.0, 10.0, 1e12].map(power_of_ten);
        assert_eq!(written, ["10⁻²", "1", "10", "10¹²"]);
    }

    #[test]
    fn labels_have_room_and_the_digits_of_their_steps() {
        assert_eq!([label_every(6, 240.0, 40.0), label_every(7, 240.0, 40.0)], [1, 2]);
        assert_eq!([tick_decimals(&[0.0, 0.5]), tick_decimals(&[0.0, 1.0])], [1, 0]);
    }
}
