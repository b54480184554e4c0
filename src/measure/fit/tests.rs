//! The fit against closed forms and planted strengths.

#![allow(clippy::unwrap_used)]

use super::*;
use crate::measure::off_line::off_line;

mod clouds;

/// What nobody knows of the sensor's line at a share of full scale.
fn doubt_of_line(share: f64) -> f64 {
    off_line(None, share).u
}

fn reading(setting: Option<usize>, run: usize, minutes: f64, y: [f64; 3]) -> Reading {
    let channel =
        |y| Some(ChannelReading { y, noise: 1e-4, level: 8000.0, bent: doubt_of_line(0.5) });
    Reading {
        setting,
        run,
        minutes,
        time: usize::from(setting.is_some()),
        shown: 0.0,
        iso: 0,
        aperture: 0,
        black: 0,
        doubtful: false,
        channels: y.map(channel),
    }
}

fn beliefs() -> Beliefs {
    let time = TimeBelief { scale: 0.015, hand: 0.0 };
    Beliefs {
        shutter: vec![time; 2],
        known: KnownTimes::default(),
        black: vec![0.5],
        timed: true,
        as_shown: 0.5,
        hand: Vec::new(),
    }
}

fn u95(fit: &Fit) -> f64 {
    fit.settings[0].channel(1).unwrap().u95().get()
}

/// Three runs of three frames over ten minutes; levels by a function of state and minutes.
fn three_runs(level: impl Fn(Option<usize>, f64) -> f64) -> Vec<Reading> {
    (0..9_usize)
        .map(|i| {
            let minutes = i as f64 * 10.0 / 8.0;
            let setting = (3..6).contains(&i).then_some(0);
            reading(setting, i / 3, minutes, [level(setting, minutes); 3])
        })
        .collect()
}

#[test]
fn two_shutter_times_alone_reach_as_far_as_the_sum_of_two_students() {
    // The same light in all frames and no minutes between: the offsets of both times remain. The
    // 97.5 % point of the sum of two independent t variables with 3 degrees of freedom is 4.588
    // scales (numerical convolution of Student's density, reckoned apart from the program).
    let mut readings = three_runs(|s, _| if s.is_some() { 4.0 } else { 10.0 });
    for r in &mut readings {
        r.minutes *= 1e-3;
    }
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let s = &fit.settings[0];
    assert!((s.stops[1] - 6.0).abs() < 1e-6, "{}", s.stops[1]);
    let by_hand = 4.588 * 0.015;
    assert!((u95(&fit) / by_hand - 1.0).abs() < 0.03, "{} is not {by_hand}", u95(&fit));
    // Shutter, light and scatter are common to the channels and cancel in the cast.
    assert!(s.difference(0, 1).unwrap().u().get() < 3e-4);
}

#[test]
fn the_same_time_for_both_states_leaves_nothing_of_the_shutter() {
    let mut readings = three_runs(|s, _| if s.is_some() { 9.0 } else { 12.0 });
    for r in &mut readings {
        r.time = 0;
    }
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    assert_eq!(fit.part(0, Source::Shutter), 0.0);
    assert!((fit.settings[0].stops[1] - 3.0).abs() < 1e-6);
}

#[test]
fn bare_frames_on_both_sides_take_a_drift_out() {
    const DRIFT: f64 = -0.05;
    let readings = three_runs(|s, m| 12.0 + DRIFT * m - if s.is_some() { 6.0 } else { 0.0 });
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let error = fit.settings[0].stops[1] - 6.0;
    assert!(error.abs() < 0.002, "off by {error}");
    assert!((fit.drift - DRIFT).abs() < 0.002, "drift {}", fit.drift);
}

#[test]
fn a_curved_drift_is_followed_or_owned_up_to() {
    // A quarter of a stop half-way: a parabola over the shoot.
    let curve = |m: f64| 0.25 * (1.0 - (m / 5.0 - 1.0).powi(2));
    let readings = three_runs(|s, m| 12.0 + curve(m) - if s.is_some() { 6.0 } else { 0.0 });
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let error = (fit.settings[0].stops[1] - 6.0).abs();
    assert!(error < u95(&fit), "off by {error}, u95 {}", u95(&fit));
}

#[test]
fn without_closing_bare_frames_the_doubt_grows_with_the_minutes() {
    let one_side = |wait: f64| {
        let readings: Vec<Reading> = (0..6_usize)
            .map(|i| {
                let setting = (i >= 3).then_some(0);
                let minutes = i as f64 * 0.1 + if i >= 3 { wait } else { 0.0 };
                reading(setting, i / 3, minutes, [if i >= 3 { 6.0 } else { 12.0 }; 3])
            })
            .collect();
        u95(&fit(&readings, 1, &Beliefs { shutter: Vec::new(), ..beliefs() }).unwrap())
    };
    let (soon, late) = (one_side(1.0), one_side(5.0));
    assert!(late > 2.0 * soon, "{soon} after a minute, {late} after five");
}

/// Levels of a bridge of 7.5 stops and a filter of 15, shot as planned: of full scale at 14 bit, less a
/// planted error of black.
fn bridged(black: f64, shorter: bool) -> Vec<Reading> {
    const FULL: f64 = 16_383.0;
    // State (stops) and time (log2 against the bare one, number), of each run.
    let (bare, dim, filter) = ((None, 0.0), (Some(1), 7.5), (Some(0), 15.0));
    let (t1, t2, own, short) = ((0.0, 0), (7.0, 1), (15.0, 2), (-3.0, 3));
    let mut runs = vec![(bare, t1), (dim, t1), (dim, t2), (dim, t1), (dim, t2), (dim, t1)];
    runs.extend(if shorter { vec![(dim, short), (bare, short)] } else { Vec::new() });
    runs.extend([(bare, t1), (filter, t2), (bare, t1), (filter, t2), (bare, t1), (filter, own)]);
    runs.push((bare, t1));
    let frames = runs.iter().enumerate().flat_map(|(run, of)| (0..3).map(move |k| (run, k, of)));
    frames
        .map(|(run, k, &((state, stops), (longer, time)))| {
            let (longer, stops): (f64, f64) = (longer, stops);
            let level = 0.5 * FULL * (longer - stops).exp2() + black;
            let channel = ChannelReading {
                y: level.log2() - longer,
                noise: 1e-4,
                level,
                bent: doubt_of_line(level / FULL),
            };
            let minutes = run as f64 + 0.1 * f64::from(k);
            let reading = reading(state, run, minutes, [0.0; 3]);
            Reading { time, channels: [Some(channel); 3], ..reading }
        })
        .collect()
}

#[test]
fn a_black_level_that_is_off_shows_in_bare_and_dimmed_frames_at_a_shorter_time() {
    // By hand: 0.2 counts of the 45 and 32 that the dim frames have, 0.2 / (45 ln 2) + 0.2 / (32 ln 2).
    const BY_HAND: f64 = -0.0155;
    let beliefs = Beliefs {
        shutter: vec![TimeBelief { scale: 0.015, hand: 0.0 }; 4],
        black: vec![0.1],
        as_shown: 0.0,
        ..beliefs()
    };
    let of = |shorter| fit(&bridged(0.2, shorter), 1, &beliefs).unwrap();
    let error = |fit: &Fit| fit.settings[0].stops[1] - 15.0;
    let (without, with) = (of(false), of(true));
    // What is believed of the shutter times takes a little of it out.
    assert!((error(&without) / BY_HAND - 1.0).abs() < 0.15, "{}", error(&without));
    assert!(error(&with).abs() < 0.1 * BY_HAND.abs(), "{}", error(&with));
    assert!(u95(&without) > 0.015 && u95(&with) < 0.012, "{} {}", u95(&without), u95(&with));
    let black = |fit: &Fit| fit.part(0, Source::Black);
    assert!(black(&with) < 0.2 * black(&without), "{} {}", black(&with), black(&without));
}

#[test]
fn two_clouded_frames_do_not_outvote_the_clear_one() {
    let mut readings = three_runs(|s, _| if s.is_some() { 6.0 } else { 12.0 });
    for r in &mut readings[4..6] {
        for c in r.channels.iter_mut().flatten() {
            c.y -= 0.7;
        }
    }
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let found = fit.settings[0].stops[1];
    assert!((found - 6.0).abs() < u95(&fit), "{found} +- {}", u95(&fit));
    assert!((found - 6.7).abs() < u95(&fit), "{found} +- {}", u95(&fit));
}

#[test]
fn the_rule_behind_the_dial_is_in_the_doubt_until_frames_settle_it() {
    // 1/60 (1/64) and 15 s (16 s): log2(true / shown) of both, as dials are marked (ISO 516).
    let (short, long) = ((60.0_f64 / 64.0).log2(), (16.0_f64 / 15.0).log2());
    // The camera keeps what the dial shows; y is reckoned with powers of two.
    let mut readings = three_runs(|s, _| if s.is_some() { 2.0 - long } else { 12.0 - short });
    for r in &mut readings {
        r.shown = if r.setting.is_some() { long } else { short };
    }
    let open = fit(&readings, 1, &beliefs()).unwrap();
    let error = (open.settings[0].stops[1] - 10.0).abs();
    assert!(error < u95(&open), "{error} beyond {}", u95(&open));
    assert!((open.as_shown.unwrap() - 0.5).abs() < 0.05, "{:?}", open.as_shown);
    assert!(open.part(0, Source::Dial) > 0.02);
    // One filtered frame at the bare frames' time joins the two.
    let mut frame = reading(Some(0), 3, 10.5, [2.0 - short; 3]);
    (frame.time, frame.shown) = (0, short);
    readings.push(frame);
    let settled = fit(&readings, 1, &beliefs()).unwrap();
    assert!(u95(&settled) < u95(&open) / 2.0, "{} and {}", u95(&settled), u95(&open));
    assert!((settled.settings[0].stops[1] - 10.0).abs() < u95(&settled));
}

#[test]
fn a_bridge_carries_the_ratio_of_times() {
    // Both times are off, by 0.03 and -0.04 stop; a dimmed light at both tells their ratio.
    let mut readings = three_runs(|s, _| if s.is_some() { 2.0 - 0.04 } else { 12.0 + 0.03 });
    for (i, (time, off)) in [(0, 0.03), (1, -0.04), (0, 0.03), (1, -0.04)].into_iter().enumerate() {
        let mut frame = reading(Some(1), 3, 10.5 + i as f64 * 0.2, [7.0 + off; 3]);
        frame.time = time;
        readings.push(frame);
    }
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    assert_eq!(fit.settings.len(), 1);
    let error = (fit.settings[0].stops[1] - 10.0).abs();
    assert!(error < 0.002 && u95(&fit) < 0.015, "off by {error} +- {}", u95(&fit));
}

#[test]
fn a_ring_set_twice_moves_the_mark_and_not_the_light() {
    const HAND: f64 = 0.06;
    // Bare, up, bare, back, bare; the second visit is off.
    let readings: Vec<Reading> = (0..15_usize)
        .map(|i| {
            let setting = (i / 3 % 2 == 1).then_some(0);
            let y = if setting.is_none() { 12.0 } else { 8.0 - if i >= 9 { HAND } else { 0.0 } };
            reading(setting, i / 3, i as f64 * 0.2, [y; 3])
        })
        .collect();
    let fit = fit(&readings, 1, &Beliefs { hand: vec![HAND_PRIOR], ..beliefs() }).unwrap();
    assert!((fit.settings[0].stops[1] - 4.0 - HAND / 2.0).abs() < 0.003);
    let moved = fit.light.iter().map(|l| l.1.abs()).fold(0.0, f64::max);
    assert!(moved < 0.003, "the light moved by {moved}");
    assert!(fit.part(0, Source::Ring) > 0.01);
}

#[test]
fn far_apart_levels_carry_the_black_level() {
    let mut readings = three_runs(|s, _| if s.is_some() { 5.0 } else { 10.0 });
    for r in readings.iter_mut().filter(|r| r.setting.is_some()) {
        for c in r.channels.iter_mut().flatten() {
            c.level = 80.0;
        }
    }
    let fit = fit(&readings, 1, &Beliefs { shutter: Vec::new(), ..beliefs() }).unwrap();
    // u |1/m1 - 1/m0| / ln 2 with u = 0.5 counts.
    let by_hand = 0.5 * (1.0 / 80.0 - 1.0 / 8000.0) / std::f64::consts::LN_2;
    let black = fit.part(0, Source::Black);
    assert!((black / by_hand - 1.0).abs() < 0.1, "{black} is not {by_hand}");
}

#[test]
fn parts_of_the_budget_add_up_to_the_uncertainty() {
    let readings = three_runs(|s, m| 12.0 + 0.01 * m - if s.is_some() { 6.0 } else { 0.0 });
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let sum: f64 = fit.budgets[0].iter().map(|p| p.stops.powi(2)).sum();
    let u = fit.settings[0].channel(1).unwrap().u().get();
    assert!((sum.sqrt() / u - 1.0).abs() < 1e-9, "{} is not {u}", sum.sqrt());
}

#[test]
fn a_channel_without_bare_reading_is_refused() {
    let mut readings = [reading(None, 0, 0.0, [10.0; 3]), reading(Some(0), 1, 0.0, [5.0; 3])];
    readings[0].channels[2] = None;
    assert_eq!(fit(&readings, 1, &beliefs()), Err(FitError::NothingToCompare));
}

/// Three runs through red 2.6, green 2 and blue 1.5 stops at the times of equal green levels, by a sensor
/// whose levels are `bent` shares of light; closed forms.
fn by_a_bent_sensor(bent: impl Fn(f64) -> f64) -> Vec<Reading> {
    const BARE: [f64; 3] = [0.23, 0.42, 0.29];
    let mut readings = three_runs(|_, _| 0.0);
    for r in &mut readings {
        let filtered = r.setting.is_some();
        for (c, channel) in r.channels.iter_mut().enumerate() {
            let stops = if filtered { TAKES[c] } else { 0.0 };
            let exposure = if filtered { TAKES[1] } else { 0.0 };
            let share = bent(BARE[c] * (exposure - stops).exp2());
            let y = share.log2() - exposure;
            *channel = Some(ChannelReading {
                y,
                noise: 1e-5,
                level: 16_000.0 * share,
                bent: doubt_of_line(share),
            });
        }
    }
    readings
}

const TAKES: [f64; 3] = [2.6, 2.0, 1.5];

#[test]
fn colour_holds_on_a_sensor_that_is_half_a_percent_off_a_line() {
    let no_doubt = Beliefs { black: vec![0.0], ..beliefs() };
    let curves: [fn(f64) -> f64; 4] = [
        |x| x * (1.0 - 0.005 * x),
        |x| x * (1.0 + 0.005 * x),
        |x| x * (1.0 - 0.005 * x.sqrt()),
        |x| x * (1.0 - 0.005 * x.powi(3)),
    ];
    for (number, curve) in curves.into_iter().enumerate() {
        let fit = fit(&by_a_bent_sensor(curve), 1, &no_doubt).unwrap();
        for c in [0, 2] {
            let found = fit.settings[0].difference(c, 1).unwrap();
            let off = found.value().get() - (TAKES[c] - TAKES[1]);
            assert!(off.abs() <= found.u95().get(), "curve {number}: {off} of {found:?}");
            // And no more is said of it than that bend explains.
            assert!(found.u95().get() < 0.004, "{found:?}");
        }
        assert!(fit.part(0, Source::Linearity) < 1e-4, "green levels are equal");
    }
}

/// Blue against green of a filter that takes as much of both, in light whose blue changes so many stops
/// by the minute; the rest as in [`three_runs`] of six stops.
fn in_changing_colour(blue: impl Fn(f64) -> f64) -> (f64, f64) {
    let mut readings = three_runs(|s, _| if s.is_some() { 4.0 } else { 10.0 });
    let mut chaos = 0.61_f64;
    for r in &mut readings {
        // The logistic map scatters by 0.35, and frames about as much as they say.
        chaos *= 3.9 * (1.0 - chaos);
        r.channels[2].as_mut().unwrap().y += blue(r.minutes) + 4e-4 * (chaos - 0.5);
    }
    let fit = fit(&readings, 1, &beliefs()).unwrap();
    let found = fit.settings[0].difference(2, 1).unwrap();
    (found.value().get(), found.u95().get())
}

#[test]
fn light_that_changes_its_colour_leaves_the_cast_as_sure_as_it_is() {
    // A mired is 0.0067 stop of blue against green (Wien's law at 460 and 540 nm).
    const MIRED: f64 = 0.0067;
    let (off, u95) = in_changing_colour(|_| 0.0);
    assert!(off.abs() < u95 && u95 < MIRED, "light of one colour: {off} +- {u95}");
    let (off, u95) = in_changing_colour(|t| 0.5 * MIRED * t);
    assert!(off.abs() < u95 && u95 < MIRED, "bare frames around take a drift out: {off} +- {u95}");
    // One swing of five mired, of which bare frames see the beginning and the end, and a step of three
    // behind the last frame but one through the filter.
    let swing = |t: f64| 5.0 * MIRED * (std::f64::consts::PI * t / 10.0).sin();
    let (off, u95) = in_changing_colour(swing);
    assert!(off.abs() < u95 && u95 < 0.1, "a swing: {off} +- {u95}");
    let (off, u95) = in_changing_colour(|t| if t > 6.0 { 3.0 * MIRED } else { 0.0 });
    assert!(off.abs() < u95 && u95 < 0.05, "a step: {off} +- {u95}");
}

/// Under broken cloud the colour goes with the level: what the frames show of the one tells of the
/// other, and what both did between the runs nobody saw.
#[test]
fn colour_that_goes_with_the_light_is_as_sure_as_the_level() {
    // Thirty mired a stop of blue against green at 460 and 540 nm (Wien's law).
    const ALONG: f64 = 0.2;
    let cloud = |at: f64, deep: f64| move |m: f64| -deep * (-((m - at) / 1.5_f64).powi(2)).exp();
    for (number, light) in [cloud(1.0, 0.3), cloud(3.5, 0.4), cloud(8.0, 0.2)].iter().enumerate() {
        let mut readings = three_runs(|s, m| light(m) + if s.is_some() { 4.0 } else { 10.0 });
        for r in &mut readings {
            r.channels[2].as_mut().unwrap().y += ALONG * light(r.minutes);
        }
        let fit = fit(&readings, 1, &beliefs()).unwrap();
        let found = fit.settings[0].difference(2, 1).unwrap();
        let (off, u95) = (found.value().get(), found.u95().get());
        assert!(off.abs() <= u95, "cloud {number}: {off} +- {u95}");
        assert!(u95 < 0.2, "cloud {number}: {u95}");
    }
}
