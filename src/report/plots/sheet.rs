//! A sheet to draw on: a list of marks in pixels, painted by plotters' SVG backend, in two forms:
//! one for inside the page, whose colours follow the page's theme, and one file that stands alone.
//!
//! plotters places things on whole pixels, so the sheet is painted ten times as large and shown at
//! its own size: hairlines stay hairlines and a band is as wide as its uncertainty.

use super::ink::{Paint, Role};
use super::label::{Anchor, Bounds, Label};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::fmt::Write as _;

/// Why a plot could not be drawn.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlotError {
    /// The drawing library refused.
    #[error("the drawing failed: {0}")]
    Drawing(String),
    /// A map whose values do not fill its grid.
    #[error("a map of {columns} x {rows} cells holds {values} values")]
    Shape {
        /// Cells across.
        columns: usize,
        /// Cells down.
        rows: usize,
        /// Values found.
        values: usize,
    },
    /// Nothing to draw.
    #[error("there is nothing to draw")]
    Empty,
}

/// Name and meaning of a drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caption {
    /// File name without ending: plain letters, digits and hyphens.
    pub name: String,
    /// What it is.
    pub title: String,
    /// What it shows, in a sentence.
    pub finding: String,
}

enum Mark {
    Rectangle(Bounds, Paint),
    Line { points: Vec<(f64, f64)>, width: f64, paint: Paint },
    Area(Vec<(f64, f64)>, Paint),
    Dot { x: f64, y: f64, radius: f64, filled: bool, paint: Paint },
    Text(Label),
}

/// A finished drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Svg {
    /// File name without folder, e.g. `ruler.svg`.
    pub file_name: String,
    /// For inside the page.
    pub inline: String,
    /// As a file of its own.
    pub file: String,
}

/// A drawing in the making.
pub struct Sheet {
    caption: Caption,
    width: f64,
    height: f64,
    field: String,
    marks: Vec<Mark>,
    taken: Vec<Bounds>,
}

const SCALE: f64 = 10.0;

impl Sheet {
    /// An empty sheet of a size in pixels.
    pub fn new(caption: &Caption, width: f64, height: f64) -> Self {
        Self {
            caption: caption.clone(),
            width,
            height,
            field: String::new(),
            marks: Vec::new(),
            taken: Vec::new(),
        }
    }
    /// A filled rectangle.
    pub fn rectangle(&mut self, bounds: Bounds, paint: impl Into<Paint>) {
        self.marks.push(Mark::Rectangle(bounds, paint.into()));
    }
    /// A line through points.
    pub fn line(&mut self, points: Vec<(f64, f64)>, width: f64, paint: impl Into<Paint>) {
        self.marks.push(Mark::Line { points, width, paint: paint.into() });
    }
    /// A filled area.
    pub fn area(&mut self, points: Vec<(f64, f64)>, paint: impl Into<Paint>) {
        self.marks.push(Mark::Area(points, paint.into()));
    }
    /// A dot, filled or a ring.
    pub fn dot(&mut self, x: f64, y: f64, radius: f64, filled: bool, paint: impl Into<Paint>) {
        self.marks.push(Mark::Dot { x, y, radius, filled, paint: paint.into() });
    }
    /// A text, whatever stands there already.
    pub fn text(&mut self, label: Label) {
        self.taken.push(label.bounds());
        self.marks.push(Mark::Text(label));
    }
    /// Whether a text would lie inside the sheet and touch no other.
    #[must_use]
    pub fn has_room(&self, label: &Label) -> bool {
        let bounds = label.bounds();
        bounds.left >= 0.0
            && bounds.right <= self.width
            && bounds.top >= 0.0
            && bounds.bottom <= self.height
            && !self.taken.iter().any(|other| other.meets(&bounds))
    }
    /// A text where there is room for it; says whether there was.
    pub fn text_if_room(&mut self, label: Label) -> bool {
        let room = self.has_room(&label);
        if room {
            self.text(label);
        }
        room
    }
    /// Keeps later texts out of a region.
    pub fn keep_free(&mut self, bounds: Bounds) {
        self.taken.push(bounds);
    }
    /// Puts square cells of one exact colour under everything else, as one path; `cells` are
    /// column, row and length of runs, `side` and the origin in pixels.
    pub fn cells(
        &mut self,
        cells: &[(usize, usize, usize)],
        side: f64,
        origin: (f64, f64),
        colour: [u8; 3],
    ) {
        if cells.is_empty() {
            return;
        }
        let [r, g, b] = colour;
        let (x, y) = (origin.0 * SCALE, origin.1 * SCALE);
        let _ = write!(
            self.field,
            "<path shape-rendering=\"crispEdges\" transform=\"translate({x:.0} {y:.0}) scale({:.3})\" \
             fill=\"#{r:02X}{g:02X}{b:02X}\" d=\"",
            side * SCALE
        );
        for (column, row, length) in cells {
            // A little under the neighbours, so that paper and screens show no seams.
            let _ = write!(self.field, "M{column} {row}h{length}.2v1.2h-{length}.2z");
        }
        self.field.push_str("\"/>\n");
    }

    /// Puts hatching over cells that hold no value, on a ground of its own, so that they read alike
    /// on light and dark pages and as no degree of darkness.
    pub fn hatched(&mut self, cells: &[(usize, usize, usize)], side: f64, origin: (f64, f64)) {
        if cells.is_empty() {
            return;
        }
        self.cells(cells, side, origin, [0xF7, 0xF6, 0xF2]);
        let (x, y) = (origin.0 * SCALE, origin.1 * SCALE);
        let _ = write!(
            self.field,
            "<path transform=\"translate({x:.0} {y:.0}) scale({:.3})\" fill=\"none\" \
             stroke=\"#77736A\" stroke-width=\"0.25\" d=\"",
            side * SCALE
        );
        for (column, row, length) in cells {
            for cell in *column..column + length {
                let _ = write!(self.field, "M{cell} {}l1 -1", row + 1);
            }
        }
        self.field.push_str("\"/>\n");
    }

    /// Paints the sheet.
    ///
    /// # Errors
    /// Where the drawing library refuses.
    pub fn finish(self) -> Result<Svg, PlotError> {
        let mut painted = String::new();
        {
            let size = ((self.width * SCALE) as u32, (self.height * SCALE) as u32);
            let area = SVGBackend::with_string(&mut painted, size).into_drawing_area();
            for mark in &self.marks {
                paint(&area, mark)?;
            }
            area.present().map_err(refused)?;
        }
        let body = painted
            .split_once(">\n")
            .map(|(_, body)| body)
            .ok_or(PlotError::Empty)?
            .replace("opacity=\"1\" ", "")
            .replace("\n</text>", "</text>");
        Ok(Svg {
            file_name: format!("{}.svg", self.caption.name),
            inline: self.wrap(&body, Form::Inline),
            file: self.wrap(&body, Form::File),
        })
    }

    fn wrap(&self, body: &str, form: Form) -> String {
        let (width, height) = (self.width, self.height);
        let view = format!("viewBox=\"0 0 {} {}\"", width * SCALE, height * SCALE);
        let (title, finding) = (escape(&self.caption.title), escape(&self.caption.finding));
        let name = &self.caption.name;
        let mut out = match form {
            Form::Inline => format!(
                "<svg class=\"plot\" {view} width=\"{width}\" role=\"img\" \
                 aria-labelledby=\"{name}-t {name}-d\">\n<title id=\"{name}-t\">{title}</title>\
                 <desc id=\"{name}-d\">{finding}</desc>\n"
            ),
            Form::File => format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
                 {view} role=\"img\">\n<title>{title}</title>\n<desc>{finding}</desc>\n\
                 <rect width=\"100%\" height=\"100%\" fill=\"#fdfcf9\"/>\n"
            ),
        };
        out.push_str(&self.field);
        let mut body = body.to_owned();
        for (role, variable, exact) in Role::ALL {
            let RGBColor(r, g, b) = role.stand_in();
            let stand_in = format!("\"#{r:02X}{g:02X}{b:02X}\"");
            let value = if form == Form::Inline { variable } else { exact };
            body = body.replace(&stand_in, &format!("\"{value}\""));
        }
        out.push_str(&body);
        out
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Inline,
    File,
}

fn refused<E: std::fmt::Display>(error: E) -> PlotError {
    PlotError::Drawing(error.to_string())
}

fn place(x: f64, y: f64) -> (i32, i32) {
    ((x * SCALE).round() as i32, (y * SCALE).round() as i32)
}

fn paint<DB: DrawingBackend>(
    area: &DrawingArea<DB, plotters::coord::Shift>,
    mark: &Mark,
) -> Result<(), PlotError> {
    let done = match mark {
        Mark::Rectangle(b, paint) => area.draw(&Rectangle::new(
            [place(b.left, b.top), place(b.right, b.bottom)],
            paint.colour().filled(),
        )),
        Mark::Line { points, width, paint } => {
            let stroke = paint.colour().stroke_width((width * SCALE).round() as u32);
            let points: Vec<_> = points.iter().map(|(x, y)| place(*x, *y)).collect();
            area.draw(&PathElement::new(points, stroke))
        }
        Mark::Area(points, paint) => {
            let points: Vec<_> = points.iter().map(|(x, y)| place(*x, *y)).collect();
            area.draw(&Polygon::new(points, paint.colour().filled()))
        }
        Mark::Dot { x, y, radius, filled, paint } => {
            let style = if *filled {
                paint.colour().filled()
            } else {
                paint.colour().stroke_width((1.2 * SCALE) as u32)
            };
            area.draw(&Circle::new(place(*x, *y), (radius * SCALE).round() as i32, style))
        }
        Mark::Text(label) => {
            let anchor = match label.anchor {
                Anchor::Start => HPos::Left,
                Anchor::Middle => HPos::Center,
                Anchor::End => HPos::Right,
            };
            // The backend divides a font's size by 1.24.
            let size = label.size * SCALE * 1.24;
            let weight = if label.bold { FontStyle::Bold } else { FontStyle::Normal };
            let font = FontDesc::new(FontFamily::Name("system-ui, sans-serif"), size, weight);
            let colour = label.paint.colour();
            let style = TextStyle::from(font).color(&colour).pos(Pos::new(anchor, VPos::Center));
            area.draw(&Text::new(label.text.clone(), place(label.x, label.y), style))
        }
    };
    done.map_err(refused)
}

/// Escapes text for markup.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}
