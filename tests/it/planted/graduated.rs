//! Graduated filters, polarisers, stacks and shading rings, simulated frame by frame.

#![allow(clippy::unwrap_used)]

use crate::planted::surprises::{map, past_edge};
use crate::shooting::{candidates, dial};
use lightloss::field::card::Card;
use lightloss::kit::Part;
use lightloss::measure::kinds::{graduated as edges, solid};
use lightloss::measure::{About, measure};
use lightloss::profile::{CrossState, Grade, Graduation as Found, Kind, Profile};
use lightloss::quantity::Stops;
use lightloss::report::card_page::notes;
use lightloss::say::strength::Strength;
use lightloss::shoot::{Candidate, SortError, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens};
use lightloss::simulate::filter::{Filter, Graduation, Polarised, Ring, Sheet};
use lightloss::simulate::optics::Transition;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

/// What a graduation's strength may be off, in stops, its angle in degrees, its width as a share,
/// its line in percent of the height.
const STRENGTH: f64 = 0.03;
const ANGLE: f64 = 0.3;
const WIDTH_SHARE: f64 = 0.03;
const LINE: f64 = 0.5;
/// What a gain may be off, as a share.
const GAIN: f64 = 0.01;
/// What a gain of the dark half may be off, as a share.
const HALF_GAIN: f64 = 0.002;
/// Three standard uncertainties, of which u95 is two.
const SURELY: f64 = 1.5;
/// What darkening in the corners may be off, in stops.
const CORNERS: f64 = 0.05;
const BARE: f64 = 1.0 / 125.0;
const AIM: f64 = 0.45;
const FULL: (usize, usize) = (6000, 4000);
const SMALL: (usize, usize) = (1152, 768);

fn session(size: (usize, usize), focal: f64, polarised: Option<Polarised>, seed: u64) -> Session {
    let mut camera = Camera::bayer(size.0, size.1);
    // here the program is tried, not the shutter
    camera.shutter.offsets = 0.0;
    let scene = Scene { polarised, ..Scene::daylight(AIM * 128.0, [0.55, 1.0, 0.7]) };
    Session::new(camera, Lens::of(focal), scene, seed)
}

/// Three bare frames, three through each filter in turn, three bare frames.
fn series(filters: &[(Filter, f64)], orientation: u8) -> Vec<Shot> {
    let mut shots = Shot::repeated("G", 1, 3, dial(BARE), &[]);
    for (filter, times) in filters {
        let next = shots.len() + 1;
        shots.extend(Shot::repeated(
            "G",
            next,
            3,
            dial(BARE * times),
            std::slice::from_ref(filter),
        ));
    }
    let next = shots.len() + 1;
    shots.extend(Shot::repeated("G", next, 3, dial(BARE), &[]));
    shots.iter_mut().for_each(|s| s.orientation = orientation);
    shots
}

fn profile(session: &Session, shots: &[Shot], wish: &Wish, parts: Vec<Part>) -> Profile {
    let about = About { name: "Planted".into(), parts, ..About::default() };
    measure(&sort(candidates(session, shots), wish).unwrap(), &about).unwrap()
}

fn of_kind(kind: Kind) -> Wish {
    Wish { kind: Some(kind), ..Wish::default() }
}

fn marked(kind: Kind, marks: &[&str]) -> Wish {
    Wish { marks: marks.iter().map(|m| (*m).to_owned()).collect(), ..of_kind(kind) }
}

const TILT: f64 = 4.0;
const DARK: f64 = 2.1;

fn planted(transition: Transition, width_percent: f64, centre_percent: f64) -> Graduation {
    Graduation { stops: DARK, transition, width_percent, centre_percent, angle: TILT }
}

/// The gains of the middle, where red and blue sites lie a row and a column apart, which is no cast.
fn check_gains(profile: &Profile, what: &str) {
    let cast = &profile.settings[0].cast;
    let red = cast.gains.red.get() - 0.03_f64.exp2();
    let blue = cast.gains.blue.get() - (-0.02_f64).exp2();
    assert!(red.abs() <= SURELY * cast.gains_u95.red.get(), "{what}: red off by {red:.5}");
    assert!(blue.abs() <= SURELY * cast.gains_u95.blue.get(), "{what}: blue off by {blue:.5}");
    let dark = profile.graduation.as_ref().unwrap().dark_half_gains.as_ref().unwrap();
    let (red, blue) = (dark.red.get() - 0.03_f64.exp2(), dark.blue.get() - (-0.02_f64).exp2());
    assert!(red.abs() < HALF_GAIN && blue.abs() < HALF_GAIN, "{what}: {red:.5}, {blue:.5}");
}

#[test]
fn a_graduation_in_an_upright_picture_has_no_cast_of_its_own() {
    let graduation = planted(Transition::Erf, 12.0, 50.0);
    for (seed, orientation) in [(41, 6), (42, 8), (43, 3)] {
        let graduation = Some(graduation);
        let filter = Filter { graduation, ..Filter::even([0.13, 0.10, 0.08]) };
        let session = session(SMALL, 24.0, None, seed);
        let shots = series(&[(filter, 1.5)], orientation);
        let profile = profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new());
        check_gains(&profile, &format!("orientation {orientation}"));
    }
}

fn graduated(graduation: Graduation, seed: u64) -> Profile {
    let filter = Filter { graduation: Some(graduation), ..Filter::even([0.13, 0.10, 0.08]) };
    let session = session(FULL, 24.0, None, seed);
    profile(&session, &series(&[(filter, 1.5)], 1), &of_kind(Kind::Graduated), Vec::new())
}

fn check(found: &Found, planted: &Graduation, what: &str) {
    let off = |found: f64, planted: f64| found - planted;
    let strength = off(found.dark_end_stops.get(), planted.stops);
    assert!(strength.abs() < STRENGTH, "{what}: strength off by {strength:.4}");
    let clear = off(found.clear_end_stops.get(), 0.10);
    assert!(clear.abs() < STRENGTH, "{what}: clear end off by {clear:.4}");
    let angle = off(found.angle.get(), planted.angle);
    assert!(angle.abs() < ANGLE, "{what}: angle off by {angle:.3}");
    let width = found.width_percent_of_height.get() / planted.width_percent - 1.0;
    assert!(width.abs() < WIDTH_SHARE, "{what}: width off by {width:.4} of itself");
    let line = off(found.centre_percent_of_height.get(), planted.centre_percent);
    assert!(line.abs() < LINE, "{what}: line off by {line:.3}");
}

#[test]
fn a_graduation_tilted_by_four_degrees_is_found_whatever_its_curve() {
    let curves = [
        (Transition::Erf, 6.0, 50.0, "hard"),
        (Transition::Erf, 18.0, 42.0, "medium"),
        (Transition::Erf, 30.0, 48.0, "soft"),
        (Transition::Logistic, 20.0, 55.0, "medium"),
        (Transition::Linear, 8.0, 47.0, "hard"),
        (Transition::Linear, 35.0, 52.0, "soft"),
    ];
    for (seed, (transition, width, centre, shape)) in (1..).zip(curves) {
        let planted = planted(transition, width, centre);
        let what = format!("{transition:?} {width} %");
        let profile = graduated(planted, seed);
        let found = profile.graduation.as_ref().unwrap();
        check(found, &planted, &what);
        assert_eq!(found.shape, shape, "{what}");
        assert!(profile.cautions.iter().any(|c| c.code == "edge_blurred_by_lens"));
        check_gains(&profile, &what);
        let even = profile.settings[0].evenness.as_ref().unwrap();
        assert_eq!(even.dark_cross.state, CrossState::Absent, "{what}");
        assert!(!profile.vignetting.unwrap().mechanical, "{what}");
    }
}

/// Of a ramp over three quarters of the height with its middle at four fifths of it, 17.5 of 75 parts lie
/// below the frame: whatever the dark end takes more than that is a guess at the curve.
#[test]
fn a_graduation_that_ends_beyond_the_frame_is_as_doubtful_as_what_is_not_seen() {
    let unseen = DARK * 17.5 / 75.0;
    let of = |width: f64, centre: f64, seed: u64| {
        let found = graduated(planted(Transition::Linear, width, centre), seed).graduation.unwrap();
        (found.dark_end_stops.get() - DARK, found.dark_end_u95.unwrap().get())
    };
    let (off, u95) = of(60.0, 80.0, 5);
    assert!(off.abs() < u95, "off by {off:.3}, u95 {u95:.3}");
    assert!(u95 > 0.5 * unseen, "{u95:.3} for {unseen:.3} unseen");
    // An edge that is seen from end to end is known as well as before.
    let (off, u95) = of(8.0, 47.0, 6);
    assert!(off.abs() < u95 && u95 < STRENGTH, "off by {off:.3}, u95 {u95:.3}");
}

/// Frames that were taken as bare and were not: the same filter stood low in them.
#[test]
fn bare_frames_that_hold_a_part_of_the_graduation_put_its_numbers_in_doubt() {
    let filter = |centre_percent| {
        let graduation = Graduation {
            width_percent: 40.0,
            stops: 1.4,
            ..planted(Transition::Erf, 40.0, centre_percent)
        };
        Filter { graduation: Some(graduation), ..Filter::even([0.0; 3]) }
    };
    let patterns = |low: Option<f64>, lean: f64| {
        let mut shots = series(&[(filter(50.0), 1.5)], 1);
        for shot in &mut shots[6..] {
            shot.filters.extend(low.map(filter));
            shot.lean = (lean, 70.0);
        }
        let found =
            profile(&session(SMALL, 24.0, None, 6), &shots, &of_kind(Kind::Graduated), Vec::new());
        found.cautions.iter().find(|c| c.code == "patterns_apart").map(|c| c.grade)
    };
    for low in [90.0, 95.0, 100.0] {
        assert_eq!(patterns(Some(low), 0.0), Some(Grade::Number), "{low}");
    }
    // Light that moved a little is in the uncertainty.
    assert_eq!(patterns(None, 0.08), Some(Grade::Note));
    assert_eq!(patterns(None, 0.0), None);
}

#[test]
fn what_is_darkest_at_the_line_is_called_so() {
    let planted = planted(Transition::Reversed { left: 0.5 }, 8.0, 60.0);
    let found = graduated(planted, 9).graduation.unwrap();
    assert_eq!(found.shape, "darkest at the line");
    let said = lightloss::say::special::edge(&found);
    assert!(said.starts_with("An edge that is darkest at its line: the change"), "{said}");
    assert!((found.angle.get() - TILT).abs() < ANGLE);
    // at its darkest, a little beyond the line, it takes a little less than the whole planted step
    let most = (0..400)
        .map(|k| {
            let d = f64::from(k) / 1000.0;
            lightloss::simulate::optics::graduated_share(planted.transition, d, 0.08)
        })
        .fold(0.0, f64::max);
    let off = found.dark_end_stops.get() - DARK * most;
    assert!(off.abs() < STRENGTH, "{off:.3} of {:.3}", DARK * most);
}

#[test]
fn the_dark_half_has_its_own_cast_and_the_corners_their_own_darkening() {
    // the graduation itself is planted neutral, so the dark half shows the cast of its glass
    let graduation = planted(Transition::Erf, 20.0, 50.0);
    let filter = Filter {
        graduation: Some(graduation),
        // glass of 1.5 stops: a longer path in the corners
        ..Filter::glass([1.7, 1.5, 1.4])
    };
    let session = session(FULL, 20.0, None, 21);
    let shots = series(&[(filter.clone(), 4.0)], 1);
    let profile = profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new());
    let found = profile.graduation.as_ref().unwrap();
    assert!((found.dark_end_stops.get() - DARK).abs() < CORNERS);
    let stops = session.stops_at(std::slice::from_ref(&filter), 0.5, 0.02);
    let gains = found.dark_half_gains.unwrap();
    assert!((gains.red.get() / (stops[0] - stops[1]).exp2() - 1.0).abs() < GAIN, "{gains:?}");
    assert!((gains.blue.get() / (stops[2] - stops[1]).exp2() - 1.0).abs() < GAIN, "{gains:?}");
    // beyond the graduation: the path in glass of 1.5 stops, n = 1.5, at the corner of 36 x 24 mm
    // behind 20 mm is longer by 1 / cos of the inner angle
    let sine = 18.0_f64.hypot(12.0) / 18.0_f64.hypot(12.0).hypot(20.0) / 1.5;
    let longer = 1.5 * (1.0 / (1.0 - sine * sine).sqrt() - 1.0);
    let corners = found.corner_darkening_stops.unwrap().get();
    assert!((corners - longer).abs() < CORNERS, "{corners:.3} for {longer:.3}");
}

#[test]
fn the_line_is_told_as_the_picture_is_viewed() {
    // the sensor stands upright: its right side is the viewed bottom
    let graduation = Graduation { angle: 90.0 - TILT, ..planted(Transition::Erf, 20.0, 50.0) };
    let filter = Filter { graduation: Some(graduation), ..Filter::even([0.1; 3]) };
    let session = session(FULL, 24.0, None, 33);
    let shots = series(&[(filter, 1.5)], 6);
    let found =
        profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new()).graduation.unwrap();
    // turned clockwise by a quarter
    assert!((found.angle.get() + TILT).abs() < ANGLE, "{}", found.angle.get());
    // the width was planted against the short side and is told against the viewed height
    let planted_percent = 20.0 * 24.0 / 36.0;
    let share = found.width_percent_of_height.get() / planted_percent - 1.0;
    assert!(share.abs() < WIDTH_SHARE, "{share}");
}

/// Half the height of 36 x 24 mm, on which what follows is planted in millimetres.
const HALF_MM: f64 = 12.0;
/// Standard uncertainty of the strength in the centre, in stops.
const CENTRE_U: f64 = 0.001;
const CLEAR: f64 = 0.03;

/// What is found of a filter that takes so many stops above its clear end at a height in millimetres, on
/// a line that leans by three degrees.
fn drawn(stops: &dyn Fn(f64) -> f64, seed: u64) -> (Found, bool) {
    let lean = 3.0_f64.to_radians();
    let at = |x: f64, y: f64| (-CLEAR - stops(y * lean.cos() - x * lean.sin())).exp2();
    // Light of the middle fifth, by which the map is told.
    let fifth = |half: f64, k: u32| half * (f64::from(k) - 24.5) / 125.0;
    let places = (0..50).flat_map(|i| (0..50).map(move |k| (i, k)));
    let middle: f64 =
        places.map(|(i, k)| at(fifth(1.5 * HALF_MM, i), fifth(HALF_MM, k)) / 2500.0).sum();
    let centre = -middle.log2();
    let map = map(&at, &|_, _| 1.0, seed);
    let found = edges::graduation(&map, [centre; 3], Stops::new(CENTRE_U)).unwrap();
    let recognised = solid::graduation(&map, Stops::new(centre)).is_some();
    assert_eq!(solid::no_graduation(&found), None);
    (found, recognised)
}

/// Figures with what they were planted as: each within its own u95, which is no larger than this.
fn within(what: &str, found: f64, u95: Option<f64>, planted: f64, most: f64) {
    let u95 = u95.unwrap();
    let off = found - planted;
    assert!(off.abs() < u95 && u95 < most, "{what}: {found:.3} +- {u95:.3} for {planted:.3}");
}

/// Where a curve that grows takes this many stops, in millimetres, by halving.
fn place_of(stops: &dyn Fn(f64) -> f64, level: f64) -> f64 {
    let (mut low, mut high) = (-40.0, 40.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if stops(middle) < level { low = middle } else { high = middle }
    }
    low
}

fn check_drawn(found: &Found, stops: &dyn Fn(f64) -> f64, most: f64, what: &str, dark_most: f64) {
    let percent = 100.0 / (2.0 * HALF_MM);
    let [tenth, half, nine] = [0.1, 0.5, 0.9].map(|share| place_of(stops, share * most));
    let dark = found.dark_end_u95.map(Stops::get);
    within(&format!("{what}, dark end"), found.dark_end_stops.get(), dark, most, dark_most);
    let width = found.width_percent_of_height.get();
    let u95 = found.width_u95.map(|u| u.get());
    within(&format!("{what}, width"), width, u95, percent * (nine - tenth), 6.0);
    let middle = found.centre_percent_of_height.get();
    let u95 = found.centre_u95.map(|u| u.get());
    let planted = 50.0 - percent * half / 3.0_f64.to_radians().cos();
    within(&format!("{what}, middle"), middle, u95, planted, 3.0);
    let u95 = found.angle_u95.map(|u| u.get());
    within(&format!("{what}, angle"), found.angle.get(), u95, 3.0, 1.0);
    let u95 = found.clear_end_u95.map(Stops::get);
    within(&format!("{what}, clear end"), found.clear_end_stops.get(), u95, CLEAR, 0.15);
}

/// Past a hard edge each place of the sensor sees a part of the round pupil through the dark half: a
/// circle's segment (handbook formula) of the light, which in stops is no symmetrical curve.
fn behind_a_pupil(step: f64, penumbra: f64, middle: f64) -> impl Fn(f64) -> f64 {
    let dark = (-step).exp2();
    move |y| -(dark + (1.0 - dark) * past_edge(middle - y, penumbra)).log2()
}

#[test]
fn a_hard_edge_that_the_pupil_blurs_is_neither_darkest_at_the_line_nor_another_kind() {
    for (seed, (penumbra, middle)) in (60..).zip([(4.0, 1.0), (12.0, -2.0), (18.0, 0.5)]) {
        let stops = behind_a_pupil(3.0, penumbra, middle);
        let (found, recognised) = drawn(&stops, seed);
        let what = format!("pupil of {penumbra} mm");
        check_drawn(&found, &stops, 3.0, &what, 0.06);
        assert_ne!(found.shape, "darkest at the line", "{what}");
        assert!(recognised, "{what}");
    }
}

/// A pupil that is wider than what the frame sees of the filter: a ramp from edge to edge.
#[test]
fn an_edge_wider_than_the_frame_is_a_graduation_all_the_same() {
    for (seed, penumbra) in (70..).zip([29.0, 40.0]) {
        let stops = behind_a_pupil(3.0, penumbra, 0.0);
        let (found, recognised) = drawn(&stops, seed);
        assert!(recognised, "{penumbra} mm");
        let unseen = 3.0 - stops(HALF_MM) + stops(-HALF_MM);
        let (off, u95) = (found.dark_end_stops.get() - 3.0, found.dark_end_u95.unwrap().get());
        assert!(off.abs() < u95 && u95 > unseen, "{penumbra} mm: {off:.3}, u95 {u95:.3}");
    }
}

/// Half a cosine from 0 at one place to 1 at another.
fn cosine(y: f64, from: f64, to: f64) -> f64 {
    0.5 - 0.5 * (std::f64::consts::PI * ((y - from) / (to - from)).clamp(0.0, 1.0)).cos()
}

#[test]
fn what_no_curve_of_ours_fits_is_read_from_the_frame() {
    // soft, both ends flat within the frame
    let soft = |y: f64| 3.0 * cosine(y, -10.0, 9.0);
    let (found, _) = drawn(&soft, 80);
    check_drawn(&found, &soft, 3.0, "soft", 0.25);
    assert_eq!(found.shape, "soft");
    // darkest at the line, fading in a curve and straight
    let rise = |y: f64| 4.0 * cosine(y, -5.0, 3.0);
    let faded = |y: f64| rise(y) - 3.0 * cosine(y, 3.0, 27.0);
    let straight = |y: f64| rise(y) - 3.0 * ((y - 3.0) / 25.0).clamp(0.0, 1.0);
    let fades: [(&str, &dyn Fn(f64) -> f64); 2] = [("faded", &faded), ("straight", &straight)];
    for (seed, (what, stops)) in (81..).zip(fades) {
        let (found, _) = drawn(stops, seed);
        check_drawn(&found, &rise, 4.0, what, 0.25);
        assert_eq!(found.shape, "darkest at the line", "{what}");
    }
}

/// The filter slid by a twentieth of the height between its two runs, at one shutter time for all.
#[test]
fn a_filter_that_slid_in_its_holder_is_measured_and_it_is_said() {
    let at = |centre_percent: f64| {
        let graduation = planted(Transition::Erf, 32.0, centre_percent);
        Filter { graduation: Some(graduation), ..Filter::even([0.03; 3]) }
    };
    let mut shots = series(&[(at(50.0), 1.0)], 1);
    for filters in [vec![at(55.0)], Vec::new()] {
        let next = shots.len() + 1;
        shots.extend(Shot::repeated("G", next, 3, dial(BARE), &filters));
    }
    let session = session(SMALL, 24.0, None, 91);
    let found = profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new());
    let edge = found.graduation.as_ref().unwrap();
    let u95 = edge.dark_end_u95.map(Stops::get);
    within("slid", edge.dark_end_stops.get(), u95, DARK, 0.15);
    let said = found.cautions.iter().find(|c| c.code == "frames_disagree").unwrap();
    assert!(said.text.contains("slide in its holder"), "{}", said.text);
}

#[test]
fn a_clear_end_that_no_filter_has_and_ends_that_no_frame_holds_are_said() {
    let codes = |graduation: Graduation, clear: f64, seed: u64| -> Vec<String> {
        let filter = Filter { graduation: Some(graduation), ..Filter::even([clear; 3]) };
        let session = session(SMALL, 24.0, None, seed);
        let shots = series(&[(filter, 1.5)], 1);
        let found = profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new());
        found.cautions.into_iter().map(|c| c.code).collect()
    };
    let said = |codes: &[String]| {
        ["clear_end_brighter", "ends_beyond_frame"].map(|code| codes.iter().any(|c| c == code))
    };
    let hard = planted(Transition::Erf, 12.0, 50.0);
    assert_eq!(said(&codes(hard, 0.05, 92)), [false, false]);
    assert_eq!(said(&codes(hard, -0.09, 93)), [true, false]);
    let low = planted(Transition::Linear, 60.0, 85.0);
    assert_eq!(said(&codes(low, 0.05, 94)), [false, true]);
}

const LOSS: f64 = 1.35;
const ROTATIONS: [f64; 6] = [0.0, 30.0, 60.0, 90.0, 120.0, 150.0];
const NAMES: [&str; 6] = ["0", "30", "60", "90", "120", "150"];

fn polariser(axis: f64) -> Filter {
    let sheet = Some(Sheet { axis, floor: 1e-3 });
    Filter { sheet, ..Filter::even([LOSS + 0.05, LOSS, LOSS - 0.03]) }
}

/// Rotations counted as the ring is turned: the passed direction is a quarter turn from the
/// absorption axis.
fn turned(rotation: f64) -> Filter {
    polariser(rotation + 90.0)
}

fn rotations(polarised: Option<Polarised>, seed: u64) -> Profile {
    let filters: Vec<(Filter, f64)> = ROTATIONS.iter().map(|r| (turned(*r), 2.5)).collect();
    let session = session(SMALL, 50.0, polarised, seed);
    profile(&session, &series(&filters, 1), &marked(Kind::Polariser, &NAMES), Vec::new())
}

#[test]
fn a_polariser_in_unpolarised_light_loses_what_was_planted() {
    let found = rotations(None, 41);
    assert_eq!(found.settings.len(), ROTATIONS.len());
    let polarising = found.polarising.unwrap();
    assert!(!polarising.light_polarised);
    let loss = polarising.loss_stops.unwrap();
    assert!((loss.stops.get() - LOSS).abs() < 0.02, "{loss:?}");
    assert!(found.cautions.iter().all(|c| c.code != "light_polarised"));
}

#[test]
fn in_polarised_light_the_loss_is_not_claimed_and_the_extinction_is() {
    let (degree, angle) = (0.6, 40.0);
    let found = rotations(Some(Polarised { degree, angle }), 42);
    let polarising = found.polarising.as_ref().unwrap();
    assert!(polarising.light_polarised);
    assert_eq!(polarising.loss_stops, None);
    // Malus: from 1 + p to 1 - p
    let planted = ((1.0 + degree) / (1.0 - degree)).log2();
    let extinction = polarising.extinction_stops.unwrap();
    assert!((extinction.stops.get() - planted).abs() < 0.03, "{extinction:?} for {planted:.3}");
    assert!((polarising.angle_of_maximum.unwrap().get() - angle).abs() < 1.0);
    assert!(found.cautions.iter().any(|c| c.code == "light_polarised"));
    // what the turning does is no jump of the light
    assert!(found.cautions.iter().all(|c| c.code != "light_stepped"), "{:?}", found.cautions);
    // and no single rotation speaks for the filter, on the page or on the card
    let strength = Strength::of(&found).unwrap();
    let lost = |r: &f64| LOSS - (1.0 + degree * (2.0 * (r - angle).to_radians()).cos()).log2();
    let (least, most) = ROTATIONS
        .iter()
        .map(lost)
        .fold((9.0_f64, 0.0_f64), |(a, b), lost| (a.min(lost), b.max(lost)));
    assert!(
        (strength.from - least).abs() < 0.1 && (strength.to - most).abs() < 0.1,
        "{strength:?}"
    );
    assert!(strength.sentence.contains("of polarised light"), "{}", strength.sentence);
    let card = Card::of_one(&found);
    let said = notes::sections(&card).into_iter().flat_map(|s| s.paragraphs).collect::<String>();
    assert!(!said.contains("In unpolarised light it takes"), "{said}");
    assert!(said.contains("measured in polarised light"), "{said}");
    // a slanting ray sees the sheet turned: order 2 over the frame
    assert!(found.settings.iter().all(|s| s.evenness.is_some()));
}

/// Bare frames before and after every two rotations.
fn bracketed(polarised: Polarised, seed: u64) -> Profile {
    let session = session(SMALL, 50.0, Some(polarised), seed);
    let mut shots = Shot::repeated("G", 1, 2, dial(BARE), &[]);
    let mut add = |times: f64, filters: &[Filter]| {
        let next = shots.len() + 1;
        shots.extend(Shot::repeated("G", next, 2, dial(BARE * times), filters));
    };
    for pair in ROTATIONS.chunks(2) {
        pair.iter().for_each(|rotation| add(2.5, &[turned(*rotation)]));
        add(1.0, &[]);
    }
    profile(&session, &shots, &marked(Kind::Polariser, &NAMES), Vec::new())
}

/// A shutter that errs by as much at every frame of one time moves all rotations alike: light of a degree
/// of polarisation of 2 % changes by log2(1.02 / 0.98) = 0.058 stop (Malus), which is seen,
/// although no strength is known that well.
#[test]
fn what_rotations_share_is_no_doubt_of_their_difference() {
    let found = bracketed(Polarised { degree: 0.02, angle: 30.0 }, 43);
    let polarising = found.polarising.unwrap();
    let extinction = polarising.extinction_stops.unwrap();
    let planted = (1.02_f64 / 0.98).log2();
    let off = (extinction.stops.get() - planted).abs();
    assert!(polarising.light_polarised, "{extinction:?}");
    assert!(off <= extinction.u95.get() && extinction.u95.get() < planted, "{extinction:?}");
    let strengths = found.settings.iter().map(|s| s.strength.u95.get());
    assert!(strengths.fold(f64::INFINITY, f64::min) > planted);
}

/// 60 and 90 degrees lie on both sides of the darkest and differ by a tenth of a stop, 0 and 150 of the
/// lightest: each is a rotation of its own (Malus).
#[test]
fn rotations_of_nearly_one_level_are_told_apart() {
    let (degree, angle) = (0.3, -17.0);
    let found = bracketed(Polarised { degree, angle }, 44);
    let marks: Vec<&str> = found.settings.iter().filter_map(|s| s.mark.as_deref()).collect();
    assert_eq!(marks, NAMES);
    let polarising = found.polarising.unwrap();
    let extinction = polarising.extinction_stops.unwrap();
    let planted = ((1.0 + degree) / (1.0 - degree)).log2();
    let off = (extinction.stops.get() - planted).abs();
    assert!(off <= extinction.u95.get(), "{extinction:?} for {planted:.3}");
    let apart = (polarising.angle_of_maximum.unwrap().get() - angle).rem_euclid(180.0);
    assert!(apart.min(180.0 - apart) <= polarising.angle_u95.unwrap().get(), "{apart}");
}

/// Rotations of 0, 60 and 120 degrees darken all the way where the lightest lies near the first (Malus:
/// cos 2t of 10, 50 and 110 degrees), and are those of a polariser all the same.
#[test]
fn three_rotations_that_darken_one_way_are_a_polarisers() {
    let filters: Vec<(Filter, f64)> =
        [0.0, 60.0, 120.0].iter().map(|r| (turned(*r), 2.5)).collect();
    let (degree, angle) = (0.5, 10.0);
    let session = session(SMALL, 50.0, Some(Polarised { degree, angle }), 45);
    let wish = marked(Kind::Polariser, &["0", "60", "120"]);
    let found = profile(&session, &series(&filters, 1), &wish, Vec::new());
    assert!(found.cautions.iter().all(|c| c.code != "looks_like_another_kind"));
    let extinction = found.polarising.unwrap().extinction_stops.unwrap();
    let planted = ((1.0 + degree) / (1.0 - degree)).log2();
    assert!((extinction.stops.get() - planted).abs() <= extinction.u95.get(), "{extinction:?}");
}

#[test]
fn a_stack_is_held_against_the_sum_of_its_parts() {
    let both = [Filter::even([3.1, 3.0, 2.9]), Filter::even([6.2, 6.0, 5.9])];
    let session = session(SMALL, 50.0, None, 51);
    let mut shots = series(&[], 1);
    let filtered = Shot::repeated("G", 20, 3, dial(BARE * 512.0), &both);
    shots.splice(3..3, filtered);
    let part = |name: &str, stops: f64| Part::alone(name, Stops::new(stops), Stops::new(0.03));
    // the second part's own profile is 0.2 stop off
    let parts = vec![part("Three", 3.0), part("Six", 6.2)];
    let found = profile(&session, &shots, &of_kind(Kind::Stack), parts);
    let stack = found.stack.unwrap();
    assert_eq!(stack.parts, ["Three", "Six"]);
    assert!((stack.predicted.stops.get() - 9.2).abs() < 1e-9);
    // independent doubts: the root of twice 0.03 squared
    assert!((stack.predicted.u95.get() - 0.03 * 2.0_f64.sqrt()).abs() < 1e-9);
    assert!((stack.difference.stops.get() + 0.2).abs() < 0.02, "{:?}", stack.difference);
    assert!(stack.difference.u95.get() > stack.predicted.u95.get());
}

#[test]
fn a_ring_is_called_shading_and_the_falloff_of_a_ten_stop_glass_is_not() {
    let shade = Ring { begins: 0.9, slope: 8.0, centre: (0.0, 0.0) };
    for (ring, seed) in [(None, 61), (Some(shade), 62)] {
        let filter = Filter { ring, ..Filter::glass([10.2, 10.0, 9.9]) };
        let session = session(FULL, 24.0, None, seed);
        let shots = series(&[(filter, 1024.0)], 1);
        let found = profile(&session, &shots, &of_kind(Kind::Solid), Vec::new());
        let even = found.settings[0].evenness.as_ref().unwrap();
        assert_eq!(even.dark_cross.state, CrossState::Absent);
        let vignetting = found.vignetting.unwrap();
        assert_eq!(vignetting.mechanical, ring.is_some());
        assert_eq!(vignetting.onset_percent_of_half_diagonal.is_some(), ring.is_some());
        if let Some(ring) = ring {
            let onset = onset(&ring);
            let found = vignetting.onset_percent_of_half_diagonal.unwrap().get();
            assert!((found - 100.0 * onset).abs() < 2.0, "{found:.1} for {:.1}", 100.0 * onset);
        } else {
            // one stop in the corners (Snell's law, n = 1.5): 10 x 0.118, less in whole blocks
            let corner = even.corners_stops.top_left.get();
            assert!((0.8..1.2).contains(&corner), "{corner}");
        }
    }
}

/// Onset of a planted ring in half diagonals: where the light beside a straight edge over a round pupil
/// falls by 0.1 stop.
fn onset(ring: &Ring) -> f64 {
    let shaded = |r: &f64| {
        let edge = 1.0 - 2.0 * ring.slope * (r - ring.begins);
        lightloss::simulate::optics::clear_pupil(edge) < (-0.1_f64).exp2()
    };
    (0..5000).map(|k| ring.begins + f64::from(k) * 1e-4).find(shaded).unwrap()
}

/// A holder with two filters at three focal lengths; the longer the lens, the farther out its ring.
fn at_focal_lengths(strengths: [f64; 3]) -> Vec<Candidate> {
    let begins = [0.8, 0.9, 1.5];
    let mut all = Vec::new();
    for (k, focal) in [16.0, 20.0, 24.0].into_iter().enumerate() {
        let mut session = session(FULL, focal, None, 70);
        session.starts = session.starts.map(|t| t + jiff::Span::new().minutes(6 * k as i64));
        session.seed += k as u64;
        let ring = Some(Ring { begins: begins[k], slope: 8.0, centre: (0.0, 0.0) });
        let holder = Filter { ring, ..Filter::even([strengths[k]; 3]) };
        let mut shots = series(&[(holder, 64.0)], 1);
        shots.iter_mut().for_each(|s| s.file = format!("{k}{}", s.file));
        all.extend(candidates(&session, &shots));
    }
    all
}

#[test]
fn a_stack_at_several_focal_lengths_tells_the_widest_safe_one() {
    let shoot = sort(at_focal_lengths([6.0; 3]), &of_kind(Kind::Stack)).unwrap();
    assert!(!shoot.has_faults());
    let about = About { name: "Holder".into(), ..About::default() };
    let found = measure(&shoot, &about).unwrap();
    assert_eq!(found.settings.len(), 1);
    assert!((found.settings[0].strength.stops.get() - 6.0).abs() < 0.02);
    // the first focal length is the one that is measured
    assert!(found.settings[0].frames.filtered.iter().all(|f| f.starts_with('0')));
    let lent = found.frames.iter().filter(|f| f.verdict.code == "at_focal_length").count();
    assert_eq!(lent, 18);
    let shading = found.vignetting.unwrap();
    assert!(shading.mechanical);
    assert_eq!(shading.widest_safe_mm.map(|f| f.get()), Some(24.0));
    let rows = &shading.by_focal_length;
    assert_eq!(
        rows.iter().map(|r| r.focal_length_mm.get()).collect::<Vec<_>>(),
        [16.0, 20.0, 24.0]
    );
    for (row, begins) in rows.iter().zip([0.8, 0.9]) {
        let planted = onset(&Ring { begins, slope: 8.0, centre: (0.0, 0.0) });
        let told = row.onset_percent_of_half_diagonal.unwrap().get();
        assert!((told - 100.0 * planted).abs() < 2.0, "{told} for {planted}");
        assert!(row.darkest_corner_stops.unwrap().get() > 0.1);
    }
    assert!(!rows[2].mechanical && rows[2].onset_percent_of_half_diagonal.is_none());
}

#[test]
fn other_filters_at_other_focal_lengths_stay_shoots_of_their_own() {
    let unlike = sort(at_focal_lengths([6.0, 6.0, 7.0]), &of_kind(Kind::Stack));
    assert!(matches!(unlike, Err(SortError::SeveralFilters { .. })));
    // nor are lenses joined where nobody said that it is one stack
    let solid = sort(at_focal_lengths([6.0; 3]), &of_kind(Kind::Solid));
    assert!(matches!(solid, Err(SortError::SeveralFilters { .. })));
}

/// Three even stops, measured as a graduated filter.
#[test]
fn an_even_filter_that_was_called_graduated_is_told_from_one() {
    let filter = Filter::even([3.0, 3.0, 3.0]);
    let session = session(SMALL, 24.0, None, 31);
    let shots = series(&[(filter, 8.0)], 1);
    let profile = profile(&session, &shots, &of_kind(Kind::Graduated), Vec::new());
    let doubt = profile.cautions.iter().find(|c| c.code == "looks_like_another_kind").unwrap();
    assert_eq!(doubt.grade, Grade::Number);
    assert!(doubt.text.contains("--kind solid"), "{}", doubt.text);
}
