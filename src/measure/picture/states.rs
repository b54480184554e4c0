//! Which frames are bare: by their folders, else by their levels.

use super::{Taken, TakenAs};
use crate::levels::levels;
use crate::numerics::robust::quantile;
use crate::quantity::Stops;

/// Least strength that levels can tell, and how far the strength may be from the filter's own.
const LEAST_STOPS: f64 = 0.5;
const OFF_STOPS: f64 = 0.7;
/// Below this part of white nothing was seen.
const DARK_SHARE: f64 = 0.002;

/// Light of the bright parts of a frame, as exposed.
fn bright(taken: &Taken) -> Option<f64> {
    let light = levels(&taken.timed.summary, &[]).channel_cells(1);
    quantile(light, 0.9)
}

/// The same per exposure, in stops.
fn per_exposure(taken: &Taken) -> Option<f64> {
    let exposure = taken.timed.exposure.as_ref()?;
    let f_number = exposure.f_number.map_or(1.0, |n| n.get());
    let iso = exposure.iso.map_or(100.0, |i| i.get());
    let light = bright(taken).filter(|l| *l > 0.0)?;
    Some((light * f_number * f_number / iso / exposure.true_time.get()).log2())
}

/// TakenAs of each frame; `None` where the folder does not say it and levels do not tell. `strength`
/// is the filter's, where it has one.
#[must_use]
pub fn states(frames: &[&Taken], strength: Option<Stops>) -> Option<Vec<TakenAs>> {
    if frames.iter().all(|f| f.said.is_some()) {
        return frames.iter().map(|f| f.said).collect();
    }
    let is_dark = |f: &Taken| {
        let white = f64::from(f.timed.summary.levels.white);
        bright(f).is_some_and(|l| l < DARK_SHARE * white)
    };
    let levels: Vec<Option<f64>> =
        frames.iter().map(|f| if is_dark(f) { None } else { per_exposure(f) }).collect();
    let mut known: Vec<f64> = levels.iter().flatten().copied().collect();
    known.sort_by(f64::total_cmp);
    let gap = known.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))?;
    let (size, middle) = (gap[1] - gap[0], f64::midpoint(gap[0], gap[1]));
    let spread = |above: bool| {
        let mut side = known.iter().filter(|l| (**l > middle) == above);
        let first = side.next().copied().unwrap_or(middle);
        side.next_back().copied().unwrap_or(first) - first
    };
    let one_each = spread(true).max(spread(false)) < size / 2.0;
    let fits = strength.is_none_or(|s| (size - s.get()).abs() < OFF_STOPS);
    if size < LEAST_STOPS || !one_each || !fits {
        return None;
    }
    let state = |(frame, level): (&&Taken, &Option<f64>)| match (frame.said, level) {
        (Some(said), _) => said,
        (None, None) => TakenAs::Dark,
        (None, Some(level)) if *level > middle => TakenAs::Bare,
        (None, Some(_)) => TakenAs::Filtered,
    };
    Some(frames.iter().zip(&levels).map(state).collect())
}
