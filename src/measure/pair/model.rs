//! Two ideal sheet polarisers for oblique rays: the closed form and its slopes.
//!
//! A sheet absorbs the component along its absorption axis a and passes E along k x a (an O-type
//! sheet; P. Yeh, Optical Review 16 (2009) 192). With Delta between the axes, phi from their acute
//! bisector and s the sine of the ray's inner angle,
//! T = 1/2 [cos D - s^2/2 (cos 2phi + cos D)]^2
//!     / {1 - s^2 (1 + cos 2phi cos D) + s^4/4 (cos 2phi + cos D)^2}.

/// Transmittance for unpolarised light, a half at best; angles in radians.
#[must_use]
pub fn transmittance(delta: f64, s_squared: f64, phi: f64) -> f64 {
    0.5 * relative_value(delta.cos(), (2.0 * phi).cos(), s_squared)
}

/// Twice the transmittance (1 when parallel) with its slopes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Relative {
    /// 2 T.
    pub value: f64,
    /// By cos Delta.
    pub by_cos_delta: f64,
    /// By cos 2phi.
    pub by_cos_two_phi: f64,
    /// By s^2.
    pub by_s_squared: f64,
}

/// The closed form in its natural variables: cos Delta, cos 2phi and s^2.
pub(super) fn relative_value(c: f64, p: f64, q: f64) -> f64 {
    let sum = p + c;
    let n = c - 0.5 * q * sum;
    n * n / (1.0 - q * (1.0 + p * c) + 0.25 * q * q * sum * sum)
}

/// The closed form with its slopes.
pub(super) fn relative(c: f64, p: f64, q: f64) -> Relative {
    let sum = p + c;
    let n = c - 0.5 * q * sum;
    let d = 1.0 - q * (1.0 + p * c) + 0.25 * q * q * sum * sum;
    let slope = |dn: f64, dd: f64| (2.0 * n * dn - n * n * dd / d) / d;
    let common = 0.5 * q * q * sum;
    Relative {
        value: n * n / d,
        by_cos_delta: slope(1.0 - 0.5 * q, -q * p + common),
        by_cos_two_phi: slope(-0.5 * q, -q * c + common),
        by_s_squared: slope(-0.5 * sum, -(1.0 + p * c) + 0.5 * q * sum * sum),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Both sides are double precision; the file holds 16 digits.
    const EXACT: f64 = 1e-9;

    #[test]
    fn holds_for_every_value_of_the_table() {
        // fixtures/published/two_polarisers.json: 1,232 values computed from the vector form
        // t = k x a / |k x a|, T = (t1 . t2)^2 / 2, which a 4 x 4 matrix calculation of absorbing
        // films confirms to half a percent
        let text = include_str!("../../../fixtures/published/two_polarisers.json");
        let table: serde_json::Value = serde_json::from_str(text).unwrap();
        let rows = table["rows"].as_array().unwrap();
        assert_eq!(rows.len(), 1232);
        for row in rows {
            let v: Vec<f64> = row.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect();
            let s = v[1].to_radians().sin() / v[3];
            let t = transmittance(v[0].to_radians(), s * s, v[2].to_radians());
            assert!((t - v[4]).abs() < EXACT, "{v:?}: {t}");
        }
    }

    #[test]
    fn on_the_axis_it_is_the_law_of_malus() {
        // Hecht, Optics, chapter on polarisation: cos^2 of the angle; from memory
        for degrees in [0.0_f64, 10.0, 45.0, 60.0, 80.0, 89.0] {
            let c = degrees.to_radians().cos();
            assert!((transmittance(degrees.to_radians(), 0.0, 0.3) - 0.5 * c * c).abs() < EXACT);
        }
    }

    #[test]
    fn crossed_sheets_leak_between_their_axes_as_tabulated() {
        // stops below parallel, n = 1.5, 45 degrees from the axes
        for (theta, stops) in [(10.0_f64, 14.42), (20.0, 10.46), (30.0, 8.17), (50.0, 5.47)] {
            let s = theta.to_radians().sin() / 1.5;
            let t = transmittance(std::f64::consts::FRAC_PI_2, s * s, 0.0);
            assert!((-(2.0 * t).log2() - stops).abs() < 0.005, "{theta}");
        }
    }

    #[test]
    fn slopes_are_those_of_the_value() {
        const STEP: f64 = 1e-6;
        for (c, p, q) in [(0.1, 0.4, 0.2), (0.9, -0.8, 0.05), (0.0, 1.0, 0.3), (-0.2, 0.1, 0.1)] {
            let at = relative(c, p, q);
            assert!((at.value - relative_value(c, p, q)).abs() < EXACT);
            let numeric = |a: f64, b: f64| (a - b) / (2.0 * STEP);
            let value = relative_value;
            let pairs = [
                (at.by_cos_delta, numeric(value(c + STEP, p, q), value(c - STEP, p, q))),
                (at.by_cos_two_phi, numeric(value(c, p + STEP, q), value(c, p - STEP, q))),
                (at.by_s_squared, numeric(value(c, p, q + STEP), value(c, p, q - STEP))),
            ];
            for (slope, expected) in pairs {
                assert!((slope - expected).abs() < 1e-7, "{slope} {expected}");
            }
        }
    }
}
