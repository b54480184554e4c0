//! Axes that several plots share.

use super::ink::Role;
use super::label::{Anchor, Label};
use super::sheet::Sheet;

/// A plane of two linear axes inside a sheet; `y` grows downwards in pixels from `y_top`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Plane {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x_lo: f64,
    pub x_hi: f64,
    pub y_top: f64,
    pub y_bottom: f64,
}

impl Plane {
    pub fn x(&self, value: f64) -> f64 {
        self.left + (value - self.x_lo) / (self.x_hi - self.x_lo) * (self.right - self.left)
    }
    pub fn y(&self, value: f64) -> f64 {
        self.top + (value - self.y_top) / (self.y_bottom - self.y_top) * (self.bottom - self.top)
    }
    pub fn at(&self, point: (f64, f64)) -> (f64, f64) {
        (self.x(point.0), self.y(point.1))
    }
    /// Hairlines at the left and the bottom.
    pub fn frame(&self, sheet: &mut Sheet) {
        let points =
            vec![(self.left, self.top), (self.left, self.bottom), (self.right, self.bottom)];
        sheet.line(points, 1.0, Role::Ink);
    }
    /// A tick and its number at the bottom.
    pub fn x_tick(&self, sheet: &mut Sheet, value: f64, text: &str, size: f64) {
        let x = self.x(value);
        sheet.line(vec![(x, self.bottom), (x, self.bottom + 6.0)], 1.0, Role::Ink);
        if !text.is_empty() {
            let y = self.bottom + 9.0 + size * 0.6;
            let label = Label::new(text, x, y, size, Anchor::Middle);
            sheet.text_if_room(label.paint(Role::Soft));
        }
    }
    /// A tick, a faint line across, and its number at the left.
    pub fn y_tick(&self, sheet: &mut Sheet, value: f64, text: &str, size: f64) {
        let y = self.y(value);
        sheet.line(vec![(self.left, y), (self.right, y)], 1.0, Role::Zone);
        sheet.line(vec![(self.left - 6.0, y), (self.left, y)], 1.0, Role::Ink);
        let label = Label::new(text, self.left - 9.0, y, size, Anchor::End);
        sheet.text_if_room(label.paint(Role::Soft));
    }
}

/// Round steps of 1, 2 or 5 so that about `count` of them span a range.
pub(super) fn step(range: f64, count: f64) -> f64 {
    let rough = (range / count).max(f64::MIN_POSITIVE);
    let power = 10f64.powf(rough.log10().floor());
    let lead = rough / power;
    let round = if lead <= 1.0 {
        1.0
    } else if lead <= 2.0 {
        2.0
    } else if lead <= 5.0 {
        5.0
    } else {
        10.0
    };
    round * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        for (range, count, expected) in [(9.3, 5.0, 2.0), (0.83, 4.0, 0.5), (40.0, 4.0, 10.0)] {
            assert!((step(range, count) - expected).abs() < 1e-12);
        }
    }
}
