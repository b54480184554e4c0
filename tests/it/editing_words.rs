//! What the user says of photographs: bare frames by name, an edited table, tables that move.

#![allow(clippy::unwrap_used)]

use crate::editing::{lightloss, planted, text};
use lightloss::editing::used_csv::{read_used, write_used};

const KIT: [&str; 3] = ["--profile", "Heron Six.json", "Heron Ten.json"];

#[test]
fn paths_count_from_the_table_which_moves_with_the_photographs() {
    let (folder, _) = planted();
    let at = folder.path().join("evening");
    std::fs::create_dir(&at).unwrap();
    for entry in std::fs::read_dir(folder.path()).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            std::fs::rename(&path, at.join(path.file_name().unwrap())).unwrap();
        }
    }
    let which = lightloss(&at, &[&["which", "."], KIT.as_slice()].concat());
    assert_eq!(which.status.code(), Some(0), "{}", text(&which.stderr));
    let rows = read_used(&std::fs::read_to_string(at.join("used.csv")).unwrap()).unwrap();
    assert_eq!(rows[0].file, "L0001.dng");
    assert_eq!(rows[1].bare_frame, "L0001.dng");
    assert_eq!(rows[1].profiles, ["Heron Six.json"]);
    let moved = folder.path().join("moved");
    std::fs::rename(&at, &moved).unwrap();
    let words =
        ["correct", "moved/L0002.dng", "--used", "moved/used.csv", "--white", "nearest-bare"];
    let correct = lightloss(folder.path(), &words);
    assert_eq!(correct.status.code(), Some(0), "{}", text(&correct.stderr));
    assert!(moved.join("corrected/L0002-corrected.dng").exists());
}

#[test]
fn an_edited_table_and_named_bare_frames_are_the_users_word() {
    let (folder, _) = planted();
    let at = folder.path();
    lightloss(at, &[&["which", "."], KIT.as_slice()].concat());
    let mut rows = read_used(&std::fs::read_to_string(at.join("used.csv")).unwrap()).unwrap();
    let blank = rows.len() - 1;
    assert_eq!(rows[blank].filters, None, "{:?}", rows[blank]);
    rows[blank].filters = Some(vec!["Heron Ten".to_owned()]);
    std::fs::write(at.join("mine.csv"), write_used(&rows).unwrap()).unwrap();
    let file = rows[blank].file.clone();
    let again = ["which", ".", "--used", "mine.csv", "--out", "again.csv"];
    let said = lightloss(at, &[&again, KIT.as_slice()].concat());
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let rows = read_used(&std::fs::read_to_string(at.join("again.csv")).unwrap()).unwrap();
    let row = rows.iter().find(|r| r.file == file).unwrap();
    assert_eq!(row.filters.as_deref().unwrap(), ["Heron Ten"], "{row:?}");
    assert_eq!((row.how_known.as_str(), row.how_sure.as_str()), ("as you said", "sure"));
    let bare = ["which", ".", "--bare", &file, "--out", "bare.csv"];
    let said = lightloss(at, &[&bare, KIT.as_slice()].concat());
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let rows = read_used(&std::fs::read_to_string(at.join("bare.csv")).unwrap()).unwrap();
    let row = rows.iter().find(|r| r.file == file).unwrap();
    assert_eq!(row.filters.as_deref(), Some([].as_slice()), "{row:?}");
    let stranger = ["which", "L0001.dng", "--bare", "other.dng", "--out", "no.csv"];
    let said = lightloss(at, &[&stranger, KIT.as_slice()].concat());
    assert_eq!(said.status.code(), Some(2), "{}", text(&said.stderr));
}
