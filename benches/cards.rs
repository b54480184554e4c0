//! Messy cards, counted: `cargo bench --bench cards -- --folders 200`.
//!
//! Each folder holds one shoot (or two, which must be refused) and everything that ends up on a
//! card beside it, alone and combined, from a seed. Fails where a strength lies outside its u95
//! without a caution of grade number that names the cause, where a frame is used that a person
//! would not have used, or where fewer than 95 % of the folders with one measurable shoot are
//! measured without a flag. The counts are kept in `reports/cards/cards.txt` from 200 folders on.

#![allow(clippy::print_stdout, clippy::unwrap_used, missing_docs)]

use lightloss::exposure::DialTime;
use lightloss::measure::{About, measure};
use lightloss::profile::{FrameState, Grade, Profile};
use lightloss::quantity::Seconds;
use lightloss::shoot::verdict::Judgement;
use lightloss::shoot::{Candidate, Shoot, SortError, Wish, sort};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::{Filter, Leak};
use lightloss::simulate::motif::Motif;
use lightloss::simulate::scene::{Scene, WarmUp};
use lightloss::simulate::session::{Session, Shot, Taken};
use lightloss::write::dng::Compression;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

const BARE_S: f64 = 1.0 / 60.0;
/// Light that brings a bare frame at that time to 45 % of full scale.
const LEVEL: f64 = 0.45 / BARE_S;
const MEASURED_SHARE: f64 = 0.95;
const KEPT_FROM: u64 = 200;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Shape {
    Solid,
    Interleaved,
    Ring,
    RingBackwards,
    RingSkips,
    TwoFilters,
    TwoBodies,
    TwoLenses,
    TwoSittings,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Mess {
    Pictures,
    PicturesFirst,
    OtherDay,
    StrayBody,
    StrayLens,
    Copies,
    Companions,
    Counter,
    WrongClock,
    NumbersDisagree,
    NoTimes,
    CameraFolders,
    AutoIso,
    ApertureOnce,
    WhiteBalance,
    NoiseReduction,
    Lamp,
    Kicked,
    Compensation,
    Cloud,
    Clipped,
    Buried,
    Darks,
    LeakFrame,
    HandUnder,
    HandOver,
    NoContacts,
    Drift,
}

const SHAPES: [Shape; 9] = [
    Shape::Solid,
    Shape::Interleaved,
    Shape::Ring,
    Shape::RingBackwards,
    Shape::RingSkips,
    Shape::TwoFilters,
    Shape::TwoBodies,
    Shape::TwoLenses,
    Shape::TwoSittings,
];

const MESSES: [Mess; 28] = [
    Mess::Pictures,
    Mess::PicturesFirst,
    Mess::OtherDay,
    Mess::StrayBody,
    Mess::StrayLens,
    Mess::Copies,
    Mess::Companions,
    Mess::Counter,
    Mess::WrongClock,
    Mess::NumbersDisagree,
    Mess::NoTimes,
    Mess::CameraFolders,
    Mess::AutoIso,
    Mess::ApertureOnce,
    Mess::WhiteBalance,
    Mess::NoiseReduction,
    Mess::Lamp,
    Mess::Kicked,
    Mess::Compensation,
    Mess::Cloud,
    Mess::Clipped,
    Mess::Buried,
    Mess::Darks,
    Mess::LeakFrame,
    Mess::HandUnder,
    Mess::HandOver,
    Mess::NoContacts,
    Mess::Drift,
];

/// Cautions of grade number that name this cause.
fn causes(mess: Mess) -> &'static [&'static str] {
    match mess {
        Mess::AutoIso => &["iso_changed"],
        Mess::ApertureOnce => &["aperture_changed"],
        Mess::Lamp | Mess::Cloud | Mess::Drift | Mess::Kicked => &["light_unsteady"],
        Mess::LeakFrame => &["leak_assumed"],
        Mess::HandUnder | Mess::HandOver => &["timed_by_hand"],
        _ => &[],
    }
}

/// A frame on the card, and whether a person would use it.
#[derive(Clone)]
struct Entry {
    candidate: Candidate,
    wanted: bool,
}

struct Card {
    what: String,
    messes: Vec<Mess>,
    entries: Vec<Entry>,
    /// Strengths in stops, green, in order of first appearance; empty where it must be refused.
    truth: Vec<f64>,
    /// For a card that must be refused: the strengths of each shoot.
    shoots: Vec<f64>,
}

fn dial(seconds: f64) -> f64 {
    DialTime::nearest(Seconds::new(seconds)).unwrap().shown().get()
}

fn camera(seed: u64) -> Camera {
    let mut camera = Camera::bayer(1152, 768);
    // The shutter's own offsets are in u95 and would hide what is tried here.
    camera.shutter.offsets = 0.0;
    camera.seed = seed;
    camera
}

fn session(seed: u64) -> Session {
    let scene = Scene { walk: 0.003, ..Scene::daylight(LEVEL, [0.55, 1.0, 0.7]) };
    Session::new(camera(417), Lens::of(50.0), scene, seed)
}

fn strength(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    (rng.random_range(low..high) * 100.0_f64).round() / 100.0
}

fn even(stops: f64) -> Filter {
    Filter::even([stops + 0.2, stops, stops - 0.15])
}

fn through(stops: f64) -> Vec<Shot> {
    let time = dial((BARE_S * stops.exp2()).min(30.0));
    Shot::repeated("", 0, 3, Time::Dial(time), &[even(stops)])
}

fn bare() -> Vec<Shot> {
    Shot::repeated("", 0, 3, Time::Dial(BARE_S), &[])
}

/// The shots of a shape, the truth, and the strengths of each shoot where it must be refused.
fn shape(shape: Shape, rng: &mut ChaCha8Rng) -> (Vec<Shot>, Vec<f64>, Vec<f64>) {
    let stops = strength(rng, 2.0, 11.5);
    let other = stops + if stops > 7.0 { -3.0 } else { 3.0 };
    let ring = [2.0, 3.1, 4.05, 5.2, 6.1];
    let mut shots = bare();
    let truth = match shape {
        Shape::Solid | Shape::TwoBodies | Shape::TwoLenses => {
            shots.extend(through(stops));
            vec![stops]
        }
        Shape::Interleaved => {
            shots.extend(through(stops));
            shots.extend(bare());
            shots.extend(through(stops));
            vec![stops]
        }
        Shape::Ring => {
            shots.extend(ring.iter().flat_map(|s| through(*s)));
            shots.extend(ring.iter().rev().skip(1).flat_map(|s| through(*s)));
            ring.to_vec()
        }
        Shape::RingBackwards => {
            shots.extend(ring.iter().rev().flat_map(|s| through(*s)));
            ring.iter().rev().copied().collect()
        }
        Shape::RingSkips => {
            let up: Vec<f64> = ring.iter().copied().filter(|s| *s != 4.05).collect();
            shots.extend(up.iter().flat_map(|s| through(*s)));
            up
        }
        Shape::TwoFilters => {
            shots.extend(through(stops));
            shots.extend(bare());
            shots.extend(through(other));
            Vec::new()
        }
        Shape::TwoSittings => {
            shots.extend(through(stops));
            shots.extend(bare());
            let from = shots.len();
            shots.extend(bare());
            shots.extend(through(other));
            shots[from].pause_s = 3000.0;
            Vec::new()
        }
    };
    shots.extend(bare());
    let refused = match shape {
        Shape::TwoFilters | Shape::TwoSittings => vec![stops, other],
        Shape::TwoBodies | Shape::TwoLenses => vec![stops, stops],
        _ => Vec::new(),
    };
    (shots, truth, refused)
}

fn card(shape_of: Shape, messes: &[Mess], seed: u64) -> Card {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let has = |mess: Mess| messes.contains(&mess);
    let (mut shots, mut truth, shoots) = shape(shape_of, &mut rng);
    let mut session = session(seed);
    let mut wanted: BTreeMap<String, bool> = BTreeMap::new();
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.file = format!("w{n}");
        wanted.insert(shot.file.clone(), true);
    }
    let filtered: Vec<usize> = (0..shots.len()).filter(|&i| !shots[i].filters.is_empty()).collect();
    let one_of_them = *filtered.choose(&mut rng).unwrap();
    if has(Mess::AutoIso) {
        for &i in &filtered {
            shots[i].iso = 800.0;
            shots[i].time = Time::Dial(dial((shots[i].time.set() / 8.0).max(1.0 / 4000.0)));
        }
    }
    if has(Mess::ApertureOnce) {
        shots[one_of_them].f_number = 11.0;
    }
    if has(Mess::WhiteBalance) {
        for shot in &mut shots {
            shot.neutral = Some([rng.random_range(0.4..0.7), 1.0, rng.random_range(0.5..0.9)]);
        }
    }
    if has(Mess::Kicked) {
        for shot in shots.iter_mut().skip(3) {
            shot.moved = (0.01, -0.006);
            shot.lean = (rng.random_range(0.0..0.01), 200.0);
        }
    }
    if has(Mess::Compensation) {
        shots[1].time = Time::Dial(1.0 / 125.0);
    }
    if has(Mess::Cloud) {
        shots[one_of_them].brighter = -0.4;
        wanted.insert(shots[one_of_them].file.clone(), false);
    }
    let hand = |shot: &mut Shot, seconds: f64| {
        // A fifth of a stop below the bare level: bulb frames must not clip.
        let stops = (seconds / BARE_S).log2() + 0.2;
        shot.filters = vec![even(stops)];
        shot.time = Time::Hand(seconds);
        stops
    };
    if has(Mess::HandUnder) || has(Mess::HandOver) {
        let seconds = if has(Mess::HandUnder) { 14.0 } else { 64.0 };
        for &i in &filtered {
            truth = vec![hand(&mut shots[i], seconds)];
        }
    }
    if has(Mess::LeakFrame) {
        let stops = 10.4;
        let leak = Leak { share: 2e-5, lean: 0.3, angle: 90.0 };
        for &i in &filtered {
            shots[i].filters = vec![Filter { leak: Some(leak), ..even(stops) }];
            shots[i].time = Time::Dial(20.0);
        }
        truth = vec![stops];
        let mut card = Shot::of("leak", Time::Dial(20.0), vec![Filter::opaque(Some(leak))]);
        card.pause_s = 20.0;
        wanted.insert(card.file.clone(), false);
        shots.insert(filtered[filtered.len() - 1] + 1, card);
    }
    let mut add = |shots: &mut Vec<Shot>, at: usize, mut shot: Shot, name: &str| {
        shot.file = format!("{name}{}", wanted.len());
        wanted.insert(shot.file.clone(), false);
        shots.insert(at.min(shots.len()), shot);
    };
    let motifs = [Motif::Window, Motif::Cat, Motif::Garden, Motif::Shore(0.2), Motif::Chart];
    if has(Mess::Pictures) {
        for _ in 0..rng.random_range(1..5) {
            let time = *[1.0 / 500.0, 1.0 / 60.0, 1.0 / 125.0].choose(&mut rng).unwrap();
            let mut shot = Shot::of("", Time::Dial(time), Vec::new());
            shot.motif = *motifs.choose(&mut rng).unwrap();
            let at = rng.random_range(0..=shots.len());
            add(&mut shots, at, shot, "picture");
        }
    }
    if has(Mess::PicturesFirst) {
        for motif in [Motif::Garden, Motif::Window] {
            let mut shot = Shot::of("", Time::Dial(1.0 / 60.0), Vec::new());
            shot.motif = motif;
            shot.brighter = 0.4;
            add(&mut shots, 0, shot, "picture");
        }
    }
    if has(Mess::Clipped) {
        let shot = Shot::of("", Time::Dial(1.0 / 15.0), Vec::new());
        add(&mut shots, 0, shot, "clipped");
    }
    if has(Mess::Buried) {
        let shot = Shot::of("", Time::Dial(1.0 / 4000.0), vec![even(11.0)]);
        let at = shots.iter().position(|s| !s.filters.is_empty()).unwrap();
        add(&mut shots, at, shot, "buried");
    }
    if has(Mess::Darks) {
        let longest = shots.iter().map(|s| s.time.set()).fold(0.0, f64::max);
        for _ in 0..2 {
            let shot =
                Shot::of("", Time::Dial(dial(longest.min(30.0))), vec![Filter::opaque(None)]);
            let end = shots.len();
            add(&mut shots, end, shot, "dark");
        }
    }
    if has(Mess::OtherDay) {
        for _ in 0..rng.random_range(1..6) {
            let mut shot = Shot::of("", Time::Dial(1.0 / 60.0), Vec::new());
            shot.brighter = 0.9;
            add(&mut shots, 0, shot, "stray");
        }
        let first = shots.iter().position(|s| !s.file.starts_with("stray")).unwrap();
        shots[first].pause_s = 7200.0;
    }
    if has(Mess::NoiseReduction) {
        for i in 1..shots.len() {
            let before = shots[i - 1].time.set();
            shots[i].pause_s += if before >= 1.0 { before } else { 0.0 };
        }
    }
    if has(Mess::Lamp) {
        session.scene.warm_up = Some(WarmUp { stops: 0.06, minutes: 4.0 });
    }
    if has(Mess::Drift) {
        session.scene.drift = rng.random_range(-0.05..0.05);
    }
    if has(Mess::NoContacts) {
        session.lens = session.lens.without_contacts();
    }
    match () {
        () if has(Mess::NoTimes) => session.starts = None,
        () if has(Mess::WrongClock) => {
            session.starts = Some(jiff::civil::date(2010, 1, 1).at(0, 0, 3, 0));
            session.offset = None;
        }
        () => {}
    }
    let mut taken = session.take(&shots);
    if matches!(shape_of, Shape::TwoBodies | Shape::TwoLenses) {
        let mut second = session.clone();
        second.seed += 1;
        if shape_of == Shape::TwoBodies {
            second.camera.serial = Some("K2-00999".into());
        } else {
            second.lens = Lens::of(24.0);
        }
        let own: Vec<Shot> = shots
            .iter()
            .filter(|s| wanted[&s.file])
            .map(|s| Shot { file: format!("b{}", s.file), ..s.clone() })
            .collect();
        second.starts = second.starts.map(|t| {
            t.saturating_add(
                jiff::Span::new().seconds(3 + taken.last().unwrap().begins_s as i64 + 60),
            )
        });
        taken.extend(second.take(&own));
    }
    for (mess, change) in [(Mess::StrayBody, true), (Mess::StrayLens, false)] {
        if has(mess) {
            let mut second = session.clone();
            second.seed += 2;
            if change {
                second.camera.model = "Kelmora One".into();
            } else {
                second.lens = Lens::of(85.0);
            }
            let name = format!("stray{change}");
            taken.extend(second.take(&[Shot::of(&name, Time::Dial(1.0 / 60.0), Vec::new())]));
        }
    }
    let what = format!("seed {seed} {shape_of:?} {messes:?}");
    let entries = entries(&session, &taken, messes, &wanted);
    let truth = if shoots.is_empty() {
        truth.iter().map(|&s| planted(&session, s)).collect()
    } else {
        Vec::new()
    };
    let shoots = shoots.iter().map(|&s| planted(&session, s)).collect();
    Card { what, messes: messes.to_vec(), entries, truth, shoots }
}

fn planted(session: &Session, stops: f64) -> f64 {
    session.centre_stops(&[even(stops)])[1]
}

/// Names as a camera gives them, in the order of shooting.
fn entries(
    session: &Session,
    taken: &[Taken],
    messes: &[Mess],
    wanted: &BTreeMap<String, bool>,
) -> Vec<Entry> {
    let has = |mess: Mess| messes.contains(&mess);
    let count = taken.len();
    let mut entries: Vec<Entry> = taken
        .iter()
        .enumerate()
        .map(|(n, one)| {
            let number = if has(Mess::Counter) { (9994 + n) % 10_000 } else { 101 + n };
            let number = if has(Mess::Counter) && number < 9994 { number + 1 } else { number };
            let number = if has(Mess::NumbersDisagree) { 101 + count - n } else { number };
            let name = format!("P{number:04}.dng");
            let folder = if n < 4 { "100ABCDE" } else { "101ABCDE" };
            let file = if has(Mess::CameraFolders) { format!("{folder}/{name}") } else { name };
            let mut summary = draw(session, one);
            summary.info.file.clone_from(&file);
            let wanted = wanted.get(one.shot.file.trim_start_matches('b')).copied();
            Entry {
                candidate: Candidate { sha256: file.clone(), file, outcome: Ok(summary) },
                wanted: wanted.unwrap_or(false),
            }
        })
        .collect();
    if has(Mess::Copies) {
        let mut copy = entries[0].clone();
        copy.candidate.file = "copy of it.dng".into();
        copy.wanted = false;
        entries.push(copy);
    }
    if has(Mess::Companions) {
        let of = entries[1].candidate.file.clone();
        let file = of.replace(".dng", ".jpg");
        let outcome = Err(Judgement::Companion { of });
        let candidate = Candidate { sha256: "jpg".into(), file, outcome };
        entries.push(Entry { candidate, wanted: false });
    }
    entries
}

#[derive(Default)]
struct Outcome {
    what: String,
    measurable: bool,
    measured: bool,
    must_refuse: bool,
    refused: bool,
    outside: Vec<String>,
    misused: Vec<String>,
    note: String,
}

fn profile(shoot: &Shoot) -> Result<Profile, String> {
    measure(shoot, &About { name: "Planted".into(), ..About::default() }).map_err(|e| e.to_string())
}

fn outside(card: &Card, profile: &Profile, truth: &[f64]) -> Vec<String> {
    let named: Vec<&str> = card.messes.iter().flat_map(|m| causes(*m)).copied().collect();
    let all = |codes: &[lightloss::profile::CautionRecord]| {
        codes.iter().any(|c| c.grade == Grade::Number && named.contains(&c.code.as_str()))
    };
    let said = all(&profile.cautions) || profile.settings.iter().any(|s| all(&s.cautions));
    // Where more or fewer settings were found than there were, each is held against the nearest.
    let nearest = |stops: f64| {
        truth.iter().copied().min_by(|a, b| (a - stops).abs().total_cmp(&(b - stops).abs()))
    };
    let matching = profile.settings.len() == truth.len();
    profile
        .settings
        .iter()
        .enumerate()
        .filter_map(|(n, setting)| {
            let stops = setting.strength.stops.get();
            let truth = if matching { truth.get(n).copied() } else { nearest(stops) };
            let error = stops - truth.unwrap_or(0.0);
            let u95 = setting.strength.u95.get();
            (error.abs() > u95 && !said).then(|| format!("off by {error:.4}, u95 {u95:.4}"))
        })
        .collect()
}

fn tried(card: &Card) -> Outcome {
    let candidates = || card.entries.iter().map(|e| e.candidate.clone()).collect::<Vec<_>>();
    let mut outcome = Outcome {
        what: card.what.clone(),
        measurable: !card.truth.is_empty(),
        must_refuse: card.truth.is_empty(),
        ..Outcome::default()
    };
    match sort(candidates(), &Wish::default()) {
        Ok(shoot) => {
            misused(card, &shoot, &mut outcome);
            match profile(&shoot) {
                Ok(p) if p.settings.len() == card.truth.len() => {
                    outcome.measured = true;
                    outcome.outside = outside(card, &p, &card.truth);
                }
                Ok(p) => {
                    outcome.note = format!("{} settings were found", p.settings.len());
                    // A number that is wrong without a word is wrong whatever it is called.
                    outcome.outside = outside(card, &p, &card.truth);
                }
                Err(why) => outcome.note = why,
            }
        }
        Err(SortError::SeveralFilters { commands, reason }) => {
            outcome.refused = commands.len() == card.shoots.len();
            outcome.note = reason;
            if outcome.must_refuse {
                by_command(card, &commands, &mut outcome);
            }
        }
        Err(why) => outcome.note = why.to_string(),
    }
    outcome
}

fn misused(card: &Card, shoot: &Shoot, outcome: &mut Outcome) {
    for frame in &shoot.frames {
        let used = matches!(frame.state, FrameState::Bare | FrameState::Setting);
        let entry = card.entries.iter().find(|e| e.candidate.file == frame.file()).unwrap();
        if used && frame.is_good() && !entry.wanted {
            outcome.misused.push(format!("{} as {:?}", frame.file(), frame.state));
        }
    }
}

/// Each ready command measures its own filter.
fn by_command(card: &Card, commands: &[String], outcome: &mut Outcome) {
    for (command, truth) in commands.iter().zip(&card.shoots) {
        let words: Vec<&str> = command.split(' ').collect();
        let after = |flag: &str| {
            words.iter().position(|w| *w == flag).map(|i| words[i + 1].trim_matches('"').to_owned())
        };
        let wish = Wish { from: after("--from"), to: after("--to"), ..Wish::default() };
        if wish.from.is_none() {
            outcome.note = format!("no limits in {command:?}");
            outcome.refused = false;
            continue;
        }
        let candidates = card.entries.iter().map(|e| e.candidate.clone()).collect();
        let measured = sort(candidates, &wish).map_err(|e| e.to_string());
        match measured.and_then(|s| {
            misused(card, &s, outcome);
            profile(&s)
        }) {
            Ok(p) => outcome.outside.extend(outside(card, &p, &[*truth])),
            Err(why) => {
                outcome.refused = false;
                outcome.note = format!("{command:?}: {why}");
            }
        }
    }
}

/// Whether these go together, and with the shape.
fn fits(shape: Shape, chosen: &[Mess], mess: Mess) -> bool {
    use Mess::*;
    let single = matches!(shape, Shape::Solid | Shape::Interleaved);
    let alone =
        |these: &[Mess]| !these.contains(&mess) || !chosen.iter().any(|m| these.contains(m));
    let refused = matches!(
        shape,
        Shape::TwoFilters | Shape::TwoBodies | Shape::TwoLenses | Shape::TwoSittings
    );
    !chosen.contains(&mess)
        && (single || !matches!(mess, HandUnder | HandOver | LeakFrame | Buried | AutoIso))
        && (!refused
            || !matches!(mess, NoTimes | OtherDay | Cloud | NoContacts | Lamp | ApertureOnce))
        && alone(&[HandUnder, HandOver, LeakFrame, AutoIso])
        && alone(&[Counter, NumbersDisagree])
        && alone(&[NumbersDisagree, NoTimes])
        && alone(&[WrongClock, NoTimes])
        && alone(&[NoTimes, OtherDay])
        && alone(&[NoTimes, StrayBody])
        && alone(&[NoTimes, StrayLens])
        && alone(&[NoContacts, StrayLens])
        && alone(&[NoContacts, ApertureOnce])
        && alone(&[Lamp, Drift])
        && alone(&[Buried, LeakFrame])
}

fn recipe(n: u64) -> (Shape, Vec<Mess>) {
    let mut rng = ChaCha8Rng::seed_from_u64(n ^ 0xCA4D);
    let n = n as usize;
    if n < SHAPES.len() {
        return (SHAPES[n], Vec::new());
    }
    if n < SHAPES.len() + MESSES.len() {
        return (Shape::Solid, vec![MESSES[n - SHAPES.len()]]);
    }
    let shape = *SHAPES.choose(&mut rng).unwrap();
    let mut messes = Vec::new();
    for _ in 0..rng.random_range(1..5) {
        let mess = *MESSES.choose(&mut rng).unwrap();
        if fits(shape, &messes, mess) {
            messes.push(mess);
        }
    }
    (shape, messes)
}

/// A few folders of real files through the program.
fn files(report: &mut String) -> usize {
    let mut faults = 0;
    for seed in 0..2_u64 {
        let home = tempfile::tempdir().unwrap();
        let mut session = session(900 + seed);
        session.camera = Camera { seed: 417, ..Camera::bayer(576, 384) };
        session.camera.shutter.offsets = 0.0;
        let mut shots = bare();
        shots.extend(through(6.0 + seed as f64));
        shots.extend(bare());
        for (n, shot) in shots.iter_mut().enumerate() {
            let folder = if n < 4 { "100ABCDE" } else { "101ABCDE" };
            shot.file = format!("{folder}/P{:04}.dng", (9995 + n) % 10_000);
        }
        let card = home.path().join("card");
        let taken = session.take(&shots);
        write_all(&session, &taken, &card, Compression::LosslessJpeg, false).unwrap();
        litter(&card);
        let output = Command::new(env!("CARGO_BIN_EXE_lightloss"))
            .args(["measure", "card", "--format", "json"])
            .current_dir(home.path())
            .output()
            .unwrap();
        let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap_or_default();
        let strength = &value["settings"][0]["strength"];
        let error =
            strength["stops"].as_f64().unwrap_or(f64::NAN) - planted(&session, 6.0 + seed as f64);
        let good = output.status.code() == Some(0)
            && error.abs() <= strength["u95"].as_f64().unwrap_or(0.0);
        if !good {
            faults += 1;
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            writeln!(report, "files, seed {seed}: {:?} off by {error:.4}: {said}", output.status)
                .unwrap();
        }
    }
    faults
}

/// What else lies on a card.
fn litter(card: &Path) {
    let folder = card.join("100ABCDE");
    let picture = image::RgbImage::from_fn(90, 60, |x, y| image::Rgb([x as u8, y as u8, 90]));
    picture.save(folder.join("P9995.JPG")).unwrap();
    for (name, bytes) in [
        ("P9996.HIF", b"\0\0\0\x18ftypheic".as_slice()),
        ("P9996.xmp", b"<x/>"),
        ("._P9997.dng", b"\0\x05\x16\x07"),
        ("P9997.THM", b"thumb"),
        ("MVI_0001.MP4", b"film"),
        ("INDEX.CTG", b"index"),
    ] {
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let count = arguments
        .iter()
        .position(|a| a == "--folders")
        .and_then(|i| arguments.get(i + 1))
        .map_or(200, |n| n.parse::<u64>().unwrap());
    // A short campaign is spread over the whole of a long one.
    let step = (KEPT_FROM / count.max(1)).max(1);
    let outcomes: Vec<Outcome> = (0..count)
        .into_par_iter()
        .map(|n| {
            let n = n * step;
            let (shape, messes) = recipe(n);
            tried(&card(shape, &messes, 1000 + n))
        })
        .collect();
    let mut report = String::new();
    for o in &outcomes {
        for (what, list) in [("outside u95", &o.outside), ("used by mistake", &o.misused)] {
            if !list.is_empty() {
                writeln!(report, "{what}: {}: {}", o.what, list.join("; ")).unwrap();
            }
        }
        if o.measurable && !o.measured {
            writeln!(report, "not measured: {}: {}", o.what, o.note).unwrap();
        }
        if o.must_refuse && !o.refused {
            writeln!(report, "not refused as it should be: {}: {}", o.what, o.note).unwrap();
        }
    }
    let number = |test: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| test(o)).count();
    let measurable = number(&|o| o.measurable);
    let measured = number(&|o| o.measurable && o.measured);
    let twofold = number(&|o| o.must_refuse);
    let refused = number(&|o| o.must_refuse && o.refused);
    let outside = number(&|o| !o.outside.is_empty());
    let misused = number(&|o| !o.misused.is_empty());
    writeln!(
        report,
        "{count} folders: {measurable} with one measurable shoot, {measured} of them measured \
         without a flag; {twofold} with two shoots, {refused} of them refused with a ready command \
         each that measures; {outside} with a strength outside its u95 and no caution that names \
         the cause; {misused} with a frame used that a person would not have used"
    )
    .unwrap();
    let faults = files(&mut report);
    writeln!(report, "2 cards of real files through the program, {faults} not as they should be")
        .unwrap();
    print!("{report}");
    if count >= KEPT_FROM {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reports/cards");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("cards.txt"), &report).unwrap();
    }
    assert_eq!(outside, 0);
    assert_eq!(misused, 0);
    assert_eq!(faults, 0);
    assert_eq!(refused, twofold);
    assert!(measured as f64 >= MEASURED_SHARE * measurable as f64);
}
