//! Lossless-JPEG tiles of a mosaic (ITU T.81, process 14, predictor 1) through rawler's encoder.

use rawler::ljpeg92::LjpegCompressor;
use rayon::prelude::*;

/// Side of a tile in pixels; a multiple of 16, as TIFF asks.
pub const TILE: usize = 256;

/// All tiles in reading order. A mosaic is taken as two interleaved components, so that the
/// predictor looks at a neighbour of the same colour. Rows of tiles are made from the last to the
/// first and the pixels' memory is given back on the way, so that tiles and pixels are never both
/// whole.
///
/// # Errors
/// The encoder's words where it refuses.
pub fn tiles(
    mut data: Vec<u16>,
    width: usize,
    height: usize,
    samples: usize,
) -> Result<Vec<Vec<u8>>, String> {
    let across = width.div_ceil(TILE);
    let mut rows = Vec::new();
    for row in (0..height.div_ceil(TILE)).rev() {
        let tiles: Result<Vec<_>, _> = (0..across)
            .into_par_iter()
            .map(|column| encoded(&cut(&data, width, height, samples, (column, row)), samples))
            .collect();
        rows.push(tiles?);
        data.truncate(row * TILE * width * samples);
        data.shrink_to_fit();
    }
    Ok(rows.into_iter().rev().flatten().collect())
}

fn encoded(tile: &[u16], samples: usize) -> Result<Vec<u8>, String> {
    let (columns, components) = if samples == 1 { (TILE / 2, 2) } else { (TILE, samples) };
    LjpegCompressor::new(tile, columns, TILE, components, 16, 1, 0, 0)
        .and_then(LjpegCompressor::encode)
        .map_err(|e| e.to_string())
}

/// One tile; beyond the edge the pixels two before it are repeated, which keeps the colours.
fn cut(
    data: &[u16],
    width: usize,
    height: usize,
    samples: usize,
    (column, row): (usize, usize),
) -> Vec<u16> {
    let inside = |v: usize, size: usize| {
        if v < size { v } else { size.saturating_sub(2).min(size - 1) + (v - size) % 2.min(size) }
    };
    let mut tile = Vec::with_capacity(TILE * TILE * samples);
    for y in 0..TILE {
        let start = inside(row * TILE + y, height) * width;
        let left = column * TILE;
        let whole = width.saturating_sub(left).min(TILE);
        tile.extend_from_slice(&data[(start + left) * samples..(start + left + whole) * samples]);
        for x in whole..TILE {
            let at = (start + inside(left + x, width)) * samples;
            tile.extend_from_slice(&data[at..at + samples]);
        }
    }
    tile
}
