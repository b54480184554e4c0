//! The terms that patterns around a middle are made of: powers of the radius, and
//! r^k cos(k phi), r^k sin(k phi), which are polynomials and so smooth in the middle.

/// Powers and turns at one place, in the unit of the place and its powers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Harmonics {
    /// Radius squared.
    pub r2: f64,
    /// Order 1: x and y.
    pub first: [f64; 2],
    /// Order 2.
    pub second: [f64; 2],
    /// Order 3.
    pub third: [f64; 2],
    /// Order 4.
    pub fourth: [f64; 2],
    /// Order 5.
    pub fifth: [f64; 2],
}

impl Harmonics {
    /// At a place.
    #[must_use]
    pub fn at(x: f64, y: f64) -> Self {
        let r2 = x * x + y * y;
        let (c2, s2) = (x * x - y * y, 2.0 * x * y);
        let (c3, s3) = (c2 * x - s2 * y, s2 * x + c2 * y);
        let (c4, s4) = (c2 * c2 - s2 * s2, 2.0 * c2 * s2);
        let (c5, s5) = (c4 * x - s4 * y, s4 * x + c4 * y);
        Self {
            r2,
            first: [x, y],
            second: [c2, s2],
            third: [c3, s3],
            fourth: [c4, s4],
            fifth: [c5, s5],
        }
    }
}

/// Terms of a smooth pattern across a frame.
pub const SMOOTH_TERMS: usize = 10;

/// 1, x, y, r^2, r^4, r^6, r^2 cos 2phi, r^2 sin 2phi, r^4 cos 4phi, r^4 sin 4phi, with r = 1 in
/// the corner, the unit of x and y.
#[must_use]
pub fn smooth_terms(x: f64, y: f64) -> [f64; SMOOTH_TERMS] {
    let Harmonics { r2, second: [c2, s2], fourth: [c4, s4], .. } = Harmonics::at(x, y);
    [1.0, x, y, r2, r2 * r2, r2 * r2 * r2, c2, s2, c4, s4]
}

/// Brings an angle into 0 <= angle < period, in the unit of both.
#[must_use]
pub fn wrapped(angle: f64, period: f64) -> f64 {
    let turned = angle.rem_euclid(period);
    if turned >= period { 0.0 } else { turned }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_those_of_the_angle() {
        for (r, phi) in [(0.3_f64, 0.2_f64), (1.0, -1.1), (0.7, 2.9)] {
            let found = Harmonics::at(r * phi.cos(), r * phi.sin());
            let orders = [found.first, found.second, found.third, found.fourth, found.fifth];
            for (k, [c, s]) in (1..).zip(orders) {
                let turn = f64::from(k) * phi;
                assert!((c - r.powi(k) * turn.cos()).abs() < 1e-12, "order {k}");
                assert!((s - r.powi(k) * turn.sin()).abs() < 1e-12, "order {k}");
            }
            assert!((found.r2 - r * r).abs() < 1e-12);
        }
    }
}
