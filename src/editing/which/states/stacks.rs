//! Two filters at once, and what is not in the kit, alone and beside one that is.

use super::{
    AND_ONE_IN_IT, BARE, BESIDES, NOT_IN_THE_KIT, ONE_FILTER, State, States, TWO_FILTERS,
    UNKNOWN_COLOUR_STOPS, UNKNOWN_STOPS, besides,
};
use crate::editing::which::patterns::Pattern;
use crate::kit::stack::may_stand_together;
use crate::profile::Profile;

impl States {
    /// Two at once, no filter with itself or with a stack that holds it, and no two rings; `plain` is how
    /// many filters there are but for those that go on besides.
    pub(super) fn stacks(&mut self, singles: &[Vec<State>], kit: &[Profile], plain: f64) {
        let mut stacks: Vec<(State, f64)> = Vec::new();
        for (i, one) in singles.iter().enumerate() {
            for (j, two) in singles.iter().enumerate().skip(i + 1) {
                let more = [i, j].iter().filter(|&&f| besides(&kit[f])).count();
                if !may_stand_together(&kit[i], &kit[j]) {
                    continue;
                }
                for (a, b) in one.iter().flat_map(|a| two.iter().map(move |b| (a, b))) {
                    let mut both = a.with(b);
                    both.pattern = self.both(a.pattern, b.pattern);
                    // Shares of one filter each, but for what goes on besides.
                    both.prior = match more {
                        0 => f64::NAN,
                        1 => ONE_FILTER * BESIDES * both.prior / plain,
                        _ => BARE * BESIDES * BESIDES,
                    };
                    let product = a.prior * b.prior;
                    stacks.push((both, product));
                }
            }
        }
        let of_two = |s: &&(State, f64)| s.0.prior.is_nan();
        let weight: f64 = stacks.iter().filter(of_two).map(|s| s.1).sum();
        for (mut state, product) in stacks {
            if state.prior.is_nan() {
                state.prior = TWO_FILTERS * product / weight;
            }
            self.all.push(state);
        }
    }

    /// Two patterns at once: a graduation is added to another, of two of one sort the more uneven stands.
    fn both(&mut self, one: usize, two: usize) -> usize {
        let graduated = |at: usize| matches!(self.patterns[at], Pattern::Graduated { .. });
        match (one, two) {
            (one, 0) => one,
            (0, two) => two,
            (one, two) if graduated(one) != graduated(two) => {
                // In whatever order they are in the kit: lines beside each other are ways beside each other.
                let (measured, edge) = if graduated(one) { (two, one) } else { (one, two) };
                let known =
                    |p: &Pattern| matches!(p, Pattern::Both(a, b) if (*a, *b) == (measured, edge));
                self.patterns.iter().position(known).unwrap_or_else(|| {
                    self.patterns.push(Pattern::Both(measured, edge));
                    self.patterns.len() - 1
                })
            }
            (one, two) => {
                // In whatever order they are in the kit.
                let more = self.patterns[one].spread() >= self.patterns[two].spread();
                if more { one } else { two }
            }
        }
    }

    pub(super) fn not_in_the_kit(&mut self, singles: &[Vec<State>]) {
        let unknown = State {
            unknown: true,
            loss: UNKNOWN_STOPS.0,
            u: [UNKNOWN_STOPS.1, UNKNOWN_COLOUR_STOPS],
            prior: NOT_IN_THE_KIT,
            ..State::bare()
        };
        for (known, of) in singles.iter().flat_map(|of| of.iter().map(move |s| (s, of.len()))) {
            let prior = AND_ONE_IN_IT / (singles.len() * of) as f64;
            let pattern = known.pattern;
            self.all.push(State { unknown: true, pattern, prior, ..known.with(&unknown) });
        }
        self.all.push(unknown);
    }
}
