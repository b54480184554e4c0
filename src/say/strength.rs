//! How strong: the answer at the top, and what follows from it at the tripod.

use super::figures::{self, unit};
use super::rating::{Against, becomes};
use super::ring::usable_sentence;
use crate::exposure::DialTime;
use crate::kit::lens::by_strength;
use crate::profile::{DARKEST_AT_LINE, Kind, Profile, StopsU95};
use crate::quantity::{Seconds, Stops};

/// The metered time that the consequence speaks of.
const METERED_S: f64 = 1.0 / 15.0;

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Strength {
    /// One strength, or the weaker end of a ring, in stops.
    pub from: f64,
    /// The same, or the stronger end, in stops.
    pub to: f64,
    /// Expanded uncertainty of each, in stops; 0 where the profile states none.
    pub ends_u95: [f64; 2],
    /// "10.35 ± 0.03", "1.50 to 7.03".
    pub number: String,
    /// Against the rating, where one strength is rated.
    pub against: Option<Against>,
    /// The sentence of a page that names the filter above it.
    pub sentence: String,
    /// The sentence with the filter's name and the uncertainty in it.
    pub named: String,
    /// Difference to the rating with its sign.
    pub difference: Option<String>,
}

impl Strength {
    /// The larger of the two uncertainties.
    #[must_use]
    pub fn u95_stops(&self) -> f64 {
        self.ends_u95[0].max(self.ends_u95[1])
    }
    /// Of a profile; `None` where it holds no setting.
    #[must_use]
    pub fn of(profile: &Profile) -> Option<Self> {
        match profile.filter.kind {
            Kind::Variable if profile.settings.len() > 1 => ring(profile),
            Kind::Graduated => graduated(profile),
            Kind::Polariser => polariser(profile),
            _ => centre(profile, &together(profile), "", true),
        }
    }
}

/// Who takes it, on the page and by name.
type Subjects = [String; 2];

fn together(profile: &Profile) -> Subjects {
    let name = profile.filter.name.clone();
    match (profile.filter.kind, &profile.stack) {
        (Kind::Stack, Some(stack)) if !stack.parts.is_empty() => {
            [format!("{} together take", stack.parts.join(" and ")), format!("{name} takes")]
        }
        (Kind::Stack, _) => ["These filters together take".to_owned(), format!("{name} takes")],
        _ => ["This filter takes".to_owned(), format!("{name} takes")],
    }
}

/// One value, held against the rating where that is what is rated.
fn one(
    profile: &Profile,
    value: StopsU95,
    subjects: &Subjects,
    what: &str,
    rated: bool,
) -> Strength {
    let (stops, u95) = (value.stops.get(), value.u95.get());
    let claim = profile.filter.rated_stops.filter(|_| rated);
    let against = claim.map(|rated| Against::of(value.stops, value.u95, rated));
    let tail = against.map_or_else(String::new, |against| format!(", {}", against.words()));
    let number = if u95 > 0.0 {
        figures::with_doubt(stops, u95)
    } else {
        figures::fixed(stops, figures::PLACES_WITHOUT)
    };
    let places = crate::rounding::places(u95);
    let of =
        |subject: &str, figure: &str| format!("{subject} {figure} {}{what}{tail}.", unit(stops));
    Strength {
        from: stops,
        to: stops,
        ends_u95: [u95; 2],
        sentence: of(&subjects[0], &figures::value(stops, u95)),
        named: of(&subjects[1], &number),
        number,
        against,
        difference: claim.map(|rated| figures::signed(stops - rated.get(), places)),
    }
}

fn centre(profile: &Profile, subjects: &Subjects, what: &str, rated: bool) -> Option<Strength> {
    let strength = &profile.settings.first()?.strength;
    let value = StopsU95 { stops: strength.stops, u95: strength.u95 };
    Some(one(profile, value, subjects, what, rated))
}

fn ring(profile: &Profile) -> Option<Strength> {
    let rated = profile.filter.rated_range_stops.map_or_else(String::new, |[a, b]| {
        format!("; it is rated {} to {}", figures::rating(a.get()), figures::rating(b.get()))
    });
    range(profile, &rated)
}

/// From the weakest setting to the strongest.
fn range(profile: &Profile, what: &str) -> Option<Strength> {
    let order = by_strength(profile);
    let (weak, strong) = (&order.first()?.strength, &order.last()?.strength);
    let ends_u95 = [weak.u95.get(), strong.u95.get()];
    let (from, to) = (weak.stops.get(), strong.stops.get());
    let [light, dark] = ends_u95;
    let number = format!("{} to {}", figures::value(from, light), figures::value(to, dark));
    let of = |subject: &str| format!("{subject} takes from {number} stops{what}.");
    Some(Strength {
        from,
        to,
        ends_u95,
        sentence: of("This filter"),
        named: of(&profile.filter.name),
        number,
        against: None,
        difference: None,
    })
}

fn graduated(profile: &Profile) -> Option<Strength> {
    let Some(graduation) = &profile.graduation else {
        // What is rated is a dark end, and none was found.
        let what = " in the frame's centre; no edge was found";
        return centre(profile, &together(profile), what, false);
    };
    let u95 = graduation.dark_end_u95.unwrap_or(Stops::new(0.0));
    let value = StopsU95 { stops: graduation.dark_end_stops, u95 };
    let name = &profile.filter.name;
    let subjects = if graduation.shape == DARKEST_AT_LINE {
        ["At its darkest it takes".to_owned(), format!("At its darkest {name} takes")]
    } else {
        ["The dark end takes".to_owned(), format!("The dark end of {name} takes")]
    };
    Some(one(profile, value, &subjects, " more than the clear end", true))
}

fn polariser(profile: &Profile) -> Option<Strength> {
    let Some(loss) = profile.polarising.as_ref().and_then(|p| p.loss_stops) else {
        if profile.polarising.as_ref().is_some_and(|p| p.light_polarised) {
            return range(profile, " of polarised light, as it is turned");
        }
        return centre(profile, &together(profile), "", false);
    };
    let subjects = ["This polariser takes".to_owned(), format!("{} takes", profile.filter.name)];
    Some(one(profile, loss, &subjects, " of unpolarised light", false))
}

/// What the number means at the tripod: a time, or where to stop turning.
#[must_use]
pub fn consequence(profile: &Profile) -> Option<String> {
    match profile.filter.kind {
        Kind::Solid | Kind::Stack => {
            let strength = &profile.settings.first()?.strength;
            let dial = DialTime::nearest(Seconds::new(METERED_S))?;
            let against = |rated| (rated, Against::of(strength.stops, strength.u95, rated));
            let rated = profile.filter.rated_stops.map(against);
            let text = becomes(dial.text(), dial.true_time(), strength.stops, rated);
            Some(figures::sentence(&text) + ".")
        }
        Kind::Variable => profile.usable.as_ref().map(usable_sentence),
        Kind::Graduated | Kind::Polariser => None,
    }
}

/// What the filter is rated, as claims on a ruler: stops and words.
#[must_use]
pub fn claims(profile: &Profile) -> Vec<(Stops, String)> {
    let claim = |stops: Stops| (stops, format!("rated {}", figures::rating(stops.get())));
    match (profile.filter.rated_range_stops, profile.filter.rated_stops) {
        (Some([weak, strong]), _) => vec![claim(weak), claim(strong)],
        (None, Some(rated)) => vec![claim(rated)],
        (None, None) => Vec::new(),
    }
}
