//! What the system says when it refuses a file, in words for people.

use std::io::{Error, ErrorKind};

/// Why a file could not be read or written, as a part of a sentence: without the system's number,
/// and without the name of a temporary file, neither of which tells the user anything.
pub fn why(cause: &Error) -> String {
    match cause.kind() {
        ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        ErrorKind::AlreadyExists => "there is a file of that name, not a folder".to_owned(),
        ErrorKind::NotADirectory => "what stands there for a folder is a file".to_owned(),
        ErrorKind::IsADirectory => "it is a folder, not a file".to_owned(),
        ErrorKind::PermissionDenied => "you have no permission".to_owned(),
        _ => {
            let text = cause.to_string();
            let text = text.split(" (os error").next().unwrap_or_default();
            text.split(" at path").next().unwrap_or_default().to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neither_numbers_nor_temporary_files_are_told() {
        for number in 1..=40 {
            let told = why(&Error::from_raw_os_error(number));
            assert!(!told.is_empty() && !told.contains("os error"), "{told}");
        }
        let text = "odd (os error 99) at path \".x.tmp\"";
        assert_eq!(why(&Error::other(text)), "odd");
        assert_eq!(why(&Error::other("odd at path \"/x\"")), "odd");
        let absent = Error::from(ErrorKind::NotFound);
        assert_eq!(why(&absent), "there is no such file or folder");
    }
}
