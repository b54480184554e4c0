//! What the user says of photographs: bare frames by name, an edited table, tables that move.

#![allow(clippy::unwrap_used)]

use crate::editing::{done, lightloss, packet, planted, read_rows, text};
use lightloss::editing::used_csv::write_used;

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
    done(&at, &[&["which", "."], KIT.as_slice()].concat());
    let rows = read_rows(&at, "used.csv");
    assert_eq!(rows[0].file, "L0001.dng");
    assert_eq!(rows[1].bare_frame, "L0001.dng");
    assert_eq!(rows[1].profiles, ["Heron Six.json"]);
    let moved = folder.path().join("moved");
    std::fs::rename(&at, &moved).unwrap();
    let words =
        ["correct", "moved/L0002.dng", "--used", "moved/used.csv", "--white", "nearest-bare"];
    done(folder.path(), &words);
    assert!(moved.join("corrected/L0002-corrected.dng").exists());
}

#[test]
fn an_edited_table_and_named_bare_frames_are_the_users_word() {
    let (folder, _) = planted();
    let at = folder.path();
    lightloss(at, &[&["which", "."], KIT.as_slice()].concat());
    let mut rows = read_rows(at, "used.csv");
    let blank = rows.len() - 1;
    assert_eq!(rows[blank].filters, None, "{:?}", rows[blank]);
    rows[blank].filters = Some(vec!["Heron Ten".to_owned()]);
    std::fs::write(at.join("mine.csv"), write_used(&rows).unwrap()).unwrap();
    let file = rows[blank].file.clone();
    let again = ["which", ".", "--used", "mine.csv", "--out", "again.csv"];
    let said = lightloss(at, &[&again, KIT.as_slice()].concat());
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let rows = read_rows(at, "again.csv");
    let row = rows.iter().find(|r| r.file == file).unwrap();
    assert_eq!(row.filters.as_deref().unwrap(), ["Heron Ten"], "{row:?}");
    assert_eq!((row.how_known.as_str(), row.how_sure.as_str()), ("as you said", "sure"));
    let bare = ["which", ".", "--bare", &file, "--out", "bare.csv"];
    done(at, &[&bare, KIT.as_slice()].concat());
    let rows = read_rows(at, "bare.csv");
    let row = rows.iter().find(|r| r.file == file).unwrap();
    assert_eq!(row.filters.as_deref(), Some([].as_slice()), "{row:?}");
    let stranger = ["which", "L0001.dng", "--bare", "other.dng", "--out", "no.csv"];
    let said = lightloss(at, &[&stranger, KIT.as_slice()].concat());
    assert_eq!(said.status.code(), Some(2), "{}", text(&said.stderr));
}

/// As `evening/*` names them: what is no photograph, but lies beside them, is no fault.
#[test]
fn sidecars_and_tables_among_the_photographs_named_are_passed_over() {
    let (folder, _) = planted();
    let at = folder.path();
    std::fs::write(at.join("L0002.xmp"), packet("", "")).unwrap();
    std::fs::write(at.join("L0003.dng.xmp"), packet("", "")).unwrap();
    std::fs::write(at.join("Thumbs.db"), "x").unwrap();
    let photos = ["L0001.dng", "L0002.dng", "L0003.dng"];
    let beside = ["L0002.xmp", "L0003.dng.xmp", "Thumbs.db", "used.csv"];
    let done = |words: &[&[&str]]| {
        let output = lightloss(at, &words.concat());
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        assert!(!text(&output.stderr).contains("unreadable"), "{}", text(&output.stderr));
    };
    done(&[&["which"], &photos, &beside[..3], &KIT]);
    done(&[&["which"], &photos, &beside, &KIT, &["--used", "used.csv", "--replace"]]);
    let rows = read_rows(at, "used.csv");
    assert_eq!(rows.len(), photos.len());
    done(&[&["correct"], &photos, &beside, &["--used", "used.csv", "--white", "5600"]]);
    let alone = lightloss(at, &[&["which", "L0002.xmp"], KIT.as_slice()].concat());
    assert_eq!(alone.status.code(), Some(3));
    assert!(text(&alone.stderr).contains("no photographs found"), "{}", text(&alone.stderr));
}

/// Its cells spell out what a terminal should not show; the paths are those of the files still.
#[cfg(unix)]
#[test]
fn bare_frames_are_found_in_a_folder_with_a_line_break_in_its_name() {
    let (folder, _) = planted();
    let at = folder.path();
    let odd = "\u{c4} bend\nby the sea";
    std::fs::create_dir(at.join(odd)).unwrap();
    for name in ["L0001.dng", "L0002.dng", "L0003.dng"] {
        std::fs::rename(at.join(name), at.join(odd).join(name)).unwrap();
    }
    done(at, &[&["which", odd], KIT.as_slice()].concat());
    let table = format!("{odd}/used.csv");
    let rows = read_rows(at, &table);
    assert_eq!((rows[1].file.as_str(), rows[1].bare_frame.as_str()), ("L0002.dng", "L0001.dng"));
    let photo = format!("{odd}/L0002.dng");
    let words = ["correct", &photo, "--used", &table, "--white", "nearest-bare"];
    done(at, &words);
}
