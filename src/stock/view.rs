//! The stock as a person asks for it: by place, by piece or by colour, all or a part.

use super::kind::{Kind, Name, Size};
use super::lots::Lots;
use super::model::{Contents, PendingSheet};
use super::natural::{Run, natural_order};
use super::tally::{Tally, TallyError};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

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
    /// Where they are.
    pub places: BTreeSet<Name>,
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
/// in either case, in its place, form, size and colour. No words match all.
///
/// # Errors
/// When there are too many pieces to add up.
pub fn view(contents: &Contents, by: By, find: &str) -> Result<View, TallyError> {
    let words: Vec<String> = find.split_whitespace().map(str::to_lowercase).collect();
    let matches = |place: &Name, kind: &Kind| {
        let text = format!("{place} {kind}").to_lowercase();
        words.iter().all(|word| text.contains(word))
    };
    let mut groups: BTreeMap<Vec<Run>, (String, BTreeMap<Kind, Row>)> = BTreeMap::new();
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
            let row = rows.entry(kind.clone()).or_insert_with(|| Row::of(kind));
            row.places.insert(place.clone());
            row.numbers.add(if pending {
                Numbers {
                    pending: tally,
                    ..Numbers::default()
                }
            } else {
                Numbers {
                    checked: tally,
                    ..Numbers::default()
                }
            })?;
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
        for row in &group.rows {
            group.total.add(row.numbers)?;
        }
        view.total.add(group.total)?;
        view.groups.push(group);
    }
    Ok(view)
}

impl Row {
    fn of(kind: &Kind) -> Self {
        Self {
            form: kind.form.clone(),
            size: kind.size,
            colour: kind.colour.clone(),
            places: BTreeSet::new(),
            numbers: Numbers::default(),
        }
    }
}
