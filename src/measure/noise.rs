//! Photon and read noise from differences between frames of one run, where the fixed pattern
//! cancels (photon transfer, EMVA 1288: variance = K mean + read noise).
//!
//! Squares within a cell also hold non-uniformity and shading, so they only serve where no two
//! frames of one run exist, and then as an upper bound.

use crate::levels::LevelFrame;
use crate::numerics::robust::{DEVIATION_PER_MEDIAN, median};

/// Variance of one pixel in counts squared: `gain * level + floor`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseLaw {
    /// Counts per electron.
    pub gain: f64,
    /// Read noise, counts squared.
    pub floor: f64,
}

/// One estimate of a pixel's variance at a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Counts above black.
    pub level: f64,
    /// Variance of one pixel, counts squared.
    pub variance: f64,
}

/// Variance of a pixel from two frames of one run and one channel: cells of the centre, the second
/// frame scaled to the first, half the variance of their differences times the pixels of a cell.
///
/// The spread is taken from the median absolute deviation, so that a few odd cells do not count.
#[must_use]
pub fn from_pair(a: &LevelFrame, b: &LevelFrame, channel: usize) -> Option<Point> {
    let (x, y) = (a.channel_cells(channel), b.channel_cells(channel));
    let greens = if channel == 1 { a.planes.len().saturating_sub(2) as f64 } else { 1.0 };
    let finite = |v: &[f64], i: usize| v.get(i).is_some_and(|v| v.is_finite());
    let centre: Vec<usize> = a
        .centre_cells
        .iter()
        .map(|&(cell, _)| cell)
        .filter(|&cell| finite(&x, cell) && finite(&y, cell))
        .collect();
    if centre.len() < 8 {
        return None;
    }
    let mean = |v: &[f64]| centre.iter().map(|&i| v[i]).sum::<f64>() / centre.len() as f64;
    let (level, other) = (mean(&x), mean(&y));
    let scale = if other.abs() > f64::EPSILON { level / other } else { 1.0 };
    let scale = if (0.5..2.0).contains(&scale) { scale } else { 1.0 };
    let apart: Vec<f64> = centre.iter().map(|&i| x[i] - scale * y[i]).collect();
    let middle = median(apart.clone()).unwrap_or(f64::NAN);
    let spread = median(apart.iter().map(|d| (d - middle).abs())).unwrap_or(f64::NAN);
    let deviation = DEVIATION_PER_MEDIAN * few_values(apart.len()) * spread;
    let pixels = median(centre.iter().map(|&i| a.planes[0].pixels[i])).unwrap_or(f64::NAN) * greens;
    let variance = deviation * deviation * pixels / (1.0 + scale * scale);
    (variance > 0.0).then_some(Point { level, variance })
}

/// Factor by which the median absolute deviation of a few normal values falls short (C. Croux and
/// P. J. Rousseeuw, Time-efficient algorithms for two highly robust estimators of scale, 1992).
fn few_values(n: usize) -> f64 {
    const SHORT_BY: f64 = 0.8;
    let n = n as f64;
    n / (n - SHORT_BY)
}

/// Fits the law to points by least squares of relative residuals, both terms kept from going
/// negative.
#[must_use]
pub fn law(points: &[Point]) -> Option<NoiseLaw> {
    let good: Vec<&Point> = points.iter().filter(|p| p.variance > 0.0).collect();
    if good.is_empty() {
        return None;
    }
    // Relative residuals: divide each equation by its variance.
    let sums = LineSums::of(good, |p| 1.0 / (p.variance * p.variance));
    let LineSums { ll, lv, one, v1, .. } = sums;
    let (gain, floor) = sums.solution().unwrap_or((0.0, v1 / one));
    let (gain, floor) = if gain < 0.0 {
        (0.0, v1 / one)
    } else if floor < 0.0 {
        (lv / ll, 0.0)
    } else {
        (gain, floor)
    };
    Some(NoiseLaw { gain, floor })
}

/// The same by weights from the law itself instead of from each point, so that points that chance
/// made small do not weigh more; for laws that are told and not only used.
#[must_use]
pub fn told_law(points: &[Point]) -> Option<NoiseLaw> {
    const ROUNDS: usize = 8;
    let mut found = law(points)?;
    for _ in 0..ROUNDS {
        let sums =
            LineSums::of(points, |p| found.variance(p.level).max(f64::MIN_POSITIVE).powi(-2));
        let LineSums { ll, lv, .. } = sums;
        let Some((gain, floor)) = sums.solution() else { return Some(found) };
        found = if floor < 0.0 {
            NoiseLaw { gain: lv / ll, floor: 0.0 }
        } else {
            NoiseLaw { gain: gain.max(0.0), floor }
        };
    }
    Some(found)
}

/// Weighted sums over points: of levels squared, levels, ones, levels by variances, variances.
struct LineSums {
    ll: f64,
    l1: f64,
    one: f64,
    lv: f64,
    v1: f64,
}

impl LineSums {
    fn of<'a>(points: impl IntoIterator<Item = &'a Point>, weight: impl Fn(&Point) -> f64) -> Self {
        let mut sums = Self { ll: 0.0, l1: 0.0, one: 0.0, lv: 0.0, v1: 0.0 };
        for p in points {
            let w = weight(p);
            sums.ll += w * p.level * p.level;
            sums.l1 += w * p.level;
            sums.one += w;
            sums.lv += w * p.level * p.variance;
            sums.v1 += w * p.variance;
        }
        sums
    }
    /// Gain and floor of the line through the points; `None` where all are of one level.
    fn solution(&self) -> Option<(f64, f64)> {
        let Self { ll, l1, one, lv, v1 } = self;
        let determinant = ll * one - l1 * l1;
        let (gain, floor) = (lv * one - v1 * l1, ll * v1 - l1 * lv);
        (determinant > 1e-9 * ll * one).then_some((gain / determinant, floor / determinant))
    }
}

impl NoiseLaw {
    /// Variance of one pixel at a level.
    #[must_use]
    pub fn variance(&self, level: f64) -> f64 {
        self.gain * level.max(0.0) + self.floor
    }
    /// Standard uncertainty in stops of a mean of so many pixels at a level:
    /// u(log2 m) = u(m) / (m ln 2).
    #[must_use]
    pub fn stops(&self, level: f64, pixels: f64) -> f64 {
        (self.variance(level) / pixels.max(1.0)).sqrt() / level.abs() / std::f64::consts::LN_2
    }
}
