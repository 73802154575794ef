//! Writing marks into a sidecar: new bytes only where a value changes.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::collections::HashSet;
use std::ops::Range;

use super::read::{List, Packet, PropertyValue, Rating, ReadMarks, XmpElement, read};
use super::tree::{Element, RDF};
use super::{DC, MAX_SIDECAR_BYTES, XMP};
use crate::error::SidecarFault;

/// What a sidecar is to say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marks {
    /// `xmp:Rating`: -1, or 0 to 5; `None` leaves it alone.
    pub rating: Option<i8>,
    /// `xmp:Label`; `None` leaves it alone.
    pub label: Option<String>,
    /// Keywords; `None` leaves them alone.
    pub keywords: Option<Keywords>,
    /// Whether a rating or label that is there stays.
    pub only_unset: bool,
}

/// The keywords of this program.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Keywords {
    /// What they all start with; others that start so are taken out.
    pub prefix: String,
    /// The keywords, prefix included.
    pub wanted: Vec<String>,
}

/// One property that changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Name of the property with its usual prefix.
    pub property: &'static str,
    /// What it said; `None` when nothing.
    pub from: Option<String>,
    /// What it will say; `None` when it goes.
    pub to: Option<String>,
}

/// A sidecar with marks, and what that changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    /// The text of the sidecar.
    pub text: String,
    /// What is different; nothing when it said all that already.
    pub changes: Vec<Change>,
    /// What was there that the standard does not allow.
    pub warnings: Vec<String>,
}

/// The sidecar of a file that has none.
const EMPTY: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>
<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">
 <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">
  <rdf:Description rdf:about=\"\"
    xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"
    xmlns:dc=\"http://purl.org/dc/elements/1.1/\">
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
";

/// Puts marks into a sidecar, or makes one. Everything else keeps its bytes.
///
/// # Errors
/// [`SidecarFault`] when the sidecar is not XMP, or holds a property in a form that cannot be
/// edited without loss.
///
/// ```
/// use stopwise::marks::xmp::{Marks, marked, read, Rating};
/// let before = r#"<r:RDF xmlns:r="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
///  <r:Description xmlns:a="http://ns.adobe.com/xap/1.0/" a:Rating="2" a:CreatorTool="x"/>
/// </r:RDF>"#;
/// let marks = Marks { rating: Some(5), ..Marks::default() };
/// let after = marked(Some(before), &marks).unwrap();
/// assert_eq!(after.text, before.replace("\"2\"", "\"5\""));
/// assert_eq!(read(&after.text).unwrap().rating, Some(Rating::Is(5.0)));
/// ```
pub fn marked(before: Option<&str>, marks: &Marks) -> Result<Marked, SidecarFault> {
    let whole = before.unwrap_or(EMPTY);
    let text = whole.strip_prefix('\u{feff}').unwrap_or(whole);
    if whole.len() as u64 > MAX_SIDECAR_BYTES {
        return Err(SidecarFault::TooLarge);
    }
    let packet = Packet::parse(text)?;
    let said = packet.said();
    let mut edits = Edits::default();
    let mut changes = Vec::new();
    let mut warnings = Vec::new();
    if let Some(Rating::Invalid(v)) = &said.rating {
        warnings.push(format!(
            "its rating {v:?} is not a number from -1 to 5 and is treated as \
                               unrated"
        ));
    }
    if let Some(wanted) = wanted_rating(&said, marks) {
        let to = wanted.to_string();
        changes.push(Change {
            property: "xmp:Rating",
            from: packet.ratings.first().map(|v| v.text.trim().to_owned()),
            to: Some(to.clone()),
        });
        edits.value(&packet, &packet.ratings, &Property { name: "Rating", value: &to });
    }
    if let Some(wanted) = wanted_label(&said, marks) {
        changes.push(Change {
            property: "xmp:Label",
            from: said.label.clone(),
            to: Some(wanted.to_owned()),
        });
        edits.value(&packet, &packet.labels, &Property { name: "Label", value: wanted });
    }
    if let Some(keywords) = &marks.keywords {
        edits.keywords(text, &packet, keywords, &mut changes);
    }
    if changes.is_empty() {
        return Ok(Marked { text: whole.to_owned(), changes, warnings });
    }
    let edited = edits.applied(text, &packet);
    // What was written is read again before anyone gets it.
    let now = read(&edited)?;
    if !holds(&now, &said, marks) {
        return Err(SidecarFault::Lost);
    }
    let bom = if text.len() == whole.len() { "" } else { "\u{feff}" };
    Ok(Marked { text: format!("{bom}{edited}"), changes, warnings })
}

fn wanted_rating(said: &ReadMarks, marks: &Marks) -> Option<i8> {
    let wanted = marks.rating?;
    match &said.rating {
        Some(Rating::Is(v)) => {
            let same = (v - f64::from(wanted)).abs() < f64::EPSILON;
            let stays = marks.only_unset && v.abs() > f64::EPSILON;
            (!same && !stays).then_some(wanted)
        }
        Some(Rating::Invalid(_)) => Some(wanted),
        // Absent is unrated.
        None => (wanted != 0).then_some(wanted),
    }
}

fn wanted_label<'m>(said: &ReadMarks, marks: &'m Marks) -> Option<&'m str> {
    let wanted = marks.label.as_deref()?;
    let set = said.label.as_deref().filter(|l| !l.is_empty());
    let stays = marks.only_unset && set.is_some();
    (set != Some(wanted) && !stays).then_some(wanted)
}

/// Whether the result says what it should.
fn holds(now: &ReadMarks, before: &ReadMarks, marks: &Marks) -> bool {
    let rating = match (wanted_rating(before, marks), &now.rating) {
        (Some(w), Some(Rating::Is(v))) => (v - f64::from(w)).abs() < f64::EPSILON,
        (Some(_), _) => false,
        (None, now) => *now == before.rating,
    };
    let label = wanted_label(before, marks).or(before.label.as_deref()) == now.label.as_deref();
    let keywords = match &marks.keywords {
        None => now.keywords == before.keywords,
        Some(k) => {
            let own = |w: &&String| w.starts_with(&k.prefix);
            let others =
                |s: &ReadMarks| s.keywords.iter().filter(|w| !own(w)).cloned().collect::<Vec<_>>();
            others(now) == others(before)
                && k.wanted.iter().all(|w| now.keywords.contains(w))
                && now.keywords.iter().filter(own).all(|w| k.wanted.contains(w))
        }
    };
    rating && label && keywords
}

struct Property<'a> {
    name: &'a str,
    value: &'a str,
}

#[derive(Default)]
struct Edits {
    /// Bytes and what stands there instead.
    replaced: Vec<(Range<usize>, String)>,
    /// New attributes of xmp for the first description.
    attributes: Vec<(String, String)>,
    /// New property elements, in `{xmp}`/`{dc}`/`{rdf}` prefixes to be filled in.
    keywords: Option<Vec<String>>,
}

impl Edits {
    /// Sets a simple property wherever it stands, or adds it.
    fn value(&mut self, packet: &Packet, places: &[PropertyValue], property: &Property<'_>) {
        if places.is_empty() {
            self.attributes.push((property.name.to_owned(), property.value.to_owned()));
        }
        for place in places {
            match &place.spot {
                XmpElement::Quoted(inner) => {
                    self.replaced.push((inner.clone(), quoted(property.value)))
                }
                XmpElement::Text(index) => {
                    self.text(&packet.elements[*index], property.value);
                }
            }
        }
    }

    /// Exchanges the text of an element; comments in it stay.
    fn text(&mut self, element: &Element, value: &str) {
        if element.empty {
            let close = format!(">{}</{}>", escaped(value), element.written);
            self.replaced.push((element.tag.end.saturating_sub(2)..element.tag.end, close));
            return;
        }
        let mut pieces = element.pieces.iter().cloned();
        let first = pieces.next().unwrap_or(element.inner.start..element.inner.start);
        self.replaced.push((first, escaped(value)));
        self.replaced.extend(pieces.map(|p| (p, String::new())));
    }

    fn keywords(
        &mut self,
        text: &str,
        packet: &Packet,
        keywords: &Keywords,
        changes: &mut Vec<Change>,
    ) {
        let mut have: HashSet<&str> = HashSet::new();
        if let List::Items(_, items) = &packet.keywords {
            for item in items {
                let own = item.text.starts_with(&keywords.prefix);
                let wanted = keywords.wanted.contains(&item.text);
                if own && (!wanted || have.contains(item.text.as_str())) {
                    changes.push(change("dc:subject", Some(&item.text), None));
                    let start = text[..item.whole.start].trim_end().len();
                    self.replaced.push((start..item.whole.end, String::new()));
                } else {
                    have.insert(&item.text);
                }
            }
        }
        let new: Vec<String> =
            keywords.wanted.iter().filter(|w| !have.contains(w.as_str())).cloned().collect();
        if new.is_empty() {
            return;
        }
        changes.extend(new.iter().map(|w| change("dc:subject", None, Some(w))));
        match &packet.keywords {
            List::Absent => self.keywords = Some(new),
            List::Bare(index) => {
                let element = &packet.elements[*index];
                let rdf = rdf_prefix(element);
                let bag = bag(&rdf.0, &rdf.1, &new, "");
                if element.empty {
                    let close = format!(">{bag}</{}>", element.written);
                    self.replaced.push((element.tag.end.saturating_sub(2)..element.tag.end, close));
                } else {
                    self.replaced.push((element.inner.end..element.inner.end, bag));
                }
            }
            List::Items(index, items) => {
                let list = &packet.elements[*index];
                let rdf = list.own_prefix();
                let all: Vec<String> =
                    new.iter().map(|w| format!("<{rdf}li>{}</{rdf}li>", escaped(w))).collect();
                if list.empty {
                    let close = format!(">{}</{}>", all.concat(), list.written);
                    self.replaced.push((list.tag.end.saturating_sub(2)..list.tag.end, close));
                    return;
                }
                // Set as the last item is set; the place is after it, so that what is taken out
                // does not matter.
                let (at, space) = match items.last() {
                    Some(item) => (item.whole.end, space_before(text, item.whole.start)),
                    None => (list.inner.end, ""),
                };
                let lines: String = all.iter().map(|li| format!("{space}{li}")).collect();
                self.replaced.push((at..at, lines));
            }
        }
    }

    /// The text with every edit.
    fn applied(mut self, text: &str, packet: &Packet) -> String {
        self.add_new(text, packet);
        // A place before what goes from there; otherwise in the order of the bytes.
        self.replaced.sort_by_key(|(at, _)| (at.start, at.end));
        let mut out = String::with_capacity(text.len().saturating_add(512));
        let mut done = 0;
        for (at, new) in &self.replaced {
            out.push_str(&text[done..at.start.max(done)]);
            out.push_str(new);
            done = done.max(at.end);
        }
        out.push_str(&text[done..]);
        out
    }

    /// Adds properties that stand nowhere yet to the first description.
    fn add_new(&mut self, text: &str, packet: &Packet) {
        if self.attributes.is_empty() && self.keywords.is_none() {
            return;
        }
        let Some(first) = packet.descriptions.first() else {
            self.add_description(text, packet);
            return;
        };
        let home = &packet.elements[*first];
        let mut tag = String::new();
        let mut body = String::new();
        let (step, outer) = indents(text, packet, home);
        if !self.attributes.is_empty() {
            let prefix = self.bound(home, XMP, "xmp", &mut tag);
            for (name, value) in std::mem::take(&mut self.attributes) {
                // As its neighbours are written.
                let in_tag = home.attributes.iter().any(|a| !a.name.is(RDF, "about"));
                if home.empty || (home.children.is_empty() && in_tag) {
                    tag.push_str(&format!(" {prefix}:{name}=\"{}\"", quoted(&value)));
                } else {
                    let value = escaped(&value);
                    body.push_str(&format!("{step}<{prefix}:{name}>{value}</{prefix}:{name}>"));
                }
            }
        }
        if let Some(words) = self.keywords.take() {
            let prefix = self.bound(home, DC, "dc", &mut tag);
            let rdf = rdf_prefix(home);
            let deeper = deeper(&step, &outer);
            let bag = bag(&rdf.0, &rdf.1, &words, &deeper);
            let close = if deeper.is_empty() { "" } else { &step };
            body.push_str(&format!("{step}<{prefix}:subject>{bag}{close}</{prefix}:subject>"));
        }
        let tag_end = home.tag.end.saturating_sub(if home.empty { 2 } else { 1 });
        // White space before the end of the tag stays behind the new attributes.
        let attributes_end = text[..tag_end].trim_end().len();
        if home.empty && !body.is_empty() {
            self.replaced.push((attributes_end..attributes_end, tag));
            let close = format!(">{body}{outer}</{}>", home.written);
            self.replaced.push((tag_end..home.tag.end, close));
            return;
        }
        if !tag.is_empty() {
            self.replaced.push((attributes_end..attributes_end, tag));
        }
        if !body.is_empty() {
            let end = match home.children.last() {
                Some(last) => packet.elements[*last].whole.end,
                None => home.inner.start,
            };
            self.replaced.push((end..end, body));
        }
    }

    /// The prefix for a namespace in a description; bound in its tag when it is not yet.
    fn bound(&self, home: &Element, uri: &str, usual: &str, tag: &mut String) -> String {
        if let Some(prefix) = home.prefix_of(uri) {
            return prefix.to_owned();
        }
        let taken = home.prefixes();
        let mut prefix = usual.to_owned();
        let mut number = 1u32;
        // A prefix that means something else here, even one not used, is not taken.
        while taken.contains(prefix.as_str()) {
            number = number.saturating_add(1);
            prefix = format!("{usual}{number}");
        }
        tag.push_str(&format!(" xmlns:{prefix}=\"{uri}\""));
        prefix
    }

    /// A description of its own, in a packet that has none.
    fn add_description(&mut self, text: &str, packet: &Packet) {
        let rdf = &packet.elements[packet.rdf];
        let mut new = format!("<rdf:Description xmlns:rdf=\"{RDF}\" rdf:about=\"\"");
        if !self.attributes.is_empty() {
            new.push_str(&format!(" xmlns:xmp=\"{XMP}\""));
        }
        for (name, value) in std::mem::take(&mut self.attributes) {
            new.push_str(&format!(" xmp:{name}=\"{}\"", quoted(&value)));
        }
        match self.keywords.take() {
            Some(words) => {
                let bag = bag("rdf:", "", &words, "");
                let dc = format!(" xmlns:dc=\"{DC}\"><dc:subject>{bag}</dc:subject>");
                new.push_str(&format!("{dc}</rdf:Description>"));
            }
            None => new.push_str("/>"),
        }
        if rdf.empty {
            let close = format!(">{new}</{}>", rdf.written);
            self.replaced.push((rdf.tag.end.saturating_sub(2)..rdf.tag.end, close));
        } else {
            let at = text[..rdf.inner.end].trim_end().len().max(rdf.inner.start);
            self.replaced.push((at..at, format!("\n{new}")));
        }
    }
}

fn change(property: &'static str, from: Option<&str>, to: Option<&str>) -> Change {
    Change { property, from: from.map(str::to_owned), to: to.map(str::to_owned) }
}

/// How names of RDF are written inside an element: their prefix with its colon, and the binding
/// that the outermost of them needs.
fn rdf_prefix(element: &Element) -> (String, String) {
    match element.prefix_of(RDF) {
        Some(prefix) => (format!("{prefix}:"), String::new()),
        None => ("rdf:".to_owned(), format!(" xmlns:rdf=\"{RDF}\"")),
    }
}

/// A list of words, each on its own line when `space` says how deep; else on one.
fn bag(rdf: &str, binding: &str, words: &[String], space: &str) -> String {
    let inner = if space.is_empty() { String::new() } else { format!("{space} ") };
    let items: String =
        words.iter().map(|w| format!("{inner}<{rdf}li>{}</{rdf}li>", escaped(w))).collect();
    format!("{space}<{rdf}Bag{binding}>{items}{space}</{rdf}Bag>")
}

/// The white space from the line before a place up to it; nothing when other bytes stand there.
fn space_before(text: &str, at: usize) -> &str {
    let start = text[..at].trim_end().len();
    &text[start..at]
}

/// The white space that properties of a description stand after, and its end tag.
fn indents(text: &str, packet: &Packet, home: &Element) -> (String, String) {
    let outer = space_before(text, home.whole.start).to_owned();
    let inner = match home.children.last() {
        Some(child) => space_before(text, packet.elements[*child].whole.start).to_owned(),
        None if outer.contains('\n') => format!("{outer} "),
        None => String::new(),
    };
    (inner, outer)
}

/// One level deeper than `step`, by as much as `step` is deeper than `outer`.
fn deeper(step: &str, outer: &str) -> String {
    if step.is_empty() {
        return String::new();
    }
    match step.strip_prefix(outer) {
        Some(more) if !more.is_empty() => format!("{step}{more}"),
        _ => format!("{step} "),
    }
}

/// Text for between tags.
fn escaped(text: &str) -> String {
    quick_xml::escape::partial_escape(text).into_owned()
}

/// Text for between either kind of quotes.
fn quoted(text: &str) -> String {
    quick_xml::escape::escape(text).into_owned()
}
