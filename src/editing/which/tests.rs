#![allow(clippy::unwrap_used)]

use super::*;
use crate::editing::scene::{SIDE, SceneMap};
use crate::editing::testing::{info, profile};
use crate::quantity::FNumber;

mod stacks;
mod told;

/// Light of invented scenes in stops: each with rocks and a ridge of its own, sky above.
fn pattern(scene: usize, x: f64, y: f64) -> f64 {
    let k = 3.0 + 2.7 * scene as f64;
    let ridge = 0.4 + 0.06 * (k * x).sin();
    if y < ridge {
        return 2.0 - y;
    }
    let rocks = (3.1 * k * x + scene as f64).sin() * (2.3 * k * y).cos();
    0.9 * rocks.signum() * rocks.abs().sqrt() - 0.5
}

/// What a sensor gives in one cell, in counts, before clipping at 15000.
struct Shot {
    clock: &'static str,
    scene: usize,
    seconds: f64,
    /// Loss of the filter per channel.
    loss: [f64; 3],
    /// Of the scene's middle, exposure value at ISO 100.
    light: f64,
}

fn shot(s: &Shot) -> Picture {
    let info = info(s.clock, s.seconds);
    let ev = exposure_value(&info.exposure).unwrap();
    let mut all = Vec::new();
    let cells = (0..SIDE * SIDE)
        .map(|i| {
            let (x, y) = ((i % SIDE) as f64 / SIDE as f64, (i / SIDE) as f64 / SIDE as f64);
            // Water and cloud move between the frames: a tenth of a stop, cell by cell.
            let moved = 0.1 * ((i as f64 * 12.9 + s.seconds * 7.0).sin());
            let stops = pattern(s.scene, x, y) + moved + s.light - ev;
            let level = |colour: f64, loss: f64| {
                let level = 1875f64.log2() + stops + colour - loss;
                if level < 15_000f64.log2() && level > 3.0 { level as f32 } else { f32::NAN }
            };
            let whole = 1875f64.log2() + stops + 0.3 - s.loss[1];
            all.push(whole.clamp(0.0, 15_000f64.log2()));
            [level(0.0, s.loss[0]), level(0.3, s.loss[1]), level(-0.2, s.loss[2])]
        })
        .collect();
    let cells: Vec<[f32; 3]> = cells;
    let share = |count: usize| count as f64 / (SIDE * SIDE) as f64;
    let scene = SceneMap {
        columns: SIDE,
        rows: SIDE,
        full_scale: 15_000f64.log2(),
        level: all.iter().sum::<f64>() / all.len() as f64,
        hidden: share(cells.iter().filter(|c| !c[1].is_finite()).count()),
        cells,
    };
    Picture { info, scene: Some(scene) }
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
const NOBODYS: [f64; 3] = [3.9, 4.1, 4.4];

fn names(finding: &Finding) -> Option<Vec<usize>> {
    match &finding.verdict {
        Verdict::Through(used) => Some(used.iter().map(|u| u.filter).collect()),
        Verdict::Bare => Some(Vec::new()),
        Verdict::Unknown => None,
    }
}

pub(super) fn at(
    clock: &'static str,
    scene: usize,
    seconds: f64,
    loss: [f64; 3],
    light: f64,
) -> Picture {
    shot(&Shot { clock, scene, seconds, loss, light })
}

fn find(pictures: &[Picture], kit: &[Profile], told: &[Told], metered_first: bool) -> Vec<Finding> {
    Album::new(pictures.to_vec(), kit.to_vec()).find(told, metered_first)
}

fn judged(pictures: &[Picture], kit: &[Profile]) -> Vec<Finding> {
    find(pictures, kit, &[], false)
}

fn all(found: &[Finding]) -> Vec<Option<Vec<usize>>> {
    found.iter().map(names).collect()
}

#[test]
fn by_day_every_photograph_beside_its_metering_is_found() {
    let pictures = [
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 12.0),
        at("18:03:00", 0, 16.0, TEN, 12.0),
        at("18:05:00", 0, 512.0, BOTH, 12.0),
    ];
    let found = judged(&pictures, &kit());
    let truth = [Some(vec![]), Some(vec![0]), Some(vec![1]), Some(vec![0, 1])];
    assert_eq!(all(&found), truth, "{found:#?}");
    // Through six stops more the metering would show a scene brighter than snow in the sun.
    assert_eq!(found[0].impossible, [0, 1]);
    assert_eq!(found[1].bare, Some(0));
    assert!(found[2].sure, "{:?}", found[2]);
}

#[test]
fn a_dark_frame_is_no_filter() {
    // Three stops under through the ten: by its settings it could be bare.
    let pictures = [
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 16.0, TEN, 12.0),
        at("18:04:00", 0, 2.0, TEN, 12.0),
        at("18:05:00", 0, 1.0 / 512.0, BARE, 12.0),
    ];
    let found = judged(&pictures, &kit());
    assert_eq!(
        all(&found),
        [Some(vec![]), Some(vec![1]), Some(vec![1]), Some(vec![])],
        "{found:#?}"
    );
}

/// A bracket through which the sky clips: the light is that of the same scene in all three.
#[test]
fn a_bracket_tells_of_one_light() {
    let pictures = [
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:00:01", 0, 1.0 / 256.0, BARE, 12.0),
        at("18:00:02", 0, 1.0 / 16.0, BARE, 12.0),
    ];
    let placed = placed(&pictures);
    let lights: Vec<(f64, f64)> = placed.iter().map(|p| (p.light.unwrap(), p.bound)).collect();
    // Water and cloud move, and what is clipped may be brighter than it shows by twice its doubt.
    const MOVED: f64 = 0.02;
    assert!(lights.iter().all(|l| (l.0 - lights[0].0).abs() < MOVED + 2.0 * l.1), "{lights:?}");
    assert!(lights[2].1 > 0.3 && lights[1].1 < 1e-3, "{lights:?}");
}

/// A place brighter than any should be, and a frame without a filter that says so: what is three stops
/// darker beside it need not be bare.
#[test]
fn a_bare_frame_shows_how_bright_it_can_be() {
    const THREE: [f64; 3] = [2.8, 3.0, 2.8];
    let kit = [profile("Heron Three", "solid", &[(None, THREE)])];
    let light = 17.9;
    let mut pictures = vec![at("10:00:00", 1, 1.0 / 4000.0, BARE, light)];
    // Tripod moved: the same hour, another view.
    let clocks = ["10:00:40", "10:00:44", "10:00:48"];
    pictures.extend(clocks.map(|clock| at(clock, 2, 1.0 / 500.0, THREE, light)));
    let found = find(&pictures, &kit, &[Told::Bare], false);
    assert!(found[1..].iter().all(|f| f.verdict != Verdict::Bare), "{:?}", all(&found));
}

#[test]
fn a_scene_without_anything_to_go_by_stays_blank_until_one_bare_frame_is_named() {
    // In the last light none and six differ as six and both would, but for the colour.
    let pictures =
        [at("20:00:00", 1, 2.0, [0.0; 3], 3.0), at("20:01:00", 1, 128.0, [6.05; 3], 3.0)];
    let grey = [
        profile("Heron Six", "solid", &[(None, [6.05; 3])]),
        profile("Teal Twelve", "solid", &[(None, [12.1; 3])]),
    ];
    assert_eq!(all(&judged(&pictures, &grey))[1], None);
    let told = [Told::Bare, Told::Nothing];
    let found = find(&pictures, &grey, &told, false);
    assert_eq!(all(&found), [Some(vec![]), Some(vec![0])], "{found:#?}");
    assert_eq!(found[0].how, How::User);
    let found = find(&pictures, &grey, &[], true);
    assert_eq!(all(&found), [Some(vec![]), Some(vec![0])], "{found:#?}");
}

/// Six stops in bright snow: a light that is brighter than it should be is no reason to take a drop of
/// six stops for a cloud, however many frames tell of it.
#[test]
fn a_light_brighter_than_expected_counts_once() {
    let light = 17.6;
    let mut pictures = vec![at("10:00:00", 1, 1.0 / 30.0, SIX, light)];
    pictures.extend(["10:00:30", "10:00:50", "10:01:20"].map(|c| at(c, 1, 1.0 / 30.0, SIX, light)));
    pictures.push(at("10:02:00", 1, 1.0 / 2000.0, BARE, light));
    pictures.extend(["10:02:40", "10:03:10", "10:03:40"].map(|c| at(c, 1, 1.0 / 30.0, SIX, light)));
    let found = judged(&pictures, &kit());
    for (picture, filters) in all(&found).iter().enumerate() {
        let wrong =
            filters.as_deref().is_some_and(|f| f != if picture == 4 { &[][..] } else { &[0] });
        assert!(!wrong, "{picture}: {filters:?}");
    }
    assert!(all(&found).iter().flatten().count() >= 4, "{:?}", all(&found));
}

/// A borrowed filter half a stop from one of the kit, put on where that was: a cloud makes up for the
/// difference in light, but none makes up for a difference in tint.
#[test]
fn no_cloud_makes_a_borrowed_filter_surely_one_of_the_kit() {
    // Red and blue off by the same: across the locus of daylight.
    let like = [6.7 - 0.07, 6.65, 6.6 - 0.07];
    // An evening of one's own filters, with clouds.
    let mut pictures = Vec::new();
    for (scene, clocks) in [
        ["16:00:00", "16:01:00", "16:02:00", "16:03:00"],
        ["16:20:00", "16:21:00", "16:22:00", "16:23:00"],
        ["16:40:00", "16:41:00", "16:42:00", "16:43:00"],
        ["17:00:00", "17:01:00", "17:02:00", "17:03:00"],
    ]
    .into_iter()
    .enumerate()
    {
        pictures.push(at(clocks[0], scene, 1.0 / 60.0, BARE, 12.0));
        pictures.push(at(clocks[1], scene, 1.0, SIX, 12.0));
        pictures.push(at(clocks[2], scene, 16.0, TEN, 11.5));
        pictures.push(at(clocks[3], scene, 1.0 / 60.0, BARE, 12.0));
    }
    let before = pictures.len() + 3;
    pictures.extend([
        at("18:00:00", 4, 1.0 / 60.0, BARE, 12.0),
        at("18:00:40", 4, 1.0, SIX, 12.0),
        at("18:01:00", 4, 1.0, SIX, 12.0),
        at("18:02:00", 4, 1.0, like, 12.0),
        at("18:02:10", 4, 1.0, like, 12.0),
    ]);
    for finding in &judged(&pictures, &kit())[before..] {
        assert!(!finding.sure, "{finding:?}");
    }
}

/// From the sun to an overcast sky light falls and becomes cooler (some 5500 K to 6500 K, common practice,
/// no source): that is a cloud rather than light that falls as much and becomes warmer.
#[test]
fn what_a_cloud_leaves_is_cooler() {
    const WEAK: [f64; 3] = [1.55, 1.5, 1.45];
    let kit = [profile("Heron Weak", "solid", &[(None, WEAK)]), kit().remove(0)];
    let bare_after = |red: f64, blue: f64| {
        let [red, blue] = [1.9 + red, 1.9 + blue];
        let fallen = [red, 1.9, blue];
        let pictures = [
            at("12:00:00", 0, 1.0 / 250.0, BARE, 14.0),
            at("12:01:00", 0, 1.0 / 60.0, fallen, 14.0),
            at("12:02:00", 0, 1.0 / 60.0, fallen, 14.0),
        ];
        let album = Album::new(pictures.to_vec(), kit.to_vec());
        let told = [Told::Bare, Told::Nothing, Told::Nothing];
        let judged = Judged::new(&album, &told, false);
        let bare = judged.states.all.iter().zip(&judged.beliefs[1]).filter(|(s, _)| s.is_bare());
        bare.map(|(_, probability)| probability).sum::<f64>()
    };
    // Along the locus of daylight: by 0.2 stop.
    let (cooler, warmer) = (bare_after(0.13, -0.15), bare_after(-0.13, 0.15));
    assert!(cooler > 0.5 && warmer < 0.5, "{cooler} {warmer}");
}

#[test]
fn a_filter_that_is_not_in_the_kit_is_left_blank_and_said() {
    let pictures =
        [at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0), at("18:01:00", 0, 0.25, NOBODYS, 12.0)];
    let found = judged(&pictures, &kit());
    assert_eq!(names(&found[1]), None);
    let said = ["fits no filter, mark or stack of the kit", "a filter that is not in the kit"];
    assert!(said.iter().any(|words| found[1].note.contains(words)), "{:?}", found[1]);
}

/// A borrowed filter that two scenes show beside bare frames is known again at a third, where the light
/// fell by 0.3 stops in the meantime: it is not taken for anything else.
#[test]
fn a_borrowed_filter_is_known_again_in_another_scene() {
    const BORROWED: [f64; 3] = [5.15, 5.1, 5.05];
    let evening = [
        at("18:00:00", 0, 0.01, BARE, 11.0),
        at("18:00:40", 0, 0.4, BORROWED, 11.0),
        at("18:01:20", 0, 0.01, BARE, 11.0),
        at("18:10:00", 1, 0.01, BARE, 11.0),
        at("18:10:40", 1, 0.4, BORROWED, 11.0),
        at("18:11:20", 1, 0.01, BARE, 11.0),
        at("18:20:00", 2, 0.01, BARE, 11.0),
        at("18:21:00", 2, 0.6, BORROWED, 10.7),
    ];
    let found = judged(&evening, &kit());
    for (k, finding) in found.iter().enumerate() {
        let bare = ![1, 4, 7].contains(&k);
        assert_eq!(names(finding), bare.then(Vec::new), "{finding:?}");
    }
    // One scene by itself leaves it open: 0.6.
    assert!(found[7].probability > 0.95, "{:?}", found[7]);
}

#[test]
fn words_come_first_and_fill_in_a_mark() {
    let ring = profile(
        "Ring",
        "variable",
        &[(Some("1"), [2.0, 2.0, 2.0]), (Some("2"), [3.5, 3.5, 3.5]), (Some("3"), [5.0, 5.0, 5.0])],
    );
    let mut pictures = [
        at("18:00:00", 0, 1.0 / 256.0, BARE, 15.0),
        at("18:00:40", 0, 1.0 / 32.0, [3.45; 3], 15.0),
    ];
    pictures[1].info.subject = vec!["river".into(), " ring ".into()];
    let found = judged(&pictures, &[ring]);
    assert_eq!(found[1].how, How::Words);
    let mark = Some("2".to_owned());
    assert_eq!(found[1].verdict, Verdict::Through(vec![Used { filter: 0, mark }]));
    assert_eq!(found[1].bare, Some(0));
}

#[test]
fn words_that_cannot_be_true_are_not_believed() {
    let mut picture = at("12:00:00", 0, 1.0 / 125.0, BARE, 13.0);
    picture.info.subject = vec!["Heron Six".into()];
    let found = judged(&[picture], &kit());
    assert_eq!(names(&found[0]), None);
    assert_eq!(found[0].impossible, [0, 1]);
    assert!(found[0].note.contains("the keywords say \"Heron Six\""), "{}", found[0].note);
}

#[test]
fn a_keyword_that_the_light_denies_leaves_its_equals_blank_too() {
    let mut pictures = [
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:00:30", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 12.0),
    ];
    assert_eq!(all(&judged(&pictures, &kit())), [Some(vec![]), Some(vec![]), Some(vec![0])]);
    pictures[0].info.subject = vec!["Heron Six".into()];
    let found = judged(&pictures, &kit());
    assert_eq!(all(&found)[..2], [None, None], "{found:#?}");
    assert_eq!(names(&found[2]), Some(vec![0]));
    let own = "the keywords say \"Heron Six\", but the light says bare";
    assert!(found[0].note.contains(own), "{}", found[0].note);
    let first = pictures[0].info.file.as_str();
    let other = format!("the keywords of {first} say \"Heron Six\", but the light says bare");
    assert!(found[1].note.contains(&other), "{}", found[1].note);
}

#[test]
fn nothing_is_said_without_aperture_and_little_of_another_view() {
    let mut pictures =
        [at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0), at("18:01:00", 0, 1.0, SIX, 12.0)];
    pictures[1].info.exposure.f_number = None;
    let found = judged(&pictures, &kit());
    assert_eq!(names(&found[1]), None);
    assert!(found[1].note.contains("not recorded"), "{:?}", found[1]);
    pictures[1].info.exposure.f_number = Some(FNumber::new(8.0));
    let other = [at("20:00:00", 0, 0.5, BARE, 7.0), at("20:01:00", 2, 32.0, SIX, 7.0)];
    let found = judged(&other, &kit());
    assert!(!found[1].sure, "{:?}", found[1]);
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

/// An evening of one scene: bare, through the six, through the ten.
fn three() -> Vec<Picture> {
    vec![
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 12.0),
        at("18:03:00", 0, 16.0, TEN, 12.0),
    ]
}

/// A picture before the first frame, or between two, too soon for another filter.
#[test]
fn a_picture_without_light_takes_nothing_from_what_the_frames_say() {
    let alone = all(&judged(&three(), &kit()));
    assert_eq!(alone, [Some(vec![]), Some(vec![0]), Some(vec![1])]);
    for clock in ["17:59:58", "18:00:02", "18:01:03"] {
        let silent = Picture { scene: None, ..at(clock, 0, 1.0 / 64.0, BARE, 12.0) };
        let found = all(&judged(&[three(), vec![silent]].concat(), &kit()));
        assert_eq!((&found[..3], &found[3]), (&alone[..], &None), "{clock}");
    }
}

#[test]
fn a_picture_beside_a_frame_has_its_answer_and_the_users_word_of_either_holds_for_both() {
    let mut pictures = three();
    let mut beside = Picture { scene: None, ..pictures[1].clone() };
    beside.info.file = beside.info.file.replace(".dng", ".JPG");
    beside.info.origin = crate::frame::Origin::DisplayPicture;
    pictures.insert(0, beside);
    let found = judged(&pictures, &kit());
    assert_eq!(all(&found), [Some(vec![0]), Some(vec![]), Some(vec![0]), Some(vec![1])]);
    assert_eq!((found[0].bare, found[2].bare), (Some(1), Some(1)));
    assert_eq!(found[0].note, "as 18:01:00.dng beside it");
    let six = Told::Through(vec![Used { filter: 0, mark: None }]);
    let mut told = vec![six.clone(), Told::Nothing, Told::Nothing, Told::Nothing];
    let found = find(&pictures, &kit(), &told, false);
    assert_eq!((found[0].how, found[2].how), (How::User, How::User));
    // One word for the picture and another for the frame: both stand, and that is said.
    told[0] = Told::Bare;
    told[2] = six;
    let found = find(&pictures, &kit(), &told, false);
    assert_eq!((names(&found[0]), names(&found[2])), (Some(vec![]), Some(vec![0])));
    assert!(found[0].doubted && found[0].note.contains("18:01:00.dng beside it"), "{:?}", found[0]);
}
