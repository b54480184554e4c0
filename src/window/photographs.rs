//! Photographs, and through which filter each was made: what the program finds, what a person says.
//! It reads and writes no photograph; the rooms around it do.

use crate::commands::photos::Photo;
use crate::commands::profiles::Opened;
use crate::commands::which;
use crate::editing::used_csv::UsedRow;
use crate::editing::which::{Told, Used};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// What became of reading one photograph.
#[derive(Debug)]
pub enum Seen {
    /// What is known of it, and a small picture as a PNG file.
    Read(Box<Photo>, Vec<u8>),
    /// Why nothing is.
    Unread(String),
    /// It is a corrected copy: why it is left out.
    Corrected(String),
}

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
    fn names(&self, filter: &str) -> bool {
        matches!(self, Self::Through(names, _) if names.iter().any(|name| name == filter))
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
    /// At this mark.
    Mark(String),
}

/// Corrections that are being written, or were.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Correcting {
    /// Photographs done, and of how many.
    pub done: [u64; 2],
    /// It has ended.
    pub ended: bool,
    /// What was said on the way, line by line.
    pub lines: Vec<String>,
    /// Why it could not be done.
    pub fault: Option<String>,
}

/// The photographs of a folder.
#[derive(Debug)]
pub struct PhotoSession {
    folder: PathBuf,
    files: Vec<PathBuf>,
    seen: Vec<Option<Seen>>,
    arrived: usize,
    kit: Vec<Opened>,
    /// Filters that were left at home, by name.
    at_home: Vec<String>,
    answers: Vec<PhotoAnswer>,
    /// Answers as they stand in the table that was written.
    in_table: Vec<PhotoAnswer>,
    before: Vec<Vec<PhotoAnswer>>,
    after: Vec<Vec<PhotoAnswer>>,
    rows: Vec<Option<UsedRow>>,
    /// Corrections, once they were asked for.
    pub correcting: Option<Correcting>,
}

/// Steps that can be taken back.
const MOST_STEPS: usize = 200;

impl PhotoSession {
    /// Photographs that are known by name alone, and the filters that may have been in the bag.
    #[must_use]
    pub fn new(folder: PathBuf, files: Vec<PathBuf>, kit: Vec<Opened>) -> Self {
        let count = files.len();
        Self {
            folder,
            seen: files.iter().map(|_| None).collect(),
            files,
            arrived: 0,
            kit,
            at_home: Vec::new(),
            answers: vec![PhotoAnswer::Program; count],
            in_table: vec![PhotoAnswer::Program; count],
            before: Vec::new(),
            after: Vec::new(),
            rows: vec![None; count],
            correcting: None,
        }
    }
    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }
    /// The photographs.
    #[must_use]
    pub fn files(&self) -> &[PathBuf] {
        &self.files
    }
    /// Those that may be corrected: corrected copies are not.
    pub fn originals(&self) -> impl Iterator<Item = &PathBuf> {
        let is_copy = |id: usize| matches!(self.seen(id), Some(Seen::Corrected(_)));
        self.files.iter().enumerate().filter(move |(id, _)| !is_copy(*id)).map(|(_, file)| file)
    }
    /// How many were read.
    #[must_use]
    pub fn arrived(&self) -> usize {
        self.arrived
    }
    /// What became of reading one.
    #[must_use]
    pub fn seen(&self, id: usize) -> Option<&Seen> {
        self.seen.get(id)?.as_ref()
    }
    /// What is known of which filter one was made through.
    #[must_use]
    pub fn row(&self, id: usize) -> Option<&UsedRow> {
        self.rows.get(id)?.as_ref()
    }
    /// All that is known, in the order of the files.
    pub fn rows(&self) -> impl Iterator<Item = &UsedRow> {
        self.rows.iter().flatten()
    }
    /// What was said of one.
    #[must_use]
    pub fn answer(&self, id: usize) -> &PhotoAnswer {
        self.answers.get(id).unwrap_or(&PhotoAnswer::Program)
    }
    /// What was said of all, in the order of the files.
    #[must_use]
    pub fn answers(&self) -> &[PhotoAnswer] {
        &self.answers
    }
    /// Whether something was said that stands in no table.
    #[must_use]
    pub fn is_unsaved(&self) -> bool {
        self.answers != self.in_table
    }
    /// These answers were written into a table.
    pub fn stands_in_a_table(&mut self, answers: Vec<PhotoAnswer>) {
        self.in_table = answers;
    }
    /// The filters of the kit, and whether each was in the bag; one that was named was there.
    pub fn kit(&self) -> impl Iterator<Item = (&Opened, bool)> {
        let there = |name: &String| {
            !self.at_home.contains(name) || self.answers.iter().any(|a| a.names(name))
        };
        self.kit.iter().map(move |k| (k, there(&k.profile.filter.name)))
    }
    /// Whether there is something to take back, and to do again.
    #[must_use]
    pub fn steps(&self) -> (bool, bool) {
        (!self.before.is_empty(), !self.after.is_empty())
    }

    /// Takes what was read of one photograph; with the last one all are judged.
    pub fn take(&mut self, id: usize, seen: Seen) {
        let Some(slot) = self.seen.get_mut(id).filter(|slot| slot.is_none()) else { return };
        *slot = Some(seen);
        self.arrived += 1;
        if self.arrived == self.files.len() {
            self.judge();
        }
    }
    /// Says which filters were in the bag.
    pub fn bag(&mut self, name: &str, there: bool) {
        self.at_home.retain(|own| own != name);
        if !there {
            self.at_home.push(name.to_owned());
        }
        self.judge();
    }
    /// Says something of photographs.
    ///
    /// # Errors
    /// Where there is no such photograph or filter, in one line.
    pub fn say(&mut self, ids: &[usize], saying: &Saying) -> Result<(), String> {
        if let Saying::Filter(name) = saying
            && !self.kit.iter().any(|k| k.profile.filter.name == *name)
        {
            return Err(format!("there is no filter {name:?} in the kit"));
        }
        let mut answers = self.answers.clone();
        for &id in ids {
            let answer = answers.get_mut(id).ok_or("there is no such photograph")?;
            *answer = self.said(id, answer, saying);
        }
        if answers != self.answers {
            self.before.push(std::mem::replace(&mut self.answers, answers));
            if self.before.len() > MOST_STEPS {
                self.before.remove(0);
            }
            self.after.clear();
            self.judge();
        }
        Ok(())
    }
    /// Takes the last step back.
    pub fn undo(&mut self) {
        if let Some(answers) = self.before.pop() {
            self.after.push(std::mem::replace(&mut self.answers, answers));
            self.judge();
        }
    }
    /// Does what was taken back again.
    pub fn redo(&mut self) {
        if let Some(answers) = self.after.pop() {
            self.before.push(std::mem::replace(&mut self.answers, answers));
            self.judge();
        }
    }

    fn said(&self, id: usize, before: &PhotoAnswer, saying: &Saying) -> PhotoAnswer {
        match (saying, before) {
            (Saying::Program, _) => PhotoAnswer::Program,
            (Saying::Bare, _) => PhotoAnswer::Bare,
            (Saying::NotKnown, _) => PhotoAnswer::NotKnown,
            (Saying::Filter(name), PhotoAnswer::Through(names, mark)) => {
                let mut names = names.clone();
                match names.iter().position(|n| n == name) {
                    Some(at) => drop(names.remove(at)),
                    None => names.push(name.clone()),
                }
                if names.is_empty() {
                    PhotoAnswer::Bare
                } else {
                    PhotoAnswer::Through(names, mark.clone())
                }
            }
            (Saying::Filter(name), _) => PhotoAnswer::Through(vec![name.clone()], None),
            (Saying::Mark(mark), PhotoAnswer::Through(names, _)) => {
                PhotoAnswer::Through(names.clone(), Some(mark.clone()))
            }
            (Saying::Mark(mark), _) => {
                let found = self.row(id).and_then(|row| row.filters.clone()).unwrap_or_default();
                if found.is_empty() {
                    before.clone()
                } else {
                    PhotoAnswer::Through(found, Some(mark.clone()))
                }
            }
        }
    }

    /// Judges all photographs anew, those that were answered taken at their word.
    fn judge(&mut self) {
        if self.arrived < self.files.len() {
            return;
        }
        let bag: Vec<Opened> =
            self.kit().filter(|(_, there)| *there).map(|(k, _)| k.clone()).collect();
        let read: Vec<(usize, Photo)> = (0..self.files.len())
            .filter_map(|id| match self.seen(id)? {
                Seen::Read(photo, _) => Some((id, (**photo).clone())),
                Seen::Unread(_) | Seen::Corrected(_) => None,
            })
            .collect();
        let told: Vec<Told> = read.iter().map(|(id, _)| told(&self.answers[*id], &bag)).collect();
        let (ids, photos): (Vec<usize>, Vec<Photo>) = read.into_iter().unzip();
        let found = which::rows(&photos, &bag, &told, false);
        self.rows = vec![None; self.files.len()];
        for (id, mut row) in ids.into_iter().zip(found) {
            if self.answers[id] == PhotoAnswer::NotKnown {
                row =
                    UsedRow { filters: None, mark: String::new(), how_sure: String::new(), ..row };
            }
            self.rows[id] = Some(row);
        }
    }
}

/// As the search for filters takes it.
fn told(answer: &PhotoAnswer, bag: &[Opened]) -> Told {
    let PhotoAnswer::Through(names, mark) = answer else {
        return if *answer == PhotoAnswer::Bare { Told::Bare } else { Told::Nothing };
    };
    let used = names.iter().filter_map(|name| {
        let filter = bag.iter().position(|k| k.profile.filter.name == *name)?;
        let marks = &bag[filter].profile.settings;
        let own = mark.clone().filter(|mark| marks.iter().any(|s| s.mark.as_ref() == Some(mark)));
        Some(Used { filter, mark: own })
    });
    let used: Vec<Used> = used.collect();
    if used.is_empty() { Told::Nothing } else { Told::Through(used) }
}
