//! What became of the photographs of an evening.

use super::shooting::Shot;
use lightloss::editing::which::{Finding, Verdict};

/// Photographs by what became of them.
#[derive(Clone, Copy, Default, Debug)]
pub struct Count {
    pub right: usize,
    pub wrong: usize,
    pub blank: usize,
    pub sure_wrong: usize,
    pub likely: usize,
    pub likely_right: usize,
    pub ring: usize,
    pub marks_right: usize,
    pub foreign_blank: usize,
    pub foreign_wrong: usize,
    /// By how probable the program takes its best account: photographs, and right ones.
    pub bins: [(usize, usize); BINS.len()],
}

/// Lower ends of the classes of probability that are told.
pub const BINS: [f64; 9] = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.995, 0.999];

impl Count {
    pub fn photographs(&self) -> usize {
        self.right + self.wrong + self.blank
    }
    /// Known photographs and foreign ones that are taken for something else.
    pub fn all_wrong(&self) -> usize {
        self.wrong + self.foreign_wrong
    }
    pub fn add(mut self, o: Self) -> Self {
        for (a, b) in [
            (&mut self.right, o.right),
            (&mut self.wrong, o.wrong),
            (&mut self.blank, o.blank),
            (&mut self.sure_wrong, o.sure_wrong),
            (&mut self.likely, o.likely),
            (&mut self.likely_right, o.likely_right),
            (&mut self.ring, o.ring),
            (&mut self.marks_right, o.marks_right),
            (&mut self.foreign_blank, o.foreign_blank),
            (&mut self.foreign_wrong, o.foreign_wrong),
        ] {
            *a += b;
        }
        for (own, other) in self.bins.iter_mut().zip(o.bins) {
            *own = (own.0 + other.0, own.1 + other.1);
        }
        self
    }
}

/// Whether a finding is what was planted; of a photograph through a filter that is not in the kit none
/// is.
pub fn right(shot: &Shot, finding: &Finding) -> bool {
    let Some(truth) = &shot.truth else { return false };
    match &finding.verdict {
        Verdict::Unknown => false,
        Verdict::Bare => truth.is_empty(),
        Verdict::Through(used) => {
            let mut found: Vec<usize> = used.iter().map(|u| u.filter).collect();
            found.sort_unstable();
            let marks = used.iter().all(|u| {
                let planted = truth.iter().find(|t| t.0 == u.filter).and_then(|t| t.1.clone());
                u.mark.is_none() || u.mark == planted
            });
            found == truth.iter().map(|t| t.0).collect::<Vec<_>>() && marks
        }
    }
}

/// Counts one photograph.
pub fn score(shot: &Shot, finding: &Finding, count: &mut Count) {
    let blank = finding.verdict == Verdict::Unknown;
    if !blank {
        let bin = BINS.iter().rposition(|&least| finding.probability >= least).unwrap_or(0);
        count.bins[bin].0 += 1;
        count.bins[bin].1 += usize::from(right(shot, finding));
    }
    // Whatever is called likely counts, a filter that is not in the kit as a wrong one.
    let right = right(shot, finding);
    if !blank && !finding.sure {
        count.likely += 1;
        count.likely_right += usize::from(right);
    }
    let Some(truth) = &shot.truth else {
        count.foreign_blank += usize::from(blank);
        count.foreign_wrong += usize::from(!blank);
        count.sure_wrong += usize::from(!blank && finding.sure);
        return;
    };
    count.right += usize::from(right);
    count.blank += usize::from(blank);
    count.wrong += usize::from(!right && !blank);
    count.sure_wrong += usize::from(!right && !blank && finding.sure);
    if truth.iter().any(|t| t.1.is_some()) {
        count.ring += 1;
        let named = matches!(&finding.verdict, Verdict::Through(used)
            if used.iter().any(|u| u.mark.is_some()));
        count.marks_right += usize::from(right && named);
    }
}
