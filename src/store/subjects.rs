//! Files of marked subjects: one row per frame, `name,X,Y`.

use std::collections::BTreeMap;

/// A line of such a file that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {problem}")]
pub struct BadSubject {
    /// Its number, from 1 on.
    pub line: u64,
    /// What is wrong with it.
    pub problem: String,
}

/// Reads a number.
///
/// # Errors
/// A sentence for the user.
pub fn number(text: &str) -> Result<f64, String> {
    text.trim().parse().map_err(|_| format!("{text:?} is no number"))
}

/// Checks a place: fractions of the upright picture, from the left and from the top.
///
/// # Errors
/// A sentence for the user.
pub fn place(x: f64, y: f64) -> Result<(f64, f64), String> {
    let inside = |v: f64| (0.0..=1.0).contains(&v);
    if inside(x) && inside(y) {
        Ok((x, y))
    } else {
        Err("X and Y are fractions of the picture, from 0 to 1".to_owned())
    }
}

/// Reads the places of subjects by the names of their frames. Lines that start with `#` and empty
/// lines are skipped; of several rows with one name the last counts.
///
/// # Errors
/// The first line that is neither.
pub fn read(text: &str) -> Result<BTreeMap<String, (f64, f64)>, BadSubject> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut places = BTreeMap::new();
    for row in reader.records() {
        let row = row.map_err(|e| BadSubject {
            line: e.position().map_or(0, csv::Position::line),
            problem: e.to_string(),
        })?;
        let bad =
            |problem| BadSubject { line: row.position().map_or(0, csv::Position::line), problem };
        let [name, x, y] = row.iter().collect::<Vec<_>>()[..] else {
            return Err(bad("give name,X,Y".to_owned()));
        };
        let at = number(x).and_then(|x| place(x, number(y)?));
        places.insert(name.to_owned(), at.map_err(bad)?);
    }
    Ok(places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_read_and_nonsense_is_refused_with_its_line() {
        let places = read("# mine\n a b.jpg , 0.5, 0.25\n\n\"c,d.jpg\",0,1\n").unwrap();
        assert_eq!(places["a b.jpg"], (0.5, 0.25));
        assert_eq!(places["c,d.jpg"], (0.0, 1.0));
        for (text, line) in [
            ("a.jpg,0.5", 1),
            ("a.jpg,0,0\nb.jpg,0.5,7", 2),
            ("a.jpg,0,0\nb.jpg,0.5,0.5,0.1", 2),
            // Two numbers in one cell are no number.
            ("a.jpg,\"0.5,0.5,0.1\",0.1", 1),
            ("a.jpg,NaN,0.5", 1),
        ] {
            let bad = read(text).unwrap_err();
            assert_eq!(bad.line, line, "{text}: {bad}");
        }
    }
}
