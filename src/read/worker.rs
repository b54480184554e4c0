//! The inside of a worker process: requests in, answers out, until the input ends.

use super::bytes::{self, FileBytes};
use super::hash::{Beside, Hash};
use super::wire::{self, Answer, Request, Wanted};
use super::{ReadError, frame_in, frame_without_hash, spare};
use crate::frame::Frame;
use crate::frame::patch::Patch;
use crate::reduce::grid::FrameSummary;
use crate::reduce::{reduce, reduce_beside};
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
        if !request.with_next {
            wire::send_answer(output, held.answer(&request))?;
            continue;
        }
        let Some(message) = wire::receive(input)? else { break };
        for answer in held.answer_both(&request, &wire::request(&message)?) {
            wire::send_answer(output, answer)?;
        }
    }
    Ok(())
}

/// A file of so many bytes stays mapped until the next is added up; a larger one is read once more,
/// since to keep both mapped would cost the memory of a frame.
const MOST_KEPT: usize = 20 << 20;
/// The same where the request allows for that memory: uncompressed files of 24 megapixels.
const MOST_KEPT_LARGE: usize = 50 << 20;

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
        let answer = unpanicked(read).unwrap_or_else(Answer::Failed);
        self.0 = kept;
        answer
    }
    /// Answers two requests for sums; the first file is hashed beside the second, whose hash and sums
    /// leave the processor time for it.
    pub(super) fn answer_both(&mut self, first: &Request, second: &Request) -> [Answer; 2] {
        if let Some(frame) = self.0.take() {
            spare::keep(frame.samples);
        }
        let mut kept = None;
        let first_read = unpanicked(|| {
            let file = bytes_of(first)?;
            let summed = summed(first, &file, reduce)?;
            let most = if first.keep_large { MOST_KEPT_LARGE } else { MOST_KEPT };
            kept = Some(file).filter(|file| file.len() <= most);
            Ok(summed)
        });
        let mut beside = match &kept {
            Some(file) => Some(Beside::of(file)),
            None => first_read.as_ref().ok().and_then(|_| Beside::open(&first.path).ok()),
        };
        let second = unpanicked(|| {
            let file = bytes_of(second)?;
            let sums = |frame: &Frame| hashed_summary(frame, &file, beside.as_mut());
            let (summary, patches) = summed(second, &file, sums)?;
            Ok(Answer::Summary(Box::new(summary), patches))
        });
        let first = first_read.and_then(|(mut summary, patches)| {
            summary.info.sha256 = beside.ok_or(ReadError::DecoderDied)?.finish()?;
            Ok(Answer::Summary(Box::new(summary), patches))
        });
        [first, second].map(|answer| answer.unwrap_or_else(Answer::Failed))
    }
}

/// A panic becomes an error.
fn unpanicked<T>(read: impl FnOnce() -> Result<T, ReadError>) -> Result<T, ReadError> {
    catch_unwind(AssertUnwindSafe(read)).unwrap_or(Err(ReadError::DecoderDied))
}

fn bytes_of(request: &Request) -> Result<FileBytes, ReadError> {
    let read = if request.mapped { bytes::mapped } else { bytes::read };
    read(&request.path)
}

/// What `sums` makes of a frame that is forgotten then, and the counts of the places asked for.
fn summed(
    request: &Request,
    file: &FileBytes,
    sums: impl FnOnce(&Frame) -> FrameSummary,
) -> Result<(FrameSummary, Vec<Option<Patch>>), ReadError> {
    let frame = frame_without_hash(file, &request.shown_as, request.options)?;
    let (summary, patches) = (sums(&frame), counts(&frame, request));
    spare::keep(frame.samples);
    Ok((summary, patches))
}

fn counts(frame: &Frame, request: &Request) -> Vec<Option<Patch>> {
    request.places.iter().map(|place| frame.patch(*place)).collect()
}

fn decoded(request: &Request, kept: &mut Option<Frame>) -> Result<Answer, ReadError> {
    let (file, shown_as) = (bytes_of(request)?, &request.shown_as);
    if request.wanted == Wanted::Frame {
        return Ok(Answer::Frame(Box::new(frame_in(&file, shown_as, request.options)?)));
    }
    let frame = frame_without_hash(&file, shown_as, request.options)?;
    let summary = Box::new(hashed_summary(&frame, &file, None));
    let patches = counts(&frame, request);
    if request.wanted == Wanted::Held {
        *kept = Some(frame);
    } else {
        spare::keep(frame.samples);
    }
    Ok(Answer::Summary(summary, patches))
}

/// Sums and hash in one pass. The hash is a chain of steps that each wait for the one before, and
/// the sums, and the hash of another file, fill the time that it waits.
fn hashed_summary(
    frame: &Frame,
    file: &FileBytes,
    mut other: Option<&mut Beside<'_>>,
) -> FrameSummary {
    let mut hash = Hash::of(file);
    let values = (frame.samples.channels() * frame.active.width * frame.active.height).max(1);
    let bytes_of_a_value = file.len() as f64 / values as f64;
    let mut added = 0;
    let mut summary = reduce_beside(frame, |more| {
        added += more;
        let byte = (added as f64 * bytes_of_a_value) as usize;
        match &mut other {
            Some(other) => hash.up_to_in_turns(byte, other),
            None => hash.up_to(byte),
        }
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use lightloss_test_files::small_dng::SmallDng;
    use std::path::PathBuf;

    fn request(path: PathBuf, with_next: bool) -> Request {
        Request {
            wanted: Wanted::Summary,
            shown_as: path.display().to_string(),
            path,
            mapped: false,
            options: crate::read::ReadOptions::default(),
            places: Vec::new(),
            with_next,
            keep_large: false,
        }
    }

    /// Of every two of these files: sizes that end within a block of the hash or with it, a file that
    /// is cut short, one of no picture, one that is not there.
    #[test]
    fn two_files_at_a_time_are_answered_as_each_alone() {
        let folder = tempfile::tempdir().unwrap();
        let dng = |bits: u32, more: usize| {
            let mut file = SmallDng { bits, ..SmallDng::default() }.tiff().finish();
            file.resize(file.len() + more, 7);
            file
        };
        let long = dng(16, 300_000);
        let whole = dng(16, 64 - dng(16, 0).len() % 64);
        let cut = long[..long.len() - 300_010].to_vec();
        let files = [dng(16, 0), dng(12, 1), whole, long, cut, b"no picture".to_vec()];
        let mut paths: Vec<PathBuf> = (0..files.len())
            .map(|i| {
                let path = folder.path().join(i.to_string());
                std::fs::write(&path, &files[i]).unwrap();
                path
            })
            .collect();
        paths.push(folder.path().join("none"));
        let mut held = Held::default();
        let alone: Vec<Answer> =
            paths.iter().map(|path| held.answer(&request(path.clone(), false))).collect();
        let sums = |answer: &&Answer| matches!(answer, Answer::Summary(..));
        assert_eq!(alone.iter().filter(sums).count(), 4);
        for (first, of_first) in paths.iter().zip(&alone) {
            for (second, of_second) in paths.iter().zip(&alone) {
                let requests = [request(first.clone(), true), request(second.clone(), false)];
                let [one, other] = held.answer_both(&requests[0], &requests[1]);
                assert_eq!((&one, &other), (of_first, of_second), "{first:?} {second:?}");
            }
        }
    }
}
