//! Three hundred photographs in one run: what a file costs, what all processes hold together, and a run
//! that is killed in the middle and asked for again.

use super::{CORES, Run, profile, render, watched};
use crate::Verdict;
use crate::kept::keep;
use crate::machine::machine;
use crate::program::Program;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// Photographs, and how many different ones stand behind them: the others are further names of these.
const FILES: usize = 300;
const DIFFERENT: usize = 6;
/// Seconds a file on two cores, and megabytes of all processes at one moment.
const MOST_SECONDS: f64 = 0.6;
const MOST_MEGABYTES: f64 = 300.0;
/// Looking at processes costs them time.
const OFTEN: Duration = Duration::from_millis(25);

/// Further names of a few files.
fn named(folder: &Path, count: usize) -> Vec<PathBuf> {
    let sources = render(folder, DIFFERENT);
    let name = |i: usize| {
        let path = folder.join(format!("B{i:04}.dng"));
        std::fs::hard_link(&sources[i % DIFFERENT], &path).unwrap();
        path
    };
    (0..count).map(name).collect()
}

/// Corrected files with their sizes and when they were written.
fn corrected(out: &Path) -> BTreeMap<PathBuf, (u64, SystemTime)> {
    let Ok(entries) = std::fs::read_dir(out) else { return BTreeMap::new() };
    let about = |path: PathBuf| {
        let about = std::fs::metadata(&path).unwrap();
        (path, (about.len(), about.modified().unwrap()))
    };
    let paths = entries.map(|e| e.unwrap().path());
    paths.filter(|p| p.extension().is_some_and(|e| e == "dng")).map(about).collect()
}

/// The two parts of a killed run.
struct Killed {
    parts: [Run; 2],
    whole_at_kill: usize,
    faults: Vec<String>,
}

/// Kills a run when half of its files are there, asks for the same again, and looks for what is lost or
/// was done twice.
fn killed(program: &Program, files: &[PathBuf], kit: &Path, out: &Path) -> Killed {
    let half = files.len() / 2;
    let enough = |_| std::fs::read_dir(out).is_ok_and(|entries| entries.count() > half);
    let (first, status) = watched(program, files, kit, out, &[], OFTEN, enough);
    let mut faults = Vec::new();
    if status.is_some() {
        faults.push("it ended before it was killed".to_owned());
    }
    let before = corrected(out);
    // A whole file is decoded whole.
    let broken = before.keys().filter(|path| rawler::decode_file(path).is_err()).count();
    if broken > 0 {
        faults.push(format!("{broken} of {} files broken by the kill", before.len()));
    }
    let (second, status) = watched(program, files, kit, out, &[], OFTEN, |_| false);
    if !status.is_some_and(|status| status.success()) {
        faults.push(format!("it did not go on: {status:?}"));
    }
    let after = corrected(out);
    let again = before.iter().filter(|(path, about)| after.get(*path) != Some(about)).count();
    if again > 0 {
        faults.push(format!("{again} files written a second time"));
    }
    if after.len() != files.len() {
        faults.push(format!("{} of {} files", after.len(), files.len()));
    }
    // Names of one photograph give files of one size, but for the name that they came from.
    let sizes: Vec<u64> = after.values().map(|(size, _)| *size).collect();
    let differ = |i: usize| sizes[i].abs_diff(sizes[i % DIFFERENT]) > 16;
    let odd = (0..sizes.len()).filter(|&i| differ(i)).count();
    if odd > 0 {
        faults.push(format!("{odd} files of another size than their twins"));
    }
    faults.extend(table(&out.join("corrections.csv"), files.len()));
    Killed { parts: [first, second], whole_at_kill: before.len(), faults }
}

/// Every photograph stands in the table once.
fn table(path: &Path, files: usize) -> Option<String> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let mut rows: Vec<&str> = text.lines().skip(1).filter_map(|l| l.split(',').next()).collect();
    rows.sort_unstable();
    rows.dedup();
    let lines = text.lines().count().saturating_sub(1);
    let whole = lines == files && rows.len() == files;
    (!whole).then(|| format!("{lines} rows of {} photographs in the table", rows.len()))
}

pub fn check(count: Option<usize>, kept: bool, program: &Program) -> Verdict {
    let count = count.unwrap_or(FILES);
    // Gigabytes: not every temporary folder has that room.
    let place = std::env::var_os("LIGHTLOSS_ROOM").map_or_else(std::env::temp_dir, PathBuf::from);
    let room = tempfile::tempdir_in(place).unwrap();
    let folder = room.path().join("photos");
    std::fs::create_dir(&folder).unwrap();
    let files = named(&folder, count);
    let kit = room.path().join("six.json");
    std::fs::write(&kit, profile()).unwrap();

    let out = room.path().join("through");
    let (through, status) = watched(program, &files, &kit, &out, &[], OFTEN, |_| false);
    assert!(status.is_some_and(|status| status.success()), "correct: {status:?}");
    std::fs::remove_dir_all(&out).unwrap();
    let killed = killed(program, &files, &kit, &room.path().join("killed"));

    let threads = std::thread::available_parallelism().map_or(1, usize::from) as f64;
    let a_file = through.seconds / count as f64 * threads / CORES;
    let busy = through.processor / count as f64 / CORES;
    let [first, second] = &killed.parts;
    let most = through.together.max(first.together).max(second.together);
    let mut text = String::new();
    let mut line = |words: std::fmt::Arguments<'_>| writeln!(text, "{words}").unwrap();
    line(format_args!(
        "lightloss correct on {count} raw files of 24 megapixels, lossless JPEG both ways:"
    ));
    line(format_args!("lightloss-checks correct --batch\n{}\n", machine()));
    line(format_args!("once through:                      {:.0} s", through.seconds));
    line(format_args!(
        "a file on two cores:               {a_file:.2} s, at most {MOST_SECONDS} s"
    ));
    line(format_args!("processor time, over two cores:    {busy:.2} s"));
    line(format_args!("peak of the program:               {:.0} MB", through.program));
    line(format_args!("peak of a worker:                  {:.0} MB", through.worker));
    line(format_args!(
        "all processes at one moment:       {most:.0} MB, at most {MOST_MEGABYTES:.0} MB"
    ));
    line(format_args!(
        "killed after {:.0} s with {} files whole, gone on with for {:.0} s",
        first.seconds, killed.whole_at_kill, second.seconds
    ));
    line(format_args!(
        "{}",
        if killed.faults.is_empty() {
            "nothing lost, nothing broken, nothing written twice, each photograph in the table once"
                .to_owned()
        } else {
            format!("FAILS  {}", killed.faults.join("; "))
        }
    ));
    print!("{text}");
    if kept {
        keep("correct/batch.txt", &text);
    }
    let mut faults = killed.faults;
    if a_file.min(busy) > MOST_SECONDS {
        faults.push(format!("{a_file:.2} s a file on two cores"));
    }
    if most > MOST_MEGABYTES {
        faults.push(format!("{most:.0} MB"));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.join("; ")) }
}
