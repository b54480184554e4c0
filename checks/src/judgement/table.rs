//! Counts of a class as a line of the table.

use super::assess::{Outcome, SpoiltFrame};
use super::targets::{Bound, Target};
use std::collections::BTreeMap;

/// Shares that u95 must hold.
const HOLDS: (f64, f64) = (0.93, 0.97);
/// Kind right, refused, wrong in silence.
const KIND: f64 = 0.98;
const REFUSED: f64 = 0.05;
const SILENT: f64 = 0.005;

/// Head of the table.
pub fn head() -> String {
    format!(
        "{:<44} {:>6} {:>6} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>8} {:>8} {:>7} {:>7}",
        "",
        "shoots",
        "kind",
        "refused",
        "inside",
        "of",
        "number",
        "silent",
        "silent",
        "u95",
        "|error|",
        "spoilt",
        "good"
    ) + &format!(
        "\n{:<44} {:>6} {:>6} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>8} {:>8} {:>7} {:>7}\n",
        "class",
        "",
        "right",
        "",
        "u95, %",
        "silent",
        "caution",
        "> u95",
        "wrong",
        "median",
        "median",
        "named",
        "kept"
    )
}

/// Counts of a class.
pub struct Counts {
    pub shoots: usize,
    measured: usize,
    kind: usize,
    refused: usize,
    /// Shoots without a `number` caution and of the right kind, and those inside u95.
    silent: usize,
    inside: usize,
    number: usize,
    off_in_silence: usize,
    wrong: usize,
    u95: f64,
    error: f64,
    spoilt: (usize, usize),
    good: (usize, usize),
}

impl Counts {
    pub fn of(outcomes: &[Outcome]) -> Self {
        let count = |of: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| of(o)).count();
        let silent = |o: &Outcome| o.is_silent() && o.kind && o.error.is_some();
        let sum = |of: &dyn Fn(&Outcome) -> usize| outcomes.iter().map(of).sum();
        let measured = |o: &&Outcome| o.error.is_some() && o.kind;
        let values = |of: &dyn Fn(&Outcome) -> f64| {
            median(outcomes.iter().filter(measured).map(of).collect())
        };
        Self {
            shoots: outcomes.len(),
            measured: count(&|o| o.refused.is_none()),
            kind: count(&|o| o.refused.is_none() && o.kind),
            refused: count(&|o| o.refused.is_some()),
            silent: count(&silent),
            inside: count(&|o| silent(o) && o.inside()),
            number: count(&|o| !o.cautions.is_empty()),
            off_in_silence: count(&|o| o.is_silent() && (!o.kind || o.is_outside())),
            wrong: count(&Outcome::is_wrong_in_silence),
            u95: values(&|o| o.u95),
            error: values(&|o| o.error.unwrap_or(f64::NAN).abs()),
            spoilt: (sum(&Outcome::named), sum(&|o| o.spoilt.len())),
            good: (sum(&|o| o.kept), sum(&|o| o.good)),
        }
    }
    pub fn row(&self, name: &str) -> String {
        let part = |a: usize, b: usize| {
            if b == 0 { "-".to_owned() } else { format!("{:.1}", 100.0 * a as f64 / b as f64) }
        };
        let stops = |value: f64| if value.is_finite() { format!("{value:.4}") } else { "-".into() };
        format!(
            "{name:<44} {:>6} {:>6} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>8} {:>8} {:>7} {:>7}\n",
            self.shoots,
            part(self.kind, self.measured),
            part(self.refused, self.shoots),
            part(self.inside, self.silent),
            self.silent,
            part(self.number, self.shoots),
            self.off_in_silence,
            self.wrong,
            stops(self.u95),
            stops(self.error),
            part(self.spoilt.0, self.spoilt.1),
            part(self.good.0, self.good.1),
        )
    }
    /// Kind, refusals and silence, as every class of one solid filter must hold them.
    pub fn usual_targets(&self, name: &str) -> Vec<Target> {
        vec![
            Target::new(
                format!("{name}: kind right"),
                self.kind,
                self.measured,
                Bound::AtLeast(KIND),
            ),
            Target::new(
                format!("{name}: refused"),
                self.refused,
                self.shoots,
                Bound::AtMost(REFUSED),
            ),
            Target::new(
                format!("{name}: wrong in silence"),
                self.wrong,
                self.shoots,
                Bound::AtMost(SILENT),
            ),
        ]
    }
    /// u95 holds what it says where no caution speaks.
    pub fn coverage_targets(&self, name: &str) -> Vec<Target> {
        let what = format!("{name}: inside u95 where nothing cautions");
        vec![
            Target::new(what.clone(), self.inside, self.silent, Bound::AtLeast(HOLDS.0)),
            Target::new(what, self.inside, self.silent, Bound::AtMost(HOLDS.1)),
        ]
    }
    pub fn at_least_inside(&self, name: &str, share: f64) -> Target {
        let what = format!("{name}: inside u95 where nothing cautions");
        Target::new(what, self.inside, self.silent, Bound::AtLeast(share))
    }
    pub fn at_most_cautioned(&self, name: &str, share: f64) -> Target {
        let what = format!("{name}: carries a number caution");
        Target::new(what, self.number, self.shoots, Bound::AtMost(share))
    }
    /// The counts of shoots with bad frames.
    pub fn spoilt_targets(&self, name: &str) -> Vec<Target> {
        vec![
            Target::new(
                format!("{name}: kind right"),
                self.kind,
                self.measured,
                Bound::AtLeast(KIND),
            ),
            Target::new(
                format!("{name}: wrong in silence"),
                self.wrong,
                self.shoots,
                Bound::AtMost(0.0),
            ),
            Target::new(
                format!("{name}: spoilt frames named"),
                self.spoilt.0,
                self.spoilt.1,
                Bound::AtLeast(0.9),
            ),
        ]
    }
}

/// Middle value, NaN of none.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// How often each caution of grade `number` speaks, and each note.
pub fn cautions(outcomes: &[Outcome]) -> String {
    let number = outcomes.iter().flat_map(|o| &o.cautions);
    let notes = outcomes.iter().flat_map(|o| &o.notes);
    counted("cautions", number) + &counted("notes", notes)
}

fn counted<'a>(what: &str, codes: impl Iterator<Item = &'a String>) -> String {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for code in codes {
        *counts.entry(code).or_default() += 1;
    }
    let list: Vec<String> = counts.iter().map(|(code, n)| format!("{code} {n}")).collect();
    if list.is_empty() { String::new() } else { format!("    {what}: {}\n", list.join(", ")) }
}

/// The worst shoots, to be drawn again by class and seed.
pub fn worst(outcomes: &[Outcome], most: usize) -> String {
    let mut bad: Vec<&Outcome> = outcomes.iter().filter(|o| o.is_wrong_in_silence()).collect();
    bad.sort_by(|a, b| badness(b).total_cmp(&badness(a)));
    bad.iter()
        .take(most)
        .map(|o| {
            let error = o.error.unwrap_or(f64::NAN);
            format!(
                "    seed {}: {:.2} stops taken as {}, off by {error:.4}, u95 {:.4}{}\n",
                o.seed,
                o.stops,
                o.what,
                o.u95,
                unanswered(o)
            )
        })
        .collect()
}

/// Spoilt frames by sort of fault: how many, how many of them were named, and in how many of the
/// others' shoots the number is off by more than u95.
pub fn by_sort(outcomes: &[Outcome]) -> String {
    let mut sorts: BTreeMap<&str, [usize; 3]> = BTreeMap::new();
    for o in outcomes {
        for frame in &o.spoilt {
            let [spoilt, named, off] = sorts.entry(frame.sort).or_default();
            *spoilt += 1;
            *named += usize::from(frame.named);
            *off += usize::from(!frame.named && !o.inside());
        }
    }
    let line = |(sort, [spoilt, named, off]): (&str, [usize; 3])| {
        format!("    {sort}: {named} of {spoilt} named, {off} unnamed where the number is off\n")
    };
    sorts.into_iter().filter(|(_, [spoilt, named, _])| named < spoilt).map(line).collect()
}

/// Every spoilt frame that was used without a word, with what that did to the number.
pub fn unnamed(outcomes: &[Outcome]) -> String {
    let of = |o: &Outcome| -> String {
        let error = o.error.unwrap_or(f64::NAN);
        let line = |frame: &SpoiltFrame| {
            let SpoiltFrame { file, sort, harm, .. } = frame;
            let off = format!("off by {error:.4}, u95 {:.4}", o.u95);
            format!("    seed {}: {file} harmed by {harm:.3} stop ({sort}); {off}\n", o.seed)
        };
        o.spoilt.iter().filter(|frame| !frame.named).map(line).collect()
    };
    outcomes.iter().map(of).collect()
}

/// What was asked of a shoot and not answered, each once.
fn unanswered(o: &Outcome) -> String {
    let mut list: Vec<&str> = o.answers.iter().filter(|a| !a.1).map(|a| a.0).collect();
    list.dedup();
    list.iter().map(|q| format!("; not: {q}")).collect()
}

/// Why shoots were refused, each reason with its first seed.
pub fn refusals(outcomes: &[Outcome]) -> String {
    let mut reasons: BTreeMap<String, (u64, usize)> = BTreeMap::new();
    for o in outcomes {
        let Some(why) = &o.refused else { continue };
        // Names of frames and numbers differ from shoot to shoot.
        let plain: String = why.chars().filter(|c| !c.is_ascii_digit()).take(110).collect();
        reasons.entry(plain.replace('\n', " ")).or_insert((o.seed, 0)).1 += 1;
    }
    let line = |(why, (seed, n)): (String, (u64, usize))| {
        format!("    refused {n} (first: seed {seed}): {why}\n")
    };
    reasons.into_iter().map(line).collect()
}

fn badness(o: &Outcome) -> f64 {
    if o.kind { o.error.unwrap_or(0.0).abs() / o.u95.max(1e-6) } else { f64::INFINITY }
}
