//! From used frames to the maps of their settings.

use super::map::{CellLayout, Detail, FrameLight, GREEN, RatioMap, Side, from_sides};
use super::readings::Used;
use crate::frame::cfa::Plane;
use crate::profile::FrameState;
use rayon::prelude::*;

/// A cell with more clipped pixels than this share is unknown.
const CLIPPED_SHARE: f64 = 0.001;

/// The maps of this many settings from the frames that made their strengths. `None` where there are
/// no bare or no filtered frames on one grid.
#[must_use]
pub fn of_settings(used: &[Used<'_>], settings: usize, detail: Detail) -> Vec<Option<RatioMap>> {
    let frames = |setting: Option<usize>| -> Vec<&Used<'_>> {
        let state = setting.map_or(FrameState::Bare, |_| FrameState::Setting);
        used.iter().filter(|u| u.frame.state == state && u.frame.setting == setting).collect()
    };
    let layouts: Vec<Option<CellLayout>> =
        (0..settings).map(|s| frames(Some(s)).first().map(|u| layout(u))).collect();
    // the bare light is the same for all settings on one grid
    let mut distinct: Vec<CellLayout> = Vec::new();
    for layout in layouts.iter().flatten() {
        if !distinct.contains(layout) {
            distinct.push(*layout);
        }
    }
    let bare: Vec<Option<Side>> =
        distinct.iter().map(|grid| side(&frames(None), grid, detail)).collect();
    let map = |setting: usize| {
        let layout = layouts[setting]?;
        let bare = bare[distinct.iter().position(|grid| *grid == layout)?].as_ref()?;
        from_sides(&layout, bare, &side(&frames(Some(setting)), &layout, detail)?, detail)
    };
    (0..settings).into_par_iter().map(map).collect()
}

fn side(frames: &[&Used<'_>], grid: &CellLayout, detail: Detail) -> Option<Side> {
    let on_grid: Vec<&&Used<'_>> = frames.iter().filter(|u| layout(u) == *grid).collect();
    let lights: Vec<FrameLight> = on_grid.into_par_iter().map(|u| light(u, grid)).collect();
    Side::of(grid, &lights, detail)
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
    let channels = std::array::from_fn(|c| {
        let cells = levels.channel_cells(c);
        let planes = &used.frame.summary.cells.planes;
        let mine: Vec<_> = planes.iter().filter(|p| channel_of(p.plane) == c).collect();
        let clipped = |cell: usize| {
            mine.iter()
                .any(|p| f64::from(p.clipped[cell]) > CLIPPED_SHARE * f64::from(p.count[cell]))
        };
        let whole =
            (0..layout.rows).flat_map(|r| (0..layout.columns).map(move |k| r * levels.columns + k));
        let known = |i: usize| cells.get(i).copied().filter(|_| !clipped(i));
        whole.map(|i| known(i).unwrap_or(f64::NAN)).collect()
    });
    FrameLight { run: used.frame.run.unwrap_or(0), channels }
}

fn channel_of(plane: Plane) -> usize {
    match plane {
        Plane::Red => 0,
        Plane::Blue => 2,
        Plane::Green1 | Plane::Green2 => GREEN,
    }
}
