//! The answer at the top: strength against the claim.

use super::{Drawings, Figure};
use crate::profile::{Kind, Profile};
use crate::quantity::Stops;
use crate::report::plots::Caption;
use crate::report::plots::ruler::{self, Band, Claim};
use crate::say::figures as words;
use crate::say::strength::{self as said, Strength};
use crate::say::{first, special};

/// What stands first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Headline {
    /// How strong.
    pub sentence: String,
    /// What colour, how even, may I trust it: question and answer.
    pub others: Vec<(&'static str, String)>,
    /// A stack against its parts.
    pub stack: Option<String>,
    /// What follows from it in the field, where something does.
    pub consequence: Option<String>,
    /// The number again with its uncertainty, for programs that read the page.
    pub number: String,
    /// The uncertainty, and what the sign means.
    pub uncertainty: String,
    /// The ruler of stops.
    pub ruler: Figure,
    /// Short facts: name and value.
    pub facts: Vec<(String, String)>,
}

/// Builds the headline; `None` where the profile holds no setting.
pub fn headline(profile: &Profile, drawings: &mut Drawings) -> Option<Headline> {
    let strength = Strength::of(profile)?;
    let claim = |(stops, words): (Stops, String)| Claim { stops: stops.get(), words };
    let claims: Vec<Claim> = said::claims(profile).into_iter().map(claim).collect();
    let Strength { from, to, .. } = strength;
    let band = Band { from, to, u95: strength.u95_stops(), words: strength.number.clone() };
    let caption = Caption {
        name: "ruler".to_owned(),
        title: format!("Strength of {} on a scale of stops", profile.filter.name),
        finding: strength.sentence.clone(),
    };
    let words = ruler_caption(&strength, &claims);
    let ruler = drawings.both("the ruler of stops", &caption, words, |caption, width| {
        ruler::headline(caption, &band, &claims, strength.difference.as_deref(), width)
    });
    Some(Headline {
        others: first::after_the_strength(profile),
        stack: special::stack(profile),
        consequence: said::consequence(profile),
        uncertainty: uncertainty(&strength),
        facts: facts(profile)?,
        ruler,
        number: strength.number,
        sentence: strength.sentence,
    })
}

/// Says of the ruler what is on it.
fn ruler_caption(strength: &Strength, claims: &[Claim]) -> String {
    let rated = if claims.is_empty() { "" } else { "The grey tick is what it is rated. " };
    let band = if strength.to > strength.from {
        "The solid band goes from the weakest mark to the strongest."
    } else if strength.u95_stops() > 0.0 {
        "The measurement is the solid band, as wide as its uncertainty."
    } else {
        "The measurement is the solid band."
    };
    format!("{rated}{band} Short ticks are thirds of a stop.")
}

/// Where the uncertainty is explained, once on the page.
fn uncertainty(strength: &Strength) -> String {
    let u95 = strength.u95_stops();
    let lead = if u95 > 0.0 && strength.to > strength.from {
        let [light, dark] =
            strength.ends_u95.map(|u95| crate::rounding::fixed(u95, crate::rounding::places(u95)));
        if light == dark {
            format!("Either end is known to \u{b1} {dark} stop. ")
        } else {
            format!(
                "The light end is known to \u{b1} {light} stop, the dark one to \u{b1} {dark}. "
            )
        }
    } else if u95 > 0.0 {
        String::new()
    } else {
        "The profile states no uncertainty of this figure. ".to_owned()
    };
    format!(
        "{lead}Here and below, the figure after \u{b1} is the uncertainty: how far the true value may \
         lie from the one given, nineteen times in twenty."
    )
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
            add(
                "As the eye sees it, colours weighted by how bright they look",
                format!("{} stops", words::stops(visual)),
            );
        }
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
