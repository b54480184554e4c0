//! One polariser at several rotations: what it takes from unpolarised light, or what it shows of
//! polarised light.

use crate::caution::Caution;
use crate::measure::record::stops_u95;
use crate::measure::result::SettingResult;
use crate::profile::{Polarising, StopsU95};
use crate::quantity::{Degrees, Stops};
use crate::text::in_stops;

/// A smaller change between rotations is the light's own unrest, in stops (ours).
const LEAST_CHANGE: f64 = 0.05;
/// Rotations from which on Malus' law can be fitted.
const ENOUGH: usize = 3;
/// What is lighter than this at no rotation is no polariser, which takes one to two stops of unpolarised
/// light, stops (ours).
const MOST_LOSS: f64 = 3.0;
/// From lightest to darkest, degrees; a hand's rotations are good to some.
const QUARTER_TURN: f64 = 90.0;
const BY_HAND: f64 = 10.0;
/// Rotations count as different from here, in degrees modulo half a turn.
const APART: f64 = 5.0;

/// What a polariser's rotations say against the light.
#[must_use]
pub fn doubt(found: &Polarising) -> Option<Caution> {
    match found.extinction_stops {
        None => Some(Caution::PolarisationUntold),
        Some(change) if found.light_polarised => {
            Some(Caution::LightPolarised { change: change.stops })
        }
        Some(_) => None,
    }
}

/// Rotations that no polariser explains: each takes more than one does at its lightest, or they darken
/// for more than a quarter turn, after which Malus' law turns back.
#[must_use]
pub fn other_kind(settings: &[SettingResult]) -> Option<Caution> {
    let stops = |s: &SettingResult| s.strength().value().get();
    let lightest = settings.iter().map(stops).reduce(f64::min)?;
    let darkest = settings.iter().map(stops).reduce(f64::max)?;
    let points: Option<Vec<(f64, f64)>> = settings.iter().map(at_rotation).collect();
    if points.is_some_and(turns_one_way) {
        let reason = format!(
            "from {lightest:.1} to {} it darkens over more than a quarter turn, after which a polariser \
             turns back",
            in_stops(darkest, 1)
        );
        return Some(Caution::LooksLike { kind: "variable", reason });
    }
    (lightest > MOST_LOSS).then(|| Caution::LooksLike {
        kind: "solid",
        reason: format!(
            "it takes {} where it is lightest, and a polariser one to two",
            in_stops(lightest, 1)
        ),
    })
}

/// Whether light goes one way for more than a quarter turn, from rotation to rotation as they are named.
fn turns_one_way(mut points: Vec<(f64, f64)>) -> bool {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return false };
    let falls = |w: &[(f64, f64)]| (w[0].1 / w[1].1).log2();
    let one_way = points.windows(2).all(|w| falls(w) > LEAST_CHANGE)
        || points.windows(2).all(|w| falls(w) < -LEAST_CHANGE);
    one_way && last.0 - first.0 > QUARTER_TURN + BY_HAND && points.len() >= ENOUGH
}

/// Rotation in degrees, and light; `None` where its mark is no number.
fn at_rotation(setting: &SettingResult) -> Option<(f64, f64)> {
    let mark = setting.mark.as_deref()?.trim();
    let degrees = mark.trim_end_matches(['\u{b0}', ' ']).trim_end_matches("deg").parse().ok()?;
    Some((degrees, (-setting.strength().value().get()).exp2()))
}

/// Reads the rotations. Each setting is one; marks that are numbers are degrees.
#[must_use]
pub fn polarising(settings: &[SettingResult]) -> Option<Polarising> {
    let stops = |s: &SettingResult| s.strength().value().get();
    let lightest = settings.iter().min_by(|a, b| stops(a).total_cmp(&stops(b)))?;
    let darkest = settings.iter().max_by(|a, b| stops(a).total_cmp(&stops(b)))?;
    let difference = darkest.strength().less(lightest.strength());
    let change = difference.value().get();
    if settings.len() < 2 {
        return Some(Polarising {
            loss_stops: Some(stops_u95(lightest.strength())),
            extinction_stops: None,
            angle_of_maximum: None,
            light_polarised: false,
        });
    }
    let polarised = change > LEAST_CHANGE.max(difference.u95().get());
    let malus = malus(settings);
    let extinction = match malus.filter(|_| polarised) {
        Some((_, extinction)) => extinction,
        None => change,
    };
    let mean = settings.iter().map(stops).sum::<f64>() / settings.len() as f64;
    let widest = settings.iter().map(|s| s.strength().u95().get()).fold(0.0, f64::max);
    let loss = StopsU95 { stops: Stops::new(mean), u95: Stops::new(widest) };
    Some(Polarising {
        loss_stops: (!polarised).then_some(loss),
        extinction_stops: Some(StopsU95 { stops: Stops::new(extinction), u95: difference.u95() }),
        angle_of_maximum: malus.filter(|_| polarised).map(|(angle, _)| Degrees::new(angle)),
        light_polarised: polarised,
    })
}

/// Least squares on light = a + b cos 2t + c sin 2t (Malus, Hecht, Optics, from memory): the rotation
/// of the most light, in degrees from 0 to 180, and lightest over darkest in stops.
fn malus(settings: &[SettingResult]) -> Option<(f64, f64)> {
    let points: Option<Vec<(f64, f64)>> = settings.iter().map(at_rotation).collect();
    let points = points?;
    if distinct(&points) < ENOUGH || turns_one_way(points.clone()) {
        return None;
    }
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for (angle, light) in points {
        let (sin, cos) = (2.0 * angle.to_radians()).sin_cos();
        let row = nalgebra::Vector3::new(1.0, cos, sin);
        // relative errors are alike, so light is weighed by its inverse
        normal += row * row.transpose() / (light * light);
        right += row / light;
    }
    let [[mean, cos, sin]] = normal.cholesky()?.solve(&right).data.0;
    let swing = cos.hypot(sin);
    let angle = (sin.atan2(cos).to_degrees() / 2.0).rem_euclid(180.0);
    (mean > swing).then(|| (angle, ((mean + swing) / (mean - swing)).log2()))
}

/// How many rotations differ, modulo half a turn.
fn distinct(points: &[(f64, f64)]) -> usize {
    let mut seen: Vec<f64> = Vec::new();
    for (angle, _) in points {
        let apart = |other: &f64| {
            let d = (angle - other).rem_euclid(180.0);
            d.min(180.0 - d)
        };
        if seen.iter().all(|s| apart(s) > APART) {
            seen.push(*angle);
        }
    }
    seen.len()
}
