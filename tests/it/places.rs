//! The counts of places that the first file with an edge tells, from one decoding of each file.

#![allow(clippy::unwrap_used)]

use lightloss::frame::Area;
use lightloss::read::pool::Worker;
use lightloss::read::pool::places::{Files, with_places};
use lightloss::read::{ReadOptions, read_frame};
use lightloss::reduce::grid::FrameSummary;
use lightloss_test_files::small_dng::SmallDng;
use std::cell::Cell;
use std::path::{Path, PathBuf};

/// Files of different sizes, so that none can be taken for another, and one that is no picture.
fn folder(count: usize, broken: usize) -> (tempfile::TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().unwrap();
    let file = |i: usize| {
        let path = folder.path().join(format!("frame{i}.dng"));
        let dng = whole(96 + 2 * i);
        let bytes = dng.tiff().finish();
        std::fs::write(&path, if i == broken { b"no picture".to_vec() } else { bytes }).unwrap();
        path
    };
    let files = (0..count).map(file).collect();
    (folder, files)
}

fn whole(width: usize) -> SmallDng {
    let right = u32::try_from(width).unwrap() - 1;
    SmallDng { width, height: 70, active: [3, 1, 69, right], ..SmallDng::default() }
}

fn check(worker: &Worker, shows: usize, broken: usize, expected: bool) {
    let (folder, files) = folder(9, broken);
    // No frame has the second place.
    let wanted = vec![
        Area { left: 5, top: 7, width: 20, height: 11 },
        Area { left: 900, top: 0, width: 8, height: 8 },
    ];
    let name = format!("frame{shows}.dng");
    let find = |summary: &FrameSummary| {
        if summary.info.file == name { wanted.clone() } else { Vec::new() }
    };
    let done = Cell::new(0);
    let progress = || done.set(done.get() + 1);
    let reading =
        Files { files: &files, base: folder.path(), options: ReadOptions::default(), worker };
    let (places, read) = with_places(reading, &find, &progress);
    assert_eq!(done.get(), files.len());
    assert_eq!(places, if expected { wanted.clone() } else { Vec::new() });
    for (i, (file, read)) in files.iter().zip(read).enumerate() {
        if i == broken {
            assert!(read.is_err(), "{i}");
            continue;
        }
        let (summary, patches) = read.unwrap();
        assert_eq!(summary.info.file, format!("frame{i}.dng"));
        assert_eq!(patches, counts(file, &places), "frame {i}, shown by {shows}");
        assert_eq!(patches.iter().flatten().count(), usize::from(expected));
    }
}

fn counts(file: &Path, places: &[Area]) -> Vec<Option<lightloss::frame::patch::Patch>> {
    let frame = read_frame(file, "frame", ReadOptions::default()).unwrap();
    places.iter().map(|place| frame.patch(*place)).collect()
}

#[test]
fn every_file_gives_the_places_that_the_first_to_show_some_tells() {
    let program = Worker::Program(PathBuf::from(env!("CARGO_BIN_EXE_lightloss")));
    for worker in [&program, &Worker::InProcess] {
        for (shows, broken) in [(0, 1), (1, 0), (2, 8), (2, 1)] {
            check(worker, shows, broken, true);
        }
        // Only the first three are looked at.
        check(worker, 3, 5, false);
    }
}
