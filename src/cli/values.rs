//! Values of options: from text to numbers, places and words. An error is a sentence for the user.

use stopwise::core::verdict::Verdict;
use stopwise::store::subjects;

/// A subject as typed: fractions of the upright picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Subject {
    /// Centre, from the left.
    pub x: f64,
    /// Centre, from the top.
    pub y: f64,
    /// Width and height, when given.
    pub size: Option<(f64, f64)>,
}

/// Reads `X,Y` or `X,Y,W,H`.
pub fn subject(text: &str) -> Result<Subject, String> {
    let parts: Vec<f64> = text.split(',').map(subjects::number).collect::<Result<_, _>>()?;
    let inside = |v: f64| (0.0..=1.0).contains(&v);
    let (x, y, size) = match parts[..] {
        [x, y] => (x, y, None),
        [x, y, w, h] => (x, y, Some((w, h))),
        _ => return Err("give two numbers, or four: X,Y or X,Y,W,H".to_owned()),
    };
    let (x, y) = subjects::place(x, y)?;
    if size.is_some_and(|(w, h)| !(inside(w) && inside(h) && w > 0.0 && h > 0.0)) {
        return Err("W and H are fractions of the picture, above 0 and up to 1".to_owned());
    }
    Ok(Subject { x, y, size })
}

/// Reads the box of an edge: `X,Y,W,H`.
pub fn edge(text: &str) -> Result<Subject, String> {
    let read = subject(text)?;
    match read.size {
        Some(_) => Ok(read),
        None => Err(
            "give four numbers, X,Y,W,H: the centre of the edge and the size of the box around it"
                .to_owned(),
        ),
    }
}

/// Reads a number above 0.
pub fn positive(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        _ => Err("give a number above 0".to_owned()),
    }
}

/// Reads the number of an outing.
pub fn outing_number(text: &str) -> Result<i64, String> {
    text.trim()
        .parse::<i64>()
        .ok()
        .filter(|n| *n > 0)
        .ok_or_else(|| "give the number of an outing from `stopwise log list`".to_owned())
}

/// Reads a size: `1920x1080`.
pub fn size(text: &str) -> Result<(u32, u32), String> {
    let side = |t: &str| t.trim().parse::<u32>().ok().filter(|v| (16..=65_536).contains(v));
    text.split_once(['x', 'X', '×'])
        .and_then(|(w, h)| Some((side(w)?, side(h)?)))
        .ok_or_else(|| "give width and height in px, as 1920x1080".to_owned())
}

/// Reads a number from 0 on.
pub fn not_negative(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v.abs()),
        _ => Err("give a number, 0 or above".to_owned()),
    }
}

/// Reads a level of light: from starlight to beyond sunlit snow.
pub fn light_ev(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if (-10.0..=25.0).contains(&v) => Ok(v),
        _ => Err("give Ev at ISO 100, from -10 to 25".to_owned()),
    }
}

/// Reads an exposure time, s: `1/250`, `0.004` or `0.5 s`.
pub fn exposure_time(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches('s');
    let seconds = match number.split_once('/') {
        Some((over, under)) => positive(over)? / positive(under)?,
        None => positive(number)?,
    };
    if (1e-6..=3600.0).contains(&seconds) {
        Ok(seconds)
    } else {
        Err("give a time such as 1/250 or 0.5, up to 3600 s".to_owned())
    }
}

/// Reads a verdict as typed.
pub fn verdict(text: &str) -> Result<Verdict, String> {
    let word = text.trim();
    word.parse().map_err(|_| format!("{word:?} is not a verdict: use hit, near, miss or unclear"))
}

/// Reads `hit=5`: a rating of the XMP standard.
pub fn rating(text: &str) -> Result<(Verdict, i8), String> {
    let (word, value) = text.split_once('=').ok_or("give VERDICT=NUMBER, as hit=5")?;
    match value.trim().parse::<i8>() {
        Ok(v) if (-1..=5).contains(&v) => Ok((verdict(word)?, v)),
        _ => Err(format!("{value:?} is not a rating: use -1 to 5 (0: unrated)")),
    }
}

/// Reads `hit=to print`: a label.
pub fn label(text: &str) -> Result<(Verdict, String), String> {
    let (word, value) = text.split_once('=').ok_or("give VERDICT=TEXT, as \"hit=to print\"")?;
    let value = value.trim();
    if value.is_empty() || value.chars().any(char::is_control) {
        return Err("a label is one line of text".to_owned());
    }
    Ok((verdict(word)?, value.to_owned()))
}

/// Reads what keywords start with.
pub fn keyword_prefix(text: &str) -> Result<String, String> {
    let plain = !text.trim().is_empty() && !text.chars().any(|c| c.is_control() || c == ',');
    // Without a mark of their own, keywords of this program could not be told from others.
    if plain { Ok(text.to_owned()) } else { Err("give a word, as stopwise:".to_owned()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_are_read_and_nonsense_is_refused() {
        assert_eq!(subject("0.5, 0.25"), Ok(Subject { x: 0.5, y: 0.25, size: None }));
        assert_eq!(subject("0,1,0.1,0.2").unwrap().size, Some((0.1, 0.2)));
        for bad in ["", "0.5", "1,2,3", "1.5,0.5", "-0.1,0.5", "a,b", "NaN,0.5", "0.5,0.5,0,0.1"] {
            assert!(subject(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn sizes_are_read() {
        assert_eq!(size("3840x2160"), Ok((3840, 2160)));
        assert!(size("1080p").is_err() && size("0x10").is_err());
    }

    #[test]
    fn exposure_times_are_read_as_marked() {
        for (text, seconds) in
            [("1/250", 0.004), ("0.005", 0.005), ("0.5 s", 0.5), ("1/200s", 0.005)]
        {
            assert_eq!(exposure_time(text), Ok(seconds));
        }
        for bad in ["0", "1/0", "-1/3", "x", "x/2", "", "1e9", "1e-9"] {
            assert!(exposure_time(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn levels_of_light_and_numbers_from_0_are_read() {
        assert_eq!(not_negative("-0"), Ok(0.0));
        assert!(light_ev("26").is_err() && light_ev("-3").is_ok() && light_ev("NaN").is_err());
        assert!(not_negative("-1").is_err());
    }

    #[test]
    fn numbers_must_be_above_0() {
        assert_eq!(positive("2.5"), Ok(2.5));
        for bad in ["0", "-1", "inf", "NaN", "x", ""] {
            assert!(positive(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn ratings_and_labels_are_read_and_nonsense_is_refused() {
        assert_eq!(rating("hit=5"), Ok((Verdict::Hit, 5)));
        for word in ["unclear=-1", "cannot-say=-1"] {
            assert_eq!(rating(word), Ok((Verdict::Unclear, -1)));
        }
        for bad in ["hit", "hit=6", "hit=-2", "hit=", "best=5", "hit=4.5"] {
            assert!(rating(bad).is_err(), "{bad}");
        }
        assert_eq!(label("near=web only"), Ok((Verdict::Near, "web only".to_owned())));
        for bad in ["near", "near=", "near=a\nb", "good=a"] {
            assert!(label(bad).is_err(), "{bad}");
        }
        assert!(
            keyword_prefix("").is_err()
                && keyword_prefix("a,b").is_err()
                && keyword_prefix("sw/").is_ok()
        );
    }
}
