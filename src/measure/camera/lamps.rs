//! Two lamps, one from each side of the wall: at one time of the dial one of them, both, the other, and
//! none. Which frames of a wall those are, and what they show, part by part of the frame. They are no light
//! level along the dial, and are taken out.

use super::wall::{DarkFrame, WallFrame, WallShoot};
use crate::levels::{DOUBT_DARK, FULL_SCALE_14_BIT, LevelFrame};
use crate::measure::fit::superposed::{LitPart, Superposition};
use std::ops::Range;

/// Frames of one light lie this close to the first of them, stops: lamps that flicker a little fit in (ours).
const ONE_LIGHT: f64 = 0.1;
/// Both lamps give this much more light than either, stops at least (ours).
const MORE: f64 = 0.3;
/// The sum is met to this share of it: times of one dial differ by less (ours).
const SUM: f64 = 0.03;
/// The light of two lamps lies otherwise across the frame, so that somewhere the one gives this many stops
/// more of it than elsewhere (ours): one lamp at half its power does not.
const OTHERWISE: f64 = 0.2;
/// Frames without light are taken within so many minutes of the others (ours).
const NEAR_MINUTES: f64 = 3.0;
/// Parts across and down of what lights are held against each other in (ours: enough for the shape, and so
/// large that no light changes much within one).
const PARTS: (usize, usize) = (6, 4);
/// A part that is brighter than this share of full scale may be clipped somewhere (ours: noise and shading
/// within a part fit above).
const NEAR_TOP: f64 = 0.85;
/// Black may have moved since frames without light: standard uncertainty over that of a frame beside its own
/// dark ones (ours).
const MOVED: f64 = 2.0;
/// A part that shows fewer counts than so many uncertainties of black tells nothing.
const ABOVE_BLACK: f64 = 50.0;

/// Takes the frames of two lamps out of the wall's, and tells what they show.
pub fn taken(shoot: &mut WallShoot) -> Vec<Superposition> {
    let lights = lights(&shoot.frames);
    let (mut found, mut out) = (Vec::new(), Vec::new());
    let mut at = 0;
    while let Some([one, both, other]) = lights.get(at..at + 3) {
        let of = |light: &Range<usize>| &shoot.frames[light.clone()];
        match superposed(shoot, [of(one), of(other), of(both)]) {
            Some(told) => {
                found.push(told);
                out.push(one.start..other.end);
                at += 3;
            }
            None => at += 1,
        }
    }
    for frames in out.into_iter().rev() {
        shoot.of_lamps += frames.len();
        shoot.frames.drain(frames);
    }
    found
}

fn rate(frame: &WallFrame) -> f64 {
    (frame.level / frame.exposure.true_time.get()).log2()
}

fn middle(frames: &[WallFrame]) -> f64 {
    frames.iter().map(rate).sum::<f64>() / frames.len().max(1) as f64
}

/// Frames that follow each other with one time, aperture and light.
fn lights(frames: &[WallFrame]) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    for (i, frame) in frames.iter().enumerate() {
        let joins = |last: &&mut Range<usize>| {
            let first = &frames[last.start];
            exposed_alike(first, frame) && (rate(first) - rate(frame)).abs() < ONE_LIGHT
        };
        match found.last_mut().filter(joins) {
            Some(last) => last.end = i + 1,
            None => found.push(i..i + 1),
        }
    }
    found
}

fn exposed_alike(a: &WallFrame, b: &WallFrame) -> bool {
    a.exposure.recorded == b.exposure.recorded && a.exposure.f_number == b.exposure.f_number
}

/// One light, the other, and both, where that is what they are and frames at the same time show what the
/// wall is lit by besides.
fn superposed(shoot: &WallShoot, lights: [&[WallFrame]; 3]) -> Option<Superposition> {
    let [one, other, both] = lights.map(<[WallFrame]>::first);
    let (one, other, both) = (one?, other?, both?);
    let [a, b, sum] = lights.map(middle);
    let adds_up = exposed_alike(one, both)
        && exposed_alike(both, other)
        && sum > a.max(b) + MORE
        && ((a.exp2() + b.exp2()) / sum.exp2() - 1.0).abs() < SUM;
    let within = one.minutes - NEAR_MINUTES..other.minutes + NEAR_MINUTES;
    let is_unlit = |d: &&DarkFrame| d.time == one.exposure.recorded && within.contains(&d.minutes);
    let unlit: Vec<&LevelFrame> = shoot.unlit.iter().filter(is_unlit).map(|d| &d.levels).collect();
    if !adds_up || unlit.is_empty() {
        return None;
    }
    let unlit = mean(&unlit);
    let [one, other, both] = lights.map(|frames| {
        let levels: Vec<&LevelFrame> = frames.iter().map(|f| &f.levels).collect();
        mean(&levels).iter().zip(&unlit).map(|(lit, none)| lit - none).collect::<Vec<f64>>()
    });
    let black = MOVED * DOUBT_DARK * shoot.full_scale / FULL_SCALE_14_BIT;
    let least = ABOVE_BLACK * black;
    let good = |level: f64| level > least && level < NEAR_TOP * shoot.full_scale;
    let places: Vec<LitPart> = (0..both.len())
        .map(|i| LitPart { levels: [one[i], other[i], both[i]], at: at(i) })
        .filter(|place| place.levels.iter().all(|level| good(*level)))
        .collect();
    lies_otherwise(&places).then_some(Superposition { places, black })
}

/// Means of frames over the parts.
fn mean(frames: &[&LevelFrame]) -> Vec<f64> {
    let mut sum = vec![0.0; PARTS.0 * PARTS.1];
    for frame in frames {
        let blocks = frame.blocks(1, PARTS.0, PARTS.1);
        sum.iter_mut().zip(blocks).for_each(|(sum, block)| *sum += block);
    }
    sum.into_iter().map(|sum| sum / frames.len() as f64).collect()
}

/// Middle of a part, right and down, in halves of the frame.
fn at(part: usize) -> [f64; 2] {
    let of = |index: usize, parts: usize| (2.0 * index as f64 + 1.0) / parts as f64 - 1.0;
    [of(part % PARTS.0, PARTS.0), of(part / PARTS.0, PARTS.1)]
}

/// Whether two lights come from two places.
fn lies_otherwise(places: &[LitPart]) -> bool {
    let stops = places.iter().map(|place| (place.levels[0] / place.levels[1]).log2());
    let most = stops.clone().fold(f64::NEG_INFINITY, f64::max);
    most - stops.fold(f64::INFINITY, f64::min) > OTHERWISE
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::body_record::BodyName;
    use crate::frame::cfa::Plane;
    use crate::levels::{BlackSource, PlaneLevels};
    use crate::quantity::{Seconds, Stops};
    use crate::shoot::times::{Evidence, LentToFrame, Understood};

    const TIME_S: f64 = 1.0 / 64.0;
    /// Columns of the frame under a lamp from the left, and from the right.
    const LEFT: [f64; 6] = [1.5, 1.3, 1.1, 0.9, 0.7, 0.5];
    const RIGHT: [f64; 6] = [0.5, 0.7, 0.9, 1.1, 1.3, 1.5];
    const EVEN: [f64; 6] = [1.0; 6];

    fn levels(level: f64, across: [f64; 6]) -> LevelFrame {
        let cells = (0..24).map(|i| level * across[i % 6]).collect();
        LevelFrame {
            columns: 6,
            rows: 4,
            side: 16,
            size: (96, 64),
            planes: vec![PlaneLevels {
                plane: Plane::Green1,
                level: cells,
                pixels: vec![64.0; 24],
            }],
            centre_cells: vec![(8, 0.5), (9, 0.5)],
            black: BlackSource::DarkFrames,
            black_doubt: 0.1,
        }
    }

    fn frame(minutes: f64, level: f64, across: [f64; 6]) -> WallFrame {
        let time = Seconds::new(TIME_S);
        let exposure = Understood {
            recorded: time,
            from_apex: false,
            dial: None,
            true_time: time,
            evidence: Evidence::Literal,
            hand: Stops::new(0.0),
            f_number: None,
            iso: None,
            lent: LentToFrame::default(),
        };
        WallFrame {
            file: format!("{minutes:.1}"),
            exposure,
            minutes,
            levels: levels(level, across),
            level,
            pixels: 64.0,
            colour_stops: [0.0; 2],
        }
    }

    /// Three frames of each of these lights, and one without light after so many minutes, which shows that
    /// 20 counts come from elsewhere.
    fn wall(lights: &[(f64, [f64; 6])], unlit: f64) -> WallShoot {
        let all = lights.iter().flat_map(|light| std::iter::repeat_n(*light, 3)).enumerate();
        WallShoot {
            body: BodyName::default(),
            iso: None,
            frames: all.map(|(n, (level, across))| frame(0.1 * n as f64, level, across)).collect(),
            darks: Vec::new(),
            unlit: vec![DarkFrame {
                time: Seconds::new(TIME_S),
                minutes: unlit,
                levels: levels(20.0, EVEN),
            }],
            of_lamps: 0,
            left_out: Vec::new(),
            timed: true,
            captured_at: None,
            full_scale: 16_000.0,
            black: 512.0,
        }
    }

    #[test]
    fn one_lamp_both_and_the_other_are_told_and_taken_out() {
        // After frames of the wall at that time.
        let both = (10_000.0, EVEN);
        let mut shoot =
            wall(&[(4000.0, EVEN), (5000.0, LEFT), both, (5000.0, RIGHT), (4000.0, EVEN)], 1.0);
        let found = taken(&mut shoot);
        let left: Vec<&str> = shoot.frames.iter().map(|f| f.file.as_str()).collect();
        assert_eq!(left, ["0.0", "0.1", "0.2", "1.2", "1.3", "1.4"]);
        assert_eq!(shoot.of_lamps, 9);
        let [told] = found.as_slice() else { panic!("{} of them", found.len()) };
        assert_eq!(told.places.len(), 24);
        assert_eq!(told.places[0].levels, [7480.0, 2480.0, 9980.0]);
        assert_eq!(told.places[5].levels, [2480.0, 7480.0, 9980.0]);
        assert!((told.places[0].at[0] + 5.0 / 6.0).abs() < 1e-12);
    }

    #[test]
    fn lights_that_are_no_two_lamps_are_none() {
        let both = (10_000.0, EVEN);
        let none: [&[(f64, [f64; 6])]; 3] = [
            // They do not add up; one lamp at half its power; both dimmed.
            &[(4000.0, LEFT), both, (5000.0, RIGHT)],
            &[(5000.0, LEFT), (10_000.0, LEFT), (5000.0, LEFT)],
            &[both, (6000.0, RIGHT), both],
        ];
        for lights in none {
            assert_eq!(taken(&mut wall(lights, 1.0)), []);
        }
        // Nothing tells what else lights the wall.
        let mut shoot = wall(&[(5000.0, LEFT), both, (5000.0, RIGHT)], 9.0);
        assert_eq!(taken(&mut shoot), []);
        assert_eq!(shoot.frames.len(), 9);
    }

    #[test]
    fn parts_that_may_be_clipped_tell_nothing() {
        let mut shoot = wall(&[(9500.0, LEFT), (19_000.0, EVEN), (9500.0, RIGHT)], 1.0);
        assert_eq!(taken(&mut shoot), []);
    }
}
