//! The slow way, value by value and by sorting: what the kernel and the second look must equal to
//! the last bit. For tests and benches.

use super::grid::{FrameSummary, PlaneCells};
use super::lattice::Lattice;
use super::limits::{DEVIATIONS, LEAST_DEVIATION, MOST_OFF, PER_MAD};
use super::noise_law::NoiseLaw;
use super::second_look::{FEWEST, suspicious};
use crate::frame::Frame;

/// The same as [`super::reduce`], slowly.
#[must_use]
pub fn reduce(frame: &Frame) -> FrameSummary {
    let (lattice, mut buffer) = (Lattice::of(frame), Vec::new());
    let lattice = lattice.having(0..lattice.height, 0..lattice.width, &mut buffer);
    let mut planes = lattice.empty_planes();
    add_up(&lattice, &mut planes);
    leave_out(&lattice, &mut planes);
    super::summary(frame, &lattice, planes)
}

/// Every pixel of the active area with its plane and cell.
fn pixels<'a>(lattice: &'a Lattice<'_>) -> impl Iterator<Item = (usize, usize, u16)> + 'a {
    (0..lattice.height).flat_map(move |row| {
        lattice.row(row).iter().enumerate().map(move |(x, &v)| {
            let cell = (row / lattice.side) * lattice.columns + x / lattice.cell_width();
            (lattice.plane_at(row, x), cell, v)
        })
    })
}

fn add_up(lattice: &Lattice<'_>, planes: &mut [PlaneCells]) {
    for plane in &mut *planes {
        plane.count.fill(0);
    }
    for (plane, cell, v) in pixels(lattice) {
        let plane = &mut planes[plane];
        plane.count[cell] += 1;
        plane.sum[cell] += u32::from(v);
        plane.squares[cell] += u64::from(v) * u64::from(v);
        plane.clipped[cell] += u16::from(v >= lattice.white);
    }
}

fn leave_out(lattice: &Lattice<'_>, planes: &mut [PlaneCells]) {
    let mut values = vec![vec![Vec::new(); lattice.columns * lattice.rows]; planes.len()];
    for (plane, cell, v) in pixels(lattice) {
        values[plane][cell].push(v);
    }
    let laws = NoiseLaw::of_planes(lattice);
    for ((cells, values), law) in planes.iter_mut().zip(&mut values).zip(&laws) {
        for (cell, values) in values.iter_mut().enumerate() {
            let Some(suspect) = suspicious(cells, cell, law.as_ref()) else { continue };
            let off = off(values, suspect.usual);
            if off.len() * MOST_OFF > values.len() {
                continue;
            }
            for v in off {
                cells.sum[cell] -= u32::from(v);
                cells.squares[cell] -= u64::from(v).pow(2);
                cells.clipped[cell] -= u16::from(v >= lattice.white);
                cells.rejected[cell] += 1;
            }
        }
    }
}

fn off(values: &mut [u16], usual: f64) -> Vec<u16> {
    debug_assert!(values.len() >= FEWEST as usize);
    let middle = (values.len() - 1) / 2;
    values.sort_unstable();
    let median = values[middle];
    let mut distances: Vec<u16> = values.iter().map(|v| v.abs_diff(median)).collect();
    distances.sort_unstable();
    let sigma = (f64::from(distances[middle]) * PER_MAD).max(usual.sqrt()).max(LEAST_DEVIATION);
    let far = |v: &u16| f64::from(v.abs_diff(median)) > DEVIATIONS * sigma;
    values.iter().copied().filter(far).collect()
}
