//! Finding straight edges in sums over cells: two even levels side by side, row after row.

use crate::frame::Area;
use crate::levels::{LevelFrame, levels};
use crate::reduce::grid::FrameSummary;

/// A place with an edge, and how good it looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeSite {
    /// Pixels around the edge, from the active area's origin.
    pub area: Area,
    /// Which of the nine parts of the frame its middle lies in, row by row as stored.
    pub part: usize,
    score: f64,
}

/// How a window is laid over an edge, in cells.
#[derive(Clone)]
struct Shape {
    /// Even cells on either side.
    beside: usize,
    /// Cells between them that the edge may cross.
    between: usize,
    /// Cells along the edge.
    along: std::ops::RangeInclusive<usize>,
}

const USUAL: Shape = Shape { beside: 2, between: 2, along: 3..=8 };
/// For what is too small to be measured, so that it can be refused by name.
const SMALL: Shape = Shape { beside: 1, between: 1, along: 2..=4 };
/// How far the cells of a side may lie from their mean, in parts of it.
const EVEN: f64 = 0.12;
/// Least light over dark for an edge (less is refused by name after a closer look).
const CONTRAST: f64 = 1.5;
/// Parts of the frame across and down.
const PARTS: usize = 3;

/// Pixels that are measured along an edge at most: more cost time and tell little.
const MOST_ALONG_PX: f64 = 320.0;
/// Pixels across an edge that are measured at most: what an edge of that length takes at the largest
/// angle (80), what is looked at beside it (96), and a little for where it is sought.
const MOST_ACROSS_PX: f64 = 204.0;
/// Pixels by which blur makes a corner reach into an edge (ours: twice the rise of a sharp one).
const CORNER_PX: f64 = 4.0;
/// Edges nearer to each other are sides of one thing, in parts of the frame's shorter side (ours: the
/// target's squares have sides of a quarter of it).
const APART: f64 = 0.28;

/// The best edge of each ninth of the frame, one of each thing.
#[must_use]
pub fn edges(summary: &FrameSummary) -> Vec<EdgeSite> {
    let light = levels(summary, &[]);
    let usual = best(&light, &USUAL);
    if usual.is_empty() { best(&light, &SMALL) } else { usual }
}

fn best(light: &LevelFrame, shape: &Shape) -> Vec<EdgeSite> {
    let cells = light.channel_cells(1);
    let mut best: Vec<Option<EdgeSite>> = vec![None; PARTS * PARTS];
    for upright in [true, false] {
        let grid = Grid { light, cells: &cells, upright };
        let (across, down) = grid.size();
        let width = 2 * shape.beside + shape.between;
        for top in 0..down {
            for left in 0..(across + 1).saturating_sub(width) {
                let Some(found) = grid.window(left, top, shape) else { continue };
                let place = &mut best[found.part];
                if place.is_none_or(|p| found.score > p.score) {
                    *place = Some(found);
                }
            }
        }
    }
    apart(best.into_iter().flatten().collect(), light.size)
}

/// One edge of each thing: a square near a corner may show another of its sides in the next ninth.
fn apart(mut found: Vec<EdgeSite>, (width, height): (usize, usize)) -> Vec<EdgeSite> {
    // Corners and the centre have even numbers; they are what a target is laid out for.
    found.sort_by(|a, b| (a.part % 2).cmp(&(b.part % 2)).then(b.score.total_cmp(&a.score)));
    let middle = |site: &EdgeSite| {
        let Area { left, top, width, height } = site.area;
        (left as f64 + width as f64 / 2.0, top as f64 + height as f64 / 2.0)
    };
    let least = APART * width.min(height) as f64;
    let mut kept: Vec<EdgeSite> = Vec::new();
    for site in found {
        let (x, y) = middle(&site);
        let beside = |other: &EdgeSite| {
            let (a, b) = middle(other);
            (x - a).hypot(y - b) < least
        };
        if !kept.iter().any(beside) {
            kept.push(site);
        }
    }
    kept.sort_by_key(|site| site.part);
    kept
}

/// The part of a stretch that lies no further than half of `most` from a place, in pixels.
fn span(start: f64, length: f64, middle: f64, most: f64) -> (usize, usize) {
    let from = start.max((middle - most / 2.0).floor());
    let to = (start + length).min((middle + most / 2.0).ceil());
    (from as usize, (to - from).max(0.0) as usize)
}

/// Cells seen so that the edge runs down.
struct Grid<'a> {
    light: &'a LevelFrame,
    cells: &'a [f64],
    upright: bool,
}

impl Grid<'_> {
    /// Whole cells across and down.
    fn size(&self) -> (usize, usize) {
        let (width, height) = self.light.size;
        let (c, r) = (width / self.light.side, height / self.light.side);
        if self.upright { (c, r) } else { (r, c) }
    }
    fn at(&self, across: usize, down: usize) -> f64 {
        let (column, row) = if self.upright { (across, down) } else { (down, across) };
        self.cells[row * self.light.columns + column]
    }
    /// The longest window from here on with one even level on either side.
    fn window(&self, left: usize, top: usize, shape: &Shape) -> Option<EdgeSite> {
        let (_, down) = self.size();
        let right = left + shape.beside + shape.between;
        let first = (self.at(left, top), self.at(right, top));
        let even = |value: f64, level: f64| (value - level).abs() <= EVEN * level.abs();
        let (light, dark) = (first.0.max(first.1), first.0.min(first.1));
        // Negative levels are darkness.
        if !(light > 0.0 && light > CONTRAST * dark) {
            return None;
        }
        let floor = 0.02 * light;
        let mut along = 0;
        let mut shares = Vec::new();
        while along < *shape.along.end() && top + along < down {
            let row = top + along;
            let side = |from: usize, level: f64| {
                (from..from + shape.beside).all(|c| {
                    let value = self.at(c, row);
                    even(value, level) || (value - level).abs() < floor
                })
            };
            if !(side(left, first.0) && side(right, first.1)) {
                break;
            }
            let share = (left..right + shape.beside)
                .map(|c| (self.at(c, row) - first.0) / (first.1 - first.0))
                .sum::<f64>();
            shares.push(share);
            along += 1;
        }
        if !shape.along.contains(&along) {
            return None;
        }
        let width = 2 * shape.beside + shape.between;
        // So many cells' worth of light lies on the far side.
        let beyond = shares.iter().sum::<f64>() / along as f64;
        let off = (beyond - width as f64 / 2.0).abs();
        let side = self.light.side as f64;
        let edge = (left + width) as f64 - beyond;
        let across = span(left as f64 * side, width as f64 * side, edge * side, MOST_ACROSS_PX);
        let middle = (top as f64 + along as f64 / 2.0) * side;
        // The cells are even; between them a corner, which leans as the edge does, reaches further in.
        let lean = (shares[along - 1] - shares[0]).abs() / (along as f64 - 1.0);
        let cut = width as f64 / 2.0 * side * lean + CORNER_PX;
        let down = span(
            top as f64 * side + cut,
            (along as f64 * side - 2.0 * cut).max(0.0),
            middle,
            MOST_ALONG_PX,
        );
        Some(self.found(across, down, along as f64 - 2.0 * off))
    }
    fn found(
        &self,
        (left, width): (usize, usize),
        (top, along): (usize, usize),
        score: f64,
    ) -> EdgeSite {
        let area = if self.upright {
            Area { left, top, width, height: along }
        } else {
            Area { left: top, top: left, width: along, height: width }
        };
        let part = |start: usize, length: usize, all: usize| {
            ((start + length / 2) * PARTS / all.max(1)).min(PARTS - 1)
        };
        let (w, h) = self.light.size;
        let part = part(area.top, area.height, h) * PARTS + part(area.left, area.width, w);
        EdgeSite { area, part, score }
    }
}
