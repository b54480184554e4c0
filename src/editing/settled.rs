//! The numbers of one series: one balance, one choice of evenness for all its photographs.

use super::correct::{self, Cast, Correction};
use super::evenness::{EvennessGains, Through, View, gains};
use crate::frame::ColourMatrix;

/// Less than this that stays is below what two decimals show, in stops.
const WORTH_SAYING_STOPS: f64 = 0.005;

/// What is to be done about unevenness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EvennessWish {
    /// It is to be taken out.
    pub wanted: bool,
    /// The filter sat in its holder as when it was measured.
    pub mounted_alike: bool,
}

/// A series before its numbers.
pub struct Series<'a> {
    /// What was before the lens.
    pub through: &'a [Through<'a>],
    /// Of those.
    pub cast: &'a Cast,
    /// Neutral of the light without them, green = 1.
    pub light: [f64; 3],
    /// Of its camera.
    pub matrices: &'a [ColourMatrix],
    /// Every photograph as far as its map of gains needs it; `None` of a linear DNG.
    pub views: Vec<Option<View>>,
}

/// What is done to every photograph of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// Balance.
    pub correction: Correction,
    /// Gains across the frame.
    pub evenness: Option<EvennessGains>,
    /// What is to be said.
    pub notes: Vec<String>,
}

impl Series<'_> {
    /// The numbers.
    #[must_use]
    pub fn settled(&self, wish: EvennessWish) -> Settled {
        let correction = correct::balance(self.cast, self.light, self.matrices);
        let mut notes = correct::cautions(self.through, correction.before.as_ref());
        let evenness = if wish.wanted {
            let (gains, said) = self.evenness(wish.mounted_alike);
            notes.extend(said);
            gains
        } else {
            None
        };
        Settled { correction, evenness, notes }
    }

    /// The first photograph's gains, where every one of them can be evened out.
    fn evenness(&self, mounted_alike: bool) -> (Option<EvennessGains>, Vec<String>) {
        let left = |why: &str| (None, vec![format!("evenness left as it is: {why}")]);
        let views: Option<Vec<&View>> = self.views.iter().map(Option::as_ref).collect();
        let Some(views) = views else {
            return left("a linear DNG has no mosaic for a map of gains; correct its raw file");
        };
        let mut first = None;
        for view in views {
            match gains(self.through, view, mounted_alike) {
                Ok(gains) => first = first.or(Some(gains)),
                Err(reason) => return left(&reason.to_string()),
            }
        }
        let Some(gains) = first else { return (None, Vec::new()) };
        let mut said = vec![format!("{}, up to {:.2} stop", gains.part.done(), gains.peak_stops)];
        if gains.stays_stops >= WORTH_SAYING_STOPS {
            said.push(format!(
                "up to {:.2} stop of unevenness that depends on how the filter sat stays",
                gains.stays_stops
            ));
        }
        if gains.left_in_stops > 0.0 {
            said.push(format!(
                "the gain was limited: {:.2} stop of unevenness is left",
                gains.left_in_stops
            ));
        }
        (Some(gains), said)
    }
}
