//! Light levels: which frames of a wall are of one, and which levels hang together by their times.

use std::collections::BTreeSet;

/// Levels per second of two frames of one light level differ by less, stops: errors of the dial
/// (0.093) and of shutters fit in, and no dimming that is worth it does (ours).
const ONE_LEVEL: f64 = 0.25;

/// What tells a frame's light level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Hundredths of the f-number.
    pub aperture: Option<i64>,
    /// log2 of level per second.
    pub rate: f64,
}

/// The light level of each frame, in capture order, numbered as they come. A light that was dimmed
/// and turned up again is a level of its own, since nobody turns it back to a hundredth of a stop;
/// an aperture that is set again is the same one.
#[must_use]
pub fn light_levels(frames: &[Seen]) -> Vec<usize> {
    let first = frames.first().and_then(|f| f.aperture);
    let by_aperture = frames.iter().any(|f| f.aperture != first);
    // Aperture, last rate and frames of each level.
    let mut known: Vec<(Option<i64>, f64, usize)> = Vec::new();
    let mut numbers: Vec<usize> = Vec::with_capacity(frames.len());
    for frame in frames {
        let fits = |k: &usize| {
            let (aperture, rate, _) = known[*k];
            aperture == frame.aperture && (rate - frame.rate).abs() < ONE_LEVEL
        };
        let open: Vec<usize> =
            if by_aperture { (0..known.len()).rev().collect() } else { latest(&known, &numbers) };
        let near = |k: &usize| (known[*k].1 - frame.rate).abs();
        let found = open.into_iter().filter(fits).min_by(|a, b| near(a).total_cmp(&near(b)));
        let number = found.unwrap_or(known.len());
        match found {
            Some(k) => known[k] = (frame.aperture, frame.rate, known[k].2 + 1),
            None => known.push((frame.aperture, frame.rate, 1)),
        }
        numbers.push(number);
    }
    numbers
}

/// The level of the frame before, and where that is alone (a cloud), the one before it.
fn latest(known: &[(Option<i64>, f64, usize)], numbers: &[usize]) -> Vec<usize> {
    let Some(&last) = numbers.last() else { return Vec::new() };
    let before = numbers.iter().rev().find(|n| **n != last).filter(|_| known[last].2 == 1);
    std::iter::once(last).chain(before.copied()).collect()
}

/// The largest set of frames whose levels and times hang together: a time that was shot at two
/// levels ties them. `frames` holds level and time of each.
#[must_use]
pub fn connected(frames: &[(usize, usize)]) -> Vec<usize> {
    let mut best: Vec<usize> = Vec::new();
    let mut done: BTreeSet<usize> = BTreeSet::new();
    for (level, _) in frames {
        if done.contains(level) {
            continue;
        }
        let (mut levels, mut times) = (BTreeSet::from([*level]), BTreeSet::new());
        loop {
            let before = (levels.len(), times.len());
            for (l, t) in frames {
                if levels.contains(l) || times.contains(t) {
                    levels.insert(*l);
                    times.insert(*t);
                }
            }
            if before == (levels.len(), times.len()) {
                break;
            }
        }
        let mine: Vec<usize> =
            (0..frames.len()).filter(|i| levels.contains(&frames[*i].0)).collect();
        done.extend(levels);
        if mine.len() > best.len() {
            best = mine;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(list: &[(i64, f64)]) -> Vec<Seen> {
        list.iter().map(|(a, rate)| Seen { aperture: Some(*a), rate: *rate }).collect()
    }

    #[test]
    fn a_dimmed_light_is_a_level_and_a_cloud_is_a_frame() {
        let dimmed = seen(&[(8, 9.0), (8, 9.1), (8, 8.0), (8, 9.05), (8, 6.0), (8, 6.1), (8, 9.0)]);
        assert_eq!(light_levels(&dimmed), [0, 0, 1, 0, 2, 2, 3]);
    }

    #[test]
    fn an_aperture_that_is_set_again_is_the_same() {
        let both = seen(&[(4, 9.0), (8, 7.0), (4, 9.05), (8, 7.02), (4, 8.5)]);
        assert_eq!(light_levels(&both), [0, 1, 0, 1, 2]);
    }

    #[test]
    fn levels_hang_together_by_shared_times() {
        let frames = [(0, 1), (0, 2), (1, 2), (1, 3), (2, 7), (2, 8)];
        assert_eq!(connected(&frames), [0, 1, 2, 3]);
        assert_eq!(connected(&[]), Vec::<usize>::new());
    }
}
