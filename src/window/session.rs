//! A shoot on the contact sheet: what was read, what the program takes it for, what was said, and
//! what comes out. It reads and writes no frame; the rooms around it do.

use super::marks::{self, Nameable};
use super::outcome::{self, Opinion, Outcome, candidates, opinions, opinions_of};
use super::said::{self, Claims, Said};
use super::steps::Steps;
use crate::cli::MeasureArgs;
use crate::commands::folder::LeftAlone;
use crate::commands::{picture, shoot_json};
use crate::error::Failure;
use crate::measure::picture::{MeasuredParts, PartFrames};
use crate::reduce::grid::FrameSummary;
use crate::report::small_picture::Balance;
use crate::shoot::{Candidate, Seen};
use crate::shoot_file::ShootFile;
use crate::text::count;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// What is held of the frames.
#[derive(Debug)]
enum Held {
    /// Some are still being read.
    Reading(Vec<Option<Candidate>>),
    /// All were read.
    Judged(Box<Outcome>),
}

/// What a document said before it was changed; `None` where there was none.
type Document = Option<ShootFile>;

/// The shoot.
#[derive(Debug)]
pub struct ShootSession {
    folder: PathBuf,
    /// What was not looked at.
    pub left: LeftAlone,
    paths: Vec<PathBuf>,
    files: Vec<String>,
    arrived: usize,
    /// Frames for sharpness, veil and ghosts, and what was read of them; `None` until all was.
    of_picture: Vec<PathBuf>,
    parts: Option<Vec<PartFrames>>,
    /// What was seen of the frames and measured of the parts, for the next decision.
    seen: Seen,
    measured: MeasuredParts,
    held: Held,
    on_disk: Document,
    said: Document,
    steps: Steps<Document>,
    alone: Option<(Document, BTreeMap<String, Opinion>)>,
    balance: Option<Balance>,
    number: u64,
}

impl ShootSession {
    /// A folder whose files are known by name alone; `document` is the shoot.json in it.
    #[must_use]
    pub fn new(
        folder: PathBuf,
        paths: Vec<PathBuf>,
        files: Vec<String>,
        left: LeftAlone,
        of_picture: Vec<PathBuf>,
        document: Option<ShootFile>,
    ) -> Self {
        let parts = of_picture.is_empty().then(Vec::new);
        let held = Held::Reading(vec![None; files.len()]);
        Self {
            folder,
            left,
            paths,
            files,
            arrived: 0,
            of_picture,
            parts,
            seen: Seen::default(),
            measured: MeasuredParts::default(),
            held,
            said: document.clone(),
            on_disk: document,
            steps: Steps::default(),
            alone: None,
            balance: None,
            number: 0,
        }
    }
    /// Which of the folders that were chosen it is.
    #[must_use]
    pub fn number(&self) -> u64 {
        self.number
    }
    /// Says which of the folders that were chosen it is.
    pub fn set_number(&mut self, number: u64) {
        self.number = number;
    }
    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }
    /// Names as shown, in the order of their numbers.
    #[must_use]
    pub fn files(&self) -> &[String] {
        &self.files
    }
    /// The same as paths.
    #[must_use]
    pub fn paths(&self) -> &[PathBuf] {
        &self.paths
    }
    /// Files for sharpness, veil and ghosts, which are no frames of the shoot.
    #[must_use]
    pub fn of_picture(&self) -> &[PathBuf] {
        &self.of_picture
    }
    /// How many files were read, and of how many.
    #[must_use]
    pub fn progress(&self) -> [usize; 2] {
        let more = self.of_picture.len();
        [self.arrived + if self.parts.is_some() { more } else { 0 }, self.files.len() + more]
    }
    /// What came out; `None` while frames are being read.
    #[must_use]
    pub fn outcome(&self) -> Option<&Outcome> {
        match &self.held {
            Held::Reading(_) => None,
            Held::Judged(outcome) => Some(outcome),
        }
    }
    /// What was said, as the document that would be written.
    #[must_use]
    pub fn said(&self) -> Option<&ShootFile> {
        self.said.as_ref()
    }
    /// The folder's document as it was when the folder was opened, or as it was saved.
    #[must_use]
    pub fn on_disk(&self) -> Option<&ShootFile> {
        self.on_disk.as_ref()
    }
    /// Whether something was said that the folder's document does not say.
    #[must_use]
    pub fn is_unsaved(&self) -> bool {
        self.said != self.on_disk
    }
    /// Whether there is something to take back, and to do again.
    #[must_use]
    pub fn steps(&self) -> (bool, bool) {
        self.steps.are_there()
    }
    /// What the program by itself takes a frame for.
    #[must_use]
    pub fn opinion(&self, file: &str) -> Option<&Opinion> {
        self.alone.as_ref()?.1.get(file)
    }
    /// A frame's cells with the balance to show them by; `None` until it was read.
    #[must_use]
    pub fn picture(&self, id: usize) -> Option<(&FrameSummary, Balance)> {
        let summary = match &self.held {
            Held::Reading(slots) => slots.get(id)?.as_ref()?.outcome.as_ref().ok()?,
            Held::Judged(outcome) => {
                let file = self.files.get(id)?;
                &outcome.shoot.frames.iter().find(|f| f.file() == file)?.summary
            }
        };
        Some((summary, Balance::shown(summary, self.balance)))
    }
    /// Which pictures are shown alike: changes where all have to be drawn again.
    #[must_use]
    pub fn balance(&self) -> Option<Balance> {
        self.balance
    }

    /// Takes what was read of one file; with the last one all are judged.
    pub fn take(&mut self, id: usize, candidate: Candidate) {
        let Held::Reading(slots) = &mut self.held else { return };
        let Some(slot) = slots.get_mut(id).filter(|slot| slot.is_none()) else { return };
        *slot = Some(candidate);
        self.arrived += 1;
        self.judge_when_all_is_read();
    }
    /// Takes what was read for sharpness, veil and ghosts.
    pub fn take_picture(&mut self, parts: Vec<PartFrames>) {
        self.parts = Some(parts);
        self.measured = MeasuredParts::default();
        self.judge_when_all_is_read();
    }
    fn judge_when_all_is_read(&mut self) {
        if self.arrived == self.files.len() && self.parts.is_some() {
            self.judge();
        }
    }

    /// Says of frames what they are; frames that were sorted by the program are named as it took
    /// them first, since a shoot of which some frames are named is taken at its word.
    ///
    /// # Errors
    /// While frames are being read.
    pub fn decide(&mut self, ids: &[usize], said: Said, mark: Option<&str>) -> Result<(), String> {
        let names = self.names(ids)?;
        let mut document = self.said.clone().unwrap_or_else(ShootFile::empty);
        if said != Said::Out && !said::is_labelled(&document) {
            document = self.understood(document);
        }
        for name in &names {
            let known = said::of_frame(&document, name).and_then(|(_, mark)| mark);
            let given = mark.map(str::to_owned).or(known);
            let given = given.or_else(|| {
                self.outcome().and_then(|o| o.nearest_mark(name)).filter(|_| said == Said::Filtered)
            });
            said::say(&mut document, name, said, given.as_deref());
        }
        self.change(Some(document));
        Ok(())
    }
    /// Takes frames as the program does.
    ///
    /// # Errors
    /// While frames are being read.
    pub fn leave_to_program(&mut self, ids: &[usize]) -> Result<(), String> {
        let names = self.names(ids)?;
        let Some(mut document) = self.said.clone() else { return Ok(()) };
        let labelled = said::is_labelled(&document);
        for name in &names {
            match self.opinion(name).filter(|_| labelled) {
                Some(Opinion { taken: Some(taken), mark, .. }) => {
                    said::say(&mut document, name, *taken, mark.as_deref());
                }
                Some(Opinion { taken: None, .. }) => {
                    said::say(&mut document, name, Said::Out, None);
                }
                None => said::unsay(&mut document, name),
            }
        }
        self.change(Some(document));
        Ok(())
    }
    /// Takes all frames as the program does.
    ///
    /// # Errors
    /// While frames are being read.
    pub fn leave_all_to_program(&mut self) -> Result<(), String> {
        self.names(&[])?;
        let document = self.said.as_ref().map(said::without_frames);
        self.change(document);
        Ok(())
    }
    /// Names the marks of the filter's states in the order in which they appear.
    ///
    /// # Errors
    /// While frames are being read, and where there are more or fewer states than names.
    pub fn name_marks(&mut self, marks: &[String]) -> Result<(), String> {
        self.names(&[])?;
        let Some(outcome) = self.outcome() else { return Ok(()) };
        let shown = self.states();
        let found = count(shown.len(), "state");
        let fits = |states: &Vec<Nameable>| states.len() == marks.len();
        let Some(states) = [shown, marks::named(&outcome.shoot)].into_iter().find(fits) else {
            let named = count(marks.len(), "name");
            return Err(format!(
                "{named} for {found} of the filter; give one name for each state, in their order"
            ));
        };
        let mut document = self.said.clone().unwrap_or_else(ShootFile::empty);
        if !said::is_labelled(&document) {
            document = self.understood(document);
        }
        let of_state = states.iter().zip(marks);
        for (file, mark) in of_state.flat_map(|(s, mark)| s.files.iter().map(move |f| (f, mark))) {
            if let Some((Said::Filtered, _)) = said::of_frame(&document, file) {
                said::say(&mut document, file, Said::Filtered, Some(mark));
            }
        }
        self.change(Some(document));
        Ok(())
    }
    /// The filter's states as they can be named.
    #[must_use]
    pub fn states(&self) -> Vec<Nameable> {
        let alone = self.alone.as_ref().map(|(_, opinions)| opinions);
        self.outcome().map(|o| marks::states(&o.shoot, alone)).unwrap_or_default()
    }
    /// Says what is claimed of the filter.
    ///
    /// # Errors
    /// While frames are being read.
    pub fn claim(&mut self, claims: Claims) -> Result<(), String> {
        self.names(&[])?;
        let mut document = self.said.clone().unwrap_or_else(ShootFile::empty);
        said::claim(&mut document, claims);
        self.change(Some(document));
        Ok(())
    }
    /// Takes the last step back.
    pub fn undo(&mut self) {
        if self.steps.undo(&mut self.said) {
            self.judge();
        }
    }
    /// Does what was taken back again.
    pub fn redo(&mut self) {
        if self.steps.redo(&mut self.said) {
            self.judge();
        }
    }
    /// The folder's document now says what was said.
    pub fn saved(&mut self) {
        self.on_disk = self.said.clone();
    }

    /// The command line that measures this folder, with what was said.
    ///
    /// # Errors
    /// Where a folder's path is no argument, which does not happen.
    pub fn arguments(&self) -> Result<MeasureArgs, Failure> {
        outcome::arguments(&self.folder, self.said.as_ref())
    }
    /// How the filter is called, as said or by its folder.
    #[must_use]
    pub fn name(&self) -> String {
        let said = self.said.as_ref().and_then(|f| f.filter.name.clone());
        said.unwrap_or_else(|| {
            self.folder.file_name().map_or_else(|| "filter".into(), |n| n.to_string_lossy().into())
        })
    }

    fn names(&self, ids: &[usize]) -> Result<Vec<String>, String> {
        if self.outcome().is_none() {
            return Err("the frames are still being read; wait until all are there".to_owned());
        }
        let name = |&id: &usize| {
            self.files.get(id).cloned().ok_or_else(|| "there is no such frame".to_owned())
        };
        ids.iter().map(name).collect()
    }
    fn understood(&self, document: ShootFile) -> ShootFile {
        let Some(outcome) = self.outcome() else { return document };
        let (kind, name) = (document.filter.kind, document.filter.name.clone());
        let mut file = shoot_json::understood(Some(document), &outcome.shoot, &outcome.records, "");
        // What kind it is and how it is called stays open: only the frames are named here.
        (file.filter.kind, file.filter.name) = (kind, name);
        file
    }
    fn change(&mut self, document: Document) {
        // A document that says nothing is none, unless the folder holds one.
        let says = |d: &ShootFile| *d != ShootFile::empty() || self.on_disk.is_some();
        let document = document.filter(says);
        if document == self.said {
            return;
        }
        self.steps.take(&mut self.said, document);
        self.judge();
    }

    /// Sorts and measures what was read anew.
    fn judge(&mut self) {
        let mut read = match std::mem::replace(&mut self.held, Held::Reading(Vec::new())) {
            Held::Reading(slots) => slots.into_iter().flatten().collect(),
            Held::Judged(outcome) => candidates(outcome.shoot, &self.files),
        };
        let without = self.said.as_ref().map(said::without_frames);
        let alone = without.filter(|d| *d != ShootFile::empty() || self.on_disk.is_some());
        let is_known = self.alone.as_ref().is_some_and(|(of, _)| *of == alone);
        let (folder, files, seen) = (&self.folder, &self.files, &mut self.seen);
        if !is_known && alone != self.said {
            let (found, again) = opinions_of(folder, files, read, alone.as_ref(), seen);
            self.alone = Some((alone.clone(), found));
            read = again;
        }
        let mut outcome = outcome::of(folder, files, read, self.said.as_ref(), seen);
        if let (Ok(profile), Some(parts)) = (&mut outcome.result, &self.parts) {
            profile.picture = picture::measured_again(parts, profile, &mut self.measured);
        }
        if alone == self.said {
            self.alone = Some((alone, opinions(&outcome.shoot)));
        }
        self.settle(outcome);
    }
    fn settle(&mut self, outcome: Outcome) {
        self.balance = Balance::of_shoot(&outcome.shoot.frames);
        self.held = Held::Judged(Box::new(outcome));
    }
}
