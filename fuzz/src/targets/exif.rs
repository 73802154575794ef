use std::io::Cursor;

use stopwise::image::Exposure;

/// The structure as such, and inside a file.
pub fn run(bytes: &[u8]) {
    let _ = Exposure::from_segment(bytes, (6000, 4000));
    let _ = Exposure::from_reader(&mut Cursor::new(bytes), (6000, 4000));
}
