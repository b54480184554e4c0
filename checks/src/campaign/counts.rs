//! What came of the damaged files.

use super::mutations::{Damage, Mutated};
use super::watched::Run;
use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

/// The longest that one file may take.
pub const SLOWEST: Duration = Duration::from_secs(20);
/// The most memory of parent and workers together.
pub const MOST_MEMORY: u64 = 1 << 30;

#[derive(Default)]
struct Row {
    files: usize,
    taken: usize,
    refused: usize,
    lacking: usize,
}

/// Counts per kind and damage, and every fault.
#[derive(Default)]
pub struct Counts {
    kinds: BTreeMap<&'static str, Row>,
    damages: BTreeMap<Damage, usize>,
    commands: BTreeMap<&'static str, usize>,
    statuses: BTreeMap<i32, usize>,
    refusals: BTreeMap<&'static str, usize>,
    slowest: Duration,
    memory: u64,
    pub faults: Vec<String>,
}

/// The beginnings of reasons, by which refusals are counted.
const REASONS: [(&str, &str); 16] = [
    ("cut short", "cut short"),
    ("damaged (", "damaged"),
    ("broke down over", "decoder died"),
    ("decoder did not finish", "decoder hung"),
    ("decoder gave up (it panicked", "decoder panicked"),
    ("decoder gave up", "decoder gave up"),
    ("not a photograph", "no photograph"),
    ("knows the camera", "unknown camera"),
    ("is not read here", "not supported"),
    ("megapixels that are read", "too large"),
    ("the file is empty", "empty"),
    ("MB in one file", "too large"),
    ("not a readable", "no such document"),
    ("has schema", "no such document"),
    ("cannot be right", "implausible numbers"),
    ("", "otherwise"),
];

impl Counts {
    /// A file whose fate is known: taken, or refused with a reason.
    pub fn file(&mut self, kind: &'static str, mutated: &Mutated, refused: Option<&str>) {
        let row = self.kinds.entry(kind).or_default();
        row.files += 1;
        row.lacking += usize::from(mutated.lacks_pixels);
        *(if refused.is_some() { &mut row.refused } else { &mut row.taken }) += 1;
        *self.damages.entry(mutated.damage).or_default() += 1;
        if let Some(reason) = refused {
            let known = REASONS.iter().find(|(part, _)| reason.contains(part)).unwrap().1;
            *self.refusals.entry(known).or_default() += 1;
        }
    }
    /// A run of a command; the faults of the run itself are noted.
    pub fn run(&mut self, command: &'static str, run: &Run, what: &str) -> bool {
        *self.commands.entry(command).or_default() += 1;
        *self.statuses.entry(run.status.unwrap_or(-1)).or_default() += 1;
        self.slowest = self.slowest.max(run.took);
        self.memory = self.memory.max(run.memory);
        let mut faults = run.faults();
        if run.memory > MOST_MEMORY {
            faults.push(format!("{} MB of memory", run.memory >> 20));
        }
        let any = !faults.is_empty();
        faults.into_iter().for_each(|f| self.fault(format!("{command}, {what}: {f}")));
        any
    }
    /// A fault, told at once.
    pub fn fault(&mut self, text: String) {
        println!("fault: {text}");
        self.faults.push(text);
    }
    /// A file to look at afterwards, kept at once.
    pub fn faulty(&mut self, name: &str, bytes: &[u8]) {
        let folder = std::env::temp_dir().join("lightloss-campaign");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join(name), bytes).unwrap();
    }
    pub fn fault_text(&self) -> String {
        self.faults.iter().take(60).cloned().collect::<Vec<_>>().join("\n")
    }
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{:<22} {:>7} {:>7} {:>8} {:>15}",
            "kind", "files", "taken", "refused", "lacking pixels"
        )?;
        let mut all = Row::default();
        for (kind, row) in &self.kinds {
            writeln!(
                f,
                "{kind:<22} {:>7} {:>7} {:>8} {:>15}",
                row.files, row.taken, row.refused, row.lacking
            )?;
            all.files += row.files;
            all.taken += row.taken;
            all.refused += row.refused;
            all.lacking += row.lacking;
        }
        writeln!(
            f,
            "{:<22} {:>7} {:>7} {:>8} {:>15}",
            "all", all.files, all.taken, all.refused, all.lacking
        )?;
        let list = |entries: Vec<String>| entries.join(", ");
        let pairs = |names: Vec<(String, usize)>| {
            list(names.into_iter().map(|(name, count)| format!("{name} {count}")).collect())
        };
        let named = |m: &BTreeMap<&str, usize>| {
            pairs(m.iter().map(|(k, v)| ((*k).to_owned(), *v)).collect())
        };
        writeln!(
            f,
            "\ndamage: {}",
            pairs(self.damages.iter().map(|(k, v)| (k.to_string(), *v)).collect())
        )?;
        writeln!(f, "refused as: {}", named(&self.refusals))?;
        writeln!(f, "runs: {}", named(&self.commands))?;
        writeln!(
            f,
            "exit statuses: {}",
            pairs(self.statuses.iter().map(|(k, v)| (k.to_string(), *v)).collect())
        )?;
        writeln!(
            f,
            "longest run of a command: {:.1} s; most memory of parent and workers together: {} MB",
            self.slowest.as_secs_f64(),
            self.memory >> 20
        )?;
        write!(f, "faults: {}", self.faults.len())
    }
}
