//! Frames with the cap on that lie unnamed among the others: black levels, and never a filter.

#![allow(clippy::unwrap_used)]

use crate::shooting::{BARE_S, assert_holds, candidates, dial, small_session};
use lightloss::measure::{About, measure};
use lightloss::profile::Kind;
use lightloss::shoot::verdict::Judgement;
use lightloss::shoot::{Shoot, SortError, Wish, survey};
use lightloss::simulate::camera::Time;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::session::{Session, Shot};

/// A camera whose black lies above what its files tell by `shift` counts.
fn session(shift: f64, seed: u64) -> Session {
    let mut session = small_session(seed);
    session.camera.black_shift = shift;
    session
}

/// Three frames of one letter, to be numbered later.
fn three(letter: &str, time: Time, filter: Option<&Filter>) -> Vec<Shot> {
    let filters: Vec<Filter> = filter.cloned().into_iter().collect();
    Shot::repeated(letter, 0, 3, time, &filters)
}

fn surveyed(session: &Session, runs: &[Vec<Shot>], wish: &Wish) -> (Shoot, Option<SortError>) {
    let mut shots = runs.concat();
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("{}{n:04}.dng", &shot.file[..1]);
    }
    survey(candidates(session, &shots), wish).unwrap()
}

/// Codes of the frames of one letter, each once.
fn codes(shoot: &Shoot, letter: char) -> Vec<String> {
    let frames = shoot.frames.iter().filter(|f| f.file().starts_with(letter));
    let mut codes: Vec<String> = frames.map(|f| f.judgement.verdict().code).collect();
    codes.dedup();
    codes
}

#[test]
fn dark_frames_that_nobody_named_are_dark_whatever_black_does() {
    let (bare, opaque) = (dial(BARE_S), Filter::opaque(None));
    for (n, stops) in [3.0_f64, 6.0, 10.0, 13.0].into_iter().enumerate() {
        let long = dial((BARE_S * stops.exp2()).min(30.0));
        let filter = Filter::even([stops + 0.1, stops, stops - 0.1]);
        for (shift, time, kind, at_end) in [
            (0.0, bare, None, false),
            (2.0, long, None, true),
            (4.0, bare, Some(Kind::Solid), true),
            (4.0, long, Some(Kind::Solid), false),
            (6.0, bare, None, true),
            (6.0, long, None, false),
            (-3.0, bare, Some(Kind::Solid), false),
        ] {
            let case = format!("{stops} stops, black {shift:+}, {time:?}, {kind:?}, {at_end}");
            let session = session(shift, 7 + n as u64);
            let mut runs = vec![three("B", bare, None), three("F", long, Some(&filter))];
            runs.extend([three("D", time, Some(&opaque)), three("B", bare, None)]);
            if at_end {
                runs.swap(2, 3);
            }
            let wish = Wish { kind, ..Wish::default() };
            let (shoot, fault) = surveyed(&session, &runs, &wish);
            assert_eq!(fault, None, "{case}");
            assert_eq!((shoot.kind, shoot.settings.len()), (Kind::Solid, 1), "{case}");
            assert_eq!(codes(&shoot, 'D'), ["dark"], "{case}");
            assert_eq!(
                (codes(&shoot, 'B'), codes(&shoot, 'F')),
                (vec!["used".into()], vec!["used".into()])
            );
            assert!(!shoot.has_faults(), "{case}");
            let about = About { name: "Planted".into(), ..About::default() };
            let profile = measure(&shoot, &about).unwrap();
            assert_holds(&profile, session.centre_stops(std::slice::from_ref(&filter))[1]);
        }
    }
}

/// Light of the wall in a few counts is light still, also where a filter happens to take its colour.
#[test]
fn a_strong_filter_in_a_few_counts_is_no_dark_frame() {
    let (bare, filters) = (dial(BARE_S), [[10.1, 10.0, 9.9], [9.14, 10.0, 9.49]]);
    for filter in filters.map(Filter::even) {
        let session = session(0.0, 11);
        let runs =
            [three("B", bare, None), three("F", bare, Some(&filter)), three("B", bare, None)];
        let (shoot, fault) = surveyed(&session, &runs, &Wish::default());
        assert_eq!(fault, None);
        assert_eq!(codes(&shoot, 'F'), ["used"], "{:?}", shoot.frames[3].look.levels);
        let profile = measure(&shoot, &About::default()).unwrap();
        assert_holds(&profile, 10.0);
    }
}

/// Of fifteen stops a sixth of a count is left in the bare frames' time: nothing is there to measure,
/// whatever black shows.
#[test]
fn where_black_is_all_that_a_filter_shows_nothing_is_measured() {
    let bare = dial(BARE_S);
    let filter = Filter::even([15.1, 15.0, 14.9]);
    for shift in [0.0, 2.0, 4.0, 6.0] {
        let runs =
            [three("B", bare, None), three("F", bare, Some(&filter)), three("B", bare, None)];
        for kind in [None, Some(Kind::Solid)] {
            let wish = Wish { kind, ..Wish::default() };
            let (shoot, fault) = surveyed(&session(shift, 13), &runs, &wish);
            assert_eq!(codes(&shoot, 'F'), ["buried_or_capped"], "{shift}");
            let first = match fault {
                Some(SortError::NoFiltered { first }) => first.map(|spoilt| spoilt.judgement),
                other => panic!("{shift}: {other:?}"),
            };
            assert_eq!(first, Some(Judgement::BuriedOrCapped));
        }
    }
}
