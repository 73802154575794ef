//! Files and functions stay short.

use std::collections::BTreeSet;
use std::fs;

use proc_macro2::Span;
use syn::visit::{self, Visit};

use super::{root, sources};

/// Lines of a file must stay below this.
const MAX_FILE_LINES: usize = 600;
/// Lines of a function must stay below this, from its `fn` to its last brace.
const MAX_FUNCTION_LINES: usize = 90;

/// Functions that are longer, and why. The list must be exact, so that it can only become shorter.
const LONG: &[(&str, &str, &str)] =
    &[("clips/sentences.rs", "message", "one sentence for each finding")];

/// Functions with their lines.
#[derive(Default)]
struct FunctionLines(Vec<(String, usize)>);

impl FunctionLines {
    fn note(&mut self, signature: &syn::Signature, block: &syn::Block) {
        let start: Span = signature.fn_token.span;
        let (from, to) = (start.start().line, block.brace_token.span.close().end().line);
        self.0.push((signature.ident.to_string(), to + 1 - from));
    }

    fn of(text: &str) -> Vec<(String, usize)> {
        let mut lines = FunctionLines::default();
        lines.visit_file(&syn::parse_file(text).unwrap());
        lines.0
    }
}

impl Visit<'_> for FunctionLines {
    fn visit_item_fn(&mut self, item: &syn::ItemFn) {
        self.note(&item.sig, &item.block);
        visit::visit_item_fn(self, item);
    }

    fn visit_impl_item_fn(&mut self, item: &syn::ImplItemFn) {
        self.note(&item.sig, &item.block);
        visit::visit_impl_item_fn(self, item);
    }

    fn visit_trait_item_fn(&mut self, item: &syn::TraitItemFn) {
        if let Some(block) = &item.default {
            self.note(&item.sig, block);
        }
        visit::visit_trait_item_fn(self, item);
    }
}

#[test]
fn lines_of_functions_are_counted() {
    let text = "/// Doc.\n#[test]\nfn a() {}\nimpl T {\n  fn b(\n  ) -> u8 {\n    fn c() {\n    }\n    1\n  }\n}\n\
                trait D { fn d(); fn e() {\n} }\n";
    let named = |name: &str, lines| (name.to_owned(), lines);
    assert_eq!(
        FunctionLines::of(text),
        [named("a", 1), named("b", 6), named("c", 2), named("e", 2)]
    );
}

#[test]
fn files_and_functions_are_short() {
    let (mut files, mut functions) = (0, 0);
    let mut long = BTreeSet::new();
    for file in sources(&root()) {
        let name = file.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/");
        let text = fs::read_to_string(&file).unwrap();
        let lines = text.lines().count();
        assert!(lines < MAX_FILE_LINES, "src/{name} has {lines} lines");
        files += 1;
        for (function, lines) in FunctionLines::of(&text) {
            functions += 1;
            if lines >= MAX_FUNCTION_LINES {
                long.insert((name.clone(), function));
            }
        }
    }
    assert!(files > 200 && functions > 1000, "{functions} functions in {files} files were seen");
    let left = LONG.iter().map(|(file, function, _)| ((*file).into(), (*function).into()));
    let left: BTreeSet<(String, String)> = left.collect();
    let new: Vec<_> = long.difference(&left).collect();
    let gone: Vec<_> = left.difference(&long).collect();
    assert!(new.is_empty() && gone.is_empty(), "new: {new:#?}\nto be struck from LONG: {gone:#?}");
}
