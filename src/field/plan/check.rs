//! What no plan can be made of.

use super::Request;
use crate::exposure::Rating;
use crate::exposure::limits::FOCAL_MM;
use crate::profile::Kind;
use crate::quantity::Millimetres;

/// Why no plan can be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A ring has a range.
    #[error("a variable filter needs the range of its ring; write --rated 2-5")]
    RangeMissing,
    /// All but polarisers are rated.
    #[error("a plan needs what the filter is rated; write it like --rated 10, 3.0D or 1000x")]
    RatingMissing,
    /// Others have one strength.
    #[error("a range is for --kind variable; write one strength, like --rated 10")]
    RangeUnwanted,
    /// Marks are those of a ring.
    #[error("--marks is for --kind variable; leave it out")]
    MarksUnwanted,
    /// One mark twice.
    #[error("the mark \"{0}\" is given twice; name each mark once, up the ring")]
    MarkTwice(String),
    /// A comma too many.
    #[error("--marks {0:?} has an empty mark; name every mark, like --marks 2,3,4")]
    EmptyMark(String),
    /// The meter reads so long that the wall is nearly dark.
    #[error(
        "a meter reading of {0} is too dim for a calibration; find light that reads 8 s or less"
    )]
    TooDim(String),
    /// A focal length that no lens has.
    #[error(
        "--focal {0} is not possible; give millimetres like 24 (from {least} to {most})",
        least = FOCAL_MM.start(),
        most = FOCAL_MM.end()
    )]
    Focal(f64),
    /// A focal length named twice.
    #[error("--focal names {0} mm twice; name each focal length once")]
    FocalTwice(f64),
}

/// Refuses what no plan can be made of.
pub fn check(request: &Request) -> Result<(), PlanError> {
    match (&request.rating, request.kind) {
        (Some(rating), kind) => rating_fits(kind, rating)?,
        (None, Kind::Variable) => return Err(PlanError::RangeMissing),
        (None, Kind::Polariser) => {}
        (None, _) => return Err(PlanError::RatingMissing),
    }
    if request.kind != Kind::Variable && !request.marks.is_empty() {
        return Err(PlanError::MarksUnwanted);
    }
    no_empty_mark(&request.marks)?;
    if let Some(bad) = request.focal.iter().find(|f| !FOCAL_MM.contains(&f.get())) {
        return Err(PlanError::Focal(bad.get()));
    }
    let said =
        |(i, focal): &(usize, &Millimetres)| request.focal.iter().take(*i).any(|f| f == *focal);
    if let Some((_, focal)) = request.focal.iter().enumerate().find(said) {
        return Err(PlanError::FocalTwice(focal.get()));
    }
    let twice = |(i, mark): (usize, &String)| request.marks.iter().take(i).any(|m| m == mark);
    match request.marks.iter().enumerate().find(|found| twice(*found)) {
        Some((_, mark)) => Err(PlanError::MarkTwice(mark.clone())),
        None => Ok(()),
    }
}

/// Refuses a rating of the wrong form: a ring has a range, anything else one strength.
///
/// # Errors
/// [`PlanError::RangeMissing`] or [`PlanError::RangeUnwanted`].
pub fn rating_fits(kind: Kind, rating: &Rating) -> Result<(), PlanError> {
    match (kind, rating.range()) {
        (Kind::Variable, None) => Err(PlanError::RangeMissing),
        (Kind::Variable, Some(_)) | (_, None) => Ok(()),
        (_, Some(_)) => Err(PlanError::RangeUnwanted),
    }
}

/// Refuses a mark without a name.
///
/// # Errors
/// [`PlanError::EmptyMark`].
pub fn no_empty_mark(marks: &[String]) -> Result<(), PlanError> {
    if marks.iter().any(String::is_empty) {
        return Err(PlanError::EmptyMark(marks.join(",")));
    }
    Ok(())
}
