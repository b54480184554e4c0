//! Which cautions are told: each once, with the marks that share it.

use super::figures;
use crate::profile::{CautionRecord, Grade, Profile};
use crate::safety;

/// A caution or a note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Grade.
    pub grade: Grade,
    /// "mark 3", "marks 7 and 8", "all marks"; empty where it is about the whole shoot.
    pub about: String,
    /// What it does to the number, then what to do.
    pub text: String,
}

impl Told {
    /// The word that it begins with.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self.grade {
            Grade::Number => "Caution",
            Grade::Note => "Note",
        }
    }
    /// What follows that word: ", mark 3", and nothing where it is about the whole shoot.
    #[must_use]
    pub fn of_which(&self) -> String {
        if self.about.is_empty() { String::new() } else { format!(", {}", self.about) }
    }
}

/// Those of one grade: the shoot's own, then the settings'. One text stands once, and so does one
/// code of several marks, with the text of the first; what is said of the whole shoot is not said
/// again of its marks. The sun has a place of its own.
#[must_use]
pub fn of_grade(profile: &Profile, grade: Grade) -> Vec<Told> {
    let mut found: Vec<(&CautionRecord, Option<Vec<&str>>)> = Vec::new();
    let told = |c: &&CautionRecord| c.grade == grade && c.text != safety::SUN_FULL;
    let of_picture = profile.picture.iter().flat_map(|picture| &picture.cautions);
    for record in profile.cautions.iter().chain(of_picture).filter(told) {
        if !found.iter().any(|(known, _)| known.text == record.text) {
            found.push((record, None));
        }
    }
    for setting in &profile.settings {
        for record in setting.cautions.iter().filter(told) {
            let alike = |(known, marks): &&mut (&CautionRecord, Option<Vec<&str>>)| {
                known.text == record.text || (marks.is_some() && known.code == record.code)
            };
            let mark = setting.mark.as_deref();
            match found.iter_mut().find(alike) {
                Some((_, marks)) => marks.iter_mut().for_each(|marks| marks.extend(mark)),
                None => found.push((record, Some(mark.into_iter().collect()))),
            }
        }
    }
    let told = |(record, marks): (&CautionRecord, Option<Vec<&str>>)| Told {
        grade,
        about: about(&marks.unwrap_or_default(), profile.settings.len()),
        text: figures::signed_text(&record.text),
    };
    found.into_iter().map(told).collect()
}

/// Cautions, then notes.
#[must_use]
pub fn all(profile: &Profile) -> Vec<Told> {
    [Grade::Number, Grade::Note].into_iter().flat_map(|grade| of_grade(profile, grade)).collect()
}

fn about(marks: &[&str], settings: usize) -> String {
    match marks {
        [] => String::new(),
        _ if marks.len() == settings && settings > 1 => "all marks".to_owned(),
        [mark] => format!("mark {mark}"),
        many => format!("marks {}", figures::listed(many)),
    }
}
