//! A card through sorting and measuring, beside what a person would have.

use super::card::Card;
use super::recipe::causes;
use lightloss::measure::{About, measure};
use lightloss::profile::{CautionRecord, FrameState, Grade, Profile};
use lightloss::shoot::{Shoot, SortError, Wish, sort};

#[derive(Default)]
pub struct Outcome {
    pub what: String,
    pub measurable: bool,
    pub measured: bool,
    pub must_refuse: bool,
    pub refused: bool,
    pub outside: Vec<String>,
    pub misused: Vec<String>,
    pub note: String,
}

fn profile(shoot: &Shoot) -> Result<Profile, String> {
    measure(shoot, &About { name: "Planted".into(), ..About::default() }).map_err(|e| e.to_string())
}

fn outside(card: &Card, profile: &Profile, truth: &[f64]) -> Vec<String> {
    let named: Vec<&str> = card.messes.iter().flat_map(|m| causes(*m)).copied().collect();
    let all = |codes: &[CautionRecord]| {
        codes.iter().any(|c| c.grade == Grade::Number && named.contains(&c.code.as_str()))
    };
    let said = all(&profile.cautions) || profile.settings.iter().any(|s| all(&s.cautions));
    // Where more or fewer settings were found than there were, each is held against the nearest.
    let nearest = |stops: f64| {
        truth.iter().copied().min_by(|a, b| (a - stops).abs().total_cmp(&(b - stops).abs()))
    };
    let matching = profile.settings.len() == truth.len();
    profile
        .settings
        .iter()
        .enumerate()
        .filter_map(|(n, setting)| {
            let stops = setting.strength.stops.get();
            let truth = if matching { truth.get(n).copied() } else { nearest(stops) };
            let error = stops - truth.unwrap_or(0.0);
            let u95 = setting.strength.u95.get();
            (error.abs() > u95 && !said).then(|| format!("off by {error:.4}, u95 {u95:.4}"))
        })
        .collect()
}

pub fn tried(card: &Card) -> Outcome {
    let candidates = || card.entries.iter().map(|e| e.candidate.clone()).collect::<Vec<_>>();
    let mut outcome = Outcome {
        what: card.what.clone(),
        measurable: !card.truth.is_empty(),
        must_refuse: card.truth.is_empty(),
        ..Outcome::default()
    };
    match sort(candidates(), &Wish::default()) {
        Ok(shoot) => {
            misused(card, &shoot, &mut outcome);
            match profile(&shoot) {
                Ok(p) if p.settings.len() == card.truth.len() => {
                    outcome.measured = true;
                    outcome.outside = outside(card, &p, &card.truth);
                }
                Ok(p) => {
                    outcome.note = format!("{} settings were found", p.settings.len());
                    // A number that is wrong without a word is wrong whatever it is called.
                    outcome.outside = outside(card, &p, &card.truth);
                }
                Err(why) => outcome.note = why,
            }
        }
        Err(SortError::SeveralFilters { commands, reason, .. }) => {
            outcome.refused = commands.len() == card.shoots.len();
            outcome.note = reason;
            if outcome.must_refuse {
                by_command(card, &commands, &mut outcome);
            }
        }
        Err(why) => outcome.note = why.to_string(),
    }
    outcome
}

fn misused(card: &Card, shoot: &Shoot, outcome: &mut Outcome) {
    for frame in &shoot.frames {
        let used = matches!(frame.state, FrameState::Bare | FrameState::Setting);
        let entry = card.entries.iter().find(|e| e.candidate.file == frame.file()).unwrap();
        if used && frame.is_good() && !entry.wanted {
            outcome.misused.push(format!("{} as {:?}", frame.file(), frame.state));
        }
    }
}

/// Each ready command measures its own filter.
fn by_command(card: &Card, commands: &[String], outcome: &mut Outcome) {
    for (command, truth) in commands.iter().zip(&card.shoots) {
        let words: Vec<&str> = command.split(' ').collect();
        let after = |flag: &str| {
            words.iter().position(|w| *w == flag).map(|i| words[i + 1].trim_matches('"').to_owned())
        };
        let wish = Wish { from: after("--from"), to: after("--to"), ..Wish::default() };
        if wish.from.is_none() {
            outcome.note = format!("no limits in {command:?}");
            outcome.refused = false;
            continue;
        }
        let candidates = card.entries.iter().map(|e| e.candidate.clone()).collect();
        let measured = sort(candidates, &wish).map_err(|e| e.to_string());
        match measured.and_then(|s| {
            misused(card, &s, outcome);
            profile(&s)
        }) {
            Ok(p) => outcome.outside.extend(outside(card, &p, &[*truth])),
            Err(why) => {
                outcome.refused = false;
                outcome.note = format!("{command:?}: {why}");
            }
        }
    }
}
