//! Frames for sharpness, veil and ghosts: read through the workers, edges with all their counts.

use crate::commands::console::Console;
use crate::commands::gather;
use crate::frame::Area;
use crate::measure::picture::folders::part_of;
use crate::measure::picture::{
    KnownFilter, PartFrames, PicturePart, Taken, TakenAs, find, measure,
};
use crate::profile::{Picture, Profile};
use crate::read::ReadOptions;
use crate::read::pool::{self, WithPatches, Worker};
use crate::shoot::frames::observe;
use crate::shoot::{Wish, order};
use std::path::{Path, PathBuf};

/// Frames of these that are looked at for edges until one shows some.
const LOOKS: usize = 3;

/// Reads and measures what lies in the folders of these parts; `None` where nothing does.
pub fn picture(
    files: &[PathBuf],
    folder: &Path,
    wish: &Wish,
    options: ReadOptions,
    profile: &Profile,
    console: &mut Console,
) -> Option<Picture> {
    if files.is_empty() {
        return None;
    }
    let bar = console.progress(files.len(), "reading sharpness, veil and ghosts");
    let parts = read(files, folder, wish, options, &|| bar.inc(1));
    bar.finish_and_clear();
    measured(&parts, profile)
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
    if parts.is_empty() {
        return None;
    }
    let only = profile.settings.first().filter(|_| profile.settings.len() == 1);
    let dark_end = profile.graduation.is_some();
    let known = KnownFilter {
        strength: only.filter(|_| !dark_end).map(|s| s.strength.stops),
        slot: profile.filter.form == Some(crate::profile::Form::Slot),
    };
    Some(measure(parts, known))
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
        let places = if part == PicturePart::Sharpness { self.places(&own) } else { Vec::new() };
        let (mut summaries, mut states, mut patches, mut unread) =
            (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for (file, result) in own.iter().zip(self.read(&own, &places, self.progress)) {
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
        let observed = observe(order.sorted(summaries), order.timed, wish);
        let frames = observed.into_iter().zip(states).zip(patches);
        let frames =
            frames.map(|((observed, said), patches)| Taken { observed, said, patches }).collect();
        Some(PartFrames { part, frames, places, unread })
    }

    fn read(
        &self,
        files: &[PathBuf],
        places: &[Area],
        progress: &dyn Fn(),
    ) -> Vec<Result<WithPatches, pool::Unreadable>> {
        let each = |_| progress();
        pool::with_patches(files, places, self.folder, self.options, self.worker, &each)
    }

    /// Where the edges are, by the first frame that shows some: all others hold them at the same
    /// places, and are decoded once.
    fn places(&self, files: &[PathBuf]) -> Vec<Area> {
        let few = files.len().min(LOOKS);
        let looked = (0..few).map(|i| {
            let read = self.read(&files[i..=i], &[], &|| ());
            let summary = read.into_iter().next().and_then(Result::ok).map(|(s, _)| s);
            summary.map_or_else(Vec::new, |s| find::edges(&s).iter().map(|f| f.area).collect())
        });
        let mut looked = looked;
        looked.find(|places: &Vec<Area>| !places.is_empty()).unwrap_or_default()
    }
}
