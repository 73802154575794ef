//! A sidecar's elements with the bytes where each stands. Nothing is thrown away: editing puts new
//! bytes between old ones.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::rc::Rc;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::error::SidecarFault;

/// Namespace of RDF.
pub const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
/// Namespace of `xml:lang`, bound everywhere.
const XML: &str = "http://www.w3.org/XML/1998/namespace";
/// Elements inside each other that are followed: real sidecars have about ten.
const DEEPEST: usize = 200;

/// Prefixes and what they stand for: those that an element binds, in front of those around it. The
/// empty prefix is the default namespace. Elements that bind nothing share the one around them.
#[derive(Debug)]
struct Scope {
    own: Vec<(String, Rc<str>)>,
    outer: Option<Rc<Scope>>,
}

impl Scope {
    /// Every binding, innermost first.
    fn bindings(&self) -> impl Iterator<Item = &(String, Rc<str>)> {
        std::iter::successors(Some(self), |s| s.outer.as_deref()).flat_map(|s| s.own.iter().rev())
    }
}

/// What prefixes stand for at the place that is being read, each with what it stood for further
/// out, so that a name is looked up in one step however many are bound.
#[derive(Default)]
struct Bound(HashMap<String, Vec<Rc<str>>>);

impl Bound {
    fn push(&mut self, own: &[(String, Rc<str>)]) {
        for (prefix, uri) in own {
            match self.0.get_mut(prefix) {
                Some(uris) => uris.push(Rc::clone(uri)),
                None => {
                    self.0.insert(prefix.clone(), vec![Rc::clone(uri)]);
                }
            }
        }
    }

    fn pop(&mut self, own: &[(String, Rc<str>)]) {
        for (prefix, _) in own {
            if let Some(uris) = self.0.get_mut(prefix) {
                uris.pop();
            }
        }
    }

    fn get(&self, prefix: &str) -> Option<&Rc<str>> {
        self.0.get(prefix)?.last().filter(|uri| !uri.is_empty())
    }
}

/// A name with its namespace.
#[derive(Debug, Clone, PartialEq)]
pub struct Name {
    /// Namespace; `None` without one.
    pub uri: Option<Rc<str>>,
    /// The name in it.
    pub local: String,
}

impl Name {
    /// Whether this is a name of a namespace.
    pub fn is(&self, uri: &str, local: &str) -> bool {
        self.local == local && self.uri.as_deref() == Some(uri)
    }
}

/// An attribute.
#[derive(Debug, Clone)]
pub struct Attribute {
    /// Its name.
    pub name: Name,
    /// Its value, entities resolved.
    pub value: String,
    /// The bytes between its quotes.
    pub inner: Range<usize>,
}

/// An element.
#[derive(Debug, Clone)]
pub struct Element {
    /// Its name.
    pub name: Name,
    /// Its name as written.
    pub written: String,
    /// Its attributes, without those that bind prefixes.
    pub attributes: Vec<Attribute>,
    /// Bytes of its start tag.
    pub tag: Range<usize>,
    /// Whether it is written as one empty tag.
    pub empty: bool,
    /// Bytes between its tags; where the tag ends when it is empty.
    pub inner: Range<usize>,
    /// Bytes from its start to its end.
    pub whole: Range<usize>,
    /// Elements in it, by index.
    pub children: Vec<usize>,
    /// Its own text, entities resolved.
    pub text: String,
    /// Where that text stands.
    pub pieces: Vec<Range<usize>>,
    /// Prefixes as they are inside it.
    scope: Rc<Scope>,
}

impl Element {
    /// An attribute's value.
    pub fn attribute(&self, uri: &str, local: &str) -> Option<&Attribute> {
        self.attributes.iter().find(|a| a.name.is(uri, local))
    }

    /// The prefix in which names of a namespace can be written inside this element or as its
    /// attributes.
    pub fn prefix_of(&self, uri: &str) -> Option<&str> {
        // The first of a name is the one that counts.
        let mut seen = HashSet::new();
        let mut own = self.scope.bindings().filter(|(p, _)| seen.insert(p.as_str()));
        own.find(|(p, u)| !p.is_empty() && &**u == uri).map(|(p, _)| p.as_str())
    }

    /// Every prefix that stands for something inside this element or around it.
    pub fn prefixes(&self) -> HashSet<&str> {
        self.scope.bindings().map(|(p, _)| p.as_str()).collect()
    }

    /// The prefix of its own name as written, with its colon.
    pub fn own_prefix(&self) -> &str {
        self.written.find(':').map_or("", |at| &self.written[..=at])
    }
}

/// The elements of a document in the order of their start tags; the first is the root.
///
/// # Errors
/// [`SidecarFault`] when the text is not well-formed, or uses what XMP leaves out.
pub fn parse(text: &str) -> Result<Vec<Element>, SidecarFault> {
    // The one that a text may begin with is gone; the reader would pass over a second one and count
    // its places from there.
    if text.starts_with('\u{feff}') {
        return Err(broken(text, 0));
    }
    let mut reader = Reader::from_str(text);
    reader.config_mut().check_comments = true;
    let mut elements: Vec<Element> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let base = Rc::new(Scope { own: vec![("xml".to_owned(), Rc::from(XML))], outer: None });
    let mut bound = Bound::default();
    bound.push(&base.own);
    let mut rooted = false;
    loop {
        let start = reader.buffer_position() as usize;
        let event = reader.read_event().map_err(|_| broken(text, start))?;
        let end = reader.buffer_position() as usize;
        let (tag, empty) = match event {
            Event::Start(tag) => (tag, false),
            Event::Empty(tag) => (tag, true),
            Event::End(_) => {
                let Some(last) = open.pop() else { return Err(broken(text, start)) };
                elements[last].inner.end = start;
                elements[last].whole.end = end;
                let around = open.last().map_or(&base, |i| &elements[*i].scope);
                let scope = &elements[last].scope;
                if !Rc::ptr_eq(scope, around) {
                    bound.pop(&scope.own);
                }
                continue;
            }
            Event::Text(t) => {
                add_text(text, &mut elements, &open, &t, start..end)?;
                continue;
            }
            Event::CData(t) => {
                add_text(text, &mut elements, &open, &t, start..end)?;
                continue;
            }
            Event::GeneralRef(_) => {
                let resolved = resolved(&text[start..end]).ok_or_else(|| broken(text, start))?;
                add_text(text, &mut elements, &open, &resolved, start..end)?;
                continue;
            }
            Event::Decl(d) => {
                let encoding = d.encoding().and_then(Result::ok);
                if let Some(name) = encoding.as_deref().map(str::to_ascii_lowercase)
                    && !matches!(name.as_str(), "utf-8" | "utf8" | "us-ascii")
                {
                    return Err(SidecarFault::Encoding);
                }
                continue;
            }
            Event::DocType(_) => return Err(SidecarFault::DocumentType),
            Event::Comment(_) | Event::PI(_) => continue,
            Event::Eof => break,
        };
        if open.len() >= DEEPEST || (open.is_empty() && rooted) {
            return Err(broken(text, start));
        }
        rooted = true;
        let scope = open.last().map_or(&base, |i| &elements[*i].scope);
        let scope = Rc::clone(scope);
        let element = element(text, &tag, start..end, empty, &scope, &mut bound);
        let element = element.ok_or_else(|| broken(text, start))?;
        if empty && !Rc::ptr_eq(&element.scope, &scope) {
            bound.pop(&element.scope.own);
        }
        let index = elements.len();
        if let Some(parent) = open.last() {
            elements[*parent].children.push(index);
        }
        elements.push(element);
        if !empty {
            open.push(index);
        }
    }
    if !open.is_empty() || elements.is_empty() {
        return Err(broken(text, text.len()));
    }
    Ok(elements)
}

fn broken(text: &str, at: usize) -> SidecarFault {
    let lines = text.as_bytes()[..at.min(text.len())].iter().filter(|b| **b == b'\n').count();
    SidecarFault::Broken { line: lines.saturating_add(1) }
}

fn add_text(
    whole: &str,
    elements: &mut [Element],
    open: &[usize],
    text: &str,
    at: Range<usize>,
) -> Result<(), SidecarFault> {
    match open.last() {
        Some(last) => {
            elements[*last].text.push_str(text);
            elements[*last].pieces.push(at);
            Ok(())
        }
        // Between the parts of a document there is white space only.
        None if text.trim().is_empty() => Ok(()),
        None => Err(broken(whole, at.start)),
    }
}

fn resolved(text: &str) -> Option<String> {
    quick_xml::escape::unescape(text).ok().map(|t| t.into_owned())
}

/// Where a part of a text stands in it; `None` when it is no part of it.
fn place_in(text: &str, part: &str) -> Option<Range<usize>> {
    let from = part.as_ptr().addr().checked_sub(text.as_ptr().addr())?;
    let range = from..from.checked_add(part.len())?;
    (range.end <= text.len()).then_some(range)
}

/// Whether a name is one: the reader ends names at blanks only.
fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.bytes().any(|b| b == b'=' || b.is_ascii_whitespace())
}

/// An element by its start tag, which the reader found well-formed up to its attributes.
fn element(
    text: &str,
    start: &BytesStart<'_>,
    tag: Range<usize>,
    empty: bool,
    outer: &Rc<Scope>,
    bound: &mut Bound,
) -> Option<Element> {
    let written = start.name().into_inner();
    if !is_name(written) {
        return None;
    }
    let mut raw: Vec<(&str, String, Range<usize>)> = Vec::new();
    for attribute in start.attributes() {
        let attribute = attribute.ok()?;
        let (key, value) = (attribute.key.into_inner(), attribute.value);
        let before = place_in(text, key)?.start.checked_sub(1)?;
        let apart = text.as_bytes().get(before).is_some_and(u8::is_ascii_whitespace);
        if !apart || !is_name(key) || value.contains('<') {
            return None;
        }
        raw.push((key, resolved(&value)?, place_in(text, &value)?));
    }
    let mut own = Vec::new();
    for (key, value, _) in &raw {
        let prefix = match key.strip_prefix("xmlns") {
            Some("") => "",
            Some(rest) => match rest.strip_prefix(':') {
                Some(prefix) => prefix,
                None => continue,
            },
            None => continue,
        };
        own.push((prefix.to_owned(), Rc::from(value.as_str())));
    }
    bound.push(&own);
    let scope = match own.is_empty() {
        true => Rc::clone(outer),
        false => Rc::new(Scope { own, outer: Some(Rc::clone(outer)) }),
    };
    let mut attributes = Vec::new();
    for (key, value, inner) in raw {
        if key == "xmlns" || key.starts_with("xmlns:") {
            continue;
        }
        let name = match key.split_once(':') {
            Some((prefix, local)) => {
                Name { uri: Some(Rc::clone(bound.get(prefix)?)), local: local.to_owned() }
            }
            // An attribute without a prefix has no namespace.
            None => Name { uri: None, local: key.to_owned() },
        };
        attributes.push(Attribute { name, value, inner });
    }
    let name = match written.split_once(':') {
        Some((prefix, local)) => {
            Name { uri: Some(Rc::clone(bound.get(prefix)?)), local: local.to_owned() }
        }
        None => Name { uri: bound.get("").map(Rc::clone), local: written.to_owned() },
    };
    Some(Element {
        name,
        written: written.to_owned(),
        attributes,
        inner: tag.end..tag.end,
        whole: tag.clone(),
        tag,
        empty,
        children: Vec::new(),
        text: String::new(),
        pieces: Vec::new(),
        scope,
    })
}
