//! Options of the commands for an outing, in the order of work: cull, review, mark.

use std::path::PathBuf;

use clap::Subcommand;
use stopwise::core::verdict::Verdict;

use super::{KnownArgs, LogOptions, values};

#[derive(Debug, clap::Args)]
pub struct CullArgs {
    /// Folders or files
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    #[command(flatten)]
    pub known: KnownArgs,
    /// File of marks, one per line as "file name,X,Y"; one mark per burst is enough
    #[arg(long, value_name = "FILE", help_heading = "Values missing from the files")]
    pub subjects: Option<PathBuf>,
    /// Write the page to this file
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-report.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no page (slightly faster)
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write CSV, one row per frame, to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    #[command(flatten)]
    pub keep: LogOptions,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
    /// Frames measured in parallel [default: one per core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), help_heading = "Resources")]
    pub threads: Option<u16>,
    /// Neither use nor fill the cache of measurements
    #[arg(long, help_heading = "Resources")]
    pub no_cache: bool,
}

#[derive(Debug, clap::Args)]
pub struct CacheArgs {
    #[command(subcommand)]
    pub what: CacheWhat,
}

#[derive(Debug, Clone, Copy, Subcommand)]
pub enum CacheWhat {
    /// Show its folder and size
    Show,
    /// Remove it; the next run measures everything again
    Clear,
}

#[derive(Debug, clap::Args)]
pub struct ReviewArgs {
    /// A folder, which is judged first, or a record of `cull --json`
    #[arg(value_name = "OUTING", default_value = ".")]
    pub outing: PathBuf,
    /// Print the address without opening a browser
    #[arg(long)]
    pub no_open: bool,
    /// Port to listen on [default: a free one]
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Folder of the frames, if the record is elsewhere
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Follow links that lead out of that folder
    #[arg(long)]
    pub follow_links: bool,
    #[command(flatten)]
    pub known: KnownArgs,
}

#[derive(Debug, clap::Args)]
pub struct MarkArgs {
    /// A record of `cull --json`, "-" for standard input, or a folder, which is judged first
    #[arg(value_name = "FILE|FOLDER")]
    pub source: PathBuf,
    /// Write the changes; without this they are only listed
    #[arg(long)]
    pub write: bool,
    /// Folder of the frames, if the record is elsewhere
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Follow links that lead out of that folder
    #[arg(long)]
    pub follow_links: bool,
    /// Ignore the decisions made in `review` and use the verdicts
    #[arg(long)]
    pub no_decisions: bool,
    /// xmp:Rating (-1 to 5) for a verdict: hit, near, miss or unclear [default: none]
    #[arg(long, value_name = "VERDICT=N", value_delimiter = ',', value_parser = values::rating, help_heading = "Sidecars")]
    pub rating: Vec<(Verdict, i8)>,
    /// xmp:Label for a verdict [default: none]
    #[arg(long, value_name = "VERDICT=TEXT", value_parser = values::label, help_heading = "Sidecars")]
    pub label: Vec<(Verdict, String)>,
    /// Prefix of keywords; earlier keywords with this prefix are replaced
    #[arg(long, value_name = "TEXT", default_value = "stopwise:", value_parser = values::keyword_prefix, help_heading = "Sidecars")]
    pub prefix: String,
    /// Write no keywords
    #[arg(long, help_heading = "Sidecars")]
    pub no_keywords: bool,
    /// Keep ratings and labels that are already set
    #[arg(long, help_heading = "Sidecars")]
    pub only_unset: bool,
    /// Name each sidecar after the whole file name (a.jpg.xmp), one per file
    #[arg(long, help_heading = "Sidecars")]
    pub full_names: bool,
    /// Write no sidecars
    #[arg(long, help_heading = "Sidecars")]
    pub no_sidecars: bool,
    /// Hard-link the hits into this folder; needs no extra space
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
    /// Write the paths of the hits, one per line, to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Hits for other programs")]
    pub list: Option<PathBuf>,
    /// Verdicts to link, copy or list [default: hit]
    #[arg(long, alias = "calls", value_name = "VERDICT", value_delimiter = ',', value_parser = values::verdict, help_heading = "Hits for other programs")]
    pub verdicts: Vec<Verdict>,
    /// Write the changes as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Folder for the synthetic outing and its report
    #[arg(long, value_name = "DIR", default_value = "stopwise-demo")]
    pub dir: PathBuf,
    /// Each seed gives another outing
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub seed: u64,
}
