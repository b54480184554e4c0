//! Strength of red and blue against green: the light, the shutter and the scatter of whole frames
//! are common to the channels and fall out, so that noise and black levels alone remain.

use super::{Beliefs, FitError, Reading};
use nalgebra::{Cholesky, DMatrix, DVector};
use std::f64::consts::LN_2;

/// Weight of the prior belief that the random part is as stated, in degrees of freedom (ours).
const NU0: f64 = 5.0;
/// A floor far below any claim keeps equations solvable.
const FLOOR: f64 = 1e-12;

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
) -> Result<Difference, FitError> {
    let blacks = beliefs.black.len();
    let green_at = 1 + states;
    let width = green_at + 2 * blacks;
    let scatter = extra(readings, channel);
    let rows = rows(readings, channel, scatter, green_at, blacks);
    let mut normal = DMatrix::zeros(width, width);
    let mut right = DVector::zeros(width);
    for row in &rows {
        for &(a, x) in &row.cells {
            right[a] += x * row.y / row.variance;
            for &(b, z) in &row.cells {
                normal[(a, b)] += x * z / row.variance;
            }
        }
    }
    let information = normal.clone();
    // States that no row speaks of and black levels known exactly are held at zero.
    for k in 0..width {
        let u = if k >= green_at { beliefs.black[(k - green_at) % blacks] } else { f64::INFINITY };
        let unseen = information[(k, k)] <= 0.0;
        normal[(k, k)] += if unseen { 1.0 } else { 1.0 / (u * u).max(FLOOR * FLOOR) };
    }
    let c: DMatrix<f64> = Cholesky::new(normal).ok_or(FitError::Singular)?.inverse();
    let found: DVector<f64> = &c * right;
    let chi_squared: f64 = rows
        .iter()
        .map(|row| {
            let fitted: f64 = row.cells.iter().map(|&(k, x)| x * found[k]).sum();
            (row.y - fitted).powi(2) / row.variance
        })
        .sum();
    let seen = (0..green_at).filter(|&k| information[(k, k)] > 0.0).count();
    let nu = rows.len().saturating_sub(seen) as f64;
    let scale = (NU0 + chi_squared) / (NU0 + nu);
    let random = &c * information * &c;
    let mut weights = DMatrix::zeros(states, readings.len());
    for row in &rows {
        for s in 0..states {
            let at: f64 = row.cells.iter().map(|&(k, x)| c[(1 + s, k)] * x).sum();
            weights[(s, row.reading)] = at / row.variance;
        }
    }
    let known = |s: usize, from: usize| -> f64 {
        (0..blacks).map(|k| (c[(1 + s, from + k)] / beliefs.black[k].max(FLOOR)).powi(2)).sum()
    };
    let common = |s: usize| known(s, green_at) + known(s, green_at + blacks);
    let variance: Vec<f64> =
        (0..states).map(|s| scale * random[(1 + s, 1 + s)] + common(s)).collect();
    let dof = (0..states).map(|s| {
        let scaled = scale * random[(1 + s, 1 + s)];
        if scaled > 0.0 { (NU0 + nu) * (variance[s] / scaled).powi(2) } else { f64::INFINITY }
    });
    Ok(Difference {
        bare: found[0],
        stops: (0..states).map(|s| found[1 + s]).collect(),
        dof: dof.collect(),
        green_black: DMatrix::from_fn(states, blacks, |s, k| {
            -c[(1 + s, green_at + k)] / beliefs.black[k].powi(2).max(FLOOR)
        }),
        variance,
        weights,
        scale,
    })
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
