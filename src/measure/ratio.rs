//! From used frames to the map of one setting.

use super::map::{CellLayout, Detail, FrameLight, RatioMap, build};
use super::readings::Used;
use crate::frame::cfa::Plane;
use crate::profile::FrameState;

/// A cell with more clipped pixels than this share is unknown.
const CLIPPED_SHARE: f64 = 0.001;

/// The map of a setting from the frames that made its strength. `None` where there are no bare or
/// no filtered frames on one grid.
#[must_use]
pub fn of_setting(used: &[Used<'_>], setting: usize, detail: Detail) -> Option<RatioMap> {
    let filtered: Vec<&Used<'_>> =
        used.iter().filter(|u| u.frame.setting == Some(setting)).collect();
    let bare: Vec<&Used<'_>> = used.iter().filter(|u| u.frame.state == FrameState::Bare).collect();
    let layout = layout(filtered.first()?);
    let on_grid = |frames: &[&Used<'_>]| -> Vec<FrameLight> {
        frames.iter().filter(|u| self::layout(u) == layout).map(|u| light(u, &layout)).collect()
    };
    build(&layout, &on_grid(&bare), &on_grid(&filtered), detail)
}

fn layout(used: &Used<'_>) -> CellLayout {
    let levels = &used.levels;
    let summary = &used.frame.summary;
    CellLayout {
        columns: levels.size.0 / levels.side,
        rows: levels.size.1 / levels.side,
        side_px: levels.side,
        period_px: summary.cells.cfa.as_ref().map_or(1, crate::frame::cfa::Cfa::side),
        width_px: levels.size.0,
        height_px: levels.size.1,
        orientation: summary.info.orientation,
    }
}

/// The frame's whole cells; channels that are clipped somewhere are unknown there.
fn light(used: &Used<'_>, layout: &CellLayout) -> FrameLight {
    let levels = &used.levels;
    let clipped = |cell: usize, channel: usize| {
        used.frame.summary.cells.planes.iter().any(|p| {
            let same = match channel {
                0 => p.plane == Plane::Red,
                2 => p.plane == Plane::Blue,
                _ => matches!(p.plane, Plane::Green1 | Plane::Green2),
            };
            same && f64::from(p.clipped[cell]) > CLIPPED_SHARE * f64::from(p.count[cell])
        })
    };
    let channels = std::array::from_fn(|c| {
        let cells = levels.channel_cells(c);
        let whole =
            (0..layout.rows).flat_map(|r| (0..layout.columns).map(move |k| r * levels.columns + k));
        let known = |i: usize| cells.get(i).copied().filter(|_| !clipped(i, c));
        whole.map(|i| known(i).unwrap_or(f64::NAN)).collect()
    });
    FrameLight { run: used.frame.run.unwrap_or(0), channels }
}
