//! What the photographer wrote: keywords and descriptions held against the kit's names.

use super::Used;
use crate::profile::Profile;

/// What may stand between a filter's name and its mark.
const SEPARATORS: [char; 6] = [' ', ',', ':', ';', '@', '('];

/// What the words of one photograph say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Said {
    /// The names of these filters.
    Through(Vec<Used>),
    /// "bare" or "no filter".
    Bare,
    /// Nothing of filters.
    Nothing,
}

/// Reads keywords and description lines: one equal to a profile's name (letter case and spaces
/// aside) names that filter, a name followed by a mark names both, "bare" and "no filter" say that
/// there was none.
#[must_use]
pub fn said(words: &[String], kit: &[Profile]) -> Said {
    let words: Vec<String> = words.iter().map(|w| plain(w)).filter(|w| !w.is_empty()).collect();
    let mut used: Vec<Used> = Vec::new();
    for (filter, profile) in kit.iter().enumerate() {
        let name = plain(&profile.filter.name);
        let named: Vec<Option<String>> =
            words.iter().filter_map(|word| named(word, &name, profile)).collect();
        if let Some(first) = named.iter().find(|m| m.is_some()).or(named.first()) {
            used.push(Used { filter, mark: first.clone() });
        }
    }
    let bare = words.iter().any(|w| w == "bare" || w == "no filter");
    match (used.is_empty(), bare) {
        (false, false) => Said::Through(used),
        (true, true) => Said::Bare,
        // Both at once contradict each other and say nothing.
        _ => Said::Nothing,
    }
}

/// `Some(None)` where the word is the name, `Some(Some(mark))` where a mark of it follows.
fn named(word: &str, name: &str, profile: &Profile) -> Option<Option<String>> {
    let rest = word.strip_prefix(name)?;
    if rest.is_empty() {
        return Some(None);
    }
    // "10" is not mark "0" of a filter called "1".
    if !rest.starts_with(SEPARATORS) {
        return None;
    }
    let rest = rest.trim_start_matches(SEPARATORS);
    let rest = rest.strip_prefix("mark").unwrap_or(rest).trim_matches([' ', ':', ')', '=']);
    let mark =
        profile.settings.iter().filter_map(|s| s.mark.as_ref()).find(|m| plain(m) == rest)?;
    Some(Some(mark.clone()))
}

fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}
