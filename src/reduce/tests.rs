#![allow(clippy::unwrap_used)]

mod left_out;

use super::grid::{CellGrid, FrameSummary};
use super::lattice::Lattice;
use super::{PlaneCells, kernel, limits, narrow, quick_look, reduce, reference};
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::counts::{Coded, Counts};
use crate::frame::{
    Area, BlackPattern, Camera, Capture, Exposure, Frame, FrameInfo, Levels, LinearRgb, Mosaic,
    Origin, Samples,
};
use fearless_simd::{Level, Simd, dispatch};
use proptest::prelude::*;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Poisson};
use std::ops::Range;
use std::sync::Arc;

const XTRANS: &str = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG";
const WHITE: u16 = 15_000;

fn frame(samples: Samples, active: Area) -> Frame {
    Frame {
        samples,
        active,
        masked: Vec::new(),
        levels: Levels { black: BlackPattern::uniform(0.0), white: WHITE },
        info: FrameInfo {
            file: "frame".to_owned(),
            sha256: String::new(),
            origin: Origin::Raw,
            camera: Camera::default(),
            exposure: Exposure::default(),
            capture: Capture::default(),
            orientation: 1,
            as_shot_neutral: None,
            matrices: Vec::new(),
            noise_reduction: None,
            subject: Vec::new(),
        },
    }
}

fn whole(width: usize, height: usize) -> Area {
    Area { left: 0, top: 0, width, height }
}

pub(super) fn mosaic(
    width: usize,
    height: usize,
    letters: &str,
    at: impl FnMut(usize) -> u16,
) -> Frame {
    let data: Vec<u16> = (0..width * height).map(at).collect();
    let cfa = Cfa::from_letters(letters).unwrap();
    frame(Samples::Raw(Mosaic { width, height, data: data.into() }, cfa), whole(width, height))
}

fn data(frame: &mut Frame) -> &mut [u16] {
    match &mut frame.samples {
        Samples::Raw(m, _) => &mut m.data,
        Samples::Rendered(p) => &mut p.data,
    }
}

/// Normal noise about a level, whole counts.
fn noisy(width: usize, height: usize, letters: &str, level: f64, sigma: f64, seed: u64) -> Frame {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let noise = Normal::new(level, sigma).unwrap();
    mosaic(width, height, letters, |_| noise.sample(&mut random).round() as u16)
}

/// Light over all cells and planes: sum of kept counts over kept pixels.
fn mean_of(summary: &FrameSummary) -> f64 {
    let planes = &summary.cells.planes;
    let sum: f64 = planes.iter().flat_map(|p| &p.sum).map(|&s| f64::from(s)).sum();
    let kept: f64 =
        planes.iter().flat_map(|p| (0..p.sum.len()).map(|i| f64::from(p.kept(i)))).sum();
    sum / kept
}

fn rejected(summary: &FrameSummary) -> usize {
    summary.cells.planes.iter().flat_map(|p| &p.rejected).map(|&r| usize::from(r)).sum()
}

prop_compose! {
    fn any_frame()(
        width in 1_usize..300, height in 1_usize..200,
        left in 0_usize..8, top in 0_usize..8, right in 0_usize..4, bottom in 0_usize..4,
        kind in 0_usize..6, seed: u64, level in 0_u16..u16::MAX, spread in 1_u16..400,
        odd_one_in in 20_u32..2_000, relief in 0_u16..3_000, (wide, high) in (1_usize..40, 1_usize..200),
    ) -> Frame {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (full_width, full_height) = (left + width + right, top + height + bottom);
        let channels = if kind == 5 { 3 } else { 1 };
        let data: Vec<u16> = (0..full_width * full_height * channels)
            .map(|i| {
                if random.random_ratio(1, odd_one_in) { return random.random(); }
                // Two levels side by side in the upper part: cells with edges.
                let edge = (i / wide) % 2 == 1 && i / full_width < high;
                let level = level.saturating_add(if edge { relief } else { 0 });
                level.saturating_add(random.random_range(0..spread) + random.random_range(0..spread))
            })
            .collect();
        let letters = ["RGGB", "GRBG", "GBRG", "BGGR", XTRANS];
        let samples = match letters.get(kind) {
            Some(letters) => Samples::Raw(
                Mosaic { width: full_width, height: full_height, data: data.into() },
                Cfa::from_letters(letters).unwrap().shifted(top, left),
            ),
            None => Samples::Rendered(LinearRgb { width: full_width, height: full_height, data: data.into() }),
        };
        frame(samples, Area { left, top, width, height })
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    #[test]
    fn kernel_and_second_look_equal_the_slow_way(frame in any_frame()) {
        prop_assert_eq!(reduce(&frame), reference::reduce(&frame));
    }
}

#[derive(Debug)]
struct Rows(usize, Vec<u16>);

impl Coded for Rows {
    fn size(&self) -> (usize, usize) {
        (self.0, self.1.len() / self.0)
    }
    fn decode(&self, rows: Range<usize>, columns: Range<usize>, counts: &mut Vec<u16>) {
        Counts::from(self.1.clone()).part(self.0, rows, columns, counts);
    }
}

/// Counts that are decoded row by row have the sums of those at hand, masked ones and odd borders
/// included, whatever their bits.
#[test]
fn sums_hang_not_on_when_pixels_are_decoded() {
    for (letters, white) in [("GBRG", WHITE), (XTRANS, WHITE), ("RGGB", u16::MAX)] {
        let mut frame = noisy(355, 203, letters, 900.0, 20.0, 3);
        data(&mut frame).iter_mut().step_by(191).for_each(|v| *v = WHITE - 5);
        frame.active = Area { left: 31, top: 3, width: 321, height: 199 };
        frame.masked = vec![Area { left: 0, top: 0, width: 30, height: 203 }];
        frame.levels.white = white;
        let at_hand = reduce(&frame);
        let counts = Counts::coded(Arc::new(Rows(355, data(&mut frame).to_vec())));
        if let Samples::Raw(mosaic, _) = &mut frame.samples {
            mosaic.data = counts;
        }
        assert!(rejected(&at_hand) > 0 && at_hand.masked.is_some() == (letters != XTRANS));
        assert_eq!(reduce(&frame), at_hand, "{letters}");
        assert_eq!(reference::reduce(&frame), at_hand, "{letters}");
    }
}

#[test]
fn sums_are_those_of_the_pixels_of_a_plane() {
    // A count names its own place, so that every sum is a closed form.
    let frame = mosaic(64, 32, "GBRG", |i| (i % 64) as u16);
    let summary = reduce(&frame);
    assert_eq!((summary.cells.columns, summary.cells.rows), (2, 1));
    let plane = |p| summary.cells.plane(p).unwrap();
    // In GBRG red lies at even columns of odd rows, blue at odd columns of even rows.
    assert_eq!(plane(Plane::Red).sum, [16 * 240, 16 * (240 + 16 * 32)]);
    assert_eq!(plane(Plane::Blue).sum, [16 * 256, 16 * (256 + 16 * 32)]);
    assert_eq!(plane(Plane::Green1).sum, [16 * 256, 16 * (256 + 16 * 32)]);
    assert_eq!(plane(Plane::Green2).sum, [16 * 240, 16 * (240 + 16 * 32)]);
    assert_eq!(plane(Plane::Red).squares[0], 16 * (4 * 1240)); // 4 (0 + 1 + ... + 15 squared)
    assert_eq!(plane(Plane::Red).count, [256, 256]);
}

/// The processor's own vectors, narrower ones of it, and those that every processor of its kind has.
fn kinds_of_vectors() -> Vec<Level> {
    let mut kinds = vec![Level::new(), Level::baseline()];
    #[cfg(target_arch = "x86_64")]
    kinds.extend(Level::new().as_avx2().map(|avx2| avx2.level()));
    kinds
}

#[test]
fn sums_hang_on_no_kind_of_vectors() {
    // Widths with cells and parts that are not whole, some clipped pixels, and some whose squares no
    // vector holds.
    for letters in ["RGGB", XTRANS] {
        let at = |i: usize| match i {
            4321 => WHITE,
            _ if i % 211 < 72 && i >= 72 * 211 => u16::MAX,
            _ => (i * 7919 % 12_289) as u16,
        };
        let frame = mosaic(211, 103, letters, at);
        let slow = reference::reduce(&frame).cells.planes;
        assert!(slow.iter().flat_map(|p| &p.rejected).all(|&rejected| rejected == 0));
        let lattice = Lattice::of(&frame);
        for level in kinds_of_vectors() {
            let (mut planes, mut beside) = (lattice.empty_planes(), 0);
            let count = |lattice: &Lattice<'_>,
                         row: usize,
                         planes: &mut [PlaneCells],
                         columns: &[usize]| {
                for cell in columns.iter().map(|column| row * lattice.columns + column) {
                    let clipped = dispatch!(level, simd => narrow::clipped(simd, lattice, cell));
                    for (plane, clipped) in planes.iter_mut().zip(clipped) {
                        plane.clipped[cell] = clipped;
                    }
                }
            };
            kernel::add_up_by(level, &lattice, &mut planes, count, |n| beside += n);
            assert_eq!(planes, slow, "{letters}, {level:?}");
            assert_eq!(beside, 211 * 103);
        }
    }
}

#[test]
fn the_largest_counts_do_not_overflow() {
    let mut frame = mosaic(72, 72, XTRANS, |_| u16::MAX);
    frame.levels.white = u16::MAX;
    let summary = reduce(&frame);
    for plane in &summary.cells.planes {
        for cell in 0..4 {
            assert_eq!(plane.sum[cell], plane.count[cell] * 65_535);
            assert_eq!(plane.squares[cell], u64::from(plane.count[cell]) * 65_535 * 65_535);
            assert_eq!(u32::from(plane.clipped[cell]), plane.count[cell]);
        }
    }
}

#[test]
fn cells_keep_to_their_number() {
    let bayer = Cfa::from_letters("RGGB").unwrap();
    let xtrans = Cfa::from_letters(XTRANS).unwrap();
    let geometry = |w, h, cfa| CellGrid::geometry(whole(w, h), cfa);
    assert_eq!(geometry(6000, 4000, Some(&bayer)), (32, 188, 125));
    assert_eq!(geometry(6000, 4000, Some(&xtrans)), (36, 167, 112));
    assert_eq!(geometry(6000, 4000, None), (32, 188, 125));
    assert_eq!(geometry(11_648, 8_736, Some(&bayer)), (64, 182, 137));
    assert_eq!(geometry(1, 1, Some(&bayer)), (32, 1, 1));
    assert_eq!(geometry(0, 7, Some(&bayer)), (32, 0, 1));
}

#[test]
fn an_area_outside_the_stored_pixels_gives_no_cells_and_no_panic() {
    let mut frame = mosaic(40, 40, "RGGB", |_| 7);
    frame.active = Area { left: 50, top: 3, width: 10, height: 10 };
    assert_eq!(reduce(&frame).cells.columns, 0);
    frame.active = Area { left: 30, top: 30, width: 100, height: 100 };
    assert_eq!(reduce(&frame).cells.area, Area { left: 30, top: 30, width: 10, height: 10 });
}

#[test]
fn clipped_pixels_are_counted_and_stay() {
    let frame = mosaic(64, 64, "RGGB", |i| if i % 64 < 32 { WHITE } else { 1_000 });
    let summary = reduce(&frame);
    for plane in &summary.cells.planes {
        assert_eq!(plane.clipped, [256, 0, 256, 0]);
        assert_eq!(plane.sum[0], 256 * u32::from(WHITE));
    }
}

#[test]
fn covered_pixels_show_the_black_of_every_position() {
    // Planted levels of 511.25 and so on, per position counted from an odd active origin.
    const LEVELS: [f64; 4] = [511.25, 512.5, 513.75, 509.0];
    const SIGMA: f64 = 4.0;
    let (left, top, width, height) = (65, 3, 200, 400);
    let mut random = ChaCha8Rng::seed_from_u64(10);
    let noise = Normal::new(0.0, SIGMA).unwrap();
    let mut frame = mosaic(left + width, top + height, "GRBG", |i| {
        let (row, column) = (i / (left + width), i % (left + width));
        let position = ((row + 1) % 2) * 2 + (column + 1) % 2;
        if random.random_ratio(1, 500) {
            return 16_000; // covered pixels are hot as well
        }
        (LEVELS[position] + noise.sample(&mut random)).round() as u16
    });
    frame.active = Area { left, top, width, height };
    assert_eq!(reduce(&frame).masked, None);
    frame.masked = vec![Area { left: 0, top: 0, width: 60, height: top + height }];
    let black = reduce(&frame).masked.unwrap();
    let pixels = (60 * (top + height) / 4) as f64;
    for (i, level) in LEVELS.iter().enumerate() {
        let wrong = black.at(i / 2, i % 2) - level;
        assert!(wrong.abs() < 4.0 * SIGMA / pixels.sqrt(), "position {i} is off by {wrong}");
    }
    frame.masked[0].width = 4; // 403 pixels a position make no level
    assert_eq!(reduce(&frame).masked, None);
}

#[test]
fn the_centre_is_the_middle_fifth() {
    // A ramp of pairs of columns: the mean over the middle is the ramp's middle value, whatever
    // the cells' borders; 1000 wide puts them at 400 and 600, within cells.
    const DIGITS: f64 = 1e-9;
    let frame = mosaic(1_000, 500, "RGGB", |i| ((i % 1_000) / 2) as u16);
    let cells = reduce(&frame).cells;
    let centre = cells.centre_cells();
    let area: f64 = centre
        .iter()
        .map(|&(cell, share)| {
            let a = cells.cell_area(cell);
            share * (a.width * a.height) as f64
        })
        .sum();
    assert!((area - 200.0 * 100.0).abs() < DIGITS);
    let (mean, clipped) = cells.plane(Plane::Red).unwrap().over(&centre).unwrap();
    // Pairs 200 to 299; a cut cell counts as if its light were even, which shifts both ends alike
    // by at most half a cell's ramp times the share cut off: 16 pairs / 2 x (16 / 200) / 2.
    assert!((mean - 249.5).abs() < 0.32, "{mean}");
    assert!(clipped.abs() < DIGITS);
}

#[test]
fn blocks_on_cell_borders_are_plain_means() {
    const DIGITS: f64 = 1e-9;
    let frame = mosaic(256, 192, "RGGB", |i| ((i % 256) / 64 + 10 * (i / 256 / 96)) as u16);
    let cells = reduce(&frame).cells;
    let means = cells.block_means(Plane::Blue, 4, 2);
    for (mean, truth) in means.iter().zip([0.0, 1.0, 2.0, 3.0, 10.0, 11.0, 12.0, 13.0]) {
        assert!((mean - truth).abs() < DIGITS, "{mean} {truth}");
    }
    assert_eq!(means.len(), 8);
    let all = cells.block_means(Plane::Blue, 1, 1);
    assert!((all[0] - 6.5).abs() < DIGITS);
}
