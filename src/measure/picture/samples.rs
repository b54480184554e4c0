//! Green pixels around an edge, by their place along and across it.

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

/// Green pixels of a patch with an edge.
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
    /// Share of these green pixels at or above white, 0 to 1.
    pub clipped: f64,
}

impl Greens {
    /// The samples of one place along the edge at a time, as they were taken.
    pub fn lines(&self) -> impl Iterator<Item = &[Sample]> {
        self.samples.chunk_by(|a, b| a.along == b.along)
    }
}
