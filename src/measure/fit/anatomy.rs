//! What an uncertainty is made of: the likeliest hypothesis taken apart by its sources.

use super::design::Group;
use super::light::{Motion, Whitener};
use super::posterior::{self, Gram, Hypothesis, Problem};
use super::{FitError, Reading, mixture};
use crate::measure::strength::{BudgetPart, Source};
use nalgebra::DVector;

/// One state's green strength, taken apart.
pub(super) struct Anatomy {
    /// Variance by source.
    pub parts: Vec<(Source, f64)>,
    /// Weight of each reading in the strength.
    pub weights: Vec<f64>,
    /// What the error of each black level does to it, per count.
    pub black: Vec<f64>,
}

/// A shoot under one motion of its light.
pub(super) struct Body<'a> {
    problem: &'a Problem<'a>,
    motion: Motion,
    whitener: Whitener,
    gram: Gram,
}

impl<'a> Body<'a> {
    pub fn new(problem: &'a Problem<'a>, motion: Motion) -> Self {
        let design = problem.design;
        let whitener = Whitener::new(&motion, &design.minutes, &design.noise);
        Self { problem, motion, whitener, gram: Gram::new(problem, &motion) }
    }

    /// Takes the strength in parameter `state` apart.
    pub fn of(
        &self,
        state: usize,
        readings: &[Reading],
        blacks: usize,
    ) -> Result<Anatomy, FitError> {
        let design = self.problem.design;
        let variances: Vec<f64> = design.parameters.iter().map(|p| p.1).collect();
        let mut unit = DVector::zeros(variances.len());
        unit[state] = 1.0;
        let c = self.gram.factor(&variances)?.solve(&unit);
        let mut rows: Vec<f64> = vec![0.0; design.y.len()];
        for (k, column) in design.columns.iter().enumerate() {
            for (row, x) in rows.iter_mut().zip(column) {
                *row += c[k] * x;
            }
        }
        self.whitener.whiten(&mut rows);
        self.whitener.transpose(&mut rows);
        let group = |of: fn(Group) -> bool| -> f64 {
            let mine = design.parameters.iter().zip(c.iter()).filter(|((g, _), _)| of(*g));
            mine.map(|((_, v), c)| c * c / v).sum()
        };
        let noise = rows.iter().zip(&design.noise).map(|(w, n)| w * w * n).sum();
        let own: f64 = rows.iter().map(|w| w * w).sum();
        let (walk, drift) = self.light(&rows);
        let mut black = vec![0.0; blacks];
        for ((g, v), c) in design.parameters.iter().zip(c.iter()) {
            if let Group::Black(k) = g {
                black[*k] = -c / v;
            }
        }
        let mut weights = vec![0.0; readings.len()];
        for (row, w) in design.rows.iter().zip(rows) {
            weights[*row] = w;
        }
        Ok(Anatomy {
            parts: vec![
                (Source::Noise, noise),
                (Source::Walk, walk),
                (Source::Repeats, own * self.motion.scatter.powi(2)),
                (Source::Drift, drift),
                (Source::Shutter, group(|g| matches!(g, Group::Shutter(_) | Group::Known))),
                (Source::Ring, group(|g| g == Group::Visit)),
                (Source::Gain, group(|g| g == Group::Gain)),
                (Source::Black, group(|g| matches!(g, Group::Black(_)))),
            ],
            weights,
            black,
        })
    }

    /// What walk and drift (slope and its changes) do to a sum of readings with these weights.
    fn light(&self, weights: &[f64]) -> (f64, f64) {
        let minutes = &self.problem.design.minutes;
        let (mut walk, mut drift) = (0.0, 0.0);
        // Sums over all later frames: of weights, and of weights times minutes since.
        let (mut later, mut lever) = (0.0, 0.0);
        for i in (0..weights.len()).rev() {
            let dt = minutes.get(i + 1).map_or(0.0, |m| (m - minutes[i]).max(0.0));
            walk += later * later * dt;
            // A change of slope at u before frame i + 1 grows to lever + later u.
            drift +=
                lever * lever * dt + lever * later * dt * dt + later * later * dt.powi(3) / 3.0;
            lever += later * dt;
            later += weights[i];
        }
        (
            walk * self.motion.walk.powi(2),
            drift * self.motion.bend.powi(2) + lever * lever * self.motion.slope.powi(2),
        )
    }

    /// Level of the bare light at zero, and the light's curve over the rows.
    pub fn curve(&self, as_shown: bool) -> Result<(f64, Vec<f64>), FitError> {
        let design = self.problem.design;
        let variances: Vec<f64> = design.parameters.iter().map(|p| p.1).collect();
        let shown = if as_shown { 1.0 } else { 0.0 };
        let y: Vec<f64> = design.y.iter().zip(&design.shown).map(|(y, x)| y + shown * x).collect();
        let mut whitened = y.clone();
        self.whitener.whiten(&mut whitened);
        let right = DVector::from_iterator(
            design.columns.len(),
            design.columns.iter().map(|column| {
                let mut column = column.clone();
                self.whitener.whiten(&mut column);
                column.iter().zip(&whitened).map(|(a, b)| a * b).sum()
            }),
        );
        let found = self.gram.factor(&variances)?.solve(&right);
        let mut residual = y;
        for (k, column) in design.columns.iter().enumerate() {
            for (r, x) in residual.iter_mut().zip(column) {
                *r -= found[k] * x;
            }
        }
        Ok((found[0], self.whitener.smooth(&residual)))
    }
}

/// The parts of a standard uncertainty `u`: what is left in doubt within the hypotheses of a light
/// without sudden changes, by its sources; what lies between the two rules behind the dial; and
/// what lies between the other hypotheses. Together they are u.
pub(super) fn budget(
    anatomy: &Anatomy,
    hypotheses: &[Hypothesis],
    state: usize,
    u: f64,
) -> Vec<BudgetPart> {
    let of = |holds: &dyn Fn(&Hypothesis) -> bool| -> Vec<mixture::Part> {
        let all = hypotheses.iter().zip(posterior::parts(hypotheses, state));
        all.filter(|(h, _)| holds(h)).map(|(_, p)| p).collect()
    };
    let weight = |parts: &[mixture::Part]| parts.iter().map(|p| p.weight).sum::<f64>();
    let mean = |parts: &[mixture::Part]| {
        parts.iter().map(|p| p.weight * p.mean).sum::<f64>() / weight(parts).max(f64::MIN_POSITIVE)
    };
    let (powers, shown) = (of(&|h| !h.as_shown), of(&|h| h.as_shown));
    let total = weight(&powers) + weight(&shown);
    let apart =
        if shown.is_empty() || powers.is_empty() { 0.0 } else { mean(&powers) - mean(&shown) };
    let rule = weight(&powers) * weight(&shown) / (total * total) * apart * apart;
    let calm = of(&|h| !h.sudden);
    let within = calm.iter().map(|p| p.weight * p.variance).sum::<f64>()
        / weight(&calm).max(f64::MIN_POSITIVE);
    let known: f64 = anatomy.parts.iter().map(|p| p.1).sum();
    let mut parts: Vec<(Source, f64)> = anatomy
        .parts
        .iter()
        .map(|(source, v)| (*source, v * within / known.max(f64::MIN_POSITIVE)))
        .collect();
    parts.push((Source::Dial, rule));
    parts.push((Source::Hypotheses, (u * u - within - rule).max(0.0)));
    let sum: f64 = parts.iter().map(|p| p.1).sum();
    let to_u = if sum > 0.0 { u * u / sum } else { 0.0 };
    let stops = |variance: f64| (variance.max(0.0) * to_u).sqrt();
    parts.into_iter().map(|(source, v)| BudgetPart { source, stops: stops(v) }).collect()
}
