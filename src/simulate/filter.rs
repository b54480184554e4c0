//! A filter as planted: what it takes from the light at each point of the picture.

use crate::simulate::optics::{self, GLASS_INDEX, Transition, Vector};

/// A point of the picture as light falls on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Direction to it before the lens.
    pub ray: Vector,
    /// Across, 0 at the left edge, 1 at the right.
    pub u: f64,
    /// Down, 0 at the top, 1 at the bottom.
    pub v: f64,
    /// Right of the centre and above it, in half diagonals.
    pub x: f64,
    /// Above the centre, in half diagonals.
    pub y: f64,
    /// Height of the frame in half diagonals.
    pub height: f64,
}

/// Light that is partly polarised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Polarised {
    /// 0 to 1.
    pub degree: f64,
    /// Direction of the electric field, degrees counter-clockwise from the picture's right.
    pub angle: f64,
}

/// Two sheets of polariser in a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Angle between the absorption axes in degrees, 0 to 90.
    pub axes_angle: f64,
    /// Their acute bisector in degrees.
    pub bisector: f64,
    /// What passes even when crossed, relative to the parallel pair, per channel.
    pub floor: [f64; 3],
    /// Refractive index of the sheets.
    pub index: f64,
}

/// One sheet of polariser.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheet {
    /// Absorption axis in degrees.
    pub axis: f64,
    /// Share of the wrong polarisation that passes.
    pub floor: f64,
}

/// A graduation; the dark side is up where the angle is 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Graduation {
    /// Dark end minus clear end.
    pub stops: f64,
    /// Profile.
    pub transition: Transition,
    /// From 10 to 90 %, in percent of the frame's height.
    pub width_percent: f64,
    /// Where the 50 % line crosses the vertical middle, percent of the height from the top.
    pub centre_percent: f64,
    /// The line's angle in degrees, 0 level.
    pub angle: f64,
}

/// A ring or holder that cuts into the picture's corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Radius at which it begins, in half diagonals.
    pub begins: f64,
    /// Pupil widths cut off per half diagonal beyond that.
    pub slope: f64,
    /// Centre of the ring off the picture's centre, in half diagonals (right, up).
    pub centre: (f64, f64),
}

/// Dust or a scratch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Speck {
    /// Across, 0 to 1.
    pub u: f64,
    /// Down, 0 to 1.
    pub v: f64,
    /// Radius (one sigma) in parts of the frame's width.
    pub radius: f64,
    /// Depth at its middle.
    pub stops: f64,
}

/// Light that reaches the sensor past the filter, in parts of the bare light at the centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leak {
    /// Mean over the frame.
    pub share: f64,
    /// How strongly it leans to one side: 0 even, 1 none at the far side.
    pub lean: f64,
    /// The side it comes from, degrees.
    pub angle: f64,
}

/// A filter in front of the lens.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// Strength at the centre in camera red, green, blue. For a pair or a sheet: the loss in their
    /// material when parallel, or seen by light of the passed polarisation, plus the stop that
    /// polarising costs.
    pub stops: [f64; 3],
    /// Absorbing glass: darker for oblique rays. Otherwise a film that is not.
    pub absorbing: bool,
    /// Extra stops at the corner radius towards `angle` (and as many fewer on the other side).
    pub tilt: Option<(f64, f64)>,
    /// Two polarisers.
    pub pair: Option<Pair>,
    /// One polariser.
    pub sheet: Option<Sheet>,
    /// Graduation.
    pub graduation: Option<Graduation>,
    /// Mechanical shading.
    pub ring: Option<Ring>,
    /// Dust and scratches.
    pub specks: Vec<Speck>,
    /// Light past the filter.
    pub leak: Option<Leak>,
    /// A soft reflection at a slot holder's edge: its place down the frame, 0 to 1, its half width
    /// in parts of the height, and its light in parts of the bare light.
    pub reflection: Option<(f64, f64, f64)>,
}

impl Filter {
    /// A film of even strength.
    #[must_use]
    pub fn even(stops: [f64; 3]) -> Self {
        Self { stops, ..Self::default() }
    }
    /// Absorbing glass.
    #[must_use]
    pub fn glass(stops: [f64; 3]) -> Self {
        Self { stops, absorbing: true, ..Self::default() }
    }
    /// A variable filter at one position of its ring.
    #[must_use]
    pub fn pair(base: [f64; 3], axes_angle: f64, bisector: f64, floor: [f64; 3]) -> Self {
        let pair = Pair { axes_angle, bisector, floor, index: GLASS_INDEX };
        Self { stops: base, pair: Some(pair), ..Self::default() }
    }
    /// A card that lets nothing through (a leak frame with `leak`, a lens cap without).
    #[must_use]
    pub fn opaque(leak: Option<Leak>) -> Self {
        Self { stops: [f64::INFINITY; 3], leak, ..Self::default() }
    }

    /// Transmittance without specks and without light past it.
    #[must_use]
    pub fn transmittance(&self, at: &Point, light: Option<Polarised>) -> [f64; 3] {
        let even = self.ring_share(at) * (-self.extra_stops(at)).exp2();
        let path = if self.absorbing { optics::path_factor(at.ray, GLASS_INDEX) } else { 1.0 };
        let polarising = self.polarising(at, light);
        let channel = |c: usize| (-self.stops[c] * path).exp2() * polarising[c] * even;
        [channel(0), channel(1), channel(2)]
    }

    /// What specks leave of the light at this point.
    #[must_use]
    pub fn speck_share(&self, at: &Point, aspect: f64) -> f64 {
        let stops: f64 = self
            .specks
            .iter()
            .map(|s| {
                let (dx, dy) = ((at.u - s.u) / s.radius, (at.v - s.v) / aspect / s.radius);
                s.stops * (-0.5 * (dx * dx + dy * dy)).exp()
            })
            .sum();
        (-stops).exp2()
    }

    /// Light past the filter, in parts of the bare light at the centre.
    #[must_use]
    pub fn past(&self, at: &Point) -> f64 {
        let leak = self.leak.map_or(0.0, |l| {
            let (sin, cos) = l.angle.to_radians().sin_cos();
            l.share * (1.0 + l.lean * (at.x * cos + at.y * sin))
        });
        let reflection = self.reflection.map_or(0.0, |(place, half_width, share)| {
            let d = (at.v - place) / half_width;
            share * (-0.5 * d * d).exp()
        });
        leak + reflection
    }

    /// Strength at the very centre per channel, light past the filter left out: planted truth.
    #[must_use]
    pub fn centre_stops(&self) -> [f64; 3] {
        let centre = Point { ray: [0.0, 0.0, 1.0], u: 0.5, v: 0.5, x: 0.0, y: 0.0, height: 1.0 };
        self.transmittance(&centre, None).map(|t| -t.log2())
    }

    fn extra_stops(&self, at: &Point) -> f64 {
        let tilt = self.tilt.map_or(0.0, |(stops, angle)| {
            let (sin, cos) = angle.to_radians().sin_cos();
            stops * (at.x * cos + at.y * sin)
        });
        let graduation = self.graduation.map_or(0.0, |g| {
            let (sin, cos) = g.angle.to_radians().sin_cos();
            let x = at.x / at.height;
            let y = at.y / at.height - (0.5 - g.centre_percent / 100.0);
            let distance = y * cos - x * sin;
            g.stops * optics::graduated_share(g.transition, distance, g.width_percent / 100.0)
        });
        tilt + graduation
    }

    fn ring_share(&self, at: &Point) -> f64 {
        self.ring.map_or(1.0, |ring| {
            let radius = (at.x - ring.centre.0).hypot(at.y - ring.centre.1);
            optics::clear_pupil(1.0 - 2.0 * (ring.slope * (radius - ring.begins)).max(0.0))
        })
    }

    fn polarising(&self, at: &Point, light: Option<Polarised>) -> [f64; 3] {
        let index = self.pair.map_or(GLASS_INDEX, |pair| pair.index);
        let inside = optics::refracted(at.ray, index);
        let polarised =
            |axis: Vector| light.map_or(1.0, |l| optics::malus(inside, axis, l.degree, l.angle));
        if let Some(pair) = self.pair {
            let first = optics::in_plane(pair.bisector - pair.axes_angle / 2.0);
            let second = optics::in_plane(pair.bisector + pair.axes_angle / 2.0);
            let ideal = 2.0 * optics::two_sheets(inside, first, second);
            return pair.floor.map(|floor| (ideal + floor) * polarised(first));
        }
        self.sheet.map_or([1.0; 3], |sheet| {
            [polarised(optics::in_plane(sheet.axis)) * (1.0 - sheet.floor) + sheet.floor; 3]
        })
    }
}
