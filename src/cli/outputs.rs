//! The outputs of a run: checked before the work, each tried after it, and what that means for the
//! exit code.

use std::io::{self, BufWriter, Write};
use std::path::Path;

use stopwise::report::atomic_file::{can_write, write_atomically};
use stopwise::report::html::write_page;

use super::screen;

/// How a run ended, as an exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Everything was measured and written.
    Whole,
    /// Some files were skipped, or some outputs not written.
    Partly,
    /// Nothing was done.
    Nothing,
    /// Stopped by the user; what was measured until then was written.
    Stopped,
}

impl Outcome {
    /// The exit code.
    pub fn code(self) -> u8 {
        match self {
            Outcome::Whole => 0,
            Outcome::Partly => 1,
            Outcome::Nothing => 2,
            // What shells report for an interrupted command.
            Outcome::Stopped => 130,
        }
    }

    /// Of a run that went through files: whether the user stopped it, whether anything was
    /// measured, and whether nothing was skipped.
    pub fn of_files(stopped: bool, any: bool, all: bool) -> Outcome {
        match (stopped, any, all) {
            (true, ..) => Outcome::Stopped,
            (_, false, _) => Outcome::Nothing,
            (_, _, false) => Outcome::Partly,
            _ => Outcome::Whole,
        }
    }
}

/// An output that was asked for.
#[derive(Debug, Clone, Copy)]
pub struct Output<'a> {
    path: Option<&'a Path>,
    /// Its name in a sentence, when "-" is standard output.
    name: Option<&'static str>,
}

impl<'a> Output<'a> {
    /// A file, or standard output for "-".
    pub fn record(name: &'static str, path: Option<&'a Path>) -> Output<'a> {
        Output { path, name: Some(name) }
    }

    /// A file, whatever its name.
    pub fn file(path: Option<&'a Path>) -> Output<'a> {
        Output { path, name: None }
    }

    fn is_standard(&self) -> bool {
        self.name.is_some() && self.path.is_some_and(is_standard)
    }
}

fn is_standard(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// The outputs of a run. Each is tried whatever became of the others, and failures are named.
#[derive(Debug, Default)]
pub struct Outputs {
    standard: bool,
    written: u32,
    failed: u32,
}

impl Outputs {
    /// Finds out before the work that every file can be written.
    ///
    /// # Errors
    /// Two outputs that would be mixed on standard output, or a file that cannot be written.
    pub fn new(outputs: &[Output<'_>]) -> anyhow::Result<Outputs> {
        let mut standard = outputs.iter().filter(|o| o.is_standard()).filter_map(|o| o.name);
        let first = standard.next();
        if let (Some(one), Some(other)) = (first, standard.next()) {
            anyhow::bail!(
                "{one} and {other} cannot both go to standard output: give one of them a file"
            );
        }
        for output in outputs.iter().filter(|o| !o.is_standard()) {
            output.path.map(can_write).transpose()?;
        }
        Ok(Outputs { standard: first.is_some(), ..Outputs::default() })
    }

    /// Whether a record goes to standard output, which leaves no room for tables there.
    pub fn has_standard(&self) -> bool {
        self.standard
    }

    /// Writes a page or a drawing, and returns whether it was written; a failure is named.
    pub fn page(&mut self, path: &Path, page: stopwise::Result<String>) -> bool {
        self.tried(page.and_then(|text| write_page(path, &text)))
    }

    /// Takes note of how an output went, and returns whether it was written; a failure is named.
    /// A reader that has seen enough is no failure.
    pub fn tried<E: Into<anyhow::Error>>(&mut self, result: Result<(), E>) -> bool {
        match result.map_err(Into::into) {
            Err(failed) if !is_closed_pipe(&failed) => {
                screen::print_problem(&failed);
                self.failed += 1;
                false
            }
            _ => {
                self.written += 1;
                true
            }
        }
    }

    /// Writes a record where it was asked for: to a file, or to standard output for "-".
    pub fn write(
        &mut self,
        path: Option<&Path>,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> bool {
        path.is_some_and(|path| self.tried(write_to(path, write)))
    }

    /// Prints tables, unless a record goes to standard output.
    pub fn print(&mut self, text: &str) {
        if !self.standard {
            self.tried(screen::print(text));
        }
    }

    /// How a run ended, given how it would have with every output written.
    pub fn outcome(&self, work: Outcome) -> Outcome {
        match (work, self.failed, self.written) {
            (Outcome::Stopped | Outcome::Nothing, ..) | (_, 0, _) => work,
            (_, _, 0) => Outcome::Nothing,
            _ => Outcome::Partly,
        }
    }
}

/// A file is written beside its place and moved there when whole.
fn write_to(
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> anyhow::Result<()> {
    if is_standard(path) {
        let mut out = BufWriter::new(io::stdout().lock());
        write(&mut out)?;
        return Ok(out.flush()?);
    }
    // The closure's own failures keep their kind: a full disk is told as one.
    Ok(write_atomically(path, write)?)
}

/// Whether the reader of an output has gone.
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_output_at_most_is_the_standard_one() {
        let dash = Some(Path::new("-"));
        let made = |outputs: &[Output<'_>]| Outputs::new(outputs).map(|o| o.has_standard());
        assert!(!made(&[Output::record("JSON", None)]).unwrap());
        assert!(made(&[Output::record("JSON", dash), Output::record("CSV", None)]).unwrap());
        let said = made(&[Output::record("JSON", dash), Output::record("CSV", dash)]).unwrap_err();
        let says = "JSON and CSV cannot both go to standard output: give one of them a file";
        assert_eq!(said.to_string(), says);
    }

    #[test]
    fn what_failed_shows_in_the_outcome() {
        let failed = || Err(anyhow::anyhow!("no room"));
        let mut outputs = Outputs::default();
        assert!(!outputs.tried(failed()));
        assert_eq!(outputs.outcome(Outcome::Whole), Outcome::Nothing);
        assert!(outputs.tried(anyhow::Ok(())));
        assert_eq!(outputs.outcome(Outcome::Whole), Outcome::Partly);
        assert_eq!(outputs.outcome(Outcome::Stopped), Outcome::Stopped);
        let mut outputs = Outputs::default();
        assert!(outputs.tried(Err(io::Error::from(io::ErrorKind::BrokenPipe))));
        assert_eq!(outputs.outcome(Outcome::Whole), Outcome::Whole);
    }

    #[test]
    fn stopped_comes_before_nothing_and_nothing_before_partly() {
        assert_eq!(Outcome::of_files(true, false, false), Outcome::Stopped);
        assert_eq!(Outcome::of_files(false, false, false), Outcome::Nothing);
        assert_eq!(Outcome::of_files(false, true, false), Outcome::Partly);
        assert_eq!(Outcome::of_files(false, true, true), Outcome::Whole);
    }
}
