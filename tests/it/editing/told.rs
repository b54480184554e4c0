//! The table of `which`, read again: what the user changed in it rules, what he left does not, and
//! every refusal says what to do.

#![allow(clippy::unwrap_used)]

use crate::editing::{TEN, done, lightloss, planted, profile, read_rows, text};
use crate::support::program;
use lightloss::editing::used_csv::{UsedRow, write_used};
use std::path::Path;

const KIT: [&str; 3] = ["--profile", "Heron Six.json", "Heron Ten.json"];
const TURNED: [&str; 3] = ["--profile", "Heron Ten.json", "Heron Six.json"];

fn row<'a>(rows: &'a [UsedRow], file: &str) -> &'a UsedRow {
    rows.iter().find(|row| row.file.contains(file)).unwrap()
}

/// A table, changed.
fn changed(at: &Path, from: &str, to: &str, change: &dyn Fn(&mut UsedRow)) {
    let mut rows = read_rows(at, from);
    rows.iter_mut().for_each(change);
    std::fs::write(at.join(to), write_used(&rows).unwrap()).unwrap();
}

/// Exit status and everything that was said.
fn run(at: &Path, words: &[&str]) -> (Option<i32>, String) {
    let output = lightloss(at, words);
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

fn refused(at: &Path, words: &[&str]) -> String {
    let (status, said) = run(at, words);
    assert_eq!(status, Some(2), "{words:?}: {said}");
    said
}

/// The same with a kit in the folder.
fn run_with_kit(at: &Path, words: &[&str]) -> (Option<i32>, String) {
    let kit = at.join("kit");
    let output = program().current_dir(at).env("LIGHTLOSS_KIT", kit).args(words).output().unwrap();
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

fn evening() -> tempfile::TempDir {
    let (folder, _) = planted();
    done(folder.path(), &[&["which", "."], KIT.as_slice()].concat());
    folder
}

/// A ring whose marks 1 and 2 take what the ten does.
fn ring(at: &Path) {
    let mut ring: serde_json::Value = serde_json::from_str(&profile("Tide Ring", TEN)).unwrap();
    ring["filter"]["kind"] = "variable".into();
    let mut two = ring["settings"][0].clone();
    ring["settings"][0]["mark"] = "1".into();
    two["mark"] = "2".into();
    ring["settings"].as_array_mut().unwrap().push(two);
    std::fs::write(at.join("ring.json"), ring.to_string()).unwrap();
}

fn through(row: &mut UsedRow, file: &str, names: &[&str], mark: &str) {
    if row.file.contains(file) {
        row.filters = Some(names.iter().map(|n| (*n).to_owned()).collect());
        row.mark = mark.to_owned();
    }
}

#[test]
fn rows_that_were_left_as_they_were_are_nobodys_word() {
    let folder = evening();
    let at = folder.path();
    let first = read_rows(at, "used.csv");
    assert_eq!(row(&first, "L0004").found, "Heron Six + Heron Ten");
    // More filters than before, in another order.
    std::fs::write(at.join("Teal Six.json"), profile("Teal Six", [6.02, 6.1, 6.2])).unwrap();
    let more = ["Teal Six.json", "--used", "used.csv", "--out", "again.csv"];
    let said = done(at, &[&["which", "."], TURNED.as_slice(), &more].concat());
    assert!(!said.contains("you said"), "{said}");
    for row in read_rows(at, "again.csv") {
        assert_ne!(row.how_known, "as you said", "{row:?}");
    }
    // Without a kit those of the table are the profiles.
    done(at, &["which", ".", "--used", "used.csv", "--out", "own.csv"]);
    let (own, first) = (read_rows(at, "own.csv"), read_rows(at, "used.csv"));
    assert!(own.iter().zip(&first).all(|(a, b)| a.filters == b.filters), "{own:?}");
    // What was said once stays said, unless it is taken out.
    done(at, &[&["which", ".", "--bare", "L0001.dng", "--out", "bare.csv"], &KIT[..]].concat());
    let again = ["which", ".", "--used", "bare.csv", "--out", "kept.csv"];
    done(at, &[&again, KIT.as_slice()].concat());
    let kept = read_rows(at, "kept.csv");
    assert_eq!(row(&kept, "L0001").how_known, "as you said");
    assert_eq!(kept.iter().filter(|r| r.how_known == "as you said").count(), 1);
}

#[test]
fn a_group_that_was_written_stays_when_the_table_is_read_again() {
    let folder = evening();
    let at = folder.path();
    changed(at, "used.csv", "mine.csv", &|row| row.group = "evening".to_owned());
    done(at, &[&["which", ".", "--used", "mine.csv", "--out", "again.csv"], &KIT[..]].concat());
    assert!(read_rows(at, "again.csv").iter().all(|row| row.group == "evening"));
}

#[test]
fn none_in_the_table_stands_against_the_light_which_is_said() {
    let folder = evening();
    let at = folder.path();
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0002", &[], ""));
    done(at, &[&["which", ".", "--used", "mine.csv", "--out", "again.csv"], &KIT[..]].concat());
    let again = read_rows(at, "again.csv");
    let own = row(&again, "L0002");
    assert_eq!((own.filters.as_deref(), own.how_known.as_str()), (Some(&[][..]), "as you said"));
    assert!(own.note.contains("you said bare, which stands, but the light says"), "{own:?}");
    changed(at, "used.csv", "ten.csv", &|row| through(row, "L0002", &["Heron Ten"], ""));
    let bare = ["which", ".", "--used", "ten.csv", "--bare", "L0002.dng", "--out", "c.csv"];
    let said = done(at, &[&bare, KIT.as_slice()].concat());
    assert!(said.contains("--bare \"L0002.dng\": the table names a filter of it"), "{said}");
    assert_eq!(row(&read_rows(at, "c.csv"), "L0002").filters.as_deref(), Some(&[][..]));
}

#[test]
fn a_mark_that_is_none_is_refused_by_both_commands() {
    let folder = evening();
    let at = folder.path();
    ring(at);
    let which = ["which", ".", "--profile", "ring.json", "--used", "mine.csv", "--out", "a.csv"];
    let correct =
        ["correct", "L0003.dng", "--profile", "ring.json", "--used", "mine.csv", "--white", "5600"];
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &["Tide Ring"], "2.5"));
    for words in [&which[..], &correct[..]] {
        let said = refused(at, words);
        let why =
            "mine.csv, row of \"L0003.dng\": \"Tide Ring\" has no mark \"2.5\"; its marks are 1, 2";
        assert!(said.contains(why), "{said}");
    }
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &["Heron Ten"], "2"));
    for words in [&which[..], &correct[..]] {
        let said = refused(at, words);
        assert!(said.contains("\"L0003.dng\" the mark \"2\", but no variable filter"), "{said}");
    }
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &[], "2"));
    for words in [&which[..], &correct[..]] {
        let said = refused(at, words);
        assert!(said.contains("\"L0003.dng\" the mark \"2\", but no filter"), "{said}");
    }
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &["Tide Ring"], "2"));
    done(at, &which);
    assert_eq!(row(&read_rows(at, "a.csv"), "L0003").mark, "2");
    done(at, &correct);
}

#[test]
fn a_mark_on_the_command_line_fills_the_blank_ones_of_the_table() {
    let folder = evening();
    let at = folder.path();
    ring(at);
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &["Tide Ring"], ""));
    let words = ["correct", "L0003.dng", "--profile", "ring.json", "--used", "mine.csv", "--white"];
    let words = [&words[..], &["5600", "--evenness", "--mark", "2"]].concat();
    let said = done(at, &words);
    assert!(!said.contains("is not known"), "{said}");
    let table = std::fs::read_to_string(at.join("corrected/corrections.csv")).unwrap();
    assert!(table.contains("Tide Ring mark 2"), "{table}");
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0003", &["Tide Ring"], "1"));
    let said = refused(at, &words);
    assert!(said.contains("--mark \"2\"") && said.contains("leave it out"), "{said}");
    let ten = ["correct", "L0003.dng", "--used", "used.csv", "--white", "5600", "--mark", "2"];
    let said = refused(at, &ten);
    assert!(said.contains("the table names none") && said.contains("leave it out"), "{said}");
    done(at, &[&ten[..6], &["--replace"]].concat());
}

/// The filter that is written in is one of another row, whatever its case and spaces.
#[test]
fn a_row_that_is_filled_by_hand_finds_the_profiles_of_the_table() {
    let words = ["correct", "L0020.dng", "--used", "mine.csv", "--white", "5600"];
    for names in [&["heron  ten"][..], &["Heron Six+Heron Ten"], &["HERON SIX", "heron ten"]] {
        let folder = evening();
        let at = folder.path();
        assert_eq!(row(&read_rows(at, "used.csv"), "L0020").filters, None);
        changed(at, "used.csv", "mine.csv", &|row| {
            through(row, "L0020", names, "");
            // As typed, without quotes.
            row.note.clear();
        });
        let typed = std::fs::read_to_string(at.join("mine.csv")).unwrap().replace("\"\"\"", "");
        std::fs::write(at.join("mine.csv"), typed).unwrap();
        done(at, &words);
        done(at, &[&["which", ".", "--used", "mine.csv", "--out", "again.csv"], &KIT[..]].concat());
        let again = read_rows(at, "again.csv");
        let own = row(&again, "L0020");
        assert_eq!(own.how_known, "as you said", "{own:?}");
        assert!(own.filters.as_ref().unwrap().contains(&"Heron Ten".to_owned()), "{own:?}");
        // One --profile does not put the others of the table out of sight.
        done(at, &[&words, &["--profile", "Heron Six.json", "--replace"][..]].concat());
    }
}

#[test]
fn a_filter_of_the_kit_is_found_there_and_one_of_nowhere_is_refused_with_names() {
    let folder = evening();
    let at = folder.path();
    std::fs::write(at.join("Teal Six.json"), profile("Teal Six", [6.02, 6.1, 6.2])).unwrap();
    let with_kit = |words: &[&str]| run_with_kit(at, words);
    let (status, said) = with_kit(&["kit", "add", "Teal Six.json"]);
    assert_eq!(status, Some(0), "{said}");
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0020", &["teal six"], ""));
    let words = ["correct", "L0020.dng", "--used", "mine.csv", "--white", "5600"];
    let (status, said) = with_kit(&words);
    assert_eq!(status, Some(0), "{said}");
    // The same without a kit.
    let said = refused(at, &words);
    let known = "; give it with --profile, or write one of \"Heron Six\", \"Heron Ten\"";
    assert!(
        said.contains("the table names the filter \"teal six\"") && said.contains(known),
        "{said}"
    );
    assert!(said.contains("mine.csv, row of \"L0020.dng\""), "{said}");
    done(at, &[&words, &["--profile", "Teal Six.json", "--replace"][..]].concat());
    changed(at, "used.csv", "mine.csv", &|row| through(row, "L0020", &["Heron Six"], ""));
    done(at, &[&words, &["--replace"][..]].concat());
}

#[test]
fn a_table_that_moved_away_from_its_profiles_says_so() {
    let folder = evening();
    let at = folder.path();
    std::fs::create_dir_all(at.join("far/away")).unwrap();
    std::fs::rename(at.join("used.csv"), at.join("far/away/used.csv")).unwrap();
    let words = ["correct", "L0002.dng", "--used", "far/away/used.csv", "--white", "5600"];
    let said = refused(at, &words);
    for part in
        ["far/away/used.csv, row of \"L0002.dng\"", "\"Heron Six.json\" is not there", "--profile"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
    done(at, &[&words, &["--profile", "Heron Six.json"][..]].concat());
    // That the kit has one of the name is no reason to take it unsaid.
    let (status, said) = run_with_kit(at, &["kit", "add", "Heron Six.json"]);
    assert_eq!(status, Some(0), "{said}");
    let (status, said) = run_with_kit(at, &[&words, &["--replace"][..]].concat());
    assert_eq!(status, Some(0), "{said}");
    assert!(said.contains("is not there, so \"Heron Six\" was taken from the kit"), "{said}");
}

#[test]
fn a_bare_frame_is_named_by_its_path_where_two_have_its_name() {
    let folder = evening();
    let at = folder.path();
    for side in ["one", "two"] {
        std::fs::create_dir(at.join(side)).unwrap();
        for name in ["L0001.dng", "L0002.dng"] {
            std::fs::copy(at.join(name), at.join(side).join(name)).unwrap();
        }
    }
    let words = ["which", "one", "two", "--out", "both.csv", "--bare"];
    let said = refused(at, &[&words, &["L0001.dng"][..], &KIT[..]].concat());
    assert!(said.contains("not among the photographs"), "{said}");
    std::fs::remove_file(at.join("L0001.dng")).unwrap();
    let said = refused(at, &[&words, &["L0001.dng"][..], &KIT[..]].concat());
    assert!(said.contains("one/L0001.dng") && said.contains("two/L0001.dng"), "{said}");
    assert!(said.contains("give the path"), "{said}");
    done(at, &[&words, &["two/L0001.dng"][..], &KIT[..]].concat());
    let both = read_rows(at, "both.csv");
    assert_eq!(row(&both, "two/L0001").how_known, "as you said");
    assert_ne!(row(&both, "one/L0001").how_known, "as you said");
    // The same of a table whose paths are gone, where rows of one name do not agree.
    std::fs::create_dir_all(at.join("x")).unwrap();
    std::fs::copy(at.join("both.csv"), at.join("x/both.csv")).unwrap();
    changed(at, "x/both.csv", "x/both.csv", &|row| through(row, "one/L0002", &["Heron Ten"], ""));
    let again = ["which", "one", "--used", "x/both.csv", "--out", "c.csv"];
    let said = refused(at, &[&again, KIT.as_slice()].concat());
    assert!(said.contains("several rows") && said.contains("two/L0002.dng"), "{said}");
}

/// Of two photographs that are asked about anew, the words on all others stay, and the columns that the
/// person added.
#[test]
fn rows_of_other_photographs_stay_in_the_table() {
    let folder = evening();
    let at = folder.path();
    let words = |row: &mut UsedRow| {
        through(row, "L0020", &[], "");
        if row.file.contains("L0011") {
            row.group = "pano".to_owned();
        }
        // Another order than that of the names, and a profile that is not there just now.
        row.own = vec![("Stars".to_owned(), "*".repeat(row.file.len() % 5))];
        if row.file.contains("L0013") {
            row.profiles = vec!["elsewhere/profile.json".to_owned()];
        }
    };
    changed(at, "used.csv", "used.csv", &words);
    let mut before = read_rows(at, "used.csv");
    before.reverse();
    std::fs::write(at.join("used.csv"), write_used(&before).unwrap()).unwrap();
    let named = ["L0002.dng", "L0001.dng"];
    let both = [&["which"], &named[..], &KIT].concat();
    for more in [&["--used", "used.csv", "--replace"][..], &["--replace"]] {
        let said = done(at, &[&both, more].concat());
        let stay = format!("{} rows of other photographs stay in the table", before.len() - 2);
        assert!(said.contains(&stay), "{said}");
        let after = read_rows(at, "used.csv");
        let files = |rows: &[UsedRow]| rows.iter().map(|r| r.file.clone()).collect::<Vec<_>>();
        assert_eq!(files(&after), files(&before));
        for (row, before) in after.iter().zip(&before) {
            assert_eq!(row.own, before.own, "{row:?}");
            assert!(named.contains(&row.file.as_str()) || row == before, "{row:?}");
        }
    }
    // One that is new has its row behind them.
    std::fs::copy(at.join("L0002.dng"), at.join("A.dng")).unwrap();
    done(at, &[&["which", "A.dng", "--used", "used.csv", "--replace"], &KIT[..]].concat());
    let after = read_rows(at, "used.csv");
    assert_eq!((after.len(), after.last().unwrap().file.as_str()), (before.len() + 1, "A.dng"));
    assert_eq!(after.last().unwrap().own, [("Stars".to_owned(), String::new())]);
    assert!(row(&after, "L0002").own == row(&before, "L0002").own);
}

/// Two tables put together.
#[test]
fn two_rows_for_one_photograph_are_refused_in_whatever_spelling() {
    let folder = evening();
    let at = folder.path();
    let own = at.file_name().unwrap().to_str().unwrap();
    let whole = at.join("L0002.dng").display().to_string();
    let spellings = ["./L0002.dng", &whole, &format!("../{own}/L0002.dng")];
    let more = ["--used", "mine.csv", "--replace"];
    let which = [&["which", "L0002.dng", "--out", "again.csv"], &more[..]].concat();
    let correct = [&["correct", "L0002.dng", "--white", "5600"], &more[..]].concat();
    for spelling in spellings {
        for (filter, ends) in [("Heron Ten", 3), ("Heron Six", 0)] {
            let mut both = read_rows(at, "used.csv");
            let mut twin = row(&both, "L0002").clone();
            spelling.clone_into(&mut twin.file);
            through(&mut twin, "L0002", &[filter], "");
            both.push(twin);
            std::fs::write(at.join("mine.csv"), write_used(&both).unwrap()).unwrap();
            for words in [&which, &correct] {
                let (status, said) = run(at, words);
                assert_eq!(status, Some(ends), "{spelling}, {filter}: {said}");
                let told = format!("mine.csv: the table names {spelling:?} twice");
                assert!(ends == 0 || said.contains(&told), "{said}");
            }
        }
        let again = read_rows(at, "again.csv");
        assert_eq!(again.iter().filter(|row| row.file == "L0002.dng").count(), 1, "{again:?}");
    }
}

#[test]
fn a_stack_that_is_written_with_another_sign_is_told_how_it_is_written() {
    let folder = evening();
    let at = folder.path();
    let words = ["correct", "L0004.dng", "--used", "mine.csv", "--white", "5600", "--replace"];
    let stack = "Heron Ten + Heron Six";
    for sign in [", ", " & ", ";", " / "] {
        let written = stack.replace(" + ", sign);
        changed(at, "used.csv", "mine.csv", &|row| through(row, "L0004", &[&written], ""));
        let said = refused(at, &words);
        assert!(said.contains(&format!("or write a stack as {stack:?}")), "{said}");
    }
    changed(at, "used.csv", "mine.csv", &|row| {
        through(row, "L0004", &["Heron Ten", "Heron Six"], "");
    });
    done(at, &words);
}

#[test]
fn a_bare_frame_that_is_not_there_is_named() {
    let folder = evening();
    let at = folder.path();
    changed(at, "used.csv", "mine.csv", &|row| {
        if row.file.contains("L0002") {
            row.bare_frame = "IMG_9.dng".to_owned();
        }
    });
    let words = ["correct", "L0002.dng", "--used", "mine.csv", "--white", "nearest-bare"];
    let (status, said) = run(at, &words);
    assert_eq!(status, Some(3), "{said}");
    assert!(said.contains("its bare_frame in the table, \"IMG_9.dng\", is not there"), "{said}");
    assert!(!said.contains("write one into the table"), "{said}");
    std::fs::copy(at.join("L0001.dng"), at.join("IMG_9.dng")).unwrap();
    done(at, &words);
}
