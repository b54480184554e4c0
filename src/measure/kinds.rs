//! What each kind of filter has beside strengths and maps.

pub mod graduated;
pub mod polariser;
pub mod stack;
pub mod variable;

use crate::profile::{Graduation, Polarising, StackRecord};

/// What a filter of its kind turned out to be.
#[derive(Clone, Debug, PartialEq)]
pub enum OfKind {
    /// Strength and maps say all.
    Solid,
    /// A ring over its marks.
    Variable(variable::Ring),
    /// An edge; `None` where none can be fitted.
    Graduated(Option<Graduation>),
    /// A polariser at its rotations; `None` without any.
    Polariser(Option<Polarising>),
    /// Several filters beside what each takes alone; `None` where the single ones are not known.
    Stack(Option<StackRecord>),
}
