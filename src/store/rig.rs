//! Rigs: body, lens, what is mounted and the magnification, in a text file that people can edit.
//!
//! The file is TOML, one table a rig; comments and order are kept when the program changes it:
//!
//! ```toml
//! [dragonfly]
//! magnification = 2.0            # as measured or known; left out, it is worked out
//! pupil_ratio = 1.2              # exit over entrance pupil
//! [dragonfly.body]               # matched with the files, whatever the case of letters
//! make = "Velmarrow"
//! model = "VM-7"
//! [dragonfly.lens]
//! model = "Osk 100 mm"
//! focal_mm = 100.0
//! magnification = 1.0            # what the lens itself is set to; 0 is infinity
//! [dragonfly.mounted]
//! close_up_dioptres = 5.0
//! ```
//!
//! A frame finds its rig by what the file says of body and lens; where several fit equally well,
//! or a lens tells nothing, the user names one.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use serde::{Deserialize, Serialize};
use toml_edit::{DocumentMut, Item, Table};

use crate::error::{Error, Result, RigProblem};
use crate::image::exposure::body_name;
use crate::report::atomic_file;

/// Body as the files name it. What is left out fits any.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RigBody {
    /// Maker.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub make: Option<String>,
    /// Model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Serial number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
}

impl RigBody {
    /// Make and model as one name, the make once.
    pub fn name(&self) -> Option<String> {
        body_name(self.make.as_deref(), self.model.as_deref())
    }
}

/// The lens.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RigLens {
    /// Model as the files name it, or as people call one without contacts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Whether the body can talk to it; a rig with a lens that tells nothing fits frames that
    /// name no lens.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub contacts: Option<bool>,
    /// Focal length, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focal_mm: Option<f64>,
    /// Magnification that the lens itself is set to; 0 is infinity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnification: Option<f64>,
    /// Marked f-number, for a lens that tells nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f_number: Option<f64>,
}

/// What is mounted on or behind the lens.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Mounted {
    /// Strength of a close-up lens in front, dioptres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub close_up_dioptres: Option<f64>,
    /// Focal length of a lens reversed in front, itself at infinity, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reversed_lens_focal_mm: Option<f64>,
    /// Length of tubes or bellows behind the lens, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tube_mm: Option<f64>,
    /// Factor of a teleconverter behind it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub teleconverter: Option<f64>,
    /// Whether the lens itself is mounted the wrong way round.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub reversed: bool,
}

/// One rig.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Rig {
    /// Magnification on the sensor of the whole rig; without it, it is worked out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnification: Option<f64>,
    /// One standard error of it, when it was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnification_std_err: Option<f64>,
    /// How it was come by: "typed" or "ruler".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnification_from: Option<MagnificationFrom>,
    /// Pupil ratio of the lens, exit over entrance pupil, lens the right way round.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pupil_ratio: Option<f64>,
    /// Whether the files hold the working f-number and not the marked one.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub records_working_f_number: bool,
    /// Pixel pitch, µm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pixel_pitch_um: Option<f64>,
    /// Distance on the sensor between pixels of its clips, µm: sensor width over clip width where
    /// the whole width is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clip_pixel_pitch_um: Option<f64>,
    /// Wavelength of the light, µm, where it is not white.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wavelength_um: Option<f64>,
    /// The body.
    #[serde(skip_serializing_if = "is_default")]
    pub body: RigBody,
    /// The lens.
    #[serde(skip_serializing_if = "is_default")]
    pub lens: RigLens,
    /// What is mounted.
    #[serde(skip_serializing_if = "is_default")]
    pub mounted: Mounted,
}

/// How a magnification was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MagnificationFrom {
    /// Typed.
    Typed,
    /// Measured from a ruler frame.
    Ruler,
}

fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

/// What a file says of the equipment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EquipmentInFile<'a> {
    /// Maker of the body.
    pub make: Option<&'a str>,
    /// Model of the body.
    pub model: Option<&'a str>,
    /// Serial number of the body.
    pub serial: Option<&'a str>,
    /// Model of the lens.
    pub lens: Option<&'a str>,
}

/// What became of looking for a frame's rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RigMatch<'a> {
    /// None fits.
    None,
    /// This one.
    One(&'a str),
    /// Several fit equally well.
    Several(Vec<&'a str>),
}

/// All rigs by name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rigs(pub BTreeMap<String, Rig>);

impl Rig {
    /// How many of the things it names the file says too; `None` when the file contradicts it or
    /// says nothing of one, or when it names nothing.
    fn fit(&self, seen: EquipmentInFile<'_>) -> Option<u32> {
        let mut named = 0u32;
        let mut same = |mine: &Option<String>, theirs: Option<&str>| match (mine, theirs) {
            (None, _) => true,
            (Some(mine), Some(theirs)) => {
                named = named.saturating_add(1);
                mine.trim().to_lowercase() == theirs.trim().to_lowercase()
            }
            (Some(_), None) => false,
        };
        let body = same(&self.body.make, seen.make)
            && same(&self.body.serial, seen.serial)
            && (same(&self.body.model, seen.model) || self.with_make(seen));
        let lens = if self.lens.contacts == Some(false) {
            seen.lens.is_none()
        } else {
            same(&self.lens.model, seen.lens)
        };
        (body && lens && named > 0).then_some(named)
    }

    /// The same for a file that never names the lens: the body alone decides.
    fn fit_body(&self, seen: EquipmentInFile<'_>) -> Option<u32> {
        let body = Rig { body: self.body.clone(), ..Rig::default() };
        body.fit(EquipmentInFile { lens: None, ..seen })
    }

    /// Whether the model is written with the make in front in one place only.
    fn with_make(&self, seen: EquipmentInFile<'_>) -> bool {
        let (Some(mine), Some(theirs), Some(make)) = (&self.body.model, seen.model, seen.make)
        else {
            return false;
        };
        let (mine, theirs) = (mine.trim().to_lowercase(), theirs.trim().to_lowercase());
        let make = make.trim().to_lowercase();
        format!("{make} {mine}") == theirs || format!("{make} {theirs}") == mine
    }

    /// What cannot be, if anything.
    fn wrong(&self) -> Option<&'static str> {
        let bad = |v: Option<f64>, range: std::ops::RangeInclusive<f64>| {
            v.is_some_and(|v| !range.contains(&v))
        };
        let (lens, mounted) = (&self.lens, &self.mounted);
        // Wide enough for any equipment, narrow enough for a slipped decimal point to be seen.
        let rules = [
            (bad(self.magnification, 0.001..=100.0), "magnification is from 0.001 to 100"),
            (bad(lens.magnification, 0.0..=100.0), "the lens's own magnification is from 0 to 100"),
            (
                bad(self.magnification_std_err, 0.0..=10.0),
                "the error of a magnification is from 0 to 10",
            ),
            (bad(self.pupil_ratio, 0.1..=10.0), "pupil_ratio is from 0.1 to 10"),
            (bad(self.pixel_pitch_um, 0.3..=100.0), "pixel_pitch_um is from 0.3 to 100"),
            (bad(self.clip_pixel_pitch_um, 0.3..=100.0), "clip_pixel_pitch_um is from 0.3 to 100"),
            (bad(self.wavelength_um, 0.2..=2.0), "wavelength_um is from 0.2 to 2 (green is 0.55)"),
            (bad(lens.focal_mm, 1.0..=5000.0), "focal_mm is from 1 to 5000"),
            (bad(lens.f_number, 0.5..=512.0), "f_number is from 0.5 to 512"),
            (bad(mounted.close_up_dioptres, 0.1..=200.0), "close_up_dioptres is from 0.1 to 200"),
            (
                bad(mounted.reversed_lens_focal_mm, 1.0..=5000.0),
                "reversed_lens_focal_mm is from 1 to 5000",
            ),
            (bad(mounted.tube_mm, 0.0..=2000.0), "tube_mm is from 0 to 2000"),
            (bad(mounted.teleconverter, 1.0..=5.0), "teleconverter is from 1 to 5"),
            (
                mounted.close_up_dioptres.is_some() && mounted.reversed_lens_focal_mm.is_some(),
                "a close-up lens and a reversed lens in front: give one of them",
            ),
        ];
        rules.into_iter().find_map(|(broken, says)| broken.then_some(says))
    }
}

impl Rigs {
    /// Reads the file; one that is not there holds no rig.
    ///
    /// # Errors
    /// [`Error::Rigs`] with the line when the file is no TOML or holds what a rig has not.
    pub fn read(path: &Path) -> Result<Rigs> {
        match std::fs::read_to_string(path) {
            Ok(text) => Rigs::parse(&text).map_err(|p| failed(path, p)),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(Rigs::default()),
            Err(source) => Err(Error::Read { path: path.to_owned(), source }),
        }
    }

    /// Reads rigs from text.
    ///
    /// # Errors
    /// [`RigProblem::Form`] or [`RigProblem::Value`].
    pub fn parse(text: &str) -> Result<Rigs, RigProblem> {
        let rigs: BTreeMap<String, Rig> = toml::from_str(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start.min(text.len()));
            let before = text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count();
            let line = before.saturating_add(1);
            RigProblem::Form { line, says: e.message().replace('\n', " ") }
        })?;
        for (name, rig) in &rigs {
            if let Some(what) = rig.wrong() {
                return Err(RigProblem::Value { rig: name.clone(), what });
            }
        }
        Ok(Rigs(rigs))
    }

    /// The rig of that name.
    ///
    /// # Errors
    /// [`RigProblem::NoRig`] with the names there are.
    pub fn get(&self, name: &str) -> Result<&Rig, RigProblem> {
        self.0.get(name).ok_or_else(|| RigProblem::NoRig {
            name: name.to_owned(),
            known: self.0.keys().cloned().collect(),
        })
    }

    /// The rig of a frame: the one that names the most of what the file says, and nothing else.
    pub fn of(&self, seen: EquipmentInFile<'_>) -> RigMatch<'_> {
        self.fitting(|rig| rig.fit(seen))
    }

    /// The rig of a clip, which tells the body at most: lenses are not looked at.
    pub fn of_body(&self, seen: EquipmentInFile<'_>) -> RigMatch<'_> {
        self.fitting(|rig| rig.fit_body(seen))
    }

    fn fitting(&self, fit: impl Fn(&Rig) -> Option<u32>) -> RigMatch<'_> {
        let fits: Vec<(u32, &str)> =
            self.0.iter().filter_map(|(n, r)| Some((fit(r)?, n.as_str()))).collect();
        let Some(most) = fits.iter().map(|f| f.0).max() else { return RigMatch::None };
        let names: Vec<&str> = fits.iter().filter(|f| f.0 == most).map(|f| f.1).collect();
        match names[..] {
            [one] => RigMatch::One(one),
            _ => RigMatch::Several(names),
        }
    }
}

/// Adds a rig at the end of the file, which is made when it is not there.
///
/// # Errors
/// A rig of that name is there, a value cannot be, or the file cannot be read or written.
pub fn add(path: &Path, name: &str, rig: &Rig) -> Result<()> {
    if let Some(what) = rig.wrong() {
        return Err(failed(path, RigProblem::Value { rig: name.to_owned(), what }));
    }
    change(path, |document| {
        if document.contains_key(name) {
            return Err(RigProblem::Exists(name.to_owned()));
        }
        let table = table_of(rig, document.len())?;
        document.insert(name, Item::Table(table));
        Ok(())
    })
}

/// Takes a rig out of the file.
///
/// # Errors
/// There is none of that name, or the file cannot be read or written.
pub fn remove(path: &Path, name: &str) -> Result<()> {
    let known = Rigs::read(path)?;
    known.get(name).map_err(|p| failed(path, p))?;
    change(path, |document| {
        document.remove(name);
        Ok(())
    })
}

/// Writes a measured magnification into a rig, leaving the rest of the file as it is.
///
/// # Errors
/// There is no rig of that name, or the file cannot be read or written.
pub fn set_magnification(
    path: &Path,
    name: &str,
    magnification: f64,
    std_err: Option<f64>,
    from: MagnificationFrom,
) -> Result<()> {
    let mut rig = Rigs::read(path)?.get(name).map_err(|p| failed(path, p))?.clone();
    rig.magnification = Some(magnification);
    rig.magnification_std_err = std_err;
    if let Some(what) = rig.wrong() {
        return Err(failed(path, RigProblem::Value { rig: name.to_owned(), what }));
    }
    change(path, |document| {
        let Some(table) = document.get_mut(name).and_then(Item::as_table_like_mut) else {
            return Ok(());
        };
        let from = match from {
            MagnificationFrom::Typed => "typed",
            MagnificationFrom::Ruler => "ruler",
        };
        put(table, "magnification", toml_edit::value(magnification));
        put(table, "magnification_from", toml_edit::value(from));
        match std_err {
            Some(e) => put(table, "magnification_std_err", toml_edit::value(e)),
            None => drop(table.remove("magnification_std_err")),
        }
        Ok(())
    })
}

/// Sets a value, keeping the comment behind the one that stood there.
fn put(table: &mut dyn toml_edit::TableLike, key: &str, item: Item) {
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            let decor = old.decor().clone();
            if let Item::Value(mut new) = item {
                *new.decor_mut() = decor;
                *old = new;
            }
        }
        _ => drop(table.insert(key, item)),
    }
}

/// The rig as a table that stands behind `before` others.
fn table_of(rig: &Rig, before: usize) -> Result<Table, RigProblem> {
    let form = |says: String| RigProblem::Form { line: 0, says };
    let text = toml::to_string(rig).map_err(|e| form(e.to_string()))?;
    let document: DocumentMut =
        text.parse().map_err(|e: toml_edit::TomlError| form(e.message().to_owned()))?;
    let mut table = document.as_table().clone();
    // Without a value of its own it still gets its heading.
    table.set_implicit(false);
    table.set_position(None);
    for (_, item) in table.iter_mut() {
        if let Item::Table(inner) = item {
            inner.set_position(None);
        }
    }
    if before > 0 {
        table.decor_mut().set_prefix("\n");
    }
    Ok(table)
}

/// Reads the file, changes it, and puts it in place when whole.
fn change(
    path: &Path,
    work: impl FnOnce(&mut DocumentMut) -> Result<(), RigProblem>,
) -> Result<()> {
    let before = match std::fs::read(path) {
        Ok(bytes) => Some(bytes),
        Err(e) if e.kind() == io::ErrorKind::NotFound => None,
        Err(source) => return Err(Error::Read { path: path.to_owned(), source }),
    };
    let text = String::from_utf8(before.clone().unwrap_or_default()).map_err(|e| {
        let source = io::Error::new(io::ErrorKind::InvalidData, e.utf8_error());
        Error::Read { path: path.to_owned(), source }
    })?;
    // Also says what is wrong with a file that someone edited, before it is touched.
    Rigs::parse(&text).map_err(|p| failed(path, p))?;
    let mut document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        failed(path, RigProblem::Form { line: 0, says: e.message().to_owned() })
    })?;
    work(&mut document).map_err(|p| failed(path, p))?;
    let text = document.to_string();
    Rigs::parse(&text).map_err(|p| failed(path, p))?;
    if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder)
            .map_err(|source| Error::Write { path: path.to_owned(), source })?;
    }
    atomic_file::replace(path, before.as_deref(), text.as_bytes())
}

fn failed(path: &Path, problem: RigProblem) -> Error {
    Error::Rigs { path: path.to_owned(), problem }
}
