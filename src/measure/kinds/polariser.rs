//! One polariser at several rotations: what it takes from unpolarised light, or what it shows of
//! polarised light.

use crate::caution::Caution;
use crate::measure::fit::Fit;
use crate::measure::record::stops_u95;
use crate::measure::result::SettingResult;
use crate::measured::{Measured, chance_beyond, excess};
use crate::profile::{Polarising, StopsU95};
use crate::quantity::{Degrees, Stops};
use crate::text::in_stops;
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use std::f64::consts::LN_2;

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
/// What a hand sets a rotation to, standard uncertainty in degrees (ours: rings of polarisers bear no
/// scale), and the degrees of freedom that this is believed with (ours).
const BY_HAND_U: f64 = 3.0;
const BELIEF_DOF: f64 = 5.0;
/// The same of a hand that is careless, and the chance below which it was not the hand (ours).
const WILD_HAND_U: f64 = 5.0;
const NO_CHANCE: f64 = 1e-3;
/// Chance makes a light that is not polarised look so in so many shoots.
const BY_CHANCE: f64 = 0.05;
/// Rounds of weighing, and the least light that weights are taken from, as a share of what was seen.
const ROUNDS: usize = 6;
const LEAST_SHARE: f64 = 0.1;
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
pub fn other_kind(settings: &[SettingResult], fit: &Fit) -> Option<Caution> {
    let stops = |s: &SettingResult| s.strength().value().get();
    let lightest = settings.iter().map(stops).reduce(f64::min)?;
    let darkest = settings.iter().map(stops).reduce(f64::max)?;
    let points: Option<Vec<(f64, f64)>> = settings.iter().map(at_rotation).collect();
    if points.is_some_and(|points| turns_one_way(&points, &shared(fit))) {
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

/// Whether light goes one way for more than a quarter turn, from rotation to rotation as they are named,
/// and Malus' law does not hold of it, wherever a hand set them.
fn turns_one_way(points: &[(f64, f64)], shared: &DMatrix<f64>) -> bool {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (sorted.first(), sorted.last()) else { return false };
    let falls = |w: &[(f64, f64)]| (w[0].1 / w[1].1).log2();
    let one_way = sorted.windows(2).all(|w| falls(w) > LEAST_CHANGE)
        || sorted.windows(2).all(|w| falls(w) < -LEAST_CHANGE);
    if !one_way || last.0 - first.0 <= QUARTER_TURN + BY_HAND || points.len() < ENOUGH {
        return false;
    }
    let holds = |law: &Law| {
        let by_wild_hand = law.misfit * (BY_HAND_U / WILD_HAND_U).powi(2);
        law.at[0] > law.at[1].hypot(law.at[2]) && excess(by_wild_hand, law.beyond) > NO_CHANCE
    };
    !law(points, shared).is_some_and(|law| holds(&law))
}

/// Rotation in degrees, and light; `None` where its mark is no number.
fn at_rotation(setting: &SettingResult) -> Option<(f64, f64)> {
    let mark = setting.mark.as_deref()?.trim();
    let degrees = mark.trim_end_matches(['\u{b0}', ' ']).trim_end_matches("deg").parse().ok()?;
    Some((degrees, (-setting.strength().value().get()).exp2()))
}

/// Reads the rotations. Each setting is one; marks that are numbers are degrees.
#[must_use]
pub fn polarising(settings: &[SettingResult], fit: &Fit) -> Option<Polarising> {
    let stops = |i: &usize| settings[*i].strength().value().get();
    let all = || 0..settings.len();
    let lightest = all().min_by(|a, b| stops(a).total_cmp(&stops(b)))?;
    let darkest = all().max_by(|a, b| stops(a).total_cmp(&stops(b)))?;
    if settings.len() < 2 {
        return Some(Polarising {
            loss_stops: Some(stops_u95(settings[lightest].strength())),
            extinction_stops: None,
            angle_of_maximum: None,
            angle_u95: None,
            light_polarised: false,
        });
    }
    let difference = fit.difference(darkest, lightest).ok()?;
    // of all pairs of rotations the farthest apart was chosen (Bonferroni)
    let pairs = (settings.len() * (settings.len() - 1) / 2) as f64;
    let change = difference.value().get();
    let by_chance = pairs * chance_beyond(change / difference.u().get(), difference.dof());
    let polarised = change > LEAST_CHANGE && by_chance < BY_CHANCE;
    let points: Option<Vec<(f64, f64)>> = settings.iter().map(at_rotation).collect();
    let malus = points.filter(|_| polarised).and_then(|points| malus(&points, &shared(fit)));
    let mean = all().map(|i| stops(&i)).sum::<f64>() / settings.len() as f64;
    let widest = settings.iter().map(|s| s.strength().u95().get()).fold(0.0, f64::max);
    let loss = StopsU95 { stops: Stops::new(mean), u95: Stops::new(widest) };
    Some(Polarising {
        loss_stops: (!polarised).then_some(loss),
        extinction_stops: Some(stops_u95(malus.as_ref().map_or(&difference, |m| &m.extinction))),
        angle_of_maximum: malus.as_ref().map(|m| m.angle.value()),
        angle_u95: malus.as_ref().map(|m| m.angle.u95()),
        light_polarised: polarised,
    })
}

/// Covariance of the settings' strengths, stops squared.
fn shared(fit: &Fit) -> DMatrix<f64> {
    let n = fit.settings.len();
    DMatrix::from_fn(n, n, |i, k| fit.covariance(i, k))
}

/// Malus' law through the rotations.
struct Malus {
    /// Rotation of the most light, from 0 to 180.
    angle: Measured<Degrees>,
    /// Lightest over darkest.
    extinction: Measured<Stops>,
}

/// Malus' law of rotations in degrees with their light, and the covariance of their strengths, stops
/// squared.
fn malus(points: &[(f64, f64)], shared: &DMatrix<f64>) -> Option<Malus> {
    if distinct(points) < ENOUGH || turns_one_way(points, shared) {
        return None;
    }
    let law = law(points, shared)?;
    let scale = (BELIEF_DOF + law.misfit) / (BELIEF_DOF + law.beyond);
    read(law.at, law.covariance * scale, BELIEF_DOF + law.beyond)
}

/// A law of light = a + b cos 2t + c sin 2t.
struct Law {
    at: Vector3<f64>,
    covariance: Matrix3<f64>,
    /// Sum of squares in units of their variance, and its degrees of freedom.
    misfit: f64,
    beyond: f64,
}

/// Least squares on it (Malus, Hecht, Optics, from memory). What a hand errs by moves the light along the
/// law, to the second order where that turns.
fn law(points: &[(f64, f64)], shared: &DMatrix<f64>) -> Option<Law> {
    let turned = |i: usize| (2.0 * points[i].0.to_radians()).sin_cos();
    let rows = DMatrix::from_fn(points.len(), 3, |i, k| [1.0, turned(i).1, turned(i).0][k]);
    let light = DVector::from_iterator(points.len(), points.iter().map(|p| p.1));
    let hand = BY_HAND_U.to_radians();
    let (mut at, mut covariance) = (Vector3::<f64>::zeros(), Matrix3::zeros());
    let mut misfit = 0.0;
    // weights follow what was fitted: those of the levels themselves would draw it down
    let mut weighed = light.clone();
    for _ in 0..ROUNDS {
        let by_hand = |i: usize| {
            let (sin, cos) = turned(i);
            let slope = 2.0 * (at[2] * cos - at[1] * sin);
            let curve = 4.0 * (at[1] * cos + at[2] * sin);
            (slope * hand).powi(2) + 0.5 * (curve * hand * hand).powi(2)
        };
        let known = DMatrix::from_fn(points.len(), points.len(), |i, k| {
            let strengths = LN_2 * LN_2 * weighed[i] * weighed[k] * shared[(i, k)];
            strengths + if i == k { by_hand(i) } else { 0.0 }
        });
        let factor = known.cholesky()?;
        let normal = rows.tr_mul(&factor.solve(&rows));
        covariance = Matrix3::from_iterator(normal.iter().copied()).try_inverse()?;
        let right = rows.tr_mul(&factor.solve(&light));
        at = covariance * Vector3::from_iterator(right.iter().copied());
        let fitted = &rows * DVector::from_column_slice(at.as_slice());
        let left = &light - &fitted;
        misfit = left.dot(&factor.solve(&left));
        weighed = fitted.zip_map(&light, |fitted, light| fitted.max(LEAST_SHARE * light));
    }
    Some(Law { at, covariance, misfit, beyond: points.len().saturating_sub(3) as f64 })
}

/// Angle and extinction of a fitted law with their uncertainty, to first order.
fn read(at: Vector3<f64>, covariance: Matrix3<f64>, dof: f64) -> Option<Malus> {
    let [mean, cos, sin] = at.data.0[0];
    let swing = cos.hypot(sin);
    if mean <= swing {
        return None;
    }
    let u = |by: Vector3<f64>| (by.transpose() * covariance * by)[0].max(0.0).sqrt();
    let (most, least) = (mean + swing, mean - swing);
    let by_swing = (1.0 / most + 1.0 / least) / LN_2;
    let by_mean = (1.0 / most - 1.0 / least) / LN_2;
    let extinction_u = u(Vector3::new(by_mean, by_swing * cos / swing, by_swing * sin / swing));
    let angle_u = u(Vector3::new(0.0, -sin, cos) / (2.0 * swing * swing)).to_degrees();
    let angle = (sin.atan2(cos).to_degrees() / 2.0).rem_euclid(180.0);
    Some(Malus {
        angle: Measured::new(Degrees::new(angle), angle_u, dof).ok()?,
        extinction: Measured::new(Stops::new((most / least).log2()), extinction_u, dof).ok()?,
    })
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Of 600 draws a share within u95 of 95 % lies above this in 999 of 1000 (binomial).
    const HOLDS: f64 = 0.92;
    /// Strengths of frames through one polariser, standard uncertainties in stops: what the bare light
    /// makes all of them err by alike, and each by itself.
    const COMMON: f64 = 0.03;
    const OWN: f64 = 0.001;

    /// Malus' law planted (Hecht, Optics, from memory): the light is 1 + P cos 2(t - t0), lightest over
    /// darkest (1 + P) / (1 - P), shot at rotations that a hand sets to some degrees.
    #[test]
    fn what_a_hand_errs_by_is_in_extinction_and_angle() {
        let mut rng = ChaCha8Rng::seed_from_u64(8);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let mut draws = ChaCha8Rng::seed_from_u64(9);
        for rotations in [&[0.0, 45.0, 90.0, 135.0][..], &[0.0, 30.0, 60.0, 90.0, 120.0, 150.0]] {
            let (mut held, mut widest) = ([0.0; 2], 0.0_f64);
            for _ in 0..600 {
                let (degree, most) = (draws.random_range(0.1..0.7), draws.random_range(0.0..180.0));
                let hand = draws.random_range(1.0..3.5);
                let common = COMMON * normal();
                let point = |&named: &f64| {
                    let turn = f64::to_radians(2.0 * (named + hand * normal() - most));
                    let light = 0.4 * (1.0 + degree * turn.cos());
                    (named, light * (common + OWN * normal()).exp2())
                };
                let points: Vec<(f64, f64)> = rotations.iter().map(point).collect();
                let shared = DMatrix::from_fn(points.len(), points.len(), |i, k| {
                    COMMON * COMMON + if i == k { OWN * OWN } else { 0.0 }
                });
                let found = malus(&points, &shared).unwrap();
                let planted = ((1.0 + degree) / (1.0 - degree)).log2();
                let apart = (found.angle.value().get() - most).rem_euclid(180.0);
                let off = (found.extinction.value().get() - planted).abs();
                held[0] += f64::from(u8::from(off <= found.extinction.u95().get()));
                held[1] += f64::from(u8::from(apart.min(180.0 - apart) <= found.angle.u95().get()));
                widest = widest.max(found.angle.u95().get());
            }
            let held = held.map(|h| h / 600.0);
            assert!(held.iter().all(|h| *h > HOLDS), "{} rotations: {held:?}", rotations.len());
            // and is not bought with doubt: twice or three times what such hands err by
            assert!(widest < 15.0, "{widest}");
        }
    }
}
