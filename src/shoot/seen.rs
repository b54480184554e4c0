//! What was seen of frames, kept, so that a shoot that is sorted again looks at no frame twice.

use super::look::{Look, look};
use super::sheet::Sheet;
use super::times::Understood;
use crate::levels::levels;
use crate::reduce::grid::FrameSummary;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is seen of one frame by itself.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sight {
    /// First look, which the exposure is in.
    pub look: Look,
    /// What damage would show on.
    pub sheet: Arc<Sheet>,
}

#[derive(Debug)]
struct Known {
    sha256: String,
    exposure: Option<Understood>,
    sight: Sight,
}

/// What was seen of the frames of one shoot, by their names; frames that changed, or whose exposure
/// is understood otherwise, are looked at again.
#[derive(Debug, Default)]
pub struct Seen(BTreeMap<String, Known>);

impl Seen {
    /// What is seen of a frame, as it was seen before where nothing of it changed.
    pub(super) fn sight(&self, summary: &FrameSummary, exposure: Option<&Understood>) -> Sight {
        let sha256 = &summary.info.sha256;
        let same = |known: &&Known| !sha256.is_empty() && known.sha256 == *sha256;
        let known = self.0.get(&summary.info.file).filter(same);
        match known {
            Some(known) if known.exposure.as_ref() == exposure => known.sight.clone(),
            _ => {
                let levels = levels(summary, &[]);
                let sheet = known.map(|known| Arc::clone(&known.sight.sheet));
                let sheet = sheet.unwrap_or_else(|| Arc::new(Sheet::of(summary, &levels)));
                Sight { look: look(summary, &levels, exposure), sheet }
            }
        }
    }
    /// Keeps what was seen of a frame.
    pub(super) fn keep(
        &mut self,
        summary: &FrameSummary,
        exposure: Option<&Understood>,
        sight: Sight,
    ) {
        let known =
            Known { sha256: summary.info.sha256.clone(), exposure: exposure.cloned(), sight };
        self.0.insert(summary.info.file.clone(), known);
    }
}
