//! From used frames to the maps of their settings.

use super::build::from_sides;
use super::light::Side;
use super::{CellLayout, Detail, FrameLight, RatioMap};
use crate::frame::cfa::Plane;
use crate::levels::{CLIPPED_SHARE, LevelFrame, PlaneLevels, clipped_share};
use crate::measure::readings::Used;
use crate::profile::FrameState;
use crate::reduce::grid::PlaneCells;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};
use rayon::prelude::*;

/// The maps of this many settings from the frames that made their strengths. `None` where there are
/// no bare or no filtered frames on one grid.
#[must_use]
pub fn of_settings(used: &[Used<'_>], settings: usize, detail: Detail) -> Vec<Option<RatioMap>> {
    let frames = |setting: Option<usize>| -> Vec<Lit<'_>> {
        let state = setting.map_or(FrameState::Bare, |_| FrameState::Setting);
        let mine = |u: &&Used<'_>| u.frame.state == state && u.frame.setting == setting;
        used.iter().filter(mine).map(|u| Lit { frame: u.frame, levels: &u.levels }).collect()
    };
    let layouts: Vec<Option<CellLayout>> =
        (0..settings).map(|s| frames(Some(s)).first().map(Lit::layout)).collect();
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

/// The maps at other focal lengths, in millimetres, from the frames that were set aside for them.
#[must_use]
pub fn at_focal_lengths(shoot: &Shoot, detail: Detail) -> Vec<(f64, RatioMap)> {
    let lent: Vec<(f64, bool, &Judged, LevelFrame)> = shoot
        .frames
        .iter()
        .filter_map(|f| match f.judgement {
            Judgement::AtFocalLength { focal_mm, bare } => {
                Some((focal_mm, bare, f, f.levels(&shoot.frames)))
            }
            _ => None,
        })
        .collect();
    let mut focal_lengths: Vec<f64> = lent.iter().map(|l| l.0).collect();
    focal_lengths.sort_by(f64::total_cmp);
    focal_lengths.dedup();
    let map = |focal: f64| {
        let frames = |bare: bool| -> Vec<Lit<'_>> {
            let mine = lent.iter().filter(|l| l.0 == focal && l.1 == bare);
            mine.map(|l| Lit { frame: l.2, levels: &l.3 }).collect()
        };
        let (bare, filtered) = (frames(true), frames(false));
        let grid = filtered.first()?.layout();
        let sides = (side(&bare, &grid, detail)?, side(&filtered, &grid, detail)?);
        Some((focal, from_sides(&grid, &sides.0, &sides.1, detail)?))
    };
    focal_lengths.into_iter().filter_map(map).collect()
}

fn side(frames: &[Lit<'_>], grid: &CellLayout, detail: Detail) -> Option<Side> {
    let on_grid: Vec<&Lit<'_>> = frames.iter().filter(|f| f.layout() == *grid).collect();
    let lights: Vec<FrameLight> = on_grid.into_par_iter().map(|f| f.light(grid)).collect();
    Side::of(grid, &lights, detail)
}

/// A frame with its light above black.
struct Lit<'a> {
    frame: &'a Judged,
    levels: &'a LevelFrame,
}

impl Lit<'_> {
    fn layout(&self) -> CellLayout {
        let levels = self.levels;
        let summary = &self.frame.summary;
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
    fn light(&self, layout: &CellLayout) -> FrameLight {
        let (levels, sums) = (self.levels, &self.frame.summary.cells.planes);
        let channels = std::array::from_fn(|c| {
            let mine = |plane: Plane| plane.channel() == c;
            let lit: Vec<&PlaneLevels> = levels.planes.iter().filter(|p| mine(p.plane)).collect();
            let counted: Vec<&PlaneCells> = sums.iter().filter(|p| mine(p.plane)).collect();
            let light = |i: usize| match lit.as_slice() {
                _ if counted.iter().any(|p| clipped_share(p, i) > CLIPPED_SHARE) => f64::NAN,
                [only] => only.level[i],
                [first, second] => (first.level[i] + second.level[i]) / 2.0,
                _ => f64::NAN,
            };
            let whole = (0..layout.rows)
                .flat_map(|r| (0..layout.columns).map(move |k| r * levels.columns + k));
            whole.map(light).collect()
        });
        FrameLight { run: self.frame.run.unwrap_or(0), channels }
    }
}
