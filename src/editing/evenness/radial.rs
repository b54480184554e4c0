//! The part of a map that is even around the centre, told apart from tilt, saddle and cross by
//! least squares.

use crate::numerics::robust::median;
use crate::profile::ChannelMaps;
use crate::quantity::Stops;
use nalgebra::{DMatrix, DVector};

/// Constant; r^2, r^4, r^6; x, y; two harmonics of order 2, two of order 4.
const TERMS: usize = 10;
/// Fewest known cells for a fit.
const LEAST_CELLS: usize = 60;
/// Cells farther from the first fit than this many times the typical residual are left out of the
/// second: specks.
const OUTLIER: f64 = 4.0;

/// Fitted maps of three channels; radii are 1 at the corner of the map.
#[derive(Clone, Debug, PartialEq)]
pub struct Radial {
    coefficients: [[f64; TERMS]; 3],
    /// Beyond this radius nothing was measured; the value there is kept.
    reach: f64,
}

/// A smoothed map without gaps.
pub(super) struct Smooth {
    columns: usize,
    rows: usize,
    coefficients: [f64; TERMS],
    rest: Vec<f64>,
}

impl Radial {
    /// Fits the maps, cells beyond `onset` (a share of the half diagonal) left out; `None` where too
    /// few cells are known.
    #[must_use]
    pub fn fit(maps: &ChannelMaps, onset: Option<f64>) -> Option<Self> {
        let reach = onset.unwrap_or(1.0).min(1.0);
        let channel = |cells: &[Option<Stops>]| fit_channel(maps, cells, reach);
        Some(Self {
            coefficients: [channel(&maps.red)?, channel(&maps.green)?, channel(&maps.blue)?],
            reach,
        })
    }

    /// The radius beyond which nothing was measured.
    pub(super) fn reach(&self) -> f64 {
        self.reach
    }

    /// Extra stops of a channel at a radius, relative to the centre.
    #[must_use]
    pub fn stops(&self, channel: usize, radius: f64) -> f64 {
        let r2 = radius.min(self.reach).powi(2);
        let c = &self.coefficients[channel];
        r2 * (c[1] + r2 * (c[2] + r2 * c[3]))
    }

    /// The whole map of a channel: the fit, and what it leaves with neighbours averaged; gaps are
    /// the fit's alone. Only the small rest is held at its value beyond the outermost cell centres.
    pub(super) fn smoothed(&self, maps: &ChannelMaps, channel: usize) -> Smooth {
        let cells = [&maps.red, &maps.green, &maps.blue][channel];
        let (columns, rows) = (maps.columns, maps.rows);
        let coefficients = self.coefficients[channel];
        let rest: Vec<f64> = (0..columns * rows)
            .map(|i| {
                let known = cells.get(i).copied().flatten().map(Stops::get);
                known.map_or(0.0, |stops| stops - fitted(&coefficients, position(maps, i)))
            })
            .collect();
        let near = |at: usize, limit: usize| at.saturating_sub(1)..=(at + 1).min(limit - 1);
        let mean = |i: usize| {
            let (row, column) = (i / columns, i % columns);
            let (mut sum, mut count) = (0.0, 0.0);
            for r in near(row, rows) {
                for c in near(column, columns) {
                    sum += rest[r * columns + c];
                    count += 1.0;
                }
            }
            sum / count
        };
        Smooth { columns, rows, coefficients, rest: (0..columns * rows).map(mean).collect() }
    }
}

impl Smooth {
    /// Stops at shares of width and height: the fit, and the rest bilinear between cell centres.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let split = |share: f64, cells: usize| {
            let at = (share * cells as f64 - 0.5).clamp(0.0, (cells - 1) as f64);
            let low = (at as usize).min(cells.saturating_sub(2));
            (low, (low + 1).min(cells - 1), at - low as f64)
        };
        let (left, right, across) = split(x, self.columns);
        let (top, bottom, down) = split(y, self.rows);
        let row = |r: usize| {
            self.rest[r * self.columns + left] * (1.0 - across)
                + self.rest[r * self.columns + right] * across
        };
        let (columns, rows) = (self.columns as f64, self.rows as f64);
        let corner = columns.hypot(rows) / 2.0;
        let place = ((x - 0.5) * columns / corner, (y - 0.5) * rows / corner);
        fitted(&self.coefficients, place) + row(top) * (1.0 - down) + row(bottom) * down
    }
}

fn fitted(coefficients: &[f64; TERMS], place: (f64, f64)) -> f64 {
    terms(place).iter().zip(coefficients).map(|(t, c)| t * c).sum()
}

pub(super) fn position(maps: &ChannelMaps, i: usize) -> (f64, f64) {
    let (columns, rows) = (maps.columns as f64, maps.rows as f64);
    let corner = columns.hypot(rows) / 2.0;
    let x = (i % maps.columns) as f64 + 0.5 - columns / 2.0;
    let y = (i / maps.columns) as f64 + 0.5 - rows / 2.0;
    (x / corner, y / corner)
}

fn terms((x, y): (f64, f64)) -> [f64; TERMS] {
    let r2 = x * x + y * y;
    let (c2, s2) = (x * x - y * y, 2.0 * x * y);
    [1.0, r2, r2 * r2, r2 * r2 * r2, x, y, c2, s2, c2 * c2 - s2 * s2, 2.0 * c2 * s2]
}

fn fit_channel(maps: &ChannelMaps, cells: &[Option<Stops>], reach: f64) -> Option<[f64; TERMS]> {
    if cells.len() != maps.columns * maps.rows {
        return None;
    }
    let mut known: Vec<([f64; TERMS], f64)> = (0..cells.len())
        .filter_map(|i| Some((terms(position(maps, i)), cells[i]?.get())))
        .filter(|(t, stops)| t[1].sqrt() <= reach && stops.is_finite())
        .collect();
    let first = least_squares(&known)?;
    let residual = |(t, stops): &([f64; TERMS], f64)| {
        (stops - t.iter().zip(&first).map(|(t, c)| t * c).sum::<f64>()).abs()
    };
    let typical = median(known.iter().map(residual))?;
    known.retain(|cell| residual(cell) <= OUTLIER * typical.max(f64::EPSILON) * 1.48);
    least_squares(&known).or(Some(first))
}

fn least_squares(known: &[([f64; TERMS], f64)]) -> Option<[f64; TERMS]> {
    if known.len() < LEAST_CELLS {
        return None;
    }
    let matrix = DMatrix::from_fn(known.len(), TERMS, |row, term| known[row].0[term]);
    let stops = DVector::from_fn(known.len(), |row, _| known[row].1);
    let solved = matrix.svd(true, true).solve(&stops, 1e-10).ok()?;
    let mut coefficients = [0.0; TERMS];
    coefficients.iter_mut().zip(solved.iter()).for_each(|(c, s)| *c = *s);
    Some(coefficients)
}
