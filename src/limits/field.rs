//! The field of detail: where frames support it, its best places, its break-even line, and what
//! to shoot next to fill it.

use crate::detail::detail_model::DetailModel;
use crate::limits::record::{BestPoint, BreakEven, GridCell, ShootNext};
use crate::optics::Optics;

/// Places are this far apart, stops.
const STEP: f64 = 0.5;
/// A place is supported by at least this many frames within a stop both ways…
const MIN_NEARBY_FRAMES: usize = 3;
/// …and the field ends this far beyond the outermost frames, stops.
const BEYOND: f64 = 0.5;
/// Larger errors of the detail are not drawn, share.
const LARGEST_ERR: f64 = 0.05;
/// Errors of a fit to frames of the field alone are this much larger than their scatter says:
/// misses of focus soften them alike (simulated shooters, seeds 100 to 139).
const FIELD_WIDER: f64 = 1.6;
/// What the model itself may be off by, share of the detail (the same shooters, with tests).
const MODEL_ERR: f64 = 0.01;
/// The same of the break-even line, stops.
const EVEN_MODEL_ERR: f64 = 0.05;
/// Larger errors of the break-even line are not drawn, stops.
const LARGEST_EVEN_ERR: f64 = 0.2;
/// What people can set: whole stops from a marked f/2.8 and ISO 100 on.
const MARKED: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
const ISOS: [u32; 7] = [100, 200, 400, 800, 1600, 3200, 6400];

/// A place in stops: 2·log2(N) and log2(ISO/100).
pub fn in_stops(n_eff: f64, iso: f64) -> (f64, f64) {
    (2.0 * n_eff.log2(), (iso / 100.0).log2())
}

fn from_stops(x: f64, y: f64) -> (f64, f64) {
    ((0.5 * x).exp2(), 100.0 * y.exp2())
}

/// What supports the field.
#[derive(Debug)]
pub struct Support<'a> {
    /// The fit.
    pub fit: &'a DetailModel,
    /// The frames it rests on, in stops.
    pub at: Vec<(f64, f64)>,
    /// Whether frames of tests are among them.
    pub tests: bool,
}

impl Support<'_> {
    /// Whether frames support a place.
    fn holds(&self, x: f64, y: f64) -> bool {
        let near = |(a, b): &&(f64, f64)| (a - x).abs() <= 1.001 && (b - y).abs() <= 1.001;
        self.at.iter().filter(near).count() >= MIN_NEARBY_FRAMES
    }

    /// A share's error with what the fit does not know of.
    fn widened(&self, rel_err: f64) -> f64 {
        (if self.tests { rel_err } else { FIELD_WIDER * rel_err }).hypot(MODEL_ERR)
    }

    /// Standard error of the detail at a setting, as a share of it.
    fn detail_rel_err(&self, n: f64, iso: f64) -> f64 {
        self.widened(self.fit.detail_rel_err(n, iso))
    }

    fn drawn(&self, x: f64, y: f64) -> bool {
        let (n, iso) = from_stops(x, y);
        self.holds(x, y) && self.detail_rel_err(n, iso) <= LARGEST_ERR
    }

    /// The field, by ISO, then f-number.
    pub fn grid(&self, magnification: f64) -> Vec<GridCell> {
        let range = |of: &dyn Fn(&(f64, f64)) -> f64| {
            let low = self.at.iter().map(of).fold(f64::INFINITY, f64::min) - BEYOND;
            let high = self.at.iter().map(of).fold(f64::NEG_INFINITY, f64::max) + BEYOND;
            ((low / STEP).ceil() as i32, (high / STEP).floor() as i32)
        };
        if self.at.is_empty() {
            return Vec::new();
        }
        let (xs, ys) = (range(&|p| p.0), range(&|p| p.1));
        let kit = self.fit.kit();
        let mut cells = Vec::new();
        for j in ys.0..=ys.1 {
            for i in xs.0..=xs.1 {
                let (x, y) = (f64::from(i) * STEP, f64::from(j) * STEP);
                if !self.drawn(x, y) {
                    continue;
                }
                let (working_f_number, iso) = from_stops(x, y);
                let shown = self.fit.shows(working_f_number, iso);
                let finest_um = shown.resolved_cy_px.map(|f| kit.finest_um(f, magnification));
                let err = self.fit.resolved_rel_err(working_f_number, iso);
                let err = err.map(|e| self.widened(e));
                cells.push(GridCell {
                    working_f_number,
                    iso,
                    finest_um,
                    detail_bits_px: shown.detail_bits_px,
                    std_err: shown.detail_bits_px * self.detail_rel_err(working_f_number, iso),
                    finest_std_err_um: finest_um.zip(err).map(|(um, e)| um * e),
                });
            }
        }
        cells
    }

    /// The best place on each line of equal exposure that crosses the field, a stop apart.
    pub fn best(&self, grid: &[GridCell]) -> Vec<BestPoint> {
        let exposure = |c: &GridCell| {
            let (x, y) = in_stops(c.working_f_number, c.iso);
            ((x - y) / STEP).round() as i32
        };
        let mut lines: Vec<i32> = grid.iter().map(exposure).collect();
        lines.sort_unstable();
        lines.dedup();
        lines
            .into_iter()
            .filter(|line| line % 2 == 0)
            .filter_map(|line| {
                let mut on: Vec<&GridCell> = grid.iter().filter(|c| exposure(c) == line).collect();
                on.sort_by(|a, b| a.working_f_number.total_cmp(&b.working_f_number));
                let (at, best) = on
                    .iter()
                    .enumerate()
                    .reduce(|a, b| if b.1.detail_bits_px > a.1.detail_bits_px { b } else { a })?;
                (on.len() > 2).then_some(BestPoint {
                    exposure_stops: f64::from(line) * STEP,
                    working_f_number: best.working_f_number,
                    iso: best.iso,
                    detail_bits_px: best.detail_bits_px,
                    at_end: at == 0 || at + 1 == on.len(),
                })
            })
            .collect()
    }

    /// The break-even line, where it crosses the field.
    pub fn break_even(&self, grid: &[GridCell]) -> Vec<BreakEven> {
        let mut isos: Vec<f64> = grid.iter().map(|c| c.iso).collect();
        isos.sort_by(f64::total_cmp);
        isos.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-9);
        isos.into_iter()
            .filter_map(|iso| {
                let on = grid.iter().filter(|c| (c.iso / iso - 1.0).abs() < 1e-9);
                let ns = on.map(|c| c.working_f_number);
                let low = ns.clone().fold(f64::INFINITY, f64::min);
                let high = ns.fold(0.0, f64::max);
                let (n, err) = self.fit.break_even(iso, low, high)?;
                let err = err.hypot(EVEN_MODEL_ERR);
                let (x, y) = in_stops(n, iso);
                // A third of a stop is what the line is to be good for.
                (self.holds(x, y) && err <= LARGEST_EVEN_ERR).then_some(BreakEven {
                    iso,
                    working_f_number: n,
                    std_err_stops: err,
                })
            })
            .collect()
    }
}

/// Whole stops of aperture with the ISO settings that no frame is near, those beside the frames
/// there are first; at most three apertures.
pub fn shoot_next(at: &[(f64, f64)], optics: &Optics) -> Vec<ShootNext> {
    let near = |x: f64, y: f64, within: f64| {
        at.iter().filter(|(a, b)| (a - x).abs() <= within && (b - y).abs() <= within).count()
    };
    let mut wanted: Vec<(usize, ShootNext)> = MARKED
        .iter()
        .filter_map(|marked| {
            let working = optics.working_f_number(*marked)?.value;
            let x = in_stops(working, 100.0).0;
            let isos: Vec<u32> = ISOS
                .iter()
                .copied()
                .filter(|iso| near(x, in_stops(1.0, f64::from(*iso)).1, 0.6) < MIN_NEARBY_FRAMES)
                // Where diffraction or light rule it out nobody goes: stay beside what is used.
                .filter(|iso| at.is_empty() || near(x, in_stops(1.0, f64::from(*iso)).1, 2.1) > 0)
                .step_by(2)
                .collect();
            let beside =
                near(x, 4.0, 20.0) + at.iter().filter(|(a, _)| (a - x).abs() < 2.1).count();
            (!isos.is_empty()).then_some((
                beside,
                ShootNext { working_f_number: working, marked_f_number: *marked, isos },
            ))
        })
        .collect();
    if at.is_empty() {
        // A first series: three apertures two stops apart, three ISO settings.
        wanted.retain(|(_, n)| [5.6, 11.0, 22.0].contains(&n.marked_f_number));
        wanted.iter_mut().for_each(|(_, n)| n.isos = vec![100, 800, 6400]);
        wanted.sort_by_key(|(_, n)| n.working_f_number as u32);
    } else {
        wanted.sort_by_key(|(beside, _)| std::cmp::Reverse(*beside));
        wanted.truncate(3);
        wanted.sort_by(|a, b| a.1.working_f_number.total_cmp(&b.1.working_f_number));
    }
    wanted.into_iter().map(|(_, n)| n).collect()
}
