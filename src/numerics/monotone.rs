//! A smooth curve through points that never overshoots them: cubic Hermite pieces with limited
//! slopes (F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238; inner slopes are
//! the harmonic means of their neighbours).

/// A curve through points of rising abscissa.
#[derive(Clone, Debug, PartialEq)]
pub struct Monotone {
    points: Vec<(f64, f64)>,
    slopes: Vec<f64>,
}

impl Monotone {
    /// Through two points or more of rising abscissa; `None` through fewer.
    #[must_use]
    pub fn through(points: Vec<(f64, f64)>) -> Option<Self> {
        let secants: Vec<f64> =
            points.windows(2).map(|p| (p[1].1 - p[0].1) / (p[1].0 - p[0].0)).collect();
        let (first, last) = (*secants.first()?, *secants.last()?);
        let inner = secants.windows(2).map(|s| match s[0] * s[1] {
            product if product > 0.0 => 2.0 * s[0] * s[1] / (s[0] + s[1]),
            _ => 0.0,
        });
        let slopes = std::iter::once(first).chain(inner).chain([last]).collect();
        Some(Self { points, slopes })
    }

    /// Height at an abscissa, in the unit of the heights; the end pieces go on beyond the ends.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        let after = self.points.partition_point(|p| p.0 <= x);
        let i = after.clamp(1, self.points.len() - 1) - 1;
        let ((x0, y0), (x1, y1)) = (self.points[i], self.points[i + 1]);
        let h = x1 - x0;
        let t = (x - x0) / h;
        let (t2, t3) = (t * t, t * t * t);
        (2.0 * t3 - 3.0 * t2 + 1.0) * y0
            + (t3 - 2.0 * t2 + t) * h * self.slopes[i]
            + (3.0 * t2 - 2.0 * t3) * y1
            + (t3 - t2) * h * self.slopes[i + 1]
    }

    /// Points along the curve, so many pieces from each given point to the next.
    #[must_use]
    pub fn drawn(&self, pieces: usize) -> Vec<(f64, f64)> {
        let along = |p: &[(f64, f64)]| {
            let (start, length) = (p[0].0, p[1].0 - p[0].0);
            (0..pieces)
                .map(move |k| start + length * k as f64 / pieces as f64)
                .map(|x| (x, self.at(x)))
                .collect::<Vec<_>>()
        };
        self.points.windows(2).flat_map(along).chain(self.points.last().copied()).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_passes_its_points_and_never_overshoots() {
        let points = [(0.0, 1.9), (1.0, 2.3), (2.0, 2.31), (3.0, 5.0), (4.0, 7.5)];
        let curve = Monotone::through(points.to_vec()).unwrap();
        for (x, y) in points {
            assert!((curve.at(x) - y).abs() < 1e-12);
        }
        let drawn = curve.drawn(10);
        assert_eq!(drawn.len(), 41);
        assert!(drawn.windows(2).all(|p| p[1].1 >= p[0].1 - 1e-12));
        // a turning point is flat, and the curve stays on its side of it
        let peak = Monotone::through(vec![(0.0, 0.0), (1.0, 1.0), (3.0, 0.0)]).unwrap();
        assert!(peak.drawn(20).iter().all(|p| p.1 <= 1.0));
    }

    #[test]
    fn a_line_stays_a_line() {
        let line = Monotone::through(vec![(0.0, 1.0), (2.0, 5.0), (3.0, 7.0)]).unwrap();
        for x in [-1.0, 0.3, 2.0, 2.9, 4.0] {
            assert!((line.at(x) - (1.0 + 2.0 * x)).abs() < 1e-12);
        }
        assert!(Monotone::through(vec![(0.0, 1.0)]).is_none());
    }
}
