//! The difference of two evenness maps.

use crate::numerics::robust::between;
use crate::profile::ChannelMaps;
use crate::quantity::Stops;

/// Second minus first, green, each relative to its own centre; row-major, as the picture is viewed.
#[derive(Clone, Debug, PartialEq)]
pub struct MapDifference {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Extra stops of the second, `None` where either is unknown.
    pub stops: Vec<Option<f64>>,
    /// p95 - p5 of it.
    pub spread: Stops,
}

/// `None` where the grids differ or nothing is known in both.
pub(super) fn difference(first: &ChannelMaps, second: &ChannelMaps) -> Option<MapDifference> {
    let (columns, rows) = (first.columns, first.rows);
    let whole = |map: &ChannelMaps| {
        (map.columns, map.rows) == (columns, rows) && map.green.len() == columns * rows
    };
    if !whole(first) || !whole(second) {
        return None;
    }
    let both = first.green.iter().zip(&second.green);
    let stops: Vec<Option<f64>> =
        both.map(|(a, b)| a.zip(*b).map(|(a, b)| (b - a).get())).collect();
    let spread = Stops::new(between(stops.iter().copied().flatten(), [0.05, 0.95])?);
    Some(MapDifference { columns, rows, stops, spread })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(columns: usize, values: &[Option<f64>]) -> ChannelMaps {
        let values: Vec<_> = values.iter().map(|v| v.map(Stops::new)).collect();
        ChannelMaps {
            columns,
            rows: values.len() / columns,
            red: values.clone(),
            green: values.clone(),
            blue: values,
        }
    }

    #[test]
    fn cells_are_subtracted_and_unknown_ones_stay_unknown() {
        let first = map(3, &[Some(0.0), Some(0.1), None, Some(0.2), Some(0.0), Some(0.0)]);
        let second = map(3, &[Some(0.0), Some(0.4), Some(1.0), Some(0.1), Some(0.0), None]);
        let found = difference(&first, &second).expect("a difference");
        let expected = [Some(0.0), Some(0.3), None, Some(-0.1), Some(0.0), None];
        for (f, e) in found.stops.iter().zip(expected) {
            assert_eq!(f.is_some(), e.is_some());
            assert!((f.unwrap_or(0.0) - e.unwrap_or(0.0)).abs() < 1e-12);
        }
        // Of -0.1, 0, 0, 0.3 with linear interpolation: 0.255 and -0.085.
        assert!((found.spread.get() - 0.34).abs() < 1e-12);
    }

    #[test]
    fn other_grids_are_not_subtracted() {
        assert!(difference(&map(3, &[Some(0.0); 6]), &map(2, &[Some(0.0); 6])).is_none());
        assert!(difference(&map(2, &[None; 4]), &map(2, &[Some(0.0); 4])).is_none());
    }
}
