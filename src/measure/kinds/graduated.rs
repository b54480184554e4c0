//! A graduated filter: strength from end to end, width, centre line and angle of the graduation.
//!
//! There is no standard for hard and soft; the limits below are ours.

mod course;
mod curve;
mod edge;

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::least_squares;
use crate::numerics::robust::between;
use crate::profile::{DARKEST_AT_LINE, Gains, Graduation};
use crate::quantity::{Degrees, Percent, Ratio, Stops};
use course::{Course, Ends};
use edge::{Costed, HOPELESS, Spot};
use std::collections::BTreeMap;

/// Up to this width from 10 to 90 %, in percent of the height, an edge is hard.
pub const HARD_PERCENT: f64 = 10.0;
/// Up to this width it is medium, beyond it soft.
pub const MEDIUM_PERCENT: f64 = 25.0;
/// From this share of the strength lost half a height beyond its darkest place a filter is darkest at
/// the line.
const FADING: f64 = 0.15;
/// Steps of the profile across the line, in percent of the height.
const STEP_PERCENT: f64 = 2.0;
/// Lines steeper than this cross the vertical middle too far away to be told, cosine.
const UPRIGHT: f64 = 0.1;

/// A light whose pattern changes by up to 3 % (0.043 stop) between runs shifts one end against the
/// other by half of that at most, a rectangle: standard uncertainty in stops (ours).
const UNSEEN_CHANGE: f64 = 0.0124;
/// What lies beyond the frame of a graduation is told by the form of its curve alone, of which makers
/// know many: standard uncertainty as a share of it (ours).
const BEYOND_FRAME: f64 = 1.0;
/// Standard deviation of what lies anywhere within half a cell, in cells.
const WITHIN_CELL: f64 = 0.144_337_567_297_406;
/// A difference of two ends.
const TWO_ENDS: f64 = 2.0;
/// Two standard uncertainties.
const COVERAGE: f64 = 2.0;
/// So many cells tell the dark half's cast.
const ENOUGH_DARK: usize = 10;

/// An edge is worth a look from this step on, in stops (ours).
pub const LEAST_STEP: f64 = 0.3;
/// The edge leaves less than this share of the squares that even darkening leaves (ours).
const LEFT_OVER: f64 = 0.15;
/// Either side of the half covers this share of the frame at least: less is a mount at the frame's
/// edge (ours).
const EITHER_SIDE: f64 = 0.12;

/// What is darkest at the line keeps this share of its strength in the frame at least (ours).
const KEPT: f64 = 0.25;

/// Whether there is an edge at all is asked of so many averages of cells at least (ours).
const ENOUGH_PLACES: usize = 250;

/// An edge in a map that ought to be even.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recognised {
    /// How much darker one end is.
    pub step: Stops,
    /// The other end against the frame's centre.
    pub clear: Stops,
}

/// Whether the cells of a map, or of what changed of it, show one edge through most of the frame, of
/// this step at least in stops. Where light may lean from one side to the other, an edge must
/// explain more than that does.
#[must_use]
pub fn recognise(
    map: &RatioMap,
    cells: &[Option<f64>],
    least_step: f64,
    light_leans: bool,
) -> Option<Recognised> {
    let (spots, side) = averaged(map, cells);
    let known = spots.iter().map(|s| s.stops);
    if between(known, [0.02, 0.98])? < least_step {
        return None;
    }
    let edge = edge::roughly(&spots, side, map.noise[GREEN])?;
    let course = Course::of(&edge, &spots, side)?;
    let [lightest, darkest] = course.shown()?;
    let step = darkest - lightest;
    // A lean of the light bends as the end of an edge does whose half lies beyond the frame.
    let half = if light_leans { 0.0 } else { course.half_of_shown(KEPT)? };
    let is_beyond = |s: &&Spot| edge.distance(s) > half;
    let beyond = spots.iter().filter(is_beyond).count() as f64;
    let share = beyond / spots.len() as f64;
    // Makers know more curves than one, but none that is not the same all along its line; a lean of
    // the light is, too, so there the curve itself has to explain it.
    let left_over = |s: &Spot| {
        if light_leans { s.stops - edge.cell_stops(s, side) } else { course.left_over(s, side) }
    };
    let after: f64 = spots.iter().map(|s| left_over(s).powi(2)).sum();
    let before = squares_left(&spots, light_leans)?;
    (step > least_step
        && (EITHER_SIDE..1.0 - EITHER_SIDE).contains(&share)
        && after < LEFT_OVER * before)
        .then_some(Recognised { step: Stops::new(step), clear: Stops::new(lightest) })
}

/// Squares that even darkening and, where light leans, a tilt leave over.
fn squares_left(spots: &[Spot], light_leans: bool) -> Option<f64> {
    let terms = |s: &Spot| {
        let r2 = s.x * s.x + s.y * s.y;
        [1.0, r2, r2 * r2, s.x, s.y]
    };
    let (rows, values): (Vec<_>, Vec<_>) = spots.iter().map(|s| (terms(s), s.stops)).unzip();
    let weights = vec![1.0; values.len()];
    let mut fit = least_squares::weighted(&rows, &values, &weights)?;
    if !light_leans {
        // what tilt there is counts as left over
        fit.coefficients[3..].fill(0.0);
    }
    Some(rows.iter().zip(&values).map(|(row, v)| (v - fit.at(row)).powi(2)).sum())
}

fn frame_height(map: &RatioMap) -> f64 {
    2.0 * map.half_sides().1
}

/// Known cells by number, with their places in frame heights.
fn known(map: &RatioMap, cells: &[Option<f64>]) -> impl Iterator<Item = (usize, Spot)> {
    let height = frame_height(map);
    cells.iter().enumerate().filter_map(move |(i, stops)| {
        let (x, y) = map.position(i);
        Some((i, Spot { x: x / height, y: y / height, stops: (*stops)? }))
    })
}

/// Averages over squares of cells of which half at least is known, with the side of a square in frame
/// heights; of small maps the cells themselves.
fn averaged(map: &RatioMap, cells: &[Option<f64>]) -> (Vec<Spot>, f64) {
    let side = (map.len() / ENOUGH_PLACES).isqrt().max(1);
    let mut squares = BTreeMap::<(usize, usize), Vec<Spot>>::new();
    for (cell, spot) in known(map, cells) {
        let square = (cell / map.columns / side, cell % map.columns / side);
        squares.entry(square).or_default().push(spot);
    }
    let mean = |spots: &Vec<Spot>| {
        let of = |part: fn(&Spot) -> f64| spots.iter().map(part).sum::<f64>() / spots.len() as f64;
        Spot { x: of(|s| s.x), y: of(|s| s.y), stops: of(|s| s.stops) }
    };
    let spots = squares.values().filter(|spots| 2 * spots.len() >= side * side).map(mean);
    (spots.collect(), side as f64 * map.cell() / frame_height(map))
}

/// What one curve makes of the map.
struct Told {
    course: Course,
    ends: Ends,
    figures: FiveFigures,
    /// Of the figures: standard uncertainties from the ends, the light and the cells.
    doubts: FiveFigures,
}

/// Dark end minus clear end and clear end in stops; width and place of the half across the line in
/// heights; angle of the line in radians.
type FiveFigures = [f64; 5];

/// What a map tells by an edge, beside a strength in the centre of this uncertainty in stops.
fn told(edge: &edge::Edge, spots: &[Spot], map: &RatioMap, centre_u: f64) -> Option<Told> {
    let side = map.cell() / frame_height(map);
    let course = Course::of(edge, spots, side)?;
    let ends = course.ends()?;
    let [tenth, half, nine] = course.crossings(ends.clear, ends.dark);
    let edge = &course.edge;
    let place = edge.centre + edge.side * half.distance;
    let figures =
        [ends.dark - ends.clear, ends.clear, nine.distance - tenth.distance, place, edge.angle];
    let light = UNSEEN_CHANGE.hypot(map.noise[GREEN]);
    let [clear_u, dark_u] = ends.unseen.map(|unseen| light.hypot(BEYOND_FRAME * unseen));
    // Where a cell's light lies within it is told to a part of the cell.
    let cell = side * WITHIN_CELL;
    let moved = |share: f64, slope: f64| ((1.0 - share) * clear_u).hypot(share * dark_u) / slope;
    let [low, middle, high] =
        [(0.1, tenth), (0.5, half), (0.9, nine)].map(|(s, c)| moved(s, c.slope));
    let along = along_line(spots, edge.angle);
    let turned = (TWO_ENDS * light / half.slope).hypot(cell * (12.0 * side / along).sqrt()) / along;
    let dark_and_clear = BEYOND_FRAME * ends.unseen[0].hypot(ends.unseen[1]);
    let doubts = [
        light.hypot(dark_and_clear),
        clear_u.hypot(centre_u),
        low.hypot(high).hypot(cell),
        middle.hypot(cell),
        turned,
    ];
    Some(Told { course, ends, figures, doubts })
}

/// How far the cells reach along the line, in heights.
fn along_line(spots: &[Spot], angle: f64) -> f64 {
    let (sin, cos) = angle.sin_cos();
    let places = || spots.iter().map(|s| s.x * cos + s.y * sin);
    places().fold(f64::NEG_INFINITY, f64::max) - places().fold(f64::INFINITY, f64::min)
}

/// How far the figures would be others were the curve of another form, standard uncertainties: a form that
/// leaves more squares says less.
fn of_form(best: &Told, least: f64, others: &[(Told, f64)]) -> FiveFigures {
    let mut squares = [0.0; 5];
    let mut weights = 0.0;
    for (other, cost) in others {
        let weight = if *cost > 0.0 { least / cost } else { 1.0 };
        weights += weight;
        for (k, square) in squares.iter_mut().enumerate() {
            *square += weight * (other.figures[k] - best.figures[k]).powi(2);
        }
    }
    squares.map(|square: f64| if weights > 0.0 { (square / weights).sqrt() } else { 0.0 })
}

/// Describes a graduation from its map and the strengths of red, green and blue in the frame's
/// centre, in stops, that of green with its standard uncertainty. `None` where nothing is known or no
/// edge can be fitted.
#[must_use]
pub fn graduation(map: &RatioMap, centre: [f64; 3], centre_u: Stops) -> Option<Graduation> {
    let centre_stops = centre[GREEN];
    let height = frame_height(map);
    let spots: Vec<Spot> = known(map, map.green()).map(|(_, spot)| spot).collect();
    let ((edge, least), all) = edge::fit(&spots, map.cell() / height, map.noise[GREEN])?;
    let by = |(edge, cost): &Costed| Some((told(edge, &spots, map, centre_u.get())?, *cost));
    let best = by(&(edge, least))?.0;
    let near = all.iter().filter(|(_, cost)| *cost <= HOPELESS * least);
    let others: Vec<(Told, f64)> = near.filter_map(by).collect();
    let form = of_form(&best, least, &others);
    let u95: FiveFigures = std::array::from_fn(|k| COVERAGE * best.doubts[k].hypot(form[k]));
    let [dark_end, clear, width, place, angle] = best.figures;
    // An upright line never meets the vertical middle; its distance from the centre stands for it.
    let cosine = angle.cos();
    let upright = if cosine.abs() < UPRIGHT { 1.0 } else { cosine };
    Some(Graduation {
        dark_end_stops: Stops::new(dark_end),
        dark_end_u95: Some(Stops::new(u95[0])),
        clear_end_stops: Stops::new(centre_stops + clear),
        clear_end_u95: Some(Stops::new(u95[1])),
        width_percent_of_height: Percent::new(100.0 * width),
        width_u95: Some(Percent::new(100.0 * u95[2])),
        centre_percent_of_height: Percent::new(50.0 - 100.0 * place / upright),
        centre_u95: Some(Percent::new(100.0 * u95[3] / upright.abs())),
        angle: Degrees::new(line(angle.to_degrees())),
        angle_u95: Some(Degrees::new(u95[4].to_degrees())),
        shape: shape(width, best.ends.fading).to_owned(),
        dark_half_gains: dark_half(map, &best, centre),
        corner_darkening_stops: Some(Stops::new(best.course.edge.darkening_at(1.0 / height))),
        profile: profile(&spots, angle, centre_stops),
    })
}

/// Raw multipliers that undo the mean cast beyond nine tenths of the change.
fn dark_half(map: &RatioMap, told: &Told, centre: [f64; 3]) -> Option<Gains> {
    let height = frame_height(map);
    let (course, ends) = (&told.course, &told.ends);
    let [_, _, nine] = course.crossings(ends.clear, ends.dark);
    let against_green = |channel: usize| {
        let known = (0..map.len()).filter_map(|i| {
            let (x, y) = map.position(i);
            let green = map.green()[i]?;
            let spot = Spot { x: x / height, y: y / height, stops: green };
            let extra = map.stops[channel][i]? - green;
            (course.edge.distance(&spot) >= nine.distance)
                .then_some(extra + centre[channel] - centre[GREEN])
        });
        let known: Vec<f64> = known.collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        (known.len() >= ENOUGH_DARK).then(|| Ratio::new(mean.exp2()))
    };
    Some(Gains { red: against_green(0)?, green: Ratio::new(1.0), blue: against_green(2)? })
}

/// The direction of a line: -90 < a <= 90.
fn line(degrees: f64) -> f64 {
    let turned = degrees.rem_euclid(180.0);
    if turned > 90.0 { turned - 180.0 } else { turned }
}

fn shape(width: f64, fading: f64) -> &'static str {
    let percent = 100.0 * width;
    if fading > FADING {
        DARKEST_AT_LINE
    } else if percent <= HARD_PERCENT {
        "hard"
    } else if percent <= MEDIUM_PERCENT {
        "medium"
    } else {
        "soft"
    }
}

/// Means of the light in strips along the line: percent of the height from the top, stops.
fn profile(spots: &[Spot], angle: f64, centre_stops: f64) -> Vec<[f64; 2]> {
    let strips = (100.0 / STEP_PERCENT) as usize;
    let mut sums = vec![(0.0, 0.0); strips];
    let (sin, cos) = angle.sin_cos();
    for spot in spots {
        let from_top = 0.5 - (spot.y * cos - spot.x * sin);
        let strip = (from_top * strips as f64).floor();
        if strip >= 0.0 && strip < strips as f64 {
            let (light, count) = &mut sums[strip as usize];
            *light += (-spot.stops).exp2();
            *count += 1.0;
        }
    }
    let at = |k: usize| (k as f64 + 0.5) * STEP_PERCENT;
    let known = sums.into_iter().enumerate().filter(|(_, (_, count))| *count > 0.0);
    known.map(|(k, (light, count))| [at(k), centre_stops - (light / count).log2()]).collect()
}
