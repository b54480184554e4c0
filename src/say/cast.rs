//! What colour the filter adds, in sentences, and what to set for it when editing.

use super::figures::{self, fixed};
use crate::editing::white::shift_of;
use crate::measure::colour::DAYLIGHT;
use crate::profile::{Cast, MatrixRecord, Profile, Setting};
use crate::quantity::{Kelvin, Mired, Ratio};

/// Lights for which a kelvin figure is given (common practice, no source).
pub const LIGHTS: [(&str, Kelvin); 3] = [
    ("daylight", DAYLIGHT),
    ("overcast", Kelvin::new(6500.0)),
    ("open shade", Kelvin::new(7500.0)),
];

/// Kelvin figures are given to this step: an editor's slider is no finer in effect (ours).
const KELVIN_STEP: f64 = 50.0;
/// Shifts across the white line below this are not worth a word (ours, half of u(Duv) x 2).
const DUV_WORTH: f64 = 0.0015;

/// The cast in words, without a full stop.
#[must_use]
pub fn words(cast: &Cast) -> &str {
    cast.words.trim_end_matches('.')
}

/// The setting that stands for the filter: the only one, the last usable mark, or the first.
#[must_use]
pub fn representative(profile: &Profile) -> Option<&Setting> {
    let last = profile.usable.as_ref().and_then(|usable| usable.last_mark.as_ref());
    profile
        .settings
        .iter()
        .find(|setting| last.is_some() && setting.mark.as_ref() == last)
        .or_else(|| profile.settings.first())
}

/// " at mark 5", or nothing.
#[must_use]
pub fn at_mark(setting: &Setting) -> String {
    setting.mark.as_ref().map_or_else(String::new, |mark| format!(" at mark {mark}"))
}

/// The cast of one setting: in words, whether it is sure, how the light moves, which way the tint.
#[must_use]
pub fn sentences(setting: &Setting) -> Vec<String> {
    let cast = &setting.cast;
    let mut said = vec![format!("{}{}.", figures::sentence(words(cast)), at_mark(setting))];
    if !shows(cast) {
        said.push("The channels are alike within their uncertainty.".to_owned());
    }
    said.extend(cast.mired_shift.map(|shift| warmth(shift.value.get(), shift.u95.get())));
    said
}

/// The same behind a colon.
#[must_use]
pub fn after_a_colon(setting: &Setting) -> String {
    let said = sentences(setting).join(" ");
    let mut letters = said.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Whether some channel's gain differs from 1 beyond its uncertainty.
fn shows(cast: &Cast) -> bool {
    let beyond = |gain: f64, u95: f64| (gain - 1.0).abs() > u95;
    beyond(cast.gains.red.get(), cast.gains_u95.red.get())
        || beyond(cast.gains.blue.get(), cast.gains_u95.blue.get())
}

/// How the light moves on the mired scale; what lies within its uncertainty is no change.
fn warmth(mired: f64, u95: f64) -> String {
    if mired.abs() <= u95 {
        return format!(
            "It leaves the light as warm as it was, within the uncertainty: {} mired, as this camera \
             sees it.",
            figures::signed_with_doubt(mired, u95)
        );
    }
    let way = if mired > 0.0 { "warmer" } else { "cooler" };
    format!(
        "It makes the light {way} by {} mired, as this camera sees it.",
        figures::with_doubt(mired.abs(), u95)
    )
}

/// "red 1.157 ± 0.002, blue 0.889 ± 0.002 (green 1)".
#[must_use]
pub fn gains(cast: &Cast) -> String {
    let gain = |gain: f64, u95: f64| figures::with_doubt(gain, u95);
    format!(
        "red {}, blue {} (green 1)",
        gain(cast.gains.red.get(), cast.gains_u95.red.get()),
        gain(cast.gains.blue.get(), cast.gains_u95.blue.get())
    )
}

/// The matrix of the camera that measured a filter, and the temperature of the light it did so in.
#[must_use]
pub fn seen_by(profile: &Profile) -> Option<(&MatrixRecord, Kelvin)> {
    profile.camera.colour_matrix.as_ref().zip(profile.light.as_ref().map(|light| light.cct_k))
}

/// The kelvin that makes neutral what the filter has coloured, with its expanded uncertainty: the
/// light's own place on the mired scale plus the shift as it was measured (mired shifts add: common
/// practice of light-balancing filters), and by how much the camera's matrix sees another shift in this
/// light than in the one that it was measured in, which is some mired for a strong cast.
#[must_use]
pub fn kelvin_behind(
    cast: &Cast,
    seen_by: Option<(&MatrixRecord, Kelvin)>,
    light: Kelvin,
) -> Option<(Kelvin, Kelvin)> {
    let measured = cast.mired_shift?;
    let gains = [cast.gains.red, cast.gains.green, cast.gains.blue].map(Ratio::get);
    let otherwise = seen_by.and_then(|(matrix, measured_in)| {
        let shift = |of: Kelvin| shift_of(of, gains, &matrix.xyz_to_camera);
        Some(shift(light)? - shift(measured_in)?)
    });
    let shift = measured.value + otherwise.unwrap_or(Mired::new(0.0));
    let through = |shift: Mired| (light.mired() + shift).kelvin().get();
    let value = through(shift);
    let u95 = (through(shift - measured.u95) - through(shift + measured.u95)).abs() / 2.0;
    let usable = value.is_finite() && value > 0.0;
    usable.then(|| (Kelvin::new(value), Kelvin::new(u95)))
}

/// "5250 K".
#[must_use]
pub fn kelvin(kelvin: Kelvin) -> String {
    format!("{} K", stepped(kelvin.get()))
}

/// "5250 ± 100 K".
#[must_use]
pub fn kelvin_with_u95((value, u95): (Kelvin, Kelvin)) -> String {
    let u95 = stepped(u95.get().max(KELVIN_STEP));
    format!("{}\u{a0}\u{b1}\u{a0}{u95} K", stepped(value.get()))
}

fn stepped(kelvin: f64) -> String {
    fixed((kelvin / KELVIN_STEP).round() * KELVIN_STEP, 0)
}

/// Which way to move the tint: "a little to magenta"; nothing where the shift is within its
/// uncertainty and the cast is called neither green nor magenta.
#[must_use]
pub fn tint(cast: &Cast) -> Option<&'static str> {
    let shift = cast.duv_shift?;
    let worth = DUV_WORTH.max(shift.u95.get());
    let shift = shift.value.get();
    let named = words(cast).split_whitespace().any(|word| word == "green" || word == "magenta");
    (named || shift.abs() >= worth).then_some(if shift > 0.0 {
        "a little to magenta"
    } else {
        "a little to green"
    })
}

/// " When editing daylight of 5500 K set 5250 K, tint a little to magenta."; empty where no shift is
/// known.
#[must_use]
pub fn to_set(cast: &Cast, seen_by: Option<(&MatrixRecord, Kelvin)>) -> String {
    let Some((behind, _)) = kelvin_behind(cast, seen_by, DAYLIGHT) else { return String::new() };
    let when = format!(" When editing daylight of {}", kelvin(DAYLIGHT));
    match (is_as_it_was(behind, DAYLIGHT), tint(cast)) {
        (false, tint) => {
            let tint = tint.map_or(String::new(), |tint| format!(", tint {tint}"));
            format!("{when} set {}{tint}.", kelvin(behind))
        }
        (true, Some(tint)) => format!("{when} keep its kelvin, tint {tint}."),
        (true, None) => format!("{when} leave the white balance as it is."),
    }
}

/// Whether the kelvin behind a filter are those of the light, as both are written.
#[must_use]
pub fn is_as_it_was(behind: Kelvin, light: Kelvin) -> bool {
    stepped(behind.get()) == stepped(light.get())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_within_its_uncertainty_is_no_change() {
        assert!(warmth(0.2, 3.0).starts_with("It leaves the light as warm as it was"));
        assert!(warmth(-2.9, 3.0).starts_with("It leaves"));
        assert!(warmth(12.0, 3.0).starts_with("It makes the light warmer by 12"));
        assert!(warmth(-12.0, 3.0).starts_with("It makes the light cooler by 12"));
    }

    fn cast(words: &str, mired: f64, duv: f64) -> Cast {
        serde_json::from_value(serde_json::json!({
            "gains": {"red": 1.0, "green": 1.0, "blue": 1.0},
            "gains_u95": {"red": 0.001, "blue": 0.001},
            "words": words,
            "mired_shift": {"value": mired, "u95": 3.0},
            "duv_shift": {"value": duv, "u95": 0.003},
        }))
        .unwrap()
    }

    /// A million over 5500 and the shift in mired: 1.1 mired more are 5467 K, which are written as
    /// 5450; 0.5 are 5485, written as 5500.
    #[test]
    fn what_stays_is_not_to_be_set() {
        let set = |words, mired, duv| to_set(&cast(words, mired, duv), None);
        let daylight = " When editing daylight of 5500 K";
        assert_eq!(set("neutral", 1.1, 0.0), format!("{daylight} set 5450 K."));
        let leave = format!("{daylight} leave the white balance as it is.");
        assert_eq!(set("neutral", 0.5, 0.0), leave);
        let keep = format!("{daylight} keep its kelvin, tint a little to magenta.");
        assert_eq!(set("a little green", 0.5, 0.004), keep);
        // What is called green is to be moved to magenta, however unsure its size is.
        assert_eq!(set("a little green", 0.5, 0.001), keep);
        assert_eq!(
            tint(&cast("a little cool and magenta", 0.0, -0.001)),
            Some("a little to green")
        );
        assert_eq!(tint(&cast("a little warm", 0.0, 0.001)), None);
    }
}
