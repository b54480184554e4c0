//! Which filter gives the time that is wanted: filters, marks and stacks, best first.

use crate::exposure::{self, filtered_time, stops_between};
use crate::kit::{Kit, Neutral, Stack, Widest, lens};
use crate::profile::Profile;
use crate::quantity::{FNumber, Iso, Millimetres, Seconds, Stops};

/// A cast is worth a word from a third of a stop between channels, or twenty mired (ours).
const LARGE_CAST: (f64, f64) = (1.0 / 3.0, 20.0);
/// Frames beyond this are no use to anybody.
const LONGEST_S: f64 = 86_400.0;
/// A rounding to thirds of a stop that counts as nothing to make up, in stops.
pub const HALF_CLICK: f64 = 1.0 / 6.0;

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// True metered time.
    pub metered: Seconds,
    /// Shortest wanted time, true.
    pub shortest: Seconds,
    /// Longest wanted time, true; equal to the shortest where one time is wanted.
    pub longest: Seconds,
    /// Aperture of the metered exposure.
    pub f_number: Option<FNumber>,
    /// ISO of the metered exposure.
    pub iso: Option<Iso>,
    /// Lens to be used.
    pub focal: Option<Millimetres>,
    /// Most filters on top of each other.
    pub most: usize,
}

/// One way to do it.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// Filters with their marks, strongest first.
    pub names: Vec<String>,
    /// True strength.
    pub stops: Stops,
    /// Expanded uncertainty at 95 %.
    pub u95: Stops,
    /// Resulting time, true.
    pub time: Seconds,
    /// Thirds of a stop to make up: positive darker (close the aperture or lower the ISO, and the
    /// time becomes longer), negative brighter.
    pub thirds: i64,
    /// Time once those thirds are made up.
    pub made_up: Seconds,
    /// What to think of.
    pub cautions: Vec<Doubt>,
}

/// What to think of before taking it.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// The mark is uneven.
    BeyondUsable {
        /// Mark.
        mark: String,
        /// Last usable mark, if any.
        last: Option<String>,
    },
    /// The lens is too wide for the mark.
    LensTooWide {
        /// Mark.
        mark: String,
        /// Widest that is even enough; `None` where none is.
        widest: Option<Millimetres>,
        /// Whether a lens was named and fails.
        fails: bool,
    },
    /// The cast is large.
    LargeCast {
        /// Filter.
        name: String,
        /// In words.
        words: String,
    },
    /// Corners.
    Vignetting {
        /// A single filter whose ring already shades, in percent of the half diagonal.
        onset: Option<f64>,
    },
    /// Strengths were added, the stack was not measured.
    Added,
}

impl Choice {
    /// Whether one of its cautions speaks against it.
    fn hindered(&self) -> bool {
        self.cautions.iter().any(|doubt| match doubt {
            Doubt::BeyondUsable { .. } => true,
            Doubt::LensTooWide { fails, .. } => *fails,
            _ => false,
        })
    }
}

/// The kit's answers, best first: first what needs no help and has nothing against it, then by
/// what is left to make up, then by the number of filters and cautions.
#[must_use]
pub fn rank(kit: &Kit, question: &Question) -> Vec<Choice> {
    let mut list: Vec<Choice> = kit
        .neutrals()
        .into_iter()
        .map(|n| Stack { stops: n.stops, u95: n.u95, measured: true, parts: vec![n] })
        .chain((2..=question.most).flat_map(|count| kit.stacks(count)))
        .map(|stack| choice(kit, question, &stack))
        .filter(|choice| choice.time.get() <= LONGEST_S)
        .collect();
    let middle = Seconds::new((question.shortest.get() * question.longest.get()).sqrt());
    let key = |choice: &Choice| {
        let off = stops_between(choice.time, middle).abs().get();
        (choice.hindered(), choice.thirds.abs(), choice.names.len(), choice.cautions.len(), off)
    };
    list.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        (a.0, a.1, a.2, a.3).cmp(&(b.0, b.1, b.2, b.3)).then(a.4.total_cmp(&b.4))
    });
    list
}

fn choice(kit: &Kit, question: &Question, stack: &Stack) -> Choice {
    let time = filtered_time(question.metered, stack.stops);
    let thirds = to_make_up(time, question);
    let label = |part: &Neutral| match &part.mark {
        Some(mark) => format!("{}, mark {mark}", part.name),
        None => part.name.clone(),
    };
    Choice {
        names: stack.parts.iter().map(label).collect(),
        stops: stack.stops,
        u95: stack.u95,
        time,
        thirds,
        made_up: filtered_time(time, Stops::new(thirds as f64 / 3.0)),
        cautions: doubts(kit, question, stack),
    }
}

/// Thirds from the resulting time to the nearer end of what is wanted, 0 inside it.
fn to_make_up(time: Seconds, question: &Question) -> i64 {
    let short_by = stops_between(time, question.shortest).get();
    let long_by = stops_between(question.longest, time).get();
    if short_by > HALF_CLICK {
        exposure::clicks(Stops::new(short_by))
    } else if long_by > HALF_CLICK {
        -exposure::clicks(Stops::new(long_by))
    } else {
        0
    }
}

fn doubts(kit: &Kit, question: &Question, stack: &Stack) -> Vec<Doubt> {
    let mut list = Vec::new();
    for part in &stack.parts {
        let Some(profile) = kit.filters.get(part.filter) else { continue };
        list.extend(of_mark(profile, part, question));
        list.extend(of_cast(profile, part));
        if stack.parts.len() == 1 {
            let shading = profile.vignetting.as_ref().filter(|v| v.mechanical);
            let onset = |v: &crate::profile::Vignetting| v.onset_percent_of_half_diagonal;
            list.extend(shading.map(|v| Doubt::Vignetting { onset: onset(v).map(|o| o.get()) }));
        }
    }
    if stack.parts.len() > 1 {
        list.push(Doubt::Vignetting { onset: None });
        if !stack.measured {
            list.push(Doubt::Added);
        }
    }
    list
}

/// Whether the mark may be used: with the lens that was named, else with that of the shoot.
fn of_mark(profile: &Profile, part: &Neutral, question: &Question) -> Option<Doubt> {
    let mark = part.mark.clone()?;
    let setting = profile.settings.iter().find(|s| s.mark.as_ref() == Some(&mark))?;
    if lens::allowed(profile, setting, question.focal) {
        let Widest::Lens(widest) = part.widest else { return None };
        let widest = Some(widest);
        return question.focal.is_none().then_some(Doubt::LensTooWide {
            mark,
            widest,
            fails: false,
        });
    }
    let last = match question.focal.and_then(|focal| lens::last_mark_with(profile, focal)) {
        Some(last) => last.and_then(|setting| setting.mark.clone()),
        None => profile.usable.as_ref().and_then(|u| u.last_mark.clone()),
    };
    let too_wide = question.focal.is_some_and(|f| part.widest.allows(f) == Some(false));
    Some(match (part.widest, too_wide) {
        (Widest::Lens(widest), true) => {
            Doubt::LensTooWide { mark, widest: Some(widest), fails: true }
        }
        (Widest::None, true) => Doubt::LensTooWide { mark, widest: None, fails: true },
        _ => Doubt::BeyondUsable { mark, last },
    })
}

fn of_cast(profile: &Profile, part: &Neutral) -> Option<Doubt> {
    let same = |s: &&crate::profile::Setting| part.mark.is_none() || s.mark == part.mark;
    let setting = profile.settings.iter().find(same)?;
    let (channels, mired) = LARGE_CAST;
    let gains = &setting.cast.gains;
    let apart = [gains.red, gains.blue].iter().map(|g| g.get().log2().abs()).fold(0.0, f64::max);
    let shift = setting.cast.mired_shift.map_or(0.0, |m| m.value.abs().get());
    (apart > channels || shift > mired)
        .then(|| Doubt::LargeCast { name: part.name.clone(), words: setting.cast.words.clone() })
}
