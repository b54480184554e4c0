//! Which few frames more would make a strength surer where shutter times limit it: frames that
//! measure the times instead of trusting them.

use super::{Beliefs, ChannelReading, Fit, Reading, TimeBelief, fit};
use crate::exposure::BRIDGE_SPARE_STOPS;
use crate::measure::strength::Source;
use std::f64::consts::LN_2;

/// Shutter times limit a strength where they make this share of its variance (ours).
const LIMITS: f64 = 0.5;
/// Less than this is not worth more frames (ours): new u95 over old.
const WORTH: f64 = 0.7;
/// A frame this much brighter than the brightest of the shoot would clip (ours).
const BRIGHTER: f64 = 1.2;
/// Up to so many stops the filter can be shot at the bare time (ours); beyond, the level sinks into
/// black and a dimmed state has to carry the ratio over.
const AT_ONE_TIME: f64 = 7.5;

/// What is in front of the lens in a frame that is wished for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhichFrames {
    /// No filter.
    Bare,
    /// The filter.
    Filter,
    /// Another filter, about half as strong (another aperture is taken for a mistake where no plan says so).
    Dimmed,
}

/// A shutter time of a frame that is wished for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// One of the shoot's distinct times.
    Known(usize),
    /// Half-way between the bare and the filtered time, less what spares a weaker bridge from clipping.
    Middle,
}

/// Frames that are wished for, and what they would give.
#[derive(Clone, Debug, PartialEq)]
pub struct MoreFrames {
    /// What to shoot, a frame each.
    pub frames: Vec<(WhichFrames, At)>,
    /// Expanded uncertainty as it is, stops.
    pub now: f64,
    /// As it would be with them, stops.
    pub then: f64,
}

/// What would help a setting most; `None` where something else than times limits it.
#[must_use]
pub fn more_frames(
    readings: &[Reading],
    settings: usize,
    setting: usize,
    beliefs: &Beliefs,
    found: &Fit,
) -> Option<MoreFrames> {
    let now = u95(found, setting)?;
    let of_times = found.part(setting, Source::Shutter).hypot(found.part(setting, Source::Dial));
    let u = found.settings.get(setting)?.channel(1).ok()?.u().get();
    if of_times * of_times < LIMITS * u * u {
        return None;
    }
    let (bare, filter) = (usual(readings, None)?, usual(readings, Some(setting))?);
    if bare.time == filter.time {
        return None;
    }
    let strength = found.settings[setting].stops[1];
    let shoot = Shoot { readings, beliefs, bare, filter, setting, strength, settings };
    let candidates: Vec<Vec<(WhichFrames, At)>> = if strength > AT_ONE_TIME {
        vec![vec![
            (WhichFrames::Dimmed, At::Known(bare.time)),
            (WhichFrames::Dimmed, At::Middle),
            (WhichFrames::Filter, At::Middle),
        ]]
    } else {
        vec![
            vec![(WhichFrames::Filter, At::Known(bare.time)); 2],
            vec![(WhichFrames::Bare, At::Known(filter.time)); 2],
        ]
    };
    candidates
        .into_iter()
        .filter_map(|frames| {
            let then = shoot.with(&frames)?;
            Some(MoreFrames { frames, now, then })
        })
        .filter(|more| more.then < WORTH * now)
        .min_by(|a, b| a.then.total_cmp(&b.then))
}

fn u95(found: &Fit, setting: usize) -> Option<f64> {
    Some(found.settings.get(setting)?.channel(1).ok()?.u95().get())
}

/// The frame in the middle of a state's frames that is not clipped in green.
fn usual(readings: &[Reading], state: Option<usize>) -> Option<&Reading> {
    let is_mine = |r: &&Reading| r.setting == state && r.channels[1].is_some() && !r.doubtful;
    let mine: Vec<&Reading> = readings.iter().filter(is_mine).collect();
    mine.get(mine.len() / 2).copied()
}

struct Shoot<'a> {
    readings: &'a [Reading],
    beliefs: &'a Beliefs,
    bare: &'a Reading,
    filter: &'a Reading,
    setting: usize,
    strength: f64,
    settings: usize,
}

/// log2 of t ISO / N^2 as the reading was divided by.
fn exposure(reading: &Reading) -> f64 {
    reading.channels[1].map_or(0.0, |c| c.level.log2() - c.y)
}

impl Shoot<'_> {
    /// Expanded uncertainty with these frames added as they would come out.
    fn with(&self, frames: &[(WhichFrames, At)]) -> Option<f64> {
        let mut readings = self.readings.to_vec();
        let mut beliefs = self.beliefs.clone();
        let middle = beliefs.shutter.len();
        let scale = beliefs.shutter.get(self.filter.time).map_or(0.0, |b| b.scale);
        beliefs.shutter.push(TimeBelief { scale, hand: 0.0 });
        let states = readings.iter().filter_map(|r| r.setting).max().map_or(0, |s| s + 1);
        let dimmed = states.max(self.settings);
        let after = readings.iter().rposition(|r| r.setting == Some(self.setting))? + 1;
        for (number, (state, at)) in frames.iter().enumerate() {
            let (time, exposed, shown) = match at {
                At::Known(k) if *k == self.bare.time => (*k, exposure(self.bare), self.bare.shown),
                At::Known(k) => (*k, exposure(self.filter), self.filter.shown),
                At::Middle => {
                    let half = f64::midpoint(exposure(self.bare), exposure(self.filter));
                    (middle, half - BRIDGE_SPARE_STOPS, 0.0)
                }
            };
            let (setting, stops) = match state {
                WhichFrames::Bare => (None, 0.0),
                WhichFrames::Filter => (Some(self.setting), self.strength),
                WhichFrames::Dimmed => (Some(dimmed), self.strength / 2.0),
            };
            let frame = Reading {
                setting,
                time,
                shown,
                run: usize::MAX - number,
                minutes: self.filter.minutes,
                iso: self.bare.iso,
                aperture: self.bare.aperture,
                black: self.bare.black,
                doubtful: false,
                channels: self.channels(stops, exposed)?,
            };
            readings.insert(after + number, frame);
        }
        u95(&fit(&readings, self.settings, &beliefs).ok()?, self.setting)
    }

    /// Levels behind so many stops, with the noise of fewer photons; `None` where they would clip.
    fn channels(&self, stops: f64, exposed: f64) -> Option<[Option<ChannelReading>; 3]> {
        let brightest = self
            .readings
            .iter()
            .flat_map(|r| r.channels.iter().flatten())
            .map(|c| c.level)
            .fold(0.0, f64::max);
        let of = |c: &Option<ChannelReading>| {
            let bare = c.as_ref()?;
            let y = bare.y - stops;
            let level = (y + exposed).exp2();
            // Photon noise grows as the root of the level sinks; one count more stands for reading.
            let noise = bare.noise * (bare.level / level).sqrt() + READING / (level * LN_2);
            Some(ChannelReading { y, noise, level, bent: bare.bent * level / bare.level })
        };
        let channels = [0, 1, 2].map(|c| of(&self.bare.channels[c]));
        let clips = channels.iter().flatten().any(|c| c.level > BRIGHTER * brightest);
        (!clips).then_some(channels)
    }
}

/// Reading noise of a mean over the centre, counts (ours: far below a black level's doubt).
const READING: f64 = 0.02;
