//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};
use stopwise::report::record::Call;

/// Which close-up frames hit focus at the subject, why the others missed, and how much detail is
/// left. Originals are only ever read.
#[derive(Debug, Parser)]
#[command(name = "stopwise", version, max_term_width = 100)]
pub struct Args {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Judge an outing's frames: hit, near, miss or cannot say, and why
    Cull(CullArgs),
    /// Show everything measured on one frame
    Inspect(InspectArgs),
    /// Measure the noise of a body at each ISO, from whatever frames of it there are
    Noise(NoiseArgs),
    /// Write decisions and verdicts into sidecars, where other software reads them; says first
    /// what would change
    Mark(MarkArgs),
    /// Look at an outing's frames in the browser, on this machine only, and decide
    Review(ReviewArgs),
    /// Make a small invented outing with known truth, cull it, and compare
    Demo(DemoArgs),
}

/// What the files may not say.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "What the files do not say")]
pub struct Known {
    /// Subject point in the first frame of each burst: fractions of the upright picture from the
    /// left and the top; a width and height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = super::job::subject)]
    pub subject: Option<super::job::Subject>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = super::job::positive)]
    pub magnification: Option<f64>,
    /// Marked f-number, for lenses that do not tell theirs
    #[arg(long, value_name = "N", value_parser = super::job::positive)]
    pub aperture: Option<f64>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, value_name = "UM", value_parser = super::job::positive)]
    pub pitch: Option<f64>,
    /// Repeat the verdict for a picture this many pixels wide
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000))]
    pub output_width: Option<u32>,
}

#[derive(Debug, clap::Args)]
pub struct CullArgs {
    /// Folders or files
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    #[command(flatten)]
    pub known: Known,
    /// A file with one marked frame a line, as "file name,X,Y"; one a burst is enough
    #[arg(long, value_name = "FILE", help_heading = "What the files do not say")]
    pub subjects: Option<PathBuf>,
    /// Where the report goes
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-report.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no report (a little faster)
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write a row a frame as CSV to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
    /// Number of frames measured at a time (default: one a processor)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), help_heading = "Output")]
    pub threads: Option<u16>,
}

#[derive(Debug, clap::Args)]
pub struct InspectArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    #[command(flatten)]
    pub known: Known,
    /// Where the page goes
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-frame.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no page
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the focus map as a PNG picture
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub map: Option<PathBuf>,
    /// Write the record with the tile map as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct NoiseArgs {
    /// Folders or files; best are two raw frames of one still scene at each ISO
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Write a page with the photon-transfer curves
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct MarkArgs {
    /// A record of `cull --json`, "-" for the input, or a folder, which is judged first
    #[arg(value_name = "FILE|FOLDER")]
    pub source: PathBuf,
    /// Write; without it only what would change is listed
    #[arg(long)]
    pub write: bool,
    /// Where the frames are, when they are no longer where the record says
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Go by the verdicts alone, whatever was decided in `review`
    #[arg(long)]
    pub no_decisions: bool,
    /// What xmp:Rating says for a verdict (hit, near, miss, cannot-say): -1 to 5; none if not given
    #[arg(long, value_name = "VERDICT=N", value_delimiter = ',', value_parser = super::mark::rating, help_heading = "Sidecars")]
    pub rating: Vec<(Call, i8)>,
    /// What xmp:Label says for a verdict; none if not given
    #[arg(long, value_name = "VERDICT=TEXT", value_parser = super::mark::label, help_heading = "Sidecars")]
    pub label: Vec<(Call, String)>,
    /// What keywords for verdict and first cause start with; earlier ones that start so go
    #[arg(long, value_name = "TEXT", default_value = "stopwise:", value_parser = super::mark::prefix, help_heading = "Sidecars")]
    pub prefix: String,
    /// Write no keywords
    #[arg(long, help_heading = "Sidecars")]
    pub no_keywords: bool,
    /// Leave a rating or label that is already set
    #[arg(long, help_heading = "Sidecars")]
    pub only_unset: bool,
    /// Name sidecars after the whole file name (a.jpg.xmp), one a file
    #[arg(long, help_heading = "Sidecars")]
    pub full_names: bool,
    /// Write no sidecars
    #[arg(long, help_heading = "Sidecars")]
    pub no_sidecars: bool,
    /// Give the hits a second name in this folder; takes no room
    #[arg(long, value_name = "DIR", help_heading = "Hits for other programs")]
    pub hard_links: Option<PathBuf>,
    /// Copy the hits into this folder
    #[arg(
        long,
        value_name = "DIR",
        conflicts_with = "hard_links",
        help_heading = "Hits for other programs"
    )]
    pub copies: Option<PathBuf>,
    /// Write the paths of the hits, one a line, to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Hits for other programs")]
    pub list: Option<PathBuf>,
    /// Which verdicts are linked, copied or listed [default: hit]
    #[arg(long, value_name = "VERDICT", value_delimiter = ',', value_parser = super::mark::call, help_heading = "Hits for other programs")]
    pub calls: Vec<Call>,
    /// Write what changes as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct ReviewArgs {
    /// A folder, which is judged first, or a record of `cull --json`
    #[arg(value_name = "OUTING", default_value = ".")]
    pub outing: PathBuf,
    /// Open no browser, only say the address
    #[arg(long)]
    pub no_open: bool,
    /// Port to listen at [default: one that is free]
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Where the frames are, when they are no longer where the record says
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    #[command(flatten)]
    pub known: Known,
}

#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Folder for the invented outing and its report
    #[arg(long, value_name = "DIR", default_value = "stopwise-demo")]
    pub dir: PathBuf,
    /// Another seed makes another outing
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub seed: u64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Args::command().debug_assert();
    }
}
