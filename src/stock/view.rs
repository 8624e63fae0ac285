//! The stock as a person asks for it: by place, by piece or by colour, all or a part.

use super::kind::{Kind, Name, Size};
use super::lots::Lots;
use super::model::{Contents, PendingSheet};
use super::natural::{Run, natural_order};
use super::tally::{Tally, TallyError};
use serde::Serialize;
use std::collections::BTreeMap;

/// What the rows are gathered under.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// Each place, with what is in it.
    #[default]
    Place,
    /// Each form and size, with its colours.
    Piece,
    /// Each colour, with its forms and sizes.
    Colour,
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct View {
    /// How it is gathered.
    pub by: By,
    /// The groups, numbers in names in their natural order.
    pub groups: Vec<Group>,
    /// All of it together.
    pub total: Numbers,
    /// Pending sheets that have a part in it.
    pub pending: Vec<PendingSheet>,
}

/// One place, piece or colour.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Group {
    /// Which.
    pub name: String,
    /// All of it together.
    pub total: Numbers,
    /// By form, size and colour.
    pub rows: Vec<Row>,
}

/// One kind of piece in a group.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// As in [`Kind`].
    pub form: Name,
    /// As in [`Kind`].
    pub size: Size,
    /// As in [`Kind`].
    pub colour: Name,
    /// Where they are, numbers in names in their natural order.
    pub places: Vec<Held>,
    /// How many.
    #[serde(flatten)]
    pub numbers: Numbers,
}

/// How many of one kind one place holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Held {
    /// Where.
    pub place: Name,
    /// How many.
    #[serde(flatten)]
    pub numbers: Numbers,
}

/// How many, by whether a person has looked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Numbers {
    /// A person has looked.
    pub checked: Tally,
    /// Nobody has looked yet.
    pub pending: Tally,
}

impl Numbers {
    fn add(&mut self, other: Self) -> Result<(), TallyError> {
        self.checked = self.checked.plus(other.checked)?;
        self.pending = self.pending.plus(other.pending)?;
        Ok(())
    }
}

/// Gathers what matches. `find` is words; a row matches when each of them occurs,
/// in either case, in its place, form, size or colour. A word that is a size finds that
/// size only, and a number a whole number of a name only. No words match all.
///
/// # Errors
/// When there are too many pieces to add up.
pub fn view(contents: &Contents, by: By, find: &str) -> Result<View, TallyError> {
    let words: Vec<Word> = find.split_whitespace().map(Word::new).collect();
    let matches = |place: &Name, kind: &Kind| {
        words.is_empty() || {
            let text = format!("{place} {} {}", kind.form, kind.colour).to_lowercase();
            words.iter().all(|word| word.is_in(&text, kind.size))
        }
    };
    let mut groups: BTreeMap<Vec<Run>, (String, BTreeMap<RowKey, Row>)> = BTreeMap::new();
    let mut gather = |place: &Name, lots: &Lots, pending: bool| -> Result<bool, TallyError> {
        let mut any = false;
        for (kind, tally) in lots.iter().filter(|(kind, _)| matches(place, kind)) {
            any = true;
            let name = match by {
                By::Place => place.to_string(),
                By::Piece => format!("{} {}", kind.form, kind.size),
                By::Colour => kind.colour.to_string(),
            };
            let (_, rows) = groups
                .entry(natural_order(&name))
                .or_insert_with(|| (name, BTreeMap::new()));
            let row = rows.entry(row_key(kind)).or_insert_with(|| Row::of(kind));
            let numbers = if pending {
                Numbers {
                    pending: tally,
                    ..Numbers::default()
                }
            } else {
                Numbers {
                    checked: tally,
                    ..Numbers::default()
                }
            };
            row.numbers.add(numbers)?;
            row.hold(place, numbers)?;
        }
        Ok(any)
    };
    for (place, lots) in &contents.places {
        gather(place, lots, false)?;
    }
    let mut pending = Vec::new();
    for sheet in &contents.pending {
        let whole = sheet.lots.is_empty() && words.is_empty();
        if gather(&sheet.place, &sheet.lots, true)? || whole {
            pending.push(sheet.clone());
        }
    }
    let mut view = View {
        by,
        groups: Vec::new(),
        total: Numbers::default(),
        pending,
    };
    for (name, rows) in groups.into_values() {
        let mut group = Group {
            name,
            total: Numbers::default(),
            rows: rows.into_values().collect(),
        };
        for row in &mut group.rows {
            row.places
                .sort_by_cached_key(|held| natural_order(held.place.as_str()));
            group.total.add(row.numbers)?;
        }
        view.total.add(group.total)?;
        view.groups.push(group);
    }
    Ok(view)
}

/// Form, size, colour: `grey 2` before `grey 10`.
type RowKey = (Vec<Run>, Size, Vec<Run>);

fn row_key(kind: &Kind) -> RowKey {
    let natural = |name: &Name| natural_order(name.as_str());
    (natural(&kind.form), kind.size, natural(&kind.colour))
}

/// A word that is looked for.
enum Word {
    /// A size, turned either way: `1x1` is not meant to find `1x16`.
    Size(Size, String),
    /// A number as it stands in a name: `cup 8` is not meant to find `cup 18`, nor what measures
    /// 2x8 in another cup.
    Number(String),
    /// Any part of a name.
    Text(String),
}

impl Word {
    fn new(word: &str) -> Self {
        let lower = word.to_lowercase();
        match Size::new(word) {
            Ok(size) => Self::Size(size, lower),
            Err(_) if word.bytes().all(|b| b.is_ascii_digit()) => Self::Number(lower),
            Err(_) => Self::Text(lower),
        }
    }

    /// A name may hold what looks like a size, so that is looked for as well.
    fn is_in(&self, names: &str, size: Size) -> bool {
        match self {
            Self::Size(wanted, text) => *wanted == size || names.split(' ').any(|n| n == text),
            Self::Number(number) => {
                let mut runs = names.split(|c: char| !c.is_numeric());
                runs.any(|run| run == number)
            }
            Self::Text(text) => names.contains(text) || size.to_string().contains(text),
        }
    }
}

impl Row {
    fn hold(&mut self, place: &Name, more: Numbers) -> Result<(), TallyError> {
        match self.places.iter_mut().find(|held| held.place == *place) {
            Some(held) => held.numbers.add(more)?,
            None => self.places.push(Held {
                place: place.clone(),
                numbers: more,
            }),
        }
        Ok(())
    }

    fn of(kind: &Kind) -> Self {
        Self {
            form: kind.form.clone(),
            size: kind.size,
            colour: kind.colour.clone(),
            places: Vec::new(),
            numbers: Numbers::default(),
        }
    }
}
