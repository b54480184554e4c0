//! A camera record as a terminal shows it, at most 79 columns wide.

use super::lines::wrapped;
use crate::body_record::{BodyRecord, LeftOutFrame, Linearity, TimeOfBody};
use crate::rounding::{fixed, signed};
use crate::text::count;

/// Frames left out that are named one by one.
const MOST_NAMED: usize = 8;
/// From this probability on a rule is said to be the body's own.
const SETTLED: f64 = 0.95;

/// The whole record.
#[must_use]
pub fn text(record: &BodyRecord) -> String {
    let mut out = wrapped("", &format!("Camera record of {}.", record.body.shown()));
    out.push_str(&wrapped("", &made_of(record)));
    out.push_str("\ndial       true time            off by                u95  frames\n");
    for time in &record.times.list {
        out.push_str(&row(time, time.dial == record.times.reference));
    }
    out.push('\n');
    for sentence in about_times(record) {
        out.push_str(&wrapped("", &sentence));
    }
    if let Some(linearity) = &record.linearity {
        out.push_str(&line(linearity));
    }
    out.push('\n');
    for sentence in sensor(record) {
        out.push_str(&wrapped("", &sentence));
    }
    for caution in &record.cautions {
        out.push('\n');
        out.push_str(&wrapped("", &format!("Mind: {}", caution.text)));
    }
    out.push_str(&left_out(&record.frames.left_out));
    out
}

fn made_of(record: &BodyRecord) -> String {
    let frames = &record.frames;
    let iso = frames.iso.map_or(String::new(), |iso| format!(" at ISO {}", iso.get()));
    let day = record.day().map_or(String::new(), |day| format!(", made on {day}"));
    format!(
        "From {}{iso} at {} and {}{day}. The light moved by {:.3} stop; one frame scatters by {:.4} \
         stop.",
        count(frames.used as usize, "frame"),
        count(frames.light_levels as usize, "light level"),
        count(frames.dark as usize, "dark frame"),
        frames.light_moved_stops.get(),
        frames.scatter_stops.get()
    )
}

/// "1/63.8 s", "0.516 s", "16.02 s".
fn seconds(s: f64) -> String {
    match s {
        s if s < 0.25 => format!("1/{:.*} s", if s < 0.01 { 0 } else { 1 }, 1.0 / s),
        s if s < 10.0 => format!("{s:.3} s"),
        s => format!("{s:.2} s"),
    }
}

fn row(time: &TimeOfBody, is_reference: bool) -> String {
    let stops = time.deviation_stops.get();
    let percent = format!("{} %", signed(100.0 * (stops.exp2() - 1.0), 1));
    let doubt = if is_reference {
        "reference".to_owned()
    } else {
        format!("+- {} stop", fixed(time.u95_stops.get(), 4))
    };
    format!(
        "{:<9}  {:<11}  {:>8}  {:>11}  {:>15}  {:>6}\n",
        time.dial,
        seconds(time.true_s.get()),
        percent,
        format!("{} stop", signed(stops, 3)),
        doubt,
        time.frames
    )
}

fn about_times(record: &BodyRecord) -> Vec<String> {
    let times = &record.times;
    let mut said = Vec::new();
    if let Some(reference) = record.reference() {
        said.push(format!(
            "Off by: true against shown. Only ratios of times can be measured: all are relative to {}, \
             which is taken as {}.",
            reference.dial,
            seconds(reference.true_s.get())
        ));
    }
    said.push(match times.as_shown {
        p if p >= SETTLED => "This body keeps the times that its dial shows.".to_owned(),
        p if p <= 1.0 - SETTLED => {
            "This body keeps powers of two behind its dial (1/60 means 1/64, 15 means 16).".to_owned()
        }
        _ => "Whether this body keeps the times that its dial shows, or powers of two, its frames do \
              not settle."
            .to_owned(),
    });
    said
}

fn line(linearity: &Linearity) -> String {
    let mut out = "\nlevel, % of full scale   from a straight line        u95\n".to_owned();
    for p in &linearity.points {
        out.push_str(&format!(
            "{:>22}   {:>20}   {:>8}\n",
            fixed(p.level_percent.get(), 1),
            format!("{} %", signed(p.deviation_percent.get(), 2)),
            format!("+- {}", fixed(p.u95_percent.get(), 2))
        ));
    }
    out + &wrapped(
        "",
        &format!(
            "Linearity (EMVA 1288), between 5 and 95 % of full scale: {} % off the line in the mean, {} \
             % at most.",
            fixed(linearity.mean_percent.get(), 2),
            fixed(linearity.largest_percent.get(), 2)
        ),
    )
}

fn sensor(record: &BodyRecord) -> Vec<String> {
    let black = &record.black;
    let mut said = vec![format!("Black: {:.2} counts, from {}.", black.counts.get(), black.source)];
    if let Some(creep) = &black.creep {
        said.push(format!(
            "It rises with the time by {} +- {} counts per second.",
            fixed(creep.counts_per_s, 4),
            fixed(creep.u95_counts_per_s, 4)
        ));
    }
    if let Some(noise) = &record.noise {
        said.push(format!(
            "Noise (photon transfer, EMVA 1288): {} +- {} electrons per count, {} electrons of read \
             noise, full scale at {:.0} electrons.",
            fixed(noise.electrons_per_count, 3),
            fixed(noise.u95_electrons_per_count, 3),
            fixed(noise.read_noise_electrons, 1),
            noise.full_scale_electrons
        ));
    }
    if let Some(glow) = &record.glow {
        said.push(format!(
            "Glow: {:.1} counts above the centre at the {} of the frame after {}.",
            glow.counts.get(),
            glow.place,
            seconds(glow.time_s.get())
        ));
    }
    said
}

fn left_out(frames: &[LeftOutFrame]) -> String {
    let mut out = String::new();
    if !frames.is_empty() {
        out.push_str(&format!("\nLeft out: {}.\n", count(frames.len(), "frame")));
    }
    for frame in frames.iter().take(MOST_NAMED) {
        out.push_str(&wrapped("  ", &format!("{}: {}", frame.file, frame.reason)));
    }
    if let Some(more) = frames.len().checked_sub(MOST_NAMED).filter(|more| *more > 0) {
        out.push_str(&format!("  and {more} more, all of them in the record\n"));
    }
    out
}
