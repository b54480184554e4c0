//! One filter over the years: what each measurement found, and whether the filter has changed since
//! the first.
//!
//! Two measurements with one body share what its dial times and its black level are off by, two
//! with one model see the same colours; two cameras share nothing of that, and see the filter with
//! other eyes. How much that does was computed from spectra: cameras, daylights and filters drawn
//! at random, the differences held against how far the filter's channels lie apart.

pub mod trend;
mod budget;
mod shapes;

use super::sharing::model;
use crate::kit::kept::{KeptFilter, Measurement};
use crate::kit::lens::by_strength;
use crate::numerics::numbering::number_of;
use crate::profile::{Kind, Profile, Setting};
use crate::quantity::Mired;
use jiff::civil::DateTime;
use trend::{Course, Reading, Trend, trend};

/// Of filters that never changed, so many may be told to have.
const FALSE_ALARMS: f64 = 0.05;
/// Share of a change of colour by which two models of camera differ over it: twice what they differ
/// by per stop between channels, since red and blue change opposite ways.
const OTHER_EYES: f64 = 0.16;
/// Days of a year, for the times of a line.
const YEAR: f64 = 365.25;

/// What is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Stops of green; of a ring the mean over the marks that all have, of a graduation its dark end.
    Strength,
    /// Red minus green, stops.
    RedGreen,
    /// Blue minus green, stops.
    BlueGreen,
    /// Spread across the frame, stops; with one lens only.
    Unevenness,
}

/// A value with its expanded uncertainty at 95 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plotted {
    /// The value.
    pub value: f64,
    /// Its uncertainty.
    pub u95: f64,
}

/// One measurement of the history.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// When.
    pub at: Option<DateTime>,
    /// Number of its camera in [`History::cameras`].
    pub camera: usize,
    /// Stops.
    pub strength: Plotted,
    /// Shift of the light.
    pub mired: Option<Plotted>,
    /// Spread across the frame in stops.
    pub unevenness: Option<Plotted>,
    /// Lens, as far as it is known.
    pub lens: String,
}

/// The change of one quantity since the first measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Of what.
    pub quantity: Quantity,
    /// How much, and how sure.
    pub trend: Trend,
    /// Whether it is more than chance makes, all that was looked at counted (S. Holm 1979).
    pub shows: bool,
}

/// A filter over the years.
#[derive(Clone, Debug, PartialEq)]
pub struct History {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
    /// The mark that cast and unevenness are told of, and how many marks the strength is the mean of.
    pub marks: Option<(String, usize)>,
    /// Bodies that measured it.
    pub cameras: Vec<String>,
    /// Oldest first.
    pub points: Vec<Point>,
    /// What changed since the first; empty for one measurement.
    pub changes: Vec<Change>,
}

/// What all measurements come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// There is nothing to compare yet.
    Once,
    /// Strengths contradict each other, so that nothing is told of any change.
    Contradiction,
    /// Something has changed.
    Changed,
    /// No change shows.
    Steady,
}

impl History {
    /// What all measurements come to.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        let strength = self.change(Quantity::Strength);
        if self.points.len() < 2 {
            Outcome::Once
        } else if strength.is_some_and(|c| c.trend.course == Course::Contradiction) {
            Outcome::Contradiction
        } else if self.shown().next().is_some() {
            Outcome::Changed
        } else {
            Outcome::Steady
        }
    }
    /// Changes that are more than chance.
    pub fn shown(&self) -> impl Iterator<Item = &Change> {
        self.changes.iter().filter(|change| change.shows)
    }
    /// The change of one quantity.
    #[must_use]
    pub fn change(&self, quantity: Quantity) -> Option<&Change> {
        self.changes.iter().find(|change| change.quantity == quantity)
    }
}

/// The history of a filter.
#[must_use]
pub fn history(filter: &KeptFilter) -> History {
    let all = &filter.measurements;
    let common = common_marks(all);
    let told = told_mark(filter.newest().profile(), &common);
    let mut cameras: Vec<String> = Vec::new();
    let mut points = Vec::new();
    for measurement in all {
        let camera = number_of(&mut cameras, budget::body_name(measurement.profile()));
        points.push(point(measurement, camera, &common, told));
    }
    let mut changes = Vec::new();
    for quantity in
        [Quantity::Strength, Quantity::RedGreen, Quantity::BlueGreen, Quantity::Unevenness]
    {
        let readings = readings(all, quantity, &common, told);
        let found = readings.and_then(|readings| trend(&readings));
        changes.extend(found.map(|trend| Change {
            quantity,
            trend: seen_by(all, quantity, trend),
            shows: false,
        }));
    }
    judge(&mut changes);
    let newest = filter.newest().profile();
    let several = newest.filter.kind == Kind::Variable && !common.is_empty();
    History {
        name: filter.name.clone(),
        kind: newest.filter.kind,
        marks: told.filter(|_| several).map(|mark| (mark.to_owned(), common.len())),
        cameras,
        points,
        changes,
    }
}

/// Other eyes see the change itself otherwise, too.
fn seen_by(all: &[Measurement], quantity: Quantity, trend: Trend) -> Trend {
    let first = model(all[0].profile());
    let one = first.is_some() && all.iter().all(|m| model(m.profile()) == first);
    match quantity {
        Quantity::RedGreen | Quantity::BlueGreen if !one => {
            Trend { u: trend.u.hypot(OTHER_EYES * trend.change), ..trend }
        }
        _ => trend,
    }
}

/// The least likely first: each against its share of the false alarms that are allowed in all.
fn judge(changes: &mut [Change]) {
    let mut order: Vec<usize> = (0..changes.len()).collect();
    order.sort_by(|a, b| changes[*a].trend.chance().total_cmp(&changes[*b].trend.chance()));
    for (rank, index) in order.into_iter().enumerate() {
        let left = (changes.len() - rank) as f64;
        if changes[index].trend.chance() > FALSE_ALARMS / left {
            break;
        }
        changes[index].shows = changes[index].trend.course != Course::Contradiction;
    }
}

/// Marks that every measurement has, from weak to strong as in the newest.
fn common_marks(all: &[Measurement]) -> Vec<String> {
    let has = |m: &Measurement, mark: &String| {
        m.profile().settings.iter().any(|s| s.mark.as_ref() == Some(mark))
    };
    let Some(newest) = all.last() else { return Vec::new() };
    let marks = by_strength(newest.profile()).into_iter().filter_map(|s| s.mark.clone());
    marks.filter(|mark| all.iter().all(|m| has(m, mark))).collect()
}

/// The last usable mark of the newest where all have it, else the first that all have.
fn told_mark<'a>(newest: &Profile, common: &'a [String]) -> Option<&'a str> {
    let last = newest.usable.as_ref().and_then(|usable| usable.last_mark.as_ref());
    let wanted = common.iter().find(|mark| Some(*mark) == last);
    wanted.or_else(|| common.first()).map(String::as_str)
}

/// The setting that is told of: that of the mark, else the first.
fn setting<'a>(profile: &'a Profile, mark: Option<&str>) -> Option<&'a Setting> {
    let marked = profile.settings.iter().find(|s| mark.is_some() && s.mark.as_deref() == mark);
    marked.or_else(|| profile.settings.first())
}

/// Strength that stands for a profile, and its expanded uncertainty.
fn strength(profile: &Profile, common: &[String]) -> Option<Plotted> {
    let of = |value: f64, u95: f64| Plotted { value, u95 };
    match profile.filter.kind {
        Kind::Graduated if profile.graduation.is_some() => profile
            .graduation
            .as_ref()
            .map(|g| of(g.dark_end_stops.get(), g.dark_end_u95.map_or(f64::NAN, |u95| u95.get()))),
        Kind::Polariser => {
            let loss = profile.polarising.as_ref().and_then(|p| p.loss_stops);
            loss.map(|loss| of(loss.stops.get(), loss.u95.get()))
        }
        _ => {
            let chosen: Vec<&Setting> = match common {
                [] => profile.settings.iter().take(1).collect(),
                _ => common.iter().filter_map(|mark| setting(profile, Some(mark))).collect(),
            };
            let n = chosen.len() as f64;
            // What marks share is not known: their uncertainties are taken as one.
            let mean =
                |get: &dyn Fn(&Setting) -> f64| chosen.iter().map(|s| get(s)).sum::<f64>() / n;
            (n > 0.0)
                .then(|| of(mean(&|s| s.strength.stops.get()), mean(&|s| s.strength.u95.get())))
        }
    }
}

fn point(measurement: &Measurement, camera: usize, common: &[String], told: Option<&str>) -> Point {
    let profile = measurement.profile();
    let unknown = Plotted { value: f64::NAN, u95: 0.0 };
    let told = setting(profile, told);
    Point {
        at: measurement.at,
        camera,
        strength: strength(profile, common).unwrap_or(unknown),
        mired: told
            .and_then(|s| s.cast.mired_shift)
            .map(|shift| Plotted { value: shift.value.get(), u95: shift.u95.get() }),
        unevenness: told.and_then(unevenness),
        lens: budget::lens_name(profile).unwrap_or_default(),
    }
}

/// Spread, as sure as the pattern's darkening to the corners, which the light's own pattern limits.
fn unevenness(setting: &Setting) -> Option<Plotted> {
    let evenness = setting.evenness.as_ref()?;
    let u95 = evenness.pattern.falloff_u95.map_or(f64::NAN, |u95| u95.get());
    Some(Plotted { value: evenness.spread_stops.get(), u95 })
}

/// All values of a quantity with their uncertainty taken apart; `None` where one is missing, or
/// where they cannot be held against each other.
fn readings(
    all: &[Measurement],
    quantity: Quantity,
    common: &[String],
    told: Option<&str>,
) -> Option<Vec<Reading>> {
    let (first, last) = (all.first()?.profile(), all.last()?.profile());
    if quantity == Quantity::Unevenness {
        let lens = budget::lens_name(first)?;
        let even = first.filter.kind != Kind::Graduated;
        // With another lens the same filter is more or less even.
        if !even || all.iter().any(|m| budget::lens_name(m.profile()).as_ref() != Some(&lens)) {
            return None;
        }
    }
    let apart = channels_apart(setting(last, told)?);
    let mut sharing = budget::Sharing::new(apart);
    let mut found = Vec::new();
    for measurement in all {
        let profile = measurement.profile();
        let told = setting(profile, told)?;
        let mut reading = match quantity {
            Quantity::Strength => sharing.strength(profile, strength(profile, common)?),
            Quantity::RedGreen => sharing.colour(profile, told, 0),
            Quantity::BlueGreen => sharing.colour(profile, told, 1),
            Quantity::Unevenness => sharing.unevenness(unevenness(told)?),
        };
        reading.time = measurement.at.map(years);
        if !(reading.value.is_finite() && reading.own.is_finite()) {
            return None;
        }
        found.push(reading);
    }
    Some(found)
}

/// How far the channels lie apart, in stops: a grey filter looks alike to every camera and in every
/// light.
fn channels_apart(setting: &Setting) -> f64 {
    let channels = &setting.channels;
    let stops = [channels.red, channels.green, channels.blue].map(|c| c.stops.get());
    stops.iter().copied().fold(f64::MIN, f64::max) - stops.iter().copied().fold(f64::MAX, f64::min)
}

fn years(at: DateTime) -> f64 {
    let day = f64::from(at.year()) + f64::from(at.date().day_of_year() - 1) / YEAR;
    day + f64::from(at.hour()) / (24.0 * YEAR)
}

/// The bare light of a profile on the mired scale.
fn light(profile: &Profile) -> Option<Mired> {
    profile.light.map(|light| light.cct_k.mired())
}
