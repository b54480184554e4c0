//! Where the parts of a file lie: what a mutation should aim at.

/// The places in a file that matter to whoever parses it.
#[derive(Default)]
pub struct Anatomy {
    pub big: bool,
    /// Bytes of one directory entry; 0 where the format has none.
    pub entry: usize,
    pub entries: Vec<usize>,
    /// Places of pointers to directories, and where directories begin.
    pub links: Vec<usize>,
    pub directories: Vec<usize>,
    /// Numbers: place and length in bytes.
    pub numbers: Vec<(usize, usize)>,
    pub boundaries: Vec<usize>,
    /// First byte behind the last that pixels need; a file cut before it lacks pixels.
    pub pixels_end: usize,
}

fn u16_at(file: &[u8], at: usize, big: bool) -> Option<usize> {
    let b: [u8; 2] = file.get(at..at + 2)?.try_into().ok()?;
    Some(usize::from(if big { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) }))
}

fn u32_at(file: &[u8], at: usize, big: bool) -> Option<usize> {
    let b: [u8; 4] = file.get(at..at + 4)?.try_into().ok()?;
    Some(if big { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) } as usize)
}

impl Anatomy {
    pub fn of(file: &[u8]) -> Self {
        let mut found = match file {
            [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => tiff(file),
            _ if file.get(6..14) == Some(b"HEAPCCDR") => ciff(file),
            [0xff, 0xd8, ..] => jpeg(file),
            [0x89, b'P', b'N', b'G', ..] => png(file),
            _ => boxes(file),
        };
        found.boundaries.retain(|&at| at > 0 && at < file.len());
        found.boundaries.sort_unstable();
        found.boundaries.dedup();
        found.numbers.retain(|(at, length)| at + length <= file.len());
        found
    }
}

fn tiff(file: &[u8]) -> Anatomy {
    const POINTERS: [usize; 3] = [330, 34_665, 34_853];
    let big = file[0] == b'M';
    let mut found =
        Anatomy { big, entry: 12, links: vec![4], numbers: vec![(4, 4)], ..Default::default() };
    let mut waiting = vec![u32_at(file, 4, big).unwrap_or(0)];
    let mut largest = 0;
    while let Some(at) = waiting.pop() {
        let Some(count) = u16_at(file, at, big).filter(|_| at > 0) else { continue };
        if found.directories.contains(&at) || found.directories.len() > 20 {
            continue;
        }
        found.directories.push(at);
        found.numbers.push((at, 2));
        found.boundaries.extend([at, at + 2]);
        let (mut offsets, mut counts) = (Vec::new(), Vec::new());
        let (mut pixels, mut end) = (1, 0);
        for entry in (0..count).map(|i| at + 2 + 12 * i) {
            let (Some(tag), Some(kind), Some(n)) = (
                u16_at(file, entry, big),
                u16_at(file, entry + 2, big),
                u32_at(file, entry + 4, big),
            ) else {
                break;
            };
            found.entries.push(entry);
            found.boundaries.extend([entry, entry + 8]);
            found.numbers.extend([(entry, 2), (entry + 2, 2), (entry + 4, 4), (entry + 8, 4)]);
            let size = match kind {
                3 | 8 => 2,
                4 | 9 | 11 | 13 => 4,
                5 | 10 | 12 => 8,
                _ => 1,
            };
            let inline = size * n <= 4;
            let place = if inline { entry + 8 } else { u32_at(file, entry + 8, big).unwrap_or(0) };
            found.boundaries.extend([place, place + size * n]);
            let value = |i: usize| match size {
                2 => u16_at(file, place + 2 * i, big),
                _ => u32_at(file, place + 4 * i, big),
            };
            if kind == 3 || kind == 4 {
                found.numbers.extend((0..n.min(40)).map(|i| (place + size * i, size)));
                match tag {
                    256 | 257 => pixels *= value(0).unwrap_or(0),
                    273 | 324 => offsets = (0..n).filter_map(value).collect(),
                    279 | 325 => counts = (0..n).filter_map(value).collect(),
                    _ if POINTERS.contains(&tag) => {
                        found.links.extend((0..n).map(|i| place + 4 * i));
                        waiting.extend((0..n).filter_map(value));
                    }
                    _ => {}
                }
            }
        }
        for (offset, count) in offsets.iter().zip(&counts) {
            found.boundaries.extend([*offset, offset + count]);
            end = end.max(offset + count);
        }
        // The largest picture is the one that is measured.
        if end > 0 && pixels >= largest {
            (largest, found.pixels_end) = (pixels, end);
        }
        let next = at + 2 + 12 * count;
        found.links.push(next);
        found.numbers.push((next, 4));
        waiting.push(u32_at(file, next, big).unwrap_or(0));
    }
    // Where a maker keeps the place elsewhere the directories behind the pixels tell as well.
    if found.pixels_end == 0 {
        found.pixels_end = found.directories.iter().copied().min().unwrap_or(0);
    }
    found
}

fn ciff(file: &[u8]) -> Anatomy {
    let mut found = Anatomy { entry: 10, numbers: vec![(2, 4)], ..Default::default() };
    // The directory stands at the very end: without it there is no file.
    found.pixels_end = file.len();
    let start = u32_at(file, 2, false).unwrap_or(0);
    let mut heaps = vec![(start, file.len())];
    while let Some((start, end)) = heaps.pop() {
        let link = end.saturating_sub(4);
        let Some(table) = u32_at(file, link, false).map(|t| start + t) else { continue };
        let Some(count) = u16_at(file, table, false) else { continue };
        found.links.push(link);
        found.directories.push(table);
        found.numbers.extend([(link, 4), (table, 2)]);
        found.boundaries.extend([link, table, end]);
        for entry in (0..count.min(400)).map(|i| table + 2 + 10 * i) {
            found.entries.push(entry);
            found.numbers.extend([(entry, 2), (entry + 2, 4), (entry + 6, 4)]);
            let kind = u16_at(file, entry, false).unwrap_or(0);
            let (Some(size), Some(place)) =
                (u32_at(file, entry + 2, false), u32_at(file, entry + 6, false))
            else {
                continue;
            };
            if kind & 0xc000 != 0x4000 {
                let place = start + place;
                found.boundaries.extend([place, place + size]);
                found.numbers.extend((0..10).map(|i| (place + 2 * i, 2)));
                if matches!(kind & 0x3800, 0x2800 | 0x3000) && place + size <= file.len() {
                    heaps.push((place, place + size));
                }
            }
        }
    }
    found
}

fn jpeg(file: &[u8]) -> Anatomy {
    let mut found = Anatomy { big: true, ..Default::default() };
    let mut at = 2;
    while let (Some(0xff), Some(kind), Some(length)) =
        (file.get(at), file.get(at + 1), u16_at(file, at + 2, true))
    {
        found.boundaries.extend([at, at + 4]);
        found.numbers.extend((2..(2 + length).min(24)).map(|i| (at + i, 1)));
        found.numbers.push((at + 2, 2));
        if (0xc0..=0xcf).contains(kind) {
            found.numbers.extend([(at + 5, 2), (at + 7, 2)]);
        }
        at += 2 + length;
        if *kind == 0xda {
            break;
        }
    }
    found.pixels_end = file.len() - 2;
    found
}

fn png(file: &[u8]) -> Anatomy {
    /// Behind the compressed rows stand a checksum and the end of the last block.
    const CLOSING: usize = 8;
    let mut found = Anatomy { big: true, ..Default::default() };
    let mut at = 8;
    while let Some(length) = u32_at(file, at, true) {
        found.boundaries.extend([at, at + 4, at + 8, at + 8 + length]);
        found.numbers.extend([(at, 4), (at + 8, 4), (at + 12, 4), (at + 16, 1), (at + 17, 1)]);
        if file.get(at + 4..at + 8) == Some(b"IDAT") {
            found.pixels_end = at + 8 + length - CLOSING;
        }
        at += 12 + length;
    }
    found
}

fn boxes(file: &[u8]) -> Anatomy {
    let mut found = Anatomy { big: true, ..Default::default() };
    let mut at = 0;
    while let Some(length) = u32_at(file, at, true).filter(|&l| l >= 8) {
        found.boundaries.extend([at, at + 4, at + 8]);
        found.numbers.push((at, 4));
        at += length;
    }
    found.pixels_end = file.len();
    found
}

/// Makes the checksums of a PNG's chunks right again (PNG, annex D: CRC-32 of ISO 3309).
pub fn mend_png(file: &mut [u8]) {
    let mut at = 8;
    while let Some(length) = u32_at(file, at, true) {
        let end = at + 8 + length;
        let Some(chunk) = file.get(at + 4..end) else { return };
        let mut crc = u32::MAX;
        for &byte in chunk {
            crc ^= u32::from(byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 };
            }
        }
        let Some(place) = file.get_mut(end..end + 4) else { return };
        place.copy_from_slice(&(!crc).to_be_bytes());
        at = end + 4;
    }
}
