//! Renderings: terminal, JSON, CSV, pages.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use stopwise::body_noise::page;
use stopwise::cull::findings::{BurstFinding, FindingAsRead, OutingFinding, Reason};
use stopwise::cull::inspect;
use stopwise::cull::inspect_terminal;
use stopwise::cull::terminal;

use stopwise::Error;
use stopwise::core::Measured;
use stopwise::cull::columns::COLUMNS;
use stopwise::cull::page::ReportWriter;
use stopwise::cull::page_data::FramePictures;
use stopwise::cull::record::{CullRecord, FrameRecord, MapRecord};
use stopwise::report::column::markdown_table;
use stopwise::report::html::{THEMES, contrast, write_page};
use stopwise::report::map::map_png;
use stopwise::report::term::{self, Style};
use stopwise::report::{colour_scale, csv, json};

use crate::harness::{golden, json_of};
use crate::invented::{self, Invented};

/// A name that tries everything: out of an attribute, into a script, over the line, backwards.
const HOSTILE: &str = "a\"><script>alert('x')</script>&amp;\n\u{1b}[31m\u{202e}gpj.jpg";

fn report(made: &Invented, title: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let mut writer = ReportWriter::create(&path, title).unwrap();
    for page in &made.pages {
        writer.burst(page).unwrap();
    }
    writer.finish(&made.record.outing, &made.record.skipped).unwrap();
    assert_eq!(files_in(folder.path()), ["report.html"], "nothing may be left beside the report");
    std::fs::read_to_string(path).unwrap()
}

fn files_in(folder: &Path) -> Vec<String> {
    let name =
        |e: std::io::Result<std::fs::DirEntry>| e.unwrap().file_name().into_string().unwrap();
    std::fs::read_dir(folder).unwrap().map(name).collect()
}

/// A page as kept in a golden file: the style sheet has its own, and a release must not touch it.
fn without_style(page: &str) -> String {
    let (head, rest) = page.split_once("<style>").unwrap();
    let (_, tail) = rest.split_once("</style>").unwrap();
    format!("{head}<style></style>{tail}").replace(env!("CARGO_PKG_VERSION"), "VERSION")
}

fn csv_of(frames: &[FrameRecord]) -> String {
    let mut out = Vec::new();
    csv::write(COLUMNS, frames, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// An outing in which every frame, title and sentence bears the hostile name.
fn hostile() -> Invented {
    let mut made = invented::outing(5, &[3, 2], false);
    let Invented { pages, record } = &mut made;
    let frames = pages.iter_mut().flat_map(|p| p.frames.iter_mut().map(|(f, _)| f));
    for frame in frames.chain(&mut record.frames) {
        frame.path = format!("day/{HOSTILE}");
        frame.because = Reason::AsRead(HOSTILE.to_owned());
        frame.exposure.lens = Some(HOSTILE.to_owned());
    }
    for burst in pages.iter_mut().map(|p| &mut p.burst).chain(&mut record.bursts) {
        burst.best = Some(format!("day/{HOSTILE}"));
        let message = HOSTILE.to_owned();
        burst.findings[0] = BurstFinding::AsRead(FindingAsRead { message, advice: None });
    }
    let advice = Some(HOSTILE.to_owned());
    let read = FindingAsRead { message: HOSTILE.to_owned(), advice };
    record.outing.findings[0] = OutingFinding::AsRead(read);
    record.outing.by_aperture[0].key = HOSTILE.to_owned();
    record.skipped[0].path = HOSTILE.to_owned();
    made
}

#[test]
fn terminal_goldens() {
    let made = invented::outing(7, &[8, 12, 1], false);
    let at = |width, colour, utf8| {
        let style = Style { colour, width, utf8 };
        terminal::cull(&made.record, Some(Path::new("meadow/report.html")), style)
    };
    golden("cull-80.txt", &at(80, false, true));
    golden("cull-160-bold.txt", &at(160, true, true));
    golden("cull-60-ascii.txt", &at(60, false, false));
    let (record, _) = invented::inspected(3);
    golden("inspect-80.txt", &inspect_terminal::inspect(&record, Style::PLAIN));
    golden(
        "noise-80.txt",
        &stopwise::body_noise::terminal::noise(
            &invented::noise(),
            Style { width: 80, ..Style::PLAIN },
        ),
    );
}

#[test]
fn terminal_lines_never_exceed_the_width() {
    let mut records = vec![invented::outing(7, &[14, 5, 1], false).record, hostile().record];
    let mut wide = invented::outing(9, &[4], false).record;
    for (i, frame) in wide.frames.iter_mut().enumerate() {
        frame.path = format!("夏/{}-甲虫-{i}.jpg", "とても長い名前".repeat(6));
        frame.exposure.iso = Some(100 << i);
        frame.blur_sigma_px = Measured::new(1e6, 3e5, 9);
    }
    records.push(wide);
    for width in [40, 64, 80, 81, 100, 120, 200] {
        for utf8 in [true, false] {
            let style = Style { colour: false, width, utf8 };
            for record in &records {
                let text = terminal::cull(record, None, style);
                for line in text.lines() {
                    let shown = term::display_width(line);
                    assert!(shown <= width, "{shown} > {width}: {line}");
                    assert!(utf8 || line.is_ascii(), "{line}");
                }
            }
            let (record, _) = invented::inspected(3);
            for line in inspect_terminal::inspect(&record, style).lines() {
                assert!(term::display_width(line) <= width, "{width}: {line}");
            }
        }
    }
}

#[test]
fn terminal_shows_control_signs_instead_of_obeying_them() {
    let text = terminal::cull(&hostile().record, None, Style { width: 200, ..Style::PLAIN });
    assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'));
    assert!(text.contains("\\u{1b}"));
}

#[test]
fn another_place_that_could_be_meant_must_be_a_second_frame_of_an_unmarked_burst() {
    use stopwise::cull::invariants::contradictions;
    use stopwise::cull::record::OtherSubject;
    use stopwise::report::parts::SubjectFound;
    let said = |best: &str, x: f64, found: SubjectFound| {
        let mut record: CullRecord = invented::outing(7, &[3], false).record;
        let second =
            record.bursts[0].frames.iter().find(|f| Some(*f) != record.bursts[0].best.as_ref());
        let best = if best == "second" { second.unwrap().clone() } else { best.to_owned() };
        let best = if best == "best" { record.bursts[0].best.clone().unwrap() } else { best };
        record.bursts[0].other = Some(OtherSubject { best, x, y: 0.4 });
        record.bursts[0].subject.found = found;
        let all = contradictions(&record);
        all.iter().filter(|s| s.contains("other place") || s.contains("another place")).count()
    };
    assert_eq!(said("second", 0.3, SubjectFound::Automatic), 0);
    assert_eq!(said("second", 0.3, SubjectFound::Marked), 1);
    assert_eq!(said("second", 1.3, SubjectFound::Automatic), 1);
    assert_eq!(said("best", 0.3, SubjectFound::Automatic), 1);
    assert_eq!(said("nowhere.jpg", 0.3, SubjectFound::Automatic), 1);
}

#[test]
fn json_is_the_record_field_by_field() {
    let mut record: CullRecord = invented::outing(7, &[3], false).record;
    let frame = &mut record.frames[0];
    (frame.blur_sigma_px, frame.subject, frame.motion, frame.at_output) = (None, None, None, None);
    let text = json_of(&record);
    golden("cull.json", &text.replace(env!("CARGO_PKG_VERSION"), "VERSION"));
    let told: serde_json::Value = serde_json::from_str(&text).unwrap();
    // Both through the same reader, which is not exact to the last bit.
    let want: serde_json::Value =
        serde_json::from_str(&serde_json::to_string(&record).unwrap()).unwrap();
    assert!(told == want, "the text differs from the record");
    let frame = told["frames"][0].as_object().unwrap();
    for key in ["blur_sigma_px", "subject", "motion", "at_output"] {
        assert!(frame[key].is_null(), "{key} must be there and null");
    }
    assert_eq!(told["schema"], 3);
    assert_eq!(frame["exposure"]["shutter_s"].as_f64(), record.frames[0].exposure.shutter_s);
}

#[test]
fn csv_reads_back_as_it_was() {
    let made = invented::outing(7, &[12, 3], false);
    let text = csv_of(&made.record.frames);
    golden("cull.csv", &text);
    let mut reader = ::csv::Reader::from_reader(text.as_bytes());
    let heading: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let unique: BTreeSet<&String> = heading.iter().collect();
    assert_eq!(unique.len(), heading.len(), "a heading occurs twice");
    let at = |key: &str| heading.iter().position(|h| h == key).unwrap();
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), made.record.frames.len());
    for (row, frame) in rows.iter().zip(&made.record.frames) {
        assert_eq!(&row[at("path")], frame.path);
        let read = |key| row[at(key)].parse::<f64>().ok();
        assert_eq!(read("blur_sigma_px"), frame.blur_sigma_px.map(|m| m.value));
        assert_eq!(read("blur_sigma_std_err_px"), frame.blur_sigma_px.and_then(|m| m.std_err));
        assert_eq!(read("motion_direction_deg"), frame.motion.map(|m| m.direction_deg));
        assert_eq!(&row[at("verdict")], frame.verdict.word());
    }
    assert!(rows.iter().any(|r| r[at("blur_sigma_px")].is_empty()), "no missing value was tried");
}

#[test]
fn csv_fields_are_no_formulas_and_survive_quotes_and_newlines() {
    let mut frames = invented::outing(7, &[2], false).record.frames;
    frames[0].path = "=HYPERLINK(\"x\"),\n.jpg".to_owned();
    frames[1].path = "-10.jpg".to_owned();
    frames[1].exposure.lens = Some("@SUM(A1)".to_owned());
    // A negative number is a number.
    frames[1].exposure.exposure_bias_ev = Some(-0.7);
    let text = csv_of(&frames);
    let mut reader = ::csv::Reader::from_reader(text.as_bytes());
    let heading = reader.headers().unwrap().clone();
    let at = |key: &str| heading.iter().position(|h| h == key).unwrap();
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(&rows[0][at("path")], "./=HYPERLINK(\"x\"),\n.jpg");
    assert_eq!(&rows[1][at("path")], "./-10.jpg");
    assert_eq!(&rows[1][at("lens")], "'@SUM(A1)");
    assert_eq!(&rows[1][at("exposure_bias_ev")], "-0.7");
}

#[test]
fn page_goldens() {
    let made = invented::outing(7, &[10, 1], false);
    golden("report.html", &without_style(&report(&made, "meadow")));
    let (record, pictures) = invented::inspected(3);
    let bare = FramePictures { crop: None, thumb: None, ..pictures };
    golden("inspect.html", &without_style(&inspect::page::page(&record, &bare).unwrap()));
    golden("noise.html", &without_style(&page::page(&invented::noise()).unwrap()));
}

#[test]
fn hostile_names_stay_text() {
    let made = hostile();
    let (mut record, mut pictures) = invented::inspected(3);
    record.frame.path = HOSTILE.to_owned();
    record.frame.because = Reason::AsRead(HOSTILE.to_owned());
    pictures.crop = Some(invented::picture(64, 64, 1.0, 1));
    for page in [report(&made, HOSTILE), inspect::page::page(&record, &pictures).unwrap()] {
        assert!(page.contains("&#60;script&#62;"), "the name must be shown");
        assert!(!page.contains("<script"), "a name became an element");
        assert!(!page.contains("a\">"), "a name left its attribute");
        assert!(!page.contains('\u{202e}') && !page.contains('\u{1b}'));
        assert!(page.contains("&#38;amp;"), "an entity in a name must be shown as typed");
    }
}

#[test]
fn pages_ask_nothing_of_anyone() {
    let made = invented::outing(7, &[3], true);
    let (record, pictures) = invented::inspected(3);
    for page in [report(&made, "meadow"), inspect::page::page(&record, &pictures).unwrap()] {
        assert!(page.contains("default-src 'none'"));
        for outside in ["http:", "https:", "//cdn", "<script", "@import", "src=\"/", "<link"] {
            assert!(!page.contains(outside), "{outside} in the page");
        }
        for part in page.split("src=\"").skip(1) {
            assert!(part.starts_with("data:image/"), "{}", &part[..40]);
        }
        // Every picture says what it is.
        assert_eq!(page.matches("<img ").count(), page.matches(" alt=\"").count());
    }
}

#[test]
fn elements_are_closed_in_order() {
    let made = invented::outing(7, &[11, 2], true);
    let (record, pictures) = invented::inspected(3);
    for page in [report(&made, "meadow"), inspect::page::page(&record, &pictures).unwrap()] {
        let mut open: Vec<&str> = Vec::new();
        let (_, body) = page.split_once("</style>").unwrap();
        for tag in body.split('<').skip(1) {
            let (inside, _) = tag.split_once('>').unwrap();
            let name = inside.split([' ', '/']).find(|p| !p.is_empty()).unwrap();
            if matches!(name, "img" | "input") || inside.ends_with('/') {
                continue;
            }
            match inside.strip_prefix('/') {
                Some(name) if ["head", "html"].contains(&name) => {}
                Some(name) => assert_eq!(open.pop(), Some(name)),
                None => open.push(name),
            }
        }
        assert!(open.is_empty() || open == ["body"], "{open:?}");
        let mut ids: Vec<&str> =
            page.split(" id=\"").skip(1).map(|p| p.split('"').next().unwrap()).collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "an id occurs twice");
    }
}

#[test]
fn broken_numbers_are_never_shown() {
    let mut made = invented::outing(7, &[3], false);
    let frame = &mut made.pages[0].frames[0].0;
    let broken =
        Measured { value: f64::NAN, std_err: Some(f64::INFINITY), n: 1, flags: Default::default() };
    (frame.blur_sigma_px, frame.blur_ratio, frame.focus) =
        (Some(broken), Some(broken), Some(broken));
    frame.attainable_blur_px = Some(f64::INFINITY);
    frame.sharp_area = Some(f64::NAN);
    made.record.frames[0] = frame.clone();
    let (mut record, pictures) = invented::inspected(3);
    record.noise[1].sigma_dn = broken;
    record.spectrum[4].power = f64::NAN;
    record.spectrum[0].noise = f64::NEG_INFINITY;
    record.resolved_cy_px = Some(broken);
    let bare = FramePictures { crop: None, thumb: None, ..pictures };
    for text in [
        without_style(&report(&made, "meadow")),
        without_style(&inspect::page::page(&record, &bare).unwrap()),
        terminal::cull(&made.record, None, Style::PLAIN),
        inspect_terminal::inspect(&record, Style::PLAIN),
        csv_of(&made.record.frames),
        json_of(&made.record),
    ] {
        // The map is base64, where any letters may come together.
        let text: String =
            text.split("base64,").map(|p| p.split_once('"').map_or(p, |p| p.1)).collect();
        for word in ["NaN", "nan ", "Infinity", ">inf", "inf<", " inf ", ",inf,", "\"inf"] {
            assert!(!text.contains(word), "{word}");
        }
    }
}

// WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3).
#[test]
fn text_and_graphics_keep_their_contrast() {
    // Checks of the formula itself: W3C gives 21 for black on white, and #767676 on white is the
    // well-known lightest grey that passes (4.54).
    approx::assert_abs_diff_eq!(contrast([0; 3], [255; 3]), 21.0, epsilon = 1e-9);
    approx::assert_abs_diff_eq!(contrast([0x76; 3], [255; 3]), 4.54, epsilon = 0.005);
    for theme in THEMES {
        for (name, text) in [("ink", theme.ink), ("soft", theme.soft), ("accent", theme.accent)] {
            let ratio = contrast(text, theme.ground);
            assert!(ratio >= 4.5, "{} {name}: {ratio:.2}", theme.name);
        }
        let [r, g, b] = theme.ground;
        assert!(r == g && g == b, "{}: the ground must be neutral", theme.name);
    }
    for theme in &THEMES {
        let mark = contrast(theme.line, theme.ground);
        assert!(mark >= 3.0, "{} line: {mark:.2}", theme.name);
    }
}

#[test]
fn the_style_sheet_takes_its_colours_from_the_table_only() {
    let page = report(&invented::outing(7, &[1], false), "meadow");
    let (_, rest) = page.split_once("<style>").unwrap();
    let (css, _) = rest.split_once("</style>").unwrap();
    for theme in THEMES {
        for colour in [theme.ground, theme.ink, theme.soft, theme.line, theme.grid, theme.accent] {
            assert!(css.contains(&colour_scale::hex(colour)));
        }
    }
    let named: BTreeSet<&str> =
        css.match_indices('#').filter_map(|(i, _)| css.get(i..i + 7)).collect();
    let own = named.iter().filter(|c| c[1..].chars().all(|c| c.is_ascii_hexdigit()));
    let table: BTreeSet<String> = THEMES
        .iter()
        .flat_map(|t| [t.ground, t.ink, t.soft, t.line, t.grid, t.accent])
        .map(colour_scale::hex)
        .collect();
    for colour in own {
        assert!(table.contains(*colour), "{colour} is not in the table");
    }
}

#[test]
fn every_renderer_reads_the_one_list_of_columns() {
    let made = invented::outing(7, &[8], false);
    let csv = csv_of(&made.record.frames);
    let page = report(&made, "meadow");
    let (record, _) = invented::inspected(3);
    let inspected = inspect_terminal::inspect(&record, Style::PLAIN);
    let table = markdown_table(COLUMNS);
    golden("columns.md", &table);
    let heading: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
    for column in COLUMNS {
        assert!(heading.contains(&column.key), "{} in CSV", column.key);
        assert!(table.contains(&format!("`{}`", column.key)), "{} in Markdown", column.key);
        assert!(page.contains(&format!("<code>{}</code>", column.key)), "{} in HTML", column.key);
        if column.shown(&record.frame).is_some()
            && !["path", "verdict", "because", "flags"].contains(&column.key)
        {
            assert!(inspected.contains(column.heading), "{} in the terminal", column.key);
        }
    }
    let keys: BTreeSet<&str> = COLUMNS.iter().map(|c| c.key).collect();
    assert_eq!(keys.len(), COLUMNS.len());
}

#[test]
fn a_report_that_cannot_be_written_says_so_and_leaves_the_old_one() {
    let made = invented::outing(7, &[2], false);
    let folder = tempfile::tempdir().unwrap();
    let nowhere = folder.path().join("no/such/folder/report.html");
    let error = ReportWriter::create(&nowhere, "meadow").unwrap_err();
    assert!(matches!(&error, Error::Write { path, .. } if *path == nowhere), "{error}");

    // A folder stands where the report should go: the last step fails.
    let taken = folder.path().join("taken");
    std::fs::create_dir(&taken).unwrap();
    std::fs::write(taken.join("x"), "x").unwrap();
    let writer = ReportWriter::create(&taken, "meadow").unwrap();
    let error = writer.finish(&made.record.outing, &[]).unwrap_err();
    assert!(matches!(error, Error::Write { .. }));

    // A writer dropped half way leaves the old report and nothing else.
    let path = folder.path().join("report.html");
    std::fs::write(&path, "old").unwrap();
    let mut writer = ReportWriter::create(&path, "meadow").unwrap();
    writer.burst(&made.pages[0]).unwrap();
    drop(writer);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "old");
    let mut left = files_in(folder.path());
    left.sort();
    assert_eq!(left, ["report.html", "taken"]);
}

/// The full device of Linux: every write to it fails as a full disk does.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_keeps_its_kind_through_json_and_csv() {
    let made = invented::outing(7, &[40], false);
    let full = || std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    for error in
        [json::write(&made.record, full()), csv::write(COLUMNS, &made.record.frames, full())]
    {
        assert_eq!(error.unwrap_err().kind(), std::io::ErrorKind::StorageFull);
    }
}

/// Peak memory of this process, kB.
#[cfg(target_os = "linux")]
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Alone in its process, or other tests' memory counts too:
/// `cargo test --test all memory_stays_flat -- --ignored`.
#[cfg(target_os = "linux")]
#[test]
#[ignore = "writes 300 MB and needs the process to itself"]
fn memory_stays_flat_over_five_thousand_frames() {
    let made = invented::outing(7, &[12], true);
    let folder = tempfile::tempdir().unwrap();
    let mut writer = ReportWriter::create(&folder.path().join("report.html"), "meadow").unwrap();
    let mut page = made.pages[0].clone();
    writer.burst(&page).unwrap();
    let before = peak_kb();
    for id in 2..=417 {
        page.burst.id = id;
        writer.burst(&page).unwrap();
    }
    let path = writer.finish(&made.record.outing, &[]).unwrap();
    let sizes: Vec<u64> = std::fs::read_dir(path.parent().unwrap())
        .unwrap()
        .map(|e| e.unwrap().metadata().unwrap().len())
        .collect();
    assert!(sizes.iter().all(|s| *s <= 15_000_000), "{sizes:?}");
    let size_kb = sizes.iter().sum::<u64>() / 1024;
    let grown = peak_kb() - before;
    // One burst is some 750 kB of page; the whole is hundreds of times that.
    assert!(size_kb > 200_000, "only {size_kb} kB were written");
    assert!(grown < 8_000, "{grown} kB more for {size_kb} kB of page");
}

/// A long report goes on in further pages; nothing is left out, and nothing that is not a page of
/// a report is touched.
#[test]
fn a_long_report_has_several_pages() {
    let made = invented::outing(7, &[12], true);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a report.html");
    let write = |bursts: u32, long: bool| {
        let mut writer = ReportWriter::create(&path, "meadow").unwrap();
        let mut page = made.pages[0].clone();
        for id in 1..=bursts {
            page.burst.id = id;
            if long && id == 2 {
                // One burst that fills more than a page by itself.
                let frames = page.frames.clone();
                page.frames =
                    std::iter::repeat_with(|| frames.clone()).take(25).flatten().collect();
                writer.burst(&page).unwrap();
                page.frames = frames;
            } else {
                writer.burst(&page).unwrap();
            }
        }
        writer.finish(&made.record.outing, &made.record.skipped)
    };
    write(60, true).unwrap();
    let mut files = files_in(folder.path());
    files.sort_by_key(|f| (f.len(), f.clone()));
    assert!(files.len() >= 4 && files[0] == "a report.html", "{files:?}");
    let texts: Vec<String> =
        files.iter().map(|f| std::fs::read_to_string(folder.path().join(f)).unwrap()).collect();
    for (file, text) in files.iter().zip(&texts) {
        assert!(text.len() <= 15_000_000, "{file}: {} bytes", text.len());
        assert!(text.trim_end().ends_with("</html>"), "{file}");
        let said = format!(
            "Page {} of {}: ",
            files.iter().position(|f| f == file).unwrap() + 1,
            files.len()
        );
        assert!(text.contains(&said), "{file} does not say {said:?}");
        // Every page leads to every other.
        for other in files.iter().filter(|o| *o != file) {
            assert!(
                text.contains(&format!("href=\"./{}\"", other.replace(' ', "%20"))),
                "{file}: {other}"
            );
        }
    }
    // Every frame of every burst is on one page, once; anchors of the list are there.
    let frames: usize = texts.iter().map(|t| t.matches("<li style=\"--t:").count()).sum();
    assert_eq!(frames, 59 * 12 + 25 * 12);
    let list =
        texts[0].split("<ol class=\"index\">").nth(1).unwrap().split("</ol>").next().unwrap();
    let links: Vec<&str> =
        list.split("href=\"").skip(1).map(|l| l.split('"').next().unwrap()).collect();
    assert_eq!(links.len(), 60);
    for link in links {
        let (file, anchor) = link.split_once('#').unwrap();
        let file = file.trim_start_matches("./").replace("%20", " ");
        let file = if file.is_empty() { "a report.html".to_owned() } else { file };
        let text = &texts[files.iter().position(|f| *f == file).unwrap()];
        assert_eq!(text.matches(&format!("id=\"{anchor}\"")).count(), 1, "{link}");
    }

    // A shorter report takes the pages along that are no longer its own.
    write(2, false).unwrap();
    assert_eq!(files_in(folder.path()), ["a report.html"]);
    // A file of another kind is not replaced; the earlier report stays.
    let own = folder.path().join("a report-2.html");
    std::fs::write(&own, "my own page").unwrap();
    let before = std::fs::read(&path).unwrap();
    let says = write(60, false).unwrap_err().to_string();
    assert!(says.contains("a report-2.html"), "{says}");
    assert_eq!(std::fs::read_to_string(&own).unwrap(), "my own page");
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(files_in(folder.path()).len(), 2, "no working file is left");
    write(1, false).unwrap();
    assert_eq!(std::fs::read_to_string(&own).unwrap(), "my own page");
}

#[test]
fn the_map_png_shows_the_scale_and_leaves_gaps_clear() {
    let (mut record, _) = invented::inspected(3);
    let map = &mut record.map;
    map.blur_sigma_px[0] = Some(0.5);
    map.blur_sigma_px[1] = None;
    map.blur_sigma_px[2] = Some(8.0);
    let png_of =
        |map: &MapRecord, side_px| map_png((map.cols, map.rows), &map.blur_sigma_px, side_px);
    let png = png_of(map, 3).unwrap();
    let read = image::load_from_memory(&png).unwrap().to_rgba8();
    assert_eq!(read.dimensions(), (map.cols * 3, map.rows * 3));
    let at = |x, y| read.get_pixel(x, y).0;
    let [r, g, b] = colour_scale::colour_at(0.0);
    assert_eq!(at(2, 2), [r, g, b, 255]);
    assert_eq!(at(4, 1)[3], 0);
    let [r, g, b] = colour_scale::colour_at(1.0);
    assert_eq!(at(7, 0), [r, g, b, 255]);
    assert!(matches!(png_of(map, 1000), Err(Error::Encode(_))), "larger than is sensible");
    map.blur_sigma_px.pop();
    assert!(matches!(png_of(map, 3), Err(Error::Encode(_))), "a tile is missing");
}

#[test]
fn frames_are_shown_best_first_and_carry_their_place_in_time() {
    let made = invented::outing(7, &[8], false);
    let page = report(&made, "meadow");
    let names: Vec<&str> =
        page.split("<h3>").skip(1).map(|p| p.split('<').next().unwrap()).collect();
    let best = made.record.bursts[0].best.as_deref().unwrap();
    assert_eq!(format!("meadow/{}", names[0]), best);
    let places: BTreeSet<&str> =
        page.split("<li style=\"--t:").skip(1).map(|p| p.split('"').next().unwrap()).collect();
    assert_eq!(places.len(), 8);
}

/// Writes pages to look at: `STOPWISE_LOOK=folder cargo test --test all look -- --ignored`.
#[test]
#[ignore = "writes pages for the eye"]
fn look() {
    let folder = PathBuf::from(std::env::var_os("STOPWISE_LOOK").expect("STOPWISE_LOOK=folder"));
    for (name, bursts) in [("small.html", vec![8, 5, 14, 3, 1]), ("large.html", vec![12; 84])] {
        let path = folder.join(name);
        let made = invented::outing(7, &bursts, true);
        let mut writer = ReportWriter::create(&path, "meadow").unwrap();
        for page in &made.pages {
            writer.burst(page).unwrap();
        }
        writer.finish(&made.record.outing, &made.record.skipped).unwrap();
    }
    let (record, pictures) = invented::inspected(3);
    let page = inspect::page::page(&record, &pictures).unwrap();
    write_page(&folder.join("inspect.html"), &page).unwrap();
}
