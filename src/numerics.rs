//! Numerical methods that several stages share, each once and without a word of photography.

pub mod robust;
pub mod least_squares;
pub mod marquardt;
pub mod monotone;
pub mod harmonics;
pub mod marks;
pub mod numbering;
