//! Sorts of filters as they are typed.

use crate::profile::Kind;
use clap::ValueEnum;
use clap::builder::PossibleValue;

impl ValueEnum for Kind {
    fn value_variants<'a>() -> &'a [Self] {
        &Self::ALL
    }
    fn to_possible_value(&self) -> Option<PossibleValue> {
        let help = match self {
            Self::Solid => "One even strength",
            Self::Variable => "Two polarisers in a ring",
            Self::Graduated => "Dark at one end",
            Self::Polariser => "One polariser",
            Self::Stack => "Several filters together",
        };
        Some(PossibleValue::new(self.word()).help(help))
    }
}
