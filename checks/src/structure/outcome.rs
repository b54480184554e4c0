//! What a shoot with a change comes to, and the counts of many.

use super::Case;
use super::containers::STOPS;
use crate::campaign::watched::Run;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// What a planted strength may be off by beyond its own u95, stops: rounding of a camera's counts.
const WITHIN: f64 = 0.005;
/// A doubt may grow by this factor where frames are lost; more says nothing of the number any more
/// (ours: a third of the frames less doubles it at most).
const MOST_DOUBT: f64 = 3.0;

/// What `measure` said.
pub struct Said {
    status: Option<i32>,
    strengths: Vec<(f64, f64)>,
    /// Codes of the cautions that change what the number is worth.
    doubts: BTreeSet<String>,
}

pub enum Judged {
    Right,
    Doubted,
    Refused,
    Wrong,
}

impl Said {
    pub fn of(run: &Run) -> Self {
        let profile: Value = serde_json::from_str(&run.out).unwrap_or_default();
        let list = |v: &Value| v.as_array().cloned().unwrap_or_default();
        let number = |v: &Value| v.as_f64().unwrap_or(f64::NAN);
        let settings = list(&profile["settings"]);
        let strength = |s: &Value| (number(&s["strength"]["stops"]), number(&s["strength"]["u95"]));
        let mut cautions = list(&profile["cautions"]);
        cautions.extend(settings.iter().flat_map(|s| list(&s["cautions"])));
        let doubts = cautions.iter().filter(|c| c["grade"] == "number");
        Self {
            status: run.status,
            strengths: settings.iter().map(strength).collect(),
            doubts: doubts.filter_map(|c| Some(c["code"].as_str()?.to_owned())).collect(),
        }
    }
    /// One strength, that of the filter, and no more doubtful than this.
    fn is_right(&self, most: f64) -> bool {
        let is_right =
            |(stops, u95): (f64, f64)| (stops - STOPS).abs() <= u95 + WITHIN && u95 <= most;
        matches!(self.strengths[..], [one] if is_right(one))
    }
    /// Whether this is a shoot to change: measured whole, rightly and with every frame.
    pub fn is_sound(&self) -> bool {
        self.status == Some(0) && self.is_right(f64::INFINITY)
    }
    /// Beside the same shoot unchanged: only a doubt that this one lacks names a change.
    pub fn judged(&self, whole: &Self) -> Judged {
        let most = MOST_DOUBT * whole.strengths.first().map_or(0.0, |(_, u95)| *u95);
        if matches!(self.status, Some(2 | 3)) {
            Judged::Refused
        } else if self.is_right(most) {
            Judged::Right
        } else if self.doubts.difference(&whole.doubts).next().is_some() {
            Judged::Doubted
        } else {
            Judged::Wrong
        }
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "status {:?}, {:?}, doubts {:?}", self.status, self.strengths, self.doubts)
    }
}

#[derive(Default)]
struct Row {
    cases: usize,
    right: usize,
    doubted: usize,
    refused: usize,
    wrong: usize,
}

impl Row {
    fn add(&mut self, judged: &Judged) {
        self.cases += 1;
        *match judged {
            Judged::Right => &mut self.right,
            Judged::Doubted => &mut self.doubted,
            Judged::Refused => &mut self.refused,
            Judged::Wrong => &mut self.wrong,
        } += 1;
    }
    fn write(&self, what: &str, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { cases, right, doubted, refused, wrong } = self;
        writeln!(f, "{what:<40}{cases:>7}{right:>7}{doubted:>9}{refused:>9}{wrong:>7}")
    }
}

/// Counts by container and by change.
#[derive(Default)]
pub struct Table {
    containers: BTreeMap<&'static str, Row>,
    changes: BTreeMap<&'static str, Row>,
    all: Row,
    slowest: f64,
    memory: u64,
}

impl Table {
    pub fn add(&mut self, case: &Case) {
        self.containers.entry(case.container).or_default().add(&case.judged);
        self.changes.entry(case.change).or_default().add(&case.judged);
        self.all.add(&case.judged);
        self.slowest = self.slowest.max(case.took.as_secs_f64());
        self.memory = self.memory.max(case.memory);
    }
    pub fn wrong(&self) -> usize {
        self.all.wrong
    }
    /// The first container or change that never led to one of the answers, where there were many.
    pub fn untried(&self) -> Option<&'static str> {
        const MANY: usize = 100;
        let rows = self.containers.iter().chain(&self.changes);
        let dull = |row: &Row| row.cases >= MANY && row.right == row.cases;
        rows.filter(|(_, row)| dull(row)).map(|(name, _)| *name).next()
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{:<40}{:>7}{:>7}{:>9}{:>9}{:>7}",
            "", "cases", "right", "doubted", "refused", "wrong"
        )?;
        self.containers.iter().try_for_each(|(name, row)| row.write(name, f))?;
        writeln!(f)?;
        self.changes.iter().try_for_each(|(name, row)| row.write(name, f))?;
        writeln!(f)?;
        self.all.write("all", f)?;
        write!(
            f,
            "\nlongest run {:.1} s; most memory of program and workers {} MB",
            self.slowest,
            self.memory >> 20
        )
    }
}
