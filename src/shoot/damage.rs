//! Frames of which a part departs from the rest of the frame and from every other frame: pixels that
//! are missing or belong elsewhere, as damage in a file leaves them, or something in the way.
//!
//! Two frames of one sitting differ by a factor and by what filters and light do, which is smooth;
//! damage has an edge along a row of pixels. A frame is held against others until it agrees with
//! one; which of the two is at fault is then settled as well, since the other agrees with more.

use super::frames::Observed;
use super::sheet::{Channel, Sheet};
use super::verdict::Judgement;
use super::verdicts::Judgements;
use crate::numerics::robust::median;
use rayon::prelude::*;

/// Other frames that one is held against, at most.
const MOST_PEERS: usize = 16;
/// A part that departs by less does not matter to the number, in parts of the level (ours): a tenth
/// of the frame's centre off by so much moves it by less than a hundredth of a stop.
const LEAST_APART: f64 = 0.06;
/// And by so many standard deviations of noise (ours).
const NOISE_SIGMAS: f64 = 7.0;
/// Squared share of the level by which cells may be more uneven than in another frame (ours): one
/// row in thirty-two that is off by a third of the level.
const LEAST_UNEVEN: f64 = 0.003;
/// A jump is more than so many times the slope on its calmer side (ours): light and filters bend.
const BEND: f64 = 3.0;
/// A jump that the opposite place shares but for this part is of the dark cross (ours): it lies a block
/// off the middle at most.
const ALIKE_ACROSS: f64 = 0.5;
/// Blocks side by side that show the same edge.
const SIDE_BY_SIDE: usize = 2;
/// Blocks down from which there is room for an edge with its two sides.
const LEAST_ROWS: usize = 8;
/// Share of the blocks that must tell how two frames compare (ours).
const LEAST_TOLD: f64 = 0.25;
/// No sensor's light lies so far above white, whatever the file says of it (ours).
const BEYOND_WHITE: f64 = 1.25;
/// Light is far from clipping below this share of white (ours).
const FAR_FROM_WHITE: f64 = 0.5;

/// Frames that agree with no other. Where only two can be compared and they do not agree, both are
/// named: nothing tells which it is.
pub fn damaged(frames: &[Observed], good: &[usize]) -> Judgements {
    let place = |&i: &usize| good.binary_search(&i).unwrap_or(0);
    let alone = |i: &&usize| {
        let mut compared = is_beyond_white(&frames[**i].sheet);
        if compared {
            return true;
        }
        for j in peers(good, place(i)) {
            match agree(&frames[**i].sheet, &frames[j].sheet) {
                Some(true) => return false,
                Some(false) => compared = true,
                None => {}
            }
        }
        compared
    };
    let found: Vec<usize> = good.par_iter().filter(alone).copied().collect();
    found.into_iter().map(|i| (i, Judgement::Damaged)).collect()
}

/// The frames nearest in capture order first.
fn peers(good: &[usize], at: usize) -> impl Iterator<Item = usize> {
    let nearest = (1..good.len()).flat_map(move |d| [at.checked_sub(d), at.checked_add(d)]);
    nearest.flatten().filter_map(move |k| good.get(k).copied()).take(MOST_PEERS)
}

/// Whether one frame is the other times a factor and something smooth; `None` where they cannot be
/// compared.
fn agree(a: &Sheet, b: &Sheet) -> Option<bool> {
    if (a.columns, a.rows) != (b.columns, b.rows) || a.columns == 0 {
        return None;
    }
    let mut told = false;
    for channel in 0..3 {
        let Some(apart) = Apart::of(a, b, channel) else { continue };
        told = true;
        if apart.is_uneven() || (!apart.is_flat() && apart.has_edge()) {
            return Some(false);
        }
    }
    told.then_some(true)
}

/// How far one frame is from the other times a factor, block by block, in parts of the level.
struct Apart<'a> {
    columns: usize,
    rows: usize,
    /// NaN where one of them tells nothing.
    parts: Vec<f64>,
    /// Least difference that is none of noise.
    least: Vec<f64>,
    of: [&'a Channel; 2],
}

impl<'a> Apart<'a> {
    fn of(a: &'a Sheet, b: &'a Sheet, channel: usize) -> Option<Self> {
        let (x_channel, y_channel) = (&a.channels[channel], &b.channels[channel]);
        let factor = factor(a, b, channel)?;
        let pairs = || {
            x_channel
                .level
                .iter()
                .zip(&y_channel.level)
                .map(|(x, y)| (f64::from(*x), f64::from(*y)))
        };
        let floor = a.floor.max(factor * b.floor);
        let noise = f64::hypot(x_channel.noise, factor * y_channel.noise);
        let scale = |x: f64, y: f64| x.max(factor * y).max(floor);
        // Light that clips is at least what it shows.
        let near_white = |sheet: &Sheet, level: f64| level > FAR_FROM_WHITE * sheet.white;
        let told = |i: usize, x: f64, y: f64| {
            let (x_from, y_from) = (
                x_channel.clipped[i] && near_white(a, factor * y),
                y_channel.clipped[i] && near_white(b, y),
            );
            !(x_from && x < factor * y || y_from && x > factor * y)
        };
        let parts: Vec<f64> = pairs()
            .enumerate()
            .map(
                |(i, (x, y))| {
                    if told(i, x, y) { (x - factor * y) / scale(x, y) } else { f64::NAN }
                },
            )
            .collect();
        // Noise grows as the root of the light; the typical one is that of the typical level.
        let typical = median(pairs().map(|(x, y)| scale(x, y))).unwrap_or(floor);
        let least = pairs()
            .map(|(x, y)| {
                let level = scale(x, y);
                LEAST_APART + NOISE_SIGMAS * noise / typical.max(floor) * (typical / level).sqrt()
            })
            .collect();
        Some(Self { columns: a.columns, rows: a.rows, parts, least, of: [x_channel, y_channel] })
    }
    fn side_by_side(&self, is_odd: impl Fn(usize, usize) -> bool) -> bool {
        side_by_side(self.columns, self.rows, is_odd)
    }
    /// Rows of pixels within cells that the other frame's cells lack.
    fn is_uneven(&self) -> bool {
        let [x, y] = self.of;
        self.side_by_side(|row, column| {
            let i = row * self.columns + column;
            let own = f64::from(x.uneven[i]);
            let others = f64::from(y.uneven[i]).max(0.0);
            !x.clipped[i] && self.parts[i].is_finite() && own > LEAST_UNEVEN + 2.0 * others
        })
    }
    fn is_flat(&self) -> bool {
        let middle = median(self.parts.iter().copied()).unwrap_or(0.0);
        !self.side_by_side(|row, column| {
            let i = row * self.columns + column;
            (self.parts[i] - middle).abs() > self.least[i]
        })
    }
    /// A jump from one row of blocks to the next but one (the row between may hold both sides) that
    /// neither side's slope explains.
    fn has_edge(&self) -> bool {
        if self.rows < LEAST_ROWS {
            return false;
        }
        self.side_by_side(|row, column| {
            let at = |row: Option<usize>| {
                let row = row.filter(|&row| row < self.rows)?;
                Some(self.parts[row * self.columns + column]).filter(|part| part.is_finite())
            };
            let sides = (at(row.checked_sub(1)), at(Some(row + 1)));
            let (Some(above), Some(below)) = sides else { return false };
            let slope = |near: f64, far: Option<f64>| far.map(|far| (near - far).abs());
            let slopes = [slope(above, at(row.checked_sub(2))), slope(below, at(Some(row + 2)))];
            let calmer = slopes.into_iter().flatten().fold(f64::INFINITY, f64::min);
            let jump = above - below;
            calmer.is_finite()
                && jump.abs() - BEND * calmer > self.least[row * self.columns + column]
                && (jump - self.across(row, column)).abs() > ALIKE_ACROSS * jump.abs()
        })
    }
    /// The same jump at the place that lies opposite across the middle: as large, where two polarisers
    /// make it, whose cross looks the same turned by half; 0 where nothing is told there.
    fn across(&self, row: usize, column: usize) -> f64 {
        let part = |row: usize| self.parts[row * self.columns + self.columns - 1 - column];
        let opposite = self.rows - 1 - row;
        let jump = part(opposite + 1) - part(opposite - 1);
        if jump.is_finite() { jump } else { 0.0 }
    }
}

/// Blocks far above white in a frame that is not above it as a whole, as a white level that is told
/// wrongly would have it.
fn is_beyond_white(sheet: &Sheet) -> bool {
    sheet.channels.iter().any(|channel| {
        let typical = median(channel.level.iter().map(|v| f64::from(*v))).unwrap_or(0.0);
        let beyond = |level: f64| level > BEYOND_WHITE * sheet.white;
        let odd = |i: usize| beyond(f64::from(channel.level[i]));
        typical < sheet.white
            && side_by_side(sheet.columns, sheet.rows, |row, column| {
                odd(row * sheet.columns + column)
            })
    })
}

/// Whether enough blocks of one row, next to each other, are odd.
fn side_by_side(columns: usize, rows: usize, is_odd: impl Fn(usize, usize) -> bool) -> bool {
    let needed = SIDE_BY_SIDE.min(columns);
    (0..rows).any(|row| {
        let mut together = 0;
        (0..columns).any(|column| {
            together = if is_odd(row, column) { together + 1 } else { 0 };
            together >= needed
        })
    })
}

/// By how much one frame is brighter than the other, where enough of both tells; 1 where both are
/// dark.
fn factor(a: &Sheet, b: &Sheet, channel: usize) -> Option<f64> {
    let (x, y) = (&a.channels[channel], &b.channels[channel]);
    let clear = |i: &usize| !x.clipped[*i] && !y.clipped[*i];
    let told: Vec<usize> = (0..x.level.len()).filter(clear).collect();
    if (told.len() as f64) < LEAST_TOLD * x.level.len() as f64 {
        return None;
    }
    let typical = |of: &Channel| median(told.iter().map(|&i| f64::from(of.level[i])));
    let (of_x, of_y) = (typical(x)?, typical(y)?);
    match (of_x > a.floor, of_y > b.floor) {
        (true, true) => median(told.iter().map(|&i| f64::from(x.level[i]) / f64::from(y.level[i]))),
        (false, false) => Some(1.0),
        _ => None,
    }
}
