//! What is believed before the frames are looked at. All numbers are ours unless a source is named;
//! they are wide, and the frames narrow them.

use super::light::Motion;

/// Deviation of the light's slope at the start, stops per minute; at least that of the smallest is
/// always reckoned with, so that a light seen on one side only is doubtful by the minute.
const SLOPES: [f64; 3] = [0.02, 0.07, 0.25];
/// How far the light's curve lies from a straight line half-way through the shoot, stops: however
/// long a shoot takes, its light is as likely to bend in it.
const SAGS: [f64; 7] = [0.0, 0.002, 0.006, 0.02, 0.06, 0.16, 0.4];
/// Variance half-way of an integrated random walk between two known ends: T^3 / 192 (closed form).
const SAG_SQUARED_PER_CUBED_MINUTE: f64 = 192.0;
/// Deviation of the light's walk, stops per root minute.
const WALKS: [f64; 6] = [0.001, 0.003, 0.008, 0.02, 0.06, 0.2];

/// A weather: what the light does in it goes together. Where the frames show that the light is
/// restless, it was so between them too, and a cloud that passed unseen is likely; where they show that
/// it is calm, that is idle to reckon with.
struct Weather {
    share: f64,
    /// How likely each deviation is in it, in the order of those above.
    slopes: [f64; 3],
    sags: [f64; 7],
    walks: [f64; 6],
    /// Probability that the light does not change of a sudden.
    no_change: f64,
}

/// An even sky or lamps; clouds that drift.
const WEATHERS: [Weather; 2] = [
    Weather {
        share: 0.65,
        slopes: [0.85, 0.13, 0.02],
        sags: [0.35, 0.15, 0.20, 0.15, 0.10, 0.045, 0.005],
        walks: [0.30, 0.42, 0.20, 0.07, 0.009, 0.001],
        no_change: 0.97,
    },
    Weather {
        share: 0.35,
        slopes: [0.20, 0.35, 0.45],
        sags: [0.03, 0.05, 0.08, 0.16, 0.26, 0.27, 0.15],
        walks: [0.08, 0.17, 0.22, 0.22, 0.18, 0.13],
        no_change: 0.3,
    },
];
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

/// A frame that hangs apart from its run is spoilt with this probability before the light is looked at,
/// by so many stops (standard deviation); else the light moved, or the run's others are spoilt.
pub(super) const SPOILT: f64 = 0.05;
pub(super) const SPOILT_STOPS: f64 = 0.3;
/// Variance of what did not happen, stops squared: far below any claim.
pub(super) const UNSPOILT: f64 = 1e-12;

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

/// Share of lasting changes among the sudden ones; the others pass, as clouds do.
const LASTING: f64 = 0.4;
/// Deviation of a sudden change in stops, and its share.
pub(super) const SIZES: [(f64, f64); 2] = [(0.06, 0.5), (0.4, 0.5)];
/// A change between two frames is as likely as the minutes between them, and this many more.
const BETWEEN: f64 = 0.2;

/// A sudden change of the light: from an edge on, to the end or until another edge.
pub(super) struct Change {
    pub from: usize,
    pub until: Option<usize>,
    /// Logarithm of its probability where there is one.
    pub log_prior: f64,
}

/// Every sudden change between these edges (rows before which the light may change). What passes
/// begins and ends at moments that are as likely as any other.
pub(super) fn changes(edges: &[usize], minutes: &[f64]) -> Vec<Change> {
    let chance: Vec<f64> =
        edges.iter().map(|&row| minutes[row] - minutes[row - 1] + BETWEEN).collect();
    let total: f64 = chance.iter().sum();
    let n = edges.len();
    let passing = || (0..n).flat_map(|from| (from + 1..n).map(move |until| (from, until)));
    let of_pairs: f64 = passing().map(|(from, until)| chance[from] * chance[until]).sum();
    // Between two edges something may pass; where there is one, every change lasts.
    let lasts = if of_pairs > 0.0 { LASTING } else { 1.0 };
    let lasting = (0..n).map(|from| {
        let share = lasts * chance[from] / total;
        Change { from, until: None, log_prior: share.ln() }
    });
    let passing = passing().map(|(from, until)| {
        let share = (1.0 - LASTING) * chance[from] * chance[until] / of_pairs;
        Change { from, until: Some(until), log_prior: share.ln() }
    });
    lasting.chain(passing).collect()
}

/// Logarithms of the prior of a choice of deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LogPrior {
    /// Without a sudden change.
    pub calm: f64,
    /// With one.
    pub sudden: f64,
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
                slope: SLOPES[slope],
                bend: SAGS[bend] * per_sag,
                walk: WALKS[walk],
                scatter: SCATTERS[scatter].0,
            }
        } else {
            Motion::still(SCATTERS[scatter].0)
        }
    }

    /// Over all weathers.
    pub fn log_prior(self) -> LogPrior {
        let [slope, bend, walk, scatter] = self.0;
        let (mut calm, mut sudden) = (0.0, 0.0);
        for w in &WEATHERS {
            let share = w.share * w.slopes[slope] * w.sags[bend] * w.walks[walk];
            calm += share * w.no_change;
            sudden += share * (1.0 - w.no_change);
        }
        let of_scatter = SCATTERS[scatter].1.ln();
        LogPrior { calm: calm.ln() + of_scatter, sudden: sudden.ln() + of_scatter }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Every place of the grid.
    fn places() -> impl Iterator<Item = PriorPlace> {
        let (s, b, w, c) = (SLOPES.len(), SAGS.len(), WALKS.len(), SCATTERS.len());
        (0..s * b * w * c)
            .map(move |n| PriorPlace([n % s, n / s % b, n / s / b % w, n / s / b / w]))
    }

    #[test]
    fn what_is_believed_beforehand_adds_up_to_one() {
        let sums = places().map(PriorPlace::log_prior).fold((0.0, 0.0), |(calm, sudden), of| {
            (calm + of.calm.exp(), sudden + of.sudden.exp())
        });
        // Shares of scatters are rounded and add up to 0.998.
        let scatters: f64 = SCATTERS.iter().map(|s| s.1).sum();
        assert!((sums.0 + sums.1 - scatters).abs() < 1e-12, "{sums:?}");
        let minutes = [0.0, 0.1, 0.2, 1.5, 1.6, 3.0];
        let all: f64 = changes(&[1, 2, 3, 4, 5], &minutes).iter().map(|c| c.log_prior.exp()).sum();
        assert!((all - 1.0).abs() < 1e-12, "{all}");
        // Between two frames nothing can pass.
        let all: f64 = changes(&[1], &minutes).iter().map(|c| c.log_prior.exp()).sum();
        assert!((all - 1.0).abs() < 1e-12, "{all}");
    }

    /// A cloud begins and ends at moments that are as likely as any other: twice the minutes at either
    /// end, twice the probability (a Poisson process, given how many events).
    #[test]
    fn what_passes_is_as_likely_as_the_minutes_at_both_ends() {
        let minutes = [0.0, 1.0 - BETWEEN, 2.0 - 2.0 * BETWEEN, 4.0 - 3.0 * BETWEEN];
        let found = changes(&[1, 2, 3], &minutes);
        let of = |from: usize, until: usize| {
            let is = |c: &&Change| (c.from, c.until) == (from, Some(until));
            found.iter().find(is).map_or(f64::NAN, |c| c.log_prior.exp())
        };
        assert!((of(1, 2) / of(0, 1) - 2.0).abs() < 1e-9, "{} and {}", of(1, 2), of(0, 1));
        assert!((of(0, 2) / of(0, 1) - 2.0).abs() < 1e-9, "{} and {}", of(0, 2), of(0, 1));
    }

    /// Bayes' rule over the weathers: a light that is seen to walk makes a change likelier than one that
    /// is seen to stand.
    #[test]
    fn a_restless_light_makes_a_cloud_likelier() {
        let odds = |walk: usize| {
            let of = PriorPlace([0, 0, walk, 2]).log_prior();
            of.sudden - of.calm
        };
        assert!((1..WALKS.len()).all(|walk| odds(walk) > odds(walk - 1)));
    }
}
