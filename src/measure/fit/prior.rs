//! What is believed before the frames are looked at. All numbers are ours unless a source is named;
//! they are wide, and the frames narrow them.

use super::light::Motion;

/// Deviation of the light's slope at the start, stops per minute; at least that of the smallest is
/// always reckoned with, so that a light seen on one side only is doubtful by the minute.
const SLOPES: [(f64, f64); 3] = [(0.02, 0.70), (0.07, 0.22), (0.25, 0.08)];
/// How far the light's curve lies from a straight line half-way through the shoot, stops: however
/// long a shoot takes, its light is as likely to bend in it. With 4 % at a fifth of a stop and 8 % at
/// a twentieth u95 held 77 to 85 % of shoots of three frames a run at one time for all, under a light
/// that bends by up to a quarter of a stop; where times differ, their doubt had hidden that.
const SAGS: [(f64, f64); 6] =
    [(0.0, 0.25), (0.002, 0.10), (0.006, 0.12), (0.02, 0.15), (0.06, 0.18), (0.16, 0.20)];
/// Variance half-way of an integrated random walk between two known ends: T^3 / 192 (closed form).
const SAG_SQUARED_PER_CUBED_MINUTE: f64 = 192.0;
/// Deviation of the light's walk, stops per root minute.
const WALKS: [(f64, f64); 5] =
    [(0.001, 0.23), (0.003, 0.36), (0.008, 0.21), (0.02, 0.14), (0.06, 0.06)];
/// Deviation of one frame, stops: about as likely in any octave up to a hundredth, so that a few
/// repeats are taken for what they are, and rare beyond.
const SCATTERS: [(f64, f64); 9] = [
    (0.0004, 0.12),
    (0.0009, 0.15),
    (0.002, 0.19),
    (0.0045, 0.20),
    (0.01, 0.17),
    (0.022, 0.11),
    (0.05, 0.04),
    (0.12, 0.012),
    (0.35, 0.006),
];

/// A mixture of two normals that stands for Student's t with 3 degrees of freedom: the share of
/// odd times, and both deviations over t's scale. It gives 5.1 % beyond t's 95 % point (3.18), 41 %
/// beyond 1 (39 % for t) and 1.6 % beyond 5 (1.5 %).
const ODD: f64 = 0.17;
const USUAL_FACTOR: f64 = 1.05;
const ODD_FACTOR: f64 = 3.0;
/// Up to this many distinct times every subset is tried for being odd; of more, one at a time, the
/// others a little wider.
pub(super) const EVERY_SUBSET_OF: usize = 4;
const USUAL_FACTOR_OF_MANY: f64 = 1.25;

/// Variance of the mixture over t's scale squared.
pub(super) const OFFSET_VARIANCE: f64 =
    (1.0 - ODD) * USUAL_FACTOR * USUAL_FACTOR + ODD * ODD_FACTOR * ODD_FACTOR;

/// Factor on the scale of a shutter time's offset, and its prior probability.
pub(super) fn offset_node(odd: bool, every: bool) -> (f64, f64) {
    match (odd, every) {
        (true, _) => (ODD_FACTOR, ODD),
        (false, true) => (USUAL_FACTOR, 1.0 - ODD),
        (false, false) => (USUAL_FACTOR_OF_MANY, 1.0 - ODD),
    }
}

/// Probability that the light does not change of a sudden.
pub(super) const NO_CHANGE: f64 = 0.9;
/// Share of lasting changes among the sudden ones; the others pass.
const LASTING: f64 = 0.6;
/// Deviation of a sudden change in stops, and its share.
pub(super) const SIZES: [(f64, f64); 2] = [(0.06, 0.5), (0.4, 0.5)];
/// A change between two frames is as likely as the minutes between them, and this many more.
const BETWEEN: f64 = 0.2;

/// A sudden change of the light: from an edge on, to the end or until another edge.
pub(super) struct Change {
    pub from: usize,
    pub until: Option<usize>,
    /// Logarithm of its prior probability.
    pub log_prior: f64,
}

/// Every sudden change between these edges (rows before which the light may change).
pub(super) fn changes(edges: &[usize], minutes: &[f64]) -> Vec<Change> {
    let chance: Vec<f64> =
        edges.iter().map(|&row| minutes[row] - minutes[row - 1] + BETWEEN).collect();
    let total: f64 = chance.iter().sum();
    let n = edges.len();
    let pairs = (n * n.saturating_sub(1) / 2) as f64;
    let change = |from: usize, until: Option<usize>| {
        let prior = match until {
            None => LASTING * chance[from] / total,
            Some(_) => (1.0 - LASTING) / pairs,
        };
        Change { from, until, log_prior: ((1.0 - NO_CHANGE) * prior).ln() }
    };
    let lasting = (0..n).map(|from| change(from, None));
    let passing = (0..n).flat_map(|from| (from + 1..n).map(move |until| (from, until)));
    lasting.chain(passing.map(|(from, until)| change(from, Some(until)))).collect()
}

/// One choice of each deviation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct PriorPlace([usize; 4]);

impl PriorPlace {
    /// Where the search starts: usual light, and this scatter of frames.
    pub fn near(scatter: f64) -> Self {
        let nearest = |a: &usize, b: &usize| {
            let off = |i: usize| (SCATTERS[i].0 / scatter.max(1e-4)).ln().abs();
            off(*a).total_cmp(&off(*b))
        };
        Self([0, 0, 1, (0..SCATTERS.len()).min_by(nearest).unwrap_or(0)])
    }

    /// Over a shoot of so many minutes; a light that stands still where it cannot be followed.
    pub fn motion(self, span: Option<f64>) -> Motion {
        let [slope, bend, walk, scatter] = self.0;
        if let Some(span) = span {
            let per_sag = (SAG_SQUARED_PER_CUBED_MINUTE / span.max(0.1).powi(3)).sqrt();
            Motion {
                slope: SLOPES[slope].0,
                bend: SAGS[bend].0 * per_sag,
                walk: WALKS[walk].0,
                scatter: SCATTERS[scatter].0,
            }
        } else {
            Motion::still(SCATTERS[scatter].0)
        }
    }

    pub fn log_prior(self) -> f64 {
        let [slope, bend, walk, scatter] = self.0;
        (SLOPES[slope].1 * SAGS[bend].1 * WALKS[walk].1 * SCATTERS[scatter].1).ln()
    }

    /// One step along each deviation; along the scatter alone where the light cannot be followed.
    pub fn neighbours(self, timed: bool) -> Vec<Self> {
        let counts = [SLOPES.len(), SAGS.len(), WALKS.len(), SCATTERS.len()];
        let mut found = Vec::with_capacity(8);
        for axis in if timed { 0..4 } else { 3..4 } {
            let mut step = |to: Option<usize>| {
                if let Some(to) = to.filter(|to| *to < counts[axis]) {
                    let mut place = self;
                    place.0[axis] = to;
                    found.push(place);
                }
            };
            step(self.0[axis].checked_sub(1));
            step(Some(self.0[axis] + 1));
        }
        found
    }
}
