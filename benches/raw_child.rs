//! What decoding in a child costs: frames of `cull` with the decoder in this process and in a child,
//! in turn, each in a process of its own. Wall time, and processor time of the process with its
//! child (Linux).

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use stopwise::cull::measured_frame::{KeptPixels, Scout, Workspace, take};
use stopwise::image::raw::{DECODING_CHILD, decode_in_children, serve_decoding};

/// First argument of a run of its own.
const ONE: &str = "--one-side";
/// Runs of each side.
const RUNS: usize = 9;
/// Frames of a run, after one that is not counted.
const FRAMES: u32 = 4;

/// Whether this process was started for a part of the work here; it is done then.
pub fn part(words: &[String]) -> bool {
    match words {
        [only] if only == DECODING_CHILD => {
            use std::os::fd::AsFd;
            let output = std::io::stdout().as_fd().try_clone_to_owned().unwrap();
            let _ = serve_decoding(std::io::stdin().lock(), std::fs::File::from(output));
            true
        }
        [one, side, file] if one == ONE => {
            one_side(side == "child", Path::new(file));
            true
        }
        _ => false,
    }
}

/// Prints both sides and their difference, run by run in turn.
pub fn compare(file: &Path) {
    let itself = std::env::current_exe().unwrap();
    let run = |side: &str| -> [f64; 2] {
        let out = Command::new(&itself).args([ONE, side]).arg(file).output().unwrap();
        let text = String::from_utf8(out.stdout).unwrap();
        let mut ms = text.split_whitespace().map(|n| n.parse().unwrap());
        [ms.next().unwrap(), ms.next().unwrap()]
    };
    let pairs: Vec<[[f64; 2]; 2]> = (0..RUNS).map(|_| [run("here"), run("child")]).collect();
    println!("{}: {RUNS} pairs, {FRAMES} frames each", file.display());
    for (kind, what) in ["wall time", "processor time"].into_iter().enumerate() {
        let side = |s: usize| sorted(pairs.iter().map(|p| p[s][kind]));
        let more = sorted(pairs.iter().map(|p| 100.0 * (p[1][kind] / p[0][kind] - 1.0)));
        let (here, child) = (side(0)[RUNS / 2], side(1)[RUNS / 2]);
        println!(
            "  {what:<16}here {here:7.1} ms, in a child {child:7.1} ms per frame (medians); \
             more by {:+.1} % (median), {:+.1} to {:+.1} %",
            more[RUNS / 2],
            more[0],
            more[RUNS - 1]
        );
    }
}

fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Takes the frame some times; prints ms per frame, wall and processor.
fn one_side(child: bool, file: &Path) {
    if child {
        decode_in_children(&std::env::current_exe().unwrap());
    }
    let found = stopwise::image::find(&[file.to_path_buf()]).unwrap();
    let keep = KeptPixels { thumb_px: 480, colour: true, mark: None };
    let mut workspace = Workspace::default();
    let mut frame = || {
        let frame = stopwise::image::read_header(&found.items[0]).unwrap();
        take(&frame, keep, &Scout::default(), true, &mut workspace).unwrap();
    };
    frame();
    let (busy, start) = (busy(), Instant::now());
    (0..FRAMES).for_each(|_| frame());
    let wall = start.elapsed();
    let ms = |time: Duration| 1000.0 * time.as_secs_f64() / f64::from(FRAMES);
    println!("{} {}", ms(wall), ms(self::busy() - busy));
}

/// Processor time of this process and its children so far, all threads.
fn busy() -> Duration {
    let own = std::process::id();
    let processes = std::fs::read_dir("/proc").unwrap().flatten().filter_map(|entry| {
        let id: u32 = entry.file_name().to_str()?.parse().ok()?;
        let stat = std::fs::read_to_string(entry.path().join("stat")).ok()?;
        // After the name, which may hold anything: state, parent.
        let parent: u32 = stat.rsplit_once(')')?.1.split_whitespace().nth(1)?.parse().ok()?;
        (id == own || parent == own).then(|| entry.path().join("task"))
    });
    let threads = processes.flat_map(|tasks| std::fs::read_dir(tasks).unwrap().flatten());
    let ns = threads.filter_map(|thread| {
        let text = std::fs::read_to_string(thread.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<u64>().ok()
    });
    Duration::from_nanos(ns.sum())
}
