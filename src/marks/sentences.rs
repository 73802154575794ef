//! What `mark` did not do, in sentences for the terminal.

use std::path::Path;

/// A hard link cannot lead to another disk.
pub(super) fn on_another_disk(to: &Path) -> String {
    format!("{} is on another disk, where hard links cannot reach: use --copies", to.display())
}

/// Two frames that are marked differently share a sidecar.
pub(super) fn shared_sidecar(first: &str, other: &str) -> String {
    format!(
        "shared by {first} and {other}, whose marks differ: use --full-names for one sidecar per \
         file"
    )
}

/// Changes were worked out and not made.
pub(super) fn nothing_written(counts: &str) -> String {
    format!("{counts} Dry run: add --write to write the sidecars.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_names_what_it_is_about_and_the_option() {
        let disk = on_another_disk(Path::new("sharp/a.jpg"));
        assert_eq!(
            disk,
            "sharp/a.jpg is on another disk, where hard links cannot reach: use \
                          --copies"
        );
        let shared = shared_sidecar("a.jpg", "a.dng");
        assert!(shared.starts_with("shared by a.jpg and a.dng"), "{shared}");
        assert!(nothing_written("3 frames.").ends_with("add --write to write the sidecars."));
    }
}
