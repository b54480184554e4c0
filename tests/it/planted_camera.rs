//! A camera body's planted shutter times, found again from frames of a bare wall.

use lightloss::body_record::BodyRecord;
use lightloss::measure::body::{BodyError, body};
use lightloss::quantity::Seconds;
use lightloss::shoot::{Candidate, Wish, survey};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::cells::draw;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

/// Dial and true seconds of one professional reflex body, measured by its owner and published in a
/// photography forum (dpreview, post 31437081, "Exposure time - Rationale and Numbers").
const PUBLISHED: [(f64, f64); 19] = [
    (0.4, 0.408_16),
    (0.5, 0.515_46),
    (0.6, 0.648_51),
    (0.8, 0.816_99),
    (1.0, 1.03),
    (1.3, 1.297),
    (1.6, 1.63),
    (2.0, 2.06),
    (2.5, 2.59),
    (3.2, 3.27),
    (4.0, 4.12),
    (5.0, 5.19),
    (6.0, 6.54),
    (8.0, 8.24),
    (10.0, 10.4),
    (13.0, 13.1),
    (15.0, 16.5),
    (20.0, 20.8),
    (30.0, 32.0),
];

/// The wall at all those times, up and down, in lights of these levels (share of full scale a
/// second); the files tell the dial's times.
fn wall(lights: &[f64], seed: u64) -> Vec<Candidate> {
    let mut camera = Camera::bayer(480, 320);
    camera.dark_rate = 0.0;
    let scene = Scene { walk: 0.002, ..Scene::daylight(0.01, [0.7, 1.0, 0.7]) };
    let session = Session::new(camera, Lens::of(50.0), scene, seed);
    let (mut shots, mut shown) = (Vec::new(), Vec::new());
    for light in lights {
        for (dial, open) in PUBLISHED.iter().chain(PUBLISHED.iter().rev()) {
            let name = format!("W{:04}.dng", shots.len());
            let shot = Shot::of(&name, Time::Timer(*open), Vec::new());
            // Frames that reach full scale are left out by their clipping.
            shots.push(Shot { brighter: light.log2(), ..shot });
            shown.push(*dial);
        }
    }
    let taken = session.take(&shots);
    let frame = |(taken, dial): (_, f64)| {
        let mut summary = draw(&session, taken);
        summary.info.exposure.time = Some(Seconds::new(dial));
        summary.info.exposure.apex_time = None;
        let file = summary.info.file.clone();
        Candidate { sha256: file.clone(), file, outcome: Ok(summary) }
    };
    taken.iter().zip(shown).map(frame).collect()
}

fn measured(lights: &[f64], seed: u64) -> Result<BodyRecord, BodyError> {
    let (shoot, _) = survey(wall(lights, seed), &Wish::default()).expect("frames");
    body(&shoot)
}

/// Ratios of the published times come back within what the record claims for them.
#[test]
fn published_shutter_times_are_found_again() {
    let (mut inside, mut all) = (0, 0);
    for seed in 0..6 {
        let record = measured(&[1.0, 4.0, 16.0], seed).expect("a record");
        assert!(record.times.len() >= 18, "{} times", record.times.len());
        let found: Vec<(f64, f64)> = record
            .times
            .iter()
            .map(|t| {
                let dial = t.shown_s.get();
                let (_, open) = PUBLISHED.iter().find(|p| p.0 == dial).expect("a planted time");
                ((t.true_s.get() / open).log2(), 1.96 * t.u_stops.get())
            })
            .collect();
        // A factor common to all times shows in no ratio.
        let common = found.iter().map(|f| f.0).sum::<f64>() / found.len() as f64;
        for (off, u95) in found {
            assert!((off - common).abs() < 0.01, "seed {seed}: {off} beside {common}, {u95}");
            inside += usize::from((off - common).abs() <= u95);
            all += 1;
        }
    }
    // 95 % of 114 with four standard deviations of the binomial distribution.
    assert!(inside as f64 > 0.95 * f64::from(all) - 4.0 * (0.0475 * f64::from(all)).sqrt());
}

#[test]
fn a_record_reads_back_and_tells_the_time_of_its_own_body_alone() {
    let record = measured(&[1.0, 8.0], 1).expect("a record");
    let read = BodyRecord::parse(&record.to_text().expect("text")).expect("a record");
    assert_eq!(read, record);
    let (own, dial) = (record.body.clone(), Seconds::new(15.0));
    assert!(record.time(&own, dial).is_some());
    let other = lightloss::body_record::Body { serial: Some("K2-99999".into()), ..own };
    assert!(record.time(&other, dial).is_none());
}

#[test]
fn one_light_is_refused() {
    assert_eq!(measured(&[1.0], 1), Err(BodyError::OneLight));
}
