//! What was corrected is never corrected again, whatever it is called and wherever it lies.

#![allow(clippy::unwrap_used)]

use crate::editing::{lightloss, planted, text};
use crate::editing_kinds::write_picture;

#[test]
fn a_corrected_raw_file_is_refused_renamed_and_moved() {
    let (folder, _) = planted();
    let at = folder.path();
    for (number, more) in [[].as_slice(), &["--evenness"]].into_iter().enumerate() {
        let out = format!("out{number}");
        let mut asked = vec!["correct", "L0002.dng", "--profile", "Heron Six.json"];
        asked.extend(["--white", "as-shot", "--out", &out]);
        asked.extend(more);
        let first = lightloss(at, &asked);
        assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
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
        let first = lightloss(at, &asked);
        assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
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
