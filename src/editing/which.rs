//! Which photograph was made through which filter: one posterior for every photograph over the states
//! of the kit (no filter, each filter, each mark, two at once, a filter that is not in the kit).
//!
//! Evidence is the light of the scene as reckoned from the raw level and the exposure together, colour
//! (the casts of the filters), the pattern across the frame (a ring, a graduation), the order of the
//! evening, what the photographer wrote, and bare frames that are named. Exposure settings alone prove
//! nothing. From which probability on something is *sure* or *likely* was set on simulated evenings
//! (`SURE` and below); what is less stays blank, with the two best named.

mod album;
mod belief;
mod changes;
mod companion;
mod daylight;
mod finding;
mod ground;
mod group;
mod guest;
mod hour;
mod kept;
mod links;
mod memo;
mod names;
mod notes;
mod patterns;
mod states;
mod step;
mod told;
mod track;
mod trail;
mod words;
#[cfg(test)]
mod tests;

pub use album::Album;
pub use companion::raw_beside;
pub use finding::{Finding, How, Leaning, Picture, Told, Used, Verdict, used_words};
pub use names::shown;
pub use notes::AS_BRIGHT_STOPS;
pub use step::{SceneStep, step};
pub use words::{Said, said};

use crate::frame::Exposure;
use crate::profile::Profile;
use belief::{Beliefs, Evening, Judgement};
use hour::BRIGHTEST_EV;
use links::{Placed, Tie, minutes, placed};
use states::{State, States, besides};
use std::sync::Arc;

/// Probability from which something is sure. Of 15,000 photographs of simulated evenings two of 711
/// between 0.999 and this were wrong, and none of 8,900 beyond it.
const SURE: f64 = 0.9995;
/// And what it must keep where borrowed filters are at home: one that nearly is one of the kit and a
/// cloud that makes up for the rest look like the one of the kit. Of 13,665 photographs of simulated
/// evenings six of 344 that kept 0.99 to 0.998 were wrong, and none of 6,856 that kept more.
const SURE_HOWEVER: f64 = 0.998;
/// Probabilities from which something is likely: in a calm light, and where clouds pass, of which a
/// photograph can show one without telling; and from which a mark is named. Of the same photographs one
/// in seven was wrong between 0.84 and 0.88 at golden hour without a bare frame named, one in twenty
/// from there to 0.92; under sun and clouds one in six between 0.92 and 0.94.
const LIKELY: f64 = 0.88;
const LIKELY_IN_CLOUDS: f64 = 0.94;
const MARK: f64 = 0.94;
/// A light is calm that is so at least as likely as not.
const CALM: f64 = 0.5;
/// How wrong keywords may be, and the user: what else they leave to other states (ours).
const MISTAKEN_KEYWORD: f64 = 0.003;
const MISTAKEN_USER: f64 = 1e-5;
/// A keyword that names one filter does not exclude a second, least of all a graduated one or a
/// polariser, which few people write down (ours).
const SECOND_FILTER: f64 = 0.3;
const SECOND_BESIDES: f64 = 0.6;
/// A kit's strongest state may need so much more light than the earth has before it is impossible.
const IMPOSSIBLE_STOPS: f64 = 1.0;

/// log2(N^2/t x 100/ISO), the exposure value at ISO 100 (ISO 2720, K and C aside); `None` where the
/// aperture, the time or the ISO is unknown.
#[must_use]
pub fn exposure_value(exposure: &Exposure) -> Option<f64> {
    let (n, t, iso) = (exposure.f_number?.get(), exposure.time?.get(), exposure.iso?.get());
    (n > 0.0 && t > 0.0 && iso > 0.0).then(|| (n * n / t * 100.0 / iso).log2())
}

struct Judged<'a> {
    pictures: &'a [Picture],
    kit: &'a [Profile],
    placed: &'a [Placed],
    /// The brightest light that there may be, as an exposure value.
    brightest: f64,
    states: &'a States,
    beliefs: Beliefs,
    /// The same where filters that are not in the kit are at home.
    wary: Beliefs,
    /// The same but for what the user says; `None` where he says nothing.
    unprompted: Option<Arc<Beliefs>>,
    /// Probability from which something is likely on this evening.
    likely: f64,
    said: &'a [Said],
    told: Vec<Told>,
    denied: Vec<Denied>,
}

/// A photograph of which words or the user say something else than the light.
struct Denied {
    at: usize,
    /// The first photograph of its scene.
    scene: usize,
    /// What the light says.
    filters: Vec<usize>,
}

/// States that name the same filters, together.
#[derive(Clone, Debug, PartialEq)]
struct Account {
    filters: Vec<usize>,
    unknown: bool,
    probability: f64,
}

impl<'a> Judged<'a> {
    fn new(album: &'a Album, told: &[Told], metered_first: bool) -> Self {
        let ground = &album.ground;
        let (placed, states, said) = (&ground.placed, &ground.states, &ground.said);
        let told: Vec<Told> =
            placed.iter().map(|p| told.get(p.picture).cloned().unwrap_or_default()).collect();
        album.memo.begin();
        let judged = |told: &[Told]| {
            let named_bare = |at: &usize| told[*at] == Told::Bare || said[*at] == Said::Bare;
            let brightest = brightest((0..placed.len()).filter(named_bare).map(|at| &placed[at]));
            let by_state = |told: &Told| states.all.iter().map(|s| by_user(told, s)).collect();
            let evening = Evening {
                ground,
                memo: &album.memo,
                words: told,
                told: told.iter().map(by_state).collect(),
                metered_first,
                brightest,
            };
            (evening.beliefs(), brightest)
        };
        let (Judgement { usual: beliefs, wary, calm }, brightest) = judged(&told);
        let nothing = vec![Told::Nothing; placed.len()];
        let unprompted = if told == nothing {
            album.unprompted(metered_first, || beliefs.clone());
            None
        } else {
            Some(album.unprompted(metered_first, || judged(&nothing).0.usual))
        };
        let likely = if calm >= CALM { LIKELY } else { LIKELY_IN_CLOUDS };
        let mut judged = Self {
            pictures: &album.apart.pictures,
            kit: &album.kit,
            placed,
            brightest,
            states,
            beliefs,
            wary,
            unprompted,
            likely,
            said,
            told,
            denied: Vec::new(),
        };
        judged.denied = judged.denials();
        judged
    }

    fn denials(&self) -> Vec<Denied> {
        let of = |at: usize| {
            let best = self.accounts(at).swap_remove(0);
            let denied = self.denied(at, &best);
            denied.then(|| Denied { at, scene: self.head(at), filters: best.filters })
        };
        (0..self.placed.len()).filter_map(of).collect()
    }

    /// Accounts of one photograph, the best first.
    fn accounts(&self, at: usize) -> Vec<Account> {
        self.accounts_of(&self.beliefs[at], &|_| true)
    }

    fn accounts_of(&self, beliefs: &[f64], of: &dyn Fn(&State) -> bool) -> Vec<Account> {
        let mut accounts: Vec<Account> = Vec::new();
        for (state, &probability) in self.states.all.iter().zip(beliefs).filter(|(s, _)| of(s)) {
            let (filters, unknown) = (state.filters(), state.unknown);
            match accounts.iter_mut().find(|a| a.filters == filters && a.unknown == unknown) {
                Some(known) => known.probability += probability,
                None => accounts.push(Account { filters, unknown, probability }),
            }
        }
        accounts.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        accounts
    }

    fn finding(&self, at: usize) -> Finding {
        if let Some(filters) = self.told[at].filters() {
            return self.as_told(at, filters);
        }
        let accounts = self.accounts(at);
        let best = &accounts[0];
        let impossible = self.impossible(at);
        let how = self.how(at, best);
        let (used, probability) = self.used(at, best);
        // Without light nothing but words and the user speak.
        let silent = self.placed[at].light.is_none() && how == How::Light;
        // Without a filter to look for every photograph is one through a filter that is not known.
        let blind = self.kit.is_empty() && how == How::Light;
        let doubtful = best.unknown || best.probability < self.likely;
        if doubtful || silent || blind || self.contradicted(at, best).is_some() {
            let note = self.why_blank(at, &accounts, silent);
            let leans = if silent || blind { Leaning::Nowhere } else { self.leans(best) };
            return Finding { impossible, note, probability, leans, ..Finding::unknown() };
        }
        let verdict = if used.is_empty() { Verdict::Bare } else { Verdict::Through(used) };
        Finding {
            bare: if verdict == Verdict::Bare { None } else { self.bare_frame(at) },
            note: self.beside(at),
            sure: probability >= SURE && self.however(at, best) >= SURE_HOWEVER,
            doubted: false,
            leans: Leaning::Nowhere,
            probability,
            verdict,
            how,
            impossible,
        }
    }

    /// How probable an account is where filters that are not in the kit are at home.
    fn however(&self, at: usize, best: &Account) -> f64 {
        let states = self.states.all.iter().zip(&self.wary[at]);
        let same = states.filter(|(s, _)| s.filters() == best.filters && s.unknown == best.unknown);
        same.map(|(_, probability)| probability).sum()
    }

    fn how(&self, at: usize, best: &Account) -> How {
        let names = |used: &[Used]| used.iter().all(|u| best.filters.contains(&u.filter));
        match (self.told[at].filters(), &self.said[at]) {
            // A filter that is not in the kit beside what was said is something else.
            (Some(told), _) if told == best.filters && !best.unknown => How::User,
            (Some(_), _) => How::Light,
            (None, Said::Bare) if best.filters.is_empty() => How::Words,
            (None, Said::Through(used)) if names(used) => How::Words,
            _ => How::Light,
        }
    }

    /// Whether words or the user say something else than the light.
    fn denied(&self, at: usize, best: &Account) -> bool {
        let told = self.told[at] != Told::Nothing;
        let spoken = if told { !self.unasked(at) } else { self.said[at] != Said::Nothing };
        spoken && self.how(at, best) == How::Light
    }

    /// The photograph of which words or the user say something else than the light: this one, or one of
    /// its scene that the light takes for the same, if light alone speaks of this one.
    fn contradicted(&self, at: usize, best: &Account) -> Option<usize> {
        if self.how(at, best) != How::Light {
            return None;
        }
        let alike = |d: &&Denied| d.scene == self.head(at) && d.filters == best.filters;
        let other = || self.denied.iter().find(alike).map(|d| d.at);
        if self.denied(at, best) { Some(at) } else { other() }
    }

    /// The filters of an account, a mark where it is as likely as filters must be, and how probable all
    /// of that is together.
    fn used(&self, at: usize, account: &Account) -> (Vec<Used>, f64) {
        let states = self.states.all.iter().zip(&self.beliefs[at]);
        let own = states.filter(|(s, _)| !s.unknown && s.filters() == account.filters);
        let best = own.max_by(|a, b| a.1.total_cmp(b.1));
        let Some((state, &probability)) = best else { return (Vec::new(), account.probability) };
        let mut used = state.used.clone();
        if probability >= MARK {
            return (used, probability);
        }
        used.iter_mut().for_each(|u| u.mark = None);
        (used, account.probability)
    }

    /// Filters that this photograph cannot have been made through: its scene would have to be brighter
    /// than any on earth.
    fn impossible(&self, at: usize) -> Vec<usize> {
        let here = &self.placed[at];
        let Some(light) = here.light else { return Vec::new() };
        let weakest = |filter: usize| {
            let own = self.states.all.iter().filter(|s| s.filters() == [filter]);
            own.map(|s| s.loss - s.u[0] - here.bound).min_by(f64::total_cmp)
        };
        let beyond = |loss: f64| light + loss > self.brightest + IMPOSSIBLE_STOPS;
        (0..self.kit.len()).filter(|&f| weakest(f).is_some_and(beyond)).collect()
    }

    /// Whether a photograph is known to be bare.
    fn is_bare(&self, at: usize) -> bool {
        if self.told[at] != Told::Nothing {
            return self.told[at] == Told::Bare;
        }
        let first = &self.accounts(at)[0];
        first.filters.is_empty() && !first.unknown && first.probability >= self.likely
    }

    /// The nearest bare frame of the same scene.
    fn bare_frame(&self, at: usize) -> Option<usize> {
        let head = self.head(at);
        let here = &self.pictures[self.placed[at].picture];
        let own = |&i: &usize| i != at && self.head(i) == head && self.is_bare(i);
        let bare = (0..self.placed.len()).filter(own);
        let apart = |&i: &usize| {
            minutes(&self.pictures[self.placed[i].picture], here).map_or(f64::INFINITY, f64::abs)
        };
        bare.min_by(|a, b| apart(a).total_cmp(&apart(b))).map(|i| self.placed[i].picture)
    }

    fn head(&self, at: usize) -> usize {
        let mut at = at;
        while let Tie::Scene { on, .. } | Tie::Series { on } = &self.placed[at].tie {
            at = *on;
        }
        at
    }
}

/// How well a state agrees with keywords: a factor.
fn by_words(said: &Said, state: &State, kit: &[Profile]) -> f64 {
    match said {
        Said::Nothing => 1.0,
        Said::Bare if state.is_bare() => 1.0,
        Said::Bare => MISTAKEN_KEYWORD,
        Said::Through(used) => {
            let more = |u: &&Used| used.iter().all(|named| named.filter != u.filter);
            let beside = state.used.iter().filter(more).all(|u| besides(&kit[u.filter]));
            let second = if beside && !state.unknown { SECOND_BESIDES } else { SECOND_FILTER };
            agrees(used, state, MISTAKEN_KEYWORD, second)
        }
    }
}

/// How well a state agrees with what the user says: a factor.
fn by_user(told: &Told, state: &State) -> f64 {
    match told {
        Told::Nothing => 1.0,
        Told::Bare if state.is_bare() => 1.0,
        Told::Bare => MISTAKEN_USER,
        Told::Through(used) => agrees(used, state, MISTAKEN_USER, MISTAKEN_USER),
    }
}

/// The brightest light that there may be, as an exposure value: that of the earth, or of a frame that is
/// said to be bare, which shows how cameras and places differ from what is usual.
fn brightest<'a>(bare: impl Iterator<Item = &'a Placed>) -> f64 {
    let seen = bare.filter_map(|p| p.light.map(|light| light - p.bound));
    seen.fold(BRIGHTEST_EV, f64::max)
}

fn agrees(used: &[Used], state: &State, otherwise: f64, second: f64) -> f64 {
    let holds = |u: &Used| {
        let mark = |s: &Used| u.mark.is_none() || u.mark == s.mark;
        state.used.iter().any(|s| s.filter == u.filter && mark(s))
    };
    match (used.iter().all(holds), state.used.len() == used.len() && !state.unknown) {
        (true, true) => 1.0,
        (true, false) => second,
        (false, _) => otherwise,
    }
}

/// Whether a photograph can have been made through so many stops: its scene would have to be brighter
/// than any on earth otherwise.
#[must_use]
pub fn possible(picture: &Picture, stops: f64) -> bool {
    let light = placed(std::slice::from_ref(picture))[0].light;
    light.is_none_or(|light| light + stops <= BRIGHTEST_EV + IMPOSSIBLE_STOPS)
}
