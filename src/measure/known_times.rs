//! What a camera record does for a shoot: which of its times it holds, and what the strengths would be
//! worth without it.

use super::fit::Fit;
use super::readings::Used;
use crate::body_record::BodyRecord;
use crate::caution::{Caution, ShutterDoubt};
use crate::profile::ShutterRecord;
use crate::quantity::Stops;
use crate::shoot::times::Understood;
use jiff::Unit;
use jiff::civil::Date;

/// Says what the record holds, by the u95 of each setting without it (stops).
#[must_use]
pub fn told(record: &BodyRecord, used: &[Used<'_>], without: &[f64]) -> ShutterRecord {
    let times = |known: bool| {
        let mine = used.iter().filter(|u| u.known.is_some() == known);
        let mut times: Vec<(f64, String)> = mine
            .filter_map(|u| u.frame.exposure.as_ref())
            .map(|e| (e.recorded.get(), Understood::text(e)))
            .collect();
        times.sort_by(|a, b| a.0.total_cmp(&b.0));
        times.dedup();
        times.into_iter().map(|(_, text)| text).collect()
    };
    ShutterRecord {
        made_on: record.day().map(str::to_owned),
        reference: record.times.reference.clone(),
        times_known: times(true),
        times_not_known: times(false),
        u95_without_stops: without.iter().map(|u| Stops::new(*u)).collect(),
    }
}

/// u95 of each setting's green strength, stops.
#[must_use]
pub fn u95_each(fit: &Fit) -> Vec<f64> {
    let u95 = |s: &super::strength::ChannelStrengths| s.channel(1).map_or(0.0, |m| m.u95().get());
    fit.settings.iter().map(u95).collect()
}

/// From these odds on frames contradict a record, as a logarithm (ours: where it is right they come to 200 in
/// fewer than one shoot of 200, H. Robbins, Annals of Mathematical Statistics 41, 1397, 1970, from memory).
const CONTRADICTS: f64 = 5.3;

/// Whether the frames measure ratios of shutter times that are not the record's: they go far better with what
/// is believed of any shutter.
#[must_use]
pub fn contradicted(with: &Fit, without: &Fit) -> Option<Caution> {
    let apart = with.settings.iter().zip(&without.settings).filter_map(|(with, without)| {
        let (with, without) = (with.channel(1).ok()?, without.channel(1).ok()?);
        Some((Stops::new((with.value() - without.value()).get().abs()), without))
    });
    let most = apart.max_by(|a, b| a.0.get().total_cmp(&b.0.get()));
    let (by, without) = most.filter(|_| without.evidence - with.evidence > CONTRADICTS)?;
    let (stops, u95) = (without.value(), without.u95());
    Some(Caution::Shutter(ShutterDoubt::RecordContradicted { by, without: stops, u95 }))
}

/// Whole years from a day, as a record tells it, to another.
fn whole_years(from: &str, to: Date) -> Option<u32> {
    let from: Date = from.parse().ok()?;
    from.until((Unit::Year, to)).ok()?.get_years().try_into().ok()
}

/// The same as a note, with the largest u95.
#[must_use]
pub fn note(told: &ShutterRecord, record: &BodyRecord, used: &[Used<'_>], fit: &Fit) -> Caution {
    let day = used.iter().find_map(|u| u.frame.summary.info.capture.at);
    let years = day.zip(record.day()).and_then(|(day, from)| whole_years(from, day.date()));
    let most = |list: &mut dyn Iterator<Item = f64>| Stops::new(list.fold(0.0, f64::max));
    Caution::Shutter(if told.times_known.is_empty() {
        ShutterDoubt::RecordOfOtherTimes { times: told.times_not_known.clone() }
    } else {
        ShutterDoubt::RecordUsed {
            made_on: told.made_on.clone(),
            years,
            unnumbered: record.body.serial.is_none(),
            known: told.times_known.clone(),
            not_known: told.times_not_known.clone(),
            with: most(&mut u95_each(fit).into_iter()),
            without: most(&mut told.u95_without_stops.iter().map(|u| u.get())),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn years_are_whole_ones() {
        let between = |from, to: Date| whole_years(from, to);
        assert_eq!(between("2021-04-07", date(2026, 4, 7)), Some(5));
        assert_eq!(between("2021-04-07", date(2026, 4, 6)), Some(4));
        assert_eq!(between("2026-04-07", date(2026, 5, 1)), Some(0));
        assert_eq!(between("2026-04-07", date(2025, 4, 1)), None);
        assert_eq!(between("", date(2025, 5, 1)), None);
    }
}
