//! What an earlier run left: what of it is gone on with, and what is not written over unasked.

use super::job::{Job, same_name};
use super::out_path;
use super::plan::Plan;
use crate::cli::CorrectArgs;
use crate::commands::output;
use crate::commands::photos::{self, packet};
use crate::editing::mark::Mark;
use crate::error::Failure;
use crate::read::carried::carried;
use crate::read::pool::path_text;
use crate::read::{Kind, file_bytes, kind_of};
use std::path::Path;

impl Plan {
    /// Finds what an earlier run of the same job left whole before it ended.
    pub fn go_on(&mut self, args: &CorrectArgs) {
        for job in self.jobs.iter_mut().filter(|_| !args.replace && !args.gains_only) {
            let Some(found) = photos::correction_in(&job.out) else { continue };
            let mark = mark_of(job, args);
            let flat = job.flat_field.as_ref().is_none_or(|flat| flat.exists());
            job.done = flat && mark.is(&found);
        }
        // A job that was done to its end is not done again unasked.
        if self.jobs.iter().all(|job| job.done) {
            self.jobs.iter_mut().for_each(|job| job.done = false);
        }
    }

    /// Finds every clash of names before the first file is written.
    ///
    /// # Errors
    /// Two photographs for one name, or a file that is there already.
    pub fn refuse_clashes(&self, args: &CorrectArgs) -> Result<(), Failure> {
        let mut outs: Vec<(&Path, &Path)> = Vec::new();
        if !args.gains_only {
            outs.extend(self.jobs.iter().map(|j| (j.out.as_path(), j.path.as_path())));
        }
        for (i, (out, from)) in outs.iter().enumerate() {
            if let Some((_, other)) = outs[..i].iter().find(|(o, _)| same_name(o, out)) {
                return Err(Failure::usage(format!(
                    "{} and {} would both become {}; correct them one by one with --out",
                    other.display(),
                    from.display(),
                    out.display()
                )));
            }
        }
        let open = |out: &&Path| !self.jobs.iter().any(|job| job.done && job.out == **out);
        let files: Vec<&Path> = outs.iter().map(|o| o.0).filter(open).collect();
        if !args.replace {
            self.refuse_others(args)?;
        }
        output::refuse_existing(&files, args.replace)?;
        let table = self.table_path(args);
        let files: Vec<&Path> = files.into_iter().chain([table.as_path()]).collect();
        output::refuse_inputs(&files, &self.read)
    }

    /// Says which files an earlier run wrote of photographs that are left alone now: a table that was mended
    /// since, or another profile, takes no file away. They are the person's, so they stay.
    pub fn name_left_behind(&mut self, args: &CorrectArgs) {
        if args.gains_only {
            return;
        }
        // What the table does not speak of may be another table's.
        for (path, reason) in self.skipped.iter().filter(|(path, _)| self.spoken_of.contains(path))
        {
            let out = out_path(path, args.out.as_ref(), kind_of(path) == Kind::Raw);
            if self.jobs.iter().any(|job| same_name(&job.out, &out)) {
                continue;
            }
            let Some(what) = photos::correction_in(&out) else { continue };
            self.faults += 1;
            self.left_behind.push(format!(
                "{} of an earlier run is still there and holds a correction that this run does not make \
                 ({what}): {} is skipped now, {reason}; delete that file unless you want to keep it",
                path_text(&out),
                path_text(path)
            ));
        }
    }

    /// Names what a file holds that an earlier run wrote by other words than these.
    fn refuse_others(&self, args: &CorrectArgs) -> Result<(), Failure> {
        let other = |job: &&Job| !args.gains_only && !job.done && job.out.exists();
        for job in self.jobs.iter().filter(other) {
            let Some(found) = photos::correction_in(&job.out) else { continue };
            let wanted = mark_of(job, args);
            if wanted.is(&found) {
                continue;
            }
            let [there, now] = wanted.apart(&found);
            let said =
                |words: &str| if words.is_empty() { "nothing of it" } else { words }.to_owned();
            let tells = |words: &str| words.split("; ").any(|part| part.starts_with("original "));
            let of = if tells(&there) && tells(&now) {
                " (of another photograph, or its sidecar has changed)"
            } else {
                ""
            };
            return Err(Failure::Nothing(format!(
                "{} exists already, and holds another correction{of}: there {}; now {}; use --replace to write \
                 it again, or --out",
                job.out.display(),
                said(&there),
                said(&now)
            )));
        }
        Ok(())
    }
}

fn mark_of(job: &Job, args: &CorrectArgs) -> Mark {
    let carried = file_bytes(&job.path).map(|bytes| carried(&bytes)).unwrap_or_default();
    job.mark(args, packet(&job.path, &carried).as_deref())
}
