//! The program run as its user runs it: seconds, processor seconds, memory.

use crate::kept;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

/// What one run cost.
#[derive(Clone, Copy, Debug)]
pub struct Cost {
    /// Seconds from start to end.
    pub wall: f64,
    /// Processor seconds of the program and its workers; `None` where the system does not tell.
    pub cpu: Option<f64>,
}

/// Ticks of the clock in `/proc` in a second (`USER_HZ` of Linux).
const TICKS: f64 = 100.0;

/// The built program.
pub struct Program(PathBuf);

impl Program {
    /// The one that was named, or the one beside this, which must be as new as the sources.
    pub fn found(named: Option<PathBuf>) -> Result<Self, String> {
        if let Some(path) = named.or_else(|| std::env::var_os("LIGHTLOSS").map(PathBuf::from)) {
            let whole = path.canonicalize().map_err(|e| format!("{}: {e}", path.display()))?;
            return Ok(Self(whole));
        }
        let own = std::env::current_exe().map_err(|e| e.to_string())?;
        let path = own.with_file_name(format!("lightloss{}", std::env::consts::EXE_SUFFIX));
        let advice = "build it with `cargo build --release`, or name another with --program";
        let built = path.metadata().and_then(|about| about.modified());
        let built = built.map_err(|_| format!("there is no {}: {advice}", path.display()))?;
        match newer(&kept::repository().join("src"), built) {
            Some(source) => {
                Err(format!("{} is newer than {}: {advice}", source.display(), path.display()))
            }
            None => Ok(Self(path)),
        }
    }

    pub fn path(&self) -> &Path {
        &self.0
    }
}

/// A file under a folder that changed after a time.
fn newer(folder: &Path, time: SystemTime) -> Option<PathBuf> {
    fs::read_dir(folder).ok()?.flatten().find_map(|entry| {
        let (path, about) = (entry.path(), entry.metadata().ok()?);
        if about.is_dir() {
            return newer(&path, time);
        }
        (about.modified().ok()? > time).then_some(path)
    })
}

fn start(program: &Program, words: &[OsString]) -> Child {
    Command::new(program.path())
        .args(words)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

fn finish(child: Child, words: &[OsString]) {
    let done = child.wait_with_output().expect("the program ends");
    assert!(done.status.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
}

/// Processor seconds of all processes that this one has started and seen end.
fn children_cpu() -> Option<f64> {
    let text = fs::read_to_string("/proc/self/stat").ok()?;
    // Behind the name, which may hold spaces; the sixteenth and seventeenth field of all.
    let mut ticks = text.rsplit_once(')')?.1.split_whitespace().skip(13);
    let mut next = || ticks.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / TICKS)
}

/// Runs the program once.
pub fn run(program: &Program, words: &[OsString]) -> Cost {
    let (before, began) = (children_cpu(), Instant::now());
    finish(start(program, words), words);
    let wall = began.elapsed().as_secs_f64();
    let cpu = children_cpu().zip(before).map(|(after, before)| after - before);
    Cost { wall, cpu }
}

/// Runs the program once and gives the most memory that it and its workers held at a time, in
/// megabytes, from above: whenever it is looked at, every living process counts with the most that
/// it held until then. `None` where the system does not tell.
pub fn peak_megabytes(program: &Program, words: &[OsString]) -> Option<f64> {
    let child = start(program, words);
    let id = child.id();
    watched(id, || finish(child, words)).1
}

/// Does something and gives the most memory, in megabytes, that a process and its workers held at a
/// time meanwhile, as [`peak_megabytes`] tells it.
pub fn watched<T>(id: u32, what: impl FnOnce() -> T) -> (T, Option<f64>) {
    let (stop, stopped) = std::sync::mpsc::channel::<()>();
    let watch = thread::spawn(move || {
        let mut most = 0;
        while stopped.recv_timeout(Duration::from_millis(4)).is_err() {
            most = family(id).iter().sum::<u64>().max(most);
        }
        most
    });
    let done = what();
    stop.send(()).ok();
    let most = watch.join().expect("the watch ends");
    (done, (most > 0).then_some(most as f64 / 1024.0))
}

/// The peaks in kilobytes (`VmHWM`) of a process and of those that it started.
fn family(parent: u32) -> Vec<u64> {
    let Ok(all) = fs::read_dir("/proc") else { return Vec::new() };
    all.filter_map(|entry| {
        let entry = entry.ok()?;
        let id: u32 = entry.file_name().to_str()?.parse().ok()?;
        let status = fs::read_to_string(entry.path().join("status")).ok()?;
        let number = |key: &str| -> Option<u64> {
            let line = status.lines().find_map(|line| line.strip_prefix(key))?;
            line.split_whitespace().next()?.parse().ok()
        };
        let ours = id == parent || number("PPid:")? == u64::from(parent);
        if ours { number("VmHWM:") } else { None }
    })
    .collect()
}

/// The words of `lightloss measure` for a folder.
pub fn measure(folder: &Path, out: &Path) -> Vec<OsString> {
    ["measure".into(), folder.into(), "--replace".into(), "--out".into(), out.into()].to_vec()
}
