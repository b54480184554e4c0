//! Frames whose files lost their aperture or ISO, or tell a wrong time: what they are taken to have
//! been exposed at, and that nothing comes out wrong without a word.

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use crate::damage::{Measured, STOPS, WITHIN, camera, measured, shots};
use lightloss::simulate::camera::{Lens, Time};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::exif::ExifData;
use std::fs;
use std::path::Path;

/// A camera's property that a file may have lost.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Lost {
    Aperture,
    Iso,
}

/// Takes shots into a folder, with what becomes of their Exif data.
fn shoot_with(folder: &Path, shots: &[Shot], change: impl Fn(&str, &mut ExifData)) {
    use lightloss::simulate::{files::dng, mosaic::render};
    let scene = Scene::daylight(18.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera(512.0), Lens::of(50.0), scene, 31);
    for one in &session.take(shots) {
        let mut file = dng(&render(&session, one));
        change(&one.shot.file, file.exif.as_mut().unwrap());
        let place = folder.join(&one.shot.file);
        fs::create_dir_all(place.parent().unwrap()).unwrap();
        fs::write(place, file.encode().unwrap()).unwrap();
    }
}

/// Some of the files tell a property no more.
fn shoot_without(folder: &Path, shots: &[Shot], lost: Lost, is_lost: impl Fn(&str) -> bool) {
    shoot_with(folder, shots, |file, exif| match lost {
        Lost::Aperture => exif.f_number = exif.f_number.filter(|_| !is_lost(file)),
        Lost::Iso => exif.iso = exif.iso.filter(|_| !is_lost(file)),
    });
}

impl Measured {
    fn stops(&self) -> f64 {
        let stops = self.profile["settings"][0]["strength"]["stops"].as_f64();
        stops.unwrap_or_else(|| panic!("{}", self.said))
    }
    fn has_caution(&self, code: &str) -> bool {
        let settings = self.profile["settings"].as_array().unwrap();
        let all = std::iter::once(&self.profile).chain(settings);
        all.flat_map(|of| of["cautions"].as_array().unwrap()).any(|c| c["code"] == code)
    }
}

/// Missing means unknown (Exif 2.32, 4.6.5): a file that lost its aperture or ISO was taken as the
/// others were, and that is doubted only where its whole state lost it.
#[test]
fn an_aperture_that_a_file_lost_is_that_of_the_others() {
    let cases: [(&[&str], bool); 3] = [
        (&["H0005.dng"], false),
        (&["H0001.dng", "H0006.dng"], false),
        (&["H0004.dng", "H0005.dng", "H0006.dng"], true),
    ];
    for (files, is_doubted) in cases {
        for lost in [Lost::Aperture, Lost::Iso] {
            let home = tempfile::tempdir().unwrap();
            let folder = home.path().join("shoot");
            shoot_without(&folder, &shots(), lost, |file| files.contains(&file));
            let found = measured(home.path(), &[]);
            let stops = found.stops();
            assert!((stops - STOPS).abs() < WITHIN, "{files:?}: {stops}, {}", found.said);
            assert_eq!(
                found.has_caution("exposure_as_others"),
                is_doubted,
                "{files:?}: {}",
                found.said
            );
            // What the caution asks for ends the doubt.
            let more: &[&str] = if lost == Lost::Aperture { &["--f", "8"] } else { &[] };
            if lost == Lost::Iso {
                let said = r#"{"schema": "lightloss-shoot/1", "iso": 100}"#;
                fs::write(folder.join("shoot.json"), said).unwrap();
            }
            let found = measured(home.path(), more);
            assert!((found.stops() - STOPS).abs() < WITHIN, "{files:?}: {}", found.said);
            assert!(!found.has_caution("exposure_as_others"), "{files:?}: {}", found.said);
        }
    }
}

/// Filtered frames at another aperture or ISO and a quarter of the time: a value that is borrowed
/// must not speak against those that are told.
#[test]
fn what_a_file_lost_never_decides_against_what_others_tell() {
    let bare = 1.0 / 60.0;
    // Time of the state and of its frame that lost the value: alike; that of the bare frames; one
    // that no other has; all alike, so that frames of that time tell two values.
    let times = [(0.25, 0.25), (0.25, bare), (0.25, 0.5), (bare, bare)];
    for (of_state, time) in times {
        for lost in [Lost::Aperture, Lost::Iso] {
            for in_folders in [true, false] {
                let mut all = shots();
                for shot in all.iter_mut().filter(|shot| !shot.filters.is_empty()) {
                    shot.time = Time::Dial(of_state);
                    match lost {
                        Lost::Aperture => shot.f_number = 4.0,
                        Lost::Iso => shot.iso = 400.0,
                    }
                }
                all[3].time = Time::Dial(time);
                if in_folders {
                    for shot in &mut all {
                        let sub = if shot.filters.is_empty() { "bare" } else { "filter" };
                        shot.file = format!("{sub}/{}", shot.file);
                    }
                }
                let home = tempfile::tempdir().unwrap();
                let folder = home.path().join("shoot");
                shoot_without(&folder, &all, lost, |file| file.ends_with("H0004.dng"));
                let found = measured(home.path(), &[]);
                let what = format!(
                    "{lost:?}, {of_state}, {time}, in folders: {in_folders}: {}",
                    found.said
                );
                assert_eq!(found.profile["settings"].as_array().unwrap().len(), 1, "{what}");
                let stops = found.stops();
                assert!((stops - STOPS).abs() < WITHIN, "{stops}, {what}");
                for shot in &all[4..] {
                    assert_eq!(found.verdict(&shot.file), "used", "{}, {what}", shot.file);
                }
                // Named, or shown by the time of its state, it is known what was lost.
                let expected = match time {
                    _ if in_folders || time == 0.25 => "used",
                    _ if of_state == bare => "exposure_untold",
                    _ => "other_level",
                };
                assert_eq!(found.verdict(&all[3].file), expected, "{what}");
                assert!(!found.has_caution("exposure_as_others"), "{what}");
            }
        }
    }
}

/// A lens without contacts tells no aperture in any frame that is used: what the card holds besides
/// is no reason to doubt them, and lends them nothing.
#[test]
fn stray_frames_that_tell_an_aperture_make_no_doubt() {
    // Far too long, so that they clip and are used for nothing; the last two at the times of the
    // shoot, through a lens of their own, in front of something bright.
    let stray = |file: &str, time: f64, f_number: f64, brighter: f64| {
        let mut shot = Shot::of(file, Time::Dial(time), Vec::new());
        (shot.f_number, shot.brighter) = (f_number, brighter);
        shot
    };
    let same_lens = vec![stray("H0010.dng", 2.0, 8.0, 0.0)];
    let other_lens = vec![
        stray("H0010.dng", 1.0 / 60.0, 4.0, 9.0),
        stray("H0011.dng", 1.0 / 60.0, 5.6, 9.0),
        stray("H0012.dng", 1.0, 11.0, 9.0),
    ];
    for (strays, lens) in [(same_lens, None), (other_lens, Some("Invented 24".to_owned()))] {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("shoot");
        let mut all = shots();
        all.extend(strays);
        shoot_with(&folder, &all, |file, exif| {
            let is_stray = file > "H0009.dng";
            exif.f_number = exif.f_number.filter(|_| is_stray);
            if lens.is_some() {
                exif.lens = lens.clone().filter(|_| is_stray);
            }
        });
        let found = measured(home.path(), &[]);
        for shot in &all {
            let is_used = found.verdict(&shot.file) == "used";
            assert_eq!(is_used, shot.file.as_str() < "H0010.dng", "{}, {lens:?}", shot.file);
        }
        let stops = found.stops();
        assert!((stops - STOPS).abs() < WITHIN, "{stops}, {lens:?}: {}", found.said);
        assert!(!found.has_caution("exposure_as_others"), "{}", found.said);
    }
}

/// ExposureTime (Exif 2.32, 4.6.5) of one filtered frame is another than it was, and of the rest of
/// its state a single frame is left: nothing tells which of the two is right, so both are named.
#[test]
fn a_time_that_a_file_tells_wrongly_is_named_where_one_frame_contradicts_it() {
    // A bare frame's ISO, wrong too, that makes it as dark as the wrong one of the filter.
    let cases = [10.0, 3.0, 0.1].iter().flat_map(|&by| [(by, true, None), (by, false, None)]);
    for (factor, writes_apex, iso) in cases.chain([(10.0, true, Some(65_535))]) {
        for wrong in ["H0005.dng", "H0006.dng"] {
            let home = tempfile::tempdir().unwrap();
            let folder = home.path().join("shoot");
            shoot_with(&folder, &shots(), |file, exif| {
                exif.shutter_speed_value = exif.shutter_speed_value.filter(|_| writes_apex);
                if file == "H0007.dng" {
                    exif.iso = iso.or(exif.iso);
                }
                if file == wrong {
                    exif.exposure_time = exif.exposure_time.map(|time| time * factor);
                }
            });
            fs::write(folder.join("H0004.dng"), "lost").unwrap();
            let found = measured(home.path(), &[]);
            let what = format!("{factor}, {writes_apex}, {iso:?}, {wrong}: {}", found.said);
            assert_eq!(found.profile["settings"].as_array().unwrap().len(), 1, "{what}");
            let named = found.said.split("caution: ").find(|said| said.contains("should be equal"));
            let names = |named: &str| named.contains("H0005.dng") && named.contains("H0006.dng");
            assert!(named.is_some_and(names), "{what}");
        }
    }
    // Two frames that agree contradict nothing.
    let home = tempfile::tempdir().unwrap();
    shoot_with(&home.path().join("shoot"), &shots(), |_, _| {});
    fs::write(home.path().join("shoot/H0004.dng"), "lost").unwrap();
    assert!(!measured(home.path(), &[]).has_caution("frames_disagree"));
}

/// A whole state whose files lost lens, focal length and aperture, as where a holder parts a lens from
/// its contacts: the number is right and doubted, or nothing is measured and the file is named.
#[test]
fn a_state_that_lost_its_lens_too_is_doubted_or_refused() {
    for of_filtered in [true, false] {
        for disputed in [true, false] {
            let home = tempfile::tempdir().unwrap();
            let mut all = shots();
            let is_lost = |shot: &Shot| shot.filters.is_empty() != of_filtered;
            let lost: Vec<String> =
                all.iter().filter(|shot| is_lost(shot)).map(|shot| shot.file.clone()).collect();
            if disputed {
                // Another picture through the lens, far too long, wide open.
                let mut other = Shot::of("H0010.dng", Time::Dial(4.0), Vec::new());
                other.f_number = 2.8;
                all.push(other);
            }
            shoot_with(&home.path().join("shoot"), &all, |file, exif| {
                let has_lost = lost.iter().any(|name| name == file);
                exif.lens = (!has_lost).then(|| "Invented 50".to_owned());
                exif.focal_length = exif.focal_length.filter(|_| !has_lost);
                exif.f_number = exif.f_number.filter(|_| !has_lost);
            });
            let what = format!("filtered: {of_filtered}, disputed: {disputed}");
            let found = measured(home.path(), &[]);
            if disputed {
                assert!(found.profile.is_null(), "{what}: {}", found.said);
                assert!(found.said.contains("does not say its aperture"), "{what}: {}", found.said);
            } else {
                assert!((found.stops() - STOPS).abs() < WITHIN, "{what}: {}", found.said);
                assert!(found.has_caution("exposure_as_others"), "{what}: {}", found.said);
            }
            // What is asked for ends it.
            let found = measured(home.path(), &["--f", "8"]);
            assert!((found.stops() - STOPS).abs() < WITHIN, "{what}: {}", found.said);
            assert!(!found.has_caution("exposure_as_others"), "{what}: {}", found.said);
        }
    }
}

/// Exif 2.32, annex C: t = 2^-Tv. Files without ExposureTime are measured as those with it, and say so.
/// (Of 1 s it is 0, which stands for unknown as well.)
#[test]
fn a_time_that_only_shutter_speed_value_tells_is_measured() {
    let lost: [fn(&str) -> bool; 2] = [|_| true, |file| file == "H0005.dng"];
    for is_lost in lost {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("shoot");
        let mut shots = shots();
        shots[3..6].iter_mut().for_each(|shot| shot.time = Time::Dial(2.0));
        shoot_with(&folder, &shots, |file, exif| {
            exif.exposure_time = exif.exposure_time.filter(|_| !is_lost(file));
        });
        let found = measured(home.path(), &[]);
        assert!((found.stops() - STOPS).abs() < WITHIN, "{}: {}", found.stops(), found.said);
        assert!(found.has_caution("times_from_apex"), "{}", found.said);
        assert!(!found.has_caution("timed_by_hand"), "{}", found.said);
        assert_eq!(found.profile["frames"][4]["dial_time"], "2", "{}", found.said);
    }
}

/// A timer's time in APEX, rounded to a tenth (ours): a word about APEX and none about a hand.
#[test]
fn a_timers_time_from_shutter_speed_value_carries_its_rounding() {
    const TIMER_S: f64 = 47.0;
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    let mut shots = shots();
    for shot in &mut shots[3..6] {
        shot.time = Time::Timer(TIMER_S);
        shot.filters = vec![Filter::even([11.1, 11.0, 10.9])];
    }
    shoot_with(&folder, &shots, |_, exif| {
        exif.shutter_speed_value = exif.exposure_time.map(|t| (-10.0 * t.log2()).round() / 10.0);
        exif.exposure_time = None;
    });
    let found = measured(home.path(), &[]);
    let u95 = found.profile["settings"][0]["strength"]["u95"].as_f64().unwrap();
    assert!((found.stops() - 11.0).abs() < u95, "{} +- {u95}", found.stops());
    assert!(u95 > 0.05, "{u95}");
    assert!(found.has_caution("times_from_apex") && !found.has_caution("timed_by_hand"));
}
