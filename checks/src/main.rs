//! The acceptance checks of lightloss: campaigns that are too long for a test, each a subcommand
//! that prints what it found and fails by its exit status. `README.md` beside this package names
//! each with what it fails on.

#![allow(clippy::print_stdout, clippy::print_stderr, clippy::unwrap_used, missing_docs)]

mod across;
mod campaign;
mod cards;
mod correct;
mod coverage;
mod coverage_across;
mod crosses;
mod damage;
mod drawn;
mod evenings;
mod frames;
mod judgement;
mod kept;
mod machine;
mod picture;
mod program;
mod scaling;
mod shoot;
mod structure;
mod window;

use clap::{Parser, Subcommand};
use program::Program;
use std::path::PathBuf;
use std::process::ExitCode;

/// What a check comes to: nothing, or in words what does not hold.
type Verdict = Result<(), String>;

#[derive(Parser)]
#[command(name = "lightloss-checks", about = "Acceptance checks of lightloss")]
struct Words {
    /// The program under check; without it LIGHTLOSS, else `lightloss` beside this one
    #[arg(long, global = true, value_name = "FILE")]
    program: Option<PathBuf>,
    #[command(subcommand)]
    check: Check,
}

#[derive(Subcommand)]
enum Check {
    /// Does the uncertainty of strengths and gains hold planted truth?
    Coverage(coverage::Options),
    /// Does the uncertainty of what is across the frame hold planted truth?
    CoverageAcross(coverage_across::Options),
    /// Dark crosses seen where there is none, and missed where there is one
    Crosses(crosses::Options),
    /// Messy memory cards: measured, refused or flagged as a person would
    Cards(cards::Options),
    /// Evenings of photographs: which had which filter, and how sure that is
    Evenings(evenings::Options),
    /// How long an album takes with a bag of many filters, and a word on it
    Albums(evenings::album::Options),
    /// Damaged files by the thousand through the program
    Campaign(campaign::Options),
    /// Shoots with damaged frames: is the number right, or is the damage named?
    Damage(damage::Options),
    /// Well-formed files that are wrong: is the number right, in doubt, or refused?
    Structure(structure::Options),
    /// Is the judgement as good as the measurement, in a world of its own?
    Judgement(judgement::Options),
    /// Does a kit's history tell a filter that ages from one that does not?
    Kit(judgement::histories::Options),
    /// Sharpness, veil and ghosts against what was planted
    Picture(picture::Options),
    /// How the cost grows with frames and with pixels
    Scaling(scaling::Options),
    /// The share of the time that everything across the frame takes
    Across(across::Options),
    /// Speed and memory of a shoot beside LibRaw and beside the floor
    Shoot(shoot::Options),
    /// Time and memory of corrections
    Correct(correct::Options),
    /// How soon the window shows pictures, all frames, and the numbers of a decision
    Window(window::Options),
}

fn run(words: Words) -> Verdict {
    let program = || Program::found(words.program);
    match words.check {
        Check::Coverage(options) => coverage::check(&options),
        Check::CoverageAcross(options) => coverage_across::check(&options),
        Check::Crosses(options) => crosses::check(&options),
        Check::Cards(options) => cards::check(&options, &program()?),
        Check::Evenings(options) => evenings::check(&options),
        Check::Albums(options) => evenings::album::check(&options),
        Check::Campaign(options) => campaign::check(&options, &program()?),
        Check::Damage(options) => damage::check(&options, &program()?),
        Check::Structure(options) => structure::check(&options, &program()?),
        Check::Judgement(options) => judgement::check(&options),
        Check::Kit(options) => judgement::histories::check(&options),
        Check::Picture(options) => picture::check(&options, &program()?),
        Check::Scaling(options) => scaling::check(&options, &program()?),
        Check::Across(options) => across::check(&options, &program()?),
        Check::Shoot(options) => shoot::check(&options, &program()?),
        Check::Correct(options) => correct::check(&options, &program()?),
        Check::Window(options) => window::check(&options, &program()?),
    }
}

fn main() -> ExitCode {
    match run(Words::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("lightloss-checks: {why}");
            ExitCode::FAILURE
        }
    }
}
