//! Which folder is home: the first that is named or marked, else the user's own.

use std::fmt;
use std::path::{Path, PathBuf};

/// Marks a folder as a home, whatever stands in it.
pub const MARKER: &str = "cuptally.toml";

/// What marks a folder, first to last: the marker, and what a home from before there were markers holds.
const MARKERS: [&str; 3] = [MARKER, "stock.json", "calibration/swatches.json"];

/// What the marker says where the program writes one.
pub const MARKER_TEXT: &str = "\
# This folder is a home of cuptally: its stock, taught colours and sheets lie here, and cuptally uses it
# when it is run here or in a folder below. Nothing else is read from this file.
";

/// So many folders upwards are looked at: deeper than people nest folders, and an end on any file system.
const MOST_ABOVE: usize = 32;

/// A home folder and why it is that one.
#[derive(Clone, Debug, PartialEq)]
pub struct Home {
    /// The folder.
    pub folder: PathBuf,
    /// Why.
    pub why: Why,
}

/// Why a folder is home.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// `--home` says so.
    Named,
    /// `CUPTALLY_HOME` says so.
    Environment,
    /// This lies in it.
    Marked(&'static str),
    /// It is the user's, where nothing else is said.
    Own,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Named => f.write_str("--home"),
            Self::Environment => f.write_str("CUPTALLY_HOME"),
            Self::Marked(marker) => write!(f, "it holds {marker}"),
            Self::Own => f.write_str("yours"),
        }
    }
}

/// The home by what is known: what `--home` and `CUPTALLY_HOME` name, the nearest marked folder, and where the
/// platform keeps what is the user's. None where the platform knows no such place and nothing else is said.
pub fn choose(
    named: Option<PathBuf>,
    environment: Option<PathBuf>,
    marked: Option<(PathBuf, &'static str)>,
    own: Option<PathBuf>,
) -> Option<Home> {
    // An empty variable is as good as none.
    let environment = environment.filter(|folder| !folder.as_os_str().is_empty());
    let home = |why| move |folder| Home { folder, why };
    (named.map(home(Why::Named)))
        .or_else(|| environment.map(home(Why::Environment)))
        .or_else(|| {
            marked.map(|(folder, marker)| Home {
                folder,
                why: Why::Marked(marker),
            })
        })
        .or_else(|| own.map(home(Why::Own)))
}

/// The nearest marked folder: `from` itself or one above it.
///
/// The way upwards ends at the user's own folder, and before a folder of another owner: a marker above, in a folder
/// where many may write, was put there by somebody who knows nothing of this one.
pub fn marked(
    from: &Path,
    users: Option<&Path>,
    holds: impl Fn(&Path) -> bool,
    same_owner: impl Fn(&Path, &Path) -> bool,
) -> Option<(PathBuf, &'static str)> {
    for folder in from.ancestors().take(MOST_ABOVE) {
        if folder != from && !same_owner(from, folder) {
            return None;
        }
        if let Some(marker) = MARKERS.into_iter().find(|name| holds(&folder.join(name))) {
            return Some((folder.to_owned(), marker));
        }
        if users == Some(folder) {
            return None;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_first_goes_first() {
        let path = |name: &str| Some(PathBuf::from(name));
        let marked = || Some((PathBuf::from("club"), MARKER));
        let home = |name: &str, why| {
            Some(Home {
                folder: name.into(),
                why,
            })
        };
        let all = choose(path("a"), path("e"), marked(), path("own"));
        assert_eq!(all, home("a", Why::Named));
        let no_argument = choose(None, path("e"), marked(), path("own"));
        assert_eq!(no_argument, home("e", Why::Environment));
        for environment in [None, path("")] {
            let neither = choose(None, environment, marked(), path("own"));
            assert_eq!(neither, home("club", Why::Marked(MARKER)));
        }
        assert_eq!(choose(None, None, None, path("own")), home("own", Why::Own));
        assert_eq!(choose(None, None, None, None), None);
    }

    /// The marked folder above `/srv/club/cups/today`, where these files are.
    fn found(
        files: &[&str],
        users: Option<&str>,
        owned_from: &str,
    ) -> Option<(PathBuf, &'static str)> {
        marked(
            Path::new("/srv/club/cups/today"),
            users.map(Path::new),
            |path| files.iter().any(|file| Path::new(file) == path),
            |_, folder| folder.starts_with(owned_from),
        )
    }

    #[test]
    fn the_nearest_marked_folder_is_found_from_below() {
        let club = |marker| Some((PathBuf::from("/srv/club"), marker));
        assert_eq!(found(&["/srv/club/cuptally.toml"], None, "/"), club(MARKER));
        assert_eq!(
            found(&["/srv/club/stock.json"], None, "/"),
            club("stock.json")
        );
        let taught = "calibration/swatches.json";
        assert_eq!(
            found(&["/srv/club/calibration/swatches.json"], None, "/"),
            club(taught)
        );
        let both = ["/srv/cuptally.toml", "/srv/club/stock.json"];
        assert_eq!(found(&both, None, "/"), club("stock.json"));
        assert_eq!(found(&["/srv/club/stock.csv"], None, "/"), None);
    }

    #[test]
    fn the_way_up_ends_at_the_users_folder_and_where_others_own() {
        let above = ["/srv/cuptally.toml"];
        assert!(found(&above, Some("/srv"), "/").is_some());
        assert_eq!(found(&above, Some("/srv/club"), "/"), None);
        assert_eq!(found(&above, None, "/srv/club"), None);
        // Wherever one is, that folder itself counts.
        let here = ["/srv/club/cups/today/stock.json"];
        assert!(found(&here, None, "/none").is_some());
    }
}
