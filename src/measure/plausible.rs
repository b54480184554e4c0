//! Results that cannot be, or hardly: each is said, with what most likely went wrong.

use super::kinds::OfKind;
use super::result::{Centre, SettingResult};
use crate::caution::{ApartDoubt, Caution, ResultDoubt};
use crate::exposure::Reading;
use crate::measured::Measured;
use crate::profile::{Graduation, Kind};
use crate::quantity::Stops;

/// Through a filter it is not brighter than without, but for so much, in stops (ours).
const BRIGHTER: f64 = 0.1;
/// Nor is the clear end of a graduated one, which takes next to nothing (ours).
const CLEAR_BRIGHTER: f64 = 0.03;
/// Makers keep their ratings within this, in stops (common practice, no source).
const OFF_RATING: f64 = 2.0;
/// And within this where another reading of the number fits better, in stops (ours).
const OFF_AS_READ: f64 = 1.5;
/// A number read another way fits within this, in stops (ours).
const FITS: f64 = 0.7;
/// A stack differs from its parts from so many standard uncertainties on.
const STACK_DEVIATIONS: f64 = 4.0;
/// Two standard uncertainties, as documents hold them.
const COVERAGE: f64 = 2.0;
/// What polarisers take of unpolarised light, in stops (common practice, no source).
const POLARISER: std::ops::Range<f64> = 1.1..2.0;
/// A number is of little use from this uncertainty on, stops; or from this one on where it is such a share of
/// the number (ours).
const MOST_UNSURE: f64 = 0.5;
const LEAST_UNSURE: f64 = 0.2;
const UNSURE_SHARE: f64 = 0.5;
/// A fall of a ring from mark to mark is one from this on, in stops (ours).
const FALL: f64 = 0.1;
/// What takes no more than this is nothing, stops (ours: two polarisers take a stop at least), beside marks
/// that take so much more.
const NOTHING: f64 = 0.15;
const SOMETHING: f64 = 0.5;
/// Stops in one unit of density: log2 of 10.
const STOPS_PER_DENSITY: f64 = std::f64::consts::LOG2_10;

/// What is wrong with the filter as a whole.
#[must_use]
pub fn of_filter(centre: &Centre<'_>, of_kind: &OfKind) -> Vec<Caution> {
    let mut found = Vec::new();
    let settings = &centre.settings;
    let lightest = settings.iter().map(|s| s.strength().value().get()).reduce(f64::min);
    if let Some(stops) = lightest.filter(|s| *s < -BRIGHTER) {
        found.push(Caution::BrighterThanBare { stops: Stops::new(-stops) });
    }
    if let Some((rated, measured)) = centre.about.rated.zip(rated_strength(settings, of_kind)) {
        found.extend(against_rating(measured, rated, centre.about.rated_as));
    }
    found.extend(unsure(centre));
    if let OfKind::Graduated(Some(edge)) = of_kind {
        found.extend(ends(edge));
    }
    if let OfKind::Stack(Some(stack)) = of_kind {
        let (difference, u95) = (stack.difference.stops, stack.difference.u95);
        if difference.abs().get() > STACK_DEVIATIONS / COVERAGE * u95.get() {
            found.push(Caution::StackDiffers { difference, u95 });
        }
    }
    let solid = matches!(of_kind, OfKind::Solid) && !centre.about.kind_said;
    let polariser = |s: &SettingResult| POLARISER.contains(&s.strength().value().get());
    if solid && settings.first().is_some_and(polariser) {
        found.push(Caution::MaybePolariser);
    }
    if of_kind.kind() == Kind::Variable {
        let range = centre.about.rated_range;
        found.extend(range.and_then(|rated| against_range(settings, rated)));
        found.extend(marks_fall(settings));
        found.extend(takes_nothing(centre));
        if !centre.about.marks_named && numbered(settings) {
            found.push(Caution::MarksNumbered);
        }
    }
    found
}

/// What a single rating is of: the strength; the dark end of a graduated filter; of a polariser what it
/// takes from unpolarised light, and the lightest rotation where light is polarised.
fn rated_strength(settings: &[SettingResult], of_kind: &OfKind) -> Option<Stops> {
    let first = || settings.first().map(|s| s.strength().value());
    match of_kind {
        OfKind::Solid | OfKind::Stack(_) | OfKind::Graduated(None) => first(),
        OfKind::Graduated(Some(edge)) => Some(edge.dark_end_stops),
        OfKind::Polariser(Some(found)) => found.loss_stops.map(|loss| loss.stops),
        OfKind::Polariser(None) | OfKind::Variable(_) => None,
    }
}

/// Ends of a graduation that the frame does not hold, and a clear end that no filter has.
fn ends(edge: &Graduation) -> Option<Caution> {
    let brighter = Some(edge.clear_end_stops).filter(|stops| stops.get() < -CLEAR_BRIGHTER);
    let doubt = match (edge.dark_end_u95, edge.clear_end_u95) {
        (Some(u95), _) if u95.get() > MOST_UNSURE => ResultDoubt::EndsBeyondFrame { u95, brighter },
        (_, Some(u95)) => {
            let stops = brighter.filter(|stops| stops.get() < -u95.get())?;
            ResultDoubt::ClearEndBrighter { stops, u95 }
        }
        _ => return None,
    };
    Some(Caution::Result(doubt))
}

/// A ring that goes far beyond its rating; not all marks of one need be shot.
fn against_range(settings: &[SettingResult], rated: [Stops; 2]) -> Option<Caution> {
    let stops = || settings.iter().map(|s| s.strength().value().get());
    let (least, most) = (stops().reduce(f64::min)?, stops().reduce(f64::max)?);
    let [weak, strong] = rated.map(Stops::get);
    let measured = [least, most].map(Stops::new);
    (least < weak - OFF_RATING || most > strong + OFF_RATING)
        .then_some(Caution::Result(ResultDoubt::RangeFarFromRated { measured, rated }))
}

/// The setting of which the uncertainty is too large for its number, where nothing else says why.
fn unsure(centre: &Centre<'_>) -> Option<Caution> {
    let says_why = |c: &Caution| {
        matches!(c, Caution::FramesDisagree { .. } | Caution::Apart(ApartDoubt::NotOneState { .. }))
    };
    if centre.cautions.iter().any(says_why) {
        return None;
    }
    let u95 = |s: &SettingResult| s.strength().u95().get();
    let is_unsure = |s: &&SettingResult| {
        let share = u95(s) / s.strength().value().get().abs();
        u95(s) > MOST_UNSURE || (u95(s) > LEAST_UNSURE && share > UNSURE_SHARE)
    };
    let worst = centre.settings.iter().filter(is_unsure).max_by(|a, b| u95(a).total_cmp(&u95(b)));
    worst.map(|setting| {
        Caution::Result(ResultDoubt::Unsure {
            stops: setting.strength().value(),
            u95: setting.strength().u95(),
            mark: setting.mark.clone(),
        })
    })
}

fn against_rating(measured: Stops, rated: Stops, written_as: Option<Reading>) -> Option<Caution> {
    let off = (measured - rated).abs().get();
    let reading = another_reading(measured.get(), rated.get(), written_as);
    // Another reading of the same number explains a smaller difference too.
    if off <= OFF_RATING && !(off > OFF_AS_READ && reading.is_some()) {
        return None;
    }
    Some(Caution::FarFromRated { measured, rated, reading })
}

/// The number on the rim read as density, filter factor or stops instead, where that fits; where it is
/// not known what it was written as, it may have been any of them.
fn another_reading(measured: f64, rated: f64, written_as: Option<Reading>) -> Option<String> {
    let factor = rated.exp2();
    let density = rated / STOPS_PER_DENSITY;
    let of_stops = [
        (rated * STOPS_PER_DENSITY, format!("{rated:.1}D")),
        (rated.max(1.0).log2(), format!("{rated:.0}x")),
    ];
    let of_factor = [
        (factor, format!("{factor:.0}stops")),
        (factor * STOPS_PER_DENSITY, format!("{factor:.1}D")),
    ];
    let of_density = [
        (density, format!("{density:.1}stops")),
        (density.max(1.0).log2(), format!("{density:.1}x")),
    ];
    let mut readings: Vec<(f64, String)> = match written_as {
        Some(Reading::Stops) => of_stops.into(),
        Some(Reading::Factor) => of_factor.into(),
        Some(Reading::Density) => of_density.into(),
        // Nobody takes a factor for a density without writing a D.
        None => {
            let [as_stops, _] = of_density;
            of_stops.into_iter().chain(of_factor).chain([as_stops]).collect()
        }
    };
    let off = |r: &(f64, String)| (r.0 - measured).abs();
    readings.sort_by(|a, b| off(a).total_cmp(&off(b)));
    readings.into_iter().next().filter(|r| off(r) < FITS).map(|r| r.1)
}

/// Whether the marks are called by their numbers from the first on.
fn numbered(settings: &[SettingResult]) -> bool {
    let of = |(i, s): (usize, &SettingResult)| {
        s.mark.as_ref().is_none_or(|mark| *mark == (i + 1).to_string())
    };
    settings.iter().enumerate().all(of)
}

/// Marks that are numbers promise more the larger they are.
fn marks_fall(settings: &[SettingResult]) -> Option<Caution> {
    let number = |s: &SettingResult| s.mark.as_deref()?.trim().parse::<f64>().ok();
    let mut named: Vec<(f64, &SettingResult)> =
        settings.iter().filter_map(|s| Some((number(s)?, s))).collect();
    named.sort_by(|a, b| a.0.total_cmp(&b.0));
    let falls = named.windows(2).filter_map(|pair| {
        let (lower, higher) = (pair[0].1, pair[1].1);
        let fall: Measured<Stops> = lower.strength().less(higher.strength());
        let told = fall.value().get() > FALL.max(fall.u95().get());
        told.then(|| Caution::MarksFall {
            lower: lower.mark.clone().unwrap_or_default(),
            higher: higher.mark.clone().unwrap_or_default(),
            fall: fall.value(),
        })
    });
    falls.max_by(|a, b| size(a).total_cmp(&size(b)))
}

/// Marks that take nothing beside marks that take stops: most likely bare frames under a mark's name.
fn takes_nothing(centre: &Centre<'_>) -> Vec<Caution> {
    let stops = |s: &SettingResult| s.strength().value().get();
    let u95 = |s: &SettingResult| s.strength().u95();
    let is_nothing = |s: &SettingResult| stops(s).abs() <= u95(s).get().clamp(NOTHING, MOST_UNSURE);
    let (nothing, something): (Vec<_>, Vec<_>) =
        centre.settings.iter().enumerate().partition(|(_, s)| is_nothing(s));
    let Some(least) = something.iter().map(|(_, s)| stops(s)).reduce(f64::min) else {
        return Vec::new();
    };
    let apart = nothing.into_iter().filter(|(_, s)| least > stops(s).abs() + SOMETHING);
    let told = |(index, s): (usize, &SettingResult)| {
        Caution::Result(ResultDoubt::MarkTakesNothing {
            mark: s.label(index),
            stops: s.strength().value(),
            u95: u95(s),
            files: centre.shoot.used(Some(index)).map(|f| f.file().to_owned()).collect(),
        })
    };
    apart.map(told).collect()
}

fn size(caution: &Caution) -> f64 {
    match caution {
        Caution::MarksFall { fall, .. } => fall.get(),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ratings_read_another_way_are_offered() {
        let of = |measured, rated| another_reading(measured, rated, None);
        // density 3.0 is 9.97 stops and a factor of 1000 as well (ISO 5-1: density is log10)
        assert_eq!(of(9.97, 3.0).as_deref(), Some("3.0D"));
        assert_eq!(of(3.02, 8.0).as_deref(), Some("8x"));
        // a factor of 8 where 8 stops were meant
        assert_eq!(of(7.9, 3.0).as_deref(), Some("8stops"));
        // density 0.9 was taken where 0.9 stop was meant
        assert_eq!(of(0.9, 2.99).as_deref(), Some("0.9stops"));
        assert_eq!(of(6.5, 10.0), None);
        // Of what is known only the number that was written is read again.
        let known =
            |measured, rated, written_as| another_reading(measured, rated, Some(written_as));
        assert_eq!(known(10.0, 3.3, Reading::Stops), None);
        assert_eq!(known(11.0, 3.3, Reading::Stops).as_deref(), Some("3.3D"));
        assert_eq!(known(9.9, 10_f64.log2(), Reading::Factor).as_deref(), Some("10stops"));
        assert_eq!(known(3.0, 3.0 * 10_f64.log2(), Reading::Density).as_deref(), Some("3.0stops"));
        assert_eq!(known(3.0, 8.0 * 10_f64.log2(), Reading::Density).as_deref(), Some("8.0x"));
        assert!(against_rating(Stops::new(10.4), Stops::new(10.0), None).is_none());
        assert!(against_rating(Stops::new(6.0), Stops::new(10.0), None).is_some());
    }
}
