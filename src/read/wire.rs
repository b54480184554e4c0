//! Messages between the program and its workers: a length, a JSON head, raw arrays.
//!
//! A summary of 24 megapixels is about 1.2 MB of arrays; JSON alone would take longer than the
//! reduction.

mod arrays;

use super::ReadOptions;
use super::error::ReadError;
use crate::frame::cfa::{Cfa, Plane};
use crate::frame::patch::Patch;
use crate::frame::{Area, BlackPattern, Frame, FrameInfo, Levels, LinearRgb, Mosaic, Samples};
use crate::reduce::grid::{CellGrid, FrameSummary};
use arrays::{Arrays, put_patches, put_plane, send_from_the_end};
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
    /// The same, and the frame is held until the next request.
    Held,
    /// The counts of places of the frame that is held.
    Counts,
    /// All pixels.
    Frame,
}

/// One request.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Request {
    pub wanted: Wanted,
    pub path: PathBuf,
    /// The file's bytes are used where the system keeps them.
    pub mapped: bool,
    pub shown_as: String,
    pub options: ReadOptions,
    /// Whose counts are sent along with the sums.
    pub places: Vec<Area>,
    /// Another request follows, and both are answered together.
    pub with_next: bool,
    /// Large files may stay mapped beside the next as well.
    pub keep_large: bool,
}

/// One answer.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answer {
    /// With the counts of the places that were asked for, as far as the frame has them.
    Summary(Box<FrameSummary>, Vec<Option<Patch>>),
    /// Counts of the places that were asked for, as far as the frame that was held has them.
    Counts(Vec<Option<Patch>>),
    Frame(Box<Frame>),
    Failed(ReadError),
}

#[derive(Serialize, Deserialize)]
struct RequestHead {
    wanted: Wanted,
    mapped: bool,
    shown_as: String,
    options: ReadOptions,
    places: Vec<Area>,
    with_next: bool,
    keep_large: bool,
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
        patches: Vec<Option<Area>>,
    },
    Counts {
        patches: Vec<Option<Area>>,
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
    send_head(to, head, arrays.len())?;
    to.write_all(arrays)?;
    to.flush()
}

fn send_head(to: &mut dyn Write, head: &impl Serialize, arrays: usize) -> io::Result<()> {
    let head = serde_json::to_vec(head)?;
    to.write_all(&((8 + head.len() + arrays) as u64).to_le_bytes())?;
    to.write_all(&(head.len() as u64).to_le_bytes())?;
    to.write_all(&head)
}

fn message_length(from: &mut dyn Read) -> io::Result<Option<u64>> {
    let mut length = [0; 8];
    match from.read_exact(&mut length) {
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
        other => other?,
    }
    let length = u64::from_le_bytes(length);
    if length > MOST_BYTES { Err(garbled("too long")) } else { Ok(Some(length)) }
}

/// Reads one message whole; `None` at the end of the stream.
pub(super) fn receive(from: &mut dyn Read) -> io::Result<Option<Vec<u8>>> {
    let Some(length) = message_length(from)? else { return Ok(None) };
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
    let Request { wanted, path, mapped, shown_as, options, places, with_next, keep_large } =
        request;
    let head = RequestHead {
        wanted: *wanted,
        mapped: *mapped,
        shown_as: shown_as.clone(),
        options: *options,
        places: places.clone(),
        with_next: *with_next,
        keep_large: *keep_large,
    };
    send(to, &head, &path_bytes(path))
}

/// # Errors
/// Where the message is not one.
pub(super) fn request(message: &[u8]) -> io::Result<Request> {
    let (head, path) = split(message)?;
    let RequestHead { wanted, mapped, shown_as, options, places, with_next, keep_large } =
        serde_json::from_slice(head)?;
    let path = path_of(path);
    Ok(Request { wanted, path, mapped, shown_as, options, places, with_next, keep_large })
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
        Answer::Summary(summary, patches) => {
            let FrameSummary { info, levels, masked, cells } = *summary;
            let CellGrid { columns, rows, side, area, cfa, planes } = cells;
            let mut arrays = Vec::with_capacity(13 * columns * rows * planes.len());
            planes.iter().for_each(|plane| put_plane(&mut arrays, plane));
            let patches = put_patches(&mut arrays, &patches);
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
                patches,
            };
            send(to, &head, &arrays)
        }
        Answer::Counts(patches) => {
            let mut arrays = Vec::new();
            let patches = put_patches(&mut arrays, &patches);
            send(to, &AnswerHead::Counts { patches }, &arrays)
        }
        Answer::Frame(frame) => {
            let Frame { samples, active, masked, levels, info } = *frame;
            let (width, height, data, cfa) = match samples {
                Samples::Raw(Mosaic { width, height, data }, cfa) => {
                    (width, height, data, Some(cfa))
                }
                Samples::Rendered(LinearRgb { width, height, data }) => (width, height, data, None),
            };
            let head = AnswerHead::Frame { width, height, cfa, active, masked, levels, info };
            send_head(to, &head, 2 * data.len())?;
            send_from_the_end(to, data)?;
            to.flush()
        }
    }
}

/// Reads one answer, a frame's pixels straight to their place; `None` at the end of the stream.
pub(super) fn receive_answer(from: &mut dyn Read) -> io::Result<Option<Answer>> {
    let Some(length) = message_length(from)? else { return Ok(None) };
    let mut number = [0; 8];
    from.read_exact(&mut number)?;
    let head_length = u64::from_le_bytes(number);
    let left = length.checked_sub(8).and_then(|rest| rest.checked_sub(head_length));
    let left = left.ok_or_else(|| garbled("head too long"))?;
    let mut head = Vec::new();
    from.take(head_length).read_to_end(&mut head)?;
    let mut arrays = Arrays { from, left };
    let answer = answer_of(&head, &mut arrays)?;
    if arrays.left > 0 { Err(garbled("longer than its head says")) } else { Ok(Some(answer)) }
}

fn answer_of(head: &[u8], arrays: &mut Arrays<'_>) -> io::Result<Answer> {
    match serde_json::from_slice(head)? {
        AnswerHead::Failed(error) => Ok(Answer::Failed(error)),
        AnswerHead::Summary {
            info,
            levels,
            masked,
            columns,
            rows,
            side,
            area,
            cfa,
            planes,
            patches,
        } => {
            let cells = columns.checked_mul(rows).ok_or_else(|| garbled("too many cells"))?;
            let planes = planes
                .into_iter()
                .map(|plane| arrays.plane(plane, cells))
                .collect::<io::Result<_>>()?;
            let patches = arrays.patches(patches)?;
            let cells = CellGrid { columns, rows, side, area, cfa, planes };
            let summary = FrameSummary { info, levels, masked, cells };
            Ok(Answer::Summary(Box::new(summary), patches))
        }
        AnswerHead::Counts { patches } => Ok(Answer::Counts(arrays.patches(patches)?)),
        AnswerHead::Frame { width, height, cfa, active, masked, levels, info } => {
            let values = width
                .checked_mul(height)
                .and_then(|pixels| pixels.checked_mul(if cfa.is_some() { 1 } else { 3 }))
                .ok_or_else(|| garbled("too many pixels"))?;
            let data = arrays.pixels(values)?;
            let samples = match cfa {
                Some(cfa) => Samples::Raw(Mosaic { width, height, data: data.into() }, cfa),
                None => Samples::Rendered(LinearRgb { width, height, data: data.into() }),
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
            mapped: true,
            shown_as: "f".to_owned(),
            options: ReadOptions { linear: true },
            places: vec![Area { left: 3, top: 5, width: 7, height: 2 }],
            with_next: true,
            keep_large: true,
        };
        assert_eq!(round_trip(&request), request);
    }

    #[test]
    fn a_failure_arrives_as_it_was_sent() {
        let error = ReadError::Truncated { expected: 12, found: 7 };
        let mut stream = Vec::new();
        send_answer(&mut stream, Answer::Failed(error.clone())).unwrap();
        let answer = receive_answer(&mut stream.as_slice()).unwrap().unwrap();
        assert_eq!(answer, Answer::Failed(error));
    }

    #[test]
    fn cut_or_absurd_messages_are_errors_not_panics() {
        let mut stream = Vec::new();
        send_answer(&mut stream, Answer::Failed(ReadError::Empty)).unwrap();
        for length in 1..stream.len() {
            let cut = &stream[..length];
            assert!(matches!(receive(&mut &cut[..]), Ok(None) | Err(_)), "{length}");
            assert!(matches!(receive_answer(&mut &cut[..]), Ok(None) | Err(_)), "{length}");
        }
        assert!(receive_answer(&mut &[0xff; 16][..]).is_err());
        assert!(receive(&mut &[0xff; 16][..]).is_err());
    }
}
