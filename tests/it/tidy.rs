//! The order of the source: who may use whom, where outside crates are named, how long files are.

mod cycles;
mod functions;
mod names;
mod units;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Modules in layers; each may use those of the layers before its own.
const LAYERS: &[&[&str]] = &[
    &["system", "text", "quantity", "rounding", "numerics"],
    &["measured", "exposure", "frame", "safety", "tiff"],
    &["reduce", "profile"],
    &["shoot_file", "body_record", "caution", "levels", "kit"],
    &["read", "write"],
    &["simulate", "kit_folder"],
    &["shoot"],
    &["measure"],
    &["compare", "field", "editing"],
    &["say"],
    &["report"],
    &["cli"],
    &["error"],
    &["commands"],
    &["window"],
];

/// Who may use the rim, where files and simulated worlds are: nobody that is a pure function.
const RIM: &[(&str, &[&str])] = &[
    ("read", &["kit_folder", "error", "cli", "commands", "window"]),
    ("write", &["simulate", "kit_folder", "error", "commands", "window"]),
    ("kit_folder", &["error", "commands", "window"]),
    ("simulate", &["error", "commands"]),
];

/// What a module may use although its layer would allow more.
const NARROW: &[(&str, &[&str])] = &[
    (
        "read",
        &[
            "system",
            "text",
            "quantity",
            "exposure",
            "frame",
            "tiff",
            "reduce",
            "profile",
            "shoot_file",
        ],
    ),
    ("write", &["system", "text", "quantity", "frame", "tiff", "reduce", "profile", "shoot_file"]),
    ("simulate", &["quantity", "exposure", "frame", "reduce", "shoot_file", "write"]),
];

/// The files (by the start of their path under `src`) that may name an outside crate.
const CRATES: &[(&str, &[&str])] = &[
    ("askama", &["report", "error", "window"]),
    ("axum", &["window"]),
    ("bytemuck", &["frame", "read"]),
    ("clap", &["cli", "commands", "main", "window"]),
    ("clap_complete", &["cli", "commands"]),
    ("clap_mangen", &["cli", "commands"]),
    ("comfy_table", &["report", "commands"]),
    ("csv", &["editing"]),
    ("data_encoding", &["report"]),
    ("etcetera", &["kit_folder"]),
    ("fearless_simd", &["read", "reduce"]),
    ("futures_util", &["window"]),
    ("hyper", &["window"]),
    ("hyper_util", &["window"]),
    ("image", &["read", "write"]),
    ("indicatif", &["commands"]),
    ("memchr", &["read"]),
    ("moxcms", &["editing"]),
    ("nalgebra", &["numerics", "measure", "compare", "editing"]),
    ("opener", &["commands", "window"]),
    ("palette", &["measure", "read", "write", "editing", "report", "commands"]),
    ("plotters", &["report"]),
    ("rand", &["simulate", "read", "window"]),
    ("rand_chacha", &["simulate", "read"]),
    ("rand_distr", &["simulate"]),
    ("rawler", &["read", "write"]),
    ("rawloader", &["read"]),
    ("rlimit", &["read", "commands"]),
    ("roxmltree", &["editing"]),
    ("sha2", &["read", "commands"]),
    ("statrs", &["measured", "measure", "simulate", "editing"]),
    ("tempfile", &["write"]),
    ("tokio", &["window"]),
];

/// Most lines of a file without its tests, and the files that are longer for a reason.
const MOST_LINES: usize = 400;
const LONG: &[(&str, usize, &str)] = &[
    ("caution.rs", 470, "the table of cautions, each with its words"),
    ("profile.rs", 480, "the whole document in one place, as its readers look it up"),
    ("write/dng.rs", 410, "all tags of a file in the order in which they are written"),
];

const TOP: &[&str] = &[
    ".ci/run",
    "Cargo.lock",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "LICENSES/LGPL-2.1.txt",
    "THIRD-PARTY.md",
    "benches",
    "checks/README.md",
    "fixtures",
    "src",
    "testing",
    "tests",
];

struct Source {
    /// Under `src`, with `/`.
    path: String,
    /// Without its unit tests.
    text: String,
    /// Without its unit tests and comments.
    code: String,
    lines: usize,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files_under(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder of the package") {
        let path = entry.expect("an entry").path();
        if path.is_dir() { found.extend(files_under(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}

fn sources() -> Vec<Source> {
    let folder = root().join("src");
    let found: Vec<Source> = files_under(&folder)
        .iter()
        .filter(|p| p.extension().is_some_and(|e| e == "rs"))
        // Files of unit tests may use whatever plants the truth.
        .filter(|p| !p.file_stem().is_some_and(|s| s == "tests" || s == "testing"))
        .map(|p| {
            let text = fs::read_to_string(p).expect("source is UTF-8");
            let path = p.strip_prefix(&folder).expect("under src").to_string_lossy();
            let body = without_tests(&text);
            let no_comment = |line: &&str| !line.trim_start().starts_with("//");
            Source {
                path: path.replace('\\', "/"),
                text: body.to_owned(),
                code: body.lines().filter(no_comment).collect::<Vec<_>>().join("\n"),
                lines: body.lines().count(),
            }
        })
        .collect();
    assert!(found.len() > 20, "only {} files found", found.len());
    found
}

/// Unit tests stand at the end of a file.
fn without_tests(text: &str) -> &str {
    ["#[cfg(test)]\nmod tests {", "#[cfg(test)]\n#[allow(clippy::unwrap_used)]\nmod tests {"]
        .iter()
        .filter_map(|mark| text.find(mark))
        .min()
        .map_or(text, |at| &text[..at])
}

fn module_of(path: &str) -> &str {
    path.split(['/', '.']).next().unwrap_or(path)
}

/// Names that follow `crate::`, braces of one level opened.
fn used_modules(code: &str) -> BTreeSet<String> {
    let name = |s: &str| s.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    let mut found = BTreeSet::new();
    for (at, mark) in code.match_indices("crate::") {
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '$') {
            continue;
        }
        let rest = &code[at + mark.len()..];
        match rest.strip_prefix('{') {
            Some(list) => {
                let list = &list[..list.find(';').unwrap_or(list.len())];
                let mut depth = 0;
                for part in list.split_inclusive([',', '{', '}']) {
                    if depth == 0 {
                        found.insert(name(part.trim_start()));
                    }
                    depth += i32::from(part.ends_with('{')) - i32::from(part.ends_with('}'));
                }
            }
            None => _ = found.insert(name(rest)),
        }
    }
    found.retain(|n: &String| n.starts_with(|c: char| c.is_ascii_lowercase()));
    found
}

fn layer(module: &str) -> Option<usize> {
    LAYERS.iter().position(|names| names.contains(&module))
}

#[test]
fn modules_use_only_those_before_them() {
    let mut faults = Vec::new();
    for source in sources() {
        let module = module_of(&source.path);
        if module == "lib" || module == "main" {
            continue;
        }
        let Some(own) = layer(module) else {
            faults.push(format!("{} stands in no layer", source.path));
            continue;
        };
        for used in used_modules(&source.code).iter().filter(|u| *u != module) {
            let before = layer(used).is_some_and(|l| l < own);
            let rim =
                RIM.iter().find(|(n, _)| n == used).is_none_or(|(_, by)| by.contains(&module));
            let narrow = NARROW
                .iter()
                .find(|(n, _)| *n == module)
                .is_none_or(|(_, may)| may.contains(&used.as_str()));
            if !(before && rim && narrow) {
                faults.push(format!("{} uses {used}", source.path));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_scan_sees_what_is_used() {
    let code = "use crate::frame::{Area, cfa::Cfa};\nuse crate::{quantity::{Stops, Iso}, measure};\n\
                let x = crate::shoot::sort(); pub(crate) fn f() {}";
    let found: Vec<String> = used_modules(code).into_iter().collect();
    assert_eq!(found, ["frame", "measure", "quantity", "shoot"]);
}

#[test]
fn outside_crates_are_named_where_they_belong() {
    let mut faults = Vec::new();
    for source in sources() {
        for (name, places) in CRATES {
            let path = format!("{name}::");
            let named = source.code.match_indices(&path).any(|(at, _)| {
                !source.code[..at].ends_with(|c: char| c.is_alphanumeric() || "_:.".contains(c))
            });
            if named && !places.contains(&module_of(&source.path)) {
                faults.push(format!("{} names {name}", source.path));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn files_stay_short() {
    let mut faults = Vec::new();
    for source in sources() {
        let most = LONG.iter().find(|l| l.0 == source.path).map_or(MOST_LINES, |l| l.1);
        if source.lines > most {
            faults.push(format!("{} has {} lines, at most {most}", source.path, source.lines));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn nothing_is_left_for_later() {
    // Spelt apart, so that this file does not find itself.
    let marks = [["TO", "DO"].concat(), ["FIX", "ME"].concat(), ["XX", "X"].concat()];
    let mut faults = Vec::new();
    for folder in ["src", "tests", "benches", "checks", "testing", "templates"] {
        let folder = root().join(folder);
        if !folder.is_dir() {
            continue;
        }
        for file in files_under(&folder) {
            // Packages that the browser checks installed are not ours.
            if file.components().any(|part| part.as_os_str() == "node_modules") {
                continue;
            }
            let Ok(text) = fs::read_to_string(&file) else { continue };
            if marks.iter().any(|m| text.contains(m.as_str())) {
                faults.push(file.display().to_string());
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_top_level_is_complete() {
    let missing: Vec<&&str> = TOP.iter().filter(|name| !root().join(name).exists()).collect();
    assert!(missing.is_empty(), "missing: {missing:?}");
}
