//! Where the Exif structure lies in each kind of file, and the form in which it is handed on.
//!
//! TIFF-like files (DNG, CR2, NEF, ARW, PEF, SRW, ORF, RW2) may hold their directories anywhere
//! in tens of megabytes: only the directories' small values are copied into a structure of their
//! own. That also lifts Exif fields which old firmware left in the first directory to their place.

use crate::tiff::{Directory, Entry, Order, Role, Tiff, size_of, tag};
use std::collections::BTreeMap;

/// Values longer than this are previews and makers' notes.
const LONGEST_VALUE: usize = 65_536;

/// The Exif of a TIFF-like file as a small TIFF structure; `None` without a directory.
pub(super) fn tiff_exif(tiff: &Tiff<'_>) -> Option<Vec<u8>> {
    let exif = tiff.directories.iter().find(|d| d.role == Role::Exif);
    Some(compact(tiff.root()?, exif))
}

/// The Exif of a CR3 file (ISO base media format): box CMT1 holds the first directory, CMT2 the
/// Exif directory, each a TIFF structure of its own, in the box `moov`, in a `uuid` box.
pub(super) fn cr3_exif(file: &[u8]) -> Option<Vec<u8>> {
    let moov = find_box(file, *b"moov")?;
    // The uuid box begins with sixteen bytes of identity.
    let inner = boxes(moov).find(|(kind, _)| kind == b"uuid").and_then(|(_, b)| b.get(16..))?;
    let root = Tiff::parse(find_box(inner, *b"CMT1")?).ok()??;
    let exif = find_box(inner, *b"CMT2").and_then(|b| Tiff::parse(b).ok()?);
    let exif = exif.as_ref().filter(|e| e.order == root.order).and_then(|e| e.root());
    Some(compact(root.root()?, exif))
}

/// The JPEG preview of a RAF file, which holds its Exif: big-endian place at 84, length at 88.
pub(super) fn raf_preview(file: &[u8]) -> Option<&[u8]> {
    let place = Order::Big.u32(file, 84)? as usize;
    let length = Order::Big.u32(file, 88)? as usize;
    file.get(place..place.checked_add(length)?)
}

/// Boxes of ISO base media format (ISO/IEC 14496-12, 4.2): kind and content.
pub(super) fn boxes(mut bytes: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let (kind, header, size) = box_header(bytes)?;
        let size = usize::try_from(size).ok()?.min(bytes.len());
        let content = bytes.get(header..size)?;
        bytes = &bytes[size..];
        Some((kind, content))
    })
}

/// Kind, length of the header and whole length of the box at the start of the bytes.
pub(super) fn box_header(bytes: &[u8]) -> Option<([u8; 4], usize, u64)> {
    let kind = bytes.get(4..8)?.try_into().ok()?;
    match Order::Big.u32(bytes, 0)? {
        0 => Some((kind, 8, bytes.len() as u64)),
        1 => {
            let size =
                u64::from(Order::Big.u32(bytes, 8)?) << 32 | u64::from(Order::Big.u32(bytes, 12)?);
            (size >= 16).then_some((kind, 16, size))
        }
        size => (size >= 8).then_some((kind, 8, u64::from(size))),
    }
}

fn find_box(bytes: &[u8], wanted: [u8; 4]) -> Option<&[u8]> {
    boxes(bytes).find(|(kind, _)| *kind == wanted).map(|(_, content)| content)
}

/// Tags that belong to the Exif directory wherever they are found.
fn exif_tag(tag: u16) -> bool {
    matches!(tag, 0x829a | 0x829d | 0x8822 | 0x8827 | 0x8830..=0x8835 | 0x9000..=0x9292 | 0xa401..=0xa435)
}

fn wanted(entry: &Entry) -> bool {
    let places = [
        tag::SUB_IFDS,
        tag::EXIF_IFD,
        tag::GPS_IFD,
        tag::MAKER_NOTE,
        tag::STRIP_OFFSETS,
        tag::TILE_OFFSETS,
        tag::INTEROPERABILITY_IFD,
        tag::JPEG_OFFSET,
    ];
    !places.contains(&entry.tag) && size_of(entry.kind) * entry.count <= LONGEST_VALUE
}

type Values<'a> = BTreeMap<u16, (u16, usize, &'a [u8])>;

/// A TIFF structure of two directories with the small values of the given ones.
fn compact(root: &Directory<'_>, exif: Option<&Directory<'_>>) -> Vec<u8> {
    let (mut first, mut second): (Values<'_>, Values<'_>) = Default::default();
    for (directory, own) in [(Some(root), false), (exif, true)] {
        for entry in directory.iter().flat_map(|d| &d.entries).filter(|e| wanted(e)) {
            let Some(bytes) = directory.and_then(|d| d.value(entry)) else { continue };
            let to = if own || exif_tag(entry.tag) { &mut second } else { &mut first };
            to.insert(entry.tag, (entry.kind, entry.count, bytes));
        }
    }
    let order = root.order;
    let mut out = if order == Order::Little { b"II".to_vec() } else { b"MM".to_vec() };
    out.extend(order.short(42));
    out.extend(order.long(8));
    let size = directory_size(&first, true);
    let pointer = order.long((8 + size) as u32);
    first.insert(tag::EXIF_IFD, (4, 1, &pointer));
    write_directory(&mut out, order, &first);
    write_directory(&mut out, order, &second);
    out
}

fn padded(length: usize) -> usize {
    if length <= 4 { 0 } else { length.next_multiple_of(2) }
}

fn directory_size(values: &Values<'_>, pointer: bool) -> usize {
    let entries = values.len() + usize::from(pointer);
    6 + 12 * entries + values.values().map(|(_, _, b)| padded(b.len())).sum::<usize>()
}

fn write_directory(out: &mut Vec<u8>, order: Order, values: &Values<'_>) {
    let mut place = out.len() + 6 + 12 * values.len();
    let mut tail = Vec::new();
    out.extend(order.short(values.len() as u16));
    for (&tag, &(kind, count, bytes)) in values {
        out.extend(order.short(tag));
        out.extend(order.short(kind));
        out.extend(order.long(count as u32));
        if bytes.len() <= 4 {
            out.extend(bytes);
            out.resize(out.len() + 4 - bytes.len(), 0);
        } else {
            out.extend(order.long(place as u32));
            tail.extend(bytes);
            tail.resize(tail.len() + padded(bytes.len()) - bytes.len(), 0);
            place += padded(bytes.len());
        }
    }
    out.extend(order.long(0));
    out.append(&mut tail);
}
