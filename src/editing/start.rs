//! Where the neutral of the light without the filter comes from, for one photograph.

use super::white::{self, Balance, NotAsShot};
use crate::frame::ColourMatrix;
use crate::quantity::Kelvin;

/// What a person says of the light without the filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// Nothing: the balance in the photograph, where it can be told to be that of the bare light.
    Told,
    /// The balance in the photograph.
    AsShot,
    /// That of the bare frame of the scene.
    NearestBare,
    /// A temperature.
    Kelvin(Kelvin),
    /// A frame's balance, green = 1.
    Frame([f64; 3]),
}

const AS_SHOT_OF_PICTURE: &str = "give --white as-shot if its balance was set for the light without the \
                                  filter, or correct the raw file";
/// Why no balance but its own is of use for a picture.
pub const OF_PICTURE: &str = "a picture's balance is in its colours already; give --white as-shot if its \
                              balance was set for the light without the filter, or correct the raw file";

/// What is known of one photograph. What has to be read for it is asked for only where it decides.
#[derive(Clone, Copy)]
pub struct Known<'a> {
    /// A raw file, and no picture.
    pub raw: bool,
    /// The frame named for the balance is this very photograph.
    pub own: bool,
    /// Its balance, green = 1.
    pub as_shot: Option<[f64; 3]>,
    /// Of its camera, where there are any.
    pub matrices: &'a [ColourMatrix],
    /// Of the filter, green = 1.
    pub transmittance: [f64; 3],
    /// How the camera came by its balance.
    pub balance: &'a dyn Fn() -> Balance,
    /// Balance of the bare frame of its scene, green = 1.
    pub bare: &'a dyn Fn() -> Option<[f64; 3]>,
}

impl Start {
    /// The neutral of the light without the filter, green = 1.
    ///
    /// # Errors
    /// Why there is none, in plain words, with what gives one.
    pub fn neutral(&self, known: &Known<'_>) -> Result<[f64; 3], String> {
        if !known.raw {
            return self.of_picture(known);
        }
        match self {
            Self::Kelvin(kelvin) => white::of_kelvin(*kelvin, known.matrices).ok_or_else(|| {
                format!(
                    "no colour matrix is known for this camera, so a temperature says nothing; {}",
                    ways(known)
                )
            }),
            Self::Frame(_) if known.own => {
                Err(format!("it cannot be its own frame without the filter; {}", ways(known)))
            }
            Self::Frame(neutral) => Ok(*neutral),
            Self::NearestBare => (known.bare)()
                .ok_or_else(|| format!("no bare frame of this scene is known; {}", ways(known))),
            Self::AsShot => known.as_shot.ok_or_else(|| refused(NotAsShot::None, known)),
            Self::Told => {
                let bare: Vec<[f64; 3]> = (known.bare)().into_iter().collect();
                let balance = (known.balance)();
                white::as_shot(known.as_shot, balance, known.transmittance, &bare, known.matrices)
                    .map_err(|reason| refused(reason, known))
            }
        }
    }

    /// A picture was rendered with its balance: only a cast that is still whole can be taken out.
    fn of_picture(&self, known: &Known<'_>) -> Result<[f64; 3], String> {
        let as_shot = AS_SHOT_OF_PICTURE;
        match (self, (known.balance)()) {
            (Self::AsShot, _) | (Self::Told, Balance::Preset) => Ok([1.0; 3]),
            (Self::Told, Balance::Automatic) => Err(format!("{}; {as_shot}", NotAsShot::Automatic)),
            (Self::Told, _) => Err(format!("{}; {as_shot}", NotAsShot::Undecided)),
            _ => Err(OF_PICTURE.to_owned()),
        }
    }
}

/// Why the balance in the photograph is not taken, and what can be given instead.
fn refused(reason: NotAsShot, known: &Known<'_>) -> String {
    let own = reason.unless().map(|when| format!(", or --white as-shot if {when}"));
    format!("{reason}; {}{}", ways(known), own.unwrap_or_default())
}

/// What gives the light of this photograph without the filter, of all that can: a bare frame of the
/// scene must be known for one, a colour matrix for the other.
fn ways(known: &Known<'_>) -> &'static str {
    match ((known.bare)().is_some(), known.matrices.is_empty()) {
        (true, false) => "use --white nearest-bare, a frame, or a temperature",
        (true, true) => "use --white nearest-bare or a frame",
        (false, false) => "use --white with a frame made without the filter, or with a temperature",
        (false, true) => "use --white with a frame made without the filter",
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const BARE: [f64; 3] = [0.52, 1.0, 0.61];
    const SHOT: [f64; 3] = [0.5, 1.0, 0.6];

    fn with(start: Start, change: impl Fn(&mut Known<'_>)) -> Result<[f64; 3], String> {
        let mut known = Known {
            raw: true,
            own: false,
            as_shot: Some(SHOT),
            matrices: &[],
            transmittance: [1.1, 1.0, 0.8],
            balance: &|| Balance::Preset,
            bare: &|| Some(BARE),
        };
        change(&mut known);
        start.neutral(&known)
    }

    #[test]
    fn each_word_gives_its_neutral() {
        let plain = |start| with(start, |_| {}).unwrap();
        assert_eq!(plain(Start::Told), SHOT);
        assert_eq!(plain(Start::AsShot), SHOT);
        assert_eq!(plain(Start::NearestBare), BARE);
        assert_eq!(plain(Start::Frame([0.4, 1.0, 0.7])), [0.4, 1.0, 0.7]);
        let picture = |start| with(start, |known| known.raw = false);
        assert_eq!(picture(Start::AsShot).unwrap(), [1.0; 3]);
        assert_eq!(picture(Start::Told).unwrap(), [1.0; 3]);
    }

    /// A refusal names what would do, and nothing that could not.
    #[test]
    fn what_gives_no_neutral_says_what_would() {
        let says = |result: Result<[f64; 3], String>, words: &str| {
            let said = result.unwrap_err();
            assert!(said.ends_with(words), "{said}");
        };
        let both = "use --white nearest-bare or a frame";
        says(with(Start::Kelvin(Kelvin::new(5000.0)), |_| {}), both);
        says(with(Start::Frame(BARE), |known| known.own = true), both);
        says(
            with(Start::NearestBare, |known| known.bare = &|| None),
            "use --white with a frame made without the filter",
        );
        says(with(Start::AsShot, |known| known.as_shot = None), both);
        says(
            with(Start::Told, |known| known.balance = &|| Balance::Automatic),
            "or --white as-shot if it was locked without the filter",
        );
        let picture = with(Start::NearestBare, |known| known.raw = false);
        says(picture, "or correct the raw file");
    }

    /// A folder of raw files is not read once more for words that do not hang on it.
    #[test]
    fn nothing_is_looked_up_that_does_not_decide() {
        let never = |start| {
            with(start, |known| {
                known.balance = &|| panic!("the balance was looked up");
                known.bare = &|| panic!("the bare frame was looked up");
            })
        };
        assert_eq!(never(Start::AsShot).unwrap(), SHOT);
        assert_eq!(never(Start::Frame(BARE)).unwrap(), BARE);
    }
}
