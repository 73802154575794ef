use std::io::Cursor;

use stopwise::image::{FileKind, JpegHeader, Want, decode, header_size};

/// Pictures of more pixels are not decoded here: that is slow, and memory has tests of its own.
const MAX_DECODED_PX: u64 = 1 << 20;

/// Sizes of every kind; small pictures are decoded too.
pub fn run(bytes: &[u8]) {
    let _ = JpegHeader::read(&mut Cursor::new(bytes));
    for kind in [FileKind::Jpeg, FileKind::Png, FileKind::Tiff, FileKind::Webp] {
        let Ok((width_px, height_px)) = header_size(bytes, kind) else { continue };
        if u64::from(width_px) * u64::from(height_px) > MAX_DECODED_PX {
            continue;
        }
        if let Ok(decoded) = decode(bytes, kind, Want::Colour) {
            let luma = decoded.luma();
            assert_eq!(
                (luma.width_px(), luma.height_px()),
                (width_px as usize, height_px as usize),
                "{kind:?}: another size than its header says"
            );
        }
    }
}
