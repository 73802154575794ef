//! What a rig makes of focal length, tubes, close-up lens, converter: thin-lens algebra, worked
//! out by hand from m = ext/f, m = m0 + f(1 + m0)/f_c, N(1 + m/p).

use std::fs;

use stopwise::store::equipment;
use stopwise::store::rig::{
    self, EquipmentInFile, MagnificationFrom, Mounted, Rig, RigBody, RigLens, RigMatch, Rigs,
};

fn rig(focal_mm: f64, set_to: f64, mounted: Mounted) -> Rig {
    let lens =
        RigLens { focal_mm: Some(focal_mm), magnification: Some(set_to), ..RigLens::default() };
    Rig { lens, mounted, ..Rig::default() }
}

fn close_up(dioptres: f64) -> Mounted {
    Mounted { close_up_dioptres: Some(dioptres), ..Mounted::default() }
}

fn tube(mm: f64) -> Mounted {
    Mounted { tube_mm: Some(mm), ..Mounted::default() }
}

fn whole(rig: &Rig) -> f64 {
    equipment::optics(rig, None).magnification.unwrap().value
}

fn alone(rig: &Rig) -> f64 {
    equipment::optics(rig, None).lens_magnification.unwrap().value
}

#[test]
fn magnification_from_tubes_close_up_lenses_and_reversed_lenses() {
    let reversed = Mounted { reversed_lens_focal_mm: Some(50.0), ..Mounted::default() };
    for (of, want) in [
        // Extension over focal length.
        (rig(50.0, 0.0, tube(25.0)), 0.5),
        (rig(50.0, 0.0, tube(36.0)), 0.72),
        (rig(100.0, 0.0, tube(100.0)), 1.0),
        // A close-up lens in contact, the lens at 1:1 and beyond.
        (rig(100.0, 1.0, close_up(5.0)), 2.0),
        (rig(100.0, 1.0, close_up(8.0)), 2.6),
        (rig(100.0, 1.0, close_up(10.0)), 3.0),
        (rig(60.0, 1.0, close_up(10.0)), 2.2),
        (rig(90.0, 2.0, close_up(5.0)), 3.35),
        // The lens at infinity.
        (rig(200.0, 0.0, close_up(5.0)), 1.0),
        (rig(70.0, 0.0, close_up(10.0)), 0.7),
        // 200 mm with 50 mm reversed in front.
        (rig(200.0, 0.0, reversed), 4.0),
    ] {
        assert!((whole(&of) - want).abs() < 1e-12, "{of:?}: {}", whole(&of));
    }
}

/// What is in front changes neither pupil nor image distance: the bellows factor stays.
#[test]
fn the_bellows_factor_goes_by_the_lens_alone() {
    let worked_out = rig(100.0, 1.0, close_up(5.0));
    assert!((alone(&worked_out) - 1.0).abs() < 1e-12);
    // The same from the measured magnification of the whole, with its error.
    let measured = Rig {
        magnification: Some(2.0),
        magnification_std_err: Some(0.03),
        lens: RigLens { focal_mm: Some(100.0), ..RigLens::default() },
        mounted: close_up(5.0),
        ..Rig::default()
    };
    let got = equipment::optics(&measured, None).lens_magnification.unwrap();
    assert!((got.value - 1.0).abs() < 1e-12 && (got.std_err.unwrap() - 0.02).abs() < 1e-12);
    // Without the focal length nothing can be said of the lens alone.
    let unknown = Rig { lens: RigLens::default(), ..measured.clone() };
    assert_eq!(equipment::optics(&unknown, None).lens_magnification, None);
    // 5 dioptres on 100 mm make 0.5 by themselves: 0.4 cannot be.
    assert_eq!(equipment::optics(&measured, Some(0.4)).lens_magnification, None);
    let typed = equipment::optics(&measured, Some(0.4)).magnification.unwrap();
    assert_eq!((typed.value, typed.std_err), (0.4, None));
}

#[test]
fn a_converter_multiplies_and_the_bellows_factor_stays() {
    let doubled = Mounted { teleconverter: Some(2.0), ..Mounted::default() };
    let of = rig(100.0, 1.0, doubled.clone());
    assert!((whole(&of) - 2.0).abs() < 1e-12 && (alone(&of) - 1.0).abs() < 1e-12);
    let measured = Rig { magnification: Some(2.0), mounted: doubled, ..Rig::default() };
    assert!((alone(&measured) - 1.0).abs() < 1e-12);
}

#[test]
fn a_reversed_lens_turns_its_pupils_and_hides_its_extension() {
    let mounted = Mounted { reversed: true, tube_mm: Some(20.0), ..Mounted::default() };
    let mut of = Rig { pupil_ratio: Some(1.25), ..rig(28.0, 0.0, mounted) };
    assert_eq!(equipment::optics(&of, None).pupil_ratio, Some(0.8));
    assert_eq!(equipment::optics(&of, None).magnification, None);
    of.magnification = Some(2.4);
    assert!((alone(&of) - 2.4).abs() < 1e-12);
}

#[test]
fn the_rig_that_names_the_most_is_found() {
    let body = |model: &str, serial: Option<&str>| RigBody {
        make: Some("Velmarrow".to_owned()),
        model: Some(model.to_owned()),
        serial: serial.map(str::to_owned),
    };
    let of = |body: RigBody, lens: Option<&str>, contacts: Option<bool>| Rig {
        body,
        lens: RigLens { model: lens.map(str::to_owned), contacts, ..RigLens::default() },
        ..Rig::default()
    };
    let rigs = Rigs(
        [
            ("any lens", of(body("VM-7", None), None, None)),
            ("macro", of(body("Velmarrow VM-7", None), Some("Osk 100"), None)),
            ("second body", of(body("VM-7", Some("42")), Some("Osk 100"), None)),
            ("mute", of(body("VM-9", None), Some("old bellows lens"), Some(false))),
            ("no criterion", Rig { magnification: Some(2.0), ..Rig::default() }),
        ]
        .map(|(n, r)| (n.to_owned(), r))
        .into(),
    );
    let seen = |model, serial, lens| EquipmentInFile {
        make: Some("VELMARROW "),
        model: Some(model),
        serial,
        lens,
    };
    assert_eq!(rigs.of(seen("vm-7", None, Some("other"))), RigMatch::One("any lens"));
    assert_eq!(rigs.of(seen("VM-7", None, Some("osk 100"))), RigMatch::One("macro"));
    assert_eq!(
        rigs.of(seen("Velmarrow VM-7", Some("41"), Some("Osk 100"))),
        RigMatch::One("macro")
    );
    assert_eq!(rigs.of(seen("VM-7", Some("42"), Some("Osk 100"))), RigMatch::One("second body"));
    assert_eq!(rigs.of(seen("VM-9", None, None)), RigMatch::One("mute"));
    assert_eq!(rigs.of(seen("VM-9", None, Some("Osk 100"))), RigMatch::None);
    assert_eq!(rigs.of(seen("VM-1", None, None)), RigMatch::None);
    assert_eq!(rigs.of(EquipmentInFile::default()), RigMatch::None);
}

#[test]
fn a_measured_magnification_is_written_beside_the_comments() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("rigs.toml");
    fs::write(&path, "[bee]\nmagnification = 1.0 # by eye\n\n[fly] # other\n").unwrap();
    rig::set_magnification(&path, "bee", 1.52, Some(0.01), MagnificationFrom::Ruler).unwrap();
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains("magnification = 1.52 # by eye"), "{text}");
    assert!(text.contains("[fly] # other"), "{text}");
    let bee = &Rigs::read(&path).unwrap().0["bee"];
    assert_eq!(bee.magnification_std_err, Some(0.01));
    assert_eq!(bee.magnification_from, Some(MagnificationFrom::Ruler));
    // Measured anew without an error: the old one does not stay.
    rig::set_magnification(&path, "bee", 1.6, None, MagnificationFrom::Typed).unwrap();
    assert_eq!(Rigs::read(&path).unwrap().0["bee"].magnification_std_err, None);
    let missing = rig::set_magnification(&path, "ant", 1.0, None, MagnificationFrom::Ruler);
    assert!(missing.unwrap_err().to_string().contains("no rig named ant; there are: bee, fly"));
}

// A rig file may be a link into a folder of settings that somebody keeps elsewhere.
#[cfg(unix)]
#[test]
fn a_changed_rig_file_keeps_its_place_and_its_rights() {
    use std::os::unix::fs::PermissionsExt;
    use stopwise::store::rig;
    let folder = tempfile::tempdir().unwrap();
    let (real, link) = (folder.path().join("real.toml"), folder.path().join("rigs.toml"));
    std::fs::write(&real, "# mine\n[day]\n").unwrap();
    std::fs::set_permissions(&real, PermissionsExt::from_mode(0o640)).unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    rig::add(&link, "bench", &Rig::default()).unwrap();
    assert!(link.is_symlink());
    assert!(std::fs::read_to_string(&real).unwrap().starts_with("# mine\n"));
    assert_eq!(std::fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o640);
    std::fs::set_permissions(&real, PermissionsExt::from_mode(0o440)).unwrap();
    let refused = rig::add(&link, "field", &Rig::default()).unwrap_err().to_string();
    assert!(refused.contains("write-protected"), "{refused}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2, "no working file is left");
}
