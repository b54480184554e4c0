//! Whether the light turned while the filter was on: it was on its way elsewhere when the filter went
//! on or when it came off, so that bare frames on both sides do not show what it did between.
//!
//! Light that goes on as it went at both ends follows the cubic through both levels with both slopes
//! (Hermite's). Where that leaves the curve that was taken out by more than u95, the light may have
//! dipped or risen unseen.

use super::apart::steady_variance;
use super::fit::Fit;
use super::known_times::u95_each;
use crate::caution::{Caution, LightDoubt};
use crate::numerics::robust::median;
use crate::profile::FrameState;
use crate::quantity::Stops;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};

/// Frames next to a change of filter that tell where the light was going.
const TELLING: usize = 3;
/// A slope is one from so many standard uncertainties on.
const SIGMAS: f64 = 3.0;
/// Less is not worth a word, stops (ours).
const LEAST: f64 = 0.02;

/// The doubt that the light turned.
#[must_use]
pub fn while_filtered(shoot: &Shoot, fit: &Fit) -> Option<Caution> {
    let u95 = u95_each(fit);
    let stretches = stretches(shoot, fit);
    let scatter = scatter(&stretches);
    let by = stretches.windows(3).filter_map(|around| beside(around, fit, &u95, scatter));
    by.reduce(f64::max).map(|by| Caution::Light(LightDoubt::Turned { by: Stops::new(by) }))
}

/// Frames in a row with the filter on, or off.
struct Stretch<'a> {
    is_bare: bool,
    frames: Vec<&'a Judged>,
}

/// Bare and filtered frames in turns. A frame that hangs apart from its run may be the first that a cloud
/// fell on: it is of what it is nearest to.
fn stretches<'a>(shoot: &'a Shoot, fit: &Fit) -> Vec<Stretch<'a>> {
    let is_bare = |f: &&Judged| f.is_good() && f.state == FrameState::Bare;
    let bare = median(shoot.frames.iter().filter(is_bare).map(|f| f.look.centre));
    let weakest = fit.settings.iter().map(|s| s.stops[1]).fold(f64::INFINITY, f64::min);
    let mut stretches: Vec<Stretch<'_>> = Vec::new();
    for frame in &shoot.frames {
        let is_bare = match (frame.state, &frame.judgement) {
            (_, Judgement::Outlier { .. }) => {
                bare.is_some_and(|bare| bare - frame.look.centre < weakest / 2.0)
            }
            (FrameState::Bare, Judgement::Used) => true,
            (FrameState::Setting, Judgement::Used) => false,
            _ => continue,
        };
        match stretches.last_mut() {
            Some(stretch) if stretch.is_bare == is_bare => stretch.frames.push(frame),
            _ => stretches.push(Stretch { is_bare, frames: vec![frame] }),
        }
    }
    stretches
}

/// Scatter of a frame about a straight line through it and its neighbours, stops.
fn scatter(stretches: &[Stretch<'_>]) -> f64 {
    let threes = stretches.iter().flat_map(|stretch| stretch.frames.windows(3));
    let left = threes.filter_map(|three| {
        let [a, b, c] = three else { return None };
        let alike = taken_alike(a, b) && taken_alike(b, c) && three.iter().all(|f| f.is_good());
        let share = (b.minutes - a.minutes) / (c.minutes - a.minutes);
        let line = a.look.centre * (1.0 - share) + c.look.centre * share;
        let weights = 1.0 + share.powi(2) + (1.0 - share).powi(2);
        (alike && share.is_finite()).then(|| (b.look.centre - line).powi(2) / weights)
    });
    let left: Vec<f64> = left.collect();
    steady_variance(left.iter().sum(), left.len()).0.sqrt()
}

/// Same setting and same shutter time.
fn taken_alike(a: &Judged, b: &Judged) -> bool {
    let of = |f: &Judged| f.exposure.as_ref().map(|e| e.recorded);
    of(a) == of(b) && (a.setting == b.setting || !a.is_good() || !b.is_good())
}

/// Where the light may have been beside what was taken out of the filtered frames between bare ones,
/// stops; `None` where that is within u95, or chance.
fn beside(around: &[Stretch<'_>], fit: &Fit, u95: &[f64], scatter: f64) -> Option<f64> {
    let [before, through, after] = around else { return None };
    if through.is_bare {
        return None;
    }
    let reversed: Vec<&Judged> = before.frames.iter().rev().copied().collect();
    let [going, coming] = [&reversed, &after.frames].map(|frames| End::of(frames, scatter));
    let (going, coming) = (going?, coming?);
    let good = || before.frames.iter().chain(&after.frames).filter(|f| f.is_good());
    let bare = good().map(|f| f.look.centre - fit.light_at(f.minutes)).sum::<f64>();
    let bare = bare / good().count() as f64;
    let span = coming.minutes - going.minutes;
    let of_setting = |setting: usize| {
        let of = || through.frames.iter().filter(|f| f.setting == Some(setting) && f.is_good());
        let minutes = of().map(|f| f.minutes).sum::<f64>() / of().count() as f64;
        let h = (minutes - going.minutes) / span;
        let on_going = span * h * (1.0 - h).powi(2);
        let on_coming = -span * h * h * (1.0 - h);
        let between = going.level * (1.0 + 2.0 * h) * (1.0 - h).powi(2)
            + coming.level * h * h * (3.0 - 2.0 * h);
        let goes_on = between + on_going * going.slope + on_coming * coming.slope;
        let u = (on_going * going.u).hypot(on_coming * coming.u);
        let by = (goes_on - bare - fit.light_at(minutes)).abs();
        (by > u95[setting].max(LEAST) && by > SIGMAS * u).then_some(by)
    };
    (0..u95.len()).filter_map(of_setting).reduce(f64::max)
}

/// Where the light was next to a change of filter, and where it was going.
struct End {
    minutes: f64,
    /// Level, stops.
    level: f64,
    /// Stops per minute; none where one frame is there.
    slope: f64,
    u: f64,
}

impl End {
    /// From frames, the nearest to the change first.
    fn of(frames: &[&Judged], scatter: f64) -> Option<Self> {
        let good: Vec<&Judged> = frames.iter().copied().filter(|f| f.is_good()).collect();
        Self::on_its_way(frames, scatter).or_else(|| Self::through(near(&good), scatter))
    }
    /// Where frames that were left out go the way of those before them, all were on that way; else
    /// something befell them. The smaller step tells of the slope.
    fn on_its_way(frames: &[&Judged], scatter: f64) -> Option<Self> {
        let near = near(frames);
        let end = |pair: &[&Judged]| Self::through(pair, scatter);
        let steps = near.windows(2).map(end).collect::<Option<Vec<Self>>>()?;
        let is_one_way = steps.iter().all(|s| s.slope > SIGMAS * s.u)
            || steps.iter().all(|s| s.slope < -SIGMAS * s.u);
        if near.len() < TELLING || !is_one_way {
            return None;
        }
        let least =
            steps.into_iter().reduce(|a, b| if a.slope.abs() < b.slope.abs() { a } else { b });
        let (nearest, least) = (near.first()?, least?);
        Some(Self { minutes: nearest.minutes, level: nearest.look.centre, ..least })
    }
    /// The nearest frame's level, and the slope of the line of least squares.
    fn through(frames: &[&Judged], scatter: f64) -> Option<Self> {
        let nearest = frames.first()?;
        let middle = frames.iter().map(|f| f.minutes).sum::<f64>() / frames.len() as f64;
        let squares: f64 = frames.iter().map(|f| (f.minutes - middle).powi(2)).sum();
        let moment: f64 = frames.iter().map(|f| (f.minutes - middle) * f.look.centre).sum();
        let noise = frames.iter().map(|f| f.look.noise).fold(0.0, f64::max);
        let (slope, u) = if squares > 0.0 {
            (moment / squares, scatter.hypot(noise) / squares.sqrt())
        } else {
            (0.0, 0.0)
        };
        Some(Self { minutes: nearest.minutes, level: nearest.look.centre, slope, u })
    }
}

/// The first few, as far as they were taken like the first.
fn near<'a, 'b>(frames: &'b [&'a Judged]) -> &'b [&'a Judged] {
    let alike = frames.iter().take(TELLING).take_while(|f| taken_alike(frames[0], f));
    &frames[..alike.count()]
}
