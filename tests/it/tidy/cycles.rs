//! No two files of the source use each other, at any distance.

use super::{Source, sources};
use std::collections::{BTreeMap, BTreeSet};

/// A module's path, `measure/map` for `measure/map.rs`.
type Name = Vec<String>;
type Graph = BTreeMap<Name, BTreeSet<Name>>;

fn name_of(source: &Source) -> Name {
    source.path.trim_end_matches(".rs").split('/').map(str::to_owned).collect()
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// Every path that a `use` tree names, as its words.
fn leaves(before: &[&str], tree: &str, found: &mut BTreeSet<Vec<String>>) {
    let tree = tree.trim();
    let (head, list) = match tree.split_once('{') {
        Some((head, list)) => (head, list.strip_suffix('}')),
        None => (tree.split(" as ").next().unwrap_or(tree), None),
    };
    let path: Vec<&str> =
        before.iter().copied().chain(head.split("::").filter(|w| !w.is_empty())).collect();
    let Some(list) = list else {
        found.insert(path.iter().map(|w| (*w).to_owned()).collect());
        return;
    };
    let (mut depth, mut from) = (0, 0);
    for (at, c) in list.char_indices() {
        depth += i32::from(c == '{') - i32::from(c == '}');
        if c == ',' && depth == 0 {
            leaves(&path, &list[from..at], found);
            from = at + 1;
        }
    }
    if !list[from..].trim().is_empty() {
        leaves(&path, &list[from..], found);
    }
}

/// Paths of `use` trees, and those that begin with `crate` or `super` anywhere else.
fn paths(code: &str) -> BTreeSet<Vec<String>> {
    let mut found = BTreeSet::new();
    for statement in code.split(';') {
        let line = statement.rsplit_once("\nuse ").or_else(|| statement.rsplit_once("\npub use "));
        let line = line.or_else(|| statement.rsplit_once(" use "));
        if let Some((_, tree)) = line.or_else(|| Some(("", statement.strip_prefix("use ")?))) {
            leaves(&[], tree, &mut found);
        }
    }
    for first in ["crate::", "super::"] {
        for (at, _) in code.match_indices(first) {
            let path = code[at..].split(|c| !is_word(c) && c != ':').next().unwrap_or("");
            if !code[..at].ends_with(|c: char| is_word(c) || c == ':') {
                found.insert(
                    path.split("::").filter(|w| !w.is_empty()).map(str::to_owned).collect(),
                );
            }
        }
    }
    found
}

/// The file that a path leads into, seen from a module.
fn file_of(own: &Name, path: &[String], all: &BTreeSet<Name>) -> Option<Name> {
    let ups = path.iter().take_while(|w| *w == "super").count();
    let (start, rest): (&[String], _) = match path.first()?.as_str() {
        "crate" => (&[], &path[1..]),
        "super" => (&own[..own.len().checked_sub(ups)?], &path[ups..]),
        "self" => (own, &path[1..]),
        _ => (own, path),
    };
    let whole: Name = start.iter().chain(rest).cloned().collect();
    let shortest = start.len().max(1);
    (shortest..=whole.len()).rev().map(|n| whole[..n].to_vec()).find(|name| all.contains(name))
}

/// Who uses whom; a module and those within it are one house, and not looked at.
fn graph(sources: &[Source]) -> Graph {
    let all: BTreeSet<Name> = sources.iter().map(name_of).collect();
    let related = |a: &Name, b: &Name| a.starts_with(b) || b.starts_with(a);
    let edges = |source: &Source| {
        let own = name_of(source);
        let used = paths(&source.code).into_iter().filter_map(|p| file_of(&own, &p, &all));
        (own.clone(), used.filter(|u| !related(u, &own)).collect())
    };
    sources.iter().map(edges).collect()
}

/// All that can be reached from a module.
fn reached(from: &Name, graph: &Graph) -> BTreeSet<Name> {
    let (mut found, mut waiting) = (BTreeSet::new(), vec![from]);
    while let Some(name) = waiting.pop() {
        for next in graph.get(name).into_iter().flatten() {
            if found.insert(next.clone()) {
                waiting.push(next);
            }
        }
    }
    found
}

fn in_cycles(graph: &Graph) -> Vec<String> {
    let within = graph.keys().filter(|name| reached(name, graph).contains(*name));
    within.map(|name| name.join("/")).collect()
}

#[test]
fn no_file_uses_itself_through_others() {
    let found = in_cycles(&graph(&sources()));
    assert!(found.is_empty(), "in a cycle: {found:?}");
}

#[test]
fn a_cycle_is_seen() {
    let source = |path: &str, code: &str| Source {
        path: path.into(),
        text: code.into(),
        code: code.into(),
        lines: 1,
    };
    let files = [
        source("a.rs", "pub mod x;\nuse crate::b::{self, y::Of};\n"),
        source("a/x.rs", "fn f() -> super::A { crate::c::g() }"),
        source("b.rs", "pub mod y;"),
        source("b/y.rs", "use crate::a::{x::{F, G}, A};"),
        source("c.rs", "fn f() { d::g() }"),
    ];
    let graph = graph(&files);
    let of = |name: &str| graph[&name.split('/').map(str::to_owned).collect::<Name>()].clone();
    assert_eq!(of("a").len(), 2, "{:?}", of("a"));
    assert_eq!(in_cycles(&graph), ["a", "b/y"]);
}
