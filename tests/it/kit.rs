//! The kit by its commands, as a person uses it.

#![allow(clippy::unwrap_used)]

use crate::support::{Person, small_shoot};
use lightloss::simulate::camera::Time;
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::session::Shot;
use lightloss::write::dng::Compression;
use lightloss_planted::small_session;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit").join(name)
}

impl Person {
    fn add(&self, names: &[&str]) {
        let paths: Vec<String> =
            names.iter().map(|name| fixture(name).to_str().unwrap().to_owned()).collect();
        let mut words = vec!["kit", "add"];
        words.extend(paths.iter().map(String::as_str));
        let (status, out, err) = self.run(&words);
        assert_eq!(status, 0, "{out}{err}");
    }
}

#[test]
fn a_kit_is_filled_listed_and_kept_in_order() {
    let person = Person::new();
    let (status, out, err) = person.run(&["kit"]);
    assert!(status == 0 && out.contains("No filter is kept yet"), "{out}{err}");
    assert!(!person.kit().exists(), "looking made a folder");
    person.add(&["harbour-ten", "tide-ring", "glass-turn"]);
    let (status, out, err) = person.run(&["kit"]);
    assert_eq!((status, err.as_str()), (0, ""), "{out}");
    for words in ["Harbour Ten", "Tide Ring", "Glass Turn", "to mark"] {
        assert!(out.contains(words), "{words}: {out}");
    }
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    assert!(out.trim().ends_with(person.kit().to_str().unwrap()), "{out}");
    // Every kept profile has its page beside it.
    for filter in ["harbour-ten", "tide-ring", "glass-turn"] {
        let days: Vec<PathBuf> =
            fs::read_dir(person.kit().join(filter)).unwrap().map(|e| e.unwrap().path()).collect();
        assert!(matches!(days.as_slice(), [day] if day.join("report.html").exists()), "{days:?}");
    }
    let (status, _, err) = person.run(&["kit", "rename", "harbour ten", "Old Ten"]);
    assert_eq!(status, 0, "{err}");
    let page = fs::read_dir(person.kit().join("old-ten")).unwrap().next().unwrap().unwrap().path();
    let page = fs::read_to_string(page.join("report.html")).unwrap();
    assert!(page.contains("<h1>Old Ten</h1>"));
    let (status, out, _) = person.run(&["kit", "retire", "old ten"]);
    assert!(status == 0 && out.contains("kit retire --back \"old ten\" brings"), "{out}");
    let (_, out, _) = person.run(&["kit", "list"]);
    assert!(!out.contains("Old Ten") && out.contains("1 retired filter not shown"), "{out}");
    assert!(out.contains("lightloss kit list --retired shows it."), "{out}");
    let (_, out, _) = person.run(&["kit", "list", "--retired"]);
    assert!(out.contains("Old Ten (retired)"), "{out}");
    let (status, _, err) = person.run(&["kit", "retire", "Somebody"]);
    assert!(status == 2 && err.contains("it holds"), "{err}");
    // A kit of retired filters is not empty.
    person.run(&["kit", "retire", "tide ring"]);
    person.run(&["kit", "retire", "glass turn"]);
    let (_, out, _) = person.run(&["kit"]);
    assert!(out.contains("All filters of the kit are retired"), "{out}");
    assert!(!out.contains("No filter is kept yet") && out.contains("3 retired filters"), "{out}");
}

/// The first spelling of a name is that of the filter; another measurement does not change it.
#[test]
fn a_name_in_another_spelling_renames_no_filter() {
    let person = Person::new();
    person.add(&["harbour-ten"]);
    let later = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profiles/harbour-ten-later");
    let words = ["kit", "add", later.to_str().unwrap(), "--name", "harbour  TEN"];
    let (status, out, err) = person.run(&words);
    assert_eq!(status, 0, "{err}");
    assert!(
        out.starts_with("kept Harbour Ten (the kit's name of \"harbour  TEN\") again"),
        "{out}"
    );
    let (_, out, _) = person.run(&["kit"]);
    assert!(out.contains("Harbour Ten") && !out.contains("TEN"), "{out}");
}

#[test]
fn a_measurement_is_kept_where_it_is_asked_for_and_once() {
    let person = Person::new();
    let shoot = person.home.path().join("six");
    small_shoot(&shoot);
    let (status, _, err) = person.run(&["measure", "six", "--rated", "6"]);
    assert!(status == 0 && !person.kit().exists(), "{err}");
    let again = ["measure", "six", "--rated", "6", "--replace", "--keep"];
    let (status, _, err) = person.run(&again);
    assert!(status == 0 && err.contains("kept six: "), "{err}");
    let (status, _, err) = person.run(&again);
    assert!(status == 0 && err.contains("is in the kit already"), "{err}");
    // The kit's profile is the measured one, byte for byte.
    let day = fs::read_dir(person.kit().join("six")).unwrap().next().unwrap().unwrap().path();
    let [kept, measured] = [day, person.home.path().join("six-profile")]
        .map(|folder| fs::read(folder.join("profile.json")).unwrap());
    assert!(kept == measured);
    // Measured otherwise from the same frames: not a second measurement.
    let (status, _, err) = person.run(&["measure", "six", "--rated", "7", "--out", "x", "--keep"]);
    assert!(status == 2 && err.contains("the same frames"), "{err}");
    assert!(person.home.path().join("x/profile.json").exists(), "the measurement was lost");
    let (status, _, err) =
        person.run(&["measure", "six", "--rated", "7", "--out", "x", "--keep", "--replace"]);
    assert!(status == 0 && err.contains("in the place of"), "{err}");
    assert_eq!(fs::read_dir(person.kit().join("six")).unwrap().count(), 1);
}

#[test]
fn a_damaged_profile_in_the_kit_is_named_and_stops_nothing() {
    let person = Person::new();
    person.add(&["harbour-ten"]);
    let bad = person.kit().join("weir-three/2026-01-01");
    fs::create_dir_all(&bad).unwrap();
    fs::write(bad.join("profile.json"), "{").unwrap();
    let (status, out, err) = person.run(&["kit"]);
    assert_eq!(status, 1, "{err}");
    assert!(out.contains("Harbour Ten"), "{out}");
    assert!(err.contains("weir-three") && err.contains("not a readable profile"), "{err}");
    // What cannot be read is not kept either, and nothing before it.
    let (status, _, err) =
        person.run(&["kit", "add", fixture("weir-three").to_str().unwrap(), bad.to_str().unwrap()]);
    assert_eq!(status, 3, "{err}");
    assert_eq!(fs::read_dir(person.kit()).unwrap().count(), 2, "{err}");
}

#[cfg(unix)]
#[test]
fn a_kit_that_cannot_be_written_is_said_in_one_line() {
    let person = Person::new();
    // A file in the folder's place, which not even root can write below.
    fs::write(person.kit(), "x").unwrap();
    let profile = fixture("harbour-ten");
    let add = ["kit", "add", profile.to_str().unwrap()];
    let (status, out, err) = person.run(&add);
    assert!(status == 3 && out.is_empty() && err.lines().count() == 1, "{err}");
    assert!(err.contains("LIGHTLOSS_KIT"), "{err}");
    // A disk that takes no file of this size, as `ulimit -f` makes it.
    fs::remove_file(person.kit()).unwrap();
    let script = format!(
        "trap '' XFSZ; ulimit -f 8; exec '{}' kit add '{}'",
        env!("CARGO_BIN_EXE_lightloss"),
        fixture("harbour-ten").display()
    );
    let output = Command::new("bash")
        .args(["-c", &script])
        .env("LIGHTLOSS_KIT", person.kit())
        .output()
        .unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(3), "{err}");
    assert!(err.contains("harbour-ten") && err.lines().count() == 1, "{err}");
    assert_eq!(fs::read_dir(person.kit()).unwrap().count(), 0, "something was left behind");
}

/// A shoot with one shutter time for both states, so that no time has to be trusted.
fn dated_shoot(folder: &Path, strengths: [f64; 3], day: jiff::civil::Date, seed: u64) {
    let (mut session, _) = small_session::shoot();
    session.starts = Some(day.at(10, 0, 0, 0));
    session.seed = seed;
    let filter = [Filter::even(strengths)];
    let time = Time::Dial(1.0 / 60.0);
    let mut shots = Shot::repeated("P", 1, 3, time, &[]);
    shots.extend(Shot::repeated("P", 4, 3, time, &filter));
    shots.extend(Shot::repeated("P", 7, 3, time, &[]));
    fs::create_dir_all(folder).unwrap();
    write_all(&session, &session.take(&shots), folder, Compression::None, false).unwrap();
}

/// Measures a filter once a year; the shoots' strengths in stops are planted.
fn years(person: &Person, name: &str, planted: &[[f64; 3]]) {
    for (year, strengths) in planted.iter().enumerate() {
        let folder = person.home.path().join(format!("{name}-{year}"));
        let day = jiff::civil::date(2026 + year as i16, 5, 1 + year as i8);
        dated_shoot(&folder, *strengths, day, 7 + year as u64);
        let folder = folder.to_str().unwrap();
        let out = format!("{folder}-profile");
        let words = ["measure", folder, "--name", name, "--rated", "3", "--out", &out, "--keep"];
        let (status, out, err) = person.run(&words);
        assert_eq!(status, 0, "{out}{err}");
    }
}

/// Figures of a line: the value and its uncertainty.
fn change_of(out: &str, what: &str) -> (f64, f64) {
    let line = out.lines().find(|line| line.trim().starts_with(what)).unwrap();
    let figures = line.split_once(what).unwrap().1;
    let mut words = figures.split_whitespace();
    let value = words.next().unwrap().parse().unwrap();
    assert_eq!(words.next(), Some("+-"), "{line}");
    (value, words.next().unwrap().parse().unwrap())
}

#[test]
fn a_history_tells_a_planted_change_and_none_where_there_is_none() {
    let person = Person::new();
    // A twentieth of a stop in green, 0.03 more in red.
    years(&person, "Ageing", &[[3.0, 3.0, 3.0], [3.04, 3.025, 3.02], [3.08, 3.05, 3.05]]);
    years(&person, "Steady", &[[3.1, 3.0, 2.9]; 3]);
    let (status, out, err) = person.run(&["kit", "history", "ageing", "--out", "page"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.starts_with("Ageing has changed since 1 May 2026. It takes"), "{out}");
    let (change, u95) = change_of(&out, "Strength");
    assert!((change - 0.05).abs() <= u95 && u95 < 0.05, "{change} {u95}: {out}");
    let (change, u95) = change_of(&out, "Red minus green");
    assert!((change - 0.03).abs() <= u95 && u95 < 0.03, "{change} {u95}: {out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    // The page says the same, by the same words.
    let page = fs::read_to_string(person.home.path().join("page/history.html")).unwrap();
    let answer = out.lines().take_while(|line| !line.is_empty()).collect::<Vec<_>>().join(" ");
    let plain = page.replace('\u{a0}', " ").replace('\u{b1}', "+-");
    for sentence in answer.split_inclusive(". ") {
        assert!(plain.contains(sentence.trim()), "{sentence}");
    }
    assert_eq!(page.matches("<svg").count(), 6, "three drawings in two widths");
    let (_, out, _) = person.run(&["kit", "history", "steady"]);
    assert!(out.starts_with("No change of Steady shows since 1 May 2026: "), "{out}");
    assert!(!out.contains(" changed"), "{out}");
    // The list says it in a word, the sheet in a sentence.
    let (_, out, _) = person.run(&["kit"]);
    let row = |name: &str| out.lines().find(|line| line.trim().starts_with(name)).unwrap();
    assert!(row("Ageing").contains("+0.05") && row("Steady").contains("no change"), "{out}");
    // Changes stand in the place of the age, and a name is never broken inside a word.
    person.add(&["tide-ring"]);
    let (status, _, err) = person.run(&["kit", "rename", "tide ring", "low-tide-ring-82"]);
    assert_eq!(status, 0, "{err}");
    let (_, out, _) = person.run(&["kit"]);
    let head: Vec<&str> = out.lines().next().unwrap().split_whitespace().collect();
    assert!(head.contains(&"change") && !head.contains(&"age"), "{out}");
    assert!(out.contains("low-tide-ring-82"), "{out}");
    let table = out.lines().take_while(|line| !line.is_empty());
    assert!(table.map(|line| line.chars().count()).all(|width| width <= 80), "{out}");
    let (status, out, err) = person.run(&["kit", "sheet", "ageing"]);
    assert_eq!(status, 0, "{err}");
    let sheet = fs::read_to_string(person.home.path().join(out.trim())).unwrap();
    assert!(sheet.contains("Ageing has changed since 1 May 2026"), "no history on the sheet");
    assert!(sheet.contains("Rated 3 stops"), "no claim on the sheet");
    // Its first against its newest.
    let (status, out, err) = person.run(&["compare", "ageing"]);
    assert!(status == 0 && out.contains("2028-05-03"), "{out}{err}");
    assert!(person.home.path().join("compare.html").exists());
}

/// Half a stop up and back again is no change of a filter: one of the shoots went wrong.
#[test]
fn measurements_that_contradict_each_other_are_not_called_unchanged() {
    let person = Person::new();
    years(&person, "Odd", &[[3.0; 3], [3.5; 3], [3.0; 3]]);
    let (status, out, err) = person.run(&["kit", "history", "odd"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.starts_with("The measurements of Odd contradict each other"), "{out}");
    // Which one, and no change in figures: there is none that could be told.
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("that of 2 May 2027 found 3.500 +- "), "{out}");
    assert!(flat.contains("Strength - - contradictory"), "{out}");
    let (_, out, _) = person.run(&["kit"]);
    assert!(out.contains("contradictory") && !out.contains("no change"), "{out}");
    // Kept for good from one day on it is a step, and said as soon as it is kept.
    years(&person, "Cracked", &[[3.02; 3], [3.021; 3]]);
    let folder = person.home.path().join("later");
    dated_shoot(&folder, [3.5; 3], jiff::civil::date(2028, 5, 3), 99);
    let words = ["measure", "later", "--name", "Cracked", "--out", "later-profile", "--keep"];
    let (status, out, err) = person.run(&words);
    let said = format!("{out}{err}");
    assert!(status == 0 && said.contains("Cracked has changed since 1 May 2026."), "{said}");
    assert!(said.contains("lightloss kit rename"), "{said}");
    let (_, out, _) = person.run(&["kit", "history", "cracked"]);
    assert!(out.contains("those of one step"), "{out}");
}

/// Half a stop that fades as a hyperbola does: most of it in the first of four years. Terminal, list, sheet
/// and card say one thing.
#[test]
fn a_fade_that_settles_is_told_as_one_everywhere() {
    let person = Person::new();
    let faded = |t: f64| [3.0 - 0.5 * t * 1.1 / (t + 0.1); 3];
    years(&person, "Faded", &[0.0, 0.25, 0.5, 0.75, 1.0].map(faded));
    let (status, out, err) = person.run(&["kit", "history", "faded"]);
    assert_eq!(status, 0, "{err}");
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let told = "It changes slower and slower: most of it came before 2 May 2027.";
    assert!(
        flat(&out).starts_with(&format!("Faded has changed since 1 May 2026. {told}")),
        "{out}"
    );
    assert!(flat(&out).contains("changed, slower now"), "{out}");
    let (change, u95) = change_of(&out, "Strength");
    assert!((change + 0.5).abs() <= u95 && u95 < 0.1, "{change} {u95}");
    let (_, out, _) = person.run(&["kit"]);
    assert!(out.contains("-0.5") && !out.contains("contradictory"), "{out}");
    let (status, out, err) = person.run(&["kit", "sheet", "faded"]);
    assert_eq!(status, 0, "{err}");
    let sheet = fs::read_to_string(person.home.path().join(out.trim())).unwrap();
    assert!(sheet.replace('\u{a0}', " ").contains(told), "no turn on the sheet");
    let (status, _, err) = person.run(&["card", "--out", "card"]);
    assert_eq!(status, 0, "{err}");
    let card = fs::read_to_string(person.home.path().join("card/card.html")).unwrap();
    let card = card.replace('\u{a0}', " ");
    assert!(card.contains("Changed since 1 May 2026: ") && card.contains("slower now"), "{card}");
}

#[test]
fn commands_without_a_profile_use_the_newest_of_each_filter() {
    let person = Person::new();
    for words in [["card"].as_slice(), &["choose", "--metered", "1/15", "--want", "30s"]] {
        let (status, _, err) = person.run(words);
        assert!(status == 2 && err.contains("kit add"), "{err}");
        assert_eq!(err.lines().count(), 1, "{err}");
    }
    person.add(&["harbour-ten", "weir-three", "quay-six"]);
    years(&person, "Weir Three", &[[3.3, 3.3, 3.3]]);
    person.run(&["kit", "retire", "Quay Six"]);
    let (status, out, err) = person.run(&["card"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.contains("Harbour Ten") && out.contains("3.3"), "{out}");
    assert!(!out.contains("Quay Six"), "{out}");
    let columns = out.lines().filter(|line| line.starts_with("Weir Three")).count();
    assert_eq!(columns, 1, "two measurements, two columns: {out}");
    let choose = ["choose", "--metered", "1/15", "--want", "30s..2m"];
    let (status, out, err) = person.run(&choose);
    assert!(status == 0 && out.contains("Harbour Ten"), "{out}{err}");
    // By name, retired or not; nothing else changes where a profile is given.
    let (status, out, err) = person.run(&["card", "quay six", "--out", "one"]);
    assert!(status == 0 && out.contains("Quay Six") && !out.contains("Harbour"), "{out}{err}");
    let photos = person.home.path().join("photos");
    small_shoot(&photos);
    let (status, out, err) = person.run(&["which", "photos"]);
    assert!(status == 0 && out.contains("of 6 photographs known"), "{out}{err}");
    let (status, out, err) = person.run(&["report"]);
    assert!(status == 0 && out.lines().count() == 2, "{out}{err}");
    // A kit of retired filters is not empty, and the way back that is named leads back.
    for name in ["Harbour Ten", "Weir Three"] {
        person.run(&["kit", "retire", name]);
    }
    let (status, _, err) = person.run(&["card"]);
    let back = "lightloss kit retire --back \"Harbour Ten\"";
    assert!(status == 2 && err.contains(back) && !err.contains("empty"), "{err}");
    for name in ["Harbour Ten", "Weir Three"] {
        assert_eq!(person.run(&["kit", "retire", "--back", name]).0, 0);
    }
    // A damaged newest profile is named, and the one before it used.
    let day = person.kit().join("harbour-ten/2031-01-01");
    fs::create_dir_all(&day).unwrap();
    fs::write(day.join("profile.json"), "{").unwrap();
    let (_, out, err) = person.run(&choose);
    assert!(out.contains("Harbour Ten") && err.contains("2031-01-01"), "{out}{err}");
}

/// A shoot has the name of its filter as a rule: its folder hides neither the filter in the kit nor a
/// profile of its own.
#[test]
fn a_folder_of_frames_does_not_hide_the_filter_of_its_name() {
    let person = Person::new();
    person.add(&["harbour-ten", "quay-six"]);
    let here = person.home.path();
    for folder in ["harbour ten", "low tide"] {
        fs::create_dir_all(here.join(folder).join("bare")).unwrap();
    }
    let choose = ["choose", "harbour ten", "--metered", "1/15", "--want", "30s"];
    for words in [choose.as_slice(), &["card", "harbour ten"]] {
        let (status, out, err) = person.run(words);
        assert!(status == 0 && out.contains("Harbour Ten") && !out.contains("Quay"), "{out}{err}");
    }
    let (status, out, err) = person.run(&["kit", "sheet", "harbour ten"]);
    assert!(status == 0 && out.contains("harbour-ten-sheet.html"), "{out}{err}");
    let (status, _, err) = person.run(&["compare", "harbour ten"]);
    assert!(status == 2 && err.contains("holds one measurement of \"harbour ten\""), "{err}");
    // Of two in the kit the page is written here: the kit holds what was measured.
    let (status, out, err) = person.run(&["compare", "harbour ten", "quay six"]);
    assert_eq!(status, 0, "{out}{err}");
    assert!(here.join("compare.html").exists(), "{out}");
    let days = fs::read_dir(person.kit().join("quay-six")).unwrap();
    assert!(days.map(|day| day.unwrap().path()).all(|day| !day.join("compare.html").exists()));
    // Neither a profile nor a filter: what to give is said.
    for words in [["card", "low tide"].as_slice(), &["compare", "low tide"]] {
        let (status, _, err) = person.run(words);
        assert!(status == 3 && err.contains("low tide/profile.json"), "{err}");
    }
    // A profile of its own is meant first.
    fs::copy(fixture("quay-six").join("profile.json"), here.join("harbour ten/profile.json"))
        .unwrap();
    let (status, out, err) = person.run(&["card", "harbour ten", "--out", "own"]);
    assert!(status == 0 && out.contains("Quay Six") && !out.contains("Harbour"), "{out}{err}");
}

#[test]
fn a_filter_is_merged_with_another_and_never_with_itself() {
    let person = Person::new();
    person.add(&["harbour-ten", "quay-six"]);
    let (status, out, err) = person.run(&["kit", "merge", "harbour ten", "Harbour Ten"]);
    assert!(status == 2 && out.is_empty() && err.contains("\"Harbour Ten\""), "{out}{err}");
    let (status, out, err) = person.run(&["kit", "merge", "quay six", "Harbour Ten"]);
    assert_eq!(status, 0, "{err}");
    assert_eq!(out.trim(), "1 measurement of quay six now belongs to Harbour Ten");
}

#[test]
fn a_single_measurement_says_what_its_numbers_stand_for() {
    let person = Person::new();
    person.add(&["tide-ring", "moor-edge"]);
    let (status, out, err) = person.run(&["kit", "history", "tide ring"]);
    assert!(status == 0 && out.contains("Strength is the mean over the 4 marks"), "{out}{err}");
    // Of a graduated filter the spread would be the graduation.
    let (status, out, err) = person.run(&["kit", "history", "moor edge"]);
    assert!(status == 0 && !out.contains("Strength is the mean"), "{out}{err}");
    let row = out.lines().skip_while(|line| !line.contains("camera and lens")).nth(1).unwrap();
    assert!(row.contains("2.84"), "{out}");
    assert!(!row.split_whitespace().any(|word| word == "-"), "{out}");
    for (name, has) in [("tide ring", true), ("moor edge", false)] {
        let (status, _, err) = person.run(&["kit", "history", name, "--out", name]);
        assert_eq!(status, 0, "{err}");
        let page = fs::read_to_string(person.home.path().join(name).join("history.html")).unwrap();
        assert_eq!(page.contains(">Spread<"), has, "{name}");
        assert_eq!(page.contains("spread across the frame"), has, "{name}");
    }
}

#[test]
fn a_sheet_of_each_kind_holds_claim_measurement_and_map() {
    let person = Person::new();
    for name in ["harbour-ten", "tide-ring", "moor-edge", "glass-turn"] {
        let profile = fixture(name);
        let (status, out, err) = person.run(&["kit", "sheet", profile.to_str().unwrap()]);
        assert_eq!(status, 0, "{err}");
        let sheet = fs::read_to_string(person.home.path().join(out.trim())).unwrap();
        for part in ["id=\"answer\"", "id=\"claim\"", "SHA-256", "Never look at the sun"] {
            assert!(sheet.contains(part), "{name} lacks {part}");
        }
    }
    let again = person.run(&["kit", "sheet", fixture("harbour-ten").to_str().unwrap()]);
    assert!(again.0 == 3 && again.2.contains("--replace"), "{again:?}");
}

/// Each kind's sheet for editing: kelvin for three lights, a way for the tint, multipliers, what to click;
/// the kelvin are those of the report.
#[test]
fn a_sheet_for_editing_holds_what_to_set_and_what_to_click() {
    let person = Person::new();
    for name in ["harbour-ten", "tide-ring", "moor-edge", "glass-turn"] {
        let profile = fixture(name);
        let (status, out, err) =
            person.run(&["kit", "sheet", profile.to_str().unwrap(), "--editing"]);
        assert_eq!(status, 0, "{err}");
        assert!(out.trim().ends_with("-editing.html"), "{out}");
        let sheet = fs::read_to_string(person.home.path().join(out.trim())).unwrap();
        for part in ["daylight", "overcast", "open shade", "Multiply raw values", "as shot"] {
            assert!(sheet.contains(part), "{name} lacks {part}");
        }
        assert_eq!(sheet.contains("mask along the line"), name == "moor-edge", "{name}");
        let text = fs::read_to_string(profile.join("profile.json")).unwrap();
        let parsed = lightloss::profile::json::Document::parse(&text).unwrap().profile;
        let report = lightloss::report::page(&parsed).unwrap().html;
        let table =
            sheet.split("<table>").find(|t| t.contains("<caption><span>White balance")).unwrap();
        let table = table.split("</table>").next().unwrap();
        assert!(table.contains(" K") && report.contains(table), "{name}: {table}");
    }
}
