//! Messages between the program and its workers: a length, a JSON head, raw little-endian arrays.
//!
//! A summary of 24 megapixels is about 1.5 MB of arrays; JSON alone would take longer than the
//! reduction.

use super::ReadOptions;
use super::error::ReadError;
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::{Area, BlackPattern, Frame, FrameInfo, Levels, LinearRgb, Mosaic, Samples};
use crate::reduce::grid::{CellGrid, FrameSummary, PlaneCells};
use serde::{Deserialize, Serialize};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Longest message that is believed: a frame of 500 megapixels in three channels.
const MOST_BYTES: u64 = 4 << 30;

/// What a worker is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Wanted {
    /// The sums over cells.
    Summary,
    /// All pixels.
    Frame,
}

/// One request.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Request {
    pub wanted: Wanted,
    pub path: PathBuf,
    pub shown_as: String,
    pub options: ReadOptions,
}

/// One answer.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answer {
    Summary(Box<FrameSummary>),
    Frame(Box<Frame>),
    Failed(ReadError),
}

#[derive(Serialize, Deserialize)]
struct RequestHead {
    wanted: Wanted,
    shown_as: String,
    options: ReadOptions,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum AnswerHead {
    Summary {
        info: FrameInfo,
        levels: Levels,
        masked: Option<BlackPattern>,
        columns: usize,
        rows: usize,
        side: usize,
        area: Area,
        cfa: Option<Cfa>,
        planes: Vec<Plane>,
    },
    Frame {
        width: usize,
        height: usize,
        cfa: Option<Cfa>,
        active: Area,
        masked: Vec<Area>,
        levels: Levels,
        info: FrameInfo,
    },
    Failed(ReadError),
}

fn garbled(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, format!("garbled message: {what}"))
}

/// Writes one message: length of the whole, length of the head, head, arrays.
fn send(to: &mut dyn Write, head: &impl Serialize, arrays: &[u8]) -> io::Result<()> {
    let head = serde_json::to_vec(head)?;
    to.write_all(&((8 + head.len() + arrays.len()) as u64).to_le_bytes())?;
    to.write_all(&(head.len() as u64).to_le_bytes())?;
    to.write_all(&head)?;
    to.write_all(arrays)?;
    to.flush()
}

/// Reads one message whole; `None` at the end of the stream.
pub(super) fn receive(from: &mut dyn Read) -> io::Result<Option<Vec<u8>>> {
    let mut length = [0; 8];
    match from.read_exact(&mut length) {
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
        other => other?,
    }
    let length = u64::from_le_bytes(length);
    if length > MOST_BYTES {
        return Err(garbled("too long"));
    }
    let mut message = Vec::new();
    from.take(length).read_to_end(&mut message)?;
    if message.len() as u64 == length { Ok(Some(message)) } else { Err(garbled("cut short")) }
}

fn split(message: &[u8]) -> io::Result<(&[u8], &[u8])> {
    let (length, rest) = message.split_first_chunk::<8>().ok_or_else(|| garbled("no head"))?;
    let length = usize::try_from(u64::from_le_bytes(*length)).unwrap_or(usize::MAX);
    rest.split_at_checked(length).ok_or_else(|| garbled("head too long"))
}

/// # Errors
/// Those of the stream.
pub(super) fn send_request(to: &mut dyn Write, request: &Request) -> io::Result<()> {
    let Request { wanted, path, shown_as, options } = request;
    let head = RequestHead { wanted: *wanted, shown_as: shown_as.clone(), options: *options };
    send(to, &head, &path_bytes(path))
}

/// # Errors
/// Where the message is not one.
pub(super) fn request(message: &[u8]) -> io::Result<Request> {
    let (head, path) = split(message)?;
    let RequestHead { wanted, shown_as, options } = serde_json::from_slice(head)?;
    Ok(Request { wanted, path: path_of(path), shown_as, options })
}

#[cfg(unix)]
fn path_bytes(path: &Path) -> Vec<u8> {
    use std::os::unix::ffi::OsStrExt;
    path.as_os_str().as_bytes().to_vec()
}

#[cfg(unix)]
fn path_of(bytes: &[u8]) -> PathBuf {
    use std::os::unix::ffi::OsStrExt;
    PathBuf::from(std::ffi::OsStr::from_bytes(bytes))
}

#[cfg(windows)]
fn path_bytes(path: &Path) -> Vec<u8> {
    use std::os::windows::ffi::OsStrExt;
    path.as_os_str().encode_wide().flat_map(u16::to_le_bytes).collect()
}

#[cfg(windows)]
fn path_of(bytes: &[u8]) -> PathBuf {
    use std::os::windows::ffi::OsStringExt;
    let wide: Vec<u16> =
        bytes.as_chunks::<2>().0.iter().map(|pair| u16::from_le_bytes(*pair)).collect();
    PathBuf::from(std::ffi::OsString::from_wide(&wide))
}

/// # Errors
/// Those of the stream.
pub(super) fn send_answer(to: &mut dyn Write, answer: Answer) -> io::Result<()> {
    match answer {
        Answer::Failed(error) => send(to, &AnswerHead::Failed(error), &[]),
        Answer::Summary(summary) => {
            let FrameSummary { info, levels, masked, cells } = *summary;
            let CellGrid { columns, rows, side, area, cfa, planes } = cells;
            let mut arrays = Vec::with_capacity(20 * columns * rows * planes.len());
            planes.iter().for_each(|plane| put_plane(&mut arrays, plane));
            let planes = planes.iter().map(|plane| plane.plane).collect();
            let head = AnswerHead::Summary {
                info,
                levels,
                masked,
                columns,
                rows,
                side,
                area,
                cfa,
                planes,
            };
            send(to, &head, &arrays)
        }
        Answer::Frame(frame) => {
            let Frame { samples, active, masked, levels, info } = *frame;
            let (width, height, data, cfa) = match samples {
                Samples::Raw(Mosaic { width, height, data }, cfa) => {
                    (width, height, data, Some(cfa))
                }
                Samples::Rendered(LinearRgb { width, height, data }) => (width, height, data, None),
            };
            let arrays: Vec<u8> = data.iter().flat_map(|v| v.to_le_bytes()).collect();
            let head = AnswerHead::Frame { width, height, cfa, active, masked, levels, info };
            send(to, &head, &arrays)
        }
    }
}

fn put_plane(out: &mut Vec<u8>, plane: &PlaneCells) {
    out.extend(plane.count.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.sum.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.squares.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.clipped.iter().flat_map(|v| v.to_le_bytes()));
    out.extend(plane.rejected.iter().flat_map(|v| v.to_le_bytes()));
}

/// Takes arrays off the front of a message.
struct Arrays<'a>(&'a [u8]);

impl<'a> Arrays<'a> {
    fn take<const N: usize, T>(
        &mut self,
        count: usize,
        number: impl Fn([u8; N]) -> T,
    ) -> io::Result<Vec<T>> {
        let length = count.checked_mul(N).ok_or_else(|| garbled("array too long"))?;
        let (array, rest) =
            self.0.split_at_checked(length).ok_or_else(|| garbled("array too short"))?;
        self.0 = rest;
        Ok(array.as_chunks::<N>().0.iter().map(|chunk| number(*chunk)).collect())
    }
    fn plane(&mut self, plane: Plane, cells: usize) -> io::Result<PlaneCells> {
        Ok(PlaneCells {
            plane,
            count: self.take(cells, u32::from_le_bytes)?,
            sum: self.take(cells, u32::from_le_bytes)?,
            squares: self.take(cells, u64::from_le_bytes)?,
            clipped: self.take(cells, u16::from_le_bytes)?,
            rejected: self.take(cells, u16::from_le_bytes)?,
        })
    }
}

/// # Errors
/// Where the message is not an answer.
pub(super) fn answer(message: &[u8]) -> io::Result<Answer> {
    let (head, arrays) = split(message)?;
    let mut arrays = Arrays(arrays);
    match serde_json::from_slice(head)? {
        AnswerHead::Failed(error) => Ok(Answer::Failed(error)),
        AnswerHead::Summary { info, levels, masked, columns, rows, side, area, cfa, planes } => {
            let cells = columns.checked_mul(rows).ok_or_else(|| garbled("too many cells"))?;
            let planes = planes
                .into_iter()
                .map(|plane| arrays.plane(plane, cells))
                .collect::<io::Result<_>>()?;
            let cells = CellGrid { columns, rows, side, area, cfa, planes };
            Ok(Answer::Summary(Box::new(FrameSummary { info, levels, masked, cells })))
        }
        AnswerHead::Frame { width, height, cfa, active, masked, levels, info } => {
            let values = width
                .checked_mul(height)
                .and_then(|pixels| pixels.checked_mul(if cfa.is_some() { 1 } else { 3 }))
                .ok_or_else(|| garbled("too many pixels"))?;
            let data = arrays.take(values, u16::from_le_bytes)?;
            let samples = match cfa {
                Some(cfa) => Samples::Raw(Mosaic { width, height, data }, cfa),
                None => Samples::Rendered(LinearRgb { width, height, data }),
            };
            Ok(Answer::Frame(Box::new(Frame { samples, active, masked, levels, info })))
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn round_trip(request: &Request) -> Request {
        let mut stream = Vec::new();
        send_request(&mut stream, request).unwrap();
        let message = receive(&mut stream.as_slice()).unwrap().unwrap();
        super::request(&message).unwrap()
    }

    #[test]
    fn requests_carry_any_file_name() {
        #[cfg(unix)]
        let name = {
            use std::os::unix::ffi::OsStringExt;
            std::ffi::OsString::from_vec(b"-f\xff\n.dng".to_vec())
        };
        #[cfg(not(unix))]
        let name = "-f.dng";
        let request = Request {
            wanted: Wanted::Frame,
            path: PathBuf::from(name),
            shown_as: "f".to_owned(),
            options: ReadOptions { linear: true },
        };
        assert_eq!(round_trip(&request), request);
    }

    #[test]
    fn a_failure_arrives_as_it_was_sent() {
        let error = ReadError::Truncated { expected: 12, found: 7 };
        let mut stream = Vec::new();
        send_answer(&mut stream, Answer::Failed(error.clone())).unwrap();
        let message = receive(&mut stream.as_slice()).unwrap().unwrap();
        assert_eq!(answer(&message).unwrap(), Answer::Failed(error));
    }

    #[test]
    fn cut_or_absurd_messages_are_errors_not_panics() {
        let mut stream = Vec::new();
        send_answer(&mut stream, Answer::Failed(ReadError::Empty)).unwrap();
        for length in 1..stream.len() {
            let cut = &stream[..length];
            assert!(matches!(receive(&mut &cut[..]), Ok(None) | Err(_)), "{length}");
            assert!(answer(cut).is_err(), "{length}");
        }
        assert!(receive(&mut &[0xff; 16][..]).is_err());
    }
}
