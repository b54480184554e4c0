//! The program run as its user runs it: seconds, processor seconds, memory.

use std::ffi::OsString;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

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

fn start(words: &[OsString]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_lightloss"))
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
pub fn run(words: &[OsString]) -> Cost {
    let (before, began) = (children_cpu(), Instant::now());
    finish(start(words), words);
    let wall = began.elapsed().as_secs_f64();
    let cpu = children_cpu().zip(before).map(|(after, before)| after - before);
    Cost { wall, cpu }
}

/// Runs the program once and gives the most memory that it and its workers held at a time, in
/// megabytes, from above: whenever it is looked at, every living process counts with the most that
/// it held until then. `None` where the system does not tell.
#[allow(dead_code)]
pub fn peak_megabytes(words: &[OsString]) -> Option<f64> {
    let child = start(words);
    let id = child.id();
    let (stop, stopped) = std::sync::mpsc::channel::<()>();
    let watch = thread::spawn(move || {
        let mut most = 0;
        while stopped.recv_timeout(Duration::from_millis(4)).is_err() {
            most = family(id).iter().sum::<u64>().max(most);
        }
        most
    });
    finish(child, words);
    stop.send(()).ok();
    let most = watch.join().expect("the watch ends");
    (most > 0).then_some(most as f64 / 1024.0)
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
