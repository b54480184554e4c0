//! The plan held against the frames: which frame was made for which planned shot.

use super::frames::Observed;
use super::look::DETAIL_SHARE;
use super::verdict::Judgement;
use super::wish::{Label, Wish};
use super::{faults, parts};
use crate::caution::Caution;
use crate::frame::Origin;
use crate::numerics::robust::median;
use crate::profile::Kind;
use crate::shoot_file::{PlannedShot, ShotState};

/// Bare frames of one shoot lie this close together, stops: drift, a cloud, a lamp (ours).
const SAME_LIGHT: f64 = 0.75;
/// A filter takes this much at least, stops (ours).
const LEAST_STRENGTH: f64 = 0.1;
/// Marks in the wrong order differ by more than this, stops (ours).
const WRONG_ORDER: f64 = 0.3;

/// The wish with every planned frame labelled; frames named one by one win over the plan. Where the
/// frames are not those of the plan, its marks are a guide and the frames are sorted by what they
/// show. Says so, or that a ring was shot from its strong end.
pub fn labelled(frames: &[Observed], good: &[usize], wish: &Wish) -> (Wish, Option<Caution>) {
    let mut labelled = wish.clone();
    if wish.planned.is_empty() {
        return (labelled, None);
    }
    let expected: Vec<&PlannedShot> = wish
        .planned
        .iter()
        .flat_map(|shot| std::iter::repeat_n(shot, shot.count as usize))
        // A damaged document may ask for billions.
        .take(frames.len() + 1)
        .collect();
    let asked = wish.planned.iter().map(|shot| u64::from(shot.count)).sum::<u64>();
    let matched = fitting(frames, good, wish, usize::try_from(asked).unwrap_or(usize::MAX))
        .and_then(|made| states(frames, &made, &expected, wish).map(|()| made))
        .and_then(|made| Ok((marks(frames, &made, &expected, wish)?, made)));
    let ((marks, backwards), made) = match matched {
        Ok(matched) => matched,
        // The frames are named: the plan is only how they came about.
        Err(_) if wish.is_labelled() => return (labelled, None),
        Err(what) => return guided(labelled, what),
    };
    for (&i, shot) in made.iter().zip(&expected) {
        let file = frames[i].file().to_owned();
        let mark = shot.mark.as_ref().map(|m| renamed(m, &marks, backwards).to_owned());
        let label = match shot.state {
            ShotState::Bare => Label::Bare,
            ShotState::Filtered => Label::Filtered(mark),
            ShotState::Dark => Label::Dark,
            ShotState::Leak => Label::Leak,
            ShotState::Bridge => Label::Bridge,
            ShotState::LightCheck => Label::LightCheck(shot.mark.clone()),
            ShotState::Cloth => Label::Cloth(mark),
        };
        labelled.labels.entry(file.clone()).or_insert(label);
        if let Some(rotation) = shot.rotation {
            labelled.rotations.entry(file).or_insert(rotation);
        }
    }
    (labelled, backwards.then_some(Caution::ShotBackwards))
}

/// The wish with what the plan tells of the filter and nothing of its frames.
fn guided(mut wish: Wish, what: String) -> (Wish, Option<Caution>) {
    let filtered = wish.planned.iter().filter(|shot| shot.state == ShotState::Filtered);
    let marks: Vec<String> = filtered.filter_map(|shot| shot.mark.clone()).collect();
    if wish.marks.is_empty() && wish.kind == Some(Kind::Variable) {
        wish.marks = marks;
        wish.marks_are_a_guide = true;
    }
    wish.planned.clear();
    (wish, Some(Caution::PlanNotFollowed { what }))
}

/// The frames that the plan may mean: all that may be of the wall, without pictures of other
/// things, or one stretch of them.
fn fitting(
    frames: &[Observed],
    good: &[usize],
    wish: &Wish,
    count: usize,
) -> Result<Vec<usize>, String> {
    let is_raw = |i: usize| frames[i].summary.info.origin == Origin::Raw;
    let raw = good.iter().any(|&i| is_raw(i));
    let all: Vec<usize> = good
        .iter()
        .copied()
        .filter(|&i| !raw || is_raw(i))
        .filter(|&i| wish.labels.get(frames[i].file()) != Some(&Label::LeftOut))
        .collect();
    let plain = |&i: &usize| frames[i].look.dark || frames[i].look.detail <= DETAIL_SHARE;
    let wall: Vec<usize> = all.iter().copied().filter(plain).collect();
    let found = wall.len();
    if all.len() == count && parts::stretches(frames, &all).len() == 1 {
        return Ok(all);
    }
    if wall.len() == count {
        return Ok(wall);
    }
    let mut stretches = parts::stretches(frames, &wall);
    stretches.retain(|s| s.len() == count);
    match (stretches.pop(), stretches.len()) {
        (Some(only), 0) => Ok(only),
        _ => Err(format!("it asks for {count} frames, and the folder holds {found} of the wall")),
    }
}

/// Whether each frame can be what the plan says.
fn states(
    frames: &[Observed],
    made: &[usize],
    expected: &[&PlannedShot],
    wish: &Wish,
) -> Result<(), String> {
    let pairs = || made.iter().map(|&i| &frames[i]).zip(expected);
    let level = |f: &Observed| if f.look.clipped[1] { f64::NAN } else { f.look.whole };
    let bare = median(pairs().filter(|(_, s)| s.state == ShotState::Bare).map(|(f, _)| level(f)))
        .unwrap_or(f64::NAN);
    let wrong = |f: &Observed, planned: &str, why: &str| {
        Err(format!("{} should be {planned}, but {why}", f.file()))
    };
    for (f, shot) in pairs() {
        let below = bare - level(f);
        match shot.state {
            ShotState::Dark if faults::as_dark(f) == Judgement::NotDark => {
                return wrong(f, "dark", "shows light");
            }
            ShotState::Bare if f.look.dark => return wrong(f, "bare", "is as dark as black"),
            ShotState::Bare if below.abs() > SAME_LIGHT => {
                let why = format!("lies {:.1} stops from the other bare frames", below.abs());
                return wrong(f, "bare", &why);
            }
            ShotState::Filtered if f.look.dark => {
                return wrong(f, "filtered", "is as dark as black");
            }
            ShotState::Filtered if wish.kind != Some(Kind::Graduated) && below < LEAST_STRENGTH => {
                return wrong(f, "filtered", "is as bright as the bare frames");
            }
            _ => {}
        }
    }
    one_level_each(frames, made, expected)
}

/// Frames of one planned shot show one level.
fn one_level_each(
    frames: &[Observed],
    made: &[usize],
    expected: &[&PlannedShot],
) -> Result<(), String> {
    for (i, pair) in made.windows(2).enumerate() {
        let (a, b) = (&frames[pair[0]], &frames[pair[1]]);
        let same = expected[i].order == expected[i + 1].order;
        let apart = (a.look.whole - b.look.whole).abs();
        if same && expected[i].state == ShotState::Filtered && apart > SAME_LIGHT {
            return Err(format!(
                "{} and {} should show one state, but lie {apart:.1} stops apart",
                a.file(),
                b.file()
            ));
        }
    }
    Ok(())
}

/// The planned marks in order, and whether the ring was shot from its strong end: then the levels
/// rise where they should fall.
fn marks(
    frames: &[Observed],
    made: &[usize],
    expected: &[&PlannedShot],
    wish: &Wish,
) -> Result<(Vec<String>, bool), String> {
    let mut marks: Vec<(String, Vec<f64>)> = Vec::new();
    for (&i, shot) in made.iter().zip(expected).filter(|(_, s)| s.state == ShotState::Filtered) {
        let Some(mark) = &shot.mark else { continue };
        let level = frames[i].look.whole;
        match marks.iter_mut().find(|(known, _)| known == mark) {
            Some((_, levels)) => levels.push(level),
            None => marks.push((mark.clone(), vec![level])),
        }
    }
    let levels: Vec<f64> =
        marks.iter().map(|(_, l)| median(l.clone()).unwrap_or(f64::NAN)).collect();
    let names: Vec<String> = marks.into_iter().map(|(name, _)| name).collect();
    if wish.kind != Some(Kind::Variable) || levels.len() < 2 {
        return Ok((names, false));
    }
    let rises = |w: &&[f64]| w[1] - w[0] > WRONG_ORDER;
    let risen = levels.windows(2).filter(rises).count();
    let falls = levels.windows(2).any(|w| w[0] - w[1] > WRONG_ORDER);
    if risen > 0 && falls {
        let at = levels.windows(2).position(|w| w[1] - w[0] > WRONG_ORDER).unwrap_or(0);
        return Err(format!("mark {} came out brighter than mark {}", names[at + 1], names[at]));
    }
    Ok((names, risen > 0))
}

fn renamed<'a>(mark: &'a str, marks: &'a [String], backwards: bool) -> &'a str {
    match marks.iter().position(|m| m == mark) {
        Some(at) if backwards => &marks[marks.len() - 1 - at],
        _ => mark,
    }
}
