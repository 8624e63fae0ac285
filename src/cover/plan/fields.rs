//! One object of a plan file as its properties, whichever format it came from,
//! and where it stands.

use super::fault::{Fault, Mistake};
use crate::stock::kind::{Name, fit_to_show};
use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;
use serde_json::value::RawValue;
use std::fmt;

/// An object's properties in order, doubles kept, so that they can be told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fields {
    /// The line of the file where it begins, from 1.
    pub at: u64,
    pairs: Vec<(String, Value)>,
}

impl<'de> Deserialize<'de> for Fields {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Pairs;
        impl<'de> Visitor<'de> for Pairs {
            type Value = Fields;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object in braces")
            }

            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Fields, M::Error> {
                let mut fields = Fields::default();
                while let Some(pair) = map.next_entry()? {
                    fields.pairs.push(pair);
                }
                Ok(fields)
            }
        }
        deserializer.deserialize_map(Pairs)
    }
}

impl Fields {
    /// From a table's row.
    pub fn new(at: u64, pairs: Vec<(String, Value)>) -> Self {
        Self { at, pairs }
    }

    /// Reads a part of a JSON text as one object.
    ///
    /// # Errors
    /// When it is none.
    pub fn of_json(whole: &str, part: &RawValue) -> Result<Self, Fault> {
        let at = line_of(whole, part.get());
        let mut fields: Self = serde_json::from_str(part.get()).map_err(|error| Fault {
            line: at,
            what: Mistake::Shape(format!(
                "an object in braces belongs here, not {}",
                Shown::of_text(part.get(), &error)
            )),
        })?;
        fields.at = at;
        Ok(fields)
    }

    /// One more property.
    pub fn add(&mut self, name: String, value: Value) {
        self.pairs.push((name, value));
    }

    /// What a property says; `null` says nothing.
    pub fn get(&self, name: &str) -> Option<&Value> {
        let pairs = self.pairs.iter();
        pairs
            .rev()
            .find(|(key, value)| key == name && !value.is_null())
            .map(|(_, value)| value)
    }

    /// A fault of this object.
    pub fn fault(&self, what: Mistake) -> Fault {
        Fault {
            line: self.at,
            what,
        }
    }

    /// Properties that are said twice or mean nothing.
    pub fn strangers(&self, known: &[&str], faults: &mut Vec<Fault>) {
        for (index, (key, _)) in self.pairs.iter().enumerate() {
            if !known.contains(&key.as_str()) {
                faults.push(self.fault(Mistake::Unknown {
                    found: fit_to_show(key),
                    known: known.join(", "),
                }));
            } else if self.pairs.iter().take(index).any(|(other, _)| other == key) {
                faults.push(self.fault(Mistake::Twice(key.clone())));
            }
        }
    }

    /// A name that must be there.
    ///
    /// # Errors
    /// When it is missing or no name.
    pub fn name(&self, field: &'static str) -> Result<Name, Fault> {
        match self.get(field) {
            None => Err(self.fault(Mistake::Missing(field))),
            Some(Value::String(text)) => Name::new(text)
                .map_err(|cause| self.fault(Mistake::Name(format!("'{field}': {cause}")))),
            Some(other) => Err(self.fault(Mistake::Shape(format!(
                "'{field}' is {}; write it as text in quotes",
                Shown(other)
            )))),
        }
    }

    /// A whole number within bounds, or none if it is not there.
    ///
    /// # Errors
    /// When it is anything else.
    pub fn number(&self, field: &'static str, least: u64, most: u64) -> Result<Option<u64>, Fault> {
        let Some(value) = self.get(field) else {
            return Ok(None);
        };
        match value.as_u64() {
            Some(number) if (least..=most).contains(&number) => Ok(Some(number)),
            _ => Err(self.fault(Mistake::Number {
                field,
                found: Shown(value).to_string(),
                least,
                most,
            })),
        }
    }
}

/// The line of a text on which a part of it begins, from 1. The part must be
/// borrowed from the text.
pub fn line_of(whole: &str, part: &str) -> u64 {
    let offset = (part.as_ptr() as usize).saturating_sub(whole.as_ptr() as usize);
    let before = whole.as_bytes().get(..offset).unwrap_or_default();
    1 + before.iter().filter(|&&byte| byte == b'\n').count() as u64
}

/// A value as a sentence shows it: short, on one line.
pub struct Shown<'a>(pub &'a Value);

impl Shown<'_> {
    /// The longest value that is shown as it is, in characters.
    const LONGEST: usize = 30;

    fn of_text(text: &str, error: &serde_json::Error) -> String {
        serde_json::from_str::<Value>(text).map_or_else(
            |_| fit_to_show(&error.to_string()),
            |value| Shown(&value).to_string(),
        )
    }
}

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self.0 {
            Value::Object(_) => "an object".to_owned(),
            Value::Array(_) => "a list".to_owned(),
            Value::String(text) => format!("'{}'", fit_to_show(text)),
            other => other.to_string(),
        };
        if text.chars().count() > Self::LONGEST {
            let short: String = text.chars().take(Self::LONGEST).collect();
            write!(f, "{short}...")
        } else {
            f.write_str(&text)
        }
    }
}
