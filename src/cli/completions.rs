//! `stopwise completions`.

use clap::CommandFactory;

use super::args::{Args, CompletionsArgs};
use super::outputs::Outcome;
use super::screen;

/// Prints the completions of one shell, made from the options themselves.
pub fn run(typed: &CompletionsArgs) -> anyhow::Result<Outcome> {
    let mut script = Vec::new();
    clap_complete::generate(typed.shell, &mut Args::command(), "stopwise", &mut script);
    screen::print(&String::from_utf8(script)?)?;
    Ok(Outcome::Whole)
}
