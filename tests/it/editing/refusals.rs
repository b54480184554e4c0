//! No dead ends: each refusal of `correct` and `which` names what to do, and that is done here, word for
//! word, until the photograph is corrected.

#![allow(clippy::unwrap_used)]

use crate::editing::pictures::{Jpeg, profile as picture_profile};
use crate::editing::{LIGHT, SIX, dng, done, evening, keyword, lightloss, planted, text, through};
use lightloss::editing::used_csv::{UsedRow, read_used, write_used};
use lightloss::tiff::Value;
use lightloss::write::dng::DngFile;
use std::path::Path;

const SIX_JSON: &str = "Heron Six.json";
/// Exif 2.32: LightSource and WhiteBalance.
const LIGHT_SOURCE: u16 = 0x9208;
const WHITE_BALANCE: u16 = 0xA403;

/// A refusal: what makes it, what is asked, what it must say, and what is asked instead, each with the
/// words of the refusal that advise it.
struct Refusal {
    made: fn(&Path),
    asked: &'static [&'static str],
    says: &'static str,
    ways: &'static [(&'static str, Way)],
}

/// What is done on an advice.
enum Way {
    /// Further words on the same command line.
    More(&'static [&'static str]),
    /// Another command line.
    Instead(&'static [&'static str]),
    /// Something done to the files, and the same command line.
    Done(fn(&Path)),
    /// Something done to the files, and another command line.
    DoneThen(fn(&Path), &'static [&'static str]),
}
use Way::{Done, DoneThen, Instead, More};

/// The photograph through the six-stop, changed.
fn changed(at: &Path, name: &str, change: impl Fn(&mut DngFile)) {
    let photo = &evening()[1];
    let mut file = dng(photo, through(photo));
    change(&mut file);
    std::fs::write(at.join(name), file.encode().unwrap()).unwrap();
}

fn exif(file: &mut DngFile, tag: u16, value: u16) {
    let exif = file.exif.as_mut().unwrap();
    exif.more.retain(|(known, _)| *known != tag);
    exif.more.push((tag, Value::Short(vec![value])));
}

/// A balance set by hand through so much of the filter's cast.
fn by_hand(at: &Path, share: f64) {
    changed(at, "L0002.dng", |file| {
        exif(file, LIGHT_SOURCE, 255);
        let cast = |c: usize| (share * (SIX[1] - SIX[c])).exp2();
        file.as_shot_neutral = Some(std::array::from_fn(|c| LIGHT[c] * cast(c)));
    });
}

fn nothing(_: &Path) {}
fn no_balance(at: &Path) {
    changed(at, "L0002.dng", |file| file.as_shot_neutral = None);
}
fn automatic(at: &Path) {
    changed(at, "L0002.dng", |file| exif(file, WHITE_BALANCE, 0));
}
fn through_the_filter(at: &Path) {
    by_hand(at, 1.0);
}
fn half_through(at: &Path) {
    by_hand(at, 0.5);
}
fn no_matrix(at: &Path) {
    changed(at, "L0002.dng", |file| file.matrices.clear());
}

fn pictures(at: &Path) {
    Jpeg { automatic: true, ..Jpeg::plain() }.write(&at.join("a.jpg"));
    Jpeg { icc: Some(b"no profile"), ..Jpeg::plain() }.write(&at.join("b.jpg"));
    Jpeg::plain().write(&at.join("c.jpg"));
    std::fs::write(at.join("ten.json"), picture_profile(true)).unwrap();
    std::fs::write(at.join("bare-ten.json"), picture_profile(false)).unwrap();
}
fn as_srgb(at: &Path) {
    Jpeg::plain().write(&at.join("b.jpg"));
}

fn corrected(at: &Path) {
    let words = ["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "5600", "--out", "once"];
    assert_eq!(lightloss(at, &words).status.code(), Some(0));
}
fn foreign_table(at: &Path) {
    std::fs::create_dir(at.join("corrected")).unwrap();
    std::fs::write(at.join("corrected/corrections.csv"), "date,what\n1,2\n").unwrap();
}
fn twins(at: &Path) {
    std::fs::create_dir(at.join("twin")).unwrap();
    std::fs::copy(at.join("L0002.dng"), at.join("twin/L0002.dng")).unwrap();
}
fn ring(at: &Path) {
    let text = std::fs::read_to_string(at.join(SIX_JSON)).unwrap();
    let mut profile: serde_json::Value = serde_json::from_str(&text).unwrap();
    profile["filter"]["kind"] = "variable".into();
    let mut other = profile["settings"][0].clone();
    profile["settings"][0]["mark"] = "1".into();
    other["mark"] = "2".into();
    profile["settings"].as_array_mut().unwrap().push(other);
    std::fs::write(at.join("ring.json"), profile.to_string()).unwrap();
}

/// A table of one row, by its filters.
fn table(at: &Path, file: &str, filters: Option<&[&str]>, profile: &str) {
    let row = UsedRow {
        file: file.to_owned(),
        filters: filters.map(|names| names.iter().map(|n| (*n).to_owned()).collect()),
        profiles: vec![profile.to_owned()],
        ..UsedRow::default()
    };
    std::fs::write(at.join("used.csv"), write_used(&[row]).unwrap()).unwrap();
}
fn blank_row(at: &Path) {
    table(at, "L0002.dng", None, SIX_JSON);
}
fn other_row(at: &Path) {
    table(at, "L0003.dng", Some(&["Heron Six"]), SIX_JSON);
}
fn no_profile(at: &Path) {
    table(at, "L0002.dng", Some(&["Heron Six"]), "");
}
fn filled_row(at: &Path) {
    table(at, "L0002.dng", Some(&["Heron Six"]), SIX_JSON);
}
fn bright_row(at: &Path) {
    table(at, "L0001.dng", Some(&["Heron Six"]), SIX_JSON);
}

const ONE: &[&str] = &["correct", "L0002.dng", "--profile", SIX_JSON];
const WITH_BARE: &[&str] = &["correct", "L0001.dng", "L0002.dng", "--profile", SIX_JSON];
const OUT: &[&str] = &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "5600"];
const BY_FRAME: &[&str] = &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "L0001.dng"];
const USED: &[&str] = &["correct", "L0002.dng", "--used", "used.csv", "--white", "5600"];
const JPEG: &[&str] = &["correct", "a.jpg", "--profile", "ten.json"];
const RAW: &[&str] = &["correct", "L0003.dng", "--profile", "ten.json", "--white", "5600"];

const NEAREST: (&str, Way) = ("--white nearest-bare", More(&["--white", "nearest-bare"]));
const FRAME: (&str, Way) = ("a frame", More(&["--white", "L0001.dng"]));
const KELVIN: (&str, Way) = ("a temperature", More(&["--white", "5600"]));
const AS_SHOT: (&str, Way) = ("--white as-shot", More(&["--white", "as-shot"]));

const BALANCES: &[Refusal] = &[
    Refusal {
        made: no_balance,
        asked: WITH_BARE,
        says: "records no balance",
        ways: &[NEAREST, FRAME, KELVIN],
    },
    Refusal { made: no_balance, asked: ONE, says: "records no balance", ways: &[FRAME, KELVIN] },
    Refusal {
        made: automatic,
        asked: WITH_BARE,
        says: "was automatic",
        ways: &[NEAREST, FRAME, KELVIN, AS_SHOT],
    },
    Refusal { made: automatic, asked: ONE, says: "was automatic", ways: &[FRAME, KELVIN, AS_SHOT] },
    Refusal {
        made: through_the_filter,
        asked: WITH_BARE,
        says: "set through the filter",
        ways: &[NEAREST, FRAME, KELVIN, AS_SHOT],
    },
    Refusal {
        made: half_through,
        asked: ONE,
        says: "nothing tells whether",
        ways: &[FRAME, KELVIN, AS_SHOT],
    },
    Refusal {
        made: no_matrix,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "5600"],
        says: "no colour matrix is known",
        ways: &[("a frame", Instead(BY_FRAME))],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "nearest-bare"],
        says: "no bare frame of this scene is known",
        ways: &[("a frame", Instead(BY_FRAME)), ("a temperature", Instead(OUT))],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "L0002.dng"],
        says: "cannot be its own frame",
        ways: &[("a frame", Instead(BY_FRAME)), ("a temperature", Instead(OUT))],
    },
    Refusal {
        made: pictures,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "c.jpg"],
        says: "records no white balance",
        ways: &[("a raw frame", Instead(BY_FRAME))],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "56"],
        says: "1500 to 50000 kelvin",
        ways: &[("a temperature", Instead(OUT))],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "dusk"],
        says: "is neither",
        ways: &[
            (
                "as-shot",
                Instead(&["correct", "L0002.dng", "--profile", SIX_JSON, "--white", "as-shot"]),
            ),
            (
                "nearest-bare",
                Instead(&[
                    "correct",
                    "L0001.dng",
                    "L0002.dng",
                    "--profile",
                    SIX_JSON,
                    "--white",
                    "nearest-bare",
                ]),
            ),
            ("a temperature", Instead(OUT)),
            ("a file", Instead(BY_FRAME)),
        ],
    },
];

const PICTURES: &[Refusal] = &[
    Refusal {
        made: pictures,
        asked: JPEG,
        says: "was automatic",
        ways: &[AS_SHOT, ("the raw file", Instead(RAW))],
    },
    Refusal {
        made: pictures,
        asked: &["correct", "c.jpg", "--profile", "ten.json", "--white", "5600"],
        says: "in its colours already",
        ways: &[
            (
                "--white as-shot",
                Instead(&["correct", "c.jpg", "--profile", "ten.json", "--white", "as-shot"]),
            ),
            ("the raw file", Instead(RAW)),
        ],
    },
    // A picture for a picture: said at once, not frame after frame.
    Refusal {
        made: pictures,
        asked: &["correct", "c.jpg", "--profile", "ten.json", "--white", "a.jpg"],
        says: "in its colours already",
        ways: &[
            (
                "--white as-shot",
                Instead(&["correct", "c.jpg", "--profile", "ten.json", "--white", "as-shot"]),
            ),
            ("the raw file", Instead(RAW)),
        ],
    },
    Refusal {
        made: pictures,
        asked: &["correct", "b.jpg", "--profile", "ten.json"],
        says: "colour profile cannot be read",
        ways: &[("export it as sRGB", Done(as_srgb)), ("the raw file", Instead(RAW))],
    },
    Refusal {
        made: pictures,
        asked: &["correct", "c.jpg", "--profile", "bare-ten.json"],
        says: "colour matrix",
        ways: &[("the raw file", Instead(RAW))],
    },
];

const FILES: &[Refusal] = &[
    Refusal {
        made: corrected,
        asked: &["correct", "once/L0002-corrected.dng", "--profile", SIX_JSON, "--white", "5600"],
        says: "corrected already",
        ways: &[("its original", Instead(OUT))],
    },
    Refusal {
        made: |at| {
            corrected(at);
            std::fs::rename(at.join("once"), at.join("corrected")).unwrap();
        },
        asked: OUT,
        says: "exists already",
        ways: &[("--replace", More(&["--replace"]))],
    },
    Refusal {
        made: foreign_table,
        asked: OUT,
        says: "is no table of corrections",
        ways: &[("--out", More(&["--out", "other"])), ("--replace", More(&["--replace"]))],
    },
    Refusal {
        made: twins,
        asked: &[
            "correct",
            "L0002.dng",
            "twin/L0002.dng",
            "--profile",
            SIX_JSON,
            "--white",
            "5600",
            "--out",
            "both",
        ],
        says: "would both become",
        ways: &[
            (
                "one by one with --out",
                Instead(&[
                    "correct",
                    "L0002.dng",
                    "--profile",
                    SIX_JSON,
                    "--white",
                    "5600",
                    "--out",
                    "first",
                ]),
            ),
            (
                "one by one with --out",
                Instead(&[
                    "correct",
                    "twin/L0002.dng",
                    "--profile",
                    SIX_JSON,
                    "--white",
                    "5600",
                    "--out",
                    "second",
                ]),
            ),
        ],
    },
    Refusal {
        made: |at| std::fs::write(at.join("corrected"), "a file in the way").unwrap(),
        asked: OUT,
        says: "cannot be made",
        ways: &[("--out", More(&["--out", "other"]))],
    },
    Refusal {
        made: |at| std::fs::create_dir(at.join("empty")).unwrap(),
        asked: &["correct", "empty", "--profile", SIX_JSON, "--white", "5600"],
        says: "no photographs found",
        ways: &[
            ("raw files", Instead(OUT)),
            (
                "a folder of them",
                Instead(&["correct", ".", "--profile", SIX_JSON, "--white", "5600"]),
            ),
        ],
    },
];

const TABLES: &[Refusal] = &[
    Refusal {
        made: blank_row,
        asked: USED,
        says: "its filter is not known",
        ways: &[("write it into the table", Done(filled_row))],
    },
    Refusal {
        made: other_row,
        asked: USED,
        says: "not in the table",
        ways: &[("add a row", Done(filled_row))],
    },
    Refusal {
        made: no_profile,
        asked: USED,
        says: "there is no profile",
        ways: &[("--profile", More(&["--profile", SIX_JSON, "Heron Ten.json"]))],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0001.dng", "--profile", SIX_JSON, "--white", "5600"],
        says: "cannot have been made through the filter",
        ways: &[(
            "write that into the table",
            DoneThen(
                bright_row,
                &["correct", "L0001.dng", "--used", "used.csv", "--white", "5600"],
            ),
        )],
    },
    Refusal {
        made: ring,
        asked: &[
            "correct",
            "L0002.dng",
            "--profile",
            "ring.json",
            "--mark",
            "9",
            "--white",
            "5600",
        ],
        says: "its marks are 1, 2",
        ways: &[
            (
                "marks are 1",
                Instead(&[
                    "correct",
                    "L0002.dng",
                    "--profile",
                    "ring.json",
                    "--mark",
                    "1",
                    "--white",
                    "5600",
                ]),
            ),
            (
                ", 2",
                Instead(&[
                    "correct",
                    "L0002.dng",
                    "--profile",
                    "ring.json",
                    "--mark",
                    "2",
                    "--white",
                    "5600",
                    "--replace",
                ]),
            ),
        ],
    },
    Refusal {
        made: nothing,
        asked: &["correct", "L0002.dng", "--profile", SIX_JSON, "--mark", "1", "--white", "5600"],
        says: "belongs to a variable filter",
        ways: &[("leave it out", Instead(OUT))],
    },
    Refusal {
        made: nothing,
        asked: &["which", "L0002.dng", "--bare", "L0001.dng", "--profile", SIX_JSON],
        says: "not among the photographs",
        ways: &[(
            "name it there too",
            Instead(&[
                "which",
                "L0002.dng",
                "L0001.dng",
                "--bare",
                "L0001.dng",
                "--profile",
                SIX_JSON,
            ]),
        )],
    },
    Refusal {
        made: filled_row,
        asked: &["which", "L0001.dng", "L0002.dng", "--profile", SIX_JSON],
        says: "exists already",
        ways: &[("--replace", More(&["--replace"]))],
    },
    Refusal {
        made: no_profile,
        asked: &[
            "which",
            "L0002.dng",
            "--used",
            "used.csv",
            "--profile",
            "Heron Ten.json",
            "--out",
            "again.csv",
        ],
        says: "there is no profile",
        ways: &[(
            "--profile",
            Instead(&[
                "which",
                "L0002.dng",
                "--used",
                "used.csv",
                "--profile",
                "Heron Ten.json",
                SIX_JSON,
                "--out",
                "again.csv",
            ]),
        )],
    },
];

fn no_dead_end(refusals: &[Refusal]) {
    for refusal in refusals {
        for (advice, way) in refusal.ways {
            let (folder, _) = planted();
            let at = folder.path();
            (refusal.made)(at);
            let refused = lightloss(at, refusal.asked);
            let said = text(&refused.stderr);
            let asked = refusal.asked.join(" ");
            assert!(!refused.status.success(), "{asked}: not refused: {said}");
            assert!(said.contains(refusal.says), "{asked}: {said}");
            assert!(said.contains(advice), "{asked}: {advice:?} is not advised: {said}");
            let words = match way {
                More(more) => [refusal.asked, more].concat(),
                Instead(other) => other.to_vec(),
                Done(change) => {
                    change(at);
                    refusal.asked.to_vec()
                }
                DoneThen(change, other) => {
                    change(at);
                    other.to_vec()
                }
            };
            let done = lightloss(at, &words);
            let (words, said) = (words.join(" "), text(&done.stderr));
            assert_eq!(done.status.code(), Some(0), "{asked}: {advice}: {words}: {said}");
            assert!(
                words.starts_with("which") || text(&done.stdout).contains("photographs corrected"),
                "{words}: {}",
                text(&done.stdout)
            );
        }
    }
}

#[test]
fn a_balance_that_cannot_be_used_leads_to_one_that_can() {
    no_dead_end(BALANCES);
}

#[test]
fn a_picture_that_cannot_be_corrected_leads_to_what_can() {
    no_dead_end(PICTURES);
}

#[test]
fn a_file_in_the_way_leads_round_it() {
    no_dead_end(FILES);
}

#[test]
fn a_table_that_lacks_something_leads_to_one_that_has_it() {
    no_dead_end(TABLES);
}

/// What cannot be evened out is said beside a corrected file, with what to do.
#[test]
fn evenness_that_is_left_names_a_way_that_works() {
    let (folder, _) = planted();
    let at = folder.path();
    ring(at);
    let asked = ["correct", "L0002.dng", "--profile", "ring.json", "--white", "5600", "--evenness"];
    let said = text(&lightloss(at, &asked).stderr);
    assert!(said.contains("evenness left as it is") && said.contains("give --mark"), "{said}");
    let advised = [&asked[..], &["--mark", "1", "--replace"]].concat();
    let said = text(&lightloss(at, &advised).stderr);
    assert!(said.contains("evenness taken out"), "{said}");
}

/// A photograph that stays blank says what to do, and that makes it known.
#[test]
fn a_blank_photograph_is_known_once_its_bare_frame_is_named() {
    let (folder, _) = planted();
    let at = folder.path();
    let six = ["--profile", SIX_JSON, "Heron Ten.json"];
    let blank = |words: &[&str]| {
        done(at, &[words, &six[..]].concat());
        let table = std::fs::read_to_string(at.join("used.csv")).unwrap();
        let rows = read_used(&table).unwrap();
        let row = rows.into_iter().find(|r| r.file.contains("L0020")).unwrap();
        (row.filters.is_none(), row.note)
    };
    let (unknown, note) = blank(&["which", "L0020.dng"]);
    assert!(unknown && note.contains("give a keyword"), "{note}");
    std::fs::write(at.join("L0020.xmp"), keyword("Heron Ten")).unwrap();
    assert!(!blank(&["which", "L0020.dng", "--replace"]).0);
}
