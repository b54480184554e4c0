//! The joint fit: all good frames of a shoot, all settings, all channels, by generalised least
//! squares with priors.
//!
//! Model, in stops, for frame i and channel c:
//!
//! y_ic = a_c + d tau_i - S_sc + o_t + g_iso + g_aperture + b_c / (m_ic ln 2) + e_ic
//!
//! with y the log2 of level over exposure, tau the middle of the exposure, d the drift of the light,
//! o the offset of each distinct shutter time, g the gain of another ISO or aperture, b the error
//! of the black level in counts. a and S are free; d, o, g and b carry priors of mean zero. e holds
//! photon and read noise, the random walk of the light and what repeats show beyond both.
//!
//! With A the design, V the covariance of e and P that of the priors, C = (A' V^-1 A + P^-1)^-1 is
//! the covariance of the estimate; it splits into a random part C A' V^-1 A C, scaled by
//! (nu0 + chi^2) / (nu0 + nu), and parts C P_k^-1 C common to all frames, which are not scaled.

mod scatter;
mod solve;

use super::strength::{BudgetPart, ChannelStrengths};
use nalgebra::{Cholesky, DMatrix, DVector};
use scatter::{extra_scatter, random_parts};

/// Prior standard uncertainty of the light's drift, stops per minute (ours).
pub const DRIFT_PRIOR: f64 = 0.01;
/// Random walk of the light, stops per square root of a minute (ours).
pub const WALK: f64 = 0.003;
/// Standard uncertainty of the gain between two ISO settings or apertures, stops (ours).
pub const GAIN_PRIOR: f64 = 0.1;

/// One channel of one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelReading {
    /// log2(level) - log2(t ISO / N^2), stops.
    pub y: f64,
    /// Photon and read noise of it, stops.
    pub noise: f64,
    /// Level above black, counts.
    pub level: f64,
}

/// One frame as the fit sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Setting, `None` for bare.
    pub setting: Option<usize>,
    /// Run, for the scatter of repeats.
    pub run: usize,
    /// Middle of the exposure, minutes from the first frame.
    pub minutes: f64,
    /// Which distinct shutter time.
    pub time: usize,
    /// Which distinct ISO; 0 is the bare frames' own.
    pub iso: usize,
    /// Which distinct aperture; 0 is the bare frames' own.
    pub aperture: usize,
    /// Which black level (its source).
    pub black: usize,
    /// Red, green, blue; `None` where clipped.
    pub channels: [Option<ChannelReading>; 3],
}

/// What is believed before the frames are looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Beliefs {
    /// Standard uncertainty of each distinct shutter time's offset, stops.
    pub shutter: Vec<f64>,
    /// Standard uncertainty of each black level, counts.
    pub black: Vec<f64>,
    /// Whether capture times are known, so that drift can be fitted.
    pub drift: bool,
}

/// What the fit found.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Per setting.
    pub settings: Vec<ChannelStrengths>,
    /// log2 of level per unit exposure of the bare light, per channel.
    pub bare: [f64; 3],
    /// Drift of the light, stops per minute.
    pub drift: f64,
    /// Scale of the random part (variance).
    pub scale: f64,
    /// Scatter of one frame beyond noise and walk, stops.
    pub scatter: f64,
    /// Parts of the uncertainty of the first setting's green strength.
    pub budget: Vec<BudgetPart>,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// A channel has no bare or no filtered reading at all.
    #[error("a channel has no usable bare or filtered reading")]
    NothingToCompare,
    /// The equations cannot be solved.
    #[error("the equations of the joint fit cannot be solved")]
    Singular,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Group {
    Free,
    Drift,
    Shutter,
    Gain,
    Black,
}

struct Problem {
    design: DMatrix<f64>,
    y: DVector<f64>,
    prior: Vec<(Group, f64)>,
    row_of: Vec<(usize, usize)>,
}

/// Fits a shoot of `settings` settings.
///
/// # Errors
/// Where a setting or the bare state has no reading in some channel.
pub fn fit(readings: &[Reading], settings: usize, beliefs: &Beliefs) -> Result<Fit, FitError> {
    check(readings, settings)?;
    let problem = build(readings, settings, beliefs);
    let (scatter, colour_scatter) = extra_scatter(readings);
    let parts = random_parts(readings, &problem.row_of, scatter, colour_scatter);
    let total =
        parts.iter().fold(DMatrix::zeros(problem.y.len(), problem.y.len()), |v, p| v + &p.1);
    let v = Cholesky::new(total).ok_or(FitError::Singular)?;
    solve::solve(settings, &problem, &parts, &v, scatter)
}

fn check(readings: &[Reading], settings: usize) -> Result<(), FitError> {
    let seen = |setting: Option<usize>, c: usize| {
        readings.iter().any(|r| r.setting == setting && r.channels[c].is_some())
    };
    let all = (0..3).all(|c| seen(None, c) && (0..settings).all(|s| seen(Some(s), c)));
    if all { Ok(()) } else { Err(FitError::NothingToCompare) }
}

fn build(readings: &[Reading], settings: usize, beliefs: &Beliefs) -> Problem {
    let isos = readings.iter().map(|r| r.iso).max().unwrap_or(0);
    let apertures = readings.iter().map(|r| r.aperture).max().unwrap_or(0);
    let mut prior = vec![(Group::Free, f64::INFINITY); 3 + 3 * settings];
    let drift_at = prior.len();
    prior.push((Group::Drift, if beliefs.drift { DRIFT_PRIOR } else { 0.0 }));
    let shutter_at = prior.len();
    prior.extend(beliefs.shutter.iter().map(|&u| (Group::Shutter, u)));
    let iso_at = prior.len();
    prior.extend((0..isos + apertures).map(|_| (Group::Gain, GAIN_PRIOR)));
    let black_at = prior.len();
    prior.extend(beliefs.black.iter().flat_map(|&u| [(Group::Black, u); 3]));
    // Parameters known beforehand to be zero are left out of the design (their prior is 1 there).
    let live: Vec<bool> = prior.iter().map(|p| p.1 > 0.0).collect();

    let mut rows: Vec<Vec<f64>> = Vec::new();
    let (mut y, mut row_of) = (Vec::new(), Vec::new());
    for (i, reading) in readings.iter().enumerate() {
        for (c, channel) in reading.channels.iter().enumerate() {
            let Some(channel) = channel else { continue };
            let mut row = vec![0.0; prior.len()];
            row[c] = 1.0;
            if let Some(s) = reading.setting {
                row[3 + 3 * s + c] = -1.0;
            }
            row[drift_at] = reading.minutes;
            row[shutter_at + reading.time] = 1.0;
            if reading.iso > 0 {
                row[iso_at + reading.iso - 1] = 1.0;
            }
            if reading.aperture > 0 {
                row[iso_at + isos + reading.aperture - 1] = 1.0;
            }
            row[black_at + 3 * reading.black + c] = 1.0 / (channel.level * std::f64::consts::LN_2);
            for (cell, live) in row.iter_mut().zip(&live) {
                *cell = if *live { *cell } else { 0.0 };
            }
            rows.push(row);
            y.push(channel.y);
            row_of.push((i, c));
        }
    }
    let design = DMatrix::from_fn(rows.len(), prior.len(), |r, c| rows[r][c]);
    let prior = prior.into_iter().map(|(g, u)| (g, if u > 0.0 { u } else { 1.0 })).collect();
    Problem { design, y: DVector::from_vec(y), prior, row_of }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::strength::Source;

    fn reading(setting: Option<usize>, run: usize, minutes: f64, y: [f64; 3]) -> Reading {
        let channel = |y| Some(ChannelReading { y, noise: 1e-4, level: 8000.0 });
        Reading {
            setting,
            run,
            minutes,
            time: usize::from(setting.is_some()),
            iso: 0,
            aperture: 0,
            black: 0,
            channels: y.map(channel),
        }
    }

    fn beliefs() -> Beliefs {
        Beliefs { shutter: vec![0.01, 0.01], black: vec![0.5], drift: true }
    }

    #[test]
    fn one_pair_is_determined_and_its_doubt_is_the_sum_of_its_parts() {
        let readings =
            [reading(None, 0, 0.0, [10.0, 11.0, 9.5]), reading(Some(0), 1, 1.0, [0.0, 1.5, 0.0])];
        let fit = fit(&readings, 1, &beliefs()).unwrap();
        let s = &fit.settings[0];
        for (found, planted) in s.stops.iter().zip([10.0, 9.5, 9.5]) {
            assert!((found - planted).abs() < 1e-9, "{found} is not {planted}");
        }
        // By hand: two shutters of 0.01, one minute of drift prior and of walk; equal levels make
        // black cancel, and with no repeats chi^2 = nu = 0 leaves the random part unscaled.
        let by_hand = (2.0 * 0.01_f64.powi(2) + 0.01_f64.powi(2) + 0.003_f64.powi(2) + 2e-8).sqrt();
        let u = s.channel(1).unwrap().u().get();
        assert!((u / by_hand - 1.0).abs() < 1e-3, "{u} is not {by_hand}");
        // Shutter, drift and walk are common to the channels and cancel in the cast.
        assert!(s.difference(0, 1).unwrap().u().get() < 3e-4);
    }

    #[test]
    fn bare_frames_on_both_sides_take_a_drift_out() {
        // Half a stop over ten minutes, five times the prior.
        let drift = -0.05;
        let mut readings = Vec::new();
        for i in 0..9 {
            let minutes = f64::from(i) * 10.0 / 8.0;
            let (setting, strength) =
                if (3..6).contains(&i) { (Some(0), 6.0) } else { (None, 0.0) };
            let y = 12.0 + drift * minutes - strength;
            readings.push(reading(setting, usize::try_from(i).unwrap() / 3, minutes, [y; 3]));
        }
        let fit = fit(&readings, 1, &beliefs()).unwrap();
        let error = fit.settings[0].stops[1] - 6.0;
        assert!(error.abs() < 0.002, "off by {error}");
        // The prior pulls the drift towards zero by less than its own width.
        assert!((fit.drift - drift).abs() < DRIFT_PRIOR, "drift {}", fit.drift);
    }

    #[test]
    fn far_apart_levels_carry_the_black_level() {
        let mut readings = [reading(None, 0, 0.0, [10.0; 3]), reading(Some(0), 1, 0.0, [5.0; 3])];
        for c in readings[1].channels.iter_mut().flatten() {
            c.level = 80.0;
        }
        let fit = fit(&readings, 1, &beliefs()).unwrap();
        let black = fit.budget.iter().find(|p| p.source == Source::Black).unwrap().stops;
        // u |1/m1 - 1/m0| / ln 2 with u = 0.5 counts.
        let by_hand = 0.5 * (1.0 / 80.0 - 1.0 / 8000.0) / std::f64::consts::LN_2;
        assert!((black / by_hand - 1.0).abs() < 1e-6, "{black} is not {by_hand}");
    }

    #[test]
    fn a_channel_without_bare_reading_is_refused() {
        let mut readings = [reading(None, 0, 0.0, [10.0; 3]), reading(Some(0), 1, 0.0, [5.0; 3])];
        readings[0].channels[2] = None;
        assert_eq!(fit(&readings, 1, &beliefs()), Err(FitError::NothingToCompare));
    }
}
