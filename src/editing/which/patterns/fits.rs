//! How well the ratio map of two frames agrees with each pair of patterns.

use super::{Drawn, Laid, coarse_size, finite};
use crate::editing::scene::SceneDifference;
use crate::numerics::robust::median;

/// How often the line of a graduated filter that stays on stays where it was (ours).
const LINE_STAYS: f64 = 0.7;
/// Independent places in a ratio map of two frames, clouds and water being what they are, and by how
/// many stops they differ at least (ours).
const PLACES: f64 = 24.0;
const PLACE_STOPS: f64 = 0.1;
/// A residual beyond this many stops counts as this many: one bright boat must not decide (ours).
const FARTHEST_STOPS: f64 = 2.0;
/// How often somebody or something comes into the picture, and the share of it that may then differ by
/// anything up to that many stops (ours).
const COMES_IN: f64 = 0.05;
const COVERED: f64 = 0.3;
/// How much a pattern may say: that of a profile may be carried to another lens or mount, the line of a
/// graduation is plain to see (log likelihood against the best account; ours).
const MEASURED_AT_MOST: f64 = 4.0;
const GRADUATED_AT_MOST: f64 = 9.0;

/// How one pair of patterns agrees with a ratio map.
#[derive(Clone, Copy, Debug, Default)]
pub(in super::super) struct Fit {
    /// Log likelihood against the best pair, and the likelihood.
    pub log: f64,
    pub like: f64,
    /// log2(later / earlier) of what is left when both patterns are taken out.
    pub middle: f64,
    /// What the patterns do to that by themselves.
    pub shift: f64,
}

/// For each pair of patterns (of the earlier and the later frame, row by row) how well the ratio map
/// agrees with it. Frames that are turned against each other say nothing of patterns.
pub(in super::super) fn fits(difference: &SceneDifference, drawn: &Drawn) -> Vec<Fit> {
    let count = drawn.of.len();
    let whole = difference.stops;
    if difference.turn != 0 || count == 1 {
        return vec![Fit { middle: whole, like: 1.0, ..Fit::default() }; count * count];
    }
    // What exposures differ by is in the medians already, not in the map.
    let exposed = median(finite(&difference.map)).unwrap_or(0.0) - whole;
    let looks = Looks::of(&coarse(&difference.map, drawn.view.size), &drawn.ways);
    let mut found = Vec::with_capacity(count * count);
    for (a, one) in drawn.of.iter().enumerate() {
        for (b, two) in drawn.of.iter().enumerate() {
            let mut fit = pair(&looks, (one, &drawn.places[a]), (two, &drawn.places[b]), a == b);
            fit.middle -= exposed;
            found.push(fit);
        }
    }
    let best = (0..found.len()).max_by(|&x, &y| found[x].log.total_cmp(&found[y].log));
    let Some(best) = best else { return found };
    let graduated = |at: usize| drawn.of[at / count].graduated || drawn.of[at % count].graduated;
    let (top, of_best) = (found[best].log, graduated(best));
    for (at, fit) in found.iter_mut().enumerate() {
        let most = if of_best || graduated(at) { GRADUATED_AT_MOST } else { MEASURED_AT_MOST };
        fit.log = (fit.log - top).max(-most);
        fit.like = fit.log.exp();
    }
    found
}

/// What a ratio map looks like when any one way is taken out of the earlier frame and any of the later.
struct Looks {
    count: usize,
    /// By the place of both ways: log likelihood and middle of what is left; `None` where nothing is.
    of: Vec<Option<(f64, f32)>>,
    /// The same where the same is on.
    still: Option<(f64, f32)>,
}

impl Looks {
    fn of(map: &[f32], ways: &[Vec<f32>]) -> Self {
        let known: Vec<usize> = (0..map.len()).filter(|&c| map[c].is_finite()).collect();
        let map: Vec<f32> = known.iter().map(|&c| map[c]).collect();
        let ways: Vec<Vec<f32>> =
            ways.iter().map(|way| known.iter().map(|&c| way[c]).collect()).collect();
        let mut left: Vec<f32> = Vec::with_capacity(map.len());
        left.extend(&map);
        let still = look(&mut left);
        let mut of = Vec::with_capacity(ways.len() * ways.len());
        for one in &ways {
            for two in &ways {
                left.clear();
                let steps = one.iter().zip(two).map(|(one, two)| two - one);
                left.extend(map.iter().zip(steps).map(|(m, step)| m + step));
                of.push(look(&mut left));
            }
        }
        Self { count: ways.len(), of, still }
    }
}

/// Log likelihood and middle of what is left of a map.
fn look(left: &mut Vec<f32>) -> Option<(f64, f32)> {
    if !left.iter().all(|l| l.is_finite()) {
        left.retain(|l| l.is_finite());
    }
    let middle = middle(left)?;
    Some((agreement(left, middle), middle))
}

/// Two patterns, each with the places of its ways.
fn pair(looks: &Looks, one: (&Laid, &[usize]), two: (&Laid, &[usize]), same: bool) -> Fit {
    let ((one, of_one), (two, of_two)) = (one, two);
    if same && !one.graduated {
        let (log, middle) = looks.still.unwrap_or((f64::NEG_INFINITY, 0.0));
        return Fit { log, middle: f64::from(middle), ..Fit::default() };
    }
    let mut best = Fit { log: f64::NEG_INFINITY, ..Fit::default() };
    let mut logs = Vec::with_capacity(of_one.len() * of_two.len());
    for (a, &first) in of_one.iter().enumerate() {
        for (b, &second) in of_two.iter().enumerate() {
            let Some((log, middle)) = looks.of[first * looks.count + second] else { continue };
            logs.push((log, one.lines[a].is_some() && one.lines[a] == two.lines[b]));
            if log > best.log {
                let shift = two.medians[b] - one.medians[a];
                let shift = if one.graduated || two.graduated { 0.0 } else { shift };
                best = Fit { log, middle: f64::from(middle), shift, like: 0.0 };
            }
        }
    }
    best.log += averaged(&logs, best.log);
    best
}

/// Log likelihood of what is left of a ratio map when patterns are taken out: independent places about
/// a middle, of which something that came into the picture may cover some.
fn agreement(left: &mut [f32], middle: f32) -> f64 {
    let mut off = |l: &mut f32| *l = (*l - middle).abs().min(FARTHEST_STOPS as f32).powi(2);
    left.iter_mut().for_each(&mut off);
    let per_place = |off: &[f32]| {
        let scatter = sum_of(off) / off.len().max(1) as f64;
        -0.5 * PLACES * (scatter + PLACE_STOPS.powi(2)).ln()
    };
    let all = per_place(left);
    let open = left.len() - (left.len() as f64 * COVERED) as usize;
    let covered = -0.5 * PLACES * COVERED * FARTHEST_STOPS.powi(2).ln() + COMES_IN.ln();
    let at_best = -PLACES * (1.0 - COVERED) * PLACE_STOPS.ln() + covered;
    if all >= at_best || open == 0 {
        return all;
    }
    left.select_nth_unstable_by(open - 1, f32::total_cmp);
    all.max((1.0 - COVERED) * per_place(&left[..open]) + covered)
}

/// Several sums at once, which do not wait for each other.
fn sum_of(values: &[f32]) -> f64 {
    let (eights, rest) = values.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for eight in eights {
        sums.iter_mut().zip(eight).for_each(|(sum, &v)| *sum += f64::from(v));
    }
    sums.iter().sum::<f64>() + rest.iter().map(|&v| f64::from(v)).sum::<f64>()
}

/// Log of the mean likelihood over the ways, against the best: any two alike, but for the line of a
/// graduation that stays on, which mostly stays.
fn averaged(logs: &[(f64, bool)], best: f64) -> f64 {
    let mean = |of: &dyn Fn(bool) -> bool| {
        let own: Vec<f64> =
            logs.iter().filter(|l| of(l.1)).map(|(log, _)| (log - best).exp()).collect();
        (!own.is_empty()).then(|| own.iter().sum::<f64>() / own.len() as f64)
    };
    match (mean(&|_| true), mean(&|stays| stays)) {
        (Some(any), Some(stays)) => (LINE_STAYS * stays + (1.0 - LINE_STAYS) * any).ln(),
        (Some(any), None) => any.ln(),
        (None, _) => 0.0,
    }
}

fn middle(values: &mut [f32]) -> Option<f32> {
    let at = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(at, f32::total_cmp).1)
}

/// Means of two by two cells, where two of them at least are known.
fn coarse(map: &[f32], (columns, rows): (usize, usize)) -> Vec<f32> {
    let (across, down) = coarse_size((columns, rows));
    let cell = |at: usize| {
        let (left, top) = (2 * (at % across), 2 * (at / across));
        let all = (top..(top + 2).min(rows))
            .flat_map(|row| (left..(left + 2).min(columns)).map(move |c| row * columns + c));
        let known: Vec<f32> =
            all.filter_map(|c| map.get(c).copied()).filter(|m| m.is_finite()).collect();
        if known.len() < 2 { f32::NAN } else { known.iter().sum::<f32>() / known.len() as f32 }
    };
    (0..across * down).map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Outlook, Pattern};
    use super::*;

    const VIEW: Outlook = Outlook { size: (24, 16), orientation: 1, focal_mm: None };

    /// Nothing changes from one frame to the next: a graduated filter that stays on says that as well as
    /// none, but for how seldom its line stays; one that came or went does not.
    #[test]
    fn a_graduation_that_stays_is_hardly_less_likely_than_none() {
        let patterns = [
            Pattern::Even,
            Pattern::Graduated { stops: 2.5, width: 0.1 },
            Pattern::Measured { columns: 2, rows: 1, stops: vec![0.2, 0.3], focal_mm: None },
            Pattern::Both(2, 1),
        ];
        let drawn = Drawn::of(&patterns, VIEW);
        let difference = SceneDifference {
            stops: 0.0,
            u: 0.02,
            colour: [Some(0.0); 2],
            map: vec![0.0; VIEW.size.0 * VIEW.size.1],
            same: 1.0,
            turn: 0,
        };
        let fits = fits(&difference, &drawn);
        let at = |one: usize, two: usize| fits[one * patterns.len() + two].log;
        let least = LINE_STAYS.ln() - 1e-3;
        assert!(at(1, 1) > least && at(1, 1) < 0.0, "{}", at(1, 1));
        assert!(at(3, 1) > at(0, 1) + 5.0, "{} {}", at(3, 1), at(0, 1));
        assert!(at(0, 1) < -5.0, "{}", at(0, 1));
    }

    /// Somebody stands before the sky: that is no graduated filter, however dark his coat.
    #[test]
    fn what_comes_into_the_picture_is_no_graduation() {
        let patterns = [Pattern::Even, Pattern::Graduated { stops: 2.0, width: 0.2 }];
        let drawn = Drawn::of(&patterns, VIEW);
        let (columns, rows) = VIEW.size;
        let seen = |dark: &dyn Fn(f64, f64) -> bool| {
            let place = |i: usize| ((i % columns) as f64, (i / columns) as f64);
            let at = |i: usize| {
                let (x, y) = place(i);
                if dark(x / columns as f64, y / rows as f64) { -3.0 } else { 0.0 }
            };
            let map: Vec<f32> = (0..columns * rows).map(at).collect();
            let colour = [Some(0.0); 2];
            let difference =
                SceneDifference { stops: 0.0, u: 0.02, colour, map, same: 1.0, turn: 0 };
            let fits = fits(&difference, &drawn);
            // Whether a graduation came, against nothing.
            fits[1].log - fits[0].log
        };
        let figure = seen(&|x, y| (x - 0.4).hypot(y - 0.15) < 0.3);
        assert!(figure < -2.0, "{figure}");
        // Darker all along the sky: that is one.
        let sky = seen(&|_, y| y < 0.4);
        assert!(sky > 3.0, "{sky}");
    }
}
