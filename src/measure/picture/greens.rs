//! The greens of a patch of a mosaic: what an edge is measured on, nothing demosaiced.

use super::line::Line;
use super::samples::{Greens, Sample};
use crate::frame::BlackPattern;
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::patch::Patch;
use std::ops::Range;

/// A patch of a mosaic whose greens are asked for.
#[derive(Clone, Debug)]
pub struct PatchGreens<'a> {
    lines: Lines<'a>,
    /// Some of its greens, evenly spread.
    pub few: Greens,
}

/// One of so many lines is looked at first where at least so many are left.
const EVERY: usize = 8;
const LEAST_LINES: usize = 32;
/// Which of them, in eighths: the digits of pi to the base of eight. In even steps, or in those of the
/// golden section, some slopes would bring the same distances from the edge again and again.
const WHICH: [usize; 40] = [
    3, 1, 1, 0, 3, 7, 5, 5, 2, 4, 2, 1, 0, 2, 6, 4, 3, 0, 2, 1, 5, 1, 4, 2, 3, 0, 6, 3, 0, 5, 0, 5,
    6, 0, 0, 6, 7, 0, 1, 6,
];
/// One of so many of these tells which way the edge runs.
const ROUGHLY: usize = 3;

impl<'a> PatchGreens<'a> {
    /// A patch with its mosaic's pattern, black in counts, and white in counts. The direction of its
    /// edge is that in which its halves differ more.
    #[must_use]
    pub fn of(patch: &'a Patch, cfa: &'a Cfa, black: &'a BlackPattern, white: u16) -> Self {
        let lines = Lines { patch, cfa, black, white, upright: true };
        let upright = runs_upright(&lines.one_of(ROUGHLY));
        let lines = Lines { upright, ..lines };
        Self { lines, few: calmed(lines.one_of(1)) }
    }

    /// The greens up to a distance from a line, in pixels.
    #[must_use]
    pub fn near(&self, line: &Line, reach: f64) -> Greens {
        self.lines.near(line, reach)
    }
}

/// Each sample as the middle one of itself and its neighbours in its line, which a single hot or dead
/// pixel cannot move and which leaves an edge as it is.
fn calmed(mut greens: Greens) -> Greens {
    for line in greens.samples.chunk_by_mut(|a, b| a.along == b.along) {
        let mut before = line.first().map_or(0.0, |sample| sample.light);
        for k in 1..line.len().saturating_sub(1) {
            let (own, after) = (line[k].light, line[k + 1].light);
            line[k].light = own.clamp(before.min(after), before.max(after));
            before = own;
        }
    }
    greens
}

/// The halves beside an upright edge differ more than those above and below.
fn runs_upright(few: &Greens) -> bool {
    let (mut sides, mut ends) = ([(0.0, 0.0); 2], [(0.0, 0.0); 2]);
    for sample in &few.samples {
        for (half, at) in [(&mut sides, sample.across), (&mut ends, sample.along)] {
            let sum = &mut half[usize::from(at > 0.0)];
            *sum = (sum.0 + sample.light, sum.1 + 1.0);
        }
    }
    let step = |half: [(f64, f64); 2]| (half[0].0 / half[0].1 - half[1].0 / half[1].1).abs();
    step(sides) >= step(ends)
}

/// A patch as lines across an edge that runs up and down, or does not.
#[derive(Clone, Copy, Debug)]
struct Lines<'a> {
    patch: &'a Patch,
    cfa: &'a Cfa,
    black: &'a BlackPattern,
    white: u16,
    upright: bool,
}

impl Lines<'_> {
    fn size(&self) -> (usize, usize) {
        let place = self.patch.place;
        if self.upright { (place.height, place.width) } else { (place.width, place.height) }
    }

    /// The greens of one of so many of the lines that are looked at first.
    fn one_of(&self, part: usize) -> Greens {
        let (along, across) = self.size();
        let every = (along / LEAST_LINES).clamp(1, EVERY);
        let lines = (0..along / every)
            .step_by(part)
            .map(|k| k * every + WHICH[k % WHICH.len()] * every / EVERY);
        self.taken(lines, |_| (0, across))
    }

    fn near(&self, line: &Line, reach: f64) -> Greens {
        let (_, across) = self.size();
        let middle = across as f64 / 2.0;
        let beside = reach * line.slope.hypot(1.0);
        let pixel = |x: f64| (x + middle).clamp(0.0, across as f64) as usize;
        self.taken(0..self.size().0, |along| {
            let at = line.at(along);
            (pixel(at - beside), pixel(at + beside + 1.0))
        })
    }

    /// The greens of lines across the edge, from one pixel to before another in each.
    fn taken(
        &self,
        lines: impl Iterator<Item = usize>,
        range: impl Fn(f64) -> (usize, usize),
    ) -> Greens {
        let (along, across) = self.size();
        let (half_along, half_across) = (along as f64 / 2.0, across as f64 / 2.0);
        let (mut samples, mut greens) = (Vec::new(), Vec::new());
        let mut clipped = 0_usize;
        let width = self.patch.place.width;
        let (next_line, next_pixel) = if self.upright { (width, 1) } else { (1, width) };
        for line in lines {
            let place = line as f64 + 0.5 - half_along;
            let (from, to) = range(place);
            let pixels = from..to.min(across);
            let period = self.greens(line, &pixels, &mut greens);
            samples.reserve(pixels.len());
            for start in pixels.clone().step_by(period.max(1)) {
                for &(at, black) in &greens {
                    let pixel = start + at;
                    let count = self.patch.counts.get(line * next_line + pixel * next_pixel);
                    let Some(&count) = count.filter(|_| pixel < pixels.end) else { break };
                    clipped += usize::from(count >= self.white);
                    let across = pixel as f64 + 0.5 - half_across;
                    samples.push(Sample { along: place, across, light: f64::from(count) - black });
                }
            }
        }
        let clipped = clipped as f64 / samples.len().max(1) as f64;
        Greens { samples, upright: self.upright, half_along, half_across, clipped }
    }

    /// Row and column of a pixel of a line.
    fn at(&self, line: usize, pixel: usize) -> (usize, usize) {
        if self.upright { (line, pixel) } else { (pixel, line) }
    }

    /// After how many pixels a line's pattern is the same again; its greens with their black in counts.
    fn greens(&self, line: usize, pixels: &Range<usize>, greens: &mut Vec<(usize, f64)>) -> usize {
        let repeat = if self.upright { self.black.columns } else { self.black.rows };
        let period = (self.cfa.side() * repeat).min(pixels.len());
        greens.clear();
        greens.extend((0..period).filter_map(|i| {
            let (row, column) = self.at(line, pixels.start + i);
            let (row, column) = (self.patch.place.top + row, self.patch.place.left + column);
            let green = matches!(self.cfa.plane(row, column), Plane::Green1 | Plane::Green2);
            green.then(|| (i, self.black.at(row, column)))
        }));
        period
    }
}
