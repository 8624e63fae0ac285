//! What can be bought: the user's own list of prices, by piece and by cup.

mod equal;

use super::packing::{self, Holds};
use super::plan::fault::Mistake;
use super::plan::fields::Fields;
use super::plan::{Fault, MOST_PIECES};
use crate::pieces::Shapes;
use crate::stock::kind::{Kind, Label, Name, Size, fit_to_show};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use std::collections::BTreeMap;

/// The format's version, as files say it.
pub const VERSION: &str = "v1";

/// The dearest that a piece or a cup may be: a typing error otherwise.
pub const DEAREST: f64 = 1_000_000.0;

/// The largest cup, in millilitres: a cubic metre.
pub const LARGEST_ML: f64 = 1_000_000.0;

/// The most offers, equal ones counted once. A plan of 1,000 lines with 2,000 offers of cups was
/// answered in 14 s on two cores, one with as many by the piece in 6 s.
pub const MOST_OFFERS: usize = 2_000;

/// The most offers of one kind that are sold in lots: by the cup, or no fewer than some number at
/// a time. Each is a whole number to be found: 10 kinds with 20 each take 5 s, with 50 each 16 s,
/// with 100 each more than 30 s.
pub const MOST_LOTS_OF_A_KIND: usize = 20;

/// What can be bought.
#[derive(Clone, Debug, PartialEq)]
pub struct Offers {
    /// What prices are in; shown as it is.
    pub currency: Option<Label>,
    /// In the file's order.
    pub list: Vec<Offer>,
}

/// One thing that can be bought.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// What it is.
    pub kind: Kind,
    /// For one piece or one cup, the multiplier already applied.
    pub price: f64,
    /// How it is sold.
    pub sold: Sold,
    /// Where it stands in the file, a line number from 1.
    pub at: u64,
}

/// How something is sold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sold {
    /// Piece by piece.
    Pieces {
        /// No fewer than this at a time.
        minimum: u64,
        /// No more than this in all.
        most: u64,
    },
    /// In whole cups.
    Cups {
        /// How many pieces one holds.
        holds: Holds,
        /// No more cups than this.
        most: u64,
    },
}

impl Offer {
    /// Whether it takes part in filling a demand.
    pub fn is_cup(&self) -> bool {
        matches!(self.sold, Sold::Cups { .. })
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Whole<'a> {
    offers: String,
    #[serde(default)]
    currency: Option<String>,
    #[serde(default)]
    multiplier: Option<Value>,
    #[serde(default, borrow)]
    pieces: Vec<&'a RawValue>,
    #[serde(default, borrow)]
    cups: Vec<&'a RawValue>,
}

#[derive(Deserialize)]
struct Head {
    offers: String,
}

/// Why a file of offers cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum OffersError {
    /// Not UTF-8.
    #[error("it is not UTF-8 text; save it as UTF-8")]
    NotText,
    /// Not JSON, or not this JSON.
    #[error("line {line}: this is not how offers are written: {cause}; docs/cover.md shows how")]
    Shape {
        /// Where.
        line: usize,
        /// What the reader said.
        cause: Label,
    },
    /// Another version.
    #[error(
        "its offers are of version '{0}', and this program reads v1; a newer cuptally may read it"
    )]
    Version(Label),
    /// Nothing in it.
    #[error("it offers nothing; list at least one piece or cup")]
    Empty,
    /// More than can be weighed against each other.
    #[error(
        "it has {0} different offers, and at most {MOST_OFFERS} can be weighed; leave out those of pieces that the plan does not need"
    )]
    TooMany(usize),
    /// Too many of one kind.
    #[error(
        "{kind} is offered by the cup or with a minimum in {found} ways, and at most {MOST_LOTS_OF_A_KIND} can be weighed; keep the cheapest"
    )]
    TooManyLots {
        /// Of what.
        kind: Box<Kind>,
        /// How many.
        found: usize,
    },
    /// Mistakes in places.
    #[error("{}", .0.iter().map(Fault::to_string).collect::<Vec<_>>().join("\n  "))]
    Faults(Vec<Fault>),
}

/// Reads offers.
///
/// # Errors
/// When it is no such file, or parts of it are wrong: all of them are told, with lines.
pub fn read(bytes: &[u8], shapes: Shapes) -> Result<Offers, OffersError> {
    let text = std::str::from_utf8(bytes).map_err(|_| OffersError::NotText)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if let Ok(head) = serde_json::from_str::<Head>(text)
        && head.offers != VERSION
    {
        return Err(OffersError::Version(Label::new(&head.offers)));
    }
    let whole: Whole = serde_json::from_str(text).map_err(|error| OffersError::Shape {
        line: error.line(),
        cause: Label::new(&error.to_string()),
    })?;
    debug_assert_eq!(whole.offers, VERSION);
    let mut faults = Vec::new();
    let top = Fields::new(1, Vec::new());
    let everywhere = match &whole.multiplier {
        None => 1.0,
        Some(value) => factor(&top, value).unwrap_or_else(|fault| {
            faults.push(fault);
            1.0
        }),
    };
    let mut list = Vec::new();
    for (part, is_cup) in whole
        .pieces
        .iter()
        .map(|part| (part, false))
        .chain(whole.cups.iter().map(|part| (part, true)))
    {
        match Fields::of_json(text, part).and_then(|fields| {
            fields_known(&fields, is_cup, &mut faults);
            offer(&fields, is_cup, everywhere, shapes)
        }) {
            Ok(offer) => list.push(offer),
            Err(fault) => faults.push(fault),
        }
    }
    if !faults.is_empty() {
        faults.sort_by_key(|fault| fault.line);
        return Err(OffersError::Faults(faults));
    }
    if list.is_empty() {
        return Err(OffersError::Empty);
    }
    let list = equal::merged(list);
    few_enough(&list)?;
    Ok(Offers {
        currency: whole.currency.as_deref().map(Label::new),
        list,
    })
}

fn few_enough(list: &[Offer]) -> Result<(), OffersError> {
    if list.len() > MOST_OFFERS {
        return Err(OffersError::TooMany(list.len()));
    }
    let mut lots: BTreeMap<&Kind, usize> = BTreeMap::new();
    for offer in list {
        if offer.is_cup() || matches!(offer.sold, Sold::Pieces { minimum, .. } if minimum > 1) {
            *lots.entry(&offer.kind).or_default() += 1;
        }
    }
    match lots
        .into_iter()
        .find(|&(_, found)| found > MOST_LOTS_OF_A_KIND)
    {
        Some((kind, found)) => Err(OffersError::TooManyLots {
            kind: Box::new(kind.clone()),
            found,
        }),
        None => Ok(()),
    }
}

fn fields_known(fields: &Fields, is_cup: bool, faults: &mut Vec<Fault>) {
    let known: &[&str] = if is_cup {
        &[
            "form",
            "size",
            "colour",
            "price",
            "multiplier",
            "volume_ml",
            "holds",
            "most",
        ]
    } else {
        &[
            "form",
            "size",
            "colour",
            "price",
            "multiplier",
            "minimum",
            "most",
        ]
    };
    fields.strangers(known, faults);
}

fn offer(fields: &Fields, is_cup: bool, everywhere: f64, shapes: Shapes) -> Result<Offer, Fault> {
    let size = match fields.get("size") {
        Some(Value::String(text)) => {
            Size::new(text).map_err(|cause| fields.fault(Mistake::Name(cause.to_string())))?
        }
        _ => return Err(fields.fault(Mistake::Missing("size"))),
    };
    let kind = Kind {
        form: fields.name("form")?,
        size,
        colour: fields.name("colour")?,
    };
    let price =
        amount(fields, "price", DEAREST)?.ok_or_else(|| fields.fault(Mistake::Missing("price")))?;
    let multiplier = match fields.get("multiplier") {
        None => everywhere,
        Some(value) => factor(fields, value)?,
    };
    let most = fields
        .number("most", 1, MOST_PIECES)?
        .unwrap_or(MOST_PIECES);
    let sold = if is_cup {
        Sold::Cups {
            holds: holds(fields, &kind.form, kind.size, shapes)?,
            most,
        }
    } else {
        let minimum = fields.number("minimum", 1, MOST_PIECES)?.unwrap_or(1);
        if minimum > most {
            return Err(fields.fault(Mistake::Shape(format!(
                "the offer contradicts itself: at least {minimum} at a time, but no more than \
                 {most} in all; change one"
            ))));
        }
        Sold::Pieces { minimum, most }
    };
    Ok(Offer {
        kind,
        price: price * multiplier,
        sold,
        at: fields.at,
    })
}

/// A number from 0 to `most`.
fn amount(fields: &Fields, field: &'static str, most: f64) -> Result<Option<f64>, Fault> {
    let Some(value) = fields.get(field) else {
        return Ok(None);
    };
    let good = value
        .as_f64()
        .filter(|number| number.is_finite() && (0.0..=most).contains(number));
    good.map(Some).ok_or_else(|| {
        fields.fault(Mistake::Shape(format!(
            "'{field}' is {}; say a number from 0 to {most}",
            fit_to_show(&value.to_string())
        )))
    })
}

/// A multiplier of prices: 0.8 is a fifth off.
fn factor(fields: &Fields, value: &Value) -> Result<f64, Fault> {
    let good = value
        .as_f64()
        .filter(|factor| factor.is_finite() && (0.01..=100.0).contains(factor));
    good.ok_or_else(|| {
        fields.fault(Mistake::Shape(format!(
            "'multiplier' is {}; say by what prices are multiplied, from 0.01 to 100: 0.8 is a \
             fifth off",
            fit_to_show(&value.to_string())
        )))
    })
}

/// Counted, or else estimated from the volume.
fn holds(fields: &Fields, form: &Name, size: Size, shapes: Shapes) -> Result<Holds, Fault> {
    if let Some(value) = fields.get("holds") {
        let wrong = || {
            fields.fault(Mistake::Shape(format!(
                "'holds' is {}; say how many pieces you counted in a cup, from 1: 310, or \
                 {{\"low\": 300, \"high\": 320}}",
                fit_to_show(&value.to_string())
            )))
        };
        let end = |name: &str| value.get(name).and_then(Value::as_u64);
        let (low, high) = match value {
            Value::Number(number) => number.as_u64().map(|number| (number, number)),
            Value::Object(object) if object.len() == 2 => end("low").zip(end("high")),
            _ => None,
        }
        .ok_or_else(wrong)?;
        if !(1 <= low && low <= high && high <= MOST_PIECES) {
            return Err(wrong());
        }
        return Ok(Holds {
            low,
            high,
            measured: true,
        });
    }
    let volume = amount(fields, "volume_ml", LARGEST_ML)?.ok_or_else(|| {
        fields.fault(Mistake::Shape(
            "a cup needs 'volume_ml', or 'holds' if you counted one".to_owned(),
        ))
    })?;
    let estimate = packing::estimate(volume, form, size, shapes).ok_or_else(|| {
        fields.fault(Mistake::Shape(format!(
            "how high a {form} is is not known, so its cup cannot be estimated; count one and say \
             'holds'"
        )))
    })?;
    if estimate.low == 0 {
        return Err(fields.fault(Mistake::Shape(format!(
            "a cup of {volume} ml may hold no {form} {size} at all; check 'volume_ml'"
        ))));
    }
    Ok(estimate)
}
