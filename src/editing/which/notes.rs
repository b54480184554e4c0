//! Why a photograph is known or not, in plain words.

use super::links::Tie;
use super::names::shown;
use super::{Account, Judged, Leaning, Said, Told};

/// Two frames closer in light than this are called as bright (ours).
pub const AS_BRIGHT_STOPS: f64 = 0.15;
/// States within so many standard uncertainties of each other are alike (ours).
const ALIKE_U: f64 = 2.0;
/// Accounts less likely than this are not worth naming.
const WORTH_NAMING: f64 = 0.02;
/// Light leans to what is as likely as not.
const LEANS: f64 = 0.5;

impl Judged<'_> {
    fn shown(&self, at: usize) -> String {
        self.file(self.placed[at].picture)
    }

    fn file(&self, picture: usize) -> String {
        let all: Vec<&str> = self.pictures.iter().map(|p| p.info.file.as_str()).collect();
        shown(all[picture], &all)
    }

    /// Where light leans that tells nothing.
    pub(super) fn leans(&self, best: &Account) -> Leaning {
        match (best.unknown, best.filters.is_empty()) {
            _ if best.probability < LEANS => Leaning::Nowhere,
            (true, _) => Leaning::Stranger,
            (false, true) => Leaning::Bare,
            (false, false) => Leaning::Nowhere,
        }
    }

    /// How a photograph stands beside the one that it was compared with.
    pub(super) fn beside(&self, at: usize) -> String {
        let placed = &self.placed[at];
        let Tie::Scene { on, difference } = &placed.tie else { return String::new() };
        let stops = difference.stops;
        let (size, word) = (stops.abs(), if stops > 0.0 { "brighter" } else { "darker" });
        let file = self.shown(*on);
        if size < AS_BRIGHT_STOPS {
            return format!("as bright as {file}");
        }
        format!("{size:.1} stops {word} than {file}, {:.0} min apart", placed.minutes)
    }

    /// Why nothing is said, and what would help.
    pub(super) fn why_blank(&self, at: usize, accounts: &[Account], silent: bool) -> String {
        let picture = &self.pictures[self.placed[at].picture];
        if picture.scene.is_none() {
            return "not a raw file, so its level says nothing; give it a keyword".to_owned();
        }
        if silent && super::exposure_value(&picture.info.exposure).is_some() {
            return "all of it is clipped or dark, so its level says nothing; give it a keyword"
                .to_owned();
        }
        if silent {
            return "aperture, time or ISO is not recorded; give it a keyword".to_owned();
        }
        if self.kit.is_empty() {
            return "there is no filter to look for; measure one and keep it first".to_owned();
        }
        let best = &accounts[0];
        let beside = self.beside(at);
        let lead = if beside.is_empty() { String::new() } else { format!("{beside}; ") };
        if let Some(denied) = self.contradicted(at, best) {
            let of =
                if denied == at { String::new() } else { format!(" of {}", self.shown(denied)) };
            let said = match &self.told[denied] {
                Told::Nothing => format!("the keywords{of} say {}", self.words_say(denied)),
                _ => format!("you said {}{of}", self.told_words(denied)),
            };
            let name = self.name(best);
            return format!(
                "{lead}{said}, but the light says {name}; correct the one that is wrong"
            );
        }
        if self.leans(best) == Leaning::Stranger {
            return format!(
                "{lead}fits no filter, mark or stack of the kit; measure that filter, or give a keyword"
            );
        }
        let named: Vec<String> = accounts
            .iter()
            .take(2)
            .filter(|a| a.probability >= WORTH_NAMING)
            .map(|a| format!("{} ({:.0} %)", self.name(a), 100.0 * a.probability))
            .collect();
        format!("{lead}{}; {}", named.join(" or "), self.advice(at, accounts))
    }

    /// What would tell.
    fn advice(&self, at: usize, accounts: &[Account]) -> String {
        let head = self.head(at);
        let others: Vec<usize> =
            (0..self.placed.len()).filter(|&i| i != at && self.head(i) == head).collect();
        let disputed = others.iter().find_map(|&i| Some((i, self.against(i)?)));
        if let Some((other, against)) = disputed {
            return format!(
                "you said {} of {}, but {}: take that back, or write the filter of this one into the \
                 table",
                self.told_words(other),
                self.shown(other),
                against.words()
            );
        }
        let alike = self.alike(at, accounts);
        let known = self.bare_frame(at);
        if alike || known.is_some() {
            let why = match known {
                _ if alike => "they look alike".to_owned(),
                Some(bare) => format!("{} is its bare frame already", self.file(bare)),
                None => String::new(),
            };
            return format!("{why}: give a keyword, or write its filter into the table");
        }
        let which = if others.is_empty() {
            "say so if it was made without a filter (none in the table)"
        } else {
            "say which frame of the scene was made without a filter (none in the table)"
        };
        format!("{which}, or give a keyword")
    }

    /// Whether the two likeliest accounts take the same, as far as that is known: no bare frame parts
    /// them.
    fn alike(&self, at: usize, accounts: &[Account]) -> bool {
        let likeliest = |account: &Account| {
            let all = self.states.all.iter().zip(&self.beliefs[at]);
            let own =
                all.filter(|(s, _)| s.filters() == account.filters && s.unknown == account.unknown);
            own.max_by(|a, b| a.1.total_cmp(b.1)).map(|(state, _)| state)
        };
        let [one, two, ..] = accounts else { return false };
        let (Some(one), Some(two)) = (likeliest(one), likeliest(two)) else { return false };
        let near = |a: f64, b: f64, u: [f64; 2]| (a - b).abs() < ALIKE_U * u[0].hypot(u[1]);
        let mut colours = one.colour.iter().zip(two.colour);
        // What is not in the kit could be anything.
        !one.unknown
            && !two.unknown
            && one.pattern == two.pattern
            && near(one.loss, two.loss, [one.u[0], two.u[0]])
            && colours.all(|(&a, b)| near(a, b, [one.u[1], two.u[1]]))
    }

    fn words_say(&self, at: usize) -> String {
        match &self.said[at] {
            Said::Bare => "bare".to_owned(),
            Said::Through(used) => {
                let name = |u: &super::Used| format!("{:?}", self.kit[u.filter].filter.name);
                used.iter().map(name).collect::<Vec<_>>().join(" and ")
            }
            Said::Nothing => String::new(),
        }
    }

    pub(super) fn name(&self, account: &Account) -> String {
        if account.unknown {
            return "a filter that is not in the kit".to_owned();
        }
        let names: Vec<&str> =
            account.filters.iter().map(|&f| self.kit[f].filter.name.as_str()).collect();
        if names.is_empty() { "bare".to_owned() } else { names.join(" + ") }
    }
}
