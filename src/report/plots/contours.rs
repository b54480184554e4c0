//! Lines of equal darkness over a map, by marching squares.

use std::collections::HashMap;

/// A map of values over square cells, row-major from the top left.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Values, `None` where unknown.
    pub values: Vec<Option<f64>>,
}

impl Field {
    fn at(&self, column: usize, row: usize) -> Option<f64> {
        self.values.get(row * self.columns + column).copied().flatten()
    }

    /// Binomial mean over 3 x 3 cells, so that contours follow the filter and not the noise.
    #[must_use]
    pub fn smoothed(&self) -> Self {
        const WEIGHTS: [f64; 3] = [1.0, 2.0, 1.0];
        let mut values = Vec::with_capacity(self.values.len());
        for row in 0..self.rows {
            for column in 0..self.columns {
                let (mut sum, mut weight) = (0.0, 0.0);
                for (i, wy) in WEIGHTS.iter().enumerate() {
                    for (j, wx) in WEIGHTS.iter().enumerate() {
                        let (Some(r), Some(c)) =
                            ((row + i).checked_sub(1), (column + j).checked_sub(1))
                        else {
                            continue;
                        };
                        if r < self.rows
                            && c < self.columns
                            && let Some(v) = self.at(c, r)
                        {
                            sum += wx * wy * v;
                            weight += wx * wy;
                        }
                    }
                }
                let known = self.at(column, row).is_some() && weight > 0.0;
                values.push(known.then(|| sum / weight));
            }
        }
        Self { columns: self.columns, rows: self.rows, values }
    }

    /// Lines where the field crosses `level`, in cells: the centre of the first cell is (0.5, 0.5).
    #[must_use]
    pub fn contour(&self, level: f64) -> Vec<Vec<(f64, f64)>> {
        let mut segments = Vec::new();
        for row in 0..self.rows.saturating_sub(1) {
            for column in 0..self.columns.saturating_sub(1) {
                self.cross(column, row, level, &mut segments);
            }
        }
        join(&segments)
    }

    /// Segments inside the square between four neighbouring cell centres.
    fn cross(&self, column: usize, row: usize, level: f64, out: &mut Vec<(CellEdge, CellEdge)>) {
        let corner = |dx, dy| self.at(column + dx, row + dy);
        let (Some(a), Some(b), Some(c), Some(d)) =
            (corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1))
        else {
            return;
        };
        let (x, y) = (column as f64 + 0.5, row as f64 + 0.5);
        let key = |dx: usize, dy: usize, down: bool| (column + dx, row + dy, down);
        let cut = |from: f64, to: f64| (level - from) / (to - from);
        let differ = |p: f64, q: f64| (p > level) != (q > level);
        let mut edges = Vec::with_capacity(4);
        if differ(a, b) {
            edges.push(CellEdge { key: key(0, 0, false), point: (x + cut(a, b), y) });
        }
        if differ(b, c) {
            edges.push(CellEdge { key: key(1, 0, true), point: (x + 1.0, y + cut(b, c)) });
        }
        if differ(d, c) {
            edges.push(CellEdge { key: key(0, 1, false), point: (x + cut(d, c), y + 1.0) });
        }
        if differ(a, d) {
            edges.push(CellEdge { key: key(0, 0, true), point: (x, y + cut(a, d)) });
        }
        match edges[..] {
            [p, q] => out.push((p, q)),
            [top, right, bottom, left] => {
                // A saddle: the mean decides which corners belong together.
                let joined = ((a + b + c + d) / 4.0 > level) == (a > level);
                if joined {
                    out.extend([(top, right), (bottom, left)]);
                } else {
                    out.extend([(top, left), (right, bottom)]);
                }
            }
            _ => {}
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct CellEdge {
    key: (usize, usize, bool),
    point: (f64, f64),
}

/// Joins segments that share an edge into lines.
fn join(segments: &[(CellEdge, CellEdge)]) -> Vec<Vec<(f64, f64)>> {
    let mut at_edge: HashMap<(usize, usize, bool), Vec<usize>> = HashMap::new();
    for (index, (p, q)) in segments.iter().enumerate() {
        at_edge.entry(p.key).or_default().push(index);
        at_edge.entry(q.key).or_default().push(index);
    }
    let mut used = vec![false; segments.len()];
    let walk = |start: CellEdge, used: &mut Vec<bool>| {
        let mut line = Vec::new();
        let mut here = start;
        loop {
            let next = at_edge
                .get(&here.key)
                .and_then(|list| list.iter().copied().find(|index| !used[*index]));
            let Some(index) = next else { return line };
            used[index] = true;
            let (p, q) = segments[index];
            here = if p.key == here.key { q } else { p };
            line.push(here.point);
        }
    };
    let mut lines = Vec::new();
    for index in 0..segments.len() {
        if used[index] {
            continue;
        }
        used[index] = true;
        let (p, q) = segments[index];
        let mut line: Vec<_> = walk(p, &mut used);
        line.reverse();
        line.push(p.point);
        line.push(q.point);
        line.extend(walk(q, &mut used));
        lines.push(line);
    }
    lines
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn cone(columns: usize, rows: usize) -> Field {
        let (cx, cy) = (columns as f64 / 2.0, rows as f64 / 2.0);
        let values = (0..rows)
            .flat_map(|r| (0..columns).map(move |c| (c as f64 + 0.5, r as f64 + 0.5)))
            .map(|(x, y)| Some((x - cx).hypot(y - cy)))
            .collect();
        Field { columns, rows, values }
    }

    #[test]
    fn a_cone_gives_one_closed_circle() {
        const HALF_A_CELL_OF_CURVATURE: f64 = 0.05;
        let lines = cone(40, 30).contour(9.0);
        assert_eq!(lines.len(), 1);
        let line = &lines[0];
        assert_eq!(line.first().unwrap(), line.last().unwrap());
        for (x, y) in line {
            let radius = (x - 20.0).hypot(y - 15.0);
            assert!((radius - 9.0).abs() < HALF_A_CELL_OF_CURVATURE, "{radius}");
        }
    }

    #[test]
    fn a_plane_gives_a_straight_line_and_smoothing_keeps_it() {
        let values = (0..8).flat_map(|_| (0..12).map(|c| Some(c as f64 + 0.5))).collect();
        let field = Field { columns: 12, rows: 8, values };
        for lines in [field.contour(6.2), field.smoothed().contour(6.2)] {
            assert_eq!(lines.len(), 1);
            assert_eq!(lines[0].len(), 8);
            assert!(lines[0].iter().all(|(x, _)| (x - 6.2).abs() < 1e-9));
        }
    }

    #[test]
    fn unknown_cells_interrupt_a_line() {
        let mut field = cone(40, 30);
        field.values[15 * 40 + 29] = None;
        let lines = field.contour(9.0);
        assert_eq!(lines.len(), 1);
        assert_ne!(lines[0].first(), lines[0].last());
    }
}
