//! What a sidecar says already: rating, label and keywords, in any form that RDF allows them.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::ops::Range;

use super::tree::{Element, RDF, parse};
use super::{DC, XMP};
use crate::error::SidecarFault;

/// A rating as read.
#[derive(Debug, Clone, PartialEq)]
pub enum Rating {
    /// -1 (rejected), 0 (unrated) or up to 5.
    Is(f64),
    /// Something that the standard does not allow; counts as unrated.
    Invalid(String),
}

/// What a sidecar says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReadMarks {
    /// `xmp:Rating`; absent counts as 0.
    pub rating: Option<Rating>,
    /// `xmp:Label`.
    pub label: Option<String>,
    /// Items of `dc:subject`, in their order.
    pub keywords: Vec<String>,
}

/// Reads a sidecar.
///
/// # Errors
/// [`SidecarFault`] when it is not XMP, or holds what XMP does not allow where marks would stand.
pub fn read(text: &str) -> Result<ReadMarks, SidecarFault> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    Ok(Packet::parse(text)?.said())
}

/// Where a value can be written.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum XmpElement {
    /// Between the quotes of an attribute.
    Quoted(Range<usize>),
    /// The text of an element, by index.
    Text(usize),
}

/// A simple value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PropertyValue {
    /// The value.
    pub text: String,
    /// Where it stands.
    pub spot: XmpElement,
}

/// One item of a list.
#[derive(Debug, Clone)]
pub(super) struct Item {
    /// Its value.
    pub text: String,
    /// Its bytes.
    pub whole: Range<usize>,
}

/// The list of keywords.
#[derive(Debug, Clone)]
pub(super) enum List {
    /// There is none.
    Absent,
    /// The property is there without a list.
    Bare(usize),
    /// The list element, with its items.
    Items(usize, Vec<Item>),
}

/// A parsed sidecar.
#[derive(Debug)]
pub(super) struct Packet {
    /// Every element.
    pub elements: Vec<Element>,
    /// The rdf:RDF element.
    pub rdf: usize,
    /// The rdf:Description elements directly in it.
    pub descriptions: Vec<usize>,
    /// Every place where a rating stands.
    pub ratings: Vec<PropertyValue>,
    /// Every place where a label stands.
    pub labels: Vec<PropertyValue>,
    /// The keywords.
    pub keywords: List,
}

impl Packet {
    /// Parses a text without byte order mark.
    pub fn parse(text: &str) -> Result<Packet, SidecarFault> {
        let elements = parse(text)?;
        let mut roots = (0..elements.len()).filter(|i| elements[*i].name.is(RDF, "RDF"));
        let rdf = roots.next().ok_or(SidecarFault::NoRdf)?;
        if roots.next().is_some() {
            return Err(SidecarFault::SeveralRdf);
        }
        let descriptions: Vec<usize> = elements[rdf].children.clone();
        // Typed nodes are no part of XMP at this level.
        if descriptions.iter().any(|d| !elements[*d].name.is(RDF, "Description")) {
            return Err(SidecarFault::Form { property: "rdf:RDF" });
        }
        let ratings = values(&elements, &descriptions, XMP, "Rating", "xmp:Rating")?;
        let labels = values(&elements, &descriptions, XMP, "Label", "xmp:Label")?;
        let keywords = list(&elements, &descriptions)?;
        Ok(Packet { elements, rdf, descriptions, ratings, labels, keywords })
    }

    /// What it says.
    pub fn said(&self) -> ReadMarks {
        ReadMarks {
            rating: self.ratings.first().map(|v| rating(&v.text)),
            label: self.labels.first().map(|v| v.text.trim().to_owned()),
            keywords: match &self.keywords {
                List::Items(_, items) => items.iter().map(|i| i.text.clone()).collect(),
                _ => Vec::new(),
            },
        }
    }
}

/// A rating by the closed choice of XMP part 1, table 5: -1, or 0 to 5.
fn rating(text: &str) -> Rating {
    let text = text.trim();
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    let plain = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit() || c == '.');
    match text.parse::<f64>() {
        Ok(v) if plain && ((0.0..=5.0).contains(&v) || (v + 1.0).abs() < f64::EPSILON) => {
            Rating::Is(v)
        }
        _ => Rating::Invalid(text.to_owned()),
    }
}

/// Every simple value of a property of the described file.
fn values(
    elements: &[Element],
    descriptions: &[usize],
    uri: &str,
    local: &str,
    property: &'static str,
) -> Result<Vec<PropertyValue>, SidecarFault> {
    let mut found = Vec::new();
    for d in descriptions {
        if let Some(a) = elements[*d].attribute(uri, local) {
            found.push(PropertyValue {
                text: a.value.clone(),
                spot: XmpElement::Quoted(a.inner.clone()),
            });
        }
        for child in &elements[*d].children {
            if elements[*child].name.is(uri, local) {
                found.push(simple(elements, *child).ok_or(SidecarFault::Form { property })?);
            }
        }
    }
    Ok(found)
}

/// The simple value of a property element: its text, or the `rdf:value` of a qualified one.
fn simple(elements: &[Element], index: usize) -> Option<PropertyValue> {
    let element = &elements[index];
    if let Some(value) = element.attribute(RDF, "value") {
        return Some(PropertyValue {
            text: value.value.clone(),
            spot: XmpElement::Quoted(value.inner.clone()),
        });
    }
    let resource = match element.attribute(RDF, "parseType").map(|a| a.value.as_str()) {
        None => false,
        Some("Resource") => true,
        Some(_) => return None,
    };
    if element.attribute(RDF, "resource").is_some() {
        return None;
    }
    if !resource && element.children.is_empty() {
        return Some(PropertyValue { text: element.text.clone(), spot: XmpElement::Text(index) });
    }
    // The fields stand in the element itself, or in the one node that it holds.
    let node = match (resource, &element.children[..]) {
        (true, _) => element,
        (false, [node]) => &elements[*node],
        (false, _) => return None,
    };
    if let Some(value) = node.attribute(RDF, "value") {
        return Some(PropertyValue {
            text: value.value.clone(),
            spot: XmpElement::Quoted(value.inner.clone()),
        });
    }
    let value = node.children.iter().find(|c| elements[**c].name.is(RDF, "value"))?;
    simple(elements, *value)
}

/// The list of keywords; of several, the first counts.
fn list(elements: &[Element], descriptions: &[usize]) -> Result<List, SidecarFault> {
    let fault = SidecarFault::Form { property: "dc:subject" };
    for d in descriptions {
        if elements[*d].attribute(DC, "subject").is_some() {
            return Err(fault);
        }
        for child in &elements[*d].children {
            if !elements[*child].name.is(DC, "subject") {
                continue;
            }
            let property = &elements[*child];
            let container = match property.children[..] {
                [] if property.text.trim().is_empty() && property.attributes.is_empty() => {
                    return Ok(List::Bare(*child));
                }
                [container] => container,
                _ => return Err(fault),
            };
            let known = ["Bag", "Seq", "Alt"].iter().any(|n| elements[container].name.is(RDF, n));
            if !known {
                return Err(fault);
            }
            let mut items = Vec::new();
            for li in &elements[container].children {
                if !elements[*li].name.is(RDF, "li") {
                    return Err(fault);
                }
                // An item in a form of its own stays as it is.
                if let Some(value) = simple(elements, *li) {
                    let whole = elements[*li].whole.clone();
                    items.push(Item { text: value.text.trim().to_owned(), whole });
                }
            }
            return Ok(List::Items(container, items));
        }
    }
    Ok(List::Absent)
}
