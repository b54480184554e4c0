//! `lightloss camera`: a bare wall at many dial times to the record of a camera body, and that record
//! read again.

use crate::body_record::{Body, BodyRecord};
use crate::cli::{CameraArgs, Format};
use crate::commands::console::Console;
use crate::commands::gather::{self, Gathered};
use crate::commands::{output, shoot_json};
use crate::error::{Done, Failure};
use crate::exposure::DialTime;
use crate::measure::body::body;
use crate::shoot::{Candidate, survey};
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong, nothing can be told of the body, or nothing can be written.
pub fn run(args: &CameraArgs, console: &mut Console) -> Result<Done, Failure> {
    let Gathered { candidates, files, .. } = gather::gather(&args.shoot, console)?;
    let wish = shoot_json::wish(&args.shoot, None, &files)?;
    let (shoot, _) = survey(candidates, &wish)?;
    let record = body(&shoot)?;
    let text = record.to_text()?;
    if args.shoot.format == Format::Json {
        console.print(&text)?;
    }
    if args.shoot.format == Format::Text || args.out.is_some() {
        let name = format!("{}-camera.json", output::slug(&record.body.name()));
        let path = args.out.clone().unwrap_or_else(|| PathBuf::from(name));
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        let file = path.file_name().map(PathBuf::from).ok_or_else(|| {
            Failure::usage("--out names no file; write one, like --out body.json".to_owned())
        })?;
        output::write_all(folder.unwrap_or(Path::new(".")), &[(file, text)], args.replace)?;
        if args.shoot.format == Format::Text {
            console.print(&summary(&record, &path))?;
        }
    }
    Ok(if shoot.others.iter().any(|o| o.2.is_fault()) { Done::SomeLeftOut } else { Done::Clean })
}

fn summary(record: &BodyRecord, path: &Path) -> String {
    let mut text = format!(
        "{}: {} times from {} frames, each good to {:.4} stop at a frame.\n\n",
        record.body.name(),
        record.times.len(),
        record.frames.len(),
        record.scatter_stops.get()
    );
    text += "shown        true        off by, stops\n";
    for time in &record.times {
        let dial = DialTime::showing(time.shown_s);
        let shown = dial.map_or_else(|| time.shown_s.get().to_string(), |d| d.text().to_owned());
        let power = dial.map_or(time.shown_s, DialTime::true_time);
        text += &format!(
            "{shown:<10} {:>9.5} s  {:>+7.4} +- {:.4}\n",
            time.true_s.get(),
            (time.true_s.get() / power.get()).log2(),
            2.0 * time.u_stops.get()
        );
    }
    let l = record.linearity;
    text += &format!(
        "\nLinear to {:.2} %; full scale is off by {:+.4} +- {:.4} stop.\n",
        l.error_percent.get(),
        l.bend_stops.get(),
        2.0 * l.bend_u_stops.get()
    );
    if let Some(black) = record.black {
        text += &format!(
            "Black {:+.2} counts, creeping {:+.3} and glowing {:.3} counts a second.\n",
            black.offset.get(),
            black.creep_per_s.get(),
            black.glow_per_s.get()
        );
    }
    if let Some(noise) = record.noise {
        let (gain, reading) = (noise.gain, noise.reading.get());
        text += &format!("{gain:.4} counts an electron, reading noise {reading:.2} counts.\n");
    }
    text + &format!(
        "\nOnly ratios of times are measured; powers of two are taken out of \"off by\".\n\
         Use it: lightloss measure SHOOT --camera {}\n",
        path.display()
    )
}

/// Reads a record for a shoot made with its body.
///
/// # Errors
/// Where it cannot be read, or no frame was made with that body.
pub fn open(path: &Path, candidates: &[Candidate]) -> Result<BodyRecord, Failure> {
    let text = std::fs::read_to_string(path).map_err(|source| Failure::Unread {
        path: path.to_owned(),
        advice: "; give the record that lightloss camera wrote",
        source,
    })?;
    let record = BodyRecord::parse(&text).map_err(|why| {
        Failure::usage(format!("--camera {:?}: {why}", path.display().to_string()))
    })?;
    let bodies: Vec<Body> = candidates
        .iter()
        .filter_map(|c| Some(Body::of(&c.outcome.as_ref().ok()?.info.camera)))
        .collect();
    match bodies.first() {
        Some(other) if !bodies.contains(&record.body) => Err(Failure::usage(format!(
            "--camera {:?} is the record of {}, but the frames were made with {}; leave it out, or \
             give the record of that body",
            path.display().to_string(),
            record.body.name(),
            other.name()
        ))),
        _ => Ok(record),
    }
}
