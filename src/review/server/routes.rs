//! The addresses of the page: what can be asked for, and the actions.

use std::sync::Arc;

use crate::core::verdict::Verdict;
use crate::report::map::map_png;
use crate::report::{html, svg};
use serde::{Deserialize, Serialize};

use super::api::HttpAnswer;
use super::head::Method;
use super::pictures::{LARGEST_PX, PicturePart};
use super::session::Session;

const PAGE: &str = include_str!("page/review.html");
const STYLE: &str = include_str!("page/review.css");
const SCRIPTS: [(&str, &str); 4] = [
    ("review.js", include_str!("page/review.js")),
    ("bench.js", include_str!("page/bench.js")),
    ("ladder.js", include_str!("page/ladder.js")),
    ("link.js", include_str!("page/link.js")),
];

/// An action of the person at the page.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", tag = "do")]
enum ReviewAction {
    /// A frame is this; nothing takes the word back.
    Decide { frame: usize, call: Option<Verdict> },
    /// The subject is here.
    Subject { frame: usize, x: f64, y: f64 },
    /// The latest decision is taken back.
    Undo,
    /// A burst may soon be judged again.
    Prepare { burst: u32 },
}

/// Where the page should look after an action.
#[derive(Serialize)]
struct Done {
    burst: Option<u32>,
    frame: Option<usize>,
}

/// Answers a request that was let in.
pub fn answer(session: &Arc<Session>, method: Method, path: &str, body: &[u8]) -> HttpAnswer {
    if method == Method::Post {
        return if path == "actions" { act(session, body) } else { nothing() };
    }
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let parts: Vec<&str> = path.split('/').collect();
    match parts[..] {
        [""] => HttpAnswer::of("text/html; charset=utf-8", PAGE),
        ["review.css"] => {
            HttpAnswer::of("text/css; charset=utf-8", format!("{}{STYLE}", html::colour_rules()))
        }
        ["outing"] => HttpAnswer::json(&session.outing()),
        ["burst", id] => match number(id).and_then(|id| session.burst(id)) {
            Some(burst) => HttpAnswer::json(&burst),
            None => nothing(),
        },
        ["frame", n, what] => {
            let Some(n) = number::<usize>(n).filter(|n| *n < session.frames()) else {
                return nothing();
            };
            picture(session, n, what, query)
        }
        [name] => match SCRIPTS.iter().find(|(n, _)| *n == name) {
            Some((_, script)) => HttpAnswer::of("text/javascript; charset=utf-8", *script),
            None => nothing(),
        },
        _ => nothing(),
    }
}

fn nothing() -> HttpAnswer {
    HttpAnswer::refused(404, "not found")
}

/// A number in plain digits.
fn number<T: std::str::FromStr>(text: &str) -> Option<T> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

/// One value of a query of plain numbers.
fn value(query: &str, key: &str) -> Option<u32> {
    let mut pairs = query.split('&').filter_map(|pair| pair.split_once('='));
    number(pairs.find(|(k, _)| *k == key)?.1)
}

fn picture(session: &Session, n: usize, what: &str, query: &str) -> HttpAnswer {
    let Some(frame) = session.head(n) else {
        return HttpAnswer::refused(410, "the file of this frame is gone");
    };
    let of = |key: &str| value(query, key);
    let jpeg = match what {
        "whole" => {
            let side = of("side").filter(|s| (1..=LARGEST_PX).contains(s));
            side.map(|side| session.decodes.whole(n, frame, side))
        }
        "part" => match (of("x"), of("y"), of("w"), of("h")) {
            (Some(x), Some(y), Some(width), Some(height)) => {
                Some(session.decodes.part(n, frame, PicturePart { x, y, width, height }))
            }
            _ => None,
        },
        "map" => return map(session, n),
        _ => return nothing(),
    };
    match jpeg {
        Some(Some(jpeg)) => HttpAnswer::of("image/jpeg", jpeg),
        Some(None) => HttpAnswer::refused(410, "this frame can no longer be decoded"),
        None => HttpAnswer::refused(400, "no such part"),
    }
}

/// A focus map with what is needed to lay it over the frame.
#[derive(Serialize)]
struct MapAnswer {
    picture: String,
    width_px: u32,
    height_px: u32,
    legend: String,
}

fn map(session: &Session, n: usize) -> HttpAnswer {
    let made = session.map(n).and_then(|(map, row)| {
        Some(MapAnswer {
            picture: html::data_uri(
                "image/png",
                &map_png((map.cols, map.rows), &map.blur_sigma_px, 1).ok()?,
            ),
            width_px: map.cols * map.tile_px,
            height_px: map.rows * map.tile_px,
            legend: svg::scale_gradient() + &svg::map_legend(row.exposure.pixel_pitch_um),
        })
    });
    match made {
        Some(map) => HttpAnswer::json(&map),
        None => HttpAnswer::refused(410, "some frames of this burst can no longer be read"),
    }
}

fn act(session: &Arc<Session>, body: &[u8]) -> HttpAnswer {
    let Ok(action) = serde_json::from_slice(body) else {
        return HttpAnswer::refused(400, "invalid request");
    };
    let done = match action {
        ReviewAction::Decide { frame, call } => {
            session.decide(frame, call).map(|id| Done { burst: Some(id), frame: Some(frame) })
        }
        ReviewAction::Subject { frame, x, y } => {
            let inside = |v: f64| (0.0..=1.0).contains(&v);
            if !inside(x) || !inside(y) {
                return HttpAnswer::refused(400, "that place is outside the picture");
            }
            let moved = session.move_subject(frame, (x, y));
            moved.map(|id| Done { burst: Some(id), frame: Some(frame) })
        }
        ReviewAction::Undo => session
            .undo()
            .map(|undone| Done { burst: undone.map(|u| u.0), frame: undone.map(|u| u.1) }),
        ReviewAction::Prepare { burst } => {
            // In its own time: pictures come first.
            let session = Arc::clone(session);
            std::thread::spawn(move || session.prepare(burst));
            Ok(Done { burst: Some(burst), frame: None })
        }
    };
    match done {
        Ok(done) => HttpAnswer::json(&done),
        Err(says) => HttpAnswer::refused(409, &says),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_plain() {
        assert_eq!(number::<u32>("17"), Some(17));
        for bad in ["", "-1", "+1", "1.0", "0x1", "99999999999", " 1", "%31"] {
            assert_eq!(number::<u32>(bad), None, "{bad}");
        }
        assert_eq!(
            (value("x=3&y=4", "y"), value("x=3", "y"), value("xy=3", "y")),
            (Some(4), None, None)
        );
    }

    #[test]
    fn only_known_actions_are_taken() {
        let known = |text: &str| serde_json::from_str::<ReviewAction>(text).is_ok();
        for word in ["unclear", "cannot say"] {
            let text = format!(r#"{{"do":"decide","frame":1,"call":"{word}"}}"#);
            assert!(known(&text), "{word}");
        }
        assert!(known(r#"{"do":"decide","frame":1,"call":null}"#));
        assert!(known(r#"{"do":"undo"}"#));
        for bad in [
            r#"{"do":"decide","frame":-1,"call":"hit"}"#,
            r#"{"do":"decide","frame":1,"call":"best"}"#,
            r#"{"do":"delete","frame":1}"#,
            r#"{"frame":1}"#,
        ] {
            assert!(!known(bad), "{bad}");
        }
    }
}
