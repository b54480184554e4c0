//! Whole series of a variable filter, simulated frame by frame from the exact vectors of two sheets
//! with refraction, sorted and measured without labels.

#![allow(clippy::unwrap_used)]

use crate::shooting::candidates;
use lightloss::exposure::DialTime;
use lightloss::measure::{About, measure};
use lightloss::profile::{CrossState, Kind, Profile};
use lightloss::quantity::{Seconds, Stops};
use lightloss::shoot::verdict::Judgement;
use lightloss::shoot::{SortError, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use std::sync::LazyLock;

/// What a strength up to 8 stops may be off, in stops.
const STRENGTH: f64 = 0.03;
const STRENGTH_TO: f64 = 8.0;
/// What a spread may be off, in stops, or as a share of it.
const SPREAD: f64 = 0.05;
const SPREAD_SHARE: f64 = 0.03;
/// What an angle between the axes and a bisector may be off, in degrees, from this angle on.
const AXES_ANGLE: f64 = 0.3;
const BISECTOR: f64 = 1.0;
const ANGLES_FROM: f64 = 30.0;
/// Below this angle a mark is "near parallel".
const NEAR_PARALLEL: f64 = 15.0;
/// What a spread foretold for another lens may be off, in stops.
const FORETOLD: f64 = 0.1;

/// Strengths on the axis of the eight planted marks.
const STOPS: [f64; 8] = [1.3, 2.5, 3.7, 4.9, 6.1, 7.3, 8.5, 9.6];
const BASE: [f64; 3] = [1.31, 1.28, 1.34];
const FLOOR: [f64; 3] = [9e-4, 7e-4, 1.3e-3];
/// Where the sheet that stays still absorbs, in degrees.
const STILL: f64 = 70.0;
const BARE: f64 = 1.0 / 125.0;
const TOLERANCES: [f64; 3] = [0.2, 0.33, 0.5];
/// Places across and down at which planted maps are looked at.
const GRID: (usize, usize) = (66, 44);

fn axes_angle(stops: f64) -> f64 {
    let passed = (BASE[1] - stops).exp2() - FLOOR[1];
    passed.clamp(0.0, 1.0).sqrt().acos().to_degrees()
}

/// The front sheet turns, so the bisector turns by half of that.
fn bisector(stops: f64) -> f64 {
    (STILL + axes_angle(stops) / 2.0).rem_euclid(180.0)
}

fn ring(stops: f64) -> Filter {
    Filter::pair(BASE, axes_angle(stops), bisector(stops), FLOOR)
}

fn session(size: (usize, usize), focal: f64, written: f64, seed: u64) -> Session {
    let mut camera = Camera::bayer(size.0, size.1);
    // here the program is tried, not the shutter
    camera.shutter.offsets = 0.0;
    let lens = Lens { written_focal_length: written, ..Lens::of(focal) };
    let scene = Scene { drift: -0.005, ..Scene::daylight(AIM * 128.0, [0.55, 1.0, 0.7]) };
    Session::new(camera, lens, scene, seed)
}

/// Share of full scale that the bare wall reaches, and the most that a frame through the ring does.
const AIM: f64 = 0.45;
const HIGHEST: f64 = 0.8;

/// The dial time at which this mark is as bright as the bare wall, or as bright as its lightest
/// corner allows.
fn time_for(session: &Session, stops: f64) -> Time {
    let planted = Planted::of(session, stops);
    let lightest = planted.stops.iter().copied().fold(0.0, f64::min);
    let share = (HIGHEST / AIM * lightest.exp2()).min(1.0);
    let wanted = Seconds::new(BARE * stops.exp2() * share);
    Time::Dial(DialTime::nearest(wanted).unwrap().shown().get())
}

/// Two bare frames, two through the ring at each strength in turn, two bare frames.
fn series(session: &Session, strengths: &[f64]) -> Vec<Shot> {
    let mut shots = Shot::repeated("V", 1, 2, Time::Dial(BARE), &[]);
    for &stops in strengths {
        let next = shots.len() + 1;
        let time = time_for(session, stops);
        shots.extend(Shot::repeated("V", next, 2, time, &[ring(stops)]));
    }
    let next = shots.len() + 1;
    shots.extend(Shot::repeated("V", next, 2, Time::Dial(BARE), &[]));
    shots
}

fn wish(marks: &[&str]) -> Wish {
    let marks = marks.iter().map(|m| (*m).to_owned()).collect();
    Wish { kind: Some(Kind::Variable), marks, ..Wish::default() }
}

fn about(tolerance: f64) -> About {
    About {
        name: "Planted Ring".into(),
        tolerance: Some(Stops::new(tolerance)),
        ..About::default()
    }
}

/// Extra stops of green over the frame relative to the centre, from the exact vectors.
struct Planted {
    places: Vec<(f64, f64)>,
    stops: Vec<f64>,
    centre: f64,
}

impl Planted {
    fn of(session: &Session, stops: f64) -> Self {
        let filter = [ring(stops)];
        let centre = session.centre_stops(&filter)[1];
        let mut planted = Self { places: Vec::new(), stops: Vec::new(), centre };
        let aspect = (36.0 / 43.266_615, 24.0 / 43.266_615);
        for row in 0..GRID.1 {
            for column in 0..GRID.0 {
                let u = (column as f64 + 0.5) / GRID.0 as f64;
                let v = (row as f64 + 0.5) / GRID.1 as f64;
                planted.places.push(((2.0 * u - 1.0) * aspect.0, (1.0 - 2.0 * v) * aspect.1));
                planted.stops.push(session.stops_at(&filter, u, v)[1] - centre);
            }
        }
        planted
    }

    /// p95 - p5, linear interpolation.
    fn spread(&self) -> f64 {
        quantile(&self.stops, 0.95) - quantile(&self.stops, 0.05)
    }

    /// By its definition: the 98th percentile of what remains after the rotationally even and the
    /// tilt part of a fit on 1, x, y, r^2, r^4, r^6 and two powers each of orders 2 and 4.
    fn depth(&self) -> f64 {
        let terms = |(x, y): (f64, f64)| {
            let (r2, c2, s2) = (x * x + y * y, x * x - y * y, 2.0 * x * y);
            let (c4, s4) = (c2 * c2 - s2 * s2, 2.0 * c2 * s2);
            [1.0, x, y, r2, r2 * r2, r2 * r2 * r2, c2, s2, c4, s4]
        };
        let rows = DMatrix::from_fn(self.places.len(), 10, |i, k| terms(self.places[i])[k]);
        let values = DVector::from_column_slice(&self.stops);
        let fit = rows.clone().svd(true, true).solve(&values, 1e-12).unwrap();
        let even = rows.columns(0, 6) * fit.rows(0, 6);
        let rest: Vec<f64> = (values - even).iter().copied().collect();
        quantile(&rest, 0.98)
    }

    fn cross(&self) -> CrossState {
        match self.depth() {
            d if d < 0.05 => CrossState::Absent,
            d if d < 1.0 / 3.0 => CrossState::Forming,
            _ => CrossState::Present,
        }
    }
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = share * (sorted.len() - 1) as f64;
    let (low, rest) = (at.floor() as usize, at.fract());
    sorted[low] + rest * (sorted[(low + 1).min(sorted.len() - 1)] - sorted[low])
}

/// Angle between two axes in degrees.
fn axis_apart(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(180.0);
    d.min(180.0 - d)
}

const SMALL: (usize, usize) = (1152, 768);

/// What the ring does behind 20 mm and 35 mm.
static AT_20: LazyLock<Vec<Planted>> = LazyLock::new(|| {
    let session = session((6000, 4000), 20.0, 20.0, 1);
    STOPS.par_iter().map(|s| Planted::of(&session, *s)).collect()
});
static AT_35: LazyLock<Vec<Planted>> = LazyLock::new(|| {
    let session = session((6000, 4000), 35.0, 35.0, 1);
    STOPS.par_iter().map(|s| Planted::of(&session, *s)).collect()
});

fn check_marks(profile: &Profile, what: &str) {
    let pair = profile.polariser_pair.as_ref().unwrap();
    assert_eq!(profile.settings.len(), STOPS.len(), "{what}");
    for (k, (setting, planted)) in profile.settings.iter().zip(AT_20.iter()).enumerate() {
        let what = format!("{what}, mark {}", k + 1);
        assert_eq!(setting.mark, Some((k + 1).to_string()));
        let off = setting.strength.stops.get() - planted.centre;
        if planted.centre <= STRENGTH_TO {
            assert!(off.abs() < STRENGTH, "{what}: strength off by {off:.4}");
        }
        assert!(off.abs() < setting.strength.u95.get(), "{what}: beyond its doubt by {off:.4}");
        let even = setting.evenness.as_ref().unwrap();
        let (found, expected) = (even.spread_stops.get(), planted.spread());
        let allowed = SPREAD.max(SPREAD_SHARE * expected);
        assert!((found - expected).abs() < allowed, "{what}: spread {found:.3}, {expected:.3}");
        let depth = planted.depth();
        assert_eq!(even.dark_cross.state, planted.cross(), "{what}: depth {depth:.3}");
        let axes = axes_angle(STOPS[k]);
        let fitted = &pair.marks[k];
        let angle = fitted.axes_angle.unwrap().get();
        if axes >= ANGLES_FROM {
            assert_eq!(fitted.state, "measured");
            assert!((angle - axes).abs() < AXES_ANGLE, "{what}: {angle:.2} for {axes:.2}");
            let found = fitted.bisector_angle.unwrap().get();
            let apart = axis_apart(found, bisector(STOPS[k]));
            assert!(apart < BISECTOR, "{what}: bisector off by {apart:.2}");
        }
        if axes < NEAR_PARALLEL {
            assert_eq!(fitted.state, "near parallel");
            assert_eq!(fitted.bisector_angle, None);
            assert!(angle > axes, "{what}: at most {angle:.2}, but {axes:.2}");
        }
        let at_35 = pair
            .lens_spreads
            .iter()
            .find(|s| Some(&s.mark) == setting.mark.as_ref() && s.focal_length_mm.get() == 35.0);
        let foretold = at_35.unwrap().spread_stops.get();
        let expected = AT_35[k].spread();
        assert!((foretold - expected).abs() < FORETOLD, "{what}: {foretold:.3}, {expected:.3}");
    }
}

/// The last mark before the first whose planted spread is too large.
fn last_within(tolerance: f64) -> Option<String> {
    let within = AT_20.iter().take_while(|p| p.spread() <= tolerance).count();
    (within > 0).then(|| within.to_string())
}

fn measured_series(written: f64) {
    let session = session((6000, 4000), 20.0, written, 61);
    let shoot = sort(candidates(&session, &series(&session, &STOPS)), &wish(&[])).unwrap();
    assert!(!shoot.has_faults());
    for tolerance in TOLERANCES {
        let profile = measure(&shoot, &about(tolerance)).unwrap();
        let usable = profile.usable.as_ref().unwrap();
        assert_eq!(usable.last_mark, last_within(tolerance), "{tolerance}: {}", usable.reason);
        assert_eq!(usable.tolerance_stops.get(), tolerance);
        check_marks(&profile, &format!("{written} mm in the files, {tolerance} stop"));
    }
}

/// The arms of the cross bend as sharply as an edge of damage where no second frame shows the same.
#[test]
fn a_cross_that_one_frame_alone_shows_is_no_damage() {
    for (focal, top) in [(20.0, 9.6), (24.0, 9.9), (16.0, 8.5)] {
        let session = session((576, 384), focal, focal, 77);
        let mut shots = series(&session, &[1.3, 2.5, 3.7, 4.9, 6.1, 7.3, top]);
        let mut once = 0;
        shots.retain(|shot| {
            once += usize::from(!shot.filters.is_empty());
            shot.filters.is_empty() || once % 2 == 1
        });
        let shoot = sort(candidates(&session, &shots), &wish(&[])).unwrap();
        let damaged = shoot.frames.iter().filter(|f| f.judgement == Judgement::Damaged);
        let damaged: Vec<&str> = damaged.map(|f| f.file()).collect();
        assert!(damaged.is_empty(), "{focal} mm, {top} stops: {damaged:?}");
    }
}

#[test]
fn eight_marks_from_a_flat_folder_are_measured_to_the_last_figure() {
    // all three tolerances ask for another mark
    let lasts: Vec<_> = TOLERANCES.iter().map(|t| last_within(*t)).collect();
    assert!(lasts[0] != lasts[1] || lasts[1] != lasts[2], "{lasts:?}");
    measured_series(20.0);
}

#[test]
fn a_focal_length_four_percent_off_in_the_files_changes_nothing() {
    measured_series(20.8);
    measured_series(19.2);
}

#[test]
fn where_the_lightest_corners_clip_the_pair_stands_in_and_says_so() {
    let session = session((6000, 4000), 20.0, 20.0, 65);
    let mut shots = series(&session, &STOPS);
    // exposed for the centre: mark 7's lightest corner is four stops over
    let clipped = 7;
    let long = Seconds::new(BARE * STOPS[clipped - 1].exp2());
    for shot in &mut shots[2 * clipped..2 * clipped + 2] {
        shot.time = Time::Dial(DialTime::nearest(long).unwrap().shown().get());
    }
    let shoot = sort(candidates(&session, &shots), &wish(&[])).unwrap();
    let profile = measure(&shoot, &about(0.33)).unwrap();
    let setting = &profile.settings[clipped - 1];
    let caution = setting.cautions.iter().find(|c| c.code == "map_incomplete").unwrap();
    assert!(caution.text.contains("the two polarisers stands in"), "{}", caution.text);
    let (found, expected) =
        (setting.evenness.as_ref().unwrap().spread_stops.get(), AT_20[clipped - 1].spread());
    let allowed = SPREAD.max(SPREAD_SHARE * expected);
    assert!((found - expected).abs() < allowed, "{found:.3} for {expected:.3}");
    let clean = &profile.settings[0].cautions;
    assert!(clean.iter().all(|c| c.code != "map_incomplete"));
}

#[test]
fn the_same_ring_shot_at_35_mm_is_as_uneven_as_foretold_from_20_mm() {
    let at_20 = session((6000, 4000), 20.0, 20.0, 62);
    let at_35 = session((6000, 4000), 35.0, 35.0, 63);
    let profile_at = |session: &Session| {
        let shoot = sort(candidates(session, &series(session, &STOPS)), &wish(&[])).unwrap();
        measure(&shoot, &about(0.33)).unwrap()
    };
    let (from, shot) = (profile_at(&at_20), profile_at(&at_35));
    let foretold = from.polariser_pair.unwrap().lens_spreads;
    for setting in &shot.settings {
        let spread = setting.evenness.as_ref().unwrap().spread_stops.get();
        let told = foretold
            .iter()
            .find(|s| Some(&s.mark) == setting.mark.as_ref() && s.focal_length_mm.get() == 35.0)
            .unwrap()
            .spread_stops
            .get();
        assert!((told - spread).abs() < FORETOLD, "{:?}: {told:.3} {spread:.3}", setting.mark);
    }
}

fn small_profile(strengths: &[f64], marks: &[&str]) -> Result<Profile, SortError> {
    let session = session(SMALL, 20.0, 20.0, 64);
    let shoot = sort(candidates(&session, &series(&session, strengths)), &wish(marks))?;
    Ok(measure(&shoot, &about(1.0 / 3.0)).unwrap())
}

fn labels(profile: &Profile) -> Vec<&str> {
    profile.settings.iter().map(|s| s.mark.as_deref().unwrap()).collect()
}

fn stops(profile: &Profile, mark: &str) -> f64 {
    let found = profile.settings.iter().find(|s| s.mark.as_deref() == Some(mark)).unwrap();
    found.strength.stops.get()
}

#[test]
fn a_series_shot_from_the_dark_end_ends_at_the_same_mark() {
    let up = small_profile(&STOPS, &["1", "2", "3", "4", "5", "6", "7", "8"]).unwrap();
    let mut turned = STOPS;
    turned.reverse();
    // named in the order they were shot, whatever the names
    let down = small_profile(&turned, &["h", "g", "f", "e", "d", "c", "b", "a"]).unwrap();
    let (up_last, down_last) = (up.usable.unwrap(), down.usable.unwrap());
    let number = up_last.last_mark.unwrap().parse::<usize>().unwrap();
    let letter = ["a", "b", "c", "d", "e", "f", "g", "h"][number - 1];
    assert_eq!(down_last.last_mark.as_deref(), Some(letter));
}

#[test]
fn a_missed_mark_leaves_the_others_as_they_are() {
    let without: Vec<f64> = STOPS.iter().copied().filter(|s| *s != 4.9).collect();
    let profile = small_profile(&without, &["min", "1", "2", "4", "5", "6", "max"]).unwrap();
    assert_eq!(labels(&profile), ["min", "1", "2", "4", "5", "6", "max"]);
    assert!((stops(&profile, "4") - 6.1).abs() < STRENGTH);
    // a name too many is refused with both counts
    let names = ["min", "1", "2", "3", "4", "5", "6", "max"];
    assert!(matches!(small_profile(&without, &names), Err(SortError::MarksMismatch { .. })));
}

/// How well a hand sets the planted ring the second time, in stops.
const HAND: f64 = 0.06;

#[test]
fn a_mark_set_twice_tells_how_well_a_hand_sets_it() {
    let visits = [1.3, 2.5, 3.7, 4.9, 3.7 + HAND];
    let profile = small_profile(&visits, &["1", "2", "3", "4", "3"]).unwrap();
    assert_eq!(labels(&profile), ["1", "2", "3", "4"]);
    let repeat = profile.settings[2].ring_repeat_stops.unwrap();
    // the standard deviation of two values is their difference over the root of two
    let planted = HAND / 2.0_f64.sqrt();
    let off = (repeat.value.get() - planted).abs();
    assert!(off <= repeat.u95.get() && off < 0.01, "{repeat:?} for {planted:.3}");
    assert!(profile.settings[0].ring_repeat_stops.is_none());
    let unknown = small_profile(&STOPS[..4], &[]).unwrap();
    assert!(unknown.cautions.iter().any(|c| c.code == "ring_repeat_unknown"));
}

#[test]
fn two_marks_of_one_strength_stay_two_marks_where_they_are_named() {
    // beyond crossing the ring grows lighter again: the last mark is as light as the third
    let profile = small_profile(&[1.3, 2.5, 3.7, 4.9, 3.7], &["1", "2", "3", "4", "5"]).unwrap();
    assert_eq!(labels(&profile), ["1", "2", "3", "4", "5"]);
    assert!((stops(&profile, "3") - stops(&profile, "5")).abs() < STRENGTH);
}
