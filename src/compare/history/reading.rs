//! What is followed over the years, one measurement of it.

/// One measured value with what its uncertainty is made of, in the unit of the value.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// When, in any unit; `None` where that is not known.
    pub time: Option<f64>,
    /// The value.
    pub value: f64,
    /// Standard uncertainty that is its own.
    pub own: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Errors that others have too: a number for the cause, and what one standard deviation of it
    /// does to this value.
    pub shared: Vec<(usize, f64)>,
}
