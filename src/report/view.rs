//! The view model: from a profile to ready strings and drawings. Templates compute nothing.

pub mod headline;
pub mod times;
pub mod colour;
pub mod evenness;
pub mod ring;
pub mod special;
pub mod picture;
pub mod frames;
pub mod lab;

use super::plots::{Caption, PlotError, Svg};
use super::small_picture::FramePictures;
use crate::profile::{Grade, Kind, Profile};
use crate::quantity::Stops;
use crate::safety;
use crate::say::cautions::{self, Told};

/// Widths of a drawing for the page's full column and for phones, pixels.
const WIDE: f64 = 680.0;
const NARROW: f64 = 330.0;

/// A drawing on the page, in one or two widths, with the words under it. An empty string stands for
/// a drawing that failed (a caution says so) or is not there.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Figure {
    /// For the page's full column.
    pub wide: String,
    /// For phones; empty where the wide one serves.
    pub narrow: String,
    /// Words under it.
    pub caption: String,
}

/// Collects drawings and their failures while a page is made.
#[derive(Debug, Default)]
pub struct Drawings {
    /// Name and text of each file.
    pub files: Vec<(String, String)>,
    /// What could not be drawn.
    pub failures: Vec<String>,
    /// Small pictures of the frames.
    pub pictures: FramePictures,
}

impl Drawings {
    /// Keeps a drawing as a file and gives its form for the page.
    pub fn keep(&mut self, what: &str, drawn: Result<Svg, PlotError>) -> String {
        match drawn {
            Ok(svg) => {
                self.files.push((svg.file_name, svg.file));
                svg.inline
            }
            Err(error) => self.fail(what, &error),
        }
    }
    /// A drawing in two widths; the wide one is kept as a file.
    pub fn both(
        &mut self,
        what: &str,
        caption: &Caption,
        words: String,
        draw: impl Fn(&Caption, f64) -> Result<Svg, PlotError>,
    ) -> Figure {
        let wide = self.keep(what, draw(caption, WIDE));
        let name = format!("{}-narrow", caption.name);
        let narrow = self.only_inline(what, draw(&Caption { name, ..caption.clone() }, NARROW));
        Figure { wide, narrow, caption: words }
    }
    /// A second width of a drawing that is kept already.
    pub fn only_inline(&mut self, what: &str, drawn: Result<Svg, PlotError>) -> String {
        drawn.map_or_else(|error| self.fail(what, &error), |svg| svg.inline)
    }
    fn fail(&mut self, what: &str, error: &PlotError) -> String {
        let text = format!("{what} could not be drawn ({error})");
        if !self.failures.contains(&text) {
            self.failures.push(text);
        }
        String::new()
    }
}

/// A caution on the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CautionView {
    /// Which marks it is about, if not all.
    pub about: String,
    /// The text, line by line.
    pub lines: Vec<String>,
}

/// The whole page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PageView {
    /// Name of the filter.
    pub name: String,
    /// What was measured, with what and when, in one line.
    pub identity: String,
    /// The user's note.
    pub note: Option<String>,
    /// The answer.
    pub headline: headline::Headline,
    /// Cautions that change what the number is worth.
    pub numbers: Vec<CautionView>,
    /// Good to know.
    pub notes: Vec<CautionView>,
    /// What must be said about the sun.
    pub safety: Vec<String>,
    /// Which time to use.
    pub times: times::Times,
    /// The cast.
    pub colour: Option<colour::Colour>,
    /// Evenness.
    pub evenness: Option<evenness::EvennessView>,
    /// The ring.
    pub ring: Option<ring::Ring>,
    /// The graduation.
    pub graduation: Option<special::GraduationView>,
    /// Polariser and shading.
    pub plain: Vec<special::Plain>,
    /// Sharpness, veil and ghosts.
    pub picture: Option<picture::PictureView>,
    /// Frames.
    pub frames: frames::Frames,
    /// Folded parts.
    pub folds: Vec<lab::Fold>,
    /// Program and version.
    pub made_by: String,
}

/// Builds the page; `None` where the profile holds no setting.
pub fn build(profile: &Profile, drawings: &mut Drawings) -> Option<PageView> {
    let headline = headline::headline(profile, drawings)?;
    let colour = colour::colour(profile, drawings);
    let evenness = evenness::evenness(profile, drawings);
    let ring = ring::ring(profile, drawings);
    let graduation = special::graduation(profile, drawings);
    let picture = picture::picture(profile, drawings);
    let plain = [special::polarising(profile), special::vignetting(profile)];
    let folds = lab::folds(profile, drawings);
    let mut notes = cautions(profile, Grade::Note);
    notes.extend(drawings.failures.iter().map(|text| CautionView {
        about: String::new(),
        lines: vec![format!(
            "The numbers stand, but {text}. Measure again, or send the profile to whoever keeps this \
             program."
        )],
    }));
    Some(PageView {
        name: profile.filter.name.clone(),
        identity: identity(profile),
        note: profile.filter.note.clone().filter(|note| !note.trim().is_empty()),
        headline,
        numbers: cautions(profile, Grade::Number),
        notes,
        safety: sun(profile),
        times: times::times(profile),
        colour,
        evenness,
        ring,
        graduation,
        plain: plain.into_iter().flatten().collect(),
        picture,
        frames: frames::frames(profile, &drawings.pictures),
        folds,
        made_by: format!("{} {}", profile.made_by.program, profile.made_by.version),
    })
}

/// Kind, size, camera and date.
pub fn identity(profile: &Profile) -> String {
    let kind = match profile.filter.kind {
        Kind::Solid => "Neutral density filter",
        Kind::Variable => "Variable neutral density filter",
        Kind::Graduated => "Graduated neutral density filter",
        Kind::Polariser => "Polariser",
        Kind::Stack => "Stack of filters",
    };
    let mut parts = vec![kind.to_owned()];
    parts.extend(profile.filter.size.clone());
    let camera = lab::camera(profile.camera.make.as_deref(), profile.camera.model.as_deref());
    parts.extend(camera.map(|camera| format!("measured with {camera}")));
    let day = profile.frames.iter().find_map(|frame| frame.captured_at.as_deref()?.get(..10));
    parts.extend(day.map(date));
    parts.join(", ")
}

/// "11 October 2026"; as it stands where it is no date.
fn date(day: &str) -> String {
    day.parse::<jiff::civil::Date>()
        .map_or_else(|_| day.to_owned(), |date| date.strftime("%-d %B %Y").to_string())
}

/// The sun: always the short text, the full one where the strength or the name asks for it.
pub fn sun(profile: &Profile) -> Vec<String> {
    let strongest =
        profile.settings.iter().map(|s| s.strength.stops.get()).fold(f64::NEG_INFINITY, f64::max);
    let rated = profile.filter.rated_stops.map_or(strongest, Stops::get);
    let mut texts = vec![safety::SUN_SHORT.to_owned()];
    if safety::full_warning_needed(Stops::new(strongest.max(rated)), &profile.filter.name) {
        texts.push(safety::SUN_FULL.to_owned());
    }
    texts
}

fn cautions(profile: &Profile, grade: Grade) -> Vec<CautionView> {
    let view = |told: Told| CautionView {
        about: told.about,
        lines: told.text.lines().map(|line| line.trim().to_owned()).collect(),
    };
    cautions::of_grade(profile, grade).into_iter().map(view).collect()
}
