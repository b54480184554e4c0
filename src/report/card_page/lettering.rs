//! How wide a line of text is, so that a printed side can be laid out without a browser.
//!
//! Advance widths of Helvetica and Helvetica Bold in thousandths of the size (Adobe Core 14 font
//! metrics, from memory; Arial and Liberation Sans have the same). Every line is written with its
//! width, so another font is squeezed to it and nothing runs over an edge.

/// Printable ASCII from the space on.
const REGULAR: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// The same for bold.
const BOLD: [u16; 95] = [
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667,
    611, 778, 722, 278, 556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 333, 278, 333, 584, 556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556,
    278, 889, 611, 611, 611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
];

/// Anything else: as wide as a wide capital, so that foreign letters have room.
const OTHER: u16 = 778;

/// Millimetres in a point (1/72 inch).
pub const POINT: f64 = 25.4 / 72.0;

/// Size and weight of a text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Type {
    /// Points.
    pub points: f64,
    /// Bold.
    pub bold: bool,
}

impl Type {
    /// Regular.
    #[must_use]
    pub const fn plain(points: f64) -> Self {
        Self { points, bold: false }
    }
    /// Bold.
    #[must_use]
    pub const fn bold(points: f64) -> Self {
        Self { points, bold: true }
    }
    /// Size in millimetres.
    #[must_use]
    pub fn size(self) -> f64 {
        self.points * POINT
    }
    /// From line to line, in millimetres.
    #[must_use]
    pub fn leading(self) -> f64 {
        1.2 * self.size()
    }
    /// Width of a line in millimetres.
    #[must_use]
    pub fn width(self, text: &str) -> f64 {
        let table = if self.bold { &BOLD } else { &REGULAR };
        let thousandths: u32 = text.chars().map(|c| u32::from(advance(table, c))).sum();
        f64::from(thousandths) / 1000.0 * self.size()
    }

    /// Breaks a text into lines no wider than this; a word that is wider alone is cut.
    #[must_use]
    pub fn wrap(self, text: &str, width: f64) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace().flat_map(|word| self.pieces(word, width)) {
            let joined = if line.is_empty() { word.clone() } else { format!("{line} {word}") };
            if self.width(&joined) <= width {
                line = joined;
            } else {
                lines.push(std::mem::replace(&mut line, word));
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }

    /// Breaks a name into so many lines at most: where it is longer, letters from its middle give way,
    /// since names of filters are alike at the beginning and differ at the end.
    #[must_use]
    pub fn shortened(self, name: &str, width: f64, lines: usize) -> Vec<String> {
        let letters: Vec<char> = name.chars().collect();
        let without = |gone: usize| {
            let kept = letters.len() - gone;
            let head: String = letters[..kept.div_ceil(2)].iter().collect();
            let tail: String = letters[letters.len() - kept / 2..].iter().collect();
            self.wrap(&format!("{}\u{2026}{}", head.trim_end(), tail.trim_start()), width)
        };
        let all = self.wrap(name, width);
        if all.len() <= lines {
            return all;
        }
        (1..letters.len()).map(without).find(|shorter| shorter.len() <= lines).unwrap_or_default()
    }

    fn pieces(self, word: &str, width: f64) -> Vec<String> {
        let mut pieces = vec![String::new()];
        for letter in word.chars() {
            let fits = pieces.last().is_none_or(|piece| {
                piece.is_empty() || self.width(&format!("{piece}{letter}")) <= width
            });
            if !fits {
                pieces.push(String::new());
            }
            if let Some(piece) = pieces.last_mut() {
                piece.push(letter);
            }
        }
        pieces
    }
}

fn advance(table: &[u16; 95], letter: char) -> u16 {
    match letter {
        '\u{2013}' => 556,
        '\u{2026}' => 1000,
        '\u{b1}' | '\u{d7}' => 584,
        '\u{b0}' => 400,
        '\u{a0}' => 278,
        _ => u32::from(letter)
            .checked_sub(32)
            .and_then(|i| table.get(i as usize))
            .copied()
            .unwrap_or(OTHER),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_those_of_the_published_metrics() {
        // Adobe Core 14 metrics, from memory: Helvetica "W" 944, "i" 222; bold digits 556.
        assert!((Type::plain(72.0).width("W") - 0.944 * 25.4).abs() < 1e-9);
        assert!((Type::plain(72.0).width("i") - 0.222 * 25.4).abs() < 1e-9);
        assert!((Type::bold(72.0).width("0123456789") - 5.56 * 25.4).abs() < 1e-9);
    }

    /// What tells two filters apart stands at the end of their names; and a name that fits is whole.
    #[test]
    fn a_long_name_keeps_its_end() {
        let face = Type::bold(6.5);
        for lines in 1..4 {
            let [six, ten] = ["Six", "Ten"].map(|which| {
                let name =
                    format!("Saltmarsh Long Exposure Filter With Brass Frame, 100 mm, {which}");
                face.shortened(&name, 16.0, lines)
            });
            assert!(six.len() <= lines && six != ten);
            assert!(six.iter().all(|line| face.width(line) <= 16.0), "{six:?}");
            assert!(six[0].starts_with("Salt") && six.concat().ends_with("Six"), "{six:?}");
        }
        assert_eq!(face.shortened("Weir Three", 16.0, 1).concat(), "Weir Three");
    }

    #[test]
    fn wrapped_lines_keep_every_word_and_the_width() {
        let text = "Never stand with your back to the sea; Donaudampfschifffahrtsgesellschaft";
        let lines = Type::bold(7.0).wrap(text, 30.0);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|line| Type::bold(7.0).width(line) <= 30.0));
        let joined: String = lines.concat().split_whitespace().collect();
        assert_eq!(joined, text.split_whitespace().collect::<String>());
    }
}
