//! `lightloss choose`.

use crate::cli::ChooseArgs;
use crate::commands::console::Console;
use crate::commands::{gather, profiles};
use crate::error::{Done, Failure};
use crate::exposure::limits::ISO;
use crate::exposure::{GivenTime, Times, parse_time};
use crate::field::choose::{Question, rank};
use crate::quantity::{Iso, Seconds};
use crate::report::choose_text;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &ChooseArgs, console: &mut Console) -> Result<Done, Failure> {
    let metered = parse_time(&args.metered).map_err(Failure::usage)?;
    let (shortest, longest) = wanted(&args.want)?;
    let question = Question {
        metered: metered.true_time(Times::Dial),
        shortest,
        longest,
        f_number: args.f.map(gather::f_number).transpose()?,
        iso: args.iso.map(iso).transpose()?,
        focal: args.focal.map(gather::focal).transpose()?,
        most: usize::from(args.stack),
    };
    let paths = profiles::given_or_kept(&args.profiles, console)?;
    let kit = profiles::kit(&paths, console)?;
    let choices = rank(&kit, &question);
    let dial = metered.dial().map_or_else(|| metered.text(), |dial| format!("{} s", dial.text()));
    console.print(&choose_text::text(&kit, &question, &dial, &choices))?;
    Ok(if kit.skipped.is_empty() { Done::Clean } else { Done::SomeLeftOut })
}

/// One time, or two with two points between them.
fn wanted(text: &str) -> Result<(Seconds, Seconds), Failure> {
    let one = |text: &str| {
        parse_time(text)
            .map(|given: GivenTime| given.true_time(Times::Dial))
            .map_err(|error| Failure::usage(format!("--want: {error}; a range is 30s..2m")))
    };
    let Some((from, to)) = text.split_once("..") else {
        return one(text).map(|time| (time, time));
    };
    let (from, to) = (one(from)?, one(to)?);
    if from <= to {
        return Ok((from, to));
    }
    Err(Failure::usage(format!(
        "--want \"{text}\" goes from the longer time to the shorter; write it like 30s..2m"
    )))
}

fn iso(value: f64) -> Result<Iso, Failure> {
    gather::possible("--iso", ISO, "a setting like 100")(value).map(Iso::new)
}
