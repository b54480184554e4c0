//! Many files at once, each read by a worker that may hang or die without taking the run along.

pub mod places;
mod portions;

use super::wire::{self, Answer, Request, Wanted};
use super::worker::Held;
use super::{ReadError, ReadOptions};
use crate::frame::patch::Patch;
use crate::frame::{Area, Frame};
use crate::reduce::grid::FrameSummary;
use crate::text::is_hidden;
use portions::portions;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::thread;
use std::time::Duration;

/// A worker that does not answer for so long is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// The hidden argument that makes the program a worker.
pub const WORKER_ARGUMENT: &str = "worker";
/// Settings of the GNU C library's allocator; other systems do not look at them. Every frame takes
/// some 100 MB anew: in pages of 4 KB, having them mapped took as long as all work on an
/// uncompressed frame.
const TUNABLES: &str = "GLIBC_TUNABLES";
const HUGE_PAGES: &str = "glibc.malloc.hugetlb=1";

/// Who decodes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Worker {
    /// This process: a decoder that aborts takes it along. For tests of the library.
    InProcess,
    /// Processes of this program, started with [`WORKER_ARGUMENT`], which must call
    /// [`super::serve`].
    Program(PathBuf),
}

/// A file that was not read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {error}")]
pub struct Unreadable {
    /// The name as shown to the user.
    pub file: String,
    /// Why.
    pub error: ReadError,
}

/// Most files that are worked on at a time: each may take some 150 MB at 24 megapixels, six times
/// that at 150, and more cores than these wait for the disk.
const MOST_AT_ONCE: usize = 8;

/// How many files are worked on at a time: one a core, but never so many that their memory is not
/// to be had.
#[must_use]
pub fn at_once() -> usize {
    thread::available_parallelism().map_or(1, usize::from).min(MOST_AT_ONCE)
}

/// Reads and reduces files, one worker per core, and returns the results in the order of the
/// files. `progress` hears how many are done.
pub fn summaries(
    files: &[PathBuf],
    base: &Path,
    options: ReadOptions,
    worker: &Worker,
    progress: &dyn Fn(usize),
) -> Vec<Result<FrameSummary, Unreadable>> {
    let mut found: Vec<Option<Result<FrameSummary, Unreadable>>> = vec![None; files.len()];
    let mut count = 0;
    each(files, base, options, worker, &AtomicBool::new(false), &mut |index, result| {
        found[index] = Some(result);
        count += 1;
        progress(count);
    });
    let lost =
        |file: &PathBuf| Err(Unreadable { file: shown(file, base), error: ReadError::DecoderDied });
    files.iter().zip(found).map(|(file, result)| result.unwrap_or_else(|| lost(file))).collect()
}

/// A summary and the counts of the places that were asked for, as far as the frame has them.
pub type WithPatches = (FrameSummary, Vec<Option<Patch>>);

/// Reads and reduces files, one worker per core, and hands over each result with the number of its
/// file as soon as it is there; no further file is begun once `stop` is set.
pub fn each(
    files: &[PathBuf],
    base: &Path,
    options: ReadOptions,
    worker: &Worker,
    stop: &AtomicBool,
    done: &mut dyn FnMut(usize, Result<FrameSummary, Unreadable>),
) {
    let next = AtomicUsize::new(0);
    let portions = portions(files.len(), at_once());
    let (send, results) = mpsc::channel();
    thread::scope(|scope| {
        for number in 0..at_once().min(files.len()) {
            let (send, next, portions) = (send.clone(), &next, &portions);
            scope.spawn(move || {
                let mut reader = Reader::new(worker.clone(), options);
                // One more frame's memory is there for one of them.
                reader.keep_large = number == 0;
                while let Some(taken) = portions.get(next.fetch_add(1, Ordering::Relaxed))
                    && !stop.load(Ordering::Relaxed)
                {
                    let files = &files[taken.clone()];
                    let read: Vec<_> = match files.try_into() {
                        Ok(two) => reader.two_summaries(two, base).into(),
                        Err(_) => files.iter().map(|file| reader.summary(file, base)).collect(),
                    };
                    for result in taken.clone().zip(read) {
                        // The receiver outlives the scope.
                        let _ = send.send(result);
                    }
                }
            });
        }
        drop(send);
        for (index, result) in results {
            done(index, result);
        }
    });
}

/// The name of a file as shown: relative to the base, with `/`; see [`path_text`].
#[must_use]
pub fn shown(file: &Path, base: &Path) -> String {
    let name = path_text(file.strip_prefix(base).unwrap_or(file));
    if cfg!(windows) { name.replace('\\', "/") } else { name }
}

/// A path as one line of text: what is not Unicode, and what [`is_hidden`], as `\xFF`, so that
/// different names stay different and none speaks to the terminal or turns its text.
#[must_use]
pub fn path_text(path: &Path) -> String {
    let mut text = String::new();
    for chunk in path.as_os_str().as_encoded_bytes().utf8_chunks() {
        for c in chunk.valid().chars() {
            if is_hidden(c) {
                let mut bytes = [0; 4];
                c.encode_utf8(&mut bytes).bytes().for_each(|b| text.push_str(&escaped(b)));
            } else {
                text.push(c);
            }
        }
        chunk.invalid().iter().for_each(|&b| text.push_str(&escaped(b)));
    }
    text
}

fn escaped(byte: u8) -> String {
    format!("\\x{byte:02X}")
}

/// One worker, started when first asked and started again after it died.
#[derive(Debug)]
pub struct Reader {
    worker: Worker,
    options: ReadOptions,
    /// Whether its worker may keep large files mapped beside the next.
    keep_large: bool,
    process: Option<Process>,
    /// What a reader in this process holds.
    held: Held,
    patience: Duration,
}

impl Reader {
    /// Nothing is started yet.
    #[must_use]
    pub fn new(worker: Worker, options: ReadOptions) -> Self {
        let (process, held, patience) = (None, Held::default(), PATIENCE);
        Self { worker, options, keep_large: false, process, held, patience }
    }
    /// Waits so long for each answer instead of 20 s.
    #[must_use]
    pub fn with_patience(self, patience: Duration) -> Self {
        Self { patience, ..self }
    }
    /// Reads and reduces one file.
    ///
    /// # Errors
    /// The file's name and why it was not read.
    pub fn summary(&mut self, file: &Path, base: &Path) -> Result<FrameSummary, Unreadable> {
        self.with_patches(file, base, &[]).map(|(summary, _)| summary)
    }
    /// Reads and reduces two files, in less time than one after the other.
    fn two_summaries(
        &mut self,
        files: &[PathBuf; 2],
        base: &Path,
    ) -> [Result<FrameSummary, Unreadable>; 2] {
        let answers = self.ask_both(files, base).map(|answers| answers.map(Some));
        let mut answers = answers.unwrap_or_default().into_iter();
        // Without an answer, each file alone shows which of them it is for.
        files.each_ref().map(|file| match answers.next().flatten() {
            Some(Answer::Summary(summary, _)) => Ok(*summary),
            Some(Answer::Failed(error)) if error != ReadError::DecoderDied => {
                Err(Unreadable { file: shown(file, base), error })
            }
            _ => self.summary(file, base),
        })
    }
    /// What a worker answers to both; `None` where there is no worker, or it fails.
    fn ask_both(&mut self, files: &[PathBuf; 2], base: &Path) -> Option<[Answer; 2]> {
        let Worker::Program(program) = &self.worker else { return None };
        files.iter().all(|file| super::bytes::regular(file).is_ok()).then_some(())?;
        let mut process = match self.process.take() {
            Some(process) => process,
            None => Process::start(program).ok()?,
        };
        let [first, second] =
            files.each_ref().map(|file| self.request(Wanted::Summary, file, base, &[]));
        process.send(&Request { with_next: true, ..first }).ok()?;
        let first = process.exchange(&second, 2 * self.patience).ok()?;
        let second = process.answer(self.patience).ok()?;
        self.process = Some(process);
        Some([first, second])
    }
    fn request(&self, wanted: Wanted, file: &Path, base: &Path, places: &[Area]) -> Request {
        Request {
            wanted,
            path: file.to_owned(),
            // Pixels that are sent on leave memory of their own bit by bit; the system's stays.
            mapped: wanted != Wanted::Frame,
            shown_as: shown(file, base),
            options: self.options,
            places: places.to_vec(),
            with_next: false,
            keep_large: self.keep_large,
        }
    }
    /// Reads and reduces one file, and takes the counts of some places along.
    fn with_patches(
        &mut self,
        file: &Path,
        base: &Path,
        places: &[Area],
    ) -> Result<WithPatches, Unreadable> {
        match self.ask(Wanted::Summary, file, base, places)? {
            Answer::Summary(summary, patches) => Ok((*summary, patches)),
            other => Err(unexpected(other, file, base)),
        }
    }
    /// Reads and reduces one file and holds its pixels, of which [`Self::counts`] may be asked next.
    fn held(&mut self, file: &Path, base: &Path) -> Result<FrameSummary, Unreadable> {
        match self.ask(Wanted::Held, file, base, &[])? {
            Answer::Summary(summary, _) => Ok(*summary),
            other => Err(unexpected(other, file, base)),
        }
    }
    /// The counts of some places of the file that is held.
    fn counts(
        &mut self,
        file: &Path,
        base: &Path,
        places: &[Area],
    ) -> Result<Vec<Option<Patch>>, Unreadable> {
        match self.ask(Wanted::Counts, file, base, places)? {
            Answer::Counts(patches) => Ok(patches),
            other => Err(unexpected(other, file, base)),
        }
    }
    /// Reads one file with all its pixels.
    ///
    /// # Errors
    /// The file's name and why it was not read.
    pub fn frame(&mut self, file: &Path, base: &Path) -> Result<Frame, Unreadable> {
        match self.ask(Wanted::Frame, file, base, &[])? {
            Answer::Frame(frame) => Ok(*frame),
            other => Err(unexpected(other, file, base)),
        }
    }
    fn ask(
        &mut self,
        wanted: Wanted,
        file: &Path,
        base: &Path,
        places: &[Area],
    ) -> Result<Answer, Unreadable> {
        let mut request = self.request(wanted, file, base, places);
        let failed = |error| Unreadable { file: shown(file, base), error };
        // What is no regular file is refused here: a worker could hang on it.
        super::bytes::regular(file).map_err(failed)?;
        match &self.worker {
            Worker::InProcess => {
                request.mapped = false;
                Ok(self.held.answer(&request))
            }
            Worker::Program(program) => {
                let program = program.clone();
                let mut answer = self.exchange(&program, &request);
                // A file that fails while it is mapped takes the worker along; one that fails while
                // it is read can be named with its reason.
                if answer == Err(ReadError::DecoderDied) && request.mapped {
                    request.mapped = false;
                    answer = self.exchange(&program, &request);
                }
                answer.map_err(failed)
            }
        }
    }
    fn exchange(&mut self, program: &Path, request: &Request) -> Result<Answer, ReadError> {
        let mut process = match self.process.take() {
            Some(process) => process,
            None => Process::start(program).map_err(|e| {
                let (worker, why) = (program.display(), crate::system::plain(&e));
                ReadError::Io { reason: format!("the worker {worker} did not start: {why}") }
            })?,
        };
        let answer = process.exchange(request, self.patience)?;
        // Only a worker that answered is kept; any other is killed when dropped.
        self.process = Some(process);
        Ok(answer)
    }
}

fn unexpected(answer: Answer, file: &Path, base: &Path) -> Unreadable {
    let error = match answer {
        Answer::Failed(error) => error,
        Answer::Summary(..) | Answer::Counts(_) | Answer::Frame(_) => ReadError::DecoderDied,
    };
    Unreadable { file: shown(file, base), error }
}

/// A worker process and the thread that reads its answers.
#[derive(Debug)]
struct Process {
    child: Child,
    input: Option<ChildStdin>,
    answers: Receiver<Option<Answer>>,
}

impl Process {
    fn start(program: &Path) -> io::Result<Self> {
        let mut command = Command::new(program);
        // What the user has set stays.
        if std::env::var_os(TUNABLES).is_none() {
            command.env(TUNABLES, HUGE_PAGES);
        }
        let mut child = command
            .arg(WORKER_ARGUMENT)
            .env("RAYON_NUM_THREADS", "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?;
        let (input, output) = (child.stdin.take(), child.stdout.take());
        let (send, answers) = mpsc::channel();
        thread::spawn(move || {
            let Some(mut output) = output else { return };
            while let Ok(Some(answer)) = wire::receive_answer(&mut output) {
                if send.send(Some(answer)).is_err() {
                    return;
                }
            }
            let _ = send.send(None);
        });
        Ok(Self { child, input, answers })
    }
    fn exchange(&mut self, request: &Request, patience: Duration) -> Result<Answer, ReadError> {
        self.send(request)?;
        self.answer(patience)
    }
    fn send(&mut self, request: &Request) -> Result<(), ReadError> {
        let input = self.input.as_mut().ok_or(ReadError::DecoderDied)?;
        wire::send_request(input, request).map_err(|_| ReadError::DecoderDied)
    }
    fn answer(&self, patience: Duration) -> Result<Answer, ReadError> {
        match self.answers.recv_timeout(patience) {
            Ok(Some(answer)) => Ok(answer),
            Ok(None) | Err(RecvTimeoutError::Disconnected) => Err(ReadError::DecoderDied),
            Err(RecvTimeoutError::Timeout) => {
                Err(ReadError::TimedOut { seconds: patience.as_secs() })
            }
        }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // It holds nothing worth an orderly end; whether it is gone already does not matter.
        drop(self.input.take());
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
