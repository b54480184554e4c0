//! What will be done to which photograph, settled before the first file is written.

use super::against::{self, words};
use super::job::{Candidate, Given, Job, given, job, read_files, through, view};
use super::light::{self, White};
use crate::cli::CorrectArgs;
use crate::commands::console::Console;
use crate::commands::photos::{self, Photo};
use crate::commands::profiles::Opened;
use crate::commands::{used_table, which};
use crate::editing::correct;
use crate::editing::series::{Member, series};
use crate::editing::settled::{EvennessWish, Series};
use crate::editing::used_csv::UsedRow;
use crate::editing::which::{Told, Used, possible, raw_beside};
use crate::error::Failure;
use crate::frame::{FrameInfo, Origin};
use crate::profile::Kind;
use crate::read::pool::path_text;
use std::path::{Path, PathBuf};

/// What to do where a person knows better than the light.
const IN_A_TABLE: &str = "if it was made through one, write that into the table of lightloss which and give \
                          it with --used";

/// Everything that is settled before writing.
#[derive(Default)]
pub struct Plan {
    /// The profiles.
    pub kit: Vec<Opened>,
    /// Photographs to correct.
    pub jobs: Vec<Job>,
    /// Photographs left alone, and why.
    pub skipped: Vec<(PathBuf, String)>,
    /// How many of those are at fault.
    pub faults: usize,
    pub(super) cautions: Vec<String>,
    /// Photographs of which the table, or the light, says that there is nothing to correct.
    pub(super) spoken_of: Vec<PathBuf>,
    /// Files of an earlier run that a table mended since takes back, said whatever becomes of this run.
    pub(super) left_behind: Vec<String>,
    /// Every file that is read, which nothing is written over.
    pub(super) read: Vec<PathBuf>,
}

impl Plan {
    /// Reads the kit, the table and the photographs, and settles every number.
    ///
    /// # Errors
    /// Where the command line is wrong, or a profile or the table cannot be read.
    pub fn new(args: &CorrectArgs, console: &Console) -> Result<Self, Failure> {
        let files = photos::photographs(&args.photos)?;
        let white = White::parse(args.white.as_deref(), &files)?;
        let Given { kit, table, said } = given(args)?;
        let all = read_files(args, &kit, &files);
        let mut plan = Self { kit, cautions: said, read: all, ..Self::default() };
        let mut read: Vec<Photo> = Vec::new();
        for (file, result) in files.iter().zip(photos::read(&files, console)) {
            match result {
                Ok(photo) => match &photo.corrected {
                    Some(what) if args.photos.contains(file) => {
                        plan.fault(file, photos::corrected_already(what));
                    }
                    // Of a folder it is one of its strangers.
                    Some(what) => {
                        plan.skipped.push((file.clone(), photos::corrected_already(what)))
                    }
                    None => read.push(photo),
                },
                Err(e) => plan.fault(file, format!("unreadable: {}", e.error)),
            }
        }
        plan.cautions.extend(read.iter().filter_map(|photo| photo.unread_sidecar.clone()));
        plan.leave_companions(&mut read);
        let mut candidates = match (&table, &args.used) {
            (Some(rows), Some(file)) => plan.take_table(&read, rows, file, args.mark.as_deref()),
            _ => plan.take_profiles(&read, args),
        }?;
        if let Some(rows) = &table {
            against::refuse_filtered_bare(&candidates, rows, &white)?;
            against::fill_bare_frames(&mut candidates, &read, rows);
        }
        let doubt = against::frame_against(&white, &candidates, table.as_deref(), &plan.kit)?;
        plan.cautions.extend(doubt);
        let members: Vec<Member<'_>> = candidates
            .iter()
            .map(|c| Member {
                info: &c.photo.picture.info,
                filters: &c.row.how_known,
                group: Some(c.row.group.as_str()).filter(|g| !g.is_empty()),
            })
            .collect();
        let groups = series(&members);
        for (number, group) in groups.iter().enumerate() {
            let group: Vec<&Candidate> = group.iter().map(|&i| &candidates[i]).collect();
            plan.settle(&group, number + 1, &white, &read, args);
        }
        plan.polariser_word();
        plan.picture_words();
        Ok(plan)
    }

    fn fault(&mut self, path: &Path, reason: String) {
        self.faults += 1;
        self.skipped.push((path.to_owned(), reason));
    }

    fn candidate(&self, photo: &Photo, mut row: UsedRow, filters: Vec<Used>) -> Candidate {
        // The key by which series are told apart.
        row.how_known = words(&filters, &self.kit);
        Candidate { photo: photo.clone(), row, filters, against: None }
    }

    fn take_table(
        &mut self,
        read: &[Photo],
        rows: &[UsedRow],
        table: &Path,
        mark: Option<&str>,
    ) -> Result<Vec<Candidate>, Failure> {
        let mut found = Vec::new();
        for photo in read {
            let path = &photo.path;
            let Some(row) = used_table::row_of(rows, path)? else {
                self.skipped.push((path.clone(), "not in the table; add a row for it".to_owned()));
                continue;
            };
            if row.filters.as_ref().is_none_or(Vec::is_empty) {
                self.spoken_of.push(path.clone());
            }
            match &row.filters {
                None => self.skipped.push((
                    path.clone(),
                    "its filter is not known; write it into the table".to_owned(),
                )),
                Some(none) if none.is_empty() => {
                    // It may have no mark either.
                    used_table::used(row, &row.mark, &self.kit, table)?;
                    self.skipped.push((path.clone(), "made without a filter".to_owned()));
                }
                Some(_) => {
                    let filters = self.named(row, table, mark)?;
                    found.push(self.candidate(photo, row.clone(), filters));
                }
            }
        }
        match mark {
            Some(mark) => self.mark_is_of_use(mark, &found).map(|()| found),
            None => Ok(found),
        }
    }

    /// Filters of a row, its mark given to the variable one; where it is blank, that of --mark.
    fn named(&self, row: &UsedRow, table: &Path, mark: Option<&str>) -> Result<Vec<Used>, Failure> {
        let mut used = used_table::used(row, &row.mark, &self.kit, table)?;
        if row.mark.is_empty() {
            for one in used.iter_mut().filter(|one| self.is_variable(one.filter)) {
                one.mark = self.marked(one.filter, mark)?.mark;
            }
        }
        Ok(used)
    }

    fn is_variable(&self, at: usize) -> bool {
        self.kit[at].profile.filter.kind == Kind::Variable
    }

    /// That --mark fills a blank of the table.
    fn mark_is_of_use(&self, mark: &str, found: &[Candidate]) -> Result<(), Failure> {
        let variable = |c: &&Candidate| c.filters.iter().any(|f| self.is_variable(f.filter));
        let mut variable = found.iter().filter(variable).peekable();
        let none = variable.peek().is_none();
        if !none && variable.any(|c| c.row.mark.is_empty()) {
            return Ok(());
        }
        Err(Failure::usage(if none {
            format!(
                "--mark {mark:?} belongs to a variable filter, and the table names none for these \
                 photographs; leave it out"
            )
        } else {
            format!(
                "--mark {mark:?} is for marks that are blank in the table, and it gives every \
                 photograph its own; leave it out"
            )
        }))
    }

    fn marked(&self, at: usize, mark: Option<&str>) -> Result<Used, Failure> {
        let profile = &self.kit[at].profile;
        let mark = mark.filter(|m| !m.is_empty() && self.is_variable(at));
        used_table::of_mark(profile, mark)?;
        Ok(Used { filter: at, mark: mark.map(str::to_owned) })
    }

    fn take_profiles(
        &mut self,
        read: &[Photo],
        args: &CorrectArgs,
    ) -> Result<Vec<Candidate>, Failure> {
        let filters = (0..self.kit.len())
            .map(|at| self.marked(at, args.mark.as_deref()))
            .collect::<Result<Vec<_>, _>>()?;
        if args.mark.is_some() && filters.iter().all(|f| f.mark.is_none()) {
            return Err(Failure::usage(
                "--mark belongs to a variable filter, and none of the profiles is one; leave it out".to_owned(),
            ));
        }
        let told = vec![Told::Nothing; read.len()];
        let findings = which::found(read, &self.kit, &told, false);
        let against = against::against_named(read, &findings, &filters, &self.kit);
        let mut found = Vec::new();
        for ((photo, finding), against) in read.iter().zip(&findings).zip(against) {
            let path = &photo.path;
            let row = which::row(finding, photo, &self.kit, read);
            // The filter was named, so only what is sure speaks against it.
            let bare = row.filters.as_ref().is_some_and(Vec::is_empty) && row.how_sure == "sure";
            if self.impossible(photo, &filters) {
                self.spoken_of.push(path.clone());
                let reason = format!(
                    "cannot have been made through the filter: the scene would have to be brighter than \
                     any on earth; {IN_A_TABLE}"
                );
                self.skipped.push((path.clone(), reason));
            } else if bare {
                self.spoken_of.push(path.clone());
                let reason = format!("made without a filter ({}); {IN_A_TABLE}", row.how_known);
                self.skipped.push((path.clone(), reason));
            } else {
                let candidate = self.candidate(photo, row, filters.clone());
                found.push(Candidate { against, ..candidate });
            }
        }
        Ok(found)
    }

    /// A picture that the camera wrote beside a raw frame is not corrected beside it.
    fn leave_companions(&mut self, read: &mut Vec<Photo>) {
        let infos: Vec<&FrameInfo> = read.iter().map(|photo| &photo.picture.info).collect();
        let of = raw_beside(&infos);
        for (photo, of) in read.iter().zip(&of) {
            let Some(raw) = of.and_then(|raw| read.get(raw)) else { continue };
            let raw = raw.path.file_name().unwrap_or_default();
            let reason = format!(
                "the camera's picture beside {}, which holds more; correct that one, or name this one \
                 without it",
                path_text(raw.as_ref())
            );
            self.skipped.push((photo.path.clone(), reason));
        }
        let mut beside = of.iter();
        read.retain(|_| beside.next().is_some_and(Option::is_none));
    }

    /// By the light that reached the sensor, never by the exposure alone.
    fn impossible(&self, photo: &Photo, filters: &[Used]) -> bool {
        let through = through(&self.kit, filters, &photo.picture.info);
        !possible(&photo.picture, correct::weakest(&through))
    }

    /// One series: one neutral, one choice of evenness.
    fn settle(
        &mut self,
        group: &[&Candidate],
        number: usize,
        white: &White,
        read: &[Photo],
        args: &CorrectArgs,
    ) {
        let Some(first) = group.first() else { return };
        let info = &first.photo.picture.info;
        let kit = std::mem::take(&mut self.kit);
        let through = through(&kit, &first.filters, info);
        let cast = correct::cast(&through);
        let bare: Vec<String> = group.iter().map(|c| c.row.bare_frame.clone()).collect();
        let mut neutral = None;
        let mut settled: Vec<(&Candidate, Option<[f64; 9]>)> = Vec::new();
        let gains = cast.transmittance.map(|t| 1.0 / t);
        let mixed = |candidate: &Candidate| {
            let raw = candidate.photo.picture.info.origin.is_raw();
            let matrix = || light::mixing(&candidate.photo.path, &through, gains);
            if raw { Ok(None) } else { matrix().map(Some) }
        };
        for &candidate in group {
            let asked = light::Asked {
                path: &candidate.photo.path,
                info: &candidate.photo.picture.info,
                transmittance: cast.transmittance,
                bare: &bare,
                read,
                table: args.used.is_some(),
            };
            // One odd frame is left out by name; the others of its series stay.
            match white.neutral(&asked).and_then(|found| Ok((found, mixed(candidate)?))) {
                Ok((found, mixing)) => {
                    neutral = neutral.or(Some(found));
                    settled.push((candidate, mixing));
                }
                Err(reason) => self.fault(&candidate.photo.path, reason),
            }
        }
        if let Some(light) = neutral {
            let view = |photo: &Photo| {
                let linear = photo.picture.info.origin == Origin::LinearDng;
                (!linear).then(|| view(photo, &through))
            };
            let series = Series {
                through: &through,
                cast: &cast,
                light,
                matrices: &info.matrices,
                views: settled.iter().map(|(candidate, _)| view(&candidate.photo)).collect(),
            };
            let wish = EvennessWish { wanted: args.evenness, mounted_alike: args.mounted_alike };
            let numbers = series.settled(wish);
            self.jobs.extend(settled.into_iter().map(|one| job(one, number, &numbers, args)));
        }
        self.kit = kit;
    }

    fn polariser_word(&mut self) {
        let polarisers = self.kit.iter().any(|k| k.profile.filter.kind == Kind::Polariser);
        if polarisers {
            self.cautions.push(
                "an uneven sky through a polariser is the polarisation of the sky itself, not the \
                 filter's unevenness: it is not repaired"
                    .to_owned(),
            );
        }
    }

    fn picture_words(&mut self) {
        if self.jobs.iter().any(|j| j.info.origin != Origin::Raw) {
            self.cautions.push(
                "pictures hold less than raw files, and their colours were rendered already: correct \
                 the raw files where you have them"
                    .to_owned(),
            );
        }
    }

    /// Where the numbers go.
    #[must_use]
    pub fn table_path(&self, args: &CorrectArgs) -> PathBuf {
        let beside = self.jobs.first().and_then(|j| j.out.parent());
        let folder = args.out.as_deref().or(beside).unwrap_or(Path::new(""));
        folder.join("corrections.csv")
    }
}
