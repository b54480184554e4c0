#![allow(clippy::unwrap_used)]

use super::*;
use crate::editing::scene::{SIDE, SceneMap};
use crate::editing::testing::{info, profile};
use crate::quantity::FNumber;

/// Light of invented scenes in stops: a ridge, a shore, a wood, each with its own pattern.
fn pattern(scene: usize, row: usize, column: usize) -> f64 {
    let (x, y) = (column as f64 / 10.0, row as f64 / 10.0);
    match scene {
        0 => {
            if y < 0.4 + 0.2 * x {
                2.5
            } else {
                -1.0 + x
            }
        }
        1 => 2.0 - 4.0 * (x - 0.5).abs() + 0.5 * y,
        _ => 1.5 * (7.0 * x).sin() * (5.0 * y).cos(),
    }
}

/// What a sensor gives in one block, in counts, before clipping at 15000.
struct Shot {
    clock: &'static str,
    scene: usize,
    seconds: f64,
    /// Loss of the filter per channel.
    loss: [f64; 3],
    /// Of the scene's middle, exposure value at ISO 100 for 1000 counts.
    light: f64,
}

fn shot(s: &Shot) -> Picture {
    let info = info(s.clock, s.seconds);
    let ev = exposure_value(&info.exposure).unwrap();
    let blocks = (0..SIDE * SIDE)
        .map(|i| {
            // Water and cloud move between the frames: a few tenths of a stop, block by block.
            let moved = 0.2 * ((i as f64 * 12.9 + s.seconds * 7.0).sin());
            let stops = pattern(s.scene, i / SIDE, i % SIDE) + moved + s.light - ev;
            [0.0, 0.3, -0.2]
                .iter()
                .zip(s.loss)
                .map(|(colour, loss)| {
                    let level = 1000f64.log2() + stops + colour - loss;
                    (level < 15_000f64.log2() && level > 3.0).then_some(level)
                })
                .collect::<Vec<_>>()
                .try_into()
                .unwrap()
        })
        .collect();
    Picture { info, scene: Some(SceneMap { blocks }) }
}

fn kit() -> Vec<Profile> {
    vec![
        profile("Heron Six", "solid", &[(None, [6.1, 6.05, 6.0])]),
        profile("Heron Ten", "solid", &[(None, [10.1, 10.2, 10.5])]),
    ]
}

const BARE: [f64; 3] = [0.0; 3];
const SIX: [f64; 3] = [6.1, 6.05, 6.0];
const TEN: [f64; 3] = [10.1, 10.2, 10.5];
const BOTH: [f64; 3] = [16.2, 16.25, 16.5];

fn names(finding: &Finding) -> Option<Vec<usize>> {
    match &finding.verdict {
        Verdict::Through(used) => Some(used.iter().map(|u| u.filter).collect()),
        Verdict::Bare => Some(Vec::new()),
        Verdict::Unknown => None,
    }
}

fn at(clock: &'static str, scene: usize, seconds: f64, loss: [f64; 3], light: f64) -> Picture {
    shot(&Shot { clock, scene, seconds, loss, light })
}

#[test]
fn by_day_every_photograph_beside_its_metering_is_found() {
    let pictures = [
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 12.0),
        at("18:03:00", 0, 16.0, TEN, 12.0),
        at("18:05:00", 0, 1024.0, BOTH, 12.0),
    ];
    let found = find(&pictures, &kit());
    // EV 12 plus six stops is beyond any light on earth, so the metering is bare for sure.
    assert_eq!(found[0].how, How::Brightness);
    let all: Vec<_> = found.iter().map(names).collect();
    assert_eq!(all[..3], [Some(vec![]), Some(vec![0]), Some(vec![1])]);
    // The stack's middle lies 14 minutes after the metering: found or left blank, never wrong.
    assert!(all[3].is_none() || all[3] == Some(vec![0, 1]), "{:?}", found[3]);
    assert_eq!(found[1].bare, Some(0));
}

#[test]
fn a_scene_without_a_bare_frame_stays_blank() {
    // Six and six with ten differ like none and ten.
    let pictures = [at("20:00:00", 1, 8.0, SIX, 9.0), at("20:01:00", 1, 1024.0 * 8.0, BOTH, 9.0)];
    let found = find(&pictures, &kit());
    assert_eq!(found.iter().map(names).collect::<Vec<_>>(), [None, None], "{found:#?}");
}

#[test]
fn another_scene_of_the_half_hour_shows_that_a_dusk_frame_is_bare() {
    let pictures = [
        at("20:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("20:08:00", 1, 1.0 / 16.0, BARE, 10.5),
        at("20:09:00", 1, 64.0, TEN, 10.5),
    ];
    let found = find(&pictures, &kit());
    assert_eq!(names(&found[2]), Some(vec![1]), "{found:#?}");
    assert!(!found[2].sure);
}

#[test]
fn no_answer_is_ever_wrong_over_many_simulated_evenings() {
    let mut random = 7_u64;
    let mut next = |n: u64| {
        random =
            random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (random >> 33) % n
    };
    let clocks = ["19:00:00", "19:02:00", "19:04:00", "19:07:00", "19:11:00", "19:13:30"];
    let (mut right, mut blank) = (0, 0);
    for _ in 0..400 {
        // Light from full sun to late dusk, fading up to 0.15 stop a minute.
        let (first, fade) = (6.0 + next(10) as f64, next(4) as f64 * 0.05);
        let scenes = 1 + next(3) as usize;
        let planted: Vec<usize> = clocks.iter().map(|_| next(4) as usize).collect();
        let pictures: Vec<Picture> = clocks
            .iter()
            .zip(&planted)
            .enumerate()
            .map(|(i, (clock, &filter))| {
                let minutes = [0.0, 2.0, 4.0, 7.0, 11.0, 13.5][i];
                let light = first - fade * minutes;
                let loss = [BARE, SIX, TEN, BOTH][filter];
                // Exposed well, to a third of a stop.
                let ev = light - loss[1] + next(3) as f64 / 3.0;
                let seconds = 64.0 / ev.exp2();
                at(clock, i % scenes, seconds, loss, light)
            })
            .collect();
        let truth: [&[usize]; 4] = [&[], &[0], &[1], &[0, 1]];
        for (finding, &planted) in find(&pictures, &kit()).iter().zip(&planted) {
            match names(finding) {
                None => blank += 1,
                Some(found) => {
                    assert_eq!(found, truth[planted], "{finding:#?}");
                    right += 1;
                }
            }
        }
    }
    assert!(right > 600, "{right} right, {blank} blank");
}

#[test]
fn words_come_first_and_fill_in_a_mark() {
    let ring = profile(
        "Ring",
        "variable",
        &[(Some("1"), [2.0, 2.0, 2.0]), (Some("2"), [3.5, 3.5, 3.5]), (Some("3"), [5.0, 5.0, 5.0])],
    );
    let mut pictures = [
        at("18:00:00", 0, 1.0 / 256.0, BARE, 15.5),
        at("18:00:40", 0, 1.0 / 32.0, [3.45; 3], 15.5),
    ];
    pictures[1].info.subject = vec!["river".into(), " ring ".into()];
    let found = find(&pictures, &[ring]);
    assert_eq!(found[1].how, How::Words);
    let mark = Some("2".to_owned());
    assert_eq!(found[1].verdict, Verdict::Through(vec![Used { filter: 0, mark }]));
    assert_eq!(found[1].bare, Some(0));
}

#[test]
fn words_that_cannot_be_true_are_not_believed() {
    let mut picture = at("12:00:00", 0, 1.0 / 125.0, BARE, 13.0);
    picture.info.subject = vec!["Heron Six".into()];
    let found = find(&[picture], &kit());
    assert_eq!(names(&found[0]), None);
    assert_eq!(found[0].impossible, [0, 1]);
    assert!(found[0].note.contains("brighter"), "{}", found[0].note);
}

#[test]
fn nothing_is_said_without_aperture_or_of_another_view() {
    let mut pictures =
        [at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0), at("18:01:00", 0, 1.0, SIX, 12.0)];
    pictures[1].info.exposure.f_number = None;
    assert_eq!(names(&find(&pictures, &kit())[1]), None);
    pictures[1].info.exposure.f_number = Some(FNumber::new(8.0));
    pictures[1].info.camera.focal_length = Some(crate::quantity::Millimetres::new(35.0));
    assert_eq!(names(&find(&pictures, &kit())[1]), None);
    let other = [at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0), at("18:01:00", 2, 1.0, SIX, 12.0)];
    assert_eq!(names(&find(&other, &kit())[1]), None);
}

#[test]
fn names_with_marks_are_read_and_look_alikes_are_not() {
    let ring = profile("Ring 1", "variable", &[(Some("0"), [1.0; 3]), (Some("4"), [4.0; 3])]);
    let of = |word: &str| said(&[word.to_owned()], std::slice::from_ref(&ring));
    let through =
        |mark: Option<&str>| Said::Through(vec![Used { filter: 0, mark: mark.map(str::to_owned) }]);
    assert_eq!(of("RING  1"), through(None));
    assert_eq!(of("ring 1, mark 4"), through(Some("4")));
    assert_eq!(of("ring 1 @4"), through(Some("4")));
    assert_eq!(of("ring 10"), Said::Nothing);
    assert_eq!(of("ring 1 at home"), Said::Nothing);
    assert_eq!(of("No filter"), Said::Bare);
}
