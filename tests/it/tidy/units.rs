//! Every public float says what it counts: in its name, in its comment, or in that of its type.

use super::{Source, sources};

/// Ends of names that are units.
const NAMES: &[&str] = &[
    "s",
    "ms",
    "minutes",
    "mm",
    "nm",
    "px",
    "pt",
    "k",
    "hz",
    "stops",
    "counts",
    "degrees",
    "percent",
    "mired",
    "share",
    "ratio",
    "factor",
    "electrons",
    "sigma",
    "dof",
    "megapixels",
];

/// Words of comments that are units, or say that there is none; with or without an s.
const WORDS: &[&str] = &[
    "%",
    "cell",
    "chromaticity",
    "count",
    "degree",
    "density",
    "deviation",
    "diagonal",
    "duv",
    "electron",
    "factor",
    "gain",
    "hertz",
    "hour",
    "iso",
    "kelvin",
    "millimetre",
    "minute",
    "mired",
    "mm",
    "multiplier",
    "nanometre",
    "odd",
    "part",
    "percent",
    "pixel",
    "point",
    "probability",
    "radian",
    "ratio",
    "rgb",
    "second",
    "share",
    "stop",
    "time",
    "transmittance",
    "xyz",
    "year",
    "weight",
];
/// The same of several words.
const PHRASES: &[&str] = &[
    "0 to 1",
    "0..1",
    "1 is",
    "apex",
    "cie 1960",
    "cielab",
    "f-number",
    "full scale",
    "green = 1",
    "half the height",
    "number of",
    "refractive index",
    "relative to",
    "standard normal",
    "unit",
];

/// The public floats of a file whose unit is nowhere.
fn unnamed(source: &Source) -> Vec<String> {
    let lines: Vec<&str> = source.text.lines().collect();
    let mut found = Vec::new();
    let (mut of_type, mut hidden, mut types) = (String::new(), false, Vec::new());
    for (at, line) in lines.iter().enumerate() {
        let text = line.trim_start();
        // What a type that is not public holds is not public either.
        hidden = match *line {
            "}" => false,
            _ if line.starts_with("struct ") || line.starts_with("pub(") => {
                let name =
                    line.split("struct ").nth(1).and_then(|s| s.split([' ', '<', '(']).next());
                types.extend(name);
                name.is_some() && line.ends_with('{')
            }
            _ if line.starts_with("impl") => {
                types.iter().any(|t| line.split([' ', '<']).any(|word| word == *t))
            }
            _ => hidden,
        };
        if text.starts_with("pub struct") || text.starts_with("pub enum") {
            of_type = comment(&lines, at);
        }
        let Some((name, kind)) = public(text) else { continue };
        let float = (kind.contains("f64") || kind.contains("f32")) && !kind.starts_with("impl Fn");
        // An aperture is a number of its own kind.
        let aperture = ["f", "f_number", "f_numbers"].contains(&name);
        let last = name.rsplit('_').next().unwrap_or(name).to_lowercase();
        let field = line.starts_with("    ") && !text.contains("fn ");
        let said = comment(&lines, at) + if field { &of_type } else { "" };
        if float && !hidden && !aperture && !NAMES.contains(&last.as_str()) && !names_a_unit(&said)
        {
            found.push(format!("{}:{}: {name}", source.path, at + 1));
        }
    }
    found
}

fn names_a_unit(comment: &str) -> bool {
    let mut words = comment.split(|c: char| !c.is_alphanumeric() && c != '%');
    words.any(|w| WORDS.contains(&w) || w.strip_suffix('s').is_some_and(|w| WORDS.contains(&w)))
        || PHRASES.iter().any(|p| comment.contains(p))
}

/// Name and type of a public field, constant, or function's result.
fn public(text: &str) -> Option<(&str, &str)> {
    let rest = text.strip_prefix("pub ")?;
    let word = |s: &'static str| rest.strip_prefix(s);
    if let Some(rest) = word("fn ").or_else(|| word("const fn ")) {
        let kind = rest.split_once(" -> ").map_or("", |(_, kind)| kind);
        return Some((rest.split(['(', '<']).next()?, kind));
    }
    let rest = word("const ").or_else(|| word("static ")).unwrap_or(rest);
    let (name, kind) = rest.split_once(": ")?;
    let plain = name.chars().all(|c| c.is_alphanumeric() || c == '_');
    plain.then(|| (name, kind.split(" = ").next().unwrap_or(kind)))
}

/// The comment above a line, in small letters.
fn comment(lines: &[&str], at: usize) -> String {
    let above = lines[..at].iter().rev().map(|l| l.trim_start());
    let above = above.take_while(|l| l.starts_with("///") || l.starts_with("#["));
    above.fold(String::new(), |all, l| format!("{} {all}", l.to_lowercase()))
}

#[test]
fn every_public_float_names_its_unit() {
    let faults: Vec<String> = sources().iter().flat_map(unnamed).collect();
    assert!(faults.is_empty(), "say the unit of:\n{}", faults.join("\n"));
}

#[test]
fn a_float_without_a_unit_is_seen() {
    let text = "pub struct A {\n    /// How long.\n    pub b: f64,\n    /// Stops.\n    pub c: f64,\n    \
                pub d_mm: [f64; 2],\n    pub e: u8,\n}\npub(super) struct H {\n    pub h: f64,\n}\n/// Its size.\npub fn g(x: u8) -> f64 {\n";
    let source = Source { path: "a.rs".into(), text: text.into(), code: text.into(), lines: 1 };
    assert_eq!(unnamed(&source), ["a.rs:3: b", "a.rs:13: g"]);
}
