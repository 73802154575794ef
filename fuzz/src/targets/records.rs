use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use stopwise::cull::record::CullRecord;
use stopwise::store::record_places::{RecordOrigin, RecordPlaces};

/// Frames of a record that are looked up: each asks the system a few times.
const MAX_FRAMES: usize = 20;

/// A folder with a picture in it, a picture outside, and links between them.
fn folder() -> &'static Path {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let base = std::env::temp_dir().join(format!("stopwise-fuzz-{}", std::process::id()));
        let root = base.join("root");
        fs::create_dir_all(root.join("day")).expect("a folder can be made");
        for picture in ["root/day/a.jpg", "root/a.jpg", "outside.jpg", "a.jpg"] {
            fs::write(base.join(picture), b"x").expect("a file can be made");
        }
        #[cfg(unix)]
        for (to, link) in [("../outside.jpg", "root/link.jpg"), ("..", "root/up")] {
            let _ = std::os::unix::fs::symlink(to, base.join(link));
        }
        root
    })
}

/// Nothing that a record names lies outside its folder.
pub fn run(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(record) = CullRecord::read(text) else { return };
    let root = folder();
    let real = root.canonicalize().expect("the folder is there");
    for moved in [None, Some(root)] {
        let places =
            RecordPlaces::new(&record.outing.paths, moved, RecordOrigin::FileIn(root), false);
        for frame in record.frames.iter().take(MAX_FRAMES) {
            for file in places.files(&frame.path, frame.partner.as_deref()).files {
                let file = file.canonicalize().expect("what was found is there");
                assert!(file.starts_with(&real), "{} is outside", file.display());
            }
        }
    }
}
