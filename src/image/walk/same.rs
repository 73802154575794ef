//! Files with the same bytes.

use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::fs::File;
use std::hash::Hasher;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

/// Bytes taken at the start, the middle and the end of a file for its short print.
const PRINT_BYTES: u64 = 16 << 10;
/// Bytes compared at a time.
const BLOCK: usize = 256 << 10;

/// For each file, the index of an earlier one with the same bytes. Only files of equal size are
/// opened, and only those with equal prints are read in full. A file that cannot be read equals
/// none.
pub(super) fn earlier_copies(files: &[&Path]) -> Vec<Option<usize>> {
    let mut sizes: HashMap<u64, Vec<usize>> = HashMap::new();
    for (i, path) in files.iter().enumerate() {
        if let Ok(meta) = path.metadata() {
            sizes.entry(meta.len()).or_default().push(i);
        }
    }
    let mut earlier = vec![None; files.len()];
    for (size, group) in sizes.into_iter().filter(|(size, g)| *size > 0 && g.len() > 1) {
        let mut firsts: HashMap<u64, Vec<usize>> = HashMap::new();
        for i in group {
            let Ok(print) = print(files[i], size) else { continue };
            let alike = firsts.entry(print).or_default();
            match alike.iter().find(|j| same_bytes(files[**j], files[i]).unwrap_or(false)) {
                Some(j) => earlier[i] = Some(*j),
                None => alike.push(i),
            }
        }
    }
    earlier
}

fn print(path: &Path, size: u64) -> io::Result<u64> {
    let mut file = File::open(path)?;
    let mut hasher = DefaultHasher::new();
    let mut block = Vec::with_capacity(PRINT_BYTES as usize);
    for start in [0, size / 2, size.saturating_sub(PRINT_BYTES)] {
        file.seek(SeekFrom::Start(start))?;
        block.clear();
        file.by_ref().take(PRINT_BYTES).read_to_end(&mut block)?;
        hasher.write(&block);
    }
    Ok(hasher.finish())
}

fn same_bytes(a: &Path, b: &Path) -> io::Result<bool> {
    let mut a = BufReader::with_capacity(BLOCK, File::open(a)?);
    let mut b = BufReader::with_capacity(BLOCK, File::open(b)?);
    loop {
        let (x, y) = (io::BufRead::fill_buf(&mut a)?, io::BufRead::fill_buf(&mut b)?);
        let n = x.len().min(y.len());
        if n == 0 {
            return Ok(x.len() == y.len());
        }
        if x[..n] != y[..n] {
            return Ok(false);
        }
        io::BufRead::consume(&mut a, n);
        io::BufRead::consume(&mut b, n);
    }
}
