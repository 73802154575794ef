//! Verdicts against the truth of the simulator.

use super::TrueCall;
use crate::core::verdict::Verdict;

/// Number of frames by their true class and the verdict on them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ConfusionMatrix {
    /// A row per true class (hit, near, miss), a column per verdict of [`Verdict::ALL`].
    pub frames: [[u32; Verdict::ALL.len()]; 3],
}

impl FromIterator<(TrueCall, Verdict)> for ConfusionMatrix {
    fn from_iter<I: IntoIterator<Item = (TrueCall, Verdict)>>(pairs: I) -> ConfusionMatrix {
        let mut matrix = ConfusionMatrix::default();
        for (truth, verdict) in pairs {
            let row = match truth {
                TrueCall::Hit => 0,
                TrueCall::Near => 1,
                TrueCall::Miss => 2,
            };
            let columns = Verdict::ALL.iter().zip(&mut matrix.frames[row]);
            columns.filter(|(v, _)| **v == verdict).for_each(|(_, n)| *n += 1);
        }
        matrix
    }
}

impl ConfusionMatrix {
    /// All frames.
    pub fn total(&self) -> u32 {
        self.frames.iter().flatten().sum()
    }

    /// Frames whose verdict is the truth.
    pub fn right(&self) -> u32 {
        (0..3).map(|i| self.frames[i][i]).sum()
    }

    /// Hits taken for misses, and misses for hits.
    pub fn swapped(&self) -> u32 {
        self.frames[0][2] + self.frames[2][0]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_counted_by_truth_and_verdict() {
        let matrix: ConfusionMatrix = [
            (TrueCall::Hit, Verdict::Hit),
            (TrueCall::Hit, Verdict::Miss),
            (TrueCall::Near, Verdict::Near),
            (TrueCall::Near, Verdict::Hit),
            (TrueCall::Miss, Verdict::Hit),
            (TrueCall::Miss, Verdict::Unclear),
        ]
        .into_iter()
        .collect();
        assert_eq!(matrix.frames, [[1, 0, 1, 0], [1, 1, 0, 0], [1, 0, 0, 1]]);
        assert_eq!((matrix.total(), matrix.right(), matrix.swapped()), (6, 2, 2));
    }
}
