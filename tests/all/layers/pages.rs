//! One frame for every page, and one function that fills it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::{self, Visit};

use super::{is_test, root, sources};

/// What a file has to do with pages, outside its tests.
#[derive(Default)]
struct PageItems {
    /// Types that are filled into a template.
    templates: Vec<String>,
    /// Functions of the file itself that others may call, and what they return.
    functions: Vec<(String, String)>,
}

impl Visit<'_> for PageItems {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        if !is_test(item) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_struct(&mut self, item: &syn::ItemStruct) {
        let derives = item.attrs.iter().filter(|a| a.path().is_ident("derive"));
        let mut lists = derives.filter_map(|a| a.meta.require_list().ok());
        let is_part = |c: char| c.is_alphanumeric();
        if lists.any(|l| l.tokens.to_string().split(|c| !is_part(c)).any(|w| w == "Template")) {
            self.templates.push(item.ident.to_string());
        }
    }

    fn visit_item_fn(&mut self, item: &syn::ItemFn) {
        if !matches!(item.vis, syn::Visibility::Inherited) {
            let returned = match &item.sig.output {
                syn::ReturnType::Type(_, of) => last_words(of),
                syn::ReturnType::Default => String::new(),
            };
            self.functions.push((item.sig.ident.to_string(), returned));
        }
    }
}

/// A type by the last words of its paths: `Result<String>`.
fn last_words(of: &syn::Type) -> String {
    let syn::Type::Path(path) = of else { return String::new() };
    let Some(last) = path.path.segments.last() else { return String::new() };
    match &last.arguments {
        syn::PathArguments::AngleBracketed(inner) => {
            let types = inner.args.iter().filter_map(|a| match a {
                syn::GenericArgument::Type(of) => Some(last_words(of)),
                _ => None,
            });
            format!("{}<{}>", last.ident, types.collect::<Vec<_>>().join(", "))
        }
        _ => last.ident.to_string(),
    }
}

fn page_items(text: &str) -> PageItems {
    let mut items = PageItems::default();
    items.visit_file(&syn::parse_file(text).unwrap());
    items
}

fn name_of(file: &Path) -> String {
    file.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/")
}

#[test]
fn only_pages_are_filled_into_templates() {
    let mut with_template = BTreeSet::new();
    for file in sources(&root()) {
        let name = name_of(&file);
        let items = page_items(&fs::read_to_string(&file).unwrap());
        let may = name.ends_with("/page.rs") || name.starts_with("report/html/");
        assert!(may || items.templates.is_empty(), "{name} has {:?}", items.templates);
        if !items.templates.is_empty() {
            with_template.insert(name);
        }
    }
    assert!(with_template.len() >= 8, "only {with_template:?} have templates");
    let derived = |text: &str| page_items(text).templates.len();
    assert_eq!(derived("#[derive(Debug, askama::Template)] struct A;"), 1);
    assert_eq!(derived("#[derive(Template)] struct A;"), 1);
    assert_eq!(derived("#[derive(Debug)] struct Template;"), 0);
}

/// The page that is written burst by burst, so that memory stays flat.
const STREAMED: &str = "cull/page.rs";

#[test]
fn a_command_has_one_page_function() {
    let mut pages = 0;
    for file in sources(&root()) {
        let name = name_of(&file);
        let items = page_items(&fs::read_to_string(&file).unwrap());
        let functions = items.functions.iter().map(|(f, r)| (f.as_str(), r.as_str()));
        let functions: Vec<(&str, &str)> = functions.collect();
        if name == STREAMED {
            assert!(functions.is_empty(), "{name} has {functions:?}");
        } else if name.ends_with("/page.rs") {
            assert_eq!(functions, [("page", "Result<String>")], "{name}");
            pages += 1;
        }
        let writes = functions.iter().any(|(f, _)| *f == "write_page");
        assert_eq!(writes, name == "report/html/page_frame.rs", "{name}");
    }
    assert_eq!(pages, 7, "pages of chart, clip, compare, inspect, noise, plan and scale");
}

fn markup(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(markup(&path));
        } else if path.extension().is_some_and(|e| e == "html") {
            found.push(path);
        }
    }
    found
}

/// Files with markup that are no pages: the frame, what pages share, and a burst of a report.
const PARTS: [&str; 3] =
    ["cull/burst.html", "report/html/page_frame.html", "report/html/parts.html"];

#[test]
fn every_page_extends_the_frame() {
    let mut extended = 0;
    for file in markup(&root()) {
        let name = name_of(&file);
        let text = fs::read_to_string(&file).unwrap();
        // The page of the review is served, and is no page of its own.
        let begins = name == "report/html/page_frame.html" || name.starts_with("review/");
        assert_eq!(text.to_lowercase().contains("<!doctype"), begins, "{name}");
        if !PARTS.contains(&name.as_str()) && !begins {
            assert!(text.starts_with("{% extends \"page_frame.html\" %}\n"), "{name}");
            extended += 1;
        }
    }
    assert_eq!(extended, 9, "the seven pages, the report and its later pages");
}
