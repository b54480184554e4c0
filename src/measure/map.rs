//! The fine map: filtered over bare, cell by cell, in extra stops relative to the frame's centre.

mod build;
pub mod frames;
mod light;
pub(super) mod noise;
pub mod surface;

pub use build::build;
pub use light::{CellLayout, Detail, FrameLight};

/// Side of the centre as a share of the frame's width and height.
pub const CENTRE_SHARE: f64 = 0.2;
/// Index of green in everything that holds red, green, blue.
pub const GREEN: usize = 1;

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
    /// The same of the light through the filter.
    pub filtered_changes: Vec<Vec<Option<f64>>>,
    /// The wall lay elsewhere in the frames through the filter than in the bare ones.
    pub surface_moved: bool,
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
    /// The green map, in stops.
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
    /// Terms and values of the cells that are known and kept; `keep` judges by number and place.
    pub(super) fn rows<const T: usize>(
        &self,
        cells: &[Option<f64>],
        keep: impl Fn(usize, (f64, f64)) -> bool,
        terms: impl Fn(f64, f64) -> [f64; T],
    ) -> (Vec<[f64; T]>, Vec<f64>) {
        let known = cells.iter().enumerate().filter_map(|(i, stops)| {
            let place = self.position(i);
            let stops = (*stops).filter(|_| keep(i, place))?;
            Some((terms(place.0, place.1), stops))
        });
        known.unzip()
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
