//! Frames that belong to one bracket or panorama get one balance.

use crate::frame::FrameInfo;

/// From the end of one exposure to the start of the next, within one series, in seconds.
pub(super) const PAUSE_SECONDS: f64 = 10.0;

/// What decides whether two frames can stand in one series.
#[derive(Clone, Debug, PartialEq)]
pub struct Member<'a> {
    /// Camera, lens and times.
    pub info: &'a FrameInfo,
    /// Which filters and marks it had; frames of different filters never share a series.
    pub filters: &'a str,
    /// A group named by the user, which outranks the clock.
    pub group: Option<&'a str>,
}

/// Groups of indices in capture order, every frame in exactly one of them: frames with one group
/// name, else frames of one body and lens with less than ten seconds between the end of one and the
/// start of the next. Frames without a capture time stand alone.
#[must_use]
pub fn series(members: &[Member<'_>]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for i in in_capture_order(members) {
        let joins = |group: &&mut Vec<usize>| belongs(members, group, i);
        match groups.iter_mut().find(joins) {
            Some(group) => group.push(i),
            None => groups.push(vec![i]),
        }
    }
    groups
}

fn in_capture_order(members: &[Member<'_>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..members.len()).collect();
    order.sort_by(|&a, &b| {
        let key = |i: usize| (members[i].info.capture.at, members[i].info.file.as_str());
        key(a).cmp(&key(b))
    });
    order
}

fn belongs(members: &[Member<'_>], group: &[usize], i: usize) -> bool {
    let Some(last) = group.last().map(|&l| &members[l]) else { return false };
    let one = &members[i];
    if last.filters != one.filters {
        return false;
    }
    // A picture's balance is in its colours: none that a raw file could share.
    if last.info.origin.is_raw() != one.info.origin.is_raw() {
        return false;
    }
    match (last.group, one.group) {
        (Some(a), Some(b)) => return a == b,
        (None, None) => {}
        _ => return false,
    }
    let (a, b) = (&last.info.camera, &one.info.camera);
    let body = a.make == b.make && a.model == b.model && a.serial == b.serial && a.lens == b.lens;
    let Some((start, next)) = last.info.capture.at.zip(one.info.capture.at) else { return false };
    let length = last.info.exposure.time.map_or(0.0, |t| t.get());
    let pause = next.duration_since(start).as_secs_f64() - length;
    body && pause < PAUSE_SECONDS
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::editing::testing::info;
    use crate::frame::Origin;

    fn members<'a>(infos: &'a [FrameInfo], filters: &'a [&'a str]) -> Vec<Member<'a>> {
        let member =
            |(info, filters): (&'a FrameInfo, &&'a str)| Member { info, filters, group: None };
        infos.iter().zip(filters).map(member).collect()
    }

    #[test]
    fn a_bracket_of_long_exposures_is_one_series() {
        // 30 s exposures, 2 s apart: the starts are 32 s apart, the pauses are short.
        let infos = ["18:00:00", "18:00:32", "18:01:04", "18:01:45"].map(|t| info(t, 30.0));
        let groups = series(&members(&infos, &["a", "a", "a", "a"]));
        assert_eq!(groups, [vec![0, 1, 2], vec![3]]);
    }

    #[test]
    fn another_filter_lens_or_body_starts_another_series() {
        let mut infos = ["18:00:00", "18:00:03", "18:00:06", "18:00:09"].map(|t| info(t, 1.0));
        infos[2].camera.lens = Some("other".into());
        infos[3].camera.serial = Some("2".into());
        let groups = series(&members(&infos, &["", "a", "a", "a"]));
        assert_eq!(groups.len(), 4);
    }

    #[test]
    fn a_picture_and_its_raw_frame_share_no_balance() {
        let mut infos = ["18:00:00", "18:00:00", "18:00:03"].map(|t| info(t, 1.0));
        infos[0].origin = Origin::DisplayPicture;
        let mut all = members(&infos, &["a", "a", "a"]);
        assert_eq!(series(&all), [vec![0], vec![1, 2]]);
        all.iter_mut().for_each(|one| one.group = Some("pano"));
        assert_eq!(series(&all), [vec![0], vec![1, 2]]);
    }

    #[test]
    fn a_group_name_outranks_the_clock() {
        let infos = ["18:00:00", "18:00:03", "18:30:00"].map(|t| info(t, 1.0));
        let mut all = members(&infos, &["a", "a", "a"]);
        all[0].group = Some("pano");
        all[2].group = Some("pano");
        assert_eq!(series(&all), [vec![0, 2], vec![1]]);
    }

    #[test]
    fn frames_without_a_time_stand_alone() {
        let mut infos = ["18:00:00", "18:00:01"].map(|t| info(t, 1.0));
        infos.iter_mut().for_each(|i| i.capture.at = None);
        assert_eq!(series(&members(&infos, &["a", "a"])).len(), 2);
    }
}
