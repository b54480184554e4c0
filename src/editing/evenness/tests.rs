#![allow(clippy::unwrap_used)]

use super::*;
use crate::editing::gain_map::opcode_list;
use crate::editing::testing::profile;
use crate::frame::Area;
use crate::frame::cfa::{Cfa, Plane};
use crate::profile::{
    ChannelMaps, ColourSpread, Corners, CrossState, DarkCross, Directed, EvennessGrid, Pattern,
    SensorSize,
};
use crate::quantity::{Degrees, Millimetres, Stops};

/// What is left after a correction may not exceed this, in stops.
const FLAT_STOPS: f64 = 0.02;
/// Index of ordinary filter glass.
const GLASS: f64 = 1.5;

/// Extra stops of a glass of D0 stops at a field angle (its longer path by Snell's law).
fn path(d0: f64, tangent: f64) -> f64 {
    let sine2 = tangent * tangent / (1.0 + tangent * tangent);
    d0 * (1.0 / (1.0 - sine2 / (GLASS * GLASS)).sqrt() - 1.0)
}

/// A profile measured at 20 mm on a 36 x 24 mm frame: glass of ten stops, red a little more, with
/// a tilt across that a holder caused.
fn measured(tilt: f64) -> Profile {
    let (columns, rows) = (64, 43);
    let map = |d0: f64| {
        (0..columns * rows)
            .map(|i| {
                let x = ((i % columns) as f64 + 0.5) / columns as f64 - 0.5;
                let y = ((i / columns) as f64 + 0.5) / rows as f64 - 0.5;
                let tangent = (x * 36.0).hypot(y * 24.0) / 20.0;
                // One corner is covered by dust.
                (i > 3).then(|| Stops::new(path(d0, tangent) + tilt * x))
            })
            .collect()
    };
    let zero = || Directed { stops: Stops::new(0.0), u95: None, angle: Degrees::new(0.0) };
    let maps = ChannelMaps { columns, rows, red: map(11.0), green: map(10.0), blue: map(10.0) };
    let s = Stops::new;
    let mut profile = profile("Heron Ten", "solid", &[(None, [11.0, 10.0, 10.0])]);
    profile.camera.focal_length_mm = Some(Millimetres::new(20.0));
    profile.camera.sensor_mm = Some(SensorSize {
        width: Millimetres::new(36.0),
        height: Millimetres::new(24.0),
        source: "test".into(),
    });
    profile.settings[0].evenness = Some(Evenness {
        grid: EvennessGrid { columns: 0, rows: 0, stops: Vec::new() },
        spread_stops: s(0.0),
        extremes_stops: s(0.0),
        corners_stops: Corners {
            top_left: s(0.0),
            top_right: s(0.0),
            bottom_left: s(0.0),
            bottom_right: s(0.0),
        },
        maps,
        colour_spread: ColourSpread { red_green_stops: s(0.0), blue_green_stops: s(0.0) },
        specks: Vec::new(),
        pattern: Pattern {
            valid: true,
            falloff_stops: s(0.0),
            falloff_u95: None,
            tilt: zero(),
            saddle: zero(),
            cross: zero(),
            residual_stops: s(0.0),
            noise_stops: s(0.0),
        },
        dark_cross: DarkCross { state: CrossState::Absent, depth_stops: s(0.0), angle: None },
    });
    profile
}

fn view(focal_mm: f64) -> View {
    View {
        focal_mm: Some(focal_mm),
        sensor_mm: Some((36.0, 24.0)),
        pixels: (600, 400),
        orientation: 1,
    }
}

fn ask(profile: &Profile, view: &View, alike: bool) -> Result<EvennessGains, NotEvened> {
    let setting = profile.settings.first();
    gains(&[Through { profile, setting, same_camera: true }], view, alike)
}

struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn long(&mut self) -> usize {
        let (head, rest) = self.0.split_at(4);
        self.0 = rest;
        u32::from_be_bytes(head.try_into().unwrap()) as usize
    }
    fn double(&mut self) -> f64 {
        let (head, rest) = self.0.split_at(8);
        self.0 = rest;
        f64::from_be_bytes(head.try_into().unwrap())
    }
    fn single(&mut self) -> f64 {
        let (head, rest) = self.0.split_at(4);
        self.0 = rest;
        f64::from(f32::from_be_bytes(head.try_into().unwrap()))
    }
}

/// Applies a list of GainMap opcodes to linear data, 1.0 white, as the DNG specification 1.4
/// describes the opcode (chapter 7): for each pixel the point of the map at
/// ((row + 0.5) / height - origin) / spacing, clamped to its ends, bilinear, the product clipped.
fn apply(list: &[u8], width: usize, height: usize, data: &mut [f64]) {
    let mut list = Reader(list);
    for _ in 0..list.long() {
        assert_eq!(list.long(), 9);
        assert_eq!(list.long(), 0x0103_0000);
        let (_flags, size) = (list.long(), list.long());
        let before = list.0.len();
        let [top, left, bottom, right] = std::array::from_fn(|_| list.long());
        assert_eq!((list.long(), list.long()), (0, 1));
        let (row_pitch, column_pitch) = (list.long(), list.long());
        let (points_v, points_h) = (list.long(), list.long());
        let [space_v, space_h, origin_v, origin_h] = std::array::from_fn(|_| list.double());
        assert_eq!(list.long(), 1);
        let map: Vec<f64> = (0..points_v * points_h).map(|_| list.single()).collect();
        assert_eq!(before - list.0.len(), size);
        let index = |at: usize, of: usize, origin: f64, space: f64, points: usize| {
            let index = (((at as f64 + 0.5) / of as f64 - origin) / space).max(0.0);
            let low = index.floor().min((points - 1) as f64);
            (low as usize, ((low + 1.0).min((points - 1) as f64)) as usize, index - low)
        };
        for row in (top..bottom).step_by(row_pitch) {
            let (v0, v1, v) = index(row, height, origin_v, space_v, points_v);
            for column in (left..right).step_by(column_pitch) {
                let (h0, h1, h) = index(column, width, origin_h, space_h, points_h);
                let line =
                    |r: usize| map[r * points_h + h0] * (1.0 - h) + map[r * points_h + h1] * h;
                let gain = line(v0) * (1.0 - v) + line(v1) * v;
                let pixel = &mut data[row * width + column];
                *pixel = (*pixel * gain).min(1.0);
            }
        }
    }
}

/// An even grey photograph through the glass at another focal length, and what is left of its
/// unevenness after correction, peak to peak in stops, per channel.
fn left_after(gains: &EvennessGains, view: &View, tilt: f64) -> [f64; 3] {
    let cfa = Cfa::from_letters("GRBG").unwrap();
    let (width, height) = view.pixels;
    let (sensor_w, sensor_h) = view.sensor_mm.unwrap();
    let mut data: Vec<f64> = (0..width * height)
        .map(|i| {
            let x = ((i % width) as f64 + 0.5) / width as f64 - 0.5;
            let y = ((i / width) as f64 + 0.5) / height as f64 - 0.5;
            let tangent = (x * sensor_w).hypot(y * sensor_h) / view.focal_mm.unwrap();
            let d0 = if cfa.plane(i / width, i % width) == Plane::Red { 11.0 } else { 10.0 };
            0.1 * (-path(d0, tangent) - tilt * x).exp2()
        })
        .collect();
    let active = Area { left: 3, top: 5, width, height };
    apply(&opcode_list(&gains.map, &cfa, active), width, height, &mut data);
    [&[Plane::Red][..], &[Plane::Green1, Plane::Green2], &[Plane::Blue]].map(|planes| {
        let of = |i: &usize| planes.contains(&cfa.plane(i / width, i % width));
        let stops = (0..width * height).filter(of).map(|i| data[i].log2());
        let (low, high) =
            stops.fold((f64::MAX, f64::MIN), |(l, h), s| (f64::min(l, s), f64::max(h, s)));
        high - low
    })
}

#[test]
fn an_uneven_photograph_becomes_flat_at_any_longer_lens() {
    let profile = measured(0.3);
    for focal in [20.0, 24.0, 50.0] {
        let view = view(focal);
        let gains = ask(&profile, &view, false).unwrap();
        let left = left_after(&gains, &view, 0.0);
        assert!(left.iter().all(|&l| l < FLAT_STOPS), "{focal} mm: {left:?}");
    }
    // The corner of a 36 x 24 mm frame at 20 mm, ten stops of glass: 1.84 stops by Snell's law.
    assert!(
        (ask(&profile, &view(20.0), false).unwrap().peak_stops - path(11.0, 1.0817)).abs() < 0.02
    );
}

#[test]
fn tilt_is_taken_out_only_when_mounted_alike() {
    let profile = measured(0.3);
    let view = view(20.0);
    let circular = ask(&profile, &view, false).unwrap();
    let left = left_after(&circular, &view, 0.3);
    assert!((left[1] - 0.3).abs() < FLAT_STOPS, "{left:?}");
    let alike = ask(&profile, &view, true).unwrap();
    // The reader clips nothing here, and no gain is below one.
    assert!(alike.map.gains.iter().flatten().all(|&g| g >= 1.0));
    assert!(alike.raised_stops > 0.0);
    let left = left_after(&alike, &view, 0.3);
    assert!(
        left[1] < 0.06,
        "a map is taken from cell centres, half a cell short of the edge: {left:?}"
    );
}

#[test]
fn what_would_be_a_guess_is_refused() {
    let mut profile = measured(0.0);
    assert!(matches!(ask(&profile, &view(16.0), false), Err(NotEvened::WiderView { .. })));
    let unknown = View { focal_mm: None, ..view(24.0) };
    assert!(matches!(ask(&profile, &unknown, false), Err(NotEvened::NoFocalLength)));
    assert!(matches!(ask(&profile, &view(24.0), true), Err(NotEvened::OtherFocalLength { .. })));
    let turned = View { orientation: 6, ..view(20.0) };
    assert!(matches!(ask(&profile, &turned, true), Err(NotEvened::OtherOrientation { .. })));
    let other = View { sensor_mm: None, ..view(24.0) };
    let setting = profile.settings.first();
    let through = [Through { profile: &profile, setting, same_camera: false }];
    assert!(matches!(gains(&through, &other, false), Err(NotEvened::NoSensorSize)));
    let unmarked = [Through { profile: &profile, setting: None, same_camera: true }];
    assert!(matches!(gains(&unmarked, &view(24.0), false), Err(NotEvened::MarkUnknown { .. })));
    profile.filter.kind = Kind::Graduated;
    assert!(matches!(ask(&profile, &view(24.0), false), Err(NotEvened::Graduated { .. })));
}

#[test]
fn a_smaller_sensor_sees_less_of_the_falloff() {
    // At 24 mm, a 24 x 16 mm frame sees what 36 x 24 mm sees at 36 mm.
    let profile = measured(0.0);
    let view = View { sensor_mm: Some((24.0, 16.0)), ..view(24.0) };
    let setting = profile.settings.first();
    let through = [Through { profile: &profile, setting, same_camera: false }];
    let left = left_after(&gains(&through, &view, false).unwrap(), &view, 0.0);
    assert!(left.iter().all(|&l| l < FLAT_STOPS), "{left:?}");
}

#[test]
fn a_gain_beyond_the_limit_is_cut_and_said() {
    let mut profile = measured(0.0);
    let green = &mut profile.settings[0].evenness.as_mut().unwrap().maps.green;
    green.iter_mut().flatten().for_each(|s| *s = Stops::new(s.get() * 3.0));
    let gains = ask(&profile, &view(20.0), false).unwrap();
    assert!((gains.peak_stops - GAIN_LIMIT_STOPS).abs() < 1e-9);
    assert!(gains.left_in_stops > 0.5);
    assert!(gains.map.gains[1].iter().all(|&g| g <= 4.0));
}

/// A ring's unevenness over the frame, in stops at places in units of half the diagonal: falloff, saddle
/// and cross, turned by so many degrees.
#[derive(Clone, Copy)]
struct Ring {
    falloff: f64,
    saddle: f64,
    cross: f64,
    turned: f64,
}

impl Ring {
    fn stops(self, x: f64, y: f64) -> f64 {
        let (r2, angle) = (x * x + y * y, y.atan2(x) - self.turned.to_radians());
        self.falloff * r2
            + self.saddle * r2 * (2.0 * angle).cos()
            + self.cross * r2 * r2 * (4.0 * angle).cos()
    }

    /// The solid profile with these maps at one mark, at 20 mm on 36 x 24 mm.
    fn measured(self) -> Profile {
        let mut profile = measured(0.0);
        profile.filter.kind = Kind::Variable;
        let maps = &mut profile.settings[0].evenness.as_mut().unwrap().maps;
        let (columns, rows) = (36, 24);
        (maps.columns, maps.rows) = (columns, rows);
        let cells = (0..columns * rows).map(|i| {
            let x = ((i % columns) as f64 + 0.5) / columns as f64 - 0.5;
            let y = ((i / columns) as f64 + 0.5) / rows as f64 - 0.5;
            Some(Stops::new(self.stops(x * 36.0 / DIAGONAL, y * 24.0 / DIAGONAL)))
        });
        let cells: Vec<_> = cells.collect();
        (maps.red, maps.green, maps.blue) = (cells.clone(), cells.clone(), cells);
        profile
    }

    /// Range over blocks of pixels of an even light photographed through it, in stops of green; with
    /// gains applied where there are any.
    fn range(self, view: &View, gains: Option<&EvennessGains>) -> f64 {
        let cfa = Cfa::from_letters("GRBG").unwrap();
        let (width, height) = view.pixels;
        let scale = 20.0 / view.focal_mm.unwrap();
        let place = |i: usize| {
            let x = ((i % width) as f64 + 0.5) / width as f64 - 0.5;
            let y = ((i / width) as f64 + 0.5) / height as f64 - 0.5;
            (x * 36.0 / DIAGONAL * scale, y * 24.0 / DIAGONAL * scale)
        };
        let light = |i| {
            let (x, y) = place(i);
            1e-5 * (-self.stops(x, y)).exp2()
        };
        let mut data: Vec<f64> = (0..width * height).map(light).collect();
        if let Some(gains) = gains {
            let active = Area { left: 0, top: 0, width, height };
            apply(&opcode_list(&gains.map, &cfa, active), width, height, &mut data);
        }
        let (across, down) = (width / BLOCK, height / BLOCK);
        let mut blocks = vec![(0.0, 0.0); across * down];
        for (i, value) in data.iter().enumerate() {
            let (row, column) = (i / width, i % width);
            let green = matches!(cfa.plane(row, column), Plane::Green1 | Plane::Green2);
            let block = (row / BLOCK, column / BLOCK);
            if green && block.0 < down && block.1 < across {
                let sum = &mut blocks[block.0 * across + block.1];
                *sum = (sum.0 + value, sum.1 + 1.0);
            }
        }
        let stops = blocks.iter().map(|(sum, count): &(f64, f64)| (sum / count).log2());
        let (low, high) =
            stops.fold((f64::MAX, f64::MIN), |(l, h), s| (f64::min(l, s), f64::max(h, s)));
        high - low
    }
}

/// Half the diagonal of 36 x 24 mm, in millimetres, and pixels across a block.
const DIAGONAL: f64 = 21.633;
const BLOCK: usize = 16;

/// Whatever is accepted makes the picture more even, however the ring sat and whichever longer lens was
/// used; what is refused has a cross that outweighs the rest.
#[test]
fn a_rings_picture_gets_more_even_or_is_left() {
    let strengths = [(1.0, 0.0, 0.0), (1.0, 0.1, 0.03), (0.6, 0.15, 0.0), (0.4, 0.2, 0.1)];
    let crosses = [(0.0, 0.4, 0.1), (0.4, 2.0, 1.0), (0.8, 3.0, 2.0), (-0.3, 0.2, 0.0)];
    let mut taken = 0;
    for (falloff, saddle, cross) in strengths.into_iter().chain(crosses) {
        let ring = Ring { falloff, saddle, cross, turned: 30.0 };
        let profile = ring.measured();
        for focal in [20.0, 50.0] {
            let view = View { pixels: (288, 192), ..view(focal) };
            let gains = match ask(&profile, &view, false) {
                Ok(gains) => gains,
                Err(NotEvened::Sitting { .. }) => continue,
                Err(other) => panic!("{falloff} {saddle} {cross}: {other}"),
            };
            assert_eq!(gains.part, Part::Circular);
            taken += 1;
            for turned in (0..180).step_by(15) {
                let sat = Ring { turned: f64::from(turned), ..ring };
                let (before, after) = (sat.range(&view, None), sat.range(&view, Some(&gains)));
                let words = format!("{falloff} {saddle} {cross}, {focal} mm, {turned} degrees");
                assert!(after < before, "{words}: {before:.3} becomes {after:.3}");
                // What stays is said, within what cell centres miss of the corners.
                assert!(after < gains.stays_stops * 1.1 + FLAT_STOPS, "{words}: {after:.3} stays");
            }
        }
        let outweighed = saddle > falloff.abs() || cross > falloff.abs();
        assert!(!outweighed || ask(&profile, &view(20.0), false).is_err(), "{falloff} {saddle}");
    }
    assert!(taken >= 4, "only {taken} were taken out");
}

/// The advice works: the very same cross, sitting as it was measured, gets more even; also where the
/// gain is limited, and the middle is then raised by no more than the limit.
#[test]
fn a_cross_as_it_was_measured_is_taken_out_when_mounted_alike() {
    for (falloff, saddle, cross) in [(0.0, 0.4, 0.1), (0.4, 2.0, 1.0), (1.7, 6.0, 2.5)] {
        let ring = Ring { falloff, saddle, cross, turned: 65.0 };
        let profile = ring.measured();
        let refused = ask(&profile, &view(20.0), false).unwrap_err().to_string();
        assert!(refused.ends_with("add --mounted-alike"), "{refused}");
        let gains = ask(&profile, &view(20.0), true).unwrap();
        assert_eq!(gains.part, Part::AsMeasured);
        let before = ring.range(&view(20.0), None);
        let after = ring.range(&view(20.0), Some(&gains));
        let limited = before - GAIN_LIMIT_STOPS;
        assert!(after < limited.max(0.0) + 0.1 * before, "{before:.3} becomes {after:.3}");
        assert!(gains.raised_stops <= GAIN_LIMIT_STOPS, "{}", gains.raised_stops);
        let other = ask(&profile, &view(24.0), false).unwrap_err().to_string();
        assert!(other.contains("at 20 mm and --mounted-alike"), "{other}");
    }
}

/// A filter that is even has nothing to take out, and no map of noise is written.
#[test]
fn an_even_filter_is_left_as_it_is() {
    let even = Ring { falloff: 0.002, saddle: 0.001, cross: 0.0, turned: 0.0 };
    let left = ask(&even.measured(), &view(20.0), false);
    assert!(matches!(left, Err(NotEvened::Even { .. })), "{left:?}");
}
