//! What is named for photographs is held against what they show and against itself: filters, bare frames,
//! frames for the light without the filter, words of a table.

#![allow(clippy::unwrap_used)]

use crate::editing::{
    self, LIGHT, SIX, dng, evening, keyword, lightloss, planted, profile, read_rows, text, through,
};
use lightloss::editing::used_csv::{UsedRow, write_used};
use std::path::Path;

const SIX_JSON: &str = "Heron Six.json";
const TEN_JSON: &str = "Heron Ten.json";
const KIT: [&str; 3] = ["--profile", SIX_JSON, TEN_JSON];
/// How near a neutral must come to the planted one, as a share: the table has four decimals.
const NEUTRAL: f64 = 0.0005;

/// Exit status, standard output, standard error.
fn run(at: &Path, words: &[&[&str]]) -> (Option<i32>, String, String) {
    let output = lightloss(at, &words.concat());
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn refused(at: &Path, words: &[&[&str]], why: &[&str]) -> String {
    let (status, out, err) = run(at, words);
    assert_ne!(status, Some(0), "{words:?}: {out}{err}");
    for part in why {
        assert!(err.contains(part), "{words:?}: {part:?} is not said: {err}");
    }
    err
}

fn done(at: &Path, words: &[&[&str]]) -> String {
    editing::done(at, &words.concat())
}

fn row(file: &str, filters: &[&str]) -> UsedRow {
    UsedRow {
        file: file.into(),
        filters: Some(filters.iter().map(|f| (*f).to_owned()).collect()),
        profiles: vec![SIX_JSON.into(), TEN_JSON.into()],
        ..UsedRow::default()
    }
}

fn with_bare(file: &str, filters: &[&str], bare: &str) -> UsedRow {
    UsedRow { bare_frame: bare.into(), ..row(file, filters) }
}

fn table(at: &Path, rows: &[UsedRow]) {
    std::fs::write(at.join("used.csv"), write_used(rows).unwrap()).unwrap();
}

fn number(at: &Path, file: &str, column: &str) -> String {
    let table = std::fs::read_to_string(at.join(file)).unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let place = reader.headers().unwrap().iter().position(|h| h == column).unwrap();
    let first = reader.records().next().unwrap().unwrap();
    first.get(place).unwrap().to_owned()
}

/// A frame of the evening written again with other settings.
fn again(at: &Path, of: usize, name: &str, clock: &'static str, neutral: [f64; 3]) {
    let mut photo = evening().swap_remove(of);
    photo.clock = clock;
    let mut file = dng(&photo, through(&photo));
    file.as_shot_neutral = Some(neutral);
    std::fs::write(at.join(name), file.encode().unwrap()).unwrap();
}

#[test]
fn a_bare_frame_that_the_table_calls_filtered_is_refused() {
    let (folder, _) = planted();
    let at = folder.path();
    let asked = ["correct", "L0002.dng", "--used", "used.csv", "--out", "o", "--replace"];
    let six = ["Heron Six"];
    table(at, &[with_bare("L0002.dng", &six, "L0003.dng"), row("L0003.dng", &["Heron Ten"])]);
    let why = ["gives L0003.dng as its bare frame", "made through Heron Ten", "leave it blank"];
    for white in [&["--white", "nearest-bare"][..], &[]] {
        let said = refused(at, &[&asked, white], &[]);
        let said = said.replace(&format!("{}/", at.canonicalize().unwrap().display()), "");
        let said = said.replace(&format!("{}/", at.display()), "");
        assert!(why.iter().all(|part| said.contains(part)), "{said}");
    }
    assert!(!at.join("o").exists());
    // A temperature does not ask for it.
    done(at, &[&asked, &["--white", "5600"]]);
    table(at, &[with_bare("L0002.dng", &six, "L0002.dng")]);
    refused(at, &[&asked, &["--white", "nearest-bare"]], &["it is that photograph itself"]);
    // As advised.
    table(at, &[with_bare("L0002.dng", &six, "L0001.dng"), row("L0001.dng", &[])]);
    done(at, &[&asked, &["--white", "nearest-bare"]]);
    table(at, &[row("L0002.dng", &six), row("L0001.dng", &[])]);
    done(at, &[&["correct", "L0001.dng"], &asked[1..], &["--white", "nearest-bare"]]);
}

/// Of the evening, the first two scenes were made through the six, the ten, both and none.
#[test]
fn what_the_light_says_against_a_profile_is_named() {
    let (folder, _) = planted();
    let at = folder.path();
    let asked = ["correct", ".", "--profile", SIX_JSON, "--white", "5600", "--out", "o"];
    let said = done(at, &[&asked]);
    let against = |file: &str| {
        let named = format!("{file}.dng: you said Heron Six, which stands, but ");
        said.lines().any(|line| line.contains(&named))
    };
    for photo in evening().iter().filter(|photo| photo.scene < 2) {
        let other = !photo.filters.is_empty() && photo.filters != ["Heron Six"];
        assert_eq!(against(photo.name), other, "{}: {said}", photo.name);
    }
    let table = std::fs::read_to_string(at.join("o/corrections.csv")).unwrap();
    let row = table.lines().find(|line| line.starts_with("./L0004.dng")).unwrap();
    assert!(row.contains("fits no filter, mark or stack of those named"), "{row}");
    // A stack of which one part was on.
    std::fs::write(at.join("three.json"), profile("Heron Three", [3.0, 3.0, 3.6])).unwrap();
    std::fs::write(at.join("L0001.xmp"), keyword("bare")).unwrap();
    let two = ["correct", "L0001.dng", "L0002.dng", "--white", "5600", "--out", "p"];
    let said = done(at, &[&two, &["--profile", SIX_JSON, "three.json"]]);
    let words =
        "L0002.dng: you said Heron Six + Heron Three, which stands, but the light says Heron Six; ";
    assert!(said.contains(words), "{said}");
}

#[test]
fn a_frame_as_dark_as_what_it_is_for_is_no_light_without_the_filter() {
    let (folder, _) = planted();
    let at = folder.path();
    let asked = ["correct", "L0012.dng", "--profile", SIX_JSON, "--out", "o", "--replace"];
    let frame = |name| ["--white", name];
    let why = [
        "it shows the scene of L0012.dng no brighter than that does",
        "Heron Six takes 6.1",
        "--used",
    ];
    refused(at, &[&asked, &frame("L0011.dng")], &why);
    assert!(!at.join("o").exists());
    // As advised: a frame without a filter, a temperature, the user's word in a table.
    done(at, &[&asked, &frame("L0010.dng")]);
    done(at, &[&asked, &frame("5600")]);
    table(at, &[row("L0012.dng", &["Heron Six"]), row("L0011.dng", &[])]);
    let used = ["correct", "L0012.dng", "--used", "used.csv", "--out", "o", "--replace"];
    done(at, &[&used, &frame("L0011.dng")]);
    // What light may have done in a quarter of an hour is doubted only.
    again(at, 5, "L0014.dng", "19:35:00", LIGHT);
    let said = done(at, &[&asked, &frame("L0014.dng")]);
    assert!(said.contains("caution: --white L0014.dng: it shows the scene of L0012.dng"), "{said}");
    let said = done(at, &[&asked, &frame("L0010.dng")]);
    assert!(!said.contains("it shows the scene"), "{said}");
    // Of another scene nothing is known.
    let said = done(at, &[&asked, &frame("L0002.dng")]);
    assert!(!said.contains("it shows the scene"), "{said}");
}

#[test]
fn one_filter_twice_is_refused_by_name() {
    let (folder, _) = planted();
    let at = folder.path();
    let asked = ["correct", "L0002.dng", "--white", "5600"];
    let twice = ["--profile", SIX_JSON, "./Heron Six.json"];
    refused(at, &[&asked, &twice], &["names \"Heron Six\" twice", "name it once"]);
    done(at, &[&asked, &twice[..2]]);
    table(at, &[row("L0002.dng", &["Heron Six", "heron six"])]);
    let why = ["row of \"L0002.dng\"", "the filter \"Heron Six\" twice", "name it once"];
    refused(at, &[&asked, &["--used", "used.csv"]], &why);
    refused(at, &[&["which", "L0002.dng", "--used", "used.csv", "--out", "a.csv"]], &why);
}

/// A table written by hand, without a column for bare frames. Each bare frame has a balance of its own.
#[test]
fn the_nearest_row_without_a_filter_of_the_scene_is_its_bare_frame() {
    const FIRST: [f64; 3] = [0.50, 1.0, 0.70];
    const LATER: [f64; 3] = [0.60, 1.0, 0.50];
    let (folder, _) = planted();
    let at = folder.path();
    again(at, 0, "L0001.dng", "19:00:00", FIRST);
    again(at, 0, "L0005.dng", "19:06:00", LATER);
    // Nearer in time, of another scene.
    again(at, 4, "L0010.dng", "19:01:30", LATER);
    let rows = "file,filter,mark,profiles\nL0001.dng,none,,\nL0005.dng,none,,\nL0010.dng,none,,\n\
                L0002.dng,Heron Six,,Heron Six.json\n";
    std::fs::write(at.join("used.csv"), rows).unwrap();
    let end = ["--used", "used.csv", "--white", "nearest-bare", "--out", "o", "--replace"];
    done(at, &[&["correct", "L0001.dng", "L0005.dng", "L0010.dng", "L0002.dng"], &end]);
    let planted = FIRST[0] * (SIX[1] - SIX[0]).exp2();
    let found: f64 = number(at, "o/corrections.csv", "neutral_red").parse().unwrap();
    assert!((found / planted - 1.0).abs() < NEUTRAL, "{found}, {planted} is planted");
    // None of this scene among the photographs: what is advised leads on.
    let why = ["no bare frame of this scene", "as its bare_frame", "lightloss which --used"];
    refused(at, &[&["correct", "L0010.dng", "L0002.dng"], &end], &why);
    let all = ["which", "L0001.dng", "L0005.dng", "L0010.dng", "L0002.dng", "--used", "used.csv"];
    done(at, &[&all, &["--out", "found.csv"]]);
    let by_which = ["--used", "found.csv", "--white", "nearest-bare", "--out", "p"];
    done(at, &[&["correct", "L0010.dng", "L0002.dng"], &by_which]);
    table(at, &[with_bare("L0002.dng", &["Heron Six"], "L0001.dng")]);
    done(at, &[&["correct", "L0010.dng", "L0002.dng"], &end]);
}

#[test]
fn the_programs_own_words_stand_in_the_table() {
    let (folder, _) = planted();
    let at = folder.path();
    let rows = "file,filter,profiles\nL0001.dng,Bare,\nL0010.dng,no filter,\nL0003.dng,?,\n\
                L0002.dng,Heron Six,Heron Six.json\n";
    std::fs::write(at.join("used.csv"), rows).unwrap();
    let said = done(at, &[&["correct", ".", "--used", "used.csv", "--white", "5600"]]);
    for (file, reason) in [("L0001", "without a filter"), ("L0010", "without a filter")] {
        assert!(said.contains(&format!("{file}.dng: made {reason}")), "{file}: {said}");
    }
    assert!(said.contains("L0003.dng: its filter is not known"), "{said}");
    done(at, &[&["which", ".", "--used", "used.csv", "--out", "again.csv"], &KIT]);
    let again = read_rows(at, "again.csv");
    let of = |file: &str| again.iter().find(|row| row.file == file).unwrap();
    for file in ["L0001.dng", "L0010.dng"] {
        let known = (of(file).filters.as_deref(), of(file).how_known.as_str());
        assert_eq!(known, (Some(&[][..]), "as you said"), "{file}");
    }
    assert_ne!(of("L0003.dng").how_known, "as you said");
    // A note that speaks of it names the word.
    let blank = of("L0020.dng");
    assert!(blank.note.contains("(none in the table)"), "{blank:?}");
    // A filter of that name is one; it gets no such name here.
    std::fs::write(at.join("bare.json"), profile("Bare", SIX)).unwrap();
    let with = ["correct", ".", "--used", "used.csv", "--white", "5600", "--out", "o"];
    let said = done(at, &[&with, &["--profile", "bare.json", SIX_JSON]]);
    assert!(said.contains("series 1, Bare:") || said.contains("series 2, Bare:"), "{said}");
    let why = ["says in tables and keywords that there was no filter", "another name"];
    let kit = at.join("kit");
    let mut add = crate::support::program();
    add.current_dir(at).env("LIGHTLOSS_KIT", &kit).args(["kit", "add", SIX_JSON, "--name", "none"]);
    let refused = text(&add.output().unwrap().stderr);
    assert!(why.iter().all(|part| refused.contains(part)), "{refused}");
}

#[test]
fn two_photographs_of_one_name_are_told_apart_and_refused_before_anything_is_said() {
    let (folder, _) = planted();
    let at = folder.path();
    for side in ["one", "two"] {
        std::fs::create_dir(at.join(side)).unwrap();
        for name in ["L0001.dng", "L0002.dng"] {
            std::fs::copy(at.join(name), at.join(side).join(name)).unwrap();
        }
    }
    let said = done(at, &[&["which", "one", "two", "--out", "used.csv"], &KIT]);
    for file in ["one/L0001.dng", "two/L0001.dng", "one/L0002.dng", "two/L0002.dng"] {
        assert!(said.contains(&format!(" {file} ")), "{file}: {said}");
    }
    assert!(said.contains("than one/L0001.dng") || said.contains("than two/L0001.dng"), "{said}");
    let both = ["correct", "one/L0002.dng", "two/L0002.dng", "--profile", SIX_JSON];
    let white = ["--white", "5600"];
    let (status, out, err) = run(at, &[&both, &white, &["--out", "o"]]);
    assert_eq!(status, Some(2), "{err}");
    assert!(err.contains("would both become") && out.is_empty(), "{out}{err}");
    // Numbers alone lie in one place.
    done(at, &[&both, &white, &["--gains-only"]]);
    assert!(
        at.join("one/corrected/corrections.csv").exists() && !at.join("two/corrected").exists()
    );
}

#[test]
fn a_table_that_cannot_be_read_says_why() {
    let (folder, _) = planted();
    let at = folder.path();
    let asked = ["correct", "L0002.dng", "--used", "used.csv", "--white", "5600"];
    let sound = "file,filter,profiles\nL0001.dng,none,\nL0002.dng,Heron Six,Heron Six.json\n";
    for (bytes, why) in [
        (sound.replace("Heron Six,", "\"Heron Six,").into_bytes(), "line 3: a quote"),
        (Vec::new(), "the table is empty"),
        (b"PK\x03\x04\x14\0".to_vec(), "save it as CSV (UTF-8)"),
    ] {
        std::fs::write(at.join("used.csv"), bytes).unwrap();
        refused(at, &[&asked], &[why]);
    }
    let wide = sound.encode_utf16().flat_map(u16::to_le_bytes);
    let wide: Vec<u8> = [0xFF, 0xFE].into_iter().chain(wide).collect();
    std::fs::write(at.join("used.csv"), wide).unwrap();
    done(at, &[&asked]);
}
