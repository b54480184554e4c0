//! The estimate with its covariance, split into what scatters and what is common to all frames.

use super::{Fit, FitError, Group, Problem};
use crate::measure::strength::{BudgetPart, ChannelStrengths, Source};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Weight of the prior belief that the random part is as stated, in degrees of freedom (ours).
const NU0: f64 = 5.0;

/// Solves for the parameters; `parts` sum to the covariance whose factor is `v`.
pub(super) fn solve(
    settings: usize,
    problem: &Problem,
    parts: &[(Source, DMatrix<f64>)],
    v: &Cholesky<f64, Dyn>,
    scatter: f64,
) -> Result<Fit, FitError> {
    let a = &problem.design;
    let weighted = v.solve(a); // V^-1 A
    let information = a.transpose() * &weighted;
    let mut normal = information.clone();
    for (k, (_, u)) in problem.prior.iter().enumerate() {
        normal[(k, k)] += 1.0 / (u * u);
    }
    let c = Cholesky::new(normal).ok_or(FitError::Singular)?.inverse();
    let gain = &c * weighted.transpose(); // C A' V^-1
    let theta = &gain * &problem.y;
    let residual = &problem.y - a * &theta;

    // With mean-zero priors the minimum of the penalised sum is the chi^2 over the marginal
    // covariance V + A P A'; its degrees of freedom are the readings less the free parameters.
    let penalty: f64 =
        problem.prior.iter().zip(theta.iter()).map(|((_, u), t)| (t / u).powi(2)).sum();
    let chi_squared = residual.dot(&v.solve(&residual)) + penalty;
    let nu = (problem.y.len() as f64 - (3 + 3 * settings) as f64).max(0.0);
    let scale = (NU0 + chi_squared) / (NU0 + nu);

    let random = &c * &information * &c;
    let common = |group: Group| {
        let mut inverse = DMatrix::zeros(c.nrows(), c.nrows());
        for (k, (g, u)) in problem.prior.iter().enumerate() {
            if *g == group {
                inverse[(k, k)] = 1.0 / (u * u);
            }
        }
        &c * inverse * &c
    };
    let groups = [
        (Source::Drift, common(Group::Drift)),
        (Source::Shutter, common(Group::Shutter)),
        (Source::Gain, common(Group::Gain)),
        (Source::Black, common(Group::Black)),
    ];
    let fixed = groups.iter().fold(DMatrix::zeros(c.nrows(), c.nrows()), |sum, g| sum + &g.1);
    let strengths =
        (0..settings).map(|s| strengths(s, &theta, &random, &fixed, scale, NU0 + nu)).collect();
    let green = 4; // S of the first setting, green
    let mut budget: Vec<BudgetPart> = parts
        .iter()
        .map(|(source, part)| {
            let variance = (&gain * part * gain.transpose())[(green, green)] * scale;
            BudgetPart { source: *source, stops: variance.max(0.0).sqrt() }
        })
        .collect();
    budget.extend(groups.iter().map(|(source, part)| BudgetPart {
        source: *source,
        stops: part[(green, green)].max(0.0).sqrt(),
    }));
    Ok(Fit {
        settings: strengths,
        bare: [theta[0], theta[1], theta[2]],
        drift: theta[3 + 3 * settings],
        scale,
        scatter,
        budget,
    })
}

fn strengths(
    setting: usize,
    theta: &DVector<f64>,
    random: &DMatrix<f64>,
    fixed: &DMatrix<f64>,
    scale: f64,
    dof: f64,
) -> ChannelStrengths {
    let at = 3 + 3 * setting;
    let entry = |r: usize, c: usize| scale * random[(at + r, at + c)] + fixed[(at + r, at + c)];
    let effective = |c: usize| {
        let scaled = scale * random[(at + c, at + c)];
        if scaled > 0.0 { dof * (entry(c, c) / scaled).powi(2) } else { f64::INFINITY }
    };
    ChannelStrengths {
        stops: [theta[at], theta[at + 1], theta[at + 2]],
        covariance: std::array::from_fn(|r| std::array::from_fn(|c| entry(r, c))),
        dof: std::array::from_fn(effective),
    }
}
