//! The two programs that know clips.

use std::ffi::OsString;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::time::Duration;

use crate::error::Error;

/// Containers that cameras and editors write, as ffmpeg calls what reads them. Play lists,
/// sequences of pictures and descriptions of other files are not among them: those open what they
/// name.
const CONTAINERS: &str = "mov,matroska,webm,avi,mpegts,mpeg,mpegvideo,mxf,asf,flv,ogg,dv,ivf,nut,\
                          h264,hevc,m4v,rm,wtv,gxf";
/// Longest time for a question that takes a moment: headers, or one frame after a seek.
const MAX_ANSWER: Duration = Duration::from_secs(60);
/// Longest answer, bytes: a frame of 32768 x 32768 px in colour.
const MAX_ANSWER_BYTES: u64 = 3 << 30;
/// Longest list of complaints that is kept, bytes.
const MAX_COMPLAINT_BYTES: u64 = 1 << 20;

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

/// What both programs are told before the name of a file: it may be one file of this machine only,
/// in a container that names no others.
pub(super) fn only_this_file(command: &mut Command) {
    command.args(["-protocol_whitelist", "file", "-format_whitelist", CONTAINERS]);
}

/// What a program answered.
pub(super) struct ToolOutput {
    pub done: bool,
    pub stdout: Vec<u8>,
    pub stderr: Vec<u8>,
}

/// Runs a program to its end; `None` when it takes too long and was ended.
pub(super) fn answer(mut command: Command, program: &Path) -> Result<Option<ToolOutput>, Error> {
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().map_err(|source| missing(program, source))?;
    let (to, from) = channel();
    let stdout = child.stdout.take();
    let to_output = to.clone();
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let read = stdout.map(|pipe| pipe.take(MAX_ANSWER_BYTES).read_to_end(&mut bytes));
        let _ = to_output.send((true, read.map(|_| bytes)));
    });
    let stderr = child.stderr.take();
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let read = stderr.map(|mut pipe| {
            let kept = pipe.by_ref().take(MAX_COMPLAINT_BYTES).read_to_end(&mut bytes);
            // The rest is let through, so that the program does not wait for a reader.
            kept.and_then(|_| io::copy(&mut pipe, &mut io::sink()))
        });
        let _ = to.send((false, read.map(|_| bytes)));
    });
    let (mut stdout, mut stderr) = (None, None);
    while stdout.is_none() || stderr.is_none() {
        match from.recv_timeout(MAX_ANSWER) {
            Ok((true, bytes)) => stdout = Some(bytes.unwrap_or_default()),
            Ok((false, bytes)) => stderr = Some(bytes.unwrap_or_default()),
            Err(_) => {
                let _ = child.kill();
                let _ = child.wait();
                return Ok(None);
            }
        }
    }
    let done = child.wait().is_ok_and(|status| status.success());
    Ok(Some(ToolOutput {
        done,
        stdout: stdout.unwrap_or_default(),
        stderr: stderr.unwrap_or_default(),
    }))
}

/// Why a question without an answer makes a clip useless.
pub(super) fn no_answer() -> String {
    format!("ffmpeg takes longer than {} s", MAX_ANSWER.as_secs())
}
