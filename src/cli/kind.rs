//! Sorts of filters as they are typed.

use crate::profile::Kind;
use clap::ValueEnum;

/// What sort of filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum KindArg {
    /// One even strength
    Solid,
    /// Two polarisers in a ring
    Variable,
    /// Dark at one end
    Graduated,
    /// One polariser
    Polariser,
    /// Several filters together
    Stack,
}

impl From<KindArg> for Kind {
    fn from(kind: KindArg) -> Self {
        match kind {
            KindArg::Solid => Self::Solid,
            KindArg::Variable => Self::Variable,
            KindArg::Graduated => Self::Graduated,
            KindArg::Polariser => Self::Polariser,
            KindArg::Stack => Self::Stack,
        }
    }
}

impl From<Kind> for KindArg {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Solid => Self::Solid,
            Kind::Variable => Self::Variable,
            Kind::Graduated => Self::Graduated,
            Kind::Polariser => Self::Polariser,
            Kind::Stack => Self::Stack,
        }
    }
}
