//! Who hears how far a run has come.

/// How far a run has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProgressStep {
    /// Frames done.
    pub done: usize,
    /// Frames in all.
    pub total: usize,
}

/// Hands on what happens while an outing is worked through.
pub trait Progress: Sync {
    /// A frame was read.
    fn progress(&self, progress: ProgressStep);
    /// Whether to stop; frames read so far are still judged.
    fn stopped(&self) -> bool {
        false
    }
}

/// Does nothing.
#[derive(Debug, Default)]
pub struct NoProgress;

impl Progress for NoProgress {
    fn progress(&self, _: ProgressStep) {}
}
