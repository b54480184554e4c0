//! How much of the unevenness is even around the centre, and how much depends on how the filters sat:
//! whether the first may be taken out without knowing the second.
//!
//! Let C be the circular part and S the rest, turned as it may be. Ranges over the picture obey the
//! triangle inequality, range(C + S) >= range(C) - range(S). Where range(C) is more than twice range(S),
//! the picture with S alone is therefore more even than with both, however the filters sat.

use super::radial::{Radial, position};
use crate::numerics::robust::median;
use crate::profile::ChannelMaps;
use crate::quantity::Stops;

/// How many times the rest the circular part has to be (see above).
const TIMES_THE_REST: f64 = 2.0;
/// Light that differs by less over the picture is even, in stops (ours: 0.7 %).
const EVEN_STOPS: f64 = 0.01;

/// What to take out the circular part alone does to a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Alone {
    /// Nothing: the light is even.
    Nothing,
    /// It makes the picture more even, however the filters sat.
    Lessens,
    /// It may make the picture more uneven.
    MayWorsen,
}

/// Judges by the ranges of the circular part and of the rest, by channel, in stops.
pub(super) fn alone(circular: [f64; 3], rest: [f64; 3]) -> Alone {
    let even = |c: usize| circular[c] + rest[c] < EVEN_STOPS;
    if (0..3).all(even) {
        Alone::Nothing
    } else if (0..3).all(|c| even(c) || circular[c] > TIMES_THE_REST * rest[c]) {
        Alone::Lessens
    } else {
        Alone::MayWorsen
    }
}

/// Highest less lowest value.
pub(super) fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (f64::min(low, v), f64::max(high, v))
    });
    (high - low).max(0.0)
}

/// Range of what maps hold beside their circular part, within so much of the half diagonal, by channel,
/// in stops.
pub(super) fn rest(radial: &Radial, maps: &ChannelMaps, radius: f64) -> [f64; 3] {
    let within = radius.min(radial.reach());
    let mut channel = 0;
    [&maps.red, &maps.green, &maps.blue].map(|cells| {
        let rest: Vec<Option<f64>> = (0..maps.columns * maps.rows)
            .map(|i| {
                let (x, y) = position(maps, i);
                let known = cells.get(i).copied().flatten().map(Stops::get);
                let known = known.filter(|_| x.hypot(y) <= within);
                known.map(|stops| stops - radial.stops(channel, x.hypot(y)))
            })
            .collect();
        channel += 1;
        range((0..rest.len()).filter_map(|i| among_neighbours(&rest, maps.columns, i)))
    })
}

/// The median of a cell and its neighbours: a speck is no pattern.
fn among_neighbours(cells: &[Option<f64>], columns: usize, i: usize) -> Option<f64> {
    cells[i]?;
    let (row, column) = (i / columns, i % columns);
    let rows = row.saturating_sub(1)..=(row + 1).min(cells.len() / columns - 1);
    let near = rows.flat_map(|r| {
        let beside = column.saturating_sub(1)..=(column + 1).min(columns - 1);
        beside.filter_map(move |c| cells[r * columns + c])
    });
    median(near)
}
