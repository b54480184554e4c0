//! Camera records of walls that were shot with two lamps besides, each alone and both: what both give is what
//! each gives, which tells the sensor's curve from times that stretch along the dial.

#![allow(clippy::unwrap_used)]

use crate::camera::errors;
use crate::camera::faults::raise;
use crate::shooting::drawn;
use lightloss::body_record::BodyRecord;
use lightloss::frame::cfa::Plane;
use lightloss::levels::{own_black, plane_black};
use lightloss::measure::camera::{CameraError, camera};
use lightloss::shoot::Candidate;
use lightloss::simulate::camera::Time;
use lightloss::simulate::session::{Shot, Taken};
use lightloss_planted::wall::{LEVELS, session, shots};

const SIZE: (usize, usize) = (640, 448);
/// A stop and more below the longest time of the first level.
const OF_LAMPS: [f64; 4] = [1.0 / 30.0, 1.0 / 60.0, 1.0 / 125.0, 1.0 / 250.0];
/// What lights the wall beside the lamps, as a share of both.
const BESIDES: f64 = 1e-3;

/// Two frames of the left lamp at each time, of both, of the right one and of none; the first letter of their
/// names says which.
fn of_lamps(series: &str) -> Vec<Shot> {
    let two = |light: &str, time: f64| {
        [0, 1].map(|n| {
            let file = format!("{light}{series}{:04.0}_{n}.dng", 1.0 / time);
            Shot { f_number: LEVELS[0].0, ..Shot::of(&file, Time::Dial(time), Vec::new()) }
        })
    };
    let lights = ["L", "B", "R", "N"].into_iter();
    lights.flat_map(|light| OF_LAMPS.into_iter().flat_map(move |time| two(light, time))).collect()
}

/// The wall, and those before its dark frames.
fn with_lamps() -> Vec<Shot> {
    let mut all = shots(&LEVELS, 1);
    let dark = all.iter().position(|s| s.brighter < -30.0).unwrap();
    all.splice(dark..dark, of_lamps(""));
    all
}

/// Share of the wall's light that the lamps give at a place in halves of the frame, each from beyond its side
/// as far from the wall as the frame is wide (inverse squares and the cosine on the wall).
fn lamps(light: char, (x, y): (f64, f64), moved: f64, besides: f64) -> f64 {
    let far = |x: f64| (4.0 + (x * x) + 0.5 * y * y).powf(-1.5);
    let [left, right] = [x + 1.2, x - 1.2].map(|from| far(from) / far(1.2) / 2.0);
    let shine = match light {
        'L' => left,
        'R' => right,
        'B' => left + moved * right,
        _ => 0.0,
    };
    shine + besides
}

/// What a sensor shows whose levels are the light to a power.
fn seen(candidate: &mut Candidate, power: f64, moved: f64) {
    seen_in(candidate, power, moved, &|_| BESIDES);
}

/// The same in a room that gives a share of the wall's light, by how far right in the frame it falls.
fn seen_in(candidate: &mut Candidate, power: f64, moved: f64, room: &dyn Fn(f64) -> f64) {
    let light = candidate.file.chars().next().unwrap();
    let summary = candidate.outcome.as_mut().unwrap();
    let black = plane_black(own_black(summary), None, Plane::Green1);
    let (columns, rows) = (summary.cells.columns, summary.cells.rows);
    let full = f64::from(summary.levels.white) - black;
    let middle = |i: usize, of: usize| (2 * i + 1) as f64 / of as f64 - 1.0;
    for plane in &mut summary.cells.planes {
        for cell in 0..plane.sum.len() {
            let n = f64::from(plane.count[cell]);
            let mean = f64::from(plane.sum[cell]) / n;
            let variance = plane.squares[cell] as f64 / n - mean * mean;
            let (x, y) = (middle(cell % columns, columns), middle(cell / columns, rows));
            let share = if light == 'W' { 1.0 } else { lamps(light, (x, y), moved, room(x)) };
            let own = share * (mean - black);
            let shown = own * (own.abs() / full).max(1e-6).powf(power);
            plane.sum[cell] = (n * (black + shown)).round() as u32;
            let square = (black + shown).powi(2) + variance * share.max(1e-2);
            plane.squares[cell] = (n * square).round() as u64;
        }
    }
}

fn record(all: &[Shot], seed: u64, power: f64) -> (BodyRecord, Vec<Taken>) {
    let (record, taken) = of_moved(all, seed, power, 1.0);
    (record.unwrap(), taken)
}

/// The same where the right lamp shines so many times brighter beside the left one than alone.
fn of_moved(
    all: &[Shot],
    seed: u64,
    power: f64,
    moved: f64,
) -> (Result<BodyRecord, CameraError>, Vec<Taken>) {
    let session = session(SIZE, 2.0, seed);
    let taken = session.take(all);
    let mut frames = drawn(&session, &taken);
    frames.iter_mut().for_each(|frame| seen(frame, power, moved));
    (camera(frames), taken)
}

/// Without the lamps a time eight stops from the reference is known no better than the slope of a sensor's
/// curve; with them it is, whatever the slope.
#[test]
fn two_lamps_tell_the_sensor_s_curve_from_long_times() {
    let (mut inside, mut all) = (0, 0);
    for (seed, power) in [(3, 0.004), (4, -0.004), (5, 0.0)] {
        let (known, taken) = record(&with_lamps(), seed, power);
        assert_eq!(known.frames.left_out, []);
        assert_eq!(known.frames.light_levels, 3);
        let (plain, of_plain) = record(&shots(&LEVELS, 1), seed, power);
        assert_eq!(known.frames.used, plain.frames.used + 4 * 2 * OF_LAMPS.len() as u32);
        assert_eq!(known.frames.dark, plain.frames.dark);
        let worst = |record: &BodyRecord, taken: &[Taken]| {
            errors(record, taken).iter().map(|(error, _)| error.abs()).fold(0.0, f64::max)
        };
        let (with, without) = (worst(&known, &taken), worst(&plain, &of_plain));
        assert!(power == 0.0 || with < 0.7 * without, "{power}: {with}, without lamps {without}");
        for (error, u95) in errors(&known, &taken) {
            all += 1;
            inside += u32::from(error.abs() <= u95);
        }
    }
    assert!(f64::from(inside) >= 0.9 * f64::from(all), "{inside} of {all} within u95");
}

/// What lamps and cards send back of each other's light lies otherwise across the frame, at all times alike, and
/// looks like a power of the light: by half a thousandth more at both sides than in the middle, or less.
#[test]
fn light_that_is_sent_back_leaves_times_inside() {
    let (mut inside, mut all) = (0, 0);
    for (seed, sent) in [(3, 5e-4), (4, -5e-4), (5, 5e-4), (6, 2e-4), (7, -2e-4)] {
        let (known, taken) = of_sent_back(2.0, seed, sent);
        let errors = errors(&known, &taken);
        all += errors.len();
        inside += errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
    }
    assert!(10 * inside >= 9 * all, "{inside} of {all} within u95");
}

/// Where cards send back three times as much, lamps and times contradict each other: that is said, and both are in the
/// doubt. Of what is usual it is not said. Ten times as much bends the response besides: that is said, and no more.
#[test]
fn lamps_that_contradict_the_times_are_named() {
    for (seed, sent) in [(3, 5e-3), (4, -5e-3), (7, 1.5e-3), (8, -1.5e-3), (5, 3e-4), (6, -3e-4)] {
        let (known, taken) = of_sent_back(1.0, seed, sent);
        let is_named = known.cautions.iter().any(|c| c.code == "lamps_against_times");
        assert_eq!(is_named, sent.abs() > 1e-3, "{sent}: {:?}", known.cautions);
        if sent.abs() < 2e-3 {
            mostly_inside(&known, &taken, &format!("{sent} sent back"));
        }
    }
}

/// The wall and its lamps, of times that are off by so many times what a good shutter's are, where both lamps
/// together give so much more at both sides.
fn of_sent_back(errs: f64, seed: u64, sent: f64) -> (BodyRecord, Vec<Taken>) {
    let session = session(SIZE, errs, seed);
    let taken = session.take(&with_lamps());
    let mut frames = drawn(&session, &taken);
    for frame in &mut frames {
        seen(frame, 0.0, 1.0);
        if frame.file.starts_with('B') {
            send_back(frame, sent);
        }
    }
    (camera(frames).unwrap(), taken)
}

/// So much more light at both sides.
fn send_back(candidate: &mut Candidate, share: f64) {
    let summary = candidate.outcome.as_mut().unwrap();
    let black = plane_black(own_black(summary), None, Plane::Green1);
    let columns = summary.cells.columns;
    for plane in &mut summary.cells.planes {
        for cell in 0..plane.sum.len() {
            let n = f64::from(plane.count[cell]);
            let x = (2 * (cell % columns) + 1) as f64 / columns as f64 - 1.0;
            let more = share * x * x * (f64::from(plane.sum[cell]) / n - black);
            plane.squares[cell] +=
                (2.0 * more.max(0.0) * f64::from(plane.sum[cell])).round() as u64;
            plane.sum[cell] = (f64::from(plane.sum[cell]) + n * more).round() as u32;
        }
    }
}

/// A lamp that is switched and not covered, or moved: what both give is not what each gives. By a little it is a
/// factor, which falls out; frames of lamps that were changed by more are none, and spoil no record, though the
/// wall at the same times is as bright and nearly as even as both lamps were to be.
#[test]
fn lamps_that_do_not_add_up_spoil_no_record() {
    for (moved, of_lamps) in [(1.01, Some(24)), (1.04, Some(24)), (1.2, None), (1.5, None)] {
        let (known, taken) = of_moved(&with_lamps(), 6, 0.0, moved);
        let known = known.unwrap();
        assert_eq!(known.frames.of_two_lamps, of_lamps, "{moved}");
        let errors = errors(&known, &taken);
        let inside = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
        assert!(10 * inside >= 9 * errors.len(), "{moved}: {inside} of {}", errors.len());
    }
}

/// Frames with both lamps covered that stand behind all others of the lamps, of a time that no lamp was kept of,
/// are of no light level: they show what black is off by.
#[test]
fn covered_frames_without_their_lamps_are_no_wall() {
    let all = with_lamps();
    let kept = all.into_iter().filter(|shot| {
        let is_of_250 = shot.file.starts_with(['L', 'B', 'R']) && shot.file.contains("0250");
        !is_of_250
    });
    let session = session(SIZE, 2.0, 7);
    let taken = session.take(&kept.collect::<Vec<_>>());
    let mut frames = drawn(&session, &taken);
    frames.iter_mut().for_each(|frame| seen(frame, 0.0, 1.0));
    for frame in frames.iter_mut().filter(|frame| frame.file.starts_with("N0250")) {
        raise(frame.outcome.as_mut().unwrap(), 2);
    }
    let known = camera(frames).unwrap();
    assert_eq!(known.frames.of_two_lamps, Some(18));
    let out: Vec<&str> = known.frames.left_out.iter().map(|out| out.file.as_str()).collect();
    assert_eq!(out, ["N0250_0.dng", "N0250_1.dng"], "{:?}", known.frames.left_out);
    let errors = errors(&known, &taken);
    let inside = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
    assert!(10 * inside >= 9 * errors.len(), "{inside} of {}", errors.len());
}

fn mostly_inside(known: &BodyRecord, taken: &[Taken], what: &str) {
    let errors = errors(known, taken);
    let inside = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
    assert!(10 * inside >= 9 * errors.len(), "{what}: {inside} of {}", errors.len());
}

/// One of the covered frames is of another size: it is left out by name, and the others serve.
#[test]
fn a_covered_frame_of_another_size_is_left_out() {
    let all = with_lamps();
    let (own, larger) = (session(SIZE, 2.0, 3), session((1280, 896), 2.0, 3));
    let taken = own.take(&all);
    let mut frames = drawn(&own, &taken);
    let at = frames.iter().position(|f| f.file == "N0030_1.dng").unwrap();
    frames[at] = drawn(&larger, &larger.take(&all)[at..=at]).remove(0);
    frames.iter_mut().for_each(|frame| seen(frame, 0.0, 1.0));
    let known = camera(frames).unwrap();
    assert_eq!(known.frames.of_two_lamps, Some(24));
    let out = &known.frames.left_out;
    assert!(out.len() == 1 && out[0].file == "N0030_1.dng", "{out:?}");
    assert!(out[0].reason.contains("another size"), "{out:?}");
    mostly_inside(&known, &taken, "one is larger");
}

/// Lamps before the wall and again after it: the wall stands between two series, and among neither.
#[test]
fn lamps_before_and_after_the_wall_leave_it_whole() {
    let all = [of_lamps("a"), with_lamps()].concat();
    for seed in [3, 4] {
        let (known, taken) = record(&all, seed, 0.0);
        assert_eq!(known.frames.left_out, []);
        assert_eq!(known.frames.of_two_lamps, Some(48));
        assert_eq!(known.frames.light_levels, 3);
        mostly_inside(&known, &taken, "twice");
    }
}

/// The wall itself lit by both lamps, each frame of which adds up with the lamps alone as well as theirs.
#[test]
fn lamps_right_after_a_wall_that_both_light_leave_it_whole() {
    for seed in [3, 4, 5] {
        let session = session(SIZE, 2.0, seed);
        let mut all = shots(&LEVELS, 1);
        let second = all.iter().position(|s| s.f_number > LEVELS[0].0).unwrap();
        all.splice(second..second, of_lamps(""));
        let taken = session.take(&all);
        let mut frames = drawn(&session, &taken);
        for (frame, taken) in frames.iter_mut().zip(&taken) {
            assert_eq!(frame.file, taken.shot.file);
            if taken.shot.brighter < -30.0 {
                continue;
            }
            let own = frame.file.clone();
            if own.starts_with('W') {
                frame.file = format!("B{own}");
            }
            seen(frame, 0.0, 1.0);
            frame.file = own;
        }
        let known = camera(frames).unwrap();
        assert_eq!(known.frames.left_out, [], "{seed}");
        assert_eq!(known.frames.of_two_lamps, Some(24), "{seed}");
        mostly_inside(&known, &taken, "both light the wall");
    }
}

/// A room that is not dark gives a twentieth of the light to all frames of the lamps, one side more: with both covered
/// it stays, and is taken off. The lamps were taken for other light levels before.
#[test]
fn a_room_that_is_not_dark_leaves_two_lamps_what_they_are() {
    for seed in [3, 4] {
        let session = session(SIZE, 2.0, seed);
        let taken = session.take(&with_lamps());
        let mut frames = drawn(&session, &taken);
        frames.iter_mut().for_each(|frame| seen_in(frame, 0.0, 1.0, &|x| 0.05 * (1.0 + 0.5 * x)));
        let known = camera(frames).unwrap();
        assert_eq!(known.frames.of_two_lamps, Some(24), "{seed}");
        assert_eq!(known.frames.light_levels, 3, "{seed}");
        mostly_inside(&known, &taken, "a room");
    }
}

/// The left lamp was covered twice, the right one never: nothing adds up, and the record says which frames look as if
/// they were to.
#[test]
fn one_lamp_that_was_covered_twice_is_named() {
    let session = session(SIZE, 2.0, 3);
    let taken = session.take(&with_lamps());
    let mut frames = drawn(&session, &taken);
    for frame in &mut frames {
        let own = frame.file.clone();
        if own.starts_with('R') {
            frame.file = format!("L{own}");
        }
        seen(frame, 0.0, 1.0);
        frame.file = own;
    }
    let known = camera(frames).unwrap();
    assert_eq!(known.frames.of_two_lamps, None);
    let caution = known.cautions.iter().find(|c| c.code == "lamps_do_not_add_up").unwrap();
    assert!(caution.text.contains("\"L0030_0.dng\" to \"R0250_1.dng\""), "{}", caution.text);
    mostly_inside(&known, &taken, "one lamp twice");
}
