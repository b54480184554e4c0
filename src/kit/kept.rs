//! What a person keeps: filters, each with its measurements over the years.

use crate::profile::json::Document;
use crate::profile::{FrameState, Profile};
use jiff::civil::DateTime;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// One profile of the kit.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurement {
    /// Its file.
    pub path: PathBuf,
    /// Its content.
    pub document: Document,
    /// When its frames were made: the day that its folder names, else what they say themselves.
    pub at: Option<DateTime>,
    /// Whether it lies among the retired.
    pub retired: bool,
}

/// One filter with all its measurements.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptFilter {
    /// Its name, as the newest measurement has it.
    pub name: String,
    /// Oldest first, those without a date before all others; at least one.
    pub measurements: Vec<Measurement>,
}

/// A profile of the kit that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damaged {
    /// Its file.
    pub path: PathBuf,
    /// Why.
    pub reason: String,
}

/// All that a kit holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Listing {
    /// By name.
    pub filters: Vec<KeptFilter>,
    /// What could not be read, which stops nothing else.
    pub damaged: Vec<Damaged>,
}

impl Measurement {
    /// The profile.
    #[must_use]
    pub fn profile(&self) -> &Profile {
        &self.document.profile
    }
    /// The folder that it lies in.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.path.parent().unwrap_or(Path::new("."))
    }
}

impl KeptFilter {
    /// Measurements of one filter; `None` where there is none.
    #[must_use]
    pub fn of(mut measurements: Vec<Measurement>) -> Option<Self> {
        measurements.sort_by(|a, b| (a.at, &a.path).cmp(&(b.at, &b.path)));
        let name = measurements.last()?.profile().filter.name.clone();
        Some(Self { name, measurements })
    }
    /// The oldest measurement.
    #[must_use]
    pub fn first(&self) -> &Measurement {
        &self.measurements[0]
    }
    /// The newest measurement, which is the one that counts in the field.
    #[must_use]
    pub fn newest(&self) -> &Measurement {
        &self.measurements[self.measurements.len() - 1]
    }
    /// Whether it is no longer in the bag: measured again, a retired filter is in it again.
    #[must_use]
    pub fn retired(&self) -> bool {
        self.measurements.iter().all(|m| m.retired)
    }
}

impl Listing {
    /// Measurements by the names that they carry, and what could not be read.
    #[must_use]
    pub fn of(measurements: Vec<Measurement>, damaged: Vec<Damaged>) -> Self {
        let mut by_name: BTreeMap<String, Vec<Measurement>> = BTreeMap::new();
        for measurement in measurements {
            by_name
                .entry(name_key(&measurement.profile().filter.name))
                .or_default()
                .push(measurement);
        }
        Self { filters: by_name.into_values().filter_map(KeptFilter::of).collect(), damaged }
    }
    /// The filters that are in the bag.
    pub fn in_use(&self) -> impl Iterator<Item = &KeptFilter> {
        self.filters.iter().filter(|filter| !filter.retired())
    }
    /// A filter by its name, whatever its capitals and spaces.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&KeptFilter> {
        let wanted = name_key(name);
        self.filters.iter().find(|filter| name_key(&filter.name) == wanted)
    }
}

/// What makes two names one filter: letters without case, spaces without number.
#[must_use]
pub fn name_key(name: &str) -> String {
    name.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Words by which a photograph has no filter: that of the table, and those of notes and keywords.
const WORDS_FOR_NONE: [&str; 3] = ["none", "bare", "no filter"];

/// Whether a name says that there is no filter.
#[must_use]
pub fn means_none(name: &str) -> bool {
    WORDS_FOR_NONE.contains(&name_key(name).as_str())
}

/// When the first frame that was used says it was made, by the camera's clock.
#[must_use]
pub fn taken_at(profile: &Profile) -> Option<DateTime> {
    let used = profile.frames.iter().filter(|frame| frame.state != FrameState::LeftOut);
    used.filter_map(|frame| {
        let text = frame.captured_at.as_deref()?;
        // Without the offset: the day is that of the place.
        text.get(..19).unwrap_or(text).parse::<DateTime>().ok()
    })
    .min()
}
