//! Raw arrays of a message, as the processor has them: sums of cells, and pixels.

use super::garbled;
use crate::frame::Area;
use crate::frame::cfa::Plane;
use crate::frame::counts::Counts;
use crate::frame::patch::Patch;
use crate::reduce::grid::PlaneCells;
use bytemuck::{Pod, cast_slice, cast_slice_mut};
use std::io::{self, Read, Write};

/// Bytes of an array that are read or written at once; a whole number of any array's numbers.
const PART: usize = 1 << 16;
/// After so many parts of a frame their memory is given back.
const PARTS_KEPT: usize = 64;

/// Sends pixels from the last to the first and gives their memory back on the way: the receiver's
/// copy grows as this one shrinks.
pub(super) fn send_from_the_end(to: &mut dyn Write, mut data: Counts) -> io::Result<()> {
    let mut part = Vec::with_capacity(PART);
    for parts in 1_usize.. {
        let from = data.len().saturating_sub(PART / 2);
        part.clear();
        part.extend(data[from..].iter().flat_map(|v| v.to_le_bytes()));
        to.write_all(&part)?;
        data.truncate(from);
        if data.is_empty() {
            break;
        }
        if parts.is_multiple_of(PARTS_KEPT) {
            data.shrink_to_fit();
        }
    }
    Ok(())
}

pub(super) fn put_plane(out: &mut Vec<u8>, plane: &PlaneCells) {
    put_runs(out, &plane.count);
    out.extend_from_slice(cast_slice(&plane.sum));
    out.extend_from_slice(cast_slice(&plane.squares));
    put_runs(out, &plane.clipped);
    put_runs(out, &plane.rejected);
}

/// Stands for the number of runs before numbers that are sent as they are.
const NO_RUNS: u32 = u32::MAX;
/// Bytes of a run: how many numbers, and which.
const RUN: usize = 8;

/// Puts numbers of which most are as the one before, as runs where that is shorter.
fn put_runs<T: Pod + PartialEq + Into<u32>>(out: &mut Vec<u8>, numbers: &[T]) {
    let start = out.len();
    out.extend_from_slice(&NO_RUNS.to_ne_bytes());
    let mut runs = 0_u32;
    for run in numbers.chunk_by(|a, b| a == b) {
        let (Ok(length), [number, ..]) = (u32::try_from(run.len()), run) else { continue };
        out.extend_from_slice(cast_slice(&[length, (*number).into()]));
        runs += 1;
        if runs as usize * RUN >= size_of_val(numbers) {
            out.truncate(start + size_of::<u32>());
            out.extend_from_slice(cast_slice(numbers));
            return;
        }
    }
    out[start..start + size_of::<u32>()].copy_from_slice(&runs.to_ne_bytes());
}

/// Puts the counts of places, and returns where they lie.
pub(super) fn put_patches(out: &mut Vec<u8>, patches: &[Option<Patch>]) -> Vec<Option<Area>> {
    for patch in patches.iter().flatten() {
        out.extend_from_slice(cast_slice(&patch.counts));
    }
    patches.iter().map(|p| p.as_ref().map(|p| p.place)).collect()
}

/// Takes arrays off a stream, without a copy of all their bytes.
pub(super) struct Arrays<'a> {
    pub from: &'a mut dyn Read,
    /// Bytes of the message that have not come yet.
    pub left: u64,
}

impl Arrays<'_> {
    /// So many numbers, straight to their place.
    fn take<T: Pod>(&mut self, count: usize) -> io::Result<Vec<T>> {
        let length = count.checked_mul(size_of::<T>()).ok_or_else(|| garbled("array too long"))?;
        self.left =
            self.left.checked_sub(length as u64).ok_or_else(|| garbled("array too short"))?;
        let mut values = vec![T::zeroed(); count];
        self.from.read_exact(cast_slice_mut(&mut values))?;
        Ok(values)
    }
    /// Numbers as [`put_runs`] puts them.
    fn runs<T: Pod + PartialEq + TryFrom<u32>>(&mut self, count: usize) -> io::Result<Vec<T>> {
        let runs = match self.take::<u32>(1)?[0] {
            NO_RUNS => return self.take(count),
            runs => self.take::<[u32; 2]>(runs as usize)?,
        };
        // Zeros that nobody looks at take no memory.
        let (mut values, mut at) = (vec![T::zeroed(); count], 0);
        for [length, number] in runs {
            let end = at + length as usize;
            let run = values.get_mut(at..end).ok_or_else(|| garbled("runs too long"))?;
            let number = T::try_from(number).map_err(|_| garbled("number too large"))?;
            if number != T::zeroed() {
                run.fill(number);
            }
            at = end;
        }
        if at == count { Ok(values) } else { Err(garbled("runs too short")) }
    }
    /// Pixels as [`send_from_the_end`] sends them.
    pub fn pixels(&mut self, count: usize) -> io::Result<Vec<u16>> {
        let length = count.checked_mul(2).ok_or_else(|| garbled("array too long"))?;
        self.left =
            self.left.checked_sub(length as u64).ok_or_else(|| garbled("array too short"))?;
        // Untouched zeros take no memory yet.
        let mut values = vec![0; count];
        let mut part = vec![0; length.min(PART)];
        let mut end = count;
        while end > 0 {
            let start = end.saturating_sub(PART / 2);
            let part = &mut part[..2 * (end - start)];
            self.from.read_exact(part)?;
            for (value, bytes) in values[start..end].iter_mut().zip(part.as_chunks::<2>().0) {
                *value = u16::from_le_bytes(*bytes);
            }
            end = start;
        }
        Ok(values)
    }
    /// The counts of places.
    pub fn patches(&mut self, places: Vec<Option<Area>>) -> io::Result<Vec<Option<Patch>>> {
        let mut patch = |place: Area| {
            let pixels = place.width.checked_mul(place.height);
            let pixels = pixels.ok_or_else(|| garbled("too many pixels"))?;
            Ok(Patch { place, counts: self.take(pixels)? })
        };
        places.into_iter().map(|place| place.map(&mut patch).transpose()).collect()
    }
    pub fn plane(&mut self, plane: Plane, cells: usize) -> io::Result<PlaneCells> {
        // Runs say nothing of their length: sums and squares of so many cells must still follow.
        let least = cells.checked_mul(size_of::<u32>() + size_of::<u64>());
        if least.is_none_or(|least| least as u64 > self.left) {
            return Err(garbled("array too short"));
        }
        Ok(PlaneCells {
            plane,
            count: self.runs(cells)?,
            sum: self.take(cells)?,
            squares: self.take(cells)?,
            clipped: self.runs(cells)?,
            rejected: self.runs(cells)?,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn as_they_arrive<T: Pod + PartialEq + Into<u32> + TryFrom<u32>>(sent: &[T]) -> Vec<T> {
        let mut stream = Vec::new();
        put_runs(&mut stream, sent);
        let mut arrays = Arrays { from: &mut stream.as_slice(), left: stream.len() as u64 };
        let arrived = arrays.runs(sent.len()).unwrap();
        assert_eq!(arrays.left, 0);
        arrived
    }

    proptest! {
        #[test]
        fn numbers_arrive_whether_they_repeat_or_not(
            runs in prop::collection::vec((0_usize..40, any::<u16>()), 0..40),
        ) {
            let sent: Vec<u16> = runs.iter().flat_map(|(n, v)| vec![*v; *n]).collect();
            prop_assert_eq!(as_they_arrive(&sent), sent.clone());
            let wide: Vec<u32> = sent.iter().map(|v| u32::from(*v) << 16 | 3).collect();
            prop_assert_eq!(as_they_arrive(&wide), wide.clone());
        }
    }

    #[test]
    fn runs_that_do_not_fit_their_numbers_are_refused() {
        let mut stream = Vec::new();
        put_runs(&mut stream, &[70_000_u32; 100]);
        let read = |stream: &[u8], count: usize| -> bool {
            let mut from = stream;
            let mut arrays = Arrays { left: stream.len() as u64, from: &mut from };
            arrays.runs::<u32>(count).is_ok()
        };
        assert!(read(&stream, 100));
        assert!(!read(&stream, 99) && !read(&stream, 101) && !read(&stream[..11], 100));
        let mut narrow = Arrays { left: stream.len() as u64, from: &mut stream.as_slice() };
        assert!(narrow.runs::<u16>(100).is_err());
    }

    /// A head that tells of more cells than memory holds, before what follows is believed.
    #[test]
    fn no_memory_is_taken_for_cells_that_do_not_come() {
        let stream = [0_u8; 64];
        for cells in [6, 1 << 40, usize::MAX] {
            let mut arrays = Arrays { left: stream.len() as u64, from: &mut stream.as_slice() };
            assert!(arrays.plane(Plane::Red, cells).is_err());
        }
    }

    #[test]
    fn a_frame_arrives_pixel_by_pixel_whatever_its_size() {
        for (width, height) in [(1, 1), (250, 131), (1024, 96), (1999, 1103)] {
            let data: Vec<u16> = (0..width * height).map(|i| (i * 7 % 65_521) as u16).collect();
            let mut stream = Vec::new();
            send_from_the_end(&mut stream, data.clone().into()).unwrap();
            let left = stream.len() as u64;
            let mut from = stream.as_slice();
            let mut arrays = Arrays { from: &mut from, left };
            assert_eq!(arrays.pixels(width * height).unwrap(), data);
            assert_eq!(arrays.left, 0);
            let mut short = Arrays { from: &mut &stream[1..], left: left - 1 };
            assert!(short.pixels(width * height).is_err());
        }
    }
}
