//! The black level that a frame's own covered pixels show.

use super::limits::{DEVIATIONS, LEAST_DEVIATION, PER_MAD};
use crate::frame::cfa::Cfa;
use crate::frame::{Area, BlackPattern, Frame, Mosaic, Samples};

/// Pixels per position of the pattern that make a level: with a noise of 3 counts the mean is then
/// good to a tenth of a count.
const FEWEST: usize = 1_000;

/// Robust means of the masked pixels per position of the pattern, counted from the active area's
/// origin; `None` where any position has too few.
pub(super) fn black(frame: &Frame) -> Option<BlackPattern> {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { return None };
    let side = cfa.side();
    let mut positions = vec![Vec::new(); side * side];
    for &area in &frame.masked {
        collect(mosaic, cfa, frame.active, area, &mut positions);
    }
    let values: Option<Vec<f64>> = positions.iter_mut().map(|v| robust_mean(v)).collect();
    Some(BlackPattern { rows: side, columns: side, values: values? })
}

fn collect(mosaic: &Mosaic, cfa: &Cfa, active: Area, area: Area, positions: &mut [Vec<u16>]) {
    let side = cfa.side();
    // Distance from the active origin, which may lie before or behind, in the pattern.
    let phase = |at: usize, origin: usize| (at + side - origin % side) % side;
    let right = (area.left + area.width).min(mosaic.width);
    let mut values = Vec::new();
    for row in area.top..(area.top + area.height).min(mosaic.height) {
        let line = phase(row, active.top) * side;
        values.clear();
        mosaic.data.part(mosaic.width, row..row + 1, area.left..right, &mut values);
        for (column, &v) in (area.left..right).zip(&values) {
            positions[line + phase(column, active.left)].push(v);
        }
    }
}

/// Mean of the values within five robust deviations of their median.
fn robust_mean(values: &mut [u16]) -> Option<f64> {
    if values.len() < FEWEST {
        return None;
    }
    let middle = (values.len() - 1) / 2;
    let median = *values.select_nth_unstable(middle).1;
    let mut distances: Vec<u16> = values.iter().map(|v| v.abs_diff(median)).collect();
    let mad = *distances.select_nth_unstable(middle).1;
    let reach = DEVIATIONS * (f64::from(mad) * PER_MAD).max(LEAST_DEVIATION);
    let (sum, count) = values
        .iter()
        .filter(|v| f64::from(v.abs_diff(median)) <= reach)
        .fold((0_u64, 0_u64), |(sum, count), &v| (sum + u64::from(v), count + 1));
    Some(sum as f64 / count as f64)
}
