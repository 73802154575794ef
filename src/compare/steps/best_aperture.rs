//! The aperture of most detail, in the plane of focus and over a depth.

use super::{Measuring, StepMeasurement};
use crate::compare::record::{BestAperture, StepAxis, StepRecord};
use crate::core::stats::{interpolate, least_squares};
use crate::core::units::GREEN;
use crate::detail::lens_fit::LensFit;
use crate::noise::signal_noise::{RingPowers, bits_px};
use crate::optics::depth::{best_n_eff, image_half_depth_um};

/// Reach of the fit about the best aperture, stops.
const BEST_REACH_STOPS: f64 = 1.3;

impl Measuring<'_> {
    /// The aperture of most detail, by a parabola in stops about the best step.
    pub(super) fn best_aperture(&self, steps: &[StepRecord]) -> Option<BestAperture> {
        if !matches!(self.series.axis, StepAxis::Aperture) {
            return None;
        }
        let points: Vec<(f64, f64)> = steps
            .iter()
            .filter_map(|s| Some((2.0 * s.f_number.log2(), s.detail_bits_px?.value)))
            .collect();
        let (stops, interior) = vertex(&points)?;
        let f_number = (stops / 2.0).exp2();
        let working_f_number = self.working_per_marked.map(|b| f_number * b);
        Some(BestAperture { f_number, working_f_number, interior, depth_mm: None })
    }

    /// The aperture whose ends of the depth asked for keep most detail, under each aperture's
    /// own noise.
    pub(super) fn best_for_depth(
        &self,
        taken: &[StepMeasurement<'_>],
        fit: Option<&LensFit>,
    ) -> Option<BestAperture> {
        let (depth_mm, m) = (self.job.depth_mm?, self.magnification?.value);
        let working_per_marked = self.working_per_marked?;
        let defocus_um = image_half_depth_um(depth_mm, m);
        let made = |f_number: f64, interior: bool| BestAperture {
            f_number,
            working_f_number: Some(f_number * working_per_marked),
            interior,
            depth_mm: Some(depth_mm),
        };
        let Some(fit) = fit.filter(|_| self.series.axis == StepAxis::Aperture) else {
            let n_eff = best_n_eff(defocus_um, GREEN);
            return Some(made(n_eff / working_per_marked, true));
        };
        let noise_at = |stops: f64| -> RingPowers {
            std::array::from_fn(|r| {
                let table: Vec<(f64, f64)> = taken
                    .iter()
                    .map(|t| (2.0 * t.step.setting.f_number.log2(), t.side.noise[r].ln()))
                    .collect();
                interpolate(&table, stops).map_or(f64::NAN, f64::exp)
            })
        };
        let ends = taken.first().zip(taken.last())?;
        let range = [ends.0, ends.1].map(|t| 2.0 * t.step.setting.f_number.log2());
        let cells = ((range[1] - range[0]) * 12.0).round() as u32;
        let at = |i: u32| range[0] + (range[1] - range[0]) * f64::from(i) / f64::from(cells.max(1));
        let bits = |i: u32| {
            let f_number = (at(i) / 2.0).exp2();
            let signal = fit.signal_defocused(f_number, f_number * working_per_marked, defocus_um);
            bits_px(&signal, &noise_at(at(i)), &taken[0].side.count)
        };
        let best = (0..=cells).max_by(|a, b| bits(*a).total_cmp(&bits(*b)))?;
        Some(made((at(best) / 2.0).exp2(), best > 0 && best < cells))
    }
}

/// Where a parabola through values over stops, in order, is greatest, and whether that lies between
/// two of them.
fn vertex(points: &[(f64, f64)]) -> Option<(f64, bool)> {
    let top = points.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let at = points.iter().position(|p| *p == top)?;
    if at == 0 || at + 1 == points.len() {
        return Some((top.0, false));
    }
    let row = |p: &(f64, f64)| {
        let x = p.0 - top.0;
        ([1.0, x, x * x], p.1, 1.0)
    };
    let is_near = |p: &&(f64, f64)| (p.0 - top.0).abs() <= BEST_REACH_STOPS;
    let mut rows: Vec<([f64; 3], f64, f64)> = points.iter().filter(is_near).map(row).collect();
    if rows.len() < 3 {
        rows = points[at - 1..=at + 1].iter().map(row).collect();
    }
    let [_, slope, bend] = least_squares(&rows)?.beta;
    let (left, right) = (points[at - 1].0 - top.0, points[at + 1].0 - top.0);
    let x = if bend < 0.0 { (-slope / (2.0 * bend)).clamp(left, right) } else { 0.0 };
    Some((top.0 + x, true))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_aperture_is_the_vertex_over_the_steps_within_reach() {
        // A parabola about 6.2 stops in steps of a third, and one step at an end of the reach.
        let parabola = |x: f64| 2.0 - 0.1 * (x - 6.2).powi(2);
        let points = |end: f64, off: f64| -> Vec<(f64, f64)> {
            let inside = (-3..=3).map(|k| 6.2 + f64::from(k) / 3.0);
            let mut points: Vec<(f64, f64)> = inside.map(|x| (x, parabola(x))).collect();
            points.push((6.2 + end, parabola(6.2 + end) + off));
            points
        };
        let of = |end: f64, off: f64| vertex(&points(end, off)).unwrap();
        assert!((of(BEST_REACH_STOPS + 0.01, 0.0).0 - 6.2).abs() < 1e-9);
        // What lies beyond the reach does not bend it; what lies within does.
        let (beyond, within) =
            (of(BEST_REACH_STOPS + 0.01, -0.3), of(BEST_REACH_STOPS - 0.01, -0.3));
        assert!((beyond.0 - 6.2).abs() < 1e-9 && beyond.1);
        assert!((within.0 - 6.2).abs() > 0.01 && within.1, "{within:?}");
    }

    #[test]
    fn a_best_step_at_an_end_is_no_vertex() {
        let falling = [(4.0, 2.0), (5.0, 1.5), (6.0, 1.0)];
        assert_eq!(vertex(&falling), Some((4.0, false)));
        let rising = falling.map(|(x, v)| (-x, v));
        assert_eq!(vertex(&[rising[2], rising[1], rising[0]]), Some((-4.0, false)));
        // Steps further apart than the reach: the two beside it are taken.
        let wide = vertex(&[(2.0, 1.0), (4.0, 2.0), (6.0, 1.0)]).unwrap();
        assert!((wide.0 - 4.0).abs() < 1e-9 && wide.1, "{wide:?}");
        assert_eq!(vertex(&[]), None);
    }
}
