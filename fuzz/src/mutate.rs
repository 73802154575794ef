//! Damaged copies of files, each the same for the same seed and number.

/// Mutations of one case at most.
const MAX_CHANGES: u64 = 6;
/// Longest piece that is copied, removed or overwritten, bytes.
const MAX_PIECE: u64 = 64;
/// Longest case, bytes.
const MAX_CASE_BYTES: usize = 2 << 20;
/// Numbers at the edges of their types, which lengths, counts and offsets are set to.
const EDGES: [u64; 14] = [
    0,
    1,
    2,
    8,
    0x7f,
    0x80,
    0xff,
    0x7fff,
    0xffff,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_fffe,
    0xffff_ffff,
    0x1_0000_0000,
];

/// SplitMix64 (Steele, Lea & Flood 2014, doi:10.1145/2660193.2660195).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `end`; 0 when that is 0.
    fn below(&mut self, end: u64) -> u64 {
        self.next().checked_rem(end).unwrap_or(0)
    }

    fn place(&mut self, len: usize) -> usize {
        self.below(len as u64) as usize
    }
}

/// Where a run's cases come from.
pub struct Cases {
    corpus: Vec<Vec<u8>>,
    seed: u64,
}

impl Cases {
    pub fn new(corpus: Vec<Vec<u8>>, seed: u64) -> Cases {
        Cases { corpus, seed }
    }

    /// How many cases are files of the corpus as they are; they come first.
    pub fn unchanged(&self) -> u64 {
        self.corpus.len() as u64
    }

    /// The case of a number.
    pub fn make(&self, case: u64) -> Vec<u8> {
        if let Some(file) = usize::try_from(case).ok().and_then(|i| self.corpus.get(i)) {
            return file.clone();
        }
        let mut numbers = Numbers(self.seed.wrapping_mul(0x1000_0000_01b3) ^ case);
        let file = numbers.place(self.corpus.len());
        let other = numbers.place(self.corpus.len());
        let mut bytes = self.corpus[file].clone();
        for _ in 0..=numbers.below(MAX_CHANGES) {
            change(&mut bytes, &self.corpus[other], &mut numbers);
        }
        bytes.truncate(MAX_CASE_BYTES);
        bytes
    }
}

fn change(bytes: &mut Vec<u8>, other: &[u8], numbers: &mut Numbers) {
    // Headers are where structure is: every second change falls into the first 512 bytes.
    let len = match numbers.below(2) {
        0 => bytes.len().min(512),
        _ => bytes.len(),
    };
    let at = numbers.place(len);
    let piece = 1 + numbers.below(MAX_PIECE) as usize;
    match numbers.below(9) {
        0 | 1 => {
            if let Some(b) = bytes.get_mut(at) {
                *b ^= 1 << numbers.below(8);
            }
        }
        2 => {
            if let Some(b) = bytes.get_mut(at) {
                *b = numbers.next() as u8;
            }
        }
        3 => {
            let value = EDGES[numbers.place(EDGES.len())];
            let width = [2, 4, 8][numbers.place(3)];
            let value = if numbers.below(2) == 0 {
                value.to_le_bytes()[..width].to_vec()
            } else {
                value.to_be_bytes()[8 - width..].to_vec()
            };
            for (b, v) in bytes.iter_mut().skip(at).zip(value) {
                *b = v;
            }
        }
        4 => bytes.truncate(at),
        5 => {
            let end = (at + piece).min(bytes.len());
            bytes.drain(at.min(end)..end);
        }
        6 => {
            let from = numbers.place(bytes.len());
            let copy = bytes[from..(from + piece).min(bytes.len())].to_vec();
            bytes.splice(at..at, copy);
        }
        7 => {
            let from = numbers.place(other.len());
            let copy = other[from..(from + piece).min(other.len())].to_vec();
            for (b, v) in bytes.iter_mut().skip(at).zip(copy) {
                *b = v;
            }
        }
        _ => {
            // A number of the file put into another place: offsets that lead back.
            let from = numbers.place(bytes.len().saturating_sub(4));
            if let Some(copy) = bytes.get(from..from + 4).map(<[u8]>::to_vec) {
                for (b, v) in bytes.iter_mut().skip(at).zip(copy) {
                    *b = v;
                }
            }
        }
    }
}
