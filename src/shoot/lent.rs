//! What frames that tell no aperture or ISO were taken at: what frames of their own state tell, and
//! what their body tells only where those tell nothing.

use super::times::{Given, Lent, LentToFrame};
use super::wish::{Label, Wish};
use crate::numerics::robust::most_frequent;
use crate::quantity::{FNumber, Iso};
use crate::reduce::grid::FrameSummary;

/// Times that differ by less than this share are one.
const SAME_TIME: f64 = 0.01;
/// Numbers of a dial that differ by less than this are one.
const SAME_NUMBER: f64 = 1e-6;

/// What is told of one frame, by its file or by the user.
struct Told<'a> {
    /// Make and model.
    body: (Option<&'a str>, Option<&'a str>),
    lens: Option<&'a str>,
    label: Option<&'a Label>,
    time: Option<f64>,
    f_number: Option<f64>,
    iso: Option<f64>,
}

/// What each frame is lent: nothing where it tells both.
pub(super) fn lent(frames: &[FrameSummary], wish: &Wish) -> Vec<LentToFrame> {
    let told: Vec<Told<'_>> = frames.iter().map(|frame| Told::of(frame, wish)).collect();
    // A lens without contacts tells nothing, and another one tells nothing of it.
    let of_lens = lent_of(&told, |t| t.f_number, |a, b| a.body == b.body && a.lens == b.lens);
    let isos = lent_of(&told, |t| t.iso, |a, b| a.body == b.body);
    let f_numbers =
        told.iter().zip(of_lens).map(|(to, lent)| lent.or_else(|| of_any_lens(to, &told)));
    let both = |(f_number, iso): (Option<Lent<f64>>, Option<Lent<f64>>)| LentToFrame {
        f_number: f_number.map(|lent| lent.of(FNumber::new)),
        iso: iso.map(|lent| lent.of(Iso::new)),
    };
    f_numbers.zip(isos).map(both).collect()
}

/// A frame that does not even tell its lens has the aperture that all others of its body tell; where
/// they tell several it has none of them.
fn of_any_lens(to: &Told<'_>, told: &[Told<'_>]) -> Option<Lent<f64>> {
    if to.f_number.is_some() || to.lens.is_some() {
        return None;
    }
    let mut others = told.iter().filter(|from| from.body == to.body).filter_map(|t| t.f_number);
    let value = others.next()?;
    let agree = others.all(|other| (other - value).abs() < SAME_NUMBER);
    agree.then_some(Lent { value, is_disputed: false })
}

impl<'a> Told<'a> {
    fn of(frame: &'a FrameSummary, wish: &'a Wish) -> Self {
        let (info, exposure) = (&frame.info, &frame.info.exposure);
        let given = Given::of(&info.file, wish, LentToFrame::default());
        Self {
            body: (info.camera.make.as_deref(), info.camera.model.as_deref()),
            lens: info.camera.lens.as_deref(),
            label: wish.labels.get(&info.file),
            time: given.time.or(exposure.time).map(|t| t.get()),
            f_number: given.own_f_number(exposure).map(|n| n.get()),
            iso: given.own_iso(exposure).map(|s| s.get()),
        }
    }
    /// Frames of one state have one time as a rule, whatever the user says of them.
    fn is_of_one_time(&self, other: &Self) -> bool {
        self.label == other.label
            && match (self.time, other.time) {
                (Some(a), Some(b)) => (a / b - 1.0).abs() < SAME_TIME,
                (a, b) => a.is_none() && b.is_none(),
            }
    }
    fn is_of_one_label(&self, other: &Self) -> bool {
        self.label.is_some() && self.label == other.label
    }
}

impl Lent<f64> {
    fn of<T>(self, unit: impl Fn(f64) -> T) -> Lent<T> {
        Lent { value: unit(self.value), is_disputed: self.is_disputed }
    }
}

fn lent_of(
    told: &[Told<'_>],
    of: impl Fn(&Told<'_>) -> Option<f64>,
    is_alike: impl Fn(&Told<'_>, &Told<'_>) -> bool,
) -> Vec<Option<Lent<f64>>> {
    let tellers: Vec<(&Told<'_>, f64)> = told.iter().filter_map(|t| Some((t, of(t)?))).collect();
    let same = |a: f64, b: f64| (a - b).abs() < SAME_NUMBER;
    let lent = |to: &Told<'_>| {
        if of(to).is_some() {
            return None;
        }
        let body = tellers.iter().filter(|(from, _)| is_alike(from, to));
        let state: [fn(&Told<'_>, &Told<'_>) -> bool; 2] =
            [|a, b| a.is_of_one_time(b), |a, b| a.is_of_one_label(b)];
        for is_near in state {
            let mut near = body.clone().filter(|(from, _)| is_near(from, to)).map(|(_, v)| *v);
            if let Some(value) = near.next() {
                return Some(Lent { value, is_disputed: near.any(|v| !same(v, value)) });
            }
        }
        let value = most_frequent(body.map(|(_, v)| *v), same)?;
        Some(Lent { value, is_disputed: false })
    };
    told.iter().map(lent).collect()
}
