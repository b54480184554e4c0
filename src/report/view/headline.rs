//! The answer at the top: strength against the claim.

use super::words::{self, unit};
use super::{Drawings, Figure};
use crate::exposure;
use crate::profile::{Kind, Profile};
use crate::quantity::Stops;
use crate::report::plots::Caption;
use crate::report::plots::ruler::{self, Band, Claim};

/// What stands first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Headline {
    /// The answer.
    pub sentence: String,
    /// What follows from it in the field, where something does.
    pub consequence: Option<String>,
    /// The number again with its doubt, for programs that read the page.
    pub number: String,
    /// The doubt, and what the sign means.
    pub doubt: String,
    /// The ruler of stops.
    pub ruler: Figure,
    /// Short facts: name and value.
    pub facts: Vec<(String, String)>,
}

/// What was measured, as the ruler shows it.
struct Answer {
    band: Band,
    claims: Vec<Claim>,
    sentence: String,
    difference: Option<String>,
}

/// Builds the headline; `None` where the profile holds no setting.
pub fn headline(profile: &Profile, drawings: &mut Drawings) -> Option<Headline> {
    let answer = match profile.filter.kind {
        Kind::Variable if profile.settings.len() > 1 => ring(profile)?,
        Kind::Graduated => graduated(profile)?,
        Kind::Polariser => polariser(profile)?,
        _ => one(profile)?,
    };
    let caption = |name: &str| Caption {
        name: name.to_owned(),
        title: format!("Strength of {} on a scale of stops", profile.filter.name),
        finding: answer.sentence.clone(),
    };
    let draw = |name: &str, width| {
        ruler::headline(
            &caption(name),
            &answer.band,
            &answer.claims,
            answer.difference.as_deref(),
            width,
        )
    };
    let wide = drawings.keep("the ruler of stops", draw("ruler", 680.0));
    let narrow = drawings.only_inline("the ruler of stops", draw("ruler-narrow", 330.0));
    Some(Headline {
        consequence: consequence(profile),
        number: answer.band.words.clone(),
        doubt: doubt(&answer.band),
        facts: facts(profile)?,
        ruler: Figure {
            wide,
            narrow,
            caption: "The rim's claim is the grey tick, the measurement the \
            solid band, as wide as its uncertainty. Short ticks are thirds of a stop."
                .to_owned(),
        },
        sentence: answer.sentence,
    })
}

/// Where a doubt is explained, once on the page.
fn doubt(band: &Band) -> String {
    let u = band.u95;
    let a_range = band.to > band.from;
    let places = crate::rounding::places(u);
    let lead = if u > 0.0 && a_range {
        format!("The doubt of either end is \u{b1} {} stop. ", crate::rounding::fixed(u, places))
    } else if u > 0.0 {
        String::new()
    } else {
        "The profile states no doubt of this figure. ".to_owned()
    };
    format!(
        "{lead}Here and below, the figure after \u{b1} is an expanded uncertainty: the true value \
         lies within it nineteen times in twenty."
    )
}

fn rim_claims(profile: &Profile) -> Vec<Claim> {
    let claim = |stops: Stops| Claim {
        stops: stops.get(),
        words: format!("rated {}", words::rating(stops.get())),
    };
    match (profile.filter.rated_range_stops, profile.filter.rated_stops) {
        (Some([weak, strong]), _) => vec![claim(weak), claim(strong)],
        (None, Some(rated)) => vec![claim(rated)],
        (None, None) => Vec::new(),
    }
}

/// How a value stands against a claim, the doubt considered.
pub fn verdict(measured: Stops, u95: Stops, rated: Stops) -> String {
    let plain = exposure::against_rated(measured, rated);
    let apart = (measured - rated).abs();
    if plain != "as rated" && apart <= u95 { "as rated within its doubt".to_owned() } else { plain }
}

fn one(profile: &Profile) -> Option<Answer> {
    let strength = &profile.settings.first()?.strength;
    let (stops, u95) = (strength.stops.get(), strength.u95.get());
    let value = words::value(stops, u95);
    let subject = match (profile.filter.kind, &profile.stack) {
        (Kind::Stack, Some(stack)) if !stack.parts.is_empty() => {
            format!("{} together take", stack.parts.join(" and "))
        }
        (Kind::Stack, _) => "These filters together take".to_owned(),
        _ => "This filter takes".to_owned(),
    };
    let against =
        profile.filter.rated_stops.map(|rated| verdict(strength.stops, strength.u95, rated));
    let tail = against.map_or_else(String::new, |words| format!(", {words}"));
    let difference = profile
        .filter
        .rated_stops
        .map(|rated| words::signed(stops - rated.get(), crate::rounding::places(u95)));
    Some(Answer {
        sentence: format!("{subject} {value} {}{tail}.", unit(stops)),
        band: Band::one(stops, u95, words::with_doubt(stops, u95)),
        claims: rim_claims(profile),
        difference,
    })
}

fn ring(profile: &Profile) -> Option<Answer> {
    let by_stops = |a: &&crate::profile::Setting, b: &&crate::profile::Setting| {
        a.strength.stops.get().total_cmp(&b.strength.stops.get())
    };
    let weak = profile.settings.iter().min_by(by_stops)?;
    let strong = profile.settings.iter().max_by(by_stops)?;
    let u95 = weak.strength.u95.get().max(strong.strength.u95.get());
    let (from, to) = (weak.strength.stops.get(), strong.strength.stops.get());
    let (from_text, to_text) = (words::value(from, u95), words::value(to, u95));
    let rated = profile.filter.rated_range_stops.map_or_else(String::new, |[a, b]| {
        format!("; its rim says {} to {}", words::rating(a.get()), words::rating(b.get()))
    });
    Some(Answer {
        sentence: format!("This filter takes from {from_text} to {to_text} stops{rated}."),
        band: Band { from, to, u95, words: format!("{from_text} to {to_text}") },
        claims: rim_claims(profile),
        difference: None,
    })
}

fn graduated(profile: &Profile) -> Option<Answer> {
    let Some(graduation) = &profile.graduation else { return one(profile) };
    let stops = graduation.dark_end_stops;
    let against = profile.filter.rated_stops.map(|rated| exposure::against_rated(stops, rated));
    let tail = against.map_or_else(String::new, |words| format!(", {words}"));
    let u95 = graduation.dark_end_u95.map_or(0.0, Stops::get);
    let text = words::fixed(stops.get(), 2);
    let with_doubt = if u95 > 0.0 { words::with_doubt(stops.get(), u95) } else { text.clone() };
    Some(Answer {
        sentence: format!(
            "The dark end takes {text} {} more than the clear end{tail}.",
            unit(stops.get())
        ),
        band: Band::one(stops.get(), u95, with_doubt),
        claims: rim_claims(profile),
        difference: profile.filter.rated_stops.map(|rated| words::signed((stops - rated).get(), 2)),
    })
}

fn polariser(profile: &Profile) -> Option<Answer> {
    let Some(loss) = profile.polarising.as_ref().and_then(|p| p.loss_stops) else {
        return one(profile);
    };
    let (stops, u95) = (loss.stops.get(), loss.u95.get());
    Some(Answer {
        sentence: format!(
            "This polariser takes {} {} of unpolarised light.",
            words::value(stops, u95),
            unit(stops)
        ),
        band: Band::one(stops, u95, words::with_doubt(stops, u95)),
        claims: rim_claims(profile),
        difference: None,
    })
}

/// What the number means at the tripod.
fn consequence(profile: &Profile) -> Option<String> {
    match profile.filter.kind {
        Kind::Solid | Kind::Stack => {
            let measured = profile.settings.first()?.strength.stops;
            let fifteenth = exposure::parse_time("1/15").ok()?;
            let metered = fifteenth.true_time(exposure::Times::default());
            let text = exposure::becomes("1/15", metered, measured, profile.filter.rated_stops);
            Some(words::sentence(&text) + ".")
        }
        Kind::Variable => profile.usable.as_ref().map(usable_sentence),
        Kind::Graduated | Kind::Polariser => None,
    }
}

/// Where to stop turning, and why.
pub fn usable_sentence(usable: &crate::profile::Usable) -> String {
    let reason = words::sentence(usable.reason.trim_end_matches('.'));
    match (&usable.last_mark, usable.last_stops) {
        (Some(mark), Some(stops)) => {
            format!("Turn it no further than mark {mark} ({:.2} stops). {reason}.", stops.get())
        }
        (Some(mark), None) => format!("Turn it no further than mark {mark}. {reason}."),
        (None, _) => format!("No mark stays within the tolerance. {reason}."),
    }
}

fn facts(profile: &Profile) -> Option<Vec<(String, String)>> {
    let mut facts = Vec::new();
    let mut add = |name: &str, value: String| facts.push((name.to_owned(), value));
    if profile.settings.len() == 1 && profile.filter.kind != Kind::Graduated {
        let setting = profile.settings.first()?;
        let strength = &setting.strength;
        let u95 = strength.u95.get();
        let density = Stops::new(u95).density().get();
        add("Density", words::with_doubt(strength.density.get(), density));
        let relative = u95 * std::f64::consts::LN_2;
        add("Filter factor", factor(strength.factor.get(), relative));
        add("Transmittance", percent(strength.transmittance.get(), relative));
        if let Some(visual) = setting.visual_strength {
            add("For the eye", format!("{} stops", words::stops(visual)));
        }
    }
    if let Some(stack) = &profile.stack {
        add("Sum of the parts", format!("{} stops", words::stops(stack.predicted)));
        let difference = stack.difference;
        let text = words::signed_with_doubt(difference.stops.get(), difference.u95.get());
        add("Measured minus sum", format!("{text} stop"));
    }
    if let Some(graduation) = &profile.graduation {
        let (width, angle) = (graduation.width_percent_of_height, graduation.angle);
        add("Edge", graduation.shape.clone());
        add("Width, 10 to 90 %", format!("{} % of the height", words::fixed(width.get(), 0)));
        add("Line", format!("{}\u{b0} from level", words::fixed(angle.get(), 1)));
        add(
            "Clear end",
            format!("{} stop against no filter", words::fixed(graduation.clear_end_stops.get(), 2)),
        );
    }
    Some(facts)
}

fn factor(value: f64, relative: f64) -> String {
    let doubt = value * relative;
    if doubt >= 1.0 {
        let unit = 10f64.powi((doubt.log10().floor() as i32 - 1).max(0));
        let round = |v: f64| words::thousands((v / unit).round() * unit);
        format!("{}\u{a0}\u{b1}\u{a0}{}", round(value), round(doubt))
    } else {
        words::with_doubt(value, doubt)
    }
}

fn percent(transmittance: f64, relative: f64) -> String {
    let percent = transmittance * 100.0;
    format!("{} %", words::with_doubt(percent, percent * relative))
}
