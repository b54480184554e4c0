//! Shade beside a dark cross: the pattern of a pair of polarisers, fitted where nothing shades, is known
//! all over the frame, and a hard edge is what it leaves over.

use super::{Shade, excess_of, hard, shaded};
use crate::measure::map::RatioMap;
use crate::measure::pair::single::{self, Single};

/// Radii inside which a pattern is fitted: the first that a pair explains counts.
const INSIDES: [f64; 4] = [0.8, 0.62, 0.5, 0.4];

/// Shade beside the pattern of a pair, or that there is none. `None` where no pair explains the inside.
pub(super) fn find(map: &RatioMap) -> Option<Shade> {
    let (inside, pair) = INSIDES.into_iter().find_map(|inside| {
        let near = |_: usize, (x, y): (f64, f64)| x.hypot(y) < inside;
        Some((inside, single::fit(map, near)?))
    })?;
    let beyond = |pair: &Single| excess_of(map, |x, y| pair.stops(x, y));
    let excess = beyond(&pair);
    let Some(first) = shaded(map, &excess, inside) else {
        return Some(Shade { unexplained: hard(map, &excess), ..Shade::none(map) });
    };
    // the pattern is known better from all that the shade spares
    let spared = pair.again(map, |i, _| !first.skip[i]);
    let second = spared.and_then(|pair| Some((shaded(map, &beyond(&pair), inside)?, pair)));
    let (shade, pair) = second.unwrap_or((first, pair));
    Some(Shade { pair: Some(pair), ..shade })
}
