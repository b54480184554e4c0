//! Raw little-endian arrays of a message: sums of cells, and pixels.

use super::garbled;
use crate::frame::Area;
use crate::frame::cfa::Plane;
use crate::frame::counts::Counts;
use crate::frame::patch::Patch;
use crate::reduce::grid::PlaneCells;
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
    out.extend(plane.count.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.sum.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.squares.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.clipped.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.rejected.iter().flat_map(|v| v.to_le_bytes()));
}

/// Puts the counts of places, and returns where they lie.
pub(super) fn put_patches(out: &mut Vec<u8>, patches: &[Option<Patch>]) -> Vec<Option<Area>> {
    for patch in patches.iter().flatten() {
        let start = out.len();
        out.resize(start + 2 * patch.counts.len(), 0);
        let places = out[start..].as_chunks_mut::<2>().0;
        places.iter_mut().zip(&patch.counts).for_each(|(to, count)| *to = count.to_le_bytes());
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
    fn take<const N: usize, T>(
        &mut self,
        count: usize,
        number: impl Fn([u8; N]) -> T,
    ) -> io::Result<Vec<T>> {
        let length = count.checked_mul(N).ok_or_else(|| garbled("array too long"))?;
        self.left =
            self.left.checked_sub(length as u64).ok_or_else(|| garbled("array too short"))?;
        let mut values = Vec::with_capacity(count);
        let mut part = vec![0; length.min(PART)];
        let mut missing = length;
        while missing > 0 {
            let part = &mut part[..missing.min(PART)];
            self.from.read_exact(part)?;
            values.extend(part.as_chunks::<N>().0.iter().map(|chunk| number(*chunk)));
            missing -= part.len();
        }
        Ok(values)
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
            Ok(Patch { place, counts: self.take(pixels, u16::from_le_bytes)? })
        };
        places.into_iter().map(|place| place.map(&mut patch).transpose()).collect()
    }
    pub fn plane(&mut self, plane: Plane, cells: usize) -> io::Result<PlaneCells> {
        Ok(PlaneCells {
            plane,
            count: self.take(cells, u32::from_le_bytes)?,
            sum: self.take(cells, u32::from_le_bytes)?,
            squares: self.take(cells, u64::from_le_bytes)?,
            clipped: self.take(cells, u16::from_le_bytes)?,
            rejected: self.take(cells, u16::from_le_bytes)?,
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

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
