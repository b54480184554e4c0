//! Dust and scratches: cells that stand out from their neighbourhood.

use crate::measure::map::{GREEN, RatioMap};
use crate::numerics::robust;

/// Half side of the window that a cell is compared with.
const NEAR: isize = 3;
/// Fewest opposite pairs of neighbours that a cell is judged by.
const LEAST_PAIRS: usize = 3;
/// Half side of the window that says how far cells deviate thereabouts.
const WIDE: isize = 6;
/// A speck deviates by this many times the noise of a cell.
const NOISE_LIMIT: f64 = 6.0;
/// And by this many times what nine tenths of the cells around deviate by.
const LOCAL_LIMIT: f64 = 3.0;
/// And by this many stops (ours).
const LEAST_STOPS: f64 = 0.03;
/// Cells next to a speck belong to it from this share of the limits.
const EDGE_SHARE: f64 = 0.4;

/// A group of cells that stands out.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundSpeck {
    /// The cells.
    pub cells: Vec<usize>,
    /// Centre from the frame's left edge, as a share of its width.
    pub x: f64,
    /// Centre from the frame's top edge, as a share of its height.
    pub y: f64,
    /// Extra stops of the cell that stands out most; negative where it is lighter.
    pub stops: f64,
}

/// Specks of the green map, strongest first.
///
/// A cell counts when it stands out from the median around it, more than cells thereabouts do,
/// and more than its mirror image through the frame's centre does: the arms of a dark cross and
/// the edge of a ring come in opposite pairs.
#[must_use]
pub fn find(map: &RatioMap) -> Vec<FoundSpeck> {
    let deviation = deviations(map);
    let limit = |i: usize| {
        let noise = NOISE_LIMIT * map.noise[GREEN];
        noise.max(LEAST_STOPS).max(LOCAL_LIMIT * usual(map, &deviation, i))
    };
    let mirrored = |i: usize| {
        let cells = window(map, map.len() - 1 - i, 1);
        cells.filter_map(|k| deviation[k]).map(f64::abs).fold(0.0, f64::max)
    };
    let seeds: Vec<usize> = (0..map.len())
        .filter(|&i| {
            deviation[i].is_some_and(|d| {
                let floor = NOISE_LIMIT * map.noise[GREEN];
                d.abs() > floor.max(LEAST_STOPS)
                    && d.abs() > limit(i)
                    && mirrored(i) < 0.5 * d.abs()
            })
        })
        .collect();
    let mut taken = vec![false; map.len()];
    let mut found: Vec<FoundSpeck> = Vec::new();
    for seed in seeds {
        if !taken[seed] {
            let cells = grow(map, &deviation, seed, &mut taken);
            found.push(describe(map, &deviation, cells));
        }
    }
    found.sort_by(|a, b| b.stops.abs().total_cmp(&a.stops.abs()));
    found
}

/// Each cell minus the median over opposite pairs of neighbours, which a slope does not disturb;
/// unknown in the frame's very corners, where there are no pairs.
fn deviations(map: &RatioMap) -> Vec<Option<f64>> {
    let cells = map.green();
    let (columns, rows) = (map.columns as isize, map.rows as isize);
    let half: Vec<(isize, isize)> = (0..=NEAR)
        .flat_map(|r| (-NEAR..=NEAR).map(move |c| (r, c)))
        .filter(|&(r, c)| r > 0 || c > 0)
        .collect();
    let at = |row: isize, column: isize| {
        let inside = (0..rows).contains(&row) && (0..columns).contains(&column);
        if inside { cells[(row * columns + column) as usize] } else { None }
    };
    (0..cells.len() as isize)
        .map(|i| {
            let (row, column) = (i / columns, i % columns);
            let pairs: Vec<f64> = half
                .iter()
                .filter_map(|(r, c)| Some(at(row + r, column + c)? + at(row - r, column - c)?))
                .collect();
            let enough = pairs.len() >= LEAST_PAIRS;
            Some(cells[i as usize]? - 0.5 * robust::median(pairs).filter(|_| enough)?)
        })
        .collect()
}

/// What nine tenths of the cells in a wider window stay below.
fn usual(map: &RatioMap, deviation: &[Option<f64>], index: usize) -> f64 {
    let sizes = window(map, index, WIDE).filter_map(|k| deviation[k]).map(f64::abs);
    robust::quantile(sizes, 0.9).unwrap_or(0.0)
}

/// Cells of a square window, cut at the frame's edges.
fn window(map: &RatioMap, index: usize, half: isize) -> impl Iterator<Item = usize> {
    let (columns, rows) = (map.columns as isize, map.rows as isize);
    let (column, row) = (index as isize % columns, index as isize / columns);
    let down = (row - half).max(0)..(row + half + 1).min(rows);
    down.flat_map(move |r| {
        let across = (column - half).max(0)..(column + half + 1).min(columns);
        across.map(move |c| (r * columns + c) as usize)
    })
}

/// Everything connected to a seed that deviates the same way and not much less.
fn grow(map: &RatioMap, deviation: &[Option<f64>], seed: usize, taken: &mut [bool]) -> Vec<usize> {
    let first = deviation[seed].unwrap_or(0.0);
    let least = EDGE_SHARE * (NOISE_LIMIT * map.noise[GREEN]).max(LEAST_STOPS);
    let mut cells = vec![seed];
    taken[seed] = true;
    let mut next = 0;
    while next < cells.len() {
        for k in window(map, cells[next], 1) {
            if !taken[k] && deviation[k].is_some_and(|d| d * first > 0.0 && d.abs() > least) {
                taken[k] = true;
                cells.push(k);
            }
        }
        next += 1;
    }
    cells
}

fn describe(map: &RatioMap, deviation: &[Option<f64>], cells: Vec<usize>) -> FoundSpeck {
    let (mut weight, mut x, mut y, mut stops) = (0.0, 0.0, 0.0, 0.0_f64);
    for &cell in &cells {
        let d = deviation[cell].unwrap_or(0.0);
        weight += d.abs();
        x += d.abs() * ((cell % map.columns) as f64 + 0.5);
        y += d.abs() * ((cell / map.columns) as f64 + 0.5);
        if d.abs() > stops.abs() {
            stops = d;
        }
    }
    let share = |first: f64, cell: f64, length: f64| (first + cell * map.side_px) / length;
    let (x, y) = (
        share(map.left_px, x / weight, map.width_px),
        share(map.top_px, y / weight, map.height_px),
    );
    FoundSpeck { cells, x, y, stops }
}
