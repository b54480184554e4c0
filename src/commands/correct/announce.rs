//! What is said of the plan before the first file is written.

use super::plan::Plan;
use crate::commands::console::Console;
use crate::error::Failure;
use crate::profile::Light;
use crate::read::pool::path_text;

impl Plan {
    /// Says what is assumed of every photograph, what is skipped, and the series.
    ///
    /// # Errors
    /// Where standard output cannot be written.
    pub fn say(&mut self, console: &mut Console) -> Result<(), Failure> {
        let mut said = Vec::new();
        let mut number = 0;
        for job in &self.jobs {
            if job.series != number {
                number = job.series;
                console.line(&format!("series {number}, {}:", job.words))?;
            }
            let words = |what: &str, light: &Option<Light>| {
                let light = light.as_ref();
                let said = light
                    .map(|l| format!(", {what} {:.0} K Duv {:+.4}", l.cct_k.get(), l.duv.get()));
                said.unwrap_or_default()
            };
            let kelvin = words("light", &job.correction.before)
                + &words("white balance", &job.correction.after);
            let neutral = job.correction.neutral;
            console.line(&format!(
                "  {}: neutral {:.4} 1 {:.4}{}",
                path_text(&job.path),
                neutral[0],
                neutral[2],
                kelvin
            ))?;
            for note in &job.notes {
                if !said.contains(note) {
                    said.push(note.clone());
                }
            }
        }
        for (path, reason) in &self.skipped {
            console.warn(&format!("skipped: {}: {reason}", path_text(path)));
        }
        for note in said.iter().chain(&self.cautions) {
            console.warn(&format!("caution: {note}"));
        }
        self.say_left_behind(console);
        Ok(())
    }

    /// Names the files of an earlier run that are wrong by now.
    pub fn say_left_behind(&self, console: &mut Console) {
        for note in &self.left_behind {
            console.warn(&format!("caution: {note}"));
        }
    }
}
