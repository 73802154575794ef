//! Tile maps as small PNG pictures.

use std::io::Cursor;

use image::codecs::png::PngEncoder;
use image::{ImageEncoder, Rgba, RgbaImage};
use imageproc::drawing::draw_filled_rect_mut;
use imageproc::rect::Rect;

use super::colour_scale;
use crate::error::{Error, Result};

/// Largest map drawn, px: four times a 24 Mpx frame, far beyond any screen, and 400 MB at most.
const MAX_PIXELS: u64 = 100_000_000;

/// A blur map of `cols` × `rows` tiles as a PNG, a tile of `side_px` × `side_px`. `blur_sigma_px`
/// has a value per tile, row by row; tiles without one are see-through.
///
/// # Errors
/// [`Error::Encode`] when the map has no tiles, not as many values as tiles, or would be
/// larger than 100 Mpx.
pub fn map_png(
    (cols, rows): (u32, u32),
    blur_sigma_px: &[Option<f32>],
    side_px: u32,
) -> Result<Vec<u8>> {
    let side = side_px.max(1);
    let tiles = cols as usize * rows as usize;
    if tiles == 0 || blur_sigma_px.len() != tiles {
        return Err(Error::Encode("the map does not fit its own size".to_owned()));
    }
    let (width, height) = (cols.saturating_mul(side), rows.saturating_mul(side));
    if u64::from(width) * u64::from(height) > MAX_PIXELS {
        return Err(Error::Encode(format!("a map of {width} x {height} px is too large")));
    }
    let mut picture = RgbaImage::new(width, height);
    for (at, blur) in (0..).zip(blur_sigma_px) {
        let Some(blur) = blur.filter(|v| v.is_finite() && *v > 0.0) else { continue };
        let [r, g, b] = colour_scale::colour(f64::from(blur));
        let (x, y) = (at % cols * side, at / cols * side);
        let tile = Rect::at(x as i32, y as i32).of_size(side, side);
        draw_filled_rect_mut(&mut picture, tile, Rgba([r, g, b, 255]));
    }
    let mut png = Cursor::new(Vec::new());
    PngEncoder::new(&mut png)
        .write_image(&picture, width, height, image::ExtendedColorType::Rgba8)
        .map_err(|e| Error::Encode(e.to_string()))?;
    Ok(png.into_inner())
}

/// A picture of three bytes a pixel as PNG.
///
/// # Errors
/// [`Error::Encode`] when the bytes do not fit the size.
pub fn rgb_png(rgb: &[u8], width: usize, height: usize) -> Result<Vec<u8>> {
    let side = |v: usize| u32::try_from(v).map_err(|e| Error::Encode(e.to_string()));
    if rgb.len() != width * height * 3 {
        return Err(Error::Encode("the picture does not fit its own size".to_owned()));
    }
    let mut png = Cursor::new(Vec::new());
    PngEncoder::new(&mut png)
        .write_image(rgb, side(width)?, side(height)?, image::ExtendedColorType::Rgb8)
        .map_err(|e| Error::Encode(e.to_string()))?;
    Ok(png.into_inner())
}
