//! What a sheet for a purchase or a return says of the claim.

use super::figures;
use super::strength::{self, Strength};
use super::{cast, rating::Against};
use crate::profile::Profile;

/// The claim beside the measurement, in a sentence or two.
#[must_use]
pub fn claim(profile: &Profile) -> String {
    let Some(measured) = Strength::of(profile) else {
        return "Nothing was measured.".to_owned();
    };
    let claims = strength::claims(profile);
    let rated: Vec<String> = claims.iter().map(|(stops, _)| figures::rating(stops.get())).collect();
    match (rated.as_slice(), measured.against) {
        ([], _) => "What it is rated was not said.".to_owned(),
        ([one], Some(against)) => {
            let sure = if measured.u95_stops() > 0.0 {
                format!(" (measured {} stops)", measured.number)
            } else {
                String::new()
            };
            match against {
                Against::AsRated => format!("Rated {one} stops: it is as rated{sure}."),
                Against::Within => {
                    format!("Rated {one} stops: within the uncertainty it is as rated{sure}.")
                }
                Against::Untold => {
                    format!("Rated {one} stops: it is too unsure to be held against that{sure}.")
                }
                Against::More(_) | Against::Less(_) => format!(
                    "Rated {one} stops, and it takes {}{sure}: more than the uncertainty of this \
                     measurement can explain.",
                    against.words()
                ),
            }
        }
        (many, _) => {
            let ends: Vec<&str> = many.iter().map(String::as_str).collect();
            format!("Rated {} stops; measured {} stops.", ends.join(" to "), measured.number)
        }
    }
}

/// Number of the setting whose map stands for the filter.
#[must_use]
pub fn map_of(profile: &Profile) -> usize {
    let told = cast::representative(profile);
    let mapped = profile.settings.iter().filter(|s| s.evenness.is_some());
    told.and_then(|told| mapped.into_iter().position(|s| std::ptr::eq(s, told))).unwrap_or(0)
}
