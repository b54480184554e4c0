//! Patterns as the frames of one way of looking see them, wherever a graduation's line may lie.

use super::{Outlook, Pattern, finite, median};

/// Where the line of a graduated filter may lie, in shares of the height: the first, the step, and how
/// many there are. Every second is looked at; those between tell where the line lies more exactly.
const FIRST_LINE: f64 = 0.2;
const LINE_STEP: f64 = 0.05;
const LINES: usize = 13;

/// All patterns of a kit as one frame sees them.
#[derive(Clone, Debug)]
pub(in crate::editing::which) struct Drawn {
    pub view: Outlook,
    pub(super) of: Vec<Laid>,
    /// As they lie in frames that show the same, and what is left of them where the camera was turned.
    pub(super) whole: Ways,
    pub(super) edges: Ways,
}

/// All ways in which any pattern may lie, each once: many patterns have some in common.
#[derive(Clone, Debug, Default)]
pub(super) struct Ways {
    pub all: Vec<Vec<f32>>,
    /// By pattern and way: its place among all ways.
    pub places: Vec<Vec<usize>>,
}

/// One pattern: the ways in which it may lie, each with its median and its mean.
#[derive(Clone, Debug)]
pub(super) struct Laid {
    ways: Vec<Vec<f32>>,
    pub medians: Vec<f64>,
    means: Vec<f64>,
    /// By the way: the graduation's place in the list, and where its line lies.
    pub lines: Vec<Option<EdgeLine>>,
    pub graduated: bool,
    /// What red and blue lose beyond green, for each stop of the graduation.
    pub cast: [f64; 2],
}

/// Where the line of a graduation lies: its place in the list of patterns, and the line's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct EdgeLine {
    pub of: usize,
    pub at: usize,
}

impl EdgeLine {
    /// Whether it is looked at for its own sake.
    pub fn is_asked(self) -> bool {
        self.at.is_multiple_of(2)
    }
}

impl Drawn {
    /// Draws every pattern.
    pub fn of(patterns: &[Pattern], view: Outlook) -> Self {
        let coarse = coarse_size(view.size);
        let mut of: Vec<Laid> = Vec::new();
        for (at, pattern) in patterns.iter().enumerate() {
            let account = match pattern {
                Pattern::Both(one, two) => sum(&of[*one], &of[*two]),
                single => drawn(single, at, coarse, &view),
            };
            of.push(account);
        }
        let (mut whole, mut edges) = (Ways::default(), Ways::default());
        let even = vec![0.0; coarse.0 * coarse.1];
        for laid in &of {
            whole.add(laid.ways.iter());
            edges.add(laid.lines.iter().map(|line| line.map_or(&even, |l| &of[l.of].ways[l.at])));
        }
        Self { view, of, whole, edges }
    }

    /// What a pattern takes from the frame as a whole, in stops: as it was measured, the line of a
    /// graduation in the middle.
    pub fn mean(&self, pattern: usize) -> f64 {
        let laid = &self.of[pattern];
        let in_the_middle = |line: &Option<EdgeLine>| line.is_some_and(|l| l.at == LINES / 2);
        laid.means[laid.lines.iter().position(in_the_middle).unwrap_or(0)]
    }

    /// The graduated part of one way of a pattern, where there is one.
    pub(super) fn edge(&self, pattern: usize, way: usize) -> Option<&[f32]> {
        self.of[pattern].lines[way].map(|line| self.of[line.of].ways[line.at].as_slice())
    }
}

impl Ways {
    fn add<'a>(&mut self, ways: impl Iterator<Item = &'a Vec<f32>>) {
        let alike =
            |a: &[f32], b: &[f32]| a.iter().map(|v| v.to_bits()).eq(b.iter().map(|v| v.to_bits()));
        let mut places = Vec::new();
        for way in ways {
            places.push(self.all.iter().position(|known| alike(known, way)).unwrap_or_else(|| {
                self.all.push(way.clone());
                self.all.len() - 1
            }));
        }
        self.places.push(places);
    }
}

pub(super) fn coarse_size((columns, rows): (usize, usize)) -> (usize, usize) {
    (columns.div_ceil(2), rows.div_ceil(2))
}

fn sum(one: &Laid, two: &Laid) -> Laid {
    let add = |a: &Vec<f32>, b: &Vec<f32>| a.iter().zip(b).map(|(a, b)| a + b).collect();
    let ways = one.ways.iter().flat_map(|a| two.ways.iter().map(move |b| add(a, b)));
    let lines = one.lines.iter().flat_map(|a| two.lines.iter().map(move |b| a.or(*b)));
    let cast = if one.graduated { one.cast } else { two.cast };
    laid(ways.collect(), lines.collect(), cast)
}

fn drawn(pattern: &Pattern, at: usize, (columns, rows): (usize, usize), view: &Outlook) -> Laid {
    let ways: Vec<Vec<f32>> = match pattern {
        Pattern::Measured { columns: from_columns, rows: from_rows, stops, focal_mm } => {
            // A longer lens sees the inner part only; beyond what was measured the edge stands.
            let scale = match (view.focal_mm, *focal_mm) {
                (Some(here), Some(there)) if here > 0.0 => (there / here).min(1.0),
                _ => 1.0,
            };
            let inner = |at: usize, of: usize, from: usize| {
                let share = (at as f64 + 0.5) / of as f64 - 0.5;
                (((share * scale + 0.5) * from as f64) as usize).min(from - 1)
            };
            let cell = |i: usize| {
                let (row, column) = (i / columns, i % columns);
                stops[inner(row, rows, *from_rows) * from_columns
                    + inner(column, columns, *from_columns)]
            };
            // As it was measured, or hardly there: with another lens, or mounted otherwise.
            let own: Vec<f32> = (0..columns * rows).map(cell).collect();
            vec![own, vec![0.0; columns * rows]]
        }
        Pattern::Graduated { stops, width, .. } => {
            let way = |line: usize| {
                let line = FIRST_LINE + LINE_STEP * line as f64;
                let dark = |i: usize| {
                    let x = (i % columns) as f64 / columns as f64;
                    let y = (i / columns) as f64 / rows as f64;
                    let share = 0.5 - (down(x, y, view.orientation) - line) / width;
                    (stops * share.clamp(0.0, 1.0)) as f32
                };
                (0..columns * rows).map(dark).collect()
            };
            (0..LINES).map(way).collect()
        }
        Pattern::Even | Pattern::Both(..) => vec![vec![0.0; columns * rows]],
    };
    let (graduated, cast) = match pattern {
        Pattern::Graduated { stops, cast, .. } => {
            (true, cast.map(|c| if *stops > 0.0 { c / stops } else { 0.0 }))
        }
        _ => (false, [0.0; 2]),
    };
    let line = |line| graduated.then_some(EdgeLine { of: at, at: line });
    let lines = (0..ways.len()).map(line).collect();
    laid(ways, lines, cast)
}

fn laid(ways: Vec<Vec<f32>>, lines: Vec<Option<EdgeLine>>, cast: [f64; 2]) -> Laid {
    let medians = ways.iter().map(|way| median(finite(way)).unwrap_or(0.0)).collect();
    let mean = |way: &Vec<f32>| finite(way).sum::<f64>() / finite(way).count().max(1) as f64;
    let means = ways.iter().map(mean).collect();
    let graduated = lines.iter().any(Option::is_some);
    Laid { ways, medians, means, lines, graduated, cast }
}

/// Share of the way down from the top of the picture as it is viewed (Exif 2.32, Orientation).
fn down(x: f64, y: f64, orientation: u8) -> f64 {
    match orientation {
        3 | 4 => 1.0 - y,
        5 | 6 => x,
        7 | 8 => 1.0 - x,
        _ => y,
    }
}
