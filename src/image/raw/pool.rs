//! Decoding raw files in children, seen from the program.
//!
//! A child that has answered is kept for the next file; one that broke off is not. There are never
//! more of them than threads that decode at the same time.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::io::{self, BufReader, Write};
use std::os::unix::ffi::OsStrExt;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{Mutex, OnceLock, PoisonError};

use rustix::process::Signal;

use super::RawFrame;
use super::decode::RawHeader;
use super::wire::{self, Reply, Request, WantedPart};
use crate::error::SkipReason;
use crate::image::memory::memory_budget;
use crate::image::still::check_size;

/// The argument by which the program is told to decode for another.
pub const DECODING_CHILD: &str = "decoding-child";
/// Names a program that decodes, for programs that use this library.
const VARIABLE: &str = "STOPWISE_DECODER";
/// What the variable holds when there shall be no children.
const OFF: &str = "off";
/// Memory that the smallest file may take, bytes: tables of the decoder, and 100 Mpx of claims.
const BASE_BYTES: u64 = 512 << 20;
/// Memory beyond that for each byte of the file: the least that real files need for a pixel is a
/// quarter of a byte, and a pixel takes 2 bytes twice.
const BYTES_PER_FILE_BYTE: u64 = 16;
/// Processor time that the smallest file may take, s. Real ones take up to 2.
const BASE_S: u64 = 10;
/// Bytes of the file that earn another second: decoders do 10 MB/s at least.
const BYTES_PER_S: u64 = 4 << 20;
/// Room of the pipe that frames come through, bytes: the most that Linux gives without rights.
#[cfg(target_os = "linux")]
const PIPE_BYTES: usize = 1 << 20;
/// Signals as Linux, macOS and the BSDs number them.
const SIGKILL: i32 = 9;
const SIGXCPU: i32 = 24;

/// What a program asked for, whether or not raw files were decoded before, and what the variable
/// says where none asked.
static ASKED: OnceLock<Option<PathBuf>> = OnceLock::new();
static NAMED: OnceLock<Option<PathBuf>> = OnceLock::new();
static IDLE: Mutex<Vec<Decoder>> = Mutex::new(Vec::new());

/// Has raw files decoded in children from now on. `program` is started with [`DECODING_CHILD`] as
/// its only argument and must then call [`serve_decoding`](super::serve_decoding); the program
/// stopwise does. The variable `STOPWISE_DECODER` names another such program, or "off"; without
/// either, raw files are decoded in this process.
pub fn decode_in_children(program: &Path) {
    let _ = ASKED.set(of_environment().unwrap_or_else(|| Some(program.to_owned())));
}

/// What the variable says, when it is set: a program, or none.
fn of_environment() -> Option<Option<PathBuf>> {
    let named = std::env::var_os(VARIABLE).filter(|v| !v.is_empty())?;
    Some((named != OFF).then(|| PathBuf::from(named)))
}

/// The program that decodes, if there is one.
pub(super) fn program() -> Option<&'static Path> {
    match ASKED.get() {
        Some(asked) => asked.as_deref(),
        None => NAMED.get_or_init(|| of_environment().flatten()).as_deref(),
    }
}

/// A raw file, where it is or as it is.
pub(super) enum DecoderInput<'a> {
    Path(&'a Path),
    Bytes(&'a [u8]),
}

impl DecoderInput<'_> {
    fn payload(&self) -> &[u8] {
        match self {
            DecoderInput::Path(path) => path.as_os_str().as_bytes(),
            DecoderInput::Bytes(bytes) => bytes,
        }
    }
}

/// Why no answer came.
enum Failure {
    /// The child could not be started: decode in this process.
    NoChild,
    /// It is about this file.
    Refused(SkipReason),
}

/// Header of a raw file; `None` when no child can be had.
pub(super) fn header(
    program: &Path,
    source: &DecoderInput<'_>,
    file_bytes: u64,
) -> Option<Result<RawHeader, SkipReason>> {
    match ask(program, WantedPart::Header, source, file_bytes) {
        Ok((Reply::Header(header), _)) => Some(Ok(*header)),
        Ok(_) => Some(Err(broken())),
        Err(Failure::Refused(reason)) => Some(Err(reason)),
        Err(Failure::NoChild) => None,
    }
}

/// Mosaic of a raw file; `None` when no child can be had.
pub(super) fn mosaic(
    program: &Path,
    source: &DecoderInput<'_>,
    file_bytes: u64,
) -> Option<Result<RawFrame, SkipReason>> {
    match ask(program, WantedPart::Mosaic, source, file_bytes) {
        Ok((Reply::Mosaic(frame), mosaic)) => Some(Ok(RawFrame { mosaic, ..*frame })),
        Ok(_) => Some(Err(broken())),
        Err(Failure::Refused(reason)) => Some(Err(reason)),
        Err(Failure::NoChild) => None,
    }
}

fn broken() -> SkipReason {
    SkipReason::Damaged("its structure makes the decoder break off".into())
}

fn ask(
    program: &Path,
    wanted: WantedPart,
    source: &DecoderInput<'_>,
    file_bytes: u64,
) -> Result<(Reply, Vec<u16>), Failure> {
    let needed = BASE_BYTES.saturating_add(file_bytes.saturating_mul(BYTES_PER_FILE_BYTE));
    let request = Request {
        wanted,
        by_path: matches!(source, DecoderInput::Path(_)),
        payload_bytes: source.payload().len() as u64,
        memory_bytes: needed.min(memory_budget()),
        time_s: BASE_S.saturating_add(file_bytes / BYTES_PER_S),
    };
    let mut decoder = match waiting() {
        Some(decoder) => decoder,
        None => Decoder::start(program).map_err(|_| Failure::NoChild)?,
    };
    if decoder.request(&request, source).is_err() {
        // It ended while it waited, or while it was told: another one is told once more.
        decoder.discard();
        decoder = Decoder::start(program).map_err(|_| Failure::NoChild)?;
        if decoder.request(&request, source).is_err() {
            return Err(decoder.ended(&request, needed));
        }
    }
    match decoder.reply() {
        Ok(Some((Reply::Refused(reason), _))) => {
            decoder.keep();
            Err(Failure::Refused(reason))
        }
        Ok(Some(reply)) => {
            decoder.keep();
            Ok(reply)
        }
        Ok(None) | Err(_) => Err(decoder.ended(&request, needed)),
    }
}

fn waiting() -> Option<Decoder> {
    IDLE.lock().unwrap_or_else(PoisonError::into_inner).pop()
}

/// A child.
struct Decoder {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Decoder {
    fn start(program: &Path) -> io::Result<Decoder> {
        let mut command = Command::new(program);
        command.arg(DECODING_CHILD);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        // Each arena of the C library claims addresses that count against the limit.
        command.env("MALLOC_ARENA_MAX", "2");
        // An interrupt is for the program: it ends the run in order, with the frame at work.
        command.process_group(0);
        let mut child = command.spawn()?;
        let (Some(to), Some(from)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(io::ErrorKind::BrokenPipe.into());
        };
        #[cfg(target_os = "linux")]
        let _ = rustix::pipe::fcntl_setpipe_size(&from, PIPE_BYTES);
        Ok(Decoder { child, to, from: BufReader::new(from) })
    }

    fn request(&mut self, request: &Request, source: &DecoderInput<'_>) -> io::Result<()> {
        wire::put(request, &mut self.to)?;
        self.to.write_all(source.payload())?;
        self.to.flush()
    }

    fn reply(&mut self) -> io::Result<Option<(Reply, Vec<u16>)>> {
        let Some(reply) = wire::get::<Reply>(&mut self.from)? else { return Ok(None) };
        let samples = match &reply {
            Reply::Mosaic(frame) => {
                let (width, height) = (frame.width_px, frame.height_px);
                let sides = u32::try_from(width).ok().zip(u32::try_from(height).ok());
                let fits = sides.is_some_and(|(w, h)| check_size(w, h, u64::MAX).is_ok());
                if !fits {
                    return Err(io::ErrorKind::InvalidData.into());
                }
                wire::get_samples(width.saturating_mul(height), &mut self.from)?
            }
            _ => Vec::new(),
        };
        Ok(Some((reply, samples)))
    }

    fn discard(mut self) {
        // One that has ended is no error worth telling.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    fn keep(self) {
        IDLE.lock().unwrap_or_else(PoisonError::into_inner).push(self);
    }

    /// What the end of a child says about the file that it had.
    fn ended(mut self, request: &Request, needed: u64) -> Failure {
        // Without its pipes it ends, if it has not ended yet.
        drop((self.to, self.from));
        let signal = self.child.wait().ok().and_then(|status| status.signal());
        let reason = match signal {
            Some(SIGXCPU) => SkipReason::Damaged(format!(
                "decoding takes longer than {} s of processor time",
                request.time_s
            )),
            Some(SIGKILL) => SkipReason::Unreadable("its decoder was ended from outside".into()),
            Some(signal) if signal == Signal::BUS.as_raw() => {
                SkipReason::Unreadable("it was cut, or its card failed, while it was read".into())
            }
            _ if needed > request.memory_bytes => SkipReason::NeedsMemory {
                needed_mb: needed / 1_000_000,
                budget_mb: request.memory_bytes / 1_000_000,
            },
            _ => broken(),
        };
        Failure::Refused(reason)
    }
}
