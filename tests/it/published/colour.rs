//! Colour: published temperatures, published colour differences, spectra through a camera.

#![allow(clippy::unwrap_used)]

use super::{fixture, number};
use lightloss::caution::Caution;
use lightloss::frame::ColourMatrix;
use lightloss::measure::cast::leak::{leak_possible, open};
use lightloss::measure::cast::{cast, effect, matrix_u_mired};
use lightloss::measure::colour::{Xyz, cct_duv, ciede2000, locus::planckian_uv};
use lightloss::measure::strength::ChannelStrengths;
use lightloss::profile::{Grade, Light};
use lightloss::quantity::{Duv, Kelvin, Mired, Stops};
use serde_json::Value;

/// What an Ohno-grade method must hold, in mired and Duv (Ohno 2014: 1 K from 1000 to 20 000 K).
const MIRED: f64 = 0.05;
const DUV: f64 = 2e-5;

fn triple(value: &Value) -> [f64; 3] {
    std::array::from_fn(|i| number(&value[i]))
}

fn matrix(value: &Value) -> [[f64; 3]; 3] {
    std::array::from_fn(|row| triple(&value[row]))
}

/// Planck's law over the CIE 1931 observer at 1 nm; ours sums at 5 nm.
#[test]
fn black_bodies() {
    for row in fixture("cct_vectors.json")["planck"].as_array().unwrap() {
        let uv = planckian_uv(Kelvin::new(number(&row[0])).mired());
        assert!((uv[0] - number(&row[1])).abs() < 2e-6, "{row}");
        assert!((uv[1] - number(&row[2])).abs() < 2e-6, "{row}");
    }
}

/// CCT and Duv after Ohno 2014 of CIE 15:2018 illuminants and of points up to 0.02 off the locus,
/// 2000 to 20 000 K.
#[test]
fn temperatures_and_duv() {
    let vectors = fixture("cct_vectors.json");
    let mut checked = 0;
    let mut check = |uv: [f64; 2], cct: f64, duv: f64| {
        let light = cct_duv(uv).unwrap();
        let off = light.cct_k.mired().get() - 1e6 / cct;
        assert!(off.abs() < MIRED, "{cct} K, Duv {duv}: {off} mired");
        assert!((light.duv.get() - duv).abs() < DUV, "{cct} K, Duv {duv}: {:?}", light.duv);
        checked += 1;
    };
    for row in vectors["vectors"].as_array().unwrap() {
        let uv = [number(&row["uv"][0]), number(&row["uv"][1])];
        check(uv, number(&row["cct"]), number(&row["duv"]));
    }
    for row in vectors["illuminants"].as_array().unwrap() {
        let xy = [number(&row["xy"][0]), number(&row["xy"][1])];
        check(Xyz::from_xy(xy).uv().unwrap(), number(&row["cct"]), number(&row["duv"]));
    }
    assert_eq!(checked, 89);
}

/// CIE 15:2018 gives these illuminants their temperatures (to 1 K, from memory).
#[test]
fn nominal_temperatures() {
    for (xy, kelvin) in [
        ([0.345_70, 0.358_50], 5001.0),
        ([0.312_70, 0.329_00], 6504.0),
        ([0.375_60, 0.372_30], 4103.0),
        ([0.311_80, 0.323_60], 6598.0),
    ] {
        let light = cct_duv(Xyz::from_xy(xy).uv().unwrap()).unwrap();
        assert!((light.cct_k.get() - kelvin).abs() < 1.0, "{kelvin}: {:?}", light.cct_k);
    }
    assert_eq!(cct_duv([f64::NAN, 0.3]), None);
    assert_eq!(cct_duv([0.6, 0.35]), None);
}

/// Sharma, Wu, Dalal 2005, table 1: 34 pairs, given to four places.
#[test]
fn colour_differences() {
    let fixture = fixture("ciede2000_pairs.json");
    let pairs = fixture["pairs"].as_array().unwrap();
    assert_eq!(pairs.len(), 34);
    for pair in pairs {
        let (a, b) = (triple(&pair[0]), triple(&pair[1]));
        for found in [ciede2000(a, b), ciede2000(b, a)] {
            assert!((found - number(&pair[2])).abs() < 1e-4, "{pair}: {found}");
        }
    }
}

/// White-balanced camera values through a matrix made for the very light: the same estimate as
/// the spectral computation beside it, to 1e-6 (the temperature to 0.05 mired), and not farther
/// from what the eye sees than that class of filters (smooth spectra) was found to be.
#[test]
fn camera_to_colour_in_its_own_light() {
    let truth = fixture("spectral_truth.json");
    let cases = truth["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 70);
    for case in cases {
        let light = case["light"].as_str().unwrap();
        let m = matrix(&truth["camera_to_xyz_own"][light]);
        let (bare, behind) = (triple(&case["rgb_without"]), triple(&case["rgb_with"]));
        let xyz = |rgb: [f64; 3]| Xyz(m.map(|row| (0..3).map(|i| row[i] * rgb[i]).sum()));
        let white = xyz([1.0; 3]);
        let found = effect(xyz(std::array::from_fn(|i| behind[i] / bare[i])), white).unwrap();
        let from = cct_duv(white.uv().unwrap()).unwrap();
        let to = found.light.unwrap();
        let shift = to.cct_k.mired().get() - from.cct_k.mired().get();
        let dduv = to.duv.get() - from.duv.get();
        let own = &case["own"];
        let name = format!("{} in {light}", case["filter"]);
        assert!((shift - number(&own["mired_shift"])).abs() < MIRED, "{name}: {shift}");
        assert!((dduv - number(&own["dduv"])).abs() < DUV, "{name}: {dduv}");
        assert!((found.visual.get() - number(&own["stops_y"])).abs() < 1e-6, "{name}");
        for (ours, theirs) in found.lab.iter().zip(triple(&own["lab"])) {
            assert!((ours - theirs).abs() < 1e-6, "{name}: {:?}", found.lab);
        }
        within_smooth_class(&case["truth"], shift, dduv, found.lab, found.visual.get(), &name);
    }
}

/// Largest deviations seen over smooth filters and camera A, estimate against spectra: mired,
/// Duv, CIEDE2000, stops.
fn within_smooth_class(
    truth: &Value,
    shift: f64,
    dduv: f64,
    lab: [f64; 3],
    visual: f64,
    name: &str,
) {
    assert!((shift - number(&truth["mired_shift"])).abs() < 1.9, "{name}: {shift} mired");
    assert!((dduv - number(&truth["dduv"])).abs() < 0.0023, "{name}: {dduv}");
    assert!(ciede2000(lab, triple(&truth["lab"])) < 1.6, "{name}: {lab:?}");
    assert!((visual - number(&truth["stops_y"])).abs() < 0.034, "{name}: {visual} stops");
}

/// The whole way from channel strengths, the bare neutral and two matrices as a DNG file carries
/// them: close to the same computation with the illuminants' own temperatures (readers take 2850
/// and 6500 K), and to the spectra within the class bounds; what is claimed covers the truth.
#[test]
fn cast_through_two_matrices() {
    const SCALE_STOPS: f64 = 0.005;
    let truth = fixture("spectral_truth.json");
    let flat = |value: &Value| {
        let m = matrix(value);
        std::array::from_fn(|i| m[i / 3][i % 3])
    };
    let given = |illuminant, key: &str| ColourMatrix {
        illuminant: Some(illuminant),
        xyz_to_camera: flat(&truth[key]),
        source: "file".into(),
    };
    let matrices = [given(17, "xyz_to_camera_a"), given(21, "xyz_to_camera_d65")];
    for case in truth["cases"].as_array().unwrap() {
        let (bare, behind) = (triple(&case["rgb_without"]), triple(&case["rgb_with"]));
        let channels = ChannelStrengths {
            stops: std::array::from_fn(|i| (bare[i] / behind[i]).log2()),
            covariance: [[0.0; 3]; 3],
            dof: [f64::INFINITY; 3],
            difference_dof: f64::INFINITY,
        };
        let result = cast(&channels, bare.map(|v| v / bare[1]), &matrices).unwrap();
        let name = format!("{} in {}", case["filter"], case["light"]);
        let light = result.light.unwrap();
        let theirs = &case["two_matrices"];
        let mired = light.cct_k.mired().get() - 1e6 / number(&theirs["cct_without"]);
        assert!(mired.abs() < 0.5, "{name}: bare light {mired} mired off");
        let shift = result.mired_shift.unwrap();
        let duv = result.duv_shift.unwrap();
        assert!((shift.value().get() - number(&theirs["mired_shift"])).abs() < 0.2, "{name}");
        assert!((duv.value().get() - number(&theirs["dduv"])).abs() < 1e-4, "{name}");
        let visual = result.visual.unwrap();
        assert!((visual.value().get() - number(&theirs["stops_y"])).abs() < SCALE_STOPS, "{name}");
        let lab = result.lab.unwrap();
        let (s, d, v) = (shift.value().get(), duv.value().get(), visual.value().get());
        within_smooth_class(&case["truth"], s, d, lab, v, &name);
        let truth = &case["truth"];
        assert!((s - number(&truth["mired_shift"])).abs() < shift.u95().get(), "{name}");
        assert!((d - number(&truth["dduv"])).abs() < duv.u95().get(), "{name}");
        assert!((v - number(&truth["stops_y"])).abs() < visual.u95().get(), "{name}");
    }
}

/// Strengths of red, green and blue of invented neutrals that leak deep red, from spectra through
/// camera A (computed beside the other cases; the sources are those of the fixture). The matrix
/// misses their shifts by 21, 137, 69 and 272 mired.
const LEAKS: [[f64; 3]; 4] =
    [[9.922, 9.959, 9.956], [9.661, 9.925, 9.922], [9.894, 9.944, 9.911], [9.508, 9.848, 9.734]];

#[test]
fn where_a_red_leak_may_be_the_colour_is_not_to_be_trusted() {
    for stops in LEAKS {
        assert!(leak_possible(stops), "{stops:?}");
    }
    // Of ten stops that leak four to eight more from 690 nm on, red's gain changes by 2 to 3 % from black
    // bodies of 5500 K to 7000 K and by 8 to 15 % to 2856 K (computed from spectra apart from the program):
    // a hundred times what u95 holds, which is of one light.
    let leak = Caution::RedLeakPossible { red: Stops::new(0.3) };
    assert!(leak.text().contains("in light like that of this shoot alone"), "{}", leak.text());
    assert_eq!(leak.grade(), Grade::Number);
    // every smooth filter whose shift the matrix gets right within its bounds stays without a word
    let truth = fixture("spectral_truth.json");
    for case in truth["cases"].as_array().unwrap() {
        let (bare, behind) = (triple(&case["rgb_without"]), triple(&case["rgb_with"]));
        let stops = std::array::from_fn(|i| (bare[i] / behind[i]).log2());
        assert!(!leak_possible(stops), "{} in {}: {stops:?}", case["filter"], case["light"]);
    }
    // too weak to have one
    assert!(!leak_possible([0.96, 1.0, 1.0]));
}

/// What stays unseen weighs more the redder the light is, and what is seen may be worth less or more
/// to the eye.
#[test]
fn what_a_leak_may_hide_is_in_the_uncertainty() {
    let [day, lamp] = [6504.0, 2856.0].map(|kelvin| Kelvin::new(kelvin).mired());
    // A neutral without any lift: a cut at 653 nm hid 20 mired of a leak from 691 nm on in illuminant A
    // (computed from spectra), where the program said 6.
    let grey = open([10.0; 3], lamp);
    assert!((20.0..50.0).contains(&(2.0 * grey.mired)), "{grey:?}");
    assert!(open([10.0; 3], day).mired < grey.mired / 3.0);
    assert_eq!(open([10.0; 3], day).visual_stops, 0.0);
    // Stronger leaks than u95 is made for: half their error at least, with a caution beside it.
    for (stops, missed) in [(LEAKS[0], 21.0), (LEAKS[2], 69.0)] {
        let found = open(stops, lamp);
        assert!(2.0 * found.mired > missed / 2.0, "{stops:?}: {found:?}");
    }
    // A plain slope explains its lift; what is too weak to leak hides nothing.
    let slope = open([9.8, 10.0, 10.3], day);
    assert!((slope.mired - open([10.0; 3], day).mired).abs() < 1e-9, "{slope:?}");
    assert_eq!(open([1.0, 1.2, 1.2], lamp).mired, 0.0);
}

#[test]
fn what_a_warm_filter_may_hide_is_counted_once() {
    let light = |kelvin: f64| Light { cct_k: Kelvin::new(kelvin), duv: Duv::new(0.003) };
    let u = |shift: f64, stops| matrix_u_mired(Mired::new(shift), &light(5500.0), stops).get();
    assert!(u(-43.3, [10.1, 9.9, 9.7]) < 2.1);
    // A strong one passes red that the camera cuts by a leak, whose own part holds the bounds that measured
    // neutral filters were found to keep to; a weak one has no such part.
    let warm = [9.8, 10.0, 10.2];
    assert!((u(43.3, warm) - u(-43.3, [10.1, 9.9, 9.7])).abs() < 1e-9);
    let whole = u(46.1, warm).hypot(open(warm, light(5500.0).cct_k.mired()).mired);
    assert!(whole > 1.5_f64.hypot(4.61), "{whole}");
    assert!((u(29.5, [1.02, 1.12, 1.36]) - 1.5_f64.hypot(2.95)).abs() < 1e-9);
    // smooth filters of the study, daylight and white lamps: cool ones off by 1.2 mired at most, warm ones
    // by 1.8
    let truth = fixture("spectral_truth.json");
    for case in truth["cases"].as_array().unwrap() {
        let (bare, behind) = (triple(&case["rgb_without"]), triple(&case["rgb_with"]));
        let stops: [f64; 3] = std::array::from_fn(|i| (bare[i] / behind[i]).log2());
        let shift = number(&case["own"]["mired_shift"]);
        let off = (shift - number(&case["truth"]["mired_shift"])).abs();
        let kelvin = if case["light"] == "A" { 2856.0 } else { 5500.0 };
        let u = matrix_u_mired(Mired::new(shift), &light(kelvin), stops).get();
        assert!(off < 2.0 * u, "{} in {}: {off}", case["filter"], case["light"]);
    }
}
