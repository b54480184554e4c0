//! What is set aside before and after runs are found: each pass names its reason.

use super::error::SortError;
use super::frames::{Gear, Observed};
use super::look::{DETAIL_SHARE, Look};
use super::unlit::{is_harmless, unlit};
use super::verdict::{Judgement, Untold};
use super::verdicts::{Judgements, Role, Verdicts};
use super::wish::{Label, Wish};
use crate::caution::Caution;
use crate::frame::Origin;
use crate::levels::from_14_bit;
use crate::numerics::robust::{deviation, median, most_frequent};

/// An outlier within a run lies this far from its middle at least, stops (ours).
const LEAST_OUTLIER: f64 = 0.03;
/// And this many times the run's own scatter (ours).
const OUTLIER_SCATTERS: f64 = 6.0;
/// And this much farther where it shares another shutter time than that of the run's others with a frame
/// that is like it: times of a careless shutter are off by 3 % each, which makes 0.15 stop of two of them
/// seldom (ours).
const OTHER_TIME: f64 = 0.15;
/// Frames of a run that tell which of them is the odd one.
const TELLING_RUN: usize = 3;
/// A capped frame is one in which the weakest light of the shoot would have shown by this many counts at 14 bit (ours;
/// twelve times the half count that the tag's black level is good to).
const WOULD_SHOW_COUNTS: f64 = 6.0;
/// A frame that is said to be dark shows no more light than this above the tag's black, counts at 14
/// bit: room for black that creeps up, for glow and for a tag that is off (ours).
const MOST_DARK_COUNTS: f64 = 64.0;
/// The level of a faint frame's block is uncertain by more than this, of a clear frame's by less than
/// half of it, stops (ours). Unlike frames that share a time may tie it to others, however roughly, with a level of
/// three counts at 14 bit of which black is half a count off; a frame at a time of its own tells nothing that clear
/// frames do not tell better.
const FAINT_STOPS: f64 = 0.3;
const FAINT_ALONE_STOPS: f64 = 0.02;
/// Edges of a filter or its holder are detail in up to this share of the frame, and that share is the same
/// in repeated frames up to this (ours).
const EDGES_SHARE: f64 = 0.1;
const SAME_EDGES: f64 = 0.02;
/// A faint frame and a clear one may show the same light when they lie so close, stops, or within so many
/// standard uncertainties of the faint one's level (ours).
const SAME_LIGHT: f64 = 0.75;
const SAME_LIGHT_SIGMAS: f64 = 3.0;

/// Frames outside `--from` and `--to`.
pub fn outside_limits(frames: &[Observed], wish: &Wish) -> Result<Judgements, SortError> {
    let place = |name: &Option<String>| match name {
        None => Ok(None),
        Some(name) => frames
            .iter()
            .position(|f| f.file() == name || f.file().ends_with(&format!("/{name}")))
            .map(Some)
            .ok_or_else(|| SortError::NoSuchFrame { file: name.clone() }),
    };
    let first = place(&wish.from)?.unwrap_or(0);
    let last = place(&wish.to)?.unwrap_or(usize::MAX);
    let outside = (0..frames.len()).filter(|&i| i < first || i > last);
    Ok(outside.map(|i| (i, Judgement::OutsideLimits)).collect())
}

/// What the user says of single frames: what is not to be measured is set aside, and where bare or
/// filtered frames are named, everything that is not named.
pub fn not_wanted(frames: &[Observed], good: &[usize], wish: &Wish) -> Judgements {
    let all = wish.is_labelled();
    let judgement = |&i: &usize| {
        let why = match wish.labels.get(frames[i].file()) {
            // Beside a plan that fits, what was not planned was not made for it.
            None if all && !wish.planned.is_empty() => Judgement::OtherShoot,
            None if all => Judgement::NotWanted,
            Some(Label::LeftOut) => Judgement::NotWanted,
            Some(Label::LightCheck(_) | Label::Cloth(_)) => Judgement::Check,
            Some(Label::Leak) => Judgement::Leak,
            Some(Label::Bridge) => Judgement::Bridge,
            Some(Label::Dark) => as_dark(&frames[i]),
            None | Some(Label::Bare | Label::Filtered(_)) => return None,
        };
        Some((i, why))
    };
    good.iter().filter_map(judgement).collect()
}

/// What a frame is that the user calls dark: black differs from the tag by little.
pub fn as_dark(frame: &Observed) -> Judgement {
    let most = from_14_bit(MOST_DARK_COUNTS, &frame.summary);
    if frame.look.below_black {
        Judgement::BelowBlack
    } else if frame.look.levels.iter().any(|level| *level > most) {
        Judgement::NotDark
    } else {
        Judgement::Dark
    }
}

/// Pictures among raw frames.
pub fn not_raw(frames: &[Observed], good: &[usize]) -> Judgements {
    let is_raw = |i: &&usize| frames[**i].summary.info.origin == Origin::Raw;
    if !good.iter().any(|i| is_raw(&i)) {
        return Judgements::new();
    }
    good.iter().filter(|i| !is_raw(i)).map(|&i| (i, Judgement::NotRaw)).collect()
}

/// Frames of another body, size, or lens than most.
pub fn other_gear(frames: &[Observed], good: &[usize]) -> Judgements {
    let mut found = Judgements::new();
    let mut left: Vec<(usize, Gear)> = good.iter().map(|&i| (i, frames[i].gear())).collect();
    let apart: [fn(&Gear, &Gear) -> bool; 3] = [
        |a, b| a.body != b.body,
        |a, b| a.size != b.size,
        |a, b| a.lens.is_some() && b.lens.is_some() && a.lens != b.lens,
    ];
    for (which, differs) in apart.into_iter().enumerate() {
        let known = left.iter().map(|(_, gear)| gear).filter(|g| which < 2 || g.lens.is_some());
        let Some(usual) = most_frequent(known, |a, b| !differs(a, b)).cloned() else { continue };
        let strange = left.iter().filter(|(_, gear)| differs(gear, &usual));
        found.extend(strange.map(|(i, _)| (*i, frames[*i].with_other_gear(&usual))));
        left.retain(|(_, gear)| !differs(gear, &usual));
    }
    found
}

/// Frames without an exposure time.
pub fn unexposed(frames: &[Observed], good: &[usize]) -> Result<Judgements, SortError> {
    let without: Vec<usize> =
        good.iter().copied().filter(|&i| frames[i].exposure.is_none()).collect();
    if !without.is_empty() && without.len() == good.len() {
        return Err(SortError::NoExposure);
    }
    Ok(without.into_iter().map(|i| (i, Judgement::NoExposure)).collect())
}

/// Frames that tell no aperture or ISO, where those that may be of their state tell several.
pub fn disputed(frames: &[Observed], good: &[usize]) -> Judgements {
    let what = |i: usize| {
        let lent = frames[i].exposure.as_ref()?.lent;
        let aperture = lent.f_number.filter(|lent| lent.is_disputed).map(|_| Untold::Aperture);
        aperture.or(lent.iso.filter(|lent| lent.is_disputed).map(|_| Untold::Iso))
    };
    let judged = |&i: &usize| Some((i, Judgement::ExposureUntold { what: what(i)? }));
    good.iter().filter_map(judged).collect()
}

/// Frames that tell no aperture or ISO and were lent another than a frame of their own state tells.
pub fn unlike_their_state(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
) -> Judgements {
    type Property = (Untold, fn(&Observed) -> i64, fn(&Observed) -> bool);
    let properties: [Property; 2] = [
        (Untold::Aperture, |f| f_number_of(f).unwrap_or(0), tells_f_number),
        (Untold::Iso, iso_of, tells_iso),
    ];
    let mut found = Judgements::new();
    for role in roles(verdicts, within) {
        let of_role: Vec<usize> = verdicts.in_role(within, role).collect();
        for (what, value, tells) in properties {
            let (told, lent): (Vec<usize>, Vec<usize>) =
                of_role.iter().copied().partition(|&i| tells(&frames[i]));
            let unlike =
                |&i: &usize| told.iter().any(|&other| value(&frames[other]) != value(&frames[i]));
            let unlike = lent.into_iter().filter(unlike);
            found.extend(unlike.map(|i| (i, Judgement::ExposureUntold { what })));
        }
    }
    found
}

/// Frames of which no aperture or ISO is known at all beside good frames of which it is: an exposure
/// without it is no exposure.
pub fn untold(frames: &[Observed], good: &[usize]) -> Judgements {
    type Knows = (Untold, fn(&Observed) -> bool);
    let properties: [Knows; 2] =
        [(Untold::Aperture, |f| f_number_of(f).is_some()), (Untold::Iso, |f| iso_of(f) != 0)];
    let mut found = Judgements::new();
    for (what, knows) in properties {
        let (known, unknown): (Vec<usize>, Vec<usize>) =
            good.iter().copied().partition(|&i| knows(&frames[i]));
        if !known.is_empty() {
            found.extend(unknown.into_iter().map(|i| (i, Judgement::ExposureUntold { what })));
        }
    }
    found
}

/// Pictures of something else than the test surface, unless the user named the frame.
pub fn other_pictures(frames: &[Observed], good: &[usize], wish: &Wish) -> Judgements {
    let busy = |at: usize| {
        let frame = &frames[good[at]];
        // Next to nothing over next to nothing looks busy too.
        !frame.look.dark
            && frame.look.detail > DETAIL_SHARE
            && !wish.labels.contains_key(frame.file())
            && !shows_edges(frames, good, at)
    };
    (0..good.len()).filter(|&at| busy(at)).map(|at| (good[at], Judgement::OtherPicture)).collect()
}

/// Whether the detail may be the edges of a square, a ring or a hard graduation: little of it, and the
/// frame before or after shows the same at the same time.
fn shows_edges(frames: &[Observed], good: &[usize], at: usize) -> bool {
    let frame = &frames[good[at]];
    let time = |frame: &Observed| frame.exposure.as_ref().map(|e| e.recorded);
    let is_like = |other: usize| {
        let other = &frames[other];
        time(other) == time(frame)
            && (other.look.detail - frame.look.detail).abs() < SAME_EDGES
            && (other.look.whole - frame.look.whole).abs() < LEAST_OUTLIER
    };
    let beside = [at.checked_sub(1), Some(at + 1)].into_iter().flatten();
    frame.look.detail <= EDGES_SHARE
        && beside.filter_map(|k| good.get(k)).any(|&other| is_like(other))
}

/// Frames clipped in green in the centre (a clipped red or blue alone is only not used).
pub fn clipped(frames: &[Observed], good: &[usize]) -> Judgements {
    let percent = |i: usize| frames[i].look.clipped_percent.get();
    let found = good.iter().filter(|&&i| frames[i].look.clipped[1]);
    found.map(|&i| (i, Judgement::Clipped { percent: percent(i) })).collect()
}

/// Frames whose light lies far below black.
pub fn below_black(frames: &[Observed], good: &[usize]) -> Judgements {
    let found = good.iter().filter(|&&i| frames[i].look.below_black);
    found.map(|&i| (i, Judgement::BelowBlack)).collect()
}

/// Frames as dark as black, or with no picture in what they show above it, to be judged again once it
/// is known how strong the filter is.
pub fn dark(frames: &[Observed], good: &[usize]) -> Judgements {
    let dark = |look: &Look| look.dark || !look.whole.is_finite();
    let (dark, lit): (Vec<usize>, Vec<usize>) =
        good.iter().copied().partition(|&i| dark(&frames[i].look));
    let found = dark.into_iter().chain(unlit(frames, &lit));
    found.map(|i| (i, Judgement::BuriedOrCapped)).collect()
}

/// Frames so faint that noise and black leave their level unknown, where a clear frame shows the same
/// light: they would only stand out from it.
pub fn faint(frames: &[Observed], good: &[usize]) -> Judgements {
    let found = good.iter().filter(|&&i| is_faint(frames, good, &frames[i]));
    found.map(|&i| (i, Judgement::BuriedOrCapped)).collect()
}

fn is_faint(frames: &[Observed], good: &[usize], frame: &Observed) -> bool {
    let (noise, centre) = (frame.look.noise, frame.look.centre);
    let time = |frame: &Observed| frame.exposure.as_ref().map(|e| e.recorded);
    if noise <= FAINT_ALONE_STOPS {
        return false;
    }
    let near = SAME_LIGHT.max(SAME_LIGHT_SIGMAS * noise);
    let is_near = |other: &Observed| (other.look.centre - centre).abs() < near;
    // Those of a bridge, too, which are not measured.
    let carries = |other: &Observed| other.look.noise <= FAINT_ALONE_STOPS && !is_near(other);
    let ties = frames.iter().any(|other| time(other) == time(frame) && carries(other));
    let most = if ties { FAINT_STOPS } else { FAINT_ALONE_STOPS };
    let is_clear = |other: &Observed| other.look.noise < most / 2.0;
    noise > most && good.iter().map(|&i| &frames[i]).any(|other| is_clear(other) && is_near(other))
}

/// A frame as dark as black was surely capped where the weakest light of the shoot would have
/// shown in its time, and is as good as capped where what it may hide matters to no frame that black is
/// taken off; otherwise it may be a buried frame and is used for neither. `bare` and `filtered` are the
/// frames that are measured.
pub fn capped(
    frames: &[Observed],
    dark: &[usize],
    bare: &[usize],
    filtered: &[usize],
) -> Judgements {
    let weakest = filtered.iter().map(|&i| frames[i].look.centre).fold(f64::INFINITY, f64::min);
    if !weakest.is_finite() {
        return Judgements::new();
    }
    let used = [bare, filtered].concat();
    let is_black = |&i: &usize| {
        let exposure = frames[i].exposure.as_ref().map_or(f64::NEG_INFINITY, |e| e.log_exposure());
        let weakest = (weakest + exposure).exp2();
        weakest > from_14_bit(WOULD_SHOW_COUNTS, &frames[i].summary)
            || is_harmless(frames, i, weakest, &used)
    };
    dark.iter().copied().filter(is_black).map(|i| (i, Judgement::Dark)).collect()
}

/// Frames at another aperture or ISO than the bare ones are left out where their state has good
/// frames without that fault; otherwise they stay, with a caution. What a frame was lent counts here
/// only as far as it is what its whole state tells, or where that tells nothing.
pub fn other_exposures(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
) -> (Judgements, Vec<Caution>) {
    let bare: Vec<&Observed> = verdicts.in_role(within, Role::Bare).map(|i| &frames[i]).collect();
    let Some(iso) = most_frequent(bare.iter().map(|f| iso_of(f)), |a, b| a == b) else {
        return (Judgements::new(), Vec::new());
    };
    let f_number = most_frequent(bare.iter().filter_map(|f| f_number_of(f)), |a, b| a == b);
    let odd_iso = |i: &usize| iso_of(&frames[*i]) != iso;
    let odd_f = |i: &usize| f_number_of(&frames[*i]).is_some_and(|n| Some(n) != f_number);
    let (mut found, mut cautions) = (Judgements::new(), Vec::new());
    for role in roles(verdicts, within) {
        let of_role: Vec<usize> = verdicts.in_role(within, role).collect();
        if of_role.iter().any(|i| !odd_iso(i) && !odd_f(i)) {
            found.extend(of_role.iter().filter(|i| odd_iso(i) || odd_f(i)).map(|i| {
                let iso = iso_of(&frames[*i]) as f64;
                let f_number = f_number_of(&frames[*i]).unwrap_or(0) as f64 / 100.0;
                let other_f = Judgement::OtherAperture { f_number };
                (*i, if odd_iso(i) { Judgement::OtherIso { iso } } else { other_f })
            }));
            continue;
        }
        if let Some(i) = of_role.iter().find(|i| odd_iso(i)) {
            let filtered = iso_of(&frames[*i]) as f64;
            cautions.push(Caution::IsoChanged { bare: iso as f64, filtered });
        }
        if of_role.iter().any(odd_f) {
            cautions.push(Caution::ApertureChanged);
        }
    }
    (found, cautions)
}

pub(super) fn iso_of(frame: &Observed) -> i64 {
    frame.exposure.as_ref().and_then(|e| e.iso).map_or(0, |s| s.get().round() as i64)
}

fn tells_iso(frame: &Observed) -> bool {
    frame.exposure.as_ref().is_some_and(|e| e.iso.is_some() && e.lent.iso.is_none())
}

fn tells_f_number(frame: &Observed) -> bool {
    frame.exposure.as_ref().is_some_and(|e| e.f_number.is_some() && e.lent.f_number.is_none())
}

/// Hundredths.
pub(super) fn f_number_of(frame: &Observed) -> Option<i64> {
    let n = frame.exposure.as_ref().and_then(|e| e.f_number)?;
    Some((n.get() * 100.0).round() as i64)
}

/// Roles of good frames in order of first appearance.
pub(super) fn roles(verdicts: &Verdicts, within: &[usize]) -> Vec<Role> {
    let mut roles = Vec::new();
    let good = within.iter().filter(|&&i| verdicts.is_good(i));
    for role in good.filter_map(|&i| verdicts.place_of(i).role) {
        if !roles.contains(&role) {
            roles.push(role);
        }
    }
    roles
}

/// Frames that differ from the middle of their own run, where the run is long enough to tell.
pub fn outliers(frames: &[Observed], verdicts: &Verdicts, good: &[usize]) -> Judgements {
    let mut runs: Vec<(u32, Vec<usize>)> = Vec::new();
    for &i in good {
        let Some(run) = verdicts.place_of(i).run else { continue };
        match runs.iter_mut().find(|(known, _)| *known == run) {
            Some((_, members)) => members.push(i),
            None => runs.push((run, vec![i])),
        }
    }
    let mut found = Judgements::new();
    let time = |i: usize| frames[i].exposure.as_ref().map(|e| e.recorded);
    for (_, members) in runs.into_iter().filter(|(_, m)| m.len() >= TELLING_RUN) {
        let usual = most_frequent(members.iter().map(|&i| time(i)), |a, b| a == b).flatten();
        let at_usual: Vec<usize> = members.iter().copied().filter(|&i| time(i) == usual).collect();
        let telling = if at_usual.len() >= TELLING_RUN { &at_usual } else { &members };
        let centres = || telling.iter().map(|&i| frames[i].look.centre);
        let middle = median(centres()).unwrap_or(f64::NAN);
        let scatter = deviation(centres()).unwrap_or(f64::NAN);
        let apart = |i: usize| frames[i].look.centre - middle;
        let limit = LEAST_OUTLIER.max(OUTLIER_SCATTERS * scatter);
        // One frame by itself does not tell its shutter from what else befell it.
        let alike = |i: usize| {
            let near =
                |j: usize| (frames[j].look.centre - frames[i].look.centre).abs() <= LEAST_OUTLIER;
            members.iter().any(|&j| j != i && time(j) == time(i) && near(j))
        };
        let by_shutter = |i: usize| if time(i) != usual && alike(i) { OTHER_TIME } else { 0.0 };
        let dial = |i: usize| frames[i].dial_difference();
        let dial_of_telling = median(telling.iter().map(|&i| dial(i))).unwrap_or(0.0);
        // What is shown on the dial may be the true time, of either.
        let by_dial = |i: usize| (dial(i) - dial_of_telling).abs();
        let allowed = |i: usize| limit + by_shutter(i) + by_dial(i);
        let odd = members.iter().copied().filter(|&i| apart(i).abs() > allowed(i));
        found.extend(odd.map(|i| (i, Judgement::Outlier { stops: apart(i) })));
    }
    found
}
