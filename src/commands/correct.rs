//! `lightloss correct`.

mod against;
mod announce;
mod dng;
mod earlier;
mod job;
mod light;
mod plan;
mod write_one;

use crate::cli::CorrectArgs;
use crate::commands::console::Console;
use crate::commands::{gather, output};
use crate::editing::used_csv::{CorrectionRow, add_corrections, write_corrections};
use crate::error::{Done, Failure};
use crate::read::ReadOptions;
use crate::read::pool::{Reader, at_once, path_text};
use plan::Plan;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use write_one::Task;

/// Most bytes of a file's name on the usual disks.
const LONGEST_NAME: usize = 255;

/// Shares of clipped pixels below this are not worth a word.
const WORTH_SAYING: f64 = 0.0005;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &CorrectArgs, console: &mut Console) -> Result<Done, Failure> {
    let mut plan = Plan::new(args, console)?;
    plan.name_left_behind(args);
    if plan.jobs.is_empty() {
        plan.say(console)?;
        return Err(Failure::Nothing(
            "no photograph is left to correct; the lines above say why".to_owned(),
        ));
    }
    let table = plan.table_path(args);
    if args.flat_field {
        job::name_flat_fields(&mut plan.jobs, table.parent().unwrap_or(Path::new("")));
    }
    plan.go_on(args);
    plan.refuse_clashes(args).inspect_err(|_| plan.say_left_behind(console))?;
    plan.say(console)?;
    let outs = plan.jobs.iter().filter(|_| !args.gains_only).map(|job| job.out.as_path());
    let files: Vec<&Path> = outs.chain([&*table]).collect();
    let _claims = output::claim_folders(&files)?;
    plan.refuse_clashes(args)?;
    let mut faults = plan.faults;
    let written: Written = if args.gains_only {
        vec![Some(Ok(None)); plan.jobs.len()]
    } else {
        write_all(&plan, args, console)
    };
    let failed = written.iter().filter(|one| matches!(one, Some(Err(_)))).count();
    faults += failed;
    let rows = rows(&plan, args, &written, console);
    // The table goes on: rows of other photographs stay in it.
    let text = match std::fs::read_to_string(&table) {
        Ok(earlier) if !args.replace => add_corrections(&earlier, &rows)
            .map_err(|source| Failure::Table { path: table.clone(), source })?,
        _ => write_corrections(&rows)?,
    };
    crate::write::write_replacing(&table, text.as_bytes())?;
    let done = plan.jobs.iter().filter(|job| job.done).count();
    let written = plan.jobs.len() - failed;
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
    say_flat_fields(&plan, args, console)?;
    console.line(&format!("numbers: {}", table.display()))?;
    Ok(if faults == 0 { Done::Clean } else { Done::SomeLeftOut })
}

/// Names the flat-field frames, or says why there is none.
fn say_flat_fields(plan: &Plan, args: &CorrectArgs, console: &mut Console) -> Result<(), Failure> {
    let mut wanted = plan.jobs.iter().filter_map(|job| job.flat_field.as_ref()).peekable();
    if args.flat_field && wanted.peek().is_none() {
        console.line("no flat-field frame: no photograph was evened out")?;
    }
    for path in wanted.filter(|path| path.exists()) {
        console.line(&format!("flat-field frame: {}", path.display()))?;
    }
    Ok(())
}

/// What became of each job: the share of its pixels that clip by being raised, where it was raised, or
/// why it was not written.
type Written = Vec<Option<Result<Option<f64>, String>>>;

/// Says what could not be written and what clips, and makes the rows of all.
fn rows(
    plan: &Plan,
    args: &CorrectArgs,
    written: &Written,
    console: &mut Console,
) -> Vec<CorrectionRow> {
    let mut rows = Vec::new();
    for (job, written) in plan.jobs.iter().zip(written) {
        let file = path_text(&job.path);
        match written {
            Some(Err(reason)) => {
                console.warn(&format!("not written: {file}: {reason}"));
                let note = format!("not written: {reason}");
                rows.push(CorrectionRow { file, note, ..CorrectionRow::default() });
            }
            other => {
                let clips = other.as_ref().and_then(|o| o.as_ref().ok().copied().flatten());
                if let Some(share) = clips.filter(|&share| share >= WORTH_SAYING) {
                    console.warn(&format!(
                        "caution: {file}: {}, and {:.1} % of its pixels clip that did not before",
                        job.raised_word(),
                        100.0 * share
                    ));
                }
                rows.push(job.row(args, clips));
            }
        }
    }
    let skipped = plan.skipped.iter().map(|(path, reason)| CorrectionRow {
        file: path_text(path),
        note: format!("skipped: {reason}"),
        ..CorrectionRow::default()
    });
    rows.extend(skipped);
    rows
}

/// Corrects file by file, one reader and one picture a core; one bad file does not stop the rest.
/// Every two cores take turns in decoding.
fn write_all(plan: &Plan, args: &CorrectArgs, console: &Console) -> Written {
    let bar = console.progress(plan.jobs.len(), "correcting");
    let cores = at_once();
    let next = AtomicUsize::new(0);
    let written = Mutex::new(vec![None; plan.jobs.len()]);
    let turns: Vec<Mutex<()>> = (0..cores.div_ceil(2)).map(|_| Mutex::new(())).collect();
    std::thread::scope(|scope| {
        let (bar, next, written) = (&bar, &next, &written);
        for decoding in turns.iter().flat_map(|turn| [turn; 2]).take(cores.min(plan.jobs.len())) {
            scope.spawn(move || {
                let mut reader = Reader::new(gather::worker(), ReadOptions::default());
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = plan.jobs.get(at) else { break };
                    if job.done {
                        bar.inc(1);
                        continue;
                    }
                    let task = Task { job, args, decoding };
                    let done = task.run(&mut reader);
                    if let Ok(mut written) = written.lock() {
                        written[at] = Some(done);
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    written.into_inner().unwrap_or_default()
}

/// Where a corrected photograph goes.
#[must_use]
pub fn out_path(path: &std::path::Path, out: Option<&PathBuf>, raw: bool) -> PathBuf {
    let end = if raw { "-corrected.dng" } else { "-corrected.tif" };
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    if name.len() + end.len() > LONGEST_NAME {
        // Longer than the disk takes: found out now, not after the work.
        let text = name.to_string_lossy().into_owned();
        name = text[..text.floor_char_boundary(LONGEST_NAME - end.len())].into();
    }
    name.push(end);
    let folder = match out {
        Some(folder) => folder.clone(),
        None => path.parent().unwrap_or(std::path::Path::new("")).join("corrected"),
    };
    folder.join(name)
}
