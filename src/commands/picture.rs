//! Frames for sharpness, veil and ghosts: read through the workers, edges with all their counts.

use crate::commands::console::Console;
use crate::commands::gather;
use crate::frame::Area;
use crate::measure::picture::folders::part_of;
use crate::measure::picture::{
    KnownFilter, MeasuredParts, PartFrames, PicturePart, Taken, TakenAs, find, measure_again,
};
use crate::profile::{Picture, Profile};
use crate::read::ReadOptions;
use crate::read::pool::places::{Files, with_places};
use crate::read::pool::{self, Unreadable, WithPatches, Worker};
use crate::reduce::grid::FrameSummary;
use crate::shoot::frames::timed;
use crate::shoot::{Wish, order};
use std::path::{Path, PathBuf};

/// Reads and measures what lies in the folders of these parts; `None` where nothing does.
pub fn picture(
    files: &[PathBuf],
    folder: &Path,
    wish: &Wish,
    options: ReadOptions,
    profile: &Profile,
    console: &Console,
) -> Option<Picture> {
    measured(&read_told(files, folder, wish, options, console), profile)
}

/// Reads what lies in the folders of these parts, and shows how far it is.
pub fn read_told(
    files: &[PathBuf],
    folder: &Path,
    wish: &Wish,
    options: ReadOptions,
    console: &Console,
) -> Vec<PartFrames> {
    if files.is_empty() {
        return Vec::new();
    }
    let bar = console.progress(files.len(), "reading sharpness, veil and ghosts");
    let parts = read(files, folder, wish, options, &|| bar.inc(1));
    bar.finish_and_clear();
    parts
}

/// Reads what lies in the folders of these parts.
pub fn read(
    files: &[PathBuf],
    folder: &Path,
    wish: &Wish,
    options: ReadOptions,
    progress: &dyn Fn(),
) -> Vec<PartFrames> {
    let worker = gather::worker();
    let reader = Reading { folder, options, worker: &worker, progress };
    PicturePart::ALL.into_iter().filter_map(|part| reader.part(part, files, wish)).collect()
}

/// Measures parts that were read; `None` where there are none.
#[must_use]
pub fn measured(parts: &[PartFrames], profile: &Profile) -> Option<Picture> {
    measured_again(parts, profile, &mut MeasuredParts::default())
}

/// The same of parts that were measured before, perhaps beside another profile.
#[must_use]
pub fn measured_again(
    parts: &[PartFrames],
    profile: &Profile,
    before: &mut MeasuredParts,
) -> Option<Picture> {
    if parts.is_empty() {
        return None;
    }
    let only = profile.settings.first().filter(|_| profile.settings.len() == 1);
    let dark_end = profile.graduation.is_some();
    let known = KnownFilter {
        strength: only.filter(|_| !dark_end).map(|s| s.strength.stops),
        slot: profile.filter.form == Some(crate::profile::Form::Slot),
    };
    Some(measure_again(parts, known, before))
}

struct Reading<'a> {
    folder: &'a Path,
    options: ReadOptions,
    worker: &'a Worker,
    progress: &'a dyn Fn(),
}

impl Reading<'_> {
    fn part(&self, part: PicturePart, files: &[PathBuf], wish: &Wish) -> Option<PartFrames> {
        let said = |file: &PathBuf| part_of(&pool::shown(file, self.folder));
        let own: Vec<PathBuf> =
            files.iter().filter(|f| said(f).is_some_and(|(p, _)| p == part)).cloned().collect();
        if own.is_empty() {
            return None;
        }
        let (places, read) = match part {
            PicturePart::Sharpness => self.with_edges(&own),
            PicturePart::Veil | PicturePart::Ghost => (Vec::new(), self.plain(&own)),
        };
        let (mut summaries, mut states, mut patches, mut unread) =
            (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for (file, result) in own.iter().zip(read) {
            match result {
                Ok((summary, counts)) => {
                    summaries.push(summary);
                    patches.push(counts);
                    states.push(said(file).and_then(|(_, state)| state));
                }
                Err(why) => unread.push((why.file.clone(), why.error.to_string())),
            }
        }
        let order = order::order(&summaries.iter().map(|s| &s.info).collect::<Vec<_>>());
        let (states, patches): (Vec<Option<TakenAs>>, Vec<_>) =
            (order.sorted(states), order.sorted(patches));
        let timed = timed(order.sorted(summaries), order.timed, wish);
        let frames = timed.into_iter().zip(states).zip(patches);
        let frames =
            frames.map(|((timed, said), patches)| Taken { timed, said, patches }).collect();
        Some(PartFrames { part, frames, places, unread })
    }

    /// Edges lie at the same places in all frames.
    fn with_edges(&self, files: &[PathBuf]) -> (Vec<Area>, Vec<Result<WithPatches, Unreadable>>) {
        let files = Files { files, base: self.folder, options: self.options, worker: self.worker };
        let find = |summary: &FrameSummary| find::edges(summary).iter().map(|f| f.area).collect();
        with_places(files, &find, self.progress)
    }

    fn plain(&self, files: &[PathBuf]) -> Vec<Result<WithPatches, Unreadable>> {
        let each = |_| (self.progress)();
        let read = pool::summaries(files, self.folder, self.options, self.worker, &each);
        read.into_iter().map(|one| one.map(|summary| (summary, Vec::new()))).collect()
    }
}
