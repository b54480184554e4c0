//! A fitted pair of polarisers, and what its model says at a place, an angle or a lens.

use super::state::{Place, State};
use crate::measure::map::CENTRE_SHARE;
use crate::numerics::robust;

/// A fitted pair.
#[derive(Clone, Debug)]
pub struct Pair {
    /// Marks in the order given.
    pub marks: Vec<FittedMark>,
    /// Loss of the parallel pair, stops.
    pub base_stops: f64,
    /// Its standard uncertainty, stops.
    pub base_u: f64,
    /// Light that crossed polarisers pass, relative to parallel ones.
    pub floor: f64,
    /// Its standard uncertainty, stops.
    pub floor_u: f64,
    /// Refractive index of the sheets.
    pub index: f64,
    /// Focal length that describes the maps.
    pub focal_length_mm: f64,
    /// Its standard uncertainty, in millimetres.
    pub focal_u: f64,
    /// Sensor width and height as the picture is viewed.
    pub sensor_mm: (f64, f64),
}

/// One mark of a fitted pair.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedMark {
    /// Label.
    pub mark: String,
    /// Acute angle between the absorption axes, degrees.
    pub axes_angle: f64,
    /// Its standard uncertainty, degrees.
    pub u: f64,
    /// Largest angle that agrees with the data, degrees.
    pub at_most: f64,
    /// Acute bisector of the absorption axes, the dark direction, degrees.
    pub bisector: f64,
    /// Its standard uncertainty, degrees.
    pub bisector_u: f64,
}

impl Pair {
    fn state(&self, mark: &FittedMark, focal_mm: f64) -> State {
        let half = 0.5 * self.sensor_mm.0.hypot(self.sensor_mm.1);
        State {
            base: self.base_stops,
            floor: self.floor,
            focal: focal_mm / half,
            index: self.index,
            delta: mark.axes_angle.to_radians(),
            bisector: mark.bisector.to_radians(),
        }
    }
    /// Stops in the centre for an angle between the axes in degrees.
    #[must_use]
    pub fn stops_at(&self, axes_angle: f64) -> f64 {
        let c = axes_angle.to_radians().cos();
        self.base_stops - (self.floor + (1.0 - self.floor) * c * c).log2()
    }
    /// Extra stops of a mark relative to the centre at a place in half diagonals, behind the lens
    /// that describes the maps.
    #[must_use]
    pub fn extra_stops(&self, mark: &FittedMark, x: f64, y: f64) -> f64 {
        let ready = self.state(mark, self.focal_length_mm).ready();
        let (width, height) = self.sensor_mm;
        let share = CENTRE_SHARE / width.hypot(height);
        ready.stops(&Place::new(x, y)) - ready.centre((share * width, share * height))
    }
    /// Foretold p95 - p5 of the fine map in stops, at a focal length on this sensor.
    #[must_use]
    pub fn spread(&self, mark: &FittedMark, focal_mm: f64) -> f64 {
        const COLUMNS: usize = 48;
        let ready = self.state(mark, focal_mm).ready();
        let (width, height) = self.sensor_mm;
        let rows = ((COLUMNS as f64 * height / width).round() as usize).max(2);
        let half = 0.5 * width.hypot(height);
        let at = |k: usize, n: usize, side: f64| ((k as f64 + 0.5) / n as f64 - 0.5) * side / half;
        let mut stops = Vec::with_capacity(COLUMNS * rows);
        for cell in 0..COLUMNS * rows / 2 {
            let (x, y) = (at(cell % COLUMNS, COLUMNS, width), at(cell / COLUMNS, rows, height));
            // the opposite cell has as many
            stops.extend([ready.stops(&Place::new(x, y)); 2]);
        }
        robust::between(stops, [0.05, 0.95]).unwrap_or(0.0)
    }
}
