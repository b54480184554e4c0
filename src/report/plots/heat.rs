//! Evenness as a map: darkness shown as darkness, one ramp from paper to ink, even in lightness,
//! one scale for all settings of a shoot, contours every third of a stop.

use super::contours::Field;
use super::ink::{Paint, Role};
use super::label::{Anchor, Bounds, Label};
use super::sheet::{Caption, PlotError, Sheet, Svg};
use palette::{FromColor, Lab, Srgb, white_point::D65};

const LEVELS: usize = 64;
/// CIELAB of the lightest and the darkest map colour.
const PAPER: [f64; 3] = [96.0, -0.4, 2.0];
const INK: [f64; 3] = [16.0, -1.0, -7.0];
/// CIELAB where a comparison finds less darkness; more goes to [`INK`].
const LESS: [f64; 3] = [46.0, 18.0, 42.0];

/// Stops that the ramp's ends stand for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    lo: f64,
    hi: f64,
    diverging: bool,
}

impl Scale {
    /// One scale for all maps of a shoot: ends at thirds, at least one stop long, so that what is
    /// even looks even.
    #[must_use]
    pub fn shared(values: impl Iterator<Item = f64>) -> Self {
        const BELOW_CENTRE_THAT_SHOWS: f64 = 0.1;
        let (lo, hi) = values.fold((0.0_f64, 1.0_f64), |(lo, hi), v| (lo.min(v), hi.max(v)));
        let lo = if lo < -BELOW_CENTRE_THAT_SHOWS { (lo * 3.0).floor() / 3.0 } else { 0.0 };
        Self { lo, hi: (hi * 3.0 - 1e-9).ceil() / 3.0, diverging: false }
    }
    /// A scale with a neutral middle for differences, at least a third of a stop to either side.
    #[must_use]
    pub fn diverging(values: impl Iterator<Item = f64>) -> Self {
        let reach = values.fold(1.0 / 3.0, |reach: f64, v| reach.max(v.abs()));
        let reach = (reach * 3.0 - 1e-9).ceil() / 3.0;
        Self { lo: -reach, hi: reach, diverging: true }
    }
    /// Lightest end, in the unit of the map.
    #[must_use]
    pub fn lo(&self) -> f64 {
        self.lo
    }
    /// Darkest end, in the unit of the map.
    #[must_use]
    pub fn hi(&self) -> f64 {
        self.hi
    }
    fn level(&self, stops: f64) -> usize {
        let share = ((stops - self.lo) / (self.hi - self.lo)).clamp(0.0, 1.0);
        (share * (LEVELS - 1) as f64).round() as usize
    }
    fn thirds(&self) -> std::ops::RangeInclusive<i64> {
        (self.lo * 3.0).round() as i64..=(self.hi * 3.0).round() as i64
    }
    /// Where so many stops stand in a legend of this width.
    fn x(&self, stops: f64, width: f64) -> f64 {
        let (left, right) = legend_sides(width);
        left + (stops - self.lo) / (self.hi - self.lo) * (right - left)
    }
    fn colour(&self, level: usize) -> [u8; 3] {
        let share = level as f64 / (LEVELS - 1) as f64;
        let lab = if !self.diverging {
            mix(PAPER, INK, share)
        } else if share < 0.5 {
            mix(LESS, PAPER, share * 2.0)
        } else {
            mix(PAPER, INK, share * 2.0 - 1.0)
        };
        srgb(lab)
    }
}

fn mix(from: [f64; 3], to: [f64; 3], share: f64) -> [f64; 3] {
    std::array::from_fn(|i| from[i] + (to[i] - from[i]) * share)
}

/// CIELAB under D65 to an sRGB screen (IEC 61966-2-1), out-of-range values cut off.
pub(super) fn srgb(lab: [f64; 3]) -> [u8; 3] {
    let colour = Srgb::from_color(Lab::<D65, f64>::new(lab[0], lab[1], lab[2]));
    let colour: Srgb<u8> = Srgb::new(
        colour.red.clamp(0.0, 1.0),
        colour.green.clamp(0.0, 1.0),
        colour.blue.clamp(0.0, 1.0),
    )
    .into_format();
    [colour.red, colour.green, colour.blue]
}

/// Values that are written into the map.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// At the centre.
    pub centre: String,
    /// Top left, top right, bottom left, bottom right.
    pub corners: [String; 4],
}

/// A map on a panel of its own.
///
/// # Errors
/// Where the map's values do not fill its grid or the drawing library refuses.
pub fn map(
    caption: &Caption,
    field: &Field,
    scale: Scale,
    written: &Written,
    width: f64,
) -> Result<Svg, PlotError> {
    let (columns, rows) = (field.columns, field.rows);
    if columns == 0 || rows == 0 || field.values.len() != columns * rows {
        return Err(PlotError::Shape { columns, rows, values: field.values.len() });
    }
    let side = (width - 2.0) / columns as f64;
    let height = side * rows as f64 + 2.0;
    let mut sheet = Sheet::new(caption, width, height);
    for (level, runs) in runs(field, scale).iter().enumerate() {
        sheet.cells(runs, side, (1.0, 1.0), scale.colour(level));
    }
    sheet.hatched(&unknown(field), side, (1.0, 1.0));
    hide_overhang(&mut sheet, width, height);
    frame(&mut sheet, width, height);
    let full = contours(&mut sheet, field, scale, side);
    write_values(&mut sheet, written, width, height);
    for (stop, points) in full {
        label_line(&mut sheet, stop, &points, text_size(width) - 0.5);
    }
    sheet.finish()
}

/// Runs of cells without a value: column, row, length.
fn unknown(field: &Field) -> Vec<(usize, usize, usize)> {
    let mut out = Vec::new();
    for (row, cells) in field.values.chunks(field.columns).enumerate() {
        let mut start = 0;
        for run in cells.chunk_by(|a, b| a.is_some() == b.is_some()) {
            if run[0].is_none() {
                out.push((start, row, run.len()));
            }
            start += run.len();
        }
    }
    out
}

/// Whether a line stands at some third of a stop other than the centre's own: a map that is more
/// even has none.
#[must_use]
pub fn has_lines(field: &Field) -> bool {
    let known = || field.values.iter().copied().flatten();
    let (lo, hi) = (known().fold(0.0, f64::min), known().fold(0.0, f64::max));
    hi * 3.0 > 1.0 || lo * 3.0 < -1.0
}

/// Runs of cells of one level: column, row, length.
fn runs(field: &Field, scale: Scale) -> Vec<Vec<(usize, usize, usize)>> {
    let mut out = vec![Vec::new(); LEVELS];
    for (row, cells) in field.values.chunks(field.columns).enumerate() {
        let mut start = 0;
        while start < cells.len() {
            let level = cells[start].map(|v| scale.level(v));
            let length =
                cells[start..].iter().take_while(|v| v.map(|v| scale.level(v)) == level).count();
            if let Some(level) = level {
                out[level].push((start, row, length));
            }
            start += length;
        }
    }
    out
}

/// Cells reach a little under their neighbours, and the last ones over the edge.
fn hide_overhang(sheet: &mut Sheet, width: f64, height: f64) {
    let strip = |left, top| Bounds { left, top, right: width, bottom: height };
    sheet.rectangle(strip(width - 1.0, 0.0), Role::Ground);
    sheet.rectangle(strip(0.0, height - 1.0), Role::Ground);
}

fn frame(sheet: &mut Sheet, width: f64, height: f64) {
    let (right, bottom) = (width - 0.5, height - 0.5);
    let points = vec![(0.5, 0.5), (right, 0.5), (right, bottom), (0.5, bottom), (0.5, 0.5)];
    sheet.line(points, 1.0, Paint::Exact(srgb([55.0, 0.0, 0.0])));
}

const PLATE: Paint = Paint::Exact([0xF7, 0xF6, 0xF2]);
const PLATE_INK: Paint = Paint::Exact([0x1C, 0x1B, 0x19]);

/// Text on a light plate, so that it reads on every darkness.
fn plate(sheet: &mut Sheet, label: Label) {
    let b = label.bounds();
    let room = Bounds {
        left: b.left - 3.0,
        top: b.top - 1.0,
        right: b.right + 3.0,
        bottom: b.bottom + 1.0,
    };
    sheet.rectangle(room, PLATE);
    sheet.keep_free(room);
    sheet.text(label.paint(PLATE_INK));
}

/// A map alone is drawn larger and shrinks more on a phone.
fn text_size(width: f64) -> f64 {
    if width < 350.0 { 13.0 } else { 16.0 }
}

fn write_values(sheet: &mut Sheet, written: &Written, width: f64, height: f64) {
    let size = text_size(width);
    let (inset, down) = (8.0, 8.0 + size * 0.6);
    let [top_left, top_right, bottom_left, bottom_right] = &written.corners;
    plate(sheet, Label::new(top_left, inset, down, size, Anchor::Start));
    plate(sheet, Label::new(top_right, width - inset, down, size, Anchor::End));
    plate(sheet, Label::new(bottom_left, inset, height - down, size, Anchor::Start));
    plate(sheet, Label::new(bottom_right, width - inset, height - down, size, Anchor::End));
    plate(sheet, Label::new(&*written.centre, width / 2.0, height / 2.0, size, Anchor::Middle));
}

type Contour = Vec<(f64, f64)>;

/// Thirds as hairlines, full stops heavier and labelled; the line of no difference is left out,
/// since noise alone would draw it. Gives the full stops' lines, for their labels.
fn contours(sheet: &mut Sheet, field: &Field, scale: Scale, side: f64) -> Vec<(i64, Contour)> {
    const SHORTEST_LABELLED: usize = 8;
    let smooth = field.smoothed();
    let mut labels = Vec::new();
    for third in scale.thirds() {
        if third == 0 {
            continue;
        }
        let full = third % 3 == 0;
        let dark = scale.level(third as f64 / 3.0) * 2 > LEVELS && !scale.diverging;
        let colour = if dark { [0xF0, 0xEE, 0xE8] } else { [0x1C, 0x1B, 0x19] };
        for line in smooth.contour(third as f64 / 3.0) {
            let points: Vec<_> =
                line.iter().map(|(x, y)| (1.0 + x * side, 1.0 + y * side)).collect();
            if full && points.len() >= SHORTEST_LABELLED {
                labels.push((third / 3, points.clone()));
            }
            sheet.line(points, if full { 1.8 } else { 0.7 }, Paint::Exact(colour));
        }
    }
    labels
}

fn label_line(sheet: &mut Sheet, stop: i64, points: &[(f64, f64)], size: f64) {
    let text = if stop < 0 { format!("\u{2212}{}", -stop) } else { format!("+{stop}") };
    let middle = points.len() / 2;
    let order = (0..points.len()).map(|i| (middle + i) % points.len());
    for index in order {
        let (x, y) = points[index];
        let label = Label::new(&*text, x, y, size, Anchor::Middle).bold();
        if sheet.has_room(&label) {
            plate(sheet, label);
            return;
        }
    }
}

/// The scale itself, with thirds and full stops.
///
/// # Errors
/// Where the drawing library refuses.
pub fn legend(caption: &Caption, scale: Scale, width: f64) -> Result<Svg, PlotError> {
    let mut sheet = Sheet::new(caption, width, 46.0);
    let (left, right) = legend_sides(width);
    let step = (right - left) / LEVELS as f64;
    for level in 0..LEVELS {
        let from = left + step * level as f64;
        // Each level runs to the end, under its darker neighbours, so that no seam shows.
        let bounds = Bounds { left: from, top: 4.0, right, bottom: 18.0 };
        sheet.rectangle(bounds, Paint::Exact(scale.colour(level)));
    }
    for third in scale.thirds() {
        let at = scale.x(third as f64 / 3.0, width);
        let length = if third % 3 == 0 { 26.0 } else { 22.0 };
        sheet.line(vec![(at, 18.0), (at, length)], 1.0, Role::Ink);
    }
    legend_labels(scale, width).into_iter().for_each(|label| sheet.text(label));
    sheet.finish()
}

fn legend_sides(width: f64) -> (f64, f64) {
    (20.0, width - 20.0)
}

/// Full stops, then ends that are none, each where it keeps clear of those before.
fn legend_labels(scale: Scale, width: f64) -> Vec<Label> {
    const SIZE: f64 = 13.0;
    let label = |text: String, stops: f64| {
        let at = scale.x(stops, width);
        Label::new(text, at, 35.0, SIZE, Anchor::Middle).paint(Role::Soft).within(0.0, width)
    };
    let full = scale.thirds().filter(|third| third % 3 == 0).map(|third| match third / 3 {
        0 => label("0".to_owned(), 0.0),
        n if n < 0 => label(format!("\u{2212}{}", -n), n as f64),
        n => label(format!("+{n}"), n as f64),
    });
    let ends = [scale.lo, scale.hi].into_iter().filter(|end| (end - end.round()).abs() > 0.1);
    let ends = ends.map(|end| match end < 0.0 {
        true => label(format!("\u{2212}{:.2}", -end), end),
        false => label(format!("+{end:.2}"), end),
    });
    let mut placed: Vec<Label> = Vec::new();
    for label in full.chain(ends) {
        let own = label.bounds();
        let room = Bounds { left: own.left - LEAST_APART, right: own.right + LEAST_APART, ..own };
        if !placed.iter().any(|other| other.bounds().meets(&room)) {
            placed.push(label);
        }
    }
    placed
}

/// Numbers nearer to each other than so many pixels read as one.
const LEAST_APART: f64 = 8.0;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use palette::IntoColor;

    fn lightness(rgb: [u8; 3]) -> f64 {
        let colour: Srgb<f64> = Srgb::new(rgb[0], rgb[1], rgb[2]).into_format();
        let lab: Lab<D65, f64> = colour.into_color();
        lab.l
    }

    #[test]
    fn the_ramp_is_even_in_lightness() {
        const EIGHT_BIT_ROUNDING: f64 = 0.35;
        let scale = Scale::shared([0.0, 2.0].into_iter());
        let all: Vec<f64> = (0..LEVELS).map(|level| lightness(scale.colour(level))).collect();
        let step = (PAPER[0] - INK[0]) / (LEVELS - 1) as f64;
        for pair in all.windows(2) {
            assert!((pair[0] - pair[1] - step).abs() < 2.0 * EIGHT_BIT_ROUNDING, "{pair:?}");
        }
    }

    #[test]
    fn what_is_even_keeps_the_paper() {
        let scale = Scale::shared([-0.03, 0.04].into_iter());
        assert_eq!((scale.lo(), scale.hi()), (0.0, 1.0));
        assert!(lightness(scale.colour(scale.level(0.04))) > 90.0);
    }

    /// Widths are those of the widest usual fonts, so that the gap is at least what is asked for.
    #[test]
    fn numbers_of_the_legend_keep_apart_and_tell_the_scale() {
        let drawn = [330.0, 680.0];
        for (lo, hi) in [(-4, 7), (-4, 4), (-1, 3), (0, 3), (0, 4), (-2, 12), (0, 40), (-20, 41)] {
            let (lo, hi) = (f64::from(lo) / 3.0, f64::from(hi) / 3.0);
            for width in drawn {
                let labels = legend_labels(Scale { lo, hi, diverging: lo < 0.0 }, width);
                let mut bounds: Vec<Bounds> = labels.iter().map(Label::bounds).collect();
                bounds.sort_by(|a, b| a.left.total_cmp(&b.left));
                assert!(labels.iter().any(|l| l.text == "0") && labels.len() > 1, "{labels:?}");
                assert!(bounds[0].left >= 0.0 && bounds[bounds.len() - 1].right <= width);
                for pair in bounds.windows(2) {
                    let gap = pair[1].left - pair[0].right;
                    assert!(gap >= LEAST_APART - 1e-9, "{lo} to {hi}, {width}: {gap}");
                }
            }
        }
    }

    #[test]
    fn ends_lie_at_thirds() {
        let scale = Scale::shared([-0.4, 1.7, 2.0].into_iter());
        assert!((scale.lo() + 2.0 / 3.0).abs() < 1e-12);
        assert!((scale.hi() - 2.0).abs() < 1e-12);
        let both = Scale::diverging([0.1, -0.5].into_iter());
        assert!((both.lo() + 2.0 / 3.0).abs() < 1e-12 && (both.hi() - 2.0 / 3.0).abs() < 1e-12);
    }
}
