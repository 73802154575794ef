//! Options of the commands that a package, or a hand, installs the program with.

use std::path::PathBuf;

use clap_complete::Shell;

#[derive(Debug, clap::Args)]
pub struct CompletionsArgs {
    /// The shell that is to complete what is typed
    #[arg(value_name = "SHELL")]
    pub shell: Shell,
}

#[derive(Debug, clap::Args)]
pub struct ManPagesArgs {
    /// Folder for the pages, for example ~/.local/share/man/man1
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}
