//! The ruler of stops: a hairline axis in thirds, what was claimed as a tick with its word, what
//! was measured as a band as wide as its uncertainty, the difference written between them.

use super::ink::Role;
use super::label::{Anchor, Bounds, Label, text_width};
use super::sheet::{Caption, PlotError, Sheet, Svg};

/// What is claimed, and the words for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// Stops.
    pub stops: f64,
    /// Words, e.g. "rated 10".
    pub words: String,
}

/// What was measured: from one value to another where a ring is turned, else both alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Weakest, in stops.
    pub from: f64,
    /// Strongest, in stops.
    pub to: f64,
    /// Expanded uncertainty of either end, in stops.
    pub u95: f64,
    /// Words, e.g. "10.35".
    pub words: String,
}

impl Band {
    /// One value.
    pub fn one(stops: f64, u95: f64, words: impl Into<String>) -> Self {
        Self { from: stops, to: stops, u95, words: words.into() }
    }
    fn low(&self) -> f64 {
        self.from - self.u95
    }
    fn high(&self) -> f64 {
        self.to + self.u95
    }
}

/// One line of a ruler with several.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Name at the left.
    pub label: String,
    /// Measured.
    pub band: Band,
}

/// The axis: a stretch of stops over a stretch of pixels.
pub(super) struct Axis {
    pub lo: f64,
    pub hi: f64,
    pub left: f64,
    pub right: f64,
}

impl Axis {
    /// Ends at thirds, at least two stops long.
    fn covering(
        values: impl Iterator<Item = f64>,
        left: f64,
        right: f64,
    ) -> Result<Self, PlotError> {
        const MARGIN: f64 = 0.25;
        const SHORTEST: f64 = 2.0;
        let (lo, hi) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
        if !lo.is_finite() || !hi.is_finite() {
            return Err(PlotError::Empty);
        }
        let missing = (SHORTEST - (hi - lo) - 2.0 * MARGIN).max(0.0) / 2.0;
        let third = |v: f64, round: fn(f64) -> f64| round(v * 3.0) / 3.0;
        let lo = third(lo - MARGIN - missing, f64::floor);
        let hi = third(hi + MARGIN + missing, f64::ceil);
        Ok(Self { lo, hi, left, right })
    }
    pub fn x(&self, stops: f64) -> f64 {
        self.left + (stops - self.lo) / (self.hi - self.lo) * (self.right - self.left)
    }
    /// Pixels of a stop; long words may leave no room at all.
    fn stop(&self) -> f64 {
        (self.right - self.left).abs() / (self.hi - self.lo)
    }
    /// Where ticks stand, in thirds of a stop: all of them while they can be told apart, else full
    /// stops, else as many full stops apart as that takes. A doubt beyond all reason gives a long
    /// axis, never many ticks.
    fn thirds(&self) -> impl Iterator<Item = i64> + use<> {
        let apart = LEAST_APART / self.stop();
        let by = if apart <= 1.0 / 3.0 { 1 } else { (apart.ceil() as i64).saturating_mul(3) };
        let first = ((self.lo * 3.0).round() as i64).div_euclid(by).saturating_mul(by);
        let (from, to) = ((self.lo * 3.0).round() as i64, (self.hi * 3.0).round() as i64);
        let next = move |at: &i64| at.checked_add(by);
        std::iter::successors(Some(first), next)
            .skip_while(move |&at| at < from)
            .take_while(move |&at| at <= to)
    }
    /// Hairline with thirds where they stand apart, full stops longer and numbered below.
    fn draw(&self, sheet: &mut Sheet, y: f64, size: f64) {
        sheet.line(vec![(self.left, y), (self.right, y)], 1.0, Role::Ink);
        let words = |stops: f64| text_width(&signed_plain(stops.round() as i64), size);
        let widest = words(self.lo).max(words(self.hi));
        let every = (((widest + 6.0) / self.stop()).ceil() as i64).max(1);
        for third in self.thirds() {
            let x = self.x(third as f64 / 3.0);
            let full = third % 3 == 0;
            let length = if full { 9.0 } else { 5.0 };
            sheet.line(vec![(x, y), (x, y + length)], 1.0, Role::Ink);
            if full && (third / 3) % every == 0 {
                let text = signed_plain(third / 3);
                sheet.text(
                    Label::new(text, x, y + 12.0 + size * 0.6, size, Anchor::Middle)
                        .paint(Role::Soft),
                );
            }
        }
    }
}

fn signed_plain(n: i64) -> String {
    if n < 0 { format!("\u{2212}{}", n.unsigned_abs()) } else { n.to_string() }
}

const LEAST_BAND: f64 = 2.0;
/// Ticks nearer than so many pixels cannot be told apart.
const LEAST_APART: f64 = 3.0;

fn band(sheet: &mut Sheet, axis: &Axis, band: &Band, top: f64, bottom: f64) {
    let (mut left, mut right) = (axis.x(band.low()), axis.x(band.high()));
    if right - left < LEAST_BAND {
        let middle = f64::midpoint(left, right);
        (left, right) = (middle - LEAST_BAND / 2.0, middle + LEAST_BAND / 2.0);
    }
    sheet.rectangle(Bounds { left, top, right, bottom }, Role::Measured);
}

/// The headline: one band, the claims under the axis, the difference between.
///
/// # Errors
/// Where there is nothing finite to draw or the drawing library refuses.
pub fn headline(
    caption: &Caption,
    measured: &Band,
    claims: &[Claim],
    difference: Option<&str>,
    width: f64,
) -> Result<Svg, PlotError> {
    const SIZE: f64 = 15.0;
    const AXIS: f64 = 74.0;
    let values =
        [measured.low(), measured.high()].into_iter().chain(claims.iter().map(|c| c.stops));
    let axis = Axis::covering(values, 12.0, width - 12.0)?;
    let height = if claims.is_empty() { 112.0 } else { 140.0 };
    let mut sheet = Sheet::new(caption, width, height);
    axis.draw(&mut sheet, AXIS, SIZE - 1.0);
    let a_range = measured.to > measured.from;
    if a_range {
        band(&mut sheet, &axis, measured, AXIS - 26.0, AXIS - 8.0);
    } else {
        band(&mut sheet, &axis, measured, AXIS - 40.0, AXIS);
    }
    let middle = axis.x(f64::midpoint(measured.from, measured.to));
    sheet.text(
        Label::new(&*measured.words, middle, 16.0, SIZE + 2.0, Anchor::Middle)
            .paint(Role::Measured)
            .bold()
            .within(2.0, width - 2.0),
    );
    for (index, claim) in claims.iter().enumerate() {
        draw_claim(
            &mut sheet,
            &axis,
            claim,
            index + 1 == claims.len() && claims.len() > 1,
            AXIS,
            SIZE,
        );
    }
    if let ([claim], Some(words)) = (claims, difference) {
        draw_difference(&mut sheet, &axis, measured, claim, words, AXIS - 20.0);
    }
    sheet.finish()
}

fn draw_claim(sheet: &mut Sheet, axis: &Axis, claim: &Claim, last: bool, y: f64, size: f64) {
    let x = axis.x(claim.stops);
    sheet.line(vec![(x, y - 36.0), (x, y - 2.0)], 5.0, Role::Ground);
    sheet.line(vec![(x, y - 36.0), (x, y + 9.0)], 2.0, Role::Claimed);
    let low = y + 14.0 + size * 1.2;
    sheet.line(vec![(x, low), (x, low + 8.0)], 2.0, Role::Claimed);
    let label = Label::new(&*claim.words, x, low + 18.0, size, Anchor::Middle)
        .paint(Role::Claimed)
        .within(2.0, axis.right + 10.0);
    if !sheet.text_if_room(label.clone()) && last {
        // Two claims close together: the second moves to the right of the first.
        let moved = Label { anchor: Anchor::Start, x: x + 6.0, ..label };
        sheet.text_if_room(moved);
    }
}

/// A line from claim to band with the words on it, where they fit.
fn draw_difference(
    sheet: &mut Sheet,
    axis: &Axis,
    measured: &Band,
    claim: &Claim,
    words: &str,
    y: f64,
) {
    const SIZE: f64 = 14.0;
    let claimed = axis.x(claim.stops);
    let near = if measured.from > claim.stops { measured.low() } else { measured.high() };
    let near = axis.x(near);
    let (left, right) = (claimed.min(near), claimed.max(near));
    let overlaps = (measured.low()..=measured.high()).contains(&claim.stops);
    if overlaps || right - left < 4.0 {
        return;
    }
    let label = Label::new(words, f64::midpoint(left, right), y, SIZE, Anchor::Middle);
    let bounds = label.bounds();
    if bounds.right - bounds.left + 16.0 <= right - left {
        sheet.line(vec![(left, y), (bounds.left - 4.0, y)], 1.0, Role::Ink);
        sheet.line(vec![(bounds.right + 4.0, y), (right, y)], 1.0, Role::Ink);
        sheet.text(label);
    } else {
        sheet.line(vec![(left, y), (right, y)], 1.0, Role::Ink);
        let beyond_band = axis.x(measured.high()).max(claimed) + 8.0;
        let before_both = axis.x(measured.low()).min(claimed) - 8.0;
        let right_side = Label { anchor: Anchor::Start, x: beyond_band, ..label.clone() };
        if !sheet.text_if_room(right_side) {
            sheet.text_if_room(Label { anchor: Anchor::End, x: before_both, ..label });
        }
    }
}

/// Several bands over one axis: channels, marks, two profiles.
///
/// # Errors
/// Where there is nothing finite to draw or the drawing library refuses.
pub fn rows(
    caption: &Caption,
    rows: &[Row],
    claims: &[Claim],
    width: f64,
) -> Result<Svg, PlotError> {
    const SIZE: f64 = 13.5;
    const STEP: f64 = 27.0;
    let longest = |words: fn(&Row) -> &str| {
        rows.iter().map(|row| text_width(words(row), SIZE)).fold(0.0, f64::max)
    };
    let left = longest(|row| &row.label) + 12.0;
    let right = width - longest(|row| &row.band.words) - 12.0;
    let values = rows
        .iter()
        .flat_map(|row| [row.band.low(), row.band.high()])
        .chain(claims.iter().map(|c| c.stops));
    let axis = Axis::covering(values, left, right)?;
    let bottom = 8.0 + STEP * rows.len() as f64;
    let height = bottom + if claims.is_empty() { 34.0 } else { 58.0 };
    let mut sheet = Sheet::new(caption, width, height);
    for third in axis.thirds().filter(|third| third % 3 == 0) {
        let x = axis.x(third as f64 / 3.0);
        sheet.line(vec![(x, 6.0), (x, bottom)], 1.0, Role::Zone);
    }
    for claim in claims {
        let x = axis.x(claim.stops);
        sheet.line(vec![(x, 6.0), (x, bottom)], 2.0, Role::Claimed);
    }
    for (index, row) in rows.iter().enumerate() {
        let y = 8.0 + STEP * (index as f64 + 0.5);
        sheet.line(vec![(left, y), (right, y)], 1.0, Role::Rule);
        band(&mut sheet, &axis, &row.band, y - 8.0, y + 8.0);
        sheet.text(Label::new(&*row.label, 0.0, y, SIZE, Anchor::Start));
        sheet.text(Label::new(&*row.band.words, width, y, SIZE, Anchor::End).paint(Role::Measured));
    }
    axis.draw(&mut sheet, bottom, SIZE - 0.5);
    for claim in claims {
        let x = axis.x(claim.stops);
        let y = bottom + 46.0;
        sheet.line(vec![(x, bottom), (x, bottom + 9.0)], 2.0, Role::Claimed);
        sheet.text_if_room(
            Label::new(&*claim.words, x, y, SIZE, Anchor::Middle)
                .paint(Role::Claimed)
                .within(2.0, width - 2.0),
        );
    }
    sheet.finish()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_ruler_shows_every_third() {
        let axis = Axis::covering([-0.1, 6.1].into_iter(), 100.0, 700.0).unwrap();
        // From -0.35 and to 6.35, rounded outwards to thirds.
        assert_eq!(axis.thirds().collect::<Vec<_>>(), (-2..=20).collect::<Vec<_>>());
    }

    #[test]
    fn a_doubt_beyond_reason_draws_few_ticks() {
        // More ticks than half the pixels cannot be told apart.
        const MOST: usize = 300;
        let caption = Caption {
            name: "casts".to_owned(),
            title: "Casts".to_owned(),
            finding: "None".to_owned(),
        };
        for u95 in [40.0, 1e3, 1.4e9, 1e18, 1e300] {
            let axis = Axis::covering([-u95, u95].into_iter(), 100.0, 700.0).unwrap();
            let ticks = axis.thirds().count();
            assert!((1..=MOST).contains(&ticks), "{ticks} ticks for {u95:e}");
            let row = Row { label: "red".to_owned(), band: Band::one(0.1, u95, "0.1") };
            let svg = rows(&caption, &[row], &[], 700.0).unwrap();
            assert!(svg.file.len() < 100_000, "{} bytes for {u95:e}", svg.file.len());
        }
    }
}
