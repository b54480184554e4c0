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

/// Lines along the edge are looked at in steps of so many, which meets every colour of a mosaic of two
/// by two and of six by six, where at least so many are left.
const STEP: usize = 7;
const LEAST_LINES: usize = 32;

impl<'a> PatchGreens<'a> {
    /// A patch with its mosaic's pattern, black in counts, and white in counts. The direction of its
    /// edge is that in which its halves differ more.
    #[must_use]
    pub fn of(patch: &'a Patch, cfa: &'a Cfa, black: &'a BlackPattern, white: u16) -> Self {
        let upright = Lines { patch, cfa, black, white, upright: true };
        let few = upright.few();
        if runs_upright(&few) {
            return Self { lines: upright, few };
        }
        let lines = Lines { upright: false, ..upright };
        let few = lines.few();
        Self { lines, few }
    }

    /// The greens up to a distance from a line, in pixels.
    #[must_use]
    pub fn near(&self, line: &Line, reach: f64) -> Greens {
        self.lines.near(line, reach)
    }
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

    fn few(&self) -> Greens {
        let (along, across) = self.size();
        let step = if along / STEP < LEAST_LINES { 1 } else { STEP };
        self.taken(step, |_| (0, across))
    }

    fn near(&self, line: &Line, reach: f64) -> Greens {
        let (_, across) = self.size();
        let middle = across as f64 / 2.0;
        let beside = reach * line.slope.hypot(1.0);
        let pixel = |x: f64| (x + middle).clamp(0.0, across as f64) as usize;
        self.taken(1, |along| {
            let at = line.at(along);
            (pixel(at - beside), pixel(at + beside + 1.0))
        })
    }

    /// The greens of lines across the edge, from one pixel to before another in each.
    fn taken(&self, step: usize, range: impl Fn(f64) -> (usize, usize)) -> Greens {
        let (along, across) = self.size();
        let (half_along, half_across) = (along as f64 / 2.0, across as f64 / 2.0);
        let mut samples = Vec::new();
        let mut clipped = 0_usize;
        for line in (0..along).step_by(step) {
            let place = line as f64 + 0.5 - half_along;
            let (from, to) = range(place);
            let pixels = from..to.min(across);
            let (period, greens) = self.greens(line, &pixels);
            let starts = pixels.clone().step_by(period.max(1));
            for (pixel, black) in
                starts.flat_map(|start| greens.iter().map(move |(at, black)| (start + at, *black)))
            {
                if pixel >= pixels.end {
                    break;
                }
                let Some(count) = self.count(line, pixel) else { continue };
                clipped += usize::from(count >= self.white);
                let across = pixel as f64 + 0.5 - half_across;
                samples.push(Sample { along: place, across, light: f64::from(count) - black });
            }
        }
        let clipped = clipped as f64 / samples.len().max(1) as f64;
        Greens { samples, upright: self.upright, half_along, half_across, clipped }
    }

    /// Row and column of a pixel of a line.
    fn at(&self, line: usize, pixel: usize) -> (usize, usize) {
        if self.upright { (line, pixel) } else { (pixel, line) }
    }

    fn count(&self, line: usize, pixel: usize) -> Option<u16> {
        let (row, column) = self.at(line, pixel);
        self.patch.counts.get(row * self.patch.place.width + column).copied()
    }

    /// After how many pixels a line's pattern is the same again, and its greens with their black in
    /// counts.
    fn greens(&self, line: usize, pixels: &Range<usize>) -> (usize, Vec<(usize, f64)>) {
        let repeat = if self.upright { self.black.columns } else { self.black.rows };
        let period = (self.cfa.side() * repeat).min(pixels.len());
        let greens = (0..period).filter_map(|i| {
            let (row, column) = self.at(line, pixels.start + i);
            let (row, column) = (self.patch.place.top + row, self.patch.place.left + column);
            let green = matches!(self.cfa.plane(row, column), Plane::Green1 | Plane::Green2);
            green.then(|| (i, self.black.at(row, column)))
        });
        (period, greens.collect())
    }
}
