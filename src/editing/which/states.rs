//! What can have been in front of the lens: nothing, a filter of the kit, a mark, a stack of two, or a
//! filter that is not in the kit.

mod stacks;

use super::finding::Used;
use super::patterns::{LEAST_SPREAD, Pattern};
use crate::profile::{Kind, Profile, Setting};

/// How likely each sort of state is before anything is seen (ours).
const BARE: f64 = 0.4;
const ONE_FILTER: f64 = 0.4;
const TWO_FILTERS: f64 = 0.09;
const NOT_IN_THE_KIT: f64 = 0.08;
/// The same together with one that is.
const AND_ONE_IN_IT: f64 = 0.016;
/// A graduated filter or a polariser goes on for reasons of its own, whatever else is on (ours).
const BESIDES: f64 = 0.22;

/// How exactly a filter in a holder or thread repeats its strength, in stops (ours).
const FIXED_STOPS: f64 = 0.02;
/// How exactly a ring is set to a mark by hand, in stops (ours).
const RING_STOPS: f64 = 0.12;
/// A polariser darkens a scene by one stop or two, as the light's own polarisation decides (ours).
const POLARISER_STOPS: f64 = 0.35;
const POLARISER_COLOUR_STOPS: f64 = 0.06;
/// How exactly the two sides of a graduated filter's line can be told apart, in stops; the least
/// width of the line as a share of the height (ours).
const GRADUATED_STOPS: f64 = 0.1;
const LEAST_WIDTH: f64 = 0.05;
/// How exactly the cast of a graduated filter in the middle of the picture follows from where its line
/// lies, as a share of its cast (ours).
const EDGE_COLOUR_SHARE: f64 = 0.25;
/// Doubt of the colour of a cast carried to other light, in stops, and as a share of the cast (ours).
const COLOUR_STOPS: f64 = 0.008;
const COLOUR_SHARE: f64 = 0.06;
/// Strength and colour of a filter that nobody measured, and their spread (ours).
const UNKNOWN_STOPS: (f64, f64) = (6.0, 3.5);
const UNKNOWN_COLOUR_STOPS: f64 = 0.25;
/// How much a ring or a polariser wanders from frame to frame without being set anew (ours).
const RING_WANDERS: f64 = 0.06;
const POLARISER_WANDERS: f64 = 0.12;

/// What a filter of nobody's kit takes, in stops.
#[derive(Clone, Copy, Debug)]
pub(super) struct Guest {
    /// Loss of green.
    pub loss: f64,
    /// Loss of red and blue beyond that of green, where it was seen.
    pub colour: Option<[f64; 2]>,
    /// Probability of the accounts that show it.
    pub weight: f64,
}

impl Guest {
    /// What it takes, as bits of the numbers.
    pub fn bits(&self) -> (u64, Option<[u64; 2]>) {
        (self.loss.to_bits(), self.colour.map(|colour| colour.map(f64::to_bits)))
    }
}

/// How exactly one frame beside another tells what a filter takes, level and colour, in stops (ours:
/// light wanders between them).
pub(super) const GUEST_STOPS: f64 = 0.12;
pub(super) const GUEST_COLOUR_STOPS: f64 = 0.025;

/// One state and what it does to a photograph.
#[derive(Clone, Debug)]
pub(super) struct State {
    /// What of the kit; empty where bare or not in the kit.
    pub used: Vec<Used>,
    /// A filter that is not in the kit.
    pub unknown: bool,
    /// Loss of green in stops, over the middle of the picture.
    pub loss: f64,
    /// Loss of red and blue beyond that of green.
    pub colour: [f64; 2],
    /// Standard uncertainties of loss and colour.
    pub u: [f64; 2],
    /// What each filter brings.
    parts: Vec<Brought>,
    /// Probability before anything is seen.
    pub prior: f64,
    /// Index of the pattern across the frame, 0 for an even one.
    pub pattern: usize,
    /// Whether it can be changed within seconds without touching the thread.
    pub ring: Option<usize>,
    /// How much the loss wanders from frame to frame without being set anew.
    pub wanders: f64,
    /// A polariser is on, which takes more or less of the sky than of the land.
    pub polarised: bool,
}

/// Variances of loss and colour that a filter brings; `None` for one that is not in the kit.
type Brought = (Option<Used>, [f64; 2]);

/// States and patterns of a kit.
#[derive(Clone, Debug)]
pub(super) struct States {
    pub all: Vec<State>,
    pub patterns: Vec<Pattern>,
    /// By the state before and the state after: variances of loss and colour that both have in common,
    /// those of the filters that stay on.
    stays_on: Vec<[f64; 2]>,
    /// By state: a number for its filters, marks aside, and how many states have the same.
    filters: Vec<(usize, usize)>,
}

impl States {
    /// Everything that a kit can bring about.
    pub fn of(kit: &[Profile]) -> Self {
        let mut states = Self {
            all: vec![State::bare()],
            patterns: vec![Pattern::Even],
            stays_on: Vec::new(),
            filters: Vec::new(),
        };
        let singles: Vec<Vec<State>> =
            kit.iter().enumerate().map(|(i, p)| states.of_profile(i, p)).collect();
        // Graduated filters and polarisers apart.
        let besides = |s: &&State| besides(&kit[s.used[0].filter]);
        let plain: Vec<&State> = singles.iter().flatten().filter(|s| !besides(s)).collect();
        let weight: f64 = plain.iter().map(|s| s.prior).sum();
        let own =
            plain.into_iter().map(|s| State { prior: ONE_FILTER * s.prior / weight, ..s.clone() });
        states.all.extend(own);
        for state in singles.iter().flatten().filter(besides) {
            states.all.push(State { prior: BARE * BESIDES, ..state.clone() });
        }
        states.stacks(&singles, kit, weight);
        states.not_in_the_kit(&singles);
        let whole: f64 = states.all.iter().map(|s| s.prior).sum();
        states.all.iter_mut().for_each(|s| s.prior /= whole);
        states.filters = states.kin();
        states.stays_on = states.in_common();
        states
    }

    /// A filter that stays on keeps its error.
    fn in_common(&self) -> Vec<[f64; 2]> {
        let parts: Vec<Vec<Brought>> = self.all.iter().map(State::parts).collect();
        let pair = |own: &[Brought], theirs: &[Brought]| {
            let stays = |part: &&Brought| theirs.iter().any(|t| t.0 == part.0);
            own.iter().filter(stays).fold([0.0; 2], |sum, (_, v)| [sum[0] + v[0], sum[1] + v[1]])
        };
        parts.iter().flat_map(|own| parts.iter().map(move |theirs| pair(own, theirs))).collect()
    }

    /// The same where whatever is not in the kit is one filter that was seen, and how unlikely just
    /// that one was before: as much as its own spread is narrower than that of all filters.
    pub fn with_guest(&self, guest: &Guest) -> (Self, f64) {
        let mut states = self.clone();
        states.all.iter_mut().filter(|s| s.unknown).for_each(|s| s.through_guest(guest));
        states.stays_on = states.in_common();
        let narrow = |value: f64, own: f64, middle: f64, all: f64| {
            own / all * (-0.5 * ((value - middle) / all).powi(2)).exp()
        };
        let colours: f64 = guest
            .colour
            .iter()
            .flatten()
            .map(|&c| narrow(c, GUEST_COLOUR_STOPS, 0.0, UNKNOWN_COLOUR_STOPS))
            .product();
        let (middle, all) = UNKNOWN_STOPS;
        (states, narrow(guest.loss, GUEST_STOPS, middle, all) * colours)
    }

    /// Variances of loss and colour, in stops squared, of what stays on from one state to another.
    pub fn stays_on(&self, before: usize, here: usize) -> [f64; 2] {
        self.stays_on[before * self.all.len() + here]
    }

    fn kin(&self) -> Vec<(usize, usize)> {
        let same = |a: &State, b: &State| a.unknown == b.unknown && a.filters() == b.filters();
        let of = |s: &State| {
            let first = self.all.iter().position(|o| same(o, s)).unwrap_or(0);
            (first, self.all.iter().filter(|o| same(o, s)).count())
        };
        self.all.iter().map(of).collect()
    }

    /// How many states have the filters of this one.
    pub fn marks(&self, state: usize) -> usize {
        self.filters[state].1
    }

    /// Whether two states have the same filters, marks aside.
    pub fn same_filters(&self, one: usize, other: usize) -> bool {
        self.filters[one].0 == self.filters[other].0
    }

    /// How likely each state is after another of whose filters one stays on, or that is added to.
    pub fn where_one_stays(&self, before: &State) -> Vec<f64> {
        // A ring stays on at whatever mark.
        let on = before.filters();
        let shares = |s: &State| {
            let common = s.used.iter().any(|u| on.contains(&u.filter));
            // Put on nothing, or the last one taken off.
            let alone = on.is_empty() || (s.is_bare() && on.len() == 1);
            (common || alone) && s.filters() != on
        };
        let weights: Vec<f64> =
            self.all.iter().map(|s| if shares(s) { s.prior } else { 0.0 }).collect();
        let whole: f64 = weights.iter().sum();
        let plain = |s: &State| s.prior;
        match whole > 0.0 {
            true => weights.iter().map(|w| w / whole).collect(),
            false => self.all.iter().map(plain).collect(),
        }
    }

    fn of_profile(&mut self, filter: usize, profile: &Profile) -> Vec<State> {
        match profile.filter.kind {
            Kind::Graduated => self.graduated(filter, profile).into_iter().collect(),
            Kind::Variable => {
                let settings: Vec<&Setting> = profile.settings.iter().collect();
                let share = 1.0 / settings.len().max(1) as f64;
                settings
                    .into_iter()
                    .map(|setting| {
                        let pattern = self.measured(profile, setting);
                        let repeat = setting.ring_repeat_stops.as_ref().map(|r| r.value.get());
                        let u = RING_STOPS.max(repeat.unwrap_or(0.0));
                        let mut state = State::through(filter, setting, u, pattern, share);
                        state.used[0].mark.clone_from(&setting.mark);
                        state.ring = Some(filter);
                        state.wanders = RING_WANDERS;
                        state
                    })
                    .collect()
            }
            kind => {
                let Some(setting) = profile.settings.first() else { return Vec::new() };
                let polariser = kind == Kind::Polariser;
                let pattern = if polariser { 0 } else { self.measured(profile, setting) };
                let u = if polariser { POLARISER_STOPS } else { FIXED_STOPS };
                let mut state = State::through(filter, setting, u, pattern, 1.0);
                if polariser {
                    state.u[1] = state.u[1].hypot(POLARISER_COLOUR_STOPS);
                    state.ring = Some(filter);
                    state.wanders = POLARISER_WANDERS;
                    state.polarised = true;
                }
                vec![state]
            }
        }
    }

    /// The dark part is a pattern; the clear part takes nothing.
    fn graduated(&mut self, filter: usize, profile: &Profile) -> Option<State> {
        let graduation = profile.graduation.as_ref()?;
        let stops = graduation.dark_end_stops.get();
        let width = graduation.width_percent_of_height.get() / 100.0;
        // Its cast lies where it is dark, and comes with the pattern.
        let cast = profile.settings.first().map_or([0.0; 2], colour);
        self.patterns.push(Pattern::Graduated { stops, width: width.max(LEAST_WIDTH), cast });
        let pattern = self.patterns.len() - 1;
        let u = COLOUR_STOPS + EDGE_COLOUR_SHARE * cast[0].abs().max(cast[1].abs());
        Some(State {
            used: vec![Used { filter, mark: None }],
            loss: profile.graduation.as_ref()?.clear_end_stops.get(),
            u: [GRADUATED_STOPS, u],
            prior: 1.0,
            pattern,
            ring: Some(filter),
            ..State::bare()
        })
    }

    fn measured(&mut self, profile: &Profile, setting: &Setting) -> usize {
        let Some(evenness) = &setting.evenness else { return 0 };
        let stops: Vec<f32> =
            evenness.maps.green.iter().map(|c| c.map_or(f32::NAN, |s| s.get() as f32)).collect();
        let (columns, rows) = (evenness.maps.columns, evenness.maps.rows);
        if stops.len() != columns * rows || stops.is_empty() {
            return 0;
        }
        let focal_mm = profile.camera.focal_length_mm.map(|f| f.get());
        let pattern = Pattern::Measured { columns, rows, stops, focal_mm };
        if pattern.spread() < LEAST_SPREAD {
            return 0;
        }
        self.patterns.push(pattern);
        self.patterns.len() - 1
    }
}

impl State {
    fn bare() -> Self {
        Self {
            used: Vec::new(),
            unknown: false,
            loss: 0.0,
            colour: [0.0; 2],
            u: [0.0; 2],
            parts: Vec::new(),
            prior: BARE,
            pattern: 0,
            ring: None,
            wanders: 0.0,
            polarised: false,
        }
    }

    /// Where something unknown is on, that is this.
    fn through_guest(&mut self, guest: &Guest) {
        self.loss += guest.loss - UNKNOWN_STOPS.0;
        let colour_u =
            if guest.colour.is_some() { GUEST_COLOUR_STOPS } else { UNKNOWN_COLOUR_STOPS };
        for (own, colour) in self.colour.iter_mut().zip(guest.colour.unwrap_or_default()) {
            *own += colour;
        }
        let mut parts = self.parts();
        let unknown = parts.iter_mut().filter(|(used, _)| used.is_none());
        unknown.for_each(|(_, u)| *u = [GUEST_STOPS * GUEST_STOPS, colour_u * colour_u]);
        self.u = [0, 1].map(|kind| parts.iter().map(|(_, u)| u[kind]).sum::<f64>().sqrt());
        self.parts = parts;
    }

    pub fn is_bare(&self) -> bool {
        self.used.is_empty() && !self.unknown
    }

    fn through(filter: usize, setting: &Setting, u: f64, pattern: usize, prior: f64) -> Self {
        let green = setting.channels.green.stops.get();
        let colour = colour(setting);
        let cast = colour[0].abs().max(colour[1].abs());
        Self {
            used: vec![Used { filter, mark: None }],
            loss: green,
            colour,
            u: [u.hypot(setting.strength.u95.get() / 2.0), COLOUR_STOPS + COLOUR_SHARE * cast],
            prior,
            pattern,
            ..Self::bare()
        }
    }

    fn with(&self, other: &Self) -> Self {
        Self {
            used: self.used.iter().chain(&other.used).cloned().collect(),
            unknown: false,
            loss: self.loss + other.loss,
            colour: [self.colour[0] + other.colour[0], self.colour[1] + other.colour[1]],
            u: [self.u[0].hypot(other.u[0]), self.u[1].hypot(other.u[1])],
            parts: self.parts().into_iter().chain(other.parts()).collect(),
            prior: self.prior * other.prior,
            pattern: 0,
            ring: self.ring.or(other.ring),
            wanders: self.wanders.hypot(other.wanders),
            polarised: self.polarised || other.polarised,
        }
    }

    /// What each filter brings: of a single one everything.
    fn parts(&self) -> Vec<Brought> {
        if self.is_bare() || !self.parts.is_empty() {
            return self.parts.clone();
        }
        vec![(self.used.first().cloned(), self.u.map(|u| u * u))]
    }

    /// The filters without their marks.
    pub fn filters(&self) -> Vec<usize> {
        self.used.iter().map(|u| u.filter).collect()
    }
}

/// What red and blue lose beyond green.
fn colour(setting: &Setting) -> [f64; 2] {
    let of = &setting.channels;
    [of.red.stops.get() - of.green.stops.get(), of.blue.stops.get() - of.green.stops.get()]
}

/// What goes on besides whatever slows the shutter.
pub(super) fn besides(profile: &Profile) -> bool {
    matches!(profile.filter.kind, Kind::Graduated | Kind::Polariser)
}
