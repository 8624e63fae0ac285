//! A sheet as JSON with a piece, a group or a correction on each line: short to write,
//! and `diff` shows what changed.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};

/// Objects down to this depth have a line for each property: the sheet, and its parts.
const OBJECTS: usize = 2;
/// Lists down to this depth have a line for each entry: pieces, groups, corrections.
const LISTS: usize = 3;

/// Writes a value so, with a line's end after it.
///
/// # Errors
/// When it cannot be put into JSON.
pub fn to_vec(value: &impl Serialize) -> Result<Vec<u8>, serde_json::Error> {
    let mut bytes = Vec::new();
    let mut to = Serializer::with_formatter(&mut bytes, Lines::default());
    value.serialize(&mut to)?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// What is open at the moment: of each, whether its parts have lines of their own, and
/// whether it has any part yet.
#[derive(Default)]
struct Lines {
    open: Vec<(bool, bool)>,
}

impl Lines {
    fn begin(&mut self, limit: usize) {
        let depth = self.open.len() + 1;
        let inside = self.open.last().is_none_or(|(lines, _)| *lines);
        self.open.push((inside && depth <= limit, false));
    }

    fn part<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        let depth = self.open.len();
        if !first {
            writer.write_all(b",")?;
        }
        if let Some((lines, any)) = self.open.last_mut() {
            *any = true;
            if *lines {
                return new_line(writer, depth);
            }
        }
        if first {
            Ok(())
        } else {
            writer.write_all(b" ")
        }
    }

    fn end<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        if let Some((true, true)) = self.open.pop() {
            new_line(writer, self.open.len())?;
        }
        writer.write_all(bracket)
    }
}

fn new_line<W: ?Sized + Write>(writer: &mut W, depth: usize) -> io::Result<()> {
    writer.write_all(b"\n")?;
    (0..depth).try_for_each(|_| writer.write_all(b"  "))
}

impl Formatter for Lines {
    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.begin(LISTS);
        writer.write_all(b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.part(writer, first)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.begin(OBJECTS);
        writer.write_all(b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.end(writer, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(
        &mut self,
        writer: &mut W,
        first: bool,
    ) -> io::Result<()> {
        self.part(writer, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;
    use serde_json::{Value, json};

    #[test]
    fn every_piece_has_a_line() {
        let sheet = json!({
            "pieces": [{ "id": 1, "outline_px": [[1, 2], [3, 4]] }, { "id": 2 }],
            "review": { "guess": { "pieces": [] }, "steps": [{ "what": "accept" }] },
            "warnings": [],
        });
        let text = String::from_utf8(to_vec(&sheet).unwrap()).unwrap();
        let want = r#"{
  "pieces": [
    {"id": 1, "outline_px": [[1, 2], [3, 4]]},
    {"id": 2}
  ],
  "review": {
    "guess": {"pieces": []},
    "steps": [
      {"what": "accept"}
    ]
  },
  "warnings": []
}
"#;
        assert_eq!(text, want);
    }

    fn value() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            any::<i32>().prop_map(Value::from),
            ".*".prop_map(Value::from),
        ];
        leaf.prop_recursive(5, 40, 4, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
                prop::collection::btree_map(".*", inner, 0..4)
                    .prop_map(|map| Value::Object(map.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, rng_seed: proptest::test_runner::RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]
        /// Another reader of JSON reads the same back, whatever it is.
        #[test]
        fn it_reads_back_the_same(value in value()) {
            let bytes = to_vec(&value).unwrap();
            prop_assert_eq!(serde_json::from_slice::<Value>(&bytes).unwrap(), value);
        }
    }
}
