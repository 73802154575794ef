use stopwise::image::raw::check_structure;

/// Ends, whatever the file.
pub fn run(bytes: &[u8]) {
    let _ = check_structure(bytes);
}
