//! Which frames are for sharpness, veil or ghosts: those in folders of these names.

use super::TakenAs;

/// What frames are for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PicturePart {
    /// Edges.
    Sharpness,
    /// A dark hole in a light wall.
    Veil,
    /// A lamp.
    Ghost,
}

impl PicturePart {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Sharpness, Self::Veil, Self::Ghost];

    /// The folder's name.
    #[must_use]
    pub fn folder(self) -> &'static str {
        match self {
            Self::Sharpness => "sharpness",
            Self::Veil => "veil",
            Self::Ghost => "ghost",
        }
    }
}

/// What a file is for, and its state where a folder below says it; `None` for a frame of the shoot
/// itself. Names are relative to the shoot's folder, with `/`.
#[must_use]
pub fn part_of(file: &str) -> Option<(PicturePart, Option<TakenAs>)> {
    let (first, rest) = file.split_once('/')?;
    let part = PicturePart::ALL.into_iter().find(|p| p.folder().eq_ignore_ascii_case(first))?;
    let below = rest.split_once('/').map(|(name, _)| name.to_ascii_lowercase());
    let state = match below.as_deref() {
        Some("bare") => Some(TakenAs::Bare),
        Some("filter" | "filtered") => Some(TakenAs::Filtered),
        Some("dark") => Some(TakenAs::Dark),
        Some("leak") => Some(TakenAs::Leak),
        _ => None,
    };
    Some((part, state))
}
