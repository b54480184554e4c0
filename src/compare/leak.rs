//! The check for a far-red leak with two lamps: a filter that passes far red takes less from the
//! red channel in light that holds much of it.

use super::cast_stops;
use super::sharing::model;
use crate::measure::cast::TUNGSTEN_BELOW;
use crate::profile::{Profile, Setting};

/// x below this is taken for a leak (ours; smooth filters calculated for one camera gave -0.049 to
/// +0.044 stop, filters with leaks -0.039 to -0.241).
pub const LEAK_BELOW: f64 = -0.06;

/// What the check says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeakVerdict {
    /// x lies below the limit.
    Leak,
    /// It does not.
    NoSign,
    /// The doubt of x reaches across the limit.
    Undecided,
}

/// x = (S_R - S_G) under tungsten minus the same under white light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RedLeak {
    /// x in stops: the lowest of all settings.
    pub x: f64,
    /// Its expanded uncertainty, in stops.
    pub u95: f64,
    /// What follows.
    pub verdict: LeakVerdict,
    /// Whether the first profile holds the tungsten light.
    pub tungsten_first: bool,
    /// Whether both were measured with the same model of camera; with two models x says nothing.
    pub same_model: bool,
}

/// `None` unless one bare light is like tungsten and the other white.
pub(super) fn check(
    first: &Profile,
    second: &Profile,
    pairs: &[(&Setting, &Setting)],
) -> Option<RedLeak> {
    let is_tungsten = |p: &Profile| Some(p.light.as_ref()?.cct_k < TUNGSTEN_BELOW);
    let tungsten_first = is_tungsten(first)?;
    if tungsten_first == is_tungsten(second)? {
        return None;
    }
    let found = pairs.iter().map(|(a, b)| {
        let (warm, white) = if tungsten_first { (a, b) } else { (b, a) };
        let ([warm, _], [white, _]) = (cast_stops(&warm.cast), cast_stops(&white.cast));
        (warm.0 - white.0, warm.1.hypot(white.1))
    });
    let (x, u95) = found.min_by(|p, q| p.0.total_cmp(&q.0))?;
    let verdict = if x < LEAK_BELOW {
        LeakVerdict::Leak
    } else if x - u95 < LEAK_BELOW {
        LeakVerdict::Undecided
    } else {
        LeakVerdict::NoSign
    };
    let same_model = model(first).is_some() && model(first) == model(second);
    Some(RedLeak { x, u95, verdict, tungsten_first, same_model })
}
