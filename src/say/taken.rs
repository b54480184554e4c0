//! What a frame was taken for and why, for a sheet of small pictures.

use super::figures;
use crate::exposure::sentence_text;
use crate::levels::{own_black, plane_black};
use crate::numerics::robust::median;
use crate::profile::{FrameRecord, FrameState, PictureFrame};
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};

/// What a frame was taken for, where it belongs to something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// Without the filter.
    Bare,
    /// Through the filter.
    Filtered,
    /// Lens capped.
    Dark,
    /// An opaque card in the filter's place.
    Leak,
    /// Something else that dims the light.
    Bridge,
}

/// What a frame serves that is neither bare nor through the filter nor dark, and yet used; `None`
/// for all others.
#[must_use]
pub fn serves(record: &FrameRecord) -> Option<&'static str> {
    match (record.state, record.verdict.code.as_str()) {
        (FrameState::LeftOut, "bridge") => Some(Taken::Bridge.words()),
        (FrameState::LeftOut, "leak") => Some(Taken::Leak.words()),
        (FrameState::LeftOut, "check") => Some("a check of the light"),
        _ => None,
    }
}

/// In words, where a frame belongs to nothing.
pub const LEFT_OUT: &str = "left out";
/// In words, of a good frame where nothing told bare ones from those through the filter.
pub const GOOD: &str = "good";
/// Light from which a frame is no brighter or darker than the bare ones, stops.
const ALIKE_STOPS: f64 = 0.05;

impl Taken {
    /// Of a frame; `None` where it is left out.
    #[must_use]
    pub fn of(state: FrameState, judgement: &Judgement) -> Option<Self> {
        match (state, judgement) {
            (FrameState::Bare, _) => Some(Self::Bare),
            (FrameState::Setting, _) => Some(Self::Filtered),
            (FrameState::Dark, _) => Some(Self::Dark),
            (FrameState::LeftOut, Judgement::Leak) => Some(Self::Leak),
            (FrameState::LeftOut, Judgement::Bridge) => Some(Self::Bridge),
            (FrameState::LeftOut, _) => None,
        }
    }
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Bare => "bare",
            Self::Filtered => "through the filter",
            Self::Dark => "dark",
            Self::Leak => "light past the filter",
            Self::Bridge => "a bridge of times",
        }
    }
}

/// What a frame was taken for, with its mark.
#[must_use]
pub fn words(taken: Option<Taken>, mark: Option<&str>) -> String {
    match (taken, mark) {
        (Some(Taken::Filtered), Some(mark)) => format!("{}, mark {mark}", Taken::Filtered.words()),
        (taken, _) => taken.map_or(LEFT_OUT, Taken::words).to_owned(),
    }
}

/// The same of a frame of a shoot.
#[must_use]
pub fn of_frame(shoot: &Shoot, frame: &Judged) -> String {
    if is_unsorted(frame) {
        return GOOD.to_owned();
    }
    let mark = frame.setting.and_then(|s| shoot.settings.get(s)?.mark.as_deref());
    words(Taken::of(frame.state, &frame.judgement), mark)
}

/// Whether nothing is wrong with a frame and yet nothing told what it shows.
#[must_use]
pub fn is_unsorted(frame: &Judged) -> bool {
    frame.state == FrameState::LeftOut && frame.judgement == Judgement::Used
}

/// What a frame for sharpness, veil or ghosts was taken for.
#[must_use]
pub fn of_picture(frame: &PictureFrame) -> String {
    match frame.state.as_str() {
        "left_out" => format!("{LEFT_OUT}: {}", frame.verdict.text),
        state => state.to_owned(),
    }
}

/// The run that each frame is shown in: one that was left out within a run is shown in it.
#[must_use]
pub fn runs_shown(frames: &[Judged]) -> Vec<Option<u32>> {
    let mut shown: Vec<Option<u32>> = frames.iter().map(|f| f.run).collect();
    let mut before = None;
    for i in 0..shown.len() {
        if shown[i].is_none() && before.is_some() {
            let after = frames[i..].iter().find_map(|f| f.run);
            shown[i] = before.filter(|_| after == before);
        }
        before = shown[i].or(before);
    }
    shown
}

/// Heading of a run.
#[must_use]
pub fn run_title(shoot: &Shoot, run: Option<u32>) -> String {
    let Some(number) = run else { return "In no run".to_owned() };
    let mut of_run = shoot.frames.iter().filter(|f| f.run == run);
    let told = of_run.find(|f| f.state != FrameState::LeftOut || is_unsorted(f));
    let words = told.map_or_else(|| LEFT_OUT.to_owned(), |f| of_frame(shoot, f));
    format!("Run {number}, {words}")
}

/// Heading of what stands in no run, since it holds no light that could be compared.
pub const BESIDE: &str = "Not read, or beside the frames";

/// Level of the bare light at the centre against exposure, stops.
#[must_use]
pub fn bare_level(shoot: &Shoot) -> Option<f64> {
    let bare = shoot.frames.iter().filter(|f| f.state == FrameState::Bare);
    median(bare.map(|f| f.look.centre).filter(|v| v.is_finite()))
}

/// Why a frame was taken for that; `bare` is [`bare_level`].
#[must_use]
pub fn reason(frame: &Judged, bare: Option<f64>) -> String {
    if is_unsorted(frame) {
        return "not told whether it is bare or through the filter".to_owned();
    }
    let below = bare.map(|bare| bare - frame.look.centre).filter(|b| b.is_finite());
    match (frame.state, below) {
        (FrameState::Bare, Some(below)) if below.abs() < ALIKE_STOPS => "the bare light".to_owned(),
        (FrameState::Bare | FrameState::Setting, Some(below)) => against_bare(below),
        _ => frame.judgement.verdict().text,
    }
}

fn against_bare(below: f64) -> String {
    let by = figures::fixed(below.abs(), 1);
    let way = if below < 0.0 { "brighter" } else { "darker" };
    format!("{by} stops {way} than the bare frames, times allowed for")
}

/// Green light at the centre above black, part of full scale.
#[must_use]
pub fn level(frame: &Judged, record: &FrameRecord) -> Option<f64> {
    let levels = record.levels.as_ref()?;
    let summary = &frame.summary;
    let cfa = summary.cells.cfa.as_ref();
    let black = plane_black(own_black(summary), cfa, crate::frame::cfa::Plane::Green1);
    let green = f64::midpoint(levels.green_1.get(), levels.green_2.get());
    let full = f64::from(summary.levels.white) - black;
    (full > 0.0).then(|| green / full)
}

/// A level in words of figures.
#[must_use]
pub fn level_text(level: f64) -> String {
    format!("{:.1} %", 100.0 * level)
}

/// Shutter time, aperture and ISO, as far as they are known.
#[must_use]
pub fn exposure(record: &FrameRecord) -> Vec<String> {
    let time = match (&record.dial_time, record.exposure_s) {
        (Some(dial), _) if dial.ends_with(['s', 'm', 'h', 'n']) => Some(dial.clone()),
        (Some(dial), _) => Some(format!("{dial} s")),
        (None, time) => time.map(sentence_text),
    };
    let aperture = record.f_number.map(|n| format!("f/{}", figures::rating(n.get())));
    let iso = record.iso.map(|iso| format!("ISO {:.0}", iso.get()));
    [time, aperture, iso].into_iter().flatten().collect()
}
