//! What one frame of a lamp shows: green light per exposure in each cell, and what lies where.

use crate::frame::cfa::Plane;
use crate::levels::{clipped_cells, levels};
use crate::measure::picture::Taken;
use crate::numerics::robust::{deviation, median};

/// Exposure in seconds from which single pixels glow so that a cell shows it (ours).
const HOT_SECONDS: f64 = 1.0;
/// The two greens of a cell see one light: where they differ by more than this part of it, one of
/// them holds a hot pixel. Edges of a spot fall otherwise on either, which differs by less in a cell
/// that gives much of its light (ours).
const GREENS_APART: f64 = 0.05;
/// The greens differ from so many deviations of the frame's other cells on.
const APART: f64 = 6.0;

/// Light per exposure of one frame's green cells, summed over their pixels' area.
pub(super) struct Light {
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Per cell and exposure.
    pub(super) green: Vec<f64>,
    pub(super) exposure: f64,
    pub(super) clipped: Vec<f64>,
}

impl Light {
    pub(super) fn of(taken: &Taken) -> Option<Self> {
        let frame = levels(&taken.timed.summary, &[]);
        let e = taken.timed.exposure.as_ref()?;
        let f_number = e.f_number.map_or(1.0, |n| n.get());
        let iso = e.iso.map_or(100.0, |i| i.get());
        let exposure = e.true_time.get() * iso / (f_number * f_number);
        let of = |plane| frame.planes.iter().find(|p| p.plane == plane).map(|p| &p.level);
        let green = match (of(Plane::Green1), of(Plane::Green2)) {
            (Some(a), Some(b)) if e.true_time.get() >= HOT_SECONDS => cooler(a, b),
            _ => frame.channel_cells(1),
        };
        let green = green.iter().map(|g| g / exposure).collect();
        let clipped = clipped_cells(&taken.timed.summary.cells, 1);
        Some(Self { columns: frame.columns, rows: frame.rows, green, exposure, clipped })
    }
    pub(super) fn at(&self, i: usize) -> (f64, f64) {
        ((i % self.columns) as f64 + 0.5, (i / self.columns) as f64 + 0.5)
    }
    pub(super) fn near(&self, middle: (f64, f64), radius: f64) -> Vec<usize> {
        let span = |at: f64, of: usize| {
            let end = (at + radius).ceil().max(0.0) as usize;
            ((at - radius).floor().max(0.0) as usize).min(of)..end.min(of)
        };
        let (across, down) = (span(middle.0, self.columns), span(middle.1, self.rows));
        let cells = down.flat_map(|row| across.clone().map(move |c| row * self.columns + c));
        let inside = |i: &usize| {
            let (x, y) = self.at(*i);
            (x - middle.0).hypot(y - middle.1) <= radius
        };
        cells.filter(inside).collect()
    }
    /// The cells near a place, and the middle value of those in a ring around them; `None` where that
    /// has none.
    pub(super) fn with_ground(
        &self,
        values: &[f64],
        middle: (f64, f64),
        (radius, ring): (f64, f64),
    ) -> Option<(Vec<usize>, f64)> {
        let (inside, around): (Vec<usize>, Vec<usize>) =
            self.near(middle, radius + ring).into_iter().partition(|&i| {
                let (x, y) = self.at(i);
                (x - middle.0).hypot(y - middle.1) <= radius
            });
        let ground = median(around.iter().map(|&i| values[i]))?;
        Some((inside, ground))
    }
}

/// Green counts per cell from those of its two planes, of two that differ the lower: a pixel that
/// glows by itself is in one of them, and a cell with a spot in it is too uneven for its pixels to be
/// told one by one.
fn cooler(one: &[f64], other: &[f64]) -> Vec<f64> {
    let apart: Vec<f64> = one.iter().zip(other).map(|(a, b)| a - b).collect();
    let usual = median(apart.iter().copied()).unwrap_or(0.0);
    let least = APART * deviation(apart.iter().copied()).unwrap_or(0.0);
    let mean = |i: usize| f64::midpoint(one[i], other[i]);
    let ground = median((0..apart.len()).map(mean)).unwrap_or(0.0);
    let cell = |(i, apart): (usize, &f64)| {
        let apart = (apart - usual).abs();
        let hot = apart > least.max(GREENS_APART * (mean(i) - ground));
        if hot { mean(i) - apart / 2.0 } else { mean(i) }
    };
    apart.iter().enumerate().map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::cooler;

    /// Forty dark cells of noise 0.5, and a spot of 50 counts over 4: two of them have a pixel in one
    /// green that adds 40 to that plane's mean. A tenth of the spot's light was in error by it.
    #[test]
    fn a_pixel_that_glows_in_one_green_is_not_light() {
        let noise = |i: usize| 0.5 * (i as f64 * 2.4).sin();
        let spot = |i: usize| if (20..24).contains(&i) { 50.0 } else { 0.0 };
        let glow = |i: usize| if i == 21 || i == 7 { 40.0 } else { 0.0 };
        let one: Vec<f64> = (0..40).map(|i| spot(i) + glow(i) + noise(i)).collect();
        let other: Vec<f64> = (0..40).map(|i| spot(i) + noise(i + 100)).collect();
        let seen = cooler(&one, &other);
        for (i, level) in seen.iter().enumerate() {
            assert!((level - spot(i)).abs() < 1.0, "cell {i}: {level}");
        }
        // An edge that falls otherwise on the two greens, by a fiftieth, is light.
        let edge: Vec<f64> = (0..40).map(|i| 1.04 * spot(i) + noise(i)).collect();
        let seen: f64 = cooler(&edge, &other)[20..24].iter().sum();
        assert!((seen - 204.0).abs() < 2.0, "{seen}");
    }
}
