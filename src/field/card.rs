//! The exposure card as values: one table for the kit, and what stands on its second side.

use crate::exposure;
use crate::kit::{Kit, Neutral, Stack, Widest, lens};
use crate::profile::{Cast, Kind, MatrixRecord, Picture, Profile, Setting};
use crate::quantity::{Kelvin, Percent, Seconds, Stops};
use crate::safety;

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
    /// What it is rated.
    pub rated: Option<Stops>,
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
    /// A polariser was measured in polarised light, which hides what it costs.
    pub light_polarised: bool,
    /// Where the corners begin to darken, in percent of the half diagonal.
    pub vignetting: Option<Percent>,
    /// Sharpness, veil and ghosts.
    pub picture: Option<Picture>,
    /// What it did over the years, in a sentence, where a kit tells.
    pub years: Option<String>,
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
    /// Cast.
    pub cast: Cast,
    /// The matrix of the camera that saw it, and the light it was seen in.
    pub seen_by: Option<(MatrixRecord, Kelvin)>,
}

/// A graduated filter's edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// Dark end minus clear end.
    pub dark: Stops,
    /// Expanded uncertainty of it, where the profile states one.
    pub dark_u95: Option<Stops>,
    /// Clear end against no filter.
    pub clear: Stops,
    /// Expanded uncertainty of it, where the profile states one.
    pub clear_u95: Option<Stops>,
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
            filters: kit.filters.iter().map(notes).collect(),
            strongest: Stops::new(strongest),
            full_sun_warning: safety::needs_full(Stops::new(strongest), names),
        }
    }

    /// The card of one filter of a kit, for the small format.
    #[must_use]
    pub fn of_one(profile: &Profile) -> Self {
        Self::of(&Kit { filters: vec![profile.clone()], skipped: Vec::new() })
    }

    /// The same card with what is known of each filter's years, by its name.
    #[must_use]
    pub fn over_the_years(mut self, years: &dyn Fn(&str) -> Option<String>) -> Self {
        self.filters.iter_mut().for_each(|notes| notes.years = years(&notes.name));
        self
    }
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
        rated: neutral.rated,
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
        rated: rated.map(Stops::new),
        predicted: !stack.measured,
        cells: cells(rows, stack.stops),
    }
}

/// Two solid filters whose sum is a strength the kit does not have, and not absurdly strong. Of stacks that
/// take the same, the one that is known best: a card has no room for ten ways to one strength.
fn useful_stacks(kit: &Kit, neutrals: &[Neutral], rows: &[Row]) -> Vec<Stack> {
    let mut found: Vec<(usize, Stack)> =
        possible_stacks(kit, neutrals, rows).into_iter().enumerate().collect();
    found.sort_by(|a, b| a.1.u95.get().total_cmp(&b.1.u95.get()));
    let mut kept: Vec<(usize, Stack)> = Vec::new();
    for (place, stack) in found {
        if kept.iter().all(|(_, k)| (k.stops - stack.stops).abs().get() > THIRD) {
            kept.push((place, stack));
        }
    }
    kept.sort_by_key(|(place, _)| *place);
    kept.into_iter().map(|(_, stack)| stack).collect()
}

fn possible_stacks(kit: &Kit, neutrals: &[Neutral], rows: &[Row]) -> Vec<Stack> {
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

fn notes(profile: &Profile) -> Notes {
    let kind = profile.filter.kind;
    let settings = match kind {
        Kind::Variable => lens::by_strength(profile),
        _ => profile.settings.iter().take(1).collect(),
    };
    let marks = settings.into_iter().map(|s| mark_note(profile, s)).collect();
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
            dark_u95: g.dark_end_u95,
            clear: g.clear_end_stops,
            clear_u95: g.clear_end_u95,
            width: g.width_percent_of_height,
            shape: g.shape.clone(),
        }),
        polariser_loss: loss.map(|l| (l.stops, l.u95)),
        light_polarised: profile.polarising.as_ref().is_some_and(|p| p.light_polarised),
        picture: profile.picture.clone(),
        years: None,
        vignetting: shading.and_then(|v| v.onset_percent_of_half_diagonal),
    }
}

fn mark_note(profile: &Profile, setting: &Setting) -> MarkNote {
    let ring = profile.filter.kind == Kind::Variable;
    MarkNote {
        mark: setting.mark.clone().filter(|_| ring),
        stops: setting.strength.stops,
        u95: setting.strength.u95,
        hand: setting.ring_repeat_stops.map(|r| r.value),
        widest: lens::widest(profile, setting),
        usable: !ring || lens::within_usable(profile, setting),
        cast: setting.cast.clone(),
        seen_by: profile.camera.colour_matrix.clone().zip(profile.light.map(|l| l.cct_k)),
    }
}
