//! `lightloss correct`.

mod announce;
mod dng;
mod encoding;
mod job;
mod light;
pub mod mark;
mod plan;
mod write_one;

use crate::cli::CorrectArgs;
use crate::commands::console::Console;
use crate::commands::{gather, output};
use crate::editing::used_csv::{CorrectionRow, add_corrections, write_corrections};
use crate::error::{Done, Failure};
use crate::read::ReadOptions;
use crate::read::pool::{Reader, path_text};
use job::Job;
use plan::Plan;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use write_one::Task;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &CorrectArgs, console: &mut Console) -> Result<Done, Failure> {
    let mut plan = Plan::new(args, console)?;
    plan.say(console)?;
    if plan.jobs.is_empty() {
        return Err(Failure::Nothing(
            "no photograph is left to correct; the lines above say why".to_owned(),
        ));
    }
    let table = plan.table_path(args);
    plan.go_on(args);
    plan.refuse_clashes(args)?;
    let files: Vec<&Path> =
        plan.jobs.iter().map(|job| job.out.as_path()).chain([&*table]).collect();
    let _claims = output::claim_folders(&files)?;
    plan.refuse_clashes(args)?;
    let mut faults = plan.faults;
    let failed = if args.gains_only { Vec::new() } else { write_all(&plan, args, console) };
    for (file, reason) in &failed {
        console.warn(&format!("not written: {file}: {reason}"));
    }
    faults += failed.len();
    let rows: Vec<CorrectionRow> = plan.jobs.iter().map(Job::row).collect();
    // The table goes on: rows of other photographs stay in it.
    let text = match std::fs::read_to_string(&table) {
        Ok(earlier) if !args.replace => add_corrections(&earlier, &rows)
            .map_err(|source| Failure::Table { path: table.clone(), source })?,
        _ => write_corrections(&rows)?,
    };
    crate::write::write_replacing(&table, text.as_bytes())?;
    let done = plan.jobs.iter().filter(|job| job.done).count();
    let written = plan.jobs.len() - failed.len();
    if done > 0 {
        console.line(&format!("{done} of these were whole from an earlier run"))?;
    }
    if !args.gains_only {
        console.line(&format!(
            "{written} of {} photographs corrected, {} skipped",
            plan.jobs.len(),
            plan.skipped.len()
        ))?;
        if written == 0 {
            return Err(Failure::Nothing("none of the photographs could be written".to_owned()));
        }
    }
    console.line(&format!("numbers: {}", table.display()))?;
    Ok(if faults == 0 { Done::Clean } else { Done::SomeLeftOut })
}

/// Corrects file by file, one reader and one picture a core; one bad file does not stop the rest.
/// Every two cores take turns in decoding.
fn write_all(plan: &Plan, args: &CorrectArgs, console: &Console) -> Vec<(String, String)> {
    let bar = console.progress(plan.jobs.len(), "correcting");
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let failed = Mutex::new(Vec::new());
    let turns: Vec<Mutex<()>> = (0..cores.div_ceil(2)).map(|_| Mutex::new(())).collect();
    std::thread::scope(|scope| {
        let (bar, next, failed) = (&bar, &next, &failed);
        for decoding in turns.iter().flat_map(|turn| [turn; 2]).take(cores.min(plan.jobs.len())) {
            scope.spawn(move || {
                let mut reader = Reader::new(gather::worker(), ReadOptions::default());
                while let Some(job) = plan.jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                    if job.done {
                        bar.inc(1);
                        continue;
                    }
                    let task = Task { job, args, decoding };
                    if let (Err(reason), Ok(mut failed)) = (task.run(&mut reader), failed.lock()) {
                        failed.push((path_text(&job.path), reason));
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    failed.into_inner().unwrap_or_default()
}

/// Where a corrected photograph goes.
fn out_path(path: &std::path::Path, out: Option<&PathBuf>, raw: bool) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(if raw { "-corrected.dng" } else { "-corrected.tif" });
    let folder = match out {
        Some(folder) => folder.clone(),
        None => path.parent().unwrap_or(std::path::Path::new("")).join("corrected"),
    };
    folder.join(name)
}
