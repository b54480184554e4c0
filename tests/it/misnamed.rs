//! Frames, marks and filters that were named as what they are not: planted shoots, each named wrongly in
//! one way, and what is said of it.

#![allow(clippy::unwrap_used)]

use crate::cli::{expect, run};
use crate::shooting::{BARE_S, candidates, dial, even, numbered, small_session, sorted};
use lightloss::measure::{About, measure};
use lightloss::profile::{CautionRecord, Grade, Kind, Profile};
use lightloss::quantity::Stops;
use lightloss::shoot::{Label, SortError, Wish, sort};
use lightloss::simulate::camera::Time;
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::{Filter, Graduation};
use lightloss::simulate::optics::Transition;
use lightloss::simulate::session::{Session, Shot};
use lightloss::write::dng::Compression;
use std::path::Path;

/// 2.5 stops over the upper half of the frame.
fn graduated() -> Filter {
    let transition = Transition::Erf;
    let graduation = Graduation {
        stops: 2.5,
        transition,
        width_percent: 12.0,
        centre_percent: 50.0,
        angle: 3.0,
    };
    Filter { graduation: Some(graduation), ..Filter::even([0.1; 3]) }
}

/// So many frames bare, through each filter in turn, and bare again.
fn shots(each: usize, filters: &[(Filter, f64)]) -> Vec<Shot> {
    let bare = || Shot::repeated("", 0, 3, Time::Dial(BARE_S), &[]);
    let mut all = bare();
    for (filter, stops) in filters {
        let time = dial(BARE_S * stops.exp2());
        all.extend(Shot::repeated("", 0, each, time, std::slice::from_ref(filter)));
    }
    all.extend(bare());
    numbered(&mut all);
    all
}

/// As each frame was made, but for those that are named as the other.
fn labelled(shots: &[Shot], wrong: &[usize]) -> Wish {
    let label = |(i, shot): (usize, &Shot)| {
        let is_bare = shot.filters.is_empty() != wrong.contains(&i);
        let label = if is_bare { Label::Bare } else { Label::Filtered(None) };
        (shot.file.clone(), label)
    };
    Wish { labels: shots.iter().enumerate().map(label).collect(), ..Wish::default() }
}

fn profile(shots: &[Shot], wish: &Wish, about: &About) -> Profile {
    let shoot = sorted(&small_session(5), shots, wish).unwrap();
    measure(&shoot, &About { name: "Named".into(), ..about.clone() }).unwrap()
}

fn number<'a>(profile: &'a Profile, code: &str) -> Option<&'a CautionRecord> {
    let own = profile.settings.iter().flat_map(|s| &s.cautions);
    let mut all = profile.cautions.iter().chain(own);
    all.find(|c| c.code == code && c.grade == Grade::Number)
}

fn verdict<'a>(profile: &'a Profile, file: &str) -> (&'a str, &'a str) {
    let frame = profile.frames.iter().find(|f| f.file == file).unwrap();
    (&frame.verdict.code, &frame.verdict.text)
}

#[test]
fn a_bare_frame_among_those_of_the_filter_is_named_and_so_is_the_reverse() {
    let shots = shots(3, &[(even(6.0), 6.0)]);
    let right = profile(&shots, &labelled(&shots, &[]), &About::default());
    assert!(number(&right, "not_one_state").is_none());
    // The first bare frame, and the last.
    for wrong in [0, 8] {
        let found = profile(&shots, &labelled(&shots, &[wrong]), &About::default());
        let text = &number(&found, "not_one_state").unwrap().text;
        let named = format!("P{:04}.dng shows 6.0", wrong + 1);
        assert!(text.starts_with(&named), "{text}");
        assert!(text.contains("more light than P0004.dng, P0005.dng, P0006.dng"), "{text}");
        assert!(text.contains("looks like a bare frame"), "{text}");
        // What it says to do is done: the number is the planted one, and nothing is left to be said.
        assert!(text.ends_with("name them with --bare and --filtered."), "{text}");
        assert!((right.settings[0].strength.stops.get() - 6.0).abs() < 0.05);
    }
    // A frame through the filter by itself among the bare ones, and one in the row of three bare ones.
    let mut apart = shots.clone();
    let first = apart.remove(3);
    apart.insert(0, first);
    let found = profile(&apart, &labelled(&apart, &[0]), &About::default());
    let text = number(&found, "not_one_state").map(|c| c.text.clone());
    let (code, why) = verdict(&found, "P0004.dng");
    let said = text.unwrap_or_default() + why;
    assert!(code == "other_state" || said.contains("P0004.dng shows 6.0"), "{said}");
    assert!(said.contains("one through the filter"), "{said}");
    let found = profile(&shots, &labelled(&shots, &[3]), &About::default());
    let (code, why) = verdict(&found, "P0004.dng");
    assert_eq!(code, "other_state");
    assert!(why.contains("6.00 stops darker") || why.contains("stops darker"), "{why}");
    assert!(why.ends_with("it looks like one through the filter"), "{why}");
}

#[test]
fn a_frame_whose_aperture_was_told_wrongly_is_no_cloud() {
    let shots = shots(3, &[(even(6.0), 6.0)]);
    let mut read = candidates(&small_session(5), &shots);
    let summary = read[1].outcome.as_mut().unwrap();
    summary.info.exposure.f_number = Some(lightloss::quantity::FNumber::new(5.6));
    let shoot = sort(read, &Wish::default()).unwrap();
    let found = measure(&shoot, &About { name: "Aperture".into(), ..About::default() }).unwrap();
    assert_eq!(
        verdict(&found, "P0002.dng"),
        ("other_aperture", "at f/5.6, unlike the bare frames")
    );
}

/// Marks 1.3, 2, 2.9, 4 and 5 stops; the ring is set up and back by a hand that errs.
#[test]
fn two_marks_under_one_name_are_told_and_a_mark_set_twice_is_not() {
    let of = |stops: &[f64]| -> Vec<(Filter, f64)> {
        stops.iter().map(|stops| (even(*stops), *stops)).collect()
    };
    let wish = |marks: &str| Wish {
        kind: Some(Kind::Variable),
        marks: marks.split(',').map(str::to_owned).collect(),
        ..Wish::default()
    };
    let about = About { kind_said: true, marks_named: true, ..About::default() };
    let wrong = shots(2, &of(&[1.3, 2.0, 2.9, 4.0, 5.0]));
    let found = profile(&wrong, &wish("min,1,1,3,4"), &about);
    let text = &number(&found, "not_one_state").unwrap().text;
    assert!(
        text.contains("P0006.dng, P0007.dng") && text.contains("P0008.dng, P0009.dng"),
        "{text}"
    );
    assert!(text.contains("0.9") && text.contains("of mark 1"), "{text}");
    // A hand is off by degrees, which is more at the strong end.
    let back = shots(2, &of(&[1.3, 2.05, 4.0, 7.9, 8.4, 4.15, 1.95, 1.32]));
    let found = profile(&back, &wish("min,1,2,max,max,2,1,min"), &about);
    assert!(number(&found, "not_one_state").is_none(), "{:?}", found.cautions);
    assert_eq!(found.settings.len(), 4);
}

#[test]
fn a_number_of_little_use_is_said_to_be_one() {
    let shots = shots(3, &[(even(6.0), 6.0)]);
    let mut restless = shots.clone();
    for (shot, brighter) in
        restless.iter_mut().zip([0.0, 0.8, -0.7, 0.4, -0.9, 0.9, -0.6, 0.7, 0.1])
    {
        shot.brighter = brighter;
    }
    let found = profile(&restless, &labelled(&restless, &[]), &About::default());
    let u95 = found.settings[0].strength.u95.get();
    assert!(u95 > 0.5, "{u95}");
    let known = ["number_unsure", "not_one_state", "frames_disagree"];
    assert!(known.iter().any(|code| number(&found, code).is_some()), "{:?}", found.cautions);
    let calm = profile(&shots, &labelled(&shots, &[]), &About::default());
    assert!(number(&calm, "number_unsure").is_none());
}

#[test]
fn the_dark_end_is_held_against_the_rating_and_the_edge_against_the_kind() {
    let shots = shots(3, &[(graduated(), 0.5)]);
    let rated = |stops| About { rated: Some(Stops::new(stops)), ..About::default() };
    for (stops, is_far) in [(2.5, false), (3.0, false), (8.0, true)] {
        let found = profile(&shots, &Wish::default(), &rated(stops));
        assert_eq!(found.filter.kind, Kind::Graduated);
        assert_eq!(number(&found, "far_from_rated").is_some(), is_far, "{stops}");
    }
    for kind in [Kind::Variable, Kind::Polariser, Kind::Stack, Kind::Solid] {
        let said = About { kind_said: true, ..About::default() };
        let found = profile(&shots, &Wish { kind: Some(kind), ..Wish::default() }, &said);
        let text = &number(&found, "looks_like_another_kind").unwrap().text;
        assert!(text.contains("one end 2.5 stops darker"), "{text}");
        assert!(text.ends_with("measure again with --kind graduated."), "{text}");
        // Nor is a pair of polarisers seen in it.
        assert!(found.usable.is_none() && found.polariser_pair.is_none());
    }
}

#[test]
fn an_even_filter_said_to_be_graduated_has_no_edge() {
    let said = About { kind_said: true, ..About::default() };
    let of = |filters: &[(Filter, f64)]| {
        let wish = Wish { kind: Some(Kind::Graduated), ..Wish::default() };
        profile(&shots(3, filters), &wish, &said)
    };
    let one = of(&[(even(6.0), 6.0)]);
    assert_eq!(one.graduation, None);
    assert!(number(&one, "looks_like_another_kind").unwrap().text.contains("--kind solid"));
    // Of several levels one thing is advised.
    let ring = of(&[(even(2.0), 2.0), (even(3.2), 3.2), (even(4.5), 4.5), (even(6.0), 6.0)]);
    let advised = ring.cautions.iter().filter(|c| c.code == "looks_like_another_kind");
    let advised: Vec<&str> = advised.map(|c| c.text.as_str()).collect();
    assert!(matches!(advised[..], [one] if one.contains("--kind variable")), "{advised:?}");
}

#[test]
fn a_ring_far_beyond_its_rating_is_told() {
    let ring: Vec<(Filter, f64)> = [1.3, 3.0, 5.0, 8.0].map(|s| (even(s), s)).into();
    let wish = Wish { kind: Some(Kind::Variable), ..Wish::default() };
    for ([weak, strong], is_far) in [([2.0, 5.0], true), ([1.5, 8.0], false), ([1.5, 12.0], false)]
    {
        let range = Some([weak, strong].map(Stops::new));
        let about = About { kind_said: true, rated_range: range, ..About::default() };
        let found = profile(&shots(3, &ring), &wish, &about);
        let told = number(&found, "range_far_from_rated");
        assert_eq!(told.is_some(), is_far, "{weak} to {strong}");
        let text = told.map_or("", |c| c.text.as_str());
        assert!(!is_far || text.contains("from 1.3 to 8.0 stops where 2.0 to 5.0"), "{text}");
    }
}

/// Two polarisers cannot take less than half of unpolarised light, which is one stop (Malus' law).
#[test]
fn a_bare_frame_under_a_marks_name_is_told() {
    let ring: Vec<(Filter, f64)> = [1.3, 4.0, 7.0].map(|s| (even(s), s)).into();
    let mut made = shots(2, &ring);
    let mark = |file: &str| match file {
        "P0004.dng" | "P0005.dng" => "min",
        "P0006.dng" | "P0007.dng" => "3",
        _ => "max",
    };
    // The ring was in the bag while its first mark was said to be shot.
    for wrong in [false, true] {
        for shot in made.iter_mut().filter(|s| wrong && mark(&s.file) == "min") {
            if !shot.filters.is_empty() {
                shot.filters.clear();
                shot.time = Time::Dial(BARE_S);
            }
        }
        let label = |shot: &Shot| {
            let is_bare = matches!(shot.file.as_str(), "P0001.dng" | "P0002.dng" | "P0003.dng")
                || shot.file.as_str() > "P0009.dng";
            let named = || Label::Filtered(Some(mark(&shot.file).to_owned()));
            (shot.file.clone(), if is_bare { Label::Bare } else { named() })
        };
        let labels = made.iter().map(label).collect();
        let wish = Wish { kind: Some(Kind::Variable), labels, ..Wish::default() };
        let about = About { kind_said: true, marks_named: true, ..About::default() };
        let found = profile(&made, &wish, &about);
        assert_eq!(found.settings.len(), 3, "{wrong}");
        let told = number(&found, "mark_takes_nothing");
        assert_eq!(told.is_some(), wrong, "{:?}", found.cautions);
        let text = told.map_or("", |c| c.text.as_str());
        let says = ["mark min", "P0004.dng, P0005.dng", "without the filter", "measure again"];
        assert!(!wrong || says.iter().all(|part| text.contains(part)), "{text}");
    }
}

/// Unpolarised light loses one stop to two in a polariser; Malus' law turns back after a quarter turn.
#[test]
fn what_no_polariser_does_is_told_of_one() {
    let said = About { kind_said: true, ..About::default() };
    let wish = Wish { kind: Some(Kind::Polariser), ..Wish::default() };
    let found = profile(&shots(3, &[(even(9.0), 9.0)]), &wish, &said);
    let text = &number(&found, "looks_like_another_kind").unwrap().text;
    assert!(
        text.contains("9.0 stops where it is lightest") && text.contains("--kind solid"),
        "{text}"
    );
    let named = |filters: &[(Filter, f64)], degrees: &str| {
        let marks = degrees.split(',').map(str::to_owned).collect();
        profile(&shots(2, filters), &Wish { marks, ..wish.clone() }, &said)
    };
    let ring: Vec<(Filter, f64)> = [1.3, 2.2, 3.4, 5.0, 7.5].map(|s| (even(s), s)).into();
    let found = named(&ring, "0,30,60,90,120");
    let text = &number(&found, "looks_like_another_kind").unwrap().text;
    assert!(text.contains("from 1.3 to 7.5 stops") && text.contains("--kind variable"), "{text}");
    let extinction = found.polarising.unwrap().extinction_stops.unwrap().stops.get();
    assert!((extinction - 6.2).abs() < 0.1, "{extinction}");
    assert!(
        number(&profile(&shots(3, &[(even(1.4), 1.4)]), &wish, &said), "looks_like_another_kind")
            .is_none()
    );
}

#[test]
fn frames_through_another_lens_are_refused_for_the_lens() {
    let shots = shots(3, &[(even(6.0), 6.0)]);
    let mut read = candidates(&small_session(5), &shots);
    for candidate in &mut read[3..6] {
        let camera = &mut candidate.outcome.as_mut().unwrap().info.camera;
        camera.lens = Some("Kelmora 35".into());
    }
    match sort(read, &Wish::default()) {
        Err(error @ SortError::NoFiltered { .. }) => {
            let text = error.to_string();
            assert!(text.contains("P0004.dng: through another lens (Kelmora 35"), "{text}");
            assert!(text.ends_with("shoot both through it"), "{text}");
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn bare_frames_named_as_leak_frames_are_told_and_take_nothing_off() {
    let shots = shots(3, &[(even(8.0), 8.0)]);
    let mut wish = labelled(&shots, &[]);
    for shot in &shots[6..] {
        wish.labels.insert(shot.file.clone(), Label::Leak);
    }
    let found = profile(&shots, &wish, &About::default());
    assert!((found.settings[0].strength.stops.get() - 8.0).abs() < 0.05);
    let text = &number(&found, "no_leak_frames").unwrap().text;
    assert!(
        text.starts_with("P0007.dng, P0008.dng, P0009.dng were named as leak frames"),
        "{text}"
    );
    assert!(text.contains("as bright as the bare frames"), "{text}");
    assert_eq!(verdict(&found, "P0008.dng").0, "no_leak");
}

/// A frame's light is that of the centre, where it is measured: here corners are lighter.
#[test]
fn frames_of_another_filter_are_told_by_the_light_of_the_centre() {
    let corners = Filter { ring: None, ..Filter::glass([6.6, 6.5, 6.4]) };
    let shots = shots(3, &[(even(3.0), 3.0), (corners, 6.5)]);
    let wish = Wish { kind: Some(Kind::Solid), ..Wish::default() };
    let found = profile(&shots, &wish, &About { kind_said: true, ..About::default() });
    let text = &number(&found, "another_level").unwrap().text;
    let measured = found.settings[0].strength.stops.get();
    let other = if (measured - 3.0).abs() < 0.1 { "6.5 stops less" } else { "3.0 stops less" };
    assert!(text.contains(other), "{measured}: {text}");
}

fn write(session: &Session, shots: &[Shot], folder: &Path) {
    std::fs::create_dir_all(folder).unwrap();
    write_all(session, &session.take(shots), folder, Compression::None, false).unwrap();
}

/// Each command that is offered is typed, and none is in the way of another.
#[test]
fn commands_for_several_shoots_keep_what_was_typed_and_their_profiles_apart() {
    let home = tempfile::tempdir().unwrap();
    let mut both = shots(3, &[(even(6.0), 6.0)]);
    let mut later = shots(3, &[(even(4.0), 4.0)]);
    later[0].pause_s = 3600.0;
    both.extend(later);
    numbered(&mut both);
    write(&small_session(6), &both, &home.path().join("both"));
    let words = ["measure", "both", "--rated", "6", "--name", "My Six", "--times", "exact"];
    let (_, said) = expect(&run(home.path(), &words), 3);
    let commands: Vec<&str> =
        said.lines().filter_map(|line| line.trim().strip_prefix("lightloss ")).collect();
    assert_eq!(commands.len(), 2, "{said}");
    for (n, (command, stops)) in commands.into_iter().zip([6.0, 4.0]).enumerate() {
        assert!(command.contains("--rated 6 --name \"My Six\" --times exact"), "{command}");
        let quoted = command.replace("\"My Six\"", "My_Six");
        let words: Vec<String> = quoted.split(' ').map(|word| word.replace('_', " ")).collect();
        expect(&run(home.path(), &words), 0);
        let out = home.path().join(format!("my-six-profile-{}", n + 1));
        let text = std::fs::read_to_string(out.join("profile.json")).unwrap();
        let kept: serde_json::Value = serde_json::from_str(&text).unwrap();
        let measured = kept["settings"][0]["strength"]["stops"].as_f64().unwrap();
        assert!((measured - stops).abs() < 0.1, "{measured}");
        assert_eq!(kept["filter"]["name"], "My Six");
    }
}

#[test]
fn a_document_that_contradicts_itself_is_refused_and_quoted_as_it_is_written() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    write(&small_session(7), &shots(3, &[(even(6.0), 6.0)]), &folder);
    let say = |document: &str| {
        let text = format!("{{\"schema\":\"lightloss-shoot/1\",{document}}}");
        std::fs::write(folder.join("shoot.json"), text).unwrap();
    };
    let words = ["measure", "shoot", "--replace"];
    say(
        r#""frames":[{"file":"P0001.dng","state":"bare"},{"file":"P0001.dng","state":"filtered"}]"#,
    );
    let (_, said) = expect(&run(home.path(), &words), 3);
    assert!(said.contains("names \"P0001.dng\" twice; take one of the two out"), "{said}");
    say(r#""filter":{"rated":[-3]}"#);
    let (_, said) = expect(&run(home.path(), &words), 3);
    assert!(said.contains("\"rated\": [-3] is no strength of a filter"), "{said}");
    say(r#""filter":{"kind":"variable","rated":[6]}"#);
    let (_, said) = expect(&run(home.path(), &words), 0);
    assert!(said.contains("the rating of 6 stops was not used"), "{said}");
}
