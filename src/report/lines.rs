//! Lines of a terminal.

use comfy_table::{Table, presets};

/// Widest line.
pub const WIDTH: usize = 79;

/// Units that stay with their number.
const UNITS: [&str; 8] = ["s", "min", "mm", "K", "%", "stop", "stops", "mired"];

/// A text in lines of at most 79, each after the first set in as far as the head is wide.
#[must_use]
pub fn wrapped(head: &str, text: &str) -> String {
    let mut lines = vec![head.to_owned()];
    let indent = head.chars().count();
    for word in pieces(text) {
        let length = lines.last().map_or(0, |line| line.chars().count());
        // A word comes after a space, except the first.
        if length > indent && length + 1 + word.chars().count() > WIDTH {
            lines.push(" ".repeat(indent));
        }
        if let Some(line) = lines.last_mut() {
            if line.chars().count() > indent {
                line.push(' ');
            }
            line.push_str(&word);
        }
    }
    lines.iter().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// The answer of a text: in lines, `bold` where that is wanted.
#[must_use]
pub fn answer(text: &str, bold: bool) -> String {
    let lines = wrapped("", text);
    if bold { format!("\u{1b}[1m{}\u{1b}[0m\n", lines.trim_end()) } else { lines }
}

/// What a line may end with: words, and numbers with their units.
fn pieces(text: &str) -> Vec<String> {
    let mut pieces: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches(|c: char| c.is_ascii_punctuation() && c != '%');
        match pieces.last_mut() {
            Some(number)
                if UNITS.contains(&bare) && number.ends_with(|c: char| c.is_ascii_digit()) =>
            {
                number.push(' ');
                number.push_str(word);
            }
            _ => pieces.push(word.to_owned()),
        }
    }
    pieces
}

/// A table without rules, under these heads.
#[must_use]
pub fn table<const N: usize>(heads: [&str; N]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(heads);
    table
}

/// Its lines, the heads first.
pub fn rows(table: &Table) -> impl Iterator<Item = String> {
    table.lines().map(|line| format!("{}\n", line.trim_end()))
}

/// A row of figures: a label from the left, cells from the right, each so wide.
#[must_use]
pub fn cells<S: std::fmt::Display>(label: &str, first: usize, texts: &[S], each: usize) -> String {
    let cells: String = texts.iter().map(|text| format!("{text:>each$}")).collect();
    format!("{label:<first$}{cells}\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_that_and_none_could_hold_the_next_word() {
        for letters in 1..=20 {
            for head in ["", "  - "] {
                let text = wrapped(head, &[&*"w".repeat(letters); 60].join(" "));
                let lines: Vec<usize> = text.lines().map(|line| line.chars().count()).collect();
                assert!(lines.iter().all(|length| *length <= WIDTH), "{text}");
                let full = &lines[..lines.len() - 1];
                assert!(full.iter().all(|length| length + 1 + letters > WIDTH), "{text}");
            }
        }
    }

    #[test]
    fn a_unit_stays_with_its_number() {
        for letters in 60..80 {
            let text = wrapped("", &format!("{} at 1/5 s, then 0.3 %.", "w".repeat(letters)));
            assert!(!text.contains("1/5\n") && !text.contains("0.3\n"), "{text}");
        }
    }
}
