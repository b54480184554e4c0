//! The user's word, and what speaks against it.

use super::*;

/// An evening of one scene: bare, then three times through the six.
fn scene() -> Vec<Picture> {
    vec![
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 12.0),
        at("18:02:00", 0, 1.0, SIX, 12.0),
        at("18:03:00", 0, 1.0, SIX, 12.0),
    ]
}

fn told_of(at: usize, told: Told) -> Vec<Told> {
    let mut all = vec![Told::Nothing; 4];
    all[at] = told;
    all
}

fn through(filter: usize, mark: Option<&str>) -> Told {
    Told::Through(vec![Used { filter, mark: mark.map(str::to_owned) }])
}

#[test]
fn the_users_word_stands_against_keywords_and_they_are_named() {
    let mut pictures = scene();
    pictures[1].info.subject = vec!["Heron Six".into()];
    let found = find(&pictures, &kit(), &told_of(1, Told::Bare), false);
    assert_eq!((&found[1].verdict, found[1].how), (&Verdict::Bare, How::User));
    assert!(found[1].doubted && !found[1].sure, "{:?}", found[1]);
    let words = "you said bare, which stands, but the light and the keywords say Heron Six";
    assert!(found[1].note.contains(words), "{}", found[1].note);
    // A keyword alone, where there is no light: a picture, not a raw file.
    pictures.truncate(2);
    pictures[1].scene = None;
    let found = find(&pictures, &kit(), &told_of(1, through(1, None)), false);
    assert_eq!(names(&found[1]), Some(vec![1]));
    let words = "you said Heron Ten, which stands, but the keywords say Heron Six";
    assert!(found[1].note.contains(words) && found[1].sure, "{:?}", found[1]);
}

#[test]
fn the_users_word_stands_against_the_light_and_its_equals_say_why_they_are_blank() {
    let found = find(&scene(), &kit(), &told_of(3, Told::Bare), false);
    assert_eq!((&found[3].verdict, found[3].how), (&Verdict::Bare, How::User));
    // Nor is it called likely in the same breath.
    assert!(found[3].doubted && !found[3].sure, "{:?}", found[3]);
    let words = "you said bare, which stands, but the light says Heron Six; look at it again";
    assert!(found[3].note.contains(words), "{}", found[3].note);
    assert_eq!(names(&found[0]), Some(vec![]));
    let file = scene()[3].info.file.clone();
    for equal in &found[1..3] {
        let blank = equal.verdict == Verdict::Unknown;
        let said = format!("you said bare of {file}, but the light says Heron Six");
        assert!(blank && equal.note.contains(&said), "{equal:?}");
        assert!(!equal.note.contains("say which frame"), "{equal:?}");
    }
    // Taken back, they are known; so is one that is told itself.
    assert!(all(&judged(&scene(), &kit()))[1..].iter().all(|f| *f == Some(vec![0])));
    let mut told = told_of(3, Told::Bare);
    told[1] = through(0, None);
    assert_eq!(names(&find(&scene(), &kit(), &told, false)[1]), Some(vec![0]));
}

#[test]
fn what_the_light_says_too_is_sure_and_nothing_is_said_against_it() {
    let found = find(&scene(), &kit(), &told_of(1, through(0, None)), false);
    assert_eq!((names(&found[1]), found[1].how, found[1].sure), (Some(vec![0]), How::User, true));
    assert!(!found[1].note.contains("you said") && !found[1].doubted, "{:?}", found[1]);
}

/// Not the filter beside what was said, though the light shows it: just what was said.
#[test]
fn a_filter_that_is_said_is_the_only_one() {
    let mut pictures = scene();
    pictures[2] = at("18:03:00", 0, 16.0, TEN, 12.0);
    pictures[3] = at("18:05:00", 0, 512.0, BOTH, 12.0);
    assert_eq!(names(&judged(&pictures, &kit())[3]), Some(vec![0, 1]));
    let found = find(&pictures, &kit(), &told_of(3, through(1, None)), false);
    assert_eq!(names(&found[3]), Some(vec![1]));
    let words = "you said Heron Ten, which stands, but the light says Heron Six + Heron Ten";
    assert!(found[3].note.contains(words), "{}", found[3].note);
}

#[test]
fn a_mark_that_is_said_stands_and_the_one_that_the_light_shows_is_named() {
    let ring = profile(
        "Ring",
        "variable",
        &[(Some("1"), [2.0; 3]), (Some("2"), [3.5; 3]), (Some("3"), [5.0; 3])],
    );
    let pictures =
        [at("18:00:00", 0, 1.0 / 256.0, BARE, 15.0), at("18:00:40", 0, 1.0 / 32.0, [3.5; 3], 15.0)];
    let said =
        |mark| find(&pictures, std::slice::from_ref(&ring), &[Told::Bare, through(0, mark)], false);
    let seen = |mark: &str| Verdict::Through(vec![Used { filter: 0, mark: Some(mark.to_owned()) }]);
    let found = said(Some("3"));
    assert_eq!(found[1].verdict, seen("3"));
    let words = "you said Ring mark 3, which stands, but the light says Ring mark 2";
    assert!(found[1].note.contains(words), "{}", found[1].note);
    let found = said(None);
    assert_eq!((&found[1].verdict, found[1].how), (&seen("2"), How::User));
    assert!(!found[1].note.contains("you said"), "{}", found[1].note);
}

/// Three at once are no state: the light is not asked, and that is said.
#[test]
fn a_stack_that_is_not_looked_for_stands_and_is_not_denied() {
    let mut kit = kit();
    kit.push(profile("Heron Three", "solid", &[(None, [3.0, 3.1, 3.2])]));
    let three = (0..3).map(|filter| Used { filter, mark: None }).collect();
    let found = find(&scene(), &kit, &told_of(1, Told::Through(three)), false);
    assert_eq!(names(&found[1]), Some(vec![0, 1, 2]));
    let note = &found[1].note;
    assert!(note.contains("the light was not asked") && !note.contains("you said"), "{note}");
    assert_eq!(all(&found)[2..], [Some(vec![0]), Some(vec![0])], "{found:#?}");
}

/// Two filters that take the same: no bare frame parts them, a word does.
#[test]
fn where_two_filters_are_alike_only_a_word_is_asked_for() {
    let twins = [
        profile("Heron Six", "solid", &[(None, SIX)]),
        profile("Teal Six", "solid", &[(None, [6.11, 6.06, 6.01])]),
    ];
    let mut pictures = scene();
    pictures.truncate(2);
    let found = find(&pictures, &twins, &[Told::Bare], false);
    assert_eq!(names(&found[1]), None);
    let advice = "they look alike: give a keyword, or write its filter into the table";
    assert!(found[1].note.contains(advice), "{}", found[1].note);
    assert!(!found[1].note.contains("say which frame"), "{}", found[1].note);
    let found = find(&pictures, &twins, &[Told::Nothing, through(1, None)], false);
    assert_eq!(names(&found[1]), Some(vec![1]));
    pictures[1].info.subject = vec!["Teal Six".into()];
    assert_eq!(names(&find(&pictures, &twins, &[], false)[1]), Some(vec![1]));
}

/// Through a filter that lies between two of the kit: bare is known, and is not asked for again.
#[test]
fn a_bare_frame_that_is_known_is_not_asked_for() {
    let pictures = [at("20:00:00", 1, 2.0, BARE, 3.0), at("20:01:00", 1, 4.0, NOBODYS, 3.0)];
    let kit = [
        profile("Heron Three", "solid", &[(None, [3.7, 3.9, 4.2])]),
        profile("Teal Four", "solid", &[(None, [4.1, 4.3, 4.6])]),
    ];
    let found = find(&pictures, &kit, &[Told::Bare], false);
    let note = &found[1].note;
    assert_eq!(names(&found[1]), None, "{note}");
    assert!(!note.contains("say which frame") && note.contains("give a keyword"), "{note}");
}

/// What is kept from one word to the next changes nothing: an album that heard other words before finds
/// what one finds that hears these first.
#[test]
fn a_word_taken_back_leaves_nothing_behind() {
    let mut pictures = scene();
    pictures.push(at("18:30:00", 1, 16.0, TEN, 11.0));
    pictures.push(at("18:31:00", 1, 1.0 / 64.0, BARE, 11.0));
    let album = Album::new(pictures.clone(), kit());
    let bare = |at: usize| told_of(at, Told::Bare);
    let words = [vec![], bare(3), told_of(1, through(1, None)), vec![], bare(0), bare(3)];
    for told in words {
        let fresh = find(&pictures, &kit(), &told, false);
        assert_eq!(album.find(&told, false), fresh, "{told:?}");
    }
    // Nor does it matter whether the first frames were said to be bare before.
    assert_eq!(album.find(&[], true), find(&pictures, &kit(), &[], true));
    assert_eq!(album.find(&[], false), find(&pictures, &kit(), &[], false));
}
