//! Which photograph was made through which filter: evidence, never a guess.
//!
//! In this order: what the photographer wrote (a keyword or description equal to a profile's name);
//! then a frame of the same scene, within 15 minutes, without a filter, whose difference in raw
//! level and exposure fits exactly one filter, mark or stack of the kit. A frame counts as bare
//! where its keywords say so, where any filter of the kit would make the scene brighter than the
//! earth knows, or where a filter would make it much brighter than a bare scene of the same half
//! hour. All photographs of a scene are judged together: of every account of the scene that fits
//! all differences, each must say the same of a photograph. Last, a picture of a panorama is known
//! where its neighbour is. Anything else stays blank.

mod beside;
mod finding;
mod notes;
mod settle;
mod words;
#[cfg(test)]
mod tests;

pub use finding::{Finding, How, Picture, Used, Verdict};
pub use words::{Said, said};

use beside::{Seen, exposed, light, minutes, same_body, same_view};
use settle::Settled;

use crate::frame::Exposure;
use crate::kit::states::{Reading, marks_near, readings};
use crate::profile::{Kind, Profile};

/// How far apart two frames may be in time to be compared, in minutes.
const SAME_SCENE_MINUTES: f64 = 15.0;
/// How far apart in time the light of two scenes may be compared, in minutes (ours).
const SAME_LIGHT_MINUTES: f64 = 30.0;
/// Doubt of a difference in level between two frames of one scene taken together (ours).
const LEVEL_STOPS: f64 = 0.3;
/// How fast daylight may change around sunset, stops per minute (common practice, no source: from
/// sunset to the end of civil twilight it falls by seven stops in half an hour or more).
const DUSK_STOPS_PER_MINUTE: f64 = 0.2;
/// How much brighter one scene may be than another in the same light, in stops (ours).
const SCENES_DIFFER_STOPS: f64 = 2.0;
/// Two marks nearer than this to a measured difference cannot be told apart, in stops (ours).
const MARK_STOPS: f64 = 0.25;

/// log2(N^2/t x 100/ISO), the exposure value at ISO 100 (ISO 2720, K and C aside); `None` where the
/// aperture, the time or the ISO is unknown.
#[must_use]
pub fn exposure_value(exposure: &Exposure) -> Option<f64> {
    let (n, t, iso) = (exposure.f_number?.get(), exposure.time?.get(), exposure.iso?.get());
    (n > 0.0 && t > 0.0 && iso > 0.0).then(|| (n * n / t * 100.0 / iso).log2())
}

/// Judges all photographs together.
#[must_use]
pub fn find(pictures: &[Picture], kit: &[Profile]) -> Vec<Finding> {
    let evening = Evening::new(pictures, kit);
    (0..pictures.len()).map(|i| evening.judge(i)).collect()
}

#[derive(Clone, Copy, PartialEq)]
enum KnownBare {
    No,
    Sure(How),
    Likely(How),
}

struct Evening<'a> {
    pictures: &'a [Picture],
    kit: &'a [Profile],
    readings: Vec<Reading>,
    said: Vec<Said>,
    bare: Vec<KnownBare>,
    /// Per photograph the readings that are not struck out.
    states: Vec<Vec<usize>>,
    settled: Vec<Option<Settled>>,
}

impl<'a> Evening<'a> {
    fn new(pictures: &'a [Picture], kit: &'a [Profile]) -> Self {
        let mut evening = Self {
            pictures,
            kit,
            readings: readings(kit),
            said: pictures.iter().map(|p| said(&p.info.subject, kit)).collect(),
            bare: Vec::new(),
            states: Vec::new(),
            settled: vec![None; pictures.len()],
        };
        evening.bare = (0..pictures.len()).map(|i| evening.bare_by_itself(i)).collect();
        evening.settle();
        evening
    }

    fn bare_by_itself(&self, i: usize) -> KnownBare {
        match &self.said[i] {
            Said::Bare => return KnownBare::Sure(How::Words),
            Said::Through(_) => return KnownBare::No,
            Said::Nothing => {}
        }
        let Some(ev) = exposure_value(&self.pictures[i].info.exposure) else {
            return KnownBare::No;
        };
        let mut filtered = self.readings.iter().filter(|r| !r.filters.is_empty());
        if self.readings.len() == 1 || !filtered.all(|r| !r.possible_at(ev)) {
            return KnownBare::No;
        }
        // A graduated filter leaves part of the frame clear, so brightness cannot exclude it.
        if self.kit.iter().any(|p| p.filter.kind == Kind::Graduated) {
            KnownBare::Likely(How::OtherScenes)
        } else {
            KnownBare::Sure(How::Brightness)
        }
    }

    /// A frame is likely bare where even the weakest filter of the kit would make its scene much
    /// brighter than a bare scene of the same half hour.
    fn spread_bare(&mut self) {
        let filtered = self.readings.iter().filter(|r| !r.filters.is_empty());
        let Some(weakest) = filtered.map(|r| r.weakest[1]).min_by(f64::total_cmp) else { return };
        loop {
            let fresh: Vec<usize> = (0..self.pictures.len())
                .filter(|&i| self.bare[i] == KnownBare::No && self.said[i] == Said::Nothing)
                .filter(|&i| self.as_bright_as_bare(i, weakest))
                .collect();
            if fresh.is_empty() {
                return;
            }
            for i in fresh {
                self.bare[i] = KnownBare::Likely(How::OtherScenes);
            }
        }
    }

    fn as_bright_as_bare(&self, i: usize, weakest: f64) -> bool {
        let Some(here) = light(&self.pictures[i]) else { return false };
        (0..self.pictures.len()).any(|j| {
            let known = self.bare[j] != KnownBare::No && same_body(self.pictures, i, j);
            let (Some(apart), Some(other)) =
                (minutes(&self.pictures[i], &self.pictures[j]), light(&self.pictures[j]))
            else {
                return false;
            };
            let apart = apart.abs();
            let brighter = SCENES_DIFFER_STOPS + DUSK_STOPS_PER_MINUTE * apart;
            known && apart <= SAME_LIGHT_MINUTES && here + weakest > other + brighter
        })
    }

    fn judge(&self, i: usize) -> Finding {
        let ev = exposure_value(&self.pictures[i].info.exposure);
        let impossible = self.impossible(ev);
        let mut finding = match &self.said[i] {
            Said::Through(used) => self.by_words(i, used, &impossible),
            Said::Bare => self.known_bare(How::Words, true),
            Said::Nothing => self.by_evidence(i),
        };
        finding.impossible = impossible;
        finding
    }

    fn impossible(&self, ev: Option<f64>) -> Vec<usize> {
        let Some(ev) = ev else { return Vec::new() };
        let singles = self.readings.iter().filter(|r| r.filters.len() == 1);
        singles.filter(|r| !r.possible_at(ev)).map(|r| r.filters[0]).collect()
    }

    fn known_bare(&self, how: How, sure: bool) -> Finding {
        Finding {
            verdict: Verdict::Bare,
            how,
            sure,
            bare: None,
            impossible: Vec::new(),
            note: String::new(),
        }
    }

    fn by_words(&self, i: usize, used: &[Used], impossible: &[usize]) -> Finding {
        if let Some(wrong) = used.iter().find(|u| impossible.contains(&u.filter)) {
            return unknown(format!(
                "the keywords name {:?}, but through it this exposure would need a scene brighter \
                 than any on earth; correct the keyword",
                self.kit[wrong.filter].filter.name
            ));
        }
        let mut used = used.to_vec();
        let filters: Vec<usize> = used.iter().map(|u| u.filter).collect();
        let seen = self.compared(i).filter(|seen| {
            self.readings
                .iter()
                .filter(|r| r.filters == filters)
                .any(|r| Reading::bare().explains(r, seen.stops, seen.tolerance))
        });
        if let Some(seen) = &seen {
            self.fill_mark(&mut used, seen);
        }
        Finding {
            verdict: Verdict::Through(used),
            how: How::Words,
            sure: true,
            bare: seen.map(|s| s.bare),
            impossible: Vec::new(),
            note: String::new(),
        }
    }

    fn by_evidence(&self, i: usize) -> Finding {
        let seen = self.compared(i).or_else(|| self.nearest(i));
        let note = seen.as_ref().map(|seen| self.says(seen)).unwrap_or_default();
        let bare = |how: How, sure: bool| {
            let note = if how == How::Difference { note.clone() } else { String::new() };
            Finding { note, ..self.known_bare(how, sure) }
        };
        match (self.bare[i], self.settled[i]) {
            (KnownBare::Sure(how), _) => bare(how, true),
            (KnownBare::Likely(how), _) => bare(how, false),
            (KnownBare::No, Some(settled)) => self.through(i, &settled, seen, note),
            (KnownBare::No, None) => unknown(self.why_unknown(i)),
        }
    }

    fn through(&self, i: usize, settled: &Settled, seen: Option<Seen>, note: String) -> Finding {
        let filters = &self.readings[settled.reading].filters;
        let mut used: Vec<Used> =
            filters.iter().map(|&filter| Used { filter, mark: None }).collect();
        let mut note = note;
        let beside = seen.filter(|seen| self.bare[seen.bare] != KnownBare::No);
        if settled.how == How::Series {
            let neighbour = self.series_neighbour(i);
            note = neighbour.map_or(note, |j| format!("seconds from {}", self.shown(j)));
        } else if let Some(seen) = &beside {
            self.fill_mark(&mut used, seen);
        }
        let bare = beside.map(|seen| seen.bare).or_else(|| self.bare_along(i));
        Finding {
            verdict: Verdict::Through(used),
            how: settled.how,
            sure: settled.sure,
            bare,
            impossible: Vec::new(),
            note,
        }
    }

    fn graduated(&self) -> bool {
        self.kit.iter().any(|p| p.filter.kind == Kind::Graduated)
    }

    /// The mark of the one variable filter among those used, where one and only one mark fits.
    fn fill_mark(&self, used: &mut [Used], seen: &Seen) {
        let variable = |u: &Used| self.kit[u.filter].filter.kind == Kind::Variable;
        if used.iter().filter(|u| variable(u)).count() != 1 {
            return;
        }
        let fixed: f64 = used
            .iter()
            .filter(|u| !variable(u))
            .filter_map(|u| self.kit[u.filter].settings.first())
            .map(|s| s.strength.stops.get())
            .sum();
        let Some(unmarked) = used.iter_mut().find(|u| variable(u) && u.mark.is_none()) else {
            return;
        };
        let profile = &self.kit[unmarked.filter];
        let tolerance = seen.tolerance.max(MARK_STOPS);
        if let [only] = marks_near(profile, seen.stops[1] - fixed, tolerance).as_slice() {
            unmarked.mark = Some((*only).to_owned());
        }
    }

    /// The photograph beside the best bare frame, or beside the brightest frame, of its scene.
    fn compared(&self, i: usize) -> Option<Seen> {
        let near = self.links(i);
        if let Some((seen, _)) = around(&near) {
            return Some(seen);
        }
        // Nothing known: the brightest frame of the scene that is not darker than this one.
        near.into_iter()
            .filter(|s| s.stops[1] > -s.tolerance && self.said[s.bare] == Said::Nothing)
            .max_by(|a, b| a.stops[1].total_cmp(&b.stops[1]))
    }

    fn beside(&self, i: usize, j: usize) -> Option<Seen> {
        let (one, two) = (&self.pictures[i], &self.pictures[j]);
        let minutes = minutes(two, one)?;
        if minutes.abs() > SAME_SCENE_MINUTES || !same_view(self.pictures, i, j) {
            return None;
        }
        let difference = two.scene.as_ref()?.same_scene(one.scene.as_ref()?)?;
        let exposed = exposed(&one.info.exposure)? - exposed(&two.info.exposure)?;
        Some(Seen {
            bare: j,
            known: self.bare[j],
            minutes,
            stops: difference.stops.map(|d| d + exposed),
            tolerance: LEVEL_STOPS + DUSK_STOPS_PER_MINUTE * minutes.abs(),
        })
    }

    /// Between two bare frames, where there is one on either side in time.
    fn between_bare(&self, i: usize) -> Option<Seen> {
        around(&self.links(i)).filter(|(_, both)| *both).map(|(seen, _)| seen)
    }

    fn nearest(&self, i: usize) -> Option<Seen> {
        self.links(i).into_iter().min_by(|a, b| a.minutes.abs().total_cmp(&b.minutes.abs()))
    }
}

/// The nearest bare frame, or the light between the two around the photograph, and which it is.
fn around(near: &[Seen]) -> Option<(Seen, bool)> {
    let nearest = |sign: f64| {
        let side = near.iter().filter(|s| s.known != KnownBare::No && s.minutes * sign >= 0.0);
        side.min_by(|a, b| a.minutes.abs().total_cmp(&b.minutes.abs())).copied()
    };
    match (nearest(-1.0), nearest(1.0)) {
        (Some(before), Some(after)) if before.bare != after.bare => {
            Some((before.interpolated(&after), true))
        }
        (one, other) => one.or(other).map(|seen| (seen, false)),
    }
}

fn unknown(note: String) -> Finding {
    Finding {
        verdict: Verdict::Unknown,
        how: How::Nothing,
        sure: false,
        bare: None,
        impossible: Vec::new(),
        note,
    }
}
