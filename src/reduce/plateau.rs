//! Sensors that saturate below the white level that their files tell.
//!
//! There every pixel has one value, as no light has: photon noise is gone. Cells that lie on such a
//! plateau, or so near below it that it cuts their noise, count as clipped.

use super::grid::PlaneCells;
use crate::frame::{Levels, Origin};

/// Cells on a plateau: so many at least, and this share of all; the flat top of a smooth light is
/// smaller (ours).
const FEWEST: usize = 8;
const LEAST_SHARE: f64 = 0.02;
/// Their means differ by less than this share of their level, or by less than a count (ours).
const ALIKE: f64 = 2e-4;
/// Their variance is below this share of what photons leave (ours).
const QUIET: f64 = 1.0 / 16.0;
/// Photon noise is told from rounding from this variance on, counts squared (ours).
const LEAST_VARIANCE: f64 = 4.0;
/// No sensor saturates below this share of its white level (ours).
const LOWEST: f64 = 0.25;
/// Cells between these shares of the plateau show the noise (ours) ...
const SHOWN_FROM: f64 = 0.05;
const SHOWN_TO: f64 = 0.95;
/// ... where there are so many; what shading adds to it is least in the lowest tenth of them.
const SHOWING: usize = 16;
const LOWEST_PART: usize = 10;
/// A plateau cuts the noise of cells up to so many standard deviations below it.
const DEVIATIONS: f64 = 5.0;
/// Fewer pixels show no variance worth the name.
const PIXELS: u32 = 16;

/// Mean above black and variance of one cell.
struct Seen {
    cell: usize,
    level: f64,
    variance: f64,
}

/// Counts what lies on a plateau below the white level as clipped.
pub(super) fn clip(planes: &mut [PlaneCells], levels: &Levels, origin: Origin) {
    if !origin.is_raw() {
        return;
    }
    let black = levels.black.values.iter().sum::<f64>() / levels.black.values.len().max(1) as f64;
    let lowest = LOWEST * (f64::from(levels.white) - black);
    let tops: Vec<f64> = planes.iter().map(|plane| top(plane, black)).collect();
    let highest = tops.iter().copied().fold(0.0, f64::max);
    // Nearly all frames end here, and need no list of their cells.
    if highest < lowest || !planes.iter().zip(&tops).any(|(plane, &top)| is_flat(plane, black, top))
    {
        return;
    }
    let seen: Vec<Vec<Seen>> = planes.iter().map(|plane| seen(plane, black)).collect();
    let Some(per_count) = variance_per_count(&seen, highest) else { return };
    for ((plane, cells), top) in planes.iter_mut().zip(&seen).zip(tops) {
        let expected = per_count * top;
        let on_it = |c: &&Seen| {
            is_near(c.level, top) && c.variance < QUIET * expected && plane.clipped[c.cell] == 0
        };
        let is_cut = top >= lowest
            && expected >= LEAST_VARIANCE
            && is_enough(cells.iter().filter(on_it).count(), cells.len());
        if is_cut {
            let from = top - DEVIATIONS * expected.sqrt();
            for c in cells.iter().filter(|c| c.level >= from) {
                plane.clipped[c.cell] = u16::try_from(plane.kept(c.cell)).unwrap_or(u16::MAX);
            }
        }
    }
}

/// Whether a level is alike to the highest.
fn is_near(level: f64, top: f64) -> bool {
    top - level <= (ALIKE * top).max(1.0)
}

/// Whether so many cells of all make a plateau.
fn is_enough(cells: usize, of: usize) -> bool {
    cells as f64 >= (LEAST_SHARE * of as f64).max(FEWEST as f64)
}

/// Cells of enough pixels: level above black, clipped pixels.
fn levels(plane: &PlaneCells, black: f64) -> impl Iterator<Item = (f64, u16)> {
    let kept = plane.count.iter().zip(&plane.rejected).map(|(n, &out)| n - u32::from(out));
    kept.zip(&plane.sum)
        .zip(&plane.clipped)
        .filter(|((kept, _), _)| *kept >= PIXELS)
        .map(move |((kept, &sum), &clipped)| (f64::from(sum) / f64::from(kept) - black, clipped))
}

/// The highest level of a plane.
fn top(plane: &PlaneCells, black: f64) -> f64 {
    levels(plane, black).map(|(level, _)| level).fold(0.0, f64::max)
}

/// Whether enough cells lie at the top for a plateau, were they quiet.
fn is_flat(plane: &PlaneCells, black: f64, top: f64) -> bool {
    let (mut near, mut all) = (0, 0);
    for (level, clipped) in levels(plane, black) {
        near += usize::from(is_near(level, top) && clipped == 0);
        all += 1;
    }
    is_enough(near, all)
}

fn seen(plane: &PlaneCells, black: f64) -> Vec<Seen> {
    let of = |cell: usize| {
        let enough = plane.kept(cell) >= PIXELS;
        let (level, variance) = (plane.mean(cell)? - black, plane.variance(cell)?);
        enough.then_some(Seen { cell, level, variance })
    };
    (0..plane.sum.len()).filter_map(of).collect()
}

/// Photon noise as variance per count: every plane has the same gain. `None` where nothing shows it.
fn variance_per_count(seen: &[Vec<Seen>], highest: f64) -> Option<f64> {
    let shows = |c: &&Seen| c.level > SHOWN_FROM * highest && c.level < SHOWN_TO * highest;
    let ratio = |c: &Seen| c.variance / c.level;
    let mut ratios: Vec<f64> = seen.iter().flatten().filter(shows).map(ratio).collect();
    if ratios.len() < SHOWING {
        return None;
    }
    let place = ratios.len() / LOWEST_PART;
    let (_, low, _) = ratios.select_nth_unstable_by(place, f64::total_cmp);
    Some(*low)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use crate::frame::{BlackPattern, Frame, Levels};
    use crate::levels::clipped_shares;
    use crate::reduce::reduce;
    use crate::reduce::tests::mosaic;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};

    const SIZE: (usize, usize) = (960, 640);
    const BLACK: f64 = 512.0;
    const ELECTRONS_PER_COUNT: f64 = 3.0;

    /// A wall, brightest in the middle by `falloff` of its level in the corners; the level of green
    /// there in counts above black, red and blue at 0.6 of it; `cap` is where the sensor saturates.
    fn wall(level: f64, falloff: f64, cap: f64, noise: f64) -> Frame {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let normal = Normal::new(0.0, 1.0).unwrap();
        let (width, height) = SIZE;
        let radius2 = ((width * width + height * height) / 4) as f64;
        let value = |i: usize| {
            let (x, y) = (i % width, i / width);
            let (dx, dy) = (x as f64 - width as f64 / 2.0, y as f64 - height as f64 / 2.0);
            let colour = if x % 2 == y % 2 { 0.6 } else { 1.0 };
            let light = level * colour * (1.0 - falloff * (dx * dx + dy * dy) / radius2);
            let deviation = noise * (light / ELECTRONS_PER_COUNT + 4.0).sqrt();
            let counts = BLACK + light + deviation * normal.sample(&mut random);
            counts.round().clamp(0.0, cap) as u16
        };
        let mut frame = mosaic(width, height, "RGGB", value);
        frame.levels = Levels { black: BlackPattern::uniform(BLACK), white: 16_383 };
        frame
    }

    /// Clipped shares of the centre: red, both greens, blue.
    fn shares(frame: &Frame) -> Vec<f64> {
        clipped_shares(&reduce(frame).cells).into_iter().map(|(_, share)| share).collect()
    }

    #[test]
    fn a_plateau_below_the_white_level_is_clipped() {
        // The last: all of green.
        for (level, falloff) in [(13_000.0, 0.5), (11_800.0, 0.3), (14_000.0, 0.1)] {
            let found = shares(&wall(level, falloff, 12_000.0, 1.0));
            assert_eq!(found, [0.0, 1.0, 1.0, 0.0], "{level} {falloff}");
        }
    }

    #[test]
    fn light_that_only_looks_flat_is_not() {
        // Below the cap, without falloff, and without any noise.
        for (level, falloff, noise) in [
            (11_000.0, 0.5, 1.0),
            (11_000.0, 0.01, 1.0),
            (11_000.0, 0.0, 1.0),
            (11_000.0, 0.5, 0.0),
            (11_000.0, 0.0, 0.0),
            (6_000.0, 0.3, 0.3),
        ] {
            let found = shares(&wall(level, falloff, 12_000.0, noise));
            assert_eq!(found, [0.0; 4], "{level} {falloff} {noise}");
        }
    }

    #[test]
    fn whole_cells_of_it_are_clipped_and_none_below() {
        let frame = wall(13_000.0, 0.5, 12_000.0, 1.0);
        let cells = reduce(&frame).cells;
        let plane = &cells.planes[1];
        for cell in 0..plane.sum.len() {
            let mean = plane.mean(cell).unwrap();
            // The noise of one pixel here is 62 counts.
            let (kept, clipped) = (plane.kept(cell), u32::from(plane.clipped[cell]));
            assert!(mean < 11_950.0 || clipped == kept, "{mean}: {clipped} of {kept}");
            assert!(mean > 11_500.0 || clipped == 0, "{mean}: {clipped} of {kept}");
        }
    }
}
