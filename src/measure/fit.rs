//! The joint fit: all good frames of a shoot, all settings, all channels.
//!
//! Model, in stops, for frame i and channel c:
//!
//! y_ic = a_c + L(tau_i) - S_sc + o_t + k x_t + g_iso + g_aperture + b_c / (m_ic ln 2) + f_i + e_ic
//!
//! with y the log2 of level over exposure, tau the middle of the exposure, L the light (a smooth
//! curve with a walk on it, `light`), o the offset of each distinct shutter time (heavy-tailed,
//! `prior`), k x what changes where the dial shows true times (k is 0 or 1), g the gain of another
//! ISO or aperture, b the error of the black level in counts, f what one frame scatters in all its
//! channels (aperture, flicker) and e photon and read noise. a and S are free.
//!
//! Green alone is fitted so; red and blue follow by their difference from green (`colour`), in
//! which everything common to a frame falls out. Frames are counted once, however many channels
//! they have: channels share their scatter and are no repeats of each other.
//!
//! How the light moves, how frames scatter, which times are odd, what k is and whether the light
//! changed of a sudden is not known: every combination that the frames allow enters the result by
//! its weight (`posterior`), and the interval is that of the mixture (`mixture`).
//!
//! A sensor that is on no line moves a strength by how differently bare and filtered frames fill a
//! channel; that is added at the end (`bend`).

mod anatomy;
mod bend;
mod colour;
mod design;
mod known;
mod light;
mod mixture;
pub mod more_frames;
mod odd;
mod posterior;
mod prior;
mod solved;
pub mod stretch;
pub mod superposed;
pub mod times;
mod together;

use super::strength::{BudgetPart, ChannelStrengths, Source};
use anatomy::{Anatomy, Body};
use colour::Difference;
use design::Design;
pub use known::KnownTimes;
use nalgebra::DMatrix;
pub use odd::MOST_SPOILT;
use posterior::{Hypothesis, Posterior, Problem};

/// Standard uncertainty of the slope of the light where nothing shows it, stops per minute (ours).
pub const DRIFT_PRIOR: f64 = 0.02;
/// Usual random walk of the light, stops per square root of a minute (ours).
pub const WALK: f64 = 0.003;
/// Standard uncertainty of the gain between two ISO settings or apertures, stops (ours).
pub const GAIN_PRIOR: f64 = 0.1;
/// Prior probability that a dial shows true times and not powers of two: nobody knows (ours).
pub const AS_SHOWN_PRIOR: f64 = 0.5;
/// Standard uncertainty of a mark that is set by hand, stops, before its strength is known (ours).
pub const HAND_PRIOR: f64 = 0.03;

/// One channel of one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelReading {
    /// log2(level) - log2(t ISO / N^2), stops.
    pub y: f64,
    /// Photon and read noise of it, stops.
    pub noise: f64,
    /// Level above black, counts.
    pub level: f64,
    /// What the sensor's line moves it by, stops: one standard uncertainty, together with all others.
    pub bent: f64,
}

/// One frame as the fit sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// State, `None` for bare. States from the number of settings on are no settings: bridges,
    /// whose strength nobody asks for.
    pub setting: Option<usize>,
    /// Run, for the scatter of repeats.
    pub run: usize,
    /// Middle of the exposure, minutes from the first frame.
    pub minutes: f64,
    /// Which distinct shutter time.
    pub time: usize,
    /// log2(true / shown) of its dial time where a power of two is but assumed behind it, else 0.
    pub shown: f64,
    /// Which distinct ISO; 0 is the bare frames' own.
    pub iso: usize,
    /// Which distinct aperture; 0 is the bare frames' own.
    pub aperture: usize,
    /// Which black level (its source).
    pub black: usize,
    /// Hangs apart from its run: spoilt, or the others are. It tells of green alone.
    pub doubtful: bool,
    /// Red, green, blue; `None` where clipped.
    pub channels: [Option<ChannelReading>; 3],
}

/// What is believed of a distinct shutter time's offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeBelief {
    /// Scale of Student's t with 3 degrees of freedom, stops.
    pub scale: f64,
    /// Standard uncertainty of what is no fault of the shutter (a hand's timing), stops.
    pub hand: f64,
}

/// What is believed before the frames are looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// Each distinct shutter time; of those that `known` holds, what is no fault of the shutter.
    pub shutter: Vec<TimeBelief>,
    /// Times that a camera record holds.
    pub known: KnownTimes,
    /// Standard uncertainty of each black level, counts.
    pub black: Vec<f64>,
    /// Whether capture times are known, so that the light can be followed.
    pub timed: bool,
    /// Probability that the dial shows true times and not powers of two.
    pub as_shown: f64,
    /// Standard uncertainty of how a hand sets each mark of a ring, stops; empty where nothing is set.
    pub hand: Vec<f64>,
}

/// What the fit found.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Per setting.
    pub settings: Vec<ChannelStrengths>,
    /// log2 of level per unit exposure of the bare light, per channel.
    pub bare: [f64; 3],
    /// The light over the shoot: minutes and stops against the first frame.
    pub light: Vec<(f64, f64)>,
    /// Mean slope of that, stops per minute.
    pub drift: f64,
    /// Scatter of one frame beyond noise and walk, stops.
    pub scatter: f64,
    /// Probability that the dial shows true times; `None` where no time rests on an assumption.
    pub as_shown: Option<f64>,
    /// Probability that the light changed of a sudden.
    pub sudden: f64,
    /// Logarithm of the weight of all that was believed, by the frames; it compares beliefs about the same.
    pub evidence: f64,
    /// Parts of the uncertainty of each setting's green strength.
    pub budgets: Vec<Vec<BudgetPart>>,
    /// Covariance of the settings' green strengths, stops squared.
    shared: DMatrix<f64>,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// A channel has no bare or no filtered reading at all.
    #[error(
        "a channel has no usable bare or filtered reading: it is clipped or as dark as black in all of them; \
         look at lightloss frames, and shoot these again at another time"
    )]
    NothingToCompare,
    /// The equations cannot be solved.
    #[error("the equations of the joint fit cannot be solved")]
    Singular,
}

impl Fit {
    /// The light at a moment against the first frame, stops; beyond the frames as at the nearest.
    #[must_use]
    pub fn light_at(&self, minutes: f64) -> f64 {
        let after = self.light.partition_point(|(m, _)| *m < minutes);
        match (after.checked_sub(1).map(|i| self.light[i]), self.light.get(after)) {
            (Some((m0, l0)), Some(&(m1, l1))) if m1 > m0 => {
                l0 + (l1 - l0) * (minutes - m0) / (m1 - m0)
            }
            (_, Some(&(_, l))) | (Some((_, l)), None) => l,
            (None, None) => 0.0,
        }
    }
    /// One source's part of a setting's uncertainty, stops; 0 where it has none.
    #[must_use]
    pub fn part(&self, setting: usize, source: Source) -> f64 {
        let of = |all: &Vec<BudgetPart>| all.iter().find(|p| p.source == source).map(|p| p.stops);
        self.budgets.get(setting).and_then(of).unwrap_or(0.0)
    }
}

/// Fits a shoot of `settings` settings.
///
/// # Errors
/// Where a setting or the bare state has no reading in some channel.
pub fn fit(readings: &[Reading], settings: usize, beliefs: &Beliefs) -> Result<Fit, FitError> {
    check(readings, settings)?;
    let states = readings.iter().filter_map(|r| r.setting).fold(settings, |n, s| n.max(s + 1));
    let design = Design::new(readings, states, beliefs);
    let mut problem = Problem::new(&design, readings, beliefs);
    problem.joint = settings > 1;
    let start = prior::PriorPlace::near(usual_scatter(readings));
    let posterior = problem.explore(start)?;
    assemble(readings, settings, states, beliefs, &problem, &posterior)
}

fn check(readings: &[Reading], settings: usize) -> Result<(), FitError> {
    let seen = |setting: Option<usize>, c: usize| {
        let both = |r: &Reading| r.channels[1].is_some() && r.channels[c].is_some();
        readings.iter().any(|r| r.setting == setting && both(r))
    };
    let all = (0..3).all(|c| seen(None, c) && (0..settings).all(|s| seen(Some(s), c)));
    if all { Ok(()) } else { Err(FitError::NothingToCompare) }
}

/// What neighbouring frames of one run usually differ by, as the scatter of one; where the search
/// for it starts.
fn usual_scatter(readings: &[Reading]) -> f64 {
    let green = |r: &Reading| r.channels[1].map(|c| c.y);
    let mut steps: Vec<f64> = readings
        .windows(2)
        .filter(|w| w[0].run == w[1].run && w[0].time == w[1].time)
        .filter_map(|w| Some((green(&w[1])? - green(&w[0])?).abs() / std::f64::consts::SQRT_2))
        .collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(WALK)
}

fn assemble(
    readings: &[Reading],
    settings: usize,
    states: usize,
    beliefs: &Beliefs,
    problem: &Problem<'_>,
    posterior: &Posterior,
) -> Result<Fit, FitError> {
    let hypotheses = &posterior.hypotheses;
    let as_shown = share(hypotheses, |h| h.as_shown);
    let body = Body::new(problem, posterior.motion);
    let (bare, curve) = body.curve(as_shown > 0.5)?;
    let anatomy = |s: usize| {
        let at = problem.design.state_at[s].ok_or(FitError::NothingToCompare)?;
        body.of(at, readings, beliefs.black.len())
    };
    let anatomies = (0..settings).map(anatomy).collect::<Result<Vec<_>, _>>()?;
    let seen = level(problem, &curve, &anatomies, readings, states);
    let red = colour::difference(readings, 0, states, beliefs, &seen)?;
    let blue = colour::difference(readings, 2, states, beliefs, &seen)?;
    let (mut strengths, mut budgets) = (Vec::new(), Vec::new());
    let (mut greens, mut bends) = (Vec::new(), Vec::new());
    for (s, anatomy) in anatomies.iter().enumerate() {
        let parts = posterior::parts(hypotheses, s);
        let whole = mixture::summary(&parts);
        let (u, dof) = whole.as_student();
        let green = Green { stops: whole.mean, u, dof, anatomy };
        let channels = channels(s, &green, &red, &blue, readings, beliefs);
        let moved = bend::moved(s, anatomy, [&red, &blue], readings);
        let mut parts = anatomy::budget(anatomy, hypotheses, s, u);
        parts.push(BudgetPart { source: Source::Linearity, stops: moved[1].abs() });
        budgets.push(parts);
        greens.push(u);
        bends.push(moved[1]);
        strengths.push(bend::with_bend(channels, moved));
    }
    let light: Vec<(f64, f64)> = problem.design.minutes.iter().copied().zip(curve).collect();
    let told = problem.design.shown.iter().any(|x| *x != 0.0);
    Ok(Fit {
        settings: strengths,
        bare: [bare + red.bare, bare, bare + blue.bare],
        drift: slope(&light),
        light,
        scatter: posterior::usual_of(hypotheses),
        as_shown: told.then_some(as_shown),
        sudden: share(hypotheses, |h| h.sudden),
        evidence: posterior.evidence,
        budgets,
        shared: together::shared(hypotheses, &greens, &bends),
    })
}

/// The light's level at each reading, and how well it is known of each state's.
fn level(
    problem: &Problem<'_>,
    curve: &[f64],
    anatomies: &[Anatomy],
    readings: &[Reading],
    states: usize,
) -> colour::LightLevels {
    let mut at = vec![0.0; readings.len()];
    problem.design.rows.iter().zip(curve).for_each(|(reading, level)| at[*reading] = *level);
    let mut u = vec![0.0; states];
    for (u, anatomy) in u.iter_mut().zip(anatomies) {
        let moves = |source: &Source| matches!(source, Source::Walk | Source::Drift);
        let parts = anatomy.parts.iter().filter(|(source, _)| moves(source));
        *u = parts.map(|(_, variance)| variance).sum::<f64>().sqrt();
    }
    colour::LightLevels::new(at, readings, u)
}

/// From the first frame to the last, stops per minute.
fn slope(light: &[(f64, f64)]) -> f64 {
    match (light.first(), light.last()) {
        (Some(a), Some(b)) if b.0 > a.0 => (b.1 - a.1) / (b.0 - a.0),
        _ => 0.0,
    }
}

fn share(hypotheses: &[Hypothesis], of: fn(&Hypothesis) -> bool) -> f64 {
    let sum = |list: &mut dyn Iterator<Item = &Hypothesis>| -> f64 {
        list.map(|h| h.log_weight.exp()).sum()
    };
    sum(&mut hypotheses.iter().filter(|h| of(h))) / sum(&mut hypotheses.iter())
}

struct Green<'a> {
    stops: f64,
    u: f64,
    dof: f64,
    anatomy: &'a Anatomy,
}

/// The three channels of one state from green and the differences.
fn channels(
    state: usize,
    green: &Green<'_>,
    red: &Difference,
    blue: &Difference,
    readings: &[Reading],
    beliefs: &Beliefs,
) -> ChannelStrengths {
    let noise: Vec<f64> =
        readings.iter().map(|r| r.channels[1].map_or(0.0, |c| c.noise * c.noise)).collect();
    let anatomy = green.anatomy;
    // Green's noise and its black level are in the differences too, with the sign turned.
    let with_green = |d: &Difference| {
        let shared = (0..readings.len())
            .map(|i| -anatomy.weights[i] * d.weights[(state, i)] * noise[i])
            .sum::<f64>();
        let black = (0..beliefs.black.len())
            .map(|k| anatomy.black[k] * d.green_black[(state, k)] * beliefs.black[k].powi(2))
            .sum::<f64>();
        shared + black
    };
    let between = {
        let shared = (0..readings.len())
            .map(|i| red.weights[(state, i)] * blue.weights[(state, i)] * noise[i])
            .sum::<f64>()
            * (red.scale * blue.scale).sqrt();
        let black = (0..beliefs.black.len())
            .map(|k| {
                red.green_black[(state, k)]
                    * blue.green_black[(state, k)]
                    * beliefs.black[k].powi(2)
            })
            .sum::<f64>();
        shared + black
    };
    let (r, b) = (with_green(red), with_green(blue));
    let g = green.u * green.u;
    let covariance = [
        [g + red.variance[state] + 2.0 * r, g + r, g + r + b + between],
        [g + r, g, g + b],
        [g + r + b + between, g + b, g + blue.variance[state] + 2.0 * b],
    ];
    ChannelStrengths {
        stops: [green.stops + red.stops[state], green.stops, green.stops + blue.stops[state]],
        covariance,
        dof: [green.dof; 3],
        difference_dof: red.dof[state].min(blue.dof[state]),
    }
}

#[cfg(test)]
mod tests;
