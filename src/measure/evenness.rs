//! Evenness of one setting: grid, spread, corners, colour, specks, pattern and dark cross.

pub mod dark_cross;
pub mod doubt;
pub mod pattern;
mod no_pair;
pub mod specks;

use super::map::{GREEN, RatioMap};
use super::pair::single;
use super::shading::{self, Shade};
use crate::caution::Caution;
use crate::numerics::{marks, robust};
use crate::profile::{
    ChannelMaps, ColourSpread, Corners, CrossState, DarkCross, Evenness, EvennessGrid, Kind, Speck,
};
use crate::quantity::{Percent, Stops};
use rayon::prelude::*;

/// Blocks each way of the grid (the 11 x 11 blocks of ISO 17957:2015; no conformity is claimed,
/// since that standard works on encoded pictures).
pub const BLOCKS: usize = 11;
/// Up to this share of unknown cells in percent the percentiles hardly move (ours).
const MOST_UNKNOWN: f64 = 1.0;
/// At most this many specks are listed.
const MOST_SPECKS: usize = 50;

/// Everything that one map tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// As it stands in the profile.
    pub record: Evenness,
    /// Shading by ring or holder.
    pub shade: Shade,
    /// Cells that are unknown in the frames themselves.
    pub unknown: Vec<usize>,
    /// The map without specks and shaded cells, for fits over several marks.
    pub clean: RatioMap,
    /// What is doubtful.
    pub cautions: Vec<Caution>,
}

impl Found {
    /// As where an edge explains the pattern, which is no cross then.
    #[must_use]
    pub fn without_cross(mut self) -> Self {
        self.record.dark_cross = denied(self.record.dark_cross);
        self
    }
}

/// What was found of a cross that is none after all.
fn denied(cross: DarkCross) -> DarkCross {
    DarkCross { state: CrossState::Absent, angle: None, ..cross }
}

/// Measures the map of every setting.
#[must_use]
pub fn of_settings(maps: &[Option<RatioMap>], kind: Kind) -> Vec<Option<Found>> {
    maps.par_iter().map(|map| of_kind(map.as_ref()?, kind)).collect()
}

/// Measures a map of any filter but a graduated one. `None` where too little of it is known.
#[must_use]
pub fn evenness(map: &RatioMap) -> Option<Found> {
    of_kind(map, Kind::Solid)
}

fn of_kind(map: &RatioMap, kind: Kind) -> Option<Found> {
    let may_be_pair = kind != Kind::Graduated;
    let shade = if may_be_pair { shading::find(map) } else { shading::beside_smooth(map) };
    let mut found = specks::find(map);
    found.retain(|s| !s.cells.iter().any(|&i| shade.skip[i]));
    let dusty: Vec<usize> = found.iter().flat_map(|s| s.cells.iter().copied()).collect();
    let plain = map.without(&dusty);
    let shaded: Vec<usize> = (0..map.len()).filter(|&i| shade.skip[i]).collect();
    let clean = plain.without(&shaded);

    let fit = pattern::fit(&plain, &shade.skip)?;
    let cross = cross(&plain, &fit, &shade)?;
    let is_deep = cross.state == CrossState::Present && shade.mechanical && may_be_pair;
    let deep = is_deep.then(|| deep(&plain, &fit, &shade)).flatten();
    let grid = grid(&plain);
    let record = Evenness {
        spread_stops: Stops::new(spread(map.green())?),
        extremes_stops: Stops::new(spread_between(plain.green(), 0.0, 1.0)?),
        corners_stops: corners(&grid)?,
        grid,
        maps: channel_maps(&plain),
        colour_spread: colour_spread(&plain),
        specks: found.iter().take(MOST_SPECKS).map(speck).collect(),
        pattern: fit.record(),
        dark_cross: deep.unwrap_or(cross),
    };
    let unknown: Vec<usize> = (0..map.len()).filter(|&i| map.green()[i].is_none()).collect();
    let share = 100.0 * unknown.len() as f64 / map.len() as f64;
    let incomplete = (share > MOST_UNKNOWN)
        .then(|| Caution::MapIncomplete { share: Percent::new(share), filled: false });
    let ring =
        shade.onset.map(|r| Caution::MechanicalVignetting { onset: Percent::new(100.0 * r) });
    let cautions = ring.into_iter().chain(incomplete).collect();
    Some(Found { record, shade, unknown, clean, cautions })
}

/// Cells beside a shade that its model may not describe to the last hundredth of a stop (ours).
const BESIDE_SHADE: usize = 3;

/// The dark cross. Beside the shade of a ring or holder, none that is there only with the cells next to it:
/// the border of a shade lies along the frame's sides, as the arms of a cross may. Where too few cells are
/// left without those, they deny nothing.
fn cross(map: &RatioMap, fit: &pattern::PatternFit, shade: &Shade) -> Option<DarkCross> {
    let found = dark_cross::decide(map, fit, &shade.skip)?;
    if found.state == CrossState::Absent || !shade.mechanical {
        return Some(found);
    }
    let wider = marks::grown(&shade.skip, map.columns, BESIDE_SHADE);
    let inside = pattern::fit(map, &wider).and_then(|fit| dark_cross::decide(map, &fit, &wider));
    let is_denied = inside.is_some_and(|inside| inside.state == CrossState::Absent);
    Some(if is_denied { denied(found) } else { found })
}

/// A deep cross beside a shade: what is the same all around the middle is told by the pair of polarisers that
/// explains the map. What a holder spares reaches farther out in some directions than in others, where orders
/// 2 and 4 and an even part trade places.
fn deep(map: &RatioMap, fit: &pattern::PatternFit, shade: &Shade) -> Option<DarkCross> {
    let pair = shade.pair.clone().or_else(|| single::fit(map, |i, _| !shade.skip[i]))?;
    dark_cross::decide_beyond(map, fit, pair.even_and_tilt(), &shade.skip)
}

/// p95 - p5 of a map, in its stops.
#[must_use]
pub fn spread(stops: &[Option<f64>]) -> Option<f64> {
    spread_between(stops, 0.05, 0.95)
}

fn spread_between(stops: &[Option<f64>], low: f64, high: f64) -> Option<f64> {
    robust::between(stops.iter().flatten().copied(), [low, high])
}

/// Light averaged over 11 x 11 blocks, in stops relative to the centre.
fn grid(map: &RatioMap) -> EvennessGrid {
    let share = |k: usize| [k as f64 / BLOCKS as f64, (k + 1) as f64 / BLOCKS as f64];
    let block =
        |row: usize, column: usize| map.box_stops(GREEN, share(column), share(row)).map(Stops::new);
    let stops = (0..BLOCKS).map(|r| (0..BLOCKS).map(|c| block(r, c)).collect()).collect();
    EvennessGrid { columns: BLOCKS, rows: BLOCKS, stops }
}

/// The corner blocks; an unknown one is stood for by the nearest known block.
fn corners(grid: &EvennessGrid) -> Option<Corners> {
    let last = BLOCKS - 1;
    let corner = |row: usize, column: usize| {
        let blocks = (0..BLOCKS).flat_map(|r| (0..BLOCKS).map(move |c| (r, c)));
        let distance =
            |&(r, c): &(usize, usize)| r.abs_diff(row).pow(2) + c.abs_diff(column).pow(2);
        let nearest = blocks.filter(|&(r, c)| grid.stops[r][c].is_some()).min_by_key(distance)?;
        grid.stops[nearest.0][nearest.1]
    };
    Some(Corners {
        top_left: corner(0, 0)?,
        top_right: corner(0, last)?,
        bottom_left: corner(last, 0)?,
        bottom_right: corner(last, last)?,
    })
}

fn channel_maps(map: &RatioMap) -> ChannelMaps {
    let channel = |c: usize| map.stops[c].iter().map(|s| s.map(Stops::new)).collect();
    ChannelMaps {
        columns: map.columns,
        rows: map.rows,
        red: channel(0),
        green: channel(GREEN),
        blue: channel(2),
    }
}

fn colour_spread(map: &RatioMap) -> ColourSpread {
    let against_green = |c: usize| {
        let differences: Vec<Option<f64>> =
            map.stops[c].iter().zip(map.green()).map(|(a, g)| Some((*a)? - (*g)?)).collect();
        Stops::new(spread(&differences).unwrap_or(0.0))
    };
    ColourSpread { red_green_stops: against_green(0), blue_green_stops: against_green(2) }
}

fn speck(found: &specks::FoundSpeck) -> Speck {
    Speck {
        x_percent: Percent::new(100.0 * found.x),
        y_percent: Percent::new(100.0 * found.y),
        stops: Stops::new(found.stops),
    }
}
