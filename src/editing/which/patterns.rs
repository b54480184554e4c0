//! Patterns that filters lay across the frame, and all ways in which they may lie.

pub mod fits;

use crate::numerics::robust::median;

/// Where the line of a graduated filter may lie, in shares of the height.
const LINES: [f64; 7] = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8];
/// A pattern of less spread than this is none, in stops (ours).
pub(super) const LEAST_SPREAD: f64 = 0.06;

/// A pattern across the frame, in stops of extra loss.
#[derive(Clone, Debug)]
pub(super) enum Pattern {
    /// None.
    Even,
    /// As the profile measured it, at the cells of a map.
    Measured { columns: usize, rows: usize, stops: Vec<f32>, focal_mm: Option<f64> },
    /// A step of so many stops across a line that may lie anywhere, over a share of the height.
    Graduated { stops: f64, width: f64 },
    /// A measured one and a graduated one together, by their places in the list.
    Both(usize, usize),
}

/// How a frame looks at the scene, as far as a pattern depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Outlook {
    /// Cells across and down.
    pub size: (usize, usize),
    /// Exif orientation.
    pub orientation: u8,
    /// Focal length.
    pub focal_mm: Option<f64>,
}

/// All patterns of a kit as one frame sees them.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    pub view: Outlook,
    of: Vec<Laid>,
    /// All ways in which any pattern may lie, each once: many patterns have some in common.
    ways: Vec<Vec<f32>>,
    /// By pattern and way: its place among all ways.
    places: Vec<Vec<usize>>,
}

/// One pattern: the ways in which it may lie, each with its median and its mean.
#[derive(Clone, Debug)]
struct Laid {
    ways: Vec<Vec<f32>>,
    medians: Vec<f64>,
    means: Vec<f64>,
    /// By the way: the graduation's place in the list, and where its line lies.
    lines: Vec<Option<(usize, usize)>>,
    graduated: bool,
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
        let mut ways: Vec<Vec<f32>> = Vec::new();
        let alike =
            |a: &[f32], b: &[f32]| a.iter().map(|v| v.to_bits()).eq(b.iter().map(|v| v.to_bits()));
        let mut place = |way: &Vec<f32>| {
            ways.iter().position(|known| alike(known, way)).unwrap_or_else(|| {
                ways.push(way.clone());
                ways.len() - 1
            })
        };
        let places = of.iter().map(|laid| laid.ways.iter().map(&mut place).collect()).collect();
        Self { view, of, ways, places }
    }

    /// What a pattern takes from the frame as a whole, in stops.
    pub fn mean(&self, pattern: usize) -> f64 {
        let means = &self.of[pattern].means;
        means[if self.of[pattern].graduated { means.len() / 2 } else { 0 }]
    }
}

fn finite(map: &[f32]) -> impl Iterator<Item = f64> + '_ {
    map.iter().filter(|m| m.is_finite()).map(|&m| f64::from(m))
}

fn coarse_size((columns, rows): (usize, usize)) -> (usize, usize) {
    (columns.div_ceil(2), rows.div_ceil(2))
}

fn sum(one: &Laid, two: &Laid) -> Laid {
    let add = |a: &Vec<f32>, b: &Vec<f32>| a.iter().zip(b).map(|(a, b)| a + b).collect();
    let ways = one.ways.iter().flat_map(|a| two.ways.iter().map(move |b| add(a, b)));
    let lines = one.lines.iter().flat_map(|a| two.lines.iter().map(move |b| a.or(*b)));
    laid(ways.collect(), lines.collect())
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
        Pattern::Graduated { stops, width } => {
            let way = |line: &f64| {
                let dark = |i: usize| {
                    let x = (i % columns) as f64 / columns as f64;
                    let y = (i / columns) as f64 / rows as f64;
                    let share = 0.5 - (down(x, y, view.orientation) - line) / width;
                    (stops * share.clamp(0.0, 1.0)) as f32
                };
                (0..columns * rows).map(dark).collect()
            };
            LINES.iter().map(way).collect()
        }
        Pattern::Even | Pattern::Both(..) => vec![vec![0.0; columns * rows]],
    };
    let graduated = matches!(pattern, Pattern::Graduated { .. });
    let lines = (0..ways.len()).map(|line| graduated.then_some((at, line))).collect();
    laid(ways, lines)
}

fn laid(ways: Vec<Vec<f32>>, lines: Vec<Option<(usize, usize)>>) -> Laid {
    let medians = ways.iter().map(|way| median(finite(way)).unwrap_or(0.0)).collect();
    let mean = |way: &Vec<f32>| finite(way).sum::<f64>() / finite(way).count().max(1) as f64;
    let means = ways.iter().map(mean).collect();
    let graduated = lines.iter().any(Option::is_some);
    Laid { ways, medians, means, lines, graduated }
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
