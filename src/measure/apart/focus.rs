//! Whether the lens was focused anew between two runs, told by the wall's fine structure: what a cell has
//! beyond its neighbours comes again in each frame of a run, as noise does not, and is blurred or sharpened
//! by focus alone, whatever the level.

use crate::caution::ApartDoubt;
use crate::levels::from_14_bit;
use crate::measure::map::surface::beyond_neighbours;
use crate::measure::readings::Used;
use crate::numerics::robust::deviation;
use crate::profile::FrameState;
use std::f64::consts::LN_2;

/// The middle of the frame, as shares of its width and height: away from what rings and holders shade.
const MIDDLE: (f64, f64) = (0.25, 0.75);
/// A cell that lies so many deviations from the others is a speck or an edge.
const ODD: f64 = 5.0;
/// A wall with a structure of less than this has none to tell by, stops (ours).
const LEAST_GRAIN: f64 = 0.002;
/// What rows and columns of a sensor may have of their own beside its black, counts at 14 bit (ours): in
/// frames at a low level that looks like a grain.
const OF_THE_SENSOR: f64 = 1.0;
/// A structure of less than this share of another's variance is another one (ours): a disk of blur as wide
/// as a cell leaves half of what two cells show.
const BLURRED: f64 = 0.6;
/// So many standard uncertainties are plain (ours).
const PLAIN: f64 = 4.0;
/// Fewer cells tell nothing.
const LEAST_CELLS: usize = 400;

/// Variance of a run's structure and its standard uncertainty, and what is none, square stops.
#[derive(Clone, Copy, Debug)]
struct Structure {
    variance: f64,
    u: f64,
    none: f64,
}

struct RunStructure<'a> {
    is_bare: bool,
    first: &'a str,
    last: &'a str,
    structure: Structure,
}

/// The first change of focus between runs that follow each other, else between bare ones.
#[must_use]
pub fn refocused(used: &[Used<'_>]) -> Option<ApartDoubt> {
    let same = |a: &Used<'_>, b: &Used<'_>| {
        a.frame.run == b.frame.run
            && (a.levels.columns, a.levels.rows) == (b.levels.columns, b.levels.rows)
    };
    let runs: Vec<RunStructure<'_>> = used.chunk_by(same).filter_map(of_run).collect();
    let bare: Vec<&RunStructure<'_>> = runs.iter().filter(|run| run.is_bare).collect();
    let told = runs.windows(2).find_map(|pair| change(&pair[0], &pair[1]));
    told.or_else(|| bare.windows(2).find_map(|pair| change(pair[0], pair[1])))
}

/// A change of focus from one run to another. A filter may have an edge or blotches of its own, which make
/// what is seen through it look sharper, and never softer.
fn change(before: &RunStructure<'_>, after: &RunStructure<'_>) -> Option<ApartDoubt> {
    let softer = before.is_bare && is_blurred(after.structure, before.structure);
    let sharper = after.is_bare && is_blurred(before.structure, after.structure);
    (softer || sharper).then(|| ApartDoubt::Refocused {
        last_before: before.last.to_owned(),
        first_after: after.first.to_owned(),
        with_filter: before.is_bare != after.is_bare,
        softer,
    })
}

/// Whether one structure is another one blurred.
fn is_blurred(one: Structure, other: Structure) -> bool {
    let seen = other.variance > (PLAIN * other.u).max(other.none);
    let most = one.variance.max(0.0) + PLAIN * one.u.hypot(BLURRED * other.u);
    seen && most < BLURRED * other.variance
}

fn of_run<'a>(run: &[Used<'a>]) -> Option<RunStructure<'a>> {
    let fine: Vec<Vec<f64>> = run.iter().map(fine).collect();
    let pairs: Vec<(f64, f64)> = fine.windows(2).filter_map(|p| in_both(&p[0], &p[1])).collect();
    let n = pairs.len() as f64;
    let (first, last) = (run.first()?, run.last()?);
    let of_the_sensor = from_14_bit(OF_THE_SENSOR, &first.frame.summary);
    let of_the_sensor = (of_the_sensor / first.centre[1].level).ln_1p() / LN_2;
    let structure = Structure {
        variance: pairs.iter().map(|p| p.0).sum::<f64>() / n,
        // Of frames in common: as if one pair told all.
        u: pairs.iter().map(|p| p.1).sum::<f64>() / n,
        none: LEAST_GRAIN.max(of_the_sensor).powi(2),
    };
    let (first, last) = (first.frame, last.frame);
    (n > 0.0).then(|| RunStructure {
        is_bare: first.state == FrameState::Bare,
        first: first.file(),
        last: last.file(),
        structure,
    })
}

/// What the cells in the middle have beyond their four neighbours, stops; NaN where unknown.
fn fine(used: &Used<'_>) -> Vec<f64> {
    let (columns, rows) = (used.levels.columns, used.levels.rows);
    let green = used.levels.channel_cells(1);
    let part = |n: usize| {
        let at = |share: f64| (share * n as f64) as usize;
        at(MIDDLE.0)..at(MIDDLE.1)
    };
    let across = part(columns);
    let cell = |i: usize| green.get(i).copied().unwrap_or(f64::NAN);
    let middle: Vec<f64> = part(rows)
        .flat_map(|row| across.clone().map(move |k| row * columns + k))
        .map(cell)
        .collect();
    beyond_neighbours(across.len(), &middle).into_iter().map(|v| v.unwrap_or(f64::NAN)).collect()
}

/// Variance of what two frames have in common, and its standard uncertainty, square stops.
fn in_both(one: &[f64], two: &[f64]) -> Option<(f64, f64)> {
    let within = |values: &[f64]| Some(ODD * deviation(values.iter().copied())?);
    let (most, most_of_two) = (within(one)?, within(two)?);
    let usual = one.iter().zip(two).filter(|(a, b)| a.abs() < most && b.abs() < most_of_two);
    let products: Vec<f64> = usual.map(|(a, b)| a * b).collect();
    if products.len() < LEAST_CELLS {
        return None;
    }
    let n = products.len() as f64;
    let mean = products.iter().sum::<f64>() / n;
    let scatter = products.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / (n - 1.0);
    Some((mean, (scatter / n).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plain wall before a sensor whose columns differ by half a count, at a level of a hundred counts.
    #[test]
    fn what_a_sensor_has_of_its_own_is_no_sharper_wall() {
        let of = |level: f64| (1.0 / level).ln_1p() / LN_2;
        let bare = Structure { variance: 0.0, u: 1e-8, none: LEAST_GRAIN.max(of(5000.0)).powi(2) };
        let columns = (0.5 / 100.0_f64).ln_1p() / LN_2;
        let through = |variance: f64| Structure { variance, u: 1e-6, none: of(100.0).powi(2) };
        assert!(!is_blurred(bare, through(columns * columns)));
        // A wall of three counts of structure at that level is in focus.
        assert!(is_blurred(bare, through(9.0 * of(100.0).powi(2))));
    }
}
