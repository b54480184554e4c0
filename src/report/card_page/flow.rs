//! Running text on sides of a fixed size: sections flow from one side to the next.

use super::lettering::Type;
use super::notes::{Grid, Section};
use super::side::{HAIRLINE, Side, TextAnchor};

/// Rows of a small table stand this much wider than lines of text.
const GRID_PITCH: f64 = 1.15;

/// Type of the running text; lengths in millimetres.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// Width of a side.
    pub width: f64,
    /// Height of a side.
    pub height: f64,
    /// Margin all round.
    pub margin: f64,
    /// Room kept free at the foot, above the margin.
    pub foot: f64,
    /// Headings.
    pub head: Type,
    /// Text.
    pub body: Type,
}

/// Sides being filled.
#[derive(Debug)]
pub struct Flow {
    style: Style,
    title: String,
    sides: Vec<Side>,
    y: f64,
}

impl Flow {
    /// Starts with an empty side.
    #[must_use]
    pub fn new(style: Style, title: &str) -> Self {
        let side = Side::new(style.width, style.height, title);
        Self { style, title: title.to_owned(), sides: vec![side], y: style.margin }
    }

    /// The sides.
    #[must_use]
    pub fn finish(self) -> Vec<Side> {
        self.sides
    }

    /// Millimetres left below what stands.
    #[must_use]
    pub fn left(&self) -> f64 {
        self.style.height - self.style.margin - self.style.foot - self.y
    }

    /// Makes room for so many millimetres, on a new side if need be.
    fn room(&mut self, height: f64) {
        if self.left() < height && self.y > self.style.margin {
            self.sides.push(Side::new(self.style.width, self.style.height, &self.title));
            self.y = self.style.margin;
        }
    }

    fn inner(&self) -> f64 {
        self.style.width - 2.0 * self.style.margin
    }

    fn with(&mut self, write: impl FnOnce(&mut Side, f64)) {
        let y = self.y;
        if let Some(side) = self.sides.last_mut() {
            write(side, y);
        }
    }

    /// A section: heading, small table, paragraphs.
    pub fn section(&mut self, section: &Section) {
        let Style { margin, head, body, .. } = self.style;
        // A section stays whole where a side holds it, a heading with the two lines below it.
        let least = head.leading() + 2.0 * body.leading();
        let whole = self.height(section);
        let side = self.style.height - 2.0 * margin - self.style.foot;
        self.room(if whole <= side { whole } else { least });
        self.y += head.leading();
        self.with(|side, y| side.text(margin, y, head, TextAnchor::Start, &section.title));
        if let Some(grid) = &section.grid {
            self.grid(grid);
        }
        let face = if section.strong { Type::bold(body.points) } else { body };
        for paragraph in &section.paragraphs {
            self.paragraph(paragraph, face);
        }
        self.y += 0.6 * body.leading();
    }

    /// Millimetres that a section takes.
    fn height(&self, section: &Section) -> f64 {
        let Style { head, body, .. } = self.style;
        let face = if section.strong { Type::bold(body.points) } else { body };
        let lines: usize =
            section.paragraphs.iter().map(|p| face.wrap(p, self.inner()).len()).sum();
        let rows = section.grid.as_ref().map_or(0, |g| g.rows.len() + 1);
        let grid = if rows > 0 { GRID_PITCH * body.leading() * rows as f64 + 1.0 } else { 0.0 };
        head.leading() + grid + face.leading() * lines as f64
    }

    /// Text, line by line.
    pub fn paragraph(&mut self, text: &str, face: Type) {
        let margin = self.style.margin;
        for line in face.wrap(text, self.inner()) {
            self.room(face.leading());
            self.y += face.leading();
            self.with(|side, y| side.text(margin, y, face, TextAnchor::Start, &line));
        }
    }

    fn grid(&mut self, grid: &Grid) {
        let face = self.style.body;
        let margin = self.style.margin;
        let inner = self.inner();
        let gap = 2.0;
        let natural = |i: usize| {
            let cells = grid.rows.iter().filter_map(|row| row.get(i));
            grid.heads.get(i).into_iter().chain(cells).map(|t| face.width(t)).fold(0.0, f64::max)
        };
        let widths: Vec<f64> = (0..grid.heads.len()).map(natural).collect();
        let total: f64 = widths.iter().sum::<f64>() + gap * (widths.len() as f64 - 1.0);
        // Spare width is shared out, so that columns stand evenly; too wide ones are squeezed.
        let spare = (inner - total).max(0.0) / widths.len().max(1) as f64;
        for (line, row) in std::iter::once(&grid.heads).chain(&grid.rows).enumerate() {
            self.room(GRID_PITCH * face.leading());
            self.y += GRID_PITCH * face.leading();
            let mut x = margin;
            for (text, width) in row.iter().zip(&widths) {
                self.with(|side, y| side.text(x, y, face, TextAnchor::Start, text));
                x += width + gap + spare;
            }
            if line == 0 {
                self.y += 0.6;
                self.with(|side, y| side.level(margin, y, inner, HAIRLINE));
            }
        }
        self.y += 0.4;
    }

    /// Lines to write on, as many as fit, at most so many.
    pub fn lines(&mut self, most: usize) {
        let heads = ["frame number", "filter", "mark", "note"];
        let (face, margin, inner, pitch) = (Type::plain(6.5), self.style.margin, self.inner(), 8.0);
        let fit = ((self.left() - face.leading()) / pitch).floor().max(0.0) as usize;
        if fit == 0 {
            return;
        }
        self.y += face.leading();
        for (i, head) in heads.iter().enumerate() {
            let x = margin + inner * [0.0, 0.25, 0.58, 0.72].get(i).copied().unwrap_or(0.0);
            self.with(|side, y| side.text(x, y, face, TextAnchor::Start, head));
        }
        for _ in 0..fit.min(most) {
            self.y += pitch;
            self.with(|side, y| side.level(margin, y, inner, HAIRLINE));
        }
    }
}
