//! What was typed beside a shoot's folder, for commands that measure a part of it: they would tell of
//! another filter without. What the document in the folder says it says again; frames and marks are those
//! of one shoot.

use crate::cli::{MeasureArgs, Times};
use crate::commands::{measure, shoot_json};
use crate::shoot_file::ShootFile;
use crate::text::shell_word;
use std::path::Path;

/// Options about the filter, in words of a shell.
#[must_use]
pub fn of_filter(args: &MeasureArgs, file: Option<&ShootFile>) -> String {
    let filter = file.map(|file| &file.filter);
    let said_kind = filter.and_then(|f| f.kind);
    let kind = args.shoot.kind.filter(|kind| Some(*kind) != said_kind);
    let parts: Vec<String> = args.parts.iter().map(|p| p.display().to_string()).collect();
    words([
        ("--kind", kind.map(|kind| kind.word().to_owned())),
        ("--rated", unlike(args.rated.clone(), file.and_then(shoot_json::rating))),
        ("--name", unlike(args.name.clone(), filter.and_then(|f| f.name.clone()))),
        ("--note", unlike(args.note.clone(), filter.and_then(|f| f.note.clone()))),
        ("--parts", (!parts.is_empty()).then(|| parts.join(","))),
        ("--tolerance", args.tolerance.clone()),
    ])
}

/// Options about camera and frames, in words of a shell.
#[must_use]
pub fn of_camera(args: &MeasureArgs, file: Option<&ShootFile>) -> String {
    let shoot = &args.shoot;
    let number = |typed: Option<f64>, said: Option<f64>| {
        unlike(typed, said).map(|number| number.to_string())
    };
    let valued = words([
        ("--focal", number(shoot.focal, file.and_then(|f| f.focal).map(|f| f.get()))),
        ("--sensor", unlike(shoot.sensor.clone(), file.and_then(|f| f.sensor.clone()))),
        ("--f", number(shoot.f, file.and_then(|f| f.f_number).map(|n| n.get()))),
        ("--times", matches!(shoot.times, Times::Exact).then(|| "exact".to_owned())),
    ]);
    let flags = [
        (shoot.linear, "--linear"),
        (shoot.same_exposure, "--same-exposure"),
        (shoot.without_record, "--without-record"),
    ];
    let set = flags.into_iter().filter(|(is_set, _)| *is_set).map(|(_, flag)| flag.to_owned());
    let all = Some(valued).filter(|words| !words.is_empty()).into_iter().chain(set);
    all.collect::<Vec<_>>().join(" ")
}

fn words<const N: usize>(options: [(&str, Option<String>); N]) -> String {
    let given = options.into_iter().filter_map(|(name, value)| Some((name, value?)));
    given
        .map(|(name, value)| format!("{name} {}", shell_word(&value)))
        .collect::<Vec<_>>()
        .join(" ")
}

fn unlike<T: PartialEq>(typed: Option<T>, said: Option<T>) -> Option<T> {
    if typed == said { None } else { typed }
}

/// The folder that the profile is written to, as it may be typed.
#[must_use]
pub fn out(args: &MeasureArgs, name: &str) -> String {
    let out = measure::out_folder(args, name);
    let here = std::env::current_dir().and_then(|here| here.canonicalize());
    let short = here.ok().and_then(|here| out.strip_prefix(here).ok().map(Path::to_path_buf));
    short.unwrap_or(out).display().to_string()
}
