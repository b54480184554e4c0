//! `lightloss measure`: a folder of frames to a profile with its page.

use crate::cli::{Format, KindArg, MeasureArgs};
use crate::commands::console::Console;
use crate::commands::gather::{self, Gathered, positive};
use crate::commands::said;
use crate::error::{Done, Failure};
use crate::exposure;
use crate::measure::stack::Part;
use crate::measure::{About, measure};
use crate::profile::json::{self, Document};
use crate::profile::{Grade, Kind, Profile, StopsU95};
use crate::quantity::{Millimetres, Stops};
use crate::report::{self, ReportFiles};
use crate::shoot::{Shoot, sort};
use crate::shoot_file::ShootFile;
use crate::write;
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong, or nothing could be measured or written.
pub fn run(args: &MeasureArgs, console: &mut Console) -> Result<Done, Failure> {
    let file = said::read(&args.shoot)?;
    let obeyed = file.as_ref().map(|file| said::measure_defaults(args, file));
    let args = obeyed.as_ref().unwrap_or(args);
    let about = about(args, file.as_ref(), console)?;
    let out = out_folder(args, &about.name);
    let targets = ["profile.json", "report.html"].map(|name| out.join(name));
    if !args.replace && args.shoot.format == Format::Text {
        refuse_existing(&targets)?;
    }
    let gathered = gather::gather(&args.shoot, console)?;
    let ignored = gathered.ignored;
    let (shoot, profile) = measured(gathered, args, file.as_ref(), &about)?;
    // The summary holds them too, with their marks.
    if args.shoot.format == Format::Json || !console.one_terminal() {
        for caution in cautions(&profile, Grade::Number) {
            console.complain(&format!("caution: {caution}"));
        }
    }
    let done = if shoot.has_faults() { Done::SomeLeftOut } else { Done::Clean };
    let text = json::to_text(&profile).map_err(|e| Failure::Nothing(e.to_string()))?;
    if args.shoot.format == Format::Json {
        if args.out.is_some() {
            refuse_unless(args.replace, &targets)?;
            write_all(&profile, &text, &out, args.replace)?;
        }
        console.print(&text)?;
        return Ok(done);
    }
    write_all(&profile, &text, &out, args.replace)?;
    if let Some(line) = said::beside(&shoot, ignored) {
        console.complain(&line);
    }
    console.print(&report::terminal::summary(&profile, &targets[1], console.bold_allowed()))?;
    Ok(done)
}

fn measured(
    gathered: Gathered,
    args: &MeasureArgs,
    file: Option<&ShootFile>,
    about: &About,
) -> Result<(Shoot, Profile), Failure> {
    let mut wish = said::wish(&args.shoot, file, &gathered.files)?;
    if !args.parts.is_empty() {
        wish.kind = Some(Kind::Stack);
    }
    let shoot = sort(gathered.candidates, &wish).map_err(|e| Failure::Nothing(e.to_string()))?;
    let profile = measure(&shoot, about).map_err(|e| Failure::Nothing(e.to_string()))?;
    Ok((shoot, profile))
}

fn about(
    args: &MeasureArgs,
    file: Option<&ShootFile>,
    console: &mut Console,
) -> Result<About, Failure> {
    let rating = args
        .rated
        .as_deref()
        .map(exposure::parse_rating)
        .transpose()
        .map_err(|e| Failure::Usage(e.to_string()))?;
    if let Some(said) = rating.as_ref().and_then(|r| r.said.as_deref()) {
        console.complain(said);
    }
    let folder = args.shoot.shoot.canonicalize().unwrap_or_else(|_| args.shoot.shoot.clone());
    let name = args.name.clone().unwrap_or_else(|| {
        folder.file_name().map_or_else(|| "filter".to_owned(), |n| n.to_string_lossy().into_owned())
    });
    if name.trim().is_empty() {
        return Err(Failure::Usage("--name is empty; give the filter a name".to_owned()));
    }
    Ok(About {
        name,
        rated: rating.as_ref().and_then(exposure::Rating::single),
        rated_range: rating.as_ref().and_then(exposure::Rating::range),
        size: file.and_then(|f| f.filter.size.clone()),
        form: file.and_then(|f| f.filter.form),
        note: args.note.clone(),
        said_alike: args.shoot.same_exposure,
        focal_length: args.shoot.focal.map(positive("--focal")).transpose()?.map(Millimetres::new),
        sensor_mm: args.shoot.sensor.as_deref().map(sensor).transpose()?,
        parts: parts(args)?,
        tolerance: args.tolerance.as_deref().map(tolerance).transpose()?,
    })
}

/// Stops above zero, written 0.33 or 1/3.
fn tolerance(text: &str) -> Result<Stops, Failure> {
    let number = |s: &str| s.trim().parse::<f64>().ok();
    let stops = match text.split_once('/') {
        Some((over, under)) => number(over).zip(number(under)).map(|(a, b)| a / b),
        None => number(text),
    };
    stops.filter(|s| s.is_finite() && *s > 0.0).map(Stops::new).ok_or_else(|| {
        Failure::Usage(format!(
            "--tolerance {text:?} is not understood; write stops above zero, e.g. --tolerance 0.33"
        ))
    })
}

/// The single filters of a stack, from their profiles.
fn parts(args: &MeasureArgs) -> Result<Vec<Part>, Failure> {
    if !args.parts.is_empty() && args.shoot.kind.is_some_and(|k| k != KindArg::Stack) {
        return Err(Failure::Usage(
            "--parts belongs to --kind stack; leave one of the two away".to_owned(),
        ));
    }
    args.parts.iter().map(|path| part(path)).collect()
}

fn part(path: &Path) -> Result<Part, Failure> {
    let file = if path.is_dir() { path.join("profile.json") } else { path.to_path_buf() };
    let shown = file.display().to_string();
    let refused = |why: String| Failure::Usage(format!("--parts {shown:?}: {why}"));
    let no_profile = |why: String| {
        refused(format!(
            "{why}; give each single filter's profile.json or its folder, e.g. --parts \
             six-profile,three-profile"
        ))
    };
    let text = std::fs::read_to_string(&file).map_err(|e| no_profile(e.to_string()))?;
    let profile = Document::parse(&text).map_err(|e| no_profile(e.to_string()))?.profile;
    match profile.settings.as_slice() {
        [only] => Ok(Part {
            name: profile.filter.name.clone(),
            strength: StopsU95 { stops: only.strength.stops, u95: only.strength.u95 },
        }),
        many => Err(refused(format!(
            "it holds {} settings, and which of them was in the stack cannot be told; give profiles \
             of one strength",
            many.len()
        ))),
    }
}

/// Width and height in millimetres, written 36x24.
fn sensor(text: &str) -> Result<(Millimetres, Millimetres), Failure> {
    let lower = text.trim().to_lowercase();
    let sides = lower.trim_end_matches("mm").split_once(['x', '\u{d7}', '*']);
    let side = |s: &str| s.trim().parse::<f64>().ok().filter(|v| (1.0..=200.0).contains(v));
    let parsed = sides.and_then(|(w, h)| Some((side(w)?, side(h)?)));
    parsed.map(|(w, h)| (Millimetres::new(w), Millimetres::new(h))).ok_or_else(|| {
        Failure::Usage(format!(
            "--sensor {text:?} is not understood; write width and height in millimetres, e.g. --sensor 36x24"
        ))
    })
}

/// A folder named after the filter beside the shoot's folder, never on a camera card.
fn out_folder(args: &MeasureArgs, name: &str) -> PathBuf {
    if let Some(out) = &args.out {
        return out.clone();
    }
    let shoot = args.shoot.shoot.canonicalize().unwrap_or_else(|_| args.shoot.shoot.clone());
    let on_card = shoot.components().any(|c| {
        let part = c.as_os_str().to_string_lossy();
        part.eq_ignore_ascii_case("dcim") || crate::shoot::labels::is_camera_folder(&part)
    });
    let beside = if on_card {
        PathBuf::from(".")
    } else {
        shoot.parent().map_or_else(|| PathBuf::from("."), Path::to_path_buf)
    };
    beside.join(format!("{}-profile", slug(name)))
}

/// A name that every file system takes: letters and digits, the rest as single dashes.
#[must_use]
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_alphanumeric() {
            slug.push(c);
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
    }
    let slug = slug.trim_end_matches('-').to_owned();
    if slug.is_empty() { "filter".to_owned() } else { slug }
}

fn refuse_unless(replace: bool, targets: &[PathBuf]) -> Result<(), Failure> {
    if replace { Ok(()) } else { refuse_existing(targets) }
}

fn refuse_existing(targets: &[PathBuf]) -> Result<(), Failure> {
    match targets.iter().find(|t| t.exists()) {
        Some(taken) => Err(Failure::Nothing(format!(
            "{:?} exists already; give another folder with --out, or --replace to write over it",
            taken.display().to_string()
        ))),
        None => Ok(()),
    }
}

/// Writes profile, page and plots; the profile last, so that it never stands without its page.
///
/// # Errors
/// Where a file cannot be written.
pub fn write_all(profile: &Profile, text: &str, out: &Path, replace: bool) -> Result<(), Failure> {
    let files = report::page(profile).map_err(|e| Failure::Nothing(e.to_string()))?;
    let _claim = claimed(&out.join("plots"), out)?;
    let own = out.join("profile.json");
    refuse_unless(replace, &[targets(&files, "report.html", out), vec![own]].concat())?;
    write_claimed(&files, "report.html", out, replace)?;
    write::write(&out.join("profile.json"), text.as_bytes(), replace)
        .map_err(|e| Failure::Nothing(e.to_string()))
}

/// Writes the page of a profile, and its plots in a folder of their own.
///
/// # Errors
/// Where there is nothing to show, or a file cannot be written.
pub fn write_page(profile: &Profile, out: &Path, replace: bool) -> Result<(), Failure> {
    let files = report::page(profile).map_err(|e| Failure::Nothing(e.to_string()))?;
    write_files(&files, "report.html", out, replace)
}

/// Writes a page under a name, and its plots in a folder of their own beside it.
///
/// # Errors
/// Where a file cannot be written.
pub fn write_files(
    files: &ReportFiles,
    name: &str,
    out: &Path,
    replace: bool,
) -> Result<(), Failure> {
    let _claim = claimed(&out.join("plots"), out)?;
    refuse_unless(replace, &targets(files, name, out))?;
    write_claimed(files, name, out, replace)
}

/// Makes a folder below another and claims the latter for this run.
fn claimed(folder: &Path, out: &Path) -> Result<write::Claim, Failure> {
    std::fs::create_dir_all(folder).map_err(|e| {
        Failure::Nothing(format!("{:?} cannot be made: {e}", folder.display().to_string()))
    })?;
    write::claim(out).map_err(|e| Failure::Nothing(e.to_string()))
}

fn targets(files: &ReportFiles, name: &str, out: &Path) -> Vec<PathBuf> {
    let plots = files.plots.iter().map(|(name, _)| out.join("plots").join(name));
    plots.chain([out.join(name)]).collect()
}

fn write_claimed(
    files: &ReportFiles,
    name: &str,
    out: &Path,
    replace: bool,
) -> Result<(), Failure> {
    let failed = |e: write::WriteError| Failure::Nothing(e.to_string());
    for (name, svg) in &files.plots {
        let path = out.join("plots").join(name);
        write::write(&path, svg.as_bytes(), replace).map_err(failed)?;
    }
    write::write(&out.join(name), files.html.as_bytes(), replace).map_err(failed)
}

fn cautions(profile: &Profile, grade: Grade) -> Vec<String> {
    let all = profile.cautions.iter().chain(profile.settings.iter().flat_map(|s| &s.cautions));
    let mut texts: Vec<String> = Vec::new();
    for caution in all.filter(|c| c.grade == grade) {
        if !texts.contains(&caution.text) {
            texts.push(caution.text.clone());
        }
    }
    texts
}
