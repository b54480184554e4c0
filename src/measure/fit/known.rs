//! Shutter times that a camera record holds: their offsets against each other are known with a
//! covariance, that of all together is not.

use super::prior::OFFSET_VARIANCE;
use crate::body_record::{BodyRecord, triangle};
use crate::quantity::Stops;

/// Distinct times of a shoot that a record holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct KnownTimes {
    /// Which of the shoot's times.
    times: Vec<usize>,
    /// Factor of the covariance of their offsets, stops.
    factor: Vec<Vec<f64>>,
    /// Scale of the offset that all of them share, which is the reference's, stops.
    scale: f64,
}

impl KnownTimes {
    /// Scale of offsets whose standard deviation is so much, stops.
    #[must_use]
    pub fn scale_of(deviation: Stops) -> f64 {
        deviation.get() / OFFSET_VARIANCE.sqrt()
    }

    /// From the shoot's distinct times with the row that each has in the record; `scale` is that of
    /// the reference's offset.
    #[must_use]
    pub fn of(record: &BodyRecord, rows: &[(usize, usize)], scale: f64) -> Self {
        let picked: Vec<usize> = rows.iter().map(|r| r.1).collect();
        let covariance = triangle::picked(&record.times.covariance, &picked);
        let factor = triangle::factor(&covariance).unwrap_or_default();
        // A record that was read has a covariance, and so have its parts.
        let times = rows.iter().take(factor.len()).map(|r| r.0).collect();
        Self { times, factor, scale }
    }

    /// What each parameter does to a frame of each time, and its variance; all are independent.
    pub(super) fn parameters(&self) -> Vec<(f64, impl Fn(usize) -> f64 + '_)> {
        let place = |time: usize| self.times.iter().position(|t| *t == time);
        let of = |k: Option<usize>| {
            move |time: usize| match (k, place(time)) {
                (_, None) => 0.0,
                (None, Some(_)) => 1.0,
                (Some(k), Some(row)) => self.factor[row].get(k).copied().unwrap_or(0.0),
            }
        };
        let common = (OFFSET_VARIANCE * self.scale * self.scale, of(None));
        let own = (0..self.times.len()).map(|k| (1.0, of(Some(k))));
        if self.times.is_empty() {
            Vec::new()
        } else {
            std::iter::once(common).chain(own).collect()
        }
    }
}
