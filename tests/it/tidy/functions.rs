//! Functions stay short enough to be seen at once.

use super::sources;

const MOST_LINES: usize = 60;
/// Longer ones: flat matches and tables, which are read row by row, and estimates that follow one
/// derivation from its beginning to its end.
const LONGER: &[(&str, &str)] = &[
    ("caution.rs", "entry"),
    ("caution/levels.rs", "entry"),
    ("shoot/verdict.rs", "entry"),
    ("measure/fit/colour.rs", "difference"),
    ("measure/fit/posterior.rs", "hypotheses"),
];

/// Name and lines of every function. The sources are formatted: what begins a function ends at the
/// next closing brace of its own depth.
fn functions(code: &str) -> Vec<(String, usize)> {
    let lines: Vec<&str> = code.lines().collect();
    let starts = lines.iter().enumerate().filter_map(|(at, line)| {
        let text = line.trim_start();
        let mut words = text.split(' ').skip_while(|w| w.starts_with("pub") || w.starts_with("in"));
        let mut word = words.next()?;
        while ["const", "async"].contains(&word) {
            word = words.next()?;
        }
        let name = words.next().filter(|_| word == "fn")?;
        let name = name.split(['(', '<']).next().unwrap_or(name).to_owned();
        let end = format!("{}}}", &line[..line.len() - text.len()]);
        let length = lines[at..].iter().position(|l| *l == end);
        // Without a body, or all of it on one line.
        let one = line.ends_with(';') || line.ends_with('}');
        Some((name, if one { 1 } else { length? + 1 }))
    });
    starts.collect()
}

#[test]
fn functions_stay_short() {
    let mut faults = Vec::new();
    for source in sources() {
        for (name, lines) in functions(&source.code) {
            if lines > MOST_LINES && !LONGER.contains(&(source.path.as_str(), name.as_str())) {
                faults.push(format!(
                    "{}: {name} has {lines} lines, at most {MOST_LINES}",
                    source.path
                ));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_length_of_a_function_is_counted() {
    let code = "impl A {\n    pub(super) const fn one() {}\n    fn two(\n        a: u8,\n    ) {\n        if a {\n\
                        }\n    }\n}\nfn three<T>() {\n}\n";
    let found = functions(code);
    let lengths: Vec<(&str, usize)> = found.iter().map(|(n, l)| (n.as_str(), *l)).collect();
    assert_eq!(lengths, [("one", 1), ("two", 6), ("three", 2)]);
}
