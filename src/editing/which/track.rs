//! The light of one view as it is followed from frame to frame: level and colour, each with what the
//! filter in use is off by.
//!
//! Kalman's filter ("A new approach to linear filtering and prediction problems", 1960) over two
//! quantities: the light, which wanders, and the filter's own error, which stays as long as the filter.

/// One followed quantity in stops: light and the filter's error, with their covariance.
#[derive(Clone, Copy, Debug)]
pub(super) struct Followed {
    light: f64,
    error: f64,
    light_var: f64,
    error_var: f64,
    both: f64,
}

impl Followed {
    /// From a first sight through a filter known to `u`.
    pub fn seen(light: f64, u: f64) -> Self {
        let var = u * u;
        Self { light, error: 0.0, light_var: var, error_var: var, both: -var }
    }

    /// From what another view knows, to so many stops.
    pub fn guessed(light: f64, doubt: f64, u: f64) -> Self {
        Self { light, error: 0.0, light_var: doubt * doubt, error_var: u * u, both: 0.0 }
    }

    /// How far the light itself is known.
    pub fn light(&self) -> (f64, f64) {
        (self.light, self.light_var.max(0.0).sqrt())
    }

    /// Other filters, known to `u`, are put on; `stays` is the variance of those that were on before and
    /// stay, out of `before`, that of all that was on. What stays keeps its share of the error.
    pub fn changed(mut self, u: f64, before: f64, stays: f64) -> Self {
        let share = if stays > 0.0 && before > 0.0 { (stays / before).min(1.0) } else { 0.0 };
        self.error *= share;
        self.both *= share;
        // The share is known as well as the whole, but for what the rest may hide.
        let kept = share * share * self.error_var + stays * (1.0 - share);
        self.error_var = kept + (u * u - stays).max(0.0);
        self
    }

    /// The filter stays; its error wanders a little.
    pub fn kept(mut self, wanders: f64) -> Self {
        self.error_var += wanders * wanders;
        self
    }

    /// The light moves on by `drift`, to within `doubt`.
    pub fn moved(mut self, drift: f64, doubt: f64) -> Self {
        self.light += drift;
        self.light_var += doubt * doubt;
        self
    }

    /// By how many stops the light has stepped, and the variance of that, if a step of about `step` stops
    /// came before a sight known to `u`; a step of any size where nothing is seen.
    pub fn stepped(&self, seen: f64, u: f64, step: f64) -> (f64, f64) {
        let step = step * step;
        if !seen.is_finite() {
            return (0.0, step);
        }
        let off = seen - self.light - self.error;
        let own = self.light_var + 2.0 * self.both + self.error_var + u * u;
        let share = step / (own + step);
        (off * share, own * share)
    }

    /// The light of another time; the filter's error stays what it is.
    pub fn lit_as(mut self, other: Self) -> Self {
        self.light = other.light;
        self.light_var = other.light_var;
        self.both = 0.0;
        self
    }

    /// Takes in a sight of light and error together, known to `u`: what is known then, and how
    /// likely the sight was.
    pub fn sighted(mut self, seen: f64, u: f64) -> (Self, f64) {
        let off = seen - self.light - self.error;
        let (to_light, to_error) = (self.light_var + self.both, self.both + self.error_var);
        let var = to_light + to_error + u * u;
        let (of_light, of_error) = (to_light / var, to_error / var);
        self.light += of_light * off;
        self.error += of_error * off;
        self.light_var -= of_light * to_light;
        self.error_var -= of_error * to_error;
        self.both -= of_light * to_error;
        let density = (-0.5 * off * off / var).exp() / (std::f64::consts::TAU * var).sqrt();
        (self, density)
    }

    /// What the density of that sight is at most, where it is at most `highest` at its middle: e^q is at
    /// least (1 + q/32)^32, of which no exponential need be taken.
    pub fn sighted_at_most(&self, seen: f64, u: f64, highest: f64) -> f64 {
        let off = seen - self.light - self.error;
        let var = self.light_var + 2.0 * self.both + self.error_var + u * u;
        highest / (1.0 + off * off / (2.0 * 32.0 * var)).powi(32)
    }

    /// Two accounts as one with their common mean and spread; `share` is that of the other.
    pub fn mixed(self, other: Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a * (1.0 - share) + b * share;
        let (light, error) = (other.light - self.light, other.error - self.error);
        let apart = share * (1.0 - share);
        Self {
            light: mix(self.light, other.light),
            error: mix(self.error, other.error),
            light_var: mix(self.light_var, other.light_var) + apart * light * light,
            error_var: mix(self.error_var, other.error_var) + apart * error * error,
            both: mix(self.both, other.both) + apart * light * error,
        }
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp)]
mod tests {
    use super::*;

    #[test]
    fn the_error_of_a_filter_stays_with_it_and_leaves_the_light_alone() {
        // Bare at 5, a filter off by 0.2 at 5.2, the same again, bare again: the light never moved.
        let bare = Followed::seen(5.0, 0.0);
        let (through, first) = bare.changed(0.3, 0.0, 0.0).moved(0.0, 0.02).sighted(5.2, 0.02);
        let (through, again) = through.kept(0.0).moved(0.0, 0.02).sighted(5.2, 0.02);
        assert!(again > 5.0 * first, "{first} {again}");
        let (back, light) = through.changed(0.0, 0.09, 0.0).moved(0.0, 0.02).sighted(5.0, 0.02);
        assert!((back.light().0 - 5.0).abs() < 0.02 && light > 1.0, "{back:?}");
    }

    /// A polariser off by 0.3 stays on while a filter of 0.02 goes on over it: what both lose together
    /// is as sure as the one that came.
    #[test]
    fn what_stays_on_keeps_its_error() {
        let bare = Followed::seen(5.0, 0.0);
        let (polarised, _) = bare.changed(0.35, 0.0, 0.0).moved(0.0, 0.02).sighted(5.3, 0.02);
        let over = 0.35f64.hypot(0.02);
        let kept = polarised.changed(over, 0.35 * 0.35, 0.35 * 0.35).moved(0.0, 0.02);
        let anew = polarised.changed(over, 0.35 * 0.35, 0.0).moved(0.0, 0.02);
        let (both, likely) = kept.sighted(5.3, 0.02);
        assert!((both.light().0 - 5.0).abs() < 0.01, "{both:?}");
        assert!(likely > 5.0 * anew.sighted(5.3, 0.02).1, "{likely}");
        // Taken off again, the filter over it leaves the error where it was.
        let (alone, _) = both.changed(0.35, over * over, 0.35 * 0.35).sighted(5.3, 0.02);
        assert!((alone.light().0 - 5.0).abs() < 0.02, "{alone:?}");
    }

    #[test]
    fn no_sight_is_likelier_than_it_is_at_most() {
        let light = Followed::seen(5.0, 0.1).changed(0.3, 0.01, 0.0).moved(0.1, 0.2);
        for seen in [4.0, 5.0, 5.1, 5.5, 7.0, 12.0] {
            let (_, density) = light.sighted(seen, 0.05);
            // A normal density is at most 1 / sqrt(2 pi) over its spread, here at least 0.05.
            let most = light.sighted_at_most(seen, 0.05, 0.398_943 / 0.05);
            assert!(density <= most, "{seen}: {density} {most}");
        }
        assert!(light.sighted_at_most(9.0, 0.05, 1.0) < 1e-3);
    }

    #[test]
    fn a_mixture_has_the_mean_and_spread_of_its_parts() {
        // Two points at 0 and 1, a quarter in the second: mean 1/4, variance 3/16.
        let mixed = Followed::seen(0.0, 0.0).mixed(Followed::seen(1.0, 0.0), 0.25);
        assert_eq!((mixed.light, mixed.light_var), (0.25, 0.1875));
    }
}
