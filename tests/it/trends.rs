//! Histories drawn at random: how often a filter that never changed is told to have, and how often the
//! uncertainty holds a change that follows no shape of the program's.

use lightloss::compare::history::trend::{Course, Reading, Trend, trend};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Standard uncertainty of a reading, and what two cameras are off by, stops.
const OWN: f64 = 0.012;
const CAMERA: f64 = 0.01;
const DRAWN: usize = 1000;
/// Three standard deviations of a share of one in twenty among so many.
const BY_CHANCE: f64 = 0.021;
/// Where a line misses, which chance alone makes it do once in fifty, other shapes are looked for.
const CHOSEN: f64 = 0.01;

/// Readings of a change along a course; the camera changes after half of them.
fn drawn(n: usize, course: &dyn Fn(f64) -> f64, rng: &mut ChaCha8Rng) -> Vec<Reading> {
    let mut normal = || -> f64 { StandardNormal.sample(rng) };
    let cameras = [CAMERA * normal(), CAMERA * normal()];
    let at = |i: usize| i as f64 / (n - 1) as f64;
    (0..n)
        .map(|i| {
            let camera = usize::from(2 * i > n);
            Reading {
                time: Some(2026.0 + 5.0 * at(i)),
                value: 6.0 + course(at(i)) + cameras[camera] + OWN * normal(),
                own: OWN,
                dof: f64::INFINITY,
                shared: vec![(camera, CAMERA)],
            }
        })
        .collect()
}

#[test]
fn a_filter_that_never_changed_is_told_to_have_no_oftener_than_said() {
    for n in [3, 4, 6, 9] {
        let mut rng = ChaCha8Rng::seed_from_u64(n as u64);
        let found: Vec<_> =
            (0..DRAWN).filter_map(|_| trend(&drawn(n, &|_| 0.0, &mut rng))).collect();
        let share = |is: &dyn Fn(&Trend) -> bool| {
            found.iter().filter(|t| is(t)).count() as f64 / DRAWN as f64
        };
        let alarms = share(&|t| t.chance() < 0.05 && t.course != Course::Contradiction);
        assert!(alarms < 0.05 + CHOSEN + BY_CHANCE, "{n}: {alarms}");
        let bent = share(&|t| matches!(t.course, Course::Settling | Course::Quickening));
        assert!(bent < CHOSEN, "{n}: {bent} bend by chance");
        let contradict = share(&|t| t.course == Course::Contradiction);
        assert!(contradict < CHOSEN, "{n}: {contradict}");
    }
}

/// A hyperbola, a fourth power and a square are no exponentials, which is what is fitted.
#[test]
fn the_uncertainty_holds_a_change_that_bends_and_its_way_is_told() {
    type Curve = fn(f64) -> f64;
    let curves: [(Curve, Course, Course); 3] = [
        (|t| 0.25 * t * 1.2 / (t + 0.2), Course::Settling, Course::Quickening),
        (|t| 0.25 * t.powi(4), Course::Quickening, Course::Settling),
        (|t| 0.25 * t.powi(2), Course::Quickening, Course::Settling),
    ];
    for (number, (curve, way, contrary)) in curves.iter().enumerate() {
        let mut rng = ChaCha8Rng::seed_from_u64(100 + number as u64);
        let found: Vec<_> = (0..DRAWN).filter_map(|_| trend(&drawn(7, curve, &mut rng))).collect();
        let share = |is: &dyn Fn(&Trend) -> bool| {
            found.iter().filter(|t| is(t)).count() as f64 / DRAWN as f64
        };
        let held = share(&|t| (t.change - 0.25).abs() <= t.u95());
        assert!(held > 0.95 - CHOSEN - BY_CHANCE, "{number}: {held}");
        let told = share(&|t| t.course == *way);
        assert!(told > 0.9, "{number}: told {told}");
        assert!(share(&|t| t.course == *contrary) < CHOSEN, "{number}");
        let contradict = share(&|t| t.course == Course::Contradiction);
        assert!(contradict < 2.0 * CHOSEN, "{number}: contradictory {contradict}");
    }
}
