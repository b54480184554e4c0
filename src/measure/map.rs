//! The fine map: filtered over bare, cell by cell, in extra stops relative to the frame's centre.

use super::noise_of_map;

/// Cells across the frame in the fine map.
pub const FINE_COLUMNS: f64 = 64.0;
/// Side of the centre as a share of the frame's width and height.
pub const CENTRE_SHARE: f64 = 0.2;
/// A folded cell counts as known from this covered share up.
const KNOWN_SHARE: f64 = 0.5;
/// Light below this share of its frame's mean is taken as unknown (14 stops, more than a raw frame
/// holds).
const LEAST_LIGHT: f64 = 1.0 / 16_384.0;
/// Index of green in everything that holds red, green, blue.
pub const GREEN: usize = 1;

/// Where the cells of a reduced frame lie, as stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CellLayout {
    /// Whole cells across.
    pub columns: usize,
    /// Whole cells down.
    pub rows: usize,
    /// Side of a cell in pixels.
    pub side_px: usize,
    /// Period of the colour pattern in pixels.
    pub period_px: usize,
    /// Width of the active area in pixels.
    pub width_px: usize,
    /// Height of the active area in pixels.
    pub height_px: usize,
    /// Exif orientation, 1 to 8.
    pub orientation: u8,
}

/// Average linear light above black per cell of one frame; NaN where unknown. The scale is free:
/// each frame is brought to its own centre.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameLight {
    /// Number of the run that the frame belongs to.
    pub run: u32,
    /// Red, green, blue, each row-major over the layout's whole cells.
    pub channels: [Vec<f64>; 3],
}

/// How fine a map is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Cells of about 1/64 of the frame's width.
    Fine,
    /// The cells of the reduced frames as they are.
    Native,
}

/// Extra stops of the filter relative to the frame's centre, as the picture is viewed.
#[derive(Clone, Debug, PartialEq)]
pub struct RatioMap {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Left edge of the first cell in pixels from the frame's left edge.
    pub left_px: f64,
    /// Top edge of the first cell in pixels from the frame's top edge.
    pub top_px: f64,
    /// Side of a cell in pixels.
    pub side_px: f64,
    /// The frame's width in pixels.
    pub width_px: f64,
    /// The frame's height in pixels.
    pub height_px: f64,
    /// Exif orientation that was applied to the stored cells.
    pub orientation: u8,
    /// Red, green, blue; row-major; `None` where unknown.
    pub stops: [Vec<Option<f64>>; 3],
    /// Standard uncertainty of one cell, per channel, in stops.
    pub noise: [f64; 3],
    /// What changed of the bare light's pattern from one bare run to the next, green, in stops.
    pub bare_changes: Vec<Vec<Option<f64>>>,
}

impl RatioMap {
    /// The centre of a cell: x to the right, y up, r = 1 in the frame's corners.
    #[must_use]
    pub fn position(&self, index: usize) -> (f64, f64) {
        let half = self.half_diagonal_px();
        let (column, row) = (index % self.columns, index / self.columns);
        let x = self.left_px + (column as f64 + 0.5) * self.side_px - self.width_px / 2.0;
        let y = self.top_px + (row as f64 + 0.5) * self.side_px - self.height_px / 2.0;
        (x / half, -y / half)
    }
    /// Half of the frame's diagonal in pixels.
    #[must_use]
    pub fn half_diagonal_px(&self) -> f64 {
        0.5 * self.width_px.hypot(self.height_px)
    }
    /// Half width and half height in units of the half diagonal.
    #[must_use]
    pub fn half_sides(&self) -> (f64, f64) {
        let half = self.half_diagonal_px();
        (self.width_px / 2.0 / half, self.height_px / 2.0 / half)
    }
    /// Side of a cell in units of the half diagonal.
    #[must_use]
    pub fn cell(&self) -> f64 {
        self.side_px / self.half_diagonal_px()
    }
    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.columns * self.rows
    }
    /// Whether there are no cells at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
    /// The green map.
    #[must_use]
    pub fn green(&self) -> &[Option<f64>] {
        &self.stops[GREEN]
    }
    /// Mean of the light (not of the stops) over a box given in shares of width and height,
    /// back in stops; cells count by the share of them that the box covers.
    #[must_use]
    pub fn box_stops(&self, channel: usize, x: [f64; 2], y: [f64; 2]) -> Option<f64> {
        let stops = &self.stops[channel];
        let covered = |first: f64, cell: usize, low: f64, high: f64| {
            let a = first + cell as f64 * self.side_px;
            ((a + self.side_px).min(high) - a.max(low)).max(0.0) / self.side_px
        };
        let (mut light, mut weight) = (0.0, 0.0);
        for row in 0..self.rows {
            let v = covered(self.top_px, row, y[0] * self.height_px, y[1] * self.height_px);
            if v <= 0.0 {
                continue;
            }
            for column in 0..self.columns {
                let h = covered(self.left_px, column, x[0] * self.width_px, x[1] * self.width_px);
                if let (true, Some(s)) = (h > 0.0, stops[row * self.columns + column]) {
                    light += h * v * (-s).exp2();
                    weight += h * v;
                }
            }
        }
        (weight > 0.0).then(|| -(light / weight).log2())
    }
    /// The same map without the given cells.
    #[must_use]
    pub fn without(&self, cells: &[usize]) -> Self {
        let mut map = self.clone();
        for channel in &mut map.stops {
            for &cell in cells {
                channel[cell] = None;
            }
        }
        map
    }
    /// Moves each channel's zero to the frame's centre: the middle 20 % by 20 %, light averaged.
    /// `None` where a channel is unknown there.
    #[must_use]
    pub fn centred(mut self) -> Option<Self> {
        let middle = [0.5 - CENTRE_SHARE / 2.0, 0.5 + CENTRE_SHARE / 2.0];
        for channel in 0..3 {
            let zero = self.box_stops(channel, middle, middle)?;
            for s in self.stops[channel].iter_mut().flatten() {
                *s -= zero;
            }
        }
        Some(self)
    }
}

/// Builds a map from frames of the bare light and frames through the filter.
///
/// Frames of a run are averaged, then the runs, so that bare runs on both sides of the filter
/// count alike. `None` without a bare and a filtered frame, or where the centre is unknown.
#[must_use]
pub fn build(
    layout: &CellLayout,
    bare: &[FrameLight],
    filtered: &[FrameLight],
    detail: Detail,
) -> Option<RatioMap> {
    let side = folded_side(layout, detail);
    let folded = |frames: &[FrameLight]| -> Vec<FrameLight> {
        frames.iter().map(|f| fold_frame(layout, f, side)).collect()
    };
    let (columns, rows) = (layout.columns_of(side), layout.rows_of(side));
    if columns == 0 || rows == 0 || bare.is_empty() || filtered.is_empty() {
        return None;
    }
    let (bare, filtered) = (folded(bare), folded(filtered));
    let (bare_runs, filtered_runs) = (run_means(&bare), run_means(&filtered));
    let (b, f) = (mean_light(&bare_runs), mean_light(&filtered_runs));
    let stops = std::array::from_fn(|c| ratio(&b.channels[c], &f.channels[c]));
    let bare_changes =
        bare_runs.windows(2).map(|w| ratio(&w[0].channels[GREEN], &w[1].channels[GREEN])).collect();
    let stored = RatioMap {
        columns,
        rows,
        left_px: 0.0,
        top_px: 0.0,
        side_px: side as f64,
        width_px: layout.width_px as f64,
        height_px: layout.height_px as f64,
        orientation: 1,
        noise: noise_of_map::noise(columns, &bare, &filtered, &stops),
        stops,
        bare_changes,
    };
    viewed(stored, layout.orientation).centred()
}

impl CellLayout {
    fn columns_of(&self, side: usize) -> usize {
        (self.columns * self.side_px).min(self.width_px) / side
    }
    fn rows_of(&self, side: usize) -> usize {
        (self.rows * self.side_px).min(self.height_px) / side
    }
}

/// Side of the map's cells: whole colour periods, at least 1/64 of the frame's width, never finer
/// than what there is.
fn folded_side(layout: &CellLayout, detail: Detail) -> usize {
    let period = layout.period_px.max(1);
    let wanted = (layout.width_px as f64 / FINE_COLUMNS).ceil() as usize;
    match detail {
        Detail::Native => layout.side_px,
        Detail::Fine => layout.side_px.max(wanted.div_ceil(period) * period),
    }
}

fn fold_frame(layout: &CellLayout, frame: &FrameLight, side: usize) -> FrameLight {
    let channels = std::array::from_fn(|c| {
        let light = &frame.channels[c];
        if side == layout.side_px { light.clone() } else { fold(layout, light, side) }
    });
    FrameLight { run: frame.run, channels }
}

/// Light averaged over larger cells, each small cell by the area that it shares.
fn fold(layout: &CellLayout, light: &[f64], side: usize) -> Vec<f64> {
    let small = layout.side_px;
    let shares = |index: usize, limit: usize| -> Vec<(usize, f64)> {
        let (low, high) = (index * side, (index + 1) * side);
        let range = low / small..high.div_ceil(small).min(limit);
        range.map(|i| (i, (((i + 1) * small).min(high) - (i * small).max(low)) as f64)).collect()
    };
    let (columns, rows) = (layout.columns_of(side), layout.rows_of(side));
    let across: Vec<_> = (0..columns).map(|c| shares(c, layout.columns)).collect();
    let mut folded = Vec::with_capacity(columns * rows);
    for row in 0..rows {
        let down = shares(row, layout.rows);
        for cells in &across {
            let (mut sum, mut weight) = (0.0, 0.0);
            for &(r, v) in &down {
                for &(c, h) in cells {
                    let value = light[r * layout.columns + c];
                    if value.is_finite() {
                        sum += h * v * value;
                        weight += h * v;
                    }
                }
            }
            let known = weight >= KNOWN_SHARE * (side * side) as f64;
            folded.push(if known { sum / weight } else { f64::NAN });
        }
    }
    folded
}

/// Frames of a run averaged, each brought to its own mean first; runs in order of their number.
fn run_means(frames: &[FrameLight]) -> Vec<FrameLight> {
    let mut runs: Vec<u32> = frames.iter().map(|f| f.run).collect();
    runs.sort_unstable();
    runs.dedup();
    let members = |run| frames.iter().filter(move |f| f.run == run).cloned().collect::<Vec<_>>();
    runs.into_iter().map(|run| FrameLight { run, ..mean_light(&members(run)) }).collect()
}

fn mean_light(frames: &[FrameLight]) -> FrameLight {
    let channels = std::array::from_fn(|c| {
        let levels: Vec<f64> = frames.iter().map(|f| level(&f.channels[c])).collect();
        let cells = frames.first().map_or(0, |f| f.channels[c].len());
        let mean = |i: usize| {
            frames.iter().zip(&levels).map(|(f, l)| f.channels[c][i] / l).sum::<f64>()
                / frames.len() as f64
        };
        (0..cells).map(mean).collect()
    });
    FrameLight { run: frames.first().map_or(0, |f| f.run), channels }
}

/// Mean of the known light, the scale of a frame.
fn level(light: &[f64]) -> f64 {
    let known: Vec<f64> = light.iter().copied().filter(|v| v.is_finite()).collect();
    known.iter().sum::<f64>() / known.len() as f64
}

/// -log2(filtered / bare), unknown where either is unknown or too dark for a camera to tell.
fn ratio(bare: &[f64], filtered: &[f64]) -> Vec<Option<f64>> {
    let known = |v: f64| v > LEAST_LIGHT;
    let stops = |(b, f): (&f64, &f64)| (known(*b) && known(*f)).then(|| -(f / b).log2());
    bare.iter().zip(filtered).map(stops).collect()
}

/// Turns a stored map as the picture is viewed (Exif orientation, CIPA DC-008, tag 0x0112).
fn viewed(stored: RatioMap, orientation: u8) -> RatioMap {
    let transposed = (5..=8).contains(&orientation);
    let from_right = matches!(orientation, 2 | 3 | 6 | 7);
    let from_below = matches!(orientation, 3 | 4 | 7 | 8);
    let turn = |a: usize, b: usize| if transposed { (b, a) } else { (a, b) };
    let (columns, rows) = turn(stored.columns, stored.rows);
    let source = |index: usize| {
        let (mut column, mut row) = (index % columns, index / columns);
        if from_right {
            column = columns - 1 - column;
        }
        if from_below {
            row = rows - 1 - row;
        }
        let (c, r) = if transposed { (row, column) } else { (column, row) };
        r * stored.columns + c
    };
    let order: Vec<usize> = (0..columns * rows).map(source).collect();
    let apply = |cells: &Vec<Option<f64>>| order.iter().map(|&i| cells[i]).collect::<Vec<_>>();
    let (width_px, height_px) = if transposed {
        (stored.height_px, stored.width_px)
    } else {
        (stored.width_px, stored.height_px)
    };
    let rest = |length: f64, cells: usize| length - cells as f64 * stored.side_px;
    RatioMap {
        columns,
        rows,
        left_px: if from_right { rest(width_px, columns) } else { 0.0 },
        top_px: if from_below { rest(height_px, rows) } else { 0.0 },
        side_px: stored.side_px,
        width_px,
        height_px,
        orientation,
        stops: std::array::from_fn(|c| apply(&stored.stops[c])),
        noise: stored.noise,
        bare_changes: stored.bare_changes.iter().map(apply).collect(),
    }
}
