//! Sidecars of every RDF form, marked: held against files that two other readers of XMP were run
//! over (`testdata/check_xmp.py`), and byte by byte against what stood there before.

use std::fs;
use std::path::{Path, PathBuf};

use stopwise::marks::xmp::{Keywords, Marks, Rating, marked, read};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/xmp").join(name)
}

fn marks() -> Marks {
    let wanted = vec!["stopwise:near".to_owned(), "stopwise:misfocused".to_owned()];
    Marks {
        rating: Some(4),
        label: Some("look & <keep>".to_owned()),
        keywords: Some(Keywords { prefix: "stopwise:".to_owned(), wanted }),
        only_unset: false,
    }
}

fn befores() -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = fs::read_dir(folder("before"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| {
            let name = p.file_name().unwrap().to_str().unwrap().to_owned();
            (name, fs::read_to_string(&p).unwrap())
        })
        .collect();
    found.sort();
    found
}

#[test]
fn marked_sidecars_are_those_that_were_checked() {
    let all = befores();
    assert!(all.len() >= 10, "{}", all.len());
    for (name, before) in all {
        let after = marked(Some(&before), &marks()).unwrap_or_else(|e| panic!("{name}: {e}"));
        let golden = folder("after").join(&name);
        if std::env::var_os("STOPWISE_BLESS").is_some() {
            fs::write(&golden, &after.text).unwrap();
        }
        assert_eq!(after.text, fs::read_to_string(golden).unwrap(), "{name}");
        let said = read(&after.text).unwrap();
        assert_eq!(said.rating, Some(Rating::Is(4.0)), "{name}");
        assert_eq!(said.label.as_deref(), Some("look & <keep>"), "{name}");
        assert!(
            !said.keywords.iter().any(|k| k == "stopwise:cannot-say" || k == "stopwise:plane-off"),
            "{name}"
        );
        let again = marked(Some(&after.text), &marks()).unwrap();
        assert!(again.changes.is_empty() && again.text == after.text, "{name}");
    }
}
const LABEL: &str = "look &amp; &lt;keep&gt;";
const XMP_BOUND: &str = " xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"";
const DC_BOUND: &str = " xmlns:dc=\"http://purl.org/dc/elements/1.1/\"";

/// The new keywords, a line each at a depth.
fn list(property: &str, depth: usize) -> String {
    let at = |more: usize| " ".repeat(depth + more);
    let (one, two, three) = (at(0), at(1), at(2));
    format!(
        "\n{one}<{property}>\n{two}<rdf:Bag>\n{three}<rdf:li>stopwise:near</rdf:li>\n{three}\
         <rdf:li>stopwise:misfocused</rdf:li>\n{two}</rdf:Bag>\n{one}</{property}>"
    )
}

/// With the new bytes taken out and the old values put back, every sidecar is what it was: no
/// other byte differs.
#[test]
fn nothing_but_the_marks_differs() {
    let items = "<rdf:li>stopwise:near</rdf:li><rdf:li>stopwise:misfocused</rdf:li>";
    let attributes = format!(" xmp:Rating=\"4\" xmp:Label=\"{LABEL}\"");
    let both = format!("{XMP_BOUND}{DC_BOUND}");
    let line = |name: &str| format!("\n   <{name}>{LABEL}</{name}>");
    let crlf = |text: String| text.replace('\n', "\r\n");
    let tab_item = |word: &str| format!("\n\t\t<rdf:li>stopwise:{word}</rdf:li>");
    // What is new, and what stood there; each new text is there once.
    let back: Vec<(&str, Vec<(String, &str)>)> = vec![
        (
            "01-attributes.xmp",
            vec![
                ("'4'".into(), "'2'"),
                (format!(" xmp:Label=\"{LABEL}\"{DC_BOUND}"), ""),
                (format!(">{}\n  </rdf:Description>", list("dc:subject", 3)), "/>"),
            ],
        ),
        (
            "02-elements.xmp",
            vec![
                (">4<".into(), ">-1<"),
                (LABEL.into(), "to print"),
                ("\n     <rdf:li>stopwise:near</rdf:li>".into(), ""),
                ("\n     <rdf:li>stopwise:misfocused</rdf:li>".into(), ""),
            ],
        ),
        (
            "03-several-descriptions.xmp",
            vec![
                (format!("\"Velmarrow\"{both}"), "\"Velmarrow\""),
                (format!("\n<xmp:Label>{LABEL}</xmp:Label>"), ""),
                (list("dc:subject", 0), ""),
                (">4<".into(), ">3<"),
            ],
        ),
        (
            "04-qualified.xmp",
            vec![
                (DC_BOUND.into(), ""),
                (LABEL.into(), "wall calendar"),
                (list("dc:subject", 3), ""),
            ],
        ),
        (
            "05-other-prefixes.xmp",
            vec![
                ("\"4\"".into(), "\"5\""),
                (items.replace("rdf:", "r:"), ""),
                (line("xap:Label"), ""),
            ],
        ),
        (
            "06-packet.xmp",
            vec![
                (both.clone(), ""),
                ("\r\n   <xmp:Rating>4</xmp:Rating>".into(), ""),
                (crlf(line("xmp:Label")), ""),
                (crlf(list("dc:subject", 3)), ""),
            ],
        ),
        (
            "07-bare-rdf.xmp",
            vec![
                (format!("{XMP_BOUND}{attributes}{DC_BOUND}"), ""),
                (
                    format!(
                        "><dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject></rdf:Description>"
                    ),
                    "/>",
                ),
            ],
        ),
        (
            "08-no-description.xmp",
            vec![(
                format!(
                    "><rdf:Description \
                     xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\" rdf:about=\"\"\
                     {XMP_BOUND}{attributes}{DC_BOUND}><dc:subject><rdf:Bag>{items}</rdf:Bag>\
                     </dc:subject></rdf:Description></rdf:RDF>"
                ),
                "/>",
            )],
        ),
        (
            "09-taken-prefixes.xmp",
            vec![
                (both.replace(":xmp=", ":xmp2=").replace(":dc=", ":dc2="), ""),
                (LABEL.into(), "<![CDATA[wall <large>]]> &amp; hall"),
                ("\n   <xmp2:Rating>4</xmp2:Rating>".into(), ""),
                (list("dc2:subject", 3), ""),
            ],
        ),
        (
            "10-marked-before.xmp",
            vec![
                ("-->4<!--".into(), "-->1<!--"),
                (format!("<xmp:Label>{LABEL}</xmp:Label>"), "<xmp:Label/>"),
                (
                    "<rdf:Seq>\n\t\t<rdf:li xml:lang".into(),
                    "<rdf:Seq>\n\t\t<rdf:li>stopwise:cannot-say</rdf:li>\n\t\t<rdf:li xml:lang",
                ),
                (
                    tab_item("near") + &tab_item("misfocused"),
                    "\n\t\t<rdf:li>stopwise:plane-off</rdf:li>",
                ),
            ],
        ),
        (
            "11-empty-list.xmp",
            vec![
                (format!("<rdf:Bag>{items}</rdf:Bag>"), "<rdf:Bag/>"),
                ("\"4\"".into(), "\"0\""),
                (line("xmp:Label"), ""),
            ],
        ),
    ];
    let all = befores();
    assert_eq!(all.len(), back.len());
    for ((name, before), (of, steps)) in all.into_iter().zip(back) {
        assert_eq!(name, of);
        let mut text = marked(Some(&before), &marks()).unwrap().text;
        for (new, old) in steps {
            assert_eq!(text.matches(&new).count(), 1, "{name}: {new}\n{text}");
            text = text.replacen(&new, old, 1);
        }
        assert_eq!(text, before, "{name}");
    }
}
