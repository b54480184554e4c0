//! The table of a coverage study.

use super::planted_shoots::Outcome;
use std::fmt;

/// What is judged, in the order of an outcome's results.
pub const QUANTITIES: [&str; 3] = ["strength", "gain red", "gain blue"];

/// Share of measured shoots whose interval holds the truth.
pub fn coverage(outcomes: &[Outcome], quantity: usize) -> f64 {
    let results: Vec<_> = outcomes.iter().filter_map(|o| o.results).collect();
    let held = results.iter().filter(|r| r[quantity].error.abs() <= r[quantity].u95).count();
    held as f64 / results.len() as f64
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

#[derive(Default)]
pub struct Table(Vec<String>);

impl Table {
    pub fn heading(&mut self, text: &str) {
        self.0.push(format!("\n{text}"));
    }
    pub fn class(&mut self, name: &str, outcomes: &[Outcome]) {
        self.0.push(row(name, outcomes));
    }
    pub fn part(&mut self, name: &str, outcomes: &[Outcome]) {
        self.0.push(row(&format!("  {name}"), outcomes));
    }
}

fn row(name: &str, outcomes: &[Outcome]) -> String {
    let results: Vec<_> = outcomes.iter().filter_map(|o| o.results).collect();
    let width = |q: usize| median(results.iter().map(|r| r[q].u95).collect());
    let error = |q: usize| median(results.iter().map(|r| r[q].error.abs()).collect());
    let shares: Vec<String> =
        (0..3).map(|q| format!("{:>7.1}", 100.0 * coverage(outcomes, q))).collect();
    format!(
        "{name:<34} {:>6} {:>4} {} {:>9.4} {:>9.4} {:>8.3} {:>8.3} {:>8.3} {:>8.3}",
        outcomes.len(),
        outcomes.len() - results.len(),
        shares.join(" "),
        width(0),
        error(0),
        100.0 * width(1),
        100.0 * error(1),
        100.0 * width(2),
        100.0 * error(2),
    )
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{:<34} {:>6} {:>4} {:>23} {:>19} {:>17} {:>17}\n{:<34} {:>6} {:>4} {:>7} {:>7} {:>7} {:>9} {:>9} {:>8} {:>8} {:>8} {:>8}",
            "",
            "",
            "no",
            "holds the truth, %",
            "strength, stops",
            "gain red, %",
            "gain blue, %",
            "class",
            "shoots",
            "num",
            "strgth",
            "red",
            "blue",
            "u95",
            "|error|",
            "u95",
            "|error|",
            "u95",
            "|error|",
        )?;
        writeln!(f, "{}", self.0.join("\n"))?;
        write!(
            f,
            "\nu95 and |error| are medians; gains in percent of themselves. Indented rows are parts of the class above."
        )
    }
}
