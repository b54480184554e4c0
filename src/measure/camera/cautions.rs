//! What to mind about a camera record.

use super::wall::{WallFrame, WallShoot};
use super::{LONG_S, Tied, TimesFound, shown};
use crate::body_record::{BodyCaution, BodyRecord, LinearityPoint};

/// A time that is known worse than this is named, u95 in stops (ours).
const WIDE: f64 = 0.015;
/// Light that moved more over the shoot is named, stops (ours).
const MOVED: f64 = 0.1;
/// Light that moves from frame to frame is named from here on, stops (ours: a careless shutter's frames differ by
/// half of it).
const RESTLESS: f64 = 0.006;
/// Frames of one time that scatter more than at other times are named from here on, stops (ours).
const UNSTEADY: f64 = 0.003;
/// Departures from a line are named from here on, percent (ours).
const BENT_PERCENT: f64 = 1.0;
/// Two lamps tell the sensor's power where they leave less of it, stops per stop (ours: what forty times of
/// a careless shutter leave by themselves).
const TOLD: f64 = 0.0015;
/// Colour that changed more between light levels is named, stops (ours).
const COLOUR: f64 = 0.15;

/// All of them.
#[must_use]
pub fn cautions(
    shoot: &WallShoot,
    tied: &Tied,
    found: &TimesFound,
    record: &BodyRecord,
) -> Vec<BodyCaution> {
    let all = [
        ("no_serial", no_serial(record)),
        ("no_capture_times", no_capture_times(shoot)),
        ("light_moved", light_moved(record)),
        ("light_restless", light_restless(tied)),
        ("unsteady_times", unsteady_times(shoot, tied)),
        ("colour_changed", colour_changed(shoot, tied)),
        ("lamps_do_not_add_up", lamps_do_not_add_up(shoot)),
        ("two_lamps_tell_nothing", two_lamps_tell_nothing(found)),
        ("lamps_against_times", lamps_against_times(found)),
        ("no_long_darks", no_long_darks(shoot, record)),
        ("bent_sensor", bent_sensor(record)),
        ("wide_times", wide_times(record)),
        ("no_noise", no_noise(record)),
    ];
    let said = all.into_iter().filter_map(|(code, text)| Some((code, text?)));
    said.map(|(code, text)| BodyCaution { code: code.to_owned(), text }).collect()
}

fn no_serial(record: &BodyRecord) -> Option<String> {
    record.body.serial.is_none().then(|| {
        format!(
            "the files tell no serial number ({}): any other body of this model whose files tell none \
             either would be taken for this one. With two such bodies, measure with --without-record.",
            record.body.shown()
        )
    })
}

fn no_capture_times(shoot: &WallShoot) -> Option<String> {
    (!shoot.timed).then(|| {
        "the files tell no capture times, so that a light that changed could not be followed; set the \
         camera's clock and shoot again."
            .to_owned()
    })
}

fn light_moved(record: &BodyRecord) -> Option<String> {
    let moved = record.frames.light_moved_stops.get();
    (moved > MOVED).then(|| {
        format!(
            "the light moved by {moved:.2} stop during the shoot; it was followed as far as frames of \
             one time show it, and u95 holds the rest. A lamp in a dark room does better."
        )
    })
}

/// What is believed of shutters fills in what the frames do not tell.
fn light_restless(tied: &Tied) -> Option<String> {
    let step = tied.step.filter(|step| *step > RESTLESS)?;
    Some(format!(
        "from one frame to the next at one time the light changes by {step:.3} stop, as a window's does under \
         clouds: much of each time is what shutters usually are, and little is measured. A lamp on a battery in \
         a dark room tells them."
    ))
}

fn unsteady_times(shoot: &WallShoot, tied: &Tied) -> Option<String> {
    let odd: Vec<usize> = (0..tied.times.len()).filter(|k| tied.unsteady[*k] > UNSTEADY).collect();
    let text = |k: &usize| shown(&shoot.frames[tied.frames[tied.times[*k]]].exposure);
    let (first, last) = (odd.first()?, odd.last()?);
    let which = match odd.as_slice() {
        [one] => text(one),
        _ => format!("{} to {}", text(first), text(last)),
    };
    let most = tied.unsteady.iter().copied().fold(0.0, f64::max);
    Some(format!(
        "frames of one time differ more than others at {which} (by {most:.3} stop): a lamp on the mains \
         flickers, and a short frame catches a part of one period. u95 holds that. A lamp on a battery \
         makes it better; where it was one already, the shutter itself is less sure there."
    ))
}

/// What may have been meant as two lamps.
fn lamps_do_not_add_up(shoot: &WallShoot) -> Option<String> {
    let [first, last] = shoot.unsummed.as_ref()?;
    let which = if first == last { format!("{first:?}") } else { format!("{first:?} to {last:?}") };
    Some(format!(
        "in {which} the light lies otherwise across the picture than in others at the same time, as under one of \
         two lamps, but no three of one time add up: such frames count as other light levels. If \
         they are of two lamps, shoot at each of their times each lamp alone, both, and none, with nothing else \
         that changes."
    ))
}

/// Frames of two lamps from which the sensor's curve is known no better than without them.
fn two_lamps_tell_nothing(found: &TimesFound) -> Option<String> {
    let wide = found.power.as_ref().is_some_and(|power| power.variance.sqrt() > TOLD);
    wide.then(|| {
        "the frames of two lamps do not tell the sensor's curve, and times far apart are known as with one \
         lamp: both lamps light the picture too much alike, its sides clip, or light or black changed between \
         those frames. Let each light mostly its own side of the picture, from no further than the picture is \
         wide, and go on to the next lamp without a pause."
            .to_owned()
    })
}

/// That either is off is in the doubt of the times.
fn lamps_against_times(found: &TimesFound) -> Option<String> {
    let contradicted = found.power.as_ref().is_some_and(|power| power.contradicted > 0.5);
    contradicted.then(|| {
        "what two lamps tell of the sensor does not go with the shutter times: either the times are off by more \
         the longer they are, which a clock hardly does, or the lamps' light does not add up exactly, as where a \
         card, a wall or bright clothing sends light of the one on. u95 allows for both. Shoot the lamps again with \
         nothing bright beside them: the same result a second time is the shutter's."
            .to_owned()
    })
}

/// The first frame whose colour differs from the first light level's.
fn colour_changed(shoot: &WallShoot, tied: &Tied) -> Option<String> {
    let first = &shoot.frames[*tied.frames.first()?].colour_stops;
    let apart = |f: &WallFrame| {
        let by = |c: usize| (f.colour_stops[c] - first[c]).abs();
        by(0).max(by(1))
    };
    let odd = tied.frames.iter().map(|i| &shoot.frames[*i]).find(|f| apart(f) > COLOUR)?;
    Some(format!(
        "from {:?} on the light has another colour (by {:.2} stop): another lamp, or a filter on the \
         lens. Shutter times do not suffer; take filters off all the same, and dim with the aperture.",
        odd.file,
        apart(odd)
    ))
}

fn no_long_darks(shoot: &WallShoot, record: &BodyRecord) -> Option<String> {
    let long = record.times.list.iter().any(|t| t.shown_s.get() >= LONG_S);
    let dark = shoot.darks.iter().any(|d| d.time.get() >= LONG_S);
    (long && !dark).then(|| {
        "there are no dark frames of the long times, so that black may have crept up in them; add two \
         frames with the lens capped at each of your longest times."
            .to_owned()
    })
}

fn bent_sensor(record: &BodyRecord) -> Option<String> {
    let line = record.linearity.as_ref()?;
    let most = line.largest_percent.get();
    let is_told = |p: &LinearityPoint| {
        let off = p.deviation_percent.get().abs();
        off > BENT_PERCENT && off > p.u95_percent.get()
    };
    (most > BENT_PERCENT && line.points.iter().any(is_told)).then(|| {
        format!(
            "this sensor's levels lie up to {most:.1} % off a straight line, or its black is not the \
             file's. Measuring does not take that off, but has it in u95; expose filtered frames like \
             bare ones, the hump at the same place of the histogram, and it cancels."
        )
    })
}

fn no_noise(record: &BodyRecord) -> Option<String> {
    record.noise.is_none().then(|| {
        "the noise of the sensor could not be told from these frames. Shoot each time twice, at three \
         light levels at least, as raw frames without noise reduction."
            .to_owned()
    })
}

fn wide_times(record: &BodyRecord) -> Option<String> {
    let wide = record.times.list.iter().filter(|t| t.u95_stops.get() > WIDE);
    let wide: Vec<&str> = wide.map(|t| t.dial.as_str()).collect();
    (!wide.is_empty()).then(|| {
        format!(
            "known to worse than {WIDE} stop: {}. More frames of them, at two light levels, make them \
             better.",
            wide.join(", ")
        )
    })
}
