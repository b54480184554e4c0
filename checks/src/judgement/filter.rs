//! Filters: what share of the light passes at a place of the picture, per channel.

use super::dice::Dice;
use super::optics::Lens;

/// Refractive index inside glass and sheet.
const INDEX: f64 = 1.5;

/// One piece before the lens.
#[derive(Clone, Copy, Debug)]
pub enum Piece {
    /// Even strength in stops per channel, along the ray's path where the glass itself absorbs;
    /// tilted by so many radians towards a direction.
    Plain { stops: [f64; 3], absorbing: bool, tilt: f64, towards: f64 },
    /// Two sheets of polariser: strength of the parallel pair, angle between the absorption axes and
    /// their bisector in radians, share that passes even when crossed.
    Pair { base: [f64; 3], axes: f64, bisector: f64, floor: [f64; 3] },
    /// Dark end and clear end in stops, from the line down `width` half diagonals.
    Graduated { stops: [f64; 3], centre: f64, width: f64, turn: f64, edge: Edge },
    /// One sheet in light polarised by `degree` along `axis`, turned to `turn`.
    Sheet { loss: [f64; 3], turn: f64, degree: f64, axis: f64 },
    /// What shades the corners.
    Holder(Opening),
}

/// How a graduation goes over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    Soft,
    Hard,
    /// Darkest at the line, weaker towards the end.
    Reverse,
}

/// An opening that light must pass; its border is blurred by the lens over `blur` half diagonals.
#[derive(Clone, Copy, Debug)]
pub struct Opening {
    pub shape: Shape,
    pub blur: f64,
}

/// Shape of an opening, in half diagonals.
#[derive(Clone, Copy, Debug)]
pub enum Shape {
    /// Radius and centre.
    Ring(f64, (f64, f64)),
    /// Half width, half height, turn in radians, centre.
    Frame(f64, f64, f64, (f64, f64)),
    /// A straight cut: distance from the middle and its direction in radians.
    Cut(f64, f64),
}

impl Piece {
    pub fn plain(stops: [f64; 3]) -> Self {
        Self::Plain { stops, absorbing: false, tilt: 0.0, towards: 0.0 }
    }
    pub fn passes(&self, lens: &Lens, x: f64, y: f64) -> [f64; 3] {
        match *self {
            Self::Plain { stops, absorbing, tilt, towards } => {
                let path = if absorbing { path(lens.ray(x, y), tilt, towards) } else { 1.0 };
                stops.map(|s| (-s * path).exp2())
            }
            Self::Pair { base, axes, bisector, floor } => {
                let share = 2.0 * pair(lens.ray(x, y), axes, bisector);
                std::array::from_fn(|c| (-base[c]).exp2() * (share + floor[c]) / (1.0 + floor[c]))
            }
            Self::Graduated { stops, centre, width, turn, edge } => {
                let down = -x * turn.sin() + y * turn.cos() - centre;
                stops.map(|s| (-s * dark(down, width, edge)).exp2())
            }
            Self::Sheet { loss, turn, degree, axis } => {
                // Malus: of polarised light the part along the sheet passes, of the rest a half.
                let share = 1.0 + degree * (2.0 * (turn - axis)).cos();
                loss.map(|s| (-s).exp2() * share)
            }
            Self::Holder(opening) => [opening.passes(x, y); 3],
        }
    }
}

/// Share of the dark end's strength, from 1 above the line to 0 below it.
fn dark(down: f64, width: f64, edge: Edge) -> f64 {
    let t = 0.5 - down / width;
    match edge {
        Edge::Soft => {
            let t = t.clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        }
        Edge::Hard => 1.0 / (1.0 + (down * 4.4 / width).exp()),
        Edge::Reverse => {
            let rise = 1.0 / (1.0 + (down * 4.4 / (0.4 * width)).exp());
            rise * (1.0 - 0.55 * (-down / (2.0 * width)).clamp(0.0, 1.0))
        }
    }
}

/// Length of a ray's path through a plate over its thickness.
fn path(ray: [f64; 3], tilt: f64, towards: f64) -> f64 {
    let normal = [tilt.sin() * towards.cos(), tilt.sin() * towards.sin(), tilt.cos()];
    let cosine = dot(ray, normal);
    let inside = ((1.0 - cosine * cosine).max(0.0) / (INDEX * INDEX)).min(1.0);
    1.0 / (1.0 - inside).sqrt()
}

/// Share of unpolarised light through two ideal sheets: each passes the field across both the ray
/// and its absorption axis, so half the square of the product of those directions.
fn pair(ray: [f64; 3], axes: f64, bisector: f64) -> f64 {
    let inside = refracted(ray);
    let passed = |turn: f64| {
        let field = cross(inside, [turn.cos(), -turn.sin(), 0.0]);
        let length = dot(field, field).sqrt();
        field.map(|f| f / length)
    };
    0.5 * dot(passed(bisector - axes / 2.0), passed(bisector + axes / 2.0)).powi(2)
}

/// Direction inside a plate that faces the lens.
fn refracted(ray: [f64; 3]) -> [f64; 3] {
    let (x, y) = (ray[0] / INDEX, ray[1] / INDEX);
    [x, y, (1.0 - x * x - y * y).max(0.0).sqrt()]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

impl Opening {
    fn passes(&self, x: f64, y: f64) -> f64 {
        let inside = match self.shape {
            Shape::Ring(radius, (u, v)) => radius - (x - u).hypot(y - v),
            Shape::Frame(wide, high, turn, (u, v)) => {
                let (a, b) = (x - u, y - v);
                let (right, down) =
                    (a * turn.cos() + b * turn.sin(), -a * turn.sin() + b * turn.cos());
                (wide - right.abs()).min(high - down.abs())
            }
            Shape::Cut(at, turn) => at - (x * turn.cos() + y * turn.sin()),
        };
        // Half the light at the border itself.
        let t = (0.5 + inside / self.blur).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    }
}

/// Strengths of a nearly grey filter.
pub fn greyish(stops: f64, dice: &mut Dice) -> [f64; 3] {
    let cast = 0.012 * stops.max(1.0);
    [stops + cast * dice.normal(), stops, stops + cast * dice.normal()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lens() -> Lens {
        Lens::drawn(&mut Dice::of(&[1]), 0.9)
    }

    /// Malus' law on the axis, half of it lost by the first sheet.
    #[test]
    fn a_pair_follows_malus_on_the_axis() {
        for degrees in [0.0_f64, 30.0, 45.0, 60.0, 80.0] {
            let axes = degrees.to_radians();
            let seen = pair([0.0, 0.0, 1.0], axes, 0.7);
            assert!((seen - 0.5 * axes.cos().powi(2)).abs() < 1e-12, "{degrees}");
        }
    }

    /// Closed form of a pair off the axis (S. Pancharatnam's geometry; spherical trigonometry): with
    /// the ray in the plane of one axis that sheet's direction stays, and the other's is turned.
    #[test]
    fn off_the_axis_the_angle_between_two_sheets_changes() {
        // Absorption axes along x and y, a ray at equal angles to both: cos = -s^2/2 / (1 - s^2/2).
        let s: f64 = 0.4;
        let part = s * INDEX / 2.0_f64.sqrt();
        let ray = [part, -part, (1.0 - 2.0 * part * part).sqrt()];
        let seen = pair(ray, std::f64::consts::FRAC_PI_2, std::f64::consts::FRAC_PI_4);
        let cosine = (s * s / 2.0) / (1.0 - s * s / 2.0);
        assert!((seen - 0.5 * cosine * cosine).abs() < 1e-12, "{seen}");
    }

    #[test]
    fn a_graduation_ends_at_its_strength_and_at_nothing() {
        let lens = lens();
        for edge in [Edge::Soft, Edge::Hard] {
            let piece =
                Piece::Graduated { stops: [3.0; 3], centre: 0.0, width: 0.1, turn: 0.0, edge };
            assert!((piece.passes(&lens, 0.0, -0.5)[1] - 0.125).abs() < 1e-6, "{edge:?}");
            assert!((piece.passes(&lens, 0.0, 0.5)[1] - 1.0).abs() < 1e-6, "{edge:?}");
        }
    }
}
