//! What can have been in front of the lens: nothing, a filter of the kit, a mark, a stack of two, or a
//! filter that is not in the kit.

use super::finding::Used;
use crate::profile::{Kind, Profile, Setting};

/// How likely each sort of state is before anything is seen (ours).
const BARE: f64 = 0.45;
const ONE_FILTER: f64 = 0.44;
const TWO_FILTERS: f64 = 0.05;
const NOT_IN_THE_KIT: f64 = 0.06;
/// A graduated filter or a polariser goes on for reasons of its own, whatever else is on (ours).
const BESIDES: f64 = 0.15;

/// How exactly a filter in a holder or thread repeats its strength, in stops (ours).
const FIXED_STOPS: f64 = 0.03;
/// How exactly a ring is set to a mark by hand, in stops (ours).
const RING_STOPS: f64 = 0.12;
/// A polariser darkens a scene by one stop or two, as the light's own polarisation decides (ours).
const POLARISER_STOPS: f64 = 0.35;
const POLARISER_COLOUR_STOPS: f64 = 0.06;
/// Doubt of the colour of a cast carried to other light, in stops, and as a share of the cast (ours).
const COLOUR_STOPS: f64 = 0.015;
const COLOUR_SHARE: f64 = 0.1;
/// Strengths between which a filter that nobody measured may lie, its steps, and its colour (ours).
const UNKNOWN_STOPS: (f64, f64) = (0.75, 16.0);
const UNKNOWN_STEP: f64 = 0.5;
const UNKNOWN_COLOUR_STOPS: f64 = 0.25;
/// Where the line of a graduated filter may lie, in shares of the height.
const LINES: [f64; 7] = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8];

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
    /// Probability before anything is seen.
    pub prior: f64,
    /// Index of the pattern across the frame, 0 for an even one.
    pub pattern: usize,
    /// Whether it can be changed within seconds without touching the thread.
    pub ring: Option<usize>,
}

/// A pattern across the frame, in stops of extra loss.
#[derive(Clone, Debug)]
pub(super) enum Pattern {
    /// None.
    Even,
    /// As the profile measured it, at the cells of a map.
    Measured { columns: usize, rows: usize, stops: Vec<f32>, focal_mm: Option<f64> },
    /// A step of so many stops across a line that may lie anywhere.
    Graduated { stops: f64 },
}

/// States and patterns of a kit.
#[derive(Clone, Debug)]
pub(super) struct States {
    pub all: Vec<State>,
    pub patterns: Vec<Pattern>,
}

impl States {
    /// Everything that a kit can bring about.
    pub fn of(kit: &[Profile]) -> Self {
        let mut states = Self { all: vec![State::bare()], patterns: vec![Pattern::Even] };
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
        states.stacks(&singles, kit);
        states.not_in_the_kit();
        let whole: f64 = states.all.iter().map(|s| s.prior).sum();
        states.all.iter_mut().for_each(|s| s.prior /= whole);
        states
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
                }
                vec![state]
            }
        }
    }

    /// How much of the middle lies behind the dark part depends on where the line was set.
    fn graduated(&mut self, filter: usize, profile: &Profile) -> Option<State> {
        let dark = profile.graduation.as_ref()?.dark_end_stops.get();
        self.patterns.push(Pattern::Graduated { stops: dark });
        let pattern = self.patterns.len() - 1;
        let (loss, spread) = (dark / 2.0, dark / 3.0);
        let used = vec![Used { filter, mark: None }];
        let u = [spread, 2.0 * UNKNOWN_COLOUR_STOPS / 3.0];
        let (ring, unknown) = (Some(filter), false);
        Some(State { used, unknown, loss, colour: [0.0; 2], u, prior: 1.0, pattern, ring })
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
        self.patterns.push(Pattern::Measured { columns, rows, stops, focal_mm });
        self.patterns.len() - 1
    }

    /// Two at once, no filter with itself or with a stack that holds it, and no two rings.
    fn stacks(&mut self, singles: &[Vec<State>], kit: &[Profile]) {
        let mut stacks: Vec<(State, f64)> = Vec::new();
        for (i, one) in singles.iter().enumerate() {
            for (j, two) in singles.iter().enumerate().skip(i + 1) {
                let rings = [i, j].iter().all(|&f| kit[f].filter.kind == Kind::Variable);
                let more = [i, j].iter().filter(|&&f| besides(&kit[f])).count();
                if rings || overlap(&kit[i], &kit[j]) {
                    continue;
                }
                for (a, b) in one.iter().flat_map(|a| two.iter().map(move |b| (a, b))) {
                    let mut both = a.with(b);
                    // Shares of one filter each, but for what goes on besides.
                    both.prior = match more {
                        0 => f64::NAN,
                        1 => ONE_FILTER * BESIDES * both.prior / singles.len() as f64,
                        _ => BARE * BESIDES * BESIDES,
                    };
                    let product = a.prior * b.prior;
                    stacks.push((both, product));
                }
            }
        }
        let plain = |s: &&(State, f64)| s.0.prior.is_nan();
        let weight: f64 = stacks.iter().filter(plain).map(|s| s.1).sum();
        for (mut state, product) in stacks {
            if state.prior.is_nan() {
                state.prior = TWO_FILTERS * product / weight;
            }
            self.all.push(state);
        }
    }

    fn not_in_the_kit(&mut self) {
        let steps = ((UNKNOWN_STOPS.1 - UNKNOWN_STOPS.0) / UNKNOWN_STEP) as usize;
        self.all.extend((0..steps).map(|i| State {
            used: Vec::new(),
            unknown: true,
            loss: UNKNOWN_STOPS.0 + UNKNOWN_STEP * i as f64,
            colour: [0.0; 2],
            u: [UNKNOWN_STEP / 2.0, UNKNOWN_COLOUR_STOPS],
            prior: NOT_IN_THE_KIT / steps as f64,
            pattern: 0,
            ring: None,
        }));
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
            prior: BARE,
            pattern: 0,
            ring: None,
        }
    }

    pub fn is_bare(&self) -> bool {
        self.used.is_empty() && !self.unknown
    }

    fn through(filter: usize, setting: &Setting, u: f64, pattern: usize, prior: f64) -> Self {
        let [red, green, blue] = [
            setting.channels.red.stops.get(),
            setting.channels.green.stops.get(),
            setting.channels.blue.stops.get(),
        ];
        let colour = [red - green, blue - green];
        let cast = colour[0].abs().max(colour[1].abs());
        Self {
            used: vec![Used { filter, mark: None }],
            unknown: false,
            loss: green,
            colour,
            u: [u.hypot(setting.strength.u95.get() / 2.0), COLOUR_STOPS + COLOUR_SHARE * cast],
            prior,
            pattern,
            ring: None,
        }
    }

    fn with(&self, other: &Self) -> Self {
        Self {
            used: self.used.iter().chain(&other.used).cloned().collect(),
            unknown: false,
            loss: self.loss + other.loss,
            colour: [self.colour[0] + other.colour[0], self.colour[1] + other.colour[1]],
            u: [self.u[0].hypot(other.u[0]), self.u[1].hypot(other.u[1])],
            prior: self.prior * other.prior,
            pattern: if self.pattern == 0 { other.pattern } else { self.pattern },
            ring: self.ring.or(other.ring),
        }
    }

    /// The filters without their marks.
    pub fn filters(&self) -> Vec<usize> {
        self.used.iter().map(|u| u.filter).collect()
    }
}

/// Extra loss of the second pattern against the first at the cells of a map, the median taken out;
/// several accounts where a line may lie anywhere.
pub(super) fn steps(
    one: &Pattern,
    two: &Pattern,
    size: (usize, usize),
    orientation: u8,
    focal_mm: Option<f64>,
) -> Vec<Vec<f32>> {
    let (one, two) =
        (at_cells(one, size, orientation, focal_mm), at_cells(two, size, orientation, focal_mm));
    let mut accounts = Vec::new();
    for (a, b) in one.iter().flat_map(|a| two.iter().map(move |b| (a, b))) {
        accounts.push(a.iter().zip(b).map(|(a, b)| b - a).collect());
    }
    accounts
}

fn at_cells(
    pattern: &Pattern,
    (columns, rows): (usize, usize),
    orientation: u8,
    focal_mm: Option<f64>,
) -> Vec<Vec<f32>> {
    match pattern {
        Pattern::Even => vec![vec![0.0; columns * rows]],
        Pattern::Measured { columns: from_columns, rows: from_rows, stops, focal_mm: measured } => {
            // A longer lens sees the inner part only; beyond what was measured the edge stands.
            let scale = match (focal_mm, *measured) {
                (Some(here), Some(there)) if here > 0.0 => (there / here).min(1.0),
                _ => 1.0,
            };
            let inner = |at: usize, of: usize, from: usize| {
                let share = (at as f64 + 0.5) / of as f64 - 0.5;
                (((share * scale + 0.5) * from as f64) as usize).min(from - 1)
            };
            let cell = |i: usize| {
                let (row, column) = (i / columns, i % columns);
                stops[inner(row, rows, *from_rows) * from_columns
                    + inner(column, columns, *from_columns)]
            };
            vec![(0..columns * rows).map(cell).collect()]
        }
        Pattern::Graduated { stops } => LINES
            .iter()
            .map(|line| {
                let dark = |i: usize| {
                    let (x, y) =
                        ((i % columns) as f64 / columns as f64, (i / columns) as f64 / rows as f64);
                    // Shares of the way down from the top of the picture as it is viewed.
                    let down = match orientation {
                        3 | 4 => 1.0 - y,
                        5 | 6 => x,
                        7 | 8 => 1.0 - x,
                        _ => y,
                    };
                    // A soft edge a fifth of the height wide stands for hard and soft ones alike.
                    let share = (0.5 - (down - line) / 0.2).clamp(0.0, 1.0);
                    (stops * share) as f32
                };
                (0..columns * rows).map(dark).collect()
            })
            .collect(),
    }
}

/// What goes on besides whatever slows the shutter.
fn besides(profile: &Profile) -> bool {
    matches!(profile.filter.kind, Kind::Graduated | Kind::Polariser)
}

fn overlap(one: &Profile, two: &Profile) -> bool {
    let holds = |stack: &Profile, part: &Profile| {
        stack.stack.as_ref().is_some_and(|s| s.parts.contains(&part.filter.name))
    };
    one.filter.name == two.filter.name || holds(one, two) || holds(two, one)
}
