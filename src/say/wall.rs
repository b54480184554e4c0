//! The plan of a camera record in sentences.

use super::figures::count;
use super::plan::{in_thirds, unit, whole_minutes};
use crate::exposure::DialTime;
use crate::field::wall_plan::{EACH, EACH_LIGHT, LIGHTS, WallLevel, WallPlan};

/// What to see to, each with its reason (common practice, no source).
pub const SEE_TO: [(&str, &str); 7] = [
    (
        "A plain wall or a sheet of paper under a lamp in a dark room, two lamps where you have them, long \
         enough lit to be warm.",
        "what changes in the light must be followed, and is never followed quite.",
    ),
    (
        "A lamp on direct current, from a battery.",
        "on the mains it flickers, and a short frame catches a part of one period.",
    ),
    (
        "No filter; lens out of focus; camera on a tripod.",
        "the wall is to be as even and as still as it can be.",
    ),
    (
        "Raw, lowest ISO; autofocus, stabiliser and long-exposure noise reduction off.",
        "each would change a frame by itself.",
    ),
    (
        "The shutter, mechanical or electronic, that you use with filters.",
        "each has times of its own.",
    ),
    (
        "A remote release or the self-timer of two seconds.",
        "the camera must not shake, and nobody stands in the light.",
    ),
    ("A full battery.", "it is one shoot from the first frame to the last."),
];

/// Frames, light levels, and how long it takes.
#[must_use]
pub fn total(plan: &WallPlan) -> String {
    format!(
        "Camera record: {} frames at {}, about {}.",
        plan.frames(),
        count(plan.levels.len(), "light level"),
        whole_minutes(plan.duration())
    )
}

/// What to do about the light before the first frame.
#[must_use]
pub fn light(plan: &WallPlan) -> Vec<String> {
    let mut said = Vec::new();
    if let Some((first, longest)) = plan.levels.first().and_then(|l| Some((l, l.times.first()?))) {
        said.push(format!(
            "At the first light level, lamp close and aperture wide, the meter should read {}: the \
             longest frames there get {}, and nothing in them may clip; look at the histogram, and close \
             the aperture by a third of a stop where its hump touches the right edge.",
            unit(first.reading.text()),
            unit(longest.text())
        ));
    }
    match plan.darken_thirds {
        0 => {}
        n if n > 0 => said.push(format!(
            "That is {} darker than your reading: close the aperture or move the lamp away.",
            in_thirds(n)
        )),
        n => said.push(format!(
            "That is {} brighter than your reading: open the aperture, bring the lamp closer, or take a \
             brighter one.",
            in_thirds(-n)
        )),
    }
    said
}

/// How to come to a light level.
#[must_use]
pub fn set(level: &WallLevel) -> String {
    let reads = format!("the meter reads {}", unit(level.reading.text()));
    match level.closed_thirds {
        0 => format!("Lamp close, aperture wide: {reads}."),
        n => format!(
            "{} less light, by the aperture while it closes, then by the lamp: {reads}, or nearly.",
            super::figures::sentence(&in_thirds(n))
        ),
    }
}

/// "1/30 1/40 1/50", the way along the dial.
#[must_use]
pub fn along(times: &[DialTime]) -> String {
    times.iter().map(|t| t.text()).collect::<Vec<_>>().join("  ")
}

/// What to do at each light level.
#[must_use]
pub fn way(level: &WallLevel) -> String {
    let ends = level.times.first().zip(level.times.last());
    ends.map_or(String::new(), |(longest, shortest)| {
        format!(
            "{EACH} frames at each time from {} to {}, then {EACH} at each on the way back: {} frames. \
             Touch nothing but the dial.",
            unit(longest.text()),
            unit(shortest.text()),
            level.frames()
        )
    })
}

/// The lights of two lamps, in order.
pub const OF_LIGHT: [&str; LIGHTS] =
    ["right lamp covered", "both free", "left lamp covered", "both covered"];

/// What two lamps are for, and how they are set.
#[must_use]
pub fn lamps(plan: &WallPlan) -> String {
    let reading = plan.levels.first().map_or(String::new(), |l| unit(l.reading.text()));
    format!(
        "With a second lamp: one stands left and one right beside what the camera sees, no further from the \
         wall than the picture is wide, so that the left one lights mostly the left side of the picture and \
         the right one the right side; nothing else lights the wall. With both, the middle is as bright as at \
         light level 1: the meter reads {reading} there. What both give is what each gives, whatever the \
         shutter does. So these {} frames tell the sensor's curve from times that are too long, and times that \
         lie far apart are known better by a third. With one lamp only, leave them out.",
        plan.lamp_frames()
    )
}

/// What to do at each of their times.
#[must_use]
pub fn way_of_lamps(plan: &WallPlan) -> String {
    let times: Vec<String> = plan.lamps.iter().map(|t| unit(t.text())).collect();
    let times: Vec<&str> = times.iter().map(String::as_str).collect();
    format!(
        "Cover the right lamp: {EACH_LIGHT} frames each at {}. The same with both free, with the left one \
         covered, and with both covered. Cover with black card close to the lamp, and do not switch it: a lamp \
         changes while it warms. Stand in one place for all of these, with nothing pale beside the lamps: \
         light that is sent back onto the wall otherwise looks like a curve of the sensor.",
        super::figures::listed(&times)
    )
}

/// The frames with the lens capped, before all others.
#[must_use]
pub fn darks_before(plan: &WallPlan) -> String {
    format!("First of all, lens capped and viewfinder covered: {}.", each_dark(plan))
}

/// The same after all others.
#[must_use]
pub fn darks_after(plan: &WallPlan) -> String {
    format!(
        "The dark frames once more, lens capped and viewfinder covered: {}. They tell black, its creep and \
         glow, and with those before how it drifts as the sensor warms.",
        each_dark(plan)
    )
}

fn each_dark(plan: &WallPlan) -> String {
    let times: Vec<String> = plan.darks.iter().map(|t| unit(t.text())).collect();
    let times: Vec<&str> = times.iter().map(String::as_str).collect();
    format!("{EACH} frames each at {}", super::figures::listed(&times))
}
