//! The columns of the joint fit's design: what each frame's green level depends on.

use super::prior::SPOILT_STOPS;
use super::{Beliefs, GAIN_PRIOR, Reading};
use std::collections::BTreeMap;
use std::f64::consts::LN_2;

/// What a parameter stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Group {
    /// Level of the bare light; nothing is known of it beforehand.
    Bare,
    /// Strength of a state, likewise.
    State,
    /// Offset of a distinct shutter time.
    Shutter(usize),
    /// What a camera record leaves open of the shutter times that it holds.
    Known,
    /// One visit of a mark that was set more than once.
    Visit,
    /// Gain of another ISO or aperture.
    Gain,
    /// Error of a black level, in its own standard uncertainty's unit (counts).
    Black(usize),
    /// How levels depart from a line against light.
    Response,
    /// How far levels are a power of the light, where two lights tell that.
    Power,
    /// What spoilt a frame that hangs apart from its run.
    Spoilt,
}

/// Frames that have a green level, in order of time, with the columns of the fit.
pub(super) struct Design {
    /// Which reading each row is.
    pub rows: Vec<usize>,
    /// Minutes of each row, ascending.
    pub minutes: Vec<f64>,
    /// Variance of noise of each row.
    pub noise: Vec<f64>,
    /// Green level per exposure, with powers of two behind the dial.
    pub y: Vec<f64>,
    /// What is added to it where the dial shows true times.
    pub shown: Vec<f64>,
    /// Parameters with their prior variance (infinite where free).
    pub parameters: Vec<(Group, f64)>,
    /// One column per parameter.
    pub columns: Vec<Vec<f64>>,
    /// Column of each state, `None` where no row is of it.
    pub state_at: Vec<Option<usize>>,
}

/// A floor far below any claim keeps equations solvable.
const FLOOR: f64 = 1e-10;

impl Design {
    /// From readings of `states` states.
    pub fn new(readings: &[Reading], states: usize, beliefs: &Beliefs) -> Self {
        let mut rows: Vec<usize> =
            (0..readings.len()).filter(|&i| readings[i].channels[1].is_some()).collect();
        rows.sort_by(|&a, &b| readings[a].minutes.total_cmp(&readings[b].minutes));
        let green = |i: usize| readings[i].channels[1].map(|c| (c.y, c.noise, c.level));
        let of = |f: fn((f64, f64, f64)) -> f64| -> Vec<f64> {
            rows.iter().filter_map(|&i| green(i)).map(f).collect()
        };
        let levels = of(|g| g.2);
        let mut design = Self {
            minutes: rows.iter().map(|&i| readings[i].minutes).collect(),
            noise: of(|g| g.1 * g.1 + FLOOR),
            y: of(|g| g.0),
            shown: rows.iter().map(|&i| readings[i].shown).collect(),
            parameters: Vec::new(),
            columns: Vec::new(),
            state_at: vec![None; states],
            rows,
        };
        design.add_states(readings);
        design.add_visits(readings, &beliefs.hand);
        design.add_common(readings, beliefs, &levels);
        design.add_spoilt(readings);
        design
    }

    fn push(&mut self, group: Group, variance: f64, column: Vec<f64>) -> Option<usize> {
        if column.iter().all(|v| *v == 0.0) {
            return None;
        }
        self.parameters.push((group, variance));
        self.columns.push(column);
        Some(self.columns.len() - 1)
    }

    /// Adds what the sensor's response does to each row; asked for like a state.
    pub fn add_response(&mut self, group: Group, variance: f64, column: Vec<f64>) {
        let at = self.push(group, variance, column);
        self.state_at.push(at);
    }

    fn column(&self, readings: &[Reading], value: impl Fn(&Reading) -> f64) -> Vec<f64> {
        self.rows.iter().map(|&i| value(&readings[i])).collect()
    }

    fn add_states(&mut self, readings: &[Reading]) {
        let bare = vec![1.0; self.rows.len()];
        self.push(Group::Bare, f64::INFINITY, bare);
        for s in 0..self.state_at.len() {
            let is = |r: &Reading| if r.setting == Some(s) { -1.0 } else { 0.0 };
            let column = self.column(readings, is);
            self.state_at[s] = self.push(Group::State, f64::INFINITY, column);
        }
    }

    fn add_visits(&mut self, readings: &[Reading], hand: &[f64]) {
        let mut visits: Vec<(usize, usize)> =
            readings.iter().filter_map(|r| Some((r.setting?, r.run))).collect();
        visits.sort_unstable();
        visits.dedup();
        let off = |s: usize| hand.get(s).copied().unwrap_or(0.0);
        for &(s, run) in visits.iter().filter(|v| off(v.0) > 0.0) {
            let is = |r: &Reading| if (r.setting, r.run) == (Some(s), run) { 1.0 } else { 0.0 };
            let column = self.column(readings, is);
            self.push(Group::Visit, off(s).powi(2), column);
        }
    }

    fn add_spoilt(&mut self, readings: &[Reading]) {
        for row in 0..self.rows.len() {
            if readings[self.rows[row]].doubtful {
                let mut column = vec![0.0; self.rows.len()];
                column[row] = 1.0;
                self.push(Group::Spoilt, SPOILT_STOPS * SPOILT_STOPS, column);
            }
        }
    }

    fn add_common(&mut self, readings: &[Reading], beliefs: &Beliefs, levels: &[f64]) {
        let one = |holds: bool| if holds { 1.0 } else { 0.0 };
        for (k, belief) in beliefs.shutter.iter().enumerate() {
            let variance =
                super::prior::OFFSET_VARIANCE * belief.scale.powi(2) + belief.hand.powi(2);
            if variance > 0.0 {
                let column = self.column(readings, |r| one(r.time == k));
                self.push(Group::Shutter(k), variance, column);
            }
        }
        for (variance, of) in beliefs.known.parameters() {
            let column = self.column(readings, |r| of(r.time));
            self.push(Group::Known, variance, column);
        }
        let most = |of: fn(&Reading) -> usize| readings.iter().map(of).max().unwrap_or(0);
        for k in 1..=most(|r| r.iso) {
            let column = self.column(readings, |r| one(r.iso == k));
            self.push(Group::Gain, GAIN_PRIOR * GAIN_PRIOR, column);
        }
        for k in 1..=most(|r| r.aperture) {
            let column = self.column(readings, |r| one(r.aperture == k));
            self.push(Group::Gain, GAIN_PRIOR * GAIN_PRIOR, column);
        }
        for (k, &u) in beliefs.black.iter().enumerate().filter(|(_, u)| **u > 0.0) {
            let mut column = self.column(readings, |r| one(r.black == k));
            for (cell, level) in column.iter_mut().zip(levels) {
                *cell /= level * LN_2;
            }
            self.push(Group::Black(k), u * u, column);
        }
    }

    /// Rows where the light may have changed of a sudden: where a run begins, and the largest
    /// changes within runs, `most` at most. A change at row i holds from row i on.
    pub fn edges(&self, readings: &[Reading], most: usize) -> Vec<usize> {
        let reading = |row: usize| &readings[self.rows[row]];
        // What a state takes, or a time is off by, is no change of the light.
        let mut of_kind: BTreeMap<(Option<usize>, usize), (f64, f64)> = BTreeMap::new();
        let kind = |row: usize| (reading(row).setting, reading(row).time);
        for row in 0..self.rows.len() {
            let sum = of_kind.entry(kind(row)).or_default();
            *sum = (sum.0 + self.y[row], sum.1 + 1.0);
        }
        let above = |row: usize| self.y[row] - of_kind.get(&kind(row)).map_or(0.0, |s| s.0 / s.1);
        let mut found: Vec<(f64, usize)> = (1..self.rows.len())
            .map(|row| {
                let (before, now) = (reading(row - 1), reading(row));
                let same = before.run == now.run && before.time == now.time;
                let size = if same { (above(row) - above(row - 1)).abs() } else { f64::MAX };
                (size, row)
            })
            .collect();
        found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        found.truncate(most);
        let mut edges: Vec<usize> = found.into_iter().map(|(_, row)| row).collect();
        edges.sort_unstable();
        edges
    }
}
