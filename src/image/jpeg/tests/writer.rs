//! Files of random coefficients: forms of which no encoder at hand makes interleaved scans.

use crate::core::random::SplitMix64;

/// Bits of a scan with stuffed zeros.
#[derive(Default)]
struct BitWriter {
    bytes: Vec<u8>,
    held: u32,
    count: u32,
}

impl BitWriter {
    fn put(&mut self, value: u32, bits: u32) {
        for bit in (0..bits).rev() {
            self.held = self.held << 1 | (value >> bit & 1);
            self.count += 1;
            if self.count == 8 {
                let byte = self.held as u8;
                self.bytes.push(byte);
                if byte == 0xff {
                    self.bytes.push(0);
                }
                (self.held, self.count) = (0, 0);
            }
        }
    }

    /// T.81, F.1.2.3: filled up with ones.
    fn fill(&mut self) {
        while self.count > 0 {
            self.put(1, 1);
        }
    }
}

/// RandomCodes for all symbols: how many there are of each length, and the symbols.
struct RandomCodes {
    counts: [u8; 16],
    symbols: Vec<u8>,
}

impl RandomCodes {
    /// RandomCodes of random lengths, no code all ones.
    fn random(rng: &mut SplitMix64, mut symbols: Vec<u8>) -> RandomCodes {
        for i in (1..symbols.len()).rev() {
            symbols.swap(i, rng.below(i + 1));
        }
        let share = rng.between(0.0, 0.7);
        let mut counts = [0u8; 16];
        let (mut left, mut free) = (symbols.len(), 1usize);
        for (length, count) in (1..=16u32).zip(&mut counts) {
            free *= 2;
            // As many codes must stay free as give room to the rest, and one.
            let rest = (left + 1).div_ceil(1 << (16 - length));
            let most = free.saturating_sub(rest).min(left).min(255);
            let own = if length == 16 { left } else { (most as f64 * share) as usize };
            *count = own as u8;
            left -= own;
            free -= own;
        }
        RandomCodes { counts, symbols }
    }

    fn code(&self, symbol: u8) -> (u32, u32) {
        let (mut code, mut place) = (0, 0);
        for (length, count) in (1..).zip(self.counts) {
            for _ in 0..count {
                if self.symbols[place] == symbol {
                    return (code, length);
                }
                code += 1;
                place += 1;
            }
            code *= 2;
        }
        panic!("no code for {symbol}");
    }

    fn segment(&self, head: u8) -> Vec<u8> {
        let mut body = vec![head];
        body.extend(self.counts);
        body.extend(&self.symbols);
        body
    }
}

fn segment(file: &mut Vec<u8>, marker: u8, body: &[u8]) {
    file.extend([0xff, marker]);
    file.extend((body.len() as u16 + 2).to_be_bytes());
    file.extend(body);
}

/// Size of a value and its bits (T.81, table F.1).
fn sized(value: i32) -> (u32, u32) {
    let size = 32 - value.unsigned_abs().leading_zeros();
    let bits = if value < 0 { value - 1 } else { value } as u32;
    (size, bits & ((1 << size) - 1))
}

fn block(
    rng: &mut SplitMix64,
    bits: &mut BitWriter,
    before: &mut i32,
    codes: [&RandomCodes; 2],
    step: i32,
) {
    let put = |bits: &mut BitWriter, codes: &RandomCodes, symbol: u8| {
        let (code, length) = codes.code(symbol);
        bits.put(code, length);
    };
    let value = rng.between(-1000.0, 1000.0) as i32 / step;
    let (size, low) = sized(value - *before);
    *before = value;
    put(bits, codes[0], size as u8);
    bits.put(low, size);
    let density = [0.0, 0.02, 0.1, 0.5, 1.0][rng.below(5)];
    let largest = [1, 3, 20, 1023][rng.below(4)];
    let mut run = 0;
    for _ in 1..64 {
        let value = rng.below(2 * largest + 1) as i32 - largest as i32;
        if value == 0 || rng.uniform() >= density {
            run += 1;
            continue;
        }
        while run > 15 {
            put(bits, codes[1], 0xf0);
            run -= 16;
        }
        let (size, low) = sized(value);
        put(bits, codes[1], (run << 4) as u8 | size as u8);
        bits.put(low, size);
        run = 0;
    }
    if run > 0 {
        put(bits, codes[1], 0);
    }
}

/// A file of random size, codes, steps, sampling and restarts, and what it is.
pub(super) fn random_file(rng: &mut SplitMix64, max_side: usize) -> (Vec<u8>, String) {
    let size = (1 + rng.below(max_side), 1 + rng.below(max_side));
    let luma = [(1, 1), (2, 1), (2, 2), (1, 2), (4, 1)][rng.below(5)];
    let grey = rng.below(6) == 0;
    let luma = if grey { (1, 1) } else { luma };
    let parts = if grey { vec![luma] } else { vec![luma, (1, 1), (1, 1)] };
    let interval = [0, 0, 1, 2, 5, 40][rng.below(6)];
    let others: Vec<u8> =
        (0..=255).filter(|s| matches!(s & 15, 1..=10) || matches!(s, 0 | 0xf0)).collect();
    let codes: [[RandomCodes; 2]; 2] = std::array::from_fn(|_| {
        [RandomCodes::random(rng, (0..12).collect()), RandomCodes::random(rng, others.clone())]
    });
    let wide = rng.below(4) == 0;
    let steps: [u16; 64] =
        std::array::from_fn(|_| 1 + rng.below(if wide { 700 } else { 60 }) as u16);
    let mut file = vec![0xff, 0xd8];
    segment(&mut file, 0xe0, b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0");
    let table: Vec<u8> = match wide {
        true => [0x11].into_iter().chain(steps.iter().flat_map(|s| s.to_be_bytes())).collect(),
        false => [0x01].into_iter().chain(steps.iter().map(|s| *s as u8)).collect(),
    };
    segment(&mut file, 0xdb, &table);
    let mut frame = vec![8];
    frame.extend((size.1 as u16).to_be_bytes());
    frame.extend((size.0 as u16).to_be_bytes());
    frame.push(parts.len() as u8);
    for (id, (across, down)) in (1..).zip(&parts) {
        frame.extend([id, across << 4 | down, 1]);
    }
    segment(&mut file, 0xc0 + u8::from(wide), &frame);
    for (slot, [first, others]) in (0..).zip(&codes) {
        segment(&mut file, 0xc4, &first.segment(slot));
        segment(&mut file, 0xc4, &others.segment(0x10 | slot));
    }
    if interval > 0 {
        segment(&mut file, 0xdd, &(interval as u16).to_be_bytes());
    }
    let mut scan = vec![parts.len() as u8];
    for id in 1..=parts.len() as u8 {
        scan.extend([id, if id == 1 { 0 } else { 0x11 }]);
    }
    scan.extend([0, 63, 0]);
    segment(&mut file, 0xda, &scan);
    let mcu = |side: usize, blocks: u8| side.div_ceil(8 * usize::from(blocks));
    let mcus = mcu(size.0, luma.0) * mcu(size.1, luma.1);
    let mut before = [0; 3];
    let mut bits = BitWriter::default();
    for unit in 0..mcus {
        if interval > 0 && unit > 0 && unit % interval == 0 {
            bits.fill();
            file.append(&mut bits.bytes);
            file.extend([0xff, 0xd0 | (unit / interval - 1) as u8 & 7]);
            before = [0; 3];
        }
        for (c, (across, down)) in parts.iter().enumerate() {
            let [first, others] = &codes[usize::from(c > 0)];
            for _ in 0..across * down {
                block(rng, &mut bits, &mut before[c], [first, others], steps[0].into());
            }
        }
    }
    bits.fill();
    file.append(&mut bits.bytes);
    file.extend([0xff, 0xd9]);
    let what = format!("{size:?}, {luma:?}, grey {grey}, restart {interval}, wide steps {wide}");
    (file, what)
}
