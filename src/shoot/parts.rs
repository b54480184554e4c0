//! A card into what may be one shoot each: one body, one lens, no gap of more than 20 minutes.

mod focal_lengths;

use super::verdict::Judgement;
use super::{Judged, SortError, Sorted, Wish, faults, judge_all};
use crate::caution::Caution;
use crate::profile::FrameState;

/// A longer gap between frames of the wall ends a shoot, minutes (ours).
const GAP_MINUTES: f64 = 20.0;

/// Sorts the one shoot that a card holds; the rest of the card is set aside.
pub fn sort(
    mut frames: Vec<Judged>,
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> (Vec<Judged>, Sorted) {
    faults::not_raw(&mut frames);
    faults::other_pictures(&mut frames, wish);
    faults::named(&mut frames, wish);
    if wish.is_labelled() {
        let sorted = judge_all(&mut frames, wish, cautions);
        return (frames, sorted);
    }
    let parts = parts(&frames, wish);
    if parts.len() < 2 {
        let sorted = judge_all(&mut frames, wish, cautions);
        return (frames, sorted);
    }
    choose(frames, parts, wish, cautions)
}

/// Indices split where the time between one frame's end and the next one's start is too long. A
/// camera that takes a dark frame of its own is busy for the length of the exposure again.
#[must_use]
pub fn stretches(frames: &[Judged], indices: &[usize]) -> Vec<Vec<usize>> {
    let half = |f: &Judged| f.exposure.as_ref().map_or(0.0, |e| e.true_time.get() / 120.0);
    let mut found: Vec<Vec<usize>> = Vec::new();
    for &i in indices {
        let far = |&before: &usize| {
            let (a, b) = (&frames[before], &frames[i]);
            b.minutes - half(b) - (a.minutes + half(a)) > GAP_MINUTES + 2.0 * half(a)
        };
        match found.last_mut() {
            Some(stretch) if !stretch.last().is_some_and(far) => stretch.push(i),
            _ => found.push(vec![i]),
        }
    }
    found
}

/// Body, size and lens; what a file does not tell is no difference.
#[derive(Clone, Debug, PartialEq)]
struct Kit {
    body: [Option<String>; 3],
    size: (usize, usize, usize),
    lens: Option<(Option<String>, Option<i64>)>,
}

impl Kit {
    fn of(frame: &Judged) -> Self {
        let (c, cells) = (&frame.summary.info.camera, &frame.summary.cells);
        let focal =
            c.focal_length.filter(|l| l.get() > 0.0).map(|l| (l.get() * 2.0).round() as i64);
        Self {
            body: [c.make.clone(), c.model.clone(), c.serial.clone()],
            size: (cells.area.width, cells.area.height, cells.side),
            lens: (c.lens.is_some() || focal.is_some()).then(|| (c.lens.clone(), focal)),
        }
    }
    fn is_like(&self, other: &Self) -> bool {
        let lens = self.lens.is_none() || other.lens.is_none() || self.lens == other.lens;
        self.body == other.body && self.size == other.size && lens
    }
    /// What tells this kit from another.
    fn difference(&self, other: &Self) -> &'static str {
        if self.body == other.body && self.size == other.size {
            "two lenses were used"
        } else {
            "two cameras were used"
        }
    }
}

#[derive(Clone, Debug)]
struct Part {
    kit: Kit,
    indices: Vec<usize>,
}

fn parts(frames: &[Judged], wish: &Wish) -> Vec<Part> {
    let mut by_kit: Vec<Part> = Vec::new();
    for i in (0..frames.len()).filter(|&i| frames[i].is_good()) {
        let kit = Kit::of(&frames[i]);
        match by_kit.iter_mut().find(|p| p.kit.is_like(&kit)) {
            Some(part) => part.indices.push(i),
            None => by_kit.push(Part { kit, indices: vec![i] }),
        }
    }
    // Both limits given: that is the shoot, whatever the clock says.
    if wish.from.is_some() && wish.to.is_some() {
        return by_kit;
    }
    by_kit
        .into_iter()
        .flat_map(|part| {
            let stretches = stretches(frames, &part.indices);
            stretches.into_iter().map(move |indices| Part { kit: part.kit.clone(), indices })
        })
        .collect()
}

struct Judging {
    part: Part,
    sorted: Sorted,
    cautions: Vec<Caution>,
}

fn choose(
    frames: Vec<Judged>,
    parts: Vec<Part>,
    wish: &Wish,
    cautions: &mut Vec<Caution>,
) -> (Vec<Judged>, Sorted) {
    let mut slots: Vec<Option<Judged>> = frames.into_iter().map(Some).collect();
    let mut judged: Vec<Judging> = parts
        .into_iter()
        .map(|part| {
            let mut cautions = Vec::new();
            let sorted = with_part(&mut slots, &part, |f| judge_all(f, wish, &mut cautions));
            Judging { part, sorted, cautions }
        })
        .collect();
    let is_shoot = |j: &Judging| matches!(j.sorted, Ok(_) | Err(SortError::SeveralFilters { .. }));
    let shoots: Vec<usize> = (0..judged.len()).filter(|&j| is_shoot(&judged[j])).collect();
    let of_one_stack = focal_lengths::measured(&slots, &judged, &shoots, wish);
    if shoots.len() > 1 && of_one_stack.is_none() {
        let error = several(&slots, &judged, &shoots, wish);
        return (whole(slots), Err(error));
    }
    let largest = (0..judged.len()).rev().max_by_key(|&j| judged[j].part.indices.len());
    let chosen = shoots.first().copied().or(largest).unwrap_or(0);
    let lent: Vec<usize> = shoots.iter().copied().filter(|&j| j != chosen).collect();
    let own = judged[chosen].part.indices.iter().filter_map(|&i| slots[i].as_ref()?.run);
    let mut runs = own.max().unwrap_or(0);
    for &j in &lent {
        runs = focal_lengths::lend(&mut slots, &judged[j].part, runs);
    }
    let apart = shoots.is_empty().then(|| far_apart(&slots, &judged, chosen, wish)).flatten();
    for j in (0..judged.len()).filter(|j| *j != chosen && !lent.contains(j)) {
        leave(&mut slots, &judged[j], &judged[chosen].part);
    }
    let Judging { sorted, cautions: own, .. } = judged.swap_remove(chosen);
    cautions.extend(own);
    (whole(slots), apart.map_or(sorted, Err))
}

fn whole(slots: Vec<Option<Judged>>) -> Vec<Judged> {
    slots.into_iter().flatten().collect()
}

/// Takes a part's frames out, works on them, and puts them back.
fn with_part<T>(
    slots: &mut [Option<Judged>],
    part: &Part,
    work: impl FnOnce(&mut [Judged]) -> T,
) -> T {
    let mut own: Vec<Judged> = part.indices.iter().filter_map(|&i| slots[i].take()).collect();
    let result = work(&mut own);
    for (&i, frame) in part.indices.iter().zip(own) {
        slots[i] = Some(frame);
    }
    result
}

/// What is left of a card beside its one shoot: another body or lens in between is worth a word,
/// another day is not.
fn leave(slots: &mut [Option<Judged>], other: &Judging, chosen: &Part) {
    let minutes = |part: &Part, slots: &[Option<Judged>]| {
        let all = part.indices.iter().filter_map(|&i| slots[i].as_ref()).map(|f| f.minutes);
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), m| (a.min(m), b.max(m)))
    };
    let (own, its) = (minutes(chosen, slots), minutes(&other.part, slots));
    let beside = its.0 < own.1 + GAP_MINUTES && its.1 > own.0 - GAP_MINUTES;
    let strange = beside && !other.part.kit.is_like(&chosen.kit);
    let (kit, size) = (&other.part.kit, &chosen.kit.size);
    for &i in &other.part.indices {
        let Some(frame) = slots[i].as_mut() else { continue };
        let judgement = if !strange {
            Judgement::OtherShoot
        } else if kit.body != chosen.kit.body {
            let camera = kit.body.iter().flatten().cloned().collect::<Vec<_>>().join(" ");
            let camera = if camera.is_empty() { "unnamed".to_owned() } else { camera };
            Judgement::OtherCamera { camera }
        } else if kit.size != *size {
            Judgement::OtherSize
        } else {
            let c = &frame.summary.info.camera;
            let focal = c.focal_length.map(|l| format!("{} mm", l.get()));
            let parts = [c.lens.clone(), focal];
            Judgement::OtherLens {
                lens: parts.into_iter().flatten().collect::<Vec<_>>().join(", "),
            }
        };
        frame.run = None;
        frame.setting = None;
        faults::set_aside(frame, judgement);
    }
}

fn several(
    slots: &[Option<Judged>],
    judged: &[Judging],
    shoots: &[usize],
    wish: &Wish,
) -> SortError {
    let parts: Vec<&Part> = shoots.iter().map(|&j| &judged[j].part).collect();
    let reason = parts
        .windows(2)
        .find(|w| !w[0].kit.is_like(&w[1].kit))
        .map_or("more than 20 minutes lie between them", |w| w[0].kit.difference(&w[1].kit));
    let commands = shoots
        .iter()
        .flat_map(|&j| match &judged[j].sorted {
            Err(SortError::SeveralFilters { commands, .. }) => commands.clone(),
            _ => vec![command_for(slots, &judged[j].part, &parts, wish)],
        })
        .collect();
    SortError::SeveralFilters { reason: reason.to_owned(), commands }
}

/// Limits where those are enough, otherwise every frame by name.
fn command_for(slots: &[Option<Judged>], part: &Part, all: &[&Part], wish: &Wish) -> String {
    let span = |p: &Part| (p.indices.first().copied(), p.indices.last().copied());
    let (first, last) = span(part);
    let mixed = all
        .iter()
        .filter(|p| p.indices != part.indices)
        .any(|p| p.indices.iter().any(|i| Some(*i) > first && Some(*i) < last));
    let name = |i: Option<usize>| {
        i.and_then(|i| slots[i].as_ref()).map_or_else(String::new, |f| f.file().to_owned())
    };
    if !mixed {
        return limits(wish, &name(first), &name(last));
    }
    let of = |state: FrameState| {
        let frames = part.indices.iter().filter_map(|&i| slots[i].as_ref());
        frames.filter(|f| f.state == state).map(|f| quoted(f.file())).collect::<Vec<_>>().join(" ")
    };
    format!(
        "lightloss measure {} --bare {} --filtered {}",
        folder(wish),
        of(FrameState::Bare),
        of(FrameState::Setting)
    )
}

/// The command that measures from one frame to another.
#[must_use]
pub fn limits(wish: &Wish, from: &str, to: &str) -> String {
    format!("lightloss measure {} --from {} --to {}", folder(wish), quoted(from), quoted(to))
}

/// The shoot's folder as it is to be typed.
pub fn folder(wish: &Wish) -> String {
    if wish.shoot.is_empty() { "SHOOT".to_owned() } else { quoted(&wish.shoot) }
}

/// A word of a command, in quotes where it needs them.
pub fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "./_-+=:,\\".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("\"{word}\"")
    }
}

/// Where no stretch is a shoot of its own but two of them together may be one.
fn far_apart(
    slots: &[Option<Judged>],
    judged: &[Judging],
    chosen: usize,
    wish: &Wish,
) -> Option<SortError> {
    let level = |part: &Part| {
        let looks = part.indices.iter().filter_map(|&i| slots[i].as_ref());
        super::look::median(looks.map(|f| f.look.whole).collect())
    };
    let one = &judged[chosen].part;
    let other = judged
        .iter()
        .map(|j| &j.part)
        .filter(|p| p.indices != one.indices && p.kit.is_like(&one.kit) && p.indices.len() > 1)
        .find(|p| (level(p) - level(one)).abs() > 0.3)?;
    let (early, late) = if one.indices < other.indices { (one, other) } else { (other, one) };
    let name = |i: &usize| slots[*i].as_ref().map(|f| f.file().to_owned());
    let (before, after) =
        (early.indices.last().and_then(name)?, late.indices.first().and_then(name)?);
    let (from, to) = (early.indices.first().and_then(name)?, late.indices.last().and_then(name)?);
    Some(SortError::FarApart { before, after, command: limits(wish, &from, &to) })
}
