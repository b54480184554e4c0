//! Frames of a bare wall at many times and a few light levels to a camera record: true times with
//! their covariance, linearity, black, noise, glow.

pub mod error;
mod wall;
mod lights;
mod chip;
mod clock;
mod sorting;
mod steady;
mod lamps;
mod black;
mod black_drift;
mod cautions;
mod record;

use super::fit::times::{TimesFound, TimesProblem, times};
use super::fit::{ChannelReading, Reading};
use super::noise::NoiseLaw;
use crate::body_record::{BodyRecord, LeftOutFrame};
use crate::exposure::true_f_number;
use crate::levels::{BlackSource, DOUBT_DARK, FULL_SCALE_14_BIT};
use crate::quantity::Seconds;
use crate::shoot::frames::Candidate;
use crate::shoot::times::Understood;
pub use error::CameraError;
use lights::{Seen, connected, light_levels};
use steady::Shown;
use wall::{WallFrame, WallShoot};

/// Fewer times are not worth a record (ours).
const LEAST_TIMES: usize = 4;
/// Black is more doubtful than so many times that of a frame beside its own dark ones where it drifts (ours).
const DRIFTS: f64 = 2.0;
/// From this time on a sensor's black may have crept away from a tag, seconds, by a standard
/// uncertainty of so many tag's doubts (ours).
const LONG_S: f64 = 1.0;
const CREPT: f64 = 2.0;
/// Half of the times must be known better than this, u95 in stops: a shutter without a record is
/// taken as good to 0.048 (ours).
const WORTH_KEEPING: f64 = 0.03;

/// Up to this time a flickering lamp shows itself, seconds: a period of 0.01 s is a fortieth of it, and
/// a flicker by a third is left with a five-hundredth (ours).
const SHORT: Seconds = Seconds::new(0.41);
/// Light that moves from one frame to the next by more, stops, tells no times (ours: what is believed of a shutter
/// would be most of the record then).
const RESTLESS: f64 = 0.02;
/// From this share of the frames on those left out are the first reason why no record is made (ours).
const MANY_LEFT_OUT: f64 = 0.3;

/// The frames that hang together, as the fit takes them.
struct Tied {
    /// Which frames of the wall.
    frames: Vec<usize>,
    /// Light level and distinct time of each.
    places: Vec<(usize, usize)>,
    /// A frame of each distinct time, shortest first.
    times: Vec<usize>,
    /// Frames of each distinct time.
    counts: Vec<usize>,
    /// Light levels.
    light_levels: usize,
    /// Number of the reference among the times.
    reference: usize,
    /// What frames of each distinct time scatter beyond the usual, stops.
    unsteady: Vec<f64>,
    /// What two frames of one exposure that follow each other differ by, stops.
    step: Option<f64>,
}

/// Makes a record of what was read.
///
/// # Errors
/// Where the frames cannot make one: each says what is wrong and what to do.
pub fn camera(candidates: Vec<Candidate>) -> Result<BodyRecord, CameraError> {
    let mut shoot = wall::wall(candidates)?;
    let mut tied = tied(&mut shoot).map_err(|why| after_those_left_out(why, &shoot))?;
    let noise = chip::noise(&shoot);
    let law = noise.as_ref().map(|n| n.0);
    tied.unsteady = unsteady(&shoot, &tied, law);
    tied.step = steady::step(&shown_frames(&shoot, &tied, law, SHORT));
    if let Some(step) = tied.step.filter(|step| *step > RESTLESS) {
        return Err(CameraError::Restless { step });
    }
    let found = clock::unstretched(&shoot, &tied, fit(&shoot, &tied, law)?);
    let mut u95 = found.0.u95.clone();
    u95.sort_by(f64::total_cmp);
    let half = u95.get(u95.len() / 2).copied().unwrap_or(f64::INFINITY);
    if half > WORTH_KEEPING {
        let (moved, scatter) = (found.0.light_moved, found.0.scatter);
        return Err(CameraError::Unsteady { u95: half, moved, scatter });
    }
    Ok(record::record(&shoot, &tied, &found, noise.map(|n| n.1)))
}

/// What the frames of use lack, after why most were of none.
fn after_those_left_out(why: CameraError, shoot: &WallShoot) -> CameraError {
    let (out, good) = (shoot.left_out.len(), shoot.frames.len());
    if (out as f64) < MANY_LEFT_OUT * (out + good) as f64 {
        return why;
    }
    let reasons = wall::commonest(&shoot.left_out, 0);
    let of = out + good + shoot.darks.len();
    CameraError::MostLeftOut { out, of, reasons, why: Box::new(why) }
}

/// Distinct times of frames, shortest first, as the text of the dial; and which each frame has.
fn distinct(frames: &[&WallFrame]) -> (Vec<usize>, Vec<usize>) {
    let key = |f: &WallFrame| (f.exposure.recorded.get().log2() * 1e3).round() as i64;
    let mut keys: Vec<i64> = frames.iter().map(|f| key(f)).collect();
    keys.sort_unstable();
    keys.dedup();
    let number = |f: &&WallFrame| keys.binary_search(&key(f)).unwrap_or_default();
    let numbers: Vec<usize> = frames.iter().map(number).collect();
    let first = |k: usize| numbers.iter().position(|n| *n == k).unwrap_or_default();
    ((0..keys.len()).map(first).collect(), numbers)
}

/// Which frames hang together by light levels and times.
fn tied(shoot: &mut WallShoot) -> Result<Tied, CameraError> {
    let all: Vec<&WallFrame> = shoot.frames.iter().collect();
    let (times, numbers) = distinct(&all);
    let text = |k: usize| shown(&all[times[k]].exposure);
    if times.len() == 1 {
        return Err(CameraError::OneTime { frames: all.len(), time: text(0) });
    }
    let seen: Vec<Seen> = all.iter().map(|f| seen(f)).collect();
    let lights = light_levels(&seen);
    // A level of a single frame (a cloud) is none.
    let of_level = |l: usize| lights.iter().filter(move |o| **o == l).count();
    let real: Vec<usize> =
        (0..=lights.iter().copied().max().unwrap_or(0)).filter(|l| of_level(*l) > 1).collect();
    if real.len() < 2 {
        let (from, to) = (text(0), text(times.len() - 1));
        return Err(CameraError::OneLevel { frames: all.len(), from, to });
    }
    let places: Vec<(usize, usize)> = lights.iter().copied().zip(numbers.iter().copied()).collect();
    let together = connected(&places);
    let held = real.iter().filter(|l| together.iter().any(|i| lights[*i] == **l)).count();
    let frames: Vec<&WallFrame> = together.iter().map(|i| all[*i]).collect();
    let (times, numbers) = distinct(&frames);
    if held < 2 || (held < real.len() && times.len() < LEAST_TIMES) {
        let told = real.iter().map(|l| level_told(*l, &places, &text)).collect();
        return Err(CameraError::Unconnected { levels: counted(told) });
    }
    if times.len() < LEAST_TIMES {
        let times = times.iter().map(|i| shown(&frames[*i].exposure)).collect();
        return Err(CameraError::FewTimes { times, least: LEAST_TIMES });
    }
    let mut used: Vec<usize> = together.iter().map(|i| lights[*i]).collect();
    let own = used.clone();
    used.sort_unstable();
    used.dedup();
    let level = |l: &usize| used.binary_search(l).unwrap_or_default();
    let places: Vec<(usize, usize)> = own.iter().map(level).zip(numbers.iter().copied()).collect();
    let counts: Vec<usize> =
        (0..times.len()).map(|k| numbers.iter().filter(|n| **n == k).count()).collect();
    let middle = times.len() / 2;
    let rank = |k: &usize| (counts[*k], std::cmp::Reverse(k.abs_diff(middle)));
    let reference = (0..times.len()).max_by_key(rank).unwrap_or(0);
    let apart = apart(&all, &together);
    shoot.left_out.extend(apart);
    let unsteady = vec![0.0; times.len()];
    let light_levels = used.len();
    Ok(Tied {
        frames: together,
        places,
        times,
        counts,
        light_levels,
        reference,
        unsteady,
        step: None,
    })
}

/// Those of light levels that nothing ties to the others.
fn apart(all: &[&WallFrame], together: &[usize]) -> Vec<LeftOutFrame> {
    let out = (0..all.len()).filter(|i| !together.contains(i));
    out.map(|i| LeftOutFrame {
        file: all[i].file.clone(),
        reason: "its light level shares no time with the others".to_owned(),
    })
    .collect()
}

/// The frames from a time on, by what they show of one exposure.
fn shown_frames(
    shoot: &WallShoot,
    tied: &Tied,
    law: Option<NoiseLaw>,
    from: Seconds,
) -> Vec<Shown> {
    let mut apertures: Vec<Option<i64>> = Vec::new();
    let mut number = |aperture: Option<i64>| {
        apertures.iter().position(|a| *a == aperture).unwrap_or_else(|| {
            apertures.push(aperture);
            apertures.len() - 1
        })
    };
    // Not by light level: a lamp that flickers much is taken for one that was dimmed.
    let shown = |(&i, &(_, time)): (&usize, &(usize, usize))| {
        let frame = &shoot.frames[i];
        let place = (number(seen(frame).aperture), time);
        let shown = Shown { place, level: frame.level.log2(), noise: noise(frame, law) };
        (frame.exposure.recorded.get() > from.get()).then_some(shown)
    };
    tied.frames.iter().zip(&tied.places).filter_map(shown).collect()
}

fn unsteady(shoot: &WallShoot, tied: &Tied, law: Option<NoiseLaw>) -> Vec<f64> {
    let frames = shown_frames(shoot, tied, law, Seconds::new(0.0));
    let mut found = steady::unsteady(&frames, tied.times.len());
    // Of two long frames the second is later, and the light may have moved: that the fit follows.
    for (k, scatter) in found.iter_mut().enumerate() {
        let frame = &shoot.frames[tied.frames[tied.times[k]]];
        if frame.exposure.recorded.get() > SHORT.get() {
            *scatter = 0.0;
        }
    }
    found
}

fn noise(frame: &WallFrame, law: Option<NoiseLaw>) -> f64 {
    law.map_or(USUAL_NOISE, |law| law.stops(frame.level, frame.pixels))
}

fn seen(frame: &WallFrame) -> Seen {
    let hundredths = |n| (true_f_number(n).get() * 100.0).round() as i64;
    Seen {
        aperture: frame.exposure.f_number.map(hundredths),
        rate: (frame.level / frame.exposure.true_time.get()).log2(),
    }
}

fn level_told(level: usize, places: &[(usize, usize)], text: &impl Fn(usize) -> String) -> String {
    let mut times: Vec<usize> = places.iter().filter(|p| p.0 == level).map(|p| p.1).collect();
    times.sort_unstable();
    times.dedup();
    match times.as_slice() {
        [one] => format!("{} alone", text(*one)),
        [first, .., last] => format!("{} to {}", text(*first), text(*last)),
        [] => String::new(),
    }
}

/// "one has 10 s alone", "2 have 1/125 s alone": levels of the same times are told once.
fn counted(told: Vec<String>) -> Vec<String> {
    let mut levels: Vec<(String, usize)> = Vec::new();
    for level in told {
        match levels.iter_mut().find(|(known, _)| *known == level) {
            Some((_, count)) => *count += 1,
            None => levels.push((level, 1)),
        }
    }
    let has = |(level, count): (String, usize)| match count {
        1 => format!("one has {level}"),
        many => format!("{many} have {level}"),
    };
    levels.into_iter().map(has).collect()
}

/// The time of the dial with its unit.
fn shown(exposure: &Understood) -> String {
    let text = exposure.text();
    if text.ends_with(|c: char| c.is_ascii_digit()) { format!("{text} s") } else { text }
}

fn fit(shoot: &WallShoot, tied: &Tied, law: Option<NoiseLaw>) -> Result<TimesFound, CameraError> {
    let mut blacks: Vec<(BlackSource, Option<usize>, Option<usize>)> = Vec::new();
    let mut doubts: Vec<f64> = Vec::new();
    let doubt_of_dark = DOUBT_DARK * shoot.full_scale / FULL_SCALE_14_BIT;
    let readings: Vec<Reading> = tied
        .frames
        .iter()
        .zip(&tied.places)
        .map(|(&i, &(light, time))| {
            let frame = &shoot.frames[i];
            let long = frame.exposure.recorded.get() >= LONG_S;
            let crept = long && frame.levels.black == BlackSource::Tag;
            // A drift that is not the line between dark frames is off otherwise at each light level.
            let drifts = frame.levels.black_doubt > DRIFTS * doubt_of_dark;
            let black = (frame.levels.black, crept.then_some(time), drifts.then_some(light));
            let at = blacks.iter().position(|b| *b == black).unwrap_or_else(|| {
                blacks.push(black);
                doubts.push(frame.levels.black_doubt * if crept { CREPT } else { 1.0 });
                blacks.len() - 1
            });
            let noise = noise(frame, law).hypot(tied.unsteady[time]);
            reading(frame, light, time, tied.reference, at, noise)
        })
        .collect();
    Ok(times(&TimesProblem {
        readings: &readings,
        times: tied.times.len() - 1,
        light_levels: tied.light_levels,
        black: doubts,
        timed: shoot.timed,
        full_scale: shoot.full_scale,
        lamps: &shoot.lamps,
    })?)
}

/// A frame as the fit takes it: the time stands where a shoot has the state, the light level where
/// it has the time.
fn reading(
    frame: &WallFrame,
    light: usize,
    time: usize,
    reference: usize,
    black: usize,
    noise: f64,
) -> Reading {
    let y = frame.level.log2() - frame.exposure.true_time.get().log2();
    // The record tells linearity itself.
    let green = ChannelReading { y, noise, level: frame.level, bent: 0.0 };
    Reading {
        setting: match time.cmp(&reference) {
            std::cmp::Ordering::Less => Some(time),
            std::cmp::Ordering::Equal => None,
            std::cmp::Ordering::Greater => Some(time - 1),
        },
        run: light,
        minutes: frame.minutes,
        time: light,
        shown: 0.0,
        iso: 0,
        aperture: 0,
        black,
        doubtful: false,
        channels: [None, Some(green), None],
    }
}

/// Noise of a frame's centre where no two frames tell it, stops (ours; the scatter of frames is
/// fitted beside it).
const USUAL_NOISE: f64 = 5e-4;
