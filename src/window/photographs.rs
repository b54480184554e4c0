//! Photographs, and through which filter each was made: what the program finds, what a person says.
//! It reads and writes no photograph; the rooms around it do.

use super::photo_said::{PhotoAnswer, Saying};
use super::steps::Steps;
use super::table_beside::{Recalled, TableBeside};
use crate::commands::photos::Photo;
use crate::commands::profiles::Opened;
use crate::commands::{correct, which};
use crate::editing::used_csv::UsedRow;
use crate::editing::which::{Album, How, Told, raw_beside};
use crate::kit::kept::name_key;
use crate::read::pool::path_text;
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
    /// The table beside them, and answers as they stand in it.
    table: TableBeside,
    in_table: Vec<PhotoAnswer>,
    /// What else it says of each photograph.
    recalled: Vec<Recalled>,
    steps: Steps<Vec<PhotoAnswer>>,
    rows: Vec<Option<UsedRow>>,
    /// What is reckoned once of all photographs, with the filters that it was reckoned for.
    album: Option<(Vec<PathBuf>, Album)>,
    /// Corrections, once they were asked for.
    pub correcting: Option<Correcting>,
}

impl PhotoSession {
    /// Photographs that are known by name alone, the filters that may have been in the bag, and the table
    /// beside them.
    #[must_use]
    pub fn new(folder: PathBuf, files: Vec<PathBuf>, kit: Vec<Opened>, table: TableBeside) -> Self {
        let count = files.len();
        Self {
            folder,
            seen: files.iter().map(|_| None).collect(),
            files,
            arrived: 0,
            kit,
            at_home: Vec::new(),
            answers: vec![PhotoAnswer::Program; count],
            table,
            in_table: vec![PhotoAnswer::Program; count],
            recalled: vec![Recalled::default(); count],
            steps: Steps::default(),
            rows: vec![None; count],
            album: None,
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
    /// Where the corrected files of those go of which it is known that they had a filter.
    #[must_use]
    pub fn corrections(&self) -> Vec<PathBuf> {
        let (ids, photos) = self.photographs();
        let infos: Vec<_> = photos.iter().map(|photo| &photo.picture.info).collect();
        // The picture beside a raw frame is not corrected.
        let alone =
            ids.into_iter().zip(&photos).zip(raw_beside(&infos)).filter(|(_, of)| of.is_none());
        let out = |((id, photo), _): ((usize, &Photo), _)| {
            let filtered = self.row(id)?.filters.as_ref().is_some_and(|names| !names.is_empty());
            let raw = photo.picture.info.origin.is_raw();
            filtered.then(|| correct::out_path(&photo.path, None, raw))
        };
        alone.filter_map(out).collect()
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
    /// The table beside them.
    #[must_use]
    pub fn table(&self) -> &TableBeside {
        &self.table
    }
    /// Filters that were said, by name.
    pub fn named(&self) -> impl Iterator<Item = &String> {
        self.answers.iter().flat_map(PhotoAnswer::filters)
    }
    /// Whether something was said that stands in no table.
    #[must_use]
    pub fn is_unsaved(&self) -> bool {
        self.answers != self.in_table
    }
    /// These answers were written into the table, which is now so.
    pub fn stands_in_a_table(&mut self, answers: Vec<PhotoAnswer>, bytes: Vec<u8>) {
        self.in_table = answers;
        self.table.bytes = Some(bytes);
        self.table.notes.clear();
        self.table.missed = false;
    }
    /// The filters of the kit, and whether each was in the bag; one that was named was there.
    pub fn kit(&self) -> impl Iterator<Item = (&Opened, bool)> {
        let there =
            |name: &String| !self.at_home.contains(name) || self.named().any(|named| named == name);
        self.kit.iter().map(move |k| (k, there(&k.profile.filter.name)))
    }
    /// Whether there is something to take back, and to do again.
    #[must_use]
    pub fn steps(&self) -> (bool, bool) {
        self.steps.are_there()
    }

    /// Takes what was read of one photograph; with the last one all are judged.
    pub fn take(&mut self, id: usize, seen: Seen) {
        let Some(slot) = self.seen.get_mut(id).filter(|slot| slot.is_none()) else { return };
        *slot = Some(seen);
        self.arrived += 1;
        if self.arrived == self.files.len() {
            self.recall();
            self.judge();
        }
    }
    /// Takes the answers that the table holds.
    fn recall(&mut self) {
        let (ids, photos) = self.photographs();
        for (id, one) in ids.into_iter().zip(self.table.recalled(&photos, &self.kit)) {
            self.answers[id] = one.answer.clone();
            self.recalled[id] = one;
        }
        self.in_table.clone_from(&self.answers);
    }
    /// Takes the kit as it is now. A filter that it does not hold stays as long as its profile is there, or
    /// somebody named it.
    pub fn set_kit(&mut self, mut kit: Vec<Opened>) {
        let lost = |old: &&Opened| {
            let (name, path) = (&old.profile.filter.name, &old.path);
            let same = |k: &Opened| name_key(&k.profile.filter.name) == name_key(name);
            let known = kit.iter().any(|k| same(k) || k.path == *path);
            !known && (path.exists() || self.named().any(|named| named == name))
        };
        let more: Vec<Opened> = self.kit.iter().filter(lost).cloned().collect();
        kit.extend(more);
        let same = |(a, b): (&Opened, &Opened)| a.path == b.path && a.profile == b.profile;
        if kit.len() != self.kit.len() || !kit.iter().zip(&self.kit).all(same) {
            self.kit = kit;
            self.album = None;
            self.judge();
        }
    }
    /// A filter of the kit has another name now.
    pub fn rename(&mut self, name: &str, to: &str) {
        let all = self.steps.others().chain([&mut self.answers, &mut self.in_table]);
        all.flatten().for_each(|answer| answer.rename(name, to));
        self.at_home.iter_mut().filter(|own| *own == name).for_each(|own| to.clone_into(own));
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
            let found = self.row(id).and_then(|row| row.filters.as_deref());
            *answer = answer.next(saying, found.unwrap_or_default(), &self.kit).map_err(|why| {
                let file = self.files[id].file_name().unwrap_or_default();
                format!("{}: {why}", path_text(Path::new(file)))
            })?;
        }
        if answers != self.answers {
            self.steps.take(&mut self.answers, answers);
            self.judge();
        }
        Ok(())
    }
    /// Takes the last step back.
    pub fn undo(&mut self) {
        if self.steps.undo(&mut self.answers) {
            self.judge();
        }
    }
    /// Does what was taken back again.
    pub fn redo(&mut self) {
        if self.steps.redo(&mut self.answers) {
            self.judge();
        }
    }

    /// Those that were read, with their numbers.
    fn photographs(&self) -> (Vec<usize>, Vec<Photo>) {
        let read = |id: usize| match self.seen(id)? {
            Seen::Read(photo, _) => Some((id, (**photo).clone())),
            Seen::Unread(_) | Seen::Corrected(_) => None,
        };
        (0..self.files.len()).filter_map(read).unzip()
    }

    /// Judges all photographs anew, those that were answered taken at their word.
    fn judge(&mut self) {
        if self.arrived < self.files.len() {
            return;
        }
        let bag: Vec<Opened> =
            self.kit().filter(|(_, there)| *there).map(|(k, _)| k.clone()).collect();
        let (ids, photos) = self.photographs();
        let told: Vec<Told> = ids.iter().map(|id| self.answers[*id].told(&bag)).collect();
        let paths: Vec<PathBuf> = bag.iter().map(|k| k.path.clone()).collect();
        let known = self.album.take().filter(|(of, _)| *of == paths);
        let (_, album) =
            self.album.insert(known.unwrap_or_else(|| (paths, which::album(&photos, &bag))));
        let found = which::rows_in(album, &photos, &bag, &told, false);
        self.rows = vec![None; self.files.len()];
        for (id, mut row) in ids.into_iter().zip(found) {
            row.group.clone_from(&self.recalled[id].group);
            row.own.clone_from(&self.recalled[id].own);
            if self.answers[id] == PhotoAnswer::NotKnown {
                (row.filters, row.mark, row.how_sure) = (None, String::new(), String::new());
                // A blank that is somebody's word.
                How::User.text().clone_into(&mut row.how_known);
            }
            self.rows[id] = Some(row);
        }
    }
}
