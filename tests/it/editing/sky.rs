//! A sky of even light, photographed through filters that are not even: corrected, it must be flat as a
//! program sees it that applies the maps of gains by the DNG specification, and grey.

#![allow(clippy::unwrap_used)]

use crate::editing::{
    BARE, HEIGHT, LIGHT, Photo, WIDTH, decoded, dng, evening, lightloss, mosaic, profile, sum, text,
};
use lightloss::read::carried::carried;
use serde_json::{Value, json};
use std::path::Path;

/// How flat the sky and how grey it must come out, as shares.
const FLAT: f64 = 0.02;
const GREY: f64 = 0.007;
/// Tag of OpcodeList2 and number of the opcode GainMap (DNG specification 1.7.1).
const OPCODE_LIST_2: u16 = 51009;
const GAIN_MAP: u32 = 9;
/// Cells over which noise is averaged.
const CELLS: (usize, usize) = (18, 12);

const SIX: [f64; 3] = [5.90, 6.00, 6.15];
const THREE: [f64; 3] = [3.10, 3.00, 2.92];
/// Marks of a ring: what each takes, and how much more in the corners.
const MARKS: [(&str, f64, f64); 5] =
    [("1", 1.0, 0.05), ("2", 2.0, 0.12), ("3", 3.0, 0.25), ("4", 4.0, 0.45), ("5", 5.0, 0.80)];

fn ring_loss(stops: f64) -> [f64; 3] {
    [stops - 0.06, stops, stops + 0.05 * stops]
}

/// Falloff of so many stops at the corner, over the frame of 36 x 24 mm.
fn falloff(corner: f64, x: f64, y: f64) -> f64 {
    let (x, y) = ((x - 0.5) * 36.0, (y - 0.5) * 24.0);
    corner * (x * x + y * y) / (18.0f64.powi(2) + 144.0)
}

/// The profile that `profile` gives has 1.2 stop in the corners.
fn setting(loss: [f64; 3], corner: f64, mark: Option<&str>) -> Value {
    let whole: Value = serde_json::from_str(&profile("", loss)).unwrap();
    let mut one = whole["settings"][0].clone();
    one["mark"] = json!(mark);
    for channel in ["red", "green", "blue"] {
        let map = one["evenness"]["maps"][channel].as_array_mut().unwrap();
        map.iter_mut().for_each(|stops| *stops = json!(stops.as_f64().unwrap() * corner / 1.2));
    }
    one
}

fn kit(at: &Path) {
    let write = |name: &str, kind: &str, settings: Vec<Value>| {
        let mut whole: Value = serde_json::from_str(&profile(name, SIX)).unwrap();
        whole["filter"]["kind"] = json!(kind);
        whole["settings"] = json!(settings);
        std::fs::write(at.join(format!("{name}.json")), whole.to_string()).unwrap();
    };
    write("Six", "solid", vec![setting(SIX, 0.9, None)]);
    write("Three", "solid", vec![setting(THREE, 0.4, None)]);
    let ring = MARKS.map(|(mark, stops, corner)| setting(ring_loss(stops), corner, Some(mark)));
    write("Ring", "variable", ring.to_vec());
}

/// Even light of a third of the range in the middle, through so much.
fn photograph(at: &Path, file: &str, loss: [f64; 3], corner: f64) {
    let photo = Photo { seconds: 4.0, loss, ..evening().remove(1) };
    let sky = |x: f64, y: f64| -> [f64; 3] {
        std::array::from_fn(|c| {
            6_000.0 * LIGHT[c] * (loss[1] - loss[c] - falloff(corner, x, y)).exp2()
        })
    };
    std::fs::write(at.join(file), dng(&photo, sky).encode().unwrap()).unwrap();
}

struct Map {
    area: [usize; 4],
    pitch: [usize; 2],
    points: [usize; 2],
    spacing: [f64; 2],
    origin: [f64; 2],
    gains: Vec<f64>,
}

/// All GainMap opcodes of a list (DNG specification 1.7.1, opcodes: big endian).
fn maps(list: &[u8]) -> Vec<Map> {
    let long = |at: usize| u32::from_be_bytes(list[at..at + 4].try_into().unwrap()) as usize;
    let double = |at: usize| f64::from_be_bytes(list[at..at + 8].try_into().unwrap());
    let float = |at: usize| f64::from(f32::from_be_bytes(list[at..at + 4].try_into().unwrap()));
    let (mut at, mut found) = (4, Vec::new());
    for _ in 0..long(0) {
        let size = long(at + 12);
        assert_eq!(long(at) as u32, GAIN_MAP);
        let body = at + 16;
        let points = [long(body + 32), long(body + 36)];
        found.push(Map {
            area: std::array::from_fn(|i| long(body + 4 * i)),
            pitch: [long(body + 24), long(body + 28)],
            points,
            spacing: [double(body + 40), double(body + 48)],
            origin: [double(body + 56), double(body + 64)],
            gains: (0..points[0] * points[1]).map(|i| float(body + 76 + 4 * i)).collect(),
        });
        at = body + size;
    }
    found
}

impl Map {
    /// Gain of a pixel that the map is for: bilinear between its points, clamped at its ends.
    fn at(&self, row: usize, column: usize) -> Option<f64> {
        let [top, left, bottom, right] = self.area;
        let mine = (top..bottom).contains(&row) && (left..right).contains(&column);
        let hit = mine
            && (row - top).is_multiple_of(self.pitch[0])
            && (column - left).is_multiple_of(self.pitch[1]);
        if !hit {
            return None;
        }
        let place = [(row as f64 + 0.5) / HEIGHT as f64, (column as f64 + 0.5) / WIDTH as f64];
        let [(v, dv), (h, dh)]: [(usize, f64); 2] = std::array::from_fn(|i| {
            let last = self.points[i] - 1;
            let point = ((place[i] - self.origin[i]) / self.spacing[i]).clamp(0.0, last as f64);
            let first = (point.floor() as usize).min(last.saturating_sub(1));
            (first, point - first as f64)
        });
        let gain = |v: usize, h: usize| {
            self.gains[v.min(self.points[0] - 1) * self.points[1] + h.min(self.points[1] - 1)]
        };
        let upper = gain(v, h) * (1.0 - dh) + gain(v, h + 1) * dh;
        let lower = gain(v + 1, h) * (1.0 - dh) + gain(v + 1, h + 1) * dh;
        Some(upper * (1.0 - dv) + lower * dv)
    }
}

/// Means of red, green and blue over each cell, maps applied, balanced as the file says.
fn cells(path: &Path) -> Vec<[f64; 3]> {
    let bytes = std::fs::read(path).unwrap();
    let list = carried(&bytes).raw.into_iter().find(|e| e.tag == OPCODE_LIST_2).unwrap().bytes;
    let (maps, data) = (maps(&list), mosaic(path));
    assert_eq!(maps.len(), 4, "one for each place of the pattern");
    let image = decoded(path);
    let black = f64::from(image.blacklevel.levels[0].as_f32());
    let balance = image.wb_coeffs.map(f64::from);
    let mut sums = vec![[(0.0, 0.0); 3]; CELLS.0 * CELLS.1];
    for row in 0..HEIGHT {
        for column in 0..WIDTH {
            let gains: Vec<f64> = maps.iter().filter_map(|map| map.at(row, column)).collect();
            assert_eq!(gains.len(), 1, "row {row}, column {column}");
            // GRBG, as the planted camera.
            let channel = match (row % 2, column % 2) {
                (0, 1) => 0,
                (1, 0) => 2,
                _ => 1,
            };
            let light = (f64::from(data[row * WIDTH + column]) - black) * gains[0];
            let cell = row * CELLS.1 / HEIGHT * CELLS.0 + column * CELLS.0 / WIDTH;
            let sum = &mut sums[cell][channel];
            *sum = (sum.0 + light * balance[channel], sum.1 + 1.0);
        }
    }
    sums.iter().map(|cell| cell.map(|(sum, count)| sum / count)).collect()
}

fn flat_and_grey(at: &Path, file: &str, through: &[&str]) {
    let words = [&["correct", file][..], through, &["--evenness", "--white", "as-shot"]].concat();
    let output = lightloss(at, &words);
    assert_eq!(output.status.code(), Some(0), "{words:?}: {}", text(&output.stderr));
    let cells = cells(&at.join("corrected").join(file.replace(".dng", "-corrected.dng")));
    let middle = cells[CELLS.1 / 2 * CELLS.0 + CELLS.0 / 2];
    for cell in &cells {
        for channel in 0..3 {
            let off = cell[channel] / middle[channel] - 1.0;
            assert!(off.abs() < FLAT, "{words:?}: {off:.4} off in channel {channel}");
        }
    }
    let mean = |channel: usize| cells.iter().map(|cell| cell[channel]).sum::<f64>();
    for channel in [0, 2] {
        let off = mean(channel) / mean(1) - 1.0;
        assert!(off.abs() < GREY, "{words:?}: {off:.4} off grey in channel {channel}");
    }
}

#[test]
fn a_sky_through_a_solid_filter_a_stack_and_every_mark_to_five_stops_is_flat_and_grey() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    kit(at);
    photograph(at, "six.dng", SIX, 0.9);
    flat_and_grey(at, "six.dng", &["--profile", "Six.json"]);
    photograph(at, "both.dng", sum(SIX, THREE), 0.9 + 0.4);
    flat_and_grey(at, "both.dng", &["--profile", "Six.json", "Three.json"]);
    for (mark, stops, corner) in MARKS {
        let file = format!("ring{mark}.dng");
        photograph(at, &file, ring_loss(stops), corner);
        flat_and_grey(at, &file, &["--profile", "Ring.json", "--mark", mark]);
    }
}

/// What the test would see if nothing were done: the sky is neither flat nor grey.
#[test]
fn the_same_sky_without_the_maps_is_neither() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    photograph(at, "bare.dng", BARE, 0.0);
    photograph(at, "six.dng", SIX, 0.9);
    let at_corner = |file: &str| -> f64 {
        let data = mosaic(&at.join(file));
        let black = 512.0;
        let mean = |row: usize, column: usize| -> f64 {
            let block = (0..8).flat_map(|r| (0..8).map(move |c| (row + 2 * r, column + 2 * c)));
            block.map(|(r, c)| f64::from(data[r * WIDTH + c]) - black).sum()
        };
        mean(0, 0) / mean(HEIGHT / 2, WIDTH / 2)
    };
    assert!((at_corner("bare.dng") - 1.0).abs() < FLAT);
    assert!((at_corner("six.dng") - 1.0).abs() > 10.0 * FLAT);
}
