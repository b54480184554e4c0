//! What to see to before and while shooting, each line with its reason (common practice where no
//! other ground is given).

use super::light::BareLevel;
use super::{Request, Shot};
use crate::profile::Kind;
use crate::shoot_file::ShotState;

/// One line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What to do.
    pub what: String,
    /// Why.
    pub why: String,
}

fn line(what: &str, why: &str) -> Line {
    Line { what: what.to_owned(), why: why.to_owned() }
}

/// The checklist for this filter and these shots.
#[must_use]
pub fn lines(request: &Request, shots: &[Shot], level: BareLevel) -> Vec<Line> {
    let mut list = surface(request.kind);
    list.extend(camera(shots.iter().any(|shot| shot.state == ShotState::Bridge), level));
    list.extend(filter(request));
    let longest = shots.iter().map(|shot| shot.time.true_time.get()).fold(0.0, f64::max);
    if longest > 1.0 {
        list.push(line(
            "In-camera long-exposure noise reduction off.",
            "it subtracts a dark frame of its own, doubles the wait, and lets the light drift.",
        ));
    }
    if shots.iter().any(|shot| shot.time.bulb) {
        list.push(line(
            "Times beyond 30 s on bulb with a timer remote, not by hand.",
            "half a second more or less is 0.02 stop at 32 s.",
        ));
    }
    if shots.iter().any(|shot| shot.state == ShotState::Leak) {
        list.push(line(
            "A piece of opaque card, cut to the filter's size, in its place for the leak frame.",
            "at ten stops one part in ten thousand past the filter costs 0.14 stop.",
        ));
    }
    list
}

fn surface(kind: Kind) -> Vec<Line> {
    let mut list = Vec::new();
    if matches!(kind, Kind::Variable | Kind::Polariser) {
        let why = if kind == Kind::Variable {
            "a variable filter is two polarisers, and such light is polarised: it would change \
             with the ring's angle, not with the filter."
        } else {
            "such light is polarised: the filter would dim it by its angle, not by its strength."
        };
        list.push(line(
            "No phone, tablet or computer screen as a target, no glossy wall, no blue sky in view.",
            why,
        ));
    }
    list.push(line(
        "A matt white wall in even, overcast daylight, filling the frame and out of focus.",
        "it is even and unpolarised; a lamp hides red leaks.",
    ));
    list.push(line(
        "Daylight rather than lamps; under lamps on the mains no time shorter than 1/25.",
        "such lamps flicker, and a short frame catches a part of one period.",
    ));
    list
}

fn camera(bridged: bool, level: BareLevel) -> Vec<Line> {
    vec![
        line("Tripod, nothing moved until the last frame.", "cells are compared place by place."),
        line("Remote release or self-timer.", "a touch shakes the frame and casts a shadow."),
        line("Raw.", "a picture's tone curve hides the true levels."),
        fixed(bridged),
        line(
            "Focus by hand before the filter goes on, autofocus off.",
            "refocusing changes the picture of the wall and the lens's own light.",
        ),
        line("Stabiliser off.", "on a tripod it moves the picture during long times."),
        line("Eyepiece covered.", "light enters there and reaches the sensor at long times."),
        line("No window or lamp behind you.", "it reflects in the filter's rear and front faces."),
        histogram(level),
        line("Clock set.", "the order of the frames and the drift of the light come from it."),
    ]
}

/// What a camera shows of a level goes by a tone curve, which puts a quarter of the light at 0.54 (IEC 61966-2-1).
fn histogram(level: BareLevel) -> Line {
    match level {
        BareLevel::Half => line(
            "Look at the histogram of the first bare frame: its peak right of the middle, clear of the edge.",
            "near half of full scale neither noise nor clipping matters.",
        ),
        BareLevel::Quarter => line(
            "Look at the histogram of the first bare frame: its peak about the middle.",
            "bright frames are held against nearly black ones, and near a quarter of full scale a sensor lies \
             closer to a straight line than above.",
        ),
    }
}

fn fixed(bridged: bool) -> Line {
    if bridged {
        return line(
            "Fixed aperture and ISO, automatic ISO off; only the time changes. The bridge frames alone \
             may have another aperture, the same for all of them.",
            "an aperture repeats to about 0.1 stop, a shutter to a hundredth; bridge frames are compared \
             with each other only.",
        );
    }
    line(
        "Fixed aperture and ISO, automatic ISO off; only the time changes.",
        "an aperture repeats to about 0.1 stop, a shutter to a hundredth.",
    )
}

fn filter(request: &Request) -> Vec<Line> {
    let mut list = vec![
        line("Clean glass.", "a fingerprint is a speck in the map and veils light."),
        line(
            "Seated the way it will be used.",
            "rings and holder shade the corners as they will outdoors.",
        ),
        line(
            "Gasket towards the lens, holder pressed home.",
            "light that slips past the filter makes it look weaker.",
        ),
        line(
            "Dark cloth round holder and mount.",
            "the same light finds its way in at every joint.",
        ),
    ];
    if request.slot && request.focal.len() < 2 {
        list.push(line(
            "Repeat the shoot, in a folder of its own, at the widest focal length you use.",
            "a holder shades the corners of a wide lens first.",
        ));
    }
    if request.kind == Kind::Variable {
        list.push(line(
            "Up the ring arrive at each mark from the weaker side; if you overshoot, go back \
             below it and come again.",
            "a ring does not stop at quite the same place from either side, and the way back shows it.",
        ));
        list.push(line(
            "Look at the histogram at the darkest marks too; where its right end touches the edge, take \
             a time one or two stops shorter for that mark, both up and down the ring.",
            "near the dark cross the corners stay lighter than the middle, by two stops and more with a \
             wide lens, and what clips is not measured.",
        ));
    }
    if request.kind == Kind::Graduated {
        list.push(line(
            "Put the line in the middle of the frame, level, and leave aperture and focal length.",
            "both blur the edge, and its width belongs to them.",
        ));
    }
    list
}
