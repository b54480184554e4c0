//! `lightloss measure`: a folder of frames to a profile with its page.

mod typed;

use crate::cli::{Format, MeasureArgs};
use crate::commands::console::Console;
use crate::commands::gather::{self, Gathered};
use crate::commands::prints::{self, Prints};
use crate::commands::profiles::{self, PROFILE};
use crate::commands::report::PAGE;
use crate::commands::{bodies, kit, named, output, picture, shoot_json};
use crate::error::{Done, Failure};
use crate::exposure;
use crate::exposure::limits::{SAID_SENSOR_MM, TOLERANCE_STOPS};
use crate::field::plan::rating_fits;
use crate::kit::Part;
use crate::kit::kept::means_none;
use crate::kit_folder::KitFolder;
use crate::measure::{About, measure};
use crate::profile::json;
use crate::profile::{Grade, Kind, Profile};
use crate::quantity::{Millimetres, Stops};
use crate::read::ReadOptions;
use crate::report;
use crate::say::cautions;
use crate::shoot::{Shoot, Wish, survey};
use crate::shoot_file::{FILE_NAME, ShootFile};
use crate::text::{one_line, slug};
use std::hint::black_box;
use std::path::{Path, PathBuf};

/// Damaged files that are named one by one.
const MOST_NAMED: usize = 12;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong, or nothing could be measured or written.
pub fn run(args: &MeasureArgs, console: &mut Console) -> Result<Done, Failure> {
    let args = &MeasureArgs { shoot: named::with_folder(&args.shoot)?, ..args.clone() };
    let file = shoot_json::read(&args.shoot)?;
    let obeyed = file.as_ref().map(|file| shoot_json::measure_defaults(args, file));
    let typed = args.rated.as_deref();
    let args = obeyed.as_ref().unwrap_or(args);
    refuse_unfit(typed, args)?;
    let about = about(args, file.as_ref(), console)?;
    let out = out_folder(args, &about.name);
    let targets = [PROFILE, PAGE].map(|name| out.join(name));
    if args.shoot.format == Format::Text {
        output::refuse_existing(&targets, args.replace)?;
    }
    expect_maps();
    let gathered = gather::gather(&args.shoot, console)?;
    let left = gathered.left.clone();
    let read: Vec<PathBuf> = gathered.paths.iter().chain(&gathered.picture).cloned().collect();
    let (shoot, mut profile, drawn) = measured(gathered, args, file.as_ref(), &about, console)?;
    if let Some(said) = settle_rating(args, &mut profile) {
        console.warn(&said);
    }
    // The summary holds them too, with their marks.
    if args.shoot.format == Format::Json || !console.one_terminal() {
        for caution in cautions::of_grade(&profile, Grade::Number) {
            console.warn(&format!("caution{}: {}", caution.of_which(), caution.text));
        }
    }
    let done = if shoot.has_faults() { Done::SomeLeftOut } else { Done::Clean };
    let text = json::to_text(&profile)?;
    if args.shoot.format == Format::Json {
        if args.out.is_some() {
            write_all(&profile, &text, &out, args, &read, &drawn)?;
        }
        keep(args, &text, console)?;
        console.print(&text)?;
        return Ok(done);
    }
    write_all(&profile, &text, &out, args, &read, &drawn)?;
    if let Some(line) = shoot_json::beside(&shoot, &left) {
        console.warn(&line);
    }
    console.print(&report::terminal::summary(&profile, &targets[1], console.bold_allowed()))?;
    if args.open && opener::open(&targets[1]).is_err() {
        console.warn("the page could not be opened; open it yourself");
    }
    // Last, so that a kit that cannot be written takes nothing of the measurement away.
    keep(args, &text, console)?;
    // The process ends: the system takes its memory faster than it can be taken apart.
    std::mem::forget(shoot);
    Ok(done)
}

fn keep(args: &MeasureArgs, text: &str, console: &mut Console) -> Result<(), Failure> {
    if args.keep {
        let document = json::Document::parse(text)?;
        console.warn(&kit::keep(&KitFolder::of_person()?, &document, args.replace)?);
    }
    Ok(())
}

fn measured(
    gathered: Gathered,
    args: &MeasureArgs,
    file: Option<&ShootFile>,
    about: &About,
    console: &mut Console,
) -> Result<(Shoot, Profile, Prints), Failure> {
    let wish = wish(args, file, &gathered.files, about)?;
    let (shoot, fault) = survey(gathered.candidates, &wish)?;
    name_damaged(&shoot, console);
    if let Some(fault) = fault {
        return Err(fault.into());
    }
    let is_drawn = args.shoot.format == Format::Text || args.out.is_some();
    let draw = || if is_drawn { prints::of_shoot(&shoot) } else { Prints::new() };
    let about = &bodies::with_record_told(args.shoot.without_record, about, &shoot, console);
    // Measuring is done in single file for the greater part.
    let (profile, drawn) = rayon::join(|| measure(&shoot, about), draw);
    let mut profile = profile?;
    let (folder, options) = (&args.shoot.shoot, ReadOptions { linear: args.shoot.linear });
    profile.picture =
        picture::picture(&gathered.picture, folder, &wish, options, &profile, console);
    Ok((shoot, profile, drawn))
}

/// A block that is given back tells the GNU C library what comes and goes (mallopt(3),
/// M_MMAP_THRESHOLD). Maps of all cells of a frame do, and need no pages anew each time then.
fn expect_maps() {
    drop(black_box(Vec::<u8>::with_capacity(MAPS)));
}

/// A rating up to this is a weak filter's, as of one that only protects the lens, stops (ours).
const WEAK_RATING: f64 = 0.5;
/// More than the maps of a frame take.
const MAPS: usize = 24 << 20;

/// What is wished and said of the frames of a filter.
///
/// # Errors
/// Where the command line or shoot.json names what is not there.
pub fn wish(
    args: &MeasureArgs,
    file: Option<&ShootFile>,
    files: &[String],
    about: &About,
) -> Result<Wish, Failure> {
    let mut wish = shoot_json::wish(&args.shoot, file, files)?;
    if !args.parts.is_empty() {
        wish.kind = Some(Kind::Stack);
    }
    wish.single_strength = about.rated.is_some();
    wish.is_weak = about.rated.is_some_and(|rated| rated.get() <= WEAK_RATING);
    wish.typed_of_filter = typed::of_filter(args, file);
    wish.typed_of_camera = typed::of_camera(args, file);
    wish.out = typed::out(args, &about.name);
    Ok(wish)
}

/// Says which files are damaged, whatever comes of the others.
fn name_damaged(shoot: &Shoot, console: &mut Console) {
    let damaged: Vec<_> = shoot.damaged().collect();
    for (file, judgement) in damaged.iter().take(MOST_NAMED) {
        console.warn(&format!("left out: {file}: {}", judgement.verdict().text));
    }
    if let Some(more) = damaged.len().checked_sub(MOST_NAMED).filter(|more| *more > 0) {
        console
            .warn(&format!("left out: {more} more files like these; lightloss frames lists all"));
    }
}

/// Refuses a rating that was typed for a kind of filter that has none of this form.
fn refuse_unfit(typed: Option<&str>, args: &MeasureArgs) -> Result<(), Failure> {
    let stack = (!args.parts.is_empty()).then_some(Kind::Stack);
    let kind = args.shoot.kind.or(stack);
    let (Some(rated), Some(kind)) = (typed, kind) else { return Ok(()) };
    let rating = exposure::parse_rating(rated).map_err(Failure::usage)?;
    rating_fits(kind, &rating).map_err(Failure::usage)
}

/// Takes a rating like 3.0 as a density where the measurement fits that alone, and one of the wrong
/// form for the kind that was found not at all; says so.
pub fn settle_rating(args: &MeasureArgs, profile: &mut Profile) -> Option<String> {
    let given = args.rated.as_deref()?;
    let rating = exposure::parse_rating(given).ok()?;
    let filter = &mut profile.filter;
    if let Err(why) = rating_fits(filter.kind, &rating) {
        (filter.rated_stops, filter.rated_range_stops) = (None, None);
        return Some(format!(
            "the rating {} was not used, since the frames were measured as those of a {} \
             filter: {why}",
            quoted(given),
            filter.kind.adjective()
        ));
    }
    let dark_end = profile.graduation.as_ref().map(|g| g.dark_end_stops);
    let centre = profile.settings.first().map(|s| s.strength.stops);
    let settled = rating.settled_by(dark_end.or(centre)?)?;
    profile.filter.rated_stops = settled.single();
    settled.said
}

/// A rating as it was typed; of a number of stops, which a document has without a unit, the number.
fn quoted(given: &str) -> String {
    let number = given.strip_suffix(" stops").or_else(|| given.strip_suffix(" stop"));
    match number.filter(|number| number.parse::<f64>().is_ok()) {
        Some(_) => format!("of {given}"),
        None => format!("{given:?}"),
    }
}

/// The rating that was typed, or else the one that the document holds.
fn rating(
    args: &MeasureArgs,
    file: Option<&ShootFile>,
) -> Result<Option<exposure::Rating>, Failure> {
    let Some(given) = args.rated.as_deref() else { return Ok(None) };
    exposure::parse_rating(given).map(Some).map_err(|why| match file {
        Some(file) if shoot_json::rating(file).as_deref() == Some(given) => {
            let numbers: Vec<String> =
                file.filter.rated.iter().map(|stops| stops.get().to_string()).collect();
            Failure::Nothing(format!(
                "{FILE_NAME}, \"rated\": [{}] is no strength of a filter; write stops above 0 and up to \
                 20, of a variable filter the weaker end and then the stronger",
                numbers.join(", ")
            ))
        }
        _ => Failure::usage(why),
    })
}

/// What is claimed of the filter and wished for its profile.
///
/// # Errors
/// Where the command line is wrong.
pub fn about(
    args: &MeasureArgs,
    file: Option<&ShootFile>,
    console: &mut Console,
) -> Result<About, Failure> {
    let rating = rating(args, file)?;
    if let Some(said) = rating.as_ref().and_then(|r| r.said.as_deref()) {
        console.warn(said);
    }
    let folder = args.shoot.shoot.canonicalize().unwrap_or_else(|_| args.shoot.shoot.clone());
    let name = args.name.clone().unwrap_or_else(|| {
        folder.file_name().map_or_else(|| "filter".to_owned(), |n| n.to_string_lossy().into_owned())
    });
    let name = one_line(&name);
    if name.is_empty() {
        return Err(Failure::usage("--name is empty; give the filter a name".to_owned()));
    }
    if args.name.is_some() && means_none(&name) {
        return Err(Failure::usage(format!(
            "--name {name:?} says in tables and keywords that there was no filter; give it another name"
        )));
    }
    let planned = file.is_some_and(|f| f.filter.kind.is_some());
    let typed = args.rated != file.and_then(shoot_json::rating);
    Ok(About {
        name,
        kind_said: args.shoot.kind.is_some() || planned,
        marks_named: !args.shoot.marks.is_empty() || file.is_some(),
        rated: rating.as_ref().and_then(exposure::Rating::single),
        rated_as: rating.as_ref().filter(|_| typed).map(|rating| rating.reading),
        rated_range: rating.as_ref().and_then(exposure::Rating::range),
        size: file.and_then(|f| f.filter.size.clone()),
        form: file.and_then(|f| f.filter.form),
        note: args.note.as_deref().map(one_line),
        said_alike: args.shoot.same_exposure,
        focal_length: args.shoot.focal.map(gather::focal).transpose()?,
        sensor_mm: args.shoot.sensor.as_deref().map(sensor).transpose()?,
        parts: parts(args)?,
        tolerance: args.tolerance.as_deref().map(tolerance).transpose()?,
        camera_record: None,
    })
}

/// Stops that a frame may be uneven by, written 0.33 or 1/3.
fn tolerance(text: &str) -> Result<Stops, Failure> {
    let number = |s: &str| s.trim().parse::<f64>().ok();
    let stops = match text.split_once('/') {
        Some((over, under)) => number(over).zip(number(under)).map(|(a, b)| a / b),
        None => number(text),
    };
    let (least, most) = TOLERANCE_STOPS.into_inner();
    stops.filter(|s| TOLERANCE_STOPS.contains(s)).map(Stops::new).ok_or_else(|| {
        Failure::usage(format!(
            "--tolerance {text:?} is not understood; write stops (from {least} to {most}), \
             e.g. --tolerance 0.33"
        ))
    })
}

/// The single filters of a stack, from their profiles.
fn parts(args: &MeasureArgs) -> Result<Vec<Part>, Failure> {
    if !args.parts.is_empty() && args.shoot.kind.is_some_and(|k| k != Kind::Stack) {
        return Err(Failure::usage(
            "--parts belongs to --kind stack; leave one of the two away".to_owned(),
        ));
    }
    let files = profiles::files(&args.parts);
    let parts = files.iter().map(|file| part(file)).collect::<Result<Vec<_>, _>>()?;
    match files.as_slice() {
        [only] => Err(Failure::usage(format!(
            "--parts {:?} is one filter; a stack has two or more, e.g. --parts six-profile,three-profile",
            only.display().to_string()
        ))),
        _ => Ok(parts),
    }
}

fn part(file: &Path) -> Result<Part, Failure> {
    let profile = profiles::open(file).map_err(|why| {
        Failure::usage(format!(
            "--parts: {why}; give each single filter's profile, e.g. --parts \
             six-profile,three-profile"
        ))
    })?;
    let profile = profile.profile;
    if profile.filter.kind == Kind::Graduated {
        return Err(Failure::usage(format!(
            "--parts {:?}: a graduated filter takes more at one end than at the other, so no one strength \
             is its part of a stack; measure the stack without --parts",
            file.display().to_string()
        )));
    }
    match profile.settings.as_slice() {
        [only] => Ok(Part::of(&profile, only)),
        many => Err(Failure::usage(format!(
            "--parts {:?}: it holds {} settings, and which of them was in the stack cannot be told; \
             give profiles of one strength",
            file.display().to_string(),
            many.len()
        ))),
    }
}

/// Width and height in millimetres, written 36x24.
fn sensor(text: &str) -> Result<(Millimetres, Millimetres), Failure> {
    let lower = text.trim().to_lowercase();
    let sides = lower.trim_end_matches("mm").split_once(['x', '\u{d7}', '*']);
    let side = |s: &str| s.trim().parse::<f64>().ok();
    let Some((width, height)) = sides.and_then(|(w, h)| side(w).zip(side(h))) else {
        return Err(Failure::usage(format!(
            "--sensor {text:?} is not understood; write width and height in millimetres, e.g. --sensor 36x24"
        )));
    };
    if [width, height].iter().all(|side| SAID_SENSOR_MM.contains(side)) {
        return Ok((Millimetres::new(width), Millimetres::new(height)));
    }
    let (least, most) = SAID_SENSOR_MM.into_inner();
    Err(Failure::usage(format!(
        "--sensor {text:?} is not possible; give width and height in millimetres (from {least} to \
         {most}), e.g. --sensor 36x24"
    )))
}

/// A folder named after the filter beside the shoot's folder, never on a camera card.
#[must_use]
pub fn out_folder(args: &MeasureArgs, name: &str) -> PathBuf {
    if let Some(out) = &args.out {
        return out.clone();
    }
    output::beside(&args.shoot.shoot).join(format!("{}-profile", slug(name)))
}

/// Writes profile, page, plots and small pictures of the frames; the profile last, so that it never
/// stands without its page.
///
/// # Errors
/// Where a file is in the way or cannot be written.
pub fn write_all(
    profile: &Profile,
    text: &str,
    out: &Path,
    args: &MeasureArgs,
    frames: &[PathBuf],
    drawn: &Prints,
) -> Result<(), Failure> {
    let page = output::page(report::page_with(profile, prints::on_page(drawn))?, PAGE);
    let mut files = prints::files(drawn, profile);
    files.extend(page.into_iter().map(|(path, text)| (path, text.into_bytes())));
    files.push((PROFILE.into(), text.as_bytes().to_vec()));
    let document = args.shoot.shoot.join(FILE_NAME);
    let mut read = profiles::files(&args.parts);
    read.extend(frames.iter().cloned().chain([document]));
    output::write_all(out, &files, args.replace, &read)
}
