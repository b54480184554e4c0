//! Patterns that filters lay across the frame, and how well the ratio map of two frames agrees with a
//! pair of them.

mod drawn;

pub(super) use drawn::Drawn;

use crate::editing::scene::SceneDifference;
use crate::numerics::robust::median;
use drawn::{EdgeLine, Laid, Ways, coarse_size};

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
/// A pattern of less spread than this is none, in stops (ours).
pub(super) const LEAST_SPREAD: f64 = 0.06;

/// A pattern across the frame, in stops of extra loss.
#[derive(Clone, Debug)]
pub(super) enum Pattern {
    /// None.
    Even,
    /// As the profile measured it, at the cells of a map.
    Measured { columns: usize, rows: usize, stops: Vec<f32>, focal_mm: Option<f64> },
    /// A step of so many stops across a line that may lie anywhere, over a share of the height; what red
    /// and blue lose beyond green on its dark side.
    Graduated { stops: f64, width: f64, cast: [f64; 2] },
    /// A measured one and a graduated one together, by their places in the list, in this order.
    Both(usize, usize),
}

impl Pattern {
    /// From its lightest to its darkest place, stops; of two at once it is found where each of them is.
    pub(super) fn spread(&self) -> f64 {
        match self {
            Self::Even | Self::Both(..) => 0.0,
            Self::Graduated { stops, .. } => *stops,
            Self::Measured { stops, .. } => {
                let known = || stops.iter().copied().filter(|s| s.is_finite());
                f64::from(known().fold(f32::MIN, f32::max) - known().fold(f32::MAX, f32::min))
            }
        }
    }
}

/// How a frame looks at the scene, as far as a pattern depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Outlook {
    /// Cells across and down.
    pub size: (usize, usize),
    /// Exif orientation.
    pub orientation: u8,
    /// Focal length.
    pub focal_mm: Option<f64>,
}

/// How one pair of patterns agrees with a ratio map.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Fit {
    /// Log likelihood against the best pair, and the likelihood.
    pub log: f64,
    pub like: f64,
    /// log2(later / earlier) of what is left when both patterns are taken out.
    pub middle: f64,
    /// What the patterns do to that by themselves.
    pub shift: f64,
    /// By how much more red and blue the graduation of the later frame takes beyond green from the middle
    /// cell, in stops: of its cast as of its density, so that a line that moves takes the colour along.
    pub colour: [f64; 2],
}

/// For each pair of patterns (of the earlier and the later frame, row by row) how well the ratio map
/// agrees with it. Of frames that are turned against each other the graduations tell, which lie across the
/// frame; a lens's own falloff, which has moved on over the scene, hides the gentler patterns.
pub(super) fn fits(difference: &SceneDifference, drawn: &Drawn) -> Vec<Fit> {
    let count = drawn.of.len();
    let whole = difference.stops;
    if count == 1 {
        return vec![Fit { middle: whole, like: 1.0, ..Fit::default() }];
    }
    // What exposures differ by is in the medians already, not in the map.
    let exposed = median(finite(&difference.map)).unwrap_or(0.0) - whole;
    let ways = if difference.turn == 0 { &drawn.whole } else { &drawn.edges };
    let mut looks = Looks::of(difference, drawn.view.size, ways);
    let mut found = Vec::with_capacity(count * count);
    for a in 0..count {
        for b in 0..count {
            let mut fit = looks.pair(drawn, [a, b]);
            fit.middle -= exposed;
            if difference.turn != 0 {
                fit.shift = 0.0;
            }
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
struct Looks<'a> {
    ways: &'a Ways,
    /// The cells of the map that are known, and what they show; where they lie in the earlier frame.
    known: Vec<usize>,
    map: Vec<f32>,
    before: Vec<usize>,
    /// By the place of both ways; what was not asked for is not there.
    of: Vec<Option<Look>>,
    left: Vec<f32>,
}

/// Log likelihood and middle of what is left of a map.
#[derive(Clone, Copy)]
struct Look {
    log: f64,
    middle: f64,
}

impl<'a> Looks<'a> {
    fn of(difference: &SceneDifference, size: (usize, usize), ways: &'a Ways) -> Self {
        let map = coarse(&difference.map, size);
        let (across, _) = coarse_size(size);
        let turn = (difference.turn as f64 / 2.0).round() as isize;
        let known: Vec<usize> = (0..map.len()).filter(|&c| map[c].is_finite()).collect();
        let earlier = |&c: &usize| {
            let column = (c % across).saturating_add_signed(turn).min(across - 1);
            c - c % across + column
        };
        Self {
            ways,
            map: known.iter().map(|&c| map[c]).collect(),
            before: known.iter().map(earlier).collect(),
            known,
            of: vec![None; ways.all.len() * ways.all.len()],
            left: Vec::new(),
        }
    }

    /// When these ways are taken out.
    fn at(&mut self, first: usize, second: usize) -> Look {
        let at = first * self.ways.all.len() + second;
        if let Some(look) = self.of[at] {
            return look;
        }
        let (one, two) = (&self.ways.all[first], &self.ways.all[second]);
        self.left.clear();
        let places = self.known.iter().zip(&self.before);
        let steps = places.map(|(&here, &before)| two[here] - one[before]);
        self.left.extend(self.map.iter().zip(steps).map(|(m, step)| m + step));
        let look = look(&mut self.left);
        self.of[at] = Some(look);
        look
    }

    /// How well one pair of patterns agrees.
    fn pair(&mut self, drawn: &Drawn, [a, b]: [usize; 2]) -> Fit {
        let (one, two) = (&drawn.of[a], &drawn.of[b]);
        if a == b && !one.graduated {
            self.left.clone_from(&self.map);
            let Look { log, middle } = look(&mut self.left);
            return Fit { log, middle, ..Fit::default() };
        }
        let mut best = ([0, 0], Look { log: f64::NEG_INFINITY, middle: 0.0 });
        let mut logs = Vec::new();
        let asked = |laid: &Laid| {
            let ways = laid.lines.iter().enumerate();
            let asked = ways.filter(|(_, line)| line.is_none_or(EdgeLine::is_asked));
            asked.map(|(way, _)| way).collect::<Vec<usize>>()
        };
        let (first, second) = (asked(one), asked(two));
        for &first in &first {
            for &second in &second {
                let look = self.at(self.ways.places[a][first], self.ways.places[b][second]);
                let stays = one.lines[first].is_some() && one.lines[first] == two.lines[second];
                logs.push((look.log, stays));
                if look.log > best.1.log {
                    best = ([first, second], look);
                }
            }
        }
        let averaged = averaged(&logs, best.1.log);
        let (ways, look) = self.between([a, b], [one, two], best);
        let shift = two.medians[ways[1]] - one.medians[ways[0]];
        Fit {
            log: look.log + averaged,
            middle: look.middle,
            shift: if one.graduated || two.graduated { 0.0 } else { shift },
            colour: self.colour(drawn, [(a, ways[0]), (b, ways[1])]),
            like: 0.0,
        }
    }

    /// Lines between those that were asked for: the best beside the best.
    fn between(
        &mut self,
        [a, b]: [usize; 2],
        [one, two]: [&Laid; 2],
        mut best: ([usize; 2], Look),
    ) -> ([usize; 2], Look) {
        let beside = |laid: &Laid, way: usize| -> Vec<usize> {
            let Some(line) = laid.lines[way] else { return vec![way] };
            let near = |other: &usize| {
                laid.lines
                    .get(*other)
                    .copied()
                    .flatten()
                    .is_some_and(|o| o.at.abs_diff(line.at) <= 1)
            };
            (way.saturating_sub(1)..=way + 1).filter(near).collect()
        };
        let [first, second] = best.0;
        for first in beside(one, first) {
            for second in beside(two, second) {
                let look = self.at(self.ways.places[a][first], self.ways.places[b][second]);
                if look.log > best.1.log {
                    best = ([first, second], look);
                }
            }
        }
        best
    }

    /// What the graduations of both do to the colour of the middle cell.
    fn colour(&self, drawn: &Drawn, [one, two]: [(usize, usize); 2]) -> [f64; 2] {
        let edges = [drawn.edge(one.0, one.1), drawn.edge(two.0, two.1)];
        if edges == [None; 2] || one == two {
            return [0.0; 2];
        }
        let at = |edge: Option<&[f32]>, cell: usize| edge.map_or(0.0, |edge| f64::from(edge[cell]));
        [0, 1].map(|c| {
            let casts = [drawn.of[one.0].cast[c], drawn.of[two.0].cast[c]];
            let places = self.known.iter().zip(&self.before);
            let steps = places.map(|(&here, &before)| {
                casts[1] * at(edges[1], here) - casts[0] * at(edges[0], before)
            });
            median(steps).unwrap_or(0.0)
        })
    }
}

fn look(left: &mut Vec<f32>) -> Look {
    if !left.iter().all(|l| l.is_finite()) {
        left.retain(|l| l.is_finite());
    }
    let Some(middle) = middle(left) else { return Look { log: f64::NEG_INFINITY, middle: 0.0 } };
    Look { log: agreement(left, middle), middle: f64::from(middle) }
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

fn finite(map: &[f32]) -> impl Iterator<Item = f64> + '_ {
    map.iter().filter(|m| m.is_finite()).map(|&m| f64::from(m))
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
mod tests;
