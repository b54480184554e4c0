//! Things to photograph whose picture is known before the optics: edges, a target, a dark hole, a
//! lamp. Light is relative to a plain white wall.

/// What stands before the lens; lengths in pixels of the picture, places from its left upper corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Subject {
    /// One straight edge through the middle, dark at the left (or above).
    Edge {
        /// The edge runs up and down.
        upright: bool,
        /// Degrees against the pixel grid.
        angle: f64,
        /// Pixels off the picture's middle.
        offset: f64,
        /// Light of the dark side; the other is 1.
        dark: f64,
    },
    /// White paper with five dark squares, one in the middle and one near each corner, turned.
    Target {
        /// Degrees against the pixel grid.
        angle: f64,
        /// Light of the squares.
        dark: f64,
        /// Side of a square in parts of the picture's height.
        side: f64,
    },
    /// A white wall with a dark hole in its middle.
    Hole {
        /// Light from within the hole.
        dark: f64,
        /// Its area in parts of the picture's.
        area: f64,
    },
    /// A round lamp before a dark ground.
    Lamp {
        /// Its middle, in parts of the width and height.
        at: (f64, f64),
        /// Radius in pixels.
        radius: f64,
        /// Its light.
        light: f64,
        /// The ground's.
        ground: f64,
    },
}

/// Middles of the target's squares, in parts of the width and height.
pub const SQUARES: [(f64, f64); 5] =
    [(0.5, 0.5), (0.14, 0.2), (0.86, 0.2), (0.14, 0.8), (0.86, 0.8)];

/// Light at a place in pixels from the left upper corner, in parts of the wall's.
pub type LightAt<'a> = Box<dyn Fn(f64, f64) -> f64 + Sync + 'a>;

impl Subject {
    /// Light in a picture of that size in pixels, edges as wide as `step`: what a square of that side
    /// sees, but for corners.
    #[must_use]
    pub fn light(&self, (width, height): (f64, f64), step: f64) -> LightAt<'_> {
        let mixed = move |outside: f64, inside: f64, depth: f64| {
            outside + (inside - outside) * (0.5 + depth / step).clamp(0.0, 1.0)
        };
        match *self {
            Self::Edge { upright, angle, offset, dark } => {
                let (sin, cos) = angle.to_radians().sin_cos();
                Box::new(move |x, y| {
                    let (dx, dy) = (x - width / 2.0, y - height / 2.0);
                    let (across, along) = if upright { (dx, dy) } else { (dy, dx) };
                    mixed(dark, 1.0, (across - offset) * cos - along * sin)
                })
            }
            Self::Target { angle, dark, side } => {
                let (sin, cos) = angle.to_radians().sin_cos();
                let half = side * height / 2.0;
                Box::new(move |x, y| {
                    let depth = |(u, v): &(f64, f64)| {
                        let (dx, dy) = (x - u * width, y - v * height);
                        half - (dx * cos + dy * sin).abs().max((dy * cos - dx * sin).abs())
                    };
                    mixed(1.0, dark, SQUARES.iter().map(depth).fold(f64::NEG_INFINITY, f64::max))
                })
            }
            Self::Hole { dark, area } => {
                let half = area.sqrt() / 2.0;
                Box::new(move |x, y| {
                    let across = half * width - (x - width / 2.0).abs();
                    mixed(1.0, dark, across.min(half * height - (y - height / 2.0).abs()))
                })
            }
            Self::Lamp { at, radius, light, ground } => Box::new(move |x, y| {
                let distance = (x - at.0 * width).hypot(y - at.1 * height);
                mixed(ground, light, radius - distance)
            }),
        }
    }
}
