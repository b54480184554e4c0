//! `lightloss card`.

use crate::cli::CardArgs;
use crate::commands::console::Console;
use crate::commands::output::{self, NewFile};
use crate::commands::profiles;
use crate::compare::history::history;
use crate::error::{Done, Failure};
use crate::field::card::Card;
use crate::kit::Kit;
use crate::kit::kept::Listing;
use crate::kit_folder::KitFolder;
use crate::report::card_page;
use crate::say::figures;
use crate::say::history::on_a_card;
use crate::text::slug;
use std::path::{Path, PathBuf};

/// Folder that is written where none is named.
const FOLDER: &str = "exposure-card";

/// What to do with the files.
const PRINT: &str = "Print card-a6.html (on Letter paper card-a6-letter.html) or a card-small page at 100 %; \
                     card.html is for the phone.";

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &CardArgs, console: &mut Console) -> Result<Done, Failure> {
    let paths = profiles::given_or_kept(&args.profiles, console)?;
    let kit = profiles::kit(&paths, console)?;
    let folder = args.out.clone().unwrap_or_else(|| PathBuf::from(FOLDER));
    let kept = KitFolder::of_person().and_then(|folder| folder.list());
    let card = card_of(&kit, &kept.unwrap_or_default());
    let read = profiles::files(&paths);
    output::write_all(&folder, &files(&kit, &card)?, args.replace, &read)?;
    console.print(&summary(&card, &folder))?;
    Ok(if kit.skipped.is_empty() { Done::Clean } else { Done::SomeLeftOut })
}

/// The card of a kit, with what its listing tells of the years of each filter whose newest measurement is
/// on it.
#[must_use]
pub fn card_of(kit: &Kit, listing: &Listing) -> Card {
    let years = |name: &str| {
        let profile = kit.filters.iter().find(|p| p.filter.name == name)?;
        let kept = listing.find(name).filter(|kept| kept.newest().profile() == profile)?;
        on_a_card(&history(kept))
    };
    Card::of(kit).over_the_years(&years)
}

/// Every file of a kit's card: the phone page, the A6 sheets, a small card for each filter.
///
/// # Errors
/// Where a page cannot be written, which does not happen to a string.
pub fn files(kit: &Kit, card: &Card) -> Result<Vec<NewFile>, Failure> {
    let mut files = card_page::kit_files(card)?;
    let mut taken: Vec<String> = Vec::new();
    for profile in &kit.filters {
        let slug = slug(&profile.filter.name);
        // Two filters of one name both get their card.
        let repeats = taken.iter().filter(|known| **known == slug).count();
        let name = if repeats == 0 { slug.clone() } else { format!("{slug}-{}", repeats + 1) };
        taken.push(slug);
        let years = |name: &str| card.filters.iter().find(|n| n.name == name)?.years.clone();
        let one = Card::of_one(profile).over_the_years(&years);
        files.extend(card_page::wallet_files(&one, &name)?);
    }
    Ok(files.into_iter().map(|(name, text)| (name.into(), text)).collect())
}

fn summary(card: &Card, folder: &Path) -> String {
    let mut text = String::new();
    for column in &card.columns {
        let heading = card_page::table::heading(column);
        let strength = figures::plain(&figures::in_hundredths(column.stops, column.u95));
        text.push_str(&format!("{heading}: {strength} stops, {}\n", figures::clicks(column.stops)));
    }
    let sun = card_page::notes::sun(card);
    text.push_str(&format!(
        "{}{}{}\n",
        crate::report::lines::wrapped("", &sun),
        crate::report::lines::wrapped("", PRINT),
        folder.join("card.html").display()
    ));
    text
}
