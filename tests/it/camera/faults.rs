//! Camera records of walls that were shot as people shoot them: under a lamp that flickers, in light
//! that jumps, with a black level that is not the file's. What is planted is found within its
//! uncertainty, and what is bad is named.

#![allow(clippy::unwrap_used)]

use crate::camera::{errors, filter_shoot, made, measured, says};
use crate::shooting::{candidates, drawn};
use lightloss::body_record::BodyRecord;
use lightloss::measure::camera::{CameraError, camera};
use lightloss::profile::Profile;
use lightloss::reduce::grid::FrameSummary;
use lightloss::shoot::Candidate;
use lightloss::simulate::camera::{Dial, Time, usual_offset};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::session::{Session, Shot};
use lightloss_planted::wall::{LEVELS, session, shots};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::{PI, TAU};

const SIZE: (usize, usize) = (640, 448);

/// Of 33 times, at 95 % each, fewer than 28 inside come by chance once in a hundred (binomial).
const INSIDE: usize = 28;
const TIMES: usize = 33;

fn inside(session: &Session, all: &[Shot], record: &BodyRecord) -> usize {
    let found = errors(record, &session.take(all));
    found.iter().filter(|(error, u95)| error.abs() <= *u95).count()
}

fn caution<'a>(record: &'a BodyRecord, code: &str) -> Option<&'a str> {
    record.cautions.iter().find(|c| c.code == code).map(|c| c.text.as_str())
}

/// Light that goes up and down by a tenth a hundred times a second, from any moment on: its mean over
/// t is 1 + 0.1 (cos p - cos(p + w t)) / (w t).
#[test]
fn a_lamp_that_flickers_is_named_and_its_times_are_as_doubtful_as_they_are() {
    let session = session(SIZE, 1.0, 5);
    let mut all = shots(&LEVELS, 2);
    for (n, shot) in all.iter_mut().enumerate().filter(|(_, s)| s.brighter > -9.0) {
        let along = TAU * 100.0 * shot.time.set();
        let phase = (2.399_963 * n as f64 * PI).rem_euclid(TAU);
        let mean = 1.0 + 0.1 * (phase.cos() - (phase + along).cos()) / along;
        shot.brighter += mean.log2();
    }
    let record = made(&session, &all).unwrap();
    let told = caution(&record, "unsteady_times").unwrap();
    for word in ["1/500", "mains", "battery"] {
        assert!(told.contains(word), "{word:?} is not in: {told}");
    }
    let good = inside(&session, &all, &record) + TIMES + 1 - record.times.list.len();
    assert!(good >= INSIDE, "{good} of {TIMES}");
    let steady = made(&session, &shots(&LEVELS, 2)).unwrap();
    assert_eq!(caution(&steady, "unsteady_times"), None);
}

/// The wall beside a window: each frame anywhere in a range of light. What two frames differ by is in the middle
/// 2 - 2^0.5 times its half (the difference of two uniform numbers).
#[test]
fn light_that_changes_from_frame_to_frame_is_named_and_from_some_point_on_refused() {
    let under_clouds = |half: f64| {
        let session = session(SIZE, 1.0, 5);
        let mut all = shots(&LEVELS, 2);
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        all.iter_mut().for_each(|shot| shot.brighter += rng.random_range(-half..half));
        made(&session, &all)
    };
    let middle = 2.0 - 2_f64.sqrt();
    let Err(CameraError::Restless { step }) = under_clouds(0.06) else { panic!("a record") };
    // Of some 30 pairs the median is known to a fifth.
    assert!((step / (0.06 * middle) - 1.0).abs() < 0.4, "{step}");
    let record = under_clouds(0.02).unwrap();
    assert!(caution(&record, "light_restless").is_some_and(|text| text.contains("0.01")));
    assert_eq!(caution(&under_clouds(0.003).unwrap(), "light_restless"), None);
}

/// The lamp loses a fiftieth between two frames on the way up the dial, where times that err by as much
/// hide it.
#[test]
fn light_that_jumps_between_two_times_is_followed() {
    let mut good = 0;
    for seed in [5, 6] {
        let session = session(SIZE, 2.0, seed);
        let mut all = shots(&LEVELS, 1);
        // The second level has frames 33 to 64, and its last ones go up the dial.
        all.iter_mut().skip(58).filter(|s| s.brighter > -9.0).for_each(|s| s.brighter -= 0.03);
        let record = made(&session, &all).unwrap();
        good += inside(&session, &all, &record);
    }
    assert!(good >= 2 * INSIDE, "{good} of {}", 2 * TIMES);
}

/// A true black level five counts above the file's: frames with the lens capped are no wall, and what
/// they tell is true of the short times too.
#[test]
fn capped_frames_tell_a_black_level_that_is_not_the_file_s() {
    let mut session = session(SIZE, 1.0, 5);
    session.camera.black_shift = 5.0;
    let all = shots(&LEVELS, 1);
    let record = made(&session, &all).unwrap();
    assert_eq!(record.frames.dark, 6);
    assert_eq!(record.frames.left_out, []);
    assert_eq!(caution(&record, "colour_changed"), None);
    assert_eq!(caution(&record, "no_long_darks"), None);
    // Greens of the file: 511.75 and 512.
    let black = record.black.counts.get();
    assert!((black - 516.875).abs() < 0.3, "{black}");
    let good = inside(&session, &all, &record);
    assert!(good >= INSIDE, "{good} of {TIMES}");
    let line = record.linearity.unwrap().largest_percent.get();
    assert!(line < 0.3, "a straight sensor is {line} % off its line");
}

/// Pixels that lack 4 % at full scale, in step with the light, and a shutter that is right: ln of
/// what is left of the light at each level, but for a constant.
#[test]
fn a_planted_bend_is_told_with_its_slope() {
    const LACKS: f64 = 0.04;
    // Straight lines between points a stop apart leave an eighth of the second difference of the curve:
    // 0.04 x 0.69^2 x 0.7 / 8.
    const BETWEEN: f64 = 0.0017;
    let mut session = session(SIZE, 0.0, 5);
    session.camera.bend = LACKS;
    let line = made(&session, &shots(&LEVELS, 1)).unwrap().linearity.unwrap();
    // level = light (1 - lacks light), solved for the light.
    let lost = |level: f64| {
        let light = (1.0 - (1.0 - 4.0 * LACKS * level).sqrt()) / (2.0 * LACKS);
        (level / light).ln()
    };
    let found: Vec<(f64, f64)> = line
        .points
        .iter()
        .map(|p| {
            let deviation = (p.deviation_percent.get() / 100.0).ln_1p();
            (deviation - lost(p.level_percent.get() / 100.0), p.u95_percent.get() / 100.0)
        })
        .collect();
    let mean = found.iter().map(|f| f.0).sum::<f64>() / found.len() as f64;
    for (k, (error, u95)) in found.iter().enumerate() {
        let error = error - mean;
        assert!(error.abs() <= *u95 + BETWEEN && *u95 < 0.01, "point {k}: {error} +- {u95}");
    }
}

/// Pixels that lack 5 % at full scale: a filter of three stops at twice the time fills a quarter of what
/// bare light fills, and seems weaker by log2((1 - 0.05 x 0.15) / (1 - 0.05 x 0.6)) = 0.033 stop.
#[test]
fn what_a_record_shows_of_a_bend_is_taken_off_the_strength() {
    let mut body = session(SIZE, 1.0, 5);
    body.camera.bend = 0.05;
    let record = made(&body, &shots(&LEVELS, 1)).unwrap();
    assert!(caution(&record, "bent_sensor").unwrap().contains("histogram"));
    body.scene.level = 38.0;
    let shoot = filter_shoot(3.0, 1.0 / 60.0, 1.0 / 30.0);
    let off = |record: Option<&BodyRecord>| {
        let profile = measured(&body, &shoot, record);
        let strength = &profile.settings[0].strength;
        (strength.stops.get() - 3.0, strength.u95.get())
    };
    let mut bent = record.clone();
    bent.linearity = None;
    let (without, _) = off(Some(&bent));
    assert!(without.abs() > 0.02, "the planted bend does nothing: {without}");
    let (error, u95) = off(Some(&record));
    assert!(error.abs() <= u95 && error.abs() < 0.3 * without.abs(), "{error} +- {u95}, {without}");
    let straight = made(&session(SIZE, 1.0, 5), &shots(&LEVELS, 1)).unwrap();
    assert_eq!(caution(&straight, "bent_sensor"), None);
    let bend = straight.linearity.unwrap().bend();
    assert!(bend.abs() < 0.003, "{bend}");
}

/// A sensor that fills up below the white level of its file: frames just below are cut as well.
#[test]
fn frames_just_below_the_level_at_which_others_clip_are_left_out() {
    let session = session(SIZE, 1.0, 5);
    let mut all = shots(&LEVELS, 1);
    all[0].brighter = 0.04;
    let mut frames = candidates(&session, &all);
    if let Ok(summary) = &mut frames[0].outcome {
        for plane in &mut summary.cells.planes {
            let full = plane.count.iter().map(|n| u16::try_from(*n).unwrap_or(u16::MAX));
            plane.clipped = full.collect();
        }
    }
    let record = camera(frames).unwrap();
    let why = |file: &str| {
        let left = record.frames.left_out.iter().find(|l| l.file == file);
        left.map(|l| l.reason.clone()).unwrap_or_default()
    };
    // The other frame at 1/15 of this level is its last one, and 3 % fainter.
    assert!(why("W0032.dng").contains("may be cut"), "{}", why("W0032.dng"));
    // A third of a stop less is well below.
    assert_eq!(why("W0002.dng"), "");
}

#[test]
fn a_camera_that_chose_its_iso_is_told_so_first() {
    let session = session(SIZE, 1.0, 5);
    let mut all = shots(&LEVELS[..2], 1);
    for (n, shot) in all.iter_mut().enumerate() {
        shot.iso = 100.0 * (((n % 16) / 2) as f64 / 3.0).exp2().round();
    }
    let all: Vec<Shot> = all.into_iter().filter(|s| s.brighter > -9.0).collect();
    let error = made(&session, &all).map(|_| ()).unwrap_err();
    says(&error, &["cannot be used", "at another ISO than most frames", "put that right first"]);
    let one = drawn(&session, &session.take(&all[..1]));
    says(&camera(one).unwrap_err(), &["the only frame of use was shot at one time"]);
}

/// A body whose dial shows true times errs by 0.04 stop at each: a time that its record lacks is not
/// taken for better than that.
#[test]
fn what_a_record_lacks_is_as_doubtful_as_the_body_s_other_times() {
    let mut body = session(SIZE, 5.0, 24);
    body.camera.shutter.writes_apex = false;
    body.camera.shutter.dial = Dial::Exact;
    let record = made(&body, &shots(&LEVELS, 1)).unwrap();
    let planted = 5.0 * usual_offset(1.0);
    let scatter = record.scatter().unwrap().get();
    // Of 28 times a standard deviation is known to an eighth (1 / (2 x 27)^0.5), 0.35 is 2.6 of them.
    assert!((scatter / planted - 1.0).abs() < 0.35, "{scatter} for {planted}");
    let good = made(&session(SIZE, 0.5, 24), &shots(&LEVELS, 1)).unwrap();
    assert!(good.scatter().unwrap().get() < 0.01);
    body.scene.level = 25.0;
    let u95 = |p: &Profile| p.settings[0].strength.u95.get();
    let mut calm = record.clone();
    // The same record of a body that errs by nothing.
    for time in &mut calm.times.list {
        time.true_s = time.shown_s;
        time.deviation_stops = lightloss::quantity::Stops::new(0.0);
    }
    let shoot = filter_shoot(9.0, 1.0 / 60.0, 8.0);
    let (wide, narrow) =
        (u95(&measured(&body, &shoot, Some(&record))), u95(&measured(&body, &shoot, Some(&calm))));
    assert!(wide > 1.4 * narrow && wide > 1.5 * planted, "{wide} and {narrow}");
}

#[test]
fn an_old_record_and_one_of_no_serial_number_are_told() {
    let mut body = session(SIZE, 1.0, 24);
    let mut record = made(&body, &shots(&LEVELS, 1)).unwrap();
    body.scene.level = 25.0;
    let shoot = filter_shoot(6.0, 1.0 / 60.0, 1.0);
    let note = |record: &BodyRecord| {
        let profile = measured(&body, &shoot, Some(record));
        let found = profile.cautions.iter().find(|c| c.code == "camera_record_used").cloned();
        found.unwrap().text
    };
    let young = note(&record);
    assert!(!young.contains("years old") && !young.contains("serial number"), "{young}");
    record.frames.captured_at = Some("2021-04-01 10:00:00".to_owned());
    record.body.serial = None;
    let old = note(&record);
    for word in ["5 years old", "--replace", "no serial number"] {
        assert!(old.contains(word), "{word:?} is not in: {old}");
    }
}

/// A filter at both times measures their ratio: where that is another than the record holds, of a shutter that
/// was repaired since, it is said; of the shutter that the record was made of it is not.
#[test]
fn a_record_that_the_frames_contradict_is_told() {
    let mut body = session(SIZE, 4.0, 24);
    body.camera.shutter.writes_apex = false;
    let record = made(&body, &shots(&LEVELS, 1)).unwrap();
    body.scene.level = 25.0;
    let (short, long) = (1.0 / 60.0, 0.25);
    let mut shoot = filter_shoot(4.0, short, long);
    let glass = [Filter::even([4.0; 3])];
    shoot.extend(Shot::repeated("P", 10, 3, Time::Dial(short), &glass));
    shoot.extend(Shot::repeated("P", 13, 3, Time::Dial(short), &[]));
    let told = |body: &Session| {
        let profile = measured(body, &shoot, Some(&record));
        profile.cautions.into_iter().find(|c| c.code == "camera_record_contradicted")
    };
    for seed in [24, 40, 41, 42] {
        // Other noise and light before the same shutter.
        body.seed = seed;
        assert_eq!(told(&body), None);
    }
    let ratio = |body: &Session| {
        let taken = body.take(&shoot);
        let open = |time: f64| taken.iter().find(|t| t.shot.time.set() == time).unwrap().open_s;
        (open(long) / open(short)).log2()
    };
    let own = ratio(&body);
    let mut repaired = 0;
    for seed in 30..36 {
        body.camera.seed = seed;
        // Ten times what frames of one time leave of a ratio.
        if (ratio(&body) - own).abs() > 0.04 {
            repaired += 1;
            let text = told(&body).expect("contradicted").text;
            assert!(text.contains("Without the record it is"), "{text}");
            assert!(text.contains("lightloss camera --replace"), "{text}");
        }
    }
    assert!(repaired > 0, "no shutter that errs otherwise was drawn");
}

/// So many counts more in every pixel.
pub fn raise(summary: &mut FrameSummary, counts: u32) {
    for plane in &mut summary.cells.planes {
        for cell in 0..plane.sum.len() {
            let (pixels, sum) = (plane.count[cell], plane.sum[cell]);
            plane.sum[cell] += counts * pixels;
            plane.squares[cell] +=
                u64::from(2 * counts) * u64::from(sum) + u64::from(counts * counts * pixels);
        }
    }
}

/// Adds what black has risen by, up to so many counts in the last frame.
fn warming(all: Vec<Candidate>, counts: f64) -> Vec<Candidate> {
    risen(all, |part| counts * part)
}

/// Black that rises by so many counts up to each part of the shoot.
fn risen(mut all: Vec<Candidate>, counts: impl Fn(f64) -> f64) -> Vec<Candidate> {
    let n = all.len() as f64;
    for (i, candidate) in all.iter_mut().enumerate() {
        let Ok(summary) = &mut candidate.outcome else { continue };
        raise(summary, counts(i as f64 / n).round() as u32);
    }
    all
}

/// The wall, with its dark frames before the first frame, too.
fn with_darks_before() -> Vec<Shot> {
    let mut all = shots(&LEVELS, 1);
    let is_dark = |s: &&Shot| s.brighter < -30.0;
    let before: Vec<Shot> = all.iter().filter(is_dark).cloned().collect();
    let before = before.into_iter().enumerate();
    let before = before.map(|(n, shot)| Shot { file: format!("D{n}.dng"), ..shot });
    all.splice(0..0, before);
    all
}

/// Black that rises by sixteen counts, two thirds of it in the first fifth of the wall: the straight line between dark
/// frames on both sides is off by up to eight of them, which is in u95.
#[test]
fn black_that_settles_is_no_line_and_u95_says_so() {
    let session = session(SIZE, 2.0, 3);
    let taken = session.take(&with_darks_before());
    let frames = risen(drawn(&session, &taken), |part| 16.0 * (1.0 - (-5.0 * part).exp()));
    let errors = errors(&camera(frames).unwrap(), &taken);
    let held = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
    assert!(10 * held >= 9 * errors.len(), "{held} of {}", errors.len());
}

/// Black that rises by sixteen counts over the wall: dark frames before and after tell it, those after alone
/// do not.
#[test]
fn black_that_drifts_is_followed_by_dark_frames_on_both_sides() {
    let session = session(SIZE, 2.0, 3);
    let taken = session.take(&with_darks_before());
    let frames = warming(drawn(&session, &taken), 16.0);
    let inside = |frames: Vec<Candidate>| {
        let errors = errors(&camera(frames).unwrap(), &taken);
        let held = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
        held as f64 / errors.len() as f64
    };
    let one_sided: Vec<Candidate> =
        frames.iter().filter(|c| !c.file.starts_with('D')).cloned().collect();
    let (both, after) = (inside(frames), inside(one_sided));
    // As of planted times without a drift.
    assert!(both >= 0.9 && both > after, "{both}, {after} without those before");
}

/// Dark current that grows to so many counts a second, as the sensor warms: what dark frames of 1, 8 and 30 s
/// on both sides rise by is no rise of black at short times.
#[test]
fn dark_current_that_grows_is_taken_off_by_each_frame_s_own_time() {
    for (per_second, seed) in [(0.2, 3), (0.4, 3), (0.4, 4)] {
        let session = session(SIZE, 2.0, seed);
        let darks = |name: &str| -> Vec<Shot> {
            let times = [1.0, 1.0, 8.0, 8.0, 30.0, 30.0].into_iter().enumerate();
            let dark = |(n, time): (usize, f64)| Shot {
                brighter: -40.0,
                f_number: 2.8,
                ..Shot::of(&format!("{name}{n}.dng"), Time::Dial(time), Vec::new())
            };
            times.map(dark).collect()
        };
        let wall = shots(&LEVELS, 1).into_iter().filter(|s| s.brighter > -30.0).collect();
        let taken = session.take(&[darks("D"), wall, darks("Z")].concat());
        let mut frames = drawn(&session, &taken);
        let n = frames.len() as f64;
        for (i, (frame, taken)) in frames.iter_mut().zip(&taken).enumerate() {
            assert_eq!(frame.file, taken.shot.file);
            let counts = per_second * taken.shot.time.set() * i as f64 / n;
            raise(frame.outcome.as_mut().unwrap(), counts.round() as u32);
        }
        let errors = errors(&camera(frames).unwrap(), &taken);
        let inside = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
        let most = errors.iter().map(|(error, _)| error.abs()).fold(0.0, f64::max);
        assert!(10 * inside >= 9 * errors.len(), "{per_second}, {seed}: {inside}, {most}");
        // As of planted times without a drift.
        assert!(most < 0.012, "{per_second}, {seed}: {most}");
    }
}

/// Dark frames before the wall at another ISO, where black lies elsewhere, tell no drift.
#[test]
fn dark_frames_of_another_iso_tell_no_drift() {
    let session = session(SIZE, 2.0, 3);
    let wall = shots(&LEVELS, 1);
    let darks = wall.iter().filter(|s| s.brighter < -30.0).enumerate();
    let before =
        darks.map(|(n, shot)| Shot { file: format!("D{n}.dng"), iso: 800.0, ..shot.clone() });
    let taken = session.take(&before.chain(wall.iter().cloned()).collect::<Vec<_>>());
    let mut frames = drawn(&session, &taken);
    for frame in frames.iter_mut().filter(|frame| frame.file.starts_with('D')) {
        raise(frame.outcome.as_mut().unwrap(), 8);
    }
    let errors = errors(&camera(frames).unwrap(), &taken);
    let inside = errors.iter().filter(|(error, u95)| error.abs() <= *u95).count();
    let most = errors.iter().map(|(error, _)| error.abs()).fold(0.0, f64::max);
    // As of planted times without a drift.
    assert!(10 * inside >= 9 * errors.len() && most < 0.012, "{inside}, {most}");
}
