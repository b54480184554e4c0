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
        if length + word.chars().count() > WIDTH && length > indent {
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
