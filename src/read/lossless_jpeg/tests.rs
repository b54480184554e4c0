#![allow(clippy::unwrap_used)]

use super::*;
use ::rawler::decompressors::ljpeg::LjpegDecompressor;
use ::rawler::ljpeg92::LjpegCompressor;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::panic::catch_unwind;

const SEED: u64 = 20_310_604;
const COLUMNS: usize = 23;
const ROWS: usize = 19;
/// Streams that are damaged, and how often each.
const STREAMS: usize = 40;
const DAMAGES: usize = 60;

fn decoded(bytes: &[u8]) -> Option<Result<Vec<u16>, ReadError>> {
    let stream = Stream::parse(bytes)?;
    let mut all = vec![0; stream.width * stream.height];
    let width = stream.width;
    let result = stream.rows(stream.height, &mut Scratch::default(), |row, values| {
        all[row * width..][..width].copy_from_slice(values);
    });
    Some(result.map(|()| all))
}

/// What the decoder crate makes of a stream; `None` where it refuses or panics.
fn by_the_crate(bytes: &[u8]) -> Option<Vec<u16>> {
    catch_unwind(|| {
        let stream = LjpegDecompressor::new(bytes).ok()?;
        let (width, height) = (stream.width(), stream.height());
        let mut all = vec![0; width * height];
        stream.decode(&mut all, 0, width, width, height, false).ok()?;
        Some(all)
    })
    .ok()?
}

/// Counts that wander by steps of a size, with a jump now and then.
fn picture(random: &mut ChaCha8Rng, components: usize, bits: u8) -> Vec<u16> {
    let most = (1_i32 << bits) - 1;
    let step = random.random_range(1..=most / 2);
    let mut last = vec![most / 2; components];
    (0..COLUMNS * ROWS * components)
        .map(|i| {
            let last = &mut last[i % components];
            *last = match random.random_ratio(1, 40) {
                true => random.random_range(0..=most),
                false => (*last + random.random_range(-step..=step)).clamp(0, most),
            };
            *last as u16
        })
        .collect()
}

fn encoded(values: &[u16], components: usize, bits: u8, predictor: u8) -> Vec<u8> {
    LjpegCompressor::new(values, COLUMNS, ROWS, components, bits, predictor, 0, 0)
        .and_then(LjpegCompressor::encode)
        .unwrap()
}

#[test]
fn what_another_encoder_wrote_is_read_back() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    for round in 0..STREAMS {
        for components in 1..=4 {
            for predictor in 1..=7 {
                let bits = [10, 12, 14, 16][round % 4];
                let values = picture(&mut random, components, bits);
                let stream = encoded(&values, components, bits, predictor);
                let what = format!("{components} components, {bits} bits, predictor {predictor}");
                assert_eq!(decoded(&stream), Some(Ok(values)), "{what}");
            }
        }
    }
}

/// A stream written by hand as T.81 says: every difference has a code of six bits, so that the
/// table need not be made for the data.
fn by_hand(values: &[u16], interval: usize, lengths: u8) -> Vec<u8> {
    let mut stream = vec![0xff, 0xd8, 0xff, 0xc4, 0, 19 + 17, 0];
    stream.extend((1..=16).map(|length| if length == lengths { 17 } else { 0 }));
    stream.extend(0..=16_u8);
    stream.extend([0xff, 0xc3, 0, 11, 16, 0, ROWS as u8, 0, COLUMNS as u8, 1, 0, 0x11, 0]);
    if interval > 0 {
        stream.extend([0xff, 0xdd, 0, 4, 0, (interval * COLUMNS) as u8]);
    }
    stream.extend([0xff, 0xda, 0, 8, 1, 0, 0, 1, 0, 0]);
    let rows: Vec<&[u16]> = values.chunks(COLUMNS).collect();
    for (part, rows) in rows.chunks(if interval == 0 { ROWS } else { interval }).enumerate() {
        if part > 0 {
            stream.extend([0xff, 0xd0 + (part as u8 - 1) % 8]);
        }
        let mut text = String::new();
        let mut above = 1_u16 << 15;
        for row in rows {
            let mut last = above;
            for &value in *row {
                let difference = i32::from(value.wrapping_sub(last) as i16);
                let size =
                    if difference == -32_768 { 16 } else { 32 - difference.abs().leading_zeros() };
                text += &format!("{size:0width$b}", width = usize::from(lengths));
                if (1..16).contains(&size) {
                    let bits = if difference < 0 { difference - 1 } else { difference };
                    text += &format!("{:032b}", bits)[32 - size as usize..];
                }
                last = value;
            }
            above = row[0];
        }
        text += &"1".repeat((8 - text.len() % 8) % 8);
        for byte in text.as_bytes().chunks(8) {
            let byte = byte.iter().fold(0, |byte, bit| byte << 1 | (bit - b'0'));
            stream.push(byte);
            if byte == 0xff {
                stream.push(0);
            }
        }
    }
    stream.extend([0xff, 0xd9]);
    stream
}

#[test]
fn a_stream_written_by_hand_is_read_with_restart_marks_and_without() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED + 1);
    for round in 0..STREAMS {
        let values = picture(&mut random, 1, 16);
        // Codes that fit one look, and codes that do not.
        let lengths = [5, 11, 12, 13, 16][round % 5];
        for interval in [0, 1, 2, 5, 9] {
            let stream = by_hand(&values, interval, lengths);
            assert_eq!(
                decoded(&stream),
                Some(Ok(values.clone())),
                "{lengths} bits, {interval} rows"
            );
            if interval == 0 {
                assert_eq!(by_the_crate(&stream), Some(values.clone()), "{lengths} bits");
            }
        }
        let wrong = by_hand(&values, 2, lengths);
        let at = wrong.windows(2).position(|pair| pair == [0xff, 0xd1]).unwrap();
        for mark in [0xd3, 0xd9] {
            let mut wrong = wrong.clone();
            wrong[at + 1] = mark;
            assert!(matches!(decoded(&wrong), Some(Err(ReadError::Damaged { .. }))), "{mark:x}");
        }
    }
}

#[test]
fn a_stream_that_is_cut_short_is_refused() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED + 2);
    let values = picture(&mut random, 2, 14);
    let stream = encoded(&values, 2, 14, 1);
    let data = stream.len() - Stream::parse(&stream).unwrap().data.len();
    for length in data..stream.len() - 3 {
        let result = decoded(&stream[..length]).unwrap();
        assert!(matches!(result, Err(ReadError::Damaged { .. })), "{length} of {}", stream.len());
    }
}

/// Where this decoder takes a damaged stream, the crate takes it too and sees the same; what the
/// crate refuses is refused here, or left to it. Neither must panic here.
#[test]
fn damaged_streams_are_refused_or_read_as_the_crate_reads_them() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED + 3);
    std::panic::set_hook(Box::new(|_| {}));
    let mut taken = 0;
    for _ in 0..STREAMS {
        let (components, predictor) = (random.random_range(1..=4), random.random_range(1..=7));
        let values = picture(&mut random, components, 14);
        let stream = encoded(&values, components, 14, predictor);
        for _ in 0..DAMAGES {
            let mut damaged = stream.clone();
            for _ in 0..random.random_range(1..4) {
                let at = match random.random_bool(0.5) {
                    true => random.random_range(0..damaged.len().min(80)),
                    false => random.random_range(0..damaged.len()),
                };
                damaged[at] = random.random();
            }
            if let Some(Ok(ours)) = decoded(&damaged) {
                assert_eq!(by_the_crate(&damaged), Some(ours));
                taken += 1;
            }
        }
    }
    let _ = std::panic::take_hook();
    // Nearly all of the damage is seen: values too wide, data that end elsewhere than the pixels.
    let most = STREAMS * DAMAGES / 12;
    assert!((most / 10..most).contains(&taken), "{taken} streams were still taken");
}
