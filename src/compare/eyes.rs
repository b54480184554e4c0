//! The shift of warmth of one filter that a camera saw twice: what its three numbers do not tell is the
//! same each time, and cancels as far as filter and light are the same (JCGM 100:2008, 5.2.2).

use super::Difference;
use super::sharing::{model, same_light};
use crate::kit::kept::name_key;
use crate::measure::cast::untold_mired;
use crate::measure::record::COVERAGE;
use crate::profile::{MiredU95, Profile, Setting};

/// Share of what is untold that does not cancel: lights of one temperature are not one light, and what has
/// changed of a filter is seen for the first time. Computed from spectra, as in [`crate::measure::cast::leak`],
/// of filters that faded by up to 0.3 stop, tilted by 0.15 or leaked 0.3 more between two lights that count
/// as alike: 97 % of each sort lie within u95 and more.
const REMAINS: f64 = 0.15;

/// The second shift less the first, in mired.
pub(super) fn mired(
    first: (&Profile, &Setting),
    second: (&Profile, &Setting),
) -> Option<Difference> {
    let (a, b) = (first.1.cast.mired_shift?, second.1.cast.mired_shift?);
    let apart = Difference::new((a.value.get(), a.u95.get()), (b.value.get(), b.u95.get()));
    if !one_filter_and_eyes(first.0, second.0) {
        return Some(apart);
    }
    let Some((one, two)) = Parts::of(first, a).zip(Parts::of(second, b)) else {
        return Some(apart);
    };
    let changed: f64 = one.untold.iter().zip(two.untold).map(|(a, b)| (b - a).powi(2)).sum();
    let all: f64 = one.untold.iter().chain(&two.untold).map(|u| u * u).sum();
    let u95 = (one.own + two.own + changed + REMAINS * REMAINS * all).sqrt();
    Some(Difference { u95, ..apart })
}

/// One name is one filter, and one model of camera has one sort of eyes; the matrix is of one source, and
/// the lights are alike.
fn one_filter_and_eyes(first: &Profile, second: &Profile) -> bool {
    let matrix = |p: &Profile| p.camera.colour_matrix.as_ref().map(|m| m.source.clone());
    name_key(&first.filter.name) == name_key(&second.filter.name)
        && model(first).is_some_and(|own| model(second) == Some(own))
        && matrix(first).is_some_and(|own| matrix(second) == Some(own))
        && same_light(first, second) == Some(true)
}

/// What an expanded uncertainty is made of, in mired.
struct Parts {
    /// Of each shoot its own, as a square.
    own: f64,
    /// What three numbers do not tell, by its cause.
    untold: [f64; 4],
}

impl Parts {
    /// `None` where less than that was counted, as in a profile of an earlier version.
    fn of((profile, setting): (&Profile, &Setting), shift: MiredU95) -> Option<Self> {
        let channels = &setting.channels;
        let stops = [channels.red, channels.green, channels.blue].map(|c| c.stops.get());
        let untold = untold_mired(shift.value, profile.light.as_ref()?, stops);
        let untold = untold.map(|u| COVERAGE * u);
        let own = shift.u95.get().powi(2) - untold.iter().map(|u| u * u).sum::<f64>();
        (own >= 0.0).then_some(Self { own, untold })
    }
}
