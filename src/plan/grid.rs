//! The settings at every position of the page's sliders, as the table's own words.
//!
//! Nothing is interpolated: which aperture and ISO are best changes in jumps, and so does the
//! finest line where contrast reverses. What a slider can be set to is a short list instead, the
//! asked value among it, and the page only looks up. Words are kept once per column; a row is a
//! few digits to the base of 64, and what does not depend on the depth is kept once per light.

use std::collections::HashMap;

use rayon::prelude::*;
use serde::Serialize;

use super::sentences::{self, ReasonForms};
use super::{PlanJob, PlanModel, apertures, columns, ranked_of};
use crate::limits::Charted;
use crate::plan::record::{ModelKind, PlanRecord, PlanSetting, PlanWish};
use crate::report::wording;

/// Depths to choose from, mm.
const DEPTHS_MM: [f64; 13] = [0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0];
/// Magnifications to choose from.
const MAGNIFICATIONS: [f64; 10] = [0.25, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.0, 8.0];
/// SliderStops of light on either side of what was asked for.
const LIGHT_STOPS: i32 = 6;
/// Values closer to the asked one than this ratio give way to it.
const SAME_RATIO: f64 = 1.12;
/// Digits of a row, from 0 on.
const DIGITS: &[u8; 64] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";
/// SliderStops where one's own limits are used: their errors take room.
const LIGHT_STOPS_WITH_ERRORS: i32 = 3;
/// Columns whose cells can carry an error.
const WITH_ERROR: [&str; 2] = ["in focus", "at the ends"];
/// Before a column's name: the column of its errors.
const ERROR: &str = "error of ";
/// Columns that depend on the depth; the others are kept once per light and magnification.
const BY_DEPTH: [&str; 2] = ["at the ends", "most lost to"];

/// What the page looks up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanGrid {
    /// The sliders; the last one changes fastest in `positions`.
    pub sliders: Vec<PlanSlider>,
    /// Digits of the rows.
    pub digits: String,
    /// Headings of the table, in order.
    pub headings: Vec<String>,
    /// Columns of a row of `exposures`.
    pub exposure_columns: Vec<CodedColumn>,
    /// Columns of a row of `positions`; the first counts rows of `exposures`.
    pub position_columns: Vec<CodedColumn>,
    /// Per position of all sliders but the depth's: rows, one after the other.
    pub exposures: Vec<String>,
    /// Per position of all sliders: rows, the best setting's first.
    pub positions: Vec<String>,
    /// Forms of the sentence about the first setting.
    pub reason: ReasonForms,
    /// What stands where there is no value.
    pub no_value: &'static str,
}

/// What a slider can be set to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanSlider {
    /// Its name in the page.
    pub name: &'static str,
    /// Values as shown, rising.
    pub values: Vec<String>,
    /// Which of them was asked for.
    pub asked: usize,
    /// Words for a place in the sentence that depend on the value.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<&'static str>,
}

/// A column of coded rows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CodedColumn {
    /// Heading of the column in the table.
    pub name: String,
    /// Digits per row.
    pub width: usize,
    /// Words to choose from.
    pub words: Vec<String>,
}

/// The values of a slider.
struct SliderStops {
    values: Vec<f64>,
    asked: usize,
}

impl SliderStops {
    /// A list with the asked value in it.
    fn around(asked: f64, list: &[f64]) -> SliderStops {
        let same = |v: f64| asked > 0.0 && (v / asked).max(asked / v) < SAME_RATIO;
        let mut values: Vec<f64> = list.iter().copied().filter(|v| !same(*v)).collect();
        let at = values.partition_point(|v| *v < asked);
        values.insert(at, asked);
        SliderStops { values, asked: at }
    }

    fn slider(&self, name: &'static str) -> PlanSlider {
        PlanSlider {
            name,
            values: self.values.iter().map(|v| wording::short(*v)).collect(),
            asked: self.asked,
            places: Vec::new(),
        }
    }
}

/// The wishes of all positions of the sliders.
struct GridStops {
    magnifications: SliderStops,
    light: Option<SliderStops>,
    depths: SliderStops,
}

impl GridStops {
    fn of(wish: &PlanWish, stops: i32) -> GridStops {
        GridStops {
            magnifications: SliderStops::around(wish.magnification, &MAGNIFICATIONS),
            light: wish.light_ev.map(|ev| SliderStops {
                values: (-stops..=stops).map(|k| ev + f64::from(k)).collect(),
                asked: stops as usize,
            }),
            depths: SliderStops::around(wish.depth_mm, &DEPTHS_MM),
        }
    }

    fn sliders(&self) -> Vec<PlanSlider> {
        let depth = PlanSlider {
            places: self.depths.values.iter().map(|d| sentences::place(*d)).collect(),
            ..self.depths.slider("depth")
        };
        let light = self.light.as_ref().map(|l| l.slider("light"));
        [Some(self.magnifications.slider("magnification")), light, Some(depth)]
            .into_iter()
            .flatten()
            .collect()
    }

    /// Levels of light; a flash has one, itself.
    fn lights(&self) -> Vec<Option<f64>> {
        match &self.light {
            Some(stops) => stops.values.iter().copied().map(Some).collect(),
            None => vec![None],
        }
    }
}

/// The cells of a setting.
type CellRow = Vec<String>;

/// The settings of a magnification: per light, per depth, best first.
type OfMagnification = Vec<Vec<Vec<CellRow>>>;

impl PlanGrid {
    /// The grid around a wish.
    pub fn of(job: &PlanJob, charted: Option<&Charted>) -> PlanGrid {
        let record = super::plan(job, charted);
        let stops = match record.model {
            ModelKind::Own => LIGHT_STOPS_WITH_ERRORS,
            ModelKind::Typical => LIGHT_STOPS,
        };
        let stops = GridStops::of(&job.wish, stops);
        let all: Vec<OfMagnification> = stops
            .magnifications
            .values
            .par_iter()
            .map(|m| of_magnification(job, charted, *m, &stops))
            .collect();
        let headings = columns::settings(&record).iter().map(|c| c.heading.to_owned()).collect();
        let mut coder = RowCoder::new(headings);
        for by_depth in all.iter().flatten() {
            coder.take(by_depth);
        }
        coder.grid(stops.sliders(), ReasonForms::of(&job.wish, &record.parameters))
    }
}

/// The settings of a magnification at every light and depth.
fn of_magnification(
    job: &PlanJob,
    charted: Option<&Charted>,
    magnification: f64,
    stops: &GridStops,
) -> OfMagnification {
    let job = PlanJob { wish: PlanWish { magnification, ..job.wish.clone() }, ..job.clone() };
    let mut model = PlanModel::of(&job, charted);
    let mut record = super::plan(&job, charted);
    let lights = stops.lights();
    let mut all: OfMagnification = lights.iter().map(|_| Vec::new()).collect();
    for depth_mm in &stops.depths.values {
        let at_depth = PlanWish { depth_mm: *depth_mm, ..job.wish.clone() };
        let mut apertures = apertures(&at_depth, &model.parameters);
        for (light_ev, by_depth) in lights.iter().zip(&mut all) {
            let wish = PlanWish { light_ev: *light_ev, ..at_depth.clone() };
            record.settings = ranked_of(&mut apertures, &wish, &model.parameters);
            model.give_errors(&mut record.settings);
            by_depth.push(cell_rows(&record));
        }
    }
    all
}

/// The rows of the table of settings, errors in cells of their own at the end.
fn cell_rows(record: &PlanRecord) -> Vec<CellRow> {
    let columns = columns::settings(record);
    let row = |setting: &PlanSetting| {
        let (mut values, mut errors) = (Vec::new(), Vec::new());
        for column in &columns {
            let (value, error) = column.shown_parts(setting).unwrap_or_default();
            values.push(value);
            if WITH_ERROR.contains(&column.heading) {
                errors.push(error.map_or(String::new(), |e| format!(" ± {e}")));
            }
        }
        [values, errors].concat()
    };
    record.settings.iter().map(row).collect()
}

/// The different words of a column.
#[derive(Default)]
struct ColumnWords {
    index: HashMap<String, usize>,
    list: Vec<String>,
}

impl ColumnWords {
    fn index_of(&mut self, word: &str) -> usize {
        if let Some(known) = self.index.get(word) {
            return *known;
        }
        self.index.insert(word.to_owned(), self.list.len());
        self.list.push(word.to_owned());
        self.list.len() - 1
    }

    fn column(self, name: String) -> CodedColumn {
        // Without errors there is one word, that of none.
        let none = name.starts_with(ERROR) && self.list.len() < 2;
        let width = if none { 0 } else { width_of(self.list.len()) };
        CodedColumn { name, width, words: self.list }
    }
}

/// Puts rows into digits.
struct RowCoder {
    headings: Vec<String>,
    names: Vec<String>,
    words: Vec<ColumnWords>,
    exposures: Vec<Vec<Vec<usize>>>,
    positions: Vec<Vec<Vec<usize>>>,
}

impl RowCoder {
    fn new(headings: Vec<String>) -> RowCoder {
        let errors = headings.iter().filter(|h| WITH_ERROR.contains(&h.as_str()));
        let names: Vec<String> =
            headings.iter().cloned().chain(errors.map(|h| format!("{ERROR}{h}"))).collect();
        let words = names.iter().map(|_| ColumnWords::default()).collect();
        RowCoder { headings, names, words, exposures: Vec::new(), positions: Vec::new() }
    }

    /// Takes the rows of all depths at a magnification and a light.
    fn take(&mut self, by_depth: &[Vec<CellRow>]) {
        let mut kept: Vec<Vec<usize>> = Vec::new();
        for rows in by_depth {
            let mut position = Vec::new();
            for row in rows {
                let (mut exposure, mut of_depth) = (Vec::new(), Vec::new());
                for (i, cell) in row.iter().enumerate() {
                    let word = self.words[i].index_of(cell);
                    let by_depth = depends_on_depth(&self.names[i]);
                    if by_depth { &mut of_depth } else { &mut exposure }.push(word);
                }
                let at = kept.iter().position(|k| *k == exposure).unwrap_or_else(|| {
                    kept.push(exposure);
                    kept.len() - 1
                });
                of_depth.insert(0, at);
                position.push(of_depth);
            }
            self.positions.push(position);
        }
        self.exposures.push(kept);
    }

    fn grid(self, sliders: Vec<PlanSlider>, reason: ReasonForms) -> PlanGrid {
        let most = self.exposures.iter().map(Vec::len).max().unwrap_or(0);
        let count =
            CodedColumn { name: "exposure".to_owned(), width: width_of(most), words: Vec::new() };
        let columns = self.names.into_iter().zip(self.words).map(|(name, w)| w.column(name));
        let (by_depth, exposure_columns): (Vec<CodedColumn>, Vec<CodedColumn>) =
            columns.partition(|c| depends_on_depth(&c.name));
        let position_columns: Vec<CodedColumn> = [vec![count], by_depth].concat();
        PlanGrid {
            sliders,
            digits: DIGITS.iter().map(|d| char::from(*d)).collect(),
            exposures: self.exposures.iter().map(|r| coded(r, &exposure_columns)).collect(),
            positions: self.positions.iter().map(|r| coded(r, &position_columns)).collect(),
            headings: self.headings,
            exposure_columns,
            position_columns,
            reason,
            no_value: wording::NOTHING,
        }
    }
}

/// Whether a column, or that whose error it is, depends on the depth.
fn depends_on_depth(name: &str) -> bool {
    BY_DEPTH.contains(&name.trim_start_matches(ERROR))
}

/// Digits that tell `count` values apart: at least one, as rows are told apart by their length.
fn width_of(count: usize) -> usize {
    let mut width = 1;
    while DIGITS.len().pow(width) < count {
        width += 1;
    }
    width as usize
}

/// Rows in digits, the highest first.
fn coded(rows: &[Vec<usize>], columns: &[CodedColumn]) -> String {
    let mut text = String::new();
    for row in rows {
        for (value, column) in row.iter().zip(columns) {
            for place in (0..column.width).rev() {
                let digit = value >> (6 * place) & 63;
                text.push(char::from(DIGITS[digit]));
            }
        }
    }
    text
}
