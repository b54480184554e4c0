//! Lines of text in drawings, and the room they take.

use super::ink::{Paint, Role};

/// Where a text hangs at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Is centred there.
    Middle,
    /// Ends there.
    End,
}

/// A rectangle in pixels: left, top, right, bottom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Left.
    pub left: f64,
    /// Top.
    pub top: f64,
    /// Right.
    pub right: f64,
    /// Bottom.
    pub bottom: f64,
}

impl Bounds {
    /// Whether two rectangles share area.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// A line of text.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// The words.
    pub text: String,
    /// Horizontal place of the anchor, in pixels.
    pub x: f64,
    /// Vertical middle, in pixels.
    pub y: f64,
    /// Size in pixels.
    pub size: f64,
    /// How it hangs.
    pub anchor: Anchor,
    /// Colour.
    pub paint: Paint,
    /// Heavier.
    pub bold: bool,
}

impl Label {
    /// A label in ink.
    pub fn new(text: impl Into<String>, x: f64, y: f64, size: f64, anchor: Anchor) -> Self {
        Self { text: text.into(), x, y, size, anchor, paint: Role::Ink.into(), bold: false }
    }
    /// The same in another colour.
    #[must_use]
    pub fn paint(mut self, paint: impl Into<Paint>) -> Self {
        self.paint = paint.into();
        self
    }
    /// The same, heavier.
    #[must_use]
    pub fn bold(mut self) -> Self {
        self.bold = true;
        self
    }
    /// Room it takes, on the safe side for wide system fonts.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        let width = text_width(&self.text, self.size);
        let left = match self.anchor {
            Anchor::Start => self.x,
            Anchor::Middle => self.x - width / 2.0,
            Anchor::End => self.x - width,
        };
        let half = self.size * 0.6;
        Bounds { left, top: self.y - half, right: left + width, bottom: self.y + half }
    }
    /// Moved sideways so that it stays between two edges.
    #[must_use]
    pub fn within(mut self, left: f64, right: f64) -> Self {
        let bounds = self.bounds();
        if bounds.right > right {
            self.x -= bounds.right - right;
        } else if bounds.left < left {
            self.x += left - bounds.left;
        }
        self
    }
}

/// Width of a text in pixels, on the safe side for wide system fonts.
#[must_use]
pub fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(advance).sum::<f64>() * size
}

/// Advance of a letter in parts of the size, as in the widest of the usual system fonts.
fn advance(c: char) -> f64 {
    match c {
        '.' | ',' | ' ' | ':' | ';' | '\'' | '|' | 'i' | 'j' | 'l' => 0.34,
        '+' | '\u{2212}' | '\u{b1}' | '=' | '<' | '>' => 0.84,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 0.99,
        c if c.is_ascii_uppercase() => 0.75,
        c if c.is_ascii() => 0.64,
        c if c.is_alphabetic() && (c as u32) < 0x500 => 0.75,
        _ => 1.0,
    }
}
