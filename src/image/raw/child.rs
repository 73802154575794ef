//! The decoding child: the same program, started to decode raw files one after the other.
//!
//! It limits its own addresses and processor time before each file, so that a file which makes
//! the decoder allocate, recurse or loop without end costs this process and no other.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::fs;
use std::io::{self, BufReader, Read, Write};
use std::path::PathBuf;

use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use rustix::time::{ClockId, clock_gettime};

use super::decode::{Readout, header_here, in_memory, mapped, readout_here};
use super::wire::{self, Reply, Request, WantedPart};
use crate::error::SkipReason;
use crate::image::open::unreadable;

/// Threads of a child. Workers decode one frame each already; a lone frame gains from a few.
const MAX_THREADS: usize = 4;

/// Answers the requests that come in, until there are none: what the program does when it is
/// started as a decoding child.
///
/// # Errors
/// When the pipes break.
pub fn serve_decoding(input: impl Read, mut output: impl Write) -> io::Result<()> {
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get().min(MAX_THREADS));
    // Made before addresses are limited: threads need theirs.
    let _ = rayon::ThreadPoolBuilder::new().num_threads(threads).build_global();
    // An abort here is expected now and then; it is not worth a dump of memory.
    let none = Rlimit { current: Some(0), maximum: Some(0) };
    let _ = setrlimit(Resource::Core, none);
    let mut input = BufReader::new(input);
    while let Some(request) = wire::get::<Request>(&mut input)? {
        let (reply, readout) = limited(&request)
            .map_err(|e| unreadable(&e))
            .and_then(|()| answer(&request, &mut input))
            .unwrap_or_else(|reason| (Reply::Refused(reason), None));
        wire::put(&reply, &mut output)?;
        if let Some(readout) = &readout {
            wire::put_samples(readout.rows(), &mut output)?;
        }
        output.flush()?;
    }
    Ok(())
}

/// The answer, and the samples that follow it.
fn answer(
    request: &Request,
    input: &mut impl Read,
) -> Result<(Reply, Option<Readout>), SkipReason> {
    let mut payload = Vec::new();
    let read = input.take(request.payload_bytes).read_to_end(&mut payload);
    read.map_err(|e| unreadable(&e))?;
    let source = if request.by_path { mapped(&path_of(payload))? } else { in_memory(payload)? };
    match request.wanted {
        WantedPart::Header => {
            header_here(source).map(|header| (Reply::Header(Box::new(header)), None))
        }
        WantedPart::Mosaic => readout_here(source)
            .map(|(frame, readout)| (Reply::Mosaic(Box::new(frame)), Some(readout))),
    }
}

fn path_of(bytes: Vec<u8>) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    std::ffi::OsString::from_vec(bytes).into()
}

/// Limits this process for one request. Memory counts from what it has mapped already (program,
/// stacks), time from what it has used for earlier files.
fn limited(request: &Request) -> io::Result<()> {
    let addresses = mapped_bytes().unwrap_or(0).saturating_add(request.memory_bytes);
    lower(Resource::As, addresses)?;
    let used = clock_gettime(ClockId::ProcessCPUTime).tv_sec.unsigned_abs();
    lower(Resource::Cpu, used.saturating_add(request.time_s).saturating_add(1))
}

/// Sets the limit that counts, as far as the one that was set from outside allows.
fn lower(resource: Resource, limit: u64) -> io::Result<()> {
    let maximum = getrlimit(resource).maximum;
    let current = Some(maximum.map_or(limit, |m| m.min(limit)));
    Ok(setrlimit(resource, Rlimit { current, maximum })?)
}

/// Addresses in use by this process (Linux; elsewhere not told).
fn mapped_bytes() -> Option<u64> {
    let text = fs::read_to_string("/proc/self/statm").ok()?;
    let pages: u64 = text.split(' ').next()?.parse().ok()?;
    pages.checked_mul(rustix::param::page_size() as u64)
}
