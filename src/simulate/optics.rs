//! The optics of filters and lenses, from first principles.

pub mod image;
pub mod subject;

use statrs::function::erf::erf;

/// A vector in space; z looks from the camera towards the scene.
pub type Vector = [f64; 3];

/// Refractive index of filter glass and polarising sheet.
pub const GLASS_INDEX: f64 = 1.5;

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn unit(a: Vector) -> Vector {
    let length = dot(a, a).sqrt();
    a.map(|v| v / length)
}

/// The direction of the ray to a point of the picture: `x` to the right, `y` up, in millimetres
/// from the centre, before a rectilinear lens of focal length `focal` focused far away.
#[must_use]
pub fn ray(x: f64, y: f64, focal: f64) -> Vector {
    unit([x, y, focal])
}

/// The ray inside a plane plate of refractive index `index` (Snell's law; azimuth kept).
#[must_use]
pub fn refracted(ray: Vector, index: f64) -> Vector {
    let (x, y) = (ray[0] / index, ray[1] / index);
    [x, y, (1.0 - x * x - y * y).sqrt()]
}

/// A direction in the filter's plane at an angle counter-clockwise from the picture's right.
#[must_use]
pub fn in_plane(degrees: f64) -> Vector {
    let (sin, cos) = degrees.to_radians().sin_cos();
    [cos, sin, 0.0]
}

/// The polarisation that an ideal sheet passes: E along k x a for the absorption axis a (an O-type
/// sheet; P. Yeh, Optical Review 16 (2009) 192). `inside` is the ray inside the sheet.
#[must_use]
pub fn passed(inside: Vector, absorption_axis: Vector) -> Vector {
    unit(cross(inside, absorption_axis))
}

/// Transmittance of two ideal sheets for unpolarised light, a half at best.
#[must_use]
pub fn two_sheets(inside: Vector, first_axis: Vector, second_axis: Vector) -> f64 {
    let amplitude = dot(passed(inside, first_axis), passed(inside, second_axis));
    0.5 * amplitude * amplitude
}

/// What a sheet passes of partly polarised light, relative to unpolarised light (Malus): `degree`
/// of polarisation 0 to 1, E at `e_angle` degrees in the picture.
#[must_use]
pub fn malus(inside: Vector, absorption_axis: Vector, degree: f64, e_angle: f64) -> f64 {
    let e = in_plane(e_angle);
    let along = dot(e, inside);
    let e = unit([e[0] - along * inside[0], e[1] - along * inside[1], -along * inside[2]]);
    let amplitude = dot(e, passed(inside, absorption_axis));
    1.0 - degree + 2.0 * degree * amplitude * amplitude
}

/// How much longer the path of an oblique ray in a plate is: 1 / cos of the inner angle.
#[must_use]
pub fn path_factor(ray: Vector, index: f64) -> f64 {
    1.0 / refracted(ray, index)[2]
}

/// Light of a point beside the axis relative to the centre: cos^4 of the field angle at
/// `strength` 1, its powers otherwise.
#[must_use]
pub fn falloff(ray: Vector, strength: f64) -> f64 {
    ray[2].powf(4.0 * strength)
}

/// The part of a round pupil that stands clear of a straight edge; `edge` -1 covers all, 1 nothing:
/// 1/2 + (x sqrt(1 - x^2) + asin x) / pi.
#[must_use]
pub fn clear_pupil(edge: f64) -> f64 {
    let x = edge.clamp(-1.0, 1.0);
    0.5 + (x * (1.0 - x * x).sqrt() + x.asin()) / std::f64::consts::PI
}

/// How a graduation goes from dark to clear, in stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Transition {
    /// Error function: a blurred edge.
    Erf,
    /// Logistic function.
    Logistic,
    /// A straight ramp.
    Linear,
    /// Darkest at the line, an error-function edge below it, falling off above to this share of
    /// the dark end half a frame's height on.
    Reversed {
        /// Share of the darkest strength left at that distance, 0 to 1.
        left: f64,
    },
}

/// Widths from 10 to 90 % in units of each function's own parameter (closed forms).
const ERF_10_90: f64 = 2.563_103_131_089_201;
const LOGISTIC_10_90: f64 = 4.394_449_154_672_439;
const LINEAR_10_90: f64 = 0.8;

/// The share of the full strength at a distance from the 50 % line, positive towards the dark
/// side; `width` from 10 to 90 % in the same unit as the distance.
#[must_use]
pub fn graduated_share(transition: Transition, distance: f64, width: f64) -> f64 {
    let edge = |d: f64| 0.5 * (1.0 + erf(d * ERF_10_90 / width / std::f64::consts::SQRT_2));
    match transition {
        Transition::Erf => edge(distance),
        Transition::Logistic => 1.0 / (1.0 + (-distance * LOGISTIC_10_90 / width).exp()),
        Transition::Linear => (0.5 + distance * LINEAR_10_90 / width).clamp(0.0, 1.0),
        Transition::Reversed { left } => {
            let beyond = (distance / 0.5).clamp(0.0, 1.0);
            edge(distance) * (1.0 - (1.0 - left) * beyond)
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn inside(external: f64, azimuth: f64, index: f64) -> Vector {
        let (sin, cos) = external.to_radians().sin_cos();
        let (y, x) = azimuth.to_radians().sin_cos();
        refracted([sin * x, sin * y, cos], index)
    }

    /// 1,232 values of the closed form for two ideal O-type sheets (P. Yeh, Optical Review 16
    /// (2009) 192; Zhu, Ge, Wu, J. Display Technol. 2 (2006) 2), computed apart from this code.
    const TRUTH: &str = include_str!("../../fixtures/published/two_polarisers.json");
    const CLOSED_FORM_TOLERANCE: f64 = 1e-9;

    #[test]
    fn two_sheets_agree_with_the_closed_form() {
        let document: serde_json::Value = serde_json::from_str(TRUTH).unwrap();
        let rows = document["rows"].as_array().unwrap();
        assert_eq!(rows.len(), 1232);
        for row in rows {
            let v: Vec<f64> = row.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect();
            let (first, second) = (in_plane(-v[0] / 2.0), in_plane(v[0] / 2.0));
            let t = two_sheets(inside(v[1], v[2], v[3]), first, second);
            assert!((t - v[4]).abs() < CLOSED_FORM_TOLERANCE, "{row}: {t}");
        }
    }

    /// Hecht, Optics, chapter on polarisation (from memory): cos^2 of the rotation.
    #[test]
    fn on_the_axis_two_sheets_follow_malus() {
        let straight = [0.0, 0.0, 1.0];
        for (rotation, stops) in
            [(30.0, 0.415), (45.0, 1.0), (60.0, 2.0), (80.0, 5.052), (85.0, 7.041)]
        {
            let t = two_sheets(straight, in_plane(10.0), in_plane(10.0 + rotation));
            assert!((-(2.0 * t).log2() - stops).abs() < 0.0005, "{rotation}: {t}");
        }
        let crossed = malus(straight, in_plane(20.0), 0.8, 20.0);
        let open = malus(straight, in_plane(20.0), 0.8, 110.0);
        assert!((crossed - 0.2).abs() < 1e-12 && (open - 1.8).abs() < 1e-12);
    }

    /// Path in a plate of n = 1.5 at the corner of 36 x 24 mm (Snell's law): three decimals, cut or rounded.
    #[test]
    fn oblique_rays_take_a_longer_path_in_glass() {
        let corners = [
            (14.0, 1.207),
            (16.0, 1.184),
            (24.0, 1.118),
            (35.0, 1.068),
            (50.0, 1.037),
            (85.0, 1.014),
        ];
        for (focal, factor) in corners {
            let found = path_factor(ray(18.0, 12.0, focal), GLASS_INDEX);
            assert!((found - factor).abs() < 0.001, "{focal} mm: {found}");
        }
    }

    /// cos^4 law (textbook): 20 degrees 0.780, 40 degrees 0.344, 45 degrees a quarter.
    #[test]
    fn falloff_is_the_fourth_power_of_the_cosine() {
        for (degrees, share) in [(20.0_f64, 0.780), (40.0, 0.344), (45.0, 0.25)] {
            let at = ray(degrees.to_radians().tan(), 0.0, 1.0);
            assert!((falloff(at, 1.0) - share).abs() < 0.0005);
        }
    }

    /// Widths by definition; for the error function and the logistic one from tables of their
    /// inverses (2 x 1.2815516 sigma, 2 ln 9).
    #[test]
    fn graduations_are_as_wide_as_planted() {
        for transition in [Transition::Erf, Transition::Logistic, Transition::Linear] {
            for (distance, share) in [(-0.1, 0.1), (0.0, 0.5), (0.1, 0.9)] {
                let found = graduated_share(transition, distance, 0.2);
                assert!((found - share).abs() < 1e-6, "{transition:?} {distance}: {found}");
            }
        }
        let reversed = Transition::Reversed { left: 0.4 };
        assert!(graduated_share(reversed, 0.12, 0.2) > graduated_share(reversed, 0.5, 0.2));
        assert!((graduated_share(reversed, 0.5, 0.2) - 0.4).abs() < 1e-6);
    }
}
