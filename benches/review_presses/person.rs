//! A scripted person who knows what lies on the tray and can see what the photo shows of it.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::matching::matched;
use crate::program::SaidPiece;
use crate::truth::Truth;

/// What a person sees that a piece is.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The form; none where one photo cannot tell it.
    pub form: Option<String>,
    /// Studs.
    pub size: String,
    /// Name.
    pub colour: String,
}

/// What a person makes of a counted piece.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// It is this.
    Is(Seen),
    /// No piece of its own lies there.
    Nothing,
    /// Less than half of it shows, so that nobody can say.
    Hidden,
}

/// What a piece is called.
#[derive(Clone, Debug, PartialEq)]
pub struct Called {
    /// Form.
    pub form: String,
    /// Studs.
    pub size: String,
    /// Name.
    pub colour: String,
}

impl Called {
    /// Of a piece as the page is told of it.
    pub fn of(piece: &Value) -> Self {
        let text = |key: &str| piece[key].as_str().unwrap_or_default().to_owned();
        Self {
            form: text("form"),
            size: text("size"),
            colour: text("colour"),
        }
    }
}

impl Seen {
    /// What of a call is wrong, in the order in which a person puts it right.
    pub fn wrong(&self, called: &Called) -> Vec<Field> {
        let form = match &self.form {
            Some(form) => *form != called.form,
            // Plate or tile, whichever is said.
            None => !["plate", "tile"].contains(&called.form.as_str()),
        };
        let mut wrong = Vec::new();
        if form {
            wrong.push(Field::Form);
        }
        if self.size != called.size {
            wrong.push(Field::Size);
        }
        if self.colour != called.colour {
            wrong.push(Field::Colour);
        }
        wrong
    }
}

/// A part of what a piece is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    Form,
    Size,
    Colour,
}

impl Field {
    /// Its key on the page.
    pub fn key(self) -> char {
        match self {
            Self::Form => 'f',
            Self::Size => 'z',
            Self::Colour => 'c',
        }
    }

    /// What the picker calls what is seen.
    pub fn label(self, seen: &Seen) -> String {
        match self {
            Self::Form => seen.form.clone().unwrap_or_else(|| "plate".to_owned()),
            Self::Size => seen.size.replace('x', "×"),
            Self::Colour => seen.colour.clone(),
        }
    }
}

impl Verdict {
    /// Whether a call is not to be left as it is.
    pub fn is_wrong(&self, called: &Called) -> bool {
        match self {
            Self::Is(seen) => !seen.wrong(called).is_empty(),
            Self::Nothing => true,
            Self::Hidden => false,
        }
    }
}

/// What the person makes of every piece of a sheet, by its id.
pub fn verdicts(truth: &Truth, said: &[SaidPiece]) -> BTreeMap<u64, Verdict> {
    let mut verdicts: BTreeMap<u64, Verdict> = (said.iter())
        .map(|piece| (u64::from(piece.id), Verdict::Nothing))
        .collect();
    for (piece, at) in truth.pieces.iter().zip(matched(truth, said)) {
        let Some(said) = at.and_then(|at| said.get(at)) else {
            continue;
        };
        let verdict = if piece.is_half_visible() {
            Verdict::Is(Seen {
                form: piece.shows_its_form().then(|| piece.form.clone()),
                size: piece.size.clone(),
                colour: piece.colour.clone(),
            })
        } else {
            Verdict::Hidden
        };
        verdicts.insert(u64::from(said.id), verdict);
    }
    verdicts
}
