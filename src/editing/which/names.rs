//! Names of files as they are said: without folders, but for those that tell two of one name apart.

/// A file's name without its folders.
#[must_use]
pub fn name(file: &str) -> &str {
    file.rsplit(['/', std::path::MAIN_SEPARATOR]).next().unwrap_or(file)
}

/// The shortest end of a path that no other of these has: its name alone, mostly.
#[must_use]
pub fn shown(file: &str, all: &[&str]) -> String {
    let alike: Vec<&&str> =
        all.iter().filter(|other| name(other) == name(file) && **other != file).collect();
    let parts = |path: &'_ str| -> Vec<String> {
        path.split(['/', std::path::MAIN_SEPARATOR]).rev().map(str::to_owned).collect()
    };
    let own = parts(file);
    let shared = |other: &&&str| {
        parts(other).iter().zip(&own).take_while(|(theirs, ours)| theirs == ours).count()
    };
    let count = alike.iter().map(shared).max().map_or(1, |shared| (shared + 1).min(own.len()));
    own[..count].iter().rev().cloned().collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    use super::shown;

    #[test]
    fn a_folder_is_named_where_a_name_occurs_twice() {
        let all = ["/y/a/day/1.dng", "/y/b/day/1.dng", "/y/b/day/2.dng", "/y/1.dng"];
        let said: Vec<String> = all.iter().map(|file| shown(file, &all)).collect();
        assert_eq!(said, ["a/day/1.dng", "b/day/1.dng", "2.dng", "y/1.dng"]);
        assert_eq!(shown("1.dng", &["1.dng", "a/1.dng"]), "1.dng");
    }
}
