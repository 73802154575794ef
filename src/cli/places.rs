//! Where the files of a record are by now.

use std::path::{Path, PathBuf};

/// Where to look for the files of a record.
#[derive(Debug)]
pub struct Places {
    bases: Vec<PathBuf>,
    moved: bool,
}

impl Places {
    /// Below `moved` when it is given; else below the folder that was given to `cull`, as named
    /// then, and below the folder that the record stands in.
    pub fn new(asked: &[String], moved: Option<&Path>, beside: Option<&Path>) -> Places {
        if let Some(folder) = moved {
            return Places { bases: vec![folder.to_owned()], moved: true };
        }
        let mut bases = Vec::new();
        if let [one] = asked {
            bases.push(PathBuf::from(one));
            bases.extend(beside.map(|b| b.join(one)));
        }
        bases.push(PathBuf::new());
        bases.extend(beside.map(Path::to_owned));
        Places { bases, moved: false }
    }

    /// The files of a frame: its own, and the one taken with it; none when its own is gone.
    pub fn files(&self, path: &str, partner: Option<&str>) -> Vec<PathBuf> {
        let Some(own) = self.find(path) else { return Vec::new() };
        // The two files of one exposure are in one folder.
        let partner = partner.and_then(|partner| {
            let beside = own.with_file_name(Path::new(partner).file_name()?);
            if beside.is_file() { Some(beside) } else { self.find(partner) }
        });
        std::iter::once(own).chain(partner).collect()
    }

    /// The file of a path in the record, if it is there.
    fn find(&self, path: &str) -> Option<PathBuf> {
        let path = Path::new(path);
        let below = self.bases.iter().map(|b| b.join(path)).find(|p| p.is_file());
        // Files that were put elsewhere, all in one folder.
        below.or_else(|| {
            let name = path.file_name().filter(|_| self.moved)?;
            self.bases.iter().map(|b| b.join(name)).find(|p| p.is_file())
        })
    }
}
