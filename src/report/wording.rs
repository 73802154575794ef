//! Numbers and names as people read them: the right digits, the right unit, no surprises.
//!
//! Rounding follows the Particle Data Group, Review of Particle Physics, Introduction, section
//! 5.3: the error keeps two digits when its three leading digits lie in 100..=354, else one, and
//! the value is cut at the same place.

use super::parts::{ExposureRecord, Proportion};
use crate::core::{Measured, byte_of};

/// Digits after the point when an error is so small that it says nothing about them.
const MAX_DECIMALS: usize = 4;

/// Digits after the point of a range: its ends are themselves unsure.
const MAX_RANGE_DECIMALS: usize = 1;

/// Significant digits of a number that carries no error.
const DIGITS_WITHOUT_ERROR: i32 = 3;

/// What stands where there is no value.
pub const NOTHING: &str = "–";

/// Digits after the point that a value with this standard error deserves.
pub fn decimals_for(std_err: f64) -> usize {
    if !std_err.is_finite() || std_err <= 0.0 {
        return MAX_DECIMALS;
    }
    let exponent = std_err.log10().floor() as i32;
    // The three leading digits; 950..=999 round up into the next decade and keep two digits.
    let leading = (std_err / 10f64.powi(exponent - 2)).round() as i32;
    let (exponent, digits) = match leading {
        ..=354 => (exponent, 2),
        355..=949 => (exponent, 1),
        950..=999 => (exponent + 1, 2),
        _ => (exponent + 1, 2),
    };
    (digits - 1 - exponent).clamp(0, MAX_DECIMALS as i32) as usize
}

/// A number without error, to three significant digits.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    let exponent = if value.abs() > 0.0 { value.abs().log10().floor() as i32 } else { 0 };
    let decimals = (DIGITS_WITHOUT_ERROR - 1 - exponent).clamp(0, MAX_DECIMALS as i32);
    fixed(value, decimals as usize)
}

/// A number with that many digits after the point; a negative zero loses its sign.
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

/// A number that was set, in as few digits as it has, three after the point at most: "0.5", "2",
/// "-0.28" for an exposure bias that a camera wrote as a long fraction.
pub fn short(value: f64) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    let text = fixed(value, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A value and its error, cut at the digit where the error starts: ("1.24", "0.06").
pub fn value_and_error(value: f64, std_err: Option<f64>) -> (String, Option<String>) {
    match std_err {
        Some(err) if err.is_finite() && err > 0.0 => {
            let decimals = decimals_for(err);
            (fixed(value, decimals), Some(fixed(err, decimals)))
        }
        _ => (number(value), None),
    }
}

/// "1.24 ± 0.06", or "1.24" when there is no error.
pub fn measured(m: &Measured) -> String {
    plus_minus(m.value, m.std_err)
}

/// [`measured`] for a bare pair.
pub fn plus_minus(value: f64, std_err: Option<f64>) -> String {
    match value_and_error(value, std_err) {
        (value, Some(err)) => format!("{value} ± {err}"),
        (value, None) => value,
    }
}

/// "1.3 (1.0 to 1.7)": a value and the range it lies in, cut at the digit where the range is unsure.
pub fn range(value: f64, low: f64, high: f64) -> String {
    let decimals = decimals_for((high - low) / 2.0).min(MAX_RANGE_DECIMALS);
    let [value, low, high] = [value, low, high].map(|v| fixed(v, decimals));
    format!("{value} ({low} to {high})")
}

/// "f/8", "f/5.6".
pub fn f_number(n: f64) -> String {
    let text = if n < 10.0 { fixed(n, 1) } else { fixed(n, 0) };
    format!("f/{}", text.strip_suffix(".0").unwrap_or(&text))
}

/// "1/200 s", "0.4 s", "2 s": a fraction below 0.3 s, as shutters are marked.
pub fn shutter(seconds: f64) -> String {
    if !seconds.is_finite() || seconds <= 0.0 {
        return NOTHING.to_owned();
    }
    if seconds < 0.3 {
        return format!("1/{} s", fixed(1.0 / seconds, 0));
    }
    let text = fixed(seconds, 1);
    format!("{} s", text.strip_suffix(".0").unwrap_or(&text))
}

/// Full stops of marked shutter times, s.
pub const SHUTTER_STOPS: [f64; 20] = [
    1.0 / 8000.0,
    1.0 / 4000.0,
    1.0 / 2000.0,
    1.0 / 1000.0,
    1.0 / 500.0,
    1.0 / 250.0,
    1.0 / 125.0,
    1.0 / 60.0,
    1.0 / 30.0,
    1.0 / 15.0,
    1.0 / 8.0,
    0.25,
    0.5,
    1.0,
    2.0,
    4.0,
    8.0,
    15.0,
    30.0,
    60.0,
];

/// The name of a whole stop of shutter, as dials mark it: 1/500 for 1/512 s.
pub fn marked_stop(shutter_s: f64) -> String {
    let off = |stop: &f64| (stop / shutter_s).log2().abs();
    let nearest = SHUTTER_STOPS.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    shutter(nearest.filter(|s| off(s) < 0.25).unwrap_or(shutter_s))
}

/// A shutter that was measured, not set: two figures of it, "1/340 s", "0.42 s".
pub fn measured_shutter(seconds: f64) -> String {
    if !seconds.is_finite() || seconds <= 0.0 {
        return NOTHING.to_owned();
    }
    let two = |v: f64| {
        let step = 10f64.powi(v.log10().floor() as i32 - 1);
        (v / step).round() * step
    };
    if seconds < 0.3 {
        return format!("1/{} s", fixed(two(1.0 / seconds), 0));
    }
    let decimals = if seconds < 1.0 { 2 } else { usize::from(seconds < 10.0) };
    format!("{} s", fixed(two(seconds), decimals))
}

/// "14 %": whole per cent; "<1 %" and ">99 %" keep a share that is not none or all.
pub fn per_cent(share: f64) -> String {
    if !share.is_finite() {
        return NOTHING.to_owned();
    }
    match share * 100.0 {
        p if p > 0.0 && p < 0.5 => "<1 %".to_owned(),
        p if (99.5..100.0).contains(&p) => ">99 %".to_owned(),
        p => format!("{} %", fixed(p, 0)),
    }
}

/// The per cent of a share without its interval; a dash when there is nothing to count.
pub fn share_alone(share: &Proportion) -> String {
    if share.of == 0 {
        return NOTHING.to_owned();
    }
    per_cent(f64::from(share.count) / f64::from(share.of))
}

/// "9 to 22 %": the interval of a share.
pub fn interval(share: &Proportion) -> Option<String> {
    let (low, high) = (share.low?, share.high?);
    Some(format!("{} to {} %", fixed(low * 100.0, 0), fixed(high * 100.0, 0)))
}

/// "14 % (9 to 22 %)".
pub fn share(share: &Proportion) -> String {
    match interval(share) {
        Some(between) => format!("{} ({between})", share_alone(share)),
        None => share_alone(share),
    }
}

/// "burst 3", "bursts 3, 5 and 8".
pub fn bursts(ids: &[u32]) -> String {
    let words: Vec<String> = ids.iter().map(u32::to_string).collect();
    match &words[..] {
        [] => "no burst".to_owned(),
        [one] => format!("burst {one}"),
        [all @ .., last] => format!("bursts {} and {last}", all.join(", ")),
    }
}

/// "1 frame", "3 frames".
pub fn count(n: u32, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// "f/8 · 1/200 s · ISO 400 · flash": what is known of the settings.
pub fn settings(exposure: &ExposureRecord) -> String {
    settings_parts(exposure).join(" · ")
}

/// The settings, one by one.
pub fn settings_parts(exposure: &ExposureRecord) -> Vec<String> {
    let mut parts = Vec::new();
    parts.extend(exposure.f_number.map(f_number));
    parts.extend(exposure.shutter_s.map(shutter));
    parts.extend(exposure.iso.map(|iso| format!("ISO {iso}")));
    if exposure.flash_fired == Some(true) {
        parts.push("flash".to_owned());
    }
    parts
}

/// The clock time in a capture time ("2026-05-03T11:42:07.31+02:00" → "11:42:07").
pub fn clock(taken_at: &str) -> Option<&str> {
    let time = taken_at.split_once(['T', ' '])?.1;
    let clock = time.get(..8)?;
    let form = |(i, b): (usize, u8)| if i % 3 == 2 { b == b':' } else { b.is_ascii_digit() };
    clock.bytes().enumerate().all(form).then_some(clock)
}

/// The day in a capture time ("2026-05-03").
pub fn day(taken_at: &str) -> Option<&str> {
    let day = taken_at.get(..10)?;
    let form = |(i, b): (usize, u8)| {
        if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() }
    };
    day.bytes().enumerate().all(form).then_some(day)
}

/// The last part of a path, as shown.
pub fn file_name(path: &str) -> String {
    visible(path.rsplit(['/', '\\']).find(|part| !part.is_empty()).unwrap_or(path))
}

/// A name with everything invisible or directional spelt out, so that no name can move a
/// cursor, break a line or read backwards: newline becomes `\n`, escape `\u{1b}`.
pub fn visible(name: &str) -> String {
    let mut shown = String::with_capacity(name.len());
    for c in name.chars() {
        let hidden = c.is_control()
            || matches!(c, '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}'
                | '\u{2060}'..='\u{206F}' | '\u{FEFF}' | '\u{061C}');
        if let Some(byte) = byte_of(c) {
            // A byte of a name that is no UTF-8.
            shown.push_str(&format!("\\x{byte:02x}"));
        } else if hidden {
            shown.extend(c.escape_default());
        } else {
            shown.push(c);
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_error() {
        // Examples of the Particle Data Group text: 0.827 ± 0.119 → 0.83 ± 0.12;
        // 0.827 ± 0.367 → 0.8 ± 0.4.
        assert_eq!(plus_minus(0.827, Some(0.119)), "0.83 ± 0.12");
        assert_eq!(plus_minus(0.827, Some(0.367)), "0.8 ± 0.4");
        assert_eq!(plus_minus(1.2372, Some(0.0613)), "1.24 ± 0.06");
        assert_eq!(plus_minus(14.674, Some(0.964)), "14.7 ± 1.0");
        assert_eq!(plus_minus(1234.0, Some(87.0)), "1234 ± 87");
        assert_eq!(plus_minus(2.0, Some(0.0)), "2.00");
        assert_eq!(plus_minus(2.0, None), "2.00");
        assert_eq!(plus_minus(-0.001, Some(0.2)), "0.00 ± 0.20");
    }

    #[test]
    fn whole_stops_are_named_as_dials_mark_them() {
        let shown =
            [1.0 / 512.0, 1.0 / 64.0, 1.0 / 4096.0, 0.5, 16.0, 1.0 / 700.0].map(marked_stop);
        assert_eq!(shown, ["1/500 s", "1/60 s", "1/4000 s", "0.5 s", "15 s", "1/700 s"]);
    }

    #[test]
    fn measured_shutters_have_two_figures() {
        let shown = [1.0 / 342.3, 1.0 / 1268.0, 0.4179, 0.25, 2.34, 12.4].map(measured_shutter);
        assert_eq!(shown, ["1/340 s", "1/1300 s", "0.42 s", "1/4 s", "2.3 s", "12 s"]);
        assert_eq!([0.0, f64::NAN].map(measured_shutter), [NOTHING, NOTHING]);
    }

    #[test]
    fn both_sides_of_the_rounding_limits() {
        assert_eq!(decimals_for(0.0354), 3);
        assert_eq!(decimals_for(0.0355), 2);
        assert_eq!(decimals_for(0.0949), 2);
        assert_eq!(decimals_for(0.0950), 2);
        assert_eq!(fixed(0.0950, 2), "0.10");
    }

    #[test]
    fn settings_read_as_marked() {
        assert_eq!(f_number(8.0), "f/8");
        assert_eq!(f_number(5.6), "f/5.6");
        assert_eq!(f_number(11.3), "f/11");
        assert_eq!(shutter(0.005), "1/200 s");
        assert_eq!(shutter(1.0 / 3.0), "0.3 s");
        assert_eq!(shutter(2.0), "2 s");
        assert_eq!(per_cent(0.001), "<1 %");
        assert_eq!(per_cent(0.999), ">99 %");
        assert_eq!(per_cent(1.0), "100 %");
        assert_eq!(clock("2026-05-03T11:42:07.31+02:00"), Some("11:42:07"));
        assert_eq!(clock("2026-05-03Tnoon"), None);
        assert_eq!(day("2026-05-03T11:42:07"), Some("2026-05-03"));
    }

    #[test]
    fn names_cannot_steer_the_page() {
        assert_eq!(visible("a\nb\u{1b}[31mc\u{202e}d"), "a\\nb\\u{1b}[31mc\\u{202e}d");
        assert_eq!(visible("Käfer 甲虫.jpg"), "Käfer 甲虫.jpg");
        assert_eq!(file_name("day/one/x.jpg"), "x.jpg");
    }
}
