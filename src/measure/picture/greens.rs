//! The green samples of a patch: what an edge is measured on, nothing demosaiced.

use crate::frame::BlackPattern;
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::patch::Patch;

/// One green pixel; lengths in pixels from the patch's middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Along the edge: down the patch for an upright edge, to the right for a level one.
    pub along: f64,
    /// Across the edge.
    pub across: f64,
    /// Counts above black.
    pub light: f64,
}

/// All green pixels of a patch with an edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Greens {
    /// The pixels.
    pub samples: Vec<Sample>,
    /// The edge runs up and down.
    pub upright: bool,
    /// Half of the patch's side along the edge.
    pub half_along: f64,
    /// Half of the patch's side across the edge.
    pub half_across: f64,
    /// Share of the green pixels at or above white, 0 to 1.
    pub clipped: f64,
}

/// Takes the greens out of a patch; the direction of its edge is that in which its halves differ
/// more.
#[must_use]
pub fn greens(patch: &Patch, cfa: &Cfa, black: &BlackPattern, white: u16) -> Greens {
    let (width, height) = (patch.place.width, patch.place.height);
    let (middle_x, middle_y) = (width as f64 / 2.0, height as f64 / 2.0);
    let mut samples = Vec::with_capacity(width * height * 2 / 3);
    let mut clipped = 0_usize;
    let (mut sides, mut ends) = ([(0.0, 0.0); 2], [(0.0, 0.0); 2]);
    for (row, counts) in patch.counts.chunks(width.max(1)).enumerate() {
        let y = row as f64 + 0.5 - middle_y;
        for (column, &count) in counts.iter().enumerate() {
            let (r, c) = (patch.place.top + row, patch.place.left + column);
            if !matches!(cfa.plane(r, c), Plane::Green1 | Plane::Green2) {
                continue;
            }
            clipped += usize::from(count >= white);
            let x = column as f64 + 0.5 - middle_x;
            let light = f64::from(count) - black.at(r, c);
            for (half, at) in [(&mut sides, x), (&mut ends, y)] {
                let sum = &mut half[usize::from(at > 0.0)];
                *sum = (sum.0 + light, sum.1 + 1.0);
            }
            samples.push(Sample { along: y, across: x, light });
        }
    }
    let step = |half: [(f64, f64); 2]| (half[0].0 / half[0].1 - half[1].0 / half[1].1).abs();
    let upright = step(sides) >= step(ends);
    if !upright {
        for sample in &mut samples {
            (sample.along, sample.across) = (sample.across, sample.along);
        }
    }
    let clipped = clipped as f64 / samples.len().max(1) as f64;
    let (half_along, half_across) =
        if upright { (middle_y, middle_x) } else { (middle_x, middle_y) };
    Greens { samples, upright, half_along, half_across, clipped }
}
