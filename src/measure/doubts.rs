//! Cautions about a measured shoot: what the numbers themselves give reason to doubt.

use super::fit::more_frames::{self, At, WhichFrames};
use super::fit::{Beliefs, Fit, Reading};
use super::readings::{TimeRule, Used, is_assumed, usual_dial, weighed_though_left_out};
use super::strength::Source;
use crate::caution::{Caution, LevelDoubt, LightDoubt, ShutterDoubt};
use crate::exposure::{BRIDGE_SPARE_STOPS, metered_time};
use crate::frame::Origin;
use crate::frame::cfa::Plane;
use crate::levels::{BlackSource, plane_black};
use crate::numerics::robust::median;
use crate::profile::{Form, FrameState};
use crate::quantity::{Percent, Seconds, Stops};
use crate::shoot::times::Understood;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Less than this is not worth a word, stops (ours).
const DIAL_WORTH: f64 = 0.005;
const DRIFT_WORTH: f64 = 0.05;
const UNSTEADY: f64 = 0.02;
const FLICKER_SCATTER: f64 = 0.01;
const BLACK_WORTH: f64 = 0.02;
const LEVELS_APART: f64 = 3.0;
/// From here stray light matters, stops.
const LEAK_FROM: f64 = 8.0;
/// The leak that is reckoned with where none was measured, share of the bare light.
const LEAK_SHARE: f64 = 1e-4;
/// Scatter that is no scatter, stops (ours).
const QUIET: f64 = 0.002;
/// How sure it has to be that short frames scatter more than long ones (ours).
const FLICKER_SURE: f64 = 0.99;
/// Shorter than a half-wave of 50 Hz mains and some more, seconds.
const FLICKER_BELOW: f64 = 1.0 / 40.0;
/// A frame that caught another part of a lamp's period than its equals lies so far from them, and from
/// another one that did, stops (ours: spoilt frames of one cause are as dark as each other).
const CUT_FROM: f64 = 0.2;
const CUT_APART: f64 = 0.1;

/// Cautions about the whole shoot; `beside` are the frames beside the used ones that the fit took.
#[must_use]
pub fn of_shoot(
    shoot: &Shoot,
    used: &[Used<'_>],
    beside: &[Used<'_>],
    fit: &Fit,
    said_alike: bool,
) -> Vec<Caution> {
    let mut found = Vec::new();
    let light = fit.light.iter().map(|l| l.1);
    let (low, high) = light.fold((0.0, 0.0), |(a, b): (f64, f64), l| (a.min(l), b.max(l)));
    if high - low > DRIFT_WORTH {
        found.push(Caution::Light(LightDoubt::Drifted { drift: Stops::new(high - low) }));
    }
    if fit.scatter > UNSTEADY {
        found.push(Caution::Light(LightDoubt::Unsteady { scatter: Stops::new(fit.scatter) }));
    }
    found.extend(flicker(shoot, used, fit));
    if is_light_between_unseen(used) {
        found.push(Caution::Light(LightDoubt::UnseenBetween));
    }
    if used.iter().any(|u| u.frame.summary.info.origin == Origin::DisplayPicture) {
        found.push(Caution::NotRaw);
    }
    if said_alike && used.iter().any(|u| u.frame.summary.info.exposure.time.is_none()) {
        found.push(Caution::ExposureAssumedAlike);
    }
    let from_apex = |u: &&Used<'_>| u.frame.exposure.as_ref().is_some_and(|e| e.from_apex);
    match used.iter().filter(from_apex).count() {
        0 => {}
        count => found.push(Caution::Shutter(ShutterDoubt::FromApex { count })),
    }
    found.extend(exposed_as_others(used));
    found.extend(black_disagrees(used));
    found.extend(black_levels_apart(used));
    found.extend(hot_pixels(used));
    let count = shoot.frames.iter().filter(|f| f.judgement.is_fault()).count()
        + shoot.others.iter().filter(|(_, _, j)| j.is_fault()).count();
    if count > 0 {
        let weighed = weighed_though_left_out(beside);
        found.push(Caution::FramesLeftOut { count, weighed });
    }
    found
}

/// Cautions about one setting.
#[must_use]
pub fn of_setting(
    shoot: &Shoot,
    used: &[Used<'_>],
    fit: &Fit,
    setting: usize,
    rule: TimeRule,
    form: Option<Form>,
) -> Vec<Caution> {
    let mut found = Vec::new();
    let strength = fit.settings[setting].stops[1];
    found.extend(dial_ambiguous(used, fit, setting, rule));
    let hand = used
        .iter()
        .filter(|u| u.frame.setting.is_none_or(|s| s == setting))
        .filter_map(|u| u.frame.exposure.as_ref().filter(|e| !e.from_apex).map(|e| e.hand.get()))
        .fold(0.0, f64::max);
    if hand > 0.0 {
        found.push(Caution::TimedByHand { doubt: Stops::new(hand) });
    }
    let black = fit.part(setting, Source::Black);
    if black > BLACK_WORTH {
        found.push(Caution::Level(LevelDoubt::LimitedByBlack { doubt: Stops::new(black) }));
    }
    let level = |s: Option<usize>| {
        let of: Vec<f64> =
            used.iter().filter(|u| u.frame.setting == s).map(|u| u.centre[1].level).collect();
        median(of).unwrap_or(f64::NAN)
    };
    let apart = (level(None) / level(Some(setting))).log2().abs();
    if apart > LEVELS_APART && !measures_times(shoot, used, setting) {
        found.push(Caution::Level(LevelDoubt::LevelsFarApart { apart: Stops::new(apart) }));
    }
    let measured = shoot.frames.iter().any(|f| f.judgement == Judgement::Leak);
    if !measured && (strength >= LEAK_FROM || form == Some(Form::Slot)) {
        let error = (LEAK_SHARE * strength.exp2()).ln_1p() / std::f64::consts::LN_2;
        let (strength, error) = (Stops::new(strength), Stops::new(error));
        found.push(Caution::Level(LevelDoubt::LeakNotMeasured { strength, error }));
    }
    found
}

/// Whether single frames stand between two bare ones: neither the light's slope at any time nor its
/// level between the ends is seen, so that what it did there rests on what is believed of light.
fn is_light_between_unseen(used: &[Used<'_>]) -> bool {
    let is_bare = |u: &Used<'_>| u.frame.state == FrameState::Bare;
    let is_single = used.windows(2).all(|pair| pair[0].frame.run != pair[1].frame.run);
    let is_between = used.first().is_some_and(is_bare) && used.last().is_some_and(is_bare);
    is_single && is_between && used.iter().filter(|u| is_bare(u)).count() == 2
}

/// Lamps on the mains flicker at twice their frequency: frames shorter than that scatter, longer
/// ones do not. Only where both are there and differ is it flicker; an aperture that closes unevenly
/// scatters frames of any time.
fn flicker(shoot: &Shoot, used: &[Used<'_>], fit: &Fit) -> Option<Caution> {
    if !scatters_when_short(used, fit) && !are_some_cut(shoot, used) {
        return None;
    }
    let (time, dial) = usual_dial(used, None)?;
    let time = dial.map_or_else(|| format!("{:.4} s", time.get()), |d| d.text().to_owned());
    Some(Caution::Light(LightDoubt::Flickers { time }))
}

fn scatters_when_short(used: &[Used<'_>], fit: &Fit) -> bool {
    let mut squares: [Vec<f64>; 2] = Default::default();
    for pair in used.windows(2) {
        let (a, b) = (&pair[0], &pair[1]);
        if a.frame.run != b.frame.run || a.true_time != b.true_time {
            continue;
        }
        let level = |u: &Used<'_>| u.centre[1].level.log2() - fit.light_at(u.frame.minutes);
        let short = usize::from(a.true_time.get() < FLICKER_BELOW);
        squares[short].push((level(b) - level(a)).powi(2) / 2.0);
    }
    let [long, short] = squares.map(|s| (s.iter().sum::<f64>() / s.len().max(1) as f64, s.len()));
    if short.0.sqrt() < FLICKER_SCATTER || short.1 < 2 || long.1 < 2 {
        return false;
    }
    FisherSnedecor::new(short.1 as f64, long.1 as f64)
        .is_ok_and(|ratio| ratio.cdf(short.0 / long.0.max(QUIET * QUIET)) >= FLICKER_SURE)
}

/// Whether bare frames of a short time were left out for another part of a lamp's period: two at least,
/// far from those that are used and from each other, and none of the long ones so.
fn are_some_cut(shoot: &Shoot, used: &[Used<'_>]) -> bool {
    let Some((time, _)) = usual_dial(used, None).filter(|(t, _)| t.get() < FLICKER_BELOW) else {
        return false;
    };
    let bare = used.iter().filter(|u| u.frame.state == FrameState::Bare);
    let Some(usual) = median(bare.map(|u| u.frame.look.centre)) else { return false };
    let is_left_out = |f: &&Judged| {
        matches!(f.judgement, Judgement::Outlier { .. } | Judgement::OtherLevel { .. })
    };
    let is_far = |stops: &f64| stops.abs() > CUT_FROM;
    let is_short = |f: &&Judged| f.exposure.as_ref().is_some_and(|e| e.recorded == time);
    let (short, long): (Vec<&Judged>, Vec<&Judged>) =
        shoot.frames.iter().filter(is_left_out).partition(is_short);
    let mut cut: Vec<f64> = short.iter().map(|f| f.look.centre - usual).filter(is_far).collect();
    cut.sort_by(f64::total_cmp);
    let is_long_cut = long.iter().any(|f| match &f.judgement {
        Judgement::Outlier { stops } => is_far(stops),
        _ => true,
    });
    cut.windows(2).any(|w| w[1] - w[0] > CUT_APART) && !is_long_cut
}

/// Whether frames of the setting share a shutter time with bare ones, or with a bridge, so that the
/// frames measure what times would have to be trusted for.
fn measures_times(shoot: &Shoot, used: &[Used<'_>], setting: usize) -> bool {
    let times =
        |s: Option<usize>| used.iter().filter(move |u| u.frame.setting == s).map(|u| u.true_time);
    shoot.frames.iter().any(|f| f.judgement == Judgement::Bridge)
        || times(Some(setting)).any(|t| times(None).any(|bare| bare == t))
}

fn dial_ambiguous(used: &[Used<'_>], fit: &Fit, setting: usize, rule: TimeRule) -> Option<Caution> {
    let assumed = used
        .iter()
        .filter(|u| u.frame.setting.is_none_or(|s| s == setting))
        .any(|u| is_assumed(u, rule));
    let (bare, filtered) = (usual_dial(used, None)?, usual_dial(used, Some(setting))?);
    let doubt = fit.part(setting, Source::Dial);
    let text = |(time, dial): (crate::quantity::Seconds, Option<crate::exposure::DialTime>)| {
        dial.map_or_else(|| format!("{} s", time.get()), |d| d.text().to_owned())
    };
    (assumed && doubt > DIAL_WORTH).then(|| Caution::DialTimesAmbiguous {
        bare: text(bare),
        filtered: text(filtered),
        doubt: Stops::new(doubt),
    })
}

/// A time with its unit: "1/15 s".
fn in_seconds(text: String) -> String {
    if text.ends_with('s') { text } else { format!("{text} s") }
}

/// Which few frames would cut the first setting's uncertainty where shutter times make most of it.
#[must_use]
pub fn more_frames(
    used: &[Used<'_>],
    readings: &[Reading],
    beliefs: &Beliefs,
    fit: &Fit,
) -> Option<Caution> {
    let more = more_frames::more_frames(readings, fit.settings.len(), 0, beliefs, fit)?;
    let of_time = |k: usize| {
        let at = readings.iter().position(|r| r.time == k)?;
        used.get(at)?.frame.exposure.as_ref()
    };
    let middle = || {
        let (bare, filter) = (usual_dial(used, None)?.0, usual_dial(used, Some(0))?.0);
        let half = Seconds::new((bare.get() * filter.get()).sqrt());
        let between = metered_time(half, Stops::new(BRIDGE_SPARE_STOPS));
        crate::exposure::DialTime::nearest(between).map(|d| d.text().to_owned())
    };
    let text = |at: At| match at {
        At::Known(k) => of_time(k).map(Understood::text).map(in_seconds),
        At::Middle => middle().map(in_seconds),
    };
    let what = match more.frames.as_slice() {
        [(WhichFrames::Filter, at), _] => {
            format!("the filter also at {}, twice, and one without it to close", text(*at)?)
        }
        [(WhichFrames::Bare, at), _] => format!("no filter also at {}, twice", text(*at)?),
        [(WhichFrames::Dimmed, first), (WhichFrames::Dimmed, middle), _] => format!(
            "something about half as strong (another filter, at the same aperture) at {} and at \
             {middle}, and the filter at {middle}, each twice, and one without it to close",
            text(*first)?,
            middle = text(*middle)?
        ),
        _ => return None,
    };
    let (now, then) = (Stops::new(more.now), Stops::new(more.then));
    Some(Caution::Shutter(ShutterDoubt::MoreFramesWouldHelp {
        count: asked_for(&more.frames),
        now,
        then,
        what,
    }))
}

/// How many frames are asked for. A frame of something else that stands alone may be anything, so
/// each of several sorts is made twice; bare light closes a shoot that ends with the filter.
fn asked_for(wished: &[(WhichFrames, more_frames::At)]) -> usize {
    let same = wished.windows(2).all(|pair| pair[0] == pair[1]);
    let closing = usize::from(wished.last().is_some_and(|(which, _)| *which != WhichFrames::Bare));
    wished.len() * if same { 1 } else { 2 } + closing
}

/// Frames of which aperture or ISO is told by used frames of other states alone.
fn exposed_as_others(used: &[Used<'_>]) -> Option<Caution> {
    let apertures =
        lent_by_other_states(used, |e| (e.f_number.map(|n| n.get()), e.lent.f_number.is_some()));
    let isos = lent_by_other_states(used, |e| (e.iso.map(|iso| iso.get()), e.lent.iso.is_some()));
    let count = apertures.iter().zip(isos).filter(|(a, b)| **a || *b).count();
    (count > 0).then_some(Caution::ExposureAsOthers { count })
}

/// Which frames are, by a property and whether it was lent: none where no used frame tells it and
/// all are taken as alike, since it then cancels.
fn lent_by_other_states(
    used: &[Used<'_>],
    of: impl Fn(&Understood) -> (Option<f64>, bool),
) -> Vec<bool> {
    let of = |u: &Used<'_>| u.frame.exposure.as_ref().map_or((None, false), &of);
    let state = |u: &Used<'_>| (u.frame.state, u.frame.setting);
    let tells = |u: &&Used<'_>| matches!(of(u), (Some(_), false));
    let told: Vec<_> = used.iter().filter(tells).map(state).collect();
    let is_alike = used.windows(2).all(|pair| of(&pair[0]).0 == of(&pair[1]).0);
    let cancels = told.is_empty() && is_alike;
    used.iter().map(|u| of(u).1 && !cancels && !told.contains(&state(u))).collect()
}

fn black_disagrees(used: &[Used<'_>]) -> Option<Caution> {
    used.iter().find_map(|u| {
        let summary = &u.frame.summary;
        let masked = summary.masked.as_ref()?;
        let cfa = summary.cells.cfa.as_ref();
        let green = Plane::Green1;
        let (masked, tag) =
            (plane_black(masked, cfa, green), plane_black(&summary.levels.black, cfa, green));
        let worth = 1.0_f64.max(2.0 * u.levels.black_doubt);
        (u.levels.black == BlackSource::MaskedPixels && (masked - tag).abs() > worth)
            .then_some(Caution::Level(LevelDoubt::BlackTagDisagrees { tag, masked }))
    })
}

/// Black levels that only the files tell, compared at each ISO by itself, where a camera's own drift
/// by less than the least worth a word and a level that somebody rewrote in all frames cancels. Of
/// several ISOs and planes the one at which the difference is worth most is told.
fn black_levels_apart(used: &[Used<'_>]) -> Option<Caution> {
    let iso = |u: &Used<'_>| u.frame.summary.info.exposure.iso.map(|iso| iso.get());
    let mut by_iso: Vec<(Option<f64>, Vec<&Used<'_>>)> = Vec::new();
    for u in used.iter().filter(|u| u.levels.black == BlackSource::Tag) {
        match by_iso.iter_mut().find(|(known, _)| *known == iso(u)) {
            Some((_, frames)) => frames.push(u),
            None => by_iso.push((iso(u), vec![u])),
        }
    }
    let apart = by_iso.iter().flat_map(|(_, frames)| {
        let planes = frames[0].levels.planes.iter().map(|p| p.plane);
        planes.map(|plane| black_apart(frames, plane))
    });
    let (low, high, worth) = apart.max_by(|a, b| a.2.total_cmp(&b.2))?;
    let worth = (worth > BLACK_WORTH).then(|| Stops::new(worth))?;
    Some(Caution::Level(LevelDoubt::BlackLevelsApart { low, high, worth }))
}

/// Lowest and highest black level in the files' tags, counts, and what the difference is worth at the
/// faintest frame's level, stops.
fn black_apart(frames: &[&Used<'_>], plane: Plane) -> (f64, f64, f64) {
    let black = |u: &&Used<'_>| {
        let summary = &u.frame.summary;
        plane_black(&summary.levels.black, summary.cells.cfa.as_ref(), plane)
    };
    let level = |u: &&Used<'_>| u.levels.centre(plane).map(|centre| centre.level);
    let faintest = frames.iter().filter_map(level).fold(f64::INFINITY, f64::min);
    let low = frames.iter().map(black).fold(f64::INFINITY, f64::min);
    let high = frames.iter().map(black).fold(f64::NEG_INFINITY, f64::max);
    (low, high, ((high - low) / faintest.max(1.0)).ln_1p() / std::f64::consts::LN_2)
}

fn hot_pixels(used: &[Used<'_>]) -> Option<Caution> {
    let share = used
        .iter()
        .filter(|u| u.frame.state == FrameState::Setting)
        .map(|u| {
            let cells = &u.frame.summary.cells;
            let sum = |of: fn(&crate::reduce::grid::PlaneCells) -> f64| {
                cells.planes.iter().map(of).sum::<f64>()
            };
            let rejected = sum(|p| p.rejected.iter().map(|&r| f64::from(r)).sum());
            rejected / sum(|p| p.count.iter().map(|&c| f64::from(c)).sum()).max(1.0)
        })
        .fold(0.0, f64::max);
    let share = (share > 0.01).then(|| Percent::new(100.0 * share))?;
    Some(Caution::Level(LevelDoubt::ManyHotPixels { share }))
}
