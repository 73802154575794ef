//! What going from one step to another cost, and by which protocol.

use super::{Measuring, StepMeasurement};
use crate::compare::attribution::{Attribution, AttributionKind, between, method_error, of_four};
use crate::compare::record::{AttributionRecord, Protocol, StepAxis, StepRecord};
use crate::compare::sentences;
use crate::compare::series::aperture_thirds;
use crate::noise::jpeg::NoiseTransfer;

/// Most light that steps may differ by and still count as equally exposed, stops.
const SAME_LIGHT_STOPS: f64 = 0.5;

impl Measuring<'_> {
    pub(super) fn attributions(
        &self,
        taken: &[StepMeasurement<'_>],
        steps: &[StepRecord],
        best: usize,
    ) -> Vec<AttributionRecord> {
        let next = (1..taken.len()).map(|i| (i - 1, i));
        let from_best = (0..taken.len()).filter(|i| *i != best).map(|i| (best, i));
        let mut pairs: Vec<(usize, usize)> = next.collect();
        if self.series.axis == StepAxis::FourCorners {
            // Sorted by aperture, then ISO: the diagonal is what the series was taken for.
            pairs = vec![(0, 3)];
        }
        for pair in from_best {
            if !pairs.contains(&pair) {
                pairs.push(pair);
            }
        }
        pairs
            .into_iter()
            .map(|(from, to)| {
                let (a, protocol) = self.one(taken, from, to);
                let mut record = AttributionRecord {
                    from,
                    to,
                    protocol,
                    total: a.total,
                    total_std_err: a.total_std_err,
                    optics: a.optics,
                    noise: a.noise,
                    low: a.optics - a.half,
                    high: a.optics + a.half,
                    cost_more: a.cost_more,
                    message: String::new(),
                };
                record.message = sentences::attribution(&record, steps, self.series.axis);
                record
            })
            .collect()
    }

    /// By the best protocol that the frames allow.
    fn one(
        &self,
        taken: &[StepMeasurement<'_>],
        from: usize,
        to: usize,
    ) -> (Attribution, Protocol) {
        let (a, b) = (&taken[from], &taken[to]);
        let corners: Vec<Corner> = taken
            .iter()
            .map(|t| Corner {
                aperture_thirds: aperture_thirds(t.step.setting.f_number),
                iso: t.step.setting.iso,
                mean: t.mean,
                is_repeated: t.found.frames > 1,
            })
            .collect();
        if let Some((first, second)) = other_corners(&corners, from, to) {
            let (first, second) = (&taken[first], &taken[second]);
            let k = method_error(Protocol::FourCorners, AttributionKind::default());
            let found = of_four(&a.side, &first.side, &second.side, &b.side, k);
            return (found, Protocol::FourCorners);
        }
        let protocol = if corners[from].is_repeated && corners[to].is_repeated {
            Protocol::Repeats
        } else if self.raw {
            Protocol::RawSingles
        } else {
            Protocol::RenderedSingles
        };
        let kind = AttributionKind {
            raw: self.raw,
            compressed: a.compressed.is_some() && b.compressed.is_some(),
            noise_reduced: a.reduced || b.reduced,
            moved: a.moved || b.moved,
        };
        let k = method_error(protocol, kind);
        let crossings = match (&a.compressed, &b.compressed) {
            (Some(x), Some(y)) => [(b, y.under(x)), (a, x.under(y))].map(|(optics, mut c)| {
                c.signal_more.iter_mut().for_each(|v| *v *= optics.gain * optics.gain);
                c
            }),
            _ => [NoiseTransfer::NONE; 2],
        };
        (between(&a.side, &b.side, &crossings, k), protocol)
    }
}

/// What of a step decides whether it can be a corner between apertures and ISO settings.
#[derive(Debug, Clone, Copy)]
struct Corner {
    aperture_thirds: i64,
    iso: Option<u32>,
    /// Brightness, any unit.
    mean: f64,
    is_repeated: bool,
}

/// Between two steps that differ in aperture and ISO, the steps with the aperture of the second
/// and the ISO of the first, and the other way round; all four repeated, and as bright as the first.
fn other_corners(steps: &[Corner], from: usize, to: usize) -> Option<(usize, usize)> {
    let (a, b) = (&steps[from], &steps[to]);
    let corner = |aperture: &Corner, noise: &Corner| {
        steps.iter().position(|t| {
            let light = (t.mean / a.mean).log2().abs();
            t.aperture_thirds == aperture.aperture_thirds
                && t.iso == noise.iso
                && light < SAME_LIGHT_STOPS
        })
    };
    if a.aperture_thirds == b.aperture_thirds || a.iso.is_none() || a.iso == b.iso {
        return None;
    }
    let (first, second) = (corner(b, a)?, corner(a, b)?);
    [from, to, first, second].iter().all(|i| steps[*i].is_repeated).then_some((first, second))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two apertures and two ISO settings; the last as much brighter as given, stops.
    fn four(stops: f64) -> [Corner; 4] {
        let corner = |aperture_thirds, iso, mean| Corner {
            aperture_thirds,
            iso: Some(iso),
            mean,
            is_repeated: true,
        };
        [
            corner(18, 100, 50.0),
            corner(18, 800, 50.0),
            corner(24, 100, 50.0 * stops.exp2()),
            corner(24, 800, 50.0),
        ]
    }

    #[test]
    fn corners_are_equally_exposed_and_repeated() {
        let of = |stops| other_corners(&four(stops), 0, 3);
        for sign in [1.0, -1.0] {
            assert_eq!(of(sign * (SAME_LIGHT_STOPS - 0.01)), Some((2, 1)));
            assert_eq!(of(sign * (SAME_LIGHT_STOPS + 0.01)), None);
        }
        for i in 0..4 {
            let mut single = four(0.0);
            single[i].is_repeated = false;
            assert_eq!(other_corners(&single, 0, 3), None, "{i}");
        }
        let mut untold = four(0.0);
        untold.iter_mut().for_each(|c| c.iso = None);
        assert_eq!(other_corners(&untold, 0, 3), None);
        assert_eq!(other_corners(&four(0.0), 0, 1), None, "one aperture");
        assert_eq!(other_corners(&four(0.0), 0, 2), None, "one ISO");
    }
}
