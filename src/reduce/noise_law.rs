//! How noisy the cells of this frame usually are at a given mean.
//!
//! Cells also hold shading and non-uniformity, so the law is taken from the frame itself and not
//! from a sensor model: variance against mean, as a line through a few knots.

use super::lattice::Lattice;
use super::limits::limits;
use super::quick_look::Window;

/// Cells looked at for the law: enough for a steady law, few enough to cost nothing.
const SAMPLE: usize = 256;
/// Cells behind one knot; fewer in all make no law.
const PER_KNOT: usize = 64;

/// Variance against mean, ascending in mean; constant beyond its ends.
pub(super) struct NoiseLaw {
    knots: Vec<(f64, f64)>,
}

impl NoiseLaw {
    /// The law of every plane; `None` where too few whole, unclipped cells show it.
    pub(super) fn of_planes(lattice: &Lattice<'_>) -> Vec<Option<Self>> {
        let (columns, rows) = (lattice.width / lattice.cell_width(), lattice.height / lattice.side);
        let mut points = vec![Vec::with_capacity(SAMPLE); lattice.plane_count()];
        let mut values = Vec::new();
        for i in (0..columns * rows).step_by((columns * rows).div_ceil(SAMPLE).max(1)) {
            let cell = (i / columns) * lattice.columns + i % columns;
            lattice.touch(cell);
            for (plane, points) in points.iter_mut().enumerate() {
                lattice.gather(plane, cell, &mut values);
                if values.iter().any(|&v| v < lattice.white) {
                    points.extend(trimmed_moments(&values));
                }
            }
        }
        points.into_iter().map(Self::through).collect()
    }
    fn through(mut points: Vec<(f64, f64)>) -> Option<Self> {
        if points.len() < PER_KNOT {
            return None;
        }
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let per_knot = points.len().div_ceil(points.len() / PER_KNOT);
        let knots = points
            .chunks_mut(per_knot)
            .map(|part| {
                let mean = part[part.len() / 2].0;
                part.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
                (mean, part[part.len() / 2].1)
            })
            .collect();
        Some(Self { knots })
    }
    /// The same law for many means at a time.
    pub(super) fn bounds(&self) -> Bounds {
        let start = self.knots.first().map_or(0.0, |k| k.1);
        let mut bounds = Bounds { start, rises: [Rise::NONE; MOST_RISES] };
        for (rise, knots) in bounds.rises.iter_mut().zip(self.knots.windows(2)) {
            let width = knots[1].0 - knots[0].0;
            let slope = if width > 0.0 { (knots[1].1 - knots[0].1) / width } else { 0.0 };
            *rise = Rise { from: knots[0].0, width, slope };
        }
        bounds
    }
    /// The usual variance of a cell of this mean.
    pub(super) fn variance(&self, mean: f64) -> f64 {
        let after = self.knots.partition_point(|k| k.0 <= mean);
        match (after.checked_sub(1).map(|i| self.knots[i]), self.knots.get(after)) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (mean - a.0) / (b.0 - a.0),
            (Some(end), None) => end.1,
            (None, Some(end)) => end.1,
            (None, None) => 0.0,
        }
    }
}

/// Knots less one.
const MOST_RISES: usize = SAMPLE / PER_KNOT - 1;

/// A law as a start and what is added between knots, which takes no decisions.
pub(super) struct Bounds {
    start: f64,
    rises: [Rise; MOST_RISES],
}

#[derive(Clone, Copy)]
struct Rise {
    from: f64,
    width: f64,
    slope: f64,
}

impl Rise {
    const NONE: Self = Self { from: 0.0, width: 0.0, slope: 0.0 };
}

impl Bounds {
    /// The usual variance of a cell of this mean.
    #[inline(always)]
    pub(super) fn at(&self, mean: f64) -> f64 {
        let rise = |r: &Rise| r.slope * (mean - r.from).max(0.0).min(r.width);
        self.start + self.rises.iter().map(rise).sum::<f64>()
    }
}

/// Mean and variance of a cell without its own hot pixels. Nearly every cell may hold one, and
/// they raise mean and variance together, so that cells sorted by the plain mean would show them
/// as a law.
fn trimmed_moments(values: &[u16]) -> Option<(f64, f64)> {
    let (mean, variance) = moments(values, 0, u16::MAX)?;
    match limits(values, mean, variance, 0.0) {
        Some((low, high)) => moments(values, low, high),
        None => Some((mean, variance)),
    }
}

/// Mean and variance of the values between two.
fn moments(values: &[u16], low: u16, high: u16) -> Option<(f64, f64)> {
    let Window { n, sum, squares } = Window::of(values, low, high);
    (n > 1).then(|| {
        let scatter = n * squares - sum * sum;
        ((n * u64::from(low) + sum) as f64 / n as f64, scatter as f64 / (n * (n - 1)) as f64)
    })
}
