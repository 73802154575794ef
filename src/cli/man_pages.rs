//! `stopwise man-pages`.

use std::fs;

use anyhow::Context;
use clap::CommandFactory;
use stopwise::report::atomic_file::write_atomically;

use super::args::{Args, ManPagesArgs};
use super::outputs::Outcome;
use super::screen;

/// Writes one page per command, made from the options themselves.
pub fn run(typed: &ManPagesArgs) -> anyhow::Result<Outcome> {
    let folder = &typed.folder;
    fs::create_dir_all(folder)
        .with_context(|| format!("cannot create the folder {}", folder.display()))?;
    let mut program = Args::command().disable_help_subcommand(true);
    program.build();
    let mut commands = vec![program];
    let mut written = 0;
    while let Some(command) = commands.pop() {
        commands.extend(command.get_subcommands().filter(|c| !c.is_hide_set()).cloned());
        let page = clap_mangen::Man::new(command)
            .source(concat!("stopwise ", env!("CARGO_PKG_VERSION")))
            .manual("stopwise");
        let mut text = Vec::new();
        page.render(&mut text)?;
        write_atomically(&folder.join(page.get_filename()), |out| out.write_all(&text))?;
        written += 1;
    }
    screen::print(&format!("Wrote {written} manual pages to {}.\n", folder.display()))?;
    Ok(Outcome::Whole)
}
