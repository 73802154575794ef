//! How to tell without reading a file that it is still the same.

use std::fs::Metadata;
use std::path::Path;
use std::time::UNIX_EPOCH;

/// What the system says of a file: size, time of the last change, and where it knows them the
/// file's number and the time of the last change to its entry.
///
/// A file whose stamp is the same is taken to be the same. What that misses: content exchanged
/// without a trace, with size, times and number put back; no program does that by accident, and
/// on Unix the entry's own time cannot be put back. Where the system keeps neither number nor
/// entry time, a tool that writes other content of the same size and puts the time back goes
/// unseen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    size: u64,
    changed_ns: i64,
    entry_ns: i64,
    device: u64,
    number: u64,
}

/// A file changed this short before it was hashed may change again within the same tick of its
/// clock (2 s on FAT), ns: its stamp is not trusted.
const SETTLING_NS: i64 = 3_000_000_000;

impl Stamp {
    /// The stamp of a file; `None` when the system does not say.
    pub fn of(path: &Path) -> Option<Stamp> {
        let meta = path.metadata().ok()?;
        let since = meta.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
        let (entry_ns, device, number) = entry(&meta);
        Some(Stamp {
            size: meta.len(),
            changed_ns: i64::try_from(since.as_nanos()).ok()?,
            entry_ns,
            device,
            number,
        })
    }

    /// Whether the file had been at rest for long enough at a moment, ns since 1970.
    pub(super) fn is_settled(&self, seen_ns: i64) -> bool {
        let last_ns = self.changed_ns.max(self.entry_ns);
        seen_ns.saturating_sub(last_ns) > SETTLING_NS
    }

    /// As bytes, for comparison.
    pub(super) fn bytes(&self) -> Vec<u8> {
        [
            self.size.to_le_bytes(),
            self.changed_ns.to_le_bytes(),
            self.entry_ns.to_le_bytes(),
            self.device.to_le_bytes(),
            self.number.to_le_bytes(),
        ]
        .concat()
    }
}

#[cfg(unix)]
fn entry(meta: &Metadata) -> (i64, u64, u64) {
    use std::os::unix::fs::MetadataExt;
    let ns = meta.ctime().saturating_mul(1_000_000_000).saturating_add(meta.ctime_nsec());
    (ns, meta.dev(), meta.ino())
}

#[cfg(not(unix))]
fn entry(_: &Metadata) -> (i64, u64, u64) {
    (0, 0, 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_just_written_is_not_settled() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let stamp = Stamp::of(file.path()).unwrap();
        let at = stamp.changed_ns.max(stamp.entry_ns);
        assert!(!stamp.is_settled(at + SETTLING_NS));
        assert!(stamp.is_settled(at + SETTLING_NS + 1));
        assert!(!stamp.is_settled(at - 1));
    }
}
