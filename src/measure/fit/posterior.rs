//! Everything that is not known of a shoot, compared whole: how the light moves, how frames
//! scatter, which shutter times are odd, what stands behind the dial, and whether the light changed
//! of a sudden. Every combination is a linear problem with a marginal likelihood; together they
//! make a mixture in which no doubt is lost (Bayesian model averaging, J. Hoeting et al. 1999).

use super::design::{Design, Group};
use super::light::{Motion, Whitener};
use super::mixture::Part;
use super::solved::{Answer, Choice};
use super::{Beliefs, FitError, odd, prior};
use nalgebra::{Cholesky, DMatrix, Dyn};
use std::sync::Arc;

/// Frames between which a sudden change is looked for, at most.
const EDGES: usize = 14;
/// Motions this much less likely than the best (in natural logarithms) are not looked beyond.
const NEIGHBOURS_WITHIN: f64 = 4.5;
/// Hypotheses this much less likely than the best are dropped.
const KEPT_WITHIN: f64 = 9.0;

/// One whole hypothesis and what it makes of every state's green strength.
pub(super) struct Hypothesis {
    /// Logarithm of prior times likelihood.
    pub log_weight: f64,
    /// The dial shows true times.
    pub as_shown: bool,
    /// The light changed of a sudden.
    pub sudden: bool,
    /// Scatter of one frame, stops.
    pub scatter: f64,
    /// Mean and variance of each state's strength.
    pub states: Vec<(f64, f64)>,
    /// How the states that have frames hang together, where that is asked for.
    pub joint: Option<Joint>,
}

/// Covariance of all states under one hypothesis: what it is without a sudden change, and what such
/// a change adds, `gain` times the square of what it does to each.
#[derive(Clone)]
pub(super) struct Joint {
    pub calm: Arc<DMatrix<f64>>,
    pub change: Option<(Vec<f64>, f64)>,
}

/// All hypotheses worth keeping.
pub(super) struct Posterior {
    pub hypotheses: Vec<Hypothesis>,
    /// The likeliest motion of light and frames.
    pub motion: Motion,
    /// Logarithm of the sum of all weights, which are kept as shares of the largest.
    pub evidence: f64,
}

/// What stays the same from motion to motion.
pub(super) struct Problem<'a> {
    pub design: &'a Design,
    /// Minutes from the first frame to the last, `None` where capture times are not known.
    span: Option<f64>,
    edges: Vec<usize>,
    changes: Vec<prior::Change>,
    /// Prior variances of all parameters, one set for each choice of what is odd (times, and frames that
    /// may be spoilt), with its logarithm of prior probability.
    subsets: Vec<(Vec<f64>, f64)>,
    /// So many shutter times that one at a time is tried for being odd.
    many_times: bool,
    /// Which parameters are states that have frames.
    states: Vec<usize>,
    /// Logarithms of the prior of powers of two and of dial times as shown.
    dial: [Option<f64>; 2],
    /// Whether hypotheses keep how their states hang together.
    pub joint: bool,
}

impl<'a> Problem<'a> {
    pub fn new(design: &'a Design, readings: &[super::Reading], beliefs: &Beliefs) -> Self {
        let told = design.shown.iter().any(|x| *x != 0.0);
        let logarithm = |p: f64| (p > 0.0).then(|| p.ln());
        let dial = if told {
            [logarithm(1.0 - beliefs.as_shown), logarithm(beliefs.as_shown)]
        } else {
            [Some(0.0), None]
        };
        let edges = if beliefs.timed { design.edges(readings, EDGES) } else { Vec::new() };
        let changes = prior::changes(&edges, &design.minutes);
        let span = design.minutes.last().map(|last| last - design.minutes[0]);
        let span = span.filter(|_| beliefs.timed);
        let subsets = odd::subsets(design, beliefs);
        let is_time = |p: &&(Group, f64)| matches!(p.0, Group::Shutter(_));
        let times = design.parameters.iter().filter(is_time).count();
        let many_times = times > prior::EVERY_SUBSET_OF;
        let states = design.state_at.iter().flatten().copied().collect();
        Self { design, span, edges, changes, subsets, many_times, states, dial, joint: false }
    }

    /// Takes the response's prior deviations as so many times what the design holds, each as likely.
    pub fn scale_response(&mut self, scales: &[f64]) {
        let is_response = |at: usize| self.design.parameters[at].0 == Group::Response;
        let scaled = |(variances, log_prior): &(Vec<f64>, f64), scale: f64| {
            let of = |(at, v): (usize, &f64)| if is_response(at) { v * scale * scale } else { *v };
            (variances.iter().enumerate().map(of).collect(), *log_prior)
        };
        self.subsets =
            self.subsets.iter().flat_map(|s| scales.iter().map(|k| scaled(s, *k))).collect();
    }

    /// Tries the motions of light and frames that the frames allow, from the likeliest outwards.
    pub fn explore(&self, start: prior::PriorPlace) -> Result<Posterior, FitError> {
        let mut tried: Vec<prior::PriorPlace> = Vec::new();
        let mut waiting = vec![(start, 0.0)];
        let mut hypotheses = Vec::new();
        let (mut best, mut motion) = (f64::NEG_INFINITY, start.motion(self.span));
        while let Some(at) = likeliest(&waiting) {
            let (place, beside) = waiting.swap_remove(at);
            if !tried.is_empty() && beside < best - NEIGHBOURS_WITHIN {
                break;
            }
            let evidence = self.evaluate(place, &mut hypotheses)?;
            if evidence > best {
                (best, motion) = (evidence, place.motion(self.span));
            }
            tried.push(place);
            for next in place.neighbours(self.span.is_some()) {
                if !tried.contains(&next) && !waiting.iter().any(|(p, _)| *p == next) {
                    waiting.push((next, evidence));
                }
            }
        }
        let evidence = log_sum(&hypotheses);
        keep_likely(&mut hypotheses);
        Ok(Posterior { hypotheses, motion, evidence })
    }

    /// Adds the hypotheses of one motion; gives the logarithm of their sum.
    fn evaluate(
        &self,
        place: prior::PriorPlace,
        into: &mut Vec<Hypothesis>,
    ) -> Result<f64, FitError> {
        let from = into.len();
        let gram = Gram::new(self, &place.motion(self.span));
        let beside = gram.beside();
        let mut whole: Vec<Choice> = Vec::new();
        let mut least = f64::NEG_INFINITY;
        for (variances, log_prior) in &self.subsets {
            let solved = self.solved(&gram, &beside, variances, &mut whole)?;
            let before = into.len();
            self.hypotheses(&gram, &solved, (place.log_prior(), *log_prior), least, into);
            // Of many choices most are not worth being written down only to be dropped below.
            let best =
                into[before..].iter().map(|h| h.log_weight).fold(f64::NEG_INFINITY, f64::max);
            least = if self.many_times { least.max(best - KEPT_WITHIN) } else { least };
        }
        let mine = &into[from..];
        let most = mine.iter().map(|h| h.log_weight).fold(f64::NEG_INFINITY, f64::max);
        if !most.is_finite() {
            return Err(FitError::Singular);
        }
        let sum = log_sum(mine);
        let kept = most - KEPT_WITHIN;
        let mut at = 0;
        into.retain(|h| {
            at += 1;
            at <= from || h.log_weight > kept
        });
        Ok(sum)
    }

    /// The equations under one choice of prior variances: where one shutter time of many is odd, from those
    /// of the choice in which none is, which is kept in `whole`.
    fn solved(
        &self,
        gram: &Gram,
        (cross, rest): &(DMatrix<f64>, DMatrix<f64>),
        variances: &[f64],
        whole: &mut Vec<Choice>,
    ) -> Result<Answer, FitError> {
        let many = self.many_times;
        let is_time = |k: &usize| matches!(self.design.parameters[*k].0, Group::Shutter(_));
        let near = |w: &&Choice| w.differs_in_one(variances).filter(is_time);
        if many && let Some((w, k)) = whole.iter().find_map(|w| Some((w, near(&w)?))) {
            return Ok(w.with(k, variances[k]));
        }
        let factor = gram.factor(variances)?;
        let new = Choice::of(variances, &factor, (cross, rest), &self.states, many);
        if !many {
            return Ok(new.into_solved());
        }
        let solved = new.solved().clone();
        whole.push(new);
        Ok(solved)
    }

    /// All hypotheses under one choice of prior variances whose weight is at least so much.
    fn hypotheses(
        &self,
        gram: &Gram,
        solved: &Answer,
        (light, log_prior): (prior::LogPrior, f64),
        least: f64,
        into: &mut Vec<Hypothesis>,
    ) {
        let (at_states, left) = (&solved.at_states, &solved.left);
        let own: Vec<f64> = solved.among.diagonal().iter().copied().collect();
        let calm = self.joint.then(|| Arc::new(solved.among.clone()));
        let joint = |change: Option<(Vec<f64>, f64)>| {
            calm.as_ref().map(|calm| Joint { calm: Arc::clone(calm), change })
        };
        let common =
            log_prior - 0.5 * (gram.log_determinant + solved.determinant + solved.informed);
        let slot: Vec<Option<usize>> = slots(&self.design.state_at);
        for (shown, log_dial) in self.dial.iter().enumerate() {
            let Some(log_dial) = log_dial else { continue };
            let k = shown as f64;
            let sum = left[(0, 0)] + 2.0 * k * left[(0, 1)] + k * k * left[(1, 1)];
            let base = common + log_dial - 0.5 * sum;
            let mean: Vec<f64> =
                (0..own.len()).map(|s| at_states[(s, 0)] + k * at_states[(s, 1)]).collect();
            let fitted = Fitted { solved, k };
            let of = |means: &[f64], variances: &[f64]| {
                let value =
                    |at: &Option<usize>| at.map_or((0.0, 0.0), |i| (means[i], variances[i]));
                slot.iter().map(value).collect()
            };
            if base + light.calm >= least {
                into.push(Hypothesis {
                    log_weight: base + light.calm,
                    as_shown: shown == 1,
                    sudden: false,
                    scatter: gram.scatter,
                    states: of(&mean, &own),
                    joint: joint(None),
                });
            }
            let worth = (base + light.calm - KEPT_WITHIN).max(least);
            for change in &self.changes {
                let (alone, with_y) = fitted.product(change.from, change.until);
                for &(size, share) in &prior::SIZES {
                    let variance = size * size;
                    let gain = variance / (1.0 + variance * alone);
                    let log_weight = base + light.sudden + change.log_prior + share.ln()
                        - 0.5 * (variance * alone).ln_1p()
                        + 0.5 * gain * with_y * with_y;
                    if log_weight < worth {
                        continue;
                    }
                    let column = fitted.at_states(change.from, change.until);
                    let means: Vec<f64> =
                        column.iter().zip(&mean).map(|(d, m)| m - d * gain * with_y).collect();
                    let variances: Vec<f64> =
                        column.iter().zip(&own).map(|(d, v)| v + d * d * gain).collect();
                    into.push(Hypothesis {
                        log_weight,
                        as_shown: shown == 1,
                        sudden: true,
                        scatter: gram.scatter,
                        states: of(&means, &variances),
                        joint: joint(Some((column, gain))),
                    });
                }
            }
        }
    }
}

/// Logarithm of the sum of all weights.
fn log_sum(hypotheses: &[Hypothesis]) -> f64 {
    let most = hypotheses.iter().map(|h| h.log_weight).fold(f64::NEG_INFINITY, f64::max);
    most + hypotheses.iter().map(|h| (h.log_weight - most).exp()).sum::<f64>().ln()
}

fn likeliest(waiting: &[(prior::PriorPlace, f64)]) -> Option<usize> {
    (0..waiting.len()).max_by(|&a, &b| waiting[a].1.total_cmp(&waiting[b].1).then(b.cmp(&a)))
}

fn keep_likely(hypotheses: &mut Vec<Hypothesis>) {
    let most = hypotheses.iter().map(|h| h.log_weight).fold(f64::NEG_INFINITY, f64::max);
    hypotheses.retain(|h| h.log_weight > most - KEPT_WITHIN);
    for h in hypotheses {
        h.log_weight -= most;
    }
}

/// Sums of products of all whitened columns under one motion: parameters, levels, what the dial
/// adds, and a step at each edge.
pub(super) struct Gram {
    sums: DMatrix<f64>,
    log_determinant: f64,
    parameters: usize,
    scatter: f64,
}

impl Gram {
    pub fn new(problem: &Problem<'_>, motion: &Motion) -> Self {
        let design = problem.design;
        let n = design.y.len();
        let whitener = Whitener::new(motion, &design.minutes, &design.noise);
        let parameters = design.columns.len();
        let width = parameters + 2 + problem.edges.len();
        let mut all = DMatrix::zeros(n, width);
        for k in 0..width {
            let mut column = all.column_mut(k);
            let cells = column.as_mut_slice();
            match k.checked_sub(parameters) {
                None => cells.copy_from_slice(&design.columns[k]),
                Some(0) => cells.copy_from_slice(&design.y),
                Some(1) => cells.copy_from_slice(&design.shown),
                Some(edge) => cells[problem.edges[edge - 2]..].fill(1.0),
            }
            whitener.whiten(cells);
        }
        Self {
            sums: all.tr_mul(&all),
            log_determinant: whitener.log_determinant(),
            parameters,
            scatter: motion.scatter,
        }
    }

    /// The factor of the normal equations under prior variances.
    pub fn factor(&self, variances: &[f64]) -> Result<Cholesky<f64, Dyn>, FitError> {
        let p = self.parameters;
        let mut normal = self.sums.view((0, 0), (p, p)).into_owned();
        for (k, v) in variances.iter().enumerate() {
            normal[(k, k)] += 1.0 / v;
        }
        Cholesky::new(normal).ok_or(FitError::Singular)
    }

    /// Products of the parameters' columns with the others, and of the others among themselves.
    pub fn beside(&self) -> (DMatrix<f64>, DMatrix<f64>) {
        let (p, rest) = (self.parameters, self.sums.ncols() - self.parameters);
        let part = |from: usize, rows: usize| self.sums.view((from, p), (rows, rest)).into_owned();
        (part(0, p), part(p, rest))
    }
}

fn slots(state_at: &[Option<usize>]) -> Vec<Option<usize>> {
    let mut next = 0;
    let mut slot = |at: &Option<usize>| {
        at.map(|_| {
            next += 1;
            next - 1
        })
    };
    state_at.iter().map(&mut slot).collect()
}

/// A solved problem to which a sudden change is added as one more column.
struct Fitted<'a> {
    solved: &'a Answer,
    k: f64,
}

impl Fitted<'_> {
    /// Of the column that is 1 from one edge until another (or to the end): the sum of squares of
    /// what the other columns leave of it, and the product of that with the levels.
    fn product(&self, from: usize, until: Option<usize>) -> (f64, f64) {
        let a = 2 + from;
        let left = |i: usize, j: usize| self.solved.left[(i, j)];
        let with = |i: usize| left(i, 0) + self.k * left(i, 1);
        match until.map(|u| 2 + u) {
            None => (left(a, a).max(0.0), with(a)),
            Some(b) => ((left(a, a) + left(b, b) - 2.0 * left(a, b)).max(0.0), with(a) - with(b)),
        }
    }

    /// What the other columns make of it at the states.
    fn at_states(&self, from: usize, until: Option<usize>) -> Vec<f64> {
        let at = |s: usize, edge: usize| self.solved.at_states[(s, 2 + edge)];
        let states = 0..self.solved.at_states.nrows();
        states.map(|s| at(s, from) - until.map_or(0.0, |u| at(s, u))).collect()
    }
}

/// One state's parts of the mixture.
pub(super) fn parts(hypotheses: &[Hypothesis], state: usize) -> Vec<Part> {
    hypotheses
        .iter()
        .map(|h| {
            let (mean, variance) = h.states[state];
            Part { weight: h.log_weight.exp(), mean, variance }
        })
        .collect()
}

/// Geometric mean of the scatter over the hypotheses.
pub(super) fn usual_of(hypotheses: &[Hypothesis]) -> f64 {
    let weighted = |h: &Hypothesis| (h.log_weight.exp() * h.scatter.ln(), h.log_weight.exp());
    let (sum, weight) =
        hypotheses.iter().map(weighted).fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    (sum / weight).exp()
}
