//! How noisy the cells of this frame usually are at a given mean.
//!
//! Cells also hold shading and non-uniformity, so the law is taken from the frame itself and not
//! from a sensor model: variance against mean, as a line through a few knots.

use super::lattice::{LANES, Lattice};
use super::limits::limits;
use fearless_simd::{Level, Simd, dispatch};

/// Cells looked at for the law: enough for a steady law, few enough to cost nothing.
const SAMPLE: usize = 256;
/// Cells behind one knot; fewer in all make no law.
const PER_KNOT: usize = 64;

/// Variance against mean, ascending in mean; constant beyond its ends.
pub(super) struct NoiseLaw {
    start: f64,
    rises: [Rise; MOST_RISES],
    end: (f64, f64),
}

impl NoiseLaw {
    /// The law of every plane; `None` where too few whole, unclipped cells show it.
    pub(super) fn of_planes(lattice: &Lattice<'_>) -> Vec<Option<Self>> {
        let points = dispatch!(Level::new(), simd => points(simd, lattice));
        points.into_iter().map(Self::through).collect()
    }
    fn through(mut points: Vec<(f64, f64)>) -> Option<Self> {
        if points.len() < PER_KNOT {
            return None;
        }
        points.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let per_knot = points.len().div_ceil(points.len() / PER_KNOT);
        let knots: Vec<(f64, f64)> = points
            .chunks_mut(per_knot)
            .map(|part| {
                let mean = part[part.len() / 2].0;
                part.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
                (mean, part[part.len() / 2].1)
            })
            .collect();
        let (&(_, start), &end) = knots.first().zip(knots.last())?;
        let mut rises = [Rise::NONE; MOST_RISES];
        for (rise, knots) in rises.iter_mut().zip(knots.windows(2)) {
            let [(from, start), (to, end)] = [knots[0], knots[1]];
            *rise = Rise { from, start, width: to - from, rise: end - start };
        }
        Some(Self { start, rises, end })
    }
    /// The usual variance of a cell of this mean. All knots are asked, so that many means at a time
    /// take no decisions.
    #[inline(always)]
    pub(super) fn variance(&self, mean: f64) -> f64 {
        let mut variance = self.start;
        for rise in &self.rises {
            let here = rise.start + rise.rise * (mean - rise.from) / rise.width;
            variance = if mean >= rise.from { here } else { variance };
        }
        if mean >= self.end.0 { self.end.1 } else { variance }
    }
}

/// Knots less one.
const MOST_RISES: usize = SAMPLE / PER_KNOT - 1;

/// A line between two knots.
#[derive(Clone, Copy)]
struct Rise {
    from: f64,
    start: f64,
    width: f64,
    rise: f64,
}

impl Rise {
    /// Of no mean.
    const NONE: Self = Self { from: f64::INFINITY, start: 0.0, width: 1.0, rise: 0.0 };
}

/// Mean and variance of a few cells of every plane.
#[inline(always)]
fn points<S: Simd>(simd: S, lattice: &Lattice<'_>) -> Vec<Vec<(f64, f64)>> {
    let (columns, rows) = (lattice.width / lattice.cell_width(), lattice.height / lattice.side);
    let mut points = vec![Vec::with_capacity(SAMPLE); lattice.plane_count()];
    let (mut buffer, mut values) = (Vec::new(), Vec::new());
    let sample = (0..columns * rows).step_by((columns * rows).div_ceil(SAMPLE).max(1));
    let mut cells = sample.map(|i| (i / columns) * lattice.columns + i % columns).peekable();
    while let Some(cell) = cells.next() {
        cells.peek().iter().for_each(|&&next| lattice.ask_for(simd.level(), next));
        let (rows, columns) = lattice.pixels_of(cell);
        let lattice = lattice.having(rows, columns, &mut buffer);
        for (plane, points) in points.iter_mut().enumerate() {
            lattice.gather(plane, cell, &mut values);
            if values.iter().any(|&v| v < lattice.white) {
                points.extend(trimmed_moments(simd, &values));
            }
        }
    }
    points
}

/// Mean and variance of a cell without its own hot pixels. Nearly every cell may hold one, and
/// they raise mean and variance together, so that cells sorted by the plain mean would show them
/// as a law.
#[inline(always)]
fn trimmed_moments<S: Simd>(simd: S, values: &[u16]) -> Option<(f64, f64)> {
    let (mean, variance) = moments(values, 0, u16::MAX)?;
    match limits(simd, values, (mean, variance), 0.0) {
        Some((low, high)) => moments(values, low, high),
        None => Some((mean, variance)),
    }
}

/// Mean and variance of the values between two.
#[inline(always)]
fn moments(values: &[u16], low: u16, high: u16) -> Option<(f64, f64)> {
    let Inside { n, sum, squares } = Inside::of(values, low, high);
    (n > 1).then(|| {
        let scatter = n * squares - sum * sum;
        ((n * u64::from(low) + sum) as f64 / n as f64, scatter as f64 / (n * (n - 1)) as f64)
    })
}

/// Sums over the values within a window, above its lower end.
struct Inside {
    n: u64,
    sum: u64,
    squares: u64,
}

impl Inside {
    /// From the lower to the upper end, both in it.
    #[inline(always)]
    fn of(values: &[u16], bottom: u16, top: u16) -> Self {
        let width = top - bottom;
        let (mut n, mut sum, mut lower, mut upper) =
            ([0_u16; LANES], [0_u32; LANES], [0_u32; LANES], [0_u32; LANES]);
        let (chunks, rest) = values.as_chunks::<LANES>();
        for chunk in chunks {
            for lane in 0..LANES {
                let above = chunk[lane].wrapping_sub(bottom);
                let inside = u16::from(above <= width);
                let above = u32::from(above & inside.wrapping_neg());
                n[lane] += inside;
                sum[lane] += above;
                lower[lane] += (above * above) & 0xffff;
                upper[lane] += (above * above) >> 16;
            }
        }
        let total = |of: [u32; LANES]| of.iter().copied().map(u64::from).sum::<u64>();
        let n = n.iter().copied().map(u64::from).sum();
        let squares = total(lower) + (total(upper) << 16);
        let mut window = Self { n, sum: total(sum), squares };
        for above in rest.iter().map(|v| u64::from(v.wrapping_sub(bottom))) {
            if above <= u64::from(width) {
                window.n += 1;
                window.sum += above;
                window.squares += above * above;
            }
        }
        window
    }
}
