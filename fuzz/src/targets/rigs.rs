use stopwise::store::rig::Rigs;

/// What is read is within its own bounds.
pub fn run(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(rigs) = Rigs::parse(text) {
        for rig in rigs.0.values() {
            assert!(rig.pixel_pitch_um.is_none_or(|p| p.is_finite() && p > 0.0), "{rig:?}");
        }
    }
}
