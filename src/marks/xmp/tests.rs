//! P1 to P7: cases worked out from the XMP Specification part 1 (ISO 16684-1), section 8.4 with
//! table 5 (rating) and sections 7.4 to 7.9 (forms).

use super::*;
use crate::error::SidecarFault;

/// A sidecar around one description's attributes and content.
fn around(attributes: &str, content: &str) -> String {
    format!(
        "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF \
         xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\" \
         xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\">\
         <rdf:Description rdf:about=\"\"{attributes}>{content}</rdf:Description></rdf:RDF>\
         </x:xmpmeta>"
    )
}

fn rating_of(text: &str) -> Option<Rating> {
    read(text).unwrap().rating
}

#[test]
fn ratings_are_read_in_every_form() {
    let is = |v: f64| Some(Rating::Is(v));
    assert_eq!(rating_of(&around(" xmp:Rating=\"3\"", "")), is(3.0), "P1");
    assert_eq!(rating_of(&around("", "<xmp:Rating>-1</xmp:Rating>")), is(-1.0), "P2");
    assert_eq!(rating_of(&around("", "")), None, "P3");
    let p4 = around(" xmlns:xap=\"http://ns.adobe.com/xap/1.0/\" xap:Rating=\"5\"", "");
    assert_eq!(rating_of(&p4), is(5.0), "P4");
    let p5 = "<xmp:Rating rdf:parseType=\"Resource\"><rdf:value>4</rdf:value>\
              <xmp:By>x</xmp:By></xmp:Rating>";
    assert_eq!(rating_of(&around("", p5)), is(4.0), "P5");
    let p6 = "<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\" \
              xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"><rdf:Description xmp:Label=\"a\"/>\
              <rdf:Description xmp:Rating=\"2\"/></rdf:RDF>";
    assert_eq!(rating_of(p6), is(2.0), "P6");
    for bad in ["6", "-2", "", "-0.5", "inf", "1e0", "four"] {
        let read = rating_of(&around("", &format!("<xmp:Rating>{bad}</xmp:Rating>")));
        assert_eq!(read, Some(Rating::Invalid(bad.to_owned())), "P7");
    }
    for (good, value) in [("3.0", 3.0), ("4.5", 4.5), (" 2\n", 2.0), ("&#51;", 3.0), ("0", 0.0)] {
        let text = around("", &format!("<xmp:Rating>{good}</xmp:Rating>"));
        assert_eq!(rating_of(&text), is(value), "{good:?}");
    }
}

#[test]
fn an_invalid_rating_is_told_and_may_be_replaced() {
    let text = around(" xmp:Rating=\"6\"", "");
    let marks = Marks { rating: Some(1), ..Marks::default() };
    let after = marked(Some(&text), &marks).unwrap();
    assert_eq!(after.text, text.replace("\"6\"", "\"1\""));
    assert_eq!(after.warnings.len(), 1);
}

#[test]
fn a_new_sidecar_says_what_it_should_and_no_more() {
    let keywords = Keywords { prefix: "stopwise:".into(), wanted: vec!["stopwise:hit".into()] };
    let marks = Marks {
        rating: Some(5),
        label: Some("a < b & \"c\"".into()),
        keywords: Some(keywords),
        only_unset: false,
    };
    let new = marked(None, &marks).unwrap();
    let said = read(&new.text).unwrap();
    assert_eq!(said.rating, Some(Rating::Is(5.0)));
    assert_eq!(said.label.as_deref(), Some("a < b & \"c\""));
    assert_eq!(said.keywords, ["stopwise:hit"]);
    let again = marked(Some(&new.text), &marks).unwrap();
    assert_eq!((again.text, again.changes.len()), (new.text, 0), "marking twice changes nothing");
}

#[test]
fn what_is_set_stays_when_that_is_asked() {
    let text = around(" xmp:Rating=\"2\" xmp:Label=\"mine\"", "");
    let marks =
        Marks { rating: Some(5), label: Some("theirs".into()), keywords: None, only_unset: true };
    assert_eq!(marked(Some(&text), &marks).unwrap().text, text);
    let unset = around(" xmp:Rating=\"0\"", "");
    let after = marked(Some(&unset), &marks).unwrap();
    assert_eq!(rating_of(&after.text), Some(Rating::Is(5.0)));
}

#[test]
fn only_keywords_of_this_program_are_taken_out() {
    let items = "<dc:subject><rdf:Bag><rdf:li>moth</rdf:li><rdf:li>stopwise:miss</rdf:li>\
                 <rdf:li>not stopwise:miss</rdf:li></rdf:Bag></dc:subject>";
    let text = around("", items);
    let prefix = "stopwise:".to_owned();
    let wanted = vec!["stopwise:hit".to_owned()];
    let marks = Marks { keywords: Some(Keywords { prefix, wanted }), ..Marks::default() };
    let after = marked(Some(&text), &marks).unwrap();
    let expected = text
        .replace("<rdf:li>stopwise:miss</rdf:li>", "")
        .replace("</rdf:Bag>", "<rdf:li>stopwise:hit</rdf:li></rdf:Bag>");
    assert_eq!(after.text, expected);
}

#[test]
fn what_is_no_xmp_is_refused() {
    let rdf = "xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"";
    let cases = [
        ("", SidecarFault::Broken { line: 1 }),
        ("<a>\n<b></a>", SidecarFault::Broken { line: 2 }),
        ("<a/><b/>", SidecarFault::Broken { line: 1 }),
        ("<a>&unknown;</a>", SidecarFault::Broken { line: 1 }),
        ("<a b=\"1\" b=\"2\"/>", SidecarFault::Broken { line: 1 }),
        ("<p:a/>", SidecarFault::Broken { line: 1 }),
        ("\u{feff}\u{feff}<a \u{feff}b=\"1\"/>", SidecarFault::Broken { line: 1 }),
        ("<html/>", SidecarFault::NoRdf),
        ("<!DOCTYPE a [<!ENTITY b \"c\">]><a/>", SidecarFault::DocumentType),
        ("<?xml version=\"1.0\" encoding=\"ISO-8859-2\"?><a/>", SidecarFault::Encoding),
    ];
    for (text, fault) in cases {
        assert_eq!(read(text), Err(fault), "{text}");
    }
    let two = format!("<a><rdf:RDF {rdf}/><rdf:RDF {rdf}/></a>");
    assert_eq!(read(&two), Err(SidecarFault::SeveralRdf));
    let literal = "<xmp:Rating rdf:parseType=\"Literal\">3</xmp:Rating>";
    let form = SidecarFault::Form { property: "xmp:Rating" };
    assert_eq!(read(&around("", literal)), Err(form));
    let form = SidecarFault::Form { property: "dc:subject" };
    assert_eq!(read(&around(" dc:subject=\"moth\"", "")), Err(form));
    let typed = format!("<rdf:RDF {rdf} xmlns:a=\"b\"><a:Thing/></rdf:RDF>");
    assert_eq!(read(&typed), Err(SidecarFault::Form { property: "rdf:RDF" }));
    let deep = format!("{}{}", "<a>".repeat(100_000), "</a>".repeat(100_000));
    assert!(matches!(read(&deep), Err(SidecarFault::Broken { .. })));
}

/// As many attributes and prefixes as a sidecar can hold: what took minutes and gigabytes when each
/// was held against all others.
#[test]
fn sidecars_with_very_much_in_them_are_edited() {
    let marks = Marks { rating: Some(4), ..Marks::default() };
    let many: String = (0..200_000).map(|i| format!(" q:a{i}=\"\"")).collect();
    let attributes = around(&format!(" xmlns:q=\"urn:q\"{many}"), "");
    let bound: String = (0..5_000).map(|i| format!(" xmlns:p{i}=\"urn:{i}\"")).collect();
    let elements: String =
        (0..60_000).map(|i| format!("<p{}:e xmlns:n=\"urn:n\"/>", i % 5_000)).collect();
    let prefixes = around(&bound, &elements);
    let items: String = (0..60_000).map(|_| "<rdf:li>stopwise:hit</rdf:li>").collect();
    let keywords = around("", &format!("<dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject>"));
    for text in [attributes, prefixes] {
        let after = marked(Some(&text), &marks).unwrap().text;
        assert_eq!(read(&after).unwrap().rating, Some(Rating::Is(4.0)));
        assert!(after.len() < text.len() + 100);
    }
    let own = Keywords { prefix: "stopwise:".to_owned(), wanted: vec!["stopwise:hit".to_owned()] };
    let marks = Marks { keywords: Some(own), ..Marks::default() };
    let after = marked(Some(&keywords), &marks).unwrap();
    assert_eq!(read(&after.text).unwrap().keywords, ["stopwise:hit"]);
    // Twice the same attribute is no XML, however many are between.
    let twice = around(&format!(" xmlns:q=\"urn:q\"{many} q:a0=\"\""), "");
    assert!(matches!(marked(Some(&twice), &marks), Err(SidecarFault::Broken { .. })));
    let large = around("", &" ".repeat(MAX_SIDECAR_BYTES as usize));
    assert_eq!(marked(Some(&large), &marks), Err(SidecarFault::TooLarge));
}

#[test]
fn prefixes_bound_anew_mean_the_inner_name() {
    // "a" is XMP inside and another name around; "b" is unbound again by a default of its own.
    let inner = "<y:e xmlns:y=\"urn:y\" xmlns:a=\"urn:z\"/><a:Rating>2</a:Rating>";
    let text = around(" xmlns:a=\"http://ns.adobe.com/xap/1.0/\"", inner);
    assert_eq!(rating_of(&text), Some(Rating::Is(2.0)));
    let text = around(
        " xmlns:a=\"urn:z\"",
        "<a:Rating xmlns:a=\"http://ns.adobe.com/xap/1.0/\">3</a:Rating>",
    );
    assert_eq!(rating_of(&text), Some(Rating::Is(3.0)));
    // What was bound inside an element is unknown after it.
    let text = around("", "<y:e xmlns:y=\"urn:y\"/><y:e/>");
    assert!(matches!(read(&text), Err(SidecarFault::Broken { .. })));
    let text = around("", "<y:e xmlns:y=\"urn:y\"></y:e><y:e/>");
    assert!(matches!(read(&text), Err(SidecarFault::Broken { .. })));
}
