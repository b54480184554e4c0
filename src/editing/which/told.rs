//! What the user says of a photograph rules; where light or keywords speak against it, that is said.

use super::belief::Beliefs;
use super::states::State;
use super::{
    Account, Finding, How, Judged, Leaning, MARK, SURE, SURE_HOWEVER, Said, Told, Used, Verdict,
    agrees, used_words,
};

/// Less likely than this, but for the user's word, is what he says: the light contradicts it (ours).
const CONTRADICTED: f64 = 0.01;

/// What speaks against the user's word.
pub(super) struct Against {
    /// What the photographs say instead, where they do.
    rival: Option<String>,
    /// What the keywords say instead, where they do.
    keywords: Option<String>,
}

impl Against {
    /// Who says what instead.
    pub fn words(&self) -> String {
        match (&self.rival, &self.keywords) {
            (Some(rival), Some(named)) if rival == named => {
                format!("the light and the keywords say {rival}")
            }
            (Some(rival), Some(named)) => {
                format!("the light says {rival}, and the keywords say {named}")
            }
            (Some(rival), None) => format!("the light says {rival}"),
            (None, Some(named)) => format!("the keywords say {named}"),
            (None, None) => String::new(),
        }
    }
}

impl Told {
    /// Filters in the order of the kit; none where it was bare, `None` where nothing is said.
    pub(super) fn filters(&self) -> Option<Vec<usize>> {
        let mut filters: Vec<usize> = match self {
            Self::Nothing => return None,
            Self::Bare => Vec::new(),
            Self::Through(used) => used.iter().map(|u| u.filter).collect(),
        };
        filters.sort_unstable();
        Some(filters)
    }

    fn used(&self) -> &[Used] {
        if let Self::Through(used) = self { used } else { &[] }
    }

    /// Whether a state is what is said, and nothing beside it.
    fn is(&self, state: &State) -> bool {
        agrees(self.used(), state, 0.0, 0.0) > 0.5
    }
}

impl Judged<'_> {
    /// What is found of a photograph of which the user says something: just that.
    pub(super) fn as_told(&self, at: usize, filters: Vec<usize>) -> Finding {
        let probability = self.of_told(at, &self.beliefs);
        let account = Account { filters, unknown: false, probability };
        // A mark that was not said is as the light shows it.
        let (seen, _) = self.used(at, &account);
        let mark = |u: &Used| {
            let seen = || seen.iter().find(|s| s.filter == u.filter)?.mark.clone();
            u.mark.clone().or_else(seen)
        };
        let used: Vec<Used> =
            self.told[at].used().iter().map(|u| Used { mark: mark(u), ..*u }).collect();
        let verdict = if used.is_empty() { Verdict::Bare } else { Verdict::Through(used) };
        let unasked = self.unasked(at);
        let however = self.of_told(at, &self.wary);
        Finding {
            bare: if verdict == Verdict::Bare { None } else { self.bare_frame(at) },
            note: self.note_of_told(at, unasked),
            sure: unasked || (probability >= SURE && however >= SURE_HOWEVER),
            doubted: !unasked && (probability < self.likely || self.rival(at).is_some()),
            leans: Leaning::Nowhere,
            probability,
            verdict,
            how: How::User,
            impossible: self.impossible(at),
        }
    }

    /// Whether the light says nothing of what the user says: there is none, or no such stack is looked
    /// for.
    pub(super) fn unasked(&self, at: usize) -> bool {
        self.placed[at].light.is_none() || !self.states.all.iter().any(|s| self.told[at].is(s))
    }

    fn of_told(&self, at: usize, beliefs: &Beliefs) -> f64 {
        let own = self.states.all.iter().zip(&beliefs[at]).filter(|(s, _)| self.told[at].is(s));
        own.map(|(_, probability)| probability).sum()
    }

    fn note_of_told(&self, at: usize, unasked: bool) -> String {
        let against = self.against(at).map(|against| {
            let said = self.told_words(at);
            format!("you said {said}, which stands, but {}; look at it again", against.words())
        });
        let silent = self.placed[at].light.is_some() && unasked;
        let silent =
            silent.then(|| "no such stack is looked for, so the light was not asked".to_owned());
        let notes = [Some(self.beside(at)).filter(|n| !n.is_empty()), silent, against];
        notes.into_iter().flatten().collect::<Vec<_>>().join("; ")
    }

    /// What speaks strongly against the user's word, if anything does: what is believed without it, or
    /// still in spite of it, or a keyword.
    pub(super) fn against(&self, at: usize) -> Option<Against> {
        let filters = self.told[at].filters()?;
        let rival = if self.unasked(at) { None } else { self.rival(at) };
        let keywords = match &self.said[at] {
            Said::Nothing => None,
            Said::Bare => (!filters.is_empty()).then(|| "bare".to_owned()),
            Said::Through(named) => {
                let told = self.told[at].used();
                let other = |u: &Used| {
                    let own = told.iter().find(|t| t.filter == u.filter);
                    own.is_none_or(|t| t.mark.is_some() && u.mark.is_some() && t.mark != u.mark)
                };
                named.iter().any(other).then(|| self.used_words(named))
            }
        };
        let spoken = rival.is_some() || keywords.is_some();
        spoken.then_some(Against { rival, keywords })
    }

    /// What the photographs say instead of the user.
    fn rival(&self, at: usize) -> Option<String> {
        let alone = self.unprompted.as_ref()?;
        let other = |s: &State| !self.told[at].is(s);
        let best = self.accounts_of(&alone[at], &other).into_iter().next()?;
        let denied = self.of_told(at, alone) < CONTRADICTED && best.probability >= self.likely;
        let still = self.of_told(at, &self.beliefs) < self.likely;
        (denied || still).then(|| self.rival_words(at, &best, &alone[at]))
    }

    fn rival_words(&self, at: usize, rival: &Account, alone: &[f64]) -> String {
        if rival.unknown || self.told[at].filters().as_ref() != Some(&rival.filters) {
            return self.name(rival);
        }
        // The filters are those that were said, so it is the mark.
        let states = self.states.all.iter().zip(alone);
        let own = states.filter(|(s, p)| **p >= MARK && s.filters() == rival.filters);
        let mut marked = own.map(|(state, _)| self.used_words(&state.used));
        marked.next().unwrap_or_else(|| format!("another mark of {}", self.name(rival)))
    }

    /// What the user says of a photograph.
    pub(super) fn told_words(&self, at: usize) -> String {
        self.used_words(self.told[at].used())
    }

    fn used_words(&self, used: &[Used]) -> String {
        if used.is_empty() {
            return "bare".to_owned();
        }
        used_words(used, |filter| self.kit[filter].filter.name.clone())
    }
}
