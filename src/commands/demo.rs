//! `lightloss demo`: renders the demo shoots and runs the whole job on them, command by command,
//! exactly as somebody would type it.

use crate::cli::{Cli, DemoArgs};
use crate::commands::console::Console;
use crate::error::{Done, Failure};
use crate::simulate::{demo, evening};
use crate::write::WriteError;
use clap::Parser;
use std::ffi::OsString;
use std::path::Path;

/// Runs the command.
///
/// # Errors
/// Where a file is in the way or cannot be written, or a step of the job fails.
pub fn run(args: &DemoArgs, console: &mut Console) -> Result<Done, Failure> {
    let out = &args.out;
    if out.exists() && !out.is_dir() {
        let shown = out.display();
        return Err(Failure::usage(format!("{shown} is not a folder; name a new one with --out")));
    }
    if out.exists() && !args.replace {
        return Err(WriteError::Exists { path: out.clone() }.into());
    }
    console
        .line("An invented photographer, an invented coast; every frame below is simulated.\n")?;
    let mut profiles = Vec::new();
    for shoot in demo::shoots() {
        let folder = out.join(shoot.folder);
        plan(&shoot, &folder, args.replace, console)?;
        shoot.write(&folder, args.replace)?;
        let profile = out.join(format!("{}-profile", shoot.folder));
        measure(&shoot, &folder, &profile, args.replace, console)?;
        profiles.push(profile);
    }
    // The two that were held before a target stay at home that evening, and are compared.
    let (bag, home) = profiles.split_at(profiles.len() - 2);
    field(out, bag, args.replace, console)?;
    // That evening only the two solid filters were in the bag.
    edit(out, &profiles[..2.min(profiles.len())], args.replace, console)?;
    let mut compare: Vec<OsString> = vec!["compare".into()];
    compare.extend(home.iter().map(OsString::from));
    step(compare, args.replace, console)?;
    console.line(&format!("\nEverything was written to {}.", out.display()))?;
    if let Some(first) = demo::shoots().first() {
        let folder = out.join(first.folder);
        console.line(&format!("See the frames: lightloss open {}", folder.display()))?;
    }
    Ok(Done::Clean)
}

/// Where the shoot was made by one.
fn plan(
    shoot: &demo::DemoShoot,
    folder: &Path,
    replace: bool,
    console: &mut Console,
) -> Result<(), Failure> {
    let (owned, Some(metered)) = (&shoot.filter, shoot.metered) else { return Ok(()) };
    let words = ["plan", "--kind", owned.kind, "--rated", owned.rated, "--metered", metered];
    let mut words: Vec<OsString> = words.map(OsString::from).into();
    words.extend(["--name".into(), owned.name.into(), "--out".into(), folder.into()]);
    step(words, replace, console)
}

fn measure(
    shoot: &demo::DemoShoot,
    folder: &Path,
    profile: &Path,
    replace: bool,
    console: &mut Console,
) -> Result<(), Failure> {
    let owned = &shoot.filter;
    let mut words = vec!["measure".into(), folder.into()];
    // The document of a plan says the rest.
    if shoot.metered.is_none() {
        words.extend(["--name", owned.name, "--rated", owned.rated].map(OsString::from));
        // A solid filter needs no flag; the others say what they are.
        if owned.kind != "solid" {
            words.extend(["--kind", owned.kind].map(OsString::from));
        }
    }
    words.extend(["--out".into(), profile.into()]);
    step(words, replace, console)
}

fn field(
    out: &Path,
    profiles: &[std::path::PathBuf],
    replace: bool,
    console: &mut Console,
) -> Result<(), Failure> {
    let kit = || profiles.iter().map(OsString::from);
    let mut card: Vec<OsString> = vec!["card".into()];
    card.extend(kit());
    card.extend(["--out".into(), out.join("card").into()]);
    step(card, replace, console)?;
    let mut choose: Vec<OsString> = vec!["choose".into()];
    choose.extend(kit());
    choose.extend(["--metered", "1/15", "--want", "30s..2m"].map(OsString::from));
    step(choose, false, console)
}

fn edit(
    out: &Path,
    profiles: &[std::path::PathBuf],
    replace: bool,
    console: &mut Console,
) -> Result<(), Failure> {
    let folder = out.join("evening");
    let evening = evening::evening();
    evening.write(&folder, replace)?;
    let photos = || evening.planted.iter().map(|p| OsString::from(folder.join(&p.file)));
    let used = OsString::from(folder.join("used.csv"));
    let mut which: Vec<OsString> = vec!["which".into()];
    which.extend(photos());
    which.push("--profile".into());
    which.extend(profiles.iter().map(OsString::from));
    which.extend(["--out".into(), used.clone()]);
    step(which, replace, console)?;
    let mut correct: Vec<OsString> = vec!["correct".into()];
    correct.extend(photos());
    correct.extend(["--used".into(), used, "--white".into(), "nearest-bare".into()]);
    step(correct, replace, console)
}

/// Shows a command line and runs it.
fn step(words: Vec<OsString>, replace: bool, console: &mut Console) -> Result<(), Failure> {
    let mut words = words;
    if replace {
        words.push("--replace".into());
    }
    let quoted = |word: &OsString| {
        let text = word.to_string_lossy();
        if text.contains(' ') { format!("\"{text}\"") } else { text.into_owned() }
    };
    let shown: Vec<String> = words.iter().map(quoted).collect();
    console.line(&format!("> lightloss {}\n", shown.join(" ")))?;
    let line = std::iter::once(OsString::from("lightloss")).chain(words);
    let cli = Cli::try_parse_from(line).map_err(Failure::usage)?;
    super::dispatch(cli.command, console)?;
    console.line("")
}
