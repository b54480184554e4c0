//! Capture order: by time with sub-seconds, within a second by frame number, across 9999 to 0001.

use crate::frame::FrameInfo;

/// The order found and whether times and numbers agree.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// Indices in capture order.
    pub indices: Vec<usize>,
    /// Every frame has a capture time, and they are not all one.
    pub timed: bool,
    /// Capture times and frame numbers give different orders.
    pub clock_disagrees: bool,
}

impl Order {
    /// Values that belong to the frames, in capture order.
    #[must_use]
    pub fn sorted<T>(&self, values: Vec<T>) -> Vec<T> {
        let mut slots: Vec<Option<T>> = values.into_iter().map(Some).collect();
        self.indices.iter().filter_map(|&i| slots[i].take()).collect()
    }
}

/// The last run of digits in a file's stem, but for the number in brackets that systems give a copy.
#[must_use]
pub fn frame_number(file: &str) -> Option<u64> {
    let name = file.rsplit('/').next().unwrap_or(file);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let stem = without_copy(stem).unwrap_or(stem);
    let end = stem.rfind(|c: char| c.is_ascii_digit())? + 1;
    let start = stem[..end]
        .rfind(|c: char| !c.is_ascii_digit())
        .map_or(0, |i| i + stem[i..].chars().next().map_or(1, char::len_utf8));
    stem[start..end].parse().ok()
}

/// "P0004" of "P0004 (1)".
fn without_copy(stem: &str) -> Option<&str> {
    let (own, copy) = stem.strip_suffix(')')?.rsplit_once('(')?;
    let is_number = !copy.is_empty() && copy.bytes().all(|b| b.is_ascii_digit());
    let own = own.trim_end();
    (is_number && own.contains(|c: char| c.is_ascii_digit())).then_some(own)
}

/// From so many frames on one capture time for all is that of a clock that stands still, or of the
/// program that copied them: filters do not come and go in one instant.
const LEAST_OF_ONE_TIME: usize = 3;

/// Sorts frames into capture order.
#[must_use]
pub fn order(frames: &[&FrameInfo]) -> Order {
    let numbers = unwrapped(frames);
    let stands_still = frames.len() >= LEAST_OF_ONE_TIME
        && frames.windows(2).all(|w| w[0].capture.at == w[1].capture.at);
    let timed = frames.iter().all(|f| f.capture.at.is_some()) && !stands_still;
    let mut by_number: Vec<usize> = (0..frames.len()).collect();
    by_number.sort_by(|&a, &b| (numbers[a], &frames[a].file).cmp(&(numbers[b], &frames[b].file)));
    if !timed {
        return Order { indices: by_number, timed, clock_disagrees: false };
    }
    let mut by_time = by_number.clone();
    by_time.sort_by_key(|&i| frames[i].capture.at);
    let whole_second =
        |i: usize| frames[i].capture.at.map(|t| t.with().subsec_nanosecond(0).build());
    let inverted = by_time.windows(2).any(|w| {
        let apart = match (whole_second(w[0]), whole_second(w[1])) {
            (Some(Ok(a)), Some(Ok(b))) => a != b,
            _ => true,
        };
        apart && matches!((numbers[w[0]], numbers[w[1]]), (Some(a), Some(b)) if a > b)
    });
    // Without sub-seconds frames of one second keep the order of their numbers: the sort is stable.
    Order { indices: by_time, timed, clock_disagrees: inverted }
}

/// Frame numbers with the counter's jump from 9999 to 0001 undone, where one is seen.
fn unwrapped(frames: &[&FrameInfo]) -> Vec<Option<u64>> {
    const ROUND: u64 = 10_000;
    let numbers: Vec<Option<u64>> = frames.iter().map(|f| frame_number(&f.file)).collect();
    let mut sorted: Vec<u64> = numbers.iter().flatten().copied().collect();
    sorted.sort_unstable();
    let (Some(&low), Some(&high)) = (sorted.first(), sorted.last()) else { return numbers };
    if high >= ROUND || low > 1_000 || high < 9_000 {
        return numbers;
    }
    let gap = sorted.windows(2).max_by_key(|w| w[1] - w[0]).map(|w| w[1]);
    match gap {
        Some(first_before) => numbers
            .into_iter()
            .map(|n| n.map(|n| if n < first_before { n + ROUND } else { n }))
            .collect(),
        None => numbers,
    }
}
