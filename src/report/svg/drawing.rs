//! SVG elements, escaped and rounded.

use std::fmt::Write;

use crate::report::wording;

/// Where a text is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// By its start.
    Start,
    /// By its middle.
    Middle,
    /// By its end.
    End,
}

/// A drawing under way. Sizes are CSS px; y runs down.
#[derive(Debug)]
pub struct Drawing {
    width: f64,
    height: f64,
    says: String,
    body: String,
}

impl Drawing {
    /// An empty drawing; `says` is read out in its place.
    pub fn new(width: f64, height: f64, says: &str) -> Self {
        Drawing { width, height, says: escaped(says), body: String::new() }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let (x1, y1, x2, y2) = (r(from.0), r(from.1), r(to.0), r(to.1));
        self.push(format_args!(
            r#"<line class="{class}" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>"#
        ));
    }

    /// A filled box.
    pub fn rect(&mut self, class: &str, at: (f64, f64), width: f64, height: f64) {
        let (x, y, w, h) = (r(at.0), r(at.1), r(width.max(0.0)), r(height.max(0.0)));
        self.push(format_args!(
            r#"<rect class="{class}" x="{x}" y="{y}" width="{w}" height="{h}"/>"#
        ));
    }

    /// A box filled with the blur scale that [`super::scale_gradient`] defines once a page.
    pub fn scale(&mut self, at: (f64, f64), width: f64, height: f64) {
        let (x, y, w, h) = (r(at.0), r(at.1), r(width), r(height));
        self.push(format_args!(
            r#"<rect fill="url(#blur-scale)" x="{x}" y="{y}" width="{w}" height="{h}"/>"#
        ));
    }

    /// A level rule with ticks that hang from it: (place, length) each, in one element.
    pub fn ruler(&mut self, y: f64, ticks: &[(f64, f64)]) {
        let (Some(first), Some(last)) = (ticks.first(), ticks.last()) else { return };
        let mut path = format!("M{} {}H{}", r(first.0), r(y), r(last.0));
        for (x, length) in ticks {
            let _ = write!(path, "M{} {}v{}", r(*x), r(y), r(*length));
        }
        self.push(format_args!(r#"<path class="rule" d="{path}"/>"#));
    }

    /// A filled dot.
    pub fn dot(&mut self, class: &str, at: (f64, f64), radius: f64) {
        let (x, y, radius) = (r(at.0), r(at.1), r(radius));
        self.push(format_args!(r#"<circle class="{class}" cx="{x}" cy="{y}" r="{radius}"/>"#));
    }

    /// A line through points.
    pub fn path(&mut self, class: &str, points: &[(f64, f64)]) {
        let listed: Vec<String> =
            points.iter().map(|(x, y)| format!("{},{}", r(*x), r(*y))).collect();
        self.push(format_args!(r#"<polyline class="{class}" points="{}"/>"#, listed.join(" ")));
    }

    /// A filled shape through points.
    pub fn area(&mut self, class: &str, points: &[(f64, f64)]) {
        let listed: Vec<String> =
            points.iter().map(|(x, y)| format!("{},{}", r(*x), r(*y))).collect();
        self.push(format_args!(r#"<polygon class="{class}" points="{}"/>"#, listed.join(" ")));
    }

    /// A box in a colour of its own, with what it says when pointed at.
    pub fn cell(&mut self, at: (f64, f64), size: (f64, f64), colour: &str, title: &str) {
        let (x, y, w, h) = (r(at.0), r(at.1), r(size.0.max(0.0)), r(size.1.max(0.0)));
        let title = escaped(title);
        self.push(format_args!(
            r#"<rect fill="{colour}" x="{x}" y="{y}" width="{w}" height="{h}"><title>{title}</title></rect>"#
        ));
    }

    /// A dot with what it says when pointed at.
    pub fn titled_dot(&mut self, class: &str, at: (f64, f64), radius: f64, title: &str) {
        let (x, y, radius, title) = (r(at.0), r(at.1), r(radius), escaped(title));
        self.push(format_args!(
            r#"<circle class="{class}" cx="{x}" cy="{y}" r="{radius}"><title>{title}</title></circle>"#
        ));
    }

    /// A square about a place with what it says when pointed at.
    pub fn titled_box(&mut self, class: &str, at: (f64, f64), side: f64, title: &str) {
        let (x, y, side) = (r(at.0 - 0.5 * side), r(at.1 - 0.5 * side), r(side));
        let title = escaped(title);
        self.push(format_args!(
            r#"<rect class="{class}" x="{x}" y="{y}" width="{side}" height="{side}"><title>{title}</title></rect>"#
        ));
    }

    /// A text.
    pub fn text(&mut self, class: &str, at: (f64, f64), anchor: Anchor, text: &str) {
        let held = match anchor {
            Anchor::Start => "",
            Anchor::Middle => r#" text-anchor="middle""#,
            Anchor::End => r#" text-anchor="end""#,
        };
        let (x, y, text) = (r(at.0), r(at.1), escaped(text));
        self.push(format_args!(r#"<text class="{class}" x="{x}" y="{y}"{held}>{text}</text>"#));
    }

    /// An error mark along y, with feet.
    pub fn error_upright(&mut self, x: f64, y_low: f64, y_high: f64) {
        self.line("mark", (x, y_low), (x, y_high));
        for y in [y_low, y_high] {
            self.line("mark", (x - 3.0, y), (x + 3.0, y));
        }
    }

    /// An error mark along x, with feet.
    pub fn error_level(&mut self, y: f64, x_low: f64, x_high: f64) {
        // It may lie on a bar: a rim in the colour of the ground keeps it readable there.
        self.line("halo", (x_low - 1.5, y), (x_high + 1.5, y));
        self.line("mark", (x_low, y), (x_high, y));
        for x in [x_low, x_high] {
            self.line("mark", (x, y - 3.0), (x, y + 3.0));
        }
    }

    /// The finished element.
    pub fn done(self) -> String {
        let Drawing { width, height, says, body } = self;
        let (w, h) = (r(width), r(height));
        format!(
            r#"<svg role="img" aria-label="{says}" width="{w}" height="{h}" viewBox="0 0 {w} {h}">{body}</svg>"#
        )
    }

    fn push(&mut self, element: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.body.write_fmt(element);
    }
}

/// A coordinate to a tenth of a px, without a needless ".0". A coordinate that is no number would
/// be a defect of the caller; it is drawn at 0 rather than written as "NaN".
fn r(v: f64) -> String {
    if !v.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{v:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn escaped(text: &str) -> String {
    let text = wording::visible(text);
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&#38;"),
            '<' => safe.push_str("&#60;"),
            '>' => safe.push_str("&#62;"),
            '"' => safe.push_str("&#34;"),
            '\'' => safe.push_str("&#39;"),
            c => safe.push(c),
        }
    }
    safe
}
