//! What the operating system says of files, in plain words.

use std::io::{Error, ErrorKind as E};

/// Without the system's number, which helps nobody who shoots a wall.
#[must_use]
pub fn plain(error: &Error) -> String {
    match error.kind() {
        E::NotFound => "there is no such file or folder".to_owned(),
        E::PermissionDenied => "it may not be opened (permission denied)".to_owned(),
        E::InvalidData => "it is no text".to_owned(),
        E::IsADirectory => "it is a folder".to_owned(),
        E::InvalidFilename => "its name is longer than the disk takes".to_owned(),
        // Words of our own stay as they were written; the system begins with a capital.
        _ if error.raw_os_error().is_none() => error.to_string(),
        _ => {
            let words = error.to_string();
            words.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of Linux (errno.h): permission, input/output, name too long.
    #[cfg(target_os = "linux")]
    #[test]
    fn no_number_of_the_system_is_told() {
        for number in [1, 2, 5, 13, 21, 24, 28, 36, 40] {
            let text = plain(&Error::from_raw_os_error(number));
            assert!(!text.contains("os error") && !text.is_empty(), "{text}");
        }
    }

    #[test]
    fn what_is_said_here_keeps_its_units() {
        let large = "it is larger than the 64 MB that such a file may have";
        assert_eq!(plain(&Error::other(large)), large);
    }
}
