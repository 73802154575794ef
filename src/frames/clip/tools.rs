//! The two programs that know clips.

use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::error::Error;

/// Where ffmpeg and ffprobe are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tools {
    /// Decodes.
    pub ffmpeg: PathBuf,
    /// Tells what a file is.
    pub ffprobe: PathBuf,
}

impl Tools {
    /// The programs of the search path, or those that `STOPWISE_FFMPEG` and `STOPWISE_FFPROBE`
    /// name.
    pub fn of_environment() -> Tools {
        let named = |variable: &str, usual: &str| {
            std::env::var_os(variable)
                .filter(|v| !v.is_empty())
                .map_or_else(|| PathBuf::from(usual), PathBuf::from)
        };
        Tools {
            ffmpeg: named("STOPWISE_FFMPEG", "ffmpeg"),
            ffprobe: named("STOPWISE_FFPROBE", "ffprobe"),
        }
    }

    /// Finds out whether both can be started.
    ///
    /// # Errors
    /// [`Error::NoFfmpeg`] for the first that cannot.
    pub fn check(&self) -> Result<(), Error> {
        for program in [&self.ffmpeg, &self.ffprobe] {
            let mut asked = command(program);
            asked.arg("-version").stdout(Stdio::null()).stderr(Stdio::null());
            asked.status().map_err(|source| missing(program, source))?;
        }
        Ok(())
    }
}

/// The error for a program that cannot be started.
pub(super) fn missing(program: &Path, source: io::Error) -> Error {
    Error::NoFfmpeg { program: program.to_owned(), source }
}

/// A program that cannot wait for an answer from the keyboard.
pub(super) fn command(program: &Path) -> Command {
    let mut command = Command::new(program);
    command.stdin(Stdio::null());
    command
}

/// The file as ffmpeg wants it: whatever the name starts with, it is a local file.
pub(super) fn local(path: &Path) -> OsString {
    let mut name = OsString::from("file:");
    name.push(path);
    name
}
