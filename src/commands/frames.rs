//! `lightloss frames`: every frame with its exposure, levels, run and verdict.

use crate::cli::{Format, FramesArgs, ShootArgs};
use crate::commands::console::Console;
use crate::commands::gather::{self, Gathered};
use crate::commands::{bodies, named, output, picture, prints, shoot_json};
use crate::error::{Done, Failure};
use crate::measure::picture::PartFrames;
use crate::measure::{self, record};
use crate::profile::{FrameRecord, FrameState, PictureFrame, Profile};
use crate::read::ReadOptions;
use crate::report::frames_page::{About, Listed, frames_page};
use crate::report::lines;
use crate::say::taken;
use crate::shoot::{Shoot, Wish, survey};
use crate::shoot_file::{FILE_NAME, ShootFile};
use crate::text::{self, count, one_line, slug};
use crate::write;
use std::path::PathBuf;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or no frame could be read.
pub fn run(args: &FramesArgs, console: &mut Console) -> Result<Done, Failure> {
    let args = &FramesArgs { shoot: named::with_folder(&args.shoot)?, ..args.clone() };
    let targets = [args.page.then(|| page_path(args)), args.write.then(|| document_path(args))];
    let targets: Vec<PathBuf> = targets.into_iter().flatten().collect();
    output::refuse_existing(&targets, args.replace)?;
    let file = shoot_json::read(&args.shoot)?;
    let shoot_args =
        file.as_ref().map_or_else(|| args.shoot.clone(), |f| shoot_json::defaults(&args.shoot, f));
    let gathered = gather::gather(&shoot_args, console)?;
    let Gathered { candidates, files, left, paths, picture: of_picture } = gathered;
    let wish = shoot_json::wish(&shoot_args, file.as_ref(), &files)?;
    let (shoot, fault) = survey(candidates, &wish)?;
    let profile = if fault.is_some() { None } else { fitted(&shoot, args, console) };
    let records =
        profile.as_ref().map_or_else(|| record::frames(&shoot, &[]), |p| p.frames.clone());
    let parts = parts(&of_picture, &shoot_args, &wish, profile.is_some(), console);
    let picture = profile.as_ref().and_then(|profile| picture::measured(&parts, profile));
    let for_picture = picture.map(|picture| picture.frames).unwrap_or_default();
    print(args, &records, &for_picture, console)?;
    let beside = shoot_json::beside(&shoot, &left);
    if let Some(line) = &beside {
        console.warn(line);
    }
    if args.page {
        let fault = fault.as_ref().map(|fault| text::lines(&fault.to_string()));
        let about = About { fault, beside, name: name(args), made_by: made_by() };
        let drawn = prints::on_sheet(&shoot, &parts);
        if drawn.is_none() {
            let most = prints::MOST_ON_PAGE;
            console.warn(&format!("more than {most} frames: the page shows them without pictures"));
        }
        let pictures = prints::on_page(&drawn.unwrap_or_default());
        let listed = Listed { shoot: &shoot, records: &records, for_picture: &for_picture };
        let page = frames_page(&listed, &pictures, &about)?;
        write_page(args, page, &[paths, of_picture].concat(), console)?;
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
    let path = document_path(args);
    let text = shoot_json::understood(earlier, shoot, records, &name(args)).to_text()?;
    write::write(&path, text.as_bytes(), args.replace)?;
    console.warn(&format!("{} says what was understood; edit it", path.display()));
    Ok(())
}

/// The name of the folder.
fn name(args: &FramesArgs) -> String {
    let folder = args.shoot.shoot.canonicalize().unwrap_or_else(|_| args.shoot.shoot.clone());
    let name = folder.file_name().map(|name| one_line(&name.to_string_lossy()));
    name.filter(|name| !name.is_empty()).unwrap_or_else(|| "frames".to_owned())
}

fn made_by() -> String {
    format!("lightloss {}", crate::commands::VERSION)
}

fn write_page(
    args: &FramesArgs,
    page: String,
    read: &[PathBuf],
    console: &mut Console,
) -> Result<(), Failure> {
    let path = page_path(args);
    output::write_all(&page_folder(args), &[(page_file(args), page)], args.replace, read)?;
    console.warn(&format!("{} shows the frames", path.display()));
    Ok(())
}

fn page_folder(args: &FramesArgs) -> PathBuf {
    args.out.clone().unwrap_or_else(|| output::beside(&args.shoot.shoot))
}

fn page_file(args: &FramesArgs) -> PathBuf {
    PathBuf::from(format!("{}-frames.html", slug(&name(args))))
}

fn page_path(args: &FramesArgs) -> PathBuf {
    page_folder(args).join(page_file(args))
}

fn document_path(args: &FramesArgs) -> PathBuf {
    args.shoot.shoot.join(FILE_NAME)
}

/// The frames for sharpness, veil and ghosts, read where the shoot itself is measured: what they show
/// is told beside it alone.
fn parts(
    of_picture: &[PathBuf],
    args: &ShootArgs,
    wish: &Wish,
    is_measured: bool,
    console: &mut Console,
) -> Vec<PartFrames> {
    if !is_measured && !of_picture.is_empty() {
        let frames = count(of_picture.len(), "frame");
        console.warn(&format!(
            "{frames} for sharpness, veil or ghosts not read: the shoot itself is not measured"
        ));
        return Vec::new();
    }
    let options = ReadOptions { linear: args.linear };
    picture::read_told(of_picture, &args.shoot, wish, options, console)
}

fn print(
    args: &FramesArgs,
    records: &[FrameRecord],
    for_picture: &[PictureFrame],
    console: &mut Console,
) -> Result<(), Failure> {
    match args.shoot.format {
        Format::Json => {
            let mut all = serde_json::json!({ "frames": records });
            if !for_picture.is_empty() {
                all["picture_frames"] = serde_json::to_value(for_picture)?;
            }
            console.line(&serde_json::to_string_pretty(&all)?)?;
        }
        Format::Text => {
            console.print(&table(records))?;
            if !for_picture.is_empty() {
                console.print(&format!("\n{}", table_of_picture(for_picture)))?;
            }
        }
    }
    Ok(())
}

/// The fit runs where one is possible, so that these records and the profile's are the same.
fn fitted(shoot: &Shoot, args: &FramesArgs, console: &mut Console) -> Option<Profile> {
    let about = measure::About { said_alike: args.shoot.same_exposure, ..Default::default() };
    let about = bodies::with_record_told(args.shoot.without_record, &about, shoot, console);
    measure::measure(shoot, &about).ok()
}

/// The frames for sharpness, veil and ghosts: what for, and what each was taken as.
#[must_use]
pub fn table_of_picture(frames: &[PictureFrame]) -> String {
    let mut table = lines::table(["frame", "for", "taken as"]);
    for frame in frames {
        table.add_row([frame.file.clone(), frame.of.clone(), taken::of_picture(frame)]);
    }
    lines::rows(&table).collect()
}

/// The table, at most 80 columns where names are short.
#[must_use]
pub fn table(records: &[FrameRecord]) -> String {
    let mut table = lines::table([
        "frame", "run", "time", "f/", "ISO", "red", "green", "blue", "clip", "taken as",
    ]);
    for record in records {
        let level = |of: fn(&crate::profile::LevelsRecord) -> f64| {
            // Rounded first; a zero added to "-0" is 0.
            record.levels.as_ref().map_or(String::new(), |l| format!("{:.0}", of(l).round() + 0.0))
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
    lines::rows(&table).collect()
}

fn taken_as(record: &FrameRecord) -> String {
    match record.state {
        FrameState::Bare => "bare".to_owned(),
        FrameState::Dark => "dark".to_owned(),
        FrameState::Setting => "filtered".to_owned(),
        FrameState::LeftOut if record.verdict.code == "used" => taken::GOOD.to_owned(),
        FrameState::LeftOut => taken::serves(record)
            .map_or_else(|| format!("left out: {}", record.verdict.text), str::to_owned),
    }
}
