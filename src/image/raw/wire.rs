//! What goes over the pipes between the program and its decoding children: a length, a head as
//! JSON, then bytes.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::io::{self, IoSlice, Read, Write};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::RawFrame;
use super::decode::RawHeader;
use crate::error::SkipReason;

/// Longest head, bytes: the longest real one holds an exposure of 2 kB.
const MAX_HEAD: u32 = 1 << 20;
/// Rows that are written with one call: what systems take at once, at least.
const ROWS_AT_ONCE: usize = 16;

/// What is wanted of a raw file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum WantedPart {
    /// Size and exposure.
    Header,
    /// The mosaic.
    Mosaic,
}

/// What a child is asked. The payload follows: a path, or the file itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Request {
    pub wanted: WantedPart,
    /// Whether the payload is the path of the file.
    pub by_path: bool,
    pub payload_bytes: u64,
    /// Addresses that the child may take beyond those that it has, bytes.
    pub memory_bytes: u64,
    /// Processor time that it may take, s.
    pub time_s: u64,
}

/// What a child answers. The samples of a mosaic follow.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Reply {
    Header(Box<RawHeader>),
    Mosaic(Box<RawFrame>),
    Refused(SkipReason),
}

/// Writes a head.
pub(super) fn put(head: &impl Serialize, out: &mut impl Write) -> io::Result<()> {
    let json = serde_json::to_vec(head)?;
    let length = u32::try_from(json.len()).ok().filter(|n| *n <= MAX_HEAD);
    let length = length.ok_or_else(|| io::Error::from(io::ErrorKind::InvalidData))?;
    out.write_all(&length.to_le_bytes())?;
    out.write_all(&json)
}

/// Reads a head; `None` at the end of the pipe.
pub(super) fn get<T: DeserializeOwned>(from: &mut impl Read) -> io::Result<Option<T>> {
    let mut length = [0; 4];
    match from.read_exact(&mut length) {
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
        other => other?,
    }
    let length = u32::from_le_bytes(length);
    if length > MAX_HEAD {
        return Err(io::ErrorKind::InvalidData.into());
    }
    let mut json = vec![0; length as usize];
    from.read_exact(&mut json)?;
    Ok(Some(serde_json::from_slice(&json)?))
}

/// Writes samples as they are in memory: both ends are the same program on the same machine.
pub(super) fn put_samples<'a>(
    rows: impl Iterator<Item = &'a [u16]>,
    out: &mut impl Write,
) -> io::Result<()> {
    let mut rows = rows.map(|row| IoSlice::new(bytemuck::cast_slice(row)));
    loop {
        let mut batch: Vec<IoSlice<'_>> = rows.by_ref().take(ROWS_AT_ONCE).collect();
        if batch.is_empty() {
            return Ok(());
        }
        let mut left = &mut batch[..];
        while !left.is_empty() {
            match out.write_vectored(left) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(written) => IoSlice::advance_slices(&mut left, written),
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
    }
}

/// Reads so many samples.
pub(super) fn get_samples(count: usize, from: &mut impl Read) -> io::Result<Vec<u16>> {
    // Zeros come from the system as they are read into, without a pass of their own.
    let mut samples = vec![0; count];
    from.read_exact(bytemuck::cast_slice_mut(&mut samples))?;
    Ok(samples)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes five bytes at a time.
    struct Sipping<'a>(&'a mut Vec<u8>);

    impl Write for Sipping<'_> {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let some = bytes.len().min(5);
            self.0.extend_from_slice(&bytes[..some]);
            Ok(some)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn heads_and_samples_come_back() {
        let request = Request {
            wanted: WantedPart::Mosaic,
            by_path: true,
            payload_bytes: 7,
            memory_bytes: 1 << 30,
            time_s: 10,
        };
        let samples: Vec<u16> = (0..30 * 7).map(|i| (i * 397) as u16).collect();
        let mut pipe = Vec::new();
        put(&request, &mut pipe).unwrap();
        put_samples(samples.chunks(7), &mut pipe).unwrap();
        put_samples(samples.chunks(7), &mut Sipping(&mut pipe)).unwrap();
        put(&Reply::Refused(SkipReason::Damaged("it ends early".into())), &mut pipe).unwrap();
        let mut from = &pipe[..];
        assert_eq!(get::<Request>(&mut from).unwrap(), Some(request));
        for _ in 0..2 {
            assert_eq!(get_samples(samples.len(), &mut from).unwrap(), samples);
        }
        let reply = get::<Reply>(&mut from).unwrap();
        assert!(matches!(reply, Some(Reply::Refused(SkipReason::Damaged(_)))));
        assert_eq!(get::<Request>(&mut from).unwrap(), None);
    }

    #[test]
    fn odd_heads_are_refused() {
        assert!(get::<Request>(&mut &[0xff; 64][..]).is_err());
        assert!(get::<Request>(&mut &[2, 0, 0, 0, b'{', b'}'][..]).is_err());
        assert!(get::<Request>(&mut &[9, 0, 0, 0, b'{'][..]).is_err());
        assert!(get_samples(4, &mut &[1, 2, 3][..]).is_err());
    }
}
