//! From sorted frames to the readings that the joint fit takes.

use super::fit::{
    AS_SHOWN_PRIOR, Beliefs, ChannelReading, DRIFT_PRIOR, HAND_PRIOR, KnownTimes, MOST_SPOILT,
    Reading, TimeBelief,
};
use super::noise::{self, NoiseLaw};
use super::off_line::off_line;
use crate::body_record::{BodyRecord, Linearity};
use crate::exposure::{DialTime, true_f_number, true_iso};
use crate::levels::{BlackSource, CentreMean, LevelFrame, full_scale};
use crate::numerics::numbering::number_of;
use crate::numerics::robust::median;
use crate::profile::{FrameState, Kind};
use crate::quantity::Seconds;
use crate::shoot::times::{Evidence, Understood};
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};
use rayon::prelude::*;

/// A used frame with its levels.
#[derive(Clone, Debug)]
pub struct Used<'a> {
    /// The frame.
    pub frame: &'a Judged,
    /// Light above black per cell.
    pub levels: LevelFrame,
    /// Centre means of red, green, blue, stray light taken out where it was measured.
    pub centre: [CentreMean; 3],
    /// True exposure time.
    pub true_time: Seconds,
    /// Which of a camera record's times it is, where one is taken up.
    pub known: Option<usize>,
}

/// Which rule the camera's dial follows, as far as the shoot itself shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeRule {
    /// Nothing shows it.
    Unknown,
    /// Powers of two behind the dial.
    Powers,
    /// The dial tells the truth.
    AsShown,
}

/// Levels of all used frames, in capture order.
#[must_use]
pub fn used(shoot: &Shoot) -> Vec<Used<'_>> {
    let measured =
        |f: &Judged| f.is_good() && matches!(f.state, FrameState::Bare | FrameState::Setting);
    without_leak(shoot, with_levels(shoot, measured))
}

/// Levels of the frames beside those that tell of the light and the times: bridges, which carry the ratio
/// of shutter times over, and frames that hang apart from an end of their run.
#[must_use]
pub fn beside(shoot: &Shoot) -> Vec<Used<'_>> {
    let mut list = with_levels(shoot, |f| f.judgement == Judgement::Bridge && !f.look.clipped[1]);
    list.extend(without_leak(shoot, hanging_apart(shoot)));
    list
}

/// Among red, green and blue.
const GREEN: usize = 1;

/// How many of the frames beside those that are used were left out, and tell of the light all the same.
#[must_use]
pub fn weighed_though_left_out(beside: &[Used<'_>]) -> usize {
    beside.iter().filter(|u| hangs_apart(u.frame)).count()
}

fn hangs_apart(frame: &Judged) -> bool {
    matches!(frame.judgement, Judgement::Outlier { .. })
}

/// Frames of a run that were left out for their level alone, at an end of it: light that was about to move
/// or had not come to rest shows in these first. Within a run, others on both sides tell.
fn hanging_apart(shoot: &Shoot) -> Vec<Used<'_>> {
    let time = |f: &Judged| f.exposure.as_ref().map(|e| e.recorded);
    let wanted = |f: &Judged| {
        let shows = |g: &Judged| matches!(g.state, FrameState::Bare | FrameState::Setting);
        let is_like = |g: &&Judged| f.run.is_some() && g.run == f.run && g.is_good() && shows(g);
        let like = || shoot.frames.iter().filter(is_like);
        hangs_apart(f)
            && !f.look.clipped[1]
            && like().any(|g| time(g) == time(f))
            && (like().all(|g| g.minutes > f.minutes) || like().all(|g| g.minutes < f.minutes))
    };
    let mut list = if shoot.timed { with_levels(shoot, wanted) } else { Vec::new() };
    list.truncate(MOST_SPOILT);
    list
}

/// Takes stray light out of frames through the filter.
fn without_leak<'a>(shoot: &Shoot, mut list: Vec<Used<'a>>) -> Vec<Used<'a>> {
    let leak = leak_rate(shoot);
    for u in list.iter_mut().filter(|u| u.frame.setting.is_some()) {
        let Some(exposure) = &u.frame.exposure else { continue };
        for (mean, rate) in u.centre.iter_mut().zip(leak) {
            mean.level -= rate * exposure.log_exposure().exp2();
        }
    }
    list
}

fn with_levels(shoot: &Shoot, wanted: impl Fn(&Judged) -> bool + Sync) -> Vec<Used<'_>> {
    shoot
        .frames
        .par_iter()
        .filter(|f| wanted(f))
        .filter_map(|frame| {
            let exposure = frame.exposure.as_ref()?;
            let levels = frame.levels(&shoot.frames);
            let centre = levels.centre_channels()?;
            let true_time = exposure.true_time;
            Some(Used { frame, levels, centre, true_time, known: None })
        })
        .collect()
}

/// Stray light in counts per unit exposure from leak frames; zero where there are none.
fn leak_rate(shoot: &Shoot) -> [f64; 3] {
    let rates: Vec<[f64; 3]> = shoot
        .frames
        .iter()
        .filter(|f| f.judgement == Judgement::Leak)
        .filter_map(|f| {
            let exposure = f.exposure.as_ref()?.log_exposure().exp2();
            Some(f.levels(&shoot.frames).centre_channels()?.map(|c| c.level / exposure))
        })
        .collect();
    let n = rates.len().max(1) as f64;
    std::array::from_fn(|c| rates.iter().map(|r| r[c]).sum::<f64>() / n)
}

/// From this probability on a rule is taken as shown by the frames (ours; as sure as an expanded
/// uncertainty).
const SETTLED: f64 = 0.95;

/// Which rule the dial follows, from the joint fit's probability that it shows true times.
#[must_use]
pub fn time_rule(as_shown: Option<f64>) -> TimeRule {
    match as_shown {
        Some(p) if p >= SETTLED => TimeRule::AsShown,
        Some(p) if p <= 1.0 - SETTLED => TimeRule::Powers,
        _ => TimeRule::Unknown,
    }
}

/// Takes times as shown where the frames say so.
pub fn apply_rule(used: &mut [Used<'_>], rule: TimeRule) {
    if rule == TimeRule::AsShown {
        for u in used.iter_mut().filter(|u| u.known.is_none()) {
            if let Some(exposure) = &u.frame.exposure {
                u.true_time = exposure.recorded;
            }
        }
    }
}

/// Takes true times from a camera record where it holds them; times by hand or timer are nobody's.
pub fn apply_record(used: &mut [Used<'_>], record: &BodyRecord) {
    for u in used {
        let Some(exposure) = u.frame.exposure.as_ref().filter(|e| e.hand.get() <= 0.0) else {
            continue;
        };
        if u.frame.summary.info.exposure.bulb {
            continue;
        }
        u.known = record.at(exposure.recorded);
        if let Some(time) = u.known.and_then(|at| record.times.list.get(at)) {
            u.true_time = time.true_s;
        }
    }
}

/// Whether the dial time of this frame still rests on an assumption.
#[must_use]
pub fn is_assumed(u: &Used<'_>, rule: TimeRule) -> bool {
    u.known.is_none() && rule == TimeRule::Unknown && evidence(u) == Some(Evidence::Assumed)
}

/// Readings and beliefs for the joint fit: those of the used frames in their order, then those beside them;
/// bridges are one more state than there are settings. `record` is the one that they were
/// given true times from.
#[must_use]
pub fn readings(
    used: &[Used<'_>],
    beside: &[Used<'_>],
    shoot: &Shoot,
    record: Option<&BodyRecord>,
) -> (Vec<Reading>, Beliefs) {
    let laws: [Option<NoiseLaw>; 3] = std::array::from_fn(|c| noise_law(used, c));
    let (mut times, mut isos, mut apertures) = (Vec::new(), Vec::new(), Vec::new());
    let mut blacks: Vec<BlackSource> = Vec::new();
    let (mut shutter, mut black, mut known) = (Vec::new(), Vec::new(), Vec::new());
    let told = used.iter().any(|u| evidence(u) == Some(Evidence::ShutterSpeed));
    let line = record.and_then(|r| r.linearity.as_ref());
    // A shutter that errs more than a good one does so at times that its record lacks, too.
    let of_body = scale_of_body(record);
    // Bare frames first, so that number 0 is the bare frames' own ISO and aperture.
    for u in used.iter().filter(|u| u.frame.state == FrameState::Bare) {
        let (iso, aperture) = iso_and_aperture(u);
        number_of(&mut isos, iso);
        number_of(&mut apertures, aperture);
    }
    let list = used
        .iter()
        .chain(beside)
        .filter_map(|u| {
            let exposure = u.frame.exposure.as_ref()?;
            let (iso, aperture) = iso_and_aperture(u);
            let time = number_of(&mut times, (u.true_time.get().log2() * 1e4).round() as i64);
            if time == shutter.len() {
                let start = DRIFT_PRIOR * u.true_time.get() / 120.0;
                let hand = exposure.hand.get().hypot(start);
                known.extend(u.known.map(|row| (time, row)));
                let scale = u.known.map_or(offset_scale(exposure.recorded).max(of_body), |_| 0.0);
                shutter.push(TimeBelief { scale, hand });
            }
            let source = number_of(&mut blacks, u.levels.black);
            if source == black.len() {
                black.push(u.levels.black_doubt);
            }
            let log_exposure = log_exposure(u, exposure);
            let doubtful = hangs_apart(u.frame);
            let channels = std::array::from_fn(|c| {
                let usable = c == GREEN || !doubtful;
                usable.then(|| channel(u, c, laws[c], log_exposure, line)).flatten()
            });
            Some(Reading {
                setting: state_of(u, shoot.settings.len()),
                run: u.frame.run.map_or(usize::MAX, |run| run as usize),
                minutes: u.frame.minutes,
                time,
                shown: if u.known.is_some() { 0.0 } else { assumed_difference(exposure) },
                iso: number_of(&mut isos, iso),
                aperture: number_of(&mut apertures, aperture),
                black: source,
                doubtful,
                channels,
            })
        })
        .collect();
    let hand = hands(shoot);
    let (as_shown, known) = word_of(record, told, &known);
    (list, Beliefs { shutter, known, black, timed: shoot.timed, as_shown, hand })
}

/// One channel of a frame; `None` where it is clipped or as dark as black.
fn channel(
    u: &Used<'_>,
    c: usize,
    law: Option<NoiseLaw>,
    exposed: f64,
    line: Option<&Linearity>,
) -> Option<ChannelReading> {
    let CentreMean { level, pixels } = u.centre[c];
    let noise = law.map_or_else(|| own_noise(u, c), |law| law.stops(level, pixels));
    let off = off_line(line, level / full_scale(&u.frame.summary));
    let y = level.log2() - off.stops - exposed;
    let usable = level > 0.0 && !u.frame.look.clipped[c];
    usable.then_some(ChannelReading { y, noise, level, bent: off.u })
}

/// What a hand may be off by at each mark of a ring; nothing else is set.
fn hands(shoot: &Shoot) -> Vec<f64> {
    let marks = if shoot.kind == Kind::Variable { shoot.settings.len() } else { 0 };
    vec![HAND_PRIOR; marks]
}

/// What a record says of the dial, and of these times with their rows in it.
fn word_of(record: Option<&BodyRecord>, told: bool, rows: &[(usize, usize)]) -> (f64, KnownTimes) {
    let as_shown = match record {
        Some(record) => record.times.as_shown.clamp(SURE, 1.0 - SURE),
        None if told => TOLD_ELSEWHERE,
        None => AS_SHOWN_PRIOR,
    };
    let known = record.map(|record| {
        let scale = record.reference().map_or(0.0, |time| offset_scale(time.shown_s));
        KnownTimes::of(record, rows, scale.max(scale_of_body(Some(record))))
    });
    (as_shown, known.unwrap_or_default())
}

/// Scale of what the body's times are off by, as its record shows it, stops.
fn scale_of_body(record: Option<&BodyRecord>) -> f64 {
    record.and_then(BodyRecord::scatter).map_or(0.0, KnownTimes::scale_of)
}

/// Probability that the dial shows true times for a frame whose file does not tell, where those of
/// others tell powers of two (ours).
const TOLD_ELSEWHERE: f64 = 0.1;

/// A record's word on the dial is believed but for this (ours).
const SURE: f64 = 0.01;

fn state_of(u: &Used<'_>, settings: usize) -> Option<usize> {
    if u.frame.judgement == Judgement::Bridge { Some(settings) } else { u.frame.setting }
}

/// What the frames' time rests on.
fn evidence(u: &Used<'_>) -> Option<Evidence> {
    u.frame.exposure.as_ref().map(|e| e.evidence)
}

/// log2(true / shown) where a power of two is but assumed behind a dial time.
fn assumed_difference(exposure: &Understood) -> f64 {
    let assumed = exposure.dial.filter(|_| exposure.evidence == Evidence::Assumed);
    assumed.map_or(0.0, |dial| dial.difference().get())
}

/// Scale of a shutter time's offset, stops (ours): 0.015 from 1/125 up, 0.03 to 1/1000, 0.075
/// shorter, where a curtain's microseconds weigh more.
fn offset_scale(time: Seconds) -> f64 {
    match time.get() {
        t if t >= 1.0 / 125.5 => 0.015,
        t if t >= 1.0 / 1005.0 => 0.03,
        _ => 0.075,
    }
}

fn log_exposure(u: &Used<'_>, exposure: &Understood) -> f64 {
    exposure.log_exposure() + (u.true_time.get() / exposure.true_time.get()).log2()
}

fn iso_and_aperture(u: &Used<'_>) -> (Option<i64>, Option<i64>) {
    let exposure = u.frame.exposure.as_ref();
    let hundredths = |v: f64| (v * 100.0).round() as i64;
    (
        exposure.and_then(|e| e.iso).map(|s| hundredths(true_iso(s).get())),
        exposure.and_then(|e| e.f_number).map(|n| hundredths(true_f_number(n).get())),
    )
}

/// The noise law of one channel from differences between neighbouring frames of one run.
fn noise_law(used: &[Used<'_>], channel: usize) -> Option<NoiseLaw> {
    let points: Vec<noise::Point> = used
        .par_windows(2)
        .filter(|w| w[0].frame.run == w[1].frame.run && w[0].frame.run.is_some())
        .filter(|w| same_exposure(w[0].frame, w[1].frame))
        .filter_map(|w| noise::from_pair(&w[0].levels, &w[1].levels, channel))
        .collect();
    noise::law(&points)
}

fn same_exposure(a: &Judged, b: &Judged) -> bool {
    match (&a.exposure, &b.exposure) {
        (Some(x), Some(y)) => {
            (x.log_exposure() - y.log_exposure()).abs() < 0.01
                && x.iso.map(|s| s.get() as i64) == y.iso.map(|s| s.get() as i64)
        }
        _ => false,
    }
}

/// An upper bound from the squares within the cells of the frame itself.
fn own_noise(u: &Used<'_>, channel: usize) -> f64 {
    let cells = &u.frame.summary.cells;
    let plane = match channel {
        0 => 0,
        1 => 1,
        _ => cells.planes.len().saturating_sub(1),
    };
    let variances =
        (0..cells.planes[plane].sum.len()).filter_map(|i| cells.planes[plane].variance(i));
    let variance = median(variances).unwrap_or(f64::NAN);
    let CentreMean { level, pixels } = u.centre[channel];
    let noise = (variance / pixels.max(1.0)).sqrt() / level.abs() / std::f64::consts::LN_2;
    if noise.is_finite() { noise } else { 0.01 }
}

/// The dial time most frames of a state were shot at.
#[must_use]
pub fn usual_dial(
    used: &[Used<'_>],
    setting: Option<usize>,
) -> Option<(Seconds, Option<DialTime>)> {
    let mut counts: Vec<((Seconds, Option<DialTime>), usize)> = Vec::new();
    for u in used.iter().filter(|u| u.frame.setting == setting) {
        let Some(exposure) = &u.frame.exposure else { continue };
        match counts.iter_mut().find(|((t, _), _)| *t == exposure.recorded) {
            Some((_, n)) => *n += 1,
            None => counts.push(((exposure.recorded, exposure.dial), 1)),
        }
    }
    counts.into_iter().max_by_key(|(_, n)| *n).map(|(found, _)| found)
}
