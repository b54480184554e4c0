//! A name of a type means one thing within a layer.

use super::{LAYERS, Source, module_of, sources};
use std::collections::BTreeMap;

/// Names of the types that a file declares for itself or others; what stands within a function or
/// a trait begins further right.
fn types(source: &Source) -> impl Iterator<Item = &str> {
    source.code.lines().filter_map(|line| {
        let visible = line
            .strip_prefix("pub ")
            .or_else(|| Some(line.strip_prefix("pub(")?.split_once(") ")?.1));
        let declared = visible.unwrap_or(line);
        let kinds = ["struct ", "enum ", "trait ", "type "];
        let name = kinds.iter().find_map(|kind| declared.strip_prefix(kind))?;
        name.split(|c: char| !c.is_alphanumeric() && c != '_').next()
    })
}

#[test]
fn a_type_name_is_used_once_within_a_layer() {
    let sources = sources();
    let mut faults = Vec::new();
    for layer in LAYERS {
        let mut seen: BTreeMap<&str, &str> = BTreeMap::new();
        for source in sources.iter().filter(|s| layer.contains(&module_of(&s.path))) {
            for name in types(source) {
                if let Some(other) = seen.insert(name, &source.path) {
                    faults.push(format!("{name} in {other} and in {}", source.path));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn declared_types_are_seen() {
    let code =
        "pub struct A<T>(T);\npub(crate) enum Be {}\ntype C = u8;\nimpl X {\n    type D = u8;\n}";
    let source = Source { path: "a.rs".into(), text: code.into(), code: code.into(), lines: 1 };
    assert_eq!(types(&source).collect::<Vec<_>>(), ["A", "Be", "C"]);
}
