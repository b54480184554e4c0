//! Which runs are bare, and which are which setting of the filter.

use super::another::another_level;
use super::error::{SortError, Spoilt};
use super::evidence::{Contradiction, Readings, most_states};
use super::frames::{Observed, State};
use super::layout::{Layout, leak_assumed, lone_leak};
use super::marks;
use super::verdict::Judgement;
use super::verdicts::{Judgements, Place, Role, Verdicts};
use super::wish::{Label, Wish};
use crate::caution::Caution;
use crate::profile::Kind;

/// ln of the odds from which several filtered levels are worth a word although one was asked for
/// (ours).
const DECISIVE: f64 = 6.0;

/// The states of a filter and its kind.
pub type Roles = (Vec<State>, Kind);

/// What runs were found to be.
pub struct Assigned {
    /// Run and role of each frame.
    pub places: Vec<(usize, Place)>,
    /// What is held against frames.
    pub judgements: Judgements,
    /// Doubts.
    pub cautions: Vec<Caution>,
    /// Frames that contradict each other, to be doubted where both are left in the end.
    pub contradictions: Vec<Contradiction>,
    /// States and kind, or why there is no one filter.
    pub roles: Result<Roles, SortError>,
}

/// Runs and roles as the user names them.
pub fn by_label(good: &[usize], verdicts: &Verdicts, wish: &Wish) -> Assigned {
    let mut settings: Vec<State> = Vec::new();
    let (mut places, mut run, mut before) = (Vec::new(), 0_u32, None);
    for &i in good {
        let Some(label) = verdicts.label(i) else { continue };
        let now = Some((label, verdicts.rotation(i)));
        run += u32::from(before != now);
        before = now;
        let role = match label {
            Label::Bare => Some(Role::Bare),
            Label::Filtered(mark) => {
                let state = State { mark: mark.clone() };
                Some(Role::Setting(settings.iter().position(|s| *s == state).unwrap_or_else(
                    || {
                        settings.push(state);
                        settings.len() - 1
                    },
                )))
            }
            _ => None,
        };
        places.push((i, Place { run: Some(run), role }));
    }
    let several = settings.len() > 1;
    if !several && wish.kind != Some(Kind::Variable) {
        settings.iter_mut().for_each(|setting| setting.mark = None);
    }
    let kind = wish.kind.unwrap_or(if several { Kind::Variable } else { Kind::Solid });
    let roles = Ok((settings, kind));
    Assigned {
        places,
        judgements: Judgements::new(),
        cautions: Vec::new(),
        contradictions: Vec::new(),
        roles,
    }
}

/// Runs and roles by what the frames show; `None` where they show one level only.
pub fn by_level(frames: &[Observed], good: &[usize], wish: &Wish) -> Option<Assigned> {
    let (mut judgements, mut cautions, mut good) = (Judgements::new(), Vec::new(), good.to_vec());
    if !wish.names_marks()
        && let Some((leak, below)) = lone_leak(frames, &good)
    {
        cautions.push(leak_assumed(&frames[leak], below));
        judgements.push((leak, Judgement::Leak));
        good.retain(|i| *i != leak);
    }
    let mut readings = Readings::of(frames, &good, wish)?;
    let mut layout = Layout::of(frames, &good, readings.best());
    let bridges = if wish.names_marks() { Judgements::new() } else { layout.bridges(frames) };
    if !bridges.is_empty() {
        good.retain(|i| bridges.iter().all(|(bridge, _)| bridge != i));
        judgements.extend(bridges);
        readings = Readings::of(frames, &good, wish)?;
        layout = Layout::of(frames, &good, readings.best());
    }
    let mut strangers = layout.other_pictures(frames);
    if wish.kind.is_none() && !wish.names_marks() {
        strangers.extend(layout.lone_state());
    }
    if !strangers.is_empty() {
        good.retain(|i| strangers.iter().all(|(stranger, _)| stranger != i));
        judgements.extend(strangers);
        readings = Readings::of(frames, &good, wish)?;
        layout = Layout::of(frames, &good, readings.best());
    }
    let several = (!wish.names_marks() && wish.kind != Some(Kind::Polariser))
        .then(|| layout.several_filters(frames, wish))
        .flatten();
    let most = most_states(wish);
    if several.is_none()
        && layout.filtered().len() > most
        && let Some(held) = readings.held_to(frames, &good, wish, most)
    {
        if most == 1 && readings.best().evidence - held.best().evidence > DECISIVE {
            let reason = "several filtered levels were found".into();
            cautions.push(Caution::LooksLike { kind: "variable", reason });
        }
        layout = Layout::of(frames, &good, held.best());
        readings = held;
    }
    cautions.extend(another_level(readings.best(), frames, &good, wish));
    cautions.extend(readings.doubts(wish));
    let contradictions = readings.contradictions(&good);
    let filtered = layout.filtered();
    let kind = wish.kind.unwrap_or(if filtered.len() > 1 { Kind::Variable } else { Kind::Solid });
    if let Some(split) = marks::rotations(&layout.runs, &layout.groups, &filtered, kind, wish) {
        (layout.runs, layout.groups) = split;
    }
    let (places, roles) = named(&layout, several, kind, wish);
    judgements.extend(layout.odd.iter().cloned());
    let roles = roles.map(|(states, backwards)| {
        cautions.extend(backwards.then_some(Caution::ShotBackwards));
        (states, kind)
    });
    Some(Assigned { places, judgements, cautions, contradictions, roles })
}

type Named = Result<(Vec<State>, bool), SortError>;

/// Places of frames, and the states with their names; whether the ring was shot backwards.
fn named(
    layout: &Layout,
    several: Option<SortError>,
    kind: Kind,
    wish: &Wish,
) -> (Vec<(usize, Place)>, Named) {
    let filtered = layout.filtered();
    let visits = marks::visits(&layout.groups, &filtered, wish);
    let setting_of = |number: usize| match &visits {
        Some((of_run, _)) => of_run[number],
        None => filtered.iter().position(|g| *g == layout.groups[number]),
    };
    let places = layout.places(setting_of);
    let strengths: Vec<f64> = filtered.iter().map(|&g| layout.below_bare(g)).collect();
    let marks = match (several, visits) {
        (Some(several), _) => Err(several),
        (None, Some((_, marks))) => Ok((marks.into_iter().map(Some).collect(), false)),
        (None, None) => marks::labels_for(&strengths, kind, wish),
    };
    let states =
        |marks: Vec<Option<String>>| marks.into_iter().map(|mark| State { mark }).collect();
    (places, marks.map(|(marks, backwards)| (states(marks), backwards)))
}

/// Bare frames on one side of the filter only are a guess that nothing confirms.
pub fn bare_not_confirmed(verdicts: &Verdicts, within: &[usize]) -> Option<Caution> {
    let (bare, filtered) = (verdicts.on_side(within, true), verdicts.on_side(within, false));
    let confirmed = filtered.first().zip(filtered.last()).is_some_and(|(first, last)| {
        bare.iter().any(|i| i < first) && bare.iter().any(|i| i > last)
    });
    (!confirmed).then_some(Caution::BareNotConfirmed)
}

/// After all faults: whether something is left on both sides, and whether it is enough.
pub fn enough(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    settings: usize,
) -> Result<Option<Caution>, SortError> {
    let count = |role: Role| verdicts.in_role(within, role).count();
    let bare = count(Role::Bare);
    if bare == 0 {
        return Err(SortError::NoBare { first: first_spoilt(frames, verdicts, within) });
    }
    let filtered: Vec<usize> = (0..settings).map(|s| count(Role::Setting(s))).collect();
    if filtered.is_empty() || filtered.contains(&0) {
        return Err(SortError::NoFiltered { first: first_spoilt(frames, verdicts, within) });
    }
    Ok((bare == 1 && filtered == [1]).then_some(Caution::OnePairOnly))
}

/// One level only; a frame that was badly exposed, or is not of the others' sort, may have been the
/// filtered one.
pub fn one_level(frames: &[Observed], verdicts: &Verdicts, within: &[usize]) -> SortError {
    use Judgement as J;
    let badly_exposed = |j: &J| {
        matches!(
            j,
            J::Clipped { .. } | J::BuriedOrCapped | J::NoExposure | J::ExposureUntold { .. }
        )
    };
    let of_another_sort = |j: &J| {
        matches!(j, J::OtherCamera { .. } | J::OtherLens { .. } | J::OtherPicture | J::Damaged)
    };
    let first = spoilt(frames, verdicts, within, badly_exposed);
    match first.or_else(|| spoilt(frames, verdicts, within, of_another_sort)) {
        Some(spoilt) => SortError::NoFiltered { first: Some(spoilt) },
        None => SortError::OneLevel,
    }
}

/// The first frame that something is held against.
pub fn first_spoilt(frames: &[Observed], verdicts: &Verdicts, within: &[usize]) -> Option<Spoilt> {
    spoilt(frames, verdicts, within, |judgement| *judgement != Judgement::Used)
}

fn spoilt(
    frames: &[Observed],
    verdicts: &Verdicts,
    within: &[usize],
    by: impl Fn(&Judgement) -> bool,
) -> Option<Spoilt> {
    let &i = within.iter().find(|&&i| by(verdicts.judgement(i)))?;
    Some(Spoilt { file: frames[i].file().to_owned(), judgement: verdicts.judgement(i).clone() })
}
