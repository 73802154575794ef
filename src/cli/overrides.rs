//! From options about equipment and subject to what the library takes.

use std::collections::BTreeMap;
use std::path::PathBuf;

use stopwise::Error;
use stopwise::cull::outing::OutingJob;
use stopwise::store::equipment::Equipment;
use stopwise::store::overrides::UserOverrides;
use stopwise::store::paths;
use stopwise::store::rig::{Rig, Rigs};

use super::args::KnownArgs;

/// A rig by its name.
pub fn rig(name: &str) -> anyhow::Result<Rig> {
    let place = paths::rigs_place()?;
    let rigs = Rigs::read(&place)?;
    let rig = rigs.get(name).map_err(|problem| Error::Rigs { path: place, problem })?;
    Ok(rig.clone())
}

/// The rigs, and the one that the user names.
pub fn equipment(rig: Option<&String>) -> anyhow::Result<Equipment> {
    let place = match paths::rigs_place() {
        Ok(place) => place,
        // Who has no home folder has no rigs either; a named one is missed below.
        Err(_) if rig.is_none() => return Ok(Equipment::default()),
        Err(error) => return Err(error.into()),
    };
    let rigs = Rigs::read(&place)?;
    if let Some(name) = rig {
        rigs.get(name).map_err(|problem| Error::Rigs { path: place, problem })?;
    }
    Ok(Equipment { rigs, chosen: rig.cloned() })
}

/// The outing to work through.
pub fn outing(paths: &[PathBuf], known: &KnownArgs, pictures: bool) -> anyhow::Result<OutingJob> {
    Ok(OutingJob {
        paths: paths.to_vec(),
        subject: known.subject.map(|s| (s.x, s.y)),
        marks: BTreeMap::new(),
        subject_size: known.subject.and_then(|s| s.size),
        typed: UserOverrides {
            magnification: known.magnification,
            pixel_pitch_um: known.pitch,
            f_number: known.aperture,
            output_width_px: known.output_width,
            equipment: equipment(known.rig.as_ref())?,
        },
        pictures,
    })
}
