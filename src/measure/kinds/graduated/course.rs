//! What a map shows across the line of an edge: the curve that was fitted, and in strips along the line
//! what lies beside it, since no filter keeps to a curve.

use super::edge::{Edge, Spot};
use crate::numerics::least_squares::slope_within;
use crate::numerics::robust::median;
use std::collections::BTreeMap;

/// What is seen over so many heights at the frame's end tells whether the change has ended (ours).
const LAST_OF_FRAME: f64 = 0.1;
/// Less than this share of the curve to go is none (ours).
const ENDED: f64 = 0.002;
/// Least height of a strip, in frame heights, and cells that tell one (ours).
const STRIP: f64 = 0.02;
const ENOUGH_IN_STRIP: usize = 4;
/// Steps in which the curve is followed, and how far beyond the frame, in heights.
const FOLLOWED: f64 = 0.002;
const FOLLOWED_BEYOND: f64 = 3.0;
/// From 10 to 90 % of a step; and no less is a slope, in stops a height (ours).
const STEEPNESS: f64 = 0.8;
const LEAST_SLOPE: f64 = 0.01;
/// A dark end that is lighter than its darkest place by less than this share of the step, or fewer stops,
/// does not fade (ours).
const LEAST_FADING: f64 = 0.05;
/// Half a height, over which fading beyond the line is told.
const FADING_OVER: f64 = 0.5;

/// Of a cell: distance from the half; square of the radius and stops beside the curve.
type StripCell = (f64, [f64; 2]);

/// The curve across the line.
pub(super) struct Course {
    /// As fitted, with the darkening that strips leave.
    pub edge: Edge,
    /// Distance from the half towards the dark end, in heights, and stops beside the curve.
    strips: Vec<[f64; 2]>,
    /// What is left of the curve beyond the clear and the dark end of the frame, as a share of what the
    /// fitted one has left: none where nothing changes any more.
    left: [f64; 2],
}

/// What the two ends take, in stops of the map.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ends {
    pub clear: f64,
    pub dark: f64,
    /// What may lie beyond what was seen, by either end.
    pub unseen: [f64; 2],
    /// Share of the step that is lost half a height beyond the darkest place.
    pub fading: f64,
}

/// A place where the curve crosses a level: distance in heights, and stops a height there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossing {
    pub distance: f64,
    pub slope: f64,
}

impl Course {
    /// Of cells with this side in heights; `None` where no strip is known.
    pub fn of(edge: &Edge, spots: &[Spot], side: f64) -> Option<Self> {
        let height = side.max(STRIP);
        let mut strips = BTreeMap::<i64, Vec<StripCell>>::new();
        for spot in spots {
            let d = edge.distance(spot);
            let beside = spot.stops - edge.cell_stops(spot, side);
            let strip = strips.entry((d / height).floor() as i64).or_default();
            strip.push((d, [spot.x * spot.x + spot.y * spot.y, beside]));
        }
        strips.retain(|_, cells| cells.len() >= ENOUGH_IN_STRIP);
        // Within a strip the edge has no say.
        let more = slope_within(strips.values().map(|cells| cells.iter().map(|c| c.1)));
        let level = |cells: &Vec<StripCell>| {
            let d = cells.iter().map(|c| c.0).sum::<f64>() / cells.len() as f64;
            let beside = cells.iter().map(|(_, [r2, beside])| beside - more * r2);
            Some([d, median(beside)?])
        };
        let strips: Vec<[f64; 2]> = strips.values().filter_map(level).collect();
        let edge = edge.darkened(more);
        let mut course = Self { edge, strips, left: [0.0; 2] };
        let ([low, high], last) = (course.seen()?, course.last_changes()?);
        let of_curve = [
            course.edge.rise(low + LAST_OF_FRAME) - course.edge.rise(low),
            course.edge.rise(high) - course.edge.rise(high - LAST_OF_FRAME),
        ];
        course.left = std::array::from_fn(|end| (last[end] / of_curve[end]).clamp(0.0, 1.0));
        if course.edge.fades() {
            course.left[1] = 0.0;
        }
        Some(course)
    }

    /// From the outermost strip by the clear end to that by the dark one.
    fn seen(&self) -> Option<[f64; 2]> {
        Some([self.strips.first()?[0], self.strips.last()?[0]])
    }

    /// Stops that are gained over the last of the frame, by the clear end and by the dark one.
    fn last_changes(&self) -> Option<[f64; 2]> {
        let [low, high] = self.seen()?;
        let gained = |a: f64, b: f64| self.at(b) - self.at(a);
        Some([gained(low, low + LAST_OF_FRAME), gained(high - LAST_OF_FRAME, high)])
    }

    /// Stops at a distance from the half; beyond the frame as the curve goes on.
    pub fn at(&self, d: f64) -> f64 {
        let Some((within, beside)) = self.beside(d) else {
            return self.edge.clear + self.edge.across(d);
        };
        let goes_on = self.left[usize::from(d > within)];
        self.edge.clear
            + self.edge.across(within)
            + beside
            + goes_on * (self.edge.rise(d) - self.edge.rise(within))
    }

    /// The place within the frame that is nearest to a distance, and the stops beside the curve there;
    /// `None` where fewer than two strips are known.
    fn beside(&self, d: f64) -> Option<(f64, f64)> {
        let [first, .., last] = self.strips.as_slice() else {
            return None;
        };
        let within = d.clamp(first[0], last[0]);
        let next = self.strips.partition_point(|s| s[0] < within).clamp(1, self.strips.len() - 1);
        let ([a, before], [b, after]) = (self.strips[next - 1], self.strips[next]);
        Some((within, before + (after - before) * (within - a) / (b - a)))
    }

    /// What a cell shows, of this side in heights, beside what all show that are as far from the line.
    pub fn left_over(&self, spot: &Spot, side: f64) -> f64 {
        let beside = self.beside(self.edge.distance(spot)).map_or(0.0, |(_, stops)| stops);
        spot.stops - self.edge.cell_stops(spot, side) - beside
    }

    /// Distances within the frame.
    fn followed(from: f64, to: f64) -> impl DoubleEndedIterator<Item = f64> {
        let steps = ((to - from) / FOLLOWED).max(0.0) as usize;
        (0..=steps).map(move |k| from + k as f64 * FOLLOWED)
    }

    /// Lightest and darkest that the frame itself shows.
    pub fn shown(&self) -> Option<[f64; 2]> {
        let [low, high] = self.seen()?;
        let levels = || Self::followed(low, high).map(|d| self.at(d));
        Some([levels().fold(f64::INFINITY, f64::min), levels().fold(f64::NEG_INFINITY, f64::max)])
    }

    /// Distance where half of what the frame shows is first met, where its dark end keeps this share of it
    /// at least: what is dark in between only is no filter's end.
    pub fn half_of_shown(&self, kept: f64) -> Option<f64> {
        let ([low, high], [lightest, darkest]) = (self.seen()?, self.shown()?);
        let is_over = |d: f64, share: f64| self.at(d) >= lightest + share * (darkest - lightest);
        let half = Self::followed(low, high).find(|d| is_over(*d, 0.5));
        half.filter(|_| is_over(high, kept))
    }

    /// Both ends: read where the frame shows them flat, and as the curve goes on where it does not. What
    /// is darkest at the line counts as it is at its darkest within the frame.
    pub fn ends(&self) -> Option<Ends> {
        let ([low, high], changes) = (self.seen()?, self.last_changes()?);
        let (edge, [clear_left, dark_left]) = (&self.edge, self.left);
        let mean = |of: &mut dyn Iterator<Item = f64>| {
            let (sum, n) = of.fold((0.0, 0.0), |(sum, n), stops| (sum + stops, n + 1.0));
            sum / n
        };
        let ended = |d: f64| edge.rise(d) < ENDED * edge.step;
        let is_clear = |d: &f64| *d <= low + LAST_OF_FRAME || ended(*d);
        let places = || self.strips.iter().map(|s| s[0]);
        let clear =
            mean(&mut places().filter(is_clear).map(|d| self.at(d) - clear_left * edge.rise(d)));
        let to_go = |d: f64| edge.step - edge.rise(d);
        let at_end = |d: f64| self.at(d) + dark_left * to_go(d);
        let is_dark = |d: &f64| *d >= high - LAST_OF_FRAME || to_go(*d) < ENDED * edge.step;
        let flat = mean(&mut places().filter(is_dark).map(at_end));
        let last = mean(&mut places().filter(|d| *d >= high - LAST_OF_FRAME).map(at_end));
        let levels = Self::followed(low, high).map(|d| (d, self.at(d)));
        let (place, peak) = levels.max_by(|a, b| a.1.total_cmp(&b.1))?;
        let lost = peak - last;
        let fades = lost > LEAST_FADING * (peak - clear).max(1.0);
        let seen_of_it = ((high - place) / FADING_OVER).clamp(LAST_OF_FRAME, 1.0);
        let unseen = [
            changes[0].abs() + clear_left * edge.rise(low),
            changes[1].abs() + dark_left * to_go(high),
        ];
        Some(Ends {
            clear,
            dark: if fades { peak } else { flat },
            unseen: if fades { [unseen[0], 0.0] } else { unseen },
            fading: if fades { lost / (peak - clear) / seen_of_it } else { 0.0 },
        })
    }

    /// Where a tenth, the half and nine tenths of a step from the clear end are crossed: the half first
    /// met, and the others nearest to it.
    /// Where there is hardly a step, those of the curve.
    pub fn crossings(&self, clear: f64, dark: f64) -> [Crossing; 3] {
        self.crossed(clear, dark).unwrap_or_else(|| {
            let (width, step) = (self.edge.width, self.edge.step);
            let slope = (STEEPNESS * step / width).abs().max(LEAST_SLOPE);
            [-0.5, 0.0, 0.5].map(|part| Crossing { distance: part * width, slope })
        })
    }

    fn crossed(&self, clear: f64, dark: f64) -> Option<[Crossing; 3]> {
        let [low, high] = self.seen()?;
        let (from, to) = (low - FOLLOWED_BEYOND, high + FOLLOWED_BEYOND);
        let is_over = |d: f64, share: f64| self.at(d) >= clear + share * (dark - clear);
        let half = Self::followed(from, to).find(|d| is_over(*d, 0.5))?;
        let tenth = Self::followed(from, half).rev().find(|d| !is_over(*d, 0.1))?;
        let nine = Self::followed(half, to).find(|d| is_over(*d, 0.9))?;
        let exactly = |(near, share): (f64, f64)| {
            let slope = (self.at(near + FOLLOWED) - self.at(near - FOLLOWED)) / (2.0 * FOLLOWED);
            let short = clear + share * (dark - clear) - self.at(near);
            let distance = near + (short / slope).clamp(-FOLLOWED, FOLLOWED);
            Crossing { distance, slope: slope.abs().max(LEAST_SLOPE) }
        };
        Some([(tenth, 0.1), (half, 0.5), (nine, 0.9)].map(exactly))
    }
}
