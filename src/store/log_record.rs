//! What `log list` and `log show` tell, as people read it.

/// One outing of the log.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OutingLine {
    /// Its number.
    pub id: i64,
    /// Day of its earliest frame, or of logging.
    pub day: String,
    /// What was given to the program.
    pub title: String,
    /// "field", "test" or "clip".
    pub kind: &'static str,
    /// What it is of.
    pub subject: Option<String>,
    /// Rig of the whole outing.
    pub rig: Option<String>,
    /// Frames.
    pub frames: u32,
    /// Frames called hit.
    pub hits: u32,
    /// Whether it is left out of charts and plans.
    pub excluded: bool,
}

/// One frame of an outing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FrameLine {
    /// File name.
    pub name: String,
    /// Number of its burst.
    pub burst: u32,
    /// The verdict.
    pub verdict: String,
    /// The first cause.
    pub cause: String,
    /// Blur, px, and its error.
    pub blur_sigma_px: Option<(f64, Option<f64>)>,
    /// Detail, bits a pixel, and its error.
    pub detail_bits_px: Option<(f64, Option<f64>)>,
    /// Settings in one line.
    pub settings: String,
}

/// How a body's noise stands in the log.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NoiseLine {
    /// The body.
    pub body: String,
    /// Rows that were logged.
    pub rows: usize,
    /// ISO settings among them.
    pub isos: usize,
}
