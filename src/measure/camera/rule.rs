//! Which rule a body's dial follows, as its true times show.

/// Scatter of a body's times about its rule, standard deviations in stops, each as likely (ours).
const SCATTERS: [f64; 4] = [0.003, 0.008, 0.02, 0.05];

/// Probability that a dial shows true times and not powers of two, both as likely beforehand: each
/// time's deviation from powers of two (stops), its variance (squared stops), and by how much the
/// shown time lies above its power of two. A factor common to all times is free, since a reference
/// has one of its own.
#[must_use]
pub fn as_shown(times: &[(f64, f64, f64)]) -> f64 {
    let evidence =
        |shown: bool| SCATTERS.iter().map(|s| log_likelihood(times, *s, shown).exp()).sum::<f64>();
    let best = SCATTERS
        .iter()
        .flat_map(|s| [log_likelihood(times, *s, true), log_likelihood(times, *s, false)])
        .fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() || times.len() < 2 {
        return 0.5;
    }
    let (a, b) = if best > -600.0 {
        (evidence(true), evidence(false))
    } else {
        let sure = |shown| log_likelihood(times, SCATTERS[SCATTERS.len() - 1], shown);
        let most = sure(true).max(sure(false));
        ((sure(true) - most).exp(), (sure(false) - most).exp())
    };
    a / (a + b)
}

/// Normal likelihood with the common factor integrated out.
fn log_likelihood(times: &[(f64, f64, f64)], scatter: f64, shown: bool) -> f64 {
    let (mut weight, mut first, mut square, mut determinant) = (0.0, 0.0, 0.0, 0.0);
    for (deviation, variance, above) in times {
        let apart = deviation - if shown { *above } else { 0.0 };
        let w = 1.0 / (variance + scatter * scatter);
        weight += w;
        first += w * apart;
        square += w * apart * apart;
        determinant -= w.ln();
    }
    -0.5 * (square - first * first / weight + determinant + weight.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// log2 of the dial's number over its power of two, from 1/60 to 30 s in full stops (by hand
    /// from the markings: 1/60 against 1/64, 15 s against 16 s and so on).
    const ABOVE: [f64; 12] =
        [0.0931, 0.0931, 0.0931, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.0931, -0.0931];

    #[test]
    fn times_on_either_rule_are_told_and_none_are_not() {
        let on = |k: f64| -> Vec<(f64, f64, f64)> {
            ABOVE.iter().map(|a| (0.03 + k * a, 1e-6, *a)).collect()
        };
        assert!(as_shown(&on(0.0)) < 0.01 && as_shown(&on(1.0)) > 0.99);
        let without: Vec<(f64, f64, f64)> = (0..6).map(|_| (0.01, 1e-5, 0.0)).collect();
        assert!((as_shown(&without) - 0.5).abs() < 1e-9);
        assert!((as_shown(&[]) - 0.5).abs() < 1e-9);
    }
}
