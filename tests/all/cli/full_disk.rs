//! Outputs of every kind on a full disk: a small file system in memory where the tests may mount
//! one, else a limit on the size of files.

#[allow(dead_code)]
#[path = "../../../benches/long_log.rs"]
mod long_log;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::json;
use stopwise::simulator::file::{Tags, jpeg};
use stopwise::simulator::ruler::{RulerSpec, ruler};
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::series::SeriesSpec;

use super::review::{Review, culled};
use super::{CACHE, OWN, PROGRAM, Place};

/// Size of the file system, and of what fills it at a time, bytes.
const DISK: usize = 1 << 20;
const PAGE: usize = 4096;

/// A folder that can be filled to the last byte.
struct Disk {
    folder: PathBuf,
    mounted: bool,
}

impl Disk {
    fn new(folder: PathBuf) -> Disk {
        fs::create_dir_all(&folder).unwrap();
        let size = format!("size={DISK}");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(&folder)
            .output()
            .is_ok_and(|out| out.status.success());
        if !mounted {
            eprintln!("no disk can be mounted: the size of files is limited instead");
        }
        Disk { folder, mounted }
    }

    /// Fills it up to some bytes.
    fn fill(&self, left: usize) {
        if !self.mounted {
            return;
        }
        let filler = self.folder.join("filler");
        let mut size = 0;
        let page = [7; PAGE];
        let mut file = fs::File::create(&filler).unwrap();
        while std::io::Write::write_all(&mut file, &page).is_ok() {
            size += PAGE;
        }
        file.set_len((size - left) as u64).unwrap();
    }

    fn free(&self) {
        let _ = fs::remove_file(self.folder.join("filler"));
    }

    /// A program that finds so many bytes left, whichever way that is done.
    fn program(&self, left: usize) -> Command {
        if self.mounted {
            return Command::new(PROGRAM);
        }
        // Blocks of 512 bytes. The signal at the limit would end the program.
        let script = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" \"$@\"", left / 512);
        let mut command = Command::new("sh");
        command.args(["-c", &script, PROGRAM]);
        command
    }

    fn run(&self, place: &Place, left: usize, args: &[&str], env: &[(&str, &str)]) -> Output {
        self.fill(left);
        let out = self
            .program(left)
            .args(args)
            .current_dir(place.path())
            .envs(OWN)
            .env("STOPWISE_DECISIONS", place.path().join("kept/decisions"))
            .envs(env.iter().copied())
            .output()
            .unwrap();
        self.free();
        out
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        if self.mounted {
            let _ = Command::new("umount").arg("-l").arg(&self.folder).output();
        }
    }
}

fn said(out: &Output) -> String {
    String::from_utf8(out.stderr.clone()).unwrap()
}

/// One sentence per failure, in words for people.
fn is_plain(said: &str) -> bool {
    let inner = [".part", "Error", "Os {", "panicked", "SQLITE", "::", "code: "];
    !said.is_empty() && !inner.iter().any(|word| said.contains(word))
}

fn working_files(folder: &Path) -> usize {
    let files = walkdir::WalkDir::new(folder).into_iter().map(|e| e.unwrap());
    files.filter(|e| e.file_name().to_string_lossy().ends_with(".part")).count()
}

/// `out` is on the disk, `other` elsewhere: what does not fit leaves what was there, what fits is
/// whole, and the other output is written in any case.
fn holds(place: &Place, disk: &Disk, args: &[&str]) {
    let out = place.path().join("full/out");
    let other = place.path().join("other");
    let reference = disk.run(place, DISK / 2, args, &[]);
    assert_eq!(reference.status.code(), Some(0), "{args:?}: {}", said(&reference));
    let (whole, whole_other) = (fs::read(&out).unwrap(), fs::read(&other).ok());
    assert_eq!(whole_other.is_some(), args.contains(&"other"), "{args:?}");
    for left in [0, 2 * PAGE] {
        fs::write(&out, b"earlier").unwrap();
        let _ = fs::remove_file(&other);
        let ran = disk.run(place, left, args, &[]);
        let (code, said) = (ran.status.code(), said(&ran));
        let now = fs::read(&out).unwrap();
        if code == Some(0) {
            assert!(left > 0 && now == whole, "{args:?}, {left} bytes left");
        } else {
            // Something else was written: in part; nothing else was wanted: nothing.
            assert!(matches!(code, Some(1 | 2)), "{args:?}: {} {said}", ran.status);
            assert!(said.contains("cannot write full/out: "), "{args:?}: {said}");
            assert!(said.lines().count() == 1 && is_plain(&said), "{args:?}: {said}");
            assert_eq!(now, b"earlier", "{args:?}, {left} bytes left");
            assert!(left == 0 || whole.len() > left - PAGE, "{args:?}: {} bytes", whole.len());
        }
        if disk.mounted {
            assert_eq!(fs::read(&other).ok(), whole_other, "{args:?}, {left} bytes left");
        }
        assert_eq!(working_files(place.path()), 0, "{args:?}");
    }
    fs::remove_file(&out).unwrap();
    let _ = fs::remove_file(&other);
}

#[test]
fn clips_compare_scale_and_charts() {
    let place = Place::new();
    let disk = Disk::new(place.path().join("full"));
    let spec = SeriesSpec::usual(SceneKind::DeadLeaves, 3);
    crate::compare::write(
        &place.path().join("s"),
        spec,
        &[(5.6, 200, 0.005), (16.0, 1600, 0.005)],
        2,
        -1.0,
    );
    for args in [
        &["compare", "s", "--report", "full/out", "--json", "other"][..],
        &["compare", "s", "--json", "full/out", "--report", "other"],
        &["compare", "s", "--csv", "full/out", "--report", "other"],
    ] {
        holds(&place, &disk, args);
    }
    let spec = RulerSpec { width_px: 1500, height_px: 1000, ..RulerSpec::plain(24.0, 5.0, 11) };
    place.put("ruler.jpg", &jpeg(&ruler(&spec), 92, true, Some(&Tags::invented())).unwrap());
    for args in [
        &["scale", "ruler.jpg", "--report", "full/out", "--json", "other"][..],
        &["scale", "ruler.jpg", "--json", "full/out", "--report", "other"],
    ] {
        holds(&place, &disk, args);
    }
    fs::create_dir_all(place.path().join("own")).unwrap();
    long_log::write(&place.path().join("own/log.sqlite"), 3, 3000);
    for kind in ["--svg", "--csv", "--json", "--report"] {
        let beside = if kind == "--json" { "--csv" } else { "--json" };
        holds(&place, &disk, &["chart", kind, "full/out", beside, "other"]);
    }
}

#[test]
fn outputs_of_clips() {
    let Some((_, clip, _)) = crate::clips::made() else { return };
    let place = Place::new();
    let disk = Disk::new(place.path().join("full"));
    fs::copy(clip, place.path().join("clip.mp4")).unwrap();
    let subject = crate::clips::subject();
    let known = ["clip", "clip.mp4", "--quiet", "--subject", &subject];
    for args in [
        &["--report", "full/out", "--json", "other"][..],
        &["--json", "full/out", "--report", "other"],
        &["--csv", "full/out", "--no-report", "--json", "other"],
        &["--otio", "full/out", "--no-report", "--json", "other"],
    ] {
        holds(&place, &disk, &[&known[..], args].concat());
    }
    // Folders: each file is there whole or not at all.
    for (option, dir) in [("--stills", "full/stills"), ("--chapters", "full/chapters")] {
        let args = [&known[..], &["--no-report", "--json", "other", option, dir]].concat();
        let names = || -> Vec<PathBuf> {
            let files = fs::read_dir(place.path().join(dir)).into_iter().flatten();
            files.map(|e| e.unwrap().path()).collect()
        };
        let ran = disk.run(&place, 0, &args, &[]);
        let text = said(&ran);
        assert_eq!(ran.status.code(), Some(if disk.mounted { 1 } else { 2 }), "{option}: {text}");
        assert!(text.contains(&format!("cannot write {dir}/clip.mp4")), "{option}: {text}");
        assert!(is_plain(&text), "{option}: {text}");
        assert_eq!(names(), [""; 0].map(PathBuf::from), "{option}");
        let ran = disk.run(&place, DISK / 2, &args, &[]);
        assert_eq!(ran.status.code(), Some(0), "{option}: {}", said(&ran));
        assert!(!names().is_empty(), "{option}");
    }
}

#[test]
fn rigs_log_cache_and_demo() {
    let place = Place::new();
    let disk = Disk::new(place.path().join("full"));
    place.outing(&[2, 1]);
    let spec = RulerSpec { width_px: 1500, height_px: 1000, ..RulerSpec::plain(24.0, 5.0, 11) };
    place.put("ruler.jpg", &jpeg(&ruler(&spec), 92, true, None).unwrap());
    let rigs = [("STOPWISE_RIGS", "full/rigs.toml")];
    let log = [("STOPWISE_LOG", "full/log.sqlite")];
    let cache = [(CACHE, "full/cache")];
    let add = |name| ["rig", "add", name, "--focal", "100", "--pitch", "24"];
    let cull = ["cull", "day", "--no-report", "--quiet", "--json", "other"];
    let logged = [&cull[..], &["--log"]].concat();
    let half = DISK / 2;
    let free = |args: &[&str], env: &[(&str, &str)]| {
        let ran = disk.run(&place, half, args, env);
        assert_eq!(ran.status.code(), Some(0), "{args:?}: {}", said(&ran));
        String::from_utf8(ran.stdout).unwrap()
    };
    // Where there is nothing yet, and where there is something: it stays.
    for there in [false, true] {
        if there {
            free(&add("first"), &rigs);
            free(&logged, &log);
            free(&cull, &cache);
            // One more frame than the cache has.
            place.outing(&[2, 2]);
        }
        let before = |name: &str| fs::read(place.path().join(name)).ok();
        let rigs_before = before("full/rigs.toml");
        let ran = disk.run(&place, 0, &add("second"), &rigs);
        assert_eq!(ran.status.code(), Some(2), "{}", said(&ran));
        assert!(said(&ran).contains("rigs.toml") && is_plain(&said(&ran)), "{}", said(&ran));
        assert_eq!(before("full/rigs.toml"), rigs_before);
        if there {
            // The scale is measured, and its page written, though the rig cannot be saved.
            let args = ["scale", "ruler.jpg", "--save", "first", "--report", "other"];
            let ran = disk.run(&place, 0, &args, &rigs);
            assert!(matches!(ran.status.code(), Some(1 | 2)), "{}", said(&ran));
            assert_eq!(before("full/rigs.toml"), rigs_before);
            assert!(!disk.mounted || fs::remove_file(place.path().join("other")).is_ok());
        }
        let list = || {
            let out = place.command(&["log", "list"]).envs(log).output().unwrap();
            let text = String::from_utf8(out.stdout).unwrap();
            text.lines().filter(|l| l.contains("day")).map(str::to_owned).collect::<Vec<_>>()
        };
        let outings = list();
        assert_eq!(!outings.is_empty(), there, "{outings:?}");
        let ran = disk.run(&place, 0, &logged, &log);
        assert!(matches!(ran.status.code(), Some(1 | 2)), "{}", said(&ran));
        assert!(said(&ran).contains("full/log.sqlite") && is_plain(&said(&ran)), "{}", said(&ran));
        assert_eq!(list(), outings);
        // A cache that cannot be written costs time, not the record.
        let _ = fs::remove_file(place.path().join("other"));
        let ran = disk.run(&place, 0, &cull, &cache);
        if disk.mounted {
            assert_eq!(ran.status.code(), Some(0), "{}", said(&ran));
            assert!(place.path().join("other").exists());
        }
        assert!(is_plain(&said(&ran)), "{}", said(&ran));
        let ran = disk.run(&place, half, &cull, &cache);
        assert_eq!((ran.status.code(), said(&ran).as_str()), (Some(0), ""));
        let (with, without) = (before("other"), free(&cull, &[(CACHE, "off")]));
        assert_eq!((with, without.as_str()), (before("other"), ""));
    }
    let ran = disk.run(&place, 2 * PAGE, &["demo", "--dir", "full/demo"], &[]);
    assert_eq!(ran.status.code(), Some(2), "{}", said(&ran));
    assert!(said(&ran).contains("full/demo") && is_plain(&said(&ran)), "{}", said(&ran));
    assert_eq!(working_files(&disk.folder), 0);
}

#[test]
fn decisions_of_review() {
    let place = culled();
    let disk = Disk::new(place.path().join("kept"));
    let decide = |frame: u32| json!({"do": "decide", "frame": frame, "call": "hit"});
    let review = Review::start(&place, &[]);
    assert_eq!(review.tell(&decide(0)).0, 200);
    review.kill();
    let review = Review::started_by(disk.program(0), &place, &[]);
    disk.fill(0);
    let (status, text) = review.tell(&decide(1));
    assert!(status >= 400, "{status}: {text}");
    let body = text.split_once("\r\n\r\n").unwrap().1;
    assert!(body.contains("decisions") && is_plain(body), "{body}");
    // The page goes on, and shows what is kept.
    assert_eq!(review.json("outing")["decided"], 1);
    disk.free();
    if disk.mounted {
        assert_eq!(review.tell(&decide(1)).0, 200);
        assert_eq!(review.json("outing")["decided"], 2);
    }
    review.kill();
    let review = Review::start(&place, &[]);
    assert_eq!(review.json("outing")["decided"], if disk.mounted { 2 } else { 1 });
}
