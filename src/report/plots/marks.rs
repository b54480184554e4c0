//! A variable filter: its marks against true stops, and how far the ring may be turned.

use super::chart::Plane;
use super::ink::Role;
use super::label::{Anchor, Bounds, Label};
use super::ruler::Claim;
use super::sheet::{Caption, PlotError, Sheet, Svg};
use crate::numerics::monotone::Monotone;

/// One mark of the ring.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkPoint {
    /// As named, or numbered.
    pub label: String,
    /// Measured stops in the centre.
    pub stops: f64,
    /// Expanded uncertainty, in stops.
    pub u95: f64,
    /// Lightest and darkest place of the frame, extra stops relative to the centre.
    pub extremes: Option<(f64, f64)>,
    /// Whether it lies within the tolerance.
    pub usable: Option<bool>,
}

/// Marks from left to right, stops upwards; behind each mark the reach of the frame from its
/// lightest to its darkest place; the usable stretch as a zone.
///
/// # Errors
/// Where there are no marks or the drawing library refuses.
pub fn curve(
    caption: &Caption,
    marks: &[MarkPoint],
    claims: &[Claim],
    zone_words: &str,
    width: f64,
) -> Result<Svg, PlotError> {
    const SIZE: f64 = 13.5;
    if marks.is_empty() {
        return Err(PlotError::Empty);
    }
    let height = (width * 0.62).clamp(260.0, 420.0);
    let plane = plane(marks, claims, width, height);
    let mut sheet = Sheet::new(caption, width, height);
    let usable = marks.iter().rposition(|mark| mark.usable == Some(true));
    if let Some(last) = usable {
        let right = plane.x(last as f64 + 0.5).min(plane.right);
        let bounds = Bounds { left: plane.left, top: plane.top, right, bottom: plane.bottom };
        sheet.rectangle(bounds, Role::Zone);
    }
    for stop in plane.y_bottom.ceil() as i64..=plane.y_top.floor() as i64 {
        plane.y_tick(&mut sheet, stop as f64, &stop.to_string(), SIZE);
    }
    plane.frame(&mut sheet);
    for claim in claims {
        let y = plane.y(claim.stops);
        sheet.line(vec![(plane.left, y), (plane.right, y)], 1.0, Role::Claimed);
    }
    for (index, mark) in marks.iter().enumerate() {
        plane.x_tick(&mut sheet, index as f64, &mark.label, SIZE);
        draw_reach(&mut sheet, &plane, index, mark);
    }
    let centres: Vec<_> = marks.iter().enumerate().map(|(i, m)| (i as f64, m.stops)).collect();
    let curve = Monotone::through(centres.clone()).map_or(centres, |curve| curve.drawn(12));
    let line = curve.into_iter().map(|p| plane.at(p)).collect();
    sheet.line(line, 1.6, Role::Measured);
    for (index, mark) in marks.iter().enumerate() {
        let (x, y) = plane.at((index as f64, mark.stops));
        let (low, high) = (plane.y(mark.stops - mark.u95), plane.y(mark.stops + mark.u95));
        sheet.line(vec![(x, low), (x, high)], 3.0, Role::Measured);
        sheet.dot(x, y, 4.0, mark.usable != Some(false), Role::Measured);
    }
    words(&mut sheet, &plane, usable, zone_words, SIZE);
    claim_words(&mut sheet, &plane, marks, claims, SIZE);
    sheet.finish()
}

fn plane(marks: &[MarkPoint], claims: &[Claim], width: f64, height: f64) -> Plane {
    let highest = marks
        .iter()
        .map(|m| m.stops + m.extremes.map_or(0.0, |(_, darkest)| darkest.max(0.0)) + m.u95)
        .chain(claims.iter().map(|c| c.stops))
        .fold(f64::NEG_INFINITY, f64::max);
    let lowest = marks
        .iter()
        .map(|m| m.stops + m.extremes.map_or(0.0, |(lightest, _)| lightest.min(0.0)) - m.u95)
        .chain(claims.iter().map(|c| c.stops))
        .fold(f64::INFINITY, f64::min);
    Plane {
        left: 34.0,
        right: width - 10.0,
        top: 30.0,
        bottom: height - 50.0,
        x_lo: -0.5,
        x_hi: marks.len() as f64 - 0.5,
        y_top: (highest + 0.2).ceil(),
        y_bottom: (lowest - 0.2).floor().max(0.0),
    }
}

/// The frame's lightest to darkest place, as a thin bracket beside the mark.
fn draw_reach(sheet: &mut Sheet, plane: &Plane, index: usize, mark: &MarkPoint) {
    let Some((lightest, darkest)) = mark.extremes else { return };
    let x = plane.x(index as f64);
    let (low, high) = (plane.y(mark.stops + lightest), plane.y(mark.stops + darkest));
    sheet.line(vec![(x - 5.0, high), (x + 5.0, high)], 1.0, Role::Ink);
    sheet.line(vec![(x, low), (x, high)], 1.0, Role::Ink);
    sheet.line(vec![(x - 5.0, low), (x + 5.0, low)], 1.0, Role::Ink);
}

/// Each claim is named at the end of its line that lies farther from the curve.
fn claim_words(sheet: &mut Sheet, plane: &Plane, marks: &[MarkPoint], claims: &[Claim], size: f64) {
    let away = |mark: Option<&MarkPoint>, claim: &Claim| {
        mark.map_or(f64::INFINITY, |m| (m.stops - claim.stops).abs())
    };
    for claim in claims {
        let (x, anchor) = if away(marks.first(), claim) > away(marks.last(), claim) {
            (plane.left + 6.0, Anchor::Start)
        } else {
            (plane.right, Anchor::End)
        };
        let label = Label::new(&*claim.words, x, plane.y(claim.stops) - 10.0, size, anchor);
        sheet.text_if_room(label.paint(Role::Claimed));
    }
}

fn words(sheet: &mut Sheet, plane: &Plane, usable: Option<usize>, zone_words: &str, size: f64) {
    if usable.is_some() {
        sheet.text_if_room(Label::new(
            zone_words,
            plane.left + 6.0,
            plane.top + 12.0,
            size,
            Anchor::Start,
        ));
    }
    sheet.text_if_room(Label::new("stops", 2.0, 12.0, size, Anchor::Start).paint(Role::Soft));
    let below = Label::new("mark on the ring", plane.right, plane.bottom + 38.0, size, Anchor::End);
    sheet.text_if_room(below.paint(Role::Soft));
}
