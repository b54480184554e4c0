//! Evenings of an invented photographer, the truth known: how often is `which` right, wrong, or silent?
//!
//! The worlds are of their own: scenes are ridges, rocks and clouds drawn here, light fades or is
//! clouded by rules that the program does not hold, filters have casts and patterns in closed form.
//! Nothing of it is taken from the program but the form in which light is handed over.

use clap::Args;
use lightloss::editing::scene::SceneMap;
use lightloss::editing::which::{Finding, Picture, Told, Verdict, find};
use lightloss::frame::{Camera, Capture, Exposure, FrameInfo, Origin};
use lightloss::profile::Profile;
use lightloss::quantity::{FNumber, Iso, Millimetres, Seconds};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use rayon::prelude::*;
use serde_json::{Value, json};
use std::f64::consts::TAU;

const SIDE: usize = 44;
/// Full scale above black in counts, and the usual level of a middle tone below it in stops.
const FULL_SCALE: f64 = 15_000.0;
const MIDDLE_BELOW: f64 = 3.0;
/// Electrons per count: noise of a cell of some hundred pixels.
const ELECTRONS: f64 = 2.0;
const PIXELS: f64 = 1000.0;

/// How many evenings, and of which seed.
#[derive(Args, Debug)]
pub struct Options {
    /// Evenings of each set
    #[arg(long, default_value_t = 12)]
    evenings: usize,
    /// Seed; drawn anew where it is not given
    #[arg(long)]
    seed: Option<u64>,
    /// Name every photograph that is wrong
    #[arg(long)]
    tell: bool,
}

/// What happens on an evening.
#[derive(Clone, Copy, PartialEq)]
enum Weather {
    /// Sunshine, clouds before it, brackets.
    Clouds,
    /// The golden hour and after.
    Dusk,
}

#[derive(Clone, Copy, PartialEq)]
enum Help {
    Nothing,
    /// One bare frame of every scene is named.
    BareNamed,
}

#[derive(Clone)]
struct Glass {
    name: &'static str,
    kind: &'static str,
    /// Per mark (one for fixed filters): label, loss of green, and of red and blue beyond it.
    marks: Vec<(Option<String>, f64, [f64; 2])>,
    /// Saddle in the corner per stop of loss, of a ring.
    saddle: f64,
    known: bool,
}

struct Shot {
    picture: Picture,
    /// Names with marks, ascending by place in the kit; `None` for a filter that is not in it.
    truth: Option<Vec<(usize, Option<String>)>>,
    scene: usize,
}

#[derive(Clone, Copy, Default, Debug)]
struct Count {
    right: usize,
    wrong: usize,
    blank: usize,
    sure_wrong: usize,
    likely: usize,
    likely_right: usize,
    ring: usize,
    marks_right: usize,
    foreign_blank: usize,
    foreign_wrong: usize,
}

impl Count {
    fn photographs(&self) -> usize {
        self.right + self.wrong + self.blank
    }
    fn add(mut self, o: Self) -> Self {
        for (a, b) in [
            (&mut self.right, o.right),
            (&mut self.wrong, o.wrong),
            (&mut self.blank, o.blank),
            (&mut self.sure_wrong, o.sure_wrong),
            (&mut self.likely, o.likely),
            (&mut self.likely_right, o.likely_right),
            (&mut self.ring, o.ring),
            (&mut self.marks_right, o.marks_right),
            (&mut self.foreign_blank, o.foreign_blank),
            (&mut self.foreign_wrong, o.foreign_wrong),
        ] {
            *a += b;
        }
        self
    }
}

/// Runs the check.
///
/// # Errors
/// In words what does not hold.
pub fn check(options: &Options) -> Result<(), String> {
    let seed = options.seed.unwrap_or_else(rand::random);
    println!("seed {seed}, {} evenings a set", options.evenings);
    println!(
        "{:28} {:>6} {:>6} {:>6} {:>6} {:>6} {:>13} {:>11} {:>9}",
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
    let mut faults = Vec::new();
    let mut whole = [Count::default(); 2];
    for weather in [Weather::Clouds, Weather::Dusk] {
        for help in [Help::Nothing, Help::BareNamed] {
            let one =
                |i: usize| evening(seed.wrapping_add(7919 * i as u64), weather, help, options.tell);
            let counted = (0..options.evenings).into_par_iter().map(one);
            let count = counted.reduce(Count::default, Count::add);
            let set = match weather {
                Weather::Clouds => "sunshine and clouds",
                Weather::Dusk => "golden hour",
            };
            let helped = if help == Help::Nothing { "" } else { ", a bare frame named" };
            print_row(&format!("{set}{helped}"), &count);
            faults.extend(judge(&format!("{set}{helped}"), &count, help));
            whole[usize::from(help == Help::BareNamed)] =
                whole[usize::from(help == Help::BareNamed)].add(count);
        }
    }
    let likely = whole[0].add(whole[1]);
    let share = likely.likely_right as f64 / likely.likely.max(1) as f64;
    if likely.likely >= LEAST_LIKELY && !(0.85..=0.97).contains(&share) {
        faults.push(format!("likely is right in {:.0} %", 100.0 * share));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.join("; ")) }
}

/// Below this many there is no share to speak of.
const LEAST_LIKELY: usize = 40;

fn print_row(set: &str, c: &Count) {
    let n = c.photographs().max(1) as f64;
    let percent = |k: usize| format!("{:.1}%", 100.0 * k as f64 / n);
    println!(
        "{set:40} {:>4} {:>6} {:>6} {:>6} {:>4} {:>13} {:>11} {:>9}",
        c.photographs(),
        percent(c.right),
        percent(c.wrong),
        percent(c.blank),
        c.sure_wrong,
        format!("{}/{}", c.likely_right, c.likely),
        format!("{}/{}", c.marks_right, c.ring),
        format!("{}/{}", c.foreign_blank, c.foreign_blank + c.foreign_wrong),
    );
}

fn judge(set: &str, c: &Count, help: Help) -> Vec<String> {
    let n = c.photographs() as f64;
    let mut faults = Vec::new();
    if c.sure_wrong > 0 {
        faults.push(format!("{set}: {} wrong and sure", c.sure_wrong));
    }
    if (c.wrong + c.foreign_wrong) as f64 > 0.01 * n {
        faults.push(format!("{set}: {} wrong", c.wrong + c.foreign_wrong));
    }
    let least = if help == Help::Nothing { 0.7 } else { 0.9 };
    if (c.right as f64) < least * n {
        faults.push(format!("{set}: only {:.0} % right", 100.0 * c.right as f64 / n));
    }
    if (c.marks_right as f64) < 0.6 * c.ring as f64 {
        faults.push(format!("{set}: marks right in {} of {}", c.marks_right, c.ring));
    }
    faults
}

fn evening(seed: u64, weather: Weather, help: Help, tell: bool) -> Count {
    let mut r = ChaCha8Rng::seed_from_u64(seed ^ ((weather == Weather::Dusk) as u64) << 40);
    let bag = bag(&mut r);
    let kit: Vec<Profile> = bag.iter().filter(|g| g.known).map(|g| profile(g, &mut r)).collect();
    let shots = shoot(&bag, weather, help, &mut r);
    let pictures: Vec<Picture> = shots.iter().map(|s| s.picture.clone()).collect();
    let told = told(&shots, help, &mut r);
    let found = find(&pictures, &kit, &told, false);
    let mut count = Count::default();
    for (i, (shot, finding)) in shots.iter().zip(&found).enumerate() {
        score(shot, finding, &kit, &mut count);
        let wrong = finding.verdict != Verdict::Unknown && !right(shot, finding);
        if tell && wrong {
            println!(
                "  wrong{}: {:x} {i} {} truth {:?} found {:?} ({})",
                if finding.sure { " and sure" } else { "" },
                seed,
                shot.picture.info.file,
                shot.truth,
                finding.verdict,
                finding.note
            );
        }
    }
    count
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

fn right(shot: &Shot, finding: &Finding) -> bool {
    let Some(truth) = &shot.truth else { return false };
    match &finding.verdict {
        Verdict::Unknown => false,
        Verdict::Bare => truth.is_empty(),
        Verdict::Through(used) => {
            let mut found: Vec<usize> = used.iter().map(|u| u.filter).collect();
            found.sort_unstable();
            let marks = used.iter().all(|u| {
                let planted = truth.iter().find(|t| t.0 == u.filter).and_then(|t| t.1.clone());
                u.mark.is_none() || u.mark == planted
            });
            found == truth.iter().map(|t| t.0).collect::<Vec<_>>() && marks
        }
    }
}

fn score(shot: &Shot, finding: &Finding, kit: &[Profile], count: &mut Count) {
    let blank = finding.verdict == Verdict::Unknown;
    let Some(truth) = &shot.truth else {
        count.foreign_blank += usize::from(blank);
        count.foreign_wrong += usize::from(!blank);
        count.sure_wrong += usize::from(!blank && finding.sure);
        return;
    };
    let right = right(shot, finding);
    count.right += usize::from(right);
    count.blank += usize::from(blank);
    count.wrong += usize::from(!right && !blank);
    count.sure_wrong += usize::from(!right && !blank && finding.sure);
    if !blank && !finding.sure {
        count.likely += 1;
        count.likely_right += usize::from(right);
    }
    if truth.iter().any(|t| t.1.is_some()) {
        count.ring += 1;
        let named = matches!(&finding.verdict, Verdict::Through(used)
            if used.iter().any(|u| u.mark.is_some()));
        count.marks_right += usize::from(right && named);
    }
    let _ = kit;
}

/// Filters of this photographer: three or four of his own, and sometimes a borrowed one.
fn bag(r: &mut ChaCha8Rng) -> Vec<Glass> {
    let cast = |r: &mut ChaCha8Rng| [r.random_range(-0.3..0.3), r.random_range(-0.3..0.3)];
    let solid = |name, low, high, r: &mut ChaCha8Rng| Glass {
        name,
        kind: "solid",
        marks: vec![(None, r.random_range(low..high), cast(r))],
        saddle: 0.0,
        known: true,
    };
    let mut bag = vec![
        solid("Skerry Ten", 9.6, 10.8, r),
        solid("Skerry Six", 5.7, 6.5, r),
        solid("Skerry Three", 2.7, 3.4, r),
    ];
    if r.random_bool(0.5) {
        let base = r.random_range(1.4..2.0);
        let colour = cast(r);
        let marks = (0..7).map(|i| {
            let loss = base + 0.9 * f64::from(i) + r.random_range(-0.1..0.1);
            let share = f64::from(i) / 6.0;
            (Some((i + 1).to_string()), loss, colour.map(|c| c * (0.4 + share)))
        });
        bag.push(Glass {
            name: "Dial Ring",
            kind: "variable",
            marks: marks.collect(),
            saddle: r.random_range(0.05..0.15),
            known: true,
        });
    }
    if r.random_bool(0.3) {
        bag.push(Glass {
            name: "Moor Grad",
            kind: "graduated",
            marks: vec![(None, r.random_range(1.8..3.0), [0.05, -0.05])],
            saddle: 0.0,
            known: true,
        });
    }
    if r.random_bool(0.3) {
        bag.push(Glass {
            name: "Tarn Pol",
            kind: "polariser",
            marks: vec![(None, r.random_range(1.2..1.8), cast(r).map(|c| 0.3 * c))],
            saddle: 0.0,
            known: true,
        });
    }
    if r.random_bool(0.25) {
        bag.push(Glass { known: false, ..solid("Borrowed", 3.8, 8.8, r) });
    }
    bag
}

fn profile(glass: &Glass, r: &mut ChaCha8Rng) -> Profile {
    let doubt = Normal::new(0.0, 0.01).unwrap();
    let settings: Vec<Value> = glass
        .marks
        .iter()
        .map(|(mark, loss, colour)| {
            let channel = |stops: f64| json!({"stops": stops, "u95": 0.03});
            let green = loss + doubt.sample(r);
            let [red, blue] = colour.map(|c| c + 0.3 * doubt.sample(r));
            let mut setting = json!({
                "mark": mark,
                "strength": {
                    "stops": green, "u95": 0.03, "density": green * 0.30103,
                    "factor": green.exp2(), "transmittance": (-green).exp2()
                },
                "channels": {
                    "red": channel(green + red), "green": channel(green), "blue": channel(green + blue)
                },
                "cast": {
                    "gains": {"red": red.exp2(), "green": 1.0, "blue": blue.exp2()},
                    "gains_u95": {"red": 0.003, "blue": 0.003}, "words": ""
                },
                "frames": {"bare": [], "filtered": []}, "cautions": []
            });
            if glass.saddle > 0.0 {
                setting["evenness"] = evenness(glass.saddle * loss);
            }
            setting
        })
        .collect();
    let mut document = json!({
        "schema": lightloss::profile::SCHEMA,
        "made_by": {"program": "lightloss", "version": "0"},
        "filter": {"name": glass.name, "kind": glass.kind},
        "camera": {"make": "Testmaker", "model": "One", "focal_length_mm": 24.0},
        "settings": settings, "budget": [], "frames": [], "cautions": []
    });
    if glass.kind == "graduated" {
        document["graduation"] = json!({
            "dark_end_stops": glass.marks[0].1, "clear_end_stops": 0.02,
            "width_percent_of_height": 20.0, "centre_percent_of_height": 50.0, "angle": 0.0,
            "shape": "medium"
        });
    }
    serde_json::from_value(document).unwrap()
}

/// The least that a profile says of evenness: a map of a saddle.
fn evenness(corner: f64) -> Value {
    let (columns, rows) = (30, 20);
    let map: Vec<f64> = (0..columns * rows)
        .map(|i| {
            let x = (i % columns) as f64 / columns as f64 - 0.48;
            let y = (i / columns) as f64 / rows as f64 - 0.48;
            saddle(x, y, corner)
        })
        .collect();
    json!({
        "grid": {"columns": 0, "rows": 0, "stops": []},
        "spread_stops": corner, "extremes_stops": corner,
        "corners_stops": {"top_left": 0.0, "top_right": 0.0, "bottom_left": 0.0, "bottom_right": 0.0},
        "maps": {"columns": columns, "rows": rows, "red": map, "green": map, "blue": map},
        "colour_spread": {"red_green_stops": 0.0, "blue_green_stops": 0.0},
        "specks": [],
        "pattern": {
            "valid": true, "falloff_stops": 0.0, "tilt": {"stops": 0.0, "angle": 0.0},
            "saddle": {"stops": corner, "angle": 0.0}, "cross": {"stops": 0.0, "angle": 0.0},
            "residual_stops": 0.0, "noise_stops": 0.0
        },
        "dark_cross": {"state": "absent", "depth_stops": 0.0, "angle": 0.0}
    })
}

fn saddle(x: f64, y: f64, corner: f64) -> f64 {
    // r = 1 at the corner; r^2 cos 2(phi - 40 degrees)
    let (x, y) = (x * 1.2 / 0.72, y * 0.8 / 0.72);
    let turn = 40f64.to_radians() * 2.0;
    corner * ((x * x - y * y) * turn.cos() + 2.0 * x * y * turn.sin())
}

/// A place: ridge, texture of the ground, water or none.
struct Place {
    ridge: Vec<(f64, f64, f64)>,
    horizon: f64,
    waves: Vec<(f64, f64, f64, f64)>,
    rocks: Vec<(f64, f64, f64, f64)>,
    sky: f64,
    water: bool,
    colour: [f64; 2],
    /// Against the light of the hour.
    offset: f64,
}

impl Place {
    fn new(r: &mut ChaCha8Rng) -> Self {
        let ridge = (0..5).map(|_| {
            (r.random_range(1.0..9.0), r.random_range(0.0..TAU), r.random_range(0.01..0.05))
        });
        let ridge = ridge.collect();
        let waves = (0..14).map(|_| {
            let angle: f64 = r.random_range(0.0..TAU);
            let k = r.random_range(4.0..26.0);
            (k * angle.cos(), k * angle.sin(), r.random_range(0.0..TAU), r.random_range(0.08..0.35))
        });
        let waves = waves.collect();
        let rocks = (0..r.random_range(4..12)).map(|_| {
            (
                r.random_range(-0.6..1.6),
                r.random_range(0.5..1.0),
                r.random_range(0.02..0.12),
                r.random_range(-2.5..1.2),
            )
        });
        Self {
            ridge,
            waves,
            rocks: rocks.collect(),
            horizon: r.random_range(0.25..0.6),
            sky: r.random_range(0.8..3.0),
            water: r.random_bool(0.5),
            colour: [r.random_range(-0.25..0.25), r.random_range(-0.25..0.25)],
            offset: Normal::new(0.0, 0.8).unwrap().sample(r),
        }
    }

    /// Light in stops about the place's middle, and what of it is sky.
    fn at(&self, x: f64, y: f64, time: f64, drift: &[(f64, f64, f64, f64)]) -> (f64, bool) {
        let edge = self.horizon
            + self.ridge.iter().map(|(k, phase, a)| a * (k * x + phase).sin()).sum::<f64>();
        if y < edge {
            let cloud: f64 = drift
                .iter()
                .map(|(kx, ky, phase, a)| a * (kx * (x + 0.02 * time) + ky * y + phase).sin())
                .sum();
            return (self.sky - 0.8 * y + cloud, true);
        }
        let water = self.water && y < edge + 0.25;
        let texture: f64 = self
            .waves
            .iter()
            .map(|(kx, ky, phase, a)| {
                let moved = if water { 3.0 * time } else { 0.0 };
                a * (kx * x + ky * y + phase + moved).sin() * if water { 0.5 } else { 1.0 }
            })
            .sum();
        let rock: f64 = self
            .rocks
            .iter()
            .filter(|(rx, ry, size, _)| (x - rx).hypot(y - ry) < *size)
            .map(|rock| rock.3)
            .sum();
        (texture - 1.0 + rock, false)
    }
}

/// The light over the evening: stops and colour at a minute.
struct Sky {
    weather: Weather,
    base: f64,
    fade: f64,
    quicker: f64,
    /// Clouds: from, to, depth.
    clouds: Vec<(f64, f64, f64)>,
    warms: [f64; 2],
}

impl Sky {
    fn new(weather: Weather, r: &mut ChaCha8Rng) -> Self {
        let mut clouds = Vec::new();
        let mut at = r.random_range(0.0..15.0);
        if weather == Weather::Clouds {
            while at < 240.0 {
                let long = r.random_range(0.5..12.0);
                clouds.push((at, at + long, r.random_range(0.6..2.4)));
                at += long + r.random_range(1.0..25.0);
            }
        }
        let dusk = weather == Weather::Dusk;
        Self {
            weather,
            base: if dusk { r.random_range(8.5..12.5) } else { r.random_range(13.0..14.6) },
            fade: if dusk { r.random_range(-0.06..-0.01) } else { r.random_range(-0.006..0.006) },
            quicker: if dusk { r.random_range(0.0..0.0012) } else { 0.0 },
            clouds,
            warms: if dusk {
                [r.random_range(-0.004..0.008), r.random_range(-0.008..0.004)]
            } else {
                [0.0; 2]
            },
        }
    }

    fn at(&self, minute: f64) -> (f64, [f64; 2]) {
        let cloud = self.clouds.iter().find(|c| (c.0..c.1).contains(&minute)).map_or(0.0, |c| c.2);
        let light = self.base + self.fade * minute - self.quicker * minute * minute - cloud;
        let blue = if self.weather == Weather::Clouds { 0.06 * cloud } else { 0.0 };
        (light.max(-3.0), [self.warms[0] * minute - blue, self.warms[1] * minute + blue])
    }
}

fn shoot(bag: &[Glass], weather: Weather, help: Help, r: &mut ChaCha8Rng) -> Vec<Shot> {
    let sky = Sky::new(weather, r);
    let metering =
        if help == Help::BareNamed { 1.0 } else { [0.0, 0.5, 0.9][r.random_range(0..3)] };
    let words = [0.0, 0.0, 0.35][r.random_range(0..3)];
    let mut book = Book { shots: Vec::new(), seconds: 0.0, sky, words, bag };
    for scene in 0..r.random_range(3..7) {
        book.seconds += r.random_range(150.0..900.0);
        let place = Place::new(r);
        let clouds: Vec<(f64, f64, f64, f64)> = (0..6)
            .map(|_| {
                (
                    r.random_range(2.0..12.0),
                    r.random_range(2.0..12.0),
                    r.random_range(0.0..TAU),
                    r.random_range(0.03..0.15),
                )
            })
            .collect();
        let view = View { place: &place, clouds: &clouds, scene };
        let bare_at = if r.random_bool(metering) { r.random_range(0..3) } else { usize::MAX };
        let graduated =
            bag.iter().position(|g| g.kind == "graduated").filter(|_| r.random_bool(0.4));
        let sets = r.random_range(1..4);
        if bare_at == 0 || (bare_at < 3 && bare_at >= sets) {
            book.take(&view, &[], 0.0, 0.0, r);
        }
        for set in 0..sets {
            if set > 0 && set == bare_at {
                book.seconds += r.random_range(12.0..60.0);
                book.take(&view, &[], 0.0, 0.0, r);
            }
            book.seconds += r.random_range(20.0..90.0);
            let on = chosen(bag, graduated, r);
            match r.random_range(0..10) {
                0..=1 => {
                    for ev in [0.0, -2.0, 2.0] {
                        book.seconds += r.random_range(0.5..2.0);
                        book.take(&view, &on, ev, 0.0, r);
                    }
                }
                2 => {
                    for turn in 0..r.random_range(3..6) {
                        book.seconds += r.random_range(1.0..3.5);
                        book.take(&view, &on, 0.0, 0.35 * f64::from(turn), r);
                    }
                }
                _ => {
                    for again in 0..r.random_range(1..4) {
                        if again > 0 {
                            book.seconds += r.random_range(2.0..40.0);
                        }
                        let off = if r.random_bool(0.06) { -3.0 } else { 0.0 };
                        book.take(&view, &on, off, 0.0, r);
                    }
                }
            }
        }
    }
    book.shots
}

/// Filters and marks in front of the lens.
fn chosen(bag: &[Glass], graduated: Option<usize>, r: &mut ChaCha8Rng) -> Vec<(usize, usize)> {
    let usable: Vec<usize> = (0..bag.len()).filter(|&i| bag[i].kind != "graduated").collect();
    let one = usable[r.random_range(0..usable.len())];
    let mut on = vec![(one, r.random_range(0..bag[one].marks.len()))];
    if let Some(graduated) = graduated.filter(|_| r.random_bool(0.5)) {
        on.push((graduated, 0));
    } else if r.random_bool(0.12) {
        let second = usable[r.random_range(0..usable.len())];
        let rings = bag[one].kind == "variable" && bag[second].kind == "variable";
        if second != one && !rings {
            on.push((second, r.random_range(0..bag[second].marks.len())));
        }
    } else if r.random_bool(0.12) {
        on.clear();
    }
    on.sort_unstable();
    on
}

struct View<'a> {
    place: &'a Place,
    clouds: &'a [(f64, f64, f64, f64)],
    scene: usize,
}

struct Book<'a> {
    shots: Vec<Shot>,
    seconds: f64,
    sky: Sky,
    words: f64,
    bag: &'a [Glass],
}

impl Book<'_> {
    fn take(
        &mut self,
        view: &View<'_>,
        on: &[(usize, usize)],
        off: f64,
        turn: f64,
        r: &mut ChaCha8Rng,
    ) {
        let glass = |&(i, m): &(usize, usize)| (&self.bag[i], &self.bag[i].marks[m]);
        let minute = self.seconds / 60.0;
        let (light, _) = self.sky.at(minute);
        // Metered well, to a third or so of a stop; the photographer allows for the filters.
        let nominal: f64 = on
            .iter()
            .map(glass)
            .map(|(g, m)| if g.kind == "graduated" { 0.4 * m.1 } else { m.1 })
            .sum();
        let ev =
            light + view.place.offset - nominal + Normal::new(0.0, 0.3).unwrap().sample(r) - off;
        let (iso, aperture) = (
            [100.0, 100.0, 200.0, 400.0][r.random_range(0..4)],
            [8.0, 8.0, 11.0, 5.6][r.random_range(0..4)],
        );
        let wished: f64 = aperture * aperture * 100.0 / iso / ev.exp2();
        let time = ((wished.log2() * 3.0).round() / 3.0).exp2().clamp(1.0 / 4000.0, 480.0);
        let during = self.sky.at((self.seconds + time / 2.0) / 60.0);
        let scene = self.scene_map(view, on, (time, aperture, iso), during, turn, r);
        let number = self.shots.len();
        let mut subject = Vec::new();
        if r.random_bool(self.words) {
            match on.iter().find(|(i, _)| self.bag[*i].known) {
                Some((i, _)) => subject.push(self.bag[*i].name.to_owned()),
                None if on.is_empty() => subject.push("bare".to_owned()),
                None => {}
            }
        }
        let foreign = on.iter().any(|(i, _)| !self.bag[*i].known);
        let truth = (!foreign)
            .then(|| on.iter().map(|&(i, m)| (i, self.bag[i].marks[m].0.clone())).collect());
        let info = self.info(number, time, aperture, iso, subject);
        self.shots.push(Shot {
            picture: Picture { info, scene: Some(scene) },
            truth,
            scene: view.scene,
        });
        self.seconds += time + 0.3;
    }

    fn scene_map(
        &self,
        view: &View<'_>,
        on: &[(usize, usize)],
        (time, aperture, iso): (f64, f64, f64),
        (light, hue): (f64, [f64; 2]),
        turn: f64,
        r: &mut ChaCha8Rng,
    ) -> SceneMap {
        let line = r.random_range(0.3..0.6);
        let polarised = r.random_range(-0.3..0.4);
        let hand: Vec<f64> = on.iter().map(|_| Normal::new(0.0, 0.07).unwrap().sample(r)).collect();
        let ev = (aperture * aperture / time * 100.0 / iso).log2();
        let noise = Normal::new(0.0, 1.0).unwrap();
        let black = 0.4 * noise.sample(r);
        let cells = (0..SIDE * SIDE).map(|i| {
            let (u, v) = ((i % SIDE) as f64 / SIDE as f64, (i / SIDE) as f64 / SIDE as f64);
            let (stops, is_sky) = view.place.at(u + turn, v, self.seconds / 60.0, view.clouds);
            let mut level = [0.0; 3];
            for (channel, level) in level.iter_mut().enumerate() {
                let tint = |pair: [f64; 2]| match channel {
                    0 => pair[0],
                    1 => 0.0,
                    _ => pair[1],
                };
                let mut here = light + view.place.offset + stops - ev
                    + tint(hue)
                    + tint(view.place.colour)
                    + [-0.6, 0.0, -0.4][channel];
                for (&(g, m), hand) in on.iter().zip(&hand) {
                    let glass = &self.bag[g];
                    let mark = &glass.marks[m];
                    let loss = match glass.kind {
                        "graduated" => mark.1 * (0.5 - (v - line) / 0.2).clamp(0.0, 1.0),
                        "polariser" => {
                            mark.1 + if is_sky { polarised + 0.3 } else { polarised * 0.5 }
                        }
                        "variable" => {
                            mark.1 + hand + saddle(u - 0.49, v - 0.49, glass.saddle * mark.1)
                        }
                        _ => mark.1 + 0.15 * hand,
                    };
                    let share = if glass.kind == "graduated" { loss / mark.1 } else { 1.0 };
                    here -= loss + share * tint(mark.2);
                }
                let counts = FULL_SCALE * (here - MIDDLE_BELOW).exp2();
                let sd = (counts / ELECTRONS / PIXELS + 4.0 / PIXELS).sqrt();
                let seen = counts + black + sd * noise.sample(r);
                *level = if counts > 0.9 * FULL_SCALE || seen < 8.0 {
                    f32::NAN
                } else {
                    seen.log2() as f32
                };
            }
            level
        });
        SceneMap {
            columns: SIDE,
            rows: SIDE,
            cells: cells.collect(),
            full_scale: FULL_SCALE.log2(),
        }
    }

    fn info(
        &self,
        number: usize,
        time: f64,
        aperture: f64,
        iso: f64,
        subject: Vec<String>,
    ) -> FrameInfo {
        let start = jiff::civil::date(2031, 5, 4).at(16, 0, 0, 0);
        let at = start
            .checked_add(jiff::Span::new().milliseconds((self.seconds * 1000.0) as i64))
            .unwrap();
        FrameInfo {
            file: format!("EVE_{number:04}.dng"),
            sha256: String::new(),
            origin: Origin::Raw,
            camera: Camera {
                make: Some("Testmaker".into()),
                model: Some("One".into()),
                serial: Some("1".into()),
                lens: Some("24".into()),
                focal_length: Some(Millimetres::new(24.0)),
                focal_length_35mm: None,
                focal_plane: None,
            },
            exposure: Exposure {
                time: Some(Seconds::new(time)),
                apex_time: None,
                bulb: false,
                f_number: Some(FNumber::new(aperture)),
                iso: Some(Iso::new(iso)),
            },
            capture: Capture { at: Some(at), offset: None },
            orientation: 1,
            as_shot_neutral: None,
            matrices: Vec::new(),
            noise_reduction: None,
            subject,
        }
    }
}
