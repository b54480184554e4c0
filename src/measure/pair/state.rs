//! What a pair of polarisers does at one place, with its slopes by every parameter.

use super::model::{relative, relative_value};
use std::f64::consts::LN_2;

/// The centre box is averaged over this many points each way.
const CENTRE_POINTS: usize = 5;

/// A place in the frame with what the model needs of it, in half diagonals.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// To the right.
    pub x: f64,
    /// Upwards.
    pub y: f64,
    /// Radius squared.
    pub r2: f64,
    /// cos 2phi and sin 2phi.
    turn: (f64, f64),
}

impl Place {
    /// x to the right, y upwards.
    pub fn new(x: f64, y: f64) -> Self {
        let r2 = x * x + y * y;
        let turn = if r2 > 0.0 { ((x * x - y * y) / r2, 2.0 * x * y / r2) } else { (1.0, 0.0) };
        Self { x, y, r2, turn }
    }
}

/// Stops at one place with slopes by the shared parameters (without the darkening's own) and by Delta
/// and bisector.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stops {
    pub value: f64,
    pub base: f64,
    pub floor: f64,
    pub focal: f64,
    pub index: f64,
    pub delta: f64,
    pub bisector: f64,
}

/// The parameters that one mark's stops depend on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct State {
    /// Base loss in stops.
    pub base: f64,
    /// Floor relative to the parallel setting.
    pub floor: f64,
    /// Focal length over half diagonal.
    pub focal: f64,
    /// Refractive index of the sheets.
    pub index: f64,
    /// Angle between the axes, radians.
    pub delta: f64,
    /// Bisector, radians.
    pub bisector: f64,
}

impl State {
    /// With everything worked out that does not depend on the place.
    pub fn ready(self) -> Ready {
        let (sin_turn, cos_turn) = (2.0 * self.bisector).sin_cos();
        let (sin_delta, cos_delta) = self.delta.sin_cos();
        Ready { state: self, turn: (cos_turn, sin_turn), cos_delta, sin_delta }
    }
}

/// A state ready for many places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ready {
    state: State,
    /// cos and sin of twice the bisector.
    turn: (f64, f64),
    cos_delta: f64,
    sin_delta: f64,
}

impl Ready {
    /// Square of the sine of the ray's angle within the sheets.
    fn inner_sine_squared(&self, place: &Place) -> f64 {
        let State { focal, index, .. } = self.state;
        place.r2 / (index * index * (place.r2 + focal * focal))
    }

    /// Stops at a place.
    pub fn stops(&self, place: &Place) -> f64 {
        let q = self.inner_sine_squared(place);
        let p = place.turn.0 * self.turn.0 + place.turn.1 * self.turn.1;
        let floor = self.state.floor;
        self.state.base - (floor + (1.0 - floor) * relative_value(self.cos_delta, p, q)).log2()
    }

    /// The same with its slopes.
    pub fn full(&self, place: &Place) -> Stops {
        let floor = self.state.floor;
        let f2 = self.state.focal * self.state.focal;
        let q = self.inner_sine_squared(place);
        let ((c2, s2), (cos, sin)) = (place.turn, self.turn);
        let (p, turned) = (c2 * cos + s2 * sin, s2 * cos - c2 * sin);
        let rel = relative(self.cos_delta, p, q);
        let light = floor + (1.0 - floor) * rel.value;
        let factor = -(1.0 - floor) / (LN_2 * light);
        Stops {
            value: self.state.base - light.log2(),
            base: 1.0,
            // by ln floor
            floor: -floor * (1.0 - rel.value) / (LN_2 * light),
            // by ln focal: dq / dln f = -2 q f^2 / (r^2 + f^2)
            focal: factor * rel.by_s_squared * -2.0 * q * f2 / (place.r2 + f2),
            // by ln n: dq / dln n = -2 q
            index: factor * rel.by_s_squared * -2.0 * q,
            delta: factor * rel.by_cos_delta * -self.sin_delta,
            // d cos(2 (phi - b)) / db = 2 sin(2 (phi - b))
            bisector: factor * rel.by_cos_two_phi * 2.0 * turned,
        }
    }

    /// Light averaged over the centre, in stops.
    pub fn centre(&self, half: (f64, f64)) -> f64 {
        self.full_centre(half).value
    }

    /// The same with its slopes.
    pub fn full_centre(&self, half: (f64, f64)) -> Stops {
        let at = |k: usize| (2 * k + 1) as f64 / CENTRE_POINTS as f64 - 1.0;
        let mut sum = Stops::default();
        let mut light = 0.0;
        for i in 0..CENTRE_POINTS * CENTRE_POINTS {
            let place = Place::new(half.0 * at(i % CENTRE_POINTS), half.1 * at(i / CENTRE_POINTS));
            let s = self.full(&place);
            let l = (-s.value).exp2();
            light += l;
            sum.floor += l * s.floor;
            sum.focal += l * s.focal;
            sum.index += l * s.index;
            sum.delta += l * s.delta;
            sum.bisector += l * s.bisector;
        }
        Stops {
            value: -(light / (CENTRE_POINTS * CENTRE_POINTS) as f64).log2(),
            base: 1.0,
            floor: sum.floor / light,
            focal: sum.focal / light,
            index: sum.index / light,
            delta: sum.delta / light,
            bisector: sum.bisector / light,
        }
    }
}
