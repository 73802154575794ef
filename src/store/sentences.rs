//! What rigs and frames do not say about each other, in sentences.

use std::path::Path;

use super::equipment::{EquipmentFinding, RigLack};
use crate::report::sentences::{Medium, Sentences};

impl RigLack {
    /// What to do about it.
    pub fn advice_text(self) -> &'static str {
        match self {
            RigLack::FocalLength => "Give the focal length of its lens.",
            RigLack::MagnificationTooSmall => {
                "Its magnification is less than that of the close-up lens or tube alone: check \
                 both."
            }
            RigLack::ReversedMagnification => {
                "Give its magnification: it cannot be calculated for a reversed lens."
            }
            RigLack::Magnification => {
                "Give its magnification, or the one that the lens itself is set to (0 is \
                 infinity)."
            }
        }
    }
}

/// No frame is where a record says.
pub fn not_found() -> String {
    "not found: give the folder of the frames with --folder".to_owned()
}

/// A link leads out of the folder that files are taken from or put into.
pub fn link_leads_out(folder: &Path) -> String {
    format!("refused: a link leads out of {} (--follow-links allows it)", folder.display())
}

/// A frame is outside the folder that was named, or that the record is in.
pub fn outside(folder: &Path, is_named: bool) -> String {
    let folder = folder.display();
    match is_named {
        true => format!("refused: outside {folder}, the folder given with --folder"),
        false => format!(
            "refused: outside {folder}, the folder of the record; give its folder with --folder"
        ),
    }
}

/// What to do when frames or a clip fit several rigs.
pub fn name_a_rig(medium: Medium) -> String {
    match medium {
        Medium::Terminal => "Name one with --rig.",
        Medium::Report | Medium::ReviewPage => "Name the one that was used.",
    }
    .to_owned()
}

impl Sentences for EquipmentFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            EquipmentFinding::SeveralRigs { frames, rigs } => format!(
                "{frames} {} several rigs equally well ({}), so none was used.",
                if *frames == 1 { "frame matches" } else { "frames match" },
                rigs.join(", ")
            ),
            EquipmentFinding::RigIncomplete { rig, .. } => {
                format!("The rig {rig} is incomplete: its working f-number is unknown.")
            }
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        Some(match self {
            EquipmentFinding::SeveralRigs { .. } => name_a_rig(medium),
            EquipmentFinding::RigIncomplete { lack, .. } => lack.advice_text().to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sentences::{check, paragraph};

    #[test]
    fn refusals_name_the_folder_and_the_option() {
        let folder = Path::new("day");
        assert!(not_found().ends_with("with --folder"));
        assert!(link_leads_out(folder).contains("out of day (--follow-links"));
        assert!(outside(folder, true).ends_with("outside day, the folder given with --folder"));
        assert!(outside(folder, false).ends_with("give its folder with --folder"));
    }

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let several = |frames| EquipmentFinding::SeveralRigs {
            frames,
            rigs: vec!["bellows".to_owned(), "macro".to_owned()],
        };
        let incomplete = |lack| EquipmentFinding::RigIncomplete { rig: "macro".to_owned(), lack };
        check(&[
            several(1),
            several(4),
            incomplete(RigLack::FocalLength),
            incomplete(RigLack::MagnificationTooSmall),
            incomplete(RigLack::ReversedMagnification),
            incomplete(RigLack::Magnification),
        ]);
        assert_eq!(
            Medium::ALL.map(|m| paragraph(&several(4), m)),
            [
                "4 frames match several rigs equally well (bellows, macro), so none was used. \
                 Name one \
                 with --rig.",
                "4 frames match several rigs equally well (bellows, macro), so none was used. \
                 Name the \
                 one that was used.",
                "4 frames match several rigs equally well (bellows, macro), so none was used. \
                 Name the \
                 one that was used.",
            ]
        );
    }
}
