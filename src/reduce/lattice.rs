//! Samples seen as rows of values in which colour planes repeat, whatever the frame holds.

use super::fetch::{LINE, fetch};
use super::grid::{CellGrid, PlaneCells};
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::counts::Counts;
use crate::frame::{Area, Frame, Samples};
use fearless_simd::Level;
use std::ops::Range;

/// Values of a vector.
pub(super) const LANES: usize = 16;
/// Colour planes of a frame at most.
pub(super) const MOST_PLANES: usize = 4;

/// A mosaic has one value per pixel, a three-channel picture three; both are a lattice of values.
#[derive(Clone)]
pub(super) struct Lattice<'a> {
    data: &'a [u16],
    /// Values that are not in `data` but decoded when a part of them is asked for by
    /// [`Lattice::having`].
    coded: Option<&'a Counts>,
    stride: usize,
    /// First value of the active area; before the first of `data` where that is a part of it.
    first: usize,
    /// Values across the active area.
    pub(super) width: usize,
    pub(super) height: usize,
    /// Repeat of the planes in rows and in values.
    pub(super) period_rows: usize,
    pub(super) period_columns: usize,
    /// Index into `names` for every position of the repeat.
    pub(super) positions: Vec<usize>,
    /// Rows of the repeat in which the planes lie alike, the first of each first.
    pub(super) alike: Vec<Vec<usize>>,
    names: Vec<Plane>,
    /// Values per pixel.
    channels: usize,
    pub(super) white: u16,
    pub(super) area: Area,
    pub(super) cfa: Option<&'a Cfa>,
    /// The cells, in pixels.
    pub(super) side: usize,
    pub(super) columns: usize,
    pub(super) rows: usize,
}

impl<'a> Lattice<'a> {
    pub(super) fn of(frame: &'a Frame) -> Self {
        let (counts, stored, channels, cfa) = match &frame.samples {
            Samples::Raw(m, cfa) => (&m.data, (m.width, m.height), 1, Some(cfa)),
            Samples::Rendered(p) => (&p.data, (p.width, p.height), 3, None),
        };
        let coded = counts.is_coded().then_some(counts);
        let data: &[u16] = if coded.is_some() { &[] } else { counts };
        let stored_rows = stored.1.min(counts.len().checked_div(stored.0 * channels).unwrap_or(0));
        let area = cut(frame.active, stored.0, stored_rows);
        let (side, columns, rows) = CellGrid::geometry(area, cfa);
        let names = planes_of(cfa);
        let (period_rows, period_columns) = cfa.map_or((1, 3), |c| (c.side(), c.side()));
        let positions = (0..period_rows * period_columns)
            .map(|i| match cfa {
                Some(cfa) => {
                    let plane = cfa.plane(i / period_columns, i % period_columns);
                    names.iter().position(|&n| n == plane).unwrap_or(0)
                }
                None => i,
            })
            .collect::<Vec<usize>>();
        Self {
            alike: alike(&positions, period_columns),
            data,
            coded,
            stride: stored.0 * channels,
            first: (area.top * stored.0 + area.left) * channels,
            width: area.width * channels,
            height: area.height,
            period_rows,
            period_columns,
            positions,
            names,
            channels,
            white: frame.levels.white,
            area,
            cfa,
            side,
            columns,
            rows,
        }
    }
    /// The same with some values of some rows at hand, decoded into a buffer where they are not yet.
    pub(super) fn having<'b>(
        &self,
        rows: Range<usize>,
        columns: Range<usize>,
        buffer: &'b mut Vec<u16>,
    ) -> Lattice<'b>
    where
        'a: 'b,
    {
        let Some(counts) = self.coded else { return self.clone() };
        let (top, left) = (self.first / self.stride, self.first % self.stride);
        let rows_of_all = top + rows.start..top + rows.end;
        let columns_of_all = left + columns.start..left + columns.end;
        buffer.clear();
        counts.part(self.stride, rows_of_all, columns_of_all, buffer);
        let stride = columns.len();
        let first = 0_usize.wrapping_sub(rows.start * stride + columns.start);
        Lattice { data: buffer, coded: None, stride, first, ..self.clone() }
    }
    /// The values of a row of the active area, all of which are at hand.
    pub(super) fn row(&self, row: usize) -> &'a [u16] {
        self.part_of(row, 0..self.width)
    }
    /// Some of them.
    #[inline(always)]
    pub(super) fn part_of(&self, row: usize, columns: Range<usize>) -> &'a [u16] {
        let start = self.first.wrapping_add(row * self.stride + columns.start);
        &self.data[start..start + columns.len()]
    }
    /// All that are at hand from one on, row after row with what lies between.
    #[inline(always)]
    pub(super) fn from(&self, row: usize, column: usize) -> &'a [u16] {
        &self.data[self.first.wrapping_add(row * self.stride + column)..]
    }
    /// All values from the first of the active area on.
    pub(super) fn values(&self) -> &'a [u16] {
        self.data.get(self.first..).unwrap_or_default()
    }
    /// Values from one row to the next.
    pub(super) fn stride(&self) -> usize {
        self.stride
    }
    /// Values across a whole cell.
    pub(super) fn cell_width(&self) -> usize {
        self.side * self.channels
    }
    /// The values of a column of cells.
    pub(super) fn columns_of(&self, column: usize) -> Range<usize> {
        column * self.cell_width()..((column + 1) * self.cell_width()).min(self.width)
    }
    /// The rows of a row of cells.
    pub(super) fn rows_of_band(&self, band: usize) -> Range<usize> {
        band * self.side..((band + 1) * self.side).min(self.height)
    }
    /// The rows and the values across of a cell.
    pub(super) fn pixels_of(&self, cell: usize) -> (Range<usize>, Range<usize>) {
        (self.rows_of_band(cell / self.columns), self.columns_of(cell % self.columns))
    }
    /// Those of some rows whose place in the repeat is one of these.
    pub(super) fn rows_of(&self, phases: &[usize], rows: &Range<usize>) -> Vec<usize> {
        rows.clone().filter(|row| phases.contains(&(row % self.period_rows))).collect()
    }
    /// Colour planes that occur.
    pub(super) fn plane_count(&self) -> usize {
        self.names.len()
    }
    /// Index of the plane of a value of the active area.
    pub(super) fn plane_at(&self, row: usize, value: usize) -> usize {
        self.positions[(row % self.period_rows) * self.period_columns + value % self.period_columns]
    }
    /// The values of a plane in a cell.
    #[inline(always)]
    pub(super) fn gather(&self, plane: usize, cell: usize, values: &mut Vec<u16>) {
        values.clear();
        let (top, left) =
            ((cell / self.columns) * self.side, (cell % self.columns) * self.cell_width());
        let (bottom, right) =
            ((top + self.side).min(self.height), (left + self.cell_width()).min(self.width));
        // Cells start at a whole number of periods.
        let mut phases = self.positions.chunks_exact(self.period_columns).cycle();
        for row in top..bottom {
            let line = self.part_of(row, left..right);
            match phases.next() {
                Some(&[first, second]) => {
                    if first == plane {
                        every::<2, 0>(line, values);
                    }
                    if second == plane {
                        every::<2, 1>(line, values);
                    }
                }
                Some(&[first, second, _]) => match plane {
                    _ if plane == first => every::<3, 0>(line, values),
                    _ if plane == second => every::<3, 1>(line, values),
                    _ => every::<3, 2>(line, values),
                },
                positions => {
                    for (column, _) in
                        positions.into_iter().flatten().enumerate().filter(|(_, p)| **p == plane)
                    {
                        match column {
                            0 => every::<6, 0>(line, values),
                            1 => every::<6, 1>(line, values),
                            2 => every::<6, 2>(line, values),
                            3 => every::<6, 3>(line, values),
                            4 => every::<6, 4>(line, values),
                            _ => every::<6, 5>(line, values),
                        }
                    }
                }
            }
        }
    }
    /// Asks for the pixels of a cell that is looked at soon, where they need not be decoded.
    pub(super) fn ask_for(&self, level: Level, cell: usize) {
        if self.coded.is_none() {
            let (rows, columns) = self.pixels_of(cell);
            for row in rows.map(|row| self.part_of(row, columns.clone())) {
                row.iter().step_by(LINE).chain(row.last()).for_each(|value| fetch(level, value));
            }
        }
    }
    /// Planes with their counts from geometry and everything else zero.
    pub(super) fn empty_planes(&self) -> Vec<PlaneCells> {
        let cells = self.columns * self.rows;
        let plane = |(index, &plane): (usize, &Plane)| PlaneCells {
            plane,
            count: self.counts(index),
            sum: vec![0; cells],
            squares: vec![0; cells],
            clipped: vec![0; cells],
            rejected: vec![0; cells],
        };
        self.names.iter().enumerate().map(plane).collect()
    }
    /// Values of a plane in every cell.
    fn counts(&self, plane: usize) -> Vec<u32> {
        let last = |of: usize, cell: usize| (of + cell - 1) % cell + 1;
        let (right, bottom) = (last(self.width, self.cell_width()), last(self.height, self.side));
        // Only the last column and row may be narrower.
        let of_row = |height: usize| {
            let mut counts = vec![self.count(plane, self.cell_width(), height); self.columns];
            if let Some(end) = counts.last_mut() {
                *end = self.count(plane, right, height);
            }
            counts
        };
        let mut counts = of_row(self.side).repeat(self.rows.saturating_sub(1));
        if self.rows > 0 {
            counts.extend(of_row(bottom));
        }
        counts
    }
    /// Values of a plane in so many values across and rows down from the start of a cell.
    fn count(&self, plane: usize, width: usize, height: usize) -> u32 {
        // Position p occurs (length - p) / period times, rounded up.
        let times = |length: usize, p: usize, period: usize| (length + period - 1 - p) / period;
        let count: usize = (0..self.positions.len())
            .filter(|&i| self.positions[i] == plane)
            .map(|i| {
                times(height, i / self.period_columns, self.period_rows)
                    * times(width, i % self.period_columns, self.period_columns)
            })
            .sum();
        u32::try_from(count).unwrap_or(u32::MAX)
    }
}

/// Rows of a repeat that are the same.
fn alike(positions: &[usize], period: usize) -> Vec<Vec<usize>> {
    let mut found: Vec<Vec<usize>> = Vec::new();
    let row = |i: usize| &positions[i * period..][..period];
    for i in 0..positions.len() / period {
        match found.iter_mut().find(|of| row(of[0]) == row(i)) {
            Some(same) => same.push(i),
            None => found.push(vec![i]),
        }
    }
    found
}

/// Every `N`th value from a column on.
#[inline(always)]
fn every<const N: usize, const COLUMN: usize>(line: &[u16], values: &mut Vec<u16>) {
    let (periods, rest) = line.as_chunks::<N>();
    let (many, few) = periods.as_chunks::<LANES>();
    for periods in many {
        values.extend_from_slice(&periods.map(|period| period[COLUMN]));
    }
    values.extend(few.iter().map(|period| period[COLUMN]));
    values.extend(rest.get(COLUMN));
}

fn planes_of(cfa: Option<&Cfa>) -> Vec<Plane> {
    cfa.map_or_else(|| vec![Plane::Red, Plane::Green1, Plane::Blue], Cfa::planes)
}

fn cut(area: Area, width: usize, height: usize) -> Area {
    let (left, top) = (area.left.min(width), area.top.min(height));
    Area { left, top, width: area.width.min(width - left), height: area.height.min(height - top) }
}
