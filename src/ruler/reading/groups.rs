//! Runs of marks that go on from strip to strip: the ticks of a ruler are lines.

use super::profile::{TickRun, near};
use super::turned::Strip;

/// Periods of neighbouring strips agree within this share.
const PERIOD_AGREES: f64 = 0.06;
/// Marks of neighbouring strips lie within this share of a period of each other.
const PLACE_AGREES: f64 = 0.2;
/// Share of the marks that must do so.
const MAX_AGREE: f64 = 0.75;

/// Neighbouring strips with the same run of marks.
#[derive(Debug, Clone)]
pub(super) struct TickGroup {
    /// Strip number and run, in order.
    pub members: Vec<(usize, TickRun)>,
    /// -1: dark marks; 1: light marks.
    pub sign: f64,
}

impl TickGroup {
    /// Mean period, px.
    pub fn period_px(&self) -> f64 {
        let marks = |r: &TickRun| r.at_px.len() as f64;
        let total: f64 = self.members.iter().map(|(_, r)| marks(r)).sum();
        self.members.iter().map(|(_, r)| r.period_px * marks(r)).sum::<f64>() / total
    }

    /// Marks in all strips, weighted by how even and how high they are: the bright rims that a
    /// dark tick has for a filter are as even as the tick, and two for one, but lower.
    pub fn score(&self) -> f64 {
        self.members
            .iter()
            .map(|(_, r)| (r.at_px.len() as f64 - 2.0) * (1.0 - 6.0 * r.uneven).max(0.0) * r.height)
            .sum()
    }

    /// Most marks in one strip.
    pub fn marks_most(&self) -> usize {
        self.members.iter().map(|(_, r)| r.at_px.len()).max().unwrap_or(0)
    }

    /// Mean height of the marks.
    pub fn height(&self) -> f64 {
        self.members.iter().map(|(_, r)| r.height).sum::<f64>() / self.members.len() as f64
    }
}

fn goes_on(a: &TickRun, b: &TickRun) -> bool {
    if !near(a.period_px, b.period_px, PERIOD_AGREES) {
        return false;
    }
    let slack = PLACE_AGREES * a.period_px;
    let (first, last) = (a.at_px[0] - slack, a.at_px[a.at_px.len() - 1] + slack);
    let inside: Vec<f64> = b.at_px.iter().copied().filter(|x| (first..=last).contains(x)).collect();
    let agree = inside.iter().filter(|x| a.at_px.iter().any(|y| (*x - y).abs() < slack)).count();
    inside.len() >= 3 && agree as f64 >= MAX_AGREE * inside.len() as f64
}

/// Groups of at least `least` strips, dark marks and light ones.
pub(super) fn groups(strips: &[Strip], least: usize) -> Vec<TickGroup> {
    let mut open: Vec<TickGroup> = Vec::new();
    for (i, strip) in strips.iter().enumerate() {
        for (sign, run) in strip.profile.runs() {
            let joined = open.iter_mut().find(|g| {
                // One strip may be missing: dirt, or a line of print.
                g.sign * sign > 0.0
                    && g.members.last().is_some_and(|(k, last)| {
                        (i - 2.min(i)..i).contains(k) && goes_on(last, &run)
                    })
            });
            match joined {
                Some(group) => group.members.push((i, run)),
                None => open.push(TickGroup { members: vec![(i, run)], sign }),
            }
        }
    }
    open.retain(|g| g.members.len() >= least);
    open
}
