//! Real raw files against LibRaw 0.22's integer sums. The folder stands outside the repository;
//! without `LIGHTLOSS_RAW_SAMPLES` these tests say that they are skipped.

#![allow(clippy::print_stderr)]

use lightloss::frame::cfa::Plane;
use lightloss::frame::{Frame, Samples};
use lightloss::read::{ReadOptions, read_frame};
use serde_json::Value;
use std::path::PathBuf;

fn samples() -> Option<(PathBuf, Vec<Value>)> {
    let Some(folder) = std::env::var_os("LIGHTLOSS_RAW_SAMPLES").map(PathBuf::from) else {
        eprintln!("SKIPPED: LIGHTLOSS_RAW_SAMPLES is not set, no real raw files to read");
        return None;
    };
    let manifest = std::fs::read_to_string(folder.join("manifest.json")).expect("a manifest");
    Some((folder, serde_json::from_str(&manifest).expect("the manifest is JSON")))
}

/// Sums and counts over LibRaw's active area, from the whole decoded frame.
fn sums(frame: &Frame, area: [usize; 4]) -> [(u64, u64); 4] {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { panic!("not a mosaic") };
    let [left, top, width, height] = area;
    let mut out = [(0, 0); 4];
    for row in top..top + height {
        for column in left..left + width {
            // The pattern counts from our own active area, which may begin after LibRaw's.
            let down = row + 6 * mosaic.height - frame.active.top;
            let across = column + 6 * mosaic.width - frame.active.left;
            let place = match cfa.plane(down, across) {
                Plane::Red => 0,
                Plane::Green1 => 1,
                Plane::Blue => 2,
                Plane::Green2 => 3,
            };
            out[place].0 += u64::from(mosaic.data[row * mosaic.width + column]);
            out[place].1 += 1;
        }
    }
    out
}

fn area_of(record: &Value) -> [usize; 4] {
    let numbers = record["libraw"]["active"].as_array().expect("an area");
    std::array::from_fn(|i| numbers[i].as_u64().expect("a number") as usize)
}

fn expected(record: &Value) -> [(u64, u64); 4] {
    ["R", "G", "B", "G2"].map(|c| {
        let number = |what: &str| record["libraw"][what][c].as_u64().expect("an integer");
        (number("sum"), number("count"))
    })
}

#[test]
fn every_real_file_is_read_with_exact_sums_or_refused_by_name() {
    let Some((folder, manifest)) = samples() else { return };
    for record in &manifest {
        let name = record["file"].as_str().expect("a name");
        match read_frame(&folder.join(name), name, ReadOptions::default()) {
            Ok(frame) => {
                eprintln!(
                    "{name}: {:?} {:?} {:?} {:?}",
                    frame.active, frame.masked, frame.levels, frame.info
                );
                assert_eq!(sums(&frame, area_of(record)), expected(record), "{name}");
            }
            Err(error) => eprintln!("{name}: {error}"),
        }
    }
}
