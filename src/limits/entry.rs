//! Frames as the chart needs them, and which of them belong together.

use crate::core::stats::median;
use crate::core::verdict::{Cause, Verdict};

/// A logged frame, reduced to what the chart needs. What was not known is `None`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LimitFrame {
    /// Number of its outing.
    pub outing: i64,
    /// Number of its burst within the outing.
    pub burst: u32,
    /// Whether the outing was a test.
    pub test: bool,
    /// Marked f-number.
    pub marked_f_number: Option<f64>,
    /// Working f-number.
    pub working_f_number: Option<f64>,
    /// Magnification.
    pub magnification: Option<f64>,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
    /// ISO.
    pub iso: Option<u32>,
    /// Whether a flash fired.
    pub flash: Option<bool>,
    /// Pixel pitch, µm.
    pub pixel_pitch_um: Option<f64>,
    /// Its verdict; `None` when the log has a word that this version does not know.
    pub verdict: Option<Verdict>,
    /// Its first cause.
    pub cause: Option<Cause>,
    /// Detail, bits per pixel.
    pub detail_bits_px: Option<f64>,
    /// Blur at the subject, px.
    pub blur_sigma_px: Option<f64>,
    /// Blur that its settings give at best, px.
    pub attainable_blur_px: Option<f64>,
    /// Blur over what the verdicts of its burst are relative to.
    pub blur_ratio: Option<f64>,
    /// Length of the smear, px.
    pub motion_length_px: Option<f64>,
    /// Whether its detail can be quoted: not smoothed by the camera, not drowned.
    pub quotable: bool,
}

impl LimitFrame {
    /// Whether it is a hit.
    pub fn hit(&self) -> bool {
        self.verdict == Some(Verdict::Hit)
    }

    /// Whether it was judged.
    pub fn judged(&self) -> bool {
        self.verdict.is_some_and(|v| v != Verdict::Unclear)
    }

    /// Working f-number and ISO, when both are there and possible.
    pub fn place(&self) -> Option<(f64, f64)> {
        let n = self.working_f_number.filter(|n| n.is_finite() && (0.5..=1000.0).contains(n))?;
        let iso = f64::from(self.iso?);
        (1.0..=1e7).contains(&iso).then_some((n, iso))
    }

    /// Detail that can be used in a fit.
    pub fn sound_detail(&self) -> Option<f64> {
        self.detail_bits_px.filter(|d| self.quotable && d.is_finite() && *d > 0.0 && *d < 64.0)
    }

    /// Magnification, when possible.
    pub fn sound_magnification(&self) -> Option<f64> {
        self.magnification.filter(|m| m.is_finite() && (1e-3..=200.0).contains(m))
    }
}

/// Frames this much apart in magnification are charted apart, as a factor.
const SAME: f64 = 1.15;

/// Frames of one magnification, by index.
#[derive(Debug, Clone, PartialEq)]
pub struct MagnificationGroup {
    /// Middle magnification.
    pub magnification: f64,
    /// Which frames.
    pub members: Vec<usize>,
}

/// Frames by magnification, most frames first. Neighbours that differ by less than 15 % stay
/// together as long as the whole group spans less than twice that.
pub fn by_magnification(entries: &[LimitFrame]) -> Vec<MagnificationGroup> {
    let mut placed: Vec<(f64, usize)> = entries
        .iter()
        .enumerate()
        .filter_map(|(i, e)| Some((e.sound_magnification()?, i)))
        .collect();
    placed.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut groups: Vec<Vec<(f64, usize)>> = Vec::new();
    for (m, i) in placed {
        match groups.last_mut() {
            Some(group)
                if group.last().is_some_and(|(last, _)| m < last * SAME)
                    && group.first().is_some_and(|(first, _)| m < first * SAME * SAME) =>
            {
                group.push((m, i));
            }
            _ => groups.push(vec![(m, i)]),
        }
    }
    let mut groups: Vec<MagnificationGroup> = groups
        .into_iter()
        .filter_map(|group| {
            let mut ms: Vec<f64> = group.iter().map(|(m, _)| *m).collect();
            let mut members: Vec<usize> = group.iter().map(|(_, i)| *i).collect();
            members.sort_unstable();
            Some(MagnificationGroup { magnification: median(&mut ms)?, members })
        })
        .collect();
    groups.sort_by(|a, b| {
        b.members.len().cmp(&a.members.len()).then(a.magnification.total_cmp(&b.magnification))
    });
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn magnifications_part_where_they_are_apart() {
        let of = |m: f64| LimitFrame { magnification: Some(m), ..LimitFrame::default() };
        let entries =
            [of(1.0), of(2.0), of(1.05), of(f64::NAN), of(1.1), of(5.0), LimitFrame::default()];
        let groups = by_magnification(&entries);
        let members: Vec<&[usize]> = groups.iter().map(|g| g.members.as_slice()).collect();
        assert_eq!(members, [&[0, 2, 4][..], &[1], &[5]]);
        approx::assert_abs_diff_eq!(groups[0].magnification, 1.05, epsilon = 1e-12);
    }
}
