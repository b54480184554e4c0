//! Changes to what stands around pixels without directories: the segments of a JPEG stream (ITU-T
//! T.81, annex B), and the header and list of sizes of a RAF file.

use lightloss::tiff::Order;
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;
use std::ops::Range;

/// Application segments hold what is changed elsewhere.
const APPLICATION: Range<u8> = 0xe0..0xf0;
const SCAN: u8 = 0xda;

/// Streams of a file: where a start mark is followed by another.
fn streams(bytes: &[u8]) -> Vec<usize> {
    let starts = bytes.windows(3).enumerate().filter(|(_, three)| *three == [0xff, 0xd8, 0xff]);
    starts.map(|(at, _)| at).collect()
}

/// Kind and contents of each segment up to the scan's, its own included.
fn segments(bytes: &[u8], stream: usize) -> Vec<(u8, Range<usize>)> {
    let (mut at, mut found) = (stream + 2, Vec::new());
    while let (Some(&[0xff, kind]), Some(length)) =
        (bytes.get(at..at + 2).and_then(|b| b.as_array::<2>()), Order::Big.u16(bytes, at + 2))
    {
        let end = at + 2 + usize::from(length);
        if end > bytes.len() || length < 3 {
            break;
        }
        found.push((kind, at + 4..end));
        if kind == SCAN {
            break;
        }
        at = end;
    }
    found
}

/// Changes a number of a header or a mark amid the data of one stream; `None` where there is none.
pub fn change(bytes: &mut [u8], random: &mut ChaCha8Rng) -> Option<String> {
    let mut all: Vec<_> = streams(bytes).into_iter().map(|s| segments(bytes, s)).collect();
    all.retain(|segments| segments.last().is_some_and(|(kind, _)| *kind == SCAN));
    let segments = all.choose(random)?;
    if random.random_bool(0.75) {
        let own: Vec<_> = segments.iter().filter(|(kind, _)| !APPLICATION.contains(kind)).collect();
        let (kind, place) = own.choose(random)?;
        let at = random.random_range(place.clone());
        let old = bytes[at];
        let other =
            [0, 1, 2, 7, 16, 17, old.wrapping_add(1), old.wrapping_sub(1), 2 * (old / 2), 0xff];
        bytes[at] = *other.choose(random)?;
        return Some(format!("byte {} of segment {kind:02x}", at - place.start));
    }
    let (_, scan) = segments.last()?;
    let rest = bytes.len() - scan.end;
    if rest < 4 {
        return None;
    }
    let at = scan.end + random.random_range(0..rest.min(20_000) - 2);
    let kind = *[0xd0, 0xd9, 0xc3, 0xda, 0x01, 0x00].choose(random)?;
    bytes[at..at + 2].copy_from_slice(&[0xff, kind]);
    Some(format!("mark {kind:02x} amid the data"))
}

/// Changes a place, a length or a size in the header and the list of a RAF file; `None` for others.
pub fn change_raf(bytes: &mut [u8], random: &mut ChaCha8Rng) -> Option<String> {
    bytes.starts_with(b"FUJIFILM").then_some(())?;
    let list = Order::Big.u32(bytes, 92)? as usize;
    // Six places and lengths; then the count of the list, and sixteen bytes of records.
    if random.random_bool(0.7) {
        let at = 84 + 4 * random.random_range(0..6_usize);
        let old = Order::Big.u32(bytes, at)?;
        let all = [0, 1, old / 2, old.wrapping_mul(2), old + 2, old.saturating_sub(4), u32::MAX];
        bytes[at..at + 4].copy_from_slice(&all.choose(random)?.to_be_bytes());
        return Some(format!("byte {at} of the header"));
    }
    let at = list + 2 * random.random_range(0..10_usize);
    let old = Order::Big.u16(bytes, at)?;
    let all = [0, 1, old / 2, old.wrapping_mul(2), old.wrapping_add(1), u16::MAX];
    bytes[at..at + 2].copy_from_slice(&all.choose(random)?.to_be_bytes());
    Some(format!("byte {} of the list", at - list))
}
