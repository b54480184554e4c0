//! Two lamps, one from each side of the wall: at one time of the dial one of them, both, the other, and
//! none, in any order. Which frames of a wall those are, and what they show, part by part of the frame. They
//! are no light level along the dial.

use crate::levels::{DOUBT_DARK, FULL_SCALE_14_BIT, LevelFrame};
use crate::measure::fit::superposed::{LitPart, Superposition};
use crate::quantity::{FNumber, Iso, Seconds};

/// Frames of one light lie this close to the first of them, stops, all over the frame: lamps that flicker a
/// little fit in (ours).
const ONE_LIGHT: f64 = 0.1;
/// The sum is met to this share everywhere: what times of one dial differ by, and a little light from
/// elsewhere; and to so many counts at 14 bit, by which black may differ from the files' (ours).
const SUM: f64 = 0.03;
const BLACK_OFF: f64 = 8.0;
/// In the middle alone, as a share of both, before the rest is looked at: the middle may clip at once (ours).
const OFF_IN_MIDDLE: f64 = 0.2;
/// So many times what black may be off by tell where light lies (ours: it makes a twentieth of a stop of it).
const CLEAR: f64 = 32.0;
/// Both lamps give so many times the light of either in the middle (ours).
const MORE: f64 = 1.2;
/// The light of two lamps lies otherwise across the frame, so that somewhere the one gives this many stops
/// more of it than elsewhere (ours): one lamp at half its power does not.
const OTHERWISE: f64 = 0.2;
/// Frames without light show so many times less than both lamps, and are taken within so many minutes of them
/// (ours).
const COVERED: f64 = 24.0;
const NEAR_MINUTES: f64 = 10.0;
/// Light from elsewhere that stays when both are covered is so many times less than with both (ours: more of
/// it, and two lamps tell little); such frames are alike up to a tenth of it.
const STAYS: f64 = 4.0;
/// They are shot one after the other: so many frames from the first to the last, at most (ours: five of each
/// light at four times).
const BETWEEN: usize = 60;
/// Sums that are met as well up to this share are told apart by where their frames stand (ours: lamps that
/// flicker a little fit in).
const AS_WELL: f64 = 0.005;
/// So much of the frame must not be clipped, for the sum to tell anything (ours).
const LEAST_SEEN: f64 = 0.25;
/// Parts across and down of what lights are held against each other in (ours: enough for the shape, and so
/// large that no light changes much within one).
const PARTS: (usize, usize) = (6, 4);
/// A part that is brighter than this share of full scale may be clipped somewhere (ours: noise and shading
/// within a part fit above).
const NEAR_TOP: f64 = 0.85;
/// Black may have moved since frames without light: standard uncertainty over that of a frame beside its own
/// dark ones (ours).
const MOVED: f64 = 2.0;
/// A part that shows fewer counts than so many uncertainties of black tells nothing.
const ABOVE_BLACK: f64 = 50.0;

/// A frame as its light is seen at first.
pub struct SeenLight<'a> {
    /// Time, aperture and ISO.
    pub exposure: (Seconds, Option<FNumber>, Option<Iso>),
    /// Middle of the exposure, minutes from the first frame.
    pub minutes: f64,
    /// log2 of its light per block, stops, NaN where dark.
    pub map: &'a [f64],
    /// The same in the centre, stops.
    pub centre: f64,
    /// Counts above black there.
    pub level: f64,
    /// Counts above black at full scale.
    pub full_scale: f64,
    /// Whether it may be of a lit wall.
    pub is_lit: bool,
    /// Whether it may be of the wall with the lamps covered: what is left out by itself is not.
    pub may_be_unlit: bool,
}

impl SeenLight<'_> {
    /// Counts above black per block.
    fn counts(&self) -> Vec<f64> {
        self.map.iter().map(|map| self.level * (map - self.centre).exp2()).collect()
    }
}

/// Frames of two lamps at one time, by their number.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OfLamps {
    /// Of the one, of the other, and of both.
    pub lit: [Vec<usize>; 3],
    /// With both covered.
    pub unlit: Vec<usize>,
}

impl OfLamps {
    /// How many are used: those that are lit, where frames of none go with them.
    pub fn used(&self) -> usize {
        if self.unlit.is_empty() { 0 } else { self.lit.iter().map(Vec::len).sum() }
    }
    /// All of them.
    pub fn frames(&self) -> impl Iterator<Item = usize> + '_ {
        self.lit.iter().chain(std::iter::once(&self.unlit)).flatten().copied()
    }
}

/// Frames of one light, and what the first of them shows.
struct OneLight<'a> {
    frames: Vec<usize>,
    map: &'a [f64],
}

/// All frames of two lamps among a wall's, one of each time and series. Where no frame shows what else lights the wall,
/// `unlit` is empty.
#[must_use]
pub fn found(seen: &[SeenLight<'_>]) -> Vec<OfLamps> {
    let mut done: Vec<usize> = Vec::new();
    let mut all = Vec::new();
    for (i, first) in seen.iter().enumerate() {
        if done.contains(&i) {
            continue;
        }
        let alike: Vec<usize> =
            (i..seen.len()).filter(|k| seen[*k].exposure == first.exposure).collect();
        all.extend(at_one_time(seen, &alike));
        done.extend(alike);
    }
    all
}

/// Each series of one time: lamps may be shot again after the wall.
fn at_one_time(seen: &[SeenLight<'_>], alike: &[usize]) -> Vec<OfLamps> {
    let mut lit = lights(seen, alike, |frame| frame.is_lit);
    let mut dim = lights(seen, alike, |frame| frame.may_be_unlit);
    let mut series: Vec<OfLamps> = Vec::new();
    while let Some(sum) = adds_up(seen, &lit, &[]).or_else(|| adds_up(seen, &lit, &dim)) {
        let unlit = sum.none.map_or_else(Vec::new, |none| dim[none].frames.clone());
        let of = OfLamps { lit: sum.lit.map(|light| lit[light].frames.clone()), unlit };
        let is_free =
            |light: &OneLight<'_>| of.frames().all(|frame| !light.frames.contains(&frame));
        lit.retain(is_free);
        dim.retain(is_free);
        series.push(of);
    }
    // The nearest first, since the others are held against it.
    let mut dark: Vec<usize> = alike.iter().copied().filter(|i| seen[*i].may_be_unlit).collect();
    dark.sort_by_key(|i| series.iter().map(|lamps| away(lamps, *i)).min());
    for i in dark {
        let goes_with = |lamps: &&mut OfLamps| is_unlit(seen, i, lamps);
        let nearest = series.iter_mut().filter(goes_with).min_by_key(|lamps| away(lamps, i));
        if let Some(lamps) = nearest {
            lamps.unlit.push(i);
        }
    }
    series.iter_mut().for_each(|lamps| lamps.unlit.sort_unstable());
    series
}

/// The first and the last frame of a light that lies otherwise than one of its time close by that is as bright or
/// brighter, where none of that time add up: they may have been meant as two lamps.
#[must_use]
pub fn unsummed(seen: &[SeenLight<'_>], found: &[OfLamps]) -> Option<(usize, usize)> {
    let is_told = |i: usize| found.iter().flat_map(OfLamps::frames).any(|frame| frame == i);
    let lit: Vec<usize> = (0..seen.len()).filter(|i| seen[*i].is_lit).collect();
    let told: Vec<usize> = lit.iter().copied().filter(|i| is_told(*i)).collect();
    let summed = |i: usize| told.iter().any(|t| seen[*t].exposure == seen[i].exposure);
    let is_one_of_two = |i: &usize| {
        let close = |k: &&usize| i.abs_diff(**k) <= BETWEEN;
        let both = |k: &usize| {
            let times = seen[*k].level / seen[*i].level;
            seen[*k].exposure == seen[*i].exposure
                && (1.0 / MORE..STAYS).contains(&times)
                && lies_otherwise(&seen[*k], &seen[*i])
        };
        lit.iter().filter(close).any(both)
    };
    let mut all = lit.iter().copied().filter(|i| !summed(*i)).filter(is_one_of_two);
    let first = all.next()?;
    Some((first, all.next_back().unwrap_or(first)))
}

/// Whether the one gives somewhere so much more of the other than elsewhere that they are two lamps', where neither
/// may be clipped nor so faint that black or noise makes another shape.
fn lies_otherwise(a: &SeenLight<'_>, b: &SeenLight<'_>) -> bool {
    let clear = |counts: f64| {
        let black = CLEAR * BLACK_OFF * a.full_scale / FULL_SCALE_14_BIT;
        (black..NEAR_TOP * a.full_scale).contains(&counts)
    };
    let (a, b) = (a.counts(), b.counts());
    let both = || a.iter().zip(&b).filter(|(a, b)| clear(**a) && clear(**b));
    let apart = || both().map(|(a, b)| (a / b).log2());
    apart().fold(f64::MIN, f64::max) - apart().fold(f64::MAX, f64::min) > OTHERWISE
}

/// How many frames one lies from the nearest that is lit.
fn away(lamps: &OfLamps, i: usize) -> usize {
    lamps.lit.iter().flatten().map(|lit| lit.abs_diff(i)).min().unwrap_or(usize::MAX)
}

/// Whether a frame shows the wall with both covered, as those that are known to, where there are any.
fn is_unlit(seen: &[SeenLight<'_>], i: usize, lamps: &OfLamps) -> bool {
    let minutes = || lamps.lit.iter().flatten().map(|i| seen[*i].minutes);
    let (from, to) = (minutes().fold(f64::MAX, f64::min), minutes().fold(f64::MIN, f64::max));
    let near = (from - NEAR_MINUTES..=to + NEAR_MINUTES).contains(&seen[i].minutes);
    let (level, both) = (seen[i].level.abs(), seen[lamps.lit[2][0]].level);
    let is_free = lamps.frames().all(|frame| frame != i);
    near && is_free
        && match lamps.unlit.first() {
            Some(known) => (level - seen[*known].level).abs() * STAYS < both * SUM,
            None => COVERED * level < both,
        }
}

/// Which lights add up: by their numbers, those that are lit, and what stays when both lamps are covered.
struct Sum {
    lit: [usize; 3],
    none: Option<usize>,
}

/// One light, another, and both, above what stays of `dim` where there is any. A wall may be nearly as bright,
/// and as even, as under both lamps: the best sum tells. Where it is lit by both itself any sum does, and those
/// that stand closest are the lamps'.
fn adds_up(seen: &[SeenLight<'_>], lit: &[OneLight<'_>], dim: &[OneLight<'_>]) -> Option<Sum> {
    let n = lit.len();
    let pairs = (0..n).flat_map(|a| (a + 1..n).map(move |b| (a, b)));
    let triples = pairs.flat_map(|(a, b)| (0..n).map(move |both| [a, b, both]));
    let span = |of: &Sum| {
        let none = of.none.map(|none| &dim[none]);
        let all = || of.lit.iter().map(|light| &lit[*light]).chain(none).flat_map(|l| &l.frames);
        all().max().zip(all().min()).map_or(usize::MAX, |(last, first)| last - first)
    };
    let with = |of: [usize; 3]| {
        let none = (0..dim.len()).map(Some).chain(dim.is_empty().then_some(None));
        none.map(move |none| Sum { lit: of, none })
    };
    let near = |of: &[usize; 3]| span(&Sum { lit: *of, none: None }) <= BETWEEN;
    let off = |of: Sum| {
        let none = of.none.map(|none| &seen[dim[none].frames[0]]);
        Some((off_their_sum(of.lit.map(|light| &seen[lit[light].frames[0]]), none)?, of))
    };
    let sums: Vec<(f64, Sum)> = triples
        .filter(near)
        .flat_map(with)
        .filter(|of| span(of) <= BETWEEN)
        .filter_map(off)
        .collect();
    let best = sums.iter().map(|(off, _)| *off).fold(f64::INFINITY, f64::min);
    let as_good = sums.into_iter().filter(|(off, _)| *off < best + AS_WELL);
    let closest = as_good.min_by(|a, b| span(&a.1).cmp(&span(&b.1)).then(a.0.total_cmp(&b.0)));
    closest.map(|(_, of)| of)
}

/// Frames that follow each other in one light.
fn lights<'a>(
    seen: &[SeenLight<'a>],
    alike: &[usize],
    of: impl Fn(&SeenLight<'_>) -> bool,
) -> Vec<OneLight<'a>> {
    let mut lights: Vec<OneLight<'a>> = Vec::new();
    for &i in alike.iter().filter(|i| of(&seen[**i])) {
        let map = seen[i].map;
        let follows = |light: &&mut OneLight<'_>| {
            light.frames.last() == i.checked_sub(1).as_ref() && most(light.map, map) < ONE_LIGHT
        };
        match lights.last_mut().filter(follows) {
            Some(light) => light.frames.push(i),
            None => lights.push(OneLight { frames: vec![i], map }),
        }
    }
    lights
}

/// By how many stops two maps differ at most; infinite where they share nothing.
fn most(a: &[f64], b: &[f64]) -> f64 {
    let apart = a.iter().zip(b).map(|(a, b)| (a - b).abs()).filter(|stops| stops.is_finite());
    apart.reduce(f64::max).unwrap_or(f64::INFINITY)
}

/// By how much both differ in the mean, as a share, from the sum of one light and another that lies otherwise,
/// each above what stays when both are covered; `None` where they are no sum.
fn off_their_sum(
    [one, other, both]: [&SeenLight<'_>; 3],
    none: Option<&SeenLight<'_>>,
) -> Option<f64> {
    let slack = BLACK_OFF * both.full_scale / FULL_SCALE_14_BIT;
    let stays = none.map_or(0.0, |none| none.level);
    if STAYS * stays > both.level
        || (one.level + other.level - stays - both.level).abs() > OFF_IN_MIDDLE * both.level + slack
    {
        return None;
    }
    let [a, b, sum] = [one, other, both].map(SeenLight::counts);
    // Where it is as good as dark its map tells nothing.
    let elsewhere = none.map(SeenLight::counts).unwrap_or_default();
    let stays = |i: usize| elsewhere.get(i).copied().filter(|c| c.is_finite()).unwrap_or(stays);
    let seen: Vec<[f64; 3]> = (0..sum.len())
        .filter(|i| sum[*i] < NEAR_TOP * both.full_scale)
        .map(|i| [a[i], b[i], sum[i]].map(|counts| counts - stays(i)))
        .filter(|counts| counts.iter().all(|c| *c > 0.0))
        .collect();
    if (seen.len() as f64) < LEAST_SEEN * sum.len() as f64 {
        return None;
    }
    let off = |[a, b, sum]: &[f64; 3]| (a + b - sum).abs();
    let adds_up = seen.iter().all(|counts| off(counts) < SUM * counts[2] + slack);
    let apart = || seen.iter().map(|[a, b, _]| (a / b).log2());
    let widest = apart().fold(f64::MIN, f64::max) - apart().fold(f64::MAX, f64::min);
    let is_more = both.level > MORE * one.level.max(other.level);
    let total: f64 = seen.iter().map(|counts| counts[2]).sum();
    (adds_up && is_more && widest > OTHERWISE).then(|| seen.iter().map(off).sum::<f64>() / total)
}

/// What frames of one light, of the other, of both and of none show.
#[must_use]
pub fn superposed(lit: [&[LevelFrame]; 3], unlit: &[LevelFrame], full_scale: f64) -> Superposition {
    let unlit = mean(unlit);
    let [one, other, both] = lit.map(|frames| {
        mean(frames).iter().zip(&unlit).map(|(lit, none)| lit - none).collect::<Vec<f64>>()
    });
    let black = MOVED * DOUBT_DARK * full_scale / FULL_SCALE_14_BIT;
    let good = |level: f64| level > ABOVE_BLACK * black && level < NEAR_TOP * full_scale;
    let parts = (0..both.len())
        .map(|i| LitPart { levels: [one[i], other[i], both[i]], at: at(i) })
        .filter(|part| part.levels.iter().all(|level| good(*level)));
    Superposition { parts: parts.collect(), black }
}

/// Means of frames over the parts.
fn mean(frames: &[LevelFrame]) -> Vec<f64> {
    let mut sum = vec![0.0; PARTS.0 * PARTS.1];
    for frame in frames {
        let blocks = frame.blocks(1, PARTS.0, PARTS.1);
        sum.iter_mut().zip(blocks).for_each(|(sum, block)| *sum += block);
    }
    sum.into_iter().map(|sum| sum / frames.len() as f64).collect()
}

/// Middle of a part, right and down, in halves of the frame.
fn at(part: usize) -> [f64; 2] {
    let of = |index: usize, parts: usize| (2.0 * index as f64 + 1.0) / parts as f64 - 1.0;
    [of(part % PARTS.0, PARTS.0), of(part / PARTS.0, PARTS.1)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::cfa::Plane;
    use crate::levels::{BlackSource, PlaneLevels};

    /// Columns of the frame under a lamp from the left, and from the right.
    const LEFT: [f64; 6] = [1.5, 1.3, 1.1, 0.9, 0.7, 0.5];
    const RIGHT: [f64; 6] = [0.5, 0.7, 0.9, 1.1, 1.3, 1.5];
    const EVEN: [f64; 6] = [1.0; 6];
    const NONE: (f64, [f64; 6]) = (20.0, EVEN);
    const BOTH: (f64, [f64; 6]) = (10_000.0, EVEN);
    const ONE: (f64, [f64; 6]) = (5000.0, LEFT);
    const OTHER: (f64, [f64; 6]) = (5000.0, RIGHT);

    /// Two frames of each of these lights.
    fn told(lights: &[(f64, [f64; 6])]) -> Vec<OfLamps> {
        shot(lights, found)
    }

    fn shot<T>(lights: &[(f64, [f64; 6])], of: impl Fn(&[SeenLight<'_>]) -> T) -> T {
        let frames = lights.iter().flat_map(|light| [*light; 2]);
        let maps: Vec<(f64, Vec<f64>)> = frames
            .map(|(level, across)| (level, across.map(|share| (level * share).log2()).to_vec()))
            .collect();
        let seen: Vec<SeenLight<'_>> = maps
            .iter()
            .enumerate()
            .map(|(n, (level, map))| SeenLight {
                exposure: (Seconds::new(1.0 / 64.0), None, None),
                minutes: n as f64,
                map,
                centre: level.log2(),
                level: *level,
                full_scale: 16_000.0,
                is_lit: true,
                may_be_unlit: true,
            })
            .collect();
        of(&seen)
    }

    #[test]
    fn one_lamp_both_the_other_and_none_are_told_in_any_order() {
        // Beside frames of the wall at that time, under one lamp that is nearly as bright as both.
        let wall = (10_100.0, [1.0, 1.0, 1.0, 1.0, 1.0, 1.02]);
        assert_eq!(
            told(&[wall, ONE, BOTH, OTHER, NONE]),
            [OfLamps { lit: [vec![2, 3], vec![6, 7], vec![4, 5]], unlit: vec![8, 9] }]
        );
        assert_eq!(
            told(&[NONE, BOTH, OTHER, ONE, wall, BOTH]),
            [OfLamps { lit: [vec![4, 5], vec![6, 7], vec![2, 3]], unlit: vec![0, 1] }]
        );
    }

    /// Near the lamps both together clip, and the middle alone tells that they add up.
    #[test]
    fn sides_that_clip_are_not_held_against_the_sum() {
        let left = [1.9, 1.5, 1.0, 0.8, 0.6, 0.5];
        let right = [0.5, 0.6, 0.8, 1.0, 1.5, 1.9];
        let both =
            [2.4_f64, 2.1, 1.8, 1.8, 2.1, 2.4].map(|sum| (sum * 7000.0).min(16_000.0) / 14_000.0);
        let found = told(&[(7000.0, left), (14_000.0, both), (7000.0, right), NONE]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].lit[2], [2, 3]);
    }

    #[test]
    fn lights_that_are_no_two_lamps_are_none() {
        let none: [&[(f64, [f64; 6])]; 4] = [
            // They do not add up; one lamp at half its power; both dimmed.
            &[(4000.0, LEFT), BOTH, OTHER, NONE],
            &[ONE, (10_000.0, LEFT), ONE, NONE],
            &[BOTH, (6000.0, RIGHT), BOTH, NONE],
            // What is nearly dark is no lamp.
            &[ONE, (120.0, EVEN), ONE],
        ];
        for lights in none {
            assert_eq!(told(lights), []);
        }
    }

    /// A room that is not dark gives an eighth of the light, unevenly, in all frames alike: with both covered
    /// it is far from black, and the sum of two lamps counts it twice.
    #[test]
    fn light_that_stays_when_both_are_covered_is_taken_off_before_they_are_summed() {
        let room = [300.0, 400.0, 600.0, 800.0, 1000.0, 1100.0];
        let in_room = |(level, across): (f64, [f64; 6])| {
            let all: [f64; 6] = std::array::from_fn(|i| level * across[i] + room[i]);
            let mean = all.iter().sum::<f64>() / 6.0;
            (mean, all.map(|counts| counts / mean))
        };
        let none = in_room((0.0, EVEN));
        let [one, both, other] = [ONE, BOTH, OTHER].map(in_room);
        let lamps = [OfLamps { lit: [vec![0, 1], vec![4, 5], vec![2, 3]], unlit: vec![6, 7] }];
        assert_eq!(told(&[one, both, other, none]), lamps);
        // A wall as bright as one of them, and frames of a capped lens, are no part of it.
        let wall = (5200.0, EVEN);
        let capped = (1.0, EVEN);
        assert_eq!(told(&[one, both, other, none, wall, capped]), lamps);
    }

    #[test]
    fn one_lamp_covered_twice_is_named_and_a_dimmed_wall_is_not() {
        let named = |lights: &[(f64, [f64; 6])]| shot(lights, |seen| unsummed(seen, &found(seen)));
        assert_eq!(named(&[ONE, BOTH, ONE, NONE]), Some((0, 5)));
        assert_eq!(named(&[ONE, BOTH, NONE]), Some((0, 1)));
        assert_eq!(named(&[ONE, BOTH, OTHER, NONE]), None);
        assert_eq!(named(&[ONE, OTHER, NONE]), Some((0, 3)));
        assert_eq!(named(&[BOTH, (5000.0, EVEN), BOTH, (1250.0, LEFT)]), None);
        // Seven counts of black lie otherwise on a wall that is dimmed by a stop to a hundred.
        let faint = (100.0, [1.1, 1.1, 1.1, 0.93, 0.93, 0.93]);
        assert_eq!(named(&[(200.0, EVEN), faint]), None);
        // The bright side of a wall clips before it is dimmed.
        let clips = (10_000.0, [1.45, 1.2, 1.0, 0.8, 0.5, 0.4]);
        assert_eq!(named(&[clips, (5000.0, [1.8, 1.2, 1.0, 0.8, 0.5, 0.4])]), None);
    }

    /// Dark frames of that time an hour later are those of the capped lens.
    #[test]
    fn without_frames_that_are_unlit_there_are_none_of_them() {
        let wall: Vec<(f64, [f64; 6])> = vec![(1000.0, EVEN); 30];
        let lights = [vec![ONE, BOTH, OTHER], wall, vec![NONE]].concat();
        let told = told(&lights);
        assert_eq!(told.len(), 1);
        assert!(told[0].unlit.is_empty());
    }

    fn levels(level: f64, across: [f64; 6]) -> [LevelFrame; 1] {
        let cells = (0..24).map(|i| level * across[i % 6]).collect();
        [LevelFrame {
            columns: 6,
            rows: 4,
            side: 16,
            size: (96, 64),
            planes: vec![PlaneLevels {
                plane: Plane::Green1,
                level: cells,
                pixels: vec![64.0; 24],
            }],
            centre_cells: vec![(8, 0.5), (9, 0.5)],
            black: BlackSource::DarkFrames,
            black_doubt: 0.1,
        }]
    }

    #[test]
    fn light_from_elsewhere_is_taken_off_and_parts_that_may_be_clipped_are_left_out() {
        let shown = |brighter: f64| {
            let of = |(level, across): (f64, [f64; 6])| levels(brighter * level, across);
            let (one, other, both) = (of(ONE), of(OTHER), of(BOTH));
            superposed([&one, &other, &both], &levels(20.0, EVEN), 16_000.0)
        };
        let told = shown(1.0);
        assert_eq!(told.parts.len(), 24);
        assert_eq!(told.parts[0].levels, [7480.0, 2480.0, 9980.0]);
        assert_eq!(told.parts[5].levels, [2480.0, 7480.0, 9980.0]);
        assert!((told.parts[0].at[0] + 5.0 / 6.0).abs() < 1e-12);
        assert_eq!(shown(1.6).parts, []);
    }
}
