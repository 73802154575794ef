//! The local page: who is let in and who is not, what it answers, and that decisions last.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

use serde_json::{Value as Json, json};

use super::{HANGS, OWN, PROGRAM, Place};

/// A running review of `day.json`.
pub(super) struct Review {
    child: Child,
    pub port: u16,
    pub token: String,
}

impl Review {
    pub fn start(place: &Place, more: &[&str]) -> Review {
        Review::started_by(Command::new(PROGRAM), place, more)
    }

    /// `command` starts the program with what it is given.
    pub fn started_by(mut command: Command, place: &Place, more: &[&str]) -> Review {
        let mut child = command
            .current_dir(place.path())
            .envs(OWN)
            .env("STOPWISE_DECISIONS", place.path().join("kept/decisions"))
            .args(["review", "day.json", "--no-open"])
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let rest = line.trim().strip_prefix("http://127.0.0.1:").unwrap();
        let (port, token) = rest.trim_end_matches('/').split_once('/').unwrap();
        assert_eq!(token.len(), 32);
        Review { port: port.parse().unwrap(), token: token.to_owned(), child }
    }

    /// Sends bytes and returns status and the whole answer.
    pub fn raw(&self, request: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(HANGS)).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let text = String::from_utf8_lossy(&answer).into_owned();
        let status = text.split(' ').nth(1).unwrap_or("0").parse().unwrap_or(0);
        (status, text)
    }

    pub fn request(&self, method: &str, path: &str, headers: &str, body: &str) -> (u16, String) {
        let host = format!("Host: 127.0.0.1:{}\r\n", self.port);
        let host = if headers.contains("Host:") { "" } else { &host };
        self.raw(&format!(
            "{method} /{path} HTTP/1.1\r\n{host}{headers}Content-Length: {}\r\nConnection: \
             close\r\n\r\n{body}",
            body.len()
        ))
    }

    pub fn get(&self, path: &str) -> (u16, String) {
        self.request("GET", &format!("{}/{path}", self.token), "", "")
    }

    pub fn json(&self, path: &str) -> Json {
        let (status, text) = self.get(path);
        assert_eq!(status, 200, "{path}: {text}");
        serde_json::from_str(text.split_once("\r\n\r\n").unwrap().1).unwrap()
    }

    pub fn tell(&self, what: &Json) -> (u16, String) {
        let headers =
            format!("Origin: http://127.0.0.1:{}\r\nContent-Type: application/json\r\n", self.port);
        self.request("POST", &format!("{}/actions", self.token), &headers, &what.to_string())
    }

    /// Its process, on systems that say something of it.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Review {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(super) fn culled() -> Place {
    let place = Place::new();
    place.outing(&[3, 2]);
    let ran = place.run(&["cull", "day", "--no-report", "--quiet", "--json", "day.json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    place
}

#[test]
fn only_the_page_itself_is_let_in() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let (port, token) = (review.port, review.token.clone());
    let page = format!("{token}/");
    let (status, text) = review.get("");
    assert_eq!(status, 200, "{text}");
    for header in [
        "Content-Security-Policy: default-src 'none'",
        "frame-ancestors 'none'",
        "X-Content-Type-Options: nosniff",
        "Referrer-Policy: no-referrer",
        "Cache-Control: no-store",
    ] {
        assert!(text.contains(header), "{header} is not in {text}");
    }
    assert!(!text.contains("Access-Control-Allow"), "{text}");

    // Another name that leads here; no name; two names.
    for host in ["evil.example", &format!("evil.example:{port}"), "127.0.0.1", "", "127.0.0.1:1"] {
        let (status, _) = review.request("GET", &page, &format!("Host: {host}\r\n"), "");
        assert_eq!(status, 421, "{host}");
    }
    let twice = format!("Host: 127.0.0.1:{port}\r\nHost: evil.example\r\n");
    assert_eq!(review.request("GET", &page, &twice, "").0, 421);
    assert_eq!(review.raw(&format!("GET /{page} HTTP/1.0\r\n\r\n")).0, 421);

    // Without the token, with a wrong one, with a part of it.
    let wrong = token.chars().rev().collect::<String>();
    for path in [
        "",
        "review.js",
        "outing",
        &format!("{wrong}/outing"),
        &token[..31],
        &format!("{}/outing", &token[..31]),
        &format!("{token}x/outing"),
    ] {
        let (status, text) = review.request("GET", path, "", "");
        assert_eq!(status, 403, "{path}");
        assert!(!text.contains(&token), "{text}");
    }

    // Another page asks or tells.
    for headers in [
        "Origin: http://evil.example\r\n",
        "Origin: null\r\n",
        "Sec-Fetch-Site: cross-site\r\n",
        "Sec-Fetch-Site: same-site\r\n",
        &format!("Origin: https://127.0.0.1:{port}\r\n"),
        &format!("Origin: http://127.0.0.1:{}\r\n", port ^ 1),
    ] {
        let (status, _) = review.request("GET", &format!("{token}/outing"), headers, "");
        assert_eq!(status, 403, "{headers}");
    }
    let told = json!({"do": "decide", "frame": 0, "call": "hit"}).to_string();
    let own = format!("Origin: http://127.0.0.1:{port}\r\n");
    for headers in [
        "Content-Type: application/json\r\n".to_owned(),
        format!("{own}Content-Type: text/plain\r\n"),
        own.clone(),
        "Origin: http://evil.example\r\nContent-Type: application/json\r\n".to_owned(),
        format!("{own}Origin: http://evil.example\r\nContent-Type: application/json\r\n"),
    ] {
        let (status, _) = review.request("POST", &format!("{token}/actions"), &headers, &told);
        assert_eq!(status, 403, "{headers}");
    }
    for method in ["PUT", "DELETE", "OPTIONS", "HEAD"] {
        assert_eq!(review.request(method, &page, "", "").0, 405, "{method}");
    }
    // None of that decided anything.
    assert_eq!(review.json("outing")["decided"], 0);
}

#[test]
fn no_file_is_reached() {
    let place = culled();
    place.put("secret.txt", b"very secret");
    let review = Review::start(&place, &[]);
    for path in [
        "../secret.txt",
        "..%2fsecret.txt",
        "%2e%2e/secret.txt",
        "frame/../../secret.txt",
        "frame/0/../../../secret.txt",
        "frame/..%5c..%5csecret.txt/whole?side=9",
        "secret.txt",
        "day/f001.jpg",
        "frame/day%2ff001.jpg/whole?side=100",
        "review.js/../../secret.txt",
        "file:///etc/passwd",
        "//etc/passwd",
        "frame/-1/whole?side=100",
        "frame/99/whole?side=100",
        "frame/0/whole/extra",
        "burst/0",
        "burst/99",
        "burst/1/x",
        "actions",
    ] {
        let (status, text) = review.get(path);
        assert_eq!(status, 404, "{path}: {text}");
        assert!(!text.contains("secret") && !text.contains("root:"), "{path}: {text}");
    }
    for path in [
        "frame/0/whole",
        "frame/0/whole?side=0",
        "frame/0/whole?side=99999",
        "frame/0/part?x=0&y=0&w=9",
        "frame/0/part?x=-1&y=0&w=9&h=9",
    ] {
        assert_eq!(review.get(path).0, 400, "{path}");
    }
    assert_eq!(review.get("frame/0/part?x=9999&y=0&w=9&h=9").0, 410);
    // Nonsense does not end the server.
    for bytes in ["\r\n\r\n", "GET\r\n\r\n", "GET / HTTP/9\r\n\r\n", "\0\0\0\0"] {
        let mut stream = TcpStream::connect(("127.0.0.1", review.port)).unwrap();
        let _ = stream.write_all(bytes.as_bytes());
    }
    assert_eq!(review.get("outing").0, 200);
}

#[test]
fn frames_come_at_the_size_that_is_asked() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let size = |path: &str| {
        let mut stream = TcpStream::connect(("127.0.0.1", review.port)).unwrap();
        let token = &review.token;
        let request = format!(
            "GET /{token}/{path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            review.port
        );
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let at = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
        let picture = image::load_from_memory(&answer[at + 4..]).unwrap();
        (picture.width(), picture.height())
    };
    assert_eq!(size("frame/1/whole?side=192"), (192, 128));
    assert_eq!(size("frame/1/whole?side=4000"), (384, 256));
    assert_eq!(size("frame/1/part?x=10&y=20&w=100&h=60"), (100, 60));
    assert_eq!(size("frame/1/part?x=300&y=200&w=256&h=256"), (84, 56));
}

#[test]
fn decisions_last_through_a_kill_and_come_back_one_by_one() {
    let place = culled();
    let originals = std::fs::read(place.path().join("day/f001.jpg")).unwrap();
    let review = Review::start(&place, &[]);
    for (frame, call) in [(0, json!("miss")), (1, json!("hit")), (0, json!("near"))] {
        let (status, text) = review.tell(&json!({"do": "decide", "frame": frame, "call": call}));
        assert_eq!(status, 200, "{text}");
    }
    let program = review.json("burst/1")["frames"][1]["verdict"].clone();
    review.kill();
    let review = Review::start(&place, &[]);
    assert_eq!(review.json("outing")["decided"], 2);
    let burst = review.json("burst/1");
    assert_eq!(
        (&burst["frames"][0]["decided"], &burst["frames"][1]["decided"]),
        (&json!("near"), &json!("hit"))
    );
    assert_eq!(burst["frames"][1]["verdict"], program, "the program's own word stays");
    let undo = json!({"do": "undo"});
    assert!(review.tell(&undo).1.contains("\"frame\":0"));
    assert_eq!(review.json("burst/1")["frames"][0]["decided"], "miss");
    review.tell(&undo);
    review.tell(&undo);
    assert!(review.tell(&undo).1.contains("\"frame\":null"));
    assert_eq!(review.json("outing")["decided"], 0);
    for bad in [
        json!({"do": "decide", "frame": 99, "call": "hit"}),
        json!({"do": "subject", "frame": 99, "x": 0.5, "y": 0.5}),
    ] {
        assert_eq!(review.tell(&bad).0, 409, "{bad}");
    }
    for bad in [
        json!({"do": "decide", "frame": 0, "call": "best"}),
        json!({"do": "subject", "frame": 0, "x": 1.5, "y": 0.5}),
        json!({"do": "subject", "frame": 0, "x": 0.5}),
        json!([]),
    ] {
        assert_eq!(review.tell(&bad).0, 400, "{bad}");
    }
    assert_eq!(std::fs::read(place.path().join("day/f001.jpg")).unwrap(), originals);
}

#[test]
fn a_moved_subject_judges_the_burst_as_a_mark_would() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let before = review.json("burst/1");
    let (status, text) = review.tell(&json!({"do": "subject", "frame": 1, "x": 0.3, "y": 0.6}));
    assert_eq!(status, 200, "{text}");
    let moved = review.json("burst/1");
    assert_eq!(moved["subject"], "You moved the subject.");
    assert!(moved["took_ms"].is_u64());
    // The same as `cull` with that mark, to the digit.
    place.put("marks.csv", b"f002.jpg,0.3,0.6\n");
    let (record, _) = place.culled(&["day", "--subjects", "marks.csv"]);
    for i in 0..3 {
        let (row, shown) = (&record["frames"][i], &moved["frames"][i]);
        assert_eq!(row["verdict"], shown["verdict"], "{i}");
        assert_eq!(row["because"], shown["because"], "{i}");
        assert_eq!(row["blur_sigma_px"]["value"], shown["blur_px"], "{i}");
        assert_eq!(row["subject"]["x"], shown["subject"][0], "{i}");
    }
    // What `mark` writes for the folder is judged for that place too; a record is what it was.
    let marked = |args: &[&str]| -> Json {
        let ran = place.run(&[args, &["--json", "-"]].concat());
        let mut record: Json = serde_json::from_str(&ran.stdout).unwrap();
        record["sidecars"].take()
    };
    let args = ["cull", "day", "--subjects", "marks.csv", "--json", "moved.json", "--no-report"];
    assert_eq!(place.run(&args).code, Some(0));
    let of_folder = marked(&["mark", "day"]);
    assert_eq!(of_folder, marked(&["mark", "moved.json", "--no-decisions"]));
    assert_eq!(of_folder.as_array().unwrap().len(), 5);
    let ran = place.run(&["mark", "day.json"]);
    assert!(ran.stderr.contains("The subject of 1 burst was moved"), "{}", ran.stderr);
    // It stands when the program is started again, and goes when it is taken back.
    review.kill();
    let review = Review::start(&place, &[]);
    assert_eq!(review.json("burst/1")["frames"], moved["frames"]);
    let map = review.json("frame/1/map");
    assert!(map["picture"].as_str().unwrap().starts_with("data:image/png"));
    review.tell(&json!({"do": "undo"}));
    assert_eq!(review.json("burst/1")["frames"], before["frames"]);
}

#[test]
fn frames_that_are_gone_are_told_and_the_rest_works() {
    let place = culled();
    std::fs::remove_file(place.path().join("day/f002.jpg")).unwrap();
    let review = Review::start(&place, &[]);
    assert_eq!(review.json("burst/1")["frames"][1]["there"], false);
    assert_eq!(review.get("frame/1/whole?side=100").0, 410);
    assert_eq!(review.get("frame/0/whole?side=100").0, 200);
    assert_eq!(review.tell(&json!({"do": "decide", "frame": 1, "call": "hit"})).0, 409);
    assert_eq!(review.tell(&json!({"do": "subject", "frame": 0, "x": 0.5, "y": 0.5})).0, 409);
    assert_eq!(place.run(&["review", "none.json", "--no-open"]).code, Some(2));
    place.put("bad.json", b"{}");
    assert_eq!(place.run(&["review", "bad.json", "--no-open"]).code, Some(2));
}

#[test]
fn marks_go_by_what_was_decided() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let program = review.json("burst/1")["frames"][2]["verdict"].clone();
    let other = if program == "miss" { "hit" } else { "miss" };
    review.tell(&json!({"do": "decide", "frame": 2, "call": other}));
    let keywords = |more: &[&str]| {
        let ran = place.run(&[&["mark", "day.json", "--json", "-"], more].concat());
        let marks: Json = serde_json::from_str(&ran.stdout).unwrap();
        let row = &marks["sidecars"][2];
        (row["decided"].clone(), row["changes"][0]["to"].clone())
    };
    let word =
        |call: &Json| json!(format!("stopwise:{}", call.as_str().unwrap().replace(' ', "-")));
    assert_eq!(keywords(&[]), (json!(true), word(&json!(other))));
    assert_eq!(keywords(&["--no-decisions"]), (json!(false), word(&program)));
}

/// An interrupt is the usual end.
#[cfg(unix)]
#[test]
fn an_interrupt_ends_it() {
    let place = culled();
    let mut review = Review::start(&place, &[]);
    let kill = format!("kill -INT {}", review.child.id());
    assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
    assert_eq!(review.child.wait().unwrap().code(), Some(0));
}
