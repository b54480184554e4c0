//! Lines of a terminal.

/// Widest line.
pub const WIDTH: usize = 79;

/// A text in lines of at most 79, each after the first set in as far as the head is wide.
#[must_use]
pub fn wrapped(head: &str, text: &str) -> String {
    let mut lines = vec![head.to_owned()];
    let indent = head.chars().count();
    for word in text.split_whitespace() {
        let length = lines.last().map_or(0, |line| line.chars().count());
        // A word comes after a space, except the first.
        if length > indent && length + 1 + word.chars().count() > WIDTH {
            lines.push(" ".repeat(indent));
        }
        if let Some(line) = lines.last_mut() {
            if line.chars().count() > indent {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.iter().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// A row of a table: a label from the left, cells from the right, each so wide.
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
}
