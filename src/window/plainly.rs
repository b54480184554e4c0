//! What a command says, for somebody who sees a page: its choices in place of words of a command line,
//! and names of files without the folder that is on the desk anyway.

use crate::profile::{CautionRecord, Profile};
use crate::read::pool::path_text;
use std::path::Path;

/// Words for a command line, and what to do on the page instead; longer ones come first. The names in
/// quotes are those of the page's own choices.
const ON_THE_PAGE: [(&str, &str); 20] = [
    ("use --white nearest-bare, a frame, or a temperature", NEAREST),
    ("use --white nearest-bare or a frame", NEAREST),
    ("use --white with a frame made without the filter, or with a temperature", NAMED),
    ("use --white with a frame made without the filter", NAMED),
    (", or --white as-shot if", ", or \u{201c}as shot: I set it without the filter\u{201d} if"),
    ("give --white as-shot if", "choose \u{201c}as shot: I set it without the filter\u{201d} if"),
    (
        "use --drop-settings, or set the balance to as-shot there",
        "set the balance to as-shot there",
    ),
    ("give --mark", "say at which mark it was made"),
    (" (none in the table)", ""),
    ("; or write one into the table as its bare_frame, or have lightloss which --used find it", ""),
    ("correct them one by one with --out", "give one of them another name"),
    ("; give it with --profile", "; add it to the kit"),
    ("use --replace to write it again, or --out", "write them anew, or move it to another folder"),
    ("; use --replace to write it again", ""),
    ("use --replace, or --out", "move it to another folder"),
    ("the lines above say why", "the lines below say why"),
    ("; write it into the table", "; say what it was made through"),
    ("; add a row for it", ""),
    ("write its filter into the table", "say what it was made through"),
    ("write the filter of this one into the table", "say what this one was made through"),
];

const NEAREST: &str = "choose as light without the filter \u{201c}as in the nearest one without a \
                       filter\u{201d}";
const NAMED: &str = "say which photograph of the scene was made without a filter, and choose \
                     \u{201c}as in the nearest one without a filter\u{201d}";

/// The same for what is said of a shoot's frames and their filter; what has no place on the page has one
/// in the document that is saved there.
const ON_THE_SHEET: [(&str, &str); 40] = [
    ("--times exact where", "\"times\": \"exact\" in shoot.json where"),
    ("the aperture with --f, the ISO as", "the aperture as \"f_number\", the ISO as"),
    ("name them with --bare and --filtered", SAY_WHICH),
    ("name them with --bare FILE... --filtered FILE...", SAY_WHICH),
    ("then measure again with --rated ", "then write as its rating "),
    ("the ring's own with --marks, in the order in which they were shot", MARKS),
    ("give --marks in the order in which they were shot", MARKS_GIVEN),
    ("name them with --marks", "name them as marks, in the order in which they appear"),
    ("measure again with --kind ", "choose the kind "),
    ("measure with --kind ", "choose the kind "),
    ("Say which it is with --kind ", "Choose the kind "),
    (" or --kind ", " or "),
    ("give --kind variable if", "choose the kind variable if"),
    ("with --focal or in shoot.json", "in shoot.json"),
    ("Give it with --focal", "Give it as \"focal\" in shoot.json"),
    ("(--focal)", "(\"focal\" in shoot.json)"),
    (
        "Give it with --sensor, e.g. --sensor 36x24",
        "Give it in shoot.json, e.g. \"sensor\": \"36x24\"",
    ),
    (
        "give it with --sensor, e.g. --sensor 36x24",
        "give it in shoot.json, e.g. \"sensor\": \"36x24\"",
    ),
    ("(--sensor)", "(\"sensor\" in shoot.json)"),
    ("said with --sensor", "said in shoot.json"),
    (" with \"left_out\": true in shoot.json (lightloss frames SHOOT --write makes one)", ""),
    (" --without-record measures without it.", ""),
    ("give it with --time FILE=SECONDS", "give it as its \"time\" in shoot.json"),
    (
        "give them with --time FILE=SECONDS, or say with --same-exposure that all were exposed alike",
        "give each its \"time\" in shoot.json",
    ),
    ("(lightloss camera --replace)", "(lightloss camera, at a terminal)"),
    ("the target of lightloss plan --sharpness", "the target that lightloss plan draws"),
    ("look at lightloss frames", "look at the sheet"),
    ("go to lightloss which", "belong under Photographs"),
    ("before --from or after --to", "outside of what was asked for"),
    ("measure them one by one", ONE_BY_ONE),
    ("measure each by itself: --from FILE --to FILE", EACH),
    ("if they belong together, say so", "if they belong together, say of each what it is"),
    ("If it is what you meant, measure", "If it is what you meant, say on the sheet that it is"),
    ("If these are what you meant, measure", "If these are what you meant, say so on the sheet"),
    ("a range is for --kind variable", "a range is for the kind variable"),
    ("--marks is for --kind variable; leave it out", "marks are for the kind variable"),
    ("like --rated ", "like "),
    ("write --rated ", "write "),
    ("; see lightloss kit", ""),
    ("a name of its own: lightloss kit rename", "a name of its own"),
];

/// The same for the kit.
const IN_THE_KIT: [(&str, &str); 4] = [
    (
        "where both are the same filter, use lightloss kit merge",
        "where both are the same filter, choose it at \u{201c}Same as\u{201d} and make them one filter",
    ),
    ("measure again with --name ", "name this one "),
    (
        ", or change the name in the kit with lightloss kit rename",
        ", or rename the other in the kit",
    ),
    ("fill it with lightloss kit add PROFILE", "measure a filter and keep it first"),
];
/// How the way back from retirement begins; the page shows retired filters, and a button for it.
const WAY_BACK: &str = "; lightloss kit list --retired shows it";

const SAY_WHICH: &str = "say on the sheet which are bare and which are through the filter";
const ONE_BY_ONE: &str =
    "leave out the frames of all but one, or put each shoot into its own folder";
const EACH: &str = "leave out the frames of all but one, and the others in turn";
const MARKS: &str = "the ring's own as marks, in the order in which they appear";
const MARKS_GIVEN: &str = "give the marks in the order in which they appear";

/// How commands to be typed again begin, in lines of their own at the end.
const COMMANDS: &str = ":\n  lightloss ";

/// What is said of frames, and of the filter that they show, as the page shows it.
#[must_use]
pub fn of_frames(text: &str) -> String {
    let said = text.split_once(COMMANDS).map_or(text, |(said, _)| said).to_owned();
    ON_THE_SHEET.iter().fold(said, |said, (command, page)| said.replace(command, page))
}

/// A profile with what it says of itself as the page shows it.
#[must_use]
pub fn of_filter(profile: &Profile) -> Profile {
    let mut profile = profile.clone();
    let plain = |text: &mut String| *text = of_frames(text);
    let sentences = |text: &mut String| {
        let end = if text.contains(COMMANDS) { "." } else { "" };
        *text = of_frames(text) + end;
    };
    let each =
        |cautions: &mut [CautionRecord]| cautions.iter_mut().for_each(|c| sentences(&mut c.text));
    each(&mut profile.cautions);
    profile.settings.iter_mut().for_each(|setting| each(&mut setting.cautions));
    profile.picture.iter_mut().for_each(|picture| each(&mut picture.cautions));
    profile.frames.iter_mut().for_each(|frame| plain(&mut frame.verdict.text));
    profile.camera.sensor_mm.iter_mut().for_each(|sensor| plain(&mut sensor.source));
    profile
}

/// A line of a command as the page shows it.
#[must_use]
pub fn plainly(line: &str, folder: &Path) -> String {
    let inside = format!("{}{}", path_text(folder), std::path::MAIN_SEPARATOR);
    let short = line.replace(&inside, "");
    of_photographs(&short)
}

/// What is said of the kit as the page shows it.
#[must_use]
pub fn of_kit(text: &str) -> String {
    let said = text.split_once(WAY_BACK).map_or(text, |(said, _)| said).to_owned();
    IN_THE_KIT.iter().fold(said, |said, (command, page)| said.replace(command, page))
}

/// What is said of photographs as the page shows it.
#[must_use]
pub fn of_photographs(text: &str) -> String {
    ON_THE_PAGE.iter().fold(text.to_owned(), |said, (command, page)| said.replace(command, page))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::editing::white::NotAsShot;
    use crate::kit_folder::KitError;

    #[test]
    fn a_note_of_a_photograph_speaks_of_no_table() {
        let said =
            of_photographs("they look alike: give a keyword, or write its filter into the table");
        assert_eq!(said, "they look alike: give a keyword, or say what it was made through");
        let said = of_photographs("take that back, or write the filter of this one into the table");
        assert_eq!(said, "take that back, or say what this one was made through");
    }

    /// As `correct` puts reasons and ways together.
    #[test]
    fn no_reason_speaks_of_a_command_line() {
        let ways = ON_THE_PAGE.iter().filter(|(command, _)| command.starts_with("use --white"));
        for (way, _) in ways {
            for reason in [NotAsShot::Automatic, NotAsShot::ThroughFilter, NotAsShot::Undecided] {
                let own = format!(", or --white as-shot if {}", reason.unless().unwrap());
                let line = format!("skipped: /home/me/evening/a.dng: {reason}; {way}{own}");
                let said = plainly(&line, Path::new("/home/me/evening"));
                assert!(said.starts_with("skipped: a.dng: ") && !said.contains("--"), "{said}");
                assert!(said.contains("\u{201c}as in the nearest one"), "{said}");
                assert!(said.contains("\u{201c}as shot: I set it"), "{said}");
            }
        }
    }

    /// What is rewritten here is still said there.
    #[test]
    fn every_word_of_a_command_is_still_said() {
        let sources = [
            include_str!("../commands/correct/light.rs"),
            include_str!("../editing/start.rs"),
            include_str!("../editing/settled.rs"),
            include_str!("../commands/correct/against.rs"),
            include_str!("../commands/correct/plan.rs"),
            include_str!("../commands/correct/earlier.rs"),
            include_str!("../commands/correct/job.rs"),
            include_str!("../commands/correct.rs"),
            include_str!("../editing/evenness.rs"),
            include_str!("../editing/used_csv.rs"),
            include_str!("../editing/which/notes.rs"),
            include_str!("../write.rs"),
        ];
        let said = sources.concat().replace("\\\n", " ");
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        for (command, _) in ON_THE_PAGE {
            // How a way begins and goes on is put together when it is said.
            let fixed = command.trim_start_matches(", or ").trim_end_matches(" if");
            assert!(said.contains(fixed.trim()), "{command}");
        }
    }

    /// Sources of what is said of frames and their filter, breaks and quotes as they are said.
    fn said_of_frames() -> String {
        let sources = [
            include_str!("../caution.rs"),
            include_str!("../caution/apart.rs"),
            include_str!("../caution/levels.rs"),
            include_str!("../caution/light.rs"),
            include_str!("../caution/picture.rs"),
            include_str!("../caution/result.rs"),
            include_str!("../caution/shutter.rs"),
            include_str!("../caution/view.rs"),
            include_str!("../shoot/error.rs"),
            include_str!("../shoot/verdict.rs"),
            include_str!("../measure/sensor.rs"),
        ];
        let code = sources.map(|source| source.split("#[cfg(test)]").next().unwrap().to_owned());
        let code = code.concat();
        let lines = code.lines().filter(|line| !line.trim_start().starts_with("//"));
        let said = lines.collect::<Vec<_>>().join("\n").replace("\\\n", " ").replace("\\\"", "\"");
        said.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn nothing_said_of_frames_speaks_of_a_command_line() {
        let said = of_frames(&said_of_frames());
        let option = |word: &&str| {
            let word = word.trim_start_matches(|c: char| !c.is_alphanumeric() && c != '-');
            word.strip_prefix("--").is_some_and(|rest| rest.starts_with(char::is_alphabetic))
        };
        let left: Vec<&str> = said.split_whitespace().filter(option).collect();
        assert!(left.is_empty(), "{left:?}");
        let rating = crate::field::plan::PlanError::RangeMissing;
        for error in [rating, crate::field::plan::PlanError::RatingMissing] {
            assert!(!of_frames(&error.to_string()).contains("--"), "{error}");
        }
    }

    /// What is rewritten here is still said there.
    #[test]
    fn every_word_of_a_command_about_frames_is_still_said() {
        let plans = include_str!("../field/plan/check.rs");
        let said = said_of_frames() + plans + include_str!("../commands/kit.rs");
        for (command, _) in ON_THE_SHEET {
            let fixed = ["If it is", "If these are"].iter().find_map(|i| command.strip_prefix(i));
            assert!(said.contains(fixed.unwrap_or(command).trim_end()), "{command}");
        }
    }

    #[test]
    fn commands_to_be_typed_again_are_no_lines_of_the_page() {
        let of =
            |text: &str| of_frames(&format!("{text}:\n  lightloss measure shoot --from A --to B"));
        let said = of("they lie more than 20 minutes apart; if they belong together, say so");
        assert!(said.ends_with("if they belong together, say of each what it is"), "{said}");
        let said = of("more than one shoot: two lenses; measure them one by one");
        assert!(said.ends_with("or put each shoot into its own folder"), "{said}");
    }

    /// Nor is anything that the kit says; and what is rewritten is still said there.
    #[test]
    fn nothing_said_of_the_kit_speaks_of_a_command_line() {
        let name = || "Quay".to_owned();
        let path = || std::path::PathBuf::from("/kit/quay/profile.json");
        let errors = [
            KitError::NameTaken { name: name() },
            KitError::SameFramesElsewhere { name: name(), path: path() },
            KitError::NoFilter { name: name(), known: Vec::new() },
            KitError::NoFilter { name: name(), known: vec![name()] },
            KitError::SameFramesTwice { one: path(), other: path() },
            KitError::NoName,
        ];
        for error in errors {
            let said = of_kit(&error.to_string());
            assert!(!said.contains("--") && !said.contains("lightloss"), "{said}");
        }
        let sources = [include_str!("../kit_folder.rs"), include_str!("../commands/kit.rs")];
        let said = sources.concat().replace("\\\n", " ");
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in IN_THE_KIT.iter().map(|(command, _)| *command).chain([WAY_BACK]) {
            assert!(said.contains(words.trim_end()), "{words}");
        }
        let page = include_str!("../../templates/window/kit.html");
        assert!(page.contains(">Same as</label>"), "what it names is on the page");
    }

    /// The names of choices are those of the page.
    #[test]
    fn what_it_names_is_on_the_page() {
        let page = include_str!("../../templates/window/photographs.html");
        let quoted = ON_THE_PAGE.iter().flat_map(|(_, page)| page.split('\u{201c}').skip(1));
        for name in quoted.filter_map(|rest| rest.split('\u{201d}').next()) {
            assert!(page.contains(&format!(">{name}</option>")), "{name}");
        }
    }
}
