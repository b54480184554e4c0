//! Colour filter arrays: Bayer in any phase, X-Trans 6 x 6.

use serde::{Deserialize, Serialize};

/// A colour plane of the mosaic. The two greens of a Bayer row pair stay apart until measuring;
/// X-Trans and three-channel pictures use `Green1` only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Plane {
    /// Red.
    Red,
    /// Green in the rows that hold red.
    Green1,
    /// Green in the rows that hold blue.
    Green2,
    /// Blue.
    Blue,
}

impl Plane {
    /// Its colour: red (0), green (1) or blue (2).
    #[must_use]
    pub fn channel(self) -> usize {
        match self {
            Self::Red => 0,
            Self::Green1 | Self::Green2 => 1,
            Self::Blue => 2,
        }
    }
}

/// What is not a colour filter array that can be measured.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("colour filter pattern {pattern:?} is neither Bayer nor X-Trans")]
pub struct UnknownCfa {
    /// The letters found.
    pub pattern: String,
}

/// A repeating colour pattern, counted from the **active area's** origin.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cfa {
    side: usize,
    planes: Vec<Plane>,
}

impl Cfa {
    /// From letters R, G, B row by row: 4 of them (Bayer) or 36 (X-Trans).
    ///
    /// # Errors
    /// Where the letters are no Bayer phase and no 6 x 6 pattern of all three colours.
    pub fn from_letters(letters: &str) -> Result<Self, UnknownCfa> {
        let unknown = || UnknownCfa { pattern: letters.to_owned() };
        let chars: Vec<char> = letters.chars().collect();
        let side = match chars.len() {
            4 => 2,
            36 => 6,
            _ => return Err(unknown()),
        };
        let count = |c| chars.iter().filter(|&&x| x == c).count();
        let (red, green, blue) = (count('R'), count('G'), count('B'));
        if red + green + blue != chars.len() || red == 0 || green == 0 || blue == 0 {
            return Err(unknown());
        }
        if side == 2 && (green != 2 || (chars[0] == 'G') != (chars[3] == 'G')) {
            return Err(unknown());
        }
        let plane = |i: usize| match chars[i] {
            'R' => Plane::Red,
            'B' => Plane::Blue,
            _ if side == 2 && chars[(i / 2) * 2..(i / 2) * 2 + 2].contains(&'B') => Plane::Green2,
            _ => Plane::Green1,
        };
        Ok(Self { side, planes: (0..chars.len()).map(plane).collect() })
    }
    /// Period in rows and columns: 2 or 6.
    #[must_use]
    pub fn side(&self) -> usize {
        self.side
    }
    /// The plane of a pixel of the active area.
    #[must_use]
    pub fn plane(&self, row: usize, column: usize) -> Plane {
        self.planes[(row % self.side) * self.side + column % self.side]
    }
    /// The planes that occur, in the order red, green 1, green 2, blue.
    #[must_use]
    pub fn planes(&self) -> Vec<Plane> {
        let mut found = self.planes.clone();
        found.sort_unstable();
        found.dedup();
        found
    }
    /// The same pattern seen from an origin moved by (rows, columns).
    #[must_use]
    pub fn shifted(&self, rows: usize, columns: usize) -> Self {
        let planes = (0..self.side * self.side)
            .map(|i| self.plane(i / self.side + rows, i % self.side + columns))
            .collect();
        Self { side: self.side, planes }
    }
    /// The letters row by row, as [`Cfa::from_letters`] takes them.
    #[must_use]
    pub fn letters(&self) -> String {
        self.planes
            .iter()
            .map(|p| match p {
                Plane::Red => 'R',
                Plane::Blue => 'B',
                Plane::Green1 | Plane::Green2 => 'G',
            })
            .collect()
    }
}
