//! Random operations on a stock, for the tests of its arithmetic.
#![allow(dead_code)] // each test file uses its part

use cuptally::stock::confirm::{self, Which};
use cuptally::stock::kind::Label;
use cuptally::stock::merge::{self, Incoming, Listing, Mode};
use cuptally::stock::moving;
use cuptally::stock::portion::Piece;
use cuptally::stock::rename::{self, Renamed, Subject};
use cuptally::stock::{
    Kind, Lots, Name, PhotoHash, Portion, Size, Stamp, Stock, Tally, take, undo,
};
use proptest::prelude::*;

/// One operation; places, kinds and photos by number.
#[derive(Clone, Debug)]
pub enum Op {
    Post(Option<Mode>, Vec<(usize, usize, bool, Vec<Count>)>),
    Import(Option<Mode>, Vec<(usize, bool, Vec<Count>)>),
    Confirm(usize),
    Take(Vec<(usize, usize, u64)>),
    Put(Vec<(usize, usize, u64)>),
    /// From, to, kind and how many (none: all of it); no kind: everything.
    Move(usize, usize, Option<(usize, Option<u64>)>),
    RenamePlace(usize, usize),
    RenameColour(usize, usize),
    Undo(Option<u64>),
}

/// Kind, low, count above low, high above count.
pub type Count = (usize, u64, u64, u64);

pub const PLACES: [&str; 4] = ["cup 1", "cup 2", "drawer", "quay"];
pub const KINDS: usize = 4;
pub const COLOURS: [&str; 2] = ["rose", "fog"];

fn counts() -> impl Strategy<Value = Vec<Count>> {
    prop::collection::vec((0..KINDS, 0..9u64, 0..3u64, 0..3u64), 0..4)
}

fn mode() -> impl Strategy<Value = Option<Mode>> {
    prop_oneof![Just(None), Just(Some(Mode::Add)), Just(Some(Mode::Recount))]
}

/// Operations that bring pieces, and undos.
pub fn coming() -> impl Strategy<Value = Op> {
    let sheet = (0..3usize, 0..12usize, any::<bool>(), counts());
    let part = (0..3usize, any::<bool>(), counts());
    prop_oneof![
        4 => (mode(), prop::collection::vec(sheet, 1..4)).prop_map(|(m, s)| Op::Post(m, s)),
        1 => (mode(), prop::collection::vec(part, 1..3)).prop_map(|(m, p)| Op::Import(m, p)),
        2 => (0..3usize).prop_map(Op::Confirm),
        4 => prop::option::of(1..20u64).prop_map(Op::Undo),
    ]
}

/// Operations that take pieces away, or elsewhere.
pub fn going() -> impl Strategy<Value = Op> {
    let portions = || prop::collection::vec((0..3usize, 0..KINDS, 0..6u64), 1..3);
    let some = (0..KINDS, prop::option::of(1..6u64));
    prop_oneof![
        3 => portions().prop_map(Op::Take),
        2 => portions().prop_map(Op::Put),
        3 => (0..4usize, 0..4usize, prop::option::of(some)).prop_map(|(a, b, k)| Op::Move(a, b, k)),
        1 => (0..4usize, 0..4usize).prop_map(|(a, b)| Op::RenamePlace(a, b)),
        1 => (0..2usize, 0..2usize).prop_map(|(a, b)| Op::RenameColour(a, b)),
    ]
}

/// All operations.
pub fn op() -> impl Strategy<Value = Op> {
    prop_oneof![
        3 => coming(),
        3 => going(),
        2 => (1..16u64).prop_map(|number| Op::Undo(Some(number))),
    ]
}

pub fn place(number: usize) -> Name {
    Name::new(PLACES[number]).unwrap()
}

pub fn kind(number: usize) -> Kind {
    let (size, colour) = [("1x2", 0), ("2x2", 0), ("2x4", 0), ("2x4", 1)][number];
    Kind {
        form: Name::new("plate").unwrap(),
        size: Size::new(size).unwrap(),
        colour: Name::new(COLOURS[colour]).unwrap(),
    }
}

pub fn lots(counts: &[Count]) -> Lots {
    let mut lots = Lots::default();
    for &(number, low, above, more) in counts {
        let tally = Tally::new(low + above, low, low + above + more).unwrap();
        lots.add(&kind(number), tally).unwrap();
    }
    lots
}

pub fn hash(photo: usize) -> PhotoHash {
    PhotoHash::try_from(format!("{photo:064x}")).unwrap()
}

pub fn stamp() -> Stamp {
    by("mara")
}

pub fn by(who: &str) -> Stamp {
    Stamp {
        time: "2026-05-02T10:12:00Z".parse().unwrap(),
        who: Label::new(who),
    }
}

pub fn portions(list: &[(usize, usize, u64)]) -> Vec<Portion> {
    let portion = |&(at, what, count): &(usize, usize, u64)| Portion {
        place: place(at),
        kind: kind(what),
        count,
    };
    list.iter().map(portion).collect()
}

pub fn apply(stock: &mut Stock, op: &Op, stamp: &Stamp) -> Result<(), String> {
    match op {
        Op::Post(mode, sheets) => {
            let sheets: Vec<Incoming> = sheets
                .iter()
                .map(|(at, photo, checked, counts)| Incoming {
                    from: Label::new("sheet"),
                    file: Label::new(&format!("{photo}.jpg")),
                    hash: hash(*photo),
                    place: Some(place(*at)),
                    checked: *checked,
                    scene: None,
                    may_be_posted: false,
                    lots: lots(counts),
                })
                .collect();
            merge::post(stock, &sheets, *mode, stamp).map_err(|e| e.to_string())?;
        }
        Op::Import(mode, parts) => {
            let mut listing = Listing::default();
            for (at, pending, counts) in parts {
                listing.places.insert(place(*at));
                let side = if *pending {
                    &mut listing.pending
                } else {
                    &mut listing.checked
                };
                side.insert(place(*at), lots(counts));
            }
            merge::import(stock, &listing, &Label::new("t.csv"), *mode, stamp)
                .map_err(|e| e.to_string())?;
        }
        Op::Confirm(at) => {
            confirm::confirm(stock, &[Which::Place(place(*at))], stamp)
                .map_err(|e| e.to_string())?;
        }
        Op::Take(list) => {
            take::take(stock, &portions(list), None, stamp).map_err(|e| e.to_string())?;
        }
        Op::Put(list) => {
            take::put(stock, &portions(list), None, stamp).map_err(|e| e.to_string())?;
        }
        Op::Move(from, to, what) => {
            let pieces: Vec<Piece> = what
                .iter()
                .map(|&(what, count)| Piece {
                    kind: kind(what),
                    count,
                })
                .collect();
            moving::move_pieces(stock, &place(*from), &place(*to), &pieces, None, stamp)
                .map_err(|e| e.to_string())?;
        }
        Op::RenamePlace(from, to) => {
            let renamed = Renamed {
                what: Subject::Place,
                from: place(*from),
                to: place(*to),
            };
            rename::rename(stock, renamed, true, stamp).map_err(|e| e.to_string())?;
        }
        Op::RenameColour(from, to) => {
            let colour = |number: usize| Name::new(COLOURS[number]).unwrap();
            let renamed = Renamed {
                what: Subject::Colour,
                from: colour(*from),
                to: colour(*to),
            };
            rename::rename(stock, renamed, true, stamp).map_err(|e| e.to_string())?;
        }
        Op::Undo(number) => {
            undo::undo(stock, *number, stamp).map_err(|e| e.to_string())?;
        }
    }
    Ok(())
}
