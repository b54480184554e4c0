//! `lightloss frames`: every frame with its exposure, levels, run and verdict.

use crate::cli::{Format, FramesArgs};
use crate::commands::console::Console;
use crate::commands::gather::{self, Gathered};
use crate::commands::shoot_json;
use crate::error::{Done, Failure};
use crate::measure::{About, measure};
use crate::profile::{FrameRecord, FrameState};
use crate::shoot::{Shoot, survey};
use crate::shoot_file::{FILE_NAME, ShootFile};
use crate::write;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or no frame could be read.
pub fn run(args: &FramesArgs, console: &mut Console) -> Result<Done, Failure> {
    let file = shoot_json::read(&args.shoot)?;
    let shoot_args =
        file.as_ref().map_or_else(|| args.shoot.clone(), |f| shoot_json::defaults(&args.shoot, f));
    let Gathered { candidates, files, left, .. } = gather::gather(&shoot_args, console)?;
    let wish = shoot_json::wish(&shoot_args, file.as_ref(), &files)?;
    let (shoot, fault) = survey(candidates, &wish)?;
    let records = records(&shoot, fault.is_some(), args);
    match args.shoot.format {
        Format::Json => {
            let text = serde_json::to_string_pretty(&serde_json::json!({ "frames": records }))?;
            console.line(&text)?;
        }
        Format::Text => console.print(&table(&records))?,
    }
    if let Some(line) = shoot_json::beside(&shoot, &left) {
        console.warn(&line);
    }
    if args.write {
        write_document(args, file, &shoot, &records, console)?;
    }
    match fault {
        Some(fault) => Err(fault.into()),
        None if shoot.has_faults() => Ok(Done::SomeLeftOut),
        None => Ok(Done::Clean),
    }
}

fn write_document(
    args: &FramesArgs,
    earlier: Option<ShootFile>,
    shoot: &Shoot,
    records: &[FrameRecord],
    console: &mut Console,
) -> Result<(), Failure> {
    let path = args.shoot.shoot.join(FILE_NAME);
    let folder = args.shoot.shoot.canonicalize().unwrap_or_else(|_| args.shoot.shoot.clone());
    let name = folder.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let text = shoot_json::understood(earlier, shoot, records, &name).to_text()?;
    write::write(&path, text.as_bytes(), args.replace)?;
    console.warn(&format!("{} says what was understood; edit it", path.display()));
    Ok(())
}

/// The fit runs where one is possible, so that these records and the profile's are the same.
fn records(shoot: &Shoot, unmeasurable: bool, args: &FramesArgs) -> Vec<FrameRecord> {
    let about = About { said_alike: args.shoot.same_exposure, ..About::default() };
    let profile = if unmeasurable { None } else { measure(shoot, &about).ok() };
    profile.map_or_else(|| crate::measure::record::frames(shoot, &[]), |p| p.frames)
}

/// The table, at most 80 columns where names are short.
#[must_use]
pub fn table(records: &[FrameRecord]) -> String {
    let mut table = comfy_table::Table::new();
    table.load_style(comfy_table::presets::NOTHING);
    table.set_header([
        "frame", "run", "time", "f/", "ISO", "red", "green", "blue", "clip", "taken as",
    ]);
    for record in records {
        let level = |of: fn(&crate::profile::LevelsRecord) -> f64| {
            record.levels.as_ref().map_or(String::new(), |l| format!("{:.0}", of(l)))
        };
        table.add_row([
            record.file.clone(),
            record.run.map_or(String::new(), |r| r.to_string()),
            record.dial_time.clone().unwrap_or_default(),
            record
                .f_number
                .map_or(String::new(), |n| format!("{}", (n.get() * 10.0).round() / 10.0)),
            record.iso.map_or(String::new(), |s| format!("{:.0}", s.get())),
            level(|l| l.red.get()),
            level(|l| f64::midpoint(l.green_1.get(), l.green_2.get())),
            level(|l| l.blue.get()),
            record.clipped_percent.map_or(String::new(), |c| format!("{:.1}", c.get())),
            taken_as(record),
        ]);
    }
    // Numbers stand under each other.
    for column in 1..9 {
        if let Some(column) = table.column_mut(column) {
            column.set_cell_alignment(comfy_table::CellAlignment::Right);
        }
    }
    table.lines().map(|line| format!("{}\n", line.trim_end())).collect()
}

fn taken_as(record: &FrameRecord) -> String {
    match record.state {
        FrameState::Bare => "bare".to_owned(),
        FrameState::Dark => "dark".to_owned(),
        FrameState::Setting => "filtered".to_owned(),
        FrameState::LeftOut if record.verdict.code == "used" => "good".to_owned(),
        FrameState::LeftOut => format!("left out: {}", record.verdict.text),
    }
}
