//! Pixels of a row of cells that lie outside of where nearly all are thought to lie.
//!
//! First bits tell where they are, of many pixels at a time, as memory lies and without decisions; then
//! these few are listed, whatever cell they are of. To decide cell by cell what is in it costs more
//! than to find it, since no processor foresees where hot pixels are.

use super::fetch::LINE;
use super::lattice::Lattice;
use super::narrow::filled_up;
use fearless_simd::prelude::*;
use fearless_simd::u16x32;
use std::array;
use std::ops::Range;

/// Values of a row that are looked at together: a slot. Of two rows at a time.
const SLOT: usize = 32;

/// Some cells of a row of them.
pub(super) struct Band<'a, 'b> {
    pub(super) lattice: &'a Lattice<'b>,
    pub(super) row: usize,
    pub(super) columns: Range<usize>,
}

impl Band<'_, '_> {
    pub(super) fn cell(&self, column: usize) -> usize {
        self.row * self.lattice.columns + column
    }
    pub(super) fn cells(&self) -> Range<usize> {
        self.cell(self.columns.start)..self.cell(self.columns.end)
    }
    /// Where what belongs to a plane in a cell stands in lists of such, plane by plane.
    pub(super) fn place(&self, plane: usize, column: usize) -> usize {
        plane * self.lattice.columns + column
    }
    pub(super) fn places(&self, plane: usize) -> Range<usize> {
        self.place(plane, self.columns.start)..self.place(plane, self.columns.end)
    }
}

/// Counts between which nearly all pixels of a plane in a cell are thought to lie.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected {
    pub(super) low: u16,
    pub(super) width: u16,
}

impl Expected {
    /// None lies outside.
    pub(super) const ALL: Self = Self { low: 0, width: u16::MAX };

    pub(super) fn high(self) -> u16 {
        self.low.saturating_add(self.width)
    }
}

/// Numbers that begin where a line of the cache does, as vectors are read soonest.
#[derive(Debug, Default)]
struct Aligned {
    numbers: Vec<u16>,
    range: Range<usize>,
}

impl Aligned {
    /// So many, whatever they are.
    fn of(&mut self, len: usize) -> &mut [u16] {
        if self.range.len() != len {
            self.numbers.resize(len + LINE, 0);
            let start = self.numbers.as_ptr().align_offset(LINE * size_of::<u16>()).min(LINE);
            self.range = start..start + len;
        }
        &mut self.numbers[self.range.clone()]
    }
    fn slots(&self) -> &[[u16; SLOT]] {
        self.numbers[self.range.clone()].as_chunks().0
    }
}

/// Which pixels of a slot of two rows lie outside; of the second by the upper bits.
#[derive(Clone, Copy, Debug, Default)]
struct Found {
    bits: u64,
    place: Place,
}

#[derive(Clone, Copy, Debug, Default)]
struct Place {
    slot: u32,
    /// Index of the two rows.
    rows: u32,
}

/// A pixel that lies outside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pixel {
    pub(super) value: u16,
    /// [`Band::place`].
    pub(super) place: u32,
}

/// What lies outside in a row of cells.
#[derive(Debug)]
pub(super) struct Outside {
    pub(super) pixels: Vec<Pixel>,
    /// Columns of cells of which all that lies outside is listed.
    pub(super) listed: Vec<bool>,
    /// By value of a row, in slots: what the lowest may be, and how far above it others.
    low: Aligned,
    width: Aligned,
    /// By slot: pixels found.
    many: Vec<u32>,
    found: Vec<Found>,
    pairs: Vec<Pair>,
    /// By value of a row of the active area.
    across: Vec<Across>,
}

/// Two rows in which planes lie alike; the second may be the first.
#[derive(Clone, Copy, Debug)]
struct Pair {
    /// Where they start, from the first of all.
    starts: [usize; 2],
    /// Where their planes begin in those of all rows.
    positions: usize,
}

/// Of a value of a row: its place in the repeat of planes, and the column of its cell.
#[derive(Clone, Copy, Debug)]
struct Across {
    position: u32,
    column: u32,
}

impl Outside {
    pub(super) fn of(lattice: &Lattice<'_>) -> Self {
        Self {
            pixels: Vec::new(),
            listed: vec![false; lattice.columns],
            low: Aligned::default(),
            width: Aligned::default(),
            many: Vec::new(),
            found: Vec::new(),
            pairs: Vec::new(),
            // Divisions take longer than to look it up.
            across: (0..lattice.width)
                .map(|x| Across {
                    position: (x % lattice.period_columns) as u32,
                    column: (x / lattice.cell_width()) as u32,
                })
                .collect(),
        }
    }
    /// Lists what lies outside of what is expected of planes in cells; nothing more of a slot and its
    /// cells where that is more than `most`.
    #[inline(always)]
    pub(super) fn list<S: Simd>(
        &mut self,
        simd: S,
        band: &Band<'_, '_>,
        expected: &[Expected],
        most: u32,
    ) {
        let (lattice, rows) = (band.lattice, band.lattice.rows_of_band(band.row));
        let left = lattice.columns_of(band.columns.start).start;
        let width = lattice.columns_of(band.columns.end - 1).end - left;
        let slots = width.div_ceil(SLOT);
        self.many.clear();
        self.many.resize(slots, 0);
        self.found.resize(slots * (rows.len() / 2 + lattice.alike.len()), Found::default());
        self.pairs.clear();
        let mut len = 0;
        for phases in &lattice.alike {
            let first = phases[0] * lattice.period_columns;
            let positions = &lattice.positions[first..];
            match lattice.period_columns {
                2 => self.expect::<2, 32>(band, positions, expected, width),
                3 => self.expect::<3, 96>(band, positions, expected, width),
                _ => self.expect::<6, 36>(band, positions, expected, width),
            }
            for pair in lattice.rows_of(phases, &rows).chunks(2) {
                let two = [pair[0], pair[pair.len() - 1]];
                let values = two.map(|row| lattice.part_of(row, left..left + width));
                len = self.find(simd, values, pair.len() == 2, len);
                let starts = two.map(|row| (row - rows.start) * lattice.stride());
                self.pairs.push(Pair { starts, positions: first });
            }
        }
        self.write_down(band, left, len, most);
        for (column, listed) in
            self.listed.iter_mut().enumerate().filter(|(column, _)| band.columns.contains(column))
        {
            let Range { start, end } = lattice.columns_of(column);
            let slots = (start - left) / SLOT..(end - left).div_ceil(SLOT);
            *listed = self.many[slots].iter().all(|&many| many <= most);
        }
    }
    /// Lays out what is expected of rows in which planes lie so; cells are a whole number of parts wide.
    #[inline(always)]
    fn expect<const PERIOD: usize, const PART: usize>(
        &mut self,
        band: &Band<'_, '_>,
        positions: &[usize],
        expected: &[Expected],
        width: usize,
    ) {
        let of_cell = band.lattice.cell_width();
        let len = (band.columns.len() * of_cell).next_multiple_of(SLOT);
        let (low_of_all, width_of_all) = (self.low.of(len), self.width.of(len));
        let parts = low_of_all.chunks_mut(of_cell).zip(width_of_all.chunks_mut(of_cell));
        for (column, (low, width)) in band.columns.clone().zip(parts) {
            let of: [Expected; PERIOD] =
                array::from_fn(|i| expected[band.place(positions[i], column)]);
            let lows: [u16; PART] = array::from_fn(|i| of[i % PERIOD].low);
            let widths: [u16; PART] = array::from_fn(|i| of[i % PERIOD].width);
            low.as_chunks_mut().0.fill(lows);
            width.as_chunks_mut().0.fill(widths);
        }
        // Beyond the last value nothing is found.
        low_of_all[width..].fill(Expected::ALL.low);
        width_of_all[width..].fill(Expected::ALL.width);
    }
    /// Finds what lies outside in two rows, after so much that was found before; tells how much it is
    /// then.
    #[inline(always)]
    fn find<S: Simd>(
        &mut self,
        simd: S,
        [first, second]: [&[u16]; 2],
        are_two: bool,
        mut len: usize,
    ) -> usize {
        let before = len;
        let (low, width, found) = (self.low.slots(), self.width.slots(), &mut self.found[..]);
        let mut place = Place { slot: 0, rows: self.pairs.len() as u32 };
        let mut find = |first, second, low, width| {
            let [first, second] = [first, second].map(|two| outside(simd, two, low, width));
            let bits = first | second << SLOT;
            // What is nothing is written over: few decisions.
            if let Some(found) = found.get_mut(len) {
                *found = Found { bits, place };
            }
            len += usize::from(bits != 0);
            place.slot += 1;
        };
        let ((first, rest), (second, rest_of_second)) = (first.as_chunks(), second.as_chunks());
        for ((first, second), (low, width)) in first.iter().zip(second).zip(low.iter().zip(width)) {
            find(first, second, low, width);
        }
        if !rest.is_empty() {
            let (low, width) = (&low[first.len()], &width[first.len()]);
            find(&filled_up(rest), &filled_up(rest_of_second), low, width);
        }
        if !are_two {
            self.found[before..len].iter_mut().for_each(|found| found.bits &= u64::from(u32::MAX));
        }
        len
    }
    /// Writes down what was found, pixel by pixel, but for slots of which it is more than `most`.
    #[inline(always)]
    fn write_down(&mut self, band: &Band<'_, '_>, left: usize, len: usize, most: u32) {
        let found = &self.found[..len];
        for Found { bits, place } in found {
            self.many[place.slot as usize] += bits.count_ones();
        }
        self.pixels.clear();
        let values = band.lattice.from(band.lattice.rows_of_band(band.row).start, left);
        for &Found { mut bits, place: Place { slot, rows } } in found {
            if self.many[slot as usize] > most {
                continue;
            }
            let Pair { starts, positions } = self.pairs[rows as usize];
            let x = slot as usize * SLOT;
            let (values, across) =
                (starts.map(|start| &values[start + x..]), &self.across[left + x..]);
            let positions = &band.lattice.positions[positions..];
            while bits != 0 {
                let bit = bits.trailing_zeros() as usize;
                let lane = bit % SLOT;
                let Across { position, column } = across[lane];
                self.pixels.push(Pixel {
                    value: values[bit / SLOT % 2][lane],
                    place: band.place(positions[position as usize], column as usize) as u32,
                });
                bits &= bits - 1;
            }
        }
    }
}

/// Which values lie outside, by bits.
#[inline(always)]
fn outside<S: Simd>(simd: S, values: &[u16; SLOT], low: &[u16; SLOT], width: &[u16; SLOT]) -> u64 {
    let above = u16x32::load_array_ref(simd, values) - u16x32::load_array_ref(simd, low);
    above.simd_gt(u16x32::load_array_ref(simd, width)).to_bitmask() & u64::from(u32::MAX)
}
