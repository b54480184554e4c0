//! The exposure card as values: one table for the kit, and what stands on its second side.

use crate::exposure;
use crate::field::kit::{Kit, Neutral, Stack, Widest};
use crate::profile::{Kind, Profile, Setting};
use crate::quantity::{Kelvin, Mired, Percent, Seconds, Stops};

/// The daylight for which a kelvin figure is printed (common practice, no source).
pub const DAYLIGHT: Kelvin = Kelvin::new(5500.0);

/// A stack earns a column where no single strength of the kit lies within a third of a stop.
const THIRD: f64 = 1.0 / 3.0;

/// ... and where it still gives a time at this metered time, the middle of the table (ours).
const STACK_ROW: &str = "1/60";

/// Longest time the card prints.
const LONGEST_S: f64 = 1800.0;

/// The card.
#[derive(Clone, Debug)]
pub struct Card {
    /// Metered times as the dial shows them, shortest first.
    pub rows: Vec<Row>,
    /// Filters, marks and stacks, in that order.
    pub columns: Vec<Column>,
    /// Second side, filter by filter.
    pub filters: Vec<Notes>,
    /// Strongest filter, mark or stack on the card.
    pub strongest: Stops,
    /// Whether the long warning about the sun must stand on it.
    pub full_sun_warning: bool,
}

/// One metered time.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// As the dial shows it.
    pub dial: String,
    /// True time.
    pub time: Seconds,
}

/// One filter, mark or stack.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Names of the filters, one for each.
    pub names: Vec<String>,
    /// Mark, where there is one.
    pub mark: Option<String>,
    /// True strength.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// Strength in clicks of a third.
    pub clicks: i64,
    /// True minus claimed strength: how much too dark a frame gets that trusts the rim.
    pub rim_error: Option<Stops>,
    /// Sum of parts that were measured one by one.
    pub predicted: bool,
    /// One for each row.
    pub cells: Vec<Cell>,
}

/// One time.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// True time, unrounded.
    pub time: Seconds,
    /// As printed.
    pub text: String,
}

/// What the second side says of one filter.
#[derive(Clone, Debug)]
pub struct Notes {
    /// Name.
    pub name: String,
    /// Sort of filter.
    pub kind: Kind,
    /// Rated strength, where one number was claimed.
    pub rated: Option<Stops>,
    /// One line for solid filters, one for each mark of a variable one.
    pub marks: Vec<MarkNote>,
    /// Last usable mark of a variable filter; `None` inside where no mark passes.
    pub last_mark: Option<Option<String>>,
    /// Graduated filters.
    pub edge: Option<Edge>,
    /// Light that a polariser costs.
    pub polariser_loss: Option<(Stops, Stops)>,
    /// Where the corners begin to darken, in percent of the half diagonal.
    pub vignetting: Option<Percent>,
}

/// One mark, or the whole filter.
#[derive(Clone, Debug)]
pub struct MarkNote {
    /// Mark.
    pub mark: Option<String>,
    /// True strength.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// How well a hand sets it, a standard deviation.
    pub hand: Option<Stops>,
    /// Widest lens.
    pub widest: Widest,
    /// Within tolerance.
    pub usable: bool,
    /// Cast in words.
    pub cast: String,
    /// White balance to set for [`DAYLIGHT`].
    pub kelvin: Option<Kelvin>,
    /// Duv, the shift across the white line; positive is greener.
    pub duv: Option<f64>,
}

/// A graduated filter's edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// Dark end minus clear end.
    pub dark: Stops,
    /// Clear end against no filter.
    pub clear: Stops,
    /// 10 to 90 % width, of the frame's height.
    pub width: Percent,
    /// hard, medium, soft, darkest at the line.
    pub shape: String,
}

impl Card {
    /// The card of a kit.
    #[must_use]
    pub fn of(kit: &Kit) -> Self {
        let rows = rows();
        let neutrals: Vec<Neutral> = kit.neutrals().into_iter().filter(|n| n.usable).collect();
        let mut columns: Vec<Column> = neutrals.iter().map(|n| column(n, &rows)).collect();
        columns.extend(useful_stacks(kit, &neutrals, &rows).iter().map(|s| stacked(s, &rows)));
        let strongest = columns.iter().map(|c| c.stops.get()).fold(0.0, f64::max);
        let names = kit.filters.iter().map(|p| p.filter.name.as_str());
        Self {
            rows,
            columns,
            filters: kit.filters.iter().map(|p| notes(kit, p)).collect(),
            strongest: Stops::new(strongest),
            full_sun_warning: sun_warning(strongest, names),
        }
    }

    /// The card of one filter of a kit, for the small format.
    #[must_use]
    pub fn of_one(profile: &Profile) -> Self {
        Self::of(&Kit { filters: vec![profile.clone()], skipped: Vec::new() })
    }
}

fn sun_warning<'a>(strongest: f64, mut names: impl Iterator<Item = &'a str>) -> bool {
    names.any(|name| crate::safety::full_warning_needed(Stops::new(strongest), name))
}

/// Whole stops of the dial from 1/500 to 8 s.
#[must_use]
pub fn rows() -> Vec<Row> {
    let row =
        |dial: exposure::DialTime| Row { dial: dial.text().to_owned(), time: dial.true_time() };
    exposure::series::metered_times_full().into_iter().map(row).collect()
}

fn cells(rows: &[Row], stops: Stops) -> Vec<Cell> {
    rows.iter()
        .map(|row| {
            let time = exposure::filtered_time(row.time, stops);
            Cell { time, text: exposure::card_text(time) }
        })
        .collect()
}

fn column(neutral: &Neutral, rows: &[Row]) -> Column {
    Column {
        names: vec![neutral.name.clone()],
        mark: neutral.mark.clone(),
        stops: neutral.stops,
        u95: neutral.u95,
        clicks: exposure::clicks(neutral.stops),
        rim_error: neutral.rated.map(|rated| exposure::rim_error(neutral.stops, rated)),
        predicted: false,
        cells: cells(rows, neutral.stops),
    }
}

fn stacked(stack: &Stack, rows: &[Row]) -> Column {
    let rated: Option<f64> = stack.parts.iter().map(|p| p.rated.map(Stops::get)).sum();
    Column {
        names: stack.parts.iter().map(|p| p.name.clone()).collect(),
        mark: None,
        stops: stack.stops,
        u95: stack.u95,
        clicks: exposure::clicks(stack.stops),
        rim_error: rated.map(|rated| stack.stops - Stops::new(rated)),
        predicted: !stack.measured,
        cells: cells(rows, stack.stops),
    }
}

/// Two solid filters whose sum is a strength the kit does not have, and not absurdly strong.
fn useful_stacks(kit: &Kit, neutrals: &[Neutral], rows: &[Row]) -> Vec<Stack> {
    let middle = rows.iter().find(|row| row.dial == STACK_ROW);
    kit.stacks(2)
        .into_iter()
        .filter(|stack| stack.parts.iter().all(|p| p.kind == Kind::Solid))
        .filter(|stack| {
            let alone = |n: &Neutral| (n.stops - stack.stops).abs().get() > THIRD;
            neutrals.iter().all(alone)
        })
        .filter(|stack| {
            middle.is_some_and(|row| {
                exposure::filtered_time(row.time, stack.stops).get() <= LONGEST_S
            })
        })
        .collect()
}

fn notes(kit: &Kit, profile: &Profile) -> Notes {
    let kind = profile.filter.kind;
    let settings: &[Setting] = match kind {
        Kind::Variable => &profile.settings,
        _ => profile.settings.get(..1).unwrap_or_default(),
    };
    let neutrals = kit.neutrals();
    let mut marks: Vec<MarkNote> =
        settings.iter().map(|s| mark_note(profile, s, &neutrals)).collect();
    if kind == Kind::Variable {
        marks.sort_by(|a, b| a.stops.get().total_cmp(&b.stops.get()));
    }
    let shading = profile.vignetting.as_ref().filter(|v| v.mechanical);
    let loss = profile.polarising.as_ref().and_then(|p| p.loss_stops);
    Notes {
        name: profile.filter.name.clone(),
        kind,
        rated: profile.filter.rated_stops,
        marks,
        last_mark: profile.usable.as_ref().map(|u| u.last_mark.clone()),
        edge: profile.graduation.as_ref().map(|g| Edge {
            dark: g.dark_end_stops,
            clear: g.clear_end_stops,
            width: g.width_percent_of_height,
            shape: g.shape.clone(),
        }),
        polariser_loss: loss.map(|l| (l.stops, l.u95)),
        vignetting: shading.and_then(|v| v.onset_percent_of_half_diagonal),
    }
}

fn mark_note(profile: &Profile, setting: &Setting, neutrals: &[Neutral]) -> MarkNote {
    let known = neutrals
        .iter()
        .find(|n| n.name == profile.filter.name && n.mark.is_some() && n.mark == setting.mark);
    let shift = setting.cast.mired_shift.map(|m| m.value);
    MarkNote {
        mark: setting.mark.clone().filter(|_| profile.filter.kind == Kind::Variable),
        stops: setting.strength.stops,
        u95: setting.strength.u95,
        hand: setting.ring_repeat_stops.map(|r| r.value),
        widest: known.map_or(Widest::Unknown, |n| n.widest),
        usable: known.is_none_or(|n| n.usable),
        cast: setting.cast.words.clone(),
        kelvin: shift.and_then(through),
        duv: setting.cast.duv_shift.map(|d| d.value.get()),
    }
}

/// The colour temperature of [`DAYLIGHT`] behind a filter that shifts it by so many mired
/// (mired shifts add: common practice of light-balancing filters; positive is warmer).
fn through(shift: Mired) -> Option<Kelvin> {
    let mired = DAYLIGHT.mired() + shift;
    (mired.get() > 0.0).then(|| mired.kelvin())
}
