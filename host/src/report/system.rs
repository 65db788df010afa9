//! What the system says of files and ports, with what to do about it.

use std::io::{self, ErrorKind};

/// An error of the system in words.
pub fn words(error: &io::Error) -> String {
    let (what, next) = match error.kind() {
        ErrorKind::NotFound => (
            "No such file or folder",
            "look at its name and where it lies",
        ),
        ErrorKind::PermissionDenied => ("not allowed", "look at whose it is"),
        ErrorKind::IsADirectory => ("this is a folder", "name a file in it"),
        ErrorKind::NotADirectory => ("a part of the path is no folder", "look at its name"),
        ErrorKind::StorageFull => ("the disk is full", "make room"),
        ErrorKind::ReadOnlyFilesystem => ("nothing can be written there", "name another place"),
        _ => return error.to_string(),
    };
    format!("{what}; {next}")
}

#[cfg(test)]
mod tests {
    use super::words;
    use std::io::Error;

    #[test]
    fn an_error_says_what_to_do() {
        let missing = std::fs::read("/no/such/file").expect_err("there is none");
        assert_eq!(
            words(&missing),
            "No such file or folder; look at its name and where it lies"
        );
        let other = Error::other("the cable is loose");
        assert_eq!(words(&other), "the cable is loose");
    }
}
