//! The judging code's word on a shoot beside the truth.

use super::scene::{Before, Made};
use super::solid::Case;
use lightloss::measure::measure;
use lightloss::profile::{BudgetLine, CautionRecord, Grade, Profile};
use lightloss::shoot::{Shoot, survey};

/// From this change of its level a frame is spoilt, stops.
pub const SPOILT: f64 = 0.05;
/// A number is wrong from twice its u95, which leaves nothing to chance, and from this many stops,
/// which a photographer could see the effect of.
const WRONG_U95: f64 = 2.0;
const WRONG_STOPS: f64 = 0.02;

/// What became of a shoot.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    pub seed: u64,
    /// Why nothing was measured.
    pub refused: Option<String>,
    /// The kind, and the number of its states.
    pub kind: bool,
    /// Measured minus true strength of the first state, and its u95, stops.
    pub error: Option<f64>,
    pub u95: f64,
    pub stops: f64,
    /// Codes of cautions of grade `number`.
    pub cautions: Vec<String>,
    /// Codes of notes.
    pub notes: Vec<String>,
    /// Spoilt frames.
    pub spoilt: Vec<SpoiltFrame>,
    /// Good frames, and those of them that were used as what they are.
    pub good: usize,
    pub kept: usize,
    /// What was made of it.
    pub what: String,
    /// Every frame with what is true and what was judged, and every caution.
    pub frames: Vec<String>,
    /// Answers to questions of the class.
    pub answers: Vec<(&'static str, bool)>,
    /// Measured, for questions of the class.
    pub profile: Option<Profile>,
}

/// A spoilt frame.
#[derive(Clone, Debug)]
pub struct SpoiltFrame {
    pub file: String,
    /// The sort of fault that was there first.
    pub sort: &'static str,
    /// Stops by which its level is off.
    pub harm: f64,
    /// Left out or named.
    pub named: bool,
}

impl Outcome {
    pub fn inside(&self) -> bool {
        self.error.is_some_and(|e| e.abs() <= self.u95)
    }
    /// Not so where no one number is asked for.
    pub fn is_outside(&self) -> bool {
        self.error.is_some() && !self.inside()
    }
    pub fn named(&self) -> usize {
        self.spoilt.iter().filter(|s| s.named).count()
    }
    pub fn is_silent(&self) -> bool {
        self.refused.is_none() && self.cautions.is_empty()
    }
    /// Wrong kind, or wrong number beyond all chance, without a word of grade `number`.
    pub fn is_wrong_in_silence(&self) -> bool {
        let off = self.error.map_or(0.0, f64::abs);
        self.is_silent() && (!self.kind || off > (WRONG_U95 * self.u95).max(WRONG_STOPS))
    }
}

/// Every caution of a profile.
pub fn cautions(profile: &Profile) -> impl Iterator<Item = &CautionRecord> {
    profile.cautions.iter().chain(profile.settings.iter().flat_map(|s| &s.cautions))
}

/// Sorts and measures a case.
pub fn assess(case: Case, seed: u64) -> Outcome {
    let Case { made, wish, about, kind, stops } = case;
    let (facts, candidates): (Vec<Fact>, Vec<_>) =
        made.into_iter().map(|m| (Fact::of(&m), m.candidate)).unzip();
    let mut outcome = Outcome { seed, ..Outcome::default() };
    let shoot = match survey(candidates, &wish) {
        Ok((shoot, None)) => shoot,
        Ok((shoot, Some(why))) => {
            outcome.frames = facts.iter().map(|fact| fact.beside(&shoot)).collect();
            return Outcome { refused: Some(why.to_string()), ..outcome };
        }
        Err(why) => return Outcome { refused: Some(why.to_string()), ..outcome },
    };
    let profile = match measure(&shoot, &about) {
        Ok(profile) => profile,
        Err(why) => return Outcome { refused: Some(why.to_string()), ..outcome },
    };
    // What is read is the profile: measuring may tell a kind that levels alone cannot.
    outcome.kind = profile.filter.kind == kind && profile.settings.len() == stops.len();
    outcome.what = format!("{:?} of {}", profile.filter.kind, profile.settings.len());
    outcome.stops = stops[0];
    if let Some(first) = profile.settings.first() {
        outcome.error = Some(first.strength.stops.get() - stops[0]);
        outcome.u95 = first.strength.u95.get();
    }
    let number = cautions(&profile).filter(|c| c.grade == Grade::Number);
    outcome.cautions = number.map(|c| c.code.clone()).collect();
    outcome.cautions.sort();
    outcome.cautions.dedup();
    let notes = cautions(&profile).filter(|c| c.grade == Grade::Note);
    outcome.notes = notes.map(|c| c.code.clone()).collect();
    outcome.notes.sort();
    outcome.notes.dedup();
    outcome.count_frames(&facts, &shoot, &profile);
    outcome.profile = Some(profile);
    outcome
}

/// What is true of a frame.
struct Fact {
    file: String,
    before: Before,
    spoilt: bool,
    harm: f64,
    sort: &'static str,
    whole_run: bool,
    words: String,
}

impl Fact {
    fn of(made: &Made) -> Self {
        let spoilt = made.harm.abs() > SPOILT || made.clipped || made.buried;
        let (file, before, whole_run) = (made.file.clone(), made.before, made.whole_run);
        let time = made.candidate.outcome.as_ref().ok().and_then(|s| s.info.exposure.time);
        let seconds = time.map_or(f64::NAN, |t| t.get());
        let words = format!("{file} {before:?} {seconds:.5} s, harmed by {:.3} stop", made.harm);
        let (harm, sort) = (made.harm, made.sort);
        Self { file, before, spoilt, harm, sort, whole_run, words }
    }
    /// What is true of the frame beside what was judged.
    fn beside(&self, shoot: &Shoot) -> String {
        let judged = shoot.frames.iter().find(|f| f.file() == self.file);
        let judged = judged.map(|f| {
            let (minutes, level) = (f.minutes, f.look.centre);
            format!(
                "minute {minutes:.3}, level {level:.4}, run {:?} {:?} {:?} {:?}",
                f.run, f.state, f.setting, f.judgement
            )
        });
        format!("{}: {}", self.words, judged.unwrap_or_default())
    }
}

impl Outcome {
    fn count_frames(&mut self, facts: &[Fact], shoot: &Shoot, profile: &Profile) {
        let used = |file: &str| shoot.frames.iter().any(|f| f.file() == file && f.is_good());
        let says = |c: &CautionRecord| format!("{:?} {}: {}", c.grade, c.code, c.text);
        self.frames.extend(cautions(profile).map(says));
        let part = |line: &BudgetLine| format!("{:.4} stop: {}", line.stops.get(), line.source);
        self.frames.extend(profile.budget.iter().map(part));
        let texts: Vec<&str> = cautions(profile).map(|c| c.text.as_str()).collect();
        for fact in facts {
            self.frames.push(fact.beside(shoot));
            let named = texts.iter().any(|t| t.contains(&fact.file));
            if fact.spoilt {
                // Of a run that is spoilt as a whole nothing within tells: a word on the number does.
                let told = fact.whole_run && !self.cautions.is_empty();
                let named = named || told || !used(&fact.file);
                let &Fact { harm, sort, .. } = fact;
                self.spoilt.push(SpoiltFrame { file: fact.file.clone(), sort, harm, named });
            } else if matches!(fact.before, Before::Nothing | Before::Filter(_)) {
                self.good += 1;
                self.kept += usize::from(used(&fact.file));
            }
        }
    }
}
