//! Times that seem to stretch along the dial. A response that is a power of the light, or bends in a
//! way that is partly one, makes levels rise by the same share with each doubling of the time, which
//! no frame of unknown light tells from longer times. The times themselves do not stretch: one clock
//! counts them, and what each is off by is its own, beside some microseconds of the curtains that all
//! share. So a slope over many of them is the sensor's, as far as the scatter of the times about it
//! tells it from chance. The rule of the dial is judged along with it, since what a dial rounds has a
//! slope as well. Where two lamps tell the sensor's power by themselves, both are weighed together, and
//! so is that either may be off where they contradict each other.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use std::f64::consts::LN_2;

/// Scatter of a body's times about their rule, standard deviations in stops, each as likely (ours).
const SCATTERS: [f64; 5] = [0.001, 0.003, 0.008, 0.02, 0.05];
/// Slope of a sensor's response in stops per stop of light, standard deviations with their shares
/// (ours): departures from a line of up to a percent over five stops, and seldom worse.
const SLOPES: [(f64, f64); 4] = [(0.0003, 0.35), (0.001, 0.35), (0.003, 0.25), (0.01, 0.05)];
/// Nothing is known of the factor common to all times: standard deviation, stops.
const ANY: f64 = 16.0;
/// Seconds by which curtains open all times too long or too short, standard deviations with their
/// shares (ours: a tenth of a stop at 1/1000 s is seen, and more is not rare).
const CURTAINS_S: [(f64, f64); 3] = [(0.0, 0.5), (3e-5, 0.25), (1e-4, 0.25)];
/// How sums of lights go with the times, with the share of each and the standard deviation in stops per stop of what is
/// off (ours: a wall that sends some thousandths of the light back to the lamps, and seldom a hundredth; times that no
/// clock counts).
const ACCORDS: [(Accord, f64); 4] = [
    (Accord::Both, 0.9),
    (Accord::SumsOff(0.004), 0.05),
    (Accord::SumsOff(0.02), 0.01),
    (Accord::TimesStretch(0.004), 0.04),
];
/// What a time that no clock alone makes is off by besides, standard deviation in stops (ours).
const UNCLOCKED: f64 = 0.2;

/// What of the two is to be believed.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Accord {
    Both,
    /// The wall sends light of the one lamp back to the other, or something changed between the sums.
    SumsOff(f64),
    /// Each is off by as much more as it is longer.
    TimesStretch(f64),
}

/// One distinct time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimePoint {
    /// log2 of the seconds.
    pub log_time: f64,
    /// Measured deviation from powers of two, stops.
    pub off: f64,
    /// By how much what the dial shows lies above its power of two, stops.
    pub above: f64,
    /// Whether the clock alone makes it: not so short that curtains count.
    pub clocked: bool,
}

/// What two lamps tell of the sensor's slope, which is taken off the measured deviations already.
#[derive(Clone, Debug, PartialEq)]
pub struct SlopeTold {
    /// Stops per stop.
    pub slope: f64,
    /// Variance of that, as found where it may be anything up to `believed`.
    pub variance: f64,
    /// Standard deviation that was believed before.
    pub believed: f64,
    /// Covariance with each measured deviation.
    pub with: Vec<f64>,
}

impl SlopeTold {
    /// The same where the sums are off by this standard deviation besides, stops per stop; the measured deviations hang
    /// on that as on what is not known of the slope anyway.
    fn doubted(&self, deviation: f64, covariance: &mut DMatrix<f64>) -> Self {
        let more = deviation * deviation / self.variance;
        let with = DVector::from_column_slice(&self.with);
        *covariance += &with * with.transpose() * (more / self.variance);
        Self {
            variance: self.variance * (1.0 + more),
            with: self.with.iter().map(|with| with * (1.0 + more)).collect(),
            ..*self
        }
    }

    /// Logarithm of how well a slope of this standard deviation, and no wider one, goes with it; the
    /// deviations and their covariance move along (a product of normal densities).
    fn narrowed(&self, deviation: f64, y: &mut DVector<f64>, covariance: &mut DMatrix<f64>) -> f64 {
        // A narrower belief is the wider one with another that is centred at none.
        let beside = 1.0 / (deviation.powi(-2) - self.believed.powi(-2));
        let whole = self.variance + beside;
        let with = DVector::from_column_slice(&self.with);
        *y -= &with * (self.slope / whole);
        *covariance -= &with * with.transpose() / whole;
        let share = self.believed / deviation * (beside / whole).sqrt();
        share.ln() - 0.5 * self.slope * self.slope / whole
    }
}

/// What the times themselves are off by.
#[derive(Clone, Debug, PartialEq)]
pub struct Own {
    /// From powers of two, stops, but for a factor common to all.
    pub off: Vec<f64>,
    /// Squared stops.
    pub covariance: DMatrix<f64>,
    /// Probability that the dial shows true times and not powers of two, both as likely beforehand.
    pub as_shown: f64,
    /// Probability that sums of lights contradict the times.
    pub contradicted: f64,
}

/// One whole account of the times.
struct Account {
    log_weight: f64,
    as_shown: bool,
    accord: Accord,
    off: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// Parts the times' own deviations from what the sensor makes of them, averaged over what scatter,
/// curtains, slope and rule may be (total variance, JCGM 100:2008, 4.3 for a discrete unknown);
/// `covariance` is that of the measured deviations, squared stops. `None` where the equations cannot
/// be solved.
#[must_use]
pub fn own(
    points: &[TimePoint],
    covariance: &DMatrix<f64>,
    told: Option<&SlopeTold>,
) -> Option<Own> {
    let n = points.len();
    let found = accounts(points, covariance, told)?;
    let best = found.iter().map(|f| f.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = found.iter().map(|f| (f.log_weight - best).exp()).sum();
    let weight = |f: &Account| (f.log_weight - best).exp() / total;
    let mut mean = DVector::zeros(n);
    found.iter().for_each(|f| mean += &f.off * weight(f));
    let mut all = DMatrix::zeros(n, n);
    for f in &found {
        let apart = &f.off - &mean;
        all += (&f.covariance + &apart * apart.transpose()) * weight(f);
    }
    // A sum of shares may exceed one by its rounding.
    let share = |of: &dyn Fn(&Account) -> bool| {
        found.iter().filter(|f| of(f)).map(weight).sum::<f64>().min(1.0)
    };
    let finite = mean.iter().chain(all.iter()).all(|v| v.is_finite());
    finite.then(|| Own {
        off: mean.iter().copied().collect(),
        covariance: all,
        as_shown: share(&|f| f.as_shown),
        contradicted: share(&|f| f.accord != Accord::Both),
    })
}

/// What shutter and sums may be.
#[derive(Clone, Copy)]
struct Supposed {
    scatter: f64,
    curtains: f64,
    accord: Accord,
    /// Logarithm of how likely that is beforehand.
    log_share: f64,
}

fn suppositions(told: Option<&SlopeTold>) -> Vec<Supposed> {
    // Without sums there is nothing that times could go against.
    let accords = if told.is_some() { &ACCORDS[..] } else { &[(Accord::Both, 1.0)] };
    let mut all = Vec::new();
    for scatter in SCATTERS {
        for (curtains, curtains_share) in CURTAINS_S {
            all.extend(accords.iter().map(|(accord, share)| Supposed {
                scatter,
                curtains,
                accord: *accord,
                log_share: f64::ln(curtains_share * share),
            }));
        }
    }
    all
}

impl Supposed {
    /// Covariance of what the times are off by themselves, squared stops.
    fn prior(&self, points: &[TimePoint]) -> DMatrix<f64> {
        let n = points.len();
        let x = along(points);
        // Stops by which a second more lengthens each time.
        let longer: Vec<f64> = points.iter().map(|p| (-p.log_time).exp2() / LN_2).collect();
        let stretch = match self.accord {
            Accord::TimesStretch(by) => by,
            _ => 0.0,
        };
        DMatrix::from_fn(n, n, |i, j| {
            let clock = if points[i].clocked { 0.0 } else { UNCLOCKED };
            let each = if i == j { self.scatter.hypot(clock).powi(2) } else { 0.0 };
            let shared = self.curtains.powi(2) * longer[i] * longer[j];
            each + shared + stretch * stretch * x[i] * x[j]
        })
    }
}

/// Stops of each time from the middle of all.
fn along(points: &[TimePoint]) -> Vec<f64> {
    let middle = points.iter().map(|p| p.log_time).sum::<f64>() / points.len().max(1) as f64;
    points.iter().map(|p| p.log_time - middle).collect()
}

fn accounts(
    points: &[TimePoint],
    covariance: &DMatrix<f64>,
    told: Option<&SlopeTold>,
) -> Option<Vec<Account>> {
    let n = points.len();
    let x = along(points);
    let measured = DVector::from_iterator(n, points.iter().map(|p| p.off));
    let above = DVector::from_iterator(n, points.iter().map(|p| p.above));
    let mut found = Vec::new();
    for supposed in suppositions(told) {
        let prior = supposed.prior(points);
        for (slope, share) in SLOPES {
            let (mut measured, mut covariance) = (measured.clone(), covariance.clone());
            let told = told.map(|told| match supposed.accord {
                Accord::SumsOff(by) => told.doubted(by, &mut covariance),
                _ => told.clone(),
            });
            let own_slope = if told.is_some() { 0.0 } else { slope };
            let fits = told.map_or(0.0, |t| t.narrowed(slope, &mut measured, &mut covariance));
            let beside =
                DMatrix::from_fn(n, n, |i, j| own_slope * own_slope * x[i] * x[j] + ANY * ANY);
            let whole = Cholesky::<f64, Dyn>::new(covariance + beside + &prior)?;
            // The mean and the covariance of one of two normal parts, their sum being seen.
            let gain = &prior * whole.inverse();
            let log_size: f64 = 2.0 * whole.l().diagonal().map(f64::ln).sum();
            let left = &prior - &gain * &prior;
            for as_shown in [false, true] {
                let rule = if as_shown { above.clone() } else { DVector::zeros(n) };
                let y = &measured - &rule;
                let unlikely = y.dot(&whole.solve(&y)) + log_size;
                found.push(Account {
                    log_weight: share.ln() + supposed.log_share + fits - 0.5 * unlikely,
                    as_shown,
                    accord: supposed.accord,
                    off: &gain * &y + rule,
                    covariance: left.clone(),
                });
            }
        }
    }
    Some(found)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const NOISE: f64 = 0.0005;

    /// Deviations of so many stops that go up and down without a slope of their own, seen through a
    /// sensor that has one; by how far the outer two come out apart, less what was planted, and its u.
    fn ends(n: usize, slope: f64, scatter: f64) -> (f64, f64) {
        let turn = [1.0, -1.0, -1.0, 1.0];
        let planted = |i: usize| scatter * turn[i % 4];
        let point = |i: usize| TimePoint {
            log_time: i as f64 / 3.0,
            off: planted(i) + slope * i as f64 / 3.0,
            above: 0.0,
            clocked: true,
        };
        let points: Vec<TimePoint> = (0..n).map(point).collect();
        let measured = DMatrix::from_diagonal_element(n, n, NOISE * NOISE);
        let own = own(&points, &measured, None).unwrap();
        let c = &own.covariance;
        let u = (c[(0, 0)] + c[(n - 1, n - 1)] - 2.0 * c[(0, n - 1)]).sqrt();
        (own.off[n - 1] - own.off[0] - (planted(n - 1) - planted(0)), u)
    }

    #[test]
    fn a_slope_that_stands_out_of_the_scatter_is_the_sensor_s() {
        // 0.004 a stop over 13 stops, which is 0.052.
        let (off, u) = ends(40, 0.004, 0.001);
        assert!(off.abs() < 0.003 && u < 0.003, "{off} +- {u}");
    }

    #[test]
    fn a_slope_that_does_not_is_in_the_doubt() {
        // Of 40 times in thirds with 0.02 each a slope is known to 0.02 / (40^0.5 x 3.85) = 0.0008 a
        // stop at best, 0.011 over 13 stops; a sensor is likely to have less.
        let (off, u) = ends(40, 0.0, 0.02);
        assert!(off.abs() < u && (0.004..0.013).contains(&u), "{off} +- {u}");
    }

    #[test]
    fn few_times_leave_the_slope_to_what_sensors_are_like() {
        // By hand: 0.35 x 0.0003^2 + 0.35 x 0.001^2 + 0.25 x 0.003^2 + 0.05 x 0.01^2 is 0.0028^2 a stop,
        // and three times lie two thirds of a stop apart.
        let (_, u) = ends(3, 0.0, 0.05);
        let expected = f64::hypot(0.0028 * 2.0 / 3.0, 2_f64.sqrt() * NOISE);
        assert!((u - expected).abs() < 0.2 * expected, "{u} for {expected}");
    }

    /// Times from 1/60 to 15 s in full stops on either rule, and how the dial rounds them (log2 of its
    /// number over the power of two, by hand: 1/60 against 1/64, 15 s against 16 s).
    const ABOVE: [f64; 11] = [0.0931, 0.0931, 0.0931, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.0931];

    fn dial(planted: impl Fn(usize, f64) -> f64) -> Own {
        let point = |(i, above): (usize, &f64)| TimePoint {
            log_time: i as f64 - 6.0,
            off: planted(i, *above),
            above: *above,
            clocked: true,
        };
        let points: Vec<TimePoint> = ABOVE.iter().enumerate().map(point).collect();
        own(&points, &DMatrix::from_diagonal_element(11, 11, NOISE * NOISE), None).unwrap()
    }

    #[test]
    fn times_on_either_rule_are_told_and_none_are_not() {
        assert!(dial(|_, _| 0.03).as_shown < 0.01);
        assert!(dial(|_, above| 0.03 + above).as_shown > 0.99);
        let few = TimePoint { log_time: 0.0, off: 0.01, above: 0.0, clocked: true };
        let few = [few, TimePoint { log_time: 1.0, ..few }];
        let own = own(&few, &DMatrix::from_diagonal_element(2, 2, 1e-5), None).unwrap();
        assert!((own.as_shown - 0.5).abs() < 1e-9, "{}", own.as_shown);
    }

    /// What a dial rounds falls along the dial, and so do times that a sensor bends: one is not taken
    /// for the other.
    #[test]
    fn a_slope_is_not_taken_for_a_rule() {
        let turn = [0.008, -0.006, -0.01, 0.009];
        let own = dial(|i, _| turn[i % 4] - 0.012 * i as f64);
        assert!(own.as_shown < 0.05, "{}", own.as_shown);
        let off = own.off[10] - own.off[0] - (turn[2] - turn[0]);
        let c = &own.covariance;
        let u = (c[(0, 0)] + c[(10, 10)] - 2.0 * c[(0, 10)]).sqrt();
        assert!(off.abs() < 2.0 * u && off.abs() < 0.05, "{off} +- {u}");
    }

    /// Curtains that open every time 80 microseconds too long: at 1/125 s that is
    /// log2(1 + 125 x 80e-6) = 0.0144 stop, and at 15 s nothing.
    #[test]
    fn what_the_curtains_add_is_the_shutter_s_and_no_slope() {
        let n = 33;
        let turn = [0.002, -0.002, -0.001, 0.001];
        let seconds = |i: usize| (i as f64 / 3.0 - 7.0).exp2();
        let planted = |i: usize| turn[i % 4] + (1.0 + 80e-6 / seconds(i)).log2();
        let point = |i: usize| TimePoint {
            log_time: i as f64 / 3.0 - 7.0,
            off: planted(i),
            above: 0.0,
            clocked: true,
        };
        let points: Vec<TimePoint> = (0..n).map(point).collect();
        let own = own(&points, &DMatrix::from_diagonal_element(n, n, NOISE * NOISE), None).unwrap();
        let off = own.off[0] - own.off[n - 1] - (planted(0) - planted(n - 1));
        assert!(off.abs() < 0.004, "{off}");
    }

    /// Forty times in thirds that scatter and stretch, through a sensor of this slope that sums of lights tell to
    /// 0.0003 and miss by so much: by how far the outer two come out apart, less what was planted, its u, and how
    /// likely a contradiction is.
    fn told(scatter: f64, stretch: f64, sensor: f64, sums_off: f64) -> (f64, f64, f64) {
        let (n, u_told, believed) = (40, 0.0003, 0.02);
        let x = |i: usize| i as f64 / 3.0;
        let planted = |i: usize| scatter * [1.0, -1.0, -1.0, 1.0][i % 4] + stretch * x(i);
        let point = |i: usize| TimePoint {
            log_time: x(i),
            off: planted(i) - sums_off * x(i),
            above: 0.0,
            clocked: true,
        };
        let points: Vec<TimePoint> = (0..n).map(point).collect();
        let variance = u_told * u_told;
        let measured = DMatrix::from_fn(n, n, |i, j| {
            let own = if i == j { NOISE * NOISE } else { 0.0 };
            own + variance * x(i) * x(j)
        });
        let with = (0..n).map(|i| -variance * x(i)).collect();
        let told = SlopeTold { slope: sensor + sums_off, variance, believed, with };
        let found = own(&points, &measured, Some(&told)).unwrap();
        let c = &found.covariance;
        let u = (c[(0, 0)] + c[(n - 1, n - 1)] - 2.0 * c[(0, n - 1)]).sqrt();
        let off = found.off[n - 1] - found.off[0] - (planted(n - 1) - planted(0));
        (off, u, found.contradicted)
    }

    /// Times that scatter by 0.02 leave a slope of 0.004 a stop to chance; sums of lights that tell it to
    /// 0.0003, taken off the times, do not: 13 stops then lie 0.0039 apart, and the slope is not believed
    /// away by what sensors are like.
    #[test]
    fn a_slope_that_sums_of_lights_tell_is_known_whatever_the_scatter() {
        // The sums err by one standard uncertainty. By hand: 0.94 x 0.0039^2, and 0.06 x 0.0104^2 where sums are
        // off and the scatter tells the slope, to 0.02 / (40^0.5 x 3.85) a stop, are 0.0046^2.
        let (off, u, _) = told(0.02, 0.0, 0.004, 0.0003);
        assert!((0.002..0.0048).contains(&u) && off.abs() < 2.0 * u, "{off} +- {u}");
    }

    /// Of a good shutter the times tell the slope as well; which of the two is off, nothing tells for certain.
    #[test]
    fn sums_of_lights_that_contradict_the_times_leave_both_in_doubt() {
        let (off, u, contradicted) = told(0.003, 0.0, 0.004, 0.0003);
        assert!(
            contradicted < 0.2 && off.abs() < 2.0 * u && u < 0.004,
            "{off} +- {u}, {contradicted}"
        );
        for (stretch, sums_off) in [(0.006, 0.0), (-0.006, 0.0), (0.0, 0.006), (0.0, -0.006)] {
            let (off, u, contradicted) = told(0.003, stretch, 0.0, sums_off);
            assert!(contradicted > 0.99, "{contradicted}");
            // 0.006 over 13 stops is 0.078; that a sensor is a line without much of a slope speaks as well.
            assert!(off.abs() < 2.0 * u && (0.004..0.08).contains(&u), "{off} +- {u}");
        }
    }
}
