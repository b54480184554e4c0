//! What a person says of frames, kept as the document that `shoot.json` is.
//!
//! Pure functions on documents: what the window measures by is what it would write, and what the
//! command line reads.

use crate::profile::Kind;
use crate::quantity::Stops;
use crate::say::taken::{LEFT_OUT, Taken};
use crate::shoot_file::{NamedFrame, ShootFile, ShotState};
use serde::{Deserialize, Serialize};

/// What a frame is said to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
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
    /// Not to be used.
    Out,
}

impl Said {
    /// As the document spells it; `None` for a frame that is not to be used.
    #[must_use]
    pub fn state(self) -> Option<ShotState> {
        match self {
            Self::Bare => Some(ShotState::Bare),
            Self::Filtered => Some(ShotState::Filtered),
            Self::Dark => Some(ShotState::Dark),
            Self::Leak => Some(ShotState::Leak),
            Self::Bridge => Some(ShotState::Bridge),
            Self::Out => None,
        }
    }
    /// As what it would be taken; `None` for a frame that is not to be used.
    #[must_use]
    pub fn taken(self) -> Option<Taken> {
        match self {
            Self::Bare => Some(Taken::Bare),
            Self::Filtered => Some(Taken::Filtered),
            Self::Dark => Some(Taken::Dark),
            Self::Leak => Some(Taken::Leak),
            Self::Bridge => Some(Taken::Bridge),
            Self::Out => None,
        }
    }
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        self.taken().map_or(LEFT_OUT, Taken::words)
    }
}

impl From<Taken> for Said {
    fn from(taken: Taken) -> Self {
        match taken {
            Taken::Bare => Self::Bare,
            Taken::Filtered => Self::Filtered,
            Taken::Dark => Self::Dark,
            Taken::Leak => Self::Leak,
            Taken::Bridge => Self::Bridge,
        }
    }
}

/// What is said of the filter as a whole; what is `None` stays as it was.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Claims {
    /// Its name; empty takes it back.
    pub name: Option<String>,
    /// Its kind; `Some(None)` takes it back.
    pub kind: Option<Option<Kind>>,
    /// Its rating: none, one strength, or a range.
    pub rated: Option<Vec<Stops>>,
    /// A note; empty takes it back.
    pub note: Option<String>,
}

/// Whether bare or filtered frames are named, so that nothing is left to be sorted.
#[must_use]
pub fn is_labelled(file: &ShootFile) -> bool {
    let names = |f: &NamedFrame| matches!(f.state, Some(ShotState::Bare | ShotState::Filtered));
    file.frames.iter().any(|f| names(f) && !f.left_out)
}

/// Whether anything is said of any frame.
#[must_use]
pub fn says_of_frames(file: &ShootFile) -> bool {
    file.frames.iter().any(|f| f.left_out || f.state.is_some())
}

/// What the document says of one frame.
#[must_use]
pub fn of_frame(file: &ShootFile, name: &str) -> Option<(Said, Option<String>)> {
    let frame = file.frames.iter().find(|f| f.file == name)?;
    if frame.left_out {
        return Some((Said::Out, None));
    }
    let said = match frame.state? {
        ShotState::Bare => Said::Bare,
        ShotState::Filtered => Said::Filtered,
        ShotState::Dark => Said::Dark,
        ShotState::Leak => Said::Leak,
        ShotState::Bridge => Said::Bridge,
        // Looked at, not measured.
        ShotState::LightCheck | ShotState::Cloth => return None,
    };
    Some((said, frame.mark.clone()))
}

/// Says of one frame what it is.
pub fn say(file: &mut ShootFile, name: &str, said: Said, mark: Option<&str>) {
    let frame = named(file, name);
    frame.left_out = said == Said::Out;
    frame.note = None;
    if let Some(state) = said.state() {
        frame.state = Some(state);
        frame.mark = mark.filter(|_| said == Said::Filtered).map(str::to_owned);
    } else {
        frame.state = None;
        frame.mark = None;
    }
    forget_empty(file);
}

/// Says nothing of one frame.
pub fn unsay(file: &mut ShootFile, name: &str) {
    let frame = named(file, name);
    (frame.left_out, frame.state, frame.mark, frame.note) = (false, None, None, None);
    forget_empty(file);
}

/// The document without what it says of frames.
#[must_use]
pub fn without_frames(file: &ShootFile) -> ShootFile {
    let mut file = file.clone();
    for frame in &mut file.frames {
        (frame.left_out, frame.state, frame.mark, frame.note) = (false, None, None, None);
    }
    forget_empty(&mut file);
    file
}

/// Says what is claimed of the filter.
pub fn claim(file: &mut ShootFile, claims: Claims) {
    let text = |text: String| (!text.trim().is_empty()).then_some(text);
    if let Some(name) = claims.name {
        file.filter.name = text(name);
    }
    if let Some(kind) = claims.kind {
        file.filter.kind = kind;
    }
    if let Some(rated) = claims.rated {
        file.filter.rated = rated;
    }
    if let Some(note) = claims.note {
        file.filter.note = text(note);
    }
}

fn named<'a>(file: &'a mut ShootFile, name: &str) -> &'a mut NamedFrame {
    let at = file.frames.iter().position(|f| f.file == name).unwrap_or_else(|| {
        file.frames.push(NamedFrame { file: name.to_owned(), ..NamedFrame::default() });
        file.frames.len() - 1
    });
    &mut file.frames[at]
}

/// Entries that hold a name alone say nothing.
fn forget_empty(file: &mut ShootFile) {
    file.frames.retain(|f| *f != NamedFrame { file: f.file.clone(), ..NamedFrame::default() });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_is_read_again_and_can_be_taken_back() {
        let mut file = ShootFile::empty();
        say(&mut file, "P1.dng", Said::Filtered, Some("3"));
        say(&mut file, "P2.dng", Said::Out, Some("3"));
        assert_eq!(of_frame(&file, "P1.dng"), Some((Said::Filtered, Some("3".into()))));
        assert_eq!(of_frame(&file, "P2.dng"), Some((Said::Out, None)));
        assert!(is_labelled(&file) && says_of_frames(&file));
        say(&mut file, "P1.dng", Said::Bare, Some("3"));
        assert_eq!(of_frame(&file, "P1.dng"), Some((Said::Bare, None)));
        unsay(&mut file, "P1.dng");
        assert!(!is_labelled(&file) && says_of_frames(&file));
        assert_eq!(without_frames(&file), ShootFile::empty());
    }

    #[test]
    fn what_a_person_wrote_by_hand_stays() {
        let mut file = ShootFile::empty();
        file.frames.push(NamedFrame {
            file: "P1.dng".into(),
            f_number: Some(crate::quantity::FNumber::new(8.0)),
            ..NamedFrame::default()
        });
        say(&mut file, "P1.dng", Said::Dark, None);
        unsay(&mut file, "P1.dng");
        assert_eq!(file.frames.len(), 1);
        assert_eq!(without_frames(&file), file);
    }
}
