//! Cost against size: is it a line, and what does it look like?

use plotters::prelude::*;
use std::fmt::Write;
use std::path::Path;

/// Points of one curve.
pub struct Curve {
    /// What grows.
    pub what: &'static str,
    /// Size and seconds, smallest first.
    pub points: Vec<(f64, f64)>,
}

impl Curve {
    /// Start and slope of the line through the smaller half of the points (at least three), by
    /// least squares of relative deviations.
    pub fn line(&self) -> (f64, f64) {
        let half = &self.points[..self.points.len().div_ceil(2).max(3)];
        let [mut s, mut sx, mut sxx, mut sy, mut sxy] = [0.0; 5];
        for &(x, y) in half {
            let weight = 1.0 / (y * y);
            s += weight;
            sx += weight * x;
            sxx += weight * x * x;
            sy += weight * y;
            sxy += weight * x * y;
        }
        let slope = (s * sxy - sx * sy) / (s * sxx - sx * sx);
        ((sy - slope * sx) / s, slope)
    }

    /// The largest point's cost in parts of what the line through the smaller half says.
    pub fn growth(&self) -> f64 {
        let (start, slope) = self.line();
        self.points.last().map_or(f64::NAN, |&(x, y)| y / (start + slope * x))
    }

    /// The points and the line, as a table.
    pub fn table(&self) -> String {
        let (start, slope) = self.line();
        let mut text = format!("{:>12} {:>9} {:>9} {:>9}\n", self.what, "seconds", "line", "each");
        for &(x, y) in &self.points {
            let line = start + slope * x;
            // Text grows without fail.
            writeln!(text, "{x:12.1} {y:9.3} {line:9.3} {:7.2} ms", 1e3 * y / x).ok();
        }
        text + &format!("largest beside the smaller half's line: {:.2}\n", self.growth())
    }
}

const WIDTH: u32 = 960;
const HEIGHT: u32 = 400;

/// All curves side by side as an SVG file.
pub fn draw(curves: &[&Curve], title: &str, path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let root = SVGBackend::new(path, (WIDTH, HEIGHT)).into_drawing_area();
    root.fill(&WHITE)?;
    let root = root.titled(title, ("sans-serif", 13))?;
    for (area, curve) in root.split_evenly((1, curves.len())).iter().zip(curves) {
        let most = |of: fn(&(f64, f64)) -> f64| curve.points.iter().map(of).fold(0.0, f64::max);
        let (right, top) = (1.05 * most(|p| p.0), 1.1 * most(|p| p.1));
        let mut chart = ChartBuilder::on(area)
            .margin(12)
            .x_label_area_size(36)
            .y_label_area_size(52)
            .build_cartesian_2d(0.0..right, 0.0..top)?;
        chart
            .configure_mesh()
            .light_line_style(TRANSPARENT)
            .x_desc(curve.what)
            .y_desc("processor seconds")
            .draw()?;
        let (start, slope) = curve.line();
        let line = [(0.0, start), (right, start + slope * right)];
        chart.draw_series(LineSeries::new(line, BLACK.mix(0.4)))?;
        chart.draw_series(curve.points.iter().map(|&p| Circle::new(p, 4, BLACK.filled())))?;
    }
    root.present()?;
    Ok(())
}
