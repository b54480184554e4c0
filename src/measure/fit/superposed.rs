//! What two lights show of the sensor's curve. Two lamps shine on a wall from two sides, each alone and
//! both, so that the share of each changes across the frame. The sensor sees the light of both as the
//! sum of each, whatever the shutter does: what each frame's own time is off by is one factor for all of
//! the frame, and where one lamp shines alone the sum is that lamp's, where both shine alike it is the
//! double. So the frame itself tells how its levels double, and no shutter comes into it.
//!
//! With the levels a and b of each alone, s of both, and the response f in stops above a line at each
//! level, log2 s - log2(a + b) = f(s) - p f(a) - q f(b), to the first order in f, with the shares
//! p = a / (a + b) and q = 1 - p; three times that are off add a constant and a slope along p.
//! (Superposition of fluxes, as photometers are held to their line: CIE S 023 / ISO 19476, from memory.)

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use std::f64::consts::LN_2;

/// One part of the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LitPart {
    /// Counts above black of the one light, the other, and both.
    pub levels: [f64; 3],
    /// Right and down of the middle, in halves of the frame.
    pub at: [f64; 2],
}

/// Two lights at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Superposition {
    /// Parts of the frame.
    pub parts: Vec<LitPart>,
    /// Standard uncertainty of black, counts.
    pub black: f64,
}

/// Nothing is known of what times are off by, nor of how far curtains or a lamp lean: standard deviation,
/// stops.
const ANY: f64 = 1.0;
/// What a place is off by at least, stops: reflections that change, pixels that do not repeat, a response that
/// is taken as straight between levels a stop apart (ours).
const FLOOR: f64 = 2e-4;
/// What lamps and cards send back of each other's light lies otherwise from the middle to the edge, at all times
/// alike: standard deviation in stops (ours: a thousandth of the light at most, of which the even part and what
/// leans are free). It looks as a power of the light does.
const SENT_BACK: f64 = 3e-4;
/// Any response that the places are first held against, standard deviation in stops (ours); what it does
/// not explain is scatter.
const ANY_RESPONSE: f64 = 0.02;
/// Rounds until the scatter settles.
const ROUNDS: usize = 8;

/// What was told of parameters of the response, as the least-squares equations: matrix and right side.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct CurveTold {
    pub matrix: DMatrix<f64>,
    pub right: DVector<f64>,
}

impl CurveTold {
    /// Of all these; `shapes` are the parameters' stops at log2 of a share of full scale, `None` beyond what
    /// they are known for.
    pub fn of(
        all: &[Superposition],
        full_scale: f64,
        shapes: &impl Fn(f64) -> Option<Vec<f64>>,
        parameters: usize,
    ) -> Option<Self> {
        let rows: Vec<LitRow> = all
            .iter()
            .enumerate()
            .flat_map(|(time, one)| {
                let row = |part: &LitPart| LitRow::of(time, part, one.black, full_scale, shapes);
                let of_time: Vec<LitRow> = one.parts.iter().filter_map(row).collect();
                // As many as are free, and some to tell scatter.
                if of_time.len() < 2 * FREE { Vec::new() } else { of_time }
            })
            .collect();
        let n = rows.len();
        let design = DMatrix::from_fn(n, parameters, |i, k| rows[i].bent[k]);
        if n == 0 {
            let matrix = DMatrix::zeros(parameters, parameters);
            return Some(Self { matrix, right: DVector::zeros(parameters) });
        }
        let off = DVector::from_iterator(n, rows.iter().map(|row| row.off));
        let beside = DMatrix::from_fn(n, n, |i, j| rows[i].beside(&rows[j]));
        let known = scatter(&off, &(&beside + any(&design)))?;
        let weighed = covariance(&beside, known)?.solve(&design);
        Some(Self { matrix: design.transpose() * &weighed, right: weighed.transpose() * off })
    }
}

/// One part at one time.
struct LitRow {
    time: usize,
    /// Stops by which both are more than the sum of each.
    off: f64,
    /// What the response's parameters make of that.
    bent: Vec<f64>,
    /// What may be off at each time by itself, standard deviations in stops.
    own: [f64; FREE + 1],
    /// What is off at all times alike, standard deviations in stops.
    common: [f64; 3],
}

impl LitRow {
    fn of(
        time: usize,
        part: &LitPart,
        black: f64,
        full_scale: f64,
        shapes: &impl Fn(f64) -> Option<Vec<f64>>,
    ) -> Option<Self> {
        let [x, y] = part.at;
        Some(Self {
            time,
            off: part.beyond_sum(),
            bent: bent(part, full_scale, shapes)?,
            own: part.free(black),
            common: [x * x, x * y, y * y].map(|shape| SENT_BACK * shape),
        })
    }

    /// Covariance of what both are off by, but for their scatter.
    fn beside(&self, other: &Self) -> f64 {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let own = if self.time == other.time { dot(&self.own, &other.own) } else { 0.0 };
        own + dot(&self.common, &other.common)
    }
}

fn any(design: &DMatrix<f64>) -> DMatrix<f64> {
    design * design.transpose() * (ANY_RESPONSE * ANY_RESPONSE)
}

fn covariance(beside: &DMatrix<f64>, scatter: f64) -> Option<Cholesky<f64, Dyn>> {
    let n = beside.nrows();
    Cholesky::new(beside + DMatrix::from_diagonal_element(n, n, scatter * scatter))
}

/// Scatter of the places, stops. What is left of each beside all that is explained is the scatter squared times
/// the weighed value, and its squares come to the scatter squared times the places that explaining has left,
/// the scatter squared times the trace of the weights (S. R. Searle, Variance Components, 1992, from memory).
fn scatter(off: &DVector<f64>, beside: &DMatrix<f64>) -> Option<f64> {
    let mut scatter = FLOOR;
    for _ in 0..ROUNDS {
        let whole = covariance(beside, scatter)?;
        let excess = whole.solve(off).norm_squared() / whole.inverse().trace();
        scatter = (scatter * excess.sqrt()).max(FLOOR);
    }
    Some(scatter)
}

/// Free beside the response: a constant, the one light's share, right and down.
const FREE: usize = 4;

impl LitPart {
    fn share(&self) -> f64 {
        self.levels[0] / (self.levels[0] + self.levels[1])
    }

    /// log2 of both over the sum of each.
    fn beyond_sum(&self) -> f64 {
        let [one, other, both] = self.levels;
        (both / (one + other)).log2()
    }

    /// What is free, in standard deviations, and black: one count more in all adds it once to the sum and
    /// twice to the parts.
    fn free(&self, black: f64) -> [f64; FREE + 1] {
        let [right, down] = self.at;
        let darker = black / (self.levels[2] * LN_2);
        [ANY, ANY * self.share(), ANY * right, ANY * down, darker]
    }
}

/// What the response's parameters make of a place.
fn bent(
    place: &LitPart,
    full_scale: f64,
    shapes: &impl Fn(f64) -> Option<Vec<f64>>,
) -> Option<Vec<f64>> {
    let at = |level: f64| shapes((level / full_scale).log2());
    let [one, other, both] = place.levels;
    let p = place.share();
    let (one, other, both) = (at(one)?, at(other)?, at(both)?);
    Some(both.iter().zip(one).zip(other).map(|((s, a), b)| s - p * a - (1.0 - p) * b).collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const FULL_SCALE: f64 = 16_000.0;

    /// Two lamps whose light falls off with the distance squared, each beyond a side of the frame, seen by a
    /// sensor whose levels are the light to a power; each light's time is off by another factor.
    fn lit(power: f64, noise: f64) -> Superposition {
        let seen = |light: f64, time: f64| {
            let share = time * light / 4.0;
            FULL_SCALE * share * share.powf(power)
        };
        let parts = (0..24).map(|i| {
            let at = [(i % 6) as f64 / 2.5 - 1.0, (i / 6) as f64 / 1.5 - 1.0];
            let lamp = |x: f64| (1.4 + (at[0] - x).powi(2) + 0.4 * at[1].powi(2)).powf(-1.5);
            let [one, other] = [lamp(-1.2), lamp(1.2)];
            let off = 1.0 + noise * (12.9898 * f64::from(i)).sin();
            let levels = [seen(one, 1.003), seen(other, 0.996), off * seen(one + other, 1.001)];
            LitPart { levels, at }
        });
        Superposition { parts: parts.collect(), black: 0.1 }
    }

    fn slope(all: &[Superposition]) -> (f64, f64) {
        let told = CurveTold::of(all, FULL_SCALE, &|x| Some(vec![x]), 1).unwrap();
        (told.right[0] / told.matrix[(0, 0)], told.matrix[(0, 0)].powf(-0.5))
    }

    /// A power p of the light is p stops more for each doubling.
    #[test]
    fn a_power_is_told_whatever_each_time_is_off_by() {
        for power in [0.0, 0.004, -0.01] {
            let (found, u) = slope(&[lit(power, 0.0)]);
            // By hand: the mean of -p log2 p over the places moves by some tenth of a stop beside a slope
            // and a constant, and 24 places are good to 0.0002 each.
            assert!((2e-4..1.2e-3).contains(&u), "{u}");
            // To the first order: shares move by the slope times what one light is brighter, 2 stops, and by
            // times that are 0.01 stop apart.
            assert!((found - power).abs() < 0.02 * power.abs() + 3e-5, "{found} for {power}");
        }
    }

    #[test]
    fn places_that_scatter_tell_it_less_well_and_say_so() {
        let (found, u) = slope(&[lit(0.004, 0.001)]);
        assert!((found - 0.004).abs() < 2.0 * u && u > 1e-3, "{found} +- {u}");
    }

    /// Light that is sent back otherwise across the frame is the same at all times, however many they are, and
    /// looks like a power; by a part in ten thousand at the edge it stays inside.
    #[test]
    fn light_that_is_sent_back_is_counted_once() {
        let off = |sent: f64| {
            let mut one = lit(0.0, 0.0);
            for part in &mut one.parts {
                part.levels[2] *= 1.0 + sent * part.at[0].powi(2);
            }
            slope(&vec![one; 4])
        };
        let (_, of_one) = slope(&[lit(0.0, 0.0)]);
        for sent in [-2e-4, -1e-4, 1e-4, 2e-4] {
            let (found, u) = off(sent);
            assert!(found.abs() < 2.0 * u, "{sent}: {found} +- {u}");
            assert!(u > 0.6 * of_one, "four times know {u}, one {of_one}");
        }
    }

    /// Lamps that light the frame alike tell nothing, however bright.
    #[test]
    fn lights_of_one_pattern_tell_nothing() {
        let mut alike = lit(0.004, 0.0);
        for place in &mut alike.parts {
            place.levels = [4000.0, 4000.0, 8000.0];
        }
        let (_, u) = slope(&[alike]);
        assert!(u > 0.5, "{u}");
    }
}
