//! Axes: from a value to a place on the drawing, and where the ticks go.

/// Full stops of marked f-numbers.
pub const F_STOPS: [f64; 12] = [1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0];

/// Full stops of working f-numbers.
pub const WORKING_STOPS: [f64; 18] = [
    1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0, 64.0, 90.0, 128.0, 181.0,
    256.0, 362.0,
];

/// How values are spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisScale {
    /// Evenly.
    Linear,
    /// By their logarithm.
    Log,
}

/// One axis of a chart.
#[derive(Debug, Clone, Copy)]
pub struct PlotAxis {
    spread: AxisScale,
    low: f64,
    high: f64,
    at_low: f64,
    at_high: f64,
}

impl PlotAxis {
    /// An axis on which `low..high` runs from `at_low` to `at_high` px. `None` when the range is
    /// empty or cannot be spread that way.
    pub fn new(spread: AxisScale, range: (f64, f64), at: (f64, f64)) -> Option<PlotAxis> {
        let (low, high) = range;
        let sound = low.is_finite() && high.is_finite() && low < high;
        let sound = sound && (spread == AxisScale::Linear || low > 0.0);
        sound.then_some(PlotAxis { spread, low, high, at_low: at.0, at_high: at.1 })
    }

    /// Where a value lies, px; values beyond the ends are held at the ends.
    pub fn at(&self, value: f64) -> f64 {
        let value = value.clamp(self.low, self.high);
        let part = match self.spread {
            AxisScale::Linear => (value - self.low) / (self.high - self.low),
            AxisScale::Log => (value / self.low).ln() / (self.high / self.low).ln(),
        };
        self.at_low + part * (self.at_high - self.at_low)
    }

    /// Those of `ticks` that lie on the axis (with a hair of slack for rounding).
    pub fn on<'a>(&self, ticks: &'a [f64]) -> impl Iterator<Item = f64> + 'a {
        let (low, high) = (self.low * (1.0 - 1e-9), self.high * (1.0 + 1e-9));
        ticks.iter().copied().filter(move |t| (low..=high).contains(t))
    }
}

/// The range of `values` widened to the full stops around it, so that at least two ticks show.
pub fn stop_range(values: &[f64], stops: &[f64]) -> Option<(f64, f64)> {
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    // Marked stops are rounded (1/125 for 1/128): a twelfth of a stop counts as on the tick.
    let slack = 2f64.powf(1.0 / 12.0);
    let first = stops.iter().rposition(|s| *s < low / slack).unwrap_or(0);
    let last = stops.iter().position(|s| *s > high * slack).unwrap_or(stops.len() - 1);
    let (low, high) = (stops[first].min(low), stops[last].max(high));
    (low < high).then_some((low, high))
}

/// Steps of 1, 2 or 5 times a power of ten that cut `0..high` into at most five parts; the last
/// tick is at or above `high`.
pub fn even_ticks(high: f64) -> Vec<f64> {
    if !high.is_finite() || high <= 0.0 {
        return vec![0.0, 1.0];
    }
    let raw = high / 5.0;
    let decade = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|k| k * decade).into_iter().find(|s| *s >= raw * 0.999);
    let step = step.unwrap_or(raw);
    let count = (high / step - 1e-9).ceil() as u32;
    (0..=count).map(|i| f64::from(i) * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_cover_the_range() {
        assert_eq!(even_ticks(4.2), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(even_ticks(10.0), [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]);
        assert_eq!(stop_range(&[8.0], &F_STOPS), Some((5.6, 11.0)));
        assert_eq!(stop_range(&[], &F_STOPS), None);
    }

    #[test]
    fn a_stop_is_the_same_length_everywhere() {
        let axis = PlotAxis::new(AxisScale::Log, (2.0, 32.0), (0.0, 80.0)).unwrap();
        approx::assert_abs_diff_eq!(axis.at(4.0), 20.0, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(axis.at(16.0), 60.0, epsilon = 1e-9);
        assert!(PlotAxis::new(AxisScale::Log, (0.0, 1.0), (0.0, 1.0)).is_none());
        assert!(PlotAxis::new(AxisScale::Linear, (1.0, 1.0), (0.0, 1.0)).is_none());
    }
}
