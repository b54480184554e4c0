//! Runs the program and watches it: what it says, how it ends, how long it takes, how much memory
//! it and its workers take together, and what it leaves outside its output folder.

use std::collections::{BTreeMap, HashSet};
use std::ffi::OsStr;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant, SystemTime};

/// How often the memory of a run is looked at. A gigabyte takes far longer to be touched.
const LOOK: Duration = Duration::from_millis(8);
/// A run is given up after so long: a folder may hold many files that each take long.
const PATIENCE: Duration = Duration::from_secs(180);
const STATUSES: [i32; 4] = [0, 1, 2, 3];
const PANIC_TEXT: [&str; 6] = [
    "panicked at",
    "RUST_BACKTRACE",
    "stack backtrace",
    "has overflowed its stack",
    "memory allocation of",
    "fatal runtime error",
];

/// How a run ended.
pub struct Run {
    pub out: String,
    pub err: String,
    pub status: Option<i32>,
    pub took: Duration,
    /// Most bytes of parent and workers together.
    pub memory: u64,
}

impl Run {
    /// What must never be, whatever the files.
    pub fn faults(&self) -> Vec<String> {
        let mut found = Vec::new();
        for text in PANIC_TEXT {
            if self.out.contains(text) || self.err.contains(text) {
                found.push(format!("panic text {text:?}: {}", first_lines(&self.err)));
            }
        }
        if !self.status.is_some_and(|s| STATUSES.contains(&s)) {
            found.push(format!("ended with {:?}: {}", self.status, first_lines(&self.err)));
        }
        if self.status == Some(3) && !self.err.contains("lightloss: ") {
            found.push(format!("status 3 without a reason: {}", first_lines(&self.err)));
        }
        found
    }
}

fn first_lines(text: &str) -> String {
    text.lines().take(4).collect::<Vec<_>>().join(" / ")
}

/// A folder of its own for each run of the program: `work` is where it runs, `out` the only place
/// where it may write.
pub struct Fence {
    root: tempfile::TempDir,
    program: PathBuf,
}

impl Fence {
    pub fn new(program: &Path) -> Self {
        let root = tempfile::tempdir().unwrap();
        for name in ["work", "home", "temporary", "out", "said"] {
            std::fs::create_dir(root.path().join(name)).unwrap();
        }
        Self { root, program: program.to_owned() }
    }
    pub fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }
    /// Makes a folder anew, empty.
    pub fn fresh(&self, name: &str) -> PathBuf {
        let path = self.path(name);
        if path.exists() {
            std::fs::remove_dir_all(&path).unwrap();
        }
        std::fs::create_dir_all(&path).unwrap();
        path
    }
    /// Everything but the output folder and what the check itself keeps: size and time of change.
    pub fn snapshot(&self) -> BTreeMap<PathBuf, (u64, Option<SystemTime>)> {
        let mut found = BTreeMap::new();
        let mut waiting = vec![self.root.path().to_owned()];
        while let Some(folder) = waiting.pop() {
            for entry in std::fs::read_dir(&folder).unwrap() {
                let path = entry.unwrap().path();
                if [self.path("out"), self.path("said")].contains(&path) {
                    continue;
                }
                let about = path.symlink_metadata().unwrap();
                if about.is_dir() {
                    found.insert(path.clone(), (0, None));
                    waiting.push(path);
                } else {
                    found.insert(path, (about.len(), about.modified().ok()));
                }
            }
        }
        found
    }
    /// Runs the program to its end.
    pub fn run<S: AsRef<OsStr>>(&self, words: &[S]) -> Run {
        let said = ["stdout", "stderr"].map(|name| self.path("said").join(name));
        let file = |path: &Path| Stdio::from(File::create(path).unwrap());
        let began = Instant::now();
        let mut child = Command::new(&self.program)
            .args(words)
            .current_dir(self.path("work"))
            .env("HOME", self.path("home"))
            .env("TMPDIR", self.path("temporary"))
            .stdin(Stdio::null())
            .stdout(file(&said[0]))
            .stderr(file(&said[1]))
            .spawn()
            .unwrap();
        let mut family = Family { parent: child.id(), strangers: HashSet::new() };
        let mut memory = 0;
        let status = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status.code();
            }
            memory = memory.max(family.memory());
            if began.elapsed() > PATIENCE {
                child.kill().unwrap();
                child.wait().unwrap();
                break None;
            }
            sleep(if began.elapsed() < 4 * LOOK { LOOK / 4 } else { LOOK });
        };
        let took = began.elapsed();
        let [out, err] =
            said.map(|p| String::from_utf8_lossy(&std::fs::read(p).unwrap()).into_owned());
        Run { out, err, status, took, memory }
    }
}

/// A process and its children, as far as they were seen.
struct Family {
    parent: u32,
    strangers: HashSet<u32>,
}

impl Family {
    /// The largest resident sizes so far of parent and children, summed; 0 where the system does
    /// not tell.
    fn memory(&mut self) -> u64 {
        let Ok(processes) = std::fs::read_dir("/proc") else { return 0 };
        let ids = processes.filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok());
        let new: Vec<u32> = ids.filter(|id| !self.strangers.contains(id)).collect();
        let mut sum = 0;
        for id in new {
            if id == self.parent || parent_of(id) == Some(self.parent) {
                sum += peak(id).unwrap_or(0);
            } else {
                self.strangers.insert(id);
            }
        }
        sum
    }
}

fn parent_of(process: u32) -> Option<u32> {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // The name in brackets may hold anything.
    stat.rsplit_once(')')?.1.split_whitespace().nth(1)?.parse().ok()
}

fn peak(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}
