//! Many files with the counts of the same places, which the first file that shows them tells: each is
//! decoded once, since a worker holds its frame until the places are known.

use super::{Reader, Unreadable, WithPatches, Worker, at_once};
use crate::frame::Area;
use crate::read::ReadOptions;
use crate::reduce::grid::FrameSummary;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError, mpsc};
use std::thread;

/// So many files, the first ones, are looked at for places.
const LOOKS: usize = 3;

/// What is read, and how.
#[derive(Clone, Copy)]
pub struct Files<'a> {
    /// The files.
    pub files: &'a [PathBuf],
    /// From where their names are shown.
    pub base: &'a Path,
    /// How they are read.
    pub options: ReadOptions,
    /// Who decodes.
    pub worker: &'a Worker,
}

/// Reads and reduces files, one worker a core, with all counts of the places that `find` sees in the
/// first of them that shows some. `progress` is called as each is done.
pub fn with_places(
    files: Files<'_>,
    find: &(dyn Fn(&FrameSummary) -> Vec<Area> + Sync),
    progress: &dyn Fn(),
) -> (Vec<Area>, Vec<Result<WithPatches, Unreadable>>) {
    let looks = Looks::of(files.files.len().min(LOOKS));
    let next = AtomicUsize::new(0);
    let mut found: Vec<Option<Result<WithPatches, Unreadable>>> = vec![None; files.files.len()];
    let (send, results) = mpsc::channel();
    thread::scope(|scope| {
        for _ in 0..at_once().min(files.files.len()) {
            let (send, next, looks) = (send.clone(), &next, &looks);
            scope.spawn(move || {
                let mut reader = Reader::new(files.worker.clone(), files.options);
                while let Some(index) =
                    Some(next.fetch_add(1, Ordering::Relaxed)).filter(|i| *i < files.files.len())
                {
                    let others = || next.load(Ordering::Relaxed) < looks.count;
                    let read = looks.read(index, &files, &mut reader, find, &others);
                    // The receiver outlives the scope.
                    let _ = send.send((index, read));
                }
            });
        }
        drop(send);
        for (index, result) in results {
            found[index] = Some(result);
            progress();
        }
    });
    let places = looks.places();
    // What was let go before the places were known, and what no worker came to.
    let mut reader = Reader::new(files.worker.clone(), files.options);
    let whole = files.files.iter().zip(found).map(|(file, read)| match read {
        Some(Ok((_, patches))) if patches.len() != places.len() => {
            reader.with_patches(file, files.base, &places)
        }
        Some(read) => read,
        None => reader.with_patches(file, files.base, &places),
    });
    let whole = whole.collect();
    (places, whole)
}

/// What the first files showed.
struct Looks {
    count: usize,
    seen: Mutex<Vec<Option<Vec<Area>>>>,
    told: Condvar,
}

impl Looks {
    fn of(count: usize) -> Self {
        Self { count, seen: Mutex::new(vec![None; count]), told: Condvar::new() }
    }

    fn seen(&self) -> MutexGuard<'_, Vec<Option<Vec<Area>>>> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Reads one file; `others` tells whether files to look at wait for a worker.
    fn read(
        &self,
        index: usize,
        files: &Files<'_>,
        reader: &mut Reader,
        find: &(dyn Fn(&FrameSummary) -> Vec<Area> + Sync),
        others: &dyn Fn() -> bool,
    ) -> Result<WithPatches, Unreadable> {
        let file = &files.files[index];
        // The lock must not last while the file is read.
        let known = decided(&self.seen());
        if let Some(places) = known {
            return reader.with_patches(file, files.base, &places);
        }
        let read = reader.held(file, files.base);
        if index < self.count {
            let shown = read.as_ref().map(find).unwrap_or_default();
            self.seen()[index] = Some(shown);
            self.told.notify_all();
        }
        let summary = read?;
        let mut seen = self.seen();
        while decided(&seen).is_none() && !others() {
            seen = self.told.wait(seen).unwrap_or_else(PoisonError::into_inner);
        }
        let places = decided(&seen).unwrap_or_default();
        drop(seen);
        if places.is_empty() {
            return Ok((summary, Vec::new()));
        }
        match reader.counts(file, files.base, &places) {
            Ok(patches) => Ok((summary, patches)),
            Err(_) => reader.with_patches(file, files.base, &places),
        }
    }

    fn places(&self) -> Vec<Area> {
        decided(&self.seen()).unwrap_or_default()
    }
}

/// The places of the first file that shows some, once all before it have been looked at.
fn decided(seen: &[Option<Vec<Area>>]) -> Option<Vec<Area>> {
    for look in seen {
        match look {
            Some(places) if places.is_empty() => {}
            other => return other.clone(),
        }
    }
    Some(Vec::new())
}
