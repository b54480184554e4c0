//! What the program makes of a shoot, and whether that is right.

use super::shoots::Shoot;
use super::wounds::Wound;
use crate::Verdict;
use crate::campaign::watched::Fence;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt;

/// The ends of a logistic edge lie beyond the frame: no graduation is known better, stops.
const GRADUATION_WITHIN: f64 = 0.06;

/// One run of `measure`.
#[derive(Debug)]
pub struct Outcome {
    status: Option<i32>,
    /// Stops and u95 of each state.
    strengths: Vec<(f64, f64)>,
    /// Verdict by file.
    verdicts: BTreeMap<String, String>,
    /// Texts of cautions that change what the number is worth.
    cautions: Vec<String>,
    said: String,
}

impl Outcome {
    pub fn of(fence: &Fence, shoot: &Shoot) -> Self {
        let run = fence.run(&shoot.words);
        let profile: Value = serde_json::from_str(&run.out).unwrap_or_default();
        let list = |v: &Value| v.as_array().cloned().unwrap_or_default();
        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
        let number = |v: &Value| v.as_f64().unwrap_or(f64::NAN);
        let settings = list(&profile["settings"]);
        let strengths = if shoot.graduated && !settings.is_empty() {
            let of = &profile["graduation"];
            let u95 = of["dark_end_u95"].as_f64().unwrap_or(0.0).max(GRADUATION_WITHIN);
            vec![(number(&of["dark_end_stops"]), u95)]
        } else {
            let strength =
                |s: &Value| (number(&s["strength"]["stops"]), number(&s["strength"]["u95"]));
            settings.iter().map(strength).collect()
        };
        let cautions = list(&profile["cautions"])
            .into_iter()
            .chain(settings.iter().flat_map(|s| list(&s["cautions"])))
            .filter(|c| c["grade"] == "number")
            .map(|c| text(&c["text"]))
            .collect();
        let verdicts = list(&profile["frames"])
            .iter()
            .map(|f| (text(&f["file"]), text(&f["verdict"]["code"])))
            .collect();
        Self { status: run.status, strengths, verdicts, cautions, said: run.err }
    }
    fn refused(&self) -> bool {
        self.status == Some(3)
    }
    /// Every strength is that of a state, in their order, and a state is lacking only where each
    /// of its frames is known to be damaged.
    fn is_right(&self, shoot: &Shoot) -> bool {
        let mut given = self.strengths.iter().peekable();
        let all = shoot.truth.iter().all(|(truth, frames)| {
            let found = given.next_if(|(stops, u95)| (stops - truth).abs() <= *u95).is_some();
            found || frames.iter().all(|file| self.seen(file))
        });
        all && !self.strengths.is_empty() && given.next().is_none()
    }
    /// Whether a refusal or a caution of the number stands beside the names of all that is damaged.
    fn names_all(&self, wounds: &[Wound]) -> bool {
        let doubted = self.refused() || !self.cautions.is_empty();
        doubted && wounds.iter().all(|w| self.seen(&w.file))
    }
    /// Whether a refusal or a caution of the number names a frame.
    fn names(&self, file: &str) -> bool {
        let caution = self.cautions.iter().any(|text| text.contains(file));
        caution || (self.refused() && self.said.contains(file))
    }
    fn seen(&self, file: &str) -> bool {
        let used = ["used", "dark", "leak", "bridge"];
        self.verdicts.get(file).is_some_and(|code| !used.contains(&code.as_str()))
            || (self.refused() && self.said.contains(file))
    }
}

#[derive(Default)]
struct Row {
    frames: usize,
    seen: usize,
}

/// Counts over all shoots.
#[derive(Default)]
pub struct Table {
    pub shoots: usize,
    damages: BTreeMap<(bool, &'static str), Row>,
    codes: BTreeMap<String, usize>,
    right: usize,
    refused: usize,
    cautioned: usize,
    wrong: Vec<String>,
    /// Whole shoots.
    whole_right: usize,
    alarms: Vec<String>,
    whole_wrong: Vec<String>,
}

impl Table {
    pub fn add(
        &mut self,
        number: usize,
        shoot: &Shoot,
        wounds: &[Wound],
        whole: &Outcome,
        after: &Outcome,
    ) {
        self.shoots += 1;
        let odd = |code: &str| ["unreadable", "damaged"].contains(&code);
        let alarm = whole.verdicts.iter().find(|(_, code)| odd(code));
        if let Some((file, code)) = alarm {
            self.alarms.push(format!("{number}, {}: {file} {code}", shoot.what));
        } else if whole.is_right(shoot) {
            self.whole_right += 1;
        } else {
            let said = whole.said.lines().last().unwrap_or_default();
            self.whole_wrong.push(format!(
                "{number}, {}: {:?} for {:?}; {said}",
                shoot.what,
                whole.strengths,
                shoot.stops()
            ));
        }
        let lossless = shoot.compression != lightloss::write::dng::Compression::None;
        for wound in wounds {
            let row = self.damages.entry((lossless, wound.what)).or_default();
            row.frames += 1;
            row.seen += usize::from(after.seen(&wound.file));
            let code = after.verdicts.get(&wound.file).cloned().unwrap_or("shoot refused".into());
            *self.codes.entry(code).or_default() += 1;
        }
        if after.is_right(shoot) {
            self.right += 1;
        } else if after.names_all(wounds) || wounds.iter().any(|w| after.names(&w.file)) {
            if after.refused() { self.refused += 1 } else { self.cautioned += 1 }
        } else {
            let damage: Vec<String> =
                wounds.iter().map(|w| format!("{} {}", w.file, w.what)).collect();
            let said = after.said.lines().last().unwrap_or_default();
            self.wrong.push(format!(
                "{number}, {}: {:?} for {:?} ({}); {said}",
                shoot.what,
                after.strengths,
                shoot.stops(),
                damage.join(", ")
            ));
        }
    }
    pub fn verdict(&self, most: usize) -> Verdict {
        if self.wrong.len() > most {
            return Err(format!("{} shoots wrong in silence, at most {most}", self.wrong.len()));
        }
        if self.alarms.len() > most {
            return Err(format!("{} whole shoots see damage, at most {most}", self.alarms.len()));
        }
        Ok(())
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{:<42}{:>8}{:>8}", "damage", "frames", "seen")?;
        for ((lossless, what), row) in &self.damages {
            let how = if *lossless { "lossless JPEG" } else { "plain" };
            writeln!(f, "{:<42}{:>8}{:>8}", format!("{what}, {how}"), row.frames, row.seen)?;
        }
        let codes: Vec<String> = self.codes.iter().map(|(c, n)| format!("{c} {n}")).collect();
        writeln!(f, "\nverdicts of damaged frames: {}", codes.join(", "))?;
        writeln!(
            f,
            "damaged shoots: number right {}, refused by name {}, cautioned by name {}, wrong in silence {}",
            self.right,
            self.refused,
            self.cautioned,
            self.wrong.len()
        )?;
        self.wrong.iter().try_for_each(|line| writeln!(f, "  {line}"))?;
        writeln!(
            f,
            "whole shoots: number right {}, otherwise {}, damage seen where there is none {}",
            self.whole_right,
            self.whole_wrong.len(),
            self.alarms.len()
        )?;
        self.whole_wrong.iter().chain(&self.alarms).try_for_each(|line| writeln!(f, "  {line}"))
    }
}
