//! Reading a file as a whole: an ordinary file, and no larger than its kind ever is.
//!
//! Every JSON and CSV file that the program is given comes in through here. A pipe would keep it
//! waiting for ever, a device such as `/dev/zero` would fill the memory.

use super::why::why;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};

/// A kind of file, and the size above which it is surely another file, named by mistake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileKind {
    /// What a person calls it: "larger than any *sheet or table*".
    pub name: &'static str,
    /// The most bytes that are read.
    pub most_bytes: u64,
}

const MIB: u64 = 1024 * 1024;

/// A sheet of a thousand pieces has under 1 MB, a table of all kinds in a hundred places 5 MB.
pub const SHEET_OR_TABLE: FileKind = FileKind {
    name: "sheet or table",
    most_bytes: 64 * MIB,
};

/// A plan of as many lines as are read (`cover::plan::MOST_LINES`) has 2 MB.
pub const PLAN: FileKind = FileKind {
    name: "plan",
    most_bytes: 8 * MIB,
};

/// Offers of as many lines as are read (`cover::offers::MOST_OFFERS`) have 1 MB.
pub const OFFERS: FileKind = FileKind {
    name: "list of offers",
    most_bytes: 8 * MIB,
};

/// A taught colour has some 200 bytes a swatch, a measured light 10 kB: this is thousands of them.
pub const CALIBRATION: FileKind = FileKind {
    name: "calibration file",
    most_bytes: 16 * MIB,
};

/// A line for each piece that a photo may show.
pub const LIST_OF_PIECES: FileKind = FileKind {
    name: "list of pieces",
    most_bytes: MIB,
};

/// A history of 200,000 entries has some 100 MB.
pub const STOCK: FileKind = FileKind {
    name: "stock file",
    most_bytes: 1024 * MIB,
};

/// Reads a file as a whole.
///
/// # Errors
/// When it cannot be read, is no ordinary file, or is larger than its kind ever is.
pub fn bytes(path: &Path, kind: FileKind) -> Result<Vec<u8>, ReadError> {
    let fault = |what| ReadError {
        path: path.to_owned(),
        what,
    };
    let unreadable = |cause| fault(What::Unreadable(cause));
    // Looked at before it is opened: opening a pipe would wait for its other end.
    let about = fs::metadata(path).map_err(unreadable)?;
    if about.is_dir() {
        return Err(unreadable(ErrorKind::IsADirectory.into()));
    }
    if !about.is_file() {
        return Err(fault(What::NotAFile));
    }
    let mut bytes = Vec::new();
    // One byte more tells that there is more; the size stated before may have grown meanwhile.
    File::open(path)
        .and_then(|file| file.take(kind.most_bytes + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > kind.most_bytes {
        return Err(fault(What::TooLarge(kind)));
    }
    Ok(bytes)
}

/// As [`bytes()`], for text in UTF-8; a byte order mark at its beginning is left out.
///
/// # Errors
/// As [`bytes()`], and when it is no UTF-8.
pub fn text(path: &Path, kind: FileKind) -> Result<String, ReadError> {
    let text = String::from_utf8(bytes(path, kind)?).map_err(|_| ReadError {
        path: path.to_owned(),
        what: What::NotText,
    })?;
    Ok(match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    })
}

/// As [`text`]; none where there is no file of that name.
///
/// # Errors
/// As [`text`].
pub fn text_if_there(path: &Path, kind: FileKind) -> Result<Option<String>, ReadError> {
    match text(path, kind) {
        Err(error) if error.is_absent() => Ok(None),
        read => read.map(Some),
    }
}

/// Why a file was not read.
#[derive(Debug)]
pub struct ReadError {
    path: PathBuf,
    what: What,
}

#[derive(Debug)]
enum What {
    Unreadable(io::Error),
    NotAFile,
    TooLarge(FileKind),
    NotText,
}

impl ReadError {
    /// What the system said of a file that it does not let be read.
    pub fn unreadable(path: &Path, cause: io::Error) -> Self {
        Self {
            path: path.to_owned(),
            what: What::Unreadable(cause),
        }
    }

    /// Whether there is no file of that name.
    pub fn is_absent(&self) -> bool {
        matches!(&self.what, What::Unreadable(cause) if cause.kind() == ErrorKind::NotFound)
    }
}

impl std::error::Error for ReadError {}

impl std::fmt::Display for ReadError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let path = self.path.display();
        match &self.what {
            What::Unreadable(cause) => write!(
                f,
                "cannot read {path}: {}; check the name and the folder, and that you may read it",
                why(cause)
            ),
            What::NotAFile => write!(
                f,
                "cannot read {path}: it is a pipe or a device, not a file; save it as a file first"
            ),
            What::TooLarge(FileKind { name, most_bytes }) => write!(
                f,
                "{path} is larger than any {name} ({} MB); see whether it is the right file",
                most_bytes / MIB
            ),
            What::NotText => write!(
                f,
                "cannot read {path}: it is not UTF-8 text; save it as UTF-8"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const TINY: FileKind = FileKind {
        name: "note",
        most_bytes: 4,
    };

    fn told(path: &Path) -> String {
        text(path, TINY).unwrap_err().to_string()
    }

    #[test]
    fn a_file_is_read_up_to_its_kinds_size() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("note");
        fs::write(&path, "four").unwrap();
        assert_eq!(text(&path, TINY).unwrap(), "four");
        fs::write(&path, "fifth").unwrap();
        assert!(told(&path).contains("larger than any note"));
        fs::write(&path, "\u{feff}a").unwrap();
        assert_eq!(text(&path, TINY).unwrap(), "a");
        fs::write(&path, [0xff]).unwrap();
        assert!(told(&path).contains("save it as UTF-8"));
        let absent = folder.path().join("absent");
        assert!(text_if_there(&absent, TINY).unwrap().is_none());
        assert!(told(&absent).contains("there is no such file"));
        assert!(told(folder.path()).contains("it is a folder"));
    }

    #[cfg(unix)]
    #[test]
    fn neither_a_device_nor_a_link_to_one_is_read() {
        assert!(told(Path::new("/dev/zero")).contains("a pipe or a device"));
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("book.json");
        std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
        assert!(told(&link).contains("a pipe or a device"));
    }
}
