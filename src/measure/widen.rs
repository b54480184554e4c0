//! What a fit cannot know widens its strengths, alike in all channels: a guessed tone curve, and
//! frames that contradict each other.

use super::fit::Fit;
use super::readings::Used;
use super::strength::{BudgetPart, ChannelStrengths, Source};
use crate::caution::Caution;
use crate::frame::Origin;
use crate::measured::{coverage_factor, dof_with_sure};
use crate::shoot::Shoot;

/// A fit with what it cannot know added to its uncertainties.
#[must_use]
pub fn widened(fit: Fit, used: &[Used<'_>], shoot: &Shoot) -> Fit {
    contradicted(not_raw(used, fit), shoot)
}

/// Pictures carry the doubt of a tone curve that is only guessed: 0.075 stop common to the channels
/// and 0.03 of each, standard uncertainties (ours).
fn not_raw(used: &[Used<'_>], mut fit: Fit) -> Fit {
    const COMMON: f64 = 0.075;
    const OWN: f64 = 0.03;
    if !used.iter().any(|u| u.frame.summary.info.origin == Origin::DisplayPicture) {
        return fit;
    }
    for strengths in &mut fit.settings {
        add(strengths, COMMON * COMMON, OWN * OWN);
    }
    for budget in &mut fit.budgets {
        budget.push(BudgetPart { source: Source::ToneCurve, stops: COMMON.hypot(OWN) });
    }
    fit
}

/// Where frames of one state disagree and nothing tells which are right, the expanded uncertainty
/// reaches from those that were used to the others. Bare frames are everybody's.
fn contradicted(mut fit: Fit, shoot: &Shoot) -> Fit {
    let setting_of =
        |file: &String| shoot.frames.iter().find(|f| f.file() == file).map(|frame| frame.setting);
    let mut variances = vec![0.0; fit.settings.len()];
    for caution in &shoot.cautions {
        let Caution::FramesDisagree { used, apart, .. } = caution else { continue };
        let Some(setting) = used.iter().find_map(setting_of) else { continue };
        let u = apart.get() / coverage_factor(f64::INFINITY);
        for (number, variance) in variances.iter_mut().enumerate() {
            *variance += if setting.is_none_or(|own| own == number) { u * u } else { 0.0 };
        }
    }
    let all = fit.settings.iter_mut().zip(&mut fit.budgets).zip(variances);
    for ((strengths, budget), variance) in all.filter(|(_, variance)| *variance > 0.0) {
        add(strengths, variance, 0.0);
        budget.push(BudgetPart { source: Source::Contradiction, stops: variance.sqrt() });
    }
    fit
}

/// Adds a variance that the channels share and one of each, both known for sure.
fn add(strengths: &mut ChannelStrengths, common: f64, own: f64) {
    for (r, row) in strengths.covariance.iter_mut().enumerate() {
        for (c, cell) in row.iter_mut().enumerate() {
            let (before, added) = (*cell, common + if r == c { own } else { 0.0 });
            *cell += added;
            if r == c && before > 0.0 {
                strengths.dof[r] = dof_with_sure(strengths.dof[r], before, added);
            }
        }
    }
}
