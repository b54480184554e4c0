//! A variable filter over its marks: how far it may be turned, how well a hand sets it, and the two
//! polarisers behind it.

use crate::caution::{Caution, ViewDoubt};
use crate::measure::evenness::{self, Found};
use crate::measure::hand;
use crate::measure::pair::{self, MarkMap, Pair, View, lenses};
use crate::measure::result::{Centre, SettingResult};
use crate::measure::sensor;
use crate::measured::Measured;
use crate::profile::{Corners, CrossState, PolariserPair, Usable};
use crate::quantity::{Millimetres, Stops};
use crate::text::unit;

/// Unevenness that passes where the user names none, in stops.
pub const TOLERANCE: f64 = 1.0 / 3.0;

/// A focal length as it is known and as it is fitted differ by less (a natural logarithm): a lens's own
/// is within a twentieth of what is engraved (ours).
const OTHER_LENS: f64 = 0.1;

/// A ring over its marks.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredRing {
    /// How far it may be turned.
    pub usable: Option<Usable>,
    /// The two polarisers behind it.
    pub pair: Option<PolariserPair>,
    /// How well a hand sets each mark, where one was set more than once.
    pub repeats: Vec<Option<Measured<Stops>>>,
}

/// Measures a ring. Gives back the maps' findings too, in which the pair stands in for what is
/// unknown, and what is doubtful. What does not look like a pair of polarisers is not fitted as one.
#[must_use]
pub fn ring(
    centre: &Centre<'_>,
    found: Vec<Option<Found>>,
    is_pair: bool,
) -> (MeasuredRing, Vec<Option<Found>>, Vec<Caution>) {
    let tolerance = centre.about.tolerance.map_or(TOLERANCE, Stops::get);
    let settings = &centre.settings;
    let order = by_strength(settings);
    let mut cautions = Vec::new();
    let pair = match view(centre, &found) {
        _ if !is_pair => None,
        Ok(view) => pair::fit(&marks(settings, &found, &order), &view),
        Err(doubt) => {
            cautions.push(Caution::View(doubt));
            None
        }
    };
    let crossed = found.iter().flatten().any(|f| f.record.dark_cross.state == CrossState::Present);
    let crossing = pair.as_ref().filter(|_| crossed);
    cautions.extend(crossing.and_then(|pair| other_lens(pair, centre.focal_length)));
    if let Some(sensor) = centre.sensor.as_ref().filter(|s| s.source == sensor::FOCAL_PLANE) {
        let (width, height) = (sensor.width, sensor.height);
        cautions.push(Caution::View(ViewDoubt::SensorFromFocalPlane { width, height }));
    }
    let found = match &pair {
        Some(pair) => stand_in(settings, found, pair),
        None => found,
    };
    let ring = Marks { settings, found: &found, order: &order, tolerance, pair: pair.as_ref() };
    let repeats: Vec<Option<Measured<Stops>>> =
        (0..settings.len()).map(|s| hand::repeat(&centre.readings, &centre.fit, s)).collect();
    if repeats.iter().all(Option::is_none) {
        cautions.push(Caution::RingRepeatUnknown);
    }
    let usable = if is_pair { ring.usable(centre.focal_length) } else { None };
    let pair = pair.as_ref().map(|p| pair::record(p, tolerance));
    (MeasuredRing { usable, pair, repeats }, found, cautions)
}

/// Whether the cross is that of another lens than the one that is known.
fn other_lens(pair: &Pair, known: Option<Millimetres>) -> Option<Caution> {
    let (known, fitted) = (known?, pair.focal_length_mm);
    let off = (fitted / known.get()).ln().abs();
    let fitted = Millimetres::new(fitted);
    (off > OTHER_LENS).then_some(Caution::View(ViewDoubt::LensDisagrees { known, fitted }))
}

/// Where much of a map is clipped, the pair stands in for what is unknown, so that the spread is
/// that of the whole frame.
fn stand_in(
    settings: &[SettingResult],
    found: Vec<Option<Found>>,
    pair: &Pair,
) -> Vec<Option<Found>> {
    let whole = |(number, found): (usize, Option<Found>)| {
        let mut found = found?;
        let mark = settings[number].label(number);
        let Some(fitted) = pair.marks.iter().find(|m| m.mark == mark) else { return Some(found) };
        let told = found.cautions.iter().position(|c| matches!(c, Caution::MapIncomplete { .. }));
        let Some(told) = told else { return Some(found) };
        let mut stops = found.clean.green().to_vec();
        for &cell in &found.unknown {
            let (x, y) = found.clean.position(cell);
            stops[cell] = Some(pair.extra_stops(fitted, x, y));
        }
        if let Some(spread) = evenness::spread(&stops) {
            found.record.spread_stops = Stops::new(spread);
            if let Caution::MapIncomplete { filled, .. } = &mut found.cautions[told] {
                *filled = true;
            }
        }
        Some(found)
    };
    found.into_iter().enumerate().map(whole).collect()
}

/// The ring's order, whichever way it was shot.
fn by_strength(settings: &[SettingResult]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..settings.len()).collect();
    let stops = |i: usize| settings[i].strength().value().get();
    order.sort_by(|&a, &b| stops(a).total_cmp(&stops(b)));
    order
}

fn view(centre: &Centre<'_>, found: &[Option<Found>]) -> Result<View, ViewDoubt> {
    let focal = centre.focal_length.filter(|f| f.get() > 0.0).ok_or(ViewDoubt::NoFocalLength)?;
    let sensor = centre.sensor.as_ref().ok_or(ViewDoubt::NoSensorSize)?;
    let map = found.iter().flatten().next().map(|f| &f.clean);
    let upright = map.is_some_and(|m| m.width_px < m.height_px);
    Ok(View { focal_length_mm: focal.get(), sensor_mm: sensor::as_viewed(sensor, upright) })
}

fn marks(settings: &[SettingResult], found: &[Option<Found>], order: &[usize]) -> Vec<MarkMap> {
    let mark = |&i: &usize| {
        let strength = settings[i].strength();
        Some(MarkMap {
            mark: settings[i].label(i),
            strength: strength.value().get(),
            u: strength.u().get(),
            map: found[i].as_ref()?.clean.clone(),
        })
    };
    order.iter().filter_map(mark).collect()
}

/// The marks in the ring's order with what decides how far it may be turned.
struct Marks<'a> {
    settings: &'a [SettingResult],
    found: &'a [Option<Found>],
    order: &'a [usize],
    /// In stops.
    tolerance: f64,
    pair: Option<&'a Pair>,
}

impl Marks<'_> {
    fn spread(&self, i: usize) -> Option<f64> {
        Some(self.found[i].as_ref()?.record.spread_stops.get())
    }

    /// The last mark before one is too uneven, with advice.
    fn usable(&self, focal_length: Option<Millimetres>) -> Option<Usable> {
        let tolerance = self.tolerance;
        let first_unknown = self.order.iter().position(|&i| self.spread(i).is_none());
        let known = &self.order[..first_unknown.unwrap_or(self.order.len())];
        let failing = known.iter().position(|&i| self.spread(i).is_some_and(|s| s > tolerance));
        let last = known[..failing.unwrap_or(known.len())].last();
        let at_lens = focal_length.map_or_else(String::new, |f| format!(" at {:.0} mm", f.get()));
        let reason = match failing.map(|k| known[k]) {
            Some(bad) => self.too_uneven(bad, &at_lens),
            None => {
                let most = known.iter().filter_map(|&i| self.spread(i)).reduce(f64::max)?;
                format!(
                    "every mark that was measured stays within {tolerance:.2} {}{at_lens}: the \
                     most uneven one differs by {most:.2} {} across the frame",
                    unit(tolerance),
                    unit(most)
                )
            }
        };
        Some(Usable {
            tolerance_stops: Stops::new(tolerance),
            last_mark: last.map(|&i| self.settings[i].label(i)),
            last_stops: last.map(|&i| self.settings[i].strength().value()),
            reason,
        })
    }

    fn too_uneven(&self, bad: usize, at_lens: &str) -> String {
        let mark = self.settings[bad].label(bad);
        let mut text = String::new();
        if let Some(found) = &self.found[bad] {
            let (corner, stops) = farthest(&found.record.corners_stops);
            let way = if stops > 0.0 { "darker" } else { "brighter" };
            text = format!(
                "at mark {mark} the light differs by {:.2} {} across the frame{at_lens}, where \
                 {:.2} is allowed, and the {corner} corner is {:.1} {} {way} than the centre",
                found.record.spread_stops.get(),
                unit(found.record.spread_stops.get()),
                self.tolerance,
                stops.abs(),
                unit(stops)
            );
        }
        let widest = self.pair.and_then(|pair| {
            let fitted = pair.marks.iter().find(|m| m.mark == mark)?;
            lenses::widest_lens(pair, fitted, self.tolerance)
        });
        if let Some(focal) = widest {
            let longer = format!("; with a lens of {focal:.0} mm or longer mark {mark} passes too");
            text.push_str(&longer);
        }
        text
    }
}

fn farthest(corners: &Corners) -> (&'static str, f64) {
    let all = [
        ("top left", corners.top_left),
        ("top right", corners.top_right),
        ("bottom left", corners.bottom_left),
        ("bottom right", corners.bottom_right),
    ];
    let plain = all.map(|(name, stops)| (name, stops.get()));
    plain.into_iter().fold(plain[0], |a, b| if b.1.abs() > a.1.abs() { b } else { a })
}
