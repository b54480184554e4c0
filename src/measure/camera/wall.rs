//! Frames of a bare wall, looked at one by one: which are of use, which are dark, which are left out
//! and why.

use super::black::{Black, green_black};
use super::error::CameraError;
use super::lamps::{self, OfLamps, SeenLight};
use super::sorting::{self, Sort};
use crate::body_record::{BodyName, LeftOutFrame};
use crate::frame::Origin;
use crate::levels::{LevelFrame, levels};
use crate::measure::fit::superposed::Superposition;
use crate::quantity::{Iso, Seconds};
use crate::reduce::grid::FrameSummary;
use crate::shoot::frames::{Candidate, Observed, observe};
use crate::shoot::look::DETAIL_SHARE;
use crate::shoot::times::Understood;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Label, Wish, folders, order};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// One good frame of the wall.
pub struct WallFrame {
    /// Its file.
    pub file: String,
    /// Exposure.
    pub exposure: Understood,
    /// Middle of the exposure, minutes from the first frame.
    pub minutes: f64,
    /// Light above black.
    pub levels: LevelFrame,
    /// Mean of green in the centre, counts above black, and the pixels that made it.
    pub level: f64,
    /// Pixels of that.
    pub pixels: f64,
    /// log2 of red over green and of blue over green in the centre.
    pub colour_stops: [f64; 2],
}

/// A dark frame.
pub struct DarkFrame {
    /// Exposure time.
    pub time: Seconds,
    /// Light above the file's own black level.
    pub levels: LevelFrame,
}

/// All of a folder.
pub struct WallShoot {
    /// The body.
    pub body: BodyName,
    /// ISO setting.
    pub iso: Option<Iso>,
    /// Good frames in capture order.
    pub frames: Vec<WallFrame>,
    /// Dark frames.
    pub darks: Vec<DarkFrame>,
    /// What two lamps show, each alone and both, at one time each.
    pub lamps: Vec<Superposition>,
    /// How many frames of theirs were used.
    pub of_lamps: usize,
    /// How many show the wall with both covered.
    pub of_covered: usize,
    /// First and last of those that look like frames of two lamps and do not add up.
    pub unsummed: Option<[String; 2]>,
    /// The others.
    pub left_out: Vec<LeftOutFrame>,
    /// Whether all have capture times.
    pub timed: bool,
    /// When the first was made.
    pub captured_at: Option<String>,
    /// Green counts between black and white.
    pub full_scale: f64,
    /// The file's own black level of green, counts.
    pub black: f64,
    /// By how many counts it rose over the shoot, where dark frames tell that it did.
    pub drifted: Option<f64>,
}

/// Looks at what was read.
///
/// # Errors
/// Where it is of several bodies or none, of a filter, or holds nothing of use.
pub fn wall(candidates: Vec<Candidate>) -> Result<WallShoot, CameraError> {
    let all = candidates.len();
    let files: Vec<String> = candidates.iter().map(|c| c.file.clone()).collect();
    let labels = folders::labels(&files);
    if let Some((file, _)) = labels.iter().find(|(_, l)| matches!(l, Label::Filtered(_))) {
        return Err(CameraError::Filtered { file: file.clone() });
    }
    let (summaries, mut left_out) = readable(candidates);
    let Some(first) = summaries.first() else { return Err(nothing_readable(left_out)) };
    let first_file = first.info.file.clone();
    let (summaries, pictures): (Vec<_>, Vec<_>) =
        summaries.into_iter().partition(|s| s.info.origin == Origin::Raw);
    left_out.extend(pictures.iter().map(|s| left(&s.info.file, "a picture, no raw frame")));
    if summaries.is_empty() {
        return Err(CameraError::NotRaw { file: first_file });
    }
    let body = one_body(&summaries)?;
    let order = order::order(&summaries.iter().map(|s| &s.info).collect::<Vec<_>>());
    let observed = observe(order.sorted(summaries), order.timed, &Wish::default());
    let settled = Settled::of(&observed);
    let mut kinds: Vec<Sort> = observed.iter().map(|o| settled.sort(o, &labels)).collect();
    let seen = lights(&observed, &kinds);
    let lamps = lamps::found(&seen);
    let unsummed = lamps::unsummed(&seen, &lamps);
    sorting::sort_lamps(&lamps, &mut kinds);
    sorting::settle(&observed, &mut kinds);
    let captured_at = observed.first().and_then(|o| o.summary.info.capture.at);
    let black = Black::of(&observed, &kinds, settled.iso);
    let mut shoot = WallShoot {
        body,
        iso: settled.iso,
        frames: frames(&observed, &kinds, &black),
        darks: Vec::new(),
        lamps: lamps.iter().filter_map(|l| superposed(l, &observed, &black)).collect(),
        of_lamps: lamps.iter().map(OfLamps::used).sum(),
        of_covered: lamps.iter().map(|lamps| lamps.unlit.len()).sum(),
        unsummed: unsummed.map(|(a, b)| [a, b].map(|i| observed[i].file().to_owned())),
        left_out,
        timed: order.timed,
        captured_at: captured_at.map(|at| at.to_string()),
        full_scale: observed.first().map_or(1.0, |o| full_scale(&o.summary)),
        black: observed.first().map_or(0.0, |o| green_black(&o.summary)),
        drifted: black.drifted(),
    };
    for (o, kind) in observed.iter().zip(&kinds) {
        match (kind, &o.exposure) {
            (Sort::Dark, Some(exposure)) => {
                let levels = levels(&o.summary, &[]);
                shoot.darks.push(DarkFrame { time: exposure.recorded, levels });
            }
            (Sort::Out(why), _) => shoot.left_out.push(left(o.file(), why)),
            _ => {}
        }
    }
    if shoot.frames.is_empty() {
        let reasons = commonest(&shoot.left_out, shoot.darks.len());
        return Err(CameraError::NothingGood { of: all, reasons });
    }
    Ok(shoot)
}

fn left(file: &str, reason: &str) -> LeftOutFrame {
    LeftOutFrame { file: file.to_owned(), reason: reason.to_owned() }
}

fn readable(candidates: Vec<Candidate>) -> (Vec<FrameSummary>, Vec<LeftOutFrame>) {
    let (mut summaries, mut others) = (Vec::new(), Vec::new());
    let mut seen = BTreeSet::new();
    for candidate in candidates {
        match candidate.outcome {
            Ok(summary) if candidate.sha256.is_empty() || seen.insert(candidate.sha256) => {
                summaries.push(summary);
            }
            Ok(_) => others.push(left(&candidate.file, "the same as another file")),
            // What a camera writes beside a raw frame is none of this command's business.
            Err(Judgement::Companion { .. }) => {}
            Err(why) => others.push(left(&candidate.file, &why.verdict().text)),
        }
    }
    (summaries, others)
}

fn nothing_readable(left_out: Vec<LeftOutFrame>) -> CameraError {
    let first = left_out.into_iter().next();
    let (file, reason) =
        first.map_or_else(|| (String::new(), "no frame".to_owned()), |l| (l.file, l.reason));
    CameraError::NothingReadable { file, reason }
}

fn one_body(summaries: &[FrameSummary]) -> Result<BodyName, CameraError> {
    let mut bodies: BTreeMap<[Option<String>; 3], (usize, &str)> = BTreeMap::new();
    for summary in summaries {
        let c = &summary.info.camera;
        let name = [c.make.clone(), c.model.clone(), c.serial.clone()];
        bodies.entry(name).or_insert((0, &summary.info.file)).0 += 1;
    }
    let name = |[make, model, serial]: [Option<String>; 3]| BodyName { make, model, serial };
    if bodies.len() > 1 {
        let told = bodies.into_iter().map(|(body, (n, file))| {
            format!("{} ({}, such as {file:?})", name(body).shown(), crate::text::count(n, "frame"))
        });
        return Err(CameraError::SeveralBodies { bodies: told.collect() });
    }
    let body = bodies.into_keys().next().map(name).unwrap_or_default();
    if body.is_named() {
        return Ok(body);
    }
    let file = summaries.first().map(|s| s.info.file.clone()).unwrap_or_default();
    Err(CameraError::NoBody { file })
}

/// What most frames have in common.
struct Settled {
    iso: Option<Iso>,
    size: (usize, usize, usize),
}

impl Settled {
    fn of(observed: &[Observed]) -> Self {
        let isos = observed.iter().map(|o| o.exposure.as_ref().and_then(|e| e.iso));
        let hundredths = |iso: &Option<Iso>| iso.map(|s| (100.0 * s.get()).round() as i64);
        let key = most(isos.clone().map(|iso| hundredths(&iso)));
        let iso = isos.clone().find(|iso| Some(hundredths(iso)) == key).flatten();
        let size = most(observed.iter().map(|o| o.gear().size)).unwrap_or_default();
        Self { iso, size }
    }

    fn sort(&self, o: &Observed, labels: &BTreeMap<String, Label>) -> Sort {
        let out = |why: String| Sort::Out(why);
        let Some(exposure) = &o.exposure else {
            return out("its file tells no exposure time".to_owned());
        };
        let label = labels.get(o.file());
        if o.gear().size != self.size {
            return out("of another size than most frames".to_owned());
        }
        if label == Some(&Label::Dark) || (label.is_none() && o.look.dark) {
            return Sort::Dark;
        }
        if o.summary.info.exposure.bulb {
            return out("shot on bulb: a hand or a timer made its time".to_owned());
        }
        if let (Some(own), Some(most)) = (exposure.iso, self.iso)
            && (own.get() / most.get() - 1.0).abs() > 0.01
        {
            return out(format!(
                "at another ISO than most frames (ISO {} and not {}): set one ISO, none of the camera's \
                 choice",
                own.get(),
                most.get()
            ));
        }
        let percent = o.look.clipped_percent.get();
        if o.look.clipped[1] {
            return out(format!("clipped ({percent:.1} % of its centre): expose it less"));
        }
        if o.look.below_black {
            return out("below black: damaged".to_owned());
        }
        if o.look.detail > DETAIL_SHARE {
            return out("not of a plain wall: too much fine detail".to_owned());
        }
        match label {
            Some(Label::LeftOut) => out("not in a folder named bare".to_owned()),
            _ => Sort::Wall,
        }
    }
}

fn most<T: Ord>(values: impl Iterator<Item = T>) -> Option<T> {
    let mut counts: BTreeMap<T, usize> = BTreeMap::new();
    for value in values {
        *counts.entry(value).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(_, n)| *n).map(|(value, _)| value)
}

fn frames(observed: &[Observed], kinds: &[Sort], black: &Black<'_>) -> Vec<WallFrame> {
    let make = |(o, kind): (&Observed, &Sort)| {
        let exposure = o.exposure.clone().filter(|_| matches!(kind, Sort::Wall))?;
        let levels = black.levels(o, &exposure);
        let [red, green, blue] = levels.centre_channels()?;
        let over = |c: f64| (c.max(f64::MIN_POSITIVE) / green.level).log2();
        (green.level > 0.0).then(|| WallFrame {
            file: o.file().to_owned(),
            exposure,
            minutes: o.minutes,
            level: green.level,
            pixels: green.pixels,
            colour_stops: [over(red.level), over(blue.level)],
            levels,
        })
    };
    observed.par_iter().zip(kinds).filter_map(make).collect()
}

/// Frames as their light is seen at first.
fn lights<'a>(observed: &'a [Observed], kinds: &[Sort]) -> Vec<SeenLight<'a>> {
    let seen = |(o, kind): (&'a Observed, &Sort)| SeenLight {
        // Of a frame without a time there is none.
        exposure: o
            .exposure
            .as_ref()
            .map_or((Seconds::new(0.0), None, None), |e| (e.recorded, e.f_number, e.iso)),
        minutes: o.minutes,
        map: &o.look.map,
        centre: o.look.centre,
        level: o.look.levels[1],
        full_scale: full_scale(&o.summary),
        is_lit: kind.is_wall(),
        may_be_unlit: matches!(kind, Sort::Wall | Sort::Dark),
    };
    observed.iter().zip(kinds).map(seen).collect()
}

/// What frames of two lamps show above black; none without those for which both were covered.
fn superposed(lamps: &OfLamps, observed: &[Observed], black: &Black<'_>) -> Option<Superposition> {
    let levels = |frames: &[usize]| -> Vec<LevelFrame> {
        let of = |n: &usize| Some(black.levels(&observed[*n], observed[*n].exposure.as_ref()?));
        frames.iter().filter_map(of).collect()
    };
    let [one, other, both] = [0, 1, 2].map(|light| levels(&lamps.lit[light]));
    let unlit = levels(&lamps.unlit);
    let full_scale = full_scale(&observed.first()?.summary);
    (!unlit.is_empty()).then(|| lamps::superposed([&one, &other, &both], &unlit, full_scale))
}

fn full_scale(summary: &FrameSummary) -> f64 {
    f64::from(summary.levels.white) - green_black(summary)
}

pub(super) fn commonest(left_out: &[LeftOutFrame], darks: usize) -> Vec<String> {
    let mut counts: BTreeMap<&str, (usize, &str)> = BTreeMap::new();
    for frame in left_out {
        // Percentages differ from frame to frame.
        let sort = frame.reason.split(['(', ':']).next().unwrap_or(&frame.reason).trim();
        counts.entry(sort).or_insert((0, &frame.file)).0 += 1;
    }
    let mut all: Vec<(usize, String)> = counts
        .into_iter()
        .map(|(reason, (n, file))| (n, format!("{n} {reason} (such as {file:?})")))
        .collect();
    if darks > 0 {
        all.push((darks, format!("{darks} as dark as with the lens capped")));
    }
    all.sort_by_key(|a| std::cmp::Reverse(a.0));
    all.into_iter().map(|(_, text)| text).take(3).collect()
}
