//! The states of the filter as a person can name them. A name that was given twice makes two states
//! one; here they stay apart, so that a slip can be mended.

use super::outcome::Opinion;
use crate::profile::FrameState;
use crate::shoot::Shoot;
use std::collections::BTreeMap;

/// A state, and the frames that a name of it is given to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Nameable {
    /// Its mark.
    pub mark: Option<String>,
    /// Its frames.
    pub files: Vec<String>,
}

/// The states in the order in which they appear: those that the program found where names only joined
/// some of them, else those that are named.
#[must_use]
pub fn states(shoot: &Shoot, alone: Option<&BTreeMap<String, Opinion>>) -> Vec<Nameable> {
    let named = named(shoot);
    let found = alone.and_then(|alone| found(shoot, alone));
    found.filter(|found| found.len() > named.len()).unwrap_or(named)
}

/// The states as they are named.
#[must_use]
pub fn named(shoot: &Shoot) -> Vec<Nameable> {
    let of = |state: usize| {
        let own = shoot.frames.iter().filter(|f| f.setting == Some(state));
        own.map(|f| f.file().to_owned()).collect()
    };
    let settings = shoot.settings.iter().enumerate();
    settings.map(|(n, s)| Nameable { mark: s.mark.clone(), files: of(n) }).collect()
}

/// The states as the program found them; `None` where a person parted one of them, or named a frame in
/// which it found none.
fn found(shoot: &Shoot, alone: &BTreeMap<String, Opinion>) -> Option<Vec<Nameable>> {
    let mut of: Vec<(&str, usize, Nameable)> = Vec::new();
    for frame in &shoot.frames {
        let Some(setting) = frame.setting else { continue };
        let Some(own) = alone.get(frame.file()).and_then(|o| o.mark.as_deref()) else {
            match frame.state {
                FrameState::Setting => return None,
                _ => continue,
            }
        };
        let file = frame.file().to_owned();
        match of.iter_mut().find(|(mark, ..)| *mark == own) {
            Some((_, joined, _)) if *joined != setting => return None,
            Some((.., state)) => state.files.push(file),
            None => {
                let mark = shoot.settings.get(setting)?.mark.clone();
                of.push((own, setting, Nameable { mark, files: vec![file] }));
            }
        }
    }
    Some(of.into_iter().map(|(.., state)| state).collect())
}
