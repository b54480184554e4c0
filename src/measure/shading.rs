//! Shading by a ring or a holder, told from the filter's own falloff by its hard onset.

mod behind_cross;
mod edge;
mod holder;
pub mod lenses;
mod penumbra;
mod ring;

use super::map::{GREEN, RatioMap};
use super::pair::single::Single;
use crate::numerics::harmonics::{SMOOTH_TERMS, smooth_terms};
use crate::numerics::least_squares::{self, LinearFit};
use crate::profile::{Corners, Vignetting};
use crate::quantity::{Percent, Stops};
use edge::StraightEdge;
pub use holder::ONSET_STOPS;
use ring::Ring;

/// The smooth part is fitted inside this radius.
pub const INSIDE: f64 = 0.8;
/// Cells with more modelled shade than this take no part in patterns, in stops (ours).
const CLEAN_STOPS: f64 = 0.01;
/// Where a ring takes more than this, nothing more is told of a cell, in stops (ours).
const DEEP_STOPS: f64 = 1.0;
/// The smooth part must describe the inside this well, in stops (ours).
const INSIDE_RMS: f64 = 0.05;
/// Noise of a cell counts so many times beside that (ours).
const MOST_NOISES: f64 = 1.5;
/// Orders 2 and 4 above this leave nothing certain to be said of the corners, peak to peak in stops
/// (ours).
const CROSSED: f64 = 1.0;
/// Darkening that is hard where it comes within so many cells, in stops, and how many cells of it are
/// worth a word (ours).
const HARD_STOPS: f64 = 0.3;
const HARD_CELLS: usize = 3;
const HARD_LEAST: usize = 8;
/// Radii that are tried where the wider inside is not smooth, because the shade reaches into it.
const INSIDES: [f64; 3] = [INSIDE, 0.68, 0.56];

/// A side that darkens as hard as this, in stops, may be a holder's: pairs of polarisers behind 14 mm and
/// more on 36 x 24 mm stay under 0.07 in Yeh's closed form.
const STEEP_SIDE: f64 = 0.08;
/// One that darkens as hard as this is no pair's, whatever else it is (ours).
const HARD_SIDE: f64 = 0.2;

/// What was found of shading.
#[derive(Clone, Debug, PartialEq)]
pub struct Shade {
    /// Whether a ring or holder shades the frame.
    pub mechanical: bool,
    /// Smallest radius (1 in the corners) at which the shade exceeds [`ONSET_STOPS`].
    pub onset: Option<f64>,
    /// Shade of each cell beyond the smooth part, in stops; zero where there is none.
    pub stops: Vec<f64>,
    /// Cells that patterns should leave out.
    pub skip: Vec<bool>,
    /// Something hard shades cells, and no ring or edge explains it.
    pub unexplained: bool,
    /// The pair of polarisers beside whose pattern the shade was found.
    pub pair: Option<Single>,
}

impl Shade {
    fn none(map: &RatioMap) -> Self {
        let cells = map.len();
        Self {
            mechanical: false,
            onset: None,
            stops: vec![0.0; cells],
            skip: vec![false; cells],
            unexplained: false,
            pair: None,
        }
    }
    /// The darkest shaded cell of each quarter of the frame.
    #[must_use]
    pub fn corners(&self, map: &RatioMap) -> Corners {
        let darkest = |right: bool, top: bool| {
            let inside = |i: &usize| {
                let (x, y) = map.position(*i);
                (x > 0.0) == right && (y > 0.0) == top
            };
            let darkness = (0..map.len()).filter(inside).map(|i| self.stops[i]);
            Stops::new(darkness.fold(0.0, f64::max))
        };
        Corners {
            top_left: darkest(false, true),
            top_right: darkest(true, true),
            bottom_left: darkest(false, false),
            bottom_right: darkest(true, false),
        }
    }
}

/// The shade of a mount, told from the maps of its settings: the one whose shade begins nearest to
/// the centre stands for it; where none is shaded, that is said too.
pub fn of_mount<'a>(shades: impl Iterator<Item = (&'a RatioMap, &'a Shade)>) -> Option<Vignetting> {
    let onset = |(_, shade): &(&RatioMap, &Shade)| shade.onset.unwrap_or(f64::INFINITY);
    let (map, shade) = shades.min_by(|a, b| onset(a).total_cmp(&onset(b)))?;
    Some(Vignetting {
        mechanical: shade.mechanical,
        onset_percent_of_half_diagonal: shade.onset.map(|r| Percent::new(100.0 * r)),
        corners_stops: shade.mechanical.then(|| shade.corners(map)),
        by_focal_length: Vec::new(),
        widest_safe_mm: None,
    })
}

/// Looks for a hard onset of shading in the green map of a filter that may be a pair of polarisers.
///
/// Where a side darkens hard and nothing smooth explains the inside of the frame, a dark cross may cross it:
/// its pattern is known beyond then.
#[must_use]
pub fn find(map: &RatioMap) -> Shade {
    let shade = beside_smooth(map);
    if shade.mechanical {
        return shade;
    }
    let hardest = holder::hardest_side(map);
    if hardest < STEEP_SIDE && !shade.unexplained {
        return shade;
    }
    let is_unknown = shade.skip.contains(&true);
    match behind_cross::find(map) {
        Some(crossed) if crossed.mechanical || !is_unknown => crossed,
        _ => Shade { unexplained: shade.unexplained || hardest > HARD_SIDE, ..shade },
    }
}

/// The same of a filter that is no pair of polarisers.
#[must_use]
pub fn beside_smooth(map: &RatioMap) -> Shade {
    let mut unexplained = false;
    for inside in INSIDES {
        let Some(smooth) = smooth_inside(map, inside) else { continue };
        let noise = map.noise[GREEN];
        if smooth.rms() > INSIDE_RMS.hypot(MOST_NOISES * noise) || harmonics(&smooth) > CROSSED {
            continue;
        }
        let excess = excess(map, &smooth);
        if let Some(shade) = shaded(map, &excess, inside) {
            return shade;
        }
        unexplained = hard(map, &excess);
        if smooth.rms() < 0.5 * INSIDE_RMS.hypot(2.0 * MOST_NOISES * noise) {
            break;
        }
    }
    beside_sides(map).unwrap_or(Shade { unexplained, ..Shade::none(map) })
}

/// Shade of a holder that reaches so far into the frame that no disc within is smooth: what lies between
/// its steep sides is.
fn beside_sides(map: &RatioMap) -> Option<Shade> {
    let sides = holder::steep_sides(map);
    if sides.is_empty() {
        return None;
    }
    let smooth = smooth_inside(&map.without(&sides), INSIDE)?;
    let is_smooth = smooth.rms() < INSIDE_RMS.hypot(MOST_NOISES * map.noise[GREEN])
        && harmonics(&smooth) < CROSSED;
    if !is_smooth {
        return None;
    }
    // Where no edge explains the sides, what they are is unknown: no pattern is, either.
    let unknown = || {
        let mut shade = Shade { unexplained: true, ..Shade::none(map) };
        sides.iter().for_each(|&i| shade.skip[i] = true);
        shade
    };
    Some(shaded(map, &excess(map, &smooth), INSIDE).unwrap_or_else(unknown))
}

/// Whether many cells are far darker than the smooth part, and darker than the cells next to them
/// by much: no lens and no glass does that.
fn hard(map: &RatioMap, excess: &[Option<f64>]) -> bool {
    let limit = HARD_STOPS.hypot(MOST_NOISES * 3.0 * map.noise[GREEN]);
    let step = |i: usize| {
        let inwards = [i.checked_sub(HARD_CELLS), Some(i + HARD_CELLS)];
        let down = HARD_CELLS * map.columns;
        let around = [i.checked_sub(down), Some(i + down)];
        let near = inwards.into_iter().chain(around).flatten();
        let known = near.filter_map(|k| excess.get(k).copied().flatten());
        Some(excess[i]? - known.reduce(f64::min)?)
    };
    let steep = (0..map.len()).filter(|&i| excess[i].is_some_and(|e| e > limit));
    steep.filter_map(step).filter(|s| *s > 0.7 * limit).count() >= HARD_LEAST
}

/// The pattern fitted inside a radius, shade left out by its robustness.
fn smooth_inside(map: &RatioMap, inside: f64) -> Option<LinearFit> {
    let near = |_, (x, y): (f64, f64)| x.hypot(y) < inside;
    let (rows, values) = map.rows(map.green(), near, smooth_terms);
    (values.len() > 3 * SMOOTH_TERMS)
        .then(|| least_squares::robust_fit(&rows, &values, map.noise[GREEN]))?
}

/// Orders 2 and 4 of the smooth part, peak to peak at the corner radius.
fn harmonics(smooth: &LinearFit) -> f64 {
    let c = &smooth.coefficients;
    2.0 * (c[6].hypot(c[7]) + c[8].hypot(c[9]))
}

/// What every cell has beyond the smooth part.
fn excess(map: &RatioMap, smooth: &LinearFit) -> Vec<Option<f64>> {
    excess_of(map, |x, y| smooth.at(&smooth_terms(x, y)))
}

/// What every cell has beyond a pattern.
fn excess_of(map: &RatioMap, pattern: impl Fn(f64, f64) -> f64) -> Vec<Option<f64>> {
    let beyond = |(i, s): (usize, &Option<f64>)| {
        let (x, y) = map.position(i);
        Some((*s)? - pattern(x, y))
    };
    map.green().iter().enumerate().map(beyond).collect()
}

/// Rings first, then the straight edges of a holder.
fn shaded(map: &RatioMap, excess: &[Option<f64>], inside: f64) -> Option<Shade> {
    let ring = ring::fit(map, excess, inside);
    // a ring that reaches a whole side is no straight edge there
    let sides = holder::sides(map, &beyond(map, excess, ring.as_ref()));
    let straight = match ring {
        Some(_) => Vec::new(),
        None => straight_edges(map, &less_sides(map, excess, &sides)),
    };
    if ring.is_none() && straight.is_empty() && sides.iter().all(Option::is_none) {
        return None;
    }
    let of_straight = |x: f64, y: f64| straight.iter().map(|e| e.stops(x, y)).fold(0.0, f64::max);
    let near_straight = |x: f64, y: f64| straight.iter().any(|e| e.is_near(x, y, map.cell()));
    let of_sides = |x: f64, y: f64| holder::shade(&sides, map, x, y);
    let of_ring = |x: f64, y: f64| ring.as_ref().map_or(0.0, |r: &Ring| r.stops(x, y));
    let mut shade = Shade { mechanical: true, ..Shade::none(map) };
    for (i, excess) in excess.iter().enumerate() {
        let (x, y) = map.position(i);
        let modelled = of_ring(x, y).max(of_sides(x, y)).max(of_straight(x, y));
        let near = near_ring(map, ring.as_ref(), x, y) || near_straight(x, y);
        shade.skip[i] = modelled > CLEAN_STOPS || near;
        shade.stops[i] = if modelled > CLEAN_STOPS { excess.unwrap_or(modelled) } else { 0.0 };
    }
    shade.onset = onset(map, |x, y| of_ring(x, y).max(of_sides(x, y)).max(of_straight(x, y)));
    Some(shade)
}

/// Straight edges, looked for once more where the smooth part is known from all that they spare.
fn straight_edges(map: &RatioMap, excess: &[Option<f64>]) -> Vec<StraightEdge> {
    let first = edge::find(map, excess);
    let spared = |_: usize, (x, y): (f64, f64)| !first.iter().any(|e| e.is_near(x, y, map.cell()));
    let (rows, values) = map.rows(map.green(), spared, smooth_terms);
    let smooth = (!first.is_empty() && values.len() > 3 * SMOOTH_TERMS)
        .then(|| least_squares::robust_fit(&rows, &values, map.noise[GREEN]))
        .flatten();
    let again = smooth.map(|smooth| edge::find(map, &self::excess(map, &smooth)));
    again.filter(|found| !found.is_empty()).unwrap_or(first)
}

/// What a holder's whole sides leave over.
fn less_sides(
    map: &RatioMap,
    excess: &[Option<f64>],
    sides: &[Option<holder::SideShade>; 4],
) -> Vec<Option<f64>> {
    let left = |(i, excess): (usize, &Option<f64>)| {
        let (x, y) = map.position(i);
        excess.map(|e| e - holder::shade(sides, map, x, y))
    };
    excess.iter().enumerate().map(left).collect()
}

/// What a ring leaves over; unknown where it leaves too little light to tell.
fn beyond(map: &RatioMap, excess: &[Option<f64>], ring: Option<&Ring>) -> Vec<Option<f64>> {
    let Some(ring) = ring else { return excess.to_vec() };
    let left = |(i, excess): (usize, &Option<f64>)| {
        let (x, y) = map.position(i);
        let shade = ring.cell_stops(x, y, map.cell());
        (*excess).filter(|_| shade < DEEP_STOPS).map(|e| e - shade)
    };
    excess.iter().enumerate().map(left).collect()
}

/// Whether a cell comes within its own width of the shade.
fn near_ring(map: &RatioMap, ring: Option<&Ring>, x: f64, y: f64) -> bool {
    ring.is_some_and(|r| r.distance(x, y) > r.begin() - penumbra::CELL_REACH * map.cell())
}

/// Smallest radius in the frame at which the shade exceeds [`ONSET_STOPS`].
fn onset(map: &RatioMap, shade: impl Fn(f64, f64) -> f64) -> Option<f64> {
    const STEPS: usize = 200;
    const TURNS: usize = 360;
    let (half_width, half_height) = map.half_sides();
    let along = |turn: usize| {
        let phi = std::f64::consts::TAU * turn as f64 / TURNS as f64;
        let (c, s) = (phi.cos(), phi.sin());
        let edge = (half_width / c.abs()).min(half_height / s.abs());
        (STEPS / 4..=STEPS)
            .map(|k| edge * k as f64 / STEPS as f64)
            .find(|r| shade(r * c, r * s) > ONSET_STOPS)
    };
    (0..TURNS).filter_map(along).min_by(f64::total_cmp)
}
