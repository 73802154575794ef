//! The page's colours, once: neutral grounds, inks that keep WCAG AA on them, one accent.

use std::fmt::Write;

/// One variant of the page. Grounds and inks are neutral, so that they do not tint the pictures.
#[derive(Debug, Clone, Copy)]
pub struct Theme {
    /// Name, for tests.
    pub name: &'static str,
    /// Behind everything.
    pub ground: [u8; 3],
    /// Text.
    pub ink: [u8; 3],
    /// Secondary text; still AA.
    pub soft: [u8; 3],
    /// Rules, ticks and plain bars: 3 to 1 on the ground; no text.
    pub line: [u8; 3],
    /// Faint lines behind charts; no text.
    pub grid: [u8; 3],
    /// The measured blur, links and focus.
    pub accent: [u8; 3],
}

/// Mid-grey, near L* 65: pictures are judged on neutral grey.
pub const GREY: Theme = Theme {
    name: "grey",
    ground: [0xa0, 0xa0, 0xa0],
    ink: [0x0b, 0x0b, 0x0b],
    soft: [0x26, 0x26, 0x26],
    line: [0x4c, 0x4c, 0x4c],
    grid: [0x8c, 0x8c, 0x8c],
    accent: [0x16, 0x1f, 0x7a],
};

/// For a dark room.
pub const DARK: Theme = Theme {
    name: "dark",
    ground: [0x20, 0x20, 0x20],
    ink: [0xe6, 0xe6, 0xe6],
    soft: [0xb6, 0xb6, 0xb6],
    line: [0x78, 0x78, 0x78],
    grid: [0x3c, 0x3c, 0x3c],
    accent: [0x9a, 0xae, 0xff],
};

/// For print.
pub const PAPER: Theme = Theme {
    name: "paper",
    ground: [0xff, 0xff, 0xff],
    ink: [0x00, 0x00, 0x00],
    soft: [0x3c, 0x3c, 0x3c],
    line: [0x80, 0x80, 0x80],
    grid: [0xd8, 0xd8, 0xd8],
    accent: [0x16, 0x1f, 0x7a],
};

/// Every variant.
pub const THEMES: [Theme; 3] = [GREY, DARK, PAPER];

impl Theme {
    /// The variant as CSS custom properties.
    fn properties(&self) -> String {
        let mut css = String::new();
        for (name, rgb) in [
            ("ground", self.ground),
            ("ink", self.ink),
            ("soft", self.soft),
            ("line", self.line),
            ("grid", self.grid),
            ("accent", self.accent),
        ] {
            // Writing to a String cannot fail.
            let _ = write!(css, "--{name}:{};", crate::report::colour_scale::hex(rgb));
        }
        css
    }
}

/// The colours of this table as CSS custom properties.
pub fn colour_rules() -> String {
    format!(
        ":root{{{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{}}}}}\n\
         @media print{{:root{{{}}}}}\n",
        GREY.properties(),
        DARK.properties(),
        PAPER.properties(),
    )
}

/// The whole style sheet: the colours of this table, then the page's rules.
pub fn style_sheet() -> String {
    format!("{}{}", colour_rules(), include_str!("page.css"))
}

/// Contrast of two colours, 1 to 21 (WCAG 2.2, "contrast ratio" and "relative luminance").
pub fn contrast(a: [u8; 3], b: [u8; 3]) -> f64 {
    let luminance = |rgb: [u8; 3]| {
        let [r, g, b] = rgb.map(|v| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}
