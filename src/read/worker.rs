//! The inside of a worker process: requests in, answers out, until the input ends.

use super::bytes::{self, FileBytes, Hash};
use super::wire::{self, Answer, Request, Wanted};
use super::{ReadError, frame_in, frame_without_hash, spare};
use crate::frame::Frame;
use crate::frame::patch::Patch;
use crate::reduce::grid::FrameSummary;
use crate::reduce::reduce_beside;
use std::io::{self, Read, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Address space that a worker may take beyond what it has when it starts. A file of 150
/// megapixels needs its bytes two or three times and its pixels twice, about 1.2 GB; thread stacks
/// and allocator arenas take 0.2 GB of mere addresses.
#[cfg(target_os = "linux")]
const MEMORY_GROWTH: u64 = 1536 << 20;

/// Serves requests until the input ends. Meant for a process of its own: it limits that process's
/// memory (on Linux) and silences its panics.
///
/// # Errors
/// Those of the streams, which mean that the parent is gone.
pub fn serve(input: &mut dyn Read, output: &mut dyn Write) -> io::Result<()> {
    std::panic::set_hook(Box::new(|_| {}));
    limit_memory();
    let mut held = Held::default();
    while let Some(message) = wire::receive(input)? {
        let request = wire::request(&message)?;
        wire::send_answer(output, held.answer(&request))?;
    }
    Ok(())
}

/// The frame that was decoded last, where more of it may be asked for.
#[derive(Debug, Default)]
pub(super) struct Held(Option<Frame>);

impl Held {
    /// Answers one request in this process; a panic of a decoder becomes an error.
    pub(super) fn answer(&mut self, request: &Request) -> Answer {
        let held = self.0.take();
        let mut kept = None;
        let read = || match (request.wanted, held) {
            (Wanted::Counts, None) => Err(ReadError::DecoderDied),
            (Wanted::Counts, Some(frame)) => {
                let counts = counts(&frame, request);
                spare::keep(frame.samples);
                Ok(Answer::Counts(counts))
            }
            (_, held) => {
                if let Some(frame) = held {
                    spare::keep(frame.samples);
                }
                decoded(request, &mut kept)
            }
        };
        let answer = match catch_unwind(AssertUnwindSafe(read)) {
            Ok(Ok(answer)) => answer,
            Ok(Err(error)) => Answer::Failed(error),
            Err(_) => Answer::Failed(ReadError::DecoderDied),
        };
        self.0 = kept;
        answer
    }
}

fn counts(frame: &Frame, request: &Request) -> Vec<Option<Patch>> {
    request.places.iter().map(|place| frame.patch(*place)).collect()
}

fn decoded(request: &Request, kept: &mut Option<Frame>) -> Result<Answer, ReadError> {
    let read = if request.mapped { bytes::mapped } else { bytes::read };
    let (file, shown_as) = (read(&request.path)?, &request.shown_as);
    if request.wanted == Wanted::Frame {
        return Ok(Answer::Frame(Box::new(frame_in(&file, shown_as, request.options)?)));
    }
    let frame = frame_without_hash(&file, shown_as, request.options)?;
    let summary = Box::new(hashed_summary(&frame, &file));
    let patches = counts(&frame, request);
    if request.wanted == Wanted::Held {
        *kept = Some(frame);
    } else {
        spare::keep(frame.samples);
    }
    Ok(Answer::Summary(summary, patches))
}

/// Sums and hash in one pass. The hash is a chain of steps that each wait for the one before, and
/// the sums fill the time that it waits.
fn hashed_summary(frame: &Frame, file: &FileBytes) -> FrameSummary {
    let mut hash = Hash::of(file);
    let values = (frame.samples.channels() * frame.active.width * frame.active.height).max(1);
    let bytes_of_a_value = file.len() as f64 / values as f64;
    let mut added = 0;
    let mut summary = reduce_beside(frame, |more| {
        added += more;
        hash.up_to((added as f64 * bytes_of_a_value) as usize);
    });
    summary.info.sha256 = hash.finish();
    summary
}

#[cfg(target_os = "linux")]
fn limit_memory() {
    let size = std::fs::read_to_string("/proc/self/status").ok().and_then(|status| {
        let line = status.lines().find(|line| line.starts_with("VmSize:"))?;
        line.split_whitespace().nth(1)?.parse::<u64>().ok()
    });
    let limit = size.map_or(2 * MEMORY_GROWTH, |kilobytes| kilobytes * 1024 + MEMORY_GROWTH);
    // A stricter limit that is already there stays.
    if let Ok((soft, hard)) = rlimit::Resource::AS.get() {
        let limit = limit.min(soft).min(hard);
        rlimit::Resource::AS.set(limit, hard).unwrap_or_default();
    }
}

#[cfg(not(target_os = "linux"))]
fn limit_memory() {}
