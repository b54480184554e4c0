//! What may be odd of a shoot: shutter times, and frames that hang apart from their run.

use super::design::{Design, Group};
use super::{Beliefs, TimeBelief, prior};

/// Most frames that may be spoilt or not in one shoot: each doubles the hypotheses.
pub const MOST_SPOILT: usize = 3;

/// Prior variances of all parameters under every choice of what is odd, with its logarithm of prior
/// probability.
pub(super) fn subsets(design: &Design, beliefs: &Beliefs) -> Vec<(Vec<f64>, f64)> {
    each_spoilt_or_not(design, times(design, beliefs))
}

/// The same with every frame that hangs apart from its run spoilt, and not.
fn each_spoilt_or_not(design: &Design, mut of: Vec<(Vec<f64>, f64)>) -> Vec<(Vec<f64>, f64)> {
    for at in (0..design.parameters.len()).filter(|at| design.parameters[*at].0 == Group::Spoilt) {
        let sound = |(variances, log_prior): &(Vec<f64>, f64)| {
            let mut variances = variances.clone();
            variances[at] = prior::UNSPOILT;
            (variances, log_prior + (1.0 - prior::SPOILT).ln())
        };
        let sound: Vec<_> = of.iter().map(sound).collect();
        of.iter_mut().for_each(|(_, log_prior)| *log_prior += prior::SPOILT.ln());
        of.extend(sound);
    }
    of
}

/// Which times are odd: every subset of a few, none or one of many.
fn times(design: &Design, beliefs: &Beliefs) -> Vec<(Vec<f64>, f64)> {
    let times: Vec<(usize, TimeBelief)> = design
        .parameters
        .iter()
        .enumerate()
        .filter_map(|(at, (group, _))| match group {
            Group::Shutter(k) => Some((at, beliefs.shutter[*k])),
            _ => None,
        })
        .collect();
    let chosen: Vec<usize> = (0..times.len()).filter(|&i| times[i].1.scale > 0.0).collect();
    let every = chosen.len() <= prior::EVERY_SUBSET_OF;
    let odd: Vec<Vec<usize>> = if every {
        (0..1_usize << chosen.len())
            .map(|bits| {
                chosen
                    .iter()
                    .copied()
                    .filter(|i| {
                        chosen.iter().position(|c| c == i).is_some_and(|at| bits >> at & 1 == 1)
                    })
                    .collect()
            })
            .collect()
    } else {
        std::iter::once(Vec::new()).chain(chosen.iter().map(|&i| vec![i])).collect()
    };
    odd.into_iter()
        .map(|odd| {
            let mut variances: Vec<f64> = design.parameters.iter().map(|p| p.1).collect();
            let mut log_prior = 0.0;
            for (i, (at, belief)) in times.iter().enumerate() {
                let (factor, share) = prior::offset_node(odd.contains(&i), every);
                variances[*at] = (belief.scale * factor).hypot(belief.hand).powi(2);
                log_prior += if belief.scale > 0.0 { share.ln() } else { 0.0 };
            }
            (variances, log_prior)
        })
        .collect()
}
