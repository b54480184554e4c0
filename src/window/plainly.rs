//! What a command says, for somebody who sees a page: its choices in place of words of a command line,
//! and names of files without the folder that is on the desk anyway.

use crate::read::pool::path_text;
use std::path::Path;

/// Words for a command line, and what to do on the page instead; longer ones come first. The names in
/// quotes are those of the page's own choices.
const ON_THE_PAGE: [(&str, &str); 15] = [
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
    ("correct them one by one with --out", "give one of them another name"),
    ("; give it with --profile", "; add it to the kit"),
    ("; use --replace to write it again", ""),
    ("use --replace, or --out", "move it to another folder"),
    ("the lines above say why", "the lines below say why"),
    ("; write it into the table", "; say what it was made through"),
    ("; add a row for it", ""),
];

const NEAREST: &str = "choose as light without the filter \u{201c}as in the nearest one without a \
                       filter\u{201d}";
const NAMED: &str = "say which photograph of the scene was made without a filter, and choose \
                     \u{201c}as in the nearest one without a filter\u{201d}";

/// A line of a command as the page shows it.
#[must_use]
pub fn plainly(line: &str, folder: &Path) -> String {
    let inside = format!("{}{}", path_text(folder), std::path::MAIN_SEPARATOR);
    let short = line.replace(&inside, "");
    ON_THE_PAGE.iter().fold(short, |said, (command, page)| said.replace(command, page))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::editing::white::NotAsShot;

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
            include_str!("../commands/correct/plan.rs"),
            include_str!("../commands/correct/job.rs"),
            include_str!("../commands/correct.rs"),
            include_str!("../editing/evenness.rs"),
            include_str!("../editing/used_csv.rs"),
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
