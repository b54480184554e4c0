//! How the cast of a variable filter moves as its ring is turned, in plain words.

use super::figures;
use crate::kit::lens::by_strength;
use crate::profile::{Kind, Profile, Setting};
use std::f64::consts::LN_2;

/// One mark's cast.
struct MarkCast<'a> {
    mark: &'a str,
    words: &'a str,
    /// Stops that blue loses more than red, and that red and blue lose more than green.
    warm: f64,
    green: f64,
    /// Expanded uncertainty of the two.
    u95: [f64; 2],
    mired: Option<f64>,
}

impl<'a> MarkCast<'a> {
    fn of(setting: &'a Setting) -> Option<Self> {
        let cast = &setting.cast;
        let (red, blue) = (cast.gains.red.get(), cast.gains.blue.get());
        let (of_red, of_blue) =
            (cast.gains_u95.red.get() / red / LN_2, cast.gains_u95.blue.get() / blue / LN_2);
        let both = of_red.hypot(of_blue);
        Some(Self {
            mark: setting.mark.as_deref()?,
            words: super::cast::words(cast),
            warm: blue.log2() - red.log2(),
            green: f64::midpoint(blue.log2(), red.log2()),
            u95: [both, both / 2.0],
            mired: cast.mired_shift.map(|shift| shift.value.get()),
        })
    }
    /// How far this lies from another one along and across, each in units of its uncertainty.
    fn apart(&self, other: &Self) -> [f64; 2] {
        let doubt = |k: usize| self.u95[k].hypot(other.u95[k]).max(f64::MIN_POSITIVE);
        [(self.warm - other.warm) / doubt(0), (self.green - other.green) / doubt(1)]
    }
}

/// One sentence on a ring of two marks or more.
#[must_use]
pub fn sentence(profile: &Profile) -> Option<String> {
    if profile.filter.kind != Kind::Variable {
        return None;
    }
    let casts: Vec<MarkCast<'_>> =
        by_strength(profile).into_iter().filter_map(MarkCast::of).collect();
    of_marks(&casts)
}

/// From the weakest mark to the one whose cast lies farthest from its cast.
fn of_marks(casts: &[MarkCast<'_>]) -> Option<String> {
    let (first, others) = casts.split_first()?;
    let far = |c: &MarkCast<'_>| c.apart(first).into_iter().map(f64::abs).fold(0.0, f64::max);
    let farthest = others.iter().max_by(|a, b| far(a).total_cmp(&far(b)))?;
    if far(farthest) <= 1.0 {
        return Some(format!(
            "Cast along the ring: {}, the same at every mark within its uncertainty.",
            first.words
        ));
    }
    let most = if others.last().is_some_and(|last| std::ptr::eq(last, farthest)) {
        ""
    } else {
        ", the most of all marks"
    };
    let words = if first.words == farthest.words {
        format!("{} from mark {} to mark {}", first.words, first.mark, farthest.mark)
    } else {
        format!(
            "{} at mark {}, {} at mark {}",
            first.words, first.mark, farthest.words, farthest.mark
        )
    };
    Some(format!(
        "Cast along the ring: {words}, {}{most}. Take each mark's own gains.",
        way(first, farthest)
    ))
}

/// "about 12 mired warmer", "0.03 stop greener".
fn way(first: &MarkCast<'_>, farthest: &MarkCast<'_>) -> String {
    let [along, across] = farthest.apart(first);
    if along.abs() < across.abs() {
        let stops = farthest.green - first.green;
        let way = if stops > 0.0 { "greener" } else { "more magenta" };
        return format!("{} {} {way}", figures::fixed(stops.abs(), 2), figures::unit(stops));
    }
    let way = if along > 0.0 { "warmer" } else { "cooler" };
    match farthest.mired.zip(first.mired).map(|(b, a)| (b - a).abs()) {
        Some(mired) if mired >= 1.0 => format!("about {} mired {way}", figures::fixed(mired, 0)),
        _ => {
            let stops = (farthest.warm - first.warm).abs();
            let unit = figures::unit(stops);
            format!("{} {unit} of blue against red {way}", figures::fixed(stops, 2))
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn cast<'a>(mark: &'a str, words: &'a str, warm: f64, green: f64) -> MarkCast<'a> {
        let mired = Some(100.0 * warm);
        MarkCast { mark, words, warm, green, u95: [0.02, 0.01], mired }
    }

    #[test]
    fn a_cast_that_stays_within_its_doubt_is_one_cast() {
        let marks = [cast("1", "neutral", 0.0, 0.0), cast("2", "neutral", 0.02, 0.005)];
        let text = of_marks(&marks).unwrap();
        assert_eq!(
            text,
            "Cast along the ring: neutral, the same at every mark within its uncertainty."
        );
    }

    #[test]
    fn a_cast_that_moves_is_told_with_both_ends() {
        let marks = [
            cast("1", "neutral", 0.0, 0.0),
            cast("2", "neutral", 0.02, 0.0),
            cast("3", "a little warm", 0.2, 0.01),
        ];
        let text = of_marks(&marks).unwrap();
        assert!(text.contains("neutral at mark 1, a little warm at mark 3"), "{text}");
        assert!(text.contains("about 20 mired warmer. Take"), "{text}");
    }

    #[test]
    fn the_farthest_mark_need_not_be_the_last() {
        let marks = [
            cast("1", "a little green", 0.0, 0.05),
            cast("2", "a little magenta", 0.0, -0.05),
            cast("3", "neutral", 0.0, 0.0),
        ];
        let text = of_marks(&marks).unwrap();
        assert!(text.contains("a little magenta at mark 2"), "{text}");
        assert!(text.contains("0.10 stop more magenta, the most of all marks"), "{text}");
        assert_eq!(of_marks(&marks[..1]), None);
    }
}
