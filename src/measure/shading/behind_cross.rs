//! Shade beside a dark cross: the pattern of a pair of polarisers, fitted where nothing shades, is known
//! all over the frame, and a hard edge is what it leaves over.

use super::{Shade, excess_of, hard, shaded};
use crate::measure::map::{GREEN, RatioMap};
use crate::measure::pair::single::{self, Single};

/// Radii inside which a pattern is fitted: the first that a pair explains counts.
const INSIDES: [f64; 4] = [0.8, 0.62, 0.5, 0.4];
/// A pair explains cells that it misses by no more stops than this,
const EXPLAINED: f64 = 0.02;
/// beside so many times their noise (ours).
const MOST_NOISES: f64 = 1.3;
/// Rounds in which the pattern is fitted again to all that the shade spares.
const ROUNDS: usize = 2;

/// Shade beside the pattern of a pair, or that there is none. `None` where no pair explains the inside.
pub(super) fn find(map: &RatioMap) -> Option<Shade> {
    let near = |inside: f64| move |_: usize, (x, y): (f64, f64)| x.hypot(y) < inside;
    let (inside, mut pair) =
        INSIDES.into_iter().find_map(|inside| Some((inside, pair(map, near(inside))?)))?;
    let mut found = None;
    for _ in 0..ROUNDS {
        let excess = excess_of(map, |x, y| pair.stops(x, y));
        let Some(shade) = shaded(map, &excess, inside) else {
            let none = || Shade { unexplained: hard(map, &excess), ..Shade::none(map) };
            return Some(found.unwrap_or_else(none));
        };
        let spared = self::pair(map, |i, _| !shade.skip[i]);
        found = Some(shade);
        let Some(spared) = spared else { break };
        pair = spared;
    }
    found
}

/// A pair that explains the cells that are kept.
fn pair(map: &RatioMap, keep: impl Fn(usize, (f64, f64)) -> bool) -> Option<Single> {
    let (places, stops) = map.rows(map.green(), keep, |x, y| [x, y]);
    let cells: Vec<(f64, f64, f64)> =
        places.into_iter().zip(stops).map(|([x, y], stops)| (x, y, stops)).collect();
    let most = EXPLAINED.hypot(MOST_NOISES * map.noise[GREEN]);
    single::fit(&cells).filter(|pair| pair.misfit < most)
}
