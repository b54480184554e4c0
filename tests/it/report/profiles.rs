//! Invented profiles for the report's tests, built from plain optics: they stand in
//! `fixtures/profiles` as files, which a test holds against this source.

use lightloss::profile::*;
use lightloss::quantity::*;

/// Maps as wide as real ones.
const COLUMNS: usize = 64;
const ROWS: usize = 43;
/// Noise of one cell in stops.
const CELL_NOISE: f64 = 0.004;

/// All fixtures: folder and profile.
pub fn all() -> Vec<(&'static str, Profile)> {
    vec![
        ("harbour-ten", harbour_ten()),
        ("tide-ring", tide_ring()),
        ("moor-edge", moor_edge()),
        ("glass-turn", glass_turn()),
        ("two-together", two_together()),
        ("odd-names", odd_names()),
        ("harbour-ten-later", harbour_ten_later()),
        ("harbour-ten-lamp", harbour_ten_lamp()),
    ]
}

/// Repeatable noise of about unit deviation: the sum of twelve draws of a linear congruence.
struct Noise(u64);

impl Noise {
    fn draw(&mut self) -> f64 {
        let one = |state: &mut u64| {
            *state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (*state >> 33) as f64 / f64::from(1u32 << 31)
        };
        (0..12).map(|_| one(&mut self.0)).sum::<f64>() - 6.0
    }
}

fn round(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

/// Light-averaged mean of stops.
fn mean(stops: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = stops.fold((0.0, 0), |(sum, n), s| (sum + (-s).exp2(), n + 1));
    -(sum / f64::from(n)).log2()
}

/// Evenness of `extra(x, y)`, x and y in half widths from the centre, y downwards.
fn evenness(seed: u64, extra: impl Fn(f64, f64) -> f64) -> Evenness {
    let mut noise = Noise(seed);
    let side = 2.0 / COLUMNS as f64;
    let mut green = Vec::with_capacity(COLUMNS * ROWS);
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let x = (column as f64 + 0.5 - COLUMNS as f64 / 2.0) * side;
            let y = (row as f64 + 0.5 - ROWS as f64 / 2.0) * side;
            green.push(round(extra(x, y) - extra(0.0, 0.0) + CELL_NOISE * noise.draw()));
        }
    }
    let block = |i: usize, n: usize, parts: usize| {
        (i * n / parts)..((i + 1) * n / parts).max(i * n / parts + 1)
    };
    let grid: Vec<Vec<f64>> = (0..11)
        .map(|r| {
            (0..11)
                .map(|c| {
                    let cells =
                        block(r, ROWS, 11).flat_map(|y| block(c, COLUMNS, 11).map(move |x| (x, y)));
                    round(mean(cells.map(|(x, y)| green[y * COLUMNS + x])))
                })
                .collect()
        })
        .collect();
    let mut sorted = green.clone();
    sorted.sort_by(f64::total_cmp);
    let quantile = |q: f64| {
        let at = q * (sorted.len() - 1) as f64;
        let low = at.floor() as usize;
        sorted[low] + (at - low as f64) * (sorted[(low + 1).min(sorted.len() - 1)] - sorted[low])
    };
    let depth = (quantile(0.98) - quantile(0.5)).max(0.0);
    let state = match depth {
        d if d < 0.1 => CrossState::Absent,
        d if d < 1.0 / 3.0 => CrossState::Forming,
        _ => CrossState::Present,
    };
    let directed = |stops: f64, angle: f64| Directed {
        stops: Stops::new(round(stops)),
        u95: Some(Stops::new(0.01)),
        angle: Degrees::new(angle),
    };
    let as_map = |values: &[f64]| values.iter().map(|v| Some(Stops::new(*v))).collect::<Vec<_>>();
    Evenness {
        spread_stops: Stops::new(round(quantile(0.95) - quantile(0.05))),
        extremes_stops: Stops::new(round(quantile(1.0) - quantile(0.0))),
        corners_stops: Corners {
            top_left: Stops::new(grid[0][0]),
            top_right: Stops::new(grid[0][10]),
            bottom_left: Stops::new(grid[10][0]),
            bottom_right: Stops::new(grid[10][10]),
        },
        maps: ChannelMaps {
            columns: COLUMNS,
            rows: ROWS,
            red: as_map(&green),
            green: as_map(&green),
            blue: as_map(&green),
        },
        grid: EvennessGrid {
            columns: 11,
            rows: 11,
            stops: grid
                .into_iter()
                .map(|row| row.into_iter().map(|v| Some(Stops::new(v))).collect())
                .collect(),
        },
        colour_spread: ColourSpread {
            red_green_stops: Stops::new(0.011),
            blue_green_stops: Stops::new(0.018),
        },
        specks: Vec::new(),
        pattern: Pattern {
            valid: depth < 0.5,
            falloff_stops: Stops::new(0.06),
            falloff_u95: Some(Stops::new(0.01)),
            tilt: directed(0.02, 31.0),
            saddle: directed(depth, 118.0),
            cross: directed(depth / 3.0, 28.0),
            residual_stops: Stops::new(0.007),
            noise_stops: Stops::new(CELL_NOISE),
        },
        dark_cross: DarkCross {
            angle: (state != CrossState::Absent).then_some(Degrees::new(118.0)),
            state,
            depth_stops: Stops::new(round(depth)),
        },
    }
}

fn strength(stops: f64, u95: f64) -> Strength {
    let value = Stops::new(stops);
    Strength {
        stops: value,
        u95: Stops::new(u95),
        density: value.density(),
        factor: value.factor(),
        transmittance: value.transmittance(),
    }
}

fn with_doubt(stops: f64, u95: f64) -> StopsU95 {
    StopsU95 { stops: Stops::new(stops), u95: Stops::new(u95) }
}

/// A setting with a cast: red and blue lose so much more than green.
fn setting(
    mark: Option<&str>,
    stops: f64,
    u95: f64,
    red: f64,
    blue: f64,
    cast: CastFigures,
) -> Setting {
    Setting {
        mark: mark.map(str::to_owned),
        strength: strength(stops, u95),
        visual_strength: Some(with_doubt(round(stops + 0.2 * red + 0.1 * blue), 0.07)),
        channels: Channels {
            red: with_doubt(round(stops + red), u95),
            green: with_doubt(stops, u95),
            blue: with_doubt(round(stops + blue), u95),
        },
        cast: Cast {
            gains: Gains {
                red: Ratio::new(round(red.exp2())),
                green: Ratio::new(1.0),
                blue: Ratio::new(round(blue.exp2())),
            },
            gains_u95: GainsU95 { red: Ratio::new(0.0041), blue: Ratio::new(0.0048) },
            mired_shift: Some(MiredU95 { value: Mired::new(cast.mired), u95: Mired::new(3.4) }),
            duv_shift: Some(DuvU95 { value: Duv::new(cast.duv), u95: Duv::new(0.0031) }),
            lab: Some([50.0, cast.a, cast.b]),
            delta_e_2000: Some(Ratio::new(round(cast.a.hypot(cast.b) * 0.8))),
            words: cast.words.to_owned(),
        },
        ring_repeat_stops: None,
        evenness: None,
        frames: SettingFrames { bare: Vec::new(), filtered: Vec::new() },
        cautions: Vec::new(),
    }
}

#[derive(Clone, Copy)]
struct CastFigures {
    mired: f64,
    duv: f64,
    a: f64,
    b: f64,
    words: &'static str,
}

const COOL_GREEN: CastFigures =
    CastFigures { mired: -21.3, duv: 0.0042, a: -4.6, b: -5.2, words: "a little cool and green" };
const NEUTRAL: CastFigures = CastFigures {
    mired: 1.1,
    duv: -0.0004,
    a: 0.4,
    b: 0.5,
    words: "neutral as far as can be seen",
};

/// One frame of a shoot that begins at nine in the morning, one frame a minute.
fn frame(
    n: u32,
    state: FrameState,
    run: u32,
    dial: &str,
    time: f64,
    verdict: (&str, &str),
) -> FrameRecord {
    let level = if state == FrameState::LeftOut { 15_800.0 } else { 7_212.0 };
    FrameRecord {
        file: format!("MAR_{:04}.dng", 2100 + n),
        sha256: format!("{:016x}", u64::from(n).wrapping_mul(0x9e37_79b9_7f4a_7c15)).repeat(4),
        run: Some(run),
        state,
        exposure_s: Some(Seconds::new(time)),
        dial_time: Some(dial.to_owned()),
        f_number: Some(FNumber::new(8.0)),
        iso: Some(Iso::new(100.0)),
        captured_at: Some(format!("2026-10-11T09:{n:02}:12+02:00")),
        levels: Some(LevelsRecord {
            red: Counts::new(level * 0.52),
            green_1: Counts::new(level),
            green_2: Counts::new(level * 1.001),
            blue: Counts::new(level * 0.71),
        }),
        clipped_percent: Some(Percent::new(if state == FrameState::LeftOut { 41.0 } else { 0.0 })),
        verdict: Verdict { code: verdict.0.to_owned(), text: verdict.1.to_owned() },
    }
}

const USED: (&str, &str) = ("used", "used");

fn budget() -> Vec<BudgetLine> {
    [
        ("repeats of the frames", BudgetKind::A, 0.0041),
        (BudgetLine::SHUTTER, BudgetKind::B, 0.0141),
        ("drift of the light", BudgetKind::B, 0.0032),
        ("black level", BudgetKind::B, 0.0009),
    ]
    .into_iter()
    .map(|(source, kind, stops)| BudgetLine {
        source: source.to_owned(),
        kind,
        stops: Stops::new(stops),
    })
    .collect()
}

fn base(name: &str, kind: Kind, rated: Option<f64>) -> Profile {
    Profile {
        schema: SCHEMA.to_owned(),
        made_by: MadeBy { program: "lightloss".to_owned(), version: "0.1.0".to_owned() },
        filter: Filter {
            name: name.to_owned(),
            kind,
            rated_stops: rated.map(Stops::new),
            rated_range_stops: None,
            size: Some("77 mm".to_owned()),
            form: Some(Form::ScrewIn),
            note: None,
        },
        camera: CameraRecord {
            make: Some("Invented".to_owned()),
            model: Some("Field One".to_owned()),
            serial: Some("000417".to_owned()),
            lens: Some("24-70 mm".to_owned()),
            focal_length_mm: Some(Millimetres::new(24.0)),
            f_number: Some(FNumber::new(8.0)),
            iso: Some(Iso::new(100.0)),
            sensor_mm: Some(SensorSize {
                width: Millimetres::new(36.0),
                height: Millimetres::new(24.0),
                source: "35 mm equivalent in the file".to_owned(),
            }),
            colour_matrix: Some(MatrixRecord {
                source: "file".to_owned(),
                illuminant: Some("D65".to_owned()),
                xyz_to_camera: [
                    0.7657, -0.2847, -0.0607, -0.4083, 1.1966, 0.2389, -0.0684, 0.1418, 0.5844,
                ],
            }),
        },
        light: Some(Light { cct_k: Kelvin::new(6180.0), duv: Duv::new(0.0026) }),
        settings: Vec::new(),
        usable: None,
        polariser_pair: None,
        graduation: None,
        polarising: None,
        vignetting: None,
        stack: None,
        picture: None,
        shutter_record: None,
        budget: budget(),
        frames: Vec::new(),
        cautions: Vec::new(),
    }
}

/// Bare, filtered, bare, and what was left out; fills the frames of the only setting.
fn usual_frames(profile: &mut Profile, dial: &str, time: f64) {
    let bare =
        (1..=3).chain(8..=9).map(|n| frame(n, FrameState::Bare, 1, "1/60", 1.0 / 64.0, USED));
    let filtered = (4..=6).map(|n| frame(n, FrameState::Setting, 2, dial, time, USED));
    let clipped = ("clipped", "clipped in the centre: 41 % of green; give it a shorter time");
    let out = frame(7, FrameState::LeftOut, 1, "1/8", 1.0 / 8.0, clipped);
    profile.frames = bare.chain(filtered).chain([out]).collect();
    profile.frames.sort_by(|a, b| a.captured_at.cmp(&b.captured_at));
    let names = |state| {
        profile.frames.iter().filter(|f| f.state == state).map(|f| f.file.clone()).collect()
    };
    let frames =
        SettingFrames { bare: names(FrameState::Bare), filtered: names(FrameState::Setting) };
    profile.settings[0].frames = frames;
}

fn caution(code: &str, grade: Grade, text: &str) -> CautionRecord {
    CautionRecord { code: code.to_owned(), grade, text: text.to_owned() }
}

/// A solid ten-stop that is darker than its rim says, with a cast.
pub fn harbour_ten() -> Profile {
    let mut profile = base("Harbour Ten", Kind::Solid, Some(10.0));
    let mut one = setting(None, 10.352, 0.031, 0.214, -0.061, COOL_GREEN);
    let mut even = evenness(7, |x, y| 0.055 * (x * x + y * y) + 0.012 * x);
    even.specks = vec![Speck {
        x_percent: Percent::new(71.0),
        y_percent: Percent::new(18.0),
        stops: Stops::new(0.14),
    }];
    one.evenness = Some(even);
    profile.settings.push(one);
    usual_frames(&mut profile, "15", 16.0);
    profile.cautions = vec![caution(
        "leak_not_measured",
        Grade::Note,
        "Light that slips past a filter of 10.4 stops makes it look weaker: one part in ten thousand \
         would cost 0.18 stop. A frame with an opaque card in the filter's place, same time, would \
         show it.",
    )];
    profile
}

/// The same filter a year later: a little weaker, and lighter in one corner.
pub fn harbour_ten_later() -> Profile {
    let mut profile = harbour_ten();
    let mut one = setting(None, 10.231, 0.029, 0.205, -0.058, COOL_GREEN);
    let worn = |x: f64, y: f64| -0.45 * (-((x - 0.8).powi(2) + (y - 0.5).powi(2)) / 0.12).exp();
    one.evenness = Some(evenness(8, |x, y| 0.055 * (x * x + y * y) + 0.012 * x + worn(x, y)));
    profile.settings = vec![one];
    usual_frames(&mut profile, "15", 16.0);
    another_day(&mut profile);
    profile.cautions.clear();
    profile
}

/// The same filter under a filament lamp, where a far-red leak shows: 0.214 becomes 0.083 stop.
pub fn harbour_ten_lamp() -> Profile {
    let mut profile = harbour_ten_later();
    profile.light = Some(Light { cct_k: Kelvin::new(2870.0), duv: Duv::new(0.0004) });
    let mut one = setting(None, 10.344, 0.033, 0.083, -0.059, COOL_GREEN);
    one.evenness = Some(evenness(9, |x, y| 0.055 * (x * x + y * y) + 0.012 * x));
    profile.settings = vec![one];
    usual_frames(&mut profile, "15", 16.0);
    another_day(&mut profile);
    profile
}

/// Other files, a year later.
fn another_day(profile: &mut Profile) {
    for frame in &mut profile.frames {
        frame.captured_at = frame.captured_at.as_ref().map(|at| at.replace("2026", "2027"));
        frame.sha256 = frame.sha256.chars().rev().collect();
    }
}

/// Two ideal polarisers at oblique incidence: transmittance relative to the parallel pair seen
/// straight on, for an angle between the axes, an azimuth from their bisector and s = sin(theta)/n.
fn pair(delta: f64, phi: f64, s: f64) -> f64 {
    let (cd, c2, s2) = (delta.cos(), (2.0 * phi).cos(), s * s);
    let top = cd - 0.5 * s2 * (c2 + cd);
    top * top / (1.0 - s2 * (1.0 + c2 * cd) + 0.25 * s2 * s2 * (c2 + cd).powi(2))
}

const RING_ANGLES: [f64; 8] = [14.0, 42.0, 55.0, 63.0, 69.0, 74.0, 78.5, 82.0];
const RING_BASE: f64 = 1.41;
const RING_FLOOR: f64 = 0.0009;

/// A variable filter with eight marks, photographed at 24 mm on 36 x 24 mm.
pub fn tide_ring() -> Profile {
    let mut profile = base("Tide Ring", Kind::Variable, None);
    profile.filter.rated_range_stops = Some([Stops::new(2.0), Stops::new(5.0)]);
    let bisector = 118_f64.to_radians();
    for (index, angle) in RING_ANGLES.iter().enumerate() {
        let delta = angle.to_radians();
        let stops = move |x: f64, y: f64| {
            let tangent = 18.0 * x.hypot(y) / 24.0;
            let s = tangent.atan().sin() / 1.5;
            // Azimuth counter-clockwise as the picture is viewed; y grows downwards.
            let phi = (-y).atan2(x) - bisector;
            RING_BASE - (pair(delta, phi, s) + RING_FLOOR).log2()
        };
        let warm = index as f64 * 0.016;
        let figures = CastFigures {
            mired: 4.0 + 3.0 * index as f64,
            duv: -0.0006 * index as f64,
            a: 0.5 * index as f64,
            b: 1.1 + 0.9 * index as f64,
            words: if index < 3 { "neutral as far as can be seen" } else { "warm" },
        };
        let mark = (index + 1).to_string();
        let mut one =
            setting(Some(&mark), round(stops(0.0, 0.0)), 0.034, -warm, 2.0 * warm, figures);
        one.evenness = Some(evenness(100 + index as u64, stops));
        one.ring_repeat_stops = (index == 2 || index == 5).then(|| ValueU95 {
            value: Stops::new(0.04 + 0.01 * index as f64),
            u95: Stops::new(0.05),
        });
        profile.settings.push(one);
    }
    ring_frames(&mut profile);
    let spread = |s: &Setting| s.evenness.as_ref().map_or(0.0, |e| e.spread_stops.get());
    let last = profile.settings.iter().take_while(|s| spread(s) <= 1.0 / 3.0).count() - 1;
    profile.usable = Some(Usable {
        tolerance_stops: Stops::new(1.0 / 3.0),
        last_mark: profile.settings[last].mark.clone(),
        last_stops: Some(profile.settings[last].strength.stops),
        reason: format!(
            "at mark {} the frame differs by {:.2} stop at 24 mm",
            last + 2,
            spread(&profile.settings[last + 1])
        ),
    });
    profile.polariser_pair = Some(ring_pair());
    let unknown = "Most marks were set once, so how well a hand sets them is not known. Go up the ring \
                   and back, always arriving from the same side first.";
    profile.cautions = vec![caution("ring_repeat_unknown", Grade::Note, unknown)];
    let dark = "The filtered frames are so dark that the camera's black level alone makes the strength \
                doubtful by 0.021 stop. Give them a longer time, or add dark frames: lens capped, same \
                time and ISO.";
    for setting in &mut profile.settings[6..] {
        setting.cautions.push(caution("limited_by_black", Grade::Number, dark));
    }
    profile
}

fn ring_frames(profile: &mut Profile) {
    let mut n = 0;
    let mut next = |state, run, dial: &str, time| {
        n += 1;
        frame(n, state, run, dial, time, USED)
    };
    let mut frames: Vec<FrameRecord> =
        (0..2).map(|_| next(FrameState::Bare, 1, "1/60", 1.0 / 64.0)).collect();
    for (index, setting) in profile.settings.iter_mut().enumerate() {
        for _ in 0..2 {
            let one = next(FrameState::Setting, index as u32 + 2, "0.5", 0.5);
            setting.frames.filtered.push(one.file.clone());
            frames.push(one);
        }
    }
    frames.extend((0..2).map(|_| next(FrameState::Bare, 10, "1/60", 1.0 / 64.0)));
    let bare: Vec<String> =
        frames.iter().filter(|f| f.state == FrameState::Bare).map(|f| f.file.clone()).collect();
    for setting in &mut profile.settings {
        setting.frames.bare.clone_from(&bare);
    }
    profile.frames = frames;
}

fn ring_pair() -> PolariserPair {
    let widest = [14.0, 14.0, 18.0, 20.0, 24.0, 35.0, 60.0];
    let mark = |index: usize| (index + 1).to_string();
    PolariserPair {
        focal_length_mm: Some(Millimetres::new(24.3)),
        floor_stops: Some(Stops::new(-RING_FLOOR.log2())),
        floor_u95: None,
        base_stops: Some(Stops::new(RING_BASE)),
        base_u95: None,
        marks: RING_ANGLES
            .iter()
            .enumerate()
            .map(|(index, angle)| PairMark {
                mark: mark(index),
                state: if index == 0 { "near parallel" } else { "measured" }.to_owned(),
                axes_angle: Some(Degrees::new(if index == 0 { 15.0 } else { *angle })),
                u95: (index > 0).then_some(Degrees::new(0.6)),
                bisector_angle: (index > 0).then_some(Degrees::new(118.0)),
                bisector_u95: (index > 0).then_some(Degrees::new(0.4)),
            })
            .collect(),
        widest_lens_mm: (0..8)
            .map(|index| WidestLens {
                mark: mark(index),
                focal_length_mm: widest.get(index).copied().map(Millimetres::new),
            })
            .collect(),
        last_mark: [(14.0, 2), (16.0, 2), (20.0, 4), (24.0, 5), (35.0, 6), (50.0, 6), (85.0, 7)]
            .into_iter()
            .map(|(focal, last)| LastMark {
                focal_length_mm: Millimetres::new(focal),
                mark: Some(last.to_string()),
            })
            .collect(),
        curve: Vec::new(),
        lens_spreads: Vec::new(),
    }
}

/// A graduated filter, dark above.
pub fn moor_edge() -> Profile {
    let mut profile = base("Moor Edge", Kind::Graduated, Some(3.0));
    profile.filter.size = Some("100 mm".to_owned());
    profile.filter.form = Some(Form::Slot);
    let (dark, clear, centre, width, tilt) = (2.91, 0.08, 47.0, 18.0, -1.5_f64);
    // 10 to 90 % of a logistic step lie 2 ln 9 of its scale apart.
    let scale = width / (2.0 * 9_f64.ln());
    let at = move |percent: f64| clear + dark / (1.0 + ((percent - centre) / scale).exp());
    let stops = move |x: f64, y: f64| {
        let height = 24.0 / 36.0;
        at(50.0 + 50.0 * (y + x * tilt.to_radians().tan()) / height)
    };
    let mut one = setting(None, round(stops(0.0, 0.0)), 0.032, 0.041, 0.012, NEUTRAL);
    one.evenness = Some(evenness(31, stops));
    profile.settings.push(one);
    usual_frames(&mut profile, "1/15", 1.0 / 16.0);
    profile.graduation = Some(Graduation {
        dark_end_stops: Stops::new(dark),
        dark_end_u95: Some(Stops::new(0.026)),
        clear_end_stops: Stops::new(clear),
        clear_end_u95: Some(Stops::new(0.03)),
        width_percent_of_height: Percent::new(width),
        width_u95: Some(Percent::new(0.8)),
        centre_percent_of_height: Percent::new(centre),
        centre_u95: Some(Percent::new(0.4)),
        angle: Degrees::new(tilt),
        angle_u95: Some(Degrees::new(0.1)),
        shape: "medium".to_owned(),
        dark_half_gains: Some(Gains {
            red: Ratio::new(1.021),
            green: Ratio::new(1.0),
            blue: Ratio::new(0.984),
        }),
        corner_darkening_stops: Some(Stops::new(0.06)),
        profile: (0..=50).map(|i| [f64::from(i) * 2.0, round(at(f64::from(i) * 2.0))]).collect(),
    });
    profile.vignetting = Some(Vignetting {
        mechanical: true,
        onset_percent_of_half_diagonal: Some(Percent::new(91.0)),
        corners_stops: Some(Corners {
            top_left: Stops::new(0.21),
            top_right: Stops::new(0.19),
            bottom_left: Stops::new(0.16),
            bottom_right: Stops::new(0.23),
        }),
        by_focal_length: Vec::new(),
        widest_safe_mm: None,
    });
    profile.cautions = vec![caution(
        "edge_blurred_by_lens",
        Grade::Note,
        "The width of the edge belongs to this aperture and focal length (24 mm): a smaller aperture \
         or a shorter lens shows it sharper.",
    )];
    profile
}

/// A polariser.
pub fn glass_turn() -> Profile {
    let mut profile = base("Glass Turn", Kind::Polariser, None);
    profile.light = None;
    let mut one = setting(None, 1.443, 0.029, 0.012, 0.031, NEUTRAL);
    one.cast.mired_shift = None;
    one.cast.duv_shift = None;
    one.cast.lab = None;
    one.cast.delta_e_2000 = None;
    one.visual_strength = None;
    profile.settings.push(one);
    profile.camera.colour_matrix = None;
    usual_frames(&mut profile, "1/25", 1.0 / 25.4);
    profile.polarising = Some(Polarising {
        loss_stops: Some(with_doubt(1.443, 0.029)),
        extinction_stops: Some(with_doubt(0.012, 0.02)),
        angle_of_maximum: None,
        angle_u95: None,
        light_polarised: false,
    });
    profile.cautions = vec![caution(
        "no_colour_matrix",
        Grade::Note,
        "No colour matrix is known for this camera, so the cast is given as channel gains only.",
    )];
    profile
}

/// Two filters together, strong enough for the whole warning.
pub fn two_together() -> Profile {
    let mut profile = base("Harbour Ten and Weir Three", Kind::Stack, Some(13.0));
    let mut one = setting(None, 13.381, 0.044, 0.262, -0.071, COOL_GREEN);
    one.evenness = Some(evenness(17, |x, y| 0.08 * (x * x + y * y) - 0.02 * y));
    profile.settings.push(one);
    usual_frames(&mut profile, "2m", 128.0);
    profile.stack = Some(StackRecord {
        parts: vec!["Harbour Ten".to_owned(), "Weir Three".to_owned()],
        predicted: with_doubt(13.412, 0.06),
        difference: with_doubt(-0.031, 0.075),
    });
    profile
}

/// Names that try to be markup.
pub const HOSTILE_NAME: &str = "\"Sun\" <script>alert('1')</script> & Größe №5 フィルター";
/// A file name that tries to be markup.
pub const HOSTILE_FILE: &str = "a\"b'<img src=x onerror=alert(1)>&amp; Täler 峡谷 שמש.dng";

/// A solid filter whose names are quotes, brackets and other scripts, with a disputed number.
pub fn odd_names() -> Profile {
    let mut profile = base(HOSTILE_NAME, Kind::Solid, Some(3.0));
    profile.filter.note = Some("</style><b>bold?</b> {{ page.name }}".to_owned());
    profile.camera.model = Some("<Field & \"One\">".to_owned());
    let mut one = setting(None, 3.02, 0.16, 0.02, 0.01, NEUTRAL);
    one.evenness = None;
    one.cast.words = "neutral <i>as far</i> as can be seen".to_owned();
    profile.settings.push(one);
    usual_frames(&mut profile, "1/8", 1.0 / 8.0);
    let old = profile.frames[3].file.clone();
    profile.frames[3].file = HOSTILE_FILE.to_owned();
    for name in &mut profile.settings[0].frames.filtered {
        if *name == old {
            *name = HOSTILE_FILE.to_owned();
        }
    }
    profile.cautions = vec![
        caution(
            "bare_not_confirmed",
            Grade::Number,
            "The strength is only as good as the guess which frames were shot without the filter: they \
             stand on one side of the filtered frames only. Shoot bare frames before and after, or name \
             them with --bare and --filtered.",
        ),
        caution(
            "several_filters",
            Grade::Number,
            "The folder seems to hold more than one filter; measure them one by one:\n  lightloss measure \
             \"a <b>\" --to x.dng\n  lightloss measure \"a <b>\" --from y.dng",
        ),
    ];
    profile
}
