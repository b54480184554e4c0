//! A camera record in words: how true its times are, and what it knows of the sensor.

use super::figures::{count, fixed, signed, with_doubt};
use crate::body_record::{BodyRecord, Linearity, LinearityPoint, TimeOfBody};

/// From this probability on a rule is said to be the body's own.
const SETTLED: f64 = 0.95;

/// How far its times are off, and how well that is known, in a sentence.
#[must_use]
pub fn verdict(record: &BodyRecord) -> String {
    let others = || record.times.list.iter().filter(|t| t.dial != record.times.reference);
    let off = |t: &&TimeOfBody| t.deviation_stops.get().abs();
    let Some(worst) = others().max_by(|a, b| off(a).total_cmp(&off(b))) else {
        return "It knows one time alone, and so no ratio.".to_owned();
    };
    let doubt = others().map(|t| t.u95_stops.get()).fold(0.0, f64::max);
    let reference = record.reference().map_or(String::new(), |t| seconds(t.true_s.get()));
    format!(
        "With {} taken as {reference}, its times are up to {} stop off what the dial shows (at {}); \
         each is known to {} stop or better.",
        record.times.reference,
        fixed(off(&worst), 3),
        worst.dial,
        fixed(doubt, 3)
    )
}

/// What it was made of.
#[must_use]
pub fn made_of(record: &BodyRecord) -> String {
    let frames = &record.frames;
    let lamps =
        frames.of_two_lamps.map_or(String::new(), |n| format!(" ({n} of them by two lamps)"));
    let iso = frames.iso.map_or(String::new(), |iso| format!(" at ISO {}", iso.get()));
    let day = record.day().map_or(String::new(), |day| format!(", made on {day}"));
    format!(
        "From {}{lamps}{iso} at {} and {}{day}. The light moved by {:.3} stop; one frame scatters by {:.4} \
         stop.",
        count(frames.used as usize, "frame"),
        count(frames.light_levels as usize, "light level"),
        count(frames.dark as usize, "dark frame"),
        frames.light_moved_stops.get(),
        frames.scatter_stops.get()
    )
}

/// "1/63.8 s", "0.516 s", "16.02 s".
#[must_use]
pub fn seconds(s: f64) -> String {
    match s {
        s if s < 0.25 => format!("1/{:.*} s", if s < 0.01 { 0 } else { 1 }, 1.0 / s),
        s if s < 10.0 => format!("{s:.3} s"),
        s => format!("{s:.2} s"),
    }
}

/// Of one time: true time, percent off, stops off, u95 ("reference" for that).
#[must_use]
pub fn time(record: &BodyRecord, time: &TimeOfBody) -> [String; 4] {
    let stops = time.deviation_stops.get();
    let doubt = if time.dial == record.times.reference {
        "reference".to_owned()
    } else {
        format!("\u{b1}\u{a0}{}", fixed(time.u95_stops.get(), 4))
    };
    [
        seconds(time.true_s.get()),
        format!("{} %", signed(100.0 * (stops.exp2() - 1.0), 1)),
        signed(stops, 3),
        doubt,
    ]
}

/// What the times are relative to, and which rule they keep.
#[must_use]
pub fn about_times(record: &BodyRecord) -> Vec<String> {
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

/// Of one level: percent of full scale, percent from the line, u95.
#[must_use]
pub fn level(point: &LinearityPoint) -> [String; 3] {
    [
        fixed(point.level_percent.get(), 1),
        format!("{} %", signed(point.deviation_percent.get(), 2)),
        format!("\u{b1}\u{a0}{}", fixed(point.u95_percent.get(), 2)),
    ]
}

/// How far levels are off a line against light.
#[must_use]
pub fn linearity(linearity: &Linearity) -> String {
    format!(
        "Linearity (EMVA 1288), between 5 and 95 % of full scale: {} % off the line in the mean, {} % \
         at most.",
        fixed(linearity.mean_percent.get(), 2),
        fixed(linearity.largest_percent.get(), 2)
    )
}

/// Black, noise and glow, a sentence each.
#[must_use]
pub fn sensor(record: &BodyRecord) -> Vec<String> {
    let black = &record.black;
    let mut said = vec![format!(
        "Black of green in the centre: {:.2} counts, from {}.",
        black.counts.get(),
        black.source
    )];
    if let Some(creep) = &black.creep {
        said.push(format!(
            "It rises with the time by {}\u{a0}\u{b1}\u{a0}{} counts per second.",
            fixed(creep.counts_per_s, 4),
            fixed(creep.u95_counts_per_s, 4)
        ));
    }
    if let Some(drifted) = black.drifted_counts {
        said.push(format!(
            "Between the first dark frames and the last it {} by {:.1} counts, which is taken off.",
            if drifted.get() < 0.0 { "fell" } else { "rose" },
            drifted.get().abs()
        ));
    }
    if let Some(noise) = &record.noise {
        said.push(format!(
            "Noise (photon transfer, EMVA 1288): {}\u{a0}\u{b1}\u{a0}{} electrons per count, {} \
             electrons of read noise, full scale at {:.0} electrons.",
            fixed(noise.electrons_per_count, 3),
            fixed(noise.u95_electrons_per_count, 3),
            match noise.u95_read_noise_electrons {
                Some(u95) => with_doubt(noise.read_noise_electrons, u95),
                None => fixed(noise.read_noise_electrons, 1),
            },
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

/// What a record in the kit is, in a line: "Kelmora Two, serial number 417: 48 times from 1/8000 to
/// 30 s, made on 2031-05-03".
#[must_use]
pub fn kept(record: &BodyRecord) -> String {
    let times = &record.times.list;
    let ends = times.first().zip(times.last());
    let span = ends.map_or(String::new(), |(a, b)| format!(" from {} to {} s", a.dial, b.dial));
    let day = record.day().map_or(String::new(), |day| format!(", made on {day}"));
    format!("{}: {}{span}{day}", record.body.shown(), count(times.len(), "time"))
}
