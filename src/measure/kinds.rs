//! What each kind of filter has beside strengths and maps.

pub mod graduated;
pub mod polariser;
pub mod solid;
pub mod stack;
pub mod variable;

use crate::profile::{Graduation, Kind, Polarising, StackRecord};

/// What a filter of its kind turned out to be.
#[derive(Clone, Debug, PartialEq)]
pub enum OfKind {
    /// Strength and maps say all.
    Solid,
    /// A ring over its marks.
    Variable(variable::MeasuredRing),
    /// An edge; `None` where none can be fitted.
    Graduated(Option<Graduation>),
    /// A polariser at its rotations; `None` without any.
    Polariser(Option<Polarising>),
    /// Several filters beside what each takes alone; `None` where the single ones are not known.
    Stack(Option<StackRecord>),
}

impl OfKind {
    /// The kind's name in documents.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match self {
            Self::Solid => Kind::Solid,
            Self::Variable(_) => Kind::Variable,
            Self::Graduated(_) => Kind::Graduated,
            Self::Polariser(_) => Kind::Polariser,
            Self::Stack(_) => Kind::Stack,
        }
    }
}
