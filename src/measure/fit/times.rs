//! Shutter times from frames of a bare wall: the joint fit with the parts of state and time
//! exchanged. Each distinct time but the reference is a state whose level is free, each light level
//! an offset of which nothing is known; the light moves as in any shoot. How levels depart from a
//! line against light is fitted along, since a level that is read too low looks like a shorter time.

use super::design::{Design, Group};
use super::light::Motion;
use super::posterior::{self, Problem};
use super::superposed::{CurveTold, Superposition};
use super::together::Whole;
use super::{Beliefs, FitError, KnownTimes, Reading, TimeBelief, anatomy, mixture, prior};
use crate::measured::NORMAL_95;
use crate::numerics::least_squares::slope_within;
use nalgebra::{DMatrix, DVector};

/// Nothing is known of a light level: standard deviation, stops.
const ANY_LEVEL: f64 = 16.0;
/// Departure of the response from a power of the light, at a knot: standard deviations in stops, each
/// as likely (ours: from 0.03 to 0.8 %), so that a sensor that shows itself straight is taken for it.
const BENT: [f64; 4] = [0.0005, 0.0015, 0.004, 0.012];
/// How far the response is a power of the light and no line, which no frame of unknown light can
/// tell: standard deviation in stops per stop over that of the bends (ours: what fills up with another
/// power of the level than the first leaves so much of a slope beside its bend).
const POWER: f64 = 0.22;
/// The same where two lamps tell it, stops per stop: far wider than they leave it, and than any that a sensor is
/// believed to have; what is believed beside is weighed by [`super::stretch`].
pub const ANY_POWER: f64 = 0.02;
/// Departure that grows as the level itself, which is how wells fill up: standard deviation at full
/// scale over that of the bends (ours).
const FILLING: f64 = 2.0;
/// Departure of what is added to all levels alike, which is near black: standard deviation at the lowest
/// level over that of the bends (ours).
const ADDED: f64 = 2.0;
/// Shapes beside the power and the bends: what fills up, what is added.
const SHAPES: usize = 2;
/// The place of what is added among these.
const ADDED_AT: usize = 1;
/// Two lamps are followed so far beyond the levels of the frames along the dial, stops (ours).
const BEYOND: f64 = 1.0;

/// What the frames are.
pub struct TimesProblem<'a> {
    /// Frames; `setting` is the distinct time, `None` for the reference, `time` the light level.
    pub readings: &'a [Reading],
    /// Distinct times beside the reference.
    pub times: usize,
    /// Light levels.
    pub light_levels: usize,
    /// Standard uncertainty of each black level, counts.
    pub black: Vec<f64>,
    /// Whether capture times are known.
    pub timed: bool,
    /// Counts of full scale above black.
    pub full_scale: f64,
    /// What two lamps gave, each alone and both.
    pub lamps: &'a [Superposition],
}

/// How far the response is a power of the light, as two lamps tell by themselves.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerFound {
    /// Stops per stop above a line, whatever a sensor may have.
    pub stops: f64,
    /// Stops per stop beside it that go with how the response bends.
    pub with_bends: f64,
    /// Variance of the first, squared stops per stop.
    pub variance: f64,
    /// Covariance with the offsets, squared stops per stop.
    pub with_offsets: Vec<f64>,
    /// Probability that the times contradict it, 0 until they are asked.
    pub contradicted: f64,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct TimesFound {
    /// log2 of true over nominal time against the reference's, stops.
    pub offsets: Vec<f64>,
    /// u95 of each, stops.
    pub u95: Vec<f64>,
    /// Covariance of the offsets, squared stops, its diagonal (u95 / 1.96)^2.
    pub covariance: DMatrix<f64>,
    /// Departure of the response from its line.
    pub response: Vec<ResponsePoint>,
    /// Its power, where two lamps tell it.
    pub power: Option<PowerFound>,
    /// Range of the light over the shoot, stops.
    pub light_moved: f64,
    /// Scatter of one frame beyond noise and walk, stops.
    pub scatter: f64,
}

/// The response at one level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResponsePoint {
    /// log2 of the share of full scale.
    pub log_share: f64,
    /// Stops above the line.
    pub stops: f64,
    /// Standard uncertainty of that, stops.
    pub u: f64,
}

/// Fits the times.
///
/// # Errors
/// Where the equations cannot be solved.
pub fn times(problem: &TimesProblem<'_>) -> Result<TimesFound, FitError> {
    let beliefs = beliefs(problem);
    let mut design = Design::new(problem.readings, problem.times, &beliefs);
    let response = Response::of(problem, &design);
    for (group, deviation, column) in response.columns(problem, &design) {
        design.add_response(group, deviation * deviation, column);
    }
    let mut all = Problem::new(&design, problem.readings, &beliefs);
    all.joint = true;
    all.scale_response(&BENT);
    let start = prior::PriorPlace::near(super::usual_scatter(problem.readings));
    let found = all.explore(start)?;
    let whole = Whole::of(&found.hypotheses).ok_or(FitError::Singular)?;
    let n = problem.times;
    // What a power that may be anything makes of a time is the same in all parts, and would hide their tails.
    let of_power = |s: usize| match response.powers {
        BY_LAMPS => whole.covariance[(s, n)].powi(2) / whole.covariance[(n, n)],
        _ => 0.0,
    };
    let half = |s: usize| {
        let mut parts = posterior::parts(&found.hypotheses, s);
        parts.iter_mut().for_each(|part| part.variance -= of_power(s));
        mixture::summary(&parts).half_width
    };
    // By how much the mixture's tails are wider than its covariance.
    let deviation = |s: usize| (whole.covariance[(s, s)] - of_power(s)).max(0.0).sqrt();
    // What lamps tell is no mixture, and is not narrowed by one that has a narrow middle.
    let least = if response.powers == BY_LAMPS { 1.0 } else { 0.0 };
    let stretch: Vec<f64> = (0..n)
        .map(|s| (half(s) / NORMAL_95 / deviation(s).max(f64::MIN_POSITIVE)).max(least))
        .collect();
    let whole = response.told(whole, problem).ok_or(FitError::Singular)?;
    let u: Vec<f64> = (0..n).map(|s| stretch[s] * whole.covariance[(s, s)].sqrt()).collect();
    let covariance = whole.stretched(&u);
    Ok(TimesFound {
        offsets: whole.mean.iter().take(n).map(|m| -m).collect(),
        u95: u.iter().map(|u| NORMAL_95 * u).collect(),
        covariance,
        response: response.points(&whole, n),
        power: (response.powers == BY_LAMPS).then(|| power(&whole, &stretch)).flatten(),
        light_moved: moved(&all, found.motion)?,
        scatter: posterior::usual_of(&found.hypotheses),
    })
}

/// The power is the parameter after the times, and what goes with bends follows; times are states, which are
/// taken off.
fn power(whole: &Whole, stretch: &[f64]) -> Option<PowerFound> {
    let at = stretch.len();
    (whole.mean.len() > at + 1).then(|| PowerFound {
        stops: whole.mean[at],
        with_bends: whole.mean[at + 1],
        variance: whole.covariance[(at, at)],
        with_offsets: (0..at).map(|i| -stretch[i] * whole.covariance[(i, at)]).collect(),
        contradicted: 0.0,
    })
}

fn beliefs(problem: &TimesProblem<'_>) -> Beliefs {
    let level = |k: usize| TimeBelief { scale: 0.0, hand: if k == 0 { 0.0 } else { ANY_LEVEL } };
    Beliefs {
        shutter: (0..problem.light_levels).map(level).collect(),
        known: KnownTimes::default(),
        black: problem.black.clone(),
        timed: problem.timed,
        as_shown: 0.0,
        hand: Vec::new(),
    }
}

fn moved(problem: &Problem<'_>, motion: Motion) -> Result<f64, FitError> {
    let (_, curve) = anatomy::Body::new(problem, motion).curve(false)?;
    let least = curve.iter().copied().fold(f64::INFINITY, f64::min);
    let most = curve.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Ok((most - least).max(0.0))
}

/// The response as straight lines between knots, one for each stop of levels that the frames hold;
/// its power of the light apart from what bends it.
struct Response {
    /// log2 of the share of full scale, rising.
    knots: Vec<f64>,
    /// Ways to bend beside: orthonormal, each free of a constant and of a slope.
    bends: Vec<Vec<f64>>,
    /// Parameters of its power: what goes with the bends, and before it what two lamps tell by themselves.
    powers: usize,
}

/// Powers where lamps tell one.
const BY_LAMPS: usize = 2;

impl Response {
    fn of(problem: &TimesProblem<'_>, design: &Design) -> Self {
        let logs = || log_shares(problem, design);
        let (low, high) = (
            logs().fold(f64::INFINITY, f64::min).ceil(),
            logs().fold(f64::NEG_INFINITY, f64::max).floor(),
        );
        let n = if high >= low { (high - low) as usize + 2 } else { 0 };
        // The outer knots lie where the frames end.
        let knots: Vec<f64> = (0..n).map(|i| low - 0.5 + i as f64).collect();
        let bends = if n < 3 { Vec::new() } else { bends(&knots) };
        let powers = if problem.lamps.is_empty() { 1 } else { BY_LAMPS };
        Self { knots, bends, powers }
    }

    /// Deviation beforehand and column of each parameter: the powers, what grows as the level, what falls as it
    /// grows, then the bends. All but what lamps tell is over the deviation of a bend.
    fn columns(&self, problem: &TimesProblem<'_>, design: &Design) -> Vec<(Group, f64, Vec<f64>)> {
        let rows: Vec<Vec<f64>> = log_shares(problem, design).map(|x| self.at(x)).collect();
        let by_lamps = std::iter::repeat_n((Group::Power, ANY_POWER), self.powers - 1);
        let beside = [POWER, FILLING, ADDED].into_iter().chain(std::iter::repeat(1.0));
        let all = by_lamps.chain(beside.map(|factor| (Group::Response, factor)));
        let column = |k: usize| rows.iter().map(|row| row[k]).collect();
        all.take(self.parameters())
            .enumerate()
            .map(|(k, (group, d))| (group, d, column(k)))
            .collect()
    }

    fn parameters(&self) -> usize {
        if self.knots.is_empty() { 0 } else { self.powers + SHAPES + self.bends.len() }
    }

    /// Stops above a line at a level, for one of each parameter.
    fn at(&self, x: f64) -> Vec<f64> {
        let (Some(first), Some(last)) = (self.knots.first(), self.knots.last()) else {
            return Vec::new();
        };
        let powers = std::iter::repeat_n(x - last, self.powers);
        let bends = self.bends.iter().map(|bend| between(&self.knots, bend, x));
        powers.chain([x.exp2(), (first - x).exp2()]).chain(bends).collect()
    }

    /// What was found, with what two lamps tell besides (two normal parts that are seen together).
    fn told(&self, whole: Whole, problem: &TimesProblem<'_>) -> Option<Whole> {
        let (n, parameters) = (problem.times, self.parameters());
        // What is added to all levels is black that is off, and lamps that were covered tell theirs.
        let of_lamps = |x: f64| {
            let (first, last) = (self.knots.first()?, self.knots.last()?);
            let mut own = self.at(x);
            own[self.powers + ADDED_AT] = 0.0;
            (first - BEYOND..last + BEYOND).contains(&x).then_some(own)
        };
        let told = CurveTold::of(problem.lamps, problem.full_scale, &of_lamps, parameters)?;
        if whole.mean.len() != n + parameters || problem.lamps.is_empty() {
            return Some(whole);
        }
        let mine = whole.covariance.view((n, n), (parameters, parameters)).into_owned();
        let with = whole.covariance.columns(n, parameters).into_owned();
        let beside = DMatrix::identity(parameters, parameters) + &told.matrix * mine;
        let beside = beside.try_inverse()?;
        let mean = DVector::from_column_slice(&whole.mean);
        let off = &told.right - &told.matrix * mean.rows(n, parameters);
        let mean = mean + &with * (&beside * off);
        let covariance = &whole.covariance - &with * (beside * told.matrix) * with.transpose();
        Some(Whole { mean: mean.iter().copied().collect(), covariance })
    }

    /// What grows as the level and what falls as it grows, at the knots.
    fn shapes(&self) -> [Vec<f64>; SHAPES] {
        let first = self.knots.first().copied().unwrap_or(0.0);
        [
            self.knots.iter().map(|x| x.exp2()).collect(),
            self.knots.iter().map(|x| (first - x).exp2()).collect(),
        ]
    }

    fn points(&self, whole: &Whole, first: usize) -> Vec<ResponsePoint> {
        // Powers come first and stand for nothing that frames along the dial can show. What grows
        // as the level, or falls, was taken off the times whole; how far that is a power is not known
        // from here, since times that stretch make up for it.
        let at = first + self.powers;
        let shapes = |free_of: fn(&[f64], Vec<f64>) -> Vec<f64>| -> Vec<Vec<f64>> {
            let own = self.shapes().map(|shape| free_of(&self.knots, shape));
            own.into_iter().chain(self.bends.iter().cloned()).collect()
        };
        let (found, known) = (shapes(less_mean), shapes(less_line));
        let point = |(k, x): (usize, &f64)| {
            let stops = found.iter().enumerate().map(|(b, v)| v[k] * whole.mean[at + b]);
            let variance: f64 = (0..known.len())
                .flat_map(|a| (0..known.len()).map(move |b| (a, b)))
                .map(|(a, b)| known[a][k] * known[b][k] * whole.covariance[(at + a, at + b)])
                .sum();
            ResponsePoint { log_share: *x, stops: stops.sum(), u: variance.max(0.0).sqrt() }
        };
        if self.bends.is_empty() {
            return Vec::new();
        }
        self.knots.iter().enumerate().map(point).collect()
    }
}

fn log_shares<'a>(
    problem: &'a TimesProblem<'_>,
    design: &'a Design,
) -> impl Iterator<Item = f64> + 'a {
    let level = |i: &usize| problem.readings[*i].channels[1].map_or(1.0, |c| c.level);
    design.rows.iter().map(move |i| (level(i) / problem.full_scale).log2())
}

/// Values at the knots, less their mean.
fn less_mean(_: &[f64], values: Vec<f64>) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.into_iter().map(|y| y - mean).collect()
}

/// Values at the knots, less their straight line over them.
fn less_line(knots: &[f64], values: Vec<f64>) -> Vec<f64> {
    let mean = knots.iter().sum::<f64>() / knots.len().max(1) as f64;
    let values = less_mean(knots, values);
    let slope = slope_within(std::iter::once(knots.iter().zip(&values).map(|(x, y)| [*x, *y])));
    knots.iter().zip(values).map(|(x, y)| y - slope * (x - mean)).collect()
}

/// Vectors over the knots that are orthonormal, and orthogonal to 1 and to the knots themselves
/// (Gram and Schmidt).
fn bends(knots: &[f64]) -> Vec<Vec<f64>> {
    let n = knots.len();
    let mut found: Vec<Vec<f64>> = Vec::with_capacity(n);
    let unit = |k: usize| (0..n).map(|i| if i == k { 1.0 } else { 0.0 }).collect::<Vec<f64>>();
    for start in [vec![1.0; n], knots.to_vec()].into_iter().chain((0..n).map(unit)) {
        let mut v = start;
        for _ in 0..2 {
            for earlier in &found {
                let along: f64 = v.iter().zip(earlier).map(|(a, b)| a * b).sum();
                v.iter_mut().zip(earlier).for_each(|(a, b)| *a -= along * b);
            }
        }
        let length = v.iter().map(|a| a * a).sum::<f64>().sqrt();
        if length > 1e-6 && found.len() < n {
            found.push(v.into_iter().map(|a| a / length).collect());
        }
    }
    found.split_off(2)
}

/// The value between knots, in a straight line; beyond the outer ones as at them.
fn between(knots: &[f64], values: &[f64], x: f64) -> f64 {
    let after = knots.partition_point(|k| *k < x);
    match after.checked_sub(1) {
        None => values[0],
        Some(before) if after == knots.len() => values[before],
        Some(before) => {
            let share = (x - knots[before]) / (knots[after] - knots[before]);
            values[before] + share * (values[after] - values[before])
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::ChannelReading;
    use super::super::superposed::LitPart;
    use super::*;

    const FULL: f64 = 16_000.0;
    /// Stops per stop by which this sensor's levels are a power of the light.
    const PLANTED: f64 = 0.004;
    /// Distinct times in stops, of which the middle one is the reference.
    const STOPS: [f64; 9] = [-8.0, -7.0, -6.0, -5.0, -4.0, -3.0, -2.0, -1.0, 0.0];
    const REFERENCE: usize = 4;

    /// Counts that a share of full scale shows.
    fn shows(share: f64) -> f64 {
        FULL * share.powf(1.0 + PLANTED)
    }

    /// Two frames of each time along the dial, at two light levels of six times each, by a shutter
    /// without errors.
    fn wall() -> Vec<Reading> {
        let of = |light: usize, k: usize, n: usize| {
            let top = if light == 0 { 0.0 } else { 3.0 };
            let level = shows(0.5 * (STOPS[k] + top).exp2());
            let setting = match k.cmp(&REFERENCE) {
                std::cmp::Ordering::Less => Some(k),
                std::cmp::Ordering::Equal => None,
                std::cmp::Ordering::Greater => Some(k - 1),
            };
            let green =
                ChannelReading { y: level.log2() - STOPS[k], noise: 5e-4, level, bent: 0.0 };
            let channels = [None, Some(green), None];
            Reading {
                setting,
                run: light,
                minutes: 0.1 * n as f64,
                time: light,
                shown: 0.0,
                iso: 0,
                aperture: 0,
                black: 0,
                doubtful: false,
                channels,
            }
        };
        let places = (3..9).map(|k| (0, k)).chain((0..6).map(|k| (1, k)));
        let twice = places.flat_map(|place| [place, place]);
        twice.enumerate().map(|(n, (light, k))| of(light, k, n)).collect()
    }

    /// Two lamps from both sides, at four times.
    fn two_lamps() -> Vec<Superposition> {
        let part = |both: f64, i: usize| {
            let across = (i % 6) as f64 / 2.5 - 1.0;
            let one = both * (0.5 - 0.3 * across);
            let levels = [one, both - one, both].map(shows);
            LitPart { levels, at: [across, (i / 6) as f64 / 1.5 - 1.0] }
        };
        let at_one_time = |stops: i32| Superposition {
            parts: (0..24).map(|i| part(0.5 * f64::exp2(-f64::from(stops)), i)).collect(),
            black: 0.1,
        };
        (0..4).map(at_one_time).collect()
    }

    fn found(lamps: &[Superposition]) -> TimesFound {
        let readings = wall();
        let problem = TimesProblem {
            readings: &readings,
            times: STOPS.len() - 1,
            light_levels: 2,
            black: vec![0.1],
            timed: true,
            full_scale: FULL,
            lamps,
        };
        times(&problem).unwrap()
    }

    /// Without sums of lights the times seem to stretch; with them the power is the sensor's.
    #[test]
    fn sums_of_lights_tell_a_power_from_times_that_stretch() {
        let longest = STOPS.len() - 2;
        let stretched = PLANTED * (STOPS[8] - STOPS[REFERENCE]);
        let without = found(&[]);
        assert!((without.offsets[longest] - stretched).abs() < 0.25 * stretched);
        let with = found(&two_lamps());
        let power = with.power.as_ref().unwrap();
        let told = power.stops + power.with_bends;
        assert!((told - PLANTED).abs() < 2.0 * power.variance.sqrt(), "{power:?}");
        assert!(with.offsets[longest].abs() < 0.25 * stretched, "{:?}", with.offsets);
    }

    /// Were the sensor's power larger than it is found, its levels would rise more by themselves, and times longer
    /// than the reference would be the shorter for it: by as many stops as they lie from it, times the power.
    #[test]
    fn a_power_and_the_times_it_is_taken_off_go_against_each_other() {
        let with = found(&two_lamps());
        let power = with.power.unwrap();
        let others = (0..STOPS.len()).filter(|k| *k != REFERENCE);
        for (shared, k) in power.with_offsets.iter().zip(others) {
            let expected = -power.variance * (STOPS[k] - STOPS[REFERENCE]);
            assert!((shared / expected - 1.0).abs() < 0.5, "{}: {shared}, {expected}", STOPS[k]);
        }
    }
}
