//! The shooter's own limits, from what was logged: detail by aperture and ISO, the hand, the
//! season's hit rates, and what to shoot next.
//!
//! Detail is fitted ([`crate::detail::detail_model`]) to the frames of one rig at one magnification:
//! the frames of tests, and of each burst in the field its hits, the blur that each has beyond its
//! settings' taken into account. The mean of a burst's hits is used and not its best frame, whose
//! detail is high by the luck of its own scatter (8 % on simulated shooters). Field frames are
//! kept apart by a factor of their own where tests are there; where not, that other subjects and
//! focus a little off are in the numbers is said.

pub mod columns;
mod decided;
mod entry;
mod field;
mod field_chart;
pub mod findings;
mod hand_chart;
pub mod hand_speed;
mod hands;
mod logged;
pub mod page;
pub mod record;
mod season;
mod sections;
mod sentences;
mod smears;
pub mod terminal;

use std::collections::BTreeMap;

use crate::core::units::{GREEN, WavelengthUm};
use crate::core::verdict::Verdict;
use crate::detail::detail_model::{ABERRATION_UNIT_UM, DetailModel, DetailPoint};
use crate::limits::record::FNumberPair;
use crate::limits::record::{CHART_SCHEMA, ChartModel, ChartRecord, Dot};
use crate::optics::{MountedLens, Optics};
use crate::report::header::Header;
use crate::report::svg::axis::WORKING_STOPS;
use crate::report::value::WithError;

pub use decided::{Decided, apply_decisions};
pub use entry::{LimitFrame, MagnificationGroup, by_magnification};
pub use field_chart::chart_svg;
pub use logged::{DescribedRigs, OfRig, of_rig, titles};

/// Frames that a fit takes at most, evenly over the settings: more do not narrow it.
const MAX_POINTS: usize = 250;
/// Dots that are drawn at most.
const MAX_DOTS: usize = 500;
/// Frames that a model needs at least: its three numbers and one to hold against.
const MIN_POINTS: usize = 4;

/// What is to be charted.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChartJob {
    /// Name of the rig, for the record.
    pub rig: Option<String>,
    /// Magnification to chart; `None` for the one with the most frames.
    pub magnification: Option<f64>,
    /// The rig's lens as mounted, where the rig is described.
    pub lens: Option<MountedLens>,
    /// Wavelength, µm, when not green.
    pub wavelength_um: Option<f64>,
    /// Frames of clips, which tell of the hand only and are kept apart from stills.
    pub clips: Vec<LimitFrame>,
    /// Titles of outings by number.
    pub outings: BTreeMap<i64, String>,
    /// Frames of the rig that people decided on: their word is in the entries.
    pub decided: Decided,
}

/// A chart and the fit behind it, for plans.
#[derive(Debug, Clone)]
pub struct Charted {
    /// The record.
    pub record: ChartRecord,
    /// The fit, when there is one.
    pub fit: Option<DetailModel>,
    /// The rigs that the log knows.
    pub known_rigs: Vec<String>,
}

/// Charts frames.
pub fn chart(job: &ChartJob, entries: &[LimitFrame]) -> Charted {
    let groups = by_magnification(entries);
    let group = match job.magnification {
        None => groups.first(),
        Some(m) => groups
            .iter()
            .filter(|g| (g.magnification / m).ln().abs() < 1.15f64.ln())
            .min_by(|a, b| {
                let off = |g: &MagnificationGroup| (g.magnification / m).ln().abs();
                off(a).total_cmp(&off(b))
            }),
    };
    let here: Vec<&LimitFrame> =
        group.map(|g| g.members.iter().map(|i| &entries[*i]).collect()).unwrap_or_default();
    let magnification = group.map(|g| g.magnification);
    let gathered = gathered(&here);
    let used: Vec<&LimitFrame> = gathered.iter().flat_map(|g| g.members.iter().copied()).collect();
    let pitch_um = middle(used.iter().filter_map(|e| e.pixel_pitch_um))
        .or_else(|| middle(here.iter().filter_map(|e| e.pixel_pitch_um)));
    let wavelength = job.wavelength_um.map_or(GREEN, WavelengthUm);
    let points: Vec<DetailPoint> = gathered.iter().map(|g| g.point).collect();
    let fit = pitch_um
        .filter(|_| points.len() >= MIN_POINTS)
        .and_then(|pitch| DetailModel::fit(&points, pitch, wavelength));

    // A point supports its surroundings as often as it was repeated, three times at most.
    let at: Vec<(f64, f64)> = gathered
        .iter()
        .flat_map(|g| {
            let place = field::in_stops(g.point.n_eff, g.point.iso);
            std::iter::repeat_n(place, g.members.len().min(3))
        })
        .collect();
    let optics = magnification.map(|m| {
        Optics::of(&MountedLens { magnification: Some(m), ..job.lens.unwrap_or_default() })
    });
    let next = optics.map_or(Vec::new(), |optics| field::shoot_next(&at, &optics));
    let tests = used.iter().any(|e| e.test);
    let support = fit.as_ref().map(|fit| field::Support { fit, at, tests });
    let grid = match (&support, magnification) {
        (Some(s), Some(m)) => s.grid(m),
        _ => Vec::new(),
    };
    let hands = hands::hands(entries, &groups);
    let handheld =
        hands.iter().find(|h| Some(h.magnification) == magnification && !h.flash).cloned();
    let test_frames_used = used.iter().filter(|e| e.test).count() as u32;
    let mut record = ChartRecord {
        header: Header::new(CHART_SCHEMA),
        rig: job.rig.clone(),
        magnification,
        marked_axis: optics.map_or(Vec::new(), |optics| marked_axis(&optics)),
        model: fit.as_ref().map(model),
        // Frames of the field alone put it half a stop off on simulated shooters.
        break_even: support
            .as_ref()
            .filter(|_| test_frames_used > 0)
            .map(|s| s.break_even(&grid))
            .unwrap_or_default(),
        best: support.as_ref().map(|s| s.best(&grid)).unwrap_or_default(),
        grid,
        handheld,
        hands,
        clip_hands: hands::hands(&job.clips, &by_magnification(&job.clips)),
        clip_frames: job.clips.len() as u32,
        by_aperture: season::by_aperture(entries),
        by_magnification: season::by_magnification(entries, &groups),
        by_outing: season::by_outing(entries, &job.outings),
        causes: season::causes(entries),
        frames: entries.len() as u32,
        frames_used: if fit.is_some() { used.len() as u32 } else { 0 },
        test_frames_used: if fit.is_some() { test_frames_used } else { 0 },
        dots: dots(&here),
        next,
        decided: job.decided.frames,
        overruled: job.decided.overruled,
        findings: Vec::new(),
    };
    let lacks = lacks(entries, &here);
    record.findings = findings::findings(&record, &lacks);
    Charted { record, fit, known_rigs: Vec::new() }
}

/// How many frames say what is needed, for the words.
fn lacks(entries: &[LimitFrame], here: &[&LimitFrame]) -> findings::Lacks {
    let count = |f: &dyn Fn(&LimitFrame) -> bool| entries.iter().filter(|e| f(e)).count() as u32;
    findings::Lacks {
        frames: entries.len() as u32,
        with_magnification: count(&|e| e.sound_magnification().is_some()),
        here: here.len() as u32,
        with_place: here.iter().filter(|e| e.place().is_some()).count() as u32,
        with_detail: here
            .iter()
            .filter(|e| e.place().is_some() && e.sound_detail().is_some())
            .count() as u32,
        with_pitch: here.iter().filter(|e| e.pixel_pitch_um.is_some()).count() as u32,
        contradictory: count(&|e| {
            let wrong = |v: Option<f64>, low: f64, high: f64| {
                v.is_some_and(|v| !v.is_finite() || v < low || v > high)
            };
            wrong(e.magnification, 1e-3, 200.0)
                || wrong(e.working_f_number, 0.5, 1000.0)
                || wrong(e.detail_bits_px, 0.0, 64.0)
                || wrong(e.shutter_s, 1e-6, 3600.0)
                || matches!((e.working_f_number, e.marked_f_number), (Some(w), Some(m)) if w < 0.9 * m)
        }),
    }
}

/// Frames that stand for one point of the fit.
#[derive(Debug)]
struct Gathered<'a> {
    point: DetailPoint,
    members: Vec<&'a LimitFrame>,
}

/// Whether a frame can be in the fit.
fn fits(e: &LimitFrame) -> bool {
    let good = if e.test { e.verdict != Some(Verdict::Miss) } else { e.hit() };
    good && e.place().is_some() && e.sound_detail().is_some()
}

/// Frames gathered to points: the hits of a burst in the field, the repeats of a setting in a
/// test; evenly over the settings when there are too many.
fn gathered<'a>(here: &[&'a LimitFrame]) -> Vec<Gathered<'a>> {
    let mut by_setting: BTreeMap<(bool, i64, u32, i32, i32), Vec<&LimitFrame>> = BTreeMap::new();
    for e in here.iter().filter(|e| fits(e)) {
        let Some((n, iso)) = e.place() else { continue };
        let (x, y) = field::in_stops(n, iso);
        // A burst in which settings changed is a point a setting.
        let burst = if e.test { 0 } else { e.burst };
        let key = (e.test, e.outing, burst, (6.0 * x).round() as i32, (6.0 * y).round() as i32);
        by_setting.entry(key).or_default().push(e);
    }
    let all: Vec<Gathered<'_>> =
        by_setting.into_values().filter_map(|members| gather(members)).collect();
    if all.len() <= MAX_POINTS {
        return all;
    }
    let mut cells: BTreeMap<(bool, i32, i32), Vec<Gathered<'_>>> = BTreeMap::new();
    for g in all {
        let (x, y) = field::in_stops(g.point.n_eff, g.point.iso);
        let key = (g.point.field, (2.0 * x).round() as i32, (2.0 * y).round() as i32);
        cells.entry(key).or_default().push(g);
    }
    let each = (MAX_POINTS / cells.len()).max(1);
    cells
        .into_values()
        .flat_map(|cell| {
            let every = cell.len().div_ceil(each);
            cell.into_iter().step_by(every)
        })
        .collect()
}

/// The mean of some frames: of ln D, and of the variance of blur, so that its scatter does not
/// count as softness.
fn gather(members: Vec<&LimitFrame>) -> Option<Gathered<'_>> {
    let first = members.first()?;
    let (n_eff, iso) = first.place()?;
    let ln: Vec<f64> = members.iter().filter_map(|e| Some(e.sound_detail()?.ln())).collect();
    let blur: Vec<f64> = members
        .iter()
        .filter_map(|e| e.blur_sigma_px.filter(|b| b.is_finite() && (0.0..1e3).contains(b)))
        .map(|b| b * b)
        .collect();
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let point = DetailPoint {
        n_eff,
        iso,
        detail_bits_px: mean(&ln).exp(),
        blur_sigma_px: (!blur.is_empty()).then(|| mean(&blur).sqrt()),
        field: !first.test,
    };
    Some(Gathered { point, members })
}

/// At most `most` of a list, evenly over it.
fn spread<T: Copy>(all: &[T], most: usize) -> Vec<T> {
    if all.len() <= most {
        return all.to_vec();
    }
    (0..most).map(|i| all[i * all.len() / most]).collect()
}

fn middle(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut all: Vec<f64> = values.filter(|v| v.is_finite() && *v > 0.0).collect();
    crate::core::stats::median(&mut all)
}

fn model(fit: &DetailModel) -> ChartModel {
    let of = |i: usize, unit: f64| WithError {
        value: fit.theta[i] * unit,
        std_err: Some(fit.covariance[i][i].max(0.0).sqrt() * unit),
    };
    let kit = fit.kit();
    ChartModel {
        ln_contrast_over_noise: of(0, 1.0),
        aberration_um: of(1, ABERRATION_UNIT_UM),
        ln_read_over_shot: of(2, 1.0),
        field_over_test: fit.both_kinds.then(|| WithError {
            value: fit.theta[3].exp(),
            std_err: Some(fit.theta[3].exp() * fit.covariance[3][3].max(0.0).sqrt()),
        }),
        scatter: fit.scatter,
        pitch_um: kit.pitch_um,
        wavelength_um: kit.wavelength.0,
    }
}

/// The marked f-numbers below the chart's working ones.
fn marked_axis(optics: &Optics) -> Vec<FNumberPair> {
    let pair = |working: &f64| {
        let marked_f_number = optics.marked_f_number(*working)?;
        Some(FNumberPair { working_f_number: *working, marked_f_number })
    };
    WORKING_STOPS.iter().filter_map(pair).collect()
}

fn dots(here: &[&LimitFrame]) -> Vec<Dot> {
    let of = |e: &&LimitFrame| {
        let (working_f_number, iso) = e.place()?;
        Some(Dot {
            working_f_number,
            iso,
            detail_bits_px: e.sound_detail()?,
            verdict: e.verdict?,
            field: !e.test,
            used: fits(e),
        })
    };
    let sound: Vec<&LimitFrame> = here
        .iter()
        .filter(|e| e.place().is_some() && e.sound_detail().is_some())
        .copied()
        .collect();
    spread(&sound, MAX_DOTS).iter().filter_map(of).collect()
}
