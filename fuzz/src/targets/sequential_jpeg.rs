use stopwise::image::SequentialJpeg;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

/// Pictures of more pixels are not decoded here: that is slow.
const MAX_DECODED_PX: usize = 1 << 20;

/// What is taken is what the general decoder gives in its strict mode.
pub fn run(bytes: &[u8]) {
    let Some(file) = SequentialJpeg::read(bytes) else { return };
    let (width_px, height_px) = file.size();
    if width_px * height_px > MAX_DECODED_PX {
        return;
    }
    let mut buffer = Vec::new();
    let luma = file.decode(false, &mut buffer);
    assert!(buffer.len() <= width_px * height_px, "more memory than the header asks for");
    let colour = file.decode(true, &mut Vec::new());
    assert_eq!(luma.is_some(), colour.is_some(), "wanting colour changes what is taken");
    let (Some(luma), Some(colour)) = (luma, colour) else { return };
    assert!(luma.luma() == colour.luma(), "luma depends on what is wanted");
    let (form, parts) =
        if colour.has_chroma() { (ColorSpace::YCbCr, 3) } else { (ColorSpace::Luma, 1) };
    let options = DecoderOptions::new_fast()
        .set_strict_mode(true)
        .set_max_width(65_535)
        .set_max_height(65_535)
        .jpeg_set_out_colorspace(form);
    let expected = JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode();
    let Ok(expected) = expected else { panic!("taken although refused in strict mode") };
    assert!(luma.luma().iter().eq(expected.iter().step_by(parts)), "luma differs");
}
