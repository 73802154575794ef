//! The file of `--subjects`: one row per frame, `name,X,Y`.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::collections::BTreeMap;

/// Reads a number.
pub fn number(text: &str) -> Result<f64, String> {
    text.trim().parse().map_err(|_| format!("{text:?} is no number"))
}

/// Reads a place: fractions of the upright picture, from the left and from the top.
pub fn place(x: f64, y: f64) -> Result<(f64, f64), String> {
    let inside = |v: f64| (0.0..=1.0).contains(&v);
    if inside(x) && inside(y) {
        Ok((x, y))
    } else {
        Err("X and Y are fractions of the picture, from 0 to 1".to_owned())
    }
}

/// Places by the names of their frames. Lines that start with `#` and empty lines are passed over;
/// of several rows with one name the last counts.
pub fn parsed(text: &str) -> Result<BTreeMap<String, (f64, f64)>, String> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut places = BTreeMap::new();
    for row in reader.records() {
        let row = row.map_err(|e| e.to_string())?;
        let line = row.position().map_or(0, csv::Position::line);
        let [name, x, y] = row.iter().collect::<Vec<_>>()[..] else {
            return Err(format!("line {line}: give name,X,Y"));
        };
        let at = number(x).and_then(|x| place(x, number(y)?));
        places.insert(name.to_owned(), at.map_err(|why| format!("line {line}: {why}"))?);
    }
    Ok(places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_read_and_nonsense_is_refused_with_its_line() {
        let read = parsed("# mine\n a b.jpg , 0.5, 0.25\n\n\"c,d.jpg\",0,1\n").unwrap();
        assert_eq!(read["a b.jpg"], (0.5, 0.25));
        assert_eq!(read["c,d.jpg"], (0.0, 1.0));
        for (text, line) in [
            ("a.jpg,0.5", 1),
            ("a.jpg,0,0\nb.jpg,0.5,7", 2),
            ("a.jpg,0,0\nb.jpg,0.5,0.5,0.1", 2),
            // Two numbers in one cell are no number.
            ("a.jpg,\"0.5,0.5,0.1\",0.1", 1),
            ("a.jpg,NaN,0.5", 1),
        ] {
            let why = parsed(text).unwrap_err();
            assert!(why.starts_with(&format!("line {line}: ")), "{text}: {why}");
        }
    }
}
