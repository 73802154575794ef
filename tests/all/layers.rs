//! The shape of the house: which folder may use which, read from the syntax tree. A new edge fails
//! here first.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::{self, Visit};

mod pages;
mod size;
mod tried;

/// Folders that measure, each after those it may use.
const METHODS: &[&str] = &["optics", "noise", "sharpness", "detail", "tracking"];
/// Folders with a command each. Of `ruler`, `ruler/reading` measures.
const COMMANDS: &[&str] =
    &["ruler", "cull", "clips", "compare", "body_noise", "limits", "plan", "review", "marks"];
/// Commands that may read another command's record.
const READERS: &[&str] = &["limits", "plan", "review", "marks"];
/// Everything else below `src`.
const OTHERS: &[&str] = &["core", "image", "store", "report", "simulator", "cli"];

/// Edges that are still to go: a file and the folder that it should not use. The list must be
/// exact, so that it can only become shorter.
const LEFT: &[(&str, &str)] = &[];

/// What no method may name: paths, files, clocks, threads and the environment.
const IMPURE: &[&[&str]] = &[
    &["std", "fs"],
    &["std", "path"],
    &["std", "thread"],
    &["std", "time"],
    &["std", "env"],
    &["std", "net"],
    &["std", "process"],
    &["rayon"],
];

/// Files of commands that decide: as pure as the methods.
const DECIDING: [&str; 4] =
    ["cull/burst_verdict.rs", "cull/decide.rs", "cull/evidence.rs", "cull/unmarked.rs"];

fn may_use(from: &str, to: &str) -> bool {
    let place = |name: &str| METHODS.iter().position(|m| *m == name);
    if from == to || to == "core" || to == "error" {
        return from == to || !matches!(from, "core" | "error");
    }
    match from {
        "core" | "error" | "image" => false,
        "report" => to == "image",
        "store" => matches!(to, "image" | "optics" | "report"),
        "simulator" => matches!(to, "image" | "optics" | "noise"),
        "cli" => true,
        _ if METHODS.contains(&from) => place(to) < place(from) && place(to).is_some(),
        _ if COMMANDS.contains(&from) => {
            METHODS.contains(&to)
                || matches!(to, "image" | "store" | "report")
                || (COMMANDS.contains(&to) && READERS.contains(&from))
        }
        _ => false,
    }
}

/// The paths that a file names, each from the root of its crate (`crate::a::b` is `[a, b]`).
struct Names {
    /// The module in which the walk is.
    here: Vec<String>,
    inside: BTreeSet<Vec<String>>,
    outside: BTreeSet<Vec<String>>,
}

impl Names {
    fn of(text: &str, module: &[&str]) -> Names {
        let here = module.iter().map(|m| (*m).to_owned()).collect();
        let mut names = Names { here, inside: BTreeSet::new(), outside: BTreeSet::new() };
        names.visit_file(&syn::parse_file(text).unwrap());
        names
    }

    fn note(&mut self, path: &[String]) {
        let supers = path.iter().take_while(|p| *p == "super").count();
        match path.first().map(String::as_str) {
            Some("crate" | "stopwise") => {
                self.inside.insert(path[1..].to_vec());
            }
            Some("super") => {
                let kept = self.here.len().saturating_sub(supers);
                let whole = [&self.here[..kept], &path[supers..]].concat();
                self.inside.insert(whole);
            }
            Some("self") | None => {}
            Some(_) => {
                self.outside.insert(path.to_vec());
            }
        }
    }

    fn tree(&mut self, before: &[String], tree: &syn::UseTree) {
        let with = |name: &syn::Ident| [before, &[name.to_string()]].concat();
        match tree {
            syn::UseTree::Path(path) => self.tree(&with(&path.ident), &path.tree),
            syn::UseTree::Name(name) if name.ident == "self" => self.note(before),
            syn::UseTree::Name(name) => self.note(&with(&name.ident)),
            syn::UseTree::Rename(name) => self.note(&with(&name.ident)),
            syn::UseTree::Glob(_) => self.note(before),
            syn::UseTree::Group(group) => group.items.iter().for_each(|t| self.tree(before, t)),
        }
    }
}

fn is_test(item: &syn::ItemMod) -> bool {
    item.attrs.iter().any(|a| {
        a.path().is_ident("cfg") && a.parse_args::<syn::Ident>().is_ok_and(|i| i == "test")
    })
}

impl Visit<'_> for Names {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        // Tests may use what they like: they are not shipped.
        if !is_test(item) {
            self.here.push(item.ident.to_string());
            visit::visit_item_mod(self, item);
            self.here.pop();
        }
    }

    fn visit_item_use(&mut self, item: &syn::ItemUse) {
        self.tree(&[], &item.tree);
    }

    fn visit_path(&mut self, path: &syn::Path) {
        let path_text: Vec<String> = path.segments.iter().map(|s| s.ident.to_string()).collect();
        if path_text.len() > 1 {
            self.note(&path_text);
        }
        visit::visit_path(self, path);
    }

    /// Inside a macro's brackets there is no tree, only words.
    fn visit_macro(&mut self, mac: &syn::Macro) {
        let text = mac.tokens.to_string().replace(" :: ", "::");
        let is_part = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        for word in text.split(|c| !is_part(c)).filter(|w| w.contains("::")) {
            let path: Vec<String> = word.split("::").map(str::to_owned).collect();
            self.note(&path);
        }
        visit::visit_macro(self, mac);
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// A file below `src` by its name there, with the names in it.
fn names(file: &Path) -> (String, Names) {
    let name = file.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/");
    let module = name.trim_end_matches(".rs").trim_end_matches("/mod").to_owned();
    let module: Vec<&str> = module.split('/').collect();
    let text = fs::read_to_string(file).unwrap();
    (name.clone(), Names::of(&text, &module))
}

#[test]
fn folders_use_only_what_they_may() {
    let folders = [METHODS, COMMANDS, OTHERS].concat();
    let mut broken = BTreeSet::new();
    for folder in &folders {
        let files = sources(&root().join(folder));
        assert!(!files.is_empty(), "src/{folder} is empty");
        // Tests may use what they like, in a file of their own too.
        for file in files.into_iter().filter(|f| !f.ends_with("tests.rs")) {
            let (name, names) = names(&file);
            for path in names.inside {
                let Some(to) = path.first() else { continue };
                let ours = folders.contains(&to.as_str()) || to == "error";
                if ours && !may_use(folder, to) {
                    broken.insert((name.clone(), to.clone()));
                }
            }
        }
    }
    let left = LEFT.iter().map(|(file, to)| ((*file).to_owned(), (*to).to_owned())).collect();
    let new: Vec<_> = broken.difference(&left).collect();
    let gone: Vec<_> = left.difference(&broken).collect();
    assert!(new.is_empty() && gone.is_empty(), "new: {new:#?}\nto be struck from LEFT: {gone:#?}");
}

#[test]
fn every_folder_has_its_place() {
    let known = [METHODS, COMMANDS, OTHERS].concat();
    for entry in fs::read_dir(root()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        assert!(!path.is_dir() || known.contains(&name.as_str()), "src/{name} has no rule");
    }
}

/// Files of the program that use each other, directly or by way of others. `mod.rs`, which starts
/// every command and holds what they share, is left out.
#[test]
fn files_of_the_program_use_each_other_one_way() {
    let mut uses: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for file in sources(&root().join("cli")) {
        let (name, names) = names(&file);
        let name = name.trim_start_matches("cli/").trim_end_matches(".rs").to_owned();
        let inside = names.inside.into_iter().filter(|p| p.len() > 1 && p[0] == "cli");
        uses.insert(name, inside.map(|p| p[1].clone()).collect());
    }
    uses.remove("mod");
    assert!(uses.len() > 10, "{uses:?}");
    let files: BTreeSet<String> = uses.keys().cloned().collect();
    // Takes away, again and again, what uses none of those left.
    let mut left = files.clone();
    while let Some(free) = left.iter().find(|f| uses[*f].is_disjoint(&left)).cloned() {
        left.remove(&free);
    }
    assert!(left.is_empty(), "in a circle, or using one: {left:?}");
}

#[test]
fn methods_are_pure() {
    let folders = METHODS.iter().copied().chain(["ruler/reading"]);
    let files = folders.flat_map(|f| sources(&root().join(f)));
    for file in files.chain(DECIDING.map(|file| root().join(file))) {
        let (name, names) = names(&file);
        for path in names.outside {
            let is = |words: &&[&str]| words.iter().zip(&path).all(|(a, b)| a == b);
            let bad = IMPURE.iter().copied().find(|w| w.len() <= path.len() && is(w));
            assert!(bad.is_none(), "{name} names {}", path.join("::"));
        }
        let decodes = names.inside.iter().any(|path| path[0] == "image");
        assert!(!decodes, "{name} uses image");
        let text = fs::read_to_string(&file).unwrap();
        assert!(!text.contains("println!"), "{name} prints");
    }
}

#[test]
fn the_reader_of_names_sees_every_form() {
    let text = "
        use crate::{core::{Plane, Tone}, image::{self, clip::{ClipInfo, *}}, store as kept};
        use super::super::cull::judge;
        mod inner { use super::super::plan; }
        fn f(x: crate::limits::Group) -> bool { matches!(x, crate::marks::Mark { .. }) }
        #[cfg(test)] mod tests { use crate::review; }
        // use crate::compare;
    ";
    let names = Names::of(text, &["noise", "raw"]);
    let firsts: BTreeSet<&str> = names.inside.iter().map(|p| p[0].as_str()).collect();
    let want = ["core", "cull", "image", "limits", "marks", "noise", "store"];
    assert_eq!(firsts, BTreeSet::from(want), "`super::super::plan` in `inner` is noise::plan");
}

#[test]
fn the_rule_has_two_sides() {
    assert!(may_use("cull", "sharpness") && !may_use("sharpness", "cull"));
    assert!(may_use("tracking", "sharpness") && !may_use("sharpness", "tracking"));
    assert!(may_use("limits", "cull") && !may_use("compare", "cull"));
    assert!(may_use("store", "report") && !may_use("report", "store"));
    assert!(may_use("image", "core") && !may_use("core", "error"));
    assert!(!may_use("cull", "simulator") && may_use("cli", "simulator"));
}

/// Names of the items of a file that are no tests: types apart from the rest.
#[derive(Default)]
struct ItemNames {
    types: Vec<String>,
    constants: Vec<String>,
}

impl Visit<'_> for ItemNames {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        if !is_test(item) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item(&mut self, item: &syn::Item) {
        match item {
            syn::Item::Struct(i) => self.types.push(i.ident.to_string()),
            syn::Item::Enum(i) => self.types.push(i.ident.to_string()),
            syn::Item::Trait(i) => self.types.push(i.ident.to_string()),
            syn::Item::Type(i) => self.types.push(i.ident.to_string()),
            syn::Item::Const(i) => self.constants.push(i.ident.to_string()),
            syn::Item::Static(i) => self.constants.push(i.ident.to_string()),
            _ => {}
        }
        visit::visit_item(self, item);
    }
}

fn item_names() -> Vec<(String, ItemNames)> {
    let named = |file: &PathBuf| {
        let mut names = ItemNames::default();
        names.visit_file(&syn::parse_file(&fs::read_to_string(file).unwrap()).unwrap());
        (file.display().to_string(), names)
    };
    sources(&root()).iter().map(named).collect()
}

#[test]
fn no_type_name_is_used_twice() {
    let mut first: BTreeMap<String, String> = BTreeMap::new();
    for (file, names) in item_names() {
        for name in names.types {
            if let Some(other) = first.insert(name.clone(), file.clone()) {
                panic!("{name} is in {other} and in {file}");
            }
        }
    }
    assert!(first.len() > 400, "only {} types were found", first.len());
}

#[test]
fn bounds_are_called_min_and_max() {
    let mut seen = 0;
    for (file, names) in item_names() {
        for name in names.constants {
            seen += usize::from(name.split('_').any(|w| matches!(w, "MIN" | "MAX")));
            let is_old = name.split('_').any(|w| matches!(w, "MOST" | "LEAST"));
            assert!(!is_old, "{name} in {file}: call it MIN_ or MAX_");
        }
    }
    assert!(seen > 50, "only {seen} bounds were found");
}

/// Words that a file compares: both sides of `==` and `!=`, and patterns.
#[derive(Default)]
struct ComparedWords(Vec<String>);

impl ComparedWords {
    fn note(&mut self, expr: &syn::Expr) {
        if let syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(word), .. }) = expr {
            self.0.push(word.value());
        }
    }
}

impl Visit<'_> for ComparedWords {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        if !is_test(item) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_expr_binary(&mut self, expr: &syn::ExprBinary) {
        if matches!(expr.op, syn::BinOp::Eq(_) | syn::BinOp::Ne(_)) {
            self.note(&expr.left);
            self.note(&expr.right);
        }
        visit::visit_expr_binary(self, expr);
    }

    fn visit_pat(&mut self, pat: &syn::Pat) {
        if let syn::Pat::Lit(syn::PatLit { lit: syn::Lit::Str(word), .. }) = pat {
            self.0.push(word.value());
        }
        visit::visit_pat(self, pat);
    }

    /// `matches!` has no tree: its words are its literals.
    fn visit_macro(&mut self, mac: &syn::Macro) {
        if mac.path.is_ident("matches") {
            let text = mac.tokens.to_string();
            self.0.extend(text.split('"').skip(1).step_by(2).map(str::to_owned));
        }
        visit::visit_macro(self, mac);
    }
}

#[test]
fn verdicts_and_causes_are_compared_as_enums() {
    use stopwise::core::verdict::{Cause, Verdict};
    let words: BTreeSet<&str> =
        Verdict::ALL.map(Verdict::word).into_iter().chain(Cause::ALL.map(Cause::word)).collect();
    let compared = |text: &str| {
        let mut compared = ComparedWords::default();
        compared.visit_file(&syn::parse_file(text).unwrap());
        compared.0
    };
    assert_eq!(
        compared(r#"fn f(w: &str) -> bool { w == "a" || matches!(w, "b" | "c") }"#),
        ["a", "b", "c"]
    );
    assert_eq!(compared(r#"fn f(w: &str) -> u8 { match w { "d" => 1, _ => 0 } }"#), ["d"]);
    for file in sources(&root()) {
        if file.ends_with("core/verdict.rs") {
            continue;
        }
        for word in compared(&fs::read_to_string(&file).unwrap()) {
            assert!(!words.contains(word.as_str()), "{word:?} is compared in {}", file.display());
        }
    }
}

/// The first segments of paths in a file, tests included, that the file does not itself declare or
/// bring in: names of other crates.
#[derive(Default)]
struct CrateNames {
    first: BTreeSet<String>,
    own: BTreeSet<String>,
}

impl CrateNames {
    fn imported(&mut self, tree: &syn::UseTree) {
        match tree {
            syn::UseTree::Path(path) => self.imported(&path.tree),
            syn::UseTree::Name(name) => drop(self.own.insert(name.ident.to_string())),
            syn::UseTree::Rename(name) => drop(self.own.insert(name.rename.to_string())),
            syn::UseTree::Group(group) => group.items.iter().for_each(|t| self.imported(t)),
            syn::UseTree::Glob(_) => {}
        }
    }

    fn first_of(&mut self, tree: &syn::UseTree) {
        match tree {
            syn::UseTree::Path(path) => {
                self.first.insert(path.ident.to_string());
                self.imported(&path.tree);
            }
            syn::UseTree::Group(group) => group.items.iter().for_each(|t| self.first_of(t)),
            _ => {}
        }
    }
}

impl Visit<'_> for CrateNames {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        self.own.insert(item.ident.to_string());
        visit::visit_item_mod(self, item);
    }

    fn visit_item_use(&mut self, item: &syn::ItemUse) {
        self.first_of(&item.tree);
    }

    fn visit_path(&mut self, path: &syn::Path) {
        if path.segments.len() > 1 {
            self.first.insert(path.segments[0].ident.to_string());
        }
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, mac: &syn::Macro) {
        self.note_words(&mac.tokens.to_string());
        visit::visit_macro(self, mac);
    }

    /// `#[derive(a::B)]`.
    fn visit_attribute(&mut self, attribute: &syn::Attribute) {
        if let syn::Meta::List(list) = &attribute.meta {
            self.note_words(&list.tokens.to_string());
        }
        visit::visit_attribute(self, attribute);
    }
}

impl CrateNames {
    /// Inside brackets without a tree there are only words.
    fn note_words(&mut self, tokens: &str) {
        let text = tokens.replace(" :: ", "::");
        let is_part = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        let words = text.split(|c| !is_part(c)).filter_map(|w| w.split_once("::"));
        self.first.extend(words.map(|(first, _)| first.to_owned()));
    }
}

fn crates_named_in(text: &str) -> BTreeSet<String> {
    let mut names = CrateNames::default();
    names.visit_file(&syn::parse_file(text).unwrap());
    names.first.difference(&names.own).cloned().collect()
}

#[test]
fn every_dependency_is_used() {
    let place = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut named = BTreeSet::new();
    for folder in ["src", "tests/all", "benches"] {
        for file in sources(&place.join(folder)) {
            named.extend(crates_named_in(&fs::read_to_string(file).unwrap()));
        }
    }
    let manifest = fs::read_to_string(place.join("Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let mut tables = vec![&manifest];
    let targets = manifest["target"].as_table().unwrap();
    tables.extend(targets.values().map(|t| t.as_table().unwrap()));
    let wanted: BTreeSet<&String> = tables
        .iter()
        .flat_map(|t| [t.get("dependencies"), t.get("dev-dependencies")])
        .flatten()
        .flat_map(|t| t.as_table().unwrap().keys())
        .collect();
    assert!(wanted.len() > 40, "only {} dependencies were found", wanted.len());
    for name in wanted {
        // Its library has another name.
        let library = if name == "kamadak-exif" { "exif" } else { name };
        let library = library.replace('-', "_");
        assert!(named.contains(&library), "{name} is in Cargo.toml, but no source names it");
    }
    // The test has two sides: a module or an imported item of a crate's name is no use of it.
    let of = |text| crates_named_in(text).contains("open");
    assert!(of("fn f() { open::that(1) }") && of("use open::that;") && of("x!(open::that(1));"));
    assert!(!of("mod open; use open::load;") && !of("use super::open; fn f() { open::load() }"));
}

/// Texts of a file outside its tests: string literals, and what stands in macros and attributes,
/// of which there is no tree. Comments are none, nor are those for the documentation.
#[derive(Default)]
struct LibraryTexts(Vec<String>);

impl Visit<'_> for LibraryTexts {
    fn visit_item_mod(&mut self, item: &syn::ItemMod) {
        if !is_test(item) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_lit_str(&mut self, text: &syn::LitStr) {
        self.0.push(text.value());
    }

    fn visit_macro(&mut self, mac: &syn::Macro) {
        self.0.push(mac.tokens.to_string());
    }

    fn visit_attribute(&mut self, attribute: &syn::Attribute) {
        if let syn::Meta::List(list) = &attribute.meta {
            self.0.push(list.tokens.to_string());
        }
    }
}

pub fn library_texts(text: &str) -> Vec<String> {
    let mut texts = LibraryTexts::default();
    texts.visit_file(&syn::parse_file(text).unwrap());
    texts.0
}

/// The options that a text names: "--" before a letter, at the start or behind anything but a
/// letter, a bracket or another "-" (a custom property of CSS is none).
fn options_in(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    for (i, _) in text.match_indices("--") {
        let before = text[..i].chars().next_back();
        let after = &text[i + 2..];
        let is_start = before.is_none_or(|c| !(c.is_alphanumeric() || matches!(c, '-' | '(')));
        let in_brackets = before == Some('(') && !text[..i].ends_with("var(");
        if after.starts_with(|c: char| c.is_ascii_lowercase()) && (is_start || in_brackets) {
            let end = after.find(|c: char| !(c.is_ascii_lowercase() || c == '-'));
            found.push(&text[i..i + 2 + end.unwrap_or(after.len())]);
        }
    }
    found
}

/// Files that name an option outside `sentences.rs`. The list must be exact.
const NAMES_OPTIONS: &[(&str, &str)] = &[];

#[test]
fn no_option_in_library_text() {
    let mut found = BTreeSet::new();
    let mut sentences = 0;
    for file in sources(&root()) {
        let name = file.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/");
        let is_tests = name.ends_with("tests.rs") || name.contains("/tests/");
        if name.starts_with("cli/") || name.starts_with("simulator/") || is_tests {
            continue;
        }
        let texts = library_texts(&fs::read_to_string(&file).unwrap());
        let options = texts.iter().flat_map(|text| options_in(text));
        if name.ends_with("/sentences.rs") {
            sentences += options.count();
        } else {
            found.extend(options.map(|option| (name.clone(), option.to_owned())));
        }
    }
    assert!(sentences > 10, "only {sentences} options were found in sentences");
    let left: BTreeSet<(String, String)> = NAMES_OPTIONS
        .iter()
        .map(|(file, option)| ((*file).to_owned(), (*option).to_owned()))
        .collect();
    let new: Vec<_> = found.difference(&left).collect();
    let gone: Vec<_> = left.difference(&found).collect();
    assert!(new.is_empty() && gone.is_empty(), "new: {new:#?}\nto be struck: {gone:#?}");
}

#[test]
fn the_finder_of_options_has_two_sides() {
    let texts = library_texts(
        r##"
        //! Not --this.
        #[error("give --first")]
        const A: &str = "give --second-one.";
        fn f() -> String { format!("{} (--third)", "x") }
        #[cfg(test)] mod tests { const B: &str = "--fourth"; }
        "##,
    );
    let found: BTreeSet<&str> = texts.iter().flat_map(|t| options_in(t)).collect();
    assert_eq!(found, BTreeSet::from(["--first", "--second-one", "--third"]));
    assert_eq!(options_in("background:var(--ground); a -- b; c--d"), [""; 0]);
}

/// Names of the variants of a file's enums, as they are written: `Enum::Variant`.
#[derive(Default)]
struct Variants(BTreeSet<String>);

impl Visit<'_> for Variants {
    fn visit_item_enum(&mut self, item: &syn::ItemEnum) {
        let variants = item.variants.iter().map(|v| format!("{}::{}", item.ident, v.ident));
        self.0.extend(variants);
    }
}

/// Files with findings as data, and how many kinds of them there are at least.
const FINDINGS: [(&str, usize); 6] =
    [("body_noise", 4), ("clips", 16), ("compare", 20), ("cull", 25), ("limits", 17), ("ruler", 8)];

#[test]
fn every_finding_has_a_row_in_the_test_of_its_sentences() {
    for (folder, at_least) in FINDINGS {
        let file = root().join(folder).join("findings.rs");
        let mut variants = Variants::default();
        variants.visit_file(&syn::parse_file(&fs::read_to_string(file).unwrap()).unwrap());
        let text = fs::read_to_string(root().join(folder).join("sentences.rs")).unwrap();
        let (sentences, tests) = text.split_once("#[cfg(test)]").unwrap();
        // Advice follows from the finding: its row is that of the finding.
        let is_advice = |name: &&String| name.split("::").next().unwrap().ends_with("Advice");
        let (advice, findings): (Vec<&String>, Vec<&String>) =
            variants.0.iter().partition(is_advice);
        assert!(findings.len() >= at_least, "{folder} has {findings:?}");
        assert!(!advice.is_empty(), "{folder} has no advice");
        for name in findings {
            assert!(tests.contains(name.as_str()), "{name} of {folder} has no row");
        }
        for name in advice {
            assert!(sentences.contains(name.as_str()), "{name} of {folder} has no sentence");
        }
    }
}
