//! What was corrected is never corrected again, whatever it is called and wherever it lies.

#![allow(clippy::unwrap_used)]

use crate::editing::kinds::write_picture;
use crate::editing::{LIGHT, SIX, done, lightloss, packet, planted, read_rows, text};
use lightloss::editing::used_csv::write_used;
use std::path::Path;

/// Of a neutral: profiles are written to a few digits (common practice, no source).
const NEUTRAL_TOLERANCE: f64 = 0.001;

/// Exit status and everything that was said.
fn correct(at: &Path, words: &[&str]) -> (Option<i32>, String) {
    let fixed = ["--profile", "Heron Six.json", "--out", "out"];
    let output = lightloss(at, &[&["correct"], words, &fixed[..]].concat());
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

fn red_of(file: &Path) -> f64 {
    let frame = lightloss::read::read_frame(file, "it", Default::default()).unwrap();
    frame.info.as_shot_neutral.unwrap()[0]
}

#[test]
fn a_corrected_raw_file_is_refused_renamed_and_moved() {
    let (folder, _) = planted();
    let at = folder.path();
    for (number, more) in [[].as_slice(), &["--evenness"]].into_iter().enumerate() {
        let out = format!("out{number}");
        let mut asked = vec!["correct", "L0002.dng", "--profile", "Heron Six.json"];
        asked.extend(["--white", "as-shot", "--out", &out]);
        asked.extend(more);
        done(at, &asked);
        let renamed = format!("moved{number}/IMG_1.dng");
        std::fs::create_dir(at.join(format!("moved{number}"))).unwrap();
        std::fs::rename(at.join(&out).join("L0002-corrected.dng"), at.join(&renamed)).unwrap();
        for named in [renamed.as_str(), &format!("moved{number}")] {
            let words = ["correct", named, "--profile", "Heron Six.json", "--white", "as-shot"];
            let again = lightloss(at, &words);
            let said = text(&again.stderr);
            assert_eq!(again.status.code(), Some(3), "{said}");
            assert!(said.contains("corrected already (Heron Six; gains"), "{said}");
        }
    }
}

#[test]
fn a_corrected_picture_is_refused_renamed_and_moved() {
    corrected_picture_is_refused(None);
}

/// What another program left broken beside it is no place for a mark.
#[test]
fn a_corrected_picture_with_a_broken_sidecar_is_refused_renamed_and_moved() {
    corrected_picture_is_refused(Some("<x:xmpmeta><rdf:RDF cut off"));
}

fn corrected_picture_is_refused(sidecar: Option<&str>) {
    let (folder, _) = planted();
    let at = folder.path();
    write_picture(&at.join("a.jpg"), true);
    if let Some(text) = sidecar {
        std::fs::write(at.join("a.xmp"), text).unwrap();
    }
    for (number, more) in [[].as_slice(), &["--evenness"]].into_iter().enumerate() {
        let out = format!("out{number}");
        let mut asked = vec!["correct", "a.jpg", "--profile", "Heron Six.json"];
        asked.extend(["--white", "as-shot", "--out", &out]);
        asked.extend(more);
        done(at, &asked);
        let moved = format!("moved{number}");
        std::fs::create_dir(at.join(&moved)).unwrap();
        let renamed = format!("{moved}/b.tif");
        std::fs::rename(at.join(&out).join("a-corrected.tif"), at.join(&renamed)).unwrap();
        for named in [&renamed, &moved] {
            let words = ["correct", named, "--profile", "Heron Six.json", "--white", "as-shot"];
            let again = lightloss(at, &words);
            let said = text(&again.stderr);
            assert_eq!(again.status.code(), Some(3), "{said}");
            assert!(said.contains("corrected already (Heron Six"), "{said}");
        }
    }
}

#[test]
fn an_interrupted_batch_goes_on_and_a_second_one_adds_to_the_table() {
    let (folder, _) = planted();
    let at = folder.path();
    let correct = |photos: &[&str]| {
        let words = ["--profile", "Heron Six.json", "--white", "as-shot", "--out", "out"];
        lightloss(at, &[&["correct"], photos, words.as_slice()].concat())
    };
    let first = correct(&["L0002.dng"]);
    assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
    let whole = at.join("out/L0002-corrected.dng");
    let before = std::fs::metadata(&whole).unwrap().modified().unwrap();
    // As if the run had been killed after the first of two.
    let both = correct(&["L0002.dng", "L0003.dng"]);
    assert_eq!(both.status.code(), Some(0), "{}", text(&both.stderr));
    assert!(text(&both.stdout).contains("1 of these were whole"), "{}", text(&both.stdout));
    assert_eq!(std::fs::metadata(&whole).unwrap().modified().unwrap(), before, "written again");
    assert!(at.join("out/L0003-corrected.dng").exists());
    let table = std::fs::read_to_string(at.join("out/corrections.csv")).unwrap();
    assert_eq!(table.lines().count(), 3, "{table}");
    // Done to its end: not again unasked.
    assert_eq!(correct(&["L0002.dng", "L0003.dng"]).status.code(), Some(3));
}

/// A try with one balance, then the whole series with another: one series has one balance.
#[test]
fn a_file_of_another_balance_is_not_taken_for_this_one() {
    let (folder, _) = planted();
    let at = folder.path();
    let (status, said) = correct(at, &["L0011.dng", "--white", "7500"]);
    assert_eq!(status, Some(0), "{said}");
    let tried = red_of(&at.join("out/L0011-corrected.dng"));
    let all = ["L0011.dng", "L0012.dng", "L0013.dng", "--white", "as-shot"];
    let (status, said) = correct(at, &all);
    assert_eq!(status, Some(3), "{said}");
    for part in ["L0011-corrected.dng exists already", &format!("neutral {tried:.5}"), "--replace"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
    assert!(!at.join("out/L0012-corrected.dng").exists());
    let (status, said) = correct(at, &[&all[..], &["--replace"]].concat());
    assert_eq!(status, Some(0), "{said}");
    // As planted: the light's red over green, and what the filter takes more of red.
    let planted = LIGHT[0] * (SIX[1] - SIX[0]).exp2();
    for name in ["L0011", "L0012", "L0013"] {
        let red = red_of(&at.join(format!("out/{name}-corrected.dng")));
        assert!((red - planted).abs() < NEUTRAL_TOLERANCE, "{name}: {red}, planted {planted}");
    }
    assert!((tried - planted).abs() > 10.0 * NEUTRAL_TOLERANCE, "{tried}");
}

/// Whatever else shapes a file: settings left out, words of a sidecar that came later, its border, how
/// it is stored.
#[test]
fn a_file_of_other_options_is_not_taken_for_this_one() {
    let (folder, _) = planted();
    let at = folder.path();
    let sidecar = |inside: &str| {
        std::fs::write(at.join("L0011.xmp"), packet(inside, "")).unwrap();
    };
    sidecar("q:Temperature=\"5200\"");
    let (both, white) = (["L0011.dng", "L0012.dng"], ["--white", "as-shot"]);
    let asked = |photos: &[&str], more: &[&str]| correct(at, &[photos, &white, more].concat());
    let mut before: Vec<&str> = Vec::new();
    for more in [&["--drop-settings"][..], &["--crop-active"], &["--uncompressed"]] {
        drop(std::fs::remove_dir_all(at.join("out")));
        assert_eq!(asked(&both[..1], &before).0, Some(0));
        before = more.to_vec();
        let (status, said) = asked(&both, more);
        assert_eq!(status, Some(3), "{more:?}: {said}");
        assert!(said.contains("holds another correction"), "{said}");
        // The same words go on where they stopped.
        std::fs::remove_dir_all(at.join("out")).unwrap();
        assert_eq!(asked(&both[..1], more).0, Some(0));
        let (status, said) = asked(&both, more);
        assert_eq!(status, Some(0), "{more:?}: {said}");
        assert!(said.contains("1 of these were whole from an earlier run"), "{said}");
    }
    sidecar("q:Place=\"Harbour\"");
    std::fs::remove_file(at.join("out/L0012-corrected.dng")).unwrap();
    let (status, said) = asked(&both, &before);
    assert_eq!(status, Some(3), "{said}");
}

/// Counters begin anew: another photograph may have the name.
#[test]
fn a_file_of_another_photograph_of_its_name_is_not_taken_for_this_one() {
    let (folder, _) = planted();
    let at = folder.path();
    let white = ["--white", "as-shot"];
    assert_eq!(correct(at, &[&["L0011.dng"], &white[..]].concat()).0, Some(0));
    std::fs::create_dir(at.join("later")).unwrap();
    std::fs::copy(at.join("L0012.dng"), at.join("later/L0011.dng")).unwrap();
    let (status, said) = correct(at, &[&["later/L0011.dng", "L0013.dng"], &white[..]].concat());
    assert_eq!(status, Some(3), "{said}");
    assert!(said.contains("holds another correction (of another photograph, or"), "{said}");
}

/// The table said one filter, a file was written, the table was mended: the file stays, and is named.
#[test]
fn a_file_that_the_mended_table_takes_back_is_named() {
    let (folder, _) = planted();
    let at = folder.path();
    let kit = ["--profile", "Heron Six.json", "Heron Ten.json"];
    done(at, &[&["which", "."], kit.as_slice()].concat());
    let words = |photos: &[&str], more: &[&str]| {
        let fixed = ["--used", "used.csv", "--white", "as-shot", "--out", "out"];
        let output = lightloss(at, &[&["correct"], photos, &fixed[..], more].concat());
        (output.status.code(), text(&output.stdout) + &text(&output.stderr))
    };
    let (status, said) = words(&["L0002.dng", "L0003.dng"], &[]);
    assert_eq!(status, Some(0), "{said}");
    assert!(!said.contains("earlier run"), "{said}");
    let written = at.join("out/L0002-corrected.dng");
    let mend = |filters: Option<Vec<String>>| {
        let mut rows = read_rows(at, "used.csv");
        let row = rows.iter_mut().find(|row| row.file.contains("L0002")).unwrap();
        (row.filters, row.mark) = (filters, String::new());
        std::fs::write(at.join("used.csv"), write_used(&rows).unwrap()).unwrap();
    };
    for filters in [Some(Vec::new()), None] {
        mend(filters);
        for photos in [&["L0002.dng"][..], &["L0002.dng", "L0003.dng"]] {
            // Whether the rest is written again or not.
            for more in [&[][..], &["--replace"]] {
                let (status, said) = words(photos, more);
                assert_ne!(status, Some(0), "{said}");
                let named = said.contains("L0002-corrected.dng of an earlier run is still there");
                assert!(named && said.contains("delete that file"), "{said}");
                assert!(said.contains("Heron Six") && written.exists(), "{said}");
            }
        }
    }
    std::fs::remove_file(&written).unwrap();
    let (status, said) = words(&["L0002.dng", "L0003.dng"], &["--replace"]);
    assert_eq!(status, Some(0), "{said}");
    assert!(!said.contains("earlier run"), "{said}");
    // Another filter: nothing is written over unasked.
    assert_eq!(words(&["L0003.dng"], &["--replace"]).0, Some(0));
}

/// The table said a filter, and it was obeyed; without the table the light says that there was none.
#[test]
fn a_file_that_the_light_takes_back_is_named() {
    let (folder, _) = planted();
    let at = folder.path();
    let table = "file,filter\nL0001.dng,Heron Six\n";
    std::fs::write(at.join("used.csv"), table).unwrap();
    let white = ["--white", "as-shot"];
    let photos = ["L0001.dng", "L0002.dng"];
    let (status, said) = correct(at, &[&photos[..1], &white, &["--used", "used.csv"]].concat());
    assert_eq!(status, Some(0), "{said}");
    let (_, said) = correct(at, &[&photos[..], &white].concat());
    assert!(said.contains("skipped: L0001.dng"), "{said}");
    assert!(said.contains("L0001-corrected.dng of an earlier run is still there"), "{said}");
}
