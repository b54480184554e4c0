//! A small picture of a frame from its coarse cells, so that a cloud, a hand, a shaded corner or a dark
//! cross can be seen; balanced by the bare light, so that what colour the filter adds is seen too.

use crate::frame::Origin;
use crate::levels::{LevelFrame, levels};
use crate::profile::FrameState;
use crate::reduce::grid::FrameSummary;
use crate::shoot::Judged;
use data_encoding::BASE64;
use std::collections::BTreeMap;

/// Pixels across, at most, on a sheet of frames: twice as many as are shown on a plain screen.
pub const ON_SHEET: usize = 192;
/// The same in a table, where they are shown smaller and stand within the page itself.
pub const IN_TABLE: usize = 96;
/// Green light at the frame's centre is shown at this part of full scale: a middle grey that leaves
/// room for what is brighter than the centre (ours).
const CENTRE: f64 = 0.30;
/// A frame whose centre lies below this part of full scale is shown no brighter than its own level
/// allows (ours): noise is no picture.
const FAINTEST: f64 = 0.002;
/// Shown where nothing is known of a cell.
const UNKNOWN: u8 = 128;

/// One picture, ready to be placed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FramePicture {
    /// Where it is, or the picture itself.
    pub source: String,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

/// Pictures by the names of their frames.
pub type FramePictures = BTreeMap<String, FramePicture>;

impl FramePicture {
    /// A PNG file that stands within the page itself (RFC 2397).
    #[must_use]
    pub fn within(png: &[u8], (width, height): (usize, usize)) -> Self {
        Self { source: format!("data:image/png;base64,{}", BASE64.encode(png)), width, height }
    }
    /// One that the page's own server gives at an address.
    #[must_use]
    pub fn at(address: String, (width, height): (usize, usize)) -> Self {
        Self { source: address, width, height }
    }
}

/// What red and blue are multiplied with so that the bare light looks grey.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// Red, relative to green = 1.
    pub red: f64,
    /// Blue, relative to green = 1.
    pub blue: f64,
}

impl Default for Balance {
    fn default() -> Self {
        Self { red: 1.0, blue: 1.0 }
    }
}

impl Balance {
    /// By the centre of a frame that shows the bare light; `None` where its channels hold no light.
    #[must_use]
    pub fn by(summary: &FrameSummary) -> Option<Self> {
        let [red, green, blue] = levels(summary, &[]).centre_channels()?.map(|c| c.level);
        Self::of([red, green, blue])
    }
    /// By what the camera took as neutral, before any frame is known to be bare.
    #[must_use]
    pub fn as_shot(summary: &FrameSummary) -> Self {
        summary.info.as_shot_neutral.and_then(Self::of).unwrap_or_default()
    }
    /// By the first frame of a shoot that shows the bare light.
    #[must_use]
    pub fn of_shoot(frames: &[Judged]) -> Option<Self> {
        Self::by(&frames.iter().find(|f| f.state == FrameState::Bare)?.summary)
    }
    /// What a frame is shown by where the bare light of its shoot is known, or not.
    #[must_use]
    pub fn shown(summary: &FrameSummary, of_shoot: Option<Self>) -> Self {
        let of_shoot = of_shoot.filter(|_| summary.info.origin == Origin::Raw);
        of_shoot.unwrap_or_else(|| Self::as_shot(summary))
    }
    fn of([red, green, blue]: [f64; 3]) -> Option<Self> {
        let whole = [red, green, blue].iter().all(|c| c.is_finite() && *c > 0.0);
        whole.then(|| Self { red: green / red, blue: green / blue })
    }
}

/// Eight-bit sRGB, row by row, as the picture is viewed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SmallPicture {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `3 * width * height` values.
    pub rgb: Vec<u8>,
}

/// Draws a frame, so many pixels across at most.
#[must_use]
pub fn small_picture(summary: &FrameSummary, balance: Balance, most_across: usize) -> SmallPicture {
    let frame = levels(summary, &[]);
    let gains = [balance.red, 1.0, balance.blue].map(|gain| gain * exposure(summary, &frame));
    let (width, height) = stored_size(summary, most_across);
    let blocks = [0, 1, 2].map(|channel| frame.blocks(channel, width, height));
    let stored =
        (0..width * height).flat_map(|i| [0, 1, 2].map(|c| shown(blocks[c][i] * gains[c])));
    viewed(SmallPicture { width, height, rgb: stored.collect() }, summary.info.orientation)
}

/// Columns and rows of a frame's picture as it is viewed.
#[must_use]
pub fn size(summary: &FrameSummary, most_across: usize) -> (usize, usize) {
    let (width, height) = stored_size(summary, most_across);
    if is_transposed(summary.info.orientation) { (height, width) } else { (width, height) }
}

/// Whole cells, as many to a pixel as are needed.
fn stored_size(summary: &FrameSummary, most_across: usize) -> (usize, usize) {
    let (columns, rows) = (summary.cells.columns, summary.cells.rows);
    let cells = columns.div_ceil(most_across).max(1);
    (columns.div_ceil(cells).max(1), rows.div_ceil(cells).max(1))
}

fn is_transposed(orientation: u8) -> bool {
    (5..=8).contains(&orientation)
}

/// What counts above black are multiplied with: the centre becomes a middle grey.
fn exposure(summary: &FrameSummary, frame: &LevelFrame) -> f64 {
    let full = f64::from(summary.levels.white).max(1.0);
    let centre = frame.centre_channels().map_or(0.0, |c| c[1].level);
    CENTRE / centre.max(FAINTEST * full)
}

/// The display encoding (IEC 61966-2-1).
fn shown(light: f64) -> u8 {
    if !light.is_finite() {
        return UNKNOWN;
    }
    let v = light.clamp(0.0, 1.0);
    let v = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (v * 255.0).round() as u8
}

/// Turned as the picture is viewed (Exif orientation, CIPA DC-008, tag 0x0112).
fn viewed(stored: SmallPicture, orientation: u8) -> SmallPicture {
    let SmallPicture { width, height, rgb } = stored;
    let transposed = is_transposed(orientation);
    let from_right = matches!(orientation, 2 | 3 | 6 | 7);
    let from_below = matches!(orientation, 3 | 4 | 7 | 8);
    let (across, down) = if transposed { (height, width) } else { (width, height) };
    let pixel = |i: usize| {
        let (x, y) = (i % across, i / across);
        let x = if from_right { across - 1 - x } else { x };
        let y = if from_below { down - 1 - y } else { y };
        let (column, row) = if transposed { (y, x) } else { (x, y) };
        let at = 3 * (row * width + column);
        [rgb[at], rgb[at + 1], rgb[at + 2]]
    };
    let rgb = (0..across * down).flat_map(pixel).collect();
    SmallPicture { width: across, height: down, rgb }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exif 2.32, table of orientations: 6 means that the stored row 0 is the viewed right side.
    #[test]
    fn pictures_stand_as_they_are_viewed() {
        let stored = SmallPicture { width: 2, height: 1, rgb: vec![255, 0, 0, 0, 0, 255] };
        let same = viewed(stored.clone(), 1);
        assert_eq!(same, stored);
        let turned = viewed(stored.clone(), 6);
        assert_eq!((turned.width, turned.height), (1, 2));
        assert_eq!(turned.rgb, [255, 0, 0, 0, 0, 255]);
        let turned = viewed(stored.clone(), 8);
        assert_eq!(turned.rgb, [0, 0, 255, 255, 0, 0]);
        assert_eq!(viewed(stored, 3).rgb, [0, 0, 255, 255, 0, 0]);
    }

    #[test]
    fn full_light_is_white_and_nothing_known_is_grey() {
        assert_eq!((shown(1.0), shown(0.0), shown(-0.1), shown(f64::NAN)), (255, 0, 0, UNKNOWN));
        // IEC 61966-2-1: 18 % of full light is encoded as 118 of 255.
        assert_eq!(shown(0.18), 118);
    }
}
