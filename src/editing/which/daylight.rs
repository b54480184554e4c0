//! Colours along the locus of daylight and across it.

/// Where light that becomes cooler goes, red and blue beyond green, as a step of one: the locus of
/// daylight as the filters of a sensor see it, which part the colours a little less than those of sRGB
/// do (from D50 to D75 of CIE 015 by the matrix of IEC 61966-2-1, both from memory: -0.39 stop of red,
/// +0.62 of blue).
const COOLER: [f64; 2] = [-0.6402, 0.7682];

/// Red and blue beyond green as how much cooler that is, and how far off the locus of daylight.
pub(super) fn along_daylight([red, blue]: [f64; 2]) -> [f64; 2] {
    [COOLER[0] * red + COOLER[1] * blue, COOLER[1] * red - COOLER[0] * blue]
}

/// Red and blue beyond green again.
pub(super) fn red_and_blue([cooler, tint]: [f64; 2]) -> [f64; 2] {
    [COOLER[0] * cooler + COOLER[1] * tint, COOLER[1] * cooler - COOLER[0] * tint]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_along_daylight_are_the_same_colours() {
        for colour in [[0.3, -0.2], [-0.05, -0.05], COOLER] {
            let back = red_and_blue(along_daylight(colour));
            (0..2).for_each(|c| assert!((back[c] - colour[c]).abs() < 1e-4, "{back:?}"));
        }
        // Light that becomes cooler has less red and more blue, and no tint.
        let [cooler, tint] = along_daylight(COOLER);
        assert!((cooler - 1.0).abs() < 1e-4 && tint.abs() < 1e-12, "{cooler} {tint}");
    }
}
