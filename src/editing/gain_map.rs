//! Gain maps: a grid of gains over the frame, and the DNG opcode that carries it.
//!
//! DNG Specification 1.4, chapter 6 ("Opcode List Processing") and 7 ("GainMap", opcode 9): lists
//! are big-endian whatever the file's order; the map's points lie at the origin plus multiples of
//! the spacing, in units of the image's height and width.

use crate::frame::Area;
use crate::frame::cfa::{Cfa, Plane};

/// Opcode number of GainMap.
const GAIN_MAP: u32 = 9;
/// Opcodes of DNG 1.3 and later.
const OPCODE_VERSION: [u8; 4] = [1, 3, 0, 0];
/// Bit 0: a reader that does not know the opcode may go on without it.
const OPTIONAL: u32 = 1;

/// Gains at grid points from edge to edge, per channel.
#[derive(Clone, Debug, PartialEq)]
pub struct GainMap {
    /// Points across, at least two.
    pub columns: usize,
    /// Points down, at least two.
    pub rows: usize,
    /// Red, green and blue, row-major, in the orientation of the stored frame.
    pub gains: [Vec<f32>; 3],
}

impl GainMap {
    /// The map of the plane behind one pixel of the pattern.
    fn channel(&self, plane: Plane) -> &[f32] {
        match plane {
            Plane::Red => &self.gains[0],
            Plane::Green1 | Plane::Green2 => &self.gains[1],
            Plane::Blue => &self.gains[2],
        }
    }

    /// The gain at a place given as shares of width and height, 0 to 1, bilinear.
    #[must_use]
    pub fn at(&self, channel: usize, x: f64, y: f64) -> f64 {
        let split = |share: f64, points: usize| {
            let at = (share * (points - 1) as f64).clamp(0.0, (points - 1) as f64);
            let low = (at as usize).min(points - 2);
            (low, at - low as f64)
        };
        let (column, across) = split(x, self.columns);
        let (row, down) = split(y, self.rows);
        let gain = |r: usize, c: usize| f64::from(self.gains[channel][r * self.columns + c]);
        let top = gain(row, column) * (1.0 - across) + gain(row, column + 1) * across;
        let bottom = gain(row + 1, column) * (1.0 - across) + gain(row + 1, column + 1) * across;
        top * (1.0 - down) + bottom * down
    }
}

/// The bytes of OpcodeList2 with one GainMap for every pixel of the colour pattern (four for
/// Bayer), over an active area of this size; the pattern is counted from the area's origin.
#[must_use]
pub fn opcode_list(map: &GainMap, cfa: &Cfa, active: Area) -> Vec<u8> {
    let side = cfa.side();
    let mut bytes = Vec::new();
    put(&mut bytes, (side * side) as u32);
    for top in 0..side {
        for left in 0..side {
            gain_map_opcode(
                &mut bytes,
                map,
                map.channel(cfa.plane(top, left)),
                &Place { top, left, side, active },
            );
        }
    }
    bytes
}

struct Place {
    top: usize,
    left: usize,
    side: usize,
    active: Area,
}

fn gain_map_opcode(bytes: &mut Vec<u8>, map: &GainMap, gains: &[f32], place: &Place) {
    put(bytes, GAIN_MAP);
    bytes.extend(OPCODE_VERSION);
    put(bytes, OPTIONAL);
    put(bytes, (76 + 4 * gains.len()) as u32);
    let area = [place.top, place.left, place.active.height, place.active.width];
    let (plane, planes) = (0, 1);
    for value in area.into_iter().chain([plane, planes, place.side, place.side]) {
        put(bytes, value as u32);
    }
    put(bytes, map.rows as u32);
    put(bytes, map.columns as u32);
    let spacing = |points: usize| 1.0 / (points - 1) as f64;
    for value in [spacing(map.rows), spacing(map.columns), 0.0, 0.0] {
        bytes.extend(value.to_be_bytes());
    }
    put(bytes, 1);
    for gain in gains {
        bytes.extend(gain.to_be_bytes());
    }
}

fn put(bytes: &mut Vec<u8>, value: u32) {
    bytes.extend(value.to_be_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    const AREA: Area = Area { left: 8, top: 4, width: 64, height: 48 };

    fn ramp() -> GainMap {
        // A 3 x 5 map rising from 1 to 2 along the columns.
        let row = [1.0, 1.25, 1.5, 1.75, 2.0];
        let gains: Vec<f32> = row.iter().copied().cycle().take(15).collect();
        GainMap { columns: 5, rows: 3, gains: [gains.clone(), vec![1.0; 15], gains] }
    }

    #[test]
    fn four_bayer_maps_have_the_size_the_specification_gives()
    -> Result<(), crate::frame::cfa::UnknownCfa> {
        // 4 + 4 x (16 + 76 + 4 x 3 x 5) = 612 bytes: DNG Specification 1.4, GainMap's layout;
        // the size of such a list as the DNG SDK reads it.
        let bytes = opcode_list(&ramp(), &Cfa::from_letters("RGGB")?, AREA);
        assert_eq!(bytes.len(), 612);
        assert_eq!(bytes[..20], [0, 0, 0, 4, 0, 0, 0, 9, 1, 3, 0, 0, 0, 0, 0, 1, 0, 0, 0, 136]);
        Ok(())
    }

    #[test]
    fn every_x_trans_pixel_has_its_map() -> Result<(), crate::frame::cfa::UnknownCfa> {
        let cfa = Cfa::from_letters("GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG")?;
        let bytes = opcode_list(&ramp(), &cfa, AREA);
        assert_eq!(bytes[..4], [0, 0, 0, 36]);
        assert_eq!(bytes.len(), 4 + 36 * (16 + 76 + 60));
        Ok(())
    }

    #[test]
    fn a_map_is_read_between_its_points() {
        let map = ramp();
        for (x, gain) in [(0.0, 1.0), (0.125, 1.125), (0.5, 1.5), (1.0, 2.0), (1.5, 2.0)] {
            assert!((map.at(0, x, 0.3) - gain).abs() < 1e-6);
        }
    }
}
