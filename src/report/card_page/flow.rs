//! Running text on sides of a fixed size: sections flow from one side to the next.

use super::lettering::Type;
use super::notes::{Grid, Section};
use super::side::{HAIRLINE, Side, TextAnchor};

/// Rows of a small table stand this much wider than lines of text.
const GRID_PITCH: f64 = 1.15;
/// Millimetres between its columns, and where they are wide.
const GAP: f64 = 2.0;
const TIGHT_GAP: f64 = 1.2;
/// Points of the smallest type on any card.
const SMALLEST: f64 = 5.0;
/// Millimetres by which sums of widths may be off.
const ROUNDING: f64 = 1e-6;

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

/// A small table as it fits a side.
#[derive(Debug)]
struct Arranged {
    face: Type,
    /// Between columns.
    gap: f64,
    widths: Vec<f64>,
    /// Lines of each cell, heads first.
    rows: Vec<Vec<Vec<String>>>,
}

impl Arranged {
    fn row_height(&self, row: &[Vec<String>]) -> f64 {
        let lines = row.iter().map(Vec::len).max().unwrap_or(1);
        (GRID_PITCH + lines.saturating_sub(1) as f64) * self.face.leading()
    }

    /// With the room about the line below the heads.
    fn height(&self) -> f64 {
        self.rows.iter().map(|row| self.row_height(row)).sum::<f64>() + 1.0
    }
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
        let grid = section.grid.as_ref().map_or(0.0, |grid| self.arranged(grid).height());
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

    /// A small table within the side's width: where its columns are too wide the gaps shrink, then the
    /// type, and at last cells break into lines.
    fn arranged(&self, grid: &Grid) -> Arranged {
        let natural = |face: Type| -> Vec<f64> {
            let width = |i: usize| {
                let cells = grid.rows.iter().filter_map(|row| row.get(i));
                let texts = grid.heads.get(i).into_iter().chain(cells);
                texts.map(|text| face.width(text)).fold(0.0, f64::max)
            };
            (0..grid.heads.len()).map(width).collect()
        };
        let (body, inner) = (self.style.body, self.inner());
        let gaps = grid.heads.len().saturating_sub(1) as f64;
        let tight = (inner - gaps * TIGHT_GAP) / natural(body).iter().sum::<f64>();
        let points = (10.0 * body.points * tight.min(1.0)).floor() / 10.0;
        let face = Type { points: points.max(SMALLEST).min(body.points), ..body };
        let wanted = natural(face);
        let left = inner - wanted.iter().sum::<f64>();
        let gap = (left / gaps.max(1.0)).clamp(TIGHT_GAP, GAP);
        let most = widest(&wanted, inner - gaps * gap);
        let widths: Vec<f64> = wanted.iter().map(|width| width.min(most)).collect();
        // Spare width is shared out, so that columns stand evenly.
        let spare = (inner - widths.iter().sum::<f64>() - gaps * gap).max(0.0);
        let gap = gap + spare / widths.len().max(1) as f64;
        let lines = |row: &Vec<String>| -> Vec<Vec<String>> {
            row.iter().zip(&widths).map(|(text, width)| cell_lines(face, text, *width)).collect()
        };
        let rows = std::iter::once(&grid.heads).chain(&grid.rows).map(lines).collect();
        Arranged { face, gap, widths, rows }
    }

    fn grid(&mut self, grid: &Grid) {
        let table = self.arranged(grid);
        let (face, margin, inner) = (table.face, self.style.margin, self.inner());
        for (number, row) in table.rows.iter().enumerate() {
            let height = table.row_height(row);
            self.room(height);
            let first = self.y + GRID_PITCH * face.leading();
            let mut x = margin;
            for (cell, width) in row.iter().zip(&table.widths) {
                for (line, text) in cell.iter().enumerate() {
                    let y = first + face.leading() * line as f64;
                    self.with(|side, _| side.text(x, y, face, TextAnchor::Start, text));
                }
                x += width + table.gap;
            }
            self.y += height;
            if number == 0 {
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

/// Width that no column may exceed, so that together they take no more than the room.
fn widest(widths: &[f64], room: f64) -> f64 {
    let mut sorted = widths.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut left = room;
    for (i, width) in sorted.iter().enumerate() {
        let share = left / (sorted.len() - i) as f64;
        if *width > share {
            return share;
        }
        left -= width;
    }
    f64::INFINITY
}

/// A cell stays in one piece where its column is wide enough.
fn cell_lines(face: Type, text: &str, width: f64) -> Vec<String> {
    if face.width(text) <= width + ROUNDING {
        vec![text.to_owned()]
    } else {
        face.wrap(text, width)
    }
}
