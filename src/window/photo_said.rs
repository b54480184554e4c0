//! What a person says of a photograph: which filters, at which mark.

use crate::commands::profiles::Opened;
use crate::commands::used_table;
use crate::editing::which::{Told, Used};
use crate::profile::Kind;
use serde::Deserialize;

/// What a person says of a photograph.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum PhotoAnswer {
    /// Nothing: the program decides.
    #[default]
    Program,
    /// Without a filter.
    Bare,
    /// Through these filters of the kit, by name, with the mark of the one that has marks.
    Through(Vec<String>, Option<String>),
    /// Nobody knows.
    NotKnown,
}

impl PhotoAnswer {
    /// The filters that are said, by name.
    #[must_use]
    pub fn filters(&self) -> &[String] {
        if let Self::Through(names, _) = self { names } else { &[] }
    }
    /// Says the same of a filter that has another name now.
    pub fn rename(&mut self, name: &str, to: &str) {
        let Self::Through(names, _) = self else { return };
        names.iter_mut().filter(|own| *own == name).for_each(|own| to.clone_into(own));
        // Two of a stack may have become one.
        names.dedup();
    }
    /// What is said after one thing more; `found` are the filters that the program finds.
    ///
    /// # Errors
    /// Where it cannot be, in one line.
    pub fn next(&self, saying: &Saying, found: &[String], kit: &[Opened]) -> Result<Self, String> {
        Ok(match (saying, self) {
            (Saying::Program, _) => Self::Program,
            (Saying::Bare, _) => Self::Bare,
            (Saying::NotKnown, _) => Self::NotKnown,
            (Saying::Filter(name), Self::Through(names, mark)) => {
                let mut names = names.clone();
                match names.iter().position(|n| n == name) {
                    Some(at) => drop(names.remove(at)),
                    None => names.push(name.clone()),
                }
                // A mark goes with the ring that has it.
                let mark = mark.clone().filter(|mark| of_ring(&names, mark, kit).is_ok());
                if names.is_empty() { Self::Bare } else { Self::Through(names, mark) }
            }
            (Saying::Filter(name), _) => Self::Through(vec![name.clone()], None),
            (Saying::Mark(blank), Self::Through(names, _)) if blank.is_empty() => {
                Self::Through(names.clone(), None)
            }
            (Saying::Mark(blank), _) if blank.is_empty() => self.clone(),
            (Saying::Mark(mark), Self::Through(names, _)) => {
                Self::Through(names.clone(), Some(of_ring(names, mark, kit)?))
            }
            (Saying::Mark(mark), Self::Program) => {
                Self::Through(found.to_vec(), Some(of_ring(found, mark, kit)?))
            }
            (Saying::Mark(mark), Self::Bare | Self::NotKnown) => {
                return Err(of_ring(&[], mark, kit).err().unwrap_or_default());
            }
        })
    }
    /// As the search for filters takes it.
    #[must_use]
    pub fn told(&self, bag: &[Opened]) -> Told {
        let Self::Through(names, mark) = self else {
            return if *self == Self::Bare { Told::Bare } else { Told::Nothing };
        };
        let used = names.iter().filter_map(|name| {
            let filter = bag.iter().position(|k| k.profile.filter.name == *name)?;
            let marks = &bag[filter].profile.settings;
            let own =
                mark.clone().filter(|mark| marks.iter().any(|s| s.mark.as_ref() == Some(mark)));
            Some(Used { filter, mark: own })
        });
        let used: Vec<Used> = used.collect();
        if used.is_empty() { Told::Nothing } else { Told::Through(used) }
    }
}

/// What is to be said of photographs.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Saying {
    /// The program decides.
    Program,
    /// Without a filter.
    Bare,
    /// Nobody knows.
    NotKnown,
    /// Through this filter, beside those that were said before; said again it is taken off.
    Filter(String),
    /// At this mark; a blank one takes it back.
    Mark(String),
}

/// A mark as the ring among these filters has it.
fn of_ring(names: &[String], mark: &str, kit: &[Opened]) -> Result<String, String> {
    let own = |k: &&Opened| names.contains(&k.profile.filter.name);
    let variable = |k: &&Opened| k.profile.filter.kind == Kind::Variable;
    let Some(ring) = kit.iter().find(|k| own(k) && variable(k)) else {
        let why = match names {
            [] => "no filter is known that it was made through".to_owned(),
            names => format!("{} has no marks", names.join(" + ")),
        };
        return Err(format!("{why}; a mark is that of a variable filter, so say that one first"));
    };
    let found = used_table::of_mark(&ring.profile, Some(mark)).map_err(|e| e.to_string())?;
    Ok(found.and_then(|setting| setting.mark.clone()).unwrap_or_else(|| mark.to_owned()))
}
