//! Across a graduation: the picture's height from top to bottom as the picture stands, stops to
//! the right.

use super::chart::Plane;
use super::ink::Role;
use super::label::{Anchor, Bounds, Label};
use super::sheet::{Caption, PlotError, Sheet, Svg};

/// What is marked on the profile.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// Where half the strength is reached, percent of the height from the top.
    pub centre: f64,
    /// 10 to 90 % width in percent of the height.
    pub width: f64,
    /// Words beside the centre line.
    pub centre_words: String,
    /// Words beside the zone.
    pub width_words: String,
}

/// Draws points of (percent from the top, stops).
///
/// # Errors
/// Where there are fewer than two points or the drawing library refuses.
pub fn profile(
    caption: &Caption,
    points: &[(f64, f64)],
    edge: &Edge,
    rated: Option<(f64, &str)>,
    width: f64,
) -> Result<Svg, PlotError> {
    const SIZE: f64 = 13.5;
    if points.len() < 2 {
        return Err(PlotError::Empty);
    }
    let stops = points.iter().map(|p| p.1).chain(rated.map(|r| r.0));
    let (lo, hi) = stops.fold((0.0_f64, 1.0_f64), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let height = 340.0;
    let plane = Plane {
        left: 58.0,
        right: width - 14.0,
        top: 26.0,
        bottom: height - 52.0,
        x_lo: (lo * 3.0).floor() / 3.0,
        x_hi: ((hi + 0.1) * 3.0).ceil() / 3.0,
        y_top: 0.0,
        y_bottom: 100.0,
    };
    let mut sheet = Sheet::new(caption, width, height);
    let zone = Bounds {
        left: plane.left,
        top: plane.y((edge.centre - edge.width / 2.0).max(0.0)),
        right: plane.right,
        bottom: plane.y((edge.centre + edge.width / 2.0).min(100.0)),
    };
    sheet.rectangle(zone, Role::Zone);
    for percent in [0, 25, 50, 75, 100] {
        plane.y_tick(&mut sheet, f64::from(percent), &format!("{percent} %"), SIZE);
    }
    plane.frame(&mut sheet);
    for third in (plane.x_lo * 3.0).round() as i64..=(plane.x_hi * 3.0).round() as i64 {
        let text = if third % 3 == 0 { (third / 3).to_string() } else { String::new() };
        plane.x_tick(&mut sheet, third as f64 / 3.0, &text, SIZE);
    }
    if let Some((stops, words)) = rated {
        let x = plane.x(stops);
        sheet.line(vec![(x, plane.top), (x, plane.bottom)], 2.0, Role::Claimed);
        let label = Label::new(words, x, plane.top - 12.0, SIZE, Anchor::Middle);
        sheet.text_if_room(label.paint(Role::Claimed).within(2.0, width - 2.0));
    }
    let y = plane.y(edge.centre);
    sheet.line(vec![(plane.left, y), (plane.right, y)], 1.0, Role::Ink);
    sheet.line(points.iter().map(|(h, s)| plane.at((*s, *h))).collect(), 2.4, Role::Measured);
    words(&mut sheet, &plane, edge, points, SIZE);
    sheet.finish()
}

/// Words go where the curve is not: above the zone and above the line, at the left where it is dark
/// above, else at the right.
fn words(sheet: &mut Sheet, plane: &Plane, edge: &Edge, points: &[(f64, f64)], size: f64) {
    let dark_above = points.first().map(|p| p.1) > points.last().map(|p| p.1);
    let (anchor, x) = if dark_above {
        (Anchor::Start, plane.left + 8.0)
    } else {
        (Anchor::End, plane.right - 8.0)
    };
    let line = plane.y(edge.centre);
    let zone = plane.y((edge.centre - edge.width / 2.0).max(0.0));
    let fits = line - zone > size * 1.5;
    let (first, second) =
        if fits { (zone - 10.0, line - 11.0) } else { (zone - 28.0, zone - 10.0) };
    sheet.text_if_room(Label::new(&*edge.width_words, x, first, size, anchor).paint(Role::Soft));
    sheet.text_if_room(Label::new(&*edge.centre_words, x, second, size, anchor));
    let below = Label::new("stops", plane.right, plane.bottom + 38.0, size, Anchor::End);
    sheet.text_if_room(below.paint(Role::Soft));
    let above = Label::new("from the top", 2.0, 10.0, size, Anchor::Start);
    sheet.text_if_room(above.paint(Role::Soft));
}
