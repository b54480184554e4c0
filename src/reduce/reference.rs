//! The slow way, value by value: what the kernel must equal to the last bit.

use super::grid::PlaneCells;
use super::lattice::Lattice;

/// Adds every value of the active area to its cell.
pub(super) fn add_up(lattice: &Lattice<'_>, planes: &mut [PlaneCells]) {
    for row in 0..lattice.height {
        for (x, &v) in lattice.row(row).iter().enumerate() {
            let cell = (row / lattice.side) * lattice.columns + x / lattice.cell_width();
            let plane = &mut planes[lattice.plane_at(row, x)];
            plane.sum[cell] += u32::from(v);
            plane.squares[cell] += u64::from(v) * u64::from(v);
            plane.clipped[cell] += u16::from(v >= lattice.white);
        }
    }
}
