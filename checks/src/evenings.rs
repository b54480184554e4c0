//! Evenings of an invented photographer, the truth known: how often is `which` right, wrong, or silent?
//!
//! The worlds are of their own: scenes are ridges, rocks and clouds drawn here, light fades or is
//! clouded by rules that the program does not hold, filters have casts and patterns in closed form.
//! Nothing of it is taken from the program but the form in which light is handed over. Harsh evenings
//! are nastier still: light and shutters wander with heavy tails, metering fails, somebody walks into
//! the frame, the tripod is knocked, files lie in no order, and times are missing.

pub mod album;
mod kit;
mod place;
mod score;
mod shooting;
mod sky;

use crate::Verdict;
use crate::judgement::targets::{Bound, Target};
use crate::kept::keep;
use crate::machine::machine;
use lightloss::editing::which::{self, Album, Finding, Picture, Told, Used};
use lightloss::profile::Profile;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use score::{BINS, Count, right, score};
use shooting::Shot;
use sky::Weather;

/// How many evenings, and of which seed.
#[derive(clap::Args, Debug)]
pub struct Options {
    /// Evenings of each set
    #[arg(long, default_value_t = 12)]
    evenings: usize,
    /// Seed; drawn anew where it is not given
    #[arg(long)]
    seed: Option<u64>,
    /// Only sets whose name begins so: sunshine, golden, harsh
    #[arg(long)]
    set: Option<String>,
    /// This one evening of each set, every photograph told
    #[arg(long)]
    only: Option<usize>,
    /// Name every photograph that is wrong or left blank
    #[arg(long)]
    tell: bool,
    /// Hold only what a short run can tell: every bound is widened by what chance makes of it
    #[arg(long)]
    short: bool,
    /// Write the table to reports/evenings/evenings.txt
    #[arg(long)]
    keep: bool,
}

/// What an evening is like.
#[derive(Clone, Copy, PartialEq)]
pub struct World {
    weather: Weather,
    harsh: bool,
}

/// What the user says.
#[derive(Clone, Copy, PartialEq)]
pub enum Help {
    Nothing,
    /// One bare frame of every scene is named.
    BareNamed,
}

/// Photographs of one set come and go together: so many of them are worth one in counting what chance
/// does.
const TOGETHER: usize = 4;
/// The same of those that are right, whose share depends on the light of whole evenings: of twelve harsh
/// sets of ten golden hours it scattered by 10 %, three times as much as if each came by itself.
const RIGHT_TOGETHER: usize = 9;

/// Runs the check.
///
/// # Errors
/// In words what does not hold.
pub fn check(options: &Options) -> Verdict {
    let seed = options.seed.unwrap_or_else(|| rand::random::<u32>().into());
    let mut text = format!(
        "Which photograph had which filter: evenings --evenings {} --seed {seed}\n{}\n\n{:42} {:>6} {:>6} \
         {:>6} {:>6} {:>5} {:>13} {:>11} {:>9}\n",
        options.evenings,
        machine(),
        "set",
        "photos",
        "right",
        "wrong",
        "blank",
        "sure&",
        "likely right",
        "ring marks",
        "foreign"
    );
    let mut targets = Vec::new();
    for harsh in [false, true] {
        for weather in [Weather::Clouds, Weather::Dusk] {
            let world = World { weather, harsh };
            let wanted = options.set.as_ref();
            if !wanted.is_none_or(|set| name(world, Help::Nothing).starts_with(set.as_str())) {
                continue;
            }
            let [alone, helped] = [Help::Nothing, Help::BareNamed].map(|help| {
                let one = |i: usize| evening(seed, i as u64, world, help, options);
                let which = options.only.map_or(0..options.evenings, |only| only..only + 1);
                let counted = which.into_par_iter().map(one);
                counted.reduce(Count::default, Count::add)
            });
            text += &row(&name(world, Help::Nothing), &alone);
            text += &row(&name(world, Help::BareNamed), &helped);
            if options.tell {
                text += &bins(&alone.add(helped));
            }
            targets.extend(must(world, &alone, &helped));
        }
    }
    let fails = |t: &Target| if options.short { by_chance(t).fails() } else { outright(t) };
    let failed = targets.iter().filter(|t| fails(t)).count();
    for target in &targets {
        text += &told_of(target, fails(target));
    }
    print!("{text}");
    if options.keep {
        keep("evenings/evenings.txt", &text);
    }
    if failed == 0 { Ok(()) } else { Err(format!("{failed} of {} targets fail", targets.len())) }
}

fn name(world: World, help: Help) -> String {
    let weather = match world.weather {
        Weather::Clouds => "sunshine and clouds",
        Weather::Dusk => "golden hour",
    };
    let harsh = if world.harsh { "harsh, " } else { "" };
    let helped = if help == Help::Nothing { "" } else { ", a bare frame named" };
    format!("{harsh}{weather}{helped}")
}

fn row(set: &str, c: &Count) -> String {
    let n = c.photographs().max(1) as f64;
    let percent = |k: usize| format!("{:.1}%", 100.0 * k as f64 / n);
    format!(
        "{set:42} {:>6} {:>6} {:>6} {:>6} {:>5} {:>13} {:>11} {:>9}\n",
        c.photographs(),
        percent(c.right),
        percent(c.wrong),
        percent(c.blank),
        c.sure_wrong,
        format!("{}/{}", c.likely_right, c.likely),
        format!("{}/{}", c.marks_right, c.ring),
        format!("{}/{}", c.foreign_blank, c.foreign_blank + c.foreign_wrong),
    )
}

fn bins(count: &Count) -> String {
    let told = BINS.iter().zip(count.bins).filter(|(_, (all, _))| *all > 0);
    told.map(|(least, (all, right))| {
        format!("  probability from {least:5.3}: {right} of {all} right\n")
    })
    .collect()
}

/// What must hold of one sort of evening. In a harsh world photographs without a time hang on nothing
/// and stay blank, and what is knocked or walked into is harder to tell.
fn must(world: World, alone: &Count, helped: &Count) -> Vec<Target> {
    let both = alone.add(*helped);
    let (least, marks) = if world.harsh { ([0.5, 0.65], 0.45) } else { ([0.7, 0.9], 0.6) };
    let mut targets = Vec::new();
    for ((help, count), least) in
        [(Help::Nothing, alone), (Help::BareNamed, helped)].into_iter().zip(least)
    {
        let set = name(world, help);
        let of = count.photographs() + count.foreign_blank + count.foreign_wrong;
        let mut add = |what: &str, seen, of, bound| {
            targets.push(Target::new(format!("{set}: {what}"), seen, of, bound));
        };
        add("wrong and sure", count.sure_wrong, of, Bound::AtMost(0.0));
        add("wrong", count.all_wrong(), of, Bound::AtMost(if world.harsh { 0.02 } else { 0.01 }));
        add("right", count.right, count.photographs(), Bound::AtLeast(least));
    }
    let set = name(world, Help::Nothing);
    let mut add = |what: &str, seen, of, bound| {
        targets.push(Target::new(format!("{set}: {what}"), seen, of, bound));
    };
    add("marks of a ring", both.marks_right, both.ring, Bound::AtLeast(marks));
    add("likely and right", both.likely_right, both.likely, Bound::AtLeast(0.85));
    if !world.harsh {
        add("likely and right", both.likely_right, both.likely, Bound::AtMost(0.97));
    }
    targets
}

/// Whether a share is missed, however little; of fewer than this many there is no share to speak of.
const LEAST: usize = 40;

fn outright(target: &Target) -> bool {
    let share = target.seen as f64 / target.of.max(1) as f64;
    match target.bound {
        Bound::AtLeast(least) => target.of >= LEAST && share < least,
        Bound::AtMost(most) => share > most && (most < 0.5 || target.of >= LEAST),
    }
}

/// The same target as photographs that come and go together tell it: so many fewer of them. In so few
/// none and one in a thousand are the same.
fn by_chance(target: &Target) -> Target {
    let fewer = |k: usize, together: usize| k.div_ceil(together);
    let (what, seen, of) = (target.what.clone(), target.seen, target.of);
    match target.bound {
        Bound::AtLeast(_) => {
            let (all, missed) = (fewer(of, RIGHT_TOGETHER), fewer(of - seen, RIGHT_TOGETHER));
            Target::new(what, all - missed.min(all), all, target.bound)
        }
        Bound::AtMost(share) => {
            let bound = Bound::AtMost(if share == 0.0 { 0.001 } else { share });
            Target::new(what, seen / TOGETHER, fewer(of, TOGETHER), bound)
        }
    }
}

fn told_of(target: &Target, fails: bool) -> String {
    let (word, share) = match target.bound {
        Bound::AtLeast(share) => ("at least", share),
        Bound::AtMost(share) => ("at most", share),
    };
    let seen = target.seen as f64 / target.of.max(1) as f64;
    let missed = match target.bound {
        Bound::AtLeast(share) => seen < share,
        Bound::AtMost(share) => seen > share,
    };
    let part = 100.0 * seen;
    format!(
        "{}  {}: {} of {} ({part:.1} %), {word} {:.0} %\n",
        if fails {
            "FAILS"
        } else if missed {
            "holds but for chance"
        } else {
            "holds"
        },
        target.what,
        target.seen,
        target.of,
        100.0 * share
    )
}

fn evening(seed: u64, number: u64, world: World, help: Help, options: &Options) -> Count {
    let kind = u64::from(world.weather == Weather::Dusk) + 2 * u64::from(world.harsh);
    let own = seed ^ (number << 32) ^ (kind << 56);
    let mut r = ChaCha8Rng::seed_from_u64(own);
    let bag = kit::bag(&mut r);
    let profiles: Vec<Profile> =
        bag.iter().filter(|g| g.known).map(|g| kit::profile(g, &mut r)).collect();
    let shots = shooting::shoot(&bag, world, help, &mut r);
    let pictures: Vec<Picture> = shots.iter().map(|s| s.picture.clone()).collect();
    let told = told(&shots, help, &mut r);
    let found = Album::new(pictures, profiles.clone()).find(&told, false);
    let mut count = Count::default();
    for (shot, finding) in shots.iter().zip(&found) {
        score(shot, finding, &mut count);
        if options.only.is_some() || options.tell && !right(shot, finding) {
            println!("  {own:x} {}", spelt(shot, finding, &profiles));
        }
    }
    count
}

fn spelt(shot: &Shot, finding: &Finding, kit: &[Profile]) -> String {
    let names = |u: &Used| {
        let name = &kit[u.filter].filter.name;
        format!("{name} {}", u.mark.as_deref().unwrap_or(""))
    };
    let found = match &finding.verdict {
        which::Verdict::Through(used) => used.iter().map(names).collect::<Vec<_>>().join(" + "),
        which::Verdict::Bare => "bare".to_owned(),
        which::Verdict::Unknown => "blank".to_owned(),
    };
    format!(
        "{} scene {}, {}: {found}{} {:.4} ({}; {})",
        shot.picture.info.file,
        shot.scene,
        shot.planted,
        if finding.sure { " and sure" } else { "" },
        finding.probability,
        finding.how.text(),
        finding.note
    )
}

fn told(shots: &[Shot], help: Help, r: &mut ChaCha8Rng) -> Vec<Told> {
    let mut told = vec![Told::Nothing; shots.len()];
    if help == Help::BareNamed {
        let scenes = shots.iter().map(|s| s.scene).max().map_or(0, |s| s + 1);
        for scene in 0..scenes {
            let bare: Vec<usize> = (0..shots.len())
                .filter(|&i| shots[i].scene == scene && shots[i].truth == Some(Vec::new()))
                .collect();
            if !bare.is_empty() {
                told[bare[r.random_range(0..bare.len())]] = Told::Bare;
            }
        }
    }
    told
}
