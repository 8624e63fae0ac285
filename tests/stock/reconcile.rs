//! Two stocks that grew apart become one: any two, and through the real program.

use crate::harbour::{Harbour, Row};
use crate::stock_ops::{Op, apply, by, op, stamp};
use cuptally::stock::identity::EntryId;
use cuptally::stock::kind::Label;
use cuptally::stock::reconcile::{Decisions, How, ReconcileError, Reconciled, Side, reconcile};
use cuptally::stock::{Contents, PendingSheet, Stock, check, format};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use serde_json::json;
use std::collections::BTreeSet;
use std::fs;

fn merge(
    mine: &mut Stock,
    theirs: &Stock,
    keep: Option<Side>,
) -> Result<Reconciled, ReconcileError> {
    let decisions = Decisions {
        others: keep,
        ..Decisions::default()
    };
    reconcile(
        mine,
        theirs,
        &decisions,
        &Label::new("other.json"),
        &stamp(),
    )
}

fn ids(stock: &Stock) -> Vec<EntryId> {
    stock
        .history
        .iter()
        .map(|entry| EntryId::of(entry).unwrap())
        .collect()
}

/// Contents without the numbers of the entries that brought pending sheets: those
/// differ with the order in which histories are put together.
fn plain(contents: &Contents) -> Contents {
    let sheets = contents.pending.iter().cloned();
    Contents {
        places: contents.places.clone(),
        pending: sheets
            .map(|sheet| PendingSheet { entry: 1, ..sheet })
            .collect(),
    }
}

fn sound(stock: &Stock) -> Result<(), TestCaseError> {
    prop_assert_eq!(check::differences(stock), vec![]);
    let text = format::write(stock).unwrap();
    prop_assert_eq!(&format::parse(&text).unwrap(), stock);
    Ok(())
}

fn grown(base: &Stock, ops: &[Op], who: &str) -> Stock {
    let mut stock = base.clone();
    for op in ops {
        let _refused = apply(&mut stock, op, &by(who));
    }
    stock
}

fn settings() -> ProptestConfig {
    ProptestConfig {
        cases: 300,
        rng_seed: RngSeed::Fixed(20260503),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

fn ops(most: usize) -> impl Strategy<Value = Vec<Op>> {
    prop::collection::vec(op(), 0..most)
}

/// Operations of one machine in places of its own: none that another knows.
fn own(first: usize) -> impl Strategy<Value = Vec<Op>> {
    let at = move |n: usize| first + n % 2;
    let one = op().prop_filter_map("touches all places", move |op| match op {
        Op::Post(mode, sheets) => {
            let sheets = sheets.into_iter().map(|(n, photo, checked, counts)| {
                (at(n), photo + 20 * (first + 1), checked, counts)
            });
            Some(Op::Post(mode, sheets.collect()))
        }
        Op::Import(mode, parts) => {
            let parts = parts
                .into_iter()
                .map(|(n, pending, counts)| (at(n), pending, counts));
            Some(Op::Import(mode, parts.collect()))
        }
        Op::Confirm(n) => Some(Op::Confirm(at(n))),
        Op::Take(list) => Some(Op::Take(
            list.into_iter().map(|(n, k, c)| (at(n), k, c)).collect(),
        )),
        Op::Put(list) => Some(Op::Put(
            list.into_iter().map(|(n, k, c)| (at(n), k, c)).collect(),
        )),
        Op::Move(a, b, what) => Some(Op::Move(at(a), at(b), what)),
        Op::RenamePlace(a, b) => Some(Op::RenamePlace(at(a), at(b))),
        Op::RenameColour(..) => None,
        // Only what this machine did: the base has a hundred entries and more.
        Op::Undo(number) => Some(Op::Undo(Some(number.unwrap_or(1)))),
    });
    prop::collection::vec(one, 1..8)
}

/// Undo means the machine's own entries, which come after the base.
fn after(base: &Stock, ops: &[Op]) -> Vec<Op> {
    let shift = base.history.len() as u64;
    let ops = ops.iter().cloned().map(|op| match op {
        Op::Undo(Some(number)) => Op::Undo(Some(number % 8 + 1 + shift)),
        op => op,
    });
    ops.collect()
}

proptest! {
    #![proptest_config(settings())]

    #[test]
    fn changes_in_different_places_merge_alike_from_either_side(
        common in ops(10), here in own(0), there in own(2),
    ) {
        let base = grown(&Stock::default(), &common, "mara");
        let mine = grown(&base, &after(&base, &here), "mara");
        let theirs = grown(&base, &after(&base, &there), "ove");
        // Without a common entry both may know a place; then somebody has to decide.
        prop_assume!(!base.history.is_empty());
        let (mut one, mut other) = (mine.clone(), theirs.clone());
        let outcome = merge(&mut one, &theirs, None).map_err(|e| TestCaseError::fail(e.to_string()))?;
        merge(&mut other, &mine, None).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert!(outcome.settled.is_empty());
        prop_assert_eq!(plain(&one.contents), plain(&other.contents));
        // Each place is as the machine left it that changed it.
        for number in 0..4 {
            let place = crate::stock_ops::place(number);
            let from = if number < 2 { &mine } else { &theirs };
            prop_assert_eq!(plain(&one.contents.only(&place)), plain(&from.contents.only(&place)));
        }
        sound(&one)?;
        let (a, b): (BTreeSet<_>, BTreeSet<_>) = (ids(&one).into_iter().collect(), ids(&other).into_iter().collect());
        prop_assert_eq!(a, b);
    }

    /// Pieces that came or went in one place: both differences count, whoever merges.
    #[test]
    fn pieces_that_come_and_go_on_both_machines_add_up(
        here in prop::collection::vec((0..4usize, 0..9u64, any::<bool>()), 1..6),
        there in prop::collection::vec((0..4usize, 0..9u64, any::<bool>()), 1..6),
    ) {
        // So much that none of it runs out.
        let all: Vec<_> = (0..4).map(|kind| (0, kind, 500)).collect();
        let base = grown(&Stock::default(), &[Op::Put(all)], "mara");
        let go = |list: &[(usize, u64, bool)], who| {
            let ops: Vec<Op> = list.iter().map(|&(kind, n, put)| {
                let portions = vec![(0, kind, n + 1)];
                if put { Op::Put(portions) } else { Op::Take(portions) }
            }).collect();
            grown(&base, &ops, who)
        };
        let (mine, theirs) = (go(&here, "mara"), go(&there, "ove"));
        let (mut one, mut other) = (mine.clone(), theirs.clone());
        merge(&mut one, &theirs, None).unwrap();
        merge(&mut other, &mine, None).unwrap();
        prop_assert_eq!(&one.contents, &other.contents);
        for kind in 0..4 {
            let sum: i64 = here.iter().chain(&there).filter(|(k, _, _)| *k == kind)
                .map(|&(_, n, put)| if put { n as i64 + 1 } else { -(n as i64) - 1 }).sum();
            let now = one.contents.get(&crate::stock_ops::place(0), &crate::stock_ops::kind(kind));
            prop_assert_eq!(now.count() as i64, 500 + sum);
        }
        sound(&one)?;
    }

    /// Whatever the two did: with somebody to decide it comes to one stock, nothing of
    /// either history is lost, and both machines end up with the same file.
    #[test]
    fn any_two_stocks_become_one(
        common in ops(10), here in ops(8), there in ops(8), later in ops(6), theirs_count in any::<bool>(),
    ) {
        let base = grown(&Stock::default(), &common, "mara");
        let mine = grown(&base, &here, "mara");
        let theirs = grown(&base, &there, "ove");
        let keep = if theirs_count { Side::Theirs } else { Side::Mine };
        let mut merged = mine.clone();
        let outcome = merge(&mut merged, &theirs, Some(keep)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        sound(&merged)?;
        let all = ids(&merged);
        let distinct: BTreeSet<_> = all.iter().cloned().collect();
        prop_assert_eq!(distinct.len(), all.len(), "no entry is there twice");
        for id in ids(&mine).iter().chain(&ids(&theirs)) {
            prop_assert!(distinct.contains(id), "no entry is lost");
        }
        for (place, side) in &outcome.settled {
            let from = if *side == Side::Mine { &mine } else { &theirs };
            prop_assert_eq!(plain(&merged.contents.only(place)), plain(&from.contents.only(place)));
        }
        // Again: nothing new. The other way round: the same file.
        let mut again = merged.clone();
        prop_assert_eq!(merge(&mut again, &theirs, None).unwrap().how, How::NothingNew);
        prop_assert_eq!(&again, &merged);
        let mut back = theirs.clone();
        let how = merge(&mut back, &merged, None).unwrap().how;
        prop_assert!(how == How::TookOver || merged.history == theirs.history);
        prop_assert_eq!(&back, &merged);
        // They part once more, the other machine from its older file.
        let on = grown(&theirs, &later, "ove");
        let mut both = grown(&merged, &later, "mara");
        merge(&mut both, &on, Some(keep)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        sound(&both)?;
        let distinct: BTreeSet<_> = ids(&both).into_iter().collect();
        for id in ids(&on) {
            prop_assert!(distinct.contains(&id));
        }
    }

    #[test]
    fn what_was_merged_can_be_undone_in_reverse(common in ops(8), here in ops(6), there in ops(6)) {
        let base = grown(&Stock::default(), &common, "mara");
        let mine = grown(&base, &here, "mara");
        let theirs = grown(&base, &there, "ove");
        let mut merged = mine.clone();
        merge(&mut merged, &theirs, Some(Side::Mine)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        for number in (mine.history.len() as u64 + 1..=merged.history.len() as u64).rev() {
            cuptally::stock::undo::undo(&mut merged, Some(number), &stamp())
                .map_err(|error| TestCaseError::fail(format!("{number}: {error}")))?;
        }
        prop_assert_eq!(&merged.contents, &mine.contents);
        sound(&merged)?;
    }
}

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);
const SAND: Row = ("tile", "1x2", "weathered sand", 33, 33, 33);

/// Two machines with a copy each of one stock: cups 1 to 3 with seven roses.
fn two_machines() -> (Harbour, Harbour) {
    let (mara, ove) = (Harbour::new(), Harbour::new());
    for place in ["cup 1", "cup 2", "cup 3"] {
        let sheet = mara.checked(place, Some(place), &[ROSE]);
        mara.run(&["post", &sheet]).code(0);
    }
    fs::create_dir_all(ove.home()).unwrap();
    fs::copy(mara.stock_file(), ove.stock_file()).unwrap();
    (mara, ove)
}

/// The other machine's user, so that the same work there is not the same entry.
fn as_ove(harbour: &Harbour, args: &[&str]) {
    let mut command = harbour.command(args);
    let output = command.env("USER", "ove").output().unwrap();
    assert!(output.status.success(), "{output:?}");
}

fn other(harbour: &Harbour) -> String {
    harbour.home().to_string_lossy().into_owned()
}

#[test]
fn independent_changes_merge_without_a_question() {
    let (mara, ove) = two_machines();
    mara.run(&["stock", "take", "2 plate 2x4 rose", "--from", "cup 1"])
        .code(0);
    let quay = ove.checked("quay", Some("cup 4"), &[SAND]);
    ove.run(&["post", &quay]).code(0);
    ove.run(&["stock", "undo", "3"]).code(0);
    mara.run(&["stock", "merge", &other(&ove)])
        .code(0)
        .prints("Merged 2 entries of ");
    let rows = [
        "cup 1: plate 2x4 rose 5",
        "cup 2: plate 2x4 rose 7",
        "cup 4: tile 1x2 weathered sand 33",
    ];
    assert_eq!(mara.checked_rows(), rows);
    assert_eq!(mara.stock().history.len(), 6);
    // The other machine takes it over, and then both have one and the same file.
    let file = mara.stock_file().to_string_lossy().into_owned();
    ove.run(&["stock", "merge", &file])
        .code(0)
        .prints("Took over ")
        .prints("1 entry that");
    assert_eq!(
        fs::read(ove.stock_file()).unwrap(),
        fs::read(mara.stock_file()).unwrap()
    );
    ove.run(&["stock", "merge", &file])
        .code(0)
        .prints("has nothing that is not here already");
    // A photo that the other posted counts as posted here.
    let quay = mara.checked("quay", Some("cup 9"), &[SAND]);
    mara.run(&["post", &quay])
        .code(1)
        .says("was already posted, by entry 5");
}

#[test]
fn conflicts_are_shown_and_wait_for_a_word() {
    let (mara, ove) = two_machines();
    let again = mara.checked("again", Some("cup 1"), &[("plate", "2x4", "rose", 9, 9, 9)]);
    mara.run(&["post", &again, "--recount"]).code(0);
    ove.run(&["stock", "take", "2 plate 2x4 rose", "--from", "cup 1"])
        .code(0);
    let quay = mara.checked("quay", None, &[SAND]);
    ove.checked("quay", None, &[SAND]);
    for args in [
        &["post", &quay, "--place", "cup 2", "--add"][..],
        &["stock", "take", "3 plate 2x4 rose", "--from", "cup 3"],
    ] {
        mara.run(args).code(0);
        as_ove(&ove, args);
    }
    ove.run(&["stock", "put", "1 plate 2x4 rose", "--place", "cup 2"])
        .code(0);
    let before = fs::read(mara.stock_file()).unwrap();
    let ended = mara.run(&["stock", "merge", &other(&ove)]).code(1);
    assert_eq!(
        ended.out,
        " Place   Piece       Colour   Mine   Theirs
────────────────────────────────────────────
 cup 1   plate 2x4   rose        9        5
 cup 2   plate 2x4   rose        7        8

 cup 1: counted anew on one side, changed on the other
 cup 2: both posted the same photo
"
    );
    assert!(ended.err.contains(
        "nothing was merged: 2 places need your word, as both stocks changed what is there; say --mine PLACE or \
         --theirs PLACE for each, or --keep mine or --keep theirs for all"
    ), "{ended:?}");
    let json = mara
        .run(&["stock", "merge", &other(&ove), "--json"])
        .code(1)
        .json();
    assert_eq!(json["merged"], json!(false));
    assert_eq!(json["conflicts"][0]["place"], "cup 1");
    assert_eq!(json["conflicts"][0]["why"], json!(["recounted"]));
    assert_eq!(
        json["conflicts"][1]["rows"][0]["theirs"]["checked"]["count"],
        8
    );
    mara.run(&["stock", "merge", &other(&ove), "--mine", "cup 1"])
        .code(1)
        .prints("cup 2");
    mara.run(&["stock", "merge", &other(&ove), "--mine", "cup 3"])
        .code(2)
        .says("cup 3 is not in conflict");
    mara.run(&[
        "stock",
        "merge",
        &other(&ove),
        "--mine",
        "cup 1",
        "--theirs",
        "cup 1",
    ])
    .code(2)
    .says("cup 1 is named with --mine and with --theirs");
    assert_eq!(
        fs::read(mara.stock_file()).unwrap(),
        before,
        "nothing was merged"
    );

    mara.run(&[
        "stock",
        "merge",
        &other(&ove),
        "--mine",
        "cup 1",
        "--keep",
        "theirs",
    ])
    .code(3)
    .prints("Merged 4 entries")
    .prints("cup 1: this stock's word counts")
    .prints("cup 2: the other stock's word counts")
    .says("both stocks changed plate 2x4 rose in cup 3, and both changes count: it is 1 now");
    assert_eq!(
        mara.checked_rows(),
        [
            "cup 1: plate 2x4 rose 9",
            "cup 2: plate 2x4 rose 8",
            "cup 2: tile 1x2 weathered sand 33",
            "cup 3: plate 2x4 rose 1"
        ]
    );
    mara.run(&["stock", "history"])
        .code(0)
        .prints("settled what both stocks had changed");
    // What was settled stands above what came before it.
    mara.run(&["stock", "undo", "7"])
        .code(1)
        .says("was recounted since, by entry 11");
    mara.run(&["stock", "undo"]).code(0);
    assert!(
        mara.checked_rows()
            .contains(&"cup 2: plate 2x4 rose 7".to_owned())
    );
}

#[test]
fn more_than_there_was_a_name_given_up_and_one_tray_twice_are_told() {
    let (mara, ove) = two_machines();
    let take = ["stock", "take", "5 plate 2x4 rose", "--from", "cup 1"];
    mara.run(&take).code(0);
    as_ove(&ove, &take);
    let json = mara
        .run(&["stock", "merge", &other(&ove), "--json"])
        .code(1)
        .json();
    assert_eq!(json["conflicts"][0]["why"], json!(["not-enough"]));

    let (mara, ove) = two_machines();
    mara.run(&["stock", "rename", "colour", "rose", "hull-red"])
        .code(0);
    ove.run(&["stock", "put", "4 plate 2x4 rose", "--place", "cup 2"])
        .code(0);
    for (harbour, name) in [(&mara, "one"), (&ove, "two")] {
        let mut sheet = crate::harbour::sheet(name, Some(name), true, &[SAND]);
        let piece = sheet.pieces[0].clone();
        sheet.pieces = (0..5u32)
            .map(|n| cuptally::sheet::Piece {
                x_mm: 30.0 * f64::from(n),
                y_mm: 100.0,
                ..piece.clone()
            })
            .collect();
        let sheet = harbour.write_sheet(name, &sheet);
        harbour.run(&["post", &sheet]).code(0);
    }
    mara.run(&["stock", "merge", &other(&ove)])
        .code(3)
        .says("look: one.jpg here and two.jpg there (two) seem to show the same tray: 5 of 5")
        .says("the colour rose was renamed to hull-red on one machine and is in use again")
        .says("cuptally stock rename colour rose hull-red --merge");
}

#[test]
fn a_file_that_cannot_be_merged_is_told_and_nothing_is_changed() {
    let (mara, ove) = two_machines();
    let before = fs::read(mara.stock_file()).unwrap();
    mara.run(&["stock", "merge", "nowhere.json"])
        .code(1)
        .says("there is no stock file nowhere.json");
    fs::write(mara.path("nonsense.json"), "the tide took it").unwrap();
    mara.run(&["stock", "merge", "nonsense.json"])
        .code(1)
        .says("cannot be used: it is damaged at line 1");
    let text = fs::read_to_string(ove.stock_file()).unwrap();
    let by_hand = text.replacen("\"count\":7,\"low\":7", "\"count\":7,\"low\":6", 1);
    assert_ne!(by_hand, text);
    fs::write(ove.stock_file(), by_hand).unwrap();
    mara.run(&["stock", "merge", &other(&ove)])
        .code(1)
        .says("do not follow from its history");
    assert_eq!(fs::read(mara.stock_file()).unwrap(), before);
    // A machine without a stock takes the other's over.
    let new = Harbour::new();
    let file = mara.stock_file().to_string_lossy().into_owned();
    new.run(&["stock", "merge", &file])
        .code(0)
        .prints("Took over");
    assert_eq!(fs::read(new.stock_file()).unwrap(), before);
    // Two stocks with nothing in common but the names of places.
    let far = Harbour::new();
    let sheet = far.checked("far", Some("cup 1"), &[SAND]);
    far.run(&["post", &sheet]).code(0);
    far.run(&["stock", "merge", &file])
        .code(1)
        .says("1 place needs your word")
        .prints("both have it, and the files have no common past");
}

/// The random stocks above must reach what they are meant to test.
#[test]
fn the_stocks_do_part_and_do_conflict() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::new(settings());
    let (mut merged, mut conflicts) = (0, 0);
    for _ in 0..200 {
        let mut draw = |most| ops(most).new_tree(&mut runner).unwrap().current();
        let base = grown(&Stock::default(), &draw(10), "mara");
        let mut mine = grown(&base, &draw(8), "mara");
        let theirs = grown(&base, &draw(8), "ove");
        match merge(&mut mine, &theirs, None) {
            Ok(outcome) => merged += u32::from(outcome.how == How::Merged),
            Err(ReconcileError::Conflicts(_)) => conflicts += 1,
            Err(error) => panic!("{error}"),
        }
    }
    assert!(
        merged > 20 && conflicts > 40,
        "merged {merged}, conflicts {conflicts}"
    );
}
