//! Runs one target over mutated files: `fuzz TARGET SECONDS [CORPUS] [SEED]`. See README.md.
//!
//! The program starts itself again as a worker with limits, because an abort, a stack overflow or
//! an endless loop cannot be caught in the process that has it. The worker notes the number of the
//! case it is at in a file; the case itself follows from seed and number.
#![forbid(unsafe_code)]

mod mutate;
mod targets;

use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use mutate::Cases;
use targets::Target;

/// Addresses of a worker, bytes.
#[cfg(target_os = "linux")]
const MAX_ADDRESSES: u64 = 1 << 30;
/// Longest time of one case.
const MAX_CASE: Duration = Duration::from_secs(10);
/// Largest file of a corpus that is used, bytes: mutating large files is slow and finds little.
const MAX_CORPUS_FILE: u64 = 1 << 20;
/// First argument of a worker.
const WORKER: &str = "--worker";
/// Exit code of a worker whose case took too long.
const TOO_LONG: u8 = 3;

fn main() -> ExitCode {
    let typed: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = typed.iter().map(String::as_str).collect();
    let done = match words[..] {
        ["list"] => {
            for target in targets::ALL {
                println!("{:<16}{}", target.name, target.what);
            }
            return ExitCode::SUCCESS;
        }
        [WORKER, name, seconds, corpus, seed, state] => {
            Run::of(name, seconds, corpus, seed).and_then(|run| run.work(Path::new(state)))
        }
        [name, seconds] => parent(name, seconds, &default_corpus(name), "1"),
        [name, seconds, corpus] => parent(name, seconds, corpus, "1"),
        [name, seconds, corpus, seed] => parent(name, seconds, corpus, seed),
        _ => Err("usage: fuzz TARGET SECONDS [CORPUS] [SEED], or fuzz list".to_owned()),
    };
    match done {
        Ok(code) => code,
        Err(says) => {
            eprintln!("{says}");
            ExitCode::from(2)
        }
    }
}

fn default_corpus(name: &str) -> String {
    format!("{}/corpus/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// One run as asked for.
struct Run {
    target: &'static Target,
    time: Duration,
    cases: Cases,
}

impl Run {
    fn of(name: &str, seconds: &str, corpus: &str, seed: &str) -> Result<Run, String> {
        let target = targets::ALL
            .iter()
            .find(|t| t.name == name)
            .ok_or_else(|| format!("no target {name}; fuzz list shows them"))?;
        let number = |text: &str| text.parse::<u64>().map_err(|_| format!("{text}: not a number"));
        let time = Duration::from_secs(number(seconds)?);
        let seeds = corpus_of(Path::new(corpus)).map_err(|e| format!("{corpus}: {e}"))?;
        if seeds.is_empty() {
            return Err(format!("{corpus}: no file to begin with"));
        }
        Ok(Run { target, time, cases: Cases::new(seeds, number(seed)?) })
    }

    /// Goes through cases until the time is over, noting each.
    fn work(&self, state: &Path) -> Result<ExitCode, String> {
        limit()?;
        let mut note = File::options().write(true).open(state).map_err(|e| e.to_string())?;
        let case = Arc::new(AtomicU64::new(0));
        let watched = Arc::clone(&case);
        std::thread::spawn(move || watch(&watched));
        let start = Instant::now();
        let mut at = 0u64;
        // Files of the corpus are tried as they are, however short the time.
        while start.elapsed() < self.time || at < self.cases.unchanged() {
            case.store(at, Ordering::Relaxed);
            note.seek(SeekFrom::Start(0)).map_err(|e| e.to_string())?;
            note.write_all(&at.to_le_bytes()).map_err(|e| e.to_string())?;
            (self.target.run)(&self.cases.make(at));
            at += 1;
        }
        note.seek(SeekFrom::Start(0)).map_err(|e| e.to_string())?;
        note.write_all(&at.to_le_bytes()).map_err(|e| e.to_string())?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Ends the process when one case takes too long.
fn watch(case: &AtomicU64) {
    let (mut last, mut since) = (u64::MAX, Instant::now());
    loop {
        std::thread::sleep(Duration::from_millis(200));
        let now = case.load(Ordering::Relaxed);
        if now != last {
            (last, since) = (now, Instant::now());
        } else if since.elapsed() > MAX_CASE {
            std::process::exit(TOO_LONG.into());
        }
    }
}

#[cfg(target_os = "linux")]
fn limit() -> Result<(), String> {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let hard = getrlimit(Resource::As).maximum;
    let soft = hard.map_or(MAX_ADDRESSES, |h| h.min(MAX_ADDRESSES));
    let limit = Rlimit { current: Some(soft), maximum: hard };
    setrlimit(Resource::As, limit).map_err(|e| e.to_string())
}

#[cfg(not(target_os = "linux"))]
fn limit() -> Result<(), String> {
    Ok(())
}

/// Runs a worker and keeps the case at which it broke off.
fn parent(name: &str, seconds: &str, corpus: &str, seed: &str) -> Result<ExitCode, String> {
    let run = Run::of(name, seconds, corpus, seed)?;
    let state = std::env::temp_dir().join(format!("fuzz-state-{}", std::process::id()));
    fs::write(&state, [0; 8]).map_err(|e| e.to_string())?;
    let itself = std::env::current_exe().map_err(|e| e.to_string())?;
    let start = Instant::now();
    let status = Command::new(itself)
        .args([WORKER, name, seconds, corpus, seed])
        .arg(&state)
        .env("MALLOC_ARENA_MAX", "2")
        .env("RAYON_NUM_THREADS", "1")
        .stdin(Stdio::null())
        .status();
    let mut number = [0; 8];
    let read = File::open(&state).and_then(|mut f| f.read_exact(&mut number));
    let _ = fs::remove_file(&state);
    read.map_err(|e| e.to_string())?;
    let status = status.map_err(|e| e.to_string())?;
    let case = u64::from_le_bytes(number);
    if status.success() {
        let rate = case as f64 / start.elapsed().as_secs_f64();
        println!("{name}: {case} cases, seed {seed}, {rate:.0} per second: nothing found");
        return Ok(ExitCode::SUCCESS);
    }
    if status.code() == Some(2) {
        return Ok(ExitCode::from(2));
    }
    let how = match status.code() {
        Some(code) if code == i32::from(TOO_LONG) => format!("took over {MAX_CASE:?}"),
        _ => status.to_string(),
    };
    let kept = PathBuf::from(format!("crash-{name}-{seed}-{case}"));
    fs::write(&kept, run.cases.make(case)).map_err(|e| e.to_string())?;
    println!("{name}: case {case} of seed {seed}: {how}; kept as {}", kept.display());
    Ok(ExitCode::from(1))
}

/// Files of a corpus in the order of their names.
fn corpus_of(path: &Path) -> io::Result<Vec<Vec<u8>>> {
    if path.is_file() {
        return Ok(vec![fs::read(path)?]);
    }
    let mut files = Vec::new();
    for entry in fs::read_dir(path)? {
        let entry = entry?;
        let meta = entry.metadata()?;
        if meta.is_file() && meta.len() <= MAX_CORPUS_FILE {
            files.push(entry.path());
        }
    }
    files.sort();
    files.iter().map(fs::read).collect()
}
