//! What the page may ask of the program, each as the command that does it.
//!
//! Whatever the page names stands behind `=` or `--`, so that no name is taken for an option.

use std::ffi::OsString;
use std::path::Path;

use serde::Deserialize;

use super::words::Command;

/// Why a question becomes no command.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unasked {
    /// A name with a comma, where names are told in a list.
    #[error(
        "the colour '{0}' has a comma in its name, and commas stand between names; leave it out"
    )]
    Comma(String),
    /// A piece without a name.
    #[error("piece {0} has no name; give each piece one")]
    NoName(usize),
}

/// By what the stock is gathered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// A cup, a drawer.
    Place,
    /// Form and size.
    Piece,
    /// Colour.
    Colour,
}

impl By {
    fn word(self) -> &'static str {
        match self {
            Self::Place => "place",
            Self::Piece => "piece",
            Self::Colour => "colour",
        }
    }
}

/// What can have another name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Named {
    /// A place.
    Place,
    /// A colour, taught or in the stock.
    Colour,
}

/// What the page asks for beside counts.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Ask {
    /// What is owned.
    Stock {
        /// Gathered by.
        by: By,
    },
    /// Who changed what and when, newest first.
    History {
        /// Whether all of it.
        #[serde(default)]
        all: bool,
    },
    /// Pieces come in by number.
    Put {
        /// `20 plate 2x4 rose`, each.
        pieces: Vec<String>,
        /// Where they go.
        place: String,
        /// What to remember.
        #[serde(default)]
        note: String,
        /// Whether a colour is new.
        #[serde(default)]
        new: bool,
    },
    /// Pieces go out.
    Take {
        /// As for putting.
        pieces: Vec<String>,
        /// From where.
        from: String,
        /// What to remember.
        #[serde(default)]
        note: String,
    },
    /// Pieces go elsewhere.
    Move {
        /// As for putting; none for everything.
        pieces: Vec<String>,
        /// From where.
        from: String,
        /// To where.
        to: String,
    },
    /// Another name for a place or a colour.
    Rename {
        /// Which of the two.
        what: Named,
        /// Until now.
        old: String,
        /// From now on.
        new: String,
        /// Whether the two become one.
        #[serde(default)]
        merge: bool,
    },
    /// An entry of the history is undone.
    Undo {
        /// Its number.
        entry: u64,
    },
    /// What an entry left pending is taken as counted.
    Confirm {
        /// Its number.
        entry: u64,
    },
    /// What is taught.
    Colours {},
    /// A taught colour goes.
    Forget {
        /// Its name.
        colour: String,
    },
    /// How far what was called sure could be trusted.
    Record {},
    /// The shapes that pieces may have.
    Shapes {},
    /// A light is measured, and the printed card.
    Calibrate {
        /// The photo's name.
        photo: String,
        /// What the light is called.
        light: String,
        /// Whether the card is measured too.
        #[serde(default)]
        print: bool,
    },
    /// Colours are learned from a photo.
    Teach {
        /// The photo's name.
        photo: String,
        /// What the pieces are called.
        names: Vec<String>,
        /// A place on each of them, px of the upright photo.
        at: Vec<[f64; 2]>,
        /// What the light is called.
        light: String,
        /// What form they have, where they are of one.
        #[serde(default)]
        form: Option<String>,
    },
    /// What a plan comes to.
    Check {
        /// The plan's name.
        plan: String,
        /// The name of a list of offers to look at with it.
        #[serde(default)]
        offers: Option<String>,
    },
    /// How far the stock reaches.
    Cover {
        /// The plan's name.
        plan: String,
        /// The name of a list of offers.
        #[serde(default)]
        offers: Option<String>,
        /// Whether the lists go by the lowest counts.
        #[serde(default)]
        certain: bool,
        /// Whether what is to be fetched is taken out.
        #[serde(default)]
        take: bool,
    },
}

/// Where the files lie that the page calls by name.
#[derive(Clone, Copy, Debug)]
pub struct Folders<'a> {
    /// Photos.
    pub photos: &'a Path,
    /// Plans and offers.
    pub plans: &'a Path,
}

impl Ask {
    /// The command's arguments, without the home folder.
    ///
    /// # Errors
    /// When what is asked cannot be told to a command.
    pub fn command(&self, folders: &Folders<'_>) -> Result<Vec<OsString>, Unasked> {
        let mut command = Command::default();
        match self {
            Self::Stock { by } => command.words(&["stock", "--json"]).option("by", by.word()),
            Self::History { all } => (command.words(&["stock", "history", "--json"]))
                .words(&[if *all { "--all" } else { "--last=40" }]),
            Self::Put {
                pieces,
                place,
                note,
                new,
            } => (command.words(&["stock", "put", "--json"]))
                .flag("new", *new)
                .option("place", place)
                .unless_empty("note", note)
                .rest(pieces),
            Self::Take { pieces, from, note } => (command.words(&["stock", "take", "--json"]))
                .option("from", from)
                .unless_empty("note", note)
                .rest(pieces),
            Self::Move { pieces, from, to } => (command.words(&["stock", "move", "--json"]))
                .option("from", from)
                .option("to", to)
                .rest(pieces),
            Self::Rename {
                what: Named::Place,
                old,
                new,
                merge,
            } => (command.words(&["stock", "rename", "--json"]))
                .flag("merge", *merge)
                .rest(&["place".to_owned(), old.clone(), new.clone()]),
            Self::Rename {
                what: Named::Colour,
                old,
                new,
                merge,
            } => command
                .words(&["colours", if *merge { "merge" } else { "rename" }])
                .rest(&[old.clone(), new.clone()]),
            Self::Undo { entry } => {
                (command.words(&["stock", "undo", "--json"])).rest(&[entry.to_string()])
            }
            Self::Confirm { entry } => {
                (command.words(&["stock", "confirm", "--json"])).rest(&[entry.to_string()])
            }
            Self::Colours {} => command.words(&["colours", "--json"]),
            Self::Forget { colour } => {
                (command.words(&["colours", "forget"])).rest(std::slice::from_ref(colour))
            }
            Self::Record {} => command.words(&["record", "--json"]),
            Self::Shapes {} => command.words(&["shapes", "--json"]),
            Self::Calibrate {
                photo,
                light,
                print,
            } => (command.words(&["calibrate", "--json"]))
                .flag("print", *print)
                .option("light", light)
                .file(folders.photos, photo),
            Self::Teach {
                photo,
                names,
                at,
                light,
                form,
            } => {
                for (name, number) in names.iter().zip(1..) {
                    if name.trim().is_empty() {
                        return Err(Unasked::NoName(number));
                    }
                    if name.contains(',') {
                        return Err(Unasked::Comma(name.clone()));
                    }
                }
                command.words(&["teach", "--json"]);
                for [x, y] in at {
                    command.option("at", &format!("{x},{y}"));
                }
                command
                    .option("names", &names.join(","))
                    .option("light", light)
                    .option("form", form.as_deref().unwrap_or("any"))
                    .file(folders.photos, photo)
            }
            Self::Check { plan, offers } => {
                command.words(&["plan", "check", "--json"]);
                if let Some(offers) = offers {
                    command.path_option("offers", &folders.plans.join(offers));
                }
                command.file(folders.plans, plan)
            }
            Self::Cover {
                plan,
                offers,
                certain,
                take,
            } => {
                command
                    .words(&["cover", "--json"])
                    .flag("certain", *certain)
                    .flag("take", *take);
                if let Some(offers) = offers {
                    command.path_option("offers", &folders.plans.join(offers));
                }
                command.file(folders.plans, plan)
            }
        };
        Ok(command.0)
    }

    /// The files of the photos' folder that it reads.
    pub fn photos(&self) -> Option<&str> {
        match self {
            Self::Calibrate { photo, .. } | Self::Teach { photo, .. } => Some(photo),
            _ => None,
        }
    }

    /// The files of the plans' folder that it reads.
    pub fn plans(&self) -> Vec<&str> {
        match self {
            Self::Check { plan, offers } | Self::Cover { plan, offers, .. } => {
                std::iter::once(plan.as_str())
                    .chain(offers.as_deref())
                    .collect()
            }
            _ => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn told(json: &str) -> Result<Vec<String>, Unasked> {
        let ask: Ask = serde_json::from_str(json).unwrap();
        let folders = Folders {
            photos: Path::new("photos"),
            plans: Path::new("plans"),
        };
        let words = ask.command(&folders)?;
        Ok(words
            .into_iter()
            .map(|word| word.into_string().unwrap())
            .collect())
    }

    #[test]
    fn a_question_is_a_command_in_which_no_name_passes_for_an_option() {
        let put = r#"{"do":"put","pieces":["20 plate 2x4 kelp"],"place":"--new","note":" "}"#;
        let words = [
            "stock",
            "put",
            "--json",
            "--place=--new",
            "--",
            "20 plate 2x4 kelp",
        ];
        assert_eq!(told(put).unwrap(), words);
        let cover = r#"{"do":"cover","plan":"-take.csv","offers":"wall.json"}"#;
        let words = [
            "cover",
            "--json",
            "--offers=plans/wall.json",
            "--",
            "plans/-take.csv",
        ];
        assert_eq!(told(cover).unwrap(), words);
        let all = r#"{"do":"move","pieces":[],"from":"cup 1","to":"cup 2"}"#;
        let words = [
            "stock",
            "move",
            "--json",
            "--from=cup 1",
            "--to=cup 2",
            "--",
        ];
        assert_eq!(told(all).unwrap(), words);
    }

    #[test]
    fn names_that_a_list_cannot_hold_are_refused() {
        let teach = |names: &str| {
            told(&format!(
                r#"{{"do":"teach","photo":"a.jpg","light":"day","names":{names},"at":[[3,4.5],[8,9]]}}"#
            ))
        };
        assert_eq!(
            teach(r#"["kelp","a,b"]"#),
            Err(Unasked::Comma("a,b".into()))
        );
        assert_eq!(teach(r#"["kelp"," "]"#), Err(Unasked::NoName(2)));
        let words = teach(r#"["kelp","fog"]"#).unwrap();
        assert!(words.contains(&"--names=kelp,fog".to_owned()), "{words:?}");
        assert_eq!(words[2..4], ["--at=3,4.5", "--at=8,9"]);
    }

    #[test]
    fn what_is_no_question_of_the_page_is_refused() {
        for json in [
            r#"{"do":"demo"}"#,
            r#"{"do":"stock"}"#,
            r#"{"do":"undo","entry":3,"home":"elsewhere"}"#,
            r#"{"do":"undo","entry":-1}"#,
        ] {
            assert!(serde_json::from_str::<Ask>(json).is_err(), "{json}");
        }
    }
}
