//! Strength of red and blue against green: the light, the shutter and the scatter of whole frames
//! are common to the channels and fall out, so that noise, black levels and what the colour of the
//! light does meanwhile (`tint`) alone remain.

mod tint;

use super::mixture::{self, Part};
use super::{Beliefs, FitError, Reading};
use crate::measured::coverage_factor;
use nalgebra::{Cholesky, DMatrix, DVector};
use std::f64::consts::LN_2;
use tint::{Moments, Way};

/// Weight of the prior belief that the random part is as stated, in degrees of freedom (ours).
const NU0: f64 = 5.0;
/// A floor far below any claim keeps equations solvable.
const FLOOR: f64 = 1e-12;

/// Ways whose evidence is so much less than the best one's have no say (natural logarithm, ours).
const NO_SUPPORT: f64 = 30.0;

/// A channel less green.
pub(super) struct Difference {
    /// Bare light of the channel over green, log2.
    pub bare: f64,
    /// Strength of each state less that of green.
    pub stops: Vec<f64>,
    /// Variance of each.
    pub variance: Vec<f64>,
    /// Weight of each reading in each state's difference (row: state, column: reading).
    pub weights: DMatrix<f64>,
    /// What the error of each green black level does to each state's difference, per count.
    pub green_black: DMatrix<f64>,
    /// Factor by which repeats show the random part larger than stated (variance).
    pub scale: f64,
    /// Degrees of freedom of the random part.
    pub dof: Vec<f64>,
}

/// The light's level as green tells it.
pub(super) struct LightLevels {
    /// At each reading, stops against the mean of the bare ones.
    pub at: Vec<f64>,
    /// How well that is known of each state's readings as a whole, standard uncertainty in stops.
    pub u: Vec<f64>,
}

/// What frames showed of the light's changes may have gone on while nobody looked, as a share of it:
/// standard uncertainty (ours).
const UNSEEN: f64 = 0.5;

impl LightLevels {
    /// From its level at each reading, stops above any level.
    pub fn new(mut at: Vec<f64>, readings: &[Reading], u: Vec<f64>) -> Self {
        let bare = at.iter().zip(readings).filter(|(_, r)| r.setting.is_none()).map(|(l, _)| *l);
        let (sum, count) = bare.fold((0.0, 0.0), |(sum, count), l| (sum + l, count + 1.0));
        at.iter_mut().for_each(|level| *level -= sum / f64::max(count, 1.0));
        let mut light = Self { at, u };
        let unseen = UNSEEN * light.moved();
        light.u.iter_mut().for_each(|u| *u = u.hypot(unseen));
        light
    }
    /// By how much it changed at most.
    fn moved(&self) -> f64 {
        let most = self.at.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        most - self.at.iter().copied().fold(f64::INFINITY, f64::min)
    }
}

struct ColourRow {
    reading: usize,
    y: f64,
    variance: f64,
    cells: Vec<(usize, f64)>,
}

/// Scatter of a channel against green beyond noise, from neighbouring frames of one run, shrunk
/// towards zero where few tell it; the scale of the random part makes up for the rest.
fn extra(readings: &[Reading], channel: usize) -> f64 {
    let apart = |r: &Reading| {
        let (c, g) = (r.channels[channel]?, r.channels[1]?);
        Some((c.y - g.y, c.noise.powi(2) + g.noise.powi(2)))
    };
    let excess: Vec<f64> = readings
        .windows(2)
        .filter(|w| w[0].run == w[1].run && w[0].time == w[1].time)
        .filter_map(|w| Some((apart(&w[0])?, apart(&w[1])?)))
        .map(|((a, na), (b, nb))| (b - a).powi(2) - na - nb)
        .collect();
    let n = excess.len() as f64;
    let mean = excess.iter().sum::<f64>() / n.max(1.0);
    mean.max(0.0) / 2.0 * n / (n + 1.0)
}

/// Fits channel `channel` (0 red, 2 blue) against green.
pub(super) fn difference(
    readings: &[Reading],
    channel: usize,
    states: usize,
    beliefs: &Beliefs,
    light: &LightLevels,
) -> Result<Difference, FitError> {
    let moments = Moments::of(readings);
    let equations = Equations { readings, channel, states, beliefs, moments: &moments, light };
    let seen = extra(readings, channel);
    let scatters = if seen > 0.0 { vec![0.0, seen] } else { vec![0.0] };
    let ways = moments.ways(light.moved());
    let of = |way: &Way| scatters.iter().map(|s| equations.solve(way, *s)).collect();
    let found: Vec<Vec<Result<Solved, FitError>>> = ways.iter().map(of).collect();
    let found: Vec<Solved> = found.into_iter().flatten().collect::<Result<_, _>>()?;
    mixed(found, states).ok_or(FitError::Singular)
}

/// What the ways come to, each by how well the frames support it; `None` where that cannot be told.
fn mixed(mut found: Vec<Solved>, states: usize) -> Option<Difference> {
    let best = found.iter().map(|f| f.log_evidence).fold(f64::NEG_INFINITY, f64::max);
    found.retain(|f| f.log_evidence > best - NO_SUPPORT);
    let (of_states_and_readings, of_states_and_blacks) =
        found.first().map(|f| (f.weights.shape(), f.green_black.shape()))?;
    let shares: Vec<f64> = found.iter().map(|f| (f.log_evidence - best).exp()).collect();
    let total: f64 = shares.iter().sum();
    let mean = |of: &dyn Fn(&Solved) -> f64| -> f64 {
        found.iter().zip(&shares).map(|(f, share)| share / total * of(f)).sum()
    };
    let matrix = |(rows, columns): (usize, usize), of: fn(&Solved) -> &DMatrix<f64>| {
        DMatrix::from_fn(rows, columns, |r, c| mean(&|f| of(f)[(r, c)]))
    };
    let freedom = NU0 + mean(&|f| f.freedom);
    let of_state = |s: usize| {
        let part = |(f, weight): (&Solved, &f64)| Part {
            weight: *weight,
            mean: f.stops[s],
            variance: f.variance(s),
        };
        let parts: Vec<Part> = found.iter().zip(&shares).map(part).collect();
        let whole = mixture::summary(&parts);
        let scaled = mean(&|f| f.scale * f.random[s]);
        let dof =
            if scaled > 0.0 { freedom * (whole.variance / scaled).powi(2) } else { f64::INFINITY };
        // What the interval holds, for a standard uncertainty that others can add to.
        let u = whole.half_width / coverage_factor(dof);
        (whole.mean, u * u, dof)
    };
    let of_states: Vec<(f64, f64, f64)> = (0..states).map(of_state).collect();
    Some(Difference {
        bare: mean(&|f| f.bare),
        stops: of_states.iter().map(|s| s.0).collect(),
        variance: of_states.iter().map(|s| s.1).collect(),
        dof: of_states.iter().map(|s| s.2).collect(),
        weights: matrix(of_states_and_readings, |f| &f.weights),
        green_black: matrix(of_states_and_blacks, |f| &f.green_black),
        scale: mean(&|f| f.scale),
    })
}

/// The fit of one way in which the light's colour may change.
struct Solved {
    log_evidence: f64,
    bare: f64,
    /// Of each state.
    stops: Vec<f64>,
    /// Variance from noise as stated, and from what is common to frames: black levels and the
    /// light's colour.
    random: Vec<f64>,
    common: Vec<f64>,
    weights: DMatrix<f64>,
    green_black: DMatrix<f64>,
    scale: f64,
    freedom: f64,
}

impl Solved {
    fn variance(&self, state: usize) -> f64 {
        self.scale * self.random[state] + self.common[state]
    }
}

/// What is fitted: the bare light's colour, each state, black of green and of the channel, and the
/// numbers that the light's colour is made of.
struct Equations<'a> {
    readings: &'a [Reading],
    channel: usize,
    states: usize,
    beliefs: &'a Beliefs,
    moments: &'a Moments,
    light: &'a LightLevels,
}

impl Equations<'_> {
    fn green_at(&self) -> usize {
        1 + self.states
    }
    fn tint_at(&self) -> usize {
        self.green_at() + 2 * self.beliefs.black.len()
    }
    /// One over the variance beforehand.
    fn known(&self, parameter: usize) -> f64 {
        let blacks = &self.beliefs.black;
        match parameter {
            k if k < self.green_at() => 0.0,
            k if k < self.tint_at() => {
                let u = blacks[(k - self.green_at()) % blacks.len()];
                1.0 / (u * u).max(FLOOR * FLOOR)
            }
            _ => 1.0,
        }
    }
    fn width(&self, way: &Way) -> usize {
        self.along_at() + if way.along > 0.0 { 1 + self.states } else { 0 }
    }
    fn along_at(&self) -> usize {
        self.tint_at() + self.moments.len()
    }
    fn rows(&self, way: &Way, scatter: f64) -> Vec<ColourRow> {
        let blacks = self.beliefs.black.len();
        let mut rows = rows(self.readings, self.channel, scatter, self.green_at(), blacks);
        for row in &mut rows {
            let colour = way.own.row(self.moments.at(row.reading));
            row.cells.extend((self.tint_at()..).zip(colour.iter().copied()));
            if way.along > 0.0 {
                let state = self.readings[row.reading].setting;
                row.cells.push((self.along_at(), way.along * self.light.at[row.reading]));
                // What is not known of the level is not known of the colour.
                row.cells
                    .extend(state.map(|s| (self.along_at() + 1 + s, way.along * self.light.u[s])));
            }
        }
        rows
    }
    fn solve(&self, way: &Way, scatter: f64) -> Result<Solved, FitError> {
        let width = self.width(way);
        let rows = self.rows(way, scatter);
        let (mut normal, mut right) = (DMatrix::zeros(width, width), DVector::zeros(width));
        for row in &rows {
            for &(a, x) in &row.cells {
                right[a] += x * row.y / row.variance;
                for &(b, z) in &row.cells {
                    normal[(a, b)] += x * z / row.variance;
                }
            }
        }
        for k in 0..width {
            // States that no row speaks of are held at zero.
            let unseen = normal[(k, k)] <= 0.0;
            normal[(k, k)] += if unseen { 1.0 } else { self.known(k) };
        }
        let solver = Cholesky::new(normal).ok_or(FitError::Singular)?;
        let found: DVector<f64> = solver.solve(&right);
        let c = solver.inverse();
        let fitted = |row: &ColourRow| row.cells.iter().map(|&(k, x)| x * found[k]).sum::<f64>();
        let chi_squared: f64 =
            rows.iter().map(|row| (row.y - fitted(row)).powi(2) / row.variance).sum();
        let away: f64 = (0..width).map(|k| self.known(k) * found[k] * found[k]).sum();
        let log_noise: f64 = rows.iter().map(|row| row.variance.ln()).sum();
        let (weights, fixed) = self.weights(&rows, &c);
        let freedom = (rows.len() as f64 - fixed).max(0.0);
        // Of each row's own noise: products of the matrices themselves would drown it in rounding.
        let random = |s: usize| -> f64 {
            rows.iter().map(|row| weights[(s, row.reading)].powi(2) * row.variance).sum()
        };
        let common = |s: usize| -> f64 {
            (self.green_at()..width).map(|k| self.known(k) * c[(1 + s, k)].powi(2)).sum()
        };
        Ok(Solved {
            log_evidence: -0.5 * (log_noise + chi_squared + away + solver.ln_determinant()),
            bare: found[0],
            stops: (0..self.states).map(|s| found[1 + s]).collect(),
            random: (0..self.states).map(random).collect(),
            common: (0..self.states).map(common).collect(),
            weights,
            green_black: DMatrix::from_fn(self.states, self.beliefs.black.len(), |s, k| {
                -c[(1 + s, self.green_at() + k)] / self.beliefs.black[k].powi(2).max(FLOOR)
            }),
            scale: (NU0 + chi_squared) / (NU0 + freedom),
            freedom,
        })
    }
    /// Weight of each reading in each state's difference, and how many readings' worth the
    /// parameters follow (the trace of the matrix that makes fitted values of readings).
    fn weights(&self, rows: &[ColourRow], c: &DMatrix<f64>) -> (DMatrix<f64>, f64) {
        let mut weights = DMatrix::zeros(self.states, self.readings.len());
        let mut fixed = 0.0;
        for row in rows {
            let along = |k: usize| row.cells.iter().map(|&(j, x)| c[(k, j)] * x).sum::<f64>();
            for s in 0..self.states {
                weights[(s, row.reading)] = along(1 + s) / row.variance;
            }
            fixed += row.cells.iter().map(|&(k, x)| x * along(k)).sum::<f64>() / row.variance;
        }
        (weights, fixed)
    }
}

fn rows(
    readings: &[Reading],
    channel: usize,
    scatter: f64,
    green_at: usize,
    blacks: usize,
) -> Vec<ColourRow> {
    let of = |(i, r): (usize, &Reading)| {
        let (c, g) = (r.channels[channel]?, r.channels[1]?);
        let mut cells = vec![
            (0, 1.0),
            (green_at + r.black, -1.0 / (g.level * LN_2)),
            (green_at + blacks + r.black, 1.0 / (c.level * LN_2)),
        ];
        cells.extend(r.setting.map(|s| (1 + s, -1.0)));
        let variance = c.noise.powi(2) + g.noise.powi(2) + scatter + FLOOR;
        Some(ColourRow { reading: i, y: c.y - g.y, variance, cells })
    };
    readings.iter().enumerate().filter_map(of).collect()
}
