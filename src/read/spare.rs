//! Memory of a frame's counts, kept by a worker for its next frame: the system clears every page
//! that it hands out, which takes as long as adding the counts up.

use crate::frame::Samples;
use std::cell::Cell;

thread_local! {
    static SPARE: Cell<Vec<u16>> = const { Cell::new(Vec::new()) };
}

/// So many numbers of any value.
pub(super) fn take(length: usize) -> Vec<u16> {
    let mut kept = SPARE.take();
    if kept.capacity() < length {
        // Both at a time would be too much.
        drop(kept);
        return vec![0; length];
    }
    kept.resize(length, 0);
    kept
}

/// Keeps what a frame no longer needs.
pub(super) fn keep(samples: Samples) {
    let counts = match samples {
        Samples::Raw(mosaic, _) => mosaic.data,
        Samples::Rendered(picture) => picture.data,
    };
    if let Some(counts) = counts.own() {
        SPARE.set(counts);
    }
}
