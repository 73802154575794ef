//! Kills of `review` while a decision is being written: at the moment at which the store's file
//! grows. What was confirmed before is kept, the one at work is there or not, and the store opens.

use std::io::{Read, Write};
use std::net::TcpStream;

use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value as Json, json};

use super::Place;
use super::review::{Review, culled};

const WORDS: [&str; 3] = ["hit", "near", "miss"];

/// Bytes in the store's file of what is new.
fn written(place: &Place) -> u64 {
    std::fs::metadata(place.path().join("kept/decisions-wal")).map_or(0, |m| m.len())
}

/// Asks for a decision; whether it was confirmed before the program went.
fn confirmed(port: u16, token: &str, what: &Json) -> bool {
    let body = what.to_string();
    let request = format!(
        "POST /{token}/actions HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: \
         http://127.0.0.1:{port}\r\nContent-Type: application/json\r\nContent-Length: \
         {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    );
    let mut answer = Vec::new();
    let asked = TcpStream::connect(("127.0.0.1", port)).and_then(|mut stream| {
        stream.write_all(request.as_bytes())?;
        stream.read_to_end(&mut answer)
    });
    asked.is_ok() && answer.starts_with(b"HTTP/1.1 200")
}

fn originals(place: &Place) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = std::fs::read_dir(place.path().join("day"))
        .unwrap()
        .map(|e| e.unwrap())
        .map(|e| (e.file_name().into_string().unwrap(), std::fs::read(e.path()).unwrap()))
        .collect();
    files.sort();
    files
}

/// What is decided about each frame.
fn decided(review: &Review) -> Vec<Json> {
    [1, 2]
        .iter()
        .flat_map(|burst| {
            review.json(&format!("burst/{burst}"))["frames"].as_array().unwrap().clone()
        })
        .map(|frame| frame["decided"].clone())
        .collect()
}

#[test]
fn a_kill_while_a_decision_is_kept_loses_at_most_that_one() {
    let place = culled();
    let before = originals(&place);
    let mut told = 0;
    let mut kept = vec![Json::Null; 5];
    let mut unconfirmed = 0;
    for first in [0, 1, 4, 9, 2, 0] {
        let review = Review::start(&place, &[]);
        assert_eq!(decided(&review), kept, "after {told} decisions");
        let mut decision = || {
            told += 1;
            (told % 5, WORDS[told / 5 % 3])
        };
        for _ in 0..first {
            let (frame, call) = decision();
            let (status, text) =
                review.tell(&json!({"do": "decide", "frame": frame, "call": call}));
            assert_eq!(status, 200, "{text}");
            kept[frame] = json!(call);
        }
        let (frame, call) = decision();
        let what = json!({"do": "decide", "frame": frame, "call": call});
        let length = written(&place);
        let (port, token, process) = (review.port, review.token.clone(), review.process());
        let asking = std::thread::spawn(move || confirmed(port, &token, &what));
        // The event: its first bytes are in the file.
        while written(&place) == length && !asking.is_finished() {
            std::thread::yield_now();
        }
        kill_process(Pid::from_raw(process as i32).unwrap(), Signal::KILL).unwrap();
        let confirmed = asking.join().unwrap();
        review.kill();
        let review = Review::start(&place, &[]);
        let now = decided(&review);
        let mut with = kept.clone();
        with[frame] = json!(call);
        assert!(now == with || (now == kept && !confirmed), "{now:?}: {kept:?} and {call}");
        unconfirmed += u32::from(!confirmed);
        kept = now;
        review.kill();
    }
    assert!(unconfirmed > 0, "no kill fell into the work");
    assert_eq!(originals(&place), before);
    // The store is whole, and what else reads it finds all of it.
    let store = rusqlite::Connection::open(place.path().join("kept/decisions")).unwrap();
    let whole: String = store.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(whole, "ok");
    let ran = place.run(&["log", "agreement"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
}
