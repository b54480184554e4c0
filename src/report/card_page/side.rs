//! One printed side: black text and hairlines at places in millimetres, written as SVG.

use super::lettering::Type;
use askama::Template;

/// Hairline, in millimetres.
pub const HAIRLINE: f64 = 0.15;
/// A heavier rule, in millimetres.
pub const RULE: f64 = 0.35;

/// Where a text hangs from its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextAnchor {
    /// Begins there.
    Start,
    /// Centred there.
    Middle,
    /// Ends there.
    End,
}

/// A line of text; places in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// Left, middle or right end of the baseline.
    pub x: f64,
    /// Baseline.
    pub y: f64,
    /// Letters.
    pub text: String,
    /// Size and weight.
    pub face: Type,
    /// Which end `x` is.
    pub anchor: TextAnchor,
    /// Names a time of the table: metered dial time and column number, for whoever checks it.
    pub time: Option<(String, usize)>,
}

/// A straight stroke, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// From.
    pub from: (f64, f64),
    /// To.
    pub to: (f64, f64),
    /// Thickness.
    pub width: f64,
    /// The line that proves the print's scale.
    pub scale: bool,
}

/// One side of a card.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Side {
    /// Width in millimetres.
    pub width: f64,
    /// Height in millimetres.
    pub height: f64,
    /// For those who cannot see it.
    pub title: String,
    /// Texts.
    pub texts: Vec<Text>,
    /// Strokes.
    pub strokes: Vec<Stroke>,
}

#[derive(Template)]
#[template(path = "side.svg", escape = "html")]
struct SideTemplate<'a> {
    side: &'a Side,
}

impl Side {
    /// An empty side.
    #[must_use]
    pub fn new(width: f64, height: f64, title: &str) -> Self {
        Self { width, height, title: title.to_owned(), ..Self::default() }
    }

    /// Writes one line.
    pub fn text(&mut self, x: f64, y: f64, face: Type, anchor: TextAnchor, text: &str) {
        self.texts.push(Text { x, y, text: text.to_owned(), face, anchor, time: None });
    }

    /// Writes a paragraph whose first line stands one leading below `y`; gives the last
    /// baseline, all in millimetres.
    pub fn paragraph(&mut self, x: f64, y: f64, width: f64, face: Type, text: &str) -> f64 {
        let lines = face.wrap(text, width);
        lines.iter().fold(y, |y, line| {
            let y = y + face.leading();
            self.text(x, y, face, TextAnchor::Start, line);
            y
        })
    }

    /// A level line.
    pub fn level(&mut self, x: f64, y: f64, width: f64, thickness: f64) {
        self.stroke((x, y), (x + width, y), thickness);
    }

    /// Any line.
    pub fn stroke(&mut self, from: (f64, f64), to: (f64, f64), width: f64) {
        self.strokes.push(Stroke { from, to, width, scale: false });
    }

    /// The 50 mm line: measured from end tick to end tick, its words to the right.
    pub fn scale_line(&mut self, x: f64, y: f64) {
        let face = Type::plain(5.5);
        self.strokes.push(Stroke { from: (x, y), to: (x + 50.0, y), width: RULE, scale: true });
        // The ticks stand inside, so that from outer edge to outer edge it is 50 mm.
        for end in [x + HAIRLINE / 2.0, x + 50.0 - HAIRLINE / 2.0] {
            self.stroke((end, y - 1.2), (end, y + 1.2), HAIRLINE);
        }
        self.text(x + 52.0, y + 0.7, face, TextAnchor::Start, "50 mm if printed at 100 %");
    }

    /// The whole side as SVG, sized in millimetres.
    ///
    /// # Errors
    /// Where the template cannot be written, which does not happen to a string.
    pub fn svg(&self) -> Result<String, askama::Error> {
        SideTemplate { side: self }.render()
    }
}

impl Text {
    /// Width the line is squeezed to.
    fn length(&self) -> f64 {
        self.face.width(&self.text)
    }
    fn anchor_word(&self) -> &'static str {
        match self.anchor {
            TextAnchor::Start => "start",
            TextAnchor::Middle => "middle",
            TextAnchor::End => "end",
        }
    }
}

/// Two places after the point: a hundredth of a millimetre.
fn mm(value: impl std::borrow::Borrow<f64>) -> String {
    crate::rounding::fixed(*value.borrow(), 2)
}
