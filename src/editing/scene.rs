//! The light of a photograph as a coarse map, so that two photographs can be told to show the same
//! scene, and compared in level, colour and pattern, even though clouds and water moved between
//! them.

use crate::frame::cfa::Plane;
use crate::levels::{CLIPPED_SHARE, clipped_cells, levels, own_black, plane_black};
use crate::numerics::robust::median;
use crate::reduce::grid::FrameSummary;

/// Most cells across and down.
pub const SIDE: usize = 44;
/// A cell below this many counts above black says nothing of a ratio (ours).
const LEAST_COUNTS: f64 = 8.0;
/// Doubt of a black level, in counts (ours): what it makes of dark frames is told as doubt.
const BLACK_COUNTS: f64 = 0.7;
/// Least share of cells that two maps must have in common.
const LEAST_COMMON: f64 = 0.15;
/// The same for a change of colour.
const LEAST_COLOUR: f64 = 0.08;
/// Steps between neighbouring cells beyond this many stops count as this many: one bright lamp must
/// not decide (ours).
const STEEPEST_STOPS: f64 = 1.0;
/// Correlation of the gradients at which one scene and two are equally likely, and how fast that
/// changes (ours): one scene lies above 0.86 nineteen times in twenty, two scenes stay below 0.51.
const EVEN_ODDS: f64 = 0.66;
const SLOPE: f64 = 30.0;
/// Pictures of a panorama are searched for an overlap of at least this share of the width.
const LEAST_OVERLAP: f64 = 0.25;

/// log2 of the mean counts above black of red, green and blue in each cell, not a number where
/// clipped or too dark.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneMap {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Row-major cells: log2 of red, green, blue.
    pub cells: Vec<[f32; 3]>,
    /// log2 of full scale above black.
    pub full_scale: f64,
    /// log2 of the geometric mean over all cells of green counts above black (the log-average luminance
    /// of E. Reinhard and others, Photographic tone reproduction for digital images, 2002): a median falls
    /// on sky or ground. Clipped and dark cells count as they stand, since those that clip are the bright
    /// ones of a scene.
    pub level: f64,
    /// Share of the cells that are clipped or dark.
    pub hidden: f64,
}

/// How two maps of one scene differ.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneDifference {
    /// Probability that they show one scene.
    pub same: f64,
    /// Median over the cells of log2(second / first) of green.
    pub stops: f64,
    /// Median over the cells of what red and blue changed beyond green; `None` where too few cells of
    /// a channel are known in both.
    pub colour: [Option<f64>; 2],
    /// Standard uncertainty of the level from the black of dark frames, in stops.
    pub u: f64,
    /// By how many cells the later frame is turned to the right of the earlier one.
    pub turn: isize,
    /// log2(second / first) of green, cell by cell in the second frame, not a number where unknown.
    pub map: Vec<f32>,
}

impl SceneMap {
    /// From a frame's cells and black levels.
    #[must_use]
    pub fn of(summary: &FrameSummary) -> Self {
        let (columns, rows) = (summary.cells.columns.min(SIDE), summary.cells.rows.min(SIDE));
        let light = levels(summary, &[]);
        let channels: [Vec<(f64, f64)>; 3] = std::array::from_fn(|c| {
            let clipped = light.means_of_blocks(&clipped_cells(&summary.cells, c), columns, rows);
            light.blocks(c, columns, rows).into_iter().zip(clipped).collect()
        });
        let level = |(mean, clipped): (f64, f64)| {
            let told = clipped <= CLIPPED_SHARE && mean >= LEAST_COUNTS;
            if told { mean.log2() as f32 } else { f32::NAN }
        };
        let cell = |i: usize| std::array::from_fn(|c| level(channels[c][i]));
        let cfa = summary.cells.cfa.as_ref();
        let black = plane_black(own_black(summary), cfa, Plane::Green1);
        let green: Vec<f64> = channels[1].iter().map(|c| c.0).filter(|m| m.is_finite()).collect();
        let cells: Vec<[f32; 3]> = (0..columns * rows).map(cell).collect();
        let seen = cells.iter().filter(|c| c[1].is_finite()).count();
        Self {
            columns,
            rows,
            full_scale: (f64::from(summary.levels.white) - black).max(1.0).log2(),
            level: green.iter().map(|m| m.max(1.0).log2()).sum::<f64>() / green.len().max(1) as f64,
            hidden: 1.0 - seen as f64 / cells.len().max(1) as f64,
            cells,
        }
    }

    /// Whether no cell tells of light.
    #[must_use]
    pub fn is_blind(&self) -> bool {
        !self.cells.iter().any(|c| c[1].is_finite())
    }

    /// Compares a later frame with this one as they lie; `None` where they have too little in
    /// common to tell.
    #[must_use]
    pub fn difference(&self, later: &Self) -> Option<SceneDifference> {
        self.shifted(later, 0)
    }

    /// The same for a picture of a panorama, which overlaps this one by part of its width.
    #[must_use]
    pub fn overlap(&self, later: &Self) -> Option<SceneDifference> {
        let most = (self.columns as f64 * (1.0 - LEAST_OVERLAP)) as isize;
        let turns = (-most..=most).filter(|turn| turn.abs() > 1);
        let found = turns.filter_map(|turn| self.shifted(later, turn));
        found.max_by(|a, b| a.same.total_cmp(&b.same))
    }

    fn shifted(&self, later: &Self, turn: isize) -> Option<SceneDifference> {
        if (self.columns, self.rows) != (later.columns, later.rows) {
            return None;
        }
        let columns = self.columns;
        let place = |i: usize| {
            let column = (i % columns).checked_add_signed(turn)?;
            (column < columns).then(|| i - i % columns + column)
        };
        // Both as they lie in the later frame.
        let before: Vec<[f32; 3]> = (0..later.cells.len())
            .map(|i| place(i).map_or([f32::NAN; 3], |from| self.cells[from]))
            .collect();
        let ratio = |c: usize| {
            let both = before.iter().zip(&later.cells);
            both.map(move |(a, b)| b[c] - a[c]).collect::<Vec<f32>>()
        };
        let map = ratio(1);
        let common = map.iter().filter(|r| r.is_finite()).count();
        if (common as f64) < LEAST_COMMON * map.len() as f64 {
            return None;
        }
        let known = |map: &[f32]| {
            map.iter().filter(|r| r.is_finite()).map(|&r| f64::from(r)).collect::<Vec<f64>>()
        };
        let correlation = correlation(
            &gradients(&before, &later.cells, columns),
            &gradients(&later.cells, &before, columns),
        );
        let green = median(known(&map))?;
        let level = |cells: &[[f32; 3]]| {
            median(cells.iter().map(|c| f64::from(c[1])).filter(|l| l.is_finite()))
        };
        let doubt = |cells: &[[f32; 3]]| {
            level(cells).map_or(0.0, |l| (1.0 + BLACK_COUNTS / l.exp2()).log2())
        };
        Some(SceneDifference {
            same: 1.0 / (1.0 + (-SLOPE * (correlation - EVEN_ODDS)).exp()),
            stops: green,
            colour: [0, 2].map(|c| {
                let beyond: Vec<f32> = ratio(c).iter().zip(&map).map(|(c, g)| c - g).collect();
                let known = known(&beyond);
                let enough = known.len() as f64 >= LEAST_COLOUR * map.len() as f64;
                median(known).filter(|_| enough)
            }),
            turn,
            u: doubt(&before).hypot(doubt(&later.cells)),
            map,
        })
    }
}

/// Steps of log light to the right and down, in cells that the other map knows too, medians of rows
/// and columns taken out first: every landscape is brighter above than below.
fn gradients(cells: &[[f32; 3]], other: &[[f32; 3]], columns: usize) -> Vec<f64> {
    let mut light: Vec<f64> = cells
        .iter()
        .zip(other)
        .map(|(a, b)| if b[1].is_finite() { f64::from(a[1]) } else { f64::NAN })
        .collect();
    let rows = light.len() / columns;
    for row in 0..rows {
        let line: Vec<usize> = (row * columns..(row + 1) * columns).collect();
        centred(&mut light, &line);
    }
    for column in 0..columns {
        let line: Vec<usize> = (0..rows).map(|row| row * columns + column).collect();
        centred(&mut light, &line);
    }
    let step =
        |from: usize, to: usize| (light[to] - light[from]).clamp(-STEEPEST_STOPS, STEEPEST_STOPS);
    let right = (0..light.len()).filter(|i| i % columns + 1 < columns).map(|i| step(i, i + 1));
    let down = (0..light.len() - columns).map(|i| step(i, i + columns));
    right.chain(down).collect()
}

fn centred(light: &mut [f64], line: &[usize]) {
    let known = line.iter().map(|&i| light[i]).filter(|l| l.is_finite());
    let Some(middle) = median(known) else { return };
    line.iter().for_each(|&i| light[i] -= middle);
}

/// Pearson's correlation over the pairs that are both known, about zero: gradients have no level.
fn correlation(one: &[f64], two: &[f64]) -> f64 {
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in one.iter().zip(two).filter(|(a, b)| a.is_finite() && b.is_finite()) {
        ab += a * b;
        aa += a * a;
        bb += b * b;
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::editing::testing::info;
    use crate::frame::cfa::Cfa;
    use crate::frame::{Area, BlackPattern, Frame, Levels, Mosaic, Samples};
    use crate::reduce::reduce;

    const WHITE: u16 = 15_000;
    const BLACK: u16 = 500;
    const WIDTH: usize = 1024;
    const HEIGHT: usize = 640;

    /// Sky over so many rows, clipped, over ground of 1,000 counts.
    fn under_a_sky_of(rows: usize) -> SceneMap {
        let data: Vec<u16> = (0..WIDTH * HEIGHT)
            .map(|i| if i / WIDTH < rows { WHITE } else { BLACK + 1000 })
            .collect();
        let cfa = Cfa::from_letters("RGGB").unwrap();
        let samples = Samples::Raw(Mosaic { width: WIDTH, height: HEIGHT, data: data.into() }, cfa);
        let frame = Frame {
            samples,
            active: Area { left: 0, top: 0, width: WIDTH, height: HEIGHT },
            masked: Vec::new(),
            levels: Levels { black: BlackPattern::uniform(f64::from(BLACK)), white: WHITE },
            info: info("18:00:00", 1.0),
        };
        SceneMap::of(&reduce(&frame))
    }

    #[test]
    fn what_is_clipped_counts_as_bright() {
        let (sky, ground) = (14_500f64.log2(), 1000f64.log2());
        for quarters in [1, 3] {
            let seen = under_a_sky_of(HEIGHT * quarters / 4);
            let share = quarters as f64 / 4.0;
            assert!((seen.full_scale - sky).abs() < 1e-3, "{}", seen.full_scale);
            // Rows of cells at the edge of the sky are both.
            const EDGE: f64 = 0.05;
            let level = share * sky + (1.0 - share) * ground;
            assert!((seen.level - level).abs() < EDGE * (sky - ground), "{}", seen.level);
            assert!((seen.hidden - share).abs() < EDGE && !seen.is_blind(), "{}", seen.hidden);
        }
        assert!(under_a_sky_of(HEIGHT).is_blind());
    }
}
