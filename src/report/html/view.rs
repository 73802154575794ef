//! Records turned into the strings that the templates place. Escaping is left to the templates.

use base64::Engine;

use crate::image::Picture;

/// A picture in the page.
pub struct PictureView {
    pub uri: String,
    pub width: u32,
    pub height: u32,
}

impl PictureView {
    pub fn new(picture: &Picture) -> Self {
        PictureView {
            uri: data_uri("image/jpeg", &picture.jpeg),
            width: picture.width_px,
            height: picture.height_px,
        }
    }
}

/// Bytes as a data: address.
pub fn data_uri(kind: &str, bytes: &[u8]) -> String {
    let mut uri = format!("data:{kind};base64,");
    base64::engine::general_purpose::STANDARD.encode_string(bytes, &mut uri);
    uri
}
