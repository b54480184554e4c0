//! Sites of a mosaic: red and blue lie beside green, so that a filter which grows darker across the
//! centre is read half a pixel farther on in one channel than in another, and passes for a cast. What
//! it changes by over that way is taken out of red and blue.

use super::fit::Fit;
use super::readings::Used;
use crate::frame::cfa::{Cfa, Plane};
use crate::levels::LevelFrame;
use std::f64::consts::LN_2;

/// A fit whose red and blue stand where green does.
#[must_use]
pub fn in_place(mut fit: Fit, used: &[Used<'_>]) -> Fit {
    for (setting, strengths) in fit.settings.iter_mut().enumerate() {
        let beside = beside_green(used, setting);
        strengths.stops.iter_mut().zip(beside).for_each(|(stops, off)| *stops -= off);
    }
    fit
}

/// By how much red, green and blue of a setting are read too strong for lying beside green, in stops.
#[must_use]
pub fn beside_green(used: &[Used<'_>], setting: usize) -> [f64; 3] {
    let cfa = used.first().and_then(|u| u.frame.summary.cells.cfa.as_ref());
    let Some((middles, slope)) = cfa.and_then(middles).zip(slope(used, setting)) else {
        return [0.0; 3];
    };
    let green = middles[1];
    middles.map(|at| slope[0] * (at[0] - green[0]) + slope[1] * (at[1] - green[1]))
}

/// Mean place of red, green and blue sites in the pattern, right and down in pixels; the greens count
/// alike. `None` where a channel has none.
fn middles(cfa: &Cfa) -> Option<[[f64; 2]; 3]> {
    let side = cfa.side();
    let of_plane = |plane: Plane| {
        let sites = (0..side * side).filter(|i| cfa.plane(i / side, i % side) == plane);
        let (sum, count) = sites.fold(([0.0; 2], 0.0), |([x, y], n), i| {
            ([x + (i % side) as f64, y + (i / side) as f64], n + 1.0)
        });
        sum.map(|s| s / count)
    };
    let of_channel = |channel: usize| {
        let planes: Vec<[f64; 2]> =
            cfa.planes().into_iter().filter(|p| p.channel() == channel).map(of_plane).collect();
        let mean = |k: usize| planes.iter().map(|p| p[k]).sum::<f64>() / planes.len() as f64;
        (!planes.is_empty()).then(|| [mean(0), mean(1)])
    };
    Some([of_channel(0)?, of_channel(1)?, of_channel(2)?])
}

/// By how much a setting takes more of green a pixel farther right and down, of the frame's centre as a
/// whole, in stops.
fn slope(used: &[Used<'_>], setting: usize) -> Option<[f64; 2]> {
    let of = |wanted: Option<usize>| {
        let frame = used.iter().find(|u| u.frame.setting == wanted)?;
        rise(&frame.levels)
    };
    let (bare, filtered) = (of(None)?, of(Some(setting))?);
    Some([bare[0] - filtered[0], bare[1] - filtered[1]])
}

/// By how much the mean light of the centre grows a pixel farther right and down, in stops: each cell's
/// neighbours tell its slope, whatever curve they lie on.
fn rise(levels: &LevelFrame) -> Option<[f64; 2]> {
    let (cells, columns) = (levels.channel_cells(1), levels.columns);
    let (mut light, mut rise) = (0.0, [0.0; 2]);
    for &(i, share) in &levels.centre_cells {
        let (column, row) = (i % columns, i / columns);
        if column == 0 || column + 1 == columns || row == 0 || row + 1 == levels.rows {
            continue;
        }
        let across = cells[i + 1] - cells[i - 1];
        let down = cells[i + columns] - cells[i - columns];
        if (cells[i] + across + down).is_finite() {
            light += share * cells[i];
            rise = [rise[0] + share * across, rise[1] + share * down];
        }
    }
    // Neighbours lie two sides apart.
    let to_stops = 1.0 / (2.0 * levels.side as f64 * light * LN_2);
    (light > 0.0).then(|| rise.map(|r| r * to_stops))
}
