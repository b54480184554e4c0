//! A picture that the camera wrote beside a raw frame shows the same light through the same glass: what is
//! found of the frame holds for it, and it has no voice of its own.

use super::names::{name, shown};
use super::{Finding, How, Leaning, Picture, Said, Told, Verdict, said};
use crate::frame::FrameInfo;
use crate::profile::Profile;
use std::collections::BTreeMap;

/// Some writers leave out parts of a second.
const ONE_CAPTURE_SECONDS: f64 = 1.0;

/// Of each photograph the raw frame that it lies beside as a picture of the same capture: in one folder,
/// under one name but for the ending.
#[must_use]
pub fn raw_beside(infos: &[&FrameInfo]) -> Vec<Option<usize>> {
    let raw = |i: &usize| infos[*i].origin.is_raw();
    let raws: BTreeMap<String, usize> =
        (0..infos.len()).filter(raw).map(|i| (stem(&infos[i].file), i)).collect();
    let beside = |i: usize| {
        let own = raws.get(&stem(&infos[i].file)).copied().filter(|_| !raw(&i))?;
        let times = infos[own].capture.at.zip(infos[i].capture.at);
        let apart = times.map_or(0.0, |(a, b)| b.duration_since(a).as_secs_f64().abs());
        (apart < ONE_CAPTURE_SECONDS).then_some(own)
    };
    (0..infos.len()).map(beside).collect()
}

/// The path without its ending; letters of the name in one case, as cameras count them.
fn stem(file: &str) -> String {
    let name = name(file);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    format!("{}{}", &file[..file.len() - name.len()], stem.to_lowercase())
}

/// Photographs with their companions apart.
pub(super) struct Apart {
    /// Those that are judged.
    pub pictures: Vec<Picture>,
    /// Where each of them stands among all.
    places: Vec<usize>,
    /// Of all, its place among the judged: its own, or that of the raw frame beside.
    judged: Vec<usize>,
    /// Names of all files.
    files: Vec<String>,
}

impl Apart {
    pub fn of(pictures: Vec<Picture>, kit: &[Profile]) -> Self {
        let files = pictures.iter().map(|p| p.info.file.clone()).collect();
        let beside = raw_beside(&pictures.iter().map(|p| &p.info).collect::<Vec<_>>());
        let places: Vec<usize> = (0..pictures.len()).filter(|&i| beside[i].is_none()).collect();
        let place = |i: usize| places.partition_point(|&own| own < beside[i].unwrap_or(i));
        let judged: Vec<usize> = (0..pictures.len()).map(place).collect();
        let (mut own, mut others) = (Vec::new(), Vec::new());
        for (i, picture) in pictures.into_iter().enumerate() {
            if beside[i].is_none() {
                own.push(picture);
            } else {
                others.push((judged[i], picture.info.subject));
            }
        }
        for (at, more) in others {
            let words = &mut own[at].info.subject;
            if said(words, kit) == Said::Nothing {
                words.extend(more);
            }
        }
        Self { pictures: own, places, judged, files }
    }

    /// What the user says of those that are judged, or of the pictures beside them.
    pub fn told(&self, told: &[Told]) -> Vec<Told> {
        let told_of = |i: usize| told.get(i).cloned().unwrap_or_default();
        let mut own: Vec<Told> = self.places.iter().map(|&i| told_of(i)).collect();
        for (i, &at) in self.judged.iter().enumerate() {
            if own[at] == Told::Nothing {
                own[at] = told_of(i);
            }
        }
        own
    }

    /// Findings of all, from those of the judged, of which the user says `of_judged`.
    pub fn whole(&self, found: Vec<Finding>, told: &[Told], of_judged: &[Told]) -> Vec<Finding> {
        let own: Vec<Finding> = found
            .into_iter()
            .map(|finding| Finding { bare: finding.bare.map(|b| self.places[b]), ..finding })
            .collect();
        let files: Vec<&str> = self.files.iter().map(String::as_str).collect();
        let of = |(i, &at): (usize, &usize)| {
            let raw = self.places[at];
            if raw == i {
                return own[at].clone();
            }
            let told = told.get(i).unwrap_or(&Told::Nothing);
            inherited(&own[at], told, &of_judged[at], &shown(files[raw], &files))
        };
        self.judged.iter().enumerate().map(of).collect()
    }
}

/// What is found of a picture beside a raw frame.
fn inherited(raw: &Finding, told: &Told, told_of_raw: &Told, file: &str) -> Finding {
    if *told == Told::Nothing || told == told_of_raw {
        let note = format!("as {file} beside it");
        return Finding { note, impossible: Vec::new(), ..raw.clone() };
    }
    let verdict = match told {
        Told::Through(used) => Verdict::Through(used.clone()),
        Told::Bare | Told::Nothing => Verdict::Bare,
    };
    Finding {
        bare: raw.bare.filter(|_| verdict != Verdict::Bare),
        verdict,
        how: How::User,
        sure: false,
        doubted: true,
        leans: Leaning::Nowhere,
        impossible: Vec::new(),
        note: format!(
            "what you said stands, but {file} beside it, which is the same photograph, has something else; \
             look at it again"
        ),
        ..raw.clone()
    }
}
