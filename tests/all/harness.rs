//! The tiny harness: golden files that refresh with `STOPWISE_BLESS=1`.

use std::fs;
use std::path::Path;

/// Compares with `testdata/golden/<name>`, or writes it when `STOPWISE_BLESS` is set.
pub fn golden(name: &str, got: &str) {
    generated(&format!("testdata/golden/{name}"), got);
}

/// Compares with a generated file of the repository, or writes it when `STOPWISE_BLESS` is set.
pub fn generated(name: &str, got: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    if std::env::var_os("STOPWISE_BLESS").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, got).unwrap();
        return;
    }
    let want = fs::read_to_string(&path)
        .unwrap_or_else(|e| panic!("{}: {e}; STOPWISE_BLESS=1 writes it", path.display()));
    if want == got {
        return;
    }
    let line = want.lines().zip(got.lines()).take_while(|(a, b)| a == b).count();
    let shown = |text: &str| {
        text.lines().nth(line).unwrap_or("(end)").chars().take(400).collect::<String>()
    };
    panic!(
        "{name} differs at line {}\n  golden: {}\n  now:    {}\nSTOPWISE_BLESS=1 refreshes it",
        line + 1,
        shown(&want),
        shown(got)
    );
}

/// A record as `--json` writes it.
pub fn json_of(record: &impl serde::Serialize) -> String {
    let mut out = Vec::new();
    stopwise::report::json::write(record, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}
