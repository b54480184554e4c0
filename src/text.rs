//! Text that comes from outside: names in files, in profiles and on the command line.

/// Most bytes of a slug: what is added to it stays within the 255 bytes that disks give a name.
const LONGEST_SLUG: usize = 120;

/// Characters that do something instead of showing something: controls, line and paragraph
/// separators, what turns the direction of reading (Unicode Standard Annex 9), and what no XML
/// document may hold (XML 1.0, production 2).
#[must_use]
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}')
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}')
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(c, '\u{fffe}' | '\u{ffff}')
}

/// The same text in one line, without what [`is_hidden`]: breaks and tabs become spaces.
#[must_use]
pub fn one_line(text: &str) -> String {
    let shown = text.chars().filter_map(|c| match c {
        '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => Some(' '),
        c if is_hidden(c) => None,
        c => Some(c),
    });
    shown.collect::<String>().trim().to_owned()
}

/// The same text in its lines, without what [`is_hidden`].
#[must_use]
pub fn lines(text: &str) -> String {
    text.chars().filter(|c| *c == '\n' || !is_hidden(*c)).collect()
}

/// "3 frames", "1 frame".
#[must_use]
pub fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// "stop" up to one, "stops" beyond.
#[must_use]
pub fn unit(stops: f64) -> &'static str {
    if stops.abs() > 1.0 { "stops" } else { "stop" }
}

/// "2.72 stops", "0.14 stop": with so many digits behind the point.
#[must_use]
pub fn in_stops(stops: f64, digits: usize) -> String {
    let shown = format!("{stops:.digits$}");
    let unit = unit(shown.parse().unwrap_or(stops));
    format!("{shown} {unit}")
}

/// A word of a command: in quotes where a shell would take it apart or read more into it.
#[must_use]
pub fn shell_word(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "./_-+=:,\\".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else if word.contains(['"', '$', '`', '!']) {
        format!("'{}'", word.replace('\'', r"'\''"))
    } else {
        format!("\"{word}\"")
    }
}

/// A name as part of a file name that every system takes: letters and digits, the rest as single
/// hyphens.
#[must_use]
pub fn slug(name: &str) -> String {
    let name = name.to_lowercase();
    let words: Vec<&str> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let mut slug = words.join("-");
    slug.truncate(slug.floor_char_boundary(LONGEST_SLUG));
    if slug.is_empty() { "filter".to_owned() } else { slug.trim_end_matches('-').to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_beyond_one_have_several_stops() {
        let said = [(2.72, 2), (1.004, 2), (0.96, 1), (0.14, 2), (10.37, 1)];
        let written = ["2.72 stops", "1.00 stop", "1.0 stop", "0.14 stop", "10.4 stops"];
        assert_eq!(said.map(|(stops, digits)| in_stops(stops, digits)), written);
    }

    /// What a POSIX shell makes of the words again (IEEE Std 1003.1, 2.2, quoting).
    #[test]
    fn words_of_a_command_stay_whole() {
        for (word, written) in [
            ("harbour-ten", "harbour-ten"),
            ("Harbour Ten", "\"Harbour Ten\""),
            ("", "\"\""),
            ("the \"ten\"", "'the \"ten\"'"),
            ("$ten's", r"'$ten'\''s'"),
        ] {
            assert_eq!(shell_word(word), written);
        }
    }

    #[test]
    fn what_turns_breaks_or_cannot_be_written_is_left_out() {
        assert_eq!(one_line("Lens\n24\u{202e}mm\u{0}\u{ffff} "), "Lens 24mm");
        assert_eq!(lines("one\n\u{202e}  two\u{0}"), "one\n  two");
        // Other scripts stay, whatever their own direction.
        for name in ["קלע", "عدسة", "Filtre dégradé", "玻璃"] {
            assert_eq!(one_line(name), name);
        }
    }
}
