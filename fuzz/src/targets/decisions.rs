use std::fs;
use std::path::Path;

use stopwise::store::decisions::Decisions;

/// A damaged file of decisions is read as far as it goes, or refused.
pub fn run(bytes: &[u8]) {
    let name = format!("stopwise-fuzz-decisions-{}", std::process::id());
    let path = std::env::temp_dir().join(name);
    for end in ["", "-wal", "-shm"] {
        let _ = fs::remove_file(format!("{}{end}", path.display()));
    }
    if fs::write(&path, bytes).is_err() {
        return;
    }
    let Ok(kept) = Decisions::open(&path) else { return };
    let _ = kept.judgements();
    let _ = kept.verdicts();
    let _ = kept.subjects_placed();
    if let Ok(standing) = kept.standing(&[Path::new("/day/f001.jpg"), Path::new("f002.jpg")]) {
        let inside = |v: f64| (0.0..=1.0).contains(&v);
        let places = standing.iter().filter_map(|s| s.subject);
        assert!(places.clone().all(|(x, y)| inside(x) && inside(y)), "{standing:?}");
    }
}
